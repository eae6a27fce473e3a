"""Compiled loops of narrowing. Same results as the whole-array code in ``narrow``."""

# mypy: disable-error-code="no-untyped-def, no-any-return, no-untyped-call"
from __future__ import annotations

from typing import Any

import numpy as np
from numba import njit
from numpy.typing import NDArray

from . import memory_kernels as memory
from .memory_bound import Layout, Prices
from .side_by_side import in_parts, middles
from .tables import Tables

__all__ = ["following", "memory", "ready", "through"]

Any_ = NDArray[Any]


@njit(cache=True, nogil=True)
def _least_of_all(least, night, inf):
    """Least over the columns before and after an arc, to pass over at once what is too dear whatever the column."""
    halves, places, size, columns = night.shape
    origins, levels = least.shape[0], least.shape[2]
    before = np.full((origins, halves, levels), inf, np.int64)
    after = np.full((halves, places, size), inf, np.int64)
    any_before, any_after = np.full(origins, inf, np.int64), np.full((halves, places), inf, np.int64)
    for q in range(origins):
        for h in range(halves):
            for level in range(levels):
                low = least[q, h, level, 0]
                for k in range(columns):
                    low = min(low, least[q, h, level, k])
                before[q, h, level] = min(low, inf)
                any_before[q] = min(any_before[q], before[q, h, level])
    for q in range(places):
        for h in range(halves):
            for b in range(size):
                low = night[h, q, b, 0]
                for k in range(columns):
                    low = min(low, night[h, q, b, k])
                after[h, q, b] = min(low, inf)
                any_after[h, q] = min(any_after[h, q], after[h, q, b])
    return before, after, any_before, any_after


@njit(cache=True, nogil=True)
def _through(
    begin, end, total, usable, leaves, reaches, stand, cost, move, key_of, kind, moves, costs, move_next, leave_row, worth, most, least,
    night, arrived, before, after, any_before, any_after, day, one, room, inf,
):  # fmt: skip
    """Of arcs to the places from ``begin`` to ``end``, as no other part fills what is reached there."""
    halves, _, _, columns = night.shape
    levels = moves.shape[1]
    for i in range(len(usable)):
        a = usable[i]
        q = reaches[a]
        if q < begin or q >= end:
            continue
        o, m = leaves[a], move[a]
        stays = stand[a]
        half = halves - 1 if stays and day > 0 else 0
        row = leave_row[m]
        if any_before[o] >= inf or any_after[half, q] >= inf or any_before[o] + cost[a] - most[row] + any_after[half, q] >= room:
            continue
        g = kind[key_of[a]]
        for h in range(halves):
            charge = one if h == 0 and halves == 2 and not stays and day > 0 else 0
            for level in range(levels):
                b = moves[g, level]
                if b < 0 or before[o, h, level] >= inf or after[half, q, b] >= inf:
                    continue
                extra = np.int64(cost[a]) + costs[g, level] + charge
                if before[o, h, level] + extra - most[row] + after[half, q, b] >= room:
                    continue
                for k in range(columns):
                    c = move_next[m, k]
                    if c < 0:
                        break
                    if least[o, h, level, k] >= inf or night[half, q, b, c] >= inf:
                        continue
                    way = least[o, h, level, k] + extra - worth[row, k]
                    if way + night[half, q, b, c] < room:
                        total[i] = min(total[i], way + night[half, q, b, c])
                        if way < arrived[half, q, b, c]:
                            arrived[half, q, b, c] = way


def through(
    tables: Tables, layout: Layout, prices: Prices, day: int, least: Any_, night: Any_, arrived: Any_, arcs: Any, room: int
) -> Any_:
    """Return the least of ways below ``room`` over each usable arc, ``room`` without one, and fill the least on arrival by such ways."""
    usable, origin, leaves, reaches, cost, move = arcs
    keeps, inf = layout.memory, tables.inf // 2
    total = np.full(len(usable), room, np.int64)
    frame = (
        total, usable, leaves, reaches, origin == tables.problem.arc_to, cost, move, layout.like.key_of, layout.kind[day],
        layout.moves[day], layout.costs[day], keeps.move_next, keeps.leave_row, prices.leave, prices.leave.max(axis=1, initial=0),
        least, night, arrived, *_least_of_all(least, night, inf), day, int(tables.problem.one_night_cost), room, inf,
    )  # fmt: skip
    cuts = middles(night.shape[1], 4)
    in_parts(len(usable) * night.shape[2], cuts, lambda begin, end, _lane: _through(begin, end, *frame))
    return total


@njit(cache=True, nogil=True)
def _following(least, arrived, cost, like, index, price, kind, night_next, worth, most, inf):
    halves, places, size, columns = arrived.shape
    for half in range(halves):
        for q in range(places):
            if cost[q] < 0:
                continue
            for b in range(size):
                dear = price[like[q], b]
                if dear >= most:
                    continue
                for k in range(columns):
                    if arrived[half, q, b, k] >= inf:
                        continue
                    value = np.int64(arrived[half, q, b, k]) + cost[q] + dear - worth[kind[q], k]
                    c = night_next[kind[q], k]
                    if value < inf and value < least[q, half, index[like[q], b], c]:
                        least[q, half, index[like[q], b], c] = value


def following(tables: Tables, layout: Layout, prices: Prices, day: int, arrived: Any_, least: Any_) -> None:
    """Fill the least at the start of the next day."""
    spots = tables.spots[day + 1]
    _following(
        least,
        arrived,
        tables.problem.night_cost[day][spots],
        tables.like_night[spots],
        layout.index[day],
        layout.price[day].astype(np.int64),
        layout.memory.night_kind[spots],
        layout.memory.night_next,
        prices.night,
        tables.inf,
        tables.inf // 2,
    )


def ready() -> bool:
    """Tell whether the loops have been compiled, or loaded, by this process."""
    return bool(_through.signatures)
