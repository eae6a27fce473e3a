"""Turn restrictions to pieces: by way of a node or of ways; what cannot be resolved is counted."""

from __future__ import annotations

import itertools
from collections import Counter
from collections.abc import Sequence

import numpy as np

from tripplan.osm.raw import RawMap, RawRelation
from tripplan.region.columns import HOLDS_CAR, HOLDS_TOW, Turns
from tripplan.region.split import Split
from tripplan.region.strings import StringTable

__all__ = ["resolve_turns"]

_MOST_MEMBERS = 40
#: Pieces that are looked at to resolve one relation; ways that cross each other at every node could be combined without end.
_MOST_STEPS = 100_000


class _TooMuchError(Exception):
    """A relation would take too long to resolve."""


class _Net:
    """Pieces of a way in order, and junctions by node id."""

    def __init__(self, raw: RawMap, split: Split, oneway: np.ndarray[tuple[int], np.dtype[np.int8]]) -> None:
        self._way_id = raw.way_id
        self._by_id = np.argsort(raw.way_id, kind="stable")
        self._sorted_way = raw.way_id[self._by_id]
        self._split = split
        self._oneway = oneway
        self.left = _MOST_STEPS

    def way_row(self, osm_id: int) -> int:
        at = int(np.searchsorted(self._sorted_way, osm_id))
        return int(self._by_id[at]) if at < len(self._sorted_way) and self._sorted_way[at] == osm_id else -1

    def junction(self, node_id: int) -> int:
        at = int(np.searchsorted(self._split.junction_id, node_id))
        return at if at < len(self._split.junction_id) and self._split.junction_id[at] == node_id else -1

    def pieces(self, way: int) -> range:
        found = range(int(np.searchsorted(self._split.way, way)), int(np.searchsorted(self._split.way, way, side="right")))
        self.left -= 10 + len(found)
        if self.left < 0:
            raise _TooMuchError
        return found

    def ends(self, piece: int) -> tuple[int, int]:
        return int(self._split.a[piece]), int(self._split.b[piece])

    def arriving(self, way: int, junction: int) -> list[int]:
        """Pieces of a way by which one may come to a junction."""
        one_way = int(self._oneway[way])
        found = []
        for piece in self.pieces(way):
            a, b = self.ends(piece)
            if (b == junction and one_way >= 0) or (a == junction and one_way <= 0):
                found.append(piece)
        return found

    def leaving(self, way: int, junction: int) -> list[int]:
        """Pieces of a way by which one may go from a junction."""
        one_way = int(self._oneway[way])
        found = []
        for piece in self.pieces(way):
            a, b = self.ends(piece)
            if (a == junction and one_way >= 0) or (b == junction and one_way <= 0):
                found.append(piece)
        return found

    def junctions(self, way: int) -> set[int]:
        return {end for piece in self.pieces(way) for end in self.ends(piece)}

    def walk(self, way: int, start: int, goal: int) -> list[int] | None:
        """Pieces along a way from one of its junctions to another, fewest first."""
        one_way = int(self._oneway[way])
        best: dict[int, list[int]] = {start: []}
        queue = [start]
        for here in queue:
            if here == goal and best[here]:
                return best[here]
            for piece in self.pieces(way):
                a, b = self.ends(piece)
                for from_, to, open_ in ((a, b, one_way >= 0), (b, a, one_way <= 0)):
                    if from_ == here and open_ and to not in best:
                        best[to] = [*best[here], piece]
                        queue.append(to)
        return best.get(goal) or None


def resolve_turns(
    raw: RawMap, split: Split, oneway: np.ndarray[tuple[int], np.dtype[np.int8]], strings: StringTable, faults: Counter[str]
) -> Turns:
    """Return the turn restrictions that hold for a car with trailer or for the car alone, as pieces in order of travel."""
    from tripplan.rules.turns import judge_turns

    net = _Net(raw, split, oneway)
    rows: list[tuple[int, list[int], int, int, int, int, int]] = []
    for relation in raw.restrictions:
        facts = judge_turns(relation.tags)
        if not facts:
            continue
        net.left = _MOST_STEPS
        try:
            chains, trouble = _chains(net, relation)
        except _TooMuchError:
            chains, trouble = [], "too many ways to read it"
        if trouble:
            faults[f"turn restrictions left out ({trouble})"] += 1
        for fact in facts:
            when, holds = strings.number(fact.when), (HOLDS_TOW if fact.tow else 0) | (HOLDS_CAR if fact.car else 0)
            rows += [(relation.osm_id, pieces, via, int(fact.only), int(fact.u_turn), when, holds) for via, pieces in chains]
    ptr = np.zeros(len(rows) + 1, np.int64)
    np.cumsum([len(row[1]) for row in rows], out=ptr[1:])
    return Turns(
        osm_id=np.array([row[0] for row in rows], np.int64), ptr=ptr, pieces=np.array([piece for row in rows for piece in row[1]], np.int32),
        via=np.array([row[2] for row in rows], np.int32), only=np.array([row[3] for row in rows], np.uint8),
        u_turn=np.array([row[4] for row in rows], np.uint8), when=np.array([row[5] for row in rows], np.int32),
        holds_for=np.array([row[6] for row in rows], np.uint8),
    )  # fmt: skip


def _chains(net: _Net, relation: RawRelation) -> tuple[list[tuple[int, list[int]]], str]:
    """Return (via junction, pieces) for every from and to of a relation, or why there are none."""
    if len(relation.members) > _MOST_MEMBERS:
        return [], "too many members"
    from_ = [ref for kind, ref, role in relation.members if role == "from" and kind == "w"]
    to = [ref for kind, ref, role in relation.members if role == "to" and kind == "w"]
    via_nodes = [ref for kind, ref, role in relation.members if role == "via" and kind == "n"]
    via_ways = [ref for kind, ref, role in relation.members if role == "via" and kind == "w"]
    if not from_ or not to or not (via_nodes or via_ways):
        return [], "a role is missing"
    rows = {ref: net.way_row(ref) for ref in (*from_, *to, *via_ways)}
    if any(row < 0 for row in rows.values()):
        return [], "a way is not on the map"
    found: list[tuple[int, list[int]]] = []
    trouble = ""
    for a in from_:
        for b in to:
            if via_ways:
                chain = _by_ways(net, rows[a], [rows[w] for w in via_ways], rows[b])
                trouble = trouble or ("" if chain else "via ways don't join")
            else:
                chain = _by_node(net, rows[a], net.junction(via_nodes[0]), rows[b])
                trouble = trouble or ("" if chain else _why_not(net, rows[a], net.junction(via_nodes[0]), rows[b]))
            found += chain
    return found, "" if found else trouble


def _why_not(net: _Net, from_: int, via: int, to: int) -> str:
    met = via >= 0 and via in net.junctions(from_) and via in net.junctions(to)
    return "a one-way road keeps it already, or one side is not clear" if met else "from and to don't meet at via"


def _by_node(net: _Net, from_: int, via: int, to: int) -> list[tuple[int, list[int]]]:
    if via < 0:
        return []
    arriving, leaving = net.arriving(from_, via), net.leaving(to, via)
    if len(arriving) > 1 or len(leaving) > 1:
        # A way that runs on through the junction: drawn in one, either side could be meant. A turn back on the same way is clear.
        if from_ == to and len(arriving) == len(leaving):
            return [(via, [piece, piece]) for piece in arriving if piece in leaving]
        if len(arriving) > 1 and len(leaving) > 1:
            return []
    return [(via, [a, b]) for a in arriving for b in leaving if a != b or from_ == to]


def _by_ways(net: _Net, from_: int, via: Sequence[int], to: int) -> list[tuple[int, list[int]]]:
    for order in (via, tuple(reversed(via))):
        chain = _along(net, from_, order, to)
        if chain:
            return chain
    return []


def _along(net: _Net, from_: int, via: Sequence[int], to: int) -> list[tuple[int, list[int]]]:
    ways = (from_, *via, to)
    meeting: list[set[int]] = []
    for left, right in itertools.pairwise(ways):
        common = net.junctions(left) & net.junctions(right)
        if not common:
            return []
        meeting.append(common)
    found: list[tuple[int, list[int]]] = []
    for start in sorted(meeting[0]):
        stretches: list[tuple[int, list[int]]] = [(start, [])]
        for way, nodes in zip(via, meeting[1:], strict=True):
            longer: list[tuple[int, list[int]]] = []
            for here, done in stretches:
                for goal in sorted(nodes):
                    pieces = net.walk(way, here, goal) if goal != here else None
                    if pieces:
                        longer.append((goal, done + pieces))
            stretches = longer
        for end, middle in stretches:
            for first in net.arriving(from_, start):
                for last in net.leaving(to, end):
                    if first not in middle and last not in middle:
                        found.append((start, [first, *middle, last]))  # noqa: PERF401
    shortest = min((len(pieces) for _, pieces in found), default=0)
    return [row for row in found if len(row[1]) == shortest]
