"""Independent ways to the same answer: networkx, and a search that remembers the last roads driven."""

from __future__ import annotations

import heapq
from typing import Any

import numpy as np

from tripplan.region.columns import HOLDS_CAR, HOLDS_TOW, Access, Flag
from tripplan.roads.join import Joined
from tripplan.roads.verdict import Verdict

Move = tuple[int, int]  # piece, 0 as drawn or 1 against


class Reference:
    """The rules of the road read straight from the region's columns, on moves instead of arcs and states."""

    def __init__(self, joined: Joined) -> None:
        self.joined = joined
        network = joined.network
        self.region, self.arcs = network.region, network.arcs
        self.u_turns = network.u_turns
        region = self.region
        pieces, ways = region.pieces, region.ways
        self.ends: list[list[int]] = np.column_stack((pieces.a, pieces.b)).tolist()
        self.way: list[int] = pieces.way.tolist()
        self.sails: list[bool] = ((ways.flags & Flag.FERRY) != 0).tolist()
        self.verdict: list[int] = self.arcs.verdict.tolist()
        self.out: dict[int, list[Move]] = {}
        for p, verdict in enumerate(self.verdict):
            oneway = int(ways.oneway[pieces.way[p]])
            for side in (0, 1):
                if verdict <= Verdict.LAST_MILE and (oneway == 0 or (oneway > 0) == (side == 0)):
                    self.out.setdefault(self.ends[p][side], []).append((p, side))
        turns = region.turns
        self.rules: list[tuple[tuple[int, ...], int, bool]] = [
            (tuple(turns.pieces[turns.ptr[r] : turns.ptr[r + 1]].tolist()), int(turns.via[r]), bool(turns.only[r]))
            for r in range(len(turns.osm_id))
            if turns.holds_for[r] & (HOLDS_TOW if network.terms.van else HOLDS_CAR) and r not in network.closures.turns_off
        ]
        self.by_last_but_one: dict[int, list[tuple[tuple[int, ...], int, bool]]] = {}
        for rule in self.rules:
            self.by_last_but_one.setdefault(rule[0][-2], []).append(rule)

    def head(self, move: Move) -> int:
        """Return the junction that a move ends at."""
        return self.ends[move[0]][1 - move[1]]

    def ms(self, past: Move, move: Move) -> int:
        """Return the time of a move after another [ms]: who stays on a boat of one line waits for it once."""
        whole = int(self.arcs.ms[self.arcs.arc_of[move]])
        return whole - self.wait_ms(move) if self.stays(past, move) else whole

    def stays(self, past: Move, move: Move) -> bool:
        """Whether a move goes on by a ferry of the line that the move before it came by, and does not go back."""
        if past[0] == move[0]:
            return False
        one, other = self.way[past[0]], self.way[move[0]]
        if not (self.sails[one] and self.sails[other]):
            return False
        ways = self.region.ways
        return one == other or any(
            self.region.string(int(c[one])) == self.region.string(int(c[other])) != "" for c in (ways.ref, ways.name)
        )

    def wait_ms(self, move: Move) -> int:
        """Return what a ferry asks of those who come on board where a move begins [ms]: nothing at sea."""
        v, pieces = self.ends[move[0]][move[1]], self.region.pieces
        flags, verdict = self.region.ways.flags[pieces.way], self.arcs.verdict
        roads = np.flatnonzero(((pieces.a == v) | (pieces.b == v)) & ((flags & Flag.FERRY) == 0) & (verdict <= Verdict.LAST_MILE))
        if not len(roads):
            return 0
        way = int(pieces.way[move[0]])
        interval, check_in = (float(c[way]) for c in (self.region.ways.ferry_wait_s, self.region.ways.ferry_check_in_s))
        return round(1000 * ((interval if interval == interval else 1800.0) + (check_in if check_in == check_in else 0.0)))

    def may(self, past: tuple[Move, ...], move: Move) -> bool:
        """Return whether a move may follow those before it."""
        if not self.u_turns and move[0] == past[-1][0] and move[1] != past[-1][1]:
            return False
        for members, via, only in self.by_last_but_one.get(past[-1][0], ()):
            k = len(members) - 1
            before = past[-k:]
            if len(before) < k or tuple(m[0] for m in before) != members[:-1] or self.head(before[0]) != via:
                continue
            hits = move[0] == members[-1]
            if hits != only:
                return False
        return True

    def may_all(self, past: tuple[Move, ...], moves: tuple[Move, ...]) -> bool:
        """Return whether moves may follow one after the other."""
        return all(self.may((*past, *moves[:k]), move) for k, move in enumerate(moves))

    def ms_between(self, i: int, j: int, memory: int = 4) -> int:
        """Search from spot i to spot j remembering the last moves; -1 when there is no way [ms]."""
        joints = self.joined.joints
        best = min(
            (
                int(ms)
                for s, t, ms in zip(joints.direct.spot, joints.direct.state, joints.direct.ms, strict=True)
                if (s, t) == (i, j)
            ),
            default=-1,
        )
        sinks: dict[tuple[Move, bool], dict[tuple[Move, ...], int]] = {}
        road = int(Verdict.ROAD)
        for w, (s, state, ms) in enumerate(zip(joints.sinks.spot, joints.sinks.state, joints.sinks.ms, strict=True)):
            if s == j:
                arc = self.arcs.arc_of_state(int(state))
                move = self.move_of(arc)
                aboard = bool(self.arcs.ms[arc] < self.arcs.ms[self.arcs.arc_of[move]])
                rows = range(int(joints.sinks.ptr[w]) + 1, int(joints.sinks.ptr[w + 1]))
                rest = tuple((int(joints.sinks.part_piece[r]), 0 if joints.sinks.part_forward[r] else 1) for r in rows)
                ways = sinks.setdefault((move, aboard), {})
                ways[rest] = min(int(ms), ways.get(rest, int(ms)))
        heap: list[tuple[int, tuple[Move, ...]]] = []
        for w, (s, ms) in enumerate(zip(joints.sources.spot, joints.sources.ms, strict=True)):
            if s == i:
                rows = range(int(joints.sources.ptr[w]), int(joints.sources.ptr[w + 1]))
                past = tuple((int(joints.sources.part_piece[r]), 0 if joints.sources.part_forward[r] else 1) for r in rows)
                heapq.heappush(heap, (int(ms), past[-memory:]))
        seen: set[tuple[Move, ...]] = set()
        while heap:
            ms, past = heapq.heappop(heap)
            if past in seen:
                continue
            seen.add(past)
            if best >= 0 and ms >= best:
                return best
            v = self.head(past[-1])
            if self.arcs.barred[v] != Access.OPEN:
                continue
            for move in self.out.get(v, ()):
                if not self.may(past, move):
                    continue
                sink = (move, True) if self.stays(past[-1], move) and (move, True) in sinks else (move, False)
                for rest, more in sinks.get(sink, {}).items():
                    if (best < 0 or ms + more < best) and self.may_all((*past, move), rest):
                        best = ms + more
                if self.verdict[move[0]] == road:
                    heapq.heappush(heap, (ms + self.ms(past[-1], move), (*past, move)[-memory:]))
        return best

    def move_of(self, arc: int) -> Move:
        """Return the move that an arc is."""
        return int(self.arcs.piece[arc]), 0 if self.arcs.forward[arc] else 1

    def line_graph(self) -> Any:
        """Return a networkx graph of moves; restrictions of two members only (`may` with a memory of one)."""
        import networkx as nx

        graph = nx.DiGraph()
        for moves in self.out.values():
            for move in moves:
                v = self.head(move)
                if self.arcs.barred[v] != Access.OPEN:
                    continue
                for after in self.out.get(v, ()):
                    if self.arcs.verdict[after[0]] == Verdict.ROAD and self.may((move,), after):
                        graph.add_edge(move, after, ms=self.ms(move, after))
        return graph
