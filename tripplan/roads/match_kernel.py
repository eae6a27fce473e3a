"""The hidden Markov model of a track in plain loops, compiled by numba where it is there.

One function, because every step of it needs the search: first the best way through the candidates of all points is found
(Viterbi), then its steps are searched once more to write the roads down.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache
from typing import Any

import numpy as np

__all__ = ["ODD_FROM", "OFF", "START", "WINDING", "compiled", "decode"]

#: What stands for a candidate before: nothing (the beginning), or a point that lies on no road.
START, OFF = -1, -2
#: How a point was reached from the one before: not at all, by road, or across a break.
BREAK, ROAD = 0, 1
#: A point that adds so much to the cost may be an outlier: then ways past it are tried too.
ODD_FROM = 4.0
#: Cost of a road that may differ four times as much from the straight way: tried where nothing else is nearly as cheap.
WINDING = 6.0
_FAR = 1e300


def decode(
    ptr: Any, arc: Any, at_m: Any, cost: Any, step_m: Any, dt_s: Any, fresh: Any, off: Any, scale_m: Any,
    leap_m: Any, leap_scale_m: Any,
    out_ptr: Any, head: Any, tail: Any, length_m: Any, reverse: Any, hasty_s: Any,
    slip_m: float, noise_m: float, fastest_m_s: float, turn: float, jump: float, leave: float, haste: float, most_work: int,
) -> tuple[Any, ...]:  # fmt: skip
    """Find the likeliest roads of a track.

    Parameters
    ----------
    ptr
        (points + 1) candidates of point t are ``ptr[t]:ptr[t + 1]``.
    arc, at_m, cost
        (candidates) road in one direction, where on it from its beginning [m], and -log of the chance of a point there.
    step_m, dt_s
        (points) straight distance [m] and time [s, NaN unknown] from the point before, at the first point anything.
    fresh
        (points) whether nothing is known of how the track came from the point before.
    off
        (points) cost of lying on no road of the map.
    scale_m
        (points) mean of what a way by road may differ from the straight distance from the point before [m].
    leap_m, leap_scale_m
        (points) the same from the last point but one, for skipping an outlier.
    out_ptr, head, tail, length_m, reverse
        See `match_graph.MatchGraph`.
    hasty_s
        (arcs) time that a driver in a hurry takes [s].
    slip_m
        So far a point may lie behind the one before on the same road: noise, no turn.
    noise_m, fastest_m_s
        Road from one point to the next is at most ``fastest_m_s`` times the time and this more [m/s, m].
    turn, jump, leave
        Cost of turning round, of going on at another road than can be reached, of leaving the roads or coming back to them.
    haste
        Cost of being twice as fast as a driver in a hurry (half of it for half as much more, at most twice of it).

    most_work
        Junctions to be looked at before the search is given up.

    Returns
    -------
    work
        Junctions looked at; where they are more than `most_work` the rest says nothing.
    chosen
        (points) candidate of each point, `OFF` where it lies on no road.
    how
        (points) how it was reached from the last point on a road: `BREAK` or `ROAD`.
    before
        (points) that last point, -1 none: not the point before where one point was skipped as an outlier.
    run_ptr, run_arc, run_from_m, run_to_m
        Roads to point t are runs ``run_ptr[t]:run_ptr[t + 1]``, along each arc's direction.
    """
    points, candidates, junctions = len(ptr) - 1, len(arc), len(out_ptr) - 1
    total = np.full(candidates, _FAR)
    back = np.full(candidates, START, np.int64)
    by = np.zeros(candidates, np.uint8)
    off_total = np.full(points, _FAR)
    off_back = np.full(points, START, np.int64)
    odd = np.zeros(points, np.bool_)
    chosen = np.full(points, OFF, np.int64)
    how = np.zeros(points, np.uint8)
    before = np.full(points, -1, np.int64)
    run_ptr = np.zeros(points + 1, np.int64)
    run_arc = np.empty(1024, np.int32)
    run_from = np.empty(1024)
    run_to = np.empty(1024)
    runs = 0
    work = 0
    # Of the search from one junction: stamps say which entries are of this search.
    stamp = 0
    reached = np.zeros(junctions, np.int32)
    settled = np.zeros(junctions, np.int32)
    asked = np.zeros(junctions, np.int32)
    distance = np.empty(junctions)
    hurry = np.empty(junctions)
    first_arc = np.empty(junctions, np.int32)
    last_arc = np.empty(junctions, np.int32)
    heap_key = np.empty(1024)
    heap_node = np.empty(1024, np.int32)

    for phase in range(2):
        for t in range(points):
            low, high = ptr[t], ptr[t + 1]
            if phase == 0:
                # -- the cheapest of the point before, and the costs of starting anew here ---------------------------------
                least, least_at = _FAR, START
                if t > 0:
                    for i in range(ptr[t - 1], low):
                        if total[i] < least:
                            least, least_at = total[i], i
                    off_before = off_total[t - 1]
                else:
                    off_before = _FAR
                if t == 0:
                    for j in range(low, high):
                        total[j] = cost[j]
                    off_total[0] = off[0]
                    continue
                again, again_back = least + jump, least_at
                if fresh[t]:
                    again = least
                if off_before + (0.0 if fresh[t] else leave) < again:
                    again, again_back = off_before + (0.0 if fresh[t] else leave), OFF
                for j in range(low, high):
                    total[j] = again + cost[j]
                    back[j] = again_back
                    by[j] = BREAK
                off_total[t] = off_before + off[t]
                off_back[t] = OFF
                if least + leave + off[t] < off_total[t]:
                    off_total[t], off_back[t] = least + leave + off[t], least_at
                if fresh[t]:
                    continue
            else:
                run_ptr[t] = runs
                if chosen[t] < 0 or how[t] != ROAD:
                    continue
            # -- by road, from the point before; also from the one before that where this or the last one seems an outlier --
            for turn_no in range(3):
                # Third: the point before once more, for a road that winds far more than roads do.
                skipped = turn_no % 2
                u = t - 1 - skipped
                if phase == 0:
                    if turn_no > 0:
                        cheapest = off_total[t]
                        for j in range(low, high):
                            cheapest = min(cheapest, total[j])
                        more = cheapest - min(least, off_before)
                        if turn_no == 1 and more < min(off[t], ODD_FROM) and not odd[t - 1]:
                            continue
                        if turn_no == 2 and more < WINDING + 2.0:
                            break
                    if u < 0 or (skipped == 1 and fresh[t - 1]):
                        continue
                    from_low, from_high = ptr[u], ptr[u + 1]
                    extra = off[t - 1] if skipped == 1 else 0.0
                    if turn_no == 2:
                        extra = WINDING
                    straight = step_m[t] if skipped == 0 else leap_m[t]
                    seconds = dt_s[t] if skipped == 0 else dt_s[t] + dt_s[t - 1]
                    scale = scale_m[t] if skipped == 0 else leap_scale_m[t]
                    if turn_no == 2:
                        scale *= 4.0
                    # All ways that could still be cheaper than starting anew lie within this.
                    bar = again - extra
                else:
                    if before[t] != u or turn_no == 2:
                        continue
                    from_low, from_high = chosen[u], chosen[u] + 1
                    extra, bar = 0.0, _FAR
                    straight, seconds, scale = 0.0, np.nan, 1.0
                for i in range(from_low, from_high):
                    if phase == 0 and total[i] >= bar:
                        continue
                    a, x = arc[i], at_m[i]
                    rest = length_m[a] - x
                    limit = _FAR
                    if phase == 0:
                        limit = straight + scale * (bar - total[i])
                        if seconds == seconds:
                            limit = min(limit, fastest_m_s * max(seconds, 0.0) + noise_m)
                    to_low, to_high = (low, high) if phase == 0 else (chosen[t], chosen[t] + 1)
                    # -- search from the end of this road ------------------------------------------------------------------
                    stamp += 1
                    missing = 0
                    for j in range(to_low, to_high):
                        b = arc[j]
                        near = (b == a and at_m[j] >= x - slip_m) or b == reverse[a]
                        if not near and asked[tail[b]] != stamp:
                            asked[tail[b]] = stamp
                            missing += 1
                    size = 0
                    if missing > 0 and rest <= limit:
                        root = head[a]
                        reached[root] = stamp
                        distance[root] = rest
                        hurry[root] = hasty_s[a] * (rest / length_m[a]) if length_m[a] > 0 else 0.0
                        first_arc[root] = -1
                        last_arc[root] = -1
                        heap_key[0], heap_node[0] = rest, root
                        size = 1
                    while size > 0:
                        d, v = heap_key[0], heap_node[0]
                        size -= 1
                        key, node = heap_key[size], heap_node[size]
                        place = 0
                        while True:
                            child = 2 * place + 1
                            if child >= size:
                                break
                            if child + 1 < size and heap_key[child + 1] < heap_key[child]:
                                child += 1
                            if key <= heap_key[child]:
                                break
                            heap_key[place], heap_node[place] = heap_key[child], heap_node[child]
                            place = child
                        heap_key[place], heap_node[place] = key, node
                        if settled[v] == stamp:
                            continue
                        settled[v] = stamp
                        work += 1
                        if asked[v] == stamp:
                            missing -= 1
                            if missing == 0:
                                break
                        for e in range(out_ptr[v], out_ptr[v + 1]):
                            w = head[e]
                            far = d + length_m[e]
                            if far > limit or (reached[w] == stamp and distance[w] <= far):
                                continue
                            reached[w] = stamp
                            distance[w] = far
                            hurry[w] = hurry[v] + hasty_s[e]
                            first_arc[w] = e if first_arc[v] < 0 else first_arc[v]
                            last_arc[w] = e
                            if size == len(heap_key):
                                wider_key = np.empty(2 * size)
                                wider_node = np.empty(2 * size, np.int32)
                                wider_key[:size] = heap_key
                                wider_node[:size] = heap_node
                                heap_key, heap_node = wider_key, wider_node
                            place = size
                            size += 1
                            while place > 0:
                                up = (place - 1) >> 1
                                if heap_key[up] <= far:
                                    break
                                heap_key[place], heap_node[place] = heap_key[up], heap_node[up]
                                place = up
                            heap_key[place], heap_node[place] = far, w
                    if phase == 0 and work > most_work:
                        return work, chosen, how, before, run_ptr, run_arc[:0].copy(), run_from[:0].copy(), run_to[:0].copy()
                    # -- what it gives -------------------------------------------------------------------------------------
                    for j in range(to_low, to_high):
                        b, y = arc[j], at_m[j]
                        turned = False
                        if b == a and y >= x - slip_m:
                            road = max(y - x, 0.0)
                            kind = 0
                            least_s = hasty_s[a] * (road / length_m[a]) if length_m[a] > 0 else 0.0
                        elif b == reverse[a]:
                            road = abs(length_m[b] - y - x)
                            turned = True
                            kind = 1
                            least_s = hasty_s[a] * (road / length_m[a]) if length_m[a] > 0 else 0.0
                        else:
                            v = tail[b]
                            if settled[v] != stamp:
                                continue
                            road = distance[v] + y
                            least_s = hurry[v] + (hasty_s[b] * (y / length_m[b]) if length_m[b] > 0 else 0.0)
                            turned = (first_arc[v] >= 0 and first_arc[v] == reverse[a]) or (
                                last_arc[v] >= 0 and last_arc[v] == reverse[b]
                            )
                            kind = 2
                        if phase == 0:
                            if road > limit:
                                continue
                            more = total[i] + extra + abs(road - straight) / scale + cost[j]
                            if turned:
                                more += turn
                            if seconds > 0 and least_s > seconds:  # false where the time is not known
                                more += haste * min(least_s / seconds - 1.0, 2.0)
                            if more < total[j]:
                                total[j] = more
                                back[j] = i
                                by[j] = ROAD
                            continue
                        # -- write the roads down: backwards, then turned round -----------------------------------------------
                        begin = runs
                        steps = 0
                        if kind == 2:
                            v = tail[b]
                            while last_arc[v] >= 0:
                                steps += 1
                                v = tail[last_arc[v]]
                        while runs + steps + 2 > len(run_arc):
                            room = 2 * len(run_arc)
                            more_arc = np.empty(room, np.int32)
                            more_from = np.empty(room)
                            more_to = np.empty(room)
                            more_arc[:runs] = run_arc[:runs]
                            more_from[:runs] = run_from[:runs]
                            more_to[:runs] = run_to[:runs]
                            run_arc, run_from, run_to = more_arc, more_from, more_to
                        if kind == 0:
                            run_arc[runs], run_from[runs], run_to[runs] = a, x, max(x, y)
                            runs += 1
                        elif kind == 1:
                            corner = max(x, length_m[a] - y)
                            run_arc[runs], run_from[runs], run_to[runs] = a, x, corner
                            run_arc[runs + 1], run_from[runs + 1], run_to[runs + 1] = b, length_m[b] - corner, y
                            runs += 2
                        else:
                            run_arc[runs], run_from[runs], run_to[runs] = a, x, length_m[a]
                            runs += 1 + steps
                            v = tail[b]
                            for step in range(steps):
                                e = last_arc[v]
                                run_arc[begin + steps - step] = e
                                run_from[begin + steps - step], run_to[begin + steps - step] = 0.0, length_m[e]
                                v = tail[e]
                            run_arc[runs], run_from[runs], run_to[runs] = b, 0.0, y
                            runs += 1
            if phase == 0:
                cheapest = off_total[t]
                for j in range(low, high):
                    cheapest = min(cheapest, total[j])
                odd[t] = cheapest - min(least, off_before) >= min(off[t], ODD_FROM)
        if phase == 0:
            # -- back from the cheapest end -----------------------------------------------------------------------------------
            t = points - 1
            state = np.int64(OFF)
            cheapest = off_total[t]
            for j in range(ptr[t], ptr[t + 1]):
                if total[j] < cheapest:
                    cheapest, state = total[j], np.int64(j)
            while True:
                chosen[t] = state
                came = off_back[t] if state == OFF else back[state]
                how[t] = BREAK if state == OFF else by[state]
                if came == START:
                    break
                u = t - 1
                if came >= 0:
                    while came < ptr[u]:
                        u -= 1
                before[t] = u if came >= 0 else -1
                t, state = u, came
    run_ptr[points] = runs
    return work, chosen, how, before, run_ptr, run_arc[:runs].copy(), run_from[:runs].copy(), run_to[:runs].copy()


@lru_cache(maxsize=1)
def compiled() -> Callable[..., Any] | None:
    """Return `decode` compiled (and kept in the user's folder), ``None`` without numba."""
    try:
        import numba
    except ImportError:
        return None
    from tripplan.roads.cache import cache_folder

    config: Any = numba.config
    if not config.CACHE_DIR:
        config.CACHE_DIR = str(cache_folder() / "compiled")
    try:
        made: Callable[..., Any] = numba.njit(cache=True, nogil=True)(decode)
    except RuntimeError:  # no folder to keep it in: compile anew each time
        made = numba.njit(nogil=True)(decode)
    return made
