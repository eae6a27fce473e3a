"""Compiled loops of the search. Same results as the whole-array code beside them in ``bounds`` and ``labels``.

Imported only when the work pays for it. Compiled code is kept beside this file or, where that cannot be written, in the
user's cache folder (numba's own order; NUMBA_CACHE_DIR overrides both), so it is compiled once.
"""

# mypy: disable-error-code="no-untyped-def, no-any-return, no-untyped-call"
from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
from numba import njit
from numpy.typing import NDArray

from .bounds import Bound, LikeArcs, arc_classes
from .buckets import asked_levels, night_moves
from .labels import Labels
from .tables import Tables

__all__ = ["compiled_before", "day_table", "expand", "night_table", "undominated"]

Any_ = NDArray[Any]


@njit(cache=True)
def _night(out, ahead, cost, like, index, price, cover, column, inf):
    halves, size, places, columns = out.shape
    for half in range(halves):
        for bucket in range(size):
            for q in range(places):
                extra = cost[q]
                if extra < 0:
                    continue
                extra += price[like[q], bucket]
                if extra >= inf:
                    continue
                b = index[like[q], bucket]
                for k in range(columns):
                    c = column[cover[q], k]
                    if c >= 0:
                        v = ahead[q, half, b, c] + extra
                        if v < inf:
                            out[half, bucket, q, k] = v


def night_table(tables: Tables, buckets: Any, day: int, ahead: Any, position: Any, dtype: Any) -> Any_:
    """Return W of a day (see ``bounds``)."""
    p = tables.problem
    arrivals = tables.arrivals[day]
    spots = tables.spots[day + 1]
    out = np.full((tables.halves, buckets.arrive_sizes[day], len(spots), len(arrivals)), tables.inf, dtype)
    if ahead is None:
        out[:, :, 0, :] = tables.end_value[arrivals].astype(dtype)
        return out
    index, price = night_moves(tables, buckets, day)
    column = np.ascontiguousarray(position[tables.cover_map[:, arrivals]])
    _night(
        out,
        ahead,
        np.minimum(p.night_cost[day][spots], tables.inf).astype(dtype),
        tables.like_night[spots],
        index.astype(np.int32),
        np.minimum(price, tables.inf).astype(dtype),
        tables.cover_class[spots],
        column,
        dtype(tables.inf),
    )
    return out


@njit(cache=True)
def _usable(days, day, to, origin, alive, out):
    n = 0
    bit = np.uint64(1) << np.uint64(day)
    for a in range(len(to)):
        if (days[a] & bit) != 0 and origin[a] >= 0 and to[a] >= 0 and alive[to[a]]:
            out[n] = a
            n += 1
    return n


@njit(cache=True)
def _alive(night, inf):
    halves, size, places, columns = night.shape
    rows = np.zeros((halves, size, places), np.bool_)
    place = np.zeros(places, np.bool_)
    for half in range(halves):
        for bucket in range(size):
            for q in range(places):
                for k in range(columns):
                    if night[half, bucket, q, k] < inf:
                        rows[half, bucket, q] = True
                        place[q] = True
                        break
    return rows, place


@njit(cache=True)
def _least(row, source, to, cost, arcs, live, inf):
    """Least of ``source[to] + cost`` over arcs, four rows at a time and in the arrays' own integers, so that it vectorises."""
    number = row.dtype.type
    wide = len(row)
    row[:] = inf
    i = 0
    rows = np.empty(4, np.int64)
    many = 0
    while i < len(arcs):
        if live[to[arcs[i]]]:
            rows[many] = arcs[i]
            many += 1
        i += 1
        if many == 4 or (i == len(arcs) and many > 0):
            while many < 4:
                rows[many] = rows[0]
                many += 1
            w0, w1, w2, w3 = source[to[rows[0]]], source[to[rows[1]]], source[to[rows[2]]], source[to[rows[3]]]
            c0, c1, c2, c3 = cost[rows[0]], cost[rows[1]], cost[rows[2]], cost[rows[3]]
            for k in range(wide):
                v0 = min(number(w0[k] + c0), number(w1[k] + c1))
                v1 = min(number(w2[k] + c2), number(w3[k] + c3))
                row[k] = min(row[k], min(v0, v1))
            many = 0


@njit(cache=True)
def _day(
    out, night, live, arcs, origin_of, to, cost, stand, key, kind, moves, costs, sight, plain, asked, reset_kind, one, root, inf
):  # fmt: skip
    halves, columns = out.shape[1], out.shape[3]
    levels = moves.shape[1]
    buckets, wide = night.shape[1], night.shape[3]
    number = out.dtype.type
    row = np.empty(wide, night.dtype)
    for bucket in range(buckets):
        a = 0
        while a < len(arcs):
            first = arcs[a]
            g = kind[key[first]]
            s = stand[first]
            origin = origin_of[first]
            b = a + 1
            while b < len(arcs) and origin_of[arcs[b]] == origin and kind[key[arcs[b]]] == g and stand[arcs[b]] == s:
                b += 1
            here = asked[reset_kind[origin]]
            used = False
            for level in range(levels):
                if moves[g, level] == bucket and here[level]:
                    used = True
                    break
            if used:
                half = halves - 1 if s and not root else 0
                _least(row, night[half, bucket], to, cost, arcs[a:b], live[half, bucket], inf)
                for level in range(levels):
                    if moves[g, level] != bucket or not here[level]:
                        continue
                    for h in range(halves):
                        extra = costs[g, level]
                        if h == 0 and halves == 2 and not s and not root:
                            extra = number(extra + one)
                        target = out[origin, h, level]
                        if plain[g]:
                            for k in range(columns):
                                target[k] = min(target[k], number(row[k] + extra))
                        else:
                            for k in range(columns):
                                j = sight[g, k]
                                if j >= 0:
                                    target[k] = min(target[k], number(row[j] + extra))
            a = b
    for i in range(out.shape[0]):
        for h in range(halves):
            for level in range(levels):
                for k in range(columns):
                    out[i, h, level, k] = min(out[i, h, level, k], inf)


def day_table(tables: Tables, arcs: LikeArcs, buckets: Any, day: int, night: Any_, arrive_position: Any_, dtype: Any) -> Any_:
    """Return B of a day (see ``bounds``)."""
    p = tables.problem
    columns = tables.columns[day]
    root = day == 0
    spots = tables.spots[day]
    out = np.full((len(spots), tables.halves, buckets.sizes[day], len(columns)), tables.inf, dtype)
    if not night.size or not out.size:
        return out
    origin, to = tables.rows[day][arcs.origin], tables.rows[day + 1][arcs.to]
    kind, moves, costs, sights = arc_classes(tables, arcs, buckets, day)
    live, place = _alive(night, dtype(tables.inf))
    chosen = np.empty(len(arcs.to), np.int64)
    n = _usable(arcs.days, day, to, origin, place, chosen)
    sight = arrive_position[tables.sight_map[sights][:, columns]]
    asked, reset_kind = asked_levels(tables, buckets, day)
    plain = np.array([len(columns) == night.shape[3] and bool((s == np.arange(len(columns))).all()) for s in sight], np.uint8)
    _day(
        out,
        night,
        live,
        chosen[:n],
        origin,
        to,
        arcs.cost.astype(dtype, copy=False),
        arcs.stand,
        arcs.key,
        kind,
        moves.astype(np.int32),
        costs.astype(dtype),
        np.ascontiguousarray(sight),
        plain,
        asked,
        reset_kind[spots],
        dtype(p.one_night_cost),
        root,
        dtype(tables.inf),
    )
    return out


@njit(cache=True)
def _undominated(size, group):
    n, dims = size.shape
    alive = np.ones(n, np.bool_)
    kept = np.empty(n, np.int64)
    many = 0
    for i in range(n):
        if group[i]:
            many = 0
        for j in range(many):
            other = kept[j]
            worse = False
            for c in range(dims):
                if size[other, c] > size[i, c]:
                    worse = True
                    break
            if not worse:
                alive[i] = False
                break
        if alive[i]:
            kept[many] = i
            many += 1
    return alive


def undominated(size: Any_, group: Any_) -> Any_:
    """Return which rows of groups, sorted within each, no earlier one of their group dominates."""
    return _undominated(size, group)


@njit(cache=True)
def _expand(
    begin,
    day,
    arc_ptr,
    arc_to,
    arc_cost,
    arc_reset,
    arc_use,
    arc_count,
    sight_class,
    sight_map,
    cover_class,
    cover_map,
    position,
    place_class,
    column_of,
    offset,
    day_block,
    night_block,
    night_class,
    night_cost,
    night_count,
    arrive_reset,
    leave_reset,
    stay_limit,
    kept,
    cap,
    weight,
    count_cap,
    one_count,
    one_cost,
    one_night,
    couple,
    edge_ptr,
    edges,
    values,
    row_of,
    base,
    shift,
    top,
    empty,
    usable,
    limit,
    inf,
    place,
    state,
    nights,
    levels,
    counts,
    cost,
    o_place,
    o_state,
    o_nights,
    o_levels,
    o_counts,
    o_cost,
    o_floor,
    o_parent,
    o_arc,
):
    stores, counters, halves = levels.shape[1], counts.shape[1], values.shape[1]
    room = len(o_place)
    short = len(column_of) > 0
    n = 0
    level = np.empty(stores, np.int64)
    count = np.empty(counters, np.int64)
    for i in range(begin, len(place)):
        here = place[i]
        if n + (arc_ptr[here + 1] - arc_ptr[here]) > room:
            return n, i
        for a in range(arc_ptr[here], arc_ptr[here + 1]):
            if not usable[a]:
                continue
            to = arc_to[a]
            s = cover_map[cover_class[to], sight_map[sight_class[a], state[i]]]
            column = position[s]
            if column < 0:
                continue
            raised = base
            if short:
                column = column_of[place_class[to], s]
                raised += offset[s]
            stay = nights[i] + 1 if to == here else 1
            if stay_limit[to] > 0 and stay > stay_limit[to]:
                continue
            half = 1 if stay >= 2 and halves == 2 else 0
            c = cost[i] + arc_cost[a] + night_cost[day, to]
            if not empty:
                rest = values[row_of[to], half, 0, column]
                if rest == top or c + raised + (np.int64(rest) << shift) >= limit:
                    continue
            ok = True
            for r in range(counters):
                count[r] = counts[i, r] + arc_count[a, r] + night_count[day, to, r]
            if one_night and to != here and nights[i] == 1:
                c += one_cost
                for r in range(counters):
                    count[r] += one_count[r]
            for r in range(counters):
                if count[r] > count_cap[r]:
                    ok = False
                    break
            if not ok:
                continue
            use = arc_use[a]
            kind = night_class[to]
            for r in range(stores):
                before = np.int64(levels[i, r])
                end = max(before + day_block[day, use, 0, r], np.int64(day_block[day, use, 2, r]))
                over = max(before + day_block[day, use, 1, r], end) - cap[r]
                if over > 0:
                    if weight[r] <= 0:
                        ok = False
                        break
                    c += over * weight[r]
                before = min(end, np.int64(cap[r]))
                if (arc_reset[a] >> r) & 1 or (arrive_reset[to] >> r) & 1:
                    before = np.int64(0)
                end = max(before + night_block[day, kind, 0, r], np.int64(night_block[day, kind, 2, r]))
                over = max(before + night_block[day, kind, 1, r], end) - cap[r]
                if over > 0:
                    if weight[r] <= 0:
                        ok = False
                        break
                    c += over * weight[r]
                level[r] = min(end, np.int64(cap[r]))
            if not ok:
                continue
            for w in range(len(couple)):
                r = couple[w, 1]
                if (leave_reset[to] >> couple[w, 0]) & 1:
                    grown = level[r] - (-level[couple[w, 0]] * couple[w, 2] // couple[w, 3])
                    over = grown - cap[r]
                    if over > 0:
                        if weight[r] <= 0:
                            ok = False
                            break
                        c += over * weight[r]
                    level[r] = min(grown, np.int64(cap[r]))
            if not ok:
                continue
            bucket = 0
            for r in range(stores):
                if (leave_reset[to] >> r) & 1:
                    level[r] = 0
                e = edge_ptr[r + 1] - 1
                while e > edge_ptr[r] and edges[e] > level[r]:
                    e -= 1
                bucket = bucket * (edge_ptr[r + 1] - edge_ptr[r]) + e - edge_ptr[r]
            floor = c
            if not empty:
                rest = values[row_of[to], half, bucket, column]
                floor += inf if rest == top else raised + (np.int64(rest) << shift)
            if floor >= limit:
                continue
            o_place[n] = to
            o_state[n] = s
            o_nights[n] = min(stay, kept[to])
            for r in range(stores):
                o_levels[n, r] = level[r]
            for r in range(counters):
                o_counts[n, r] = count[r]
            o_cost[n] = c
            o_floor[n] = floor
            o_parent[n] = i
            o_arc[n] = a
            n += 1
    return n, len(place)


def expand(tables: Tables, day: int, labels: Labels, bound: Bound, usable: Any_, limit: int) -> Labels:
    """Return the labels of the next morning that may still lead to a plan below ``limit`` (see ``labels``)."""
    p = tables.problem
    stores, counters = len(p.cap), len(p.count_cap)
    fan = int((p.arc_ptr[1:] - p.arc_ptr[:-1]).max(initial=1))
    room = max(1 << 16, 4 * fan)
    row = bound.buckets.start[day + 1]
    couple = np.array(p.couple, np.int64).reshape(-1, 4)
    values = bound.values[day + 1]
    if bound.place_class is None or bound.column_of is None or bound.offset is None:
        memory = np.zeros(0, np.int32), np.zeros((0, 0), np.int32), np.zeros(0, np.int64)
    else:
        memory = bound.place_class, bound.column_of, bound.offset
    parts: list[Labels] = []
    begin = 0
    while begin < len(labels) or not parts:
        out = Labels(
            np.empty(room, np.int32),
            np.empty(room, np.int32),
            np.empty(room, np.int32),
            np.empty((room, stores), np.int32),
            np.empty((room, counters), np.int64),
            np.empty(room, np.int64),
            np.empty(room, np.int64),
            np.empty(room, np.int32),
            np.empty(room, np.int32),
        )
        n, begin = _expand(
            begin,
            day,
            p.arc_ptr,
            p.arc_to,
            p.arc_cost,
            p.arc_reset,
            p.arc_use,
            p.arc_count,
            tables.sight_class,
            tables.sight_map,
            tables.cover_class,
            tables.cover_map,
            bound.position[day + 1],
            *memory,
            p.day_block,
            p.night_block,
            p.night_class,
            p.night_cost,
            p.night_count,
            p.arrive_reset,
            p.leave_reset,
            tables.stay_limit,
            tables.nights_kept,
            p.cap,
            p.excess_weight,
            p.count_cap,
            p.one_night_count,
            int(p.one_night_cost),
            tables.one_night,
            couple,
            np.cumsum([0] + [len(e) for e in row]),
            np.concatenate(row),
            values,
            bound.rows[day + 1],
            bound.base[day + 1],
            bound.shift[day + 1],
            bound.top[day + 1],
            not values.size,
            usable,
            limit,
            tables.inf,
            labels.place,
            labels.state,
            labels.nights,
            labels.levels,
            labels.counts,
            labels.cost,
            out.place,
            out.state,
            out.nights,
            out.levels,
            out.counts,
            out.cost,
            out.floor,
            out.parent,
            out.arc,
        )
        parts.append(out.take(np.arange(n)))
    return Labels.join(parts)


def compiled_before() -> bool:
    """Tell whether the compiled loops lie in the user's folder from an earlier run."""
    folder = Path(_expand.stats.cache_path or "")
    return any(folder.glob("kernels._expand-*.nbi"))
