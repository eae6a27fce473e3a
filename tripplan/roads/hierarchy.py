"""The network prepared once, so that ways between any spots are found in milliseconds (a contraction hierarchy).

Exact: what is found on merged states (`reduce`) is a lower bound, and every way found is tested for the turns round that
merging let in. The rare way that has one is searched again on the states themselves.

Geisberger, Sanders, Schultes, Delling: Contraction hierarchies (2008), and Knopp, Sanders, Schultes, Schulz, Wagner:
Computing many-to-many shortest paths using highway hierarchies (2007), for the buckets.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, fields
from math import nan
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tripplan.region.columns import Access
from tripplan.roads.engines import Engine, Row, Setting, end_keys
from tripplan.roads.network import Network, Say
from tripplan.roads.store import load_arrays, save_arrays

__all__ = [
    "Found",
    "Hierarchy",
    "Meetings",
    "Shortcuts",
    "find_meetings",
    "is_prepared",
    "is_worthwhile",
    "open_hierarchy",
    "open_shortcuts",
]

F32 = NDArray[np.float32]
F64 = NDArray[np.float64]
I32 = NDArray[np.int32]
I64 = NDArray[np.int64]
U8 = NDArray[np.uint8]

#: Searches over all arcs that preparing must save before it is begun unasked: spots, and spots x arcs.
_LEAST_SPOTS = 80
_LEAST_WORK = 50_000_000


@dataclass(frozen=True, slots=True)
class Shortcuts:
    """What edges stand for.

    Parameters
    ----------
    a, b
        (edges) the two edges that one stands for; where b is -1 it is the state a itself.
    """

    a: I32
    b: I32

    def states(self, edges: Iterable[int]) -> list[int]:
        """Return the states that edges stand for, in order of travel."""
        out: list[int] = []
        a, b = self.a, self.b
        stack: list[int] = []
        for edge in edges:
            stack.append(edge)
            while stack:
                one = stack.pop()
                second = int(b[one])
                if second < 0:
                    out.append(int(a[one]))
                else:
                    stack += (second, int(a[one]))
        return out


@dataclass(frozen=True, slots=True)
class Hierarchy:
    """Nodes numbered by rank, edges to higher ranks first, then edges from higher ranks.

    Parameters
    ----------
    place
        (states) node of each, -1 none. junction: (junctions) node of its merged states, -1 none.
    own
        States that are nodes of their own, by the junction that they end at.
    up_ptr, down_ptr
        (nodes + 1) rows of the edges from node v to higher ranks; and of those from higher ranks to v.
    to, weight
        (edges) the higher node, and the key.
    a, b
        See `Shortcuts`. first, last: (edges) arcs at the ends in order of travel.
    bad
        (edges) whether it hides a forbidden turn round. ferry_ms, length_m: sums.
    """

    place: I32
    junction: I32
    own: I32
    up_ptr: I64
    down_ptr: I64
    to: I32
    weight: I64
    a: I32
    b: I32
    first: I32
    last: I32
    bad: U8
    ferry_ms: I32
    length_m: F32

    @property
    def shortcuts(self) -> Shortcuts:
        """What its edges stand for."""
        return Shortcuts(self.a, self.b)


def is_prepared(network: Network) -> bool:
    """Return whether the network's hierarchy is at hand."""
    path = network.file("hierarchy", network.key)
    return "hierarchy" in network.__dict__ or (path is not None and path.is_file())


def is_worthwhile(network: Network, spots: int) -> bool:
    """Return whether so many spots pay for preparing the network first."""
    return spots >= _LEAST_SPOTS and spots * int(network.arcs.transit.sum()) >= _LEAST_WORK


def open_hierarchy(network: Network, *, progress: Say = None) -> Hierarchy:
    """Return the hierarchy of a network, from its file when it was made before.

    Raises
    ------
    ImportError
        Without numba, when it is not made yet.
    """
    path = network.file("hierarchy", network.key)
    names = tuple(f.name for f in fields(Hierarchy))
    stored = load_arrays(path, names)
    if stored is not None:
        return Hierarchy(**stored)
    if progress:
        progress(f"Preparing the roads for {network.terms.outfit.name}, once for this map", nan)
    made = _prepare(network)
    save_arrays(path, {name: getattr(made, name) for name in names})
    return made


def open_shortcuts(network: Network) -> Shortcuts:
    """Return only what is needed to follow a way that was found before."""
    known: Shortcuts | None = network.__dict__.get("_shortcuts")
    if known is None:
        stored = None
        if "hierarchy" not in network.__dict__:
            stored = load_arrays(network.file("hierarchy", network.key), ("a", "b"))
        known = Shortcuts(**stored) if stored is not None else network.hierarchy.shortcuts
        network.__dict__["_shortcuts"] = known
    return known


def _prepare(network: Network) -> Hierarchy:
    from tripplan.roads.contract import contract
    from tripplan.roads.detours import mark_near_turns
    from tripplan.roads.reduce import merge_states

    arcs, region = network.arcs, network.region
    closed = np.asarray(arcs.barred != Access.OPEN, np.bool_)
    reverse = network.no_turn
    if network.u_turns:
        marked = np.zeros(arcs.states, np.bool_)
    else:
        special_row = np.full(arcs.states, -1, np.int32)
        special_row[arcs.special] = np.arange(len(arcs.special), dtype=np.int32)
        marked = mark_near_turns(
            arcs.out_ptr, arcs.head, arcs.key, arcs.transit, reverse, closed, arcs.special, special_row, arcs.next_ptr,
            arcs.next_state, arcs.extra_arc,
        )  # fmt: skip
    merged = merge_states(arcs, marked, u_turns=network.u_turns)
    arc_of = np.concatenate((np.arange(len(arcs.head), dtype=np.int32), arcs.extra_arc)).astype(np.int32)
    arc = arc_of[merged.state]
    metres = np.asarray(region.pieces.length_m[arcs.piece[arc]], np.float64)
    rank, tail, head, weight, a, b, first, last, bad, sea, metres = contract(
        merged.nodes, merged.tail, merged.head, arcs.key[arc], arc, arc, arcs.ferry_ms[arc], metres, reverse
    )
    lower, higher = rank[tail], rank[head]
    up = lower < higher
    order = np.lexsort((np.where(up, higher, lower), np.where(up, lower, higher), ~up))
    number = np.empty(len(order) + 1, np.int32)
    number[order] = np.arange(len(order), dtype=np.int32)
    number[-1] = -1
    ups = int(up.sum())
    count = [np.bincount(v, minlength=merged.nodes) for v in (lower[up], higher[~up])]
    a, b = a[order], b[order]
    original = np.where(order < len(merged.state), order, 0)
    place = np.where(merged.node_of_state >= 0, rank[merged.node_of_state], -1).astype(np.int32)
    return Hierarchy(
        place=place, junction=np.where(merged.junction_node >= 0, rank[merged.junction_node], -1).astype(np.int32),
        own=merged.own[np.argsort(arcs.head[arc_of[merged.own]], kind="stable")],
        up_ptr=np.concatenate(([0], np.cumsum(count[0]))).astype(np.int64),
        down_ptr=(ups + np.concatenate(([0], np.cumsum(count[1])))).astype(np.int64),
        to=np.where(up, higher, lower)[order].astype(np.int32), weight=weight[order],
        a=np.where(b >= 0, number[a], merged.state[original]).astype(np.int32), b=number[b],
        first=first[order], last=last[order], bad=bad[order], ferry_ms=sea[order].astype(np.int32),
        length_m=metres[order].astype(np.float32),
    )  # fmt: skip


@dataclass(frozen=True, slots=True)
class Found:
    """What searches upward from spots found, see `climb.climb` and `climb.gather`; ``spot`` is the spot of each row."""

    ptr: I64
    node: I32
    key: I64
    parent: I32
    edge: I32
    end: I32
    bad: U8
    ferry_ms: I64
    length_m: F64
    root: I32
    spot: I32


@dataclass(frozen=True, slots=True)
class Meetings:
    """Fastest ways between spots as pairs of rows.

    Parameters
    ----------
    out, into
        Ways out of each spot (roots: rows of the sources) and into each (roots: rows of the sinks).
    best, leaf, back_leaf
        (from, to) key and the rows, within the two spots, where they meet; -1 no way.
    again
        Rows of spots with a way that needs a search on the states themselves, by spot.
    """

    out: Found
    into: Found
    best: I64
    leaf: I32
    back_leaf: I32
    again: dict[int, Row]


def find_meetings(setting: Setting, engine: Callable[[], Engine]) -> Meetings:
    """Find the fastest ways between all spots.

    Parameters
    ----------
    engine
        Makes what searches on the states themselves where it must be.
    """
    network, joints = setting.network, setting.joints
    hierarchy, spots = network.hierarchy, len(joints.reached)
    reverse = network.no_turn
    sources, sinks = joints.sources, joints.sinks
    state, rows = sources.state, np.arange(len(sources.state), dtype=np.int32)
    out = _climb(
        hierarchy, reverse, spots, (sources.spot, hierarchy.place[state], end_keys(sources), _arc_of(setting, state), rows),
        backward=False,
    )  # fmt: skip
    row, node = _sink_nodes(setting, hierarchy)
    found_in = _climb(
        hierarchy,
        reverse,
        spots,
        (sinks.spot[row], node, end_keys(sinks)[row], _arc_of(setting, sinks.state[row]), row),
        backward=True,
    )
    best, leaf, back_leaf, bad = _meet(reverse, len(hierarchy.up_ptr) - 1, out, found_in, spots)
    bad &= ~np.eye(spots, dtype=bool)
    again = {}
    for i in np.flatnonzero(bad.any(axis=1)).tolist():
        again[i] = engine().row(i, bad[i])
        leaf[i, bad[i]] = back_leaf[i, bad[i]] = -1
        best[i, bad[i]] = again[i].best[bad[i]]
    own = np.arange(spots)
    leaf[own, own] = back_leaf[own, own] = -1
    return Meetings(out, found_in, best, leaf, back_leaf, again)


def _arc_of(setting: Setting, state: I32) -> I32:
    arcs = setting.network.arcs
    extra = state >= len(arcs.head)
    out = state.copy()
    out[extra] = arcs.extra_arc[state[extra] - len(arcs.head)]
    return out


def _sink_nodes(setting: Setting, hierarchy: Hierarchy) -> tuple[I32, I32]:
    """Return pairs (row of the sinks, node from which its state may be entered), by spot."""
    arcs, u_turns, sinks = setting.network.arcs, setting.network.u_turns, setting.joints.sinks
    rows = np.arange(len(sinks.state))
    arc_of = _arc_of(setting, sinks.state)
    at = np.where(sinks.state < len(arcs.head), hierarchy.junction[arcs.tail[arc_of]], -1)
    pairs = [(int(r), int(n)) for r, n in zip(rows, at, strict=True) if n >= 0]
    ends = arcs.head[_arc_of(setting, hierarchy.own)]
    for r in rows.tolist():
        wanted, tail = int(sinks.state[r]), arcs.tail[arc_of[r]]
        low, high = np.searchsorted(ends, (tail, tail + 1))
        pairs += [
            (r, int(hierarchy.place[state]))
            for state in hierarchy.own[low:high].tolist()
            if wanted in arcs.next_states(state, u_turns=u_turns)
        ]
    pairs.sort()
    out = np.array(pairs, np.int32).reshape(-1, 2)
    return out[:, 0].copy(), out[:, 1].copy()


def _climb(hierarchy: Hierarchy, reverse: I32, spots: int, ends: tuple[I32, I32, I64, I32, I32], *, backward: bool) -> Found:
    """Search upward from the nodes that ways of spots begin with: (spot, node, key, arc, row) sorted by spot."""
    from tripplan.roads.climb import climb, gather

    h = hierarchy
    keep = ends[1] >= 0
    spot, node, key, arc, rows = (column[keep] for column in ends)
    ptr = np.searchsorted(spot, np.arange(spots + 1)).astype(np.int64)
    up, down = (h.down_ptr, h.up_ptr) if backward else (h.up_ptr, h.down_ptr)
    near, far = (h.last, h.first) if backward else (h.first, h.last)

    def part(low: int, high: int) -> tuple[Any, ...]:
        found_ptr, *found = climb(ptr[low : high + 1], node, key, up, h.to, h.weight, down, h.to, h.weight)
        _, _, parent, edge = found
        along = gather(found_ptr, parent, edge, near, far, h.bad, h.ferry_ms, h.length_m, arc, reverse, backward)
        return (np.diff(found_ptr), *found, *along)

    columns: list[Any] = [np.concatenate(c) for c in zip(*_in_parts(part, spots), strict=True)]
    counts, root = columns[0], columns[-1]
    spot_of = np.repeat(np.arange(spots, dtype=np.int32), counts)
    laid: list[Any] = [np.concatenate(([0], np.cumsum(counts))), *columns[1:-1], rows[root], spot_of]
    return Found(*laid)


def _meet(reverse: I32, nodes: int, out: Found, into: Found, spots: int) -> tuple[I64, I32, I32, NDArray[np.bool_]]:
    from tripplan.roads.climb import meet

    entry = np.argsort(into.node, kind="stable")
    known, start = np.unique(into.node[entry], return_index=True)
    bucket = np.full(nodes, -1, np.int32)
    bucket[known] = np.arange(len(known), dtype=np.int32)
    bucket_ptr = np.append(start, len(entry)).astype(np.int64)

    def part(low: int, high: int) -> tuple[Any, ...]:
        met: tuple[Any, ...] = meet(
            low, high, out.ptr, out.node, out.key, out.end, out.bad, bucket, bucket_ptr, entry,
            into.ptr, into.spot, into.key, into.end, into.bad, reverse, spots,
        )  # fmt: skip
        return met

    best, leaf, back_leaf, bad = (np.concatenate(c) for c in zip(*_in_parts(part, spots), strict=True))
    return best, leaf, back_leaf, bad


def _in_parts(part: Callable[[int, int], tuple[Any, ...]], spots: int) -> list[tuple[Any, ...]]:
    """Work on ranges of spots side by side."""
    workers = max(1, min(8, os.cpu_count() or 1, spots // 8))
    bounds = np.linspace(0, spots, workers + 1).astype(int).tolist()
    if workers == 1:
        return [part(0, spots)]
    with ThreadPoolExecutor(workers) as pool:
        return list(pool.map(part, bounds[:-1], bounds[1:]))
