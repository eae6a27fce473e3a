"""Which roads a recorded track went over: a hidden Markov model of roads and noise.

The model is that of Newson and Krumm: a point is seen at a normally distributed distance from its road, and from one
point to the next the way by road differs from the straight distance by an exponentially distributed amount. Own to this
module: the noise is estimated from the track itself; distances beyond twice the noise count linearly, as recorders and maps
have more large errors than a normal law knows; a road in each direction is a state of its own, so turning round
has its cost; a point may lie on no road at all; and one outlier between two good points is skipped.

References
----------
Newson, P. and Krumm, J. (2009), Hidden Markov map matching through noise and sparseness, Proceedings of the 17th ACM
SIGSPATIAL International Conference on Advances in Geographic Information Systems, 336-343, doi:10.1145/1653771.1653818.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tripplan.model.errors import BadInputError
from tripplan.model.track import Track
from tripplan.region.columns import HIGHWAYS
from tripplan.region.geometry import great_circle_m, segment_lengths_m
from tripplan.region.region import Region
from tripplan.request.spots import swapped
from tripplan.roads.match_chains import Chain, Match, Setup, tie
from tripplan.roads.match_graph import MatchGraph, open_graph
from tripplan.roads.match_kernel import compiled, decode
from tripplan.roads.match_near import Candidates, RoadGrid

__all__ = ["Chain", "Match", "Model", "Setup", "match", "set_up", "thin_points"]

F64 = NDArray[np.float64]
I64 = NDArray[np.int64]
Mask = NDArray[np.bool_]

#: Largest distance at which a road is looked for when the noise is estimated [m].
_LOOK_M = 100.0
_MOST_CANDIDATES = 16
#: Points that the noise is estimated from, how many of them must have one way alone around them, and what the estimate is
#: raised by otherwise (measured on synthetic tracks in towns).
_SAMPLE, _ENOUGH, _CROWDED = 1000, 30, 1.3
#: Where a part begins nearer than this to the end of the one before, the track went on [m].
_NEW_PART_M = 300.0
#: Junctions that may be looked at: in all, for each point, and at most. An honest track takes a few hundred a point.
_WORK, _WORK_A_POINT, _MOST_WORK = 20_000_000, 5_000, 300_000_000
#: A step longer than this is a gap, and a track with more than such a share of gaps is no record of roads [m].
_GAP_M, _MOST_GAPS = 2000.0, 1 / 3
#: Distances beyond so many times the noise count linearly.
_LINEAR_FROM = 2.0


@dataclass(frozen=True, slots=True)
class Model:
    """The figures of the model; all costs are -log of a chance.

    Parameters
    ----------
    noise_m
        Standard deviation of a point's distance from its road [m]; 0: estimated from the track.
    least_noise_m, most_noise_m
        What an estimate is held to: maps are not truer than the first.
    reach_noises, least_reach_m
        A road is looked for within so many times the noise, and at least so far [m].
    detour_m, detour_share
        Mean difference between the way by road and the straight distance: so much, and this share of the distance.
    turn, jump, leave
        Cost of turning round, of going on where no road leads, of leaving the roads or coming back to them.
    closed, minor, against
        Cost for each point of a road that is closed to cars, of a service road or track, of travel against a one-way road:
        others are looked at first.
    thin_noises, slip_noises
        Points within so many times the noise are averaged; so far a point may lie behind the one before.
    haste
        Cost of being twice as fast as a driver in a hurry is on roads of that class.
    fastest_kmh
        Nobody drives faster [km/h].
    widest_gap_m
        Across more than this no road is looked for [m].
    """

    noise_m: float = 0.0
    least_noise_m: float = 5.0
    most_noise_m: float = 30.0
    reach_noises: float = 4.0
    least_reach_m: float = 50.0
    detour_m: float = 10.0
    detour_share: float = 0.06
    turn: float = 8.0
    jump: float = 18.0
    leave: float = 8.0
    closed: float = 1.5
    minor: float = 1.0
    against: float = 3.0
    thin_noises: float = 3.0
    slip_noises: float = 4.0
    haste: float = 6.0
    fastest_kmh: float = 180.0
    widest_gap_m: float = 20_000.0


def match(
    region: Region,
    track: Track,
    model: Model | None = None,
    *,
    cache: Path | None = None,
    graph: MatchGraph | None = None,
    engine: str = "auto",
) -> Match:
    """Tell the roads of a track.

    Parameters
    ----------
    track
        Two points or more.
    cache
        Folder for prepared files; ``None``: nothing is kept.
    engine
        ``auto``: compiled where numba is there. ``plain``: the same in plain Python. ``numba`` asks for the former.

    Raises
    ------
    BadInputError
        When the track has one point only, does not move, or keeps away from every road of the region.
    """
    model = model or Model()
    if len(track.lon) < 2:
        raise BadInputError(f"the track has {len(track.lon)} point{'s' if len(track.lon) != 1 else ''}", accepted="2 or more")
    if not len(region.pieces.way):
        raise BadInputError("the region has no roads", where=region.meta.name, next_step="build it from a file with roads")
    setup = set_up(region, track, model, graph or open_graph(region, cache=cache))
    work, *found = _engine(engine)(*setup.inputs)
    if work > setup.inputs[-1]:
        raise _too_wide(setup.step_m)
    return tie(setup, found)


def set_up(region: Region, track: Track, model: Model, graph: MatchGraph) -> Setup:
    """Estimate the noise, average points, and find the roads that each may lie on; raises as `match` does."""
    widest = max(model.most_noise_m, model.noise_m)
    grid = RoadGrid(region.pieces, graph, track.lon, track.lat, max(_LOOK_M, model.reach_noises * widest, model.least_reach_m))
    noise = model.noise_m or _estimate(region, grid, track, model)
    lon, lat, time_s, weight, part = thin_points(track, model.thin_noises * noise)
    if len(lon) < 2:
        raise BadInputError("the track does not move", accepted=f"points more than {model.thin_noises * noise:.0f} m apart")
    reach = max(model.least_reach_m, model.reach_noises * noise)
    near = grid.near(lon, lat, reach, _MOST_CANDIDATES)
    if not len(near.piece):
        raise BadInputError(
            f"no point of the track is within {reach:.0f} m of a road", where=region.meta.name,
            next_step="are latitude and longitude swapped?" if swapped(region, lon[0], lat[0]) else "take the region that the track lies in",
        )  # fmt: skip
    ptr, arc, at_m, cost = _states(graph, near, noise, model, _minor(region))
    hasty = 3.6 * graph.length_m / _HASTY_KMH[region.ways.highway[region.pieces.way[graph.piece]]]
    step = np.concatenate(([0.0], segment_lengths_m(lon, lat)))
    leap = np.zeros(len(lon))
    leap[2:] = great_circle_m(lon[:-2], lat[:-2], lon[2:], lat[2:])
    if (step > _GAP_M).sum() > max(_MOST_GAPS * len(step), 3):
        raise _too_wide(step)
    elapsed = np.concatenate(([np.nan], np.diff(time_s)))
    elapsed[~(elapsed > 0)] = np.nan
    fresh = (np.concatenate(([True], np.diff(part) != 0)) & (step > _NEW_PART_M)) | (step > model.widest_gap_m)
    off = np.full(len(lon), _cost(np.array([reach]), noise)[0])
    inputs = (
        ptr, arc, at_m, cost, step, elapsed, fresh, off, model.detour_m + model.detour_share * step,
        leap, model.detour_m + model.detour_share * leap,
        graph.out_ptr, graph.head, graph.tail, graph.length_m, graph.reverse, hasty,
        model.slip_noises * noise, 6 * noise, model.fastest_kmh / 3.6, model.turn, model.jump, model.leave, model.haste,
        min(_WORK + _WORK_A_POINT * len(lon), _MOST_WORK),
    )  # fmt: skip
    return Setup(graph, lon, lat, time_s, weight, step, fresh, noise, inputs)


def _too_wide(step_m: F64) -> BadInputError:
    wide = int((step_m > _GAP_M).sum())
    return BadInputError(
        f"the track has too many gaps to be followed ({wide:,} of {len(step_m) - 1:,} steps are longer than {_GAP_M / 1000:g} km)",
        accepted="a record with points every few seconds", next_step="check it as way-points",
    )  # fmt: skip


def _engine(name: str) -> Callable[..., Any]:
    if name != "plain":
        function = compiled()
        if function is not None:
            return function
        if name == "numba":
            raise RuntimeError("numba is not installed")
    return decode


def _estimate(region: Region, grid: RoadGrid, track: Track, model: Model) -> float:
    """Estimate the noise [m]: 1.4826 x the median distance to the road, as Newson and Krumm do.

    Before anything is matched the road is the nearest one, which is too near where roads lie close together: so the points
    that have one way of the map around them speak, if there are enough of them.
    """
    some = np.unique(np.linspace(0, len(track.lon) - 1, _SAMPLE).astype(np.int64))
    near = grid.near(track.lon[some], track.lat[some], _LOOK_M, _MOST_CANDIDATES)
    full = np.flatnonzero(np.diff(near.ptr) > 0)
    if not len(full):
        return model.least_noise_m
    first = near.ptr[full]
    way = region.pieces.way[near.piece]
    alone = np.minimum.reduceat(way, first) == np.maximum.reduceat(way, first)
    if alone.sum() >= _ENOUGH:
        deviation = 1.4826 * float(np.median(near.distance_m[first[alone]]))
    else:
        deviation = 1.4826 * _CROWDED * float(np.median(near.distance_m[first]))
    return float(np.clip(deviation, model.least_noise_m, model.most_noise_m))


def thin_points(track: Track, within_m: float) -> tuple[F64, F64, F64, I64, NDArray[np.int32]]:
    """Average points that follow one another within a distance of their mean.

    A recorder that stands still draws a cloud; points closer than their noise say nothing of the direction of travel. (Newson
    and Krumm leave such points out; the mean also lowers the noise.)

    Returns
    -------
    lon, lat, time_s, weight, part
        Means of longitude, latitude and time, how many points each stands for, and their part.
    """
    lon0 = track.lon[0]
    x = ((track.lon - lon0 + 180) % 360 - 180).tolist()
    y, t, part = track.lat.tolist(), track.time_s.tolist(), track.part.tolist()
    scale = (111_195.0 * np.maximum(np.cos(np.radians(track.lat)), 0.01)).tolist()
    limit = within_m * within_m
    out: list[tuple[float, float, float, int, int]] = []
    count, mx, my, mt, at = 1, x[0], y[0], t[0], part[0]
    for i in range(1, len(x)):
        dx, dy = (x[i] - mx) * scale[i], (y[i] - my) * 111_195.0
        if part[i] == at and dx * dx + dy * dy < limit:
            count += 1
            mx += (x[i] - mx) / count
            my += (y[i] - my) / count
            mt += (t[i] - mt) / count
        else:
            out.append((mx, my, mt, count, at))
            count, mx, my, mt, at = 1, x[i], y[i], t[i], part[i]
    out.append((mx, my, mt, count, at))
    cx, cy, ct, cn, cp = (np.array(c) for c in zip(*out, strict=True))
    return (cx + lon0 + 180) % 360 - 180, cy, ct, cn.astype(np.int64), cp.astype(np.int32)


def _cost(distance_m: F64, noise_m: float) -> F64:
    """Return -log of the chance of a point at a distance, up to a constant: normal, with linear tails."""
    z = distance_m / noise_m
    return np.where(z <= _LINEAR_FROM, z * z / 2, _LINEAR_FROM * z - _LINEAR_FROM**2 / 2)


def _states(
    graph: MatchGraph, near: Candidates, noise_m: float, model: Model, minor: Mask
) -> tuple[I64, NDArray[np.int32], F64, F64]:
    """Return the candidates as roads in either direction: bounds, arc, where on it, cost."""
    cost = (
        _cost(near.distance_m, noise_m)
        + np.where(graph.open_to_cars[near.piece], 0.0, model.closed)
        + np.where(minor[near.piece], model.minor, 0.0)
    )
    arcs = graph.arc_of[near.piece]
    length = np.array([0.0])
    sides = arcs >= 0
    counts = np.concatenate(([0], np.cumsum(sides.sum(axis=1))))
    ptr = counts[near.ptr].astype(np.int64)
    arc = arcs[sides].astype(np.int32)
    row = np.repeat(np.arange(len(near.piece)), sides.sum(axis=1))
    length = graph.length_m[arc]
    along = near.along_m[row]
    at = np.clip(np.where(graph.forward[arc], along, length - along), 0.0, length)
    return ptr, arc, at, cost[row] + np.where(graph.against[arc], model.against, 0.0)


def _minor(region: Region) -> Mask:
    """Return which pieces are service roads or tracks."""
    minor = np.isin(region.ways.highway, [HIGHWAYS.index(name) for name in ("service", "track")])
    return np.asarray(minor[region.pieces.way], np.bool_)


#: What a driver in a hurry does on a road of each class at most [km/h] (common practice, no source): beyond it another road
#: is likelier. No limit, and never a reason to take a driver for slower than he was.
_HASTY = {
    "motorway": 150, "trunk": 140, "primary": 130, "secondary": 130, "tertiary": 120, "unclassified": 100, "road": 100,
    "residential": 80, "living_street": 45, "service": 55, "track": 55, "ferry": 80,
}  # fmt: skip
_HASTY_KMH = np.array([_HASTY[name.removesuffix("_link")] for name in HIGHWAYS], np.float64)
