"""The backward bound with a short memory of the sights (see ``memory``), on whole arrays; ``memory_kernels`` has it compiled."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from .bounds import PACK_CELLS, Bound, LikeArcs, arc_classes, like_arcs, pack, unpack
from .buckets import Buckets, asked_levels, night_moves
from .memory import Memory
from .ranks import order_of
from .scratch import Scratch
from .side_by_side import middles
from .tables import Tables

__all__ = ["Layout", "Prices", "arrival_table", "make_layout", "make_memory_bound", "memory_work"]

I32 = NDArray[np.int32]
I64 = NDArray[np.int64]
Cost = NDArray[Any]


@dataclass(frozen=True)
class Prices:
    """Prices of sights and what follows from them.

    Parameters
    ----------
    each
        (S) taken off each time a sight is counted [cents].
    night, leave
        What ``night_adds`` and ``leave_adds`` are worth.
    offset
        (G) added to the bound of a progress number: the prices of what is still to be done, rewards taken off.
    """

    each: I64
    night: I64
    leave: I64
    offset: I64

    @staticmethod
    def of(tables: Tables, memory: Memory, each: I64) -> Prices:
        """Work out what prices mean."""
        p, digits = tables.problem, tables.digits
        left = (np.asarray(p.need, np.int64) - digits) * each
        reward = np.asarray(p.value, np.int64)
        nice = np.where(left > 0, np.minimum(left - reward, 0), np.where(digits >= p.need, -reward, np.minimum(-reward, 0)))
        offset = np.where(np.asarray(p.must) != 0, left, nice).sum(1)
        return Prices(each, memory.night_adds @ each, memory.leave_adds @ each, offset.astype(np.int64))


@dataclass(frozen=True)
class Layout:
    """What a bound needs beside the prices, laid out once for one choice of buckets and memory.

    Parameters
    ----------
    like, move
        Arcs sorted by class of sights, class left, place left, key and staying; (arcs) row of ``memory.moves`` of each.
    kind, moves, costs
        For each day, from ``arc_classes``.
    index, price
        For each day but the last, from ``night_moves``.
    asked
        For each day, (kinds of resets, start buckets) whether the bound is ever asked there: a store that is served on leaving is at 0.
    reset_kind
        (P) row of ``asked`` of each place.
    work
        For each day, a guess of the additions that a bound takes.
    cuts
        Where arcs can be parted so that no place is left in two parts.
    """

    buckets: Buckets
    sizes: tuple[int, ...]
    memory: Memory
    like: LikeArcs
    move: I32
    kind: tuple[I64, ...]
    moves: tuple[I32, ...]
    costs: tuple[Cost, ...]
    index: tuple[I32, ...]
    price: tuple[Cost, ...]
    asked: tuple[NDArray[np.bool_], ...]
    reset_kind: I32
    work: tuple[float, ...]
    cuts: tuple[int, ...]


def make_layout(tables: Tables, buckets: Buckets, sizes: list[int], memory: Memory) -> Layout:
    """Lay out arcs and moves."""
    p = tables.problem
    dtype = np.int64 if tables.wide else np.int32
    like = like_arcs(tables, sizes)
    sights = like.keys[like.key, 2]
    move = memory.move_of(like.origin, like.to, sights.astype(np.int32), int(tables.sight_map.shape[0]))
    order = order_of(memory.leave_row[move], like.origin, like.key, like.stand, like.to)
    like = replace(
        like, origin=like.origin[order], to=like.to[order], cost=like.cost[order], days=like.days[order], stand=like.stand[order],
        key=like.key[order],
    )  # fmt: skip
    work = tuple(
        float(np.count_nonzero(like.days & np.uint64(1 << d))) * size * memory.columns
        for d, size in enumerate(buckets.arrive_sizes)
    )
    kind, moves, costs, index, price, asked = [], [], [], [], [], []
    for day in range(p.days):
        k, m, c, _ = arc_classes(tables, like, buckets, day)
        kind.append(k)
        moves.append(m.astype(np.int32))
        costs.append(c.astype(dtype))
        if day < p.days - 1:
            i, c = night_moves(tables, buckets, day)
            index.append(i.astype(np.int32))
            price.append(np.minimum(c, tables.inf).astype(dtype))
        asked.append(asked_levels(tables, buckets, day)[0])
    return Layout(
        buckets, tuple(sizes), memory, like, move[order], tuple(kind), tuple(moves), tuple(costs), tuple(index), tuple(price),
        tuple(asked), asked_levels(tables, buckets, 0)[1], work, _cuts(like.origin, p.places),
    )  # fmt: skip


def _cuts(origin: I32, places: int) -> tuple[int, ...]:
    """Return where to part arcs so that no place is left in two parts, each as long as the others as near as that goes."""
    if not len(origin):
        return 0, 0
    last = np.zeros(places, np.int64)
    last[origin] = np.arange(len(origin))  # the last one written stays
    parted = np.append(0, np.flatnonzero(np.maximum.accumulate(last[origin]) == np.arange(len(origin))) + 1)
    return tuple(sorted({int(parted[np.argmin(np.abs(parted - cut))]) for cut in middles(len(origin))}))


def memory_work(layout: Layout) -> float:
    """Return a guess of the additions that a bound takes."""
    return sum(layout.work)


def memory_cells(tables: Tables, layout: Layout) -> int:
    """Return how many values a bound keeps."""
    rows = sum(len(spots) * size for spots, size in zip(tables.spots, layout.buckets.sizes, strict=True))
    return rows * layout.memory.columns * tables.halves


def _settle(tables: Tables, values: Cost) -> Cost:
    """Put back to ``inf`` what is forbidden and had prices taken off."""
    values[values >= tables.inf // 2] = tables.inf
    return values


def _night_table(tables: Tables, layout: Layout, prices: Prices, day: int, ahead: Cost, out: Cost) -> None:
    """Fill W[half, place, bucket, column]: the least from arriving at a place, prices taken off."""
    p = tables.problem
    memory, index, price = layout.memory, layout.index[day], layout.price[day].astype(np.int64)
    size = out.shape[2]
    is_open, row_of = tables.spots[day + 1], tables.rows[day + 1]
    for kind in np.unique(memory.night_kind[is_open]):
        here = is_open[memory.night_kind[is_open] == kind]
        alive = np.flatnonzero(memory.night_next[kind] >= 0)
        following, worth = memory.night_next[kind][alive], prices.night[kind][alive]
        like = tables.like_night[here]
        extra = np.minimum(price[like] + p.night_cost[day, here][:, None], tables.inf)
        there = row_of[here]
        for half in range(tables.halves):
            rows = ahead[there[:, None, None], half, index[like][:, :, None], following[None, None, :]].astype(np.int64)
            total = np.minimum(rows + extra[:, :, None] - worth, tables.inf)
            out[half, there[:, None, None], np.arange(size)[None, :, None], alive[None, None, :]] = total
    _settle(tables, out)


def _day_table(tables: Tables, layout: Layout, prices: Prices, day: int, night: Cost, out: Cost) -> None:
    """Fill B[place, half, bucket, column] of a day from W of its arrivals."""
    p = tables.problem
    first = day == 0
    like, memory, moves, costs = layout.like, layout.memory, layout.moves[day], layout.costs[day]
    dtype = out.dtype.type
    spots, leaves, reaches = tables.spots[day], tables.rows[day], tables.rows[day + 1]
    ok = ((like.days >> np.uint64(day)) & np.uint64(1) != 0) & (leaves[like.origin] >= 0) & (reaches[like.to] >= 0)
    if not night.size:
        return
    ok &= (night.min(axis=(0, 2, 3)) < tables.inf)[reaches[like.to]]
    chosen = np.flatnonzero(ok)
    kind = (layout.kind[day][like.key[chosen]] * len(memory.moves) + layout.move[chosen]) * 2 + like.stand[chosen]
    order = np.lexsort((like.origin[chosen], kind))
    chosen, kind = chosen[order], kind[order]
    for part in np.split(chosen, np.flatnonzero(np.diff(kind)) + 1) if len(chosen) else []:
        group, stand, move = int(layout.kind[day][like.key[part[0]]]), bool(like.stand[part[0]]), int(layout.move[part[0]])
        source = night[0 if not stand or first else tables.halves - 1]
        starts = np.flatnonzero(np.diff(like.origin[part], prepend=-1))
        origin = leaves[like.origin[part][starts]].astype(np.int64)
        alive = np.flatnonzero(memory.move_next[move] >= 0)
        following = memory.move_next[move][alive]
        worth = prices.leave[memory.leave_row[move]][alive].astype(dtype)
        charge = p.one_night_cost if tables.halves == 2 and not stand and not first else 0
        for level in np.flatnonzero(moves[group] >= 0):
            ways = source[reaches[like.to[part]], moves[group][level]] + like.cost[part].astype(dtype)[:, None]
            least = np.minimum.reduceat(ways, starts, axis=0)[:, following] + dtype(costs[group, level]) - worth
            for h in range(tables.halves):
                there = (origin[:, None], h, level, alive[None, :])
                out[there] = np.minimum(out[there], least + dtype(charge if h == 0 else 0))
    _settle(tables, out)
    if not first:
        out[~layout.asked[day][layout.reset_kind[spots]][:, None, :].repeat(tables.halves, 1)] = tables.inf


def _arrivals(
    tables: Tables, layout: Layout, prices: Prices, day: int, ahead: Callable[[], Cost], kernels: Any, scratch: Scratch
) -> Cost:
    """Return W of a day from what ``ahead`` gives of the next, not asked on the last."""
    memory = layout.memory
    dtype = np.int64 if tables.wide else np.int32
    shape = tables.halves, len(tables.spots[day + 1]), layout.buckets.arrive_sizes[day], memory.columns
    night = scratch.array("night", shape, dtype, tables.inf)
    if day == tables.problem.days - 1:
        night[:, 0, :, : len(memory.at_goal)][..., memory.at_goal] = 0
    else:
        (_night_table if kernels is None else kernels.night_table)(tables, layout, prices, day, ahead(), night)
    return night


def arrival_table(tables: Tables, layout: Layout, prices: Prices, bound: Bound, day: int, kernels: Any, scratch: Scratch) -> Cost:
    """Return W[half, place, bucket, column] of a day from a bound that is made already, in an array of the scratch."""
    dtype = np.int64 if tables.wide else np.int32

    def ahead() -> Cost:
        values: Cost = unpack(bound, day + 1, dtype) if kernels is None else kernels.unpack(bound, day + 1, dtype, scratch)
        return values

    return _arrivals(tables, layout, prices, day, ahead, kernels, scratch)


def make_memory_bound(
    tables: Tables,
    layout: Layout,
    prices: Prices,
    *,
    kernels: Any = None,
    check: Callable[[float], None] | None = None,
) -> Bound:
    """Work the bound out from the last day to the first.

    Parameters
    ----------
    tables, check
        As in ``bounds.make_bound``.
    layout, prices
        Buckets and what is remembered, and what the rest is worth.
    kernels
        ``memory_kernels``; None: numpy alone, with equal results.
    """
    p = tables.problem
    memory, buckets = layout.memory, layout.buckets
    dtype = np.int64 if tables.wide else np.int32
    values: list[Cost] = [np.zeros(0)] * p.days
    base, shift, top = [0] * p.days, [0] * p.days, [tables.inf] * p.days
    packed = not tables.wide and memory_cells(tables, layout) >= PACK_CELLS
    ahead = np.zeros((0, 0, 0, 0), dtype)
    scratch = Scratch()
    for day in range(p.days - 1, -1, -1):
        if check is not None:
            check(1 - (day + 1) / p.days)
        night = _arrivals(tables, layout, prices, day, lambda ahead=ahead: ahead, kernels, scratch)  # type: ignore[misc]
        room = scratch if packed and day else Scratch()  # what is packed leaves its place to the next
        shape = len(tables.spots[day]), tables.halves, buckets.sizes[day], memory.columns
        ahead = room.array("ahead", shape, dtype, tables.inf)
        if kernels is None:
            _day_table(tables, layout, prices, day, night, ahead)
        else:
            kernels.day_table(tables, layout, prices, day, night, ahead, scratch)
        values[day] = ahead
        if packed and day:
            values[day], base[day], shift[day], top[day] = (pack if kernels is None else kernels.pack)(tables, ahead)
    made = Bound(
        tuple(values), tables.rows, tables.open_columns, buckets, layout.sizes, tuple(base), tuple(shift), tuple(top), tables.inf
    )
    return replace(made, place_class=memory.place_class, column_of=memory.column_of, offset=prices.offset)
