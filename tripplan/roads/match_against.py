"""Where a track went against a one-way road: looked for only where nothing else explains it.

A track is first matched to roads in their directions. Only the parts that no road explains are matched once more to a graph in
which one-way roads lead both ways, at a cost: so noise beside a one-way road accuses nobody, and all else stays as it was.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from tripplan.model.errors import BadInputError
from tripplan.model.track import Track
from tripplan.region.geometry import great_circle_m, piece_ends_m, segment_lengths_m
from tripplan.region.region import Region
from tripplan.roads.match import Model, match
from tripplan.roads.match_chains import Chain, Match
from tripplan.roads.match_graph import MatchGraph, open_graph

__all__ = ["Against", "add_against", "against_rows", "parts_against"]

#: Less than this against a one-way road is a corner, a forecourt, a lane of a parking place [m].
_LEAST_M = 50.0
#: So much, and so many times the noise, with so many points on it is no noise [m].
_CLEAR_M, _CLEAR_NOISES, _CLEAR_POINTS = 100.0, 6.0, 3
#: Parts that are looked at, the longest first.
_MOST_PARTS = 60
#: Points of the roads on either side of a part that are looked at with it.
_ALONG = 2
#: Room around a part in which a one-way road must lie [1e-7 degrees].
_ROOM_E7 = 20_000

Mask = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Against:
    """A part of a chain against a one-way road.

    Parameters
    ----------
    first, last
        Rows of the chain's pieces.
    from_m, length_m
        Along the chain [m].
    points
        Points of the track on it. clear: whether noise cannot explain it.
    """

    first: int
    last: int
    from_m: float
    length_m: float
    points: int
    clear: bool


def add_against(
    region: Region, found: Match, graph: MatchGraph, model: Model | None = None, *, cache: Path | None = None, engine: str = "auto"
) -> Match:  # fmt: skip
    """Return the match with chains against one-way roads where a part of the track has no other explanation.

    Parameters
    ----------
    found
        Of `match.match`. graph: the graph that it used.
    """
    asked = [part for part in _parts(found) if _near_oneway(region, found, graph, *part)]
    if not asked:
        return found
    step = segment_lengths_m(found.lon, found.lat)
    asked.sort(key=lambda part: (-float(step[part[0] : part[1]].sum()), part))
    both = open_graph(region, cache=cache, against=True)
    settled = replace(model or Model(), noise_m=found.noise_m, thin_noises=0.0)
    chains = list(found.chains)
    for low, high in asked[:_MOST_PARTS]:
        piece_of_track = Track.of(found.lon[low : high + 1], found.lat[low : high + 1], found.time_s[low : high + 1])
        try:
            again = match(region, piece_of_track, settled, graph=both, engine=engine)
        except BadInputError:
            continue
        told = [c for c in again.chains if any(part.points > 1 for part in parts_against(region, c, found.noise_m))]
        for chain in told:
            new = replace(chain, point=chain.point + low)
            chains = [kept for old in chains for kept in _without(old, int(new.point[0]), int(new.point[-1]))]
            chains = sorted([*chains, new], key=lambda one: (int(one.point[0]), int(one.point[-1])))
    on_road = np.zeros(len(found.lon), bool)
    for chain in chains:
        on_road[chain.point] = True
    return replace(found, chains=tuple(chains), on_road=on_road)


def _without(chain: Chain, low: int, high: int) -> list[Chain]:
    """Return what is left of a chain before point ``low`` and after point ``high``, these two included."""
    if int(chain.point[-1]) <= low or int(chain.point[0]) >= high:
        return [chain]
    before, after = int(np.searchsorted(chain.point, low, side="right")), int(np.searchsorted(chain.point, high))
    return [cut for cut in (_cut(chain, 0, before), _cut(chain, after, len(chain.point))) if cut is not None]


def _cut(chain: Chain, first: int, after: int) -> Chain | None:
    """Return the part of a chain from one of its points to another; ``None`` where it has not two points or no length."""
    if after - first < 2:
        return None
    low, high = float(chain.point_m[first]), float(chain.point_m[after - 1])
    ends = piece_ends_m(chain.from_m, chain.to_m)
    from_m = chain.from_m + np.clip(low - ends[:-1], 0.0, None)
    to_m = chain.to_m - np.clip(ends[1:] - high, 0.0, None)
    keep = to_m > from_m
    if not keep.any():
        return None
    holes = np.clip(chain.hole_m, low, high) - low
    return Chain(
        chain.piece[keep], chain.forward[keep], from_m[keep], to_m[keep], chain.point[first:after], chain.point_m[first:after] - low,
        holes[holes[:, 1] > holes[:, 0]],
    )  # fmt: skip


def against_rows(region: Region, chain: Chain) -> Mask:
    """Return which pieces of a chain are driven against their one-way direction."""
    oneway = region.ways.oneway[region.pieces.way[chain.piece]]
    return np.asarray(np.where(chain.forward, oneway < 0, oneway > 0), np.bool_)


def parts_against(region: Region, chain: Chain, noise_m: float) -> list[Against]:
    """Return the parts of a chain against one-way roads that are more than a corner."""
    rows = against_rows(region, chain)
    if not rows.any():
        return []
    ends = piece_ends_m(chain.from_m, chain.to_m)
    edges = np.flatnonzero(np.diff(np.concatenate(([False], rows, [False])).astype(np.int8)))
    out = []
    for first, after in zip(edges[0::2].tolist(), edges[1::2].tolist(), strict=True):
        low, high = float(ends[first]), float(ends[after])
        points = int(((chain.point_m > low) & (chain.point_m < high)).sum())
        if high - low >= _LEAST_M:
            clear = high - low >= max(_CLEAR_M, _CLEAR_NOISES * noise_m) and points >= _CLEAR_POINTS
            out.append(Against(first, after - 1, low, high - low, points, clear))
    return out


def _parts(found: Match) -> list[tuple[int, int]]:
    """Return first and last point of each part that lies on no chain, or whose road is shorter than the straight way."""
    gone = np.concatenate(([0.0], np.cumsum(segment_lengths_m(found.lon, found.lat))))
    bounds: list[tuple[int, int]] = []
    for before, after in zip((None, *found.chains), (*found.chains, None), strict=True):
        low, high = int(before.point[-1]) if before else 0, int(after.point[0]) if after else len(found.lon) - 1
        if gone[high] - gone[low] >= _LEAST_M:
            # Points where the roads end may lie on the next one already: a few before and after them go along.
            low = int(before.point[max(len(before.point) - 1 - _ALONG, 0)]) if before else low
            high = int(after.point[min(_ALONG, len(after.point) - 1)]) if after else high
            bounds.append((low, high))
    for chain in found.chains:
        bounds += _too_short(found, chain)
    out: list[tuple[int, int]] = []
    for low, high in sorted(bounds):
        cuts = [low, *(low + 1 + np.flatnonzero(found.fresh[low + 1 : high + 1])).tolist(), high + 1]
        for a, b in pairwise(cuts):
            if out and a < out[-1][1]:
                out[-1] = (out[-1][0], max(out[-1][1], b - 1))
            elif b - 1 - a >= 2:
                out.append((a, b - 1))
    return out


def _too_short(found: Match, chain: Chain) -> list[tuple[int, int]]:
    """Return where a chain has less road than the straight way is long: a slow record of driving backwards passes for noise."""
    lon, lat = found.lon[chain.point], found.lat[chain.point]
    spare = max(_LEAST_M, _CLEAR_NOISES * found.noise_m)
    out = []
    for lag in (2, 3, 4, 6, 8, 12):
        if len(lon) <= lag:
            break
        short = (
            great_circle_m(lon[:-lag], lat[:-lag], lon[lag:], lat[lag:]) - (chain.point_m[lag:] - chain.point_m[:-lag]) > spare
        )
        last = len(lon) - 1
        out += [
            (int(chain.point[max(k - 2, 0)]), int(chain.point[min(k + lag + 2, last)])) for k in np.flatnonzero(short).tolist()
        ]
    return out


def _near_oneway(region: Region, found: Match, graph: MatchGraph, low: int, high: int) -> bool:
    """Whether any one-way road lies beside a part. Across the date line the answer may be a needless yes."""
    lon, lat = found.lon[low : high + 1], found.lat[low : high + 1]
    west, east, south, north = (int(v * 1e7) for v in (lon.min(), lon.max(), lat.min(), lat.max()))
    if east - west > 1_800_000_000:
        return True
    room = int(_ROOM_E7 / max(np.cos(np.radians(min(abs(float(lat[0])), 89.0))), 0.01))
    beside = (graph.south <= north + _ROOM_E7) & (graph.north >= south - _ROOM_E7)
    beside &= (graph.west <= east + room) & (graph.east >= west - room)
    return bool((region.ways.oneway[region.pieces.way[beside]] != 0).any())
