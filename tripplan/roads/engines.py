"""Two engines behind one small interface: the compiled search, and scipy on the graph of turns written out in full.

An engine answers for one spot: key to every wanted spot, the state before each sink's arc, the sink used, and the
predecessors. The two share no code of the search and give the same keys.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray

from tripplan.region.columns import Access
from tripplan.roads.joints import Ends, Joints
from tripplan.roads.kernels import INFINITE, compiled, grow_tree
from tripplan.roads.network import KEY_SHIFT, Network

__all__ = ["Engine", "Row", "Setting", "pick_engine"]

I32 = NDArray[np.int32]
I64 = NDArray[np.int64]
Mask = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Row:
    """Answer for one spot, see `kernels.search` and `kernels.grow_tree`; ``way`` is a row of the sinks."""

    best: I64
    way: I32
    state: I32
    parent: I32
    leaf: I32
    ms: I64
    ferry_ms: I64
    length_m: NDArray[np.float64]


class Engine(Protocol):
    """Fastest ways from one spot to others."""

    def row(self, spot: int, wanted: Mask, limit: int = ...) -> Row:
        """Search from a spot."""
        ...


@dataclass(frozen=True)
class Setting:
    """Network and ends laid out for the engines."""

    network: Network
    joints: Joints

    @cached_property
    def closed(self) -> Mask:
        """Junctions that nothing in transit may pass."""
        return np.asarray(self.network.arcs.barred != Access.OPEN, np.bool_)

    @cached_property
    def special_row(self) -> I32:
        """Row of each state among the special ones, -1 for plain ones."""
        rows = np.full(self.network.arcs.states, -1, np.int32)
        rows[self.network.arcs.special] = np.arange(len(self.network.arcs.special), dtype=np.int32)
        return rows

    @cached_property
    def reverse(self) -> I32:
        """Arc that each arc may not go on to."""
        reverse = self.network.arcs.reverse
        return np.full(len(reverse), -1, np.int32) if self.network.u_turns else reverse

    @cached_property
    def sink_groups(self) -> tuple[I32, I64, I32]:
        """Group of each state (-1 none), where groups start, and the rows of the sinks in order."""
        sinks = self.joints.sinks
        order = np.lexsort((np.arange(len(sinks.state)), sinks.state)).astype(np.int32)
        states, counts = np.unique(sinks.state, return_counts=True)
        group = np.full(self.network.arcs.states, -1, np.int32)
        group[states] = np.arange(len(states), dtype=np.int32)
        return group, np.concatenate(([0], np.cumsum(counts))).astype(np.int64), order

    @cached_property
    def length_m(self) -> NDArray[np.float64]:
        """Length of every arc [m]."""
        return np.asarray(self.network.region.pieces.length_m[self.network.arcs.piece], np.float64)

    def first(self, spot: int) -> tuple[I32, I64]:
        """Return states and keys of the ways out of a spot."""
        sources = self.joints.sources
        low, high = np.searchsorted(sources.spot, (spot, spot + 1))
        return sources.state[low:high], end_keys(sources)[low:high]


def end_keys(ends: Ends) -> I64:
    """Return the search key of each way between a spot and the network."""
    return np.asarray((ends.ms << KEY_SHIFT) + ends.dm, np.int64)


def pick_engine(setting: Setting, name: str = "auto") -> Engine:
    """Return the compiled engine, or scipy's where numba is missing; ``numba`` and ``scipy`` ask for one of them."""
    if name != "scipy":
        functions = compiled()
        if functions is not None:
            return _Compiled(setting, functions)
        if name == "numba":
            raise RuntimeError("numba is not installed")
    return _Written(setting)


class _Compiled:
    def __init__(self, setting: Setting, functions: Any) -> None:
        self._setting = setting
        self._search, self._grow = functions
        self._group, self._ptr, self._order = setting.sink_groups
        self._spot = setting.joints.sinks.spot[self._order]
        self._key = end_keys(setting.joints.sinks)[self._order]

    def row(self, spot: int, wanted: Mask, limit: int = int(INFINITE)) -> Row:
        setting, arcs = self._setting, self._setting.network.arcs
        state, key = setting.first(spot)
        best, best_state, best_way, before = self._search(
            state, key, arcs.out_ptr, arcs.head, arcs.key, arcs.transit, setting.reverse, setting.closed,
            setting.special_row, arcs.next_ptr, arcs.next_state, arcs.extra_arc,
            self._group, self._ptr, self._spot, self._key, wanted, np.int64(limit),
        )  # fmt: skip
        best_state[~wanted] = -1
        best[~wanted] = INFINITE
        tree = self._grow(best_state, before, arcs.extra_arc, arcs.ms, arcs.ferry_ms, setting.length_m)
        way = np.where(best_way >= 0, self._order[best_way], -1).astype(np.int32) if len(self._order) else best_way
        return Row(best, way, *tree)


class _Written:
    """Every allowed turn as an edge: states, then a node for each spot's start, then one for each spot's end."""

    def __init__(self, setting: Setting) -> None:
        from scipy.sparse import csr_array

        arcs = setting.network.arcs
        self._setting = setting
        self._states, self._spots = arcs.states, len(setting.joints.reached)
        before, after = _turns(setting)
        arc = np.concatenate((np.arange(len(arcs.head), dtype=np.int64), arcs.extra_arc.astype(np.int64)))
        ways_in = [(before[arcs.transit[arc[after]]], after[arcs.transit[arc[after]]])]
        weight = [arcs.key[arc[ways_in[0][1]]]]
        sources, sinks = setting.joints.sources, setting.joints.sinks
        ways_in.append((self._states + sources.spot.astype(np.int64), sources.state.astype(np.int64)))
        weight.append(end_keys(sources))
        group, ptr, order = setting.sink_groups
        hit = group[after] >= 0
        counts = np.diff(ptr)[group[after[hit]]]
        rows = np.repeat(ptr[group[after[hit]]] - np.concatenate(([0], np.cumsum(counts)))[:-1], counts)
        way = order[rows + np.arange(int(counts.sum()))]
        state = np.repeat(before[hit], counts)
        node = self._states + self._spots + sinks.spot[way].astype(np.int64)
        sink_key = end_keys(sinks)[way]
        best = np.lexsort((way, sink_key, node, state))
        state, node, way, sink_key = state[best], node[best], way[best], sink_key[best]
        keep = np.ones(len(state), bool)
        keep[1:] = (np.diff(state) != 0) | (np.diff(node) != 0)
        self._way_of = {(s, n): w for s, n, w in zip(state[keep].tolist(), node[keep].tolist(), way[keep].tolist(), strict=True)}
        ways_in.append((state[keep], node[keep]))
        weight.append(sink_key[keep])
        size = self._states + 2 * self._spots
        u, v = (np.concatenate([pair[i] for pair in ways_in]) for i in (0, 1))
        self._graph: Any = csr_array((np.concatenate(weight).astype(np.float64), (u, v)), shape=(size, size))

    def row(self, spot: int, wanted: Mask, limit: int = int(INFINITE)) -> Row:
        from scipy.sparse.csgraph import dijkstra

        arcs = self._setting.network.arcs
        distance, before = dijkstra(
            self._graph, indices=self._states + spot, return_predecessors=True, limit=min(float(limit), 2.0**53)
        )
        ends = slice(self._states + self._spots, None)
        reach = np.where(wanted, distance[ends], np.inf)
        found = np.isfinite(reach)
        best = np.where(found, np.where(found, reach, 0).astype(np.int64), INFINITE)
        best_state = np.where(found, before[ends], -1).astype(np.int32)
        first = self._states + self._spots
        way = np.array([self._way_of[s, first + n] if s >= 0 else -1 for n, s in enumerate(best_state.tolist())], np.int32)
        chain = np.where((before[: self._states] >= 0) & (before[: self._states] < self._states), before[: self._states], -1)
        tree = grow_tree(best_state, chain.astype(np.int32), arcs.extra_arc, arcs.ms, arcs.ferry_ms, self._setting.length_m)
        return Row(best, way, *tree)


def _turns(setting: Setting) -> tuple[I64, I64]:
    """Return every allowed move as (state before, state after), over arcs in transit and others."""
    arcs = setting.network.arcs
    plain = np.flatnonzero((setting.special_row[: len(arcs.head)] < 0) & ~setting.closed[arcs.head])
    counts = np.diff(arcs.out_ptr)[arcs.head[plain]]
    before = np.repeat(plain, counts)
    start = np.repeat(arcs.out_ptr[arcs.head[plain]] - np.concatenate(([0], np.cumsum(counts)))[:-1], counts)
    after = start + np.arange(int(counts.sum()))
    keep = after != setting.reverse[before]
    special_arc = np.array([arcs.arc_of_state(s) for s in arcs.special.tolist()], np.int64)
    counts = np.diff(arcs.next_ptr)
    listed = np.repeat(arcs.special.astype(np.int64), counts)
    passable = ~np.repeat(setting.closed[arcs.head[special_arc]], counts)
    return (
        np.concatenate((before[keep], listed[passable])),
        np.concatenate((after[keep], arcs.next_state[passable].astype(np.int64))),
    )
