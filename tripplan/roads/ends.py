"""The ends of a leg: from a spot to the network and back, over roads that may be used at the ends only.

A small search from the point on its piece of road: forward to leave, backward to arrive, until the strongly connected
network is reached. It counts the metres of unknown surface and never goes through the network, so that such roads
cannot serve in transit.
"""

from __future__ import annotations

import heapq
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tripplan.region.columns import Access
from tripplan.roads.network import Arcs, Network
from tripplan.roads.verdict import Verdict

__all__ = ["EndSearch", "EndWay", "Part"]

#: Most road between a spot and the network [m], and most labels looked at.
_FARTHEST_M = 25_000.0
_MOST_LABELS = 5000
#: Ways with no more than so much unknown road above the least are kept too [m].
_UNKNOWN_SLACK_M = 50.0

#: Piece, driven as drawn, from, to along the direction of travel [m], time [ms].
Part = tuple[int, bool, float, float, int]


@dataclass(frozen=True, slots=True)
class EndWay:
    """One way between a spot and the network (or another spot).

    Parameters
    ----------
    state
        Leaving: the state on its last arc, which ends in the network. Arriving: the state on its first arc, which begins there; one
        way for each state that the rest may be driven from. Between two spots: the other spot's number.
    """

    state: int
    ms: int
    unknown_m: float
    parts: tuple[Part, ...]


class EndSearch:
    """Searches at the ends of legs in one network.

    Parameters
    ----------
    core
        (junctions) the strongly connected network that counts.
    spots_on
        Piece -> (spot, metres from its first point) of the spots that are joined to it, for ways from spot to spot.
    """

    def __init__(
        self, network: Network, core: NDArray[np.bool_], spots_on: Mapping[int, Sequence[tuple[int, float]]] | None = None
    ) -> None:
        self._arcs: Arcs = network.arcs
        self._length = network.region.pieces.length_m
        self._allowed_m = network.terms.last_mile_m
        self._u_turns = network.u_turns
        self._core = core
        self._spots_on = spots_on or {}
        self._in: tuple[NDArray[np.int64], NDArray[np.int64]] | None = None

    def leave(self, piece: int, along_m: float) -> list[EndWay]:
        """Return the ways from a point on a piece into the network, none over the allowance of unknown road."""
        return self._keep(self._leave(piece, along_m)[0])

    def between(self, spot: int, piece: int, along_m: float) -> list[EndWay]:
        """Return the ways from one spot to others without touching the network, the fastest to each."""
        best: dict[int, EndWay] = {}
        for way in self._leave(piece, along_m, spot)[1]:
            if way.state not in best or way.ms < best[way.state].ms:
                best[way.state] = way
        return [best[other] for other in sorted(best)]

    def arrive(self, piece: int, along_m: float) -> list[EndWay]:
        """Return the ways from the network to a point on a piece."""
        arcs, length, found = self._arcs, float(self._length[piece]), []
        heap: list[tuple[int, float, float, int, tuple[Part, ...]]] = []
        for side in (0, 1):
            x = along_m if side == 0 else length - along_m
            for arc in arcs.arcs_along(piece, side):
                part = self._part(arc, 0.0, x)
                heapq.heappush(heap, (part[4], self._unknown(part), x, arc, (part,)))
        seen: dict[int, float] = {}
        labels = 0
        while heap and labels < _MOST_LABELS:
            ms, unknown, metres, arc, parts = heapq.heappop(heap)
            if unknown >= seen.get(arc, np.inf) or unknown > self._allowed_m or metres > _FARTHEST_M:
                continue
            seen[arc] = unknown
            labels += 1
            v = int(arcs.tail[arc])
            if self._core[v]:
                found += [EndWay(state, ms, unknown, parts) for state in self._states_on(arc) if self._sound(state, parts)]
                continue
            if arcs.barred[v] == Access.CLOSED:
                continue
            for before in self._arcs_into(v):
                if arc in (arcs.arc_of_state(s) for s in arcs.next_states(before, u_turns=self._u_turns)):
                    part = self._part(before, 0.0, float(self._length[arcs.piece[before]]))
                    heapq.heappush(heap, (ms + part[4], unknown + self._unknown(part), metres + part[3], before, (part, *parts)))
        return self._keep(found)

    def _leave(self, piece: int, along_m: float, spot: int = -1) -> tuple[list[EndWay], list[EndWay]]:
        arcs, length = self._arcs, float(self._length[piece])
        found: list[EndWay] = []
        between: list[EndWay] = []
        heap: list[tuple[int, float, float, int, tuple[Part, ...]]] = []
        for side in (0, 1):
            arc = int(arcs.arc_of[piece, side])
            x = along_m if side == 0 else length - along_m
            if arc < 0:
                continue
            between += self._spots_along(arc, x, 0, 0.0, (), spot)
            part = self._part(arc, x, length)
            heapq.heappush(heap, (part[4], self._unknown(part), length - x, arc, (part,)))
        seen: dict[int, float] = {}
        labels = 0
        while heap and labels < _MOST_LABELS:
            ms, unknown, metres, state, parts = heapq.heappop(heap)
            if unknown >= seen.get(state, np.inf) or unknown > self._allowed_m or metres > _FARTHEST_M:
                continue
            seen[state] = unknown
            labels += 1
            v = int(arcs.head[arcs.arc_of_state(state)])
            if self._core[v]:
                found.append(EndWay(state, ms, unknown, parts))
                continue
            if arcs.barred[v] == Access.CLOSED:
                continue
            for after in arcs.next_states(state, u_turns=self._u_turns):
                arc = arcs.arc_of_state(after)
                between += self._spots_along(arc, 0.0, ms, unknown, parts, spot)
                part = self._part(arc, 0.0, float(self._length[arcs.piece[arc]]))
                heapq.heappush(heap, (ms + part[4], unknown + self._unknown(part), metres + part[3], after, (*parts, part)))
        return found, between

    def _spots_along(self, arc: int, start_m: float, ms: int, unknown: float, parts: tuple[Part, ...], spot: int) -> list[EndWay]:
        """Return the ways that end at spots further along an arc that is entered at ``start_m``."""
        arcs, out = self._arcs, []
        piece = int(arcs.piece[arc])
        for other, along in self._spots_on.get(piece, ()):
            x = along if arcs.forward[arc] else float(self._length[piece]) - along
            if other != spot and x >= start_m:
                part = self._part(arc, start_m, x)
                total = unknown + self._unknown(part)
                if total <= self._allowed_m:
                    out.append(EndWay(other, ms + part[4], total, (*parts, part)))
        return out

    def _part(self, arc: int, from_m: float, to_m: float) -> Part:
        arcs = self._arcs
        piece = int(arcs.piece[arc])
        share = (to_m - from_m) / max(float(self._length[piece]), 1e-9)
        ms = max(1, round(int(arcs.ms[arc]) * min(share, 1.0)))
        return piece, bool(arcs.forward[arc]), from_m, to_m, ms

    def _unknown(self, part: Part) -> float:
        return part[3] - part[2] if self._arcs.verdict[part[0]] == Verdict.LAST_MILE else 0.0

    def _keep(self, found: list[EndWay]) -> list[EndWay]:
        """Keep the fastest way for each state, and no more unknown road than is needed."""
        if not found:
            return []
        most = min(way.unknown_m for way in found) + _UNKNOWN_SLACK_M
        best: dict[int, EndWay] = {}
        for way in found:
            if way.unknown_m <= most and (way.state not in best or way.ms < best[way.state].ms):
                best[way.state] = way
        return [best[state] for state in sorted(best)]

    def _arcs_into(self, junction: int) -> list[int]:
        if self._in is None:
            order = np.argsort(self._arcs.head, kind="stable").astype(np.int64)
            counts = np.bincount(self._arcs.head, minlength=len(self._core))
            self._in = np.concatenate(([0], np.cumsum(counts))).astype(np.int64), order
        ptr, order = self._in
        into: list[int] = order[ptr[junction] : ptr[junction + 1]].tolist()
        return into

    def _states_on(self, arc: int) -> list[int]:
        """Return the states on an arc: the plain one, and those that are in the middle of a restriction when they enter it."""
        extra = np.flatnonzero(self._arcs.extra_arc == arc) + len(self._arcs.head)
        return [arc, *extra.tolist()]

    def _sound(self, state: int, parts: tuple[Part, ...]) -> bool:
        """Return whether a way found backward, which begins in a state, keeps every turn restriction, also with via ways."""
        arcs = self._arcs
        for piece, forward, *_ in parts[1:]:
            onward = [
                s
                for s in arcs.next_states(state, u_turns=self._u_turns)
                if arcs.piece[arc := arcs.arc_of_state(s)] == piece and arcs.forward[arc] == forward
            ]
            if not onward:
                return False
            state = onward[0]
        return True
