"""The legs of a way that somebody brings: between way-points over every road of the map, and over the outfit's own."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tripplan.model.place import Spot
from tripplan.model.plan import Leg
from tripplan.roads.apart import why_apart
from tripplan.roads.diagnose import metres
from tripplan.roads.join import join
from tripplan.roads.lengths import At, LengthGraph, direction
from tripplan.roads.nearest import PieceIndex
from tripplan.roads.network import Network, Say
from tripplan.roads.route import make_leg
from tripplan.roads.verdict import Verdict

__all__ = ["Brought", "Gap", "advise", "consecutive"]

#: Separate networks (islands) that way-points are looked for on, beside the largest.
_MOST_NETWORKS = 8
#: A way-point further than this from every road is off the map [m].
_FAR_M = 2000.0


@dataclass(frozen=True, slots=True)
class Gap:
    """Way-points between which there is no way, and why: the second may be -1 when one alone is not reached."""

    first: int
    second: int
    why: str


class Brought:
    """Way-points joined to a network, and to the smaller networks that it does not reach.

    Parameters
    ----------
    alone
        Whether roads too short to be a network of their own count as well: true for every road of the map.
    """

    def __init__(self, network: Network, spots: Sequence[Spot], *, alone: bool, progress: Say = None) -> None:
        self.network, self.spots, self.alone = network, tuple(spots), alone
        self.joined = [join(network, spots, on_road=True, progress=progress)]
        tried = {0, -1}
        for spot in np.flatnonzero(~self.joined[0].reached).tolist():
            at = self.at(spot)
            network_of = int(network.arcs.component[network.region.pieces.a[at[0]]]) if at else -1
            if network_of not in tried and len(tried) < _MOST_NETWORKS + 2:
                tried.add(network_of)
                self.joined.append(join(network, spots, home=spot, on_road=True))

    @property
    def reached(self) -> NDArray[np.bool_]:
        """(spots) whether any network reaches it."""
        return np.asarray(np.any([joined.reached for joined in self.joined], axis=0), np.bool_)

    @property
    def why_not(self) -> tuple[str, ...]:
        """(spots) why none does, in numbers; "" where one does."""
        return tuple("" if ok else why for ok, why in zip(self.reached.tolist(), self.joined[0].why_not, strict=True))

    def leg(self, i: int, j: int) -> Leg | None:
        """Return the fastest way from one way-point to another, ``None`` where there is none."""
        for joined in self.joined:
            if joined.reached[i] and joined.reached[j]:
                try:
                    return joined.route(i, j)
                except LookupError:
                    continue
        return self._alone(i, j) if self.alone else None

    def at(self, spot: int) -> At | None:
        """Return where on the roads a way-point lies, ``None`` where none is near."""
        for joined in self.joined:
            if joined.reached[spot]:
                return int(joined.joints.piece[spot]), float(joined.joints.along_m[spot])
        near = self._index.near(self.spots[spot].lon, self.spots[spot].lat, _FAR_M)
        return (int(near.piece[0]), float(near.along_m[0])) if len(near.piece) else None

    def off_the_map(self) -> bool:
        """Whether no way-point is near any road of the map, closed ones among them."""
        pieces = self.network.region.pieces
        index = PieceIndex(pieces, np.arange(len(pieces.way)))
        return not any(len(index.near(spot.lon, spot.lat, _FAR_M).piece) for spot in self.spots)

    def why_no_way(self, i: int, j: int) -> str:
        """Say why nothing leads from one way-point to another, in numbers."""
        for spot in (i, j):
            if self.at(spot) is None:
                return f"{self.spots[spot].name} is on no road: {self.joined[0].why_not[spot]}"
        for joined in self.joined:
            if joined.reached[i] and joined.reached[j]:
                return why_apart(joined, i, j)
        here, there = self._label[self._end(i)], self._label[self._end(j)]
        if here == there:
            return self.why_not[i] or self.why_not[j] or "no way along the one-way roads"
        lengths = [metres(float(self._road_m[label])) for label in (here, there)]
        names = [self.spots[n].name for n in (i, j)]
        return f"{names[0]} is on roads of {lengths[0]} in all, {names[1]} on roads of {lengths[1]}, and nothing joins the two"

    @cached_property
    def _usable(self) -> NDArray[np.bool_]:
        return np.asarray(self.network.arcs.verdict <= Verdict.LAST_MILE, np.bool_)

    @cached_property
    def _index(self) -> PieceIndex:
        return PieceIndex(self.network.region.pieces, np.flatnonzero(self._usable))

    @cached_property
    def _graph(self) -> LengthGraph:
        return LengthGraph(self.network.region, self._usable)

    @cached_property
    def _label(self) -> NDArray[np.int32]:
        """(junctions) number of the roads, joined in any direction, that it lies on."""
        from scipy.sparse import csr_array
        from scipy.sparse.csgraph import connected_components

        region = self.network.region
        a, b = region.pieces.a[self._usable], region.pieces.b[self._usable]
        size = len(region.junctions.osm_id)
        graph: Any = csr_array((np.ones(len(a), np.int8), (a, b)), shape=(size, size))
        return np.asarray(connected_components(graph, directed=False)[1], np.int32)

    @cached_property
    def _road_m(self) -> NDArray[np.float64]:
        pieces = self.network.region.pieces
        label = self._label[pieces.a[self._usable]]
        size = int(self._label.max(initial=0)) + 1
        return np.asarray(np.bincount(label, weights=pieces.length_m[self._usable], minlength=size), np.float64)

    def _end(self, spot: int) -> int:
        at = self.at(spot)
        return int(self.network.region.pieces.a[at[0]]) if at else -1

    def _alone(self, i: int, j: int) -> Leg | None:
        """Return the shortest way over roads that are no network of their own, such as one road on an islet."""
        if self.reached[i] and self.reached[j]:
            return None
        start, end = self.at(i), self.at(j)
        if start is None or end is None or self._label[self._end(i)] != self._label[self._end(j)]:
            return None
        steps = self._within(start, end) or self._graph.way(start, end)
        if steps is None:
            return None
        arcs, length = self.network.arcs, self.network.region.pieces.length_m
        parts = []
        for piece, forward, low, high in steps:
            rows = np.flatnonzero((arcs.piece == piece) & (arcs.forward == forward))
            if not len(rows):
                return None
            share = (high - low) / max(float(length[piece]), 1e-9)
            parts.append((piece, forward, low, high, round(int(arcs.ms[rows[0]]) * share)))
        leg = make_leg(self.network, self.joined[0].joints, parts, (i, self.spots[i]), (j, self.spots[j]))
        return replace(leg, off_road_m=0.0)

    def _within(self, start: At, end: At) -> list[tuple[int, bool, float, float]] | None:
        """Return the way along one piece, where its direction allows it."""
        if start[0] != end[0] or start[1] == end[1]:
            return None
        forward = end[1] > start[1]
        if direction(self.network.region, start[0]) == (-1 if forward else 1):
            return None
        length = float(self.network.region.pieces.length_m[start[0]])
        low, high = (start[1], end[1]) if forward else (length - start[1], length - end[1])
        return [(start[0], forward, low, high)]


def consecutive(brought: Brought) -> tuple[list[Leg | None], list[Gap]]:
    """Return the leg from each way-point to the next over every road, and where there is none."""
    legs = [brought.leg(i, i + 1) for i in range(len(brought.spots) - 1)]
    gaps = [Gap(i, i + 1, brought.why_no_way(i, i + 1)) for i, leg in enumerate(legs) if leg is None]
    return legs, gaps


def advise(tow: Brought, legs: Sequence[Leg | None], clear: Sequence[bool]) -> tuple[tuple[Leg, ...], tuple[Gap, ...], bool]:
    """Return the way over the outfit's own roads between the way-points that it can reach, and whether there is one.

    Parameters
    ----------
    legs, clear
        The way as brought, and which of its legs have nothing forbidden: where the outfit's network has no way, such a leg is one.
    """
    own = tow.reached.copy()
    for k, good in enumerate(clear):
        own[k : k + 2] |= good
    gaps = [Gap(n, -1, tow.why_not[n]) for n in np.flatnonzero(~own).tolist()]
    stops = np.flatnonzero(own).tolist()
    out: list[Leg] = []
    sealed = bool(own[0] and own[-1])
    for i, j in pairwise(stops):
        brought = legs[i] if j == i + 1 and clear[i] else None
        leg = tow.leg(i, j) or brought
        if leg is None:
            gaps.append(Gap(i, j, f"no sealed way between them: {tow.why_no_way(i, j)}"))
            sealed = False
        else:
            out.append(leg)
    return tuple(out) if sealed else (), tuple(gaps), sealed
