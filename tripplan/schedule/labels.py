"""Labels of the forward search: the ways to stand at a place when a day begins, and which of them are worth keeping.

A label dominates another at the same place with the same sights done when no level, no count and not the cost is larger
and its nights in a row leave it as free. Order is fixed everywhere, so equal costs are settled the same way each time:
labels stand by place, sights, cost, sum of levels and counts, then by the label and arc they came from; the first stays.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from .bounds import Bound
from .ranks import order_of
from .tables import Tables

__all__ = ["Labels", "expand", "finish", "first_label", "freedom", "undominated"]

I32 = NDArray[np.int32]
I64 = NDArray[np.int64]


@dataclass(frozen=True)
class Labels:
    """Labels side by side, n of them.

    Parameters
    ----------
    place, state, nights
        (n) place, progress number, nights in a row as far as they are told apart.
    levels, counts
        (n, R), (n, C).
    cost, floor
        (n) so far; with the bound of the rest [cents].
    parent, arc
        (n) label of the day before, arc taken from it.
    """

    place: I32
    state: I32
    nights: I32
    levels: I32
    counts: I64
    cost: I64
    floor: I64
    parent: I32
    arc: I32

    def __len__(self) -> int:
        return len(self.place)

    def take(self, rows: NDArray[Any]) -> Labels:
        """Return some of the labels."""
        return Labels(*(getattr(self, name)[rows] for name in self.__dataclass_fields__))

    @staticmethod
    def join(parts: list[Labels]) -> Labels:
        """Return labels one after another."""
        if len(parts) == 1:
            return parts[0]
        return Labels(*(np.concatenate([getattr(p, name) for p in parts]) for name in Labels.__dataclass_fields__))


def first_label(tables: Tables, root: int) -> Labels:
    """Return the label of the pick-up."""
    p = tables.problem
    return Labels(
        np.array([p.start], np.int32),
        np.zeros(1, np.int32),
        np.zeros(1, np.int32),
        np.asarray(p.start_level, np.int32)[None, :].copy(),
        np.zeros((1, len(p.count_cap)), np.int64),
        np.zeros(1, np.int64),
        np.array([root], np.int64),
        np.full(1, -1, np.int32),
        np.full(1, -1, np.int32),
    )


def open_places(tables: Tables, day: int) -> NDArray[np.bool_]:
    """Return (P) where a day may end: at the goal on the last, else where a night is open."""
    p = tables.problem
    ends: NDArray[np.bool_] = np.arange(p.places) == p.goal if day == p.days - 1 else p.night_cost[day] >= 0
    return ends


def _block(tables: Tables, levels: I64, rows: I64, cost: I64) -> tuple[I64, I64, NDArray[np.bool_]]:
    """Return levels and cost after a block (n, 3, R), and which are allowed."""
    p = tables.problem
    cap = np.asarray(p.cap, np.int64)
    end = np.maximum(levels + rows[:, 0], rows[:, 2])
    over = np.maximum(np.maximum(levels + rows[:, 1], end) - cap, 0)
    weight = np.asarray(p.excess_weight, np.int64)
    ok = ~((over > 0) & (weight <= 0)).any(1)
    return np.minimum(end, cap), cost + over @ weight, ok


def _served(bits: NDArray[Any], stores: int) -> NDArray[np.bool_]:
    served: NDArray[np.bool_] = (bits[:, None] >> np.arange(stores, dtype=bits.dtype)) & 1 != 0
    return served


def _move(tables: Tables, day: int, labels: Labels) -> tuple[I64, I64]:
    """Return (label, arc) pairs of the day in order."""
    p = tables.problem
    begin, end = p.arc_ptr[labels.place], p.arc_ptr[labels.place + 1]
    many = (end - begin).astype(np.int64)
    who = np.repeat(np.arange(len(labels)), many)
    arc = np.arange(int(many.sum())) - np.repeat(np.cumsum(many) - many, many) + np.repeat(begin, many)
    ok = (p.arc_days[arc] >> np.uint64(day)) & np.uint64(1) != 0
    ok &= open_places(tables, day)[p.arc_to[arc]]
    return who[ok], arc[ok]


def _day(tables: Tables, day: int, labels: Labels, who: I64, arc: I64) -> tuple[I64, I64, I64, NDArray[np.bool_]]:
    """Return levels, cost and counts after the arcs, one-night rule included, and which are allowed."""
    p = tables.problem
    rows = np.asarray(p.day_block[day][p.arc_use[arc]], np.int64)
    levels, cost, ok = _block(tables, labels.levels[who].astype(np.int64), rows, labels.cost[who] + p.arc_cost[arc])
    levels[_served(p.arc_reset[arc], levels.shape[1])] = 0
    counts = labels.counts[who] + p.arc_count[arc]
    one = (p.arc_to[arc] != labels.place[who]) & (labels.nights[who] == 1) & tables.one_night
    cost = cost + np.where(one, p.one_night_cost, 0)
    counts = counts + one[:, None] * np.asarray(p.one_night_count, np.int64)
    return levels, cost, counts, ok & (counts <= p.count_cap).all(1)


def expand(tables: Tables, day: int, labels: Labels, bound: Bound, limit: int, chunk: int = 400_000) -> Labels:
    """Return the labels of the next morning that may still lead to a plan below ``limit`` [cents]."""
    p = tables.problem
    fan = max(int((p.arc_ptr[1:] - p.arc_ptr[:-1]).max(initial=1)), 1)
    step = max(chunk // fan, 1)
    parts = [
        _expand(tables, day, labels, np.arange(lo, min(lo + step, len(labels))), bound, limit)
        for lo in range(0, len(labels), step)
    ]
    return Labels.join(parts) if parts else labels.take(np.zeros(0, np.int64))


def _expand(tables: Tables, day: int, labels: Labels, rows: I64, bound: Bound, limit: int) -> Labels:
    p = tables.problem
    some = labels.take(rows)
    who, arc = _move(tables, day, some)
    to = p.arc_to[arc].astype(np.int64)
    state = tables.sight_map[tables.sight_class[arc], some.state[who]]
    state = tables.cover_map[tables.cover_class[to], state]
    column, raised = bound.look(day + 1, to, state)
    nights = np.where(to == some.place[who], some.nights[who] + 1, 1)
    stay = tables.stay_limit[to]
    ok = (column >= 0) & ((stay == 0) | (nights <= stay))
    # half: whether leaving the place again would count as a one-night stay
    half = np.where((nights >= 2) & (tables.halves == 2), 1, 0)
    values = bound.values[day + 1]
    quick = some.cost[who] + p.arc_cost[arc] + p.night_cost[day, to]
    if values.size:
        quick = quick + raised + bound.rest(day + 1, to, half, np.zeros(len(to), np.int64), column)
    ok &= quick < limit
    keep = np.flatnonzero(ok)
    who, arc, to, column = who[keep], arc[keep], to[keep], column[keep]
    state, nights, half, raised = state[keep], nights[keep], half[keep], raised[keep]
    levels, cost, counts, ok = _day(tables, day, some, who, arc)
    stores = levels.shape[1]
    levels[_served(p.arrive_reset[to], stores)] = 0
    levels, cost, fits = _block(tables, levels, np.asarray(p.night_block[day][p.night_class[to]], np.int64), cost)
    ok &= fits
    cost = cost + p.night_cost[day, to]
    counts = counts + p.night_count[day, to]
    ok &= (counts <= p.count_cap).all(1)
    leave = _served(p.leave_reset[to], stores)
    for source, target, numerator, denominator in p.couple:
        grown = levels[:, target] + np.where(leave[:, source], -(-levels[:, source] * numerator // denominator), 0)
        over = np.maximum(grown - int(p.cap[target]), 0)
        weight = int(p.excess_weight[target])
        if weight > 0:
            cost = cost + over * weight
        else:
            ok &= over == 0
        levels[:, target] = np.minimum(grown, int(p.cap[target]))
    levels[leave] = 0
    bucket = np.zeros(len(to), np.int64)
    for r, edges in enumerate(bound.buckets.start[day + 1]):
        bucket = bucket * len(edges) + np.searchsorted(edges, levels[:, r], side="right") - 1
    floor = cost + raised + bound.rest(day + 1, to, half, bucket, column) if values.size else cost
    ok &= floor < limit
    keep = np.flatnonzero(ok)
    kept = np.minimum(nights, tables.nights_kept[to])
    return Labels(
        to[keep].astype(np.int32),
        state[keep].astype(np.int32),
        kept[keep].astype(np.int32),
        levels[keep].astype(np.int32),
        counts[keep],
        cost[keep],
        floor[keep],
        rows[who[keep]].astype(np.int32),
        arc[keep].astype(np.int32),
    )


def finish(tables: Tables, labels: Labels, limit: int) -> tuple[int, int, int] | None:
    """Return (cost, label, arc) of the best way to the goal on the last day, None without one below ``limit``."""
    p = tables.problem
    day = p.days - 1
    who, arc = _move(tables, day, labels)
    if not len(who):
        return None
    levels, cost, _, ok = _day(tables, day, labels, who, arc)
    over = np.maximum(levels - np.asarray(p.goal_cap, np.int64), 0)
    weight = np.asarray(p.excess_weight, np.int64)
    ok &= ~((over > 0) & (weight <= 0)).any(1)
    end = tables.end_value[tables.sight_map[tables.sight_class[arc], labels.state[who]]]
    cost = np.where(ok & (end < tables.inf), cost + over @ weight + end, np.iinfo(np.int64).max)
    best = int(np.argmin(cost))
    return (int(cost[best]), int(who[best]), int(arc[best])) if cost[best] < limit else None


def freedom(tables: Tables, day: int, labels: Labels) -> I64:
    """Return (n, R + C + 2) what a dominating label must not have more of: levels that matter, counts, ties of the stay."""
    levels = labels.levels.astype(np.int64)
    levels = np.where(levels <= tables.harmless[day], 0, levels)
    counts = np.where(labels.counts <= tables.harmless_counts[day], 0, labels.counts)
    leaving = (labels.nights == 1) & tables.one_night
    staying = np.where(tables.stay_limit[labels.place] > 0, labels.nights, 0)
    return np.concatenate([levels, counts, leaving[:, None], staying[:, None]], axis=1)


def undominated(labels: Labels, size: I64, kernels: Any = None) -> I64:
    """Return the rows of labels that no other dominates, in the fixed order.

    Parameters
    ----------
    labels
        All labels of a morning.
    size
        From ``freedom``.
    kernels
        Compiled kernels, None for numpy.
    """
    if not len(labels):
        return np.zeros(0, np.int64)
    order = order_of(labels.place, labels.state, labels.cost, size.sum(1))
    group = np.concatenate([[True], np.diff(labels.place[order]) != 0]) | np.concatenate(
        [[True], np.diff(labels.state[order]) != 0]
    )
    if kernels is not None:
        kept: I64 = order[kernels.undominated(np.ascontiguousarray(size[order]), group)]
        return kept
    sorted_size = size[order]
    begin = np.maximum.accumulate(np.where(group, np.arange(len(order)), 0))
    alive = np.ones(len(order), bool)
    rows = np.arange(len(order))
    lag = 1
    # the label ``lag`` rows before, as long as it stands in the same group and the later one is not yet dominated
    while len(rows := rows[(rows - lag >= begin[rows])]):
        beaten = (sorted_size[rows - lag] <= sorted_size[rows]).all(1)
        alive[rows[beaten]] = False
        rows = rows[~beaten]
        lag += 1
    left: I64 = order[alive]
    return left
