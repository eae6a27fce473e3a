"""Compiled loops of the bound with a short memory. Same results as the whole-array code in ``memory_bound``."""

# mypy: disable-error-code="no-untyped-def, no-any-return, no-untyped-call"
from __future__ import annotations

from typing import Any

import numpy as np
from numba import njit
from numpy.typing import NDArray

from .memory_bound import Layout, Prices
from .pack_kernels import least_of_four, pack, unpack
from .scratch import Scratch
from .side_by_side import in_parts
from .tables import Tables

__all__ = ["day_table", "night_table", "pack", "ready", "unpack"]

Any_ = NDArray[Any]


@njit(cache=True, nogil=True)
def _night(out, ahead, cost, like, index, price, kind, following, worth, inf):
    halves, places, size, columns = out.shape
    for half in range(halves):
        for q in range(places):
            if cost[q] < 0:
                continue
            for bucket in range(size):
                extra = cost[q] + price[like[q], bucket]
                if extra >= inf:
                    continue
                b = index[like[q], bucket]
                for k in range(columns):
                    c = following[kind[q], k]
                    if c < 0:
                        break
                    v = ahead[q, half, b, c]
                    if v < inf and v + extra - worth[kind[q], k] < inf // 2:
                        out[half, q, bucket, k] = v + extra - worth[kind[q], k]


def night_table(tables: Tables, layout: Layout, prices: Prices, day: int, ahead: Any_, out: Any_) -> None:
    """Fill W of a day (see ``memory_bound``)."""
    dtype = out.dtype.type
    memory, spots = layout.memory, tables.spots[day + 1]
    _night(
        out,
        ahead,
        np.minimum(tables.problem.night_cost[day][spots], tables.inf).astype(dtype),
        tables.like_night[spots],
        layout.index[day],
        layout.price[day],
        memory.night_kind[spots],
        memory.night_next,
        prices.night.astype(dtype),
        dtype(tables.inf),
    )


@njit(cache=True, nogil=True)
def _alive(night, inf):
    halves, places, size, columns = night.shape
    place = np.zeros(places, np.bool_)
    for q in range(places):
        for half in range(halves):
            for bucket in range(size):
                for k in range(columns):
                    if night[half, q, bucket, k] < inf:
                        place[q] = True
                        break
                if place[q]:
                    break
    return place


@njit(cache=True, nogil=True)
def _remembered(out, night, done, half, q, following, worth, inf):
    """Put W of a place into the columns of a class that goes there."""
    size, columns = night.shape[2], night.shape[3]
    for bucket in range(size):
        source, target = night[half, q, bucket], out[half, q, bucket]
        target[:] = inf
        for k in range(columns):
            j = following[k]
            if j < 0:
                break
            v = source[j]
            target[k] = v - worth[k] if v < inf else inf
    done[half, q] = True


@njit(cache=True, nogil=True)
def _day(
    begin, end, seen, out, night, day, place, origin_of, to, cost, days, stand, key, kind, moves, costs, move, following, leave_row, worth,
    width, place_class, asked, reset_kind, one, inf,
):  # fmt: skip
    halves, places, size, columns = night.shape
    levels = moves.shape[1]
    root = day == 0
    number = out.dtype.type
    most = number(inf // 2)
    bit = np.uint64(1) << np.uint64(day)
    # seen: arrivals in the columns of the class now being left, filled where it goes to
    flat = seen.reshape((halves, places, size * columns))
    done = np.zeros((halves, places), np.bool_)
    row = np.empty(size * columns, night.dtype)
    used = np.zeros(size, np.bool_)
    run = np.empty((size, 2), np.int64)
    few = np.empty(end - begin, np.int64)
    rows = np.empty(4, np.int64)
    a = begin
    block = -1
    while a < end:
        origin, g, s = origin_of[a], kind[key[a]], stand[a]
        if leave_row[move[a]] != block:
            block = leave_row[move[a]]
            done[:] = False
        half = halves - 1 if s and not root else 0
        many = 0
        b = a
        while b < end and origin_of[b] == origin and kind[key[b]] == g and stand[b] == s and leave_row[move[b]] == block:
            if (days[b] & bit) != 0 and to[b] >= 0 and place[to[b]]:
                few[many] = b
                many += 1
            b += 1
        a = b
        if many == 0 or origin < 0:
            continue
        here = asked[reset_kind[origin]]
        used[:] = False
        for level in range(levels):
            if moves[g, level] >= 0 and (root or here[level]):
                used[moves[g, level]] = True
        runs = 0
        for bucket in range(size):
            if used[bucket]:
                if bucket > 0 and used[bucket - 1]:
                    run[runs - 1, 1] = (bucket + 1) * columns
                else:
                    run[runs, 0], run[runs, 1] = bucket * columns, (bucket + 1) * columns
                    runs += 1
        if runs == 0:
            continue
        for i in range(many):
            if not done[half, to[few[i]]]:
                m = move[few[i]]
                _remembered(seen, night, done, half, to[few[i]], following[m], worth[block], inf)
        for r in range(runs):
            x, y = run[r, 0], run[r, 1]
            part = row[x:y]
            part[:] = inf
            i = 0
            while i < many:
                for j in range(4):
                    rows[j] = few[min(i + j, many - 1)]
                i += 4
                t0, t1, t2, t3 = to[rows[0]], to[rows[1]], to[rows[2]], to[rows[3]]
                least_of_four(
                    part, flat[half, t0, x:y], flat[half, t1, x:y], flat[half, t2, x:y], flat[half, t3, x:y], cost[rows[0]],
                    cost[rows[1]], cost[rows[2]], cost[rows[3]],
                )  # fmt: skip
        wide = width[place_class[origin]]
        for level in range(levels):
            m = moves[g, level]
            if m < 0 or not (root or here[level]):
                continue
            for h in range(halves):
                extra = costs[g, level]
                if h == 0 and halves == 2 and not s and not root:
                    extra = number(extra + one)
                target = out[origin, h, level]
                source = row[m * columns : m * columns + wide]
                for k in range(wide):
                    v = number(source[k] + extra)
                    target[k] = min(target[k], v if v < most else inf)


def day_table(tables: Tables, layout: Layout, prices: Prices, day: int, night: Any_, out: Any_, scratch: Scratch) -> None:
    """Fill B of a day (see ``memory_bound``)."""
    p = tables.problem
    dtype = out.dtype.type
    like, memory, spots = layout.like, layout.memory, tables.spots[day]
    frame = (
        out, night, day, _alive(night, dtype(tables.inf)), tables.rows[day][like.origin], tables.rows[day + 1][like.to],
        like.cost.astype(dtype, copy=False), like.days, like.stand, like.key, layout.kind[day], layout.moves[day],
        layout.costs[day], layout.move, memory.move_next, memory.leave_row, prices.leave.astype(dtype), memory.widths,
        memory.place_class[spots], layout.asked[day], layout.reset_kind[spots], dtype(p.one_night_cost), dtype(tables.inf),
    )  # fmt: skip
    seen = [scratch.array(("seen", lane), night.shape, dtype) for lane in range(2)]
    in_parts(layout.work[day], layout.cuts, lambda begin, end, lane: _day(begin, end, seen[lane], *frame))


def ready() -> bool:
    """Tell whether the loops have been compiled, or loaded, by this process."""
    return bool(_day.signatures)
