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

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tripplan.model.errors import BadInputError
from tripplan.model.plan import PieceRun
from tripplan.model.track import Track
from tripplan.region.columns import HIGHWAYS
from tripplan.region.region import Region
from tripplan.roads.match_graph import MatchGraph, open_graph
from tripplan.roads.match_kernel import ROAD, compiled, decode
from tripplan.roads.match_near import Candidates, RoadGrid, distances_m, steps_m

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
_WORK, _WORK_A_POINT, _MOST_WORK = 20_000_000, 10_000, 300_000_000
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
    closed, minor
        Cost for each point of a road that is closed to cars, of a service road or track: others are looked at first.
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
    thin_noises: float = 3.0
    slip_noises: float = 4.0
    haste: float = 6.0
    fastest_kmh: float = 180.0
    widest_gap_m: float = 20_000.0


@dataclass(frozen=True, slots=True)
class Chain:
    """Roads driven one after another without a break.

    Parameters
    ----------
    piece, forward, from_m, to_m
        Pieces as in `PieceRun`, along the direction of travel [m].
    point
        Rows of `Match.lon` that lie on it. point_m: where each lies, from the chain's beginning [m].
    hole_m
        (n, 2) parts of the chain without a point, taken by the shortest road [m from the beginning].
    """

    piece: NDArray[np.int32]
    forward: Mask
    from_m: F64
    to_m: F64
    point: I64
    point_m: F64
    hole_m: F64

    @property
    def length_m(self) -> float:
        """Length [m]."""
        return float((self.to_m - self.from_m).sum())

    def runs(self) -> PieceRun:
        """Return it as pieces of a leg, without times."""
        none = (0.0,) * len(self.piece)
        return PieceRun(
            tuple(self.piece.tolist()), tuple(self.forward.tolist()), tuple(self.from_m.tolist()), tuple(self.to_m.tolist()), none
        )


@dataclass(frozen=True, slots=True)
class Match:
    """What came out.

    Parameters
    ----------
    lon, lat, time_s
        The points used, noise of a standing or slow recorder averaged [degrees, s].
    weight
        Recorded points that each stands for.
    on_road
        Whether it lies on a chain. fresh: whether it begins a part of its own.
    noise_m
        Noise that was reckoned with [m].
    chains
        In order of travel.
    """

    lon: F64
    lat: F64
    time_s: F64
    weight: I64
    on_road: Mask
    fresh: Mask
    noise_m: float
    chains: tuple[Chain, ...]


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
        wide = int((setup.step_m > 2000).sum())
        raise BadInputError(
            f"the track has too many gaps to be followed ({wide:,} of {len(setup.step_m) - 1:,} steps are longer than 2 km)",
            accepted="a record with points every few seconds", next_step="check it as way-points",
        )  # fmt: skip
    chains = _Tied(setup, found).chains()
    on_road = np.zeros(len(setup.lon), bool)
    for chain in chains:
        on_road[chain.point] = True
    return Match(setup.lon, setup.lat, setup.time_s, setup.weight, on_road, setup.fresh, setup.noise_m, chains)


@dataclass(frozen=True, slots=True)
class Setup:
    """A track made ready: see `Match` for the points, ``inputs`` are those of `match_kernel.decode`."""

    graph: MatchGraph
    lon: F64
    lat: F64
    time_s: F64
    weight: I64
    step_m: F64
    fresh: Mask
    noise_m: float
    inputs: tuple[Any, ...]


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
            next_step="take the region that the track lies in",
        )  # fmt: skip
    ptr, arc, at_m, cost = _states(graph, near, noise, model, _minor(region))
    hasty = 3.6 * graph.length_m / _HASTY_KMH[region.ways.highway[region.pieces.way[graph.piece]]]
    step = np.concatenate(([0.0], steps_m(lon, lat)))
    leap = np.zeros(len(lon))
    leap[2:] = distances_m(lon[:-2], lat[:-2], lon[2:], lat[2:])
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
    return ptr, arc, at, cost[row]


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

#: Less of a road at the end of a chain is none of the way [m].
_HAIR_M = 0.05
#: A step between points longer than this, and than so many usual ones, is a hole in the record [m].
_HOLE_M, _HOLE_STEPS = 1000.0, 4.0


class _Tied:
    """Steps tied to chains."""

    def __init__(self, setup: Setup, found: Sequence[Any]) -> None:
        chosen, how, before, run_ptr, run_arc, run_from, run_to = found
        step = setup.step_m
        self._graph = setup.graph
        self._chosen, self._how, self._before = chosen.tolist(), how.tolist(), before.tolist()
        self._ptr, self._arc = run_ptr.tolist(), run_arc.tolist()
        self._from, self._to = run_from.tolist(), run_to.tolist()
        self._state_arc, self._at = setup.inputs[1], setup.inputs[2]
        self._gone = np.cumsum(step)
        usual = float(np.median(step[1:])) if len(step) > 1 else 0.0
        self._hole_m = max(_HOLE_M, _HOLE_STEPS * usual)

    def chains(self) -> tuple[Chain, ...]:
        """Return the chains with more than one point."""
        out: list[Chain] = []
        rows: list[list[float]] = []
        points: list[int] = []
        at: list[float] = []
        holes: list[tuple[float, float]] = []
        reverse = self._graph.reverse
        done = 0.0
        for t, state in enumerate(self._chosen):
            if state < 0:
                continue
            if self._how[t] != ROAD or not points:
                self._close(out, rows, points, at, holes)
                arc, begin = int(self._state_arc[state]), float(self._at[state])
                rows, points, at, holes, done = [[arc, begin, begin]], [t], [0.0], [], 0.0
                continue
            begin_m = done
            for k in range(self._ptr[t], self._ptr[t + 1]):
                arc, low, high = self._arc[k], self._from[k], self._to[k]
                last = rows[-1]
                if k == self._ptr[t]:  # goes on where the last step ended, or a little behind it
                    done += max(high - last[2], 0.0)
                    last[2] = max(last[2], high)
                    continue
                if arc == reverse[int(last[0])] and k == self._ptr[t] + 1:
                    low = min(low, max(float(self._graph.length_m[arc]) - last[2], 0.0))
                rows.append([arc, low, max(low, high)])
                done += max(high - low, 0.0)
            points.append(t)
            at.append(done)
            if self._gone[t] - self._gone[self._before[t]] > self._hole_m:
                holes.append((begin_m, done))
        self._close(out, rows, points, at, holes)
        return tuple(out)

    def _close(
        self, out: list[Chain], rows: list[list[float]], points: list[int], at: list[float], holes: Sequence[tuple[float, float]]
    ) -> None:
        if len(points) < 2:
            return
        table = np.array(rows)
        length = table[:, 2] - table[:, 1]
        keep = length > 0
        # A point on a junction lies on every road that meets there: a hair's breadth of one is none of the way.
        keep[[0, -1]] = length[[0, -1]] > _HAIR_M
        table = table[keep]
        arc = table[:, 0].astype(np.int64)
        if not len(arc):
            return
        out.append(
            Chain(
                self._graph.piece[arc], self._graph.forward[arc], table[:, 1], table[:, 2], np.array(points, np.int64),
                np.array(at), np.array(holes, np.float64).reshape(-1, 2),
            )
        )  # fmt: skip
