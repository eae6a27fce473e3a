"""The ways through two services and a sight as whole arrays.

For each sight and each pair of services that do the same together: the cheapest chain between each pair of places is tried first, then
all that are no dearer than what is known by then to do as much on every day.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from tripplan.schedule.chain_tables import MUCH, Found, pairs_of, small, try_chains
from tripplan.schedule.chains import DayTypes, StopTable
from tripplan.schedule.need import Need
from tripplan.schedule.ways import Table

__all__ = ["Known", "triple_chains"]

I64 = NDArray[np.int64]
I32 = NDArray[np.int32]
U64 = NDArray[np.uint64]


@dataclass(frozen=True)
class Known:
    """Ways known already, (n) each: places, what they serve and see, what they cost, and on which days they fit."""

    start: I64
    end: I64
    serves: I64
    sights: I64
    cost: I64
    days: U64

    def take(self, rows: I64) -> Known:
        """Return some of the rows."""
        return Known(*(getattr(self, name)[rows] for name in self.__dataclass_fields__))


def triple_chains(
    table: Table, places: int, stops: StopTable, types: DayTypes, allowed: U64, limit: I64, need: Need, known: Known, *, bar: bool
) -> list[Found]:
    """Return the ways with two services and a sight, in any order, that may be the best on some day.

    Parameters
    ----------
    known
        Ways with fewer stops. The rest as for `chain_tables.near_chains`.
    """
    a, b = pairs_of(stops)
    services = (stops.sight[a] < 0) & (stops.sight[b] < 0)
    a, b = a[services], b[services]
    sights = np.flatnonzero(stops.sight >= 0).tolist()
    if not len(a) or not sights:
        return []
    most_s = np.minimum(limit, MUCH - 1).astype(np.int32)
    frame = _Frame(table, small(table.cents), small(table.drive_s), places, stops, types, allowed, most_s, need)
    union, opening = stops.serves[a] | stops.serves[b], stops.open_on[a] & stops.open_on[b]
    groups = [
        (mask, hours, np.flatnonzero((union == mask) & (opening == hours)))
        for mask, hours in np.unique(np.stack((union, opening)), axis=1).T.tolist()
    ]
    tasks: list[_Task] = []
    for s in sights:
        seen = known.take(np.flatnonzero(known.sights >> int(stops.sight[s]) & 1))
        tasks += [frame.task(s, a[q], b[q], seen, mask, hours & int(stops.open_on[s]), bar=bar) for mask, hours, q in groups]
    out: list[Found] = []
    if bar:
        # The cheapest of each order and pair of places first: it bars dearer ones.
        best = [(task, order, *order.best()) for task in tasks for order in task.orders]
        found = frame.tried([(order, rows, q) for _, order, rows, q in best])
        ends = np.cumsum([0, *(len(rows) for _, _, rows, _ in best)]).tolist()
        for (task, *_), (lo, hi) in zip(best, pairwise(ends), strict=True):
            if hi > lo:
                part = found.take(np.arange(lo, hi))
                frame.learn(task.least, part.start, part.end, part.cost, part.days)
        out.append(found)
    rest = []
    for task in tasks:
        most = frame.bar(task.least, task.hours) if bar else np.full(allowed.shape, MUCH, dtype=np.int32)
        for order in task.orders:
            if len(order.start):
                rows, q = np.nonzero(order.cost <= np.minimum(most, MUCH - 1)[order.start, order.end][:, None])
                rest.append((order, rows, q))
    if rest:
        out.append(frame.tried(rest))
    return out


@dataclass(frozen=True)
class _Order:
    """One order of sight and services: the stops of each chain, (Q), and what is left to be tried of it.

    Parameters
    ----------
    start, end
        (n) pairs of places. cost: (n, Q) [cents], `MUCH` where a chain cannot be or has been tried.
    """

    stops: tuple[I64, I64, I64]
    start: I64
    end: I64
    cost: I32

    def best(self) -> tuple[I64, I64]:
        """Take out the cheapest chain of each pair of places: rows, and chains."""
        if not len(self.start):
            return self.start, self.start
        q = self.cost.argmin(axis=1)
        rows = np.flatnonzero(self.cost[np.arange(len(q)), q] < MUCH)
        q = q[rows]
        self.cost[rows, q] = MUCH
        return rows, q


@dataclass(frozen=True)
class _Task:
    """Chains that see one sight and serve the same: what is known to do as much costs ``least``, (T, P, P) [cents]."""

    orders: tuple[_Order, ...]
    least: I32
    hours: int


@dataclass(frozen=True)
class _Frame:
    """What all tasks share."""

    table: Table
    cents: I32
    drive_s: I32
    places: int
    stops: StopTable
    types: DayTypes
    allowed: U64
    limit: I32
    need: Need

    def task(self, sight: int, a: I64, b: I64, seen: Known, mask: int, hours: int, *, bar: bool) -> _Task:
        """Lay out the chains through a sight and pairs ``a``, ``b`` where they may be no dearer than what is known to do as much."""
        asked = self.need.effect(seen.start, seen.end, np.full(len(seen.start), mask))
        seen = seen.take(np.flatnonzero((asked & ~self.need.effect(seen.start, seen.end, seen.serves)) == 0))
        least = np.full((len(self.types.days), *self.allowed.shape), MUCH, dtype=np.int32)
        self.learn(least, seen.start, seen.end, seen.cost, seen.days)
        most = self.bar(least, hours) if bar else np.full(self.allowed.shape, MUCH, dtype=np.int32)
        see = np.full(len(a), sight)
        return _Task(tuple(self._order(chain, (a, b), most) for chain in ((a, b, see), (see, a, b), (a, see, b))), least, hours)

    def _order(self, chain: tuple[I64, I64, I64], pair: tuple[I64, I64], most: I32) -> _Order:
        """Lay out what chains cost between the places where the least of them may still be worth it."""
        stops, cents, drive, places, limit = self.stops, self.cents, self.drive_s, self.places, self.limit
        one, two, three = chain
        inner, further, end = (places + one, places + two), (places + two, places + three), np.arange(places)
        pay = cents[inner] + cents[further]
        pay += (stops.cents[one] + stops.cents[two] + stops.cents[three]).astype(np.int32)
        cost_in = np.minimum(cents[:places, places + one] + np.minimum(pay, MUCH), MUCH)
        drive_in = drive[:places, places + one] + drive[inner] + drive[further]
        for number in chain:
            only = stops.only_from[number]
            if (only >= 0).any():
                cost_in[(only >= 0)[None, :] & (only[None, :] != end[:, None])] = MUCH
        cost_in[:, (stops.only_to[one] >= 0) | (stops.only_to[two] >= 0)] = MUCH
        cost_out, drive_out = cents[places + three, :places], drive[places + three, :places]
        only = stops.only_to[three]
        if (only >= 0).any():
            cost_out[(only >= 0)[:, None] & (only[:, None] != end[None, :])] = MUCH
        hope = (cost_in.min(axis=1)[:, None] + cost_out.min(axis=0)[None, :] <= np.minimum(most, MUCH - 1)) & (self.allowed != 0)
        hope &= drive_in.min(axis=1)[:, None] + drive_out.min(axis=0)[None, :] <= limit[:, None]
        start, to = np.nonzero(hope)
        cost = cost_in[start] + cost_out[:, to].T
        cost[drive_in[start] + drive_out[:, to].T > limit[start][:, None]] = MUCH
        wanted = ~(self.need.leaving[start] | self.need.arriving[to])[:, None]
        a, b = stops.serves[pair[0]][None, :], stops.serves[pair[1]][None, :]
        cost[(a & ~b & wanted == 0) | (b & ~a & wanted == 0)] = MUCH
        return _Order(chain, start, to, cost)

    def learn(self, least: I32, start: I64, end: I64, cost: I64, days: U64) -> None:
        """Note on each type of day what ways cost, the cheapest of each pair of places."""
        order = np.argsort(-cost, kind="stable")
        for t, mask in enumerate(self.types.days):
            rows = order[(days[order] & mask) != 0]
            cells = start[rows], end[rows]
            least[t][cells] = np.minimum(least[t][cells], cost[rows])

    def bar(self, least: I32, hours: int) -> I32:
        """(P, P) what a way may cost before others do as much on every day for less [cents]."""
        bars = np.zeros(self.allowed.shape, dtype=np.int32)
        for t, mask in enumerate(self.types.days):
            if hours >> t & 1:
                bars = np.maximum(bars, np.where((self.allowed & mask) != 0, least[t], 0))
        return bars

    def tried(self, parts: list[tuple[_Order, I64, I64]]) -> Found:
        """Try some chains of some orders, all at once and in their order."""
        numbers = [np.concatenate([order.stops[k][q] for order, _, q in parts]) for k in range(3)]
        start = np.concatenate([order.start[rows] for order, rows, _ in parts])
        end = np.concatenate([order.end[rows] for order, rows, _ in parts])
        return try_chains(self.table, self.places, self.stops, self.types, self.allowed, start, end, numbers)
