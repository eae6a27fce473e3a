"""Two one-way carriageways side by side: which one a track was on, and where nobody can tell.

A track that goes the wrong way along one carriageway is matched to its twin, which leads that way. From point to point
noise hides the few metres between the two; over many points their mean does not. So the points beside a twin are weighed together: the
logarithm of how much likelier they are on the twin than on the carriageway told.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from tripplan.region.geometry import great_circle_m, piece_ends_m, piece_line, run_line, segment_lengths_m
from tripplan.region.region import Region
from tripplan.roads.match_chains import Chain, Match
from tripplan.roads.match_graph import MatchGraph
from tripplan.roads.match_near import RoadGrid

__all__ = ["Beside", "Twins", "beside_twins"]

#: How near a twin lies, and how far at least [m]: nearer than a lane there is none.
_MOST_M, _LEAST_M = 60.0, 4.0
#: Cosine of the angle at which a twin may lead back: within 25 degrees.
_OPPOSITE = -0.9
#: From so many times likelier on (as a logarithm) the points are held to be on one of the two.
_SURE = 10.0
#: Receivers and maps are off by so much for kilometres, however many points there are (common practice, no source) [m].
_BIAS_M = 3.0
#: So many of the error of the mean lie between the points and the middle of the two where the wrong one is clear; the shortest
#: part, and the fewest points, that are clear.
_ERRORS, _CLEAR_M, _CLEAR_POINTS = 2.0, 300.0, 12
_MOST_CANDIDATES = 16

F64 = NDArray[np.float64]
I64 = NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Beside:
    """A part of a chain whose points lie on the twin, which leads the other way.

    Parameters
    ----------
    from_m, length_m
        Along the chain [m].
    points
        How many points. apart_m: distance of the two carriageways [m].
    piece
        A piece of the twin. clear: whether noise, receiver and map cannot explain it.
    """

    from_m: float
    length_m: float
    points: int
    apart_m: float
    piece: int
    clear: bool


@dataclass(frozen=True, slots=True)
class Twins:
    """What twins of a chain tell.

    Parameters
    ----------
    beside
        Parts on the twin. untold_m: length beside a twin where points cannot tell the two apart [m].
    """

    beside: tuple[Beside, ...] = ()
    untold_m: float = 0.0


def beside_twins(region: Region, found: Match, chain: Chain, graph: MatchGraph) -> Twins:
    """Weigh the points of a chain that lie beside a one-way road leading back."""
    pieces, oneway = region.pieces, region.ways.oneway
    ends = piece_ends_m(chain.from_m, chain.to_m)
    row = np.clip(np.searchsorted(ends, chain.point_m, side="right") - 1, 0, len(chain.piece) - 1)
    rows = np.flatnonzero(oneway[pieces.way[chain.piece[row]]] != 0)
    if not len(rows):
        return Twins()
    at, heading = _on_line(region, chain, chain.point_m[rows])
    lon, lat = found.lon[chain.point[rows]], found.lat[chain.point[rows]]
    grid = RoadGrid(pieces, graph, at[:, 0], at[:, 1], _MOST_M)
    twin, apart = _twins(region, grid, at, heading)
    has = twin >= 0
    if not has.any():
        return Twins()
    rows, twin, apart, lon, lat, at = rows[has], twin[has], apart[has], lon[has], lat[has], at[has]
    own_m = great_circle_m(lon, lat, at[:, 0], at[:, 1])
    twin_m = np.array([_distance(region, int(t), x, y) for t, x, y in zip(twin, lon, lat, strict=True)])
    # Across two parallel lines: 0 on the road told, `apart` on its twin.
    across = (apart**2 + own_m**2 - twin_m**2) / (2 * apart)
    # A point beyond either of the two says no more than one on it: it may lie on neither.
    gain = apart * np.clip(across - apart / 2, -apart, apart) / found.noise_m**2
    out: list[Beside] = []
    untold = 0.0
    cuts = [0, *(np.flatnonzero(np.diff(rows) > 2) + 1).tolist(), len(rows)]
    for low, high in pairwise(cuts):
        parts = _best_parts(gain[low:high], low)
        for first, after in parts:
            out.append(_part(chain, rows[first:after], across[first:after], apart[first:after], twin[first:after], found.noise_m))
        if not parts and gain[low:high].sum() > -_SURE:
            untold += float(chain.point_m[rows[high - 1]] - chain.point_m[rows[low]])
    return Twins(tuple(out), untold)


def _part(chain: Chain, rows: I64, across: F64, apart: F64, twin: I64, noise_m: float) -> Beside:
    begin, end = float(chain.point_m[rows[0]]), float(chain.point_m[rows[-1]])
    error = max(noise_m / np.sqrt(len(rows)), _BIAS_M)
    over = float((across - apart / 2).mean())
    on_it = over - float(apart.mean()) / 2 <= _ERRORS * error
    clear = over > _ERRORS * error and on_it and end - begin >= _CLEAR_M and len(rows) >= _CLEAR_POINTS
    return Beside(begin, end - begin, len(rows), float(np.median(apart)), int(twin[len(twin) // 2]), bool(clear))


def _best_parts(gain: F64, start: int) -> list[tuple[int, int]]:
    """Return the parts with the greatest sums, each of at least `_SURE`, as rows counted from ``start``."""
    if not len(gain):
        return []
    sums = np.concatenate(([0.0], np.cumsum(gain)))
    low = np.minimum.accumulate(sums)
    after = int((sums - low).argmax())
    if sums[after] - low[after] < _SURE:
        return []
    first = int(sums[: after + 1].argmin())
    return [*_best_parts(gain[:first], start), (start + first, start + after), *_best_parts(gain[after:], start + after)]


def _on_line(region: Region, chain: Chain, metres: F64) -> tuple[F64, F64]:
    """Return where points lie on the chain, (n, 2) degrees, and its direction there, (n, 2) east and north."""
    line = run_line(region, chain.runs())
    along = np.concatenate(([0.0], np.cumsum(segment_lengths_m(line[:, 0], line[:, 1]))))
    along *= chain.length_m / max(float(along[-1]), 1e-9)
    lon = np.unwrap(line[:, 0], period=360.0)

    def at(m: F64) -> F64:
        return np.column_stack((np.interp(m, along, lon), np.interp(m, along, line[:, 1])))

    here, step = at(metres), at(metres + 8.0) - at(metres - 8.0)
    return np.column_stack(((here[:, 0] + 180) % 360 - 180, here[:, 1])), _unit(step, here[:, 1])


def _unit(step: F64, lat: F64) -> F64:
    flat = np.column_stack((step[:, 0] * np.cos(np.radians(lat)), step[:, 1]))
    return np.asarray(flat / np.maximum(np.hypot(flat[:, 0], flat[:, 1]), 1e-12)[:, None], np.float64)


def _twins(region: Region, grid: RoadGrid, at: F64, heading: F64) -> tuple[I64, F64]:
    """Return for each point the nearest one-way piece that leads back beside it, -1 none, and its distance [m]."""
    near = grid.near(at[:, 0], at[:, 1], _MOST_M, _MOST_CANDIDATES)
    owner = np.repeat(np.arange(len(at)), np.diff(near.ptr))
    sign = region.ways.oneway[region.pieces.way[near.piece]]
    wanted = np.flatnonzero((sign != 0) & (near.distance_m >= _LEAST_M))
    known: dict[tuple[int, int], F64] = {}
    twin, apart = np.full(len(at), -1, np.int64), np.full(len(at), np.inf)
    for k in wanted.tolist():
        point, piece, metres = int(owner[k]), int(near.piece[k]), float(near.along_m[k])
        if twin[point] >= 0:  # nearest first
            continue
        key = (piece, int(metres // 20))
        if key not in known:
            line = piece_line(region, piece, True, max(metres - 8.0, 0.0), metres + 8.0)
            step = line[-1:] - line[:1]
            step[:, 0] = (step[:, 0] + 180) % 360 - 180
            known[key] = _unit(step, line[:1, 1])[0] * float(sign[k])
        if float(known[key] @ heading[point]) < _OPPOSITE:
            twin[point], apart[point] = piece, float(near.distance_m[k])
    return twin, apart


def _distance(region: Region, piece: int, lon: float, lat: float) -> float:
    """Return the distance of a point from a piece [m]."""
    low, high = int(region.pieces.ptr[piece]), int(region.pieces.ptr[piece + 1])
    scale = 111_195.0 * np.cos(np.radians(lat))
    x = ((region.pieces.lon_e7[low:high] / 1e7 - lon + 180) % 360 - 180) * scale
    y = (region.pieces.lat_e7[low:high] / 1e7 - lat) * 111_195.0
    dx, dy = np.diff(x), np.diff(y)
    share = np.clip(-(x[:-1] * dx + y[:-1] * dy) / np.maximum(dx * dx + dy * dy, 1e-12), 0.0, 1.0)
    return float(np.hypot(x[:-1] + share * dx, y[:-1] + share * dy).min())
