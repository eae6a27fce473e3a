"""All ways through stops as whole arrays: for few places, where loading a compiler takes longer than the work.

Ways that see the same sights and serve the same stores are a group. First the cheapest way of each group between each pair of
places is tried on the days; what it costs bars all dearer ways that do no more on those days, and only what is left is tried.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tripplan.schedule.chains import SIGHT, DayTypes, Legs, StopTable, fitting_days
from tripplan.schedule.need import Need
from tripplan.schedule.ways import Table

__all__ = ["MUCH", "Found", "direct_chains", "near_chains", "pairs_of", "price", "small", "try_chains"]

I64 = NDArray[np.int64]
I32 = NDArray[np.int32]
U64 = NDArray[np.uint64]
B1 = NDArray[np.bool_]
#: More than anything costs or takes, small enough that a few of it add up in 32 bits.
MUCH = 1 << 28
#: Cells of one work table.
_CHUNK = 3_000_000


@dataclass(frozen=True)
class Found:
    """Ways found, (n) each: places, stops (-1 none), what they cost and take, and on which days they fit."""

    start: I64
    end: I64
    first: I64
    second: I64
    third: I64
    cost: I64
    money: I64
    drive_s: I64
    total_s: I64
    days: U64

    def take(self, rows: I64 | B1) -> Found:
        """Return some of the rows."""
        return Found(*(getattr(self, name)[rows] for name in self.__dataclass_fields__))


def pairs_of(table: StopTable) -> tuple[I64, I64]:
    """Return the ordered pairs of stops of which each does something that the other does not."""
    purpose = table.purpose
    own = (purpose[:, None] & ~purpose[None, :]) != 0
    seen = table.sight
    other_sight = (seen[:, None] >= 0) & (seen[None, :] >= 0) & (seen[:, None] != seen[None, :])
    good = (own & own.T) | other_sight
    good[table.only_to >= 0, :] = False  # who may use it only on arriving goes nowhere after it
    first, second = np.nonzero(good)
    return first, second


def price(table: Table, places: int, stops: StopTable, start: I64, end: I64, numbers: list[I64]) -> tuple[I64, I64, Legs]:
    """Return cost and money [cents] and the legs of chains of stops, (n) each."""
    points = [start, *(places + n for n in numbers), end]
    cost, money, legs = np.zeros(len(start), dtype=np.int64), np.zeros(len(start), dtype=np.int64), []
    for a, b in itertools.pairwise(points):
        cost += table.cents[a, b]
        money += table.km_cents[a, b]
        legs.append((table.total_s[a, b], table.drive_s[a, b]))
    for n in numbers:
        cost += stops.cents[n]
        money += stops.fee[n]
    return cost, money, legs


def try_chains(
    table: Table, places: int, stops: StopTable, types: DayTypes, allowed: U64, start: I64, end: I64, numbers: list[I64]
) -> Found:
    """Return chains of stops with what they cost and the days on which they fit, (n) each."""
    cost, money, legs = price(table, places, stops, start, end, numbers)
    days, took = fitting_days(allowed[start, end], start, end, legs, numbers, stops, types)
    none = np.full(len(start), -1, dtype=np.int64)
    drive = np.sum([d for _, d in legs], axis=0)
    first, second, third = [*numbers, none, none, none][:3]
    return Found(start, end, first, second, third, cost, money, drive, took, days)


def direct_chains(table: Table, places: int, stops: StopTable, types: DayTypes, allowed: U64, limit: I64) -> Found:
    """Return the ways with no stop."""
    start, end = np.nonzero((allowed != 0) & (table.drive_s[:places, :places] <= limit[:, None]))
    return try_chains(table, places, stops, types, allowed, start, end, [])


@dataclass(frozen=True)
class _Columns:
    """Chains of stops, whatever their ends, sorted by group: (Q) each; groups: (G) each, with the column each begins at."""

    first: I64
    second: I64
    last: I64
    mine: NDArray[np.uint8]
    others: NDArray[np.uint8]
    group: I64
    begin: I64
    sights: I64
    serves: I64
    types: I64


def _columns(stops: StopTable, *, pairs: bool) -> _Columns:
    purpose = stops.purpose
    one = np.arange(len(stops))
    first, second = one, np.full(len(one), -1, dtype=np.int64)
    mine, others = purpose, purpose
    if pairs:
        a, b = pairs_of(stops)
        both = (stops.sight[a] >= 0) & (stops.sight[b] >= 0)
        first, second = np.concatenate((first, a)), np.concatenate((second, b))
        mine = np.concatenate((mine, np.where(both, SIGHT, purpose[a] & ~purpose[b])))
        others = np.concatenate((others, np.where(both, SIGHT, purpose[b] & ~purpose[a])))
    two = np.maximum(second, 0)
    once = second < 0
    serves = stops.serves[first] | np.where(once, 0, stops.serves[two])
    seen: I64 = np.where(stops.sight >= 0, 1 << np.maximum(stops.sight, 0), 0).astype(np.int64)
    sights: I64 = seen[first] | np.where(once, 0, seen[two])
    open_on = stops.open_on
    types = open_on[first] & np.where(once, -1, open_on[two])
    order = np.lexsort((second, first, types, serves, sights))
    first, second, mine, others = first[order], second[order], mine[order], others[order]
    sights, serves, types = sights[order], serves[order], types[order]
    new = np.ones(len(order), dtype=bool)
    new[1:] = (np.diff(sights) != 0) | (np.diff(serves) != 0) | (np.diff(types) != 0)
    begin = np.flatnonzero(new)
    group: I64 = np.repeat(np.arange(len(begin)), np.diff(np.append(begin, len(order))))
    return _Columns(
        first, second, np.where(second < 0, first, second), mine.astype(np.uint8), others.astype(np.uint8),
        group, begin, sights[begin], serves[begin], types[begin],
    )  # fmt: skip


def near_chains(
    table: Table, places: int, stops: StopTable, types: DayTypes, allowed: U64, limit: I64, need: Need, *, pairs: bool, bar: bool
) -> list[Found]:
    """Return the ways with one stop or two that may be the best on some day.

    Parameters
    ----------
    allowed
        (P, P) masks of days. limit: (P) most time at the wheel on a day that begins there [s].
    need
        What is worth serving between each pair of places.
    bar
        Whether of two ways that do the same the cheaper one is always the better.
    """
    if not len(stops):
        return []
    columns = _columns(stops, pairs=pairs)
    step = max(1, _CHUNK // max(1, len(columns.first) * places))
    out: list[Found] = []
    for lo in range(0, places, step):
        rows = np.arange(lo, min(lo + step, places))
        rows = rows[(allowed[rows] != 0).any(axis=1)]
        if len(rows):
            out += _chunk(table, places, stops, types, allowed, limit, need, columns, rows, bar=bar)
    return out


def small(values: I64) -> I32:
    """Return costs or times in 32 bits, `MUCH` for more."""
    return np.minimum(values, MUCH).astype(np.int32)


def _chunk(
    table: Table, places: int, stops: StopTable, types: DayTypes, allowed: U64, limit: I64, need: Need, c: _Columns, rows: I64,
    *, bar: bool,
) -> list[Found]:  # fmt: skip
    """Try the ways that begin at some places."""
    at = places + c.first
    cost_in, drive_in = small(table.cents[rows[:, None], at]), small(table.drive_s[rows[:, None], at])
    cost_in = cost_in + stops.cents[c.first].astype(np.int32)
    two = np.flatnonzero(c.second >= 0)
    step = places + c.first[two], places + c.second[two]
    cost_in[:, two] += small(table.cents[step]) + stops.cents[c.second[two]].astype(np.int32)
    drive_in[:, two] += small(table.drive_s[step])
    for number in (c.first, c.second):
        only = np.where(number >= 0, stops.only_from[np.maximum(number, 0)], -1)
        cost_in[(only >= 0)[None, :] & (only[None, :] != rows[:, None])] = MUCH
    end = np.arange(places)
    cost_out, drive_out = small(table.cents[places + c.last, :places]), small(table.drive_s[places + c.last, :places])
    only = stops.only_to[c.last]
    cost_out[(only >= 0)[:, None] & (only[:, None] != end[None, :])] = MUCH
    cost = np.minimum(cost_in, MUCH)[:, :, None] + cost_out[None]
    wanted = need.masks(rows)
    bad = drive_in[:, :, None] + drive_out[None] > np.minimum(limit[rows], MUCH - 1).astype(np.int32)[:, None, None]
    bad |= (c.mine[None, :, None] & wanted[:, None, :]) == 0
    bad |= (c.others[None, :, None] & wanted[:, None, :]) == 0
    bad |= (allowed[rows] == 0)[:, None, :]
    cost[bad] = MUCH
    del bad

    def tried(i: I64, q: I64, j: I64) -> Found:
        once = c.second[q] < 0
        parts = []
        for single in (True, False):
            k = np.flatnonzero(once == single)
            numbers = [c.first[q[k]]] if single else [c.first[q[k]], c.second[q[k]]]
            parts.append((k, try_chains(table, places, stops, types, allowed, rows[i[k]], j[k], numbers)))
        back = np.argsort(np.concatenate([k for k, _ in parts]), kind="stable")
        return Found(*(np.concatenate([getattr(f, name) for _, f in parts])[back] for name in Found.__dataclass_fields__))

    if not bar:
        i, q, j = np.nonzero(cost < MUCH)
        return [tried(i, q, j)]
    # The cheapest of each group.
    edges = np.append(c.begin, len(c.first))
    best = np.stack([cost[:, a:b].argmin(axis=1) + a for a, b in itertools.pairwise(edges)], axis=1)
    least = np.take_along_axis(cost, best, axis=1)
    i, g, j = np.nonzero(least < MUCH)
    one = tried(i, best[i, g, j], j)
    bars = _bars(types, allowed[rows], need, c, rows, (i, g, j), one)
    kept = one.take((one.cost <= bars[i, g, j]) & (one.days != 0))
    # All that are no dearer than what is known to do as much on each day.
    np.put_along_axis(cost, best, MUCH, axis=1)
    np.putmask(cost, cost > np.minimum(bars, MUCH - 1)[:, c.group], MUCH)
    i, q, j = np.nonzero(cost < MUCH)
    more = tried(i, q, j)
    return [kept, more.take(more.days != 0)]


def _bars(
    types: DayTypes, allowed: U64, need: Need, c: _Columns, rows: I64, cells: tuple[I64, I64, I64], tried: Found
) -> NDArray[np.int32]:
    """(p, G, P) what a way of a group may cost before others do as much on every day for less [cents]."""
    i, g, j = cells
    shape = allowed.shape
    flat = i * shape[1] + j
    known = np.full((len(types.days), len(c.sights), allowed.size), MUCH, dtype=np.int32)
    for t, mask in enumerate(types.days):
        fits = (tried.days & mask) != 0
        known[t, g[fits], flat[fits]] = tried.cost[fits]
    bars = np.zeros((len(c.sights), allowed.size), dtype=np.int32)
    on = np.stack([(allowed.ravel() & mask) != 0 for mask in types.days])
    bit = np.arange(len(on))[:, None]
    for part, effect in need.alike(rows, c.serves):
        does, like = np.unique(c.sights * (2 * SIGHT) + effect, return_inverse=True)
        order = np.argsort(like, kind="stable")
        least = known[:, :, part][:, order]
        least = np.minimum.reduceat(least, np.searchsorted(like[order], np.arange(len(does))), axis=1)
        for k, what in enumerate(does.tolist()):
            as_much = np.flatnonzero((what & ~does) == 0)
            before = least[:, as_much].min(axis=1)
            groups = np.flatnonzero(like == k)
            for opening in np.unique(c.types[groups]).tolist():
                asked = on[:, part] & ((opening >> bit & 1) == 1)
                bars[np.ix_(groups[c.types[groups] == opening], part)] = np.where(asked, before, 0).max(axis=0)
    return bars.reshape(len(c.sights), *shape).transpose(1, 0, 2)
