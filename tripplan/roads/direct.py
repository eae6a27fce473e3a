"""The direct way that the outfit may not take: told where the way on sealed roads is much longer, so that nobody is tempted by it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tripplan.model.plan import Leg, PieceRun
from tripplan.region.columns import HIGHWAYS, Access, Flag
from tripplan.region.geometry import segment_lengths_m
from tripplan.roads.check_legs import Brought
from tripplan.roads.lengths import LengthGraph
from tripplan.roads.network import Network
from tripplan.roads.verdict import Verdict

__all__ = ["LEAST_LONGER_M", "LEAST_LONGER_SHARE", "DirectWay", "direct_ways"]

#: A direct way is told when the sealed way is longer by at least so much [m] and this share (common practice, no source).
LEAST_LONGER_M, LEAST_LONGER_SHARE = 2000.0, 0.25
#: Legs that are looked at, those with the longest way against the straight line first.
_MOST_LEGS = 100
#: Nobody takes such roads for a way through while a sign closes them, nor a track of unknown surface.
_NO_WAY_THROUGH = ("track", "service")


@dataclass(frozen=True, slots=True)
class DirectWay:
    """The shortest way of a leg, which the outfit may not take.

    Parameters
    ----------
    leg
        Number of the leg, from 0.
    length_m
        Its length; longer_m: how much longer the leg is as it is driven [m].
    runs
        Its roads.
    """

    leg: int
    length_m: float
    longer_m: float
    runs: PieceRun


def direct_ways(brought: Brought, tow: Network, legs: Sequence[Leg | None], clear: Sequence[bool]) -> list[DirectWay]:
    """Return the direct ways of legs that keep to the outfit's roads and are much longer for it.

    The direct way is the shortest over all roads in their directions: turn restrictions, barriers, signs, sizes and surfaces
    disregarded, yet without tracks and service roads that a sign closes to cars. It is told only where the shortest way
    over the outfit's own roads is longer by `LEAST_LONGER_M` and `LEAST_LONGER_SHARE`; a way that is longer because it is faster
    is the driver's own choice.
    """
    least = [_least(leg) if leg and good else 0.0 for leg, good in zip(legs, clear, strict=True)]
    asked = [k for k, leg in enumerate(legs) if leg and clear[k] and _most(leg.length_m) >= least[k] > 0]
    asked = sorted(sorted(asked, key=lambda k: least[k] - _length(legs[k]))[:_MOST_LEGS])
    if not asked:
        return []
    region = tow.region
    every = LengthGraph(region, _all_roads(brought.network))
    own = LengthGraph(region, _own_roads(tow, [legs[k] for k in asked]))
    out = []
    for k in asked:
        start, end = brought.at(k), brought.at(k + 1)
        if start is None or end is None or start[0] == end[0]:
            continue
        steps = every.way(start, end, _most(_length(legs[k])))
        if steps is None:
            continue
        metres = sum(step[3] - step[2] for step in steps)
        if own.way(start, end, max(metres + LEAST_LONGER_M, metres * (1 + LEAST_LONGER_SHARE))) is not None:
            continue
        piece, forward, begin, stop = (tuple(column) for column in zip(*steps, strict=True))
        runs = PieceRun(piece, forward, begin, stop, (0.0,) * len(steps))
        out.append(DirectWay(k, metres, _length(legs[k]) - metres, runs))
    return out


def _length(leg: Leg | None) -> float:
    return leg.length_m if leg else 0.0


def _least(leg: Leg) -> float:
    """Return the straight distance of a leg [m]: no way is shorter."""
    return float(segment_lengths_m(np.array([leg.start.lon, leg.end.lon]), np.array([leg.start.lat, leg.end.lat]))[0])


def _most(metres: float) -> float:
    """Return how long a direct way may be to be told beside a way of so many metres."""
    return min(metres - LEAST_LONGER_M, metres / (1 + LEAST_LONGER_SHARE))


def _all_roads(every: Network) -> NDArray[np.bool_]:
    region = every.region
    small = np.isin(region.ways.highway, [HIGHWAYS.index(name) for name in _NO_WAY_THROUGH])
    ferry = (region.ways.flags & Flag.FERRY) != 0
    shut = (region.ways.car_access == Access.CLOSED) & (small | ferry)
    return np.asarray(~shut[region.pieces.way], np.bool_)


def _own_roads(tow: Network, legs: Sequence[Leg | None]) -> NDArray[np.bool_]:
    """Return the roads of the outfit in transit, and what the legs have at their ends."""
    arcs, pieces = tow.arcs, tow.region.pieces
    barred = arcs.barred == Access.CLOSED
    own = np.asarray((arcs.verdict == Verdict.ROAD) & ~barred[pieces.a] & ~barred[pieces.b], np.bool_)
    for leg in legs:
        if leg:
            own[list(leg.runs.piece)] = True
    return own
