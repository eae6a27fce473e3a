"""Prices of sights that raise a bound with a short memory."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from .bounds import Bound
from .memory_bound import Layout, Prices, make_memory_bound
from .tables import Tables

__all__ = ["PriceHunt", "counted"]

I64 = NDArray[np.int64]
#: By how much of itself the bound is hoped to rise, without prices and with some from an earlier climb.
FIRST_HOPE, HOPE = 0.3, 0.04


def counted(tables: Tables, layout: Layout, bound: Bound, prices: Prices) -> I64:
    """Return (S) how often the cheapest trip of the bound is paid for each sight."""
    p, memory = tables.problem, layout.memory
    times = np.zeros(len(p.need), np.int64)
    place, half, bucket, column = p.start, 0, 0, 0
    kinds = int(tables.sight_map.shape[0])
    for day in range(p.days - 1):
        arcs = np.arange(p.arc_ptr[place], p.arc_ptr[place + 1])
        arcs = arcs[((p.arc_days[arcs] >> np.uint64(day)) & np.uint64(1) != 0) & (p.night_cost[day][p.arc_to[arcs]] >= 0)]
        to = p.arc_to[arcs].astype(np.int64)
        group = layout.kind[day][layout.like.key_of[arcs]]
        arrive = layout.moves[day][group, bucket]
        open_ = arrive >= 0
        arcs, to, group, arrive = arcs[open_], to[open_], group[open_], arrive[open_]
        if not len(arcs):
            break
        move = memory.move_of(np.full(len(arcs), place), to, tables.sight_class[arcs], kinds)
        cost = layout.costs[day][group, bucket] + p.arc_cost[arcs] + p.night_cost[day][to]
        if tables.halves == 2 and half == 0 and day:
            cost = cost + np.where(to != place, p.one_night_cost, 0)
        row = memory.leave_row[move]
        cost = cost - prices.leave[row, column]
        between = memory.move_next[move, column]
        like = tables.like_night[to]
        kind = memory.night_kind[to]
        following = layout.index[day][like, arrive]
        cost = cost + layout.price[day][like, arrive] - prices.night[kind, between]
        after = memory.night_next[kind, between].astype(np.int64)
        stay = np.where((to == place) & (day > 0), 1, 0) if tables.halves == 2 else np.zeros(len(to), np.int64)
        total = cost + bound.rest(day + 1, to, stay, following, after)
        i = int(np.argmin(total))
        times += memory.leave_adds[row[i], column].astype(np.int64) + memory.night_adds[kind[i], between[i]]
        place, half, bucket, column = int(to[i]), int(stay[i]), int(following[i]), int(after[i])
    return times


@dataclass
class PriceHunt:
    """Prices found so far, and what they tell of the sights.

    Parameters
    ----------
    prices
        (S) best so far [cents].
    overpaid
        (S) what the cheapest trips were paid too often, summed up [cents].
    """

    prices: I64
    overpaid: NDArray[np.float64]

    @staticmethod
    def begin(tables: Tables) -> PriceHunt:
        """Return prices of 0."""
        count = len(tables.problem.need)
        return PriceHunt(np.zeros(count, np.int64), np.zeros(count))

    def climb(
        self,
        tables: Tables,
        layout: Layout,
        always: tuple[int, ...],
        rounds: int,
        limit: int | None,
        *,
        kernels: Any = None,
        check: Callable[[float], None] | None = None,
        count: Callable[[], None] = lambda: None,
    ) -> tuple[Bound, Prices]:
        """Raise the bound by some rounds of the subgradient method and return the best one with its prices.

        Parameters
        ----------
        always
            Sights that every place remembers; they need no price.
        rounds
            Bounds made at most.
        limit
            Cost of the best plan known [cents], None without one.
        count
            Called before each bound; may raise to stop.
        """
        p = tables.problem
        memory = layout.memory
        need = np.asarray(p.need, np.int64)
        free = np.ones(len(need), bool)
        free[[s for s in always if p.must[s]]] = False
        # what a nice sight is worth is the most that its price may come to
        most = np.where(np.asarray(p.must) != 0, tables.inf // 64, np.asarray(p.value, np.int64) // need)
        each = np.where(free, np.minimum(self.prices, most), 0)
        best: Bound | None = None
        begun = not self.prices.any()
        for turn in range(rounds):
            prices = Prices.of(tables, memory, each)
            count()
            bound = make_memory_bound(tables, layout, prices, kernels=kernels, check=check)
            if turn == 0:
                ahead = (FIRST_HOPE if begun else HOPE) * abs(bound.root)
            elif best is not None and bound.root < best.root + ahead / 8:
                ahead *= 0.6
            if bound.root >= (tables.inf if limit is None else limit):
                return bound, prices
            if best is None or bound.root > best.root:
                best, paid = bound, prices
                self.prices = np.where(free, each, self.prices)
                times = counted(tables, layout, bound, prices)
                slope = np.where(free, need - times, 0)
            else:
                # back to the best prices, and halfway between the two directions
                times = counted(tables, layout, bound, prices)
                slope = (slope + np.where(free, need - times, 0)) / 2
                each = np.where(free, self.prices, 0)
            if turn == rounds - 1:
                break
            self.overpaid += np.maximum(times - need, 0) * each
            steep = float((slope.astype(np.float64) ** 2).sum())
            if steep == 0:
                break
            hoped = best.root + ahead if limit is None else min(best.root + ahead, limit)
            step = max(hoped - best.root, 100.0) / steep
            each = np.clip(np.rint(each + step * slope).astype(np.int64), 0, most)
            each = np.where(free, each, 0)
        assert best is not None
        return best, paid

    def always(self, tables: Tables, most: int) -> tuple[int, ...]:
        """Return the sights that were paid too often for most, as long as their columns are at most ``most``."""
        size, out = 1, []
        for s in np.argsort(-self.overpaid, kind="stable").tolist():
            size *= int(tables.problem.need[s]) + 1
            if size > most or self.overpaid[s] <= 0:
                break
            out.append(s)
        return tuple(sorted(out))
