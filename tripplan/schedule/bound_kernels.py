"""Compiled loops of the bound that remembers all sights. Same results as the whole-array code in ``bounds``."""

# mypy: disable-error-code="no-untyped-def, no-any-return, no-untyped-call"
from __future__ import annotations

from typing import Any

import numpy as np
from numba import njit
from numpy.typing import NDArray

from .bounds import LikeArcs, arc_classes
from .buckets import asked_levels, night_moves
from .pack_kernels import least_of_four
from .scratch import Scratch
from .side_by_side import in_parts, middles
from .tables import Tables

__all__ = ["day_table", "night_table", "ready"]

Any_ = NDArray[Any]


@njit(cache=True, nogil=True)
def _night(begin, end, out, ahead, cost, like, index, price, cover, column, inf):
    """Of the places from ``begin`` to ``end``; fills all of their part."""
    halves, size, _, columns = out.shape
    for half in range(halves):
        for bucket in range(size):
            out[half, bucket, begin:end] = inf
            for q in range(begin, end):
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


def night_table(tables: Tables, buckets: Any, day: int, ahead: Any, position: Any, dtype: Any, scratch: Scratch) -> Any_:
    """Return W of a day (see ``bounds``), in an array of the scratch."""
    p = tables.problem
    arrivals = tables.arrivals[day]
    spots = tables.spots[day + 1]
    out = scratch.array("night", (tables.halves, buckets.arrive_sizes[day], len(spots), len(arrivals)), dtype)
    if ahead is None:
        out[:] = tables.inf
        out[:, :, 0, :] = tables.end_value[arrivals].astype(dtype)
        return out
    index, price = night_moves(tables, buckets, day)
    column = np.ascontiguousarray(position[tables.cover_map[:, arrivals]])
    frame = (
        out, ahead, np.minimum(p.night_cost[day][spots], tables.inf).astype(dtype), tables.like_night[spots], index.astype(np.int32),
        np.minimum(price, tables.inf).astype(dtype), tables.cover_class[spots], column, dtype(tables.inf),
    )  # fmt: skip
    in_parts(out.size, middles(len(spots)), lambda begin, end, _lane: _night(begin, end, *frame))
    return out


@njit(cache=True, nogil=True)
def _usable(days, day, to, origin, alive, out):
    n = 0
    bit = np.uint64(1) << np.uint64(day)
    for a in range(len(to)):
        if (days[a] & bit) != 0 and origin[a] >= 0 and to[a] >= 0 and alive[to[a]]:
            out[n] = a
            n += 1
    return n


@njit(cache=True, nogil=True)
def _alive(begin, end, night, rows, place, inf):
    """Say of the places from ``begin`` to ``end`` whether anything is to be had there, and in which buckets."""
    halves, size, _, columns = night.shape
    for q in range(begin, end):
        place[q] = False
        for half in range(halves):
            for bucket in range(size):
                rows[half, bucket, q] = False
                for k in range(columns):
                    if night[half, bucket, q, k] < inf:
                        rows[half, bucket, q] = True
                        place[q] = True
                        break


@njit(cache=True, nogil=True)
def _least(row, source, to, cost, arcs, live, inf):
    """Least of ``source[to] + cost`` over arcs, four rows at a time."""
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
            least_of_four(
                row, source[to[rows[0]]], source[to[rows[1]]], source[to[rows[2]]], source[to[rows[3]]], cost[rows[0]],
                cost[rows[1]], cost[rows[2]], cost[rows[3]],
            )  # fmt: skip
            many = 0


@njit(cache=True, nogil=True)
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


def day_table(
    tables: Tables, arcs: LikeArcs, buckets: Any, day: int, night: Any_, arrive_position: Any_, dtype: Any, scratch: Scratch
) -> Any_:
    """Return B of a day (see ``bounds``), in an array of the scratch."""
    p = tables.problem
    columns = tables.columns[day]
    root = day == 0
    spots = tables.spots[day]
    out = scratch.array("ahead", (len(spots), tables.halves, buckets.sizes[day], len(columns)), dtype, tables.inf)
    if not night.size or not out.size:
        return out
    origin, to = tables.rows[day][arcs.origin], tables.rows[day + 1][arcs.to]
    kind, moves, costs, sights = arc_classes(tables, arcs, buckets, day)
    live, place = np.empty(night.shape[:3], np.bool_), np.empty(night.shape[2], np.bool_)
    cells = middles(night.shape[2])
    in_parts(night.size, cells, lambda begin, end, _lane: _alive(begin, end, night, live, place, dtype(tables.inf)))
    chosen = np.empty(len(arcs.to), np.int64)
    n = _usable(arcs.days, day, to, origin, place, chosen)
    sight = arrive_position[tables.sight_map[sights][:, columns]]
    asked, reset_kind = asked_levels(tables, buckets, day)
    plain = np.array([len(columns) == night.shape[3] and bool((s == np.arange(len(columns))).all()) for s in sight], np.uint8)
    frame = (
        origin, to, arcs.cost.astype(dtype, copy=False), arcs.stand, arcs.key, kind, moves.astype(np.int32), costs.astype(dtype),
        np.ascontiguousarray(sight), plain, asked, reset_kind[spots], dtype(p.one_night_cost), root, dtype(tables.inf),
    )  # fmt: skip
    # arcs stand by place left, so that each part fills rows of its own
    leaving = arcs.origin[chosen[:n]]
    cuts = np.unique(np.append(np.searchsorted(leaving, leaving[list(middles(n)[:-1])]), n)) if n else np.zeros(2, np.int64)
    work = n * night.shape[1] * night.shape[3]
    in_parts(work, cuts.tolist(), lambda begin, end, _lane: _day(out, night, live, chosen[begin:end], *frame))
    return out


def ready() -> bool:
    """Tell whether the loops have been compiled, or loaded, by this process."""
    return bool(_day.signatures)
