"""Contraction of a graph of roads, in compiled loops. Import only where numba is there.

Nodes are taken out one after another, the least important first; where the way through a node may be the shortest between
two neighbours, an edge takes its place. A shortest way in what is left then only climbs, and afterwards only descends.
Edges carry what a way needs at its ends: the first and last arc, and whether a forbidden turn round is hidden inside.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from tripplan.roads.compile import jit

__all__ = ["contract"]

_FAR = np.int64(2**62)
#: Nodes that a search for a way round looks at, at most. Stopping early only adds edges, never errors.
_SETTLED = 400
_HEAP = 4096


@jit
def _sift_up(keys: Any, nodes: Any, at: Any, key: Any, node: Any) -> None:
    while at > 0:
        up = (at - 1) >> 2
        if keys[up] < key or (keys[up] == key and nodes[up] <= node):
            break
        keys[at] = keys[up]
        nodes[at] = nodes[up]
        at = up
    keys[at] = key
    nodes[at] = node


@jit
def _sift_down(keys: Any, nodes: Any, size: int) -> None:
    """Put the entry behind the last one in the place of the first."""
    key, node = keys[size], nodes[size]
    at = 0
    while True:
        child = 4 * at + 1
        if child >= size:
            break
        small = child
        for other in range(child + 1, min(child + 4, size)):
            if keys[other] < keys[small] or (keys[other] == keys[small] and nodes[other] < nodes[small]):
                small = other
        if key < keys[small] or (key == keys[small] and node <= nodes[small]):
            break
        keys[at] = keys[small]
        nodes[at] = nodes[small]
        at = small
    keys[at] = key
    nodes[at] = node


@jit
def _find_shortcuts(
    v: int, head: Any, tail: Any, weight: Any, first_out: Any, next_out: Any, first_in: Any, next_in: Any,
    dist: Any, touched: Any, heap_key: Any, heap_node: Any, made_in: Any, made_out: Any,
) -> int:  # fmt: skip
    """Fill ``made_in`` and ``made_out`` with the pairs of edges through v that nothing else is as good as."""
    made = 0
    outs = 0
    e = first_out[v]
    while e >= 0:
        outs += 1
        e = next_out[e]
    if outs == 0:
        return 0
    e_in = first_in[v]
    while e_in >= 0:
        u, w_in = tail[e_in], weight[e_in]
        need = np.int64(-1)
        missing = 0
        e = first_out[v]
        while e >= 0:
            if head[e] != u:
                missing += 1
                if weight[e] > need:
                    need = weight[e]
            e = next_out[e]
        if missing == 0:
            e_in = next_in[e_in]
            continue
        need += w_in
        count = 0
        dist[u] = 0
        touched[count] = u
        count += 1
        size = 1
        heap_key[0], heap_node[0] = 0, u
        settled = 0
        # One hop settles most; the search goes on only while some neighbour is still without a way as good.
        while size > 0 and settled < _SETTLED:
            k, x = heap_key[0], heap_node[0]
            size -= 1
            _sift_down(heap_key, heap_node, size)
            if k > dist[x]:
                continue
            if k > need:
                break
            settled += 1
            e = first_out[x]
            while e >= 0:
                y = head[e]
                if y != v:
                    reach = k + weight[e]
                    if reach <= need and reach < dist[y] and size < _HEAP - 1 and count < _HEAP:
                        if dist[y] == _FAR:
                            touched[count] = y
                            count += 1
                        dist[y] = reach
                        _sift_up(heap_key, heap_node, size, reach, y)
                        size += 1
                e = next_out[e]
            if settled & 3 == 1:
                open_still = False
                e = first_out[v]
                while e >= 0:
                    if head[e] != u and dist[head[e]] > w_in + weight[e]:
                        open_still = True
                        break
                    e = next_out[e]
                if not open_still:
                    break
        e = first_out[v]
        while e >= 0:
            if head[e] != u and dist[head[e]] > w_in + weight[e] and made < len(made_in):
                made_in[made], made_out[made] = e_in, e
                made += 1
            e = next_out[e]
        for row in range(count):
            dist[touched[row]] = _FAR
        e_in = next_in[e_in]
    return made


@jit
def _longer(column: Any, fill: int) -> Any:
    out = np.full(len(column) + len(column) // 2 + 1024, fill, column.dtype)
    out[: len(column)] = column
    return out


@jit
def contract(
    n: int, tail: Any, head: Any, weight: Any, first: Any, last: Any, ferry_ms: Any, length_m: Any, reverse: Any
) -> tuple[Any, ...]:
    """Take the nodes of a graph out one after another.

    Parameters
    ----------
    tail, head, weight
        (edges) no loops, no two of them between the same nodes.
    first, last, ferry_ms, length_m
        (edges) arcs at its ends, and what is gathered along it.
    reverse
        (arcs) the arc that may not follow, -1 none.

    Returns
    -------
    rank, tail, head, weight, a, b, first, last, bad, ferry_ms, length_m
        (nodes) order in which they went; (edges) a and b: the two edges that one stands for, -1 for those of the graph
        itself, which come first and in their order.
    """
    m = len(tail)
    room = 2 * m + 1024
    t = np.empty(room, np.int32)
    h = np.empty(room, np.int32)
    w = np.empty(room, np.int64)
    a = np.full(room, -1, np.int32)
    b = np.full(room, -1, np.int32)
    fa = np.empty(room, np.int32)
    la = np.empty(room, np.int32)
    bad = np.zeros(room, np.uint8)
    sea = np.zeros(room, np.int64)
    metres = np.zeros(room, np.float64)
    hops = np.ones(room, np.int32)
    next_out = np.full(room, -1, np.int32)
    next_in = np.full(room, -1, np.int32)
    t[:m], h[:m], w[:m], fa[:m], la[:m], sea[:m], metres[:m] = tail, head, weight, first, last, ferry_ms, length_m
    first_out = np.full(n, -1, np.int32)
    first_in = np.full(n, -1, np.int32)
    for e in range(m - 1, -1, -1):
        next_out[e] = first_out[t[e]]
        first_out[t[e]] = e
        next_in[e] = first_in[h[e]]
        first_in[h[e]] = e
    edges = m

    dist = np.full(n, _FAR, np.int64)
    touched = np.empty(_HEAP, np.int32)
    heap_key = np.empty(_HEAP, np.int64)
    heap_node = np.empty(_HEAP, np.int32)
    made_in = np.empty(65536, np.int32)
    made_out = np.empty(65536, np.int32)
    level = np.zeros(n, np.int32)
    rank = np.full(n, -1, np.int32)
    queue_key = np.empty(n + 1, np.int64)
    queue_node = np.empty(n + 1, np.int32)
    size = 0
    # At first by the number of roads alone: ends of dead-end roads, then links of chains, then the rest.
    for v in range(n):
        degree = 0
        e = first_out[v]
        while e >= 0:
            degree += 1
            e = next_out[e]
        e = first_in[v]
        while e >= 0:
            degree += 1
            e = next_in[e]
        _sift_up(queue_key, queue_node, size, np.int64(100 * min(degree, 2) if degree <= 2 else 150 * degree), v)
        size += 1
    done = 0
    while size > 0:
        v = queue_node[0]
        size -= 1
        _sift_down(queue_key, queue_node, size)
        made = _find_shortcuts(
            v, h, t, w, first_out, next_out, first_in, next_in, dist, touched, heap_key, heap_node, made_in, made_out
        )
        removed = 0
        removed_hops = 0
        e = first_out[v]
        while e >= 0:
            removed += 1
            removed_hops += hops[e]
            e = next_out[e]
        e = first_in[v]
        while e >= 0:
            removed += 1
            removed_hops += hops[e]
            e = next_in[e]
        made_hops = 0
        for row in range(made):
            made_hops += hops[made_in[row]] + hops[made_out[row]]
        key = np.int64(1000 * level[v])
        if removed > 0:
            key += np.int64(1000 * made // removed + 1000 * made_hops // removed_hops)
        if size > 0 and key > queue_key[0]:
            _sift_up(queue_key, queue_node, size, key, v)
            size += 1
            continue

        rank[v] = done
        done += 1
        # Take its edges out of its neighbours' lists; its own lists stay as they are now.
        e = first_out[v]
        while e >= 0:
            x = h[e]
            level[x] = max(level[x], level[v] + 1)
            if first_in[x] == e:
                first_in[x] = next_in[e]
            else:
                f = first_in[x]
                while next_in[f] != e:
                    f = next_in[f]
                next_in[f] = next_in[e]
            e = next_out[e]
        e = first_in[v]
        while e >= 0:
            x = t[e]
            level[x] = max(level[x], level[v] + 1)
            if first_out[x] == e:
                first_out[x] = next_out[e]
            else:
                f = first_out[x]
                while next_out[f] != e:
                    f = next_out[f]
                next_out[f] = next_out[e]
            e = next_in[e]
        for row in range(made):
            e_in, e_out = made_in[row], made_out[row]
            u, x = t[e_in], h[e_out]
            s = first_out[u]
            while s >= 0 and h[s] != x:
                s = next_out[s]
            if s < 0:
                if edges == len(t):
                    t, h, w, a, b, fa = (
                        _longer(t, 0),
                        _longer(h, 0),
                        _longer(w, 0),
                        _longer(a, -1),
                        _longer(b, -1),
                        _longer(fa, 0),
                    )
                    la, bad, sea, metres = _longer(la, 0), _longer(bad, 0), _longer(sea, 0), _longer(metres, 0)
                    hops, next_out, next_in = _longer(hops, 0), _longer(next_out, -1), _longer(next_in, -1)
                s = edges
                edges += 1
                t[s], h[s] = u, x
                next_out[s] = first_out[u]
                first_out[u] = s
                next_in[s] = first_in[x]
                first_in[x] = s
            w[s] = w[e_in] + w[e_out]
            a[s], b[s] = e_in, e_out
            fa[s], la[s] = fa[e_in], la[e_out]
            turned = reverse[la[e_in]] == fa[e_out]
            bad[s] = 1 if turned or bad[e_in] != 0 or bad[e_out] != 0 else 0
            sea[s] = sea[e_in] + sea[e_out]
            metres[s] = metres[e_in] + metres[e_out]
            hops[s] = hops[e_in] + hops[e_out]
    return (
        rank, t[:edges].copy(), h[:edges].copy(), w[:edges].copy(), a[:edges].copy(), b[:edges].copy(), fa[:edges].copy(),
        la[:edges].copy(), bad[:edges].copy(), sea[:edges].copy(), metres[:edges].copy(),
    )  # fmt: skip
