"""The backward bound: the least that the rest of the trip can cost, by day, place, sights done and coarse levels.

Day by day from the goal, ``B[d][place, half, bucket, column]`` is the least cost from the start of day d when each level is
taken at the lower edge of its bucket, counters are free and nights in a row are told apart only as one or more
(``half``). It never exceeds the truth, also not when days are forbidden later.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from .buckets import Buckets, asked_levels, day_moves, night_moves
from .ranks import order_of, ranked
from .scratch import Scratch
from .tables import Tables

__all__ = ["Bound", "LikeArcs", "arc_classes", "bound_bytes", "bound_work", "like_arcs", "make_bound", "pack", "unpack"]

I32 = NDArray[np.int32]
I64 = NDArray[np.int64]
Cost = NDArray[Any]
MOST_AT_ONCE = 6_000_000  # cells of one whole-array step
PACK_CELLS = 16_000_000  # from here on a bound is kept in 16 bits
FORBIDDEN_SMALL = 0xFFFF  # what is forbidden, in 16 bits


@dataclass(frozen=True)
class LikeArcs:
    """Arcs in the order the bound reads them, those left out that another is at least as good as.

    Parameters
    ----------
    origin, to, cost, days, stand, key
        Of each arc: place left, place reached, [cents], allowed days as bits, 1 when it stays, number of its key.
    keys
        (keys, 3) use class, resets of watched stores, sight class.
    key_of
        (A) number of the key of every arc of the problem.
    """

    origin: I32
    to: I32
    cost: Cost
    days: NDArray[np.uint64]
    stand: NDArray[np.uint8]
    key: I32
    keys: I64
    key_of: I32


@dataclass(frozen=True)
class Bound:
    """The bound's tables.

    Parameters
    ----------
    values
        For each day (spots, halves, buckets, columns), see ``Tables.spots``. Kept in 16 bits when they would
        take much room: then ``base + (value << shift)``, rounded down, with ``top`` for what is forbidden.
    base, shift, top
        For each day.
    inf
        Cost of what is forbidden [cents].
    rows
        For each day (P) row of a place in ``values``, -1 none.
    position
        For each day (G) column of a progress number, -1 none.
    buckets
        Where the buckets begin.
    place_class, column_of, offset
        Of a bound with a short memory (see ``memory``): the column is ``column_of[place_class[place], progress]``, and
        ``offset[progress]`` is added. None elsewhere.
    """

    values: tuple[Cost, ...]
    rows: tuple[I32, ...]
    position: tuple[I32, ...]
    buckets: Buckets
    sizes: tuple[int, ...]
    base: tuple[int, ...]
    shift: tuple[int, ...]
    top: tuple[int, ...]
    inf: int
    place_class: I32 | None = None
    column_of: I32 | None = None
    offset: I64 | None = None

    def look(self, day: int, place: I64, state: NDArray[Any]) -> tuple[I64, I64]:
        """Return column of progress numbers at places, -1 none, and what the bound there has to be raised by [cents]."""
        column = self.position[day][state].astype(np.int64)
        if self.place_class is None or self.column_of is None or self.offset is None:
            return column, np.zeros(len(column), np.int64)
        return np.where(column < 0, -1, self.column_of[self.place_class[place], state]), self.offset[state]

    def rest(self, day: int, place: I64, half: I64, bucket: I64, column: I64) -> I64:
        """Return the least cost of the rest of the trip [cents]."""
        found = self.values[day][self.rows[day][place], half, bucket, column].astype(np.int64)
        return np.where(found == self.top[day], self.inf, self.base[day] + (found << self.shift[day]))

    @property
    def root(self) -> int:
        """No plan costs less than this [cents]; ``inf`` or more when there is none."""
        first = self.values[0]
        if not first.size or int(first[0, 0, 0, 0]) >= self.inf:
            return self.inf
        return int(first[0, 0, 0, 0]) + (0 if self.offset is None else int(self.offset[0]))


def like_arcs(tables: Tables, sizes: list[int]) -> LikeArcs:
    """Sort arcs by place left, key and place reached; drop those another covers for these watched stores."""
    p = tables.problem
    count = len(p.arc_to)
    watched = sum(1 << r for r, n in enumerate(sizes) if n > 1)
    goal_bound = sum(1 << r for r in range(len(p.cap)) if int(p.goal_cap[r]) < int(p.cap[r]))
    origin = np.repeat(np.arange(p.places, dtype=np.int32), np.diff(p.arc_ptr).astype(np.int64))
    last_day = (p.arc_days >> np.uint64(p.days - 1)) & np.uint64(1) != 0
    # what a store not watched was served for shows only in the goal's limits, and only on the last day
    resets = np.where(last_day, p.arc_reset & np.uint32(watched | goal_bound), p.arc_reset & np.uint32(watched)).astype(np.int64)
    radix = int(tables.sight_map.shape[0])
    wide_key = (p.arc_use.astype(np.int64) * (1 << len(p.cap)) + resets) * radix + tables.sight_class
    uniq, key = ranked(wide_key)
    keys = np.stack([uniq // radix >> len(p.cap), uniq // radix & ((1 << len(p.cap)) - 1), uniq % radix], 1)
    order = order_of(origin, key, p.arc_to, ranked(p.arc_days)[1], p.arc_cost)
    o, t, k, y = origin[order], p.arc_to[order], key[order], p.arc_days[order]
    twin = np.zeros(count, bool)
    if count:
        # the same move on the same days: the cheapest stands first
        twin[1:] = (o[1:] == o[:-1]) & (t[1:] == t[:-1]) & (k[1:] == k[:-1]) & (y[1:] == y[:-1])
    keep = order[~twin]
    return LikeArcs(
        origin=origin[keep],
        to=p.arc_to[keep].astype(np.int32),
        cost=np.minimum(p.arc_cost[keep], tables.inf).astype(np.int64 if tables.wide else np.int32),
        days=p.arc_days[keep],
        stand=(origin[keep] == p.arc_to[keep]).astype(np.uint8),
        key=key[keep].astype(np.int32),
        keys=keys.astype(np.int64),
        key_of=key.astype(np.int32),
    )


def bound_work(tables: Tables, arrive_sizes: list[int], *, by_day: bool = False) -> float:
    """Return a guess of the additions that a bound takes; ``by_day``: only for arcs on days on which they are allowed."""
    days = tables.problem.arc_days
    return sum(
        float(np.count_nonzero(days & np.uint64(1 << d)) if by_day else len(days)) * len(a) * k
        for d, (a, k) in enumerate(zip(tables.arrivals, arrive_sizes, strict=True))
    )


def _cells(tables: Tables, buckets: Buckets) -> int:
    rows = (len(s) * len(c) * k for s, c, k in zip(tables.spots, tables.columns, buckets.sizes, strict=False))
    return sum(rows) * tables.halves


def bound_bytes(tables: Tables, buckets: Buckets) -> int:
    """Return the memory that a bound takes once it is made."""
    cells = _cells(tables, buckets)
    return cells * (8 if tables.wide else 4 if cells < PACK_CELLS else 2)


def scale(span: int) -> int:
    """Return by how many bits values up to ``span`` are shifted to lie below `FORBIDDEN_SMALL`."""
    shift = max(span.bit_length() - 16, 0)
    return shift + 1 if span >> shift >= FORBIDDEN_SMALL else shift


def pack(tables: Tables, values: Cost) -> tuple[Cost, int, int, int]:
    """Return values in 16 bits with their base, shift and top."""
    allowed = values < tables.inf
    if not values.size or not allowed.any():
        return values.copy(), 0, 0, tables.inf
    base = int(values.min())
    shift = scale(int(values.max(where=allowed, initial=base)) - base)
    small = (values - values.dtype.type(base)) >> shift
    small[~allowed] = FORBIDDEN_SMALL
    return small.astype(np.uint16), base, shift, FORBIDDEN_SMALL


def unpack(bound: Bound, day: int, dtype: Any) -> Cost:
    """Return the values of a day as costs, ``inf`` for what is forbidden."""
    kept = bound.values[day]
    if bound.top[day] == bound.inf:
        plain: Cost = kept.astype(dtype, copy=False)
        return plain
    wide: Cost = (kept.astype(dtype) << bound.shift[day]) + dtype(bound.base[day])
    wide[kept == bound.top[day]] = bound.inf
    return wide


def _positions(columns: I32, states: int) -> I32:
    out = np.full(states, -1, np.int32)
    out[columns] = np.arange(len(columns), dtype=np.int32)
    return out


def _night_table(tables: Tables, buckets: Buckets, day: int, ahead: Cost | None, position: I32 | None, dtype: Any) -> Cost:
    """Return W[half, place, arrival bucket, arrival column]: the least cost from arriving at a place."""
    p = tables.problem
    arrivals = tables.arrivals[day]
    size = buckets.arrive_sizes[day]
    row_of = tables.rows[day + 1]
    out = np.full((tables.halves, len(tables.spots[day + 1]), size, len(arrivals)), tables.inf, dtype)
    if ahead is None:
        out[:, 0] = tables.end_value[arrivals].astype(dtype)
        return out
    assert position is not None
    index, price = night_moves(tables, buckets, day)
    next_column = position[tables.cover_map[:, arrivals]]
    is_open = tables.spots[day + 1]
    for cover in np.unique(tables.cover_class[is_open]):
        here = is_open[tables.cover_class[is_open] == cover]
        columns = next_column[cover]
        alive = np.flatnonzero(columns >= 0)
        if not len(alive):
            continue
        like = tables.like_night[here]
        extra = np.minimum(price[like] + p.night_cost[day, here][:, None], tables.inf).astype(dtype)
        there = row_of[here]
        for half in range(tables.halves):
            rows = ahead[there[:, None, None], half, index[like][:, :, None], columns[alive][None, None, :]]
            total = np.minimum(rows + extra[:, :, None], dtype(tables.inf))
            out[half, there[:, None, None], np.arange(size)[None, :, None], alive[None, None, :]] = total
    return out


def _like_rows(rows: I64) -> tuple[I64, I64]:
    """Return the first of each kind of equal rows, and each row's kind."""
    if not len(rows):
        return np.zeros(0, np.int64), np.zeros(0, np.int64)
    # sorting sums with odd factors is quicker than sorting rows; two kinds that fall together are told by comparing
    factors = (np.arange(1, rows.shape[1] + 1, dtype=np.uint64) * np.uint64(0x9E3779B97F4A7C15)) | np.uint64(1)
    _, first, kind = np.unique((rows.view(np.uint64) * factors).sum(1), return_index=True, return_inverse=True)
    if (rows[first[kind]] != rows).any():
        _, first, kind = np.unique(rows, axis=0, return_index=True, return_inverse=True)
    return first, kind.reshape(-1)


def arc_classes(tables: Tables, arcs: LikeArcs, buckets: Buckets, day: int) -> tuple[I64, I64, I64, I64]:
    """Return each key's class among keys that move alike on a day, and the classes' moves, costs and sight classes."""
    index, price = day_moves(tables, buckets, day, arcs.keys)
    index = np.where(price >= tables.inf, -1, index)
    price = np.minimum(price, tables.inf)
    first, kind = _like_rows(np.concatenate([arcs.keys[:, 2:3], index, price], 1))
    return kind, index[first], price[first], arcs.keys[first, 2]


def _day_table(tables: Tables, arcs: LikeArcs, buckets: Buckets, day: int, night: Cost, arrive_position: I32, dtype: Any) -> Cost:
    """Return B of a day from W of its arrivals, on whole arrays."""
    p = tables.problem
    columns = tables.columns[day]
    first = day == 0
    classes, moves, costs, sights = arc_classes(tables, arcs, buckets, day)
    spots, leaves, reaches = tables.spots[day], tables.rows[day], tables.rows[day + 1]
    out = np.full((len(spots), tables.halves, buckets.sizes[day], len(columns)), tables.inf, dtype)
    if not out.size or not night.size:
        return out
    ok = ((arcs.days >> np.uint64(day)) & np.uint64(1) != 0) & (leaves[arcs.origin] >= 0) & (reaches[arcs.to] >= 0)
    ok &= (night.min(axis=(0, 2, 3)) < tables.inf)[reaches[arcs.to]]
    chosen = np.flatnonzero(ok)
    kind = classes[arcs.key[chosen]] * 2 + arcs.stand[chosen]
    # arcs stand by place left; a stable sort leaves them so within each kind
    order = np.argsort(kind, kind="stable")
    chosen, kind = chosen[order], kind[order]
    for part in np.split(chosen, np.flatnonzero(np.diff(kind)) + 1) if len(chosen) else []:
        group = int(classes[arcs.key[part[0]]])
        stand = bool(arcs.stand[part[0]])
        source = night[0 if not stand or first else tables.halves - 1]
        starts = np.flatnonzero(np.diff(arcs.origin[part], prepend=-1))
        origin = leaves[arcs.origin[part][starts]].astype(np.int64)
        to, cost = reaches[arcs.to[part]], arcs.cost[part].astype(dtype)
        sight = arrive_position[tables.sight_map[sights[group]][columns]]
        plain = len(sight) == night.shape[3] and bool((sight == np.arange(len(sight))).all())
        levels = np.flatnonzero(moves[group] >= 0)
        if not len(levels) or (sight < 0).all():
            continue
        used, spot = np.unique(moves[group][levels], return_inverse=True)
        # a few large steps where they fit the memory at hand, else bucket by bucket
        steps = [used] if len(part) * len(used) * night.shape[3] <= MOST_AT_ONCE else used[:, None]
        rows = []
        for step in steps:
            ways = source[to[:, None], step[None, :]] if len(step) < source.shape[1] else source[to]
            ways = ways + cost[:, None, None]
            least = np.minimum.reduceat(ways.reshape(len(part), -1), starts, axis=0)
            least = least.reshape(len(starts), len(step), -1)
            if not plain:
                least = least[:, :, np.maximum(sight, 0)]
                least[:, :, sight < 0] = tables.inf
            rows.append(least)
        table = rows[0] if len(rows) == 1 else np.concatenate(rows, 1)
        if len(spot) != len(used) or (np.diff(spot.reshape(-1)) != 1).any():
            table = table[:, spot.reshape(-1)]
        price = costs[group, levels].astype(dtype)
        value = table + price[None, :, None] if price.any() else table
        charge = dtype(p.one_night_cost if tables.halves == 2 and not stand and not first else 0)
        for h in range(tables.halves):
            there = (origin[:, None], h, levels[None, :])
            more = value + charge if h == 0 and charge else value
            out[there] = np.minimum(out[there], more)
    if not first:
        asked, reset_kind = asked_levels(tables, buckets, day)
        out[~asked[reset_kind[spots]][:, None, :].repeat(tables.halves, 1)] = tables.inf
    np.minimum(out, dtype(tables.inf), out=out)
    return out


def make_bound(
    tables: Tables,
    buckets: Buckets,
    sizes: list[int],
    *,
    kernels: Any = None,
    check: Callable[[float], None] | None = None,
) -> Bound:
    """Work the bound out from the last day to the first.

    Parameters
    ----------
    tables, buckets, sizes
        The problem, the edges and how many a store has.
    kernels
        Module of compiled kernels; None: numpy alone, with equal results.
    check
        Called before each day with the share done; may raise to stop.
    """
    p = tables.problem
    dtype = np.int64 if tables.wide else np.int32
    arcs = like_arcs(tables, sizes)
    values: list[Cost] = [np.zeros(0)] * p.days
    base, shift, top = [0] * p.days, [0] * p.days, [tables.inf] * p.days
    packed = not tables.wide and _cells(tables, buckets) >= PACK_CELLS
    position = [_positions(c, tables.states) for c in tables.columns]
    ahead: Cost | None = None
    scratch = Scratch()
    for day in range(p.days - 1, -1, -1):
        if check is not None:
            check(1 - (day + 1) / p.days)
        arrive_position = _positions(tables.arrivals[day], tables.states)
        after = position[day + 1] if day + 1 < p.days else None
        if kernels is None:
            night = _night_table(tables, buckets, day, ahead, after, dtype)
            ahead = _day_table(tables, arcs, buckets, day, night, arrive_position, dtype)
        else:
            night = kernels.night_table(tables, buckets, day, ahead, after, dtype, scratch)
            room = scratch if packed and day else Scratch()  # what is packed leaves its place to the next
            ahead = kernels.day_table(tables, arcs, buckets, day, night, arrive_position, dtype, room)
        values[day] = ahead
        if packed and day:
            values[day], base[day], shift[day], top[day] = (pack if kernels is None else kernels.pack)(tables, ahead)
    return Bound(
        tuple(values), tables.rows, tuple(position), buckets, tuple(sizes), tuple(base), tuple(shift), tuple(top), tables.inf
    )
