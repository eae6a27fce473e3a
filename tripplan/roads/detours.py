"""How far from a restricted turn the ban on turning round can matter, in compiled loops. Import only where numba is there."""

from __future__ import annotations

from typing import Any

import numpy as np

from tripplan.roads.compile import jit
from tripplan.roads.contract import _sift_down, _sift_up

__all__ = ["mark_near_turns"]

_FAR = np.int64(2**62)
#: States that the search for the allowed way round a restriction looks at, at most.
_SETTLED = 4000
_HEAP = 65536


@jit
def mark_near_turns(
    out_ptr: Any, head: Any, key: Any, transit: Any, reverse: Any, closed: Any,
    special: Any, special_row: Any, next_ptr: Any, next_state: Any, extra_arc: Any,
) -> Any:  # fmt: skip
    """Return (states) the plain ones that must not be merged at their junction.

    Where a turn from a to b is not allowed (or only in the middle of a restriction, which a way round would not be), a
    vehicle could pretend: go on by t, turn round, come back and turn into b. It gains by that only while there and back
    costs less than the allowed way from a to b. So the roads that can be driven there and back for no more are marked.
    """
    arcs = len(head)
    states = arcs + len(extra_arc)
    marked = np.zeros(states, np.bool_)
    label = np.full(states, _FAR, np.int64)
    touched = np.empty(_HEAP, np.int32)
    heap_key = np.empty(_HEAP, np.int64)
    heap_state = np.empty(_HEAP, np.int32)
    wanted = np.zeros(arcs, np.bool_)
    for row in range(len(special)):
        a = special[row]
        arc_a = a if a < arcs else extra_arc[a - arcs]
        v = head[arc_a]
        if closed[v]:
            continue
        missing = 0
        for side in range(out_ptr[v], out_ptr[v + 1]):
            if side != reverse[arc_a]:
                wanted[side] = True
                missing += 1
        for position in range(next_ptr[row], next_ptr[row + 1]):
            t = next_state[position]
            if t < arcs and wanted[t]:
                wanted[t] = False
                missing -= 1
        far = np.int64(0)
        if missing > 0:
            # -- the allowed way from a to each road that it may not turn into ------------------------------------------
            count, size, settled = 1, 1, 0
            label[a], touched[0] = 0, a
            heap_key[0], heap_state[0] = 0, a
            while size > 0 and missing > 0 and settled < _SETTLED:
                k, s = heap_key[0], heap_state[0]
                size -= 1
                _sift_down(heap_key, heap_state, size)
                if k > label[s]:
                    continue
                settled += 1
                far = k
                arc = s if s < arcs else extra_arc[s - arcs]
                u = head[arc]
                if closed[u]:
                    continue
                listed = special_row[s]
                low, high = (next_ptr[listed], next_ptr[listed + 1]) if listed >= 0 else (out_ptr[u], out_ptr[u + 1])
                for position in range(low, high):
                    t = np.int64(next_state[position]) if listed >= 0 else np.int64(position)
                    if listed < 0 and t == reverse[arc]:
                        continue
                    b = t if t < arcs else np.int64(extra_arc[t - arcs])
                    if t < arcs and wanted[t]:
                        wanted[t] = False
                        missing -= 1
                    reach = k + key[b]
                    if transit[b] and reach < label[t] and size < _HEAP - 1 and count < _HEAP:
                        if label[t] == _FAR:
                            touched[count] = t
                            count += 1
                        label[t] = reach
                        _sift_up(heap_key, heap_state, size, reach, t)
                        size += 1
            if size == 0 and missing > 0:
                far = _FAR  # there is no allowed way: everything that can be reached is marked
            for i in range(count):
                label[touched[i]] = _FAR
            # -- roads that can be driven there and back for less ------------------------------------------------------
            count, size = 1, 1
            label[a], touched[0] = 0, a
            heap_key[0], heap_state[0] = 0, a
            while size > 0:
                k, s = heap_key[0], heap_state[0]
                size -= 1
                _sift_down(heap_key, heap_state, size)
                if k > label[s]:
                    continue
                arc = s if s < arcs else extra_arc[s - arcs]
                u = head[arc]
                if s != a:
                    marked[s] = True
                if closed[u]:
                    continue
                listed = special_row[s]
                low, high = (next_ptr[listed], next_ptr[listed + 1]) if listed >= 0 else (out_ptr[u], out_ptr[u + 1])
                for position in range(low, high):
                    t = np.int64(next_state[position]) if listed >= 0 else np.int64(position)
                    b = t if t < arcs else np.int64(extra_arc[t - arcs])
                    back = reverse[b]
                    if (listed < 0 and t == reverse[arc]) or back < 0 or not transit[b] or not transit[back]:
                        continue
                    reach = k + key[b] + key[back]
                    if reach <= far and reach < label[t] and size < _HEAP - 1 and count < _HEAP:
                        if label[t] == _FAR:
                            touched[count] = t
                            count += 1
                        label[t] = reach
                        _sift_up(heap_key, heap_state, size, reach, t)
                        size += 1
            for i in range(count):
                label[touched[i]] = _FAR
        for side in range(out_ptr[v], out_ptr[v + 1]):
            wanted[side] = False
    return marked
