"""Compiled loops of labels. Same results as the whole-array code in ``labels``."""

# mypy: disable-error-code="no-untyped-def, no-any-return, no-untyped-call"
from __future__ import annotations

from typing import Any

import numpy as np
from numba import njit
from numpy.typing import NDArray

from .bounds import Bound
from .labels import Labels, open_places
from .tables import Tables

__all__ = ["cache_folder", "expand", "ready", "undominated"]

Any_ = NDArray[Any]


@njit(cache=True, nogil=True)
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


@njit(cache=True, nogil=True)
def _expand(
    begin,
    day,
    arc_ptr,
    arc_to,
    arc_days,
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
    open_,
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
    today = np.uint64(1) << np.uint64(day)
    short = len(column_of) > 0
    n = 0
    level = np.empty(stores, np.int64)
    count = np.empty(counters, np.int64)
    for i in range(begin, len(place)):
        here = place[i]
        if n + (arc_ptr[here + 1] - arc_ptr[here]) > room:
            return n, i
        for a in range(arc_ptr[here], arc_ptr[here + 1]):
            to = arc_to[a]
            if (arc_days[a] & today) == 0 or not open_[to]:
                continue
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


def expand(tables: Tables, day: int, labels: Labels, bound: Bound, limit: int) -> Labels:
    """Return the labels of the next morning that may still lead to a plan below ``limit`` (see ``labels``)."""
    p = tables.problem
    stores, counters = len(p.cap), len(p.count_cap)
    fan = int((p.arc_ptr[1:] - p.arc_ptr[:-1]).max(initial=1))
    room = max(1 << 16, 4 * fan)
    row = bound.buckets.start[day + 1]
    couple = np.array(p.couple, np.int64).reshape(-1, 4)
    values, open_ = bound.values[day + 1], open_places(tables, day)
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
            p.arc_days,
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
            open_,
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


def cache_folder() -> str:
    """Return where the compiled loops are kept."""
    return _expand.stats.cache_path or ""


def ready() -> bool:
    """Tell whether the loops have been compiled, or loaded, by this process."""
    return bool(_expand.signatures)
