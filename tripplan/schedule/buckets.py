"""Coarse levels of the backward bound: which stores it watches, and where their buckets begin.

A level counts as the lower edge of its bucket, so the bound never asks for more than the truth. Edges stand where levels
really come to rest: at the sums that days without a service add up to.
"""

from __future__ import annotations

import functools
import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .tables import Tables

__all__ = ["Buckets", "Resting", "asked_levels", "combine", "day_moves", "make_buckets", "night_moves"]

I64 = NDArray[np.int64]


@dataclass(frozen=True)
class Buckets:
    """Edges and moves between buckets.

    Parameters
    ----------
    start
        For each day (D + 1) and store, the edges at its start, the first 0 (day 0: the level at pick-up).
    arrive
        For each day (D) and store, the edges on arrival before the night.
    sizes, arrive_sizes
        (D + 1), (D) numbers of combined buckets.
    """

    start: tuple[tuple[I64, ...], ...]
    arrive: tuple[tuple[I64, ...], ...]

    @functools.cached_property
    def sizes(self) -> list[int]:
        """Combined buckets at the start of each day."""
        return [math.prod(map(len, day)) for day in self.start]

    @functools.cached_property
    def arrive_sizes(self) -> list[int]:
        """Combined buckets on each arrival."""
        return [math.prod(map(len, day)) for day in self.arrive]


def _thin(values: I64, most: int) -> I64:
    """Return at most ``most`` of sorted values, the first kept, those given up first that lose least."""
    if len(values) > 4 * most:
        widest = 1 + np.argsort(-np.diff(values), kind="stable")[: 4 * most - 1]
        values = values[np.sort(np.append(widest, 0))]
    kept = values.tolist()
    gaps = np.diff(values).tolist()
    while len(kept) > most:
        least = min(gaps)
        i = len(gaps) - 1 - gaps[::-1].index(least)
        del kept[i + 1]
        if i + 1 < len(gaps):
            gaps[i + 1] += gaps[i]
        del gaps[i]
    return np.array(kept, np.int64)


def _after(levels: I64, rows: I64, cap: int, elastic: bool) -> I64:
    """Return the sorted levels that blocks lead to within the cap."""
    if not len(rows):
        return np.zeros(1, np.int64)
    reached = np.maximum(levels[:, None] + rows[None, :, 0], rows[None, :, 2]).ravel()
    reached = np.minimum(reached, cap) if elastic else reached[reached <= cap]
    return np.unique(np.append(reached, 0))


class Resting:
    """Where the levels of each store come to rest while it is not served, worked out when first asked for.

    Parameters
    ----------
    tables
        The problem.
    """

    def __init__(self, tables: Tables) -> None:
        self.tables = tables
        self._rows: dict[int, tuple[list[I64], list[I64]]] = {}
        self._levels: dict[int, tuple[list[I64], list[I64]]] = {}

    def unserved(self, store: int) -> tuple[list[I64], list[I64]]:
        """Return the (classes, 3) day blocks and night blocks of each day that leave a store unserved."""
        if store not in self._rows:
            p = self.tables.problem
            use, reset, days = self.tables.arc_kinds
            free_arc = (reset >> store) & 1 == 0
            free_place = ((p.arrive_reset | p.leave_reset) & np.uint32(1 << store)) == 0
            day_rows, night_rows = [], []
            for d in range(p.days):
                allowed = free_arc & ((days >> np.uint64(d)) & np.uint64(1) != 0)
                block = p.day_block[d, :, :, store].astype(np.int64)
                day_rows.append(block[np.bincount(use[allowed], minlength=len(block)) > 0])
                block = p.night_block[d, :, :, store].astype(np.int64)
                open_class = p.night_class[free_place & (p.night_cost[d] >= 0)]
                night_rows.append(block[np.bincount(open_class, minlength=len(block)) > 0])
            self._rows[store] = day_rows, night_rows
        return self._rows[store]

    def edges(self, store: int, most: int, spread: int = 24) -> tuple[list[I64], list[I64]]:
        """Return a store's edges at the start of each day and on each arrival, at most ``most`` of each."""
        if store not in self._levels:
            p = self.tables.problem
            cap, elastic = int(p.cap[store]), bool(p.excess_weight[store] > 0)
            day_rows, night_rows = self.unserved(store)
            level = np.array([int(p.start_level[store])], np.int64)
            fine: tuple[list[I64], list[I64]] = [level], []
            for d in range(p.days):
                # all sums are followed finely, and thinned only for the edges, so that thinning does not add up
                fine[1].append(_thin(_after(fine[0][d], day_rows[d], cap, elastic), spread))
                fine[0].append(_thin(_after(fine[1][d], night_rows[d], cap, elastic), spread))
            self._levels[store] = fine
        start, arrive = self._levels[store]
        return [start[0], *(_thin(v, most) for v in start[1:])], [_thin(v, most) for v in arrive]


def make_buckets(resting: Resting, sizes: list[int]) -> Buckets:
    """Return the edges for a number of buckets a store.

    Parameters
    ----------
    resting
        Of the problem.
    sizes
        (R) buckets of each store, 1 to leave it out.
    """
    p = resting.tables.problem
    start: list[list[I64]] = [[] for _ in range(p.days + 1)]
    arrive: list[list[I64]] = [[] for _ in range(p.days)]
    for r, most in enumerate(sizes):
        if most > 1:
            s, a = resting.edges(r, most)
        else:
            s = [np.array([int(p.start_level[r])], np.int64)] + [np.zeros(1, np.int64)] * p.days
            a = [np.zeros(1, np.int64)] * p.days
        for d, edges in enumerate(s):
            start[d].append(edges)
        for d, edges in enumerate(a):
            arrive[d].append(edges)
    return Buckets(tuple(map(tuple, start)), tuple(map(tuple, arrive)))


def combine(parts: list[NDArray[np.int64]]) -> NDArray[np.int64]:
    """Return (rows, product) sums of per-store (rows, buckets) terms, the last store running fastest."""
    total = parts[0]
    for part in parts[1:]:
        total = (total[:, :, None] + part[:, None, :]).reshape(len(total), -1)
    return total


def through_block(tables: Tables, edges: I64, rows: I64, limit: int, store: int) -> tuple[I64, I64]:
    """Return (rows, buckets) levels after blocks begun at edges (shared or a row each), and what they cost (``inf``: never)."""
    edges = np.atleast_2d(edges)
    total, prefix, tail = rows[:, 0:1], rows[:, 1:2], rows[:, 2:3]
    end = np.maximum(edges + total, tail)
    over = np.maximum(np.maximum(edges + prefix, end) - limit, 0)
    weight = int(tables.problem.excess_weight[store])
    price = over * weight if weight > 0 else np.where(over > 0, tables.inf, 0)
    return np.minimum(end, limit), price


def day_moves(tables: Tables, buckets: Buckets, day: int, keys: NDArray[np.int64]) -> tuple[I64, I64]:
    """Return (keys, start buckets) arrival bucket and cost of each like-arc key (use, resets).

    On the last day arrival buckets are one, and the goal's limits are tested.
    """
    p = tables.problem
    last = day == p.days - 1
    index, price = [], []
    for r in range(len(p.cap)):
        rows = np.asarray(p.day_block[day, keys[:, 0], :, r], np.int64)
        end, cost = through_block(tables, buckets.start[day][r], rows, int(p.cap[r]), r)
        served = (keys[:, 1] >> r) & 1
        end = np.where(served[:, None] == 1, 0, end)
        if last:
            over = np.maximum(end - int(p.goal_cap[r]), 0)
            weight = int(p.excess_weight[r])
            cost = cost + (over * weight if weight > 0 else np.where(over > 0, tables.inf, 0))
        edges = buckets.arrive[day][r]
        stride = math.prod(map(len, buckets.arrive[day][r + 1 :]))
        index.append((np.searchsorted(edges, end, side="right") - 1) * stride)
        price.append(cost)
    return combine(index), np.minimum(combine(price), 2 * tables.inf)


def night_moves(tables: Tables, buckets: Buckets, day: int) -> tuple[I64, I64]:
    """Return (N, arrival buckets) start bucket of the next day and cost of each like-night class."""
    p = tables.problem
    keys = tables.night_keys
    stores = len(p.cap)
    shape = [len(e) for e in buckets.arrive[day]]
    n, k = len(keys), math.prod(shape)
    grid = np.stack(np.meshgrid(*[np.arange(s) for s in shape], indexing="ij"), -1).reshape(k, stores)
    level = np.zeros((stores, n, k), np.int64)
    price = np.zeros((n, k), np.int64)
    for r in range(stores):
        edges = np.asarray(buckets.arrive[day][r])[grid[:, r]]
        begin = np.where(((keys[:, 1] >> r) & 1)[:, None] == 1, 0, edges[None, :])
        rows = np.asarray(p.night_block[day, keys[:, 0], :, r], np.int64)
        end = np.maximum(begin + rows[:, 0:1], rows[:, 2:3])
        over = np.maximum(np.maximum(begin + rows[:, 1:2], end) - int(p.cap[r]), 0)
        weight = int(p.excess_weight[r])
        price += over * weight if weight > 0 else np.where(over > 0, tables.inf, 0)
        level[r] = np.minimum(end, int(p.cap[r]))
    for source, target, numerator, denominator in p.couple:
        leaves = ((keys[:, 2] >> source) & 1)[:, None] == 1
        grown = level[target] + np.where(leaves, -(-level[source] * numerator // denominator), 0)
        over = np.maximum(grown - int(p.cap[target]), 0)
        weight = int(p.excess_weight[target])
        price += over * weight if weight > 0 else np.where(over > 0, tables.inf, 0)
        level[target] = np.minimum(grown, int(p.cap[target]))
    index = np.zeros((n, k), np.int64)
    for r in range(stores):
        end = np.where(((keys[:, 2] >> r) & 1)[:, None] == 1, 0, level[r])
        index = index * len(buckets.start[day + 1][r]) + np.searchsorted(buckets.start[day + 1][r], end, side="right") - 1
    return index, np.minimum(price, 2 * tables.inf)


def asked_levels(tables: Tables, buckets: Buckets, day: int) -> tuple[NDArray[np.bool_], NDArray[np.int32]]:
    """Return (kinds of resets, start buckets) whether the bound is ever asked there, and (P) the kind of each place.

    A store that is served on leaving a place is at 0 when the day begins.
    """
    p = tables.problem
    resets, kind = np.unique(p.leave_reset, return_inverse=True)
    served = ((resets[:, None] >> np.arange(len(p.cap), dtype=np.uint32)) & np.uint32(1)) != 0
    grid = np.stack(np.meshgrid(*[np.arange(len(e)) for e in buckets.start[day]], indexing="ij"), -1).reshape(-1, len(p.cap))
    asked = ~(served[:, None, :] & (grid > 0)[None, :, :]).any(2) | (day == 0)
    return asked, kind.reshape(-1).astype(np.int32)
