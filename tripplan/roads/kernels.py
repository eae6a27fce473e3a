"""The search in plain loops, compiled by numba where it is there.

States are arcs (and a few extra ones for turn restrictions). Where turning round is not allowed, a junction needs two
labels and no more: the best arrival serves every road but the one it came by, and the best arrival by another road
serves that one. So no junction is expanded but those with a restriction, and the answer is still exact.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache
from typing import Any

import numpy as np

__all__ = ["compiled", "grow_tree", "search"]

#: Larger than any key.
INFINITE = np.int64(2**62)


def search(
    first_state: Any, first_key: Any, out_ptr: Any, head: Any, key: Any, transit: Any, reverse: Any, closed: Any,
    special_row: Any, next_ptr: Any, next_state: Any, extra_arc: Any, sink_row: Any, sink_ptr: Any, sink_spot: Any, sink_key: Any,
    wanted: Any, limit: int,
) -> tuple[Any, Any, Any, Any]:  # fmt: skip
    """Search from one spot until every wanted spot is settled.

    Parameters
    ----------
    first_state, first_key
        Ways out of the spot: state reached and its key.
    closed
        (junctions) whether nothing may pass there.
    special_row
        (states) row of a special state in next_ptr, -1 for plain ones.
    sink_row
        (states) group of sinks that begin in a state, -1 none. sink_ptr, sink_spot, sink_key: the groups.
    wanted
        (spots) whether the spot's time is asked for.
    limit
        Keys from here on are not looked at.

    Returns
    -------
    best, best_state, best_way, before
        (spots) key, the state before the sink's arc and the row of the sink used; (states) predecessor of each, -1 none.
    """
    arcs, spots = len(head), len(wanted)
    states, junctions = arcs + len(extra_arc), len(out_ptr) - 1
    label = np.full(states, INFINITE, np.int64)
    before = np.full(states, -1, np.int32)
    done = np.zeros(states, np.bool_)
    # Per junction, of plain states, side by side in memory: the two best keys so far by different roads, the arc barred to
    # the best; and -2 before it is settled, the arc barred to the first that settled it, -3 when no arc is left to go on by.
    node = np.empty((junctions, 4), np.int64)
    for v in range(junctions):
        node[v, 0] = node[v, 1] = INFINITE
        node[v, 2] = node[v, 3] = -2
    best = np.full(spots, INFINITE, np.int64)
    best_state = np.full(spots, -1, np.int32)
    best_way = np.full(spots, -1, np.int32)
    missing = 0
    for spot in range(spots):
        if wanted[spot]:
            missing += 1

    heap_key = np.empty(1024, np.int64)
    heap_state = np.empty(1024, np.int32)
    size = 0
    bound = limit
    pops = 0
    turn = 0
    firsts = len(first_state)
    while True:
        # -- next state: first the ways out of the spot, then the heap ---------------------------------------------
        if turn < firsts:
            k, s = first_key[turn], first_state[turn]
            turn += 1
            if k < label[s]:
                label[s] = k
                before[s] = -1
                push_key, push_state = k, s
            else:
                continue
            # push
            if size == len(heap_key):
                wider_key = np.empty(2 * size, np.int64)
                wider_state = np.empty(2 * size, np.int32)
                wider_key[:size] = heap_key
                wider_state[:size] = heap_state
                heap_key, heap_state = wider_key, wider_state
            at = size
            size += 1
            while at > 0:
                up = (at - 1) >> 2
                if heap_key[up] < push_key or (heap_key[up] == push_key and heap_state[up] <= push_state):
                    break
                heap_key[at], heap_state[at] = heap_key[up], heap_state[up]
                at = up
            heap_key[at], heap_state[at] = push_key, push_state
            continue
        if size == 0:
            break
        k, s = heap_key[0], heap_state[0]
        size -= 1
        last_key, last_state = heap_key[size], heap_state[size]
        at = 0
        while True:
            child = 4 * at + 1
            if child >= size:
                break
            small = child
            for other in range(child + 1, min(child + 4, size)):
                if heap_key[other] < heap_key[small] or (
                    heap_key[other] == heap_key[small] and heap_state[other] < heap_state[small]
                ):
                    small = other
            if last_key < heap_key[small] or (last_key == heap_key[small] and last_state <= heap_state[small]):
                break
            heap_key[at], heap_state[at] = heap_key[small], heap_state[small]
            at = small
        heap_key[at], heap_state[at] = last_key, last_state

        if done[s] or k > label[s]:
            continue
        done[s] = True
        pops += 1
        if missing == 0 and (pops & 63) == 0:
            bound = 0
            for spot in range(spots):
                if wanted[spot] and best[spot] > bound:
                    bound = best[spot]
            bound = min(bound, limit)
        if k >= bound:
            break
        arc = s if s < arcs else extra_arc[s - arcs]
        v = head[arc]
        if closed[v]:
            continue

        # -- where it may go ---------------------------------------------------------------------------------------
        row = special_row[s]
        back = np.int32(-1)
        if row >= 0:
            low, high = next_ptr[row], next_ptr[row + 1]
        else:
            if s < arcs:
                back = reverse[arc]
            left = node[v, 3]
            if left == -3 or left == back:
                continue
            low, high = out_ptr[v], out_ptr[v + 1]
            if left == -2:
                node[v, 3] = back if back >= 0 else -3
            else:
                node[v, 3] = -3
                low, high = left, left + 1
        for position in range(low, high):
            t = next_state[position] if row >= 0 else np.int32(position)
            if row < 0 and t == back:
                continue
            b = t if t < arcs else extra_arc[t - arcs]
            group = sink_row[t]
            if group >= 0:
                for way in range(sink_ptr[group], sink_ptr[group + 1]):
                    spot = sink_spot[way]
                    reach = k + sink_key[way]
                    if reach < best[spot]:
                        if best[spot] == INFINITE and wanted[spot]:
                            missing -= 1
                        best[spot] = reach
                        best_state[spot] = s
                        best_way[spot] = way
            if not transit[b]:
                continue
            push_key = k + key[b]
            if push_key >= label[t] or push_key >= limit:
                continue
            w = head[b]
            if special_row[t] < 0:
                # No use in a third arrival, nor in a second one by the same road.
                b_back = reverse[b]
                if push_key >= node[w, 1]:
                    continue
                if b_back == node[w, 2]:
                    if push_key >= node[w, 0]:
                        continue
                    node[w, 0] = push_key
                elif push_key < node[w, 0]:
                    node[w, 1] = node[w, 0]
                    node[w, 0], node[w, 2] = push_key, b_back
                else:
                    node[w, 1] = push_key
                if node[w, 2] < 0:
                    node[w, 1] = node[w, 0]
            label[t] = push_key
            before[t] = s
            push_state = t
            if size == len(heap_key):
                wider_key = np.empty(2 * size, np.int64)
                wider_state = np.empty(2 * size, np.int32)
                wider_key[:size] = heap_key
                wider_state[:size] = heap_state
                heap_key, heap_state = wider_key, wider_state
            at = size
            size += 1
            while at > 0:
                up = (at - 1) >> 2
                if heap_key[up] < push_key or (heap_key[up] == push_key and heap_state[up] <= push_state):
                    break
                heap_key[at], heap_state[at] = heap_key[up], heap_state[up]
                at = up
            heap_key[at], heap_state[at] = push_key, push_state
    return best, best_state, best_way, before


def grow_tree(best_state: Any, before: Any, extra_arc: Any, ms: Any, ferry_ms: Any, length_m: Any) -> tuple[Any, ...]:
    """Keep the part of a search that its best ways use, with what is gathered along it.

    Parameters
    ----------
    ms, ferry_ms, length_m
        (arcs) times and lengths.

    Returns
    -------
    state, parent, leaf, ms, ferry_ms, length_m
        Nodes with parents first (parent -1: a way out of the spot); (spots) node of each; gathered along the way without
        the first state, whose part belongs to the way out of the spot.
    """
    arcs = len(ms)
    number = np.full(len(before), -1, np.int32)
    leaf = np.full(len(best_state), -1, np.int32)
    room = 64
    state = np.empty(room, np.int32)
    parent = np.empty(room, np.int32)
    count = 0
    trail = np.empty(64, np.int32)
    for spot in range(len(best_state)):
        s = best_state[spot]
        steps = 0
        while s >= 0 and number[s] < 0:
            if steps == len(trail):
                longer = np.empty(2 * steps, np.int32)
                longer[:steps] = trail
                trail = longer
            trail[steps] = s
            steps += 1
            s = before[s]
        up = number[s] if s >= 0 else np.int32(-1)
        for step in range(steps - 1, -1, -1):
            if count == room:
                room *= 2
                more_state = np.empty(room, np.int32)
                more_parent = np.empty(room, np.int32)
                more_state[:count] = state
                more_parent[:count] = parent
                state, parent = more_state, more_parent
            state[count] = trail[step]
            parent[count] = up
            number[trail[step]] = count
            up = np.int32(count)
            count += 1
        if best_state[spot] >= 0:
            leaf[spot] = number[best_state[spot]]
    total = np.zeros(count, np.int64)
    at_sea = np.zeros(count, np.int64)
    metres = np.zeros(count, np.float64)
    for node in range(count):
        up = parent[node]
        if up >= 0:
            s = state[node]
            arc = s if s < arcs else extra_arc[s - arcs]
            total[node] = total[up] + ms[arc]
            at_sea[node] = at_sea[up] + ferry_ms[arc]
            metres[node] = metres[up] + length_m[arc]
    return state[:count].copy(), parent[:count].copy(), leaf, total, at_sea, metres


@lru_cache(maxsize=1)
def compiled() -> tuple[Callable[..., Any], Callable[..., Any]] | None:
    """Return `search` and `grow_tree` compiled (and kept in the user's folder), ``None`` without numba."""
    try:
        import numba
    except ImportError:
        return None
    from tripplan.roads.cache import cache_folder

    config: Any = numba.config
    if not config.CACHE_DIR:
        config.CACHE_DIR = str(cache_folder() / "compiled")
    try:
        return tuple(numba.njit(cache=True, nogil=True)(f) for f in (search, grow_tree))  # type: ignore[return-value]
    except RuntimeError:  # no folder to keep it in: compile anew each time
        return tuple(numba.njit(nogil=True)(f) for f in (search, grow_tree))  # type: ignore[return-value]
