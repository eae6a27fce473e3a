"""Searches in a contracted graph, in compiled loops. Import only where numba is there."""

from __future__ import annotations

from typing import Any

import numpy as np

from tripplan.roads.compile import jit
from tripplan.roads.contract import _longer, _sift_down, _sift_up

__all__ = ["climb", "gather", "meet"]

_FAR = np.int64(2**62)


@jit
def climb(
    spot_ptr: Any, first_node: Any, first_key: Any, ptr: Any, to: Any, weight: Any, back_ptr: Any, back_to: Any, back_weight: Any
) -> tuple[Any, ...]:
    """Search upward from several spots, one after another.

    Parameters
    ----------
    spot_ptr, first_node, first_key
        Nodes that spot i begins with are rows ``spot_ptr[i]:spot_ptr[i + 1]``.
    ptr, to, weight
        Edges of each node to nodes of higher rank (which are numbered higher).
    back_ptr, back_to, back_weight
        Edges from nodes of higher rank to each, to see early that a way is not the fastest.

    Returns
    -------
    found_ptr, node, key, parent, edge
        What spot i found is rows ``found_ptr[i]:found_ptr[i + 1]``, parents first: parent is a row within the spot or -1;
        edge a row of ``to``, or of first_node where there is no parent.
    """
    spots, n = len(spot_ptr) - 1, len(ptr) - 1
    label = np.full(n, _FAR, np.int64)
    via = np.empty(n, np.int32)
    before = np.empty(n, np.int32)
    row_of = np.full(n, -1, np.int32)
    touched = np.empty(4096, np.int32)
    heap_key = np.empty(4096, np.int64)
    heap_node = np.empty(4096, np.int32)
    room = 1024 * max(spots, 1)
    out_node = np.empty(room, np.int32)
    out_key = np.empty(room, np.int64)
    out_parent = np.empty(room, np.int32)
    out_edge = np.empty(room, np.int32)
    found_ptr = np.zeros(spots + 1, np.int64)
    found = 0
    for spot in range(spots):
        start = found
        size = 0
        count = 0
        for row in range(spot_ptr[spot], spot_ptr[spot + 1]):
            x, k = first_node[row], first_key[row]
            if k < label[x]:
                if size == len(heap_key):
                    heap_key, heap_node = _longer(heap_key, 0), _longer(heap_node, 0)
                if count == len(touched):
                    touched = _longer(touched, 0)
                if label[x] == _FAR:
                    touched[count] = x
                    count += 1
                label[x] = k
                via[x] = row
                before[x] = -1
                _sift_up(heap_key, heap_node, size, k, x)
                size += 1
        while size > 0:
            k, x = heap_key[0], heap_node[0]
            size -= 1
            _sift_down(heap_key, heap_node, size)
            if k > label[x] or row_of[x] != -1:
                continue
            row_of[x] = -2
            stalled = False
            for e in range(back_ptr[x], back_ptr[x + 1]):
                other = label[back_to[e]]
                if other != _FAR and other + back_weight[e] < k:
                    stalled = True
                    break
            if stalled:
                continue
            if found == len(out_node):
                out_node, out_key = _longer(out_node, 0), _longer(out_key, 0)
                out_parent, out_edge = _longer(out_parent, 0), _longer(out_edge, 0)
            row_of[x] = found - start
            out_node[found], out_key[found], out_edge[found] = x, k, via[x]
            out_parent[found] = row_of[before[x]] if before[x] >= 0 else -1
            found += 1
            for e in range(ptr[x], ptr[x + 1]):
                y, reach = to[e], k + weight[e]
                if reach < label[y]:
                    if size == len(heap_key):
                        heap_key, heap_node = _longer(heap_key, 0), _longer(heap_node, 0)
                    if count == len(touched):
                        touched = _longer(touched, 0)
                    if label[y] == _FAR:
                        touched[count] = y
                        count += 1
                    label[y] = reach
                    via[y] = e
                    before[y] = x
                    _sift_up(heap_key, heap_node, size, reach, y)
                    size += 1
        for row in range(count):
            label[touched[row]] = _FAR
            row_of[touched[row]] = -1
        found_ptr[spot + 1] = found
    return found_ptr, out_node[:found].copy(), out_key[:found].copy(), out_parent[:found].copy(), out_edge[:found].copy()


@jit
def gather(
    found_ptr: Any, parent: Any, edge: Any, near: Any, far: Any, bad: Any, ferry_ms: Any, length_m: Any, first_arc: Any, reverse: Any,
    backward: bool,
) -> tuple[Any, ...]:  # fmt: skip
    """Gather along what `climb` found.

    Parameters
    ----------
    near, far, bad, ferry_ms, length_m
        (rows of the upward edges) the arc at the end nearer to the spot, at the other end, and what is on the way.
    first_arc
        (rows that spots begin with) arc there.
    backward
        Whether the ways lead to the spot.

    Returns
    -------
    end, bad, ferry_ms, length_m, root
        (found) the arc at the far end, whether the way has a forbidden turn round, sums without the first arc, and the row
        that it begins with.
    """
    count = len(parent)
    end = np.empty(count, np.int32)
    turned = np.zeros(count, np.uint8)
    sea = np.zeros(count, np.int64)
    metres = np.zeros(count, np.float64)
    root = np.empty(count, np.int32)
    for spot in range(len(found_ptr) - 1):
        start = found_ptr[spot]
        for row in range(start, found_ptr[spot + 1]):
            e = edge[row]
            if parent[row] < 0:
                end[row] = first_arc[e]
                root[row] = e
                continue
            up = start + parent[row]
            before, after = (near[e], end[up]) if backward else (end[up], near[e])
            turned[row] = 1 if turned[up] != 0 or bad[e] != 0 or reverse[before] == after else 0
            end[row] = far[e]
            root[row] = root[up]
            sea[row] = sea[up] + ferry_ms[e]
            metres[row] = metres[up] + length_m[e]
    return end, turned, sea, metres, root


@jit
def meet(
    low: int, high: int, ptr: Any, node: Any, key: Any, end: Any, turned: Any, bucket: Any, bucket_ptr: Any, entry: Any,
    back_ptr: Any, back_spot: Any, back_key: Any, back_end: Any, back_turned: Any, reverse: Any, spots: int,
) -> tuple[Any, ...]:  # fmt: skip
    """Put ways out of spots low to high together with ways into all spots where they meet.

    Parameters
    ----------
    bucket, bucket_ptr, entry
        (nodes) bucket of each, -1 none; the rows of what was found backward by bucket.

    Returns
    -------
    best, leaf, back_leaf, bad
        (high - low, spots) key, rows within the two spots (-1: no way), whether it has a forbidden turn round.
    """
    best = np.full((high - low, spots), _FAR, np.int64)
    leaf = np.full((high - low, spots), -1, np.int32)
    back_leaf = np.full((high - low, spots), -1, np.int32)
    bad = np.zeros((high - low, spots), np.bool_)
    for i in range(low, high):
        to = i - low
        for row in range(ptr[i], ptr[i + 1]):
            group = bucket[node[row]]
            if group < 0:
                continue
            k = key[row]
            for position in range(bucket_ptr[group], bucket_ptr[group + 1]):
                other = entry[position]
                j = back_spot[other]
                reach = k + back_key[other]
                if reach > best[to, j]:
                    continue
                wrong = turned[row] != 0 or back_turned[other] != 0 or reverse[end[row]] == back_end[other]
                if reach < best[to, j] or (bad[to, j] and not wrong):
                    best[to, j] = reach
                    leaf[to, j] = row - ptr[i]
                    back_leaf[to, j] = other - back_ptr[j]
                    bad[to, j] = wrong
    return best, leaf, back_leaf, bad
