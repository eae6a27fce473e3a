"""Turn restrictions to pieces: by way of a node or of ways; what cannot be resolved is counted.

A ``from`` or ``to`` should end at the ``via``. Where one runs on through it, either side could be meant: then the turn that the
relation names (left, right, straight on, back) is held against the angles of the drawn ways. It is applied where one
reading alone fits, and left out where several do or none. ``no_entry`` and ``no_exit`` mean every turn between their ways.
"""

from __future__ import annotations

import itertools
import math
from collections import Counter
from collections.abc import Sequence

import numpy as np

from tripplan.osm.raw import RawMap, RawRelation
from tripplan.region.columns import HOLDS_CAR, HOLDS_TOW, Turns
from tripplan.region.split import Split
from tripplan.region.strings import StringTable

__all__ = ["resolve_turns"]

#: Via junction, and pieces in order of travel.
Chain = tuple[int, list[int]]

_MOST_MEMBERS = 40
#: Along so much of a road its direction at a junction is looked at [1e-7 degrees]: about 15 m, beyond the rounding of a corner.
_LOOK_E7 = 1350.0
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
        self._lon, self._lat = raw.lon_e7, raw.lat_e7
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

    def turn(self, first: int, start: int, last: int, end: int) -> float:
        """Return by how much one turns from coming by a piece to a junction to leaving another by a piece [degrees, left positive]."""
        turned = self._away(last, end) - (self._away(first, start) + 180.0)
        return (turned + 180.0) % 360.0 - 180.0

    def _away(self, piece: int, junction: int) -> float:
        """Return the direction in which a piece leads away from one of its ends [degrees, counted from east to north]."""
        first, last = int(self._split.first[piece]), int(self._split.last[piece])
        rows = range(first, last + 1) if self._split.a[piece] == junction else range(last, first - 1, -1)
        squeeze = math.cos(math.radians(self._lat[first] / 1e7))
        east = north = 0.0
        for row in rows[1:]:
            east = ((int(self._lon[row]) - int(self._lon[rows[0]]) + 1_800_000_000) % 3_600_000_000 - 1_800_000_000) * squeeze
            north = float(int(self._lat[row]) - int(self._lat[rows[0]]))
            if math.hypot(east, north) >= _LOOK_E7:
                break
        return math.degrees(math.atan2(north, east))

    def fitting(self, chains: list[Chain], sides: tuple[float, float] | None) -> list[Chain]:
        """Return the readings of a relation that are the turn it names: all of them where it means every turn, else one or none."""
        if sides is None:
            return []
        if math.isinf(sides[0]):
            return chains
        fit = []
        for via, members in chains:
            end = self._last_junction(via, members)
            angle = self.turn(members[0], via, members[-1], end)
            if any(sides[0] <= a <= sides[1] for a in (angle, angle + 360.0)):
                fit.append((via, members))
        return fit if len(fit) == 1 else []

    def _last_junction(self, via: int, members: list[int]) -> int:
        here = via
        for piece in members[1:-1]:
            a, b = self.ends(piece)
            here = b if a == here else a
        return here

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


def _chains(net: _Net, relation: RawRelation) -> tuple[list[Chain], str]:
    """Return (via junction, pieces) for every from and to of a relation, and why there are none or fewer."""
    from tripplan.rules.turns import turn_sides

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
    sides = turn_sides(relation.tags)
    found: list[Chain] = []
    trouble = ""
    for a in from_:
        for b in to:
            if via_ways:
                chains = _by_ways(net, rows[a], [rows[w] for w in via_ways], rows[b])
                missing = "via ways don't join"
            else:
                chains = _by_node(net, rows[a], net.junction(via_nodes[0]), rows[b])
                missing = _why_not(net, rows[a], net.junction(via_nodes[0]), rows[b])
            if len(chains) > 1 and not _turns_back(chains):
                chains, missing = net.fitting(chains, sides), "a way runs through via, and either side could be meant"
            trouble = trouble or ("" if chains else missing)
            found += chains
    return found, trouble if not found or "either side" in trouble else ""


def _why_not(net: _Net, from_: int, via: int, to: int) -> str:
    met = via >= 0 and via in net.junctions(from_) and via in net.junctions(to)
    return "a one-way road keeps it already" if met else "from and to don't meet at via"


def _turns_back(chains: list[Chain]) -> bool:
    """Whether all that a relation can mean is turning round on one road, on either side."""
    return all(len(members) == 2 and members[0] == members[1] for _, members in chains)


def _by_node(net: _Net, from_: int, via: int, to: int) -> list[Chain]:
    if via < 0:
        return []
    arriving, leaving = net.arriving(from_, via), net.leaving(to, via)
    if from_ == to and len(arriving) == len(leaving) > 1:
        # A way that runs on through the junction: a turn back on it is clear.
        return [(via, [piece, piece]) for piece in arriving if piece in leaving]
    return [(via, [a, b]) for a in arriving for b in leaving if a != b or from_ == to]


def _by_ways(net: _Net, from_: int, via: Sequence[int], to: int) -> list[Chain]:
    for order in (via, tuple(reversed(via))):
        chains = _along(net, from_, order, to)
        if chains:
            return chains
    return []


def _along(net: _Net, from_: int, via: Sequence[int], to: int) -> list[Chain]:
    ways = (from_, *via, to)
    meeting: list[set[int]] = []
    for left, right in itertools.pairwise(ways):
        common = net.junctions(left) & net.junctions(right)
        if not common:
            return []
        meeting.append(common)
    found: list[Chain] = []
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
