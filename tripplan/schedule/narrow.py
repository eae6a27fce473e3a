"""A smaller problem with the same plans below a limit: what no such plan can use is left out.

The bound with a short memory (see ``memory_bound``) is the least way from the end; the same arcs gone through from pick-up on give
the least way from there. Where the two together, over an arc on a day, reach the limit, no plan below it takes the arc on that day.
What is left is often a twentieth, and all that comes after, finer bounds and the search, takes so much less. (Known as fixing
by reduced costs; with bounds from both ends: Irnich, Desaulniers, Desrosiers and Hadjar, Path-reduced costs for eliminating arcs in
routing and scheduling, INFORMS Journal on Computing 22(2), 2010.)
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from .bounds import Bound
from .memory_bound import Layout, Prices, arrival_table
from .problem import Problem
from .scratch import Scratch
from .tables import Tables

__all__ = ["Passing", "kept_days", "narrowed", "passing", "spread"]

I64 = NDArray[np.int64]
U64 = NDArray[np.uint64]
I32 = NDArray[np.int32]
Cost = NDArray[Any]
TOO_DEAR = 255


def spread(problem: Problem) -> int:
    """Return over how many days all arcs together are allowed."""
    return sum(int(np.count_nonzero(problem.arc_days & np.uint64(1 << d))) for d in range(problem.days))


def _through(
    tables: Tables, layout: Layout, prices: Prices, day: int, least: Cost, night: Cost, arrived: Cost,
    arcs: tuple[I64, I32, I32, I32, Cost, I32], room: int,
) -> I64:  # fmt: skip
    """Return the least of ways below ``room`` over each usable arc, ``room`` without one, and fill the least on arrival by such ways."""
    usable, origin, leaves, reaches, cost, move = arcs
    p, memory, inf = tables.problem, layout.memory, tables.inf // 2
    stand = origin[usable] == p.arc_to[usable]
    group = layout.kind[day][layout.like.key_of[usable]]
    total = np.full(len(usable), room, np.int64)
    part_of = (group * len(memory.moves) + move[usable]) * 2 + stand
    order = np.argsort(part_of, kind="stable")
    for rows in np.split(order, np.flatnonzero(np.diff(part_of[order])) + 1) if len(order) else []:
        some, m, g, stays = usable[rows], int(move[usable[rows[0]]]), int(group[rows[0]]), bool(stand[rows[0]])
        half = tables.halves - 1 if stays and day else 0
        alive = np.flatnonzero(memory.move_next[m] >= 0)
        column = memory.move_next[m][alive]
        worth = prices.leave[memory.leave_row[m]][alive]
        to = reaches[some]
        for h in range(tables.halves):
            charge = p.one_night_cost if h == 0 and tables.halves == 2 and not stays and day else 0
            for level in np.flatnonzero(layout.moves[day][g] >= 0):
                bucket = layout.moves[day][g, level]
                before = least[leaves[some], h, level][:, alive].astype(np.int64)
                after = night[half, to, bucket][:, column].astype(np.int64)
                way = before + (cost[some] + int(layout.costs[day][g, level]) + charge)[:, None].astype(np.int64) - worth
                good = (before < inf) & (after < inf) & (way + after < room)
                total[rows] = np.minimum(total[rows], np.where(good, way + after, room).min(1, initial=room))
                i, k = np.nonzero(good)
                np.minimum.at(arrived[half, :, bucket], (to[i], column[k]), way[i, k].astype(arrived.dtype))
    return total


def _following(tables: Tables, layout: Layout, prices: Prices, day: int, arrived: Cost, least: Cost) -> None:
    """Fill the least at the start of the next day."""
    p, memory, inf = tables.problem, layout.memory, tables.inf // 2
    half, row, bucket, column = np.nonzero(arrived < inf)
    place = tables.spots[day + 1][row]
    kind, like = memory.night_kind[place], tables.like_night[place]
    value = arrived[half, row, bucket, column].astype(np.int64) + p.night_cost[day, place]
    price = layout.price[day][like, bucket].astype(np.int64)
    value += price - prices.night[kind, column]
    good = (price < tables.inf) & (p.night_cost[day, place] >= 0) & (value < inf)
    there = row, half, layout.index[day][like, bucket], memory.night_next[kind, column]
    np.minimum.at(least, tuple(x[good] for x in there), value[good].astype(least.dtype))


@dataclass(frozen=True)
class Passing:
    """How dear the cheapest way over each arc on each day is at least, in steps above the bound.

    Parameters
    ----------
    steps
        (D, A) number of whole steps, `TOO_DEAR` where the limit is reached or the arc is not allowed.
    limit
        What this was made for; ways that cost it or more are not looked at [cents].
    root, step
        Of the bound, and how much a step is [cents].
    """

    steps: NDArray[np.uint8]
    limit: int
    root: int
    step: int

    def _number(self, limit: int) -> int:
        return min((limit - 1 - self.root) // self.step, TOO_DEAR - 1)

    def below(self, limit: int) -> U64:
        """Return (A) the days on which an arc may be part of a plan below a limit, as bits; at most the limit this was made for."""
        kept = np.zeros(self.steps.shape[1], np.uint64)
        for day, steps in enumerate(self.steps):
            kept |= (steps <= self._number(limit)).astype(np.uint64) << np.uint64(day)
        return kept

    def few(self, most: int) -> int:
        """Return the greatest limit, by steps, below which at most ``most`` days of arcs are left [cents]."""
        many = np.zeros(TOO_DEAR, np.int64)
        for steps in self.steps:
            many += np.bincount(steps, minlength=TOO_DEAR + 1)[:TOO_DEAR]
        return min(self.root + int(np.searchsorted(np.cumsum(many), most, side="right")) * self.step, self.limit)


def kept_days(tables: Tables, layout: Layout, prices: Prices, bound: Bound, limit: int, *, kernels: Any = None) -> U64:
    """Return (A) the days on which an arc may be part of a plan below a limit, as bits (see `passing`)."""
    return passing(tables, layout, prices, bound, limit, kernels=kernels).below(limit)


def passing(tables: Tables, layout: Layout, prices: Prices, bound: Bound, limit: int, *, kernels: Any = None) -> Passing:
    """Return how dear the ways over each arc are.

    Parameters
    ----------
    tables, layout, prices, bound
        The problem, and a bound made from all of its arcs in this layout with these prices.
    limit
        Only plans that cost less are of use [cents].
    kernels
        ``narrow_kernels``; None: numpy alone, with equal results.
    """
    p, memory = tables.problem, layout.memory
    dtype = np.int64 if tables.wide else np.int32
    origin = np.repeat(np.arange(p.places, dtype=np.int32), np.diff(p.arc_ptr).astype(np.int64))
    move = memory.move_of(origin, p.arc_to, tables.sight_class, int(tables.sight_map.shape[0]))
    cost = np.minimum(p.arc_cost, tables.inf).astype(dtype)
    steps = np.full((p.days, len(p.arc_to)), TOO_DEAR, np.uint8)
    low = bound.root - int(prices.offset[0])
    room = min(limit - int(prices.offset[0]), tables.inf // 2)
    step = max(-(-(room - low) // TOO_DEAR), 1)
    through = _through if kernels is None else kernels.through
    following = _following if kernels is None else kernels.following
    least = np.full((1, tables.halves, layout.buckets.sizes[0], memory.columns), tables.inf, dtype)
    least[0, 0, 0, 0] = 0
    scratch = Scratch()
    for day in range(p.days):
        night = arrival_table(tables, layout, prices, bound, day, None if kernels is None else kernels.memory, scratch)
        leaves, reaches = tables.rows[day][origin], tables.rows[day + 1][p.arc_to]
        usable = np.flatnonzero(((p.arc_days & np.uint64(1 << day)) != 0) & (leaves >= 0) & (reaches >= 0))
        arrived = scratch.array("arrived", night.shape, dtype, tables.inf)
        total = through(tables, layout, prices, day, least, night, arrived, (usable, origin, leaves, reaches, cost, move), room)
        # where the bound is kept in 16 bits a way may seem a little cheaper than its root
        near = np.clip((total - low) // step, 0, TOO_DEAR - 1)
        steps[day, usable] = np.where(total < room, near, TOO_DEAR)
        if day < p.days - 1:
            shape = len(tables.spots[day + 1]), tables.halves, layout.buckets.sizes[day + 1], memory.columns
            least = scratch.array("least", shape, dtype, tables.inf)
            following(tables, layout, prices, day, arrived, least)
    return Passing(steps, limit, bound.root, step)


def narrowed(problem: Problem, kept: U64) -> tuple[Problem, I64]:
    """Return the problem with arcs on some days alone, without what is then of no use, and the number each arc had.

    Parameters
    ----------
    kept
        (A) days on which each arc stays allowed, as bits.
    """
    p = problem
    arcs = np.flatnonzero(kept)
    origin = np.repeat(np.arange(p.places), np.diff(p.arc_ptr).astype(np.int64))[arcs]
    to, days = p.arc_to[arcs], kept[arcs]
    used = np.zeros(p.places, bool)
    used[[p.start, p.goal]] = True
    used[origin] = used[to] = True
    alive = np.flatnonzero(used)
    number = np.cumsum(used) - 1
    night_cost = np.full((p.days, len(alive)), -1, np.int64)
    for d in range(p.days):
        there = np.unique(number[to[(days & np.uint64(1 << d)) != 0]])
        night_cost[d, there] = p.night_cost[d, alive[there]]
    return replace(
        p,
        start=int(number[p.start]),
        goal=int(number[p.goal]),
        arc_ptr=np.searchsorted(number[origin], np.arange(len(alive) + 1)).astype(np.int64),
        arc_to=number[to].astype(np.int32),
        arc_cost=p.arc_cost[arcs],
        arc_reset=p.arc_reset[arcs],
        arc_days=days,
        arc_use=p.arc_use[arcs],
        arc_sights=p.arc_sights[arcs],
        arc_count=p.arc_count[arcs],
        night_class=p.night_class[alive],
        night_cost=night_cost,
        night_count=p.night_count[:, alive],
        arrive_reset=p.arrive_reset[alive],
        leave_reset=p.leave_reset[alive],
        max_stay=p.max_stay[alive],
        cover=p.cover[alive],
    ), arcs
