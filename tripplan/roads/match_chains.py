"""What a matched track is made of: roads driven one after another, tied together from the steps between its points."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tripplan.model.plan import PieceRun
from tripplan.roads.match_graph import MatchGraph
from tripplan.roads.match_kernel import ROAD

__all__ = ["Chain", "Match", "Setup", "tie"]

F64 = NDArray[np.float64]
I64 = NDArray[np.int64]
Mask = NDArray[np.bool_]

#: Less of a road at the end of a chain is none of the way [m].
_HAIR_M = 0.05
#: A step between points longer than this, and than so many usual ones, is a hole in the record [m].
_HOLE_M, _HOLE_STEPS = 1000.0, 4.0


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


def tie(setup: Setup, found: Sequence[Any]) -> Match:
    """Tie the steps that `match_kernel.decode` found to chains."""
    chains = _Tied(setup, found).chains()
    on_road = np.zeros(len(setup.lon), bool)
    for chain in chains:
        on_road[chain.point] = True
    return Match(setup.lon, setup.lat, setup.time_s, setup.weight, on_road, setup.fresh, setup.noise_m, chains)


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
