"""Days on the road as arrays: the stops that may be made, which days are alike, and on which of them a day fits its hours."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tripplan.schedule.candidates import Stop
from tripplan.schedule.clock import BREAK_S, DRIVE_BETWEEN_BREAKS_S

__all__ = ["DayTypes", "Legs", "StopTable", "day_types", "fitting_days", "stop_table", "time_taken"]

I64 = NDArray[np.int64]
U64 = NDArray[np.uint64]
B1 = NDArray[np.bool_]
#: Later than any day ends [s].
_NEVER = 10**7
#: Bit of a sight in the masks of what a stop is for, after those of the stores.
SIGHT = 1 << 7

#: Whole time and time at the wheel of one leg of many days [s].
Legs = list[tuple[I64, I64]]


@dataclass(frozen=True)
class StopTable:
    """Stops side by side, (V) each.

    Parameters
    ----------
    cents, fee
        Cost and money of one use [cents].
    opens, closes
        (T, V, K) windows of each type of day [s after midnight]; one that never is opens after it has closed.
    any_time
        Open all day on every day.
    """

    serves: I64
    sight: I64
    seconds: I64
    cents: I64
    fee: I64
    only_from: I64
    only_to: I64
    opens: I64
    closes: I64
    any_time: B1

    def __len__(self) -> int:
        return len(self.serves)

    @property
    def open_on(self) -> I64:
        """(V) bits of the types of days on which each is open at all."""
        there = np.asarray((self.closes >= 0).any(axis=2))
        return np.asarray((there * (1 << np.arange(len(there)))[:, None]).sum(axis=0), dtype=np.int64)

    @property
    def purpose(self) -> I64:
        """(V) what each is for: mask of stores, or `SIGHT`."""
        return np.where(self.sight >= 0, SIGHT, self.serves)


@dataclass(frozen=True)
class DayTypes:
    """Days with the same hours everywhere.

    Parameters
    ----------
    days
        (T) mask of the days of each type. leave, arrive: (T, P) as in `Frame`.
    first
        Number of one day of each type.
    """

    days: U64
    leave: I64
    arrive: I64
    first: tuple[int, ...]


def day_types(leave: I64, arrive: I64, stops: Sequence[Stop]) -> DayTypes:
    """Sort the days by their hours.

    Parameters
    ----------
    leave, arrive
        (D, P) as in `Frame`.
    """
    windows = list(dict.fromkeys(s.windows for s in stops))
    found: dict[object, list[int]] = {}
    for d in range(len(leave)):
        found.setdefault((leave[d].tobytes(), arrive[d].tobytes(), tuple(w[d] for w in windows)), []).append(d)
    first = [days[0] for days in found.values()]
    masks = np.array([sum(1 << d for d in days) for days in found.values()], dtype=np.uint64)
    return DayTypes(masks, leave[first], arrive[first], tuple(first))


def stop_table(stops: Sequence[Stop], types: DayTypes) -> StopTable:
    """Lay stops out as arrays, with their windows on each type of day."""
    count, kinds = len(stops), len(types.first)
    most = max([1, *(len(w) for s in stops for w in s.windows if w)])
    opens = np.full((kinds, count, most), _NEVER, dtype=np.int64)
    closes = np.full((kinds, count, most), -1, dtype=np.int64)
    for v, stop in enumerate(stops):
        for t, d in enumerate(types.first):
            window = stop.windows[d]
            if window is None:
                opens[t, v, 0], closes[t, v, 0] = -_NEVER, 2 * _NEVER
            for k, (a, b) in enumerate(window or ()):
                opens[t, v, k], closes[t, v, k] = a, b

    def column(values: list[int]) -> I64:
        return np.array(values, dtype=np.int64)

    return StopTable(
        column([s.serves for s in stops]), column([s.sight for s in stops]), column([s.seconds for s in stops]),
        column([s.cents + s.charge_cents for s in stops]), column([s.cents for s in stops]),
        column([s.only_from for s in stops]), column([s.only_to for s in stops]), opens, closes,
        np.array([all(w is None for w in s.windows) for s in stops], dtype=bool),
    )  # fmt: skip


def time_taken(legs: Legs, seconds: list[I64]) -> I64:
    """Return legs, stops and breaks together, with no waiting [s]: the forward pass of `clock.lay_out` on arrays."""
    at = np.zeros_like(legs[0][0])
    since = np.zeros_like(at)
    for k, (total, drive) in enumerate(legs):
        at, since = _leg(at, since, total, drive)
        if k < len(seconds):
            at = at + seconds[k]
            since = np.where(seconds[k] >= BREAK_S, 0, since)
    return at


def _leg(at: I64, since: I64, total: I64, drive: I64) -> tuple[I64, I64]:
    breaks = np.maximum(0, -(-(since + drive) // DRIVE_BETWEEN_BREAKS_S) - 1)
    return at + total + breaks * BREAK_S, since + drive - breaks * DRIVE_BETWEEN_BREAKS_S


def _arrival(at: I64, legs: Legs, numbers: list[I64], table: StopTable, t: int) -> I64:
    """Arrival at the end [s after midnight] when leaving at ``at`` on a type of day; `_NEVER` where a stop is not open."""
    since = np.zeros_like(at)
    shut = np.zeros(at.shape, dtype=bool)
    for k, (total, drive) in enumerate(legs):
        at, since = _leg(at, since, total, drive)
        if k < len(numbers):
            seconds = table.seconds[numbers[k]]
            begin = np.full_like(at, _NEVER)
            for w in reversed(range(table.opens.shape[2])):
                hope = np.maximum(at, table.opens[t, numbers[k], w])
                begin = np.where(hope + seconds <= table.closes[t, numbers[k], w], hope, begin)
            shut |= begin == _NEVER
            begin = np.maximum(begin, at)
            since = np.where(begin + seconds - at >= BREAK_S, 0, since)
            at = begin + seconds
    return np.where(shut, _NEVER, at)


def fitting_days(
    allowed: U64, start: I64, end: I64, legs: Legs, numbers: list[I64], table: StopTable, types: DayTypes
) -> tuple[U64, I64]:
    """Return on which days each chain of stops fits into the hours, and what it takes without waiting [s].

    Parameters
    ----------
    allowed
        (n) masks of days. start, end: (n) places. numbers: stops, one array of (n) each.
    """
    took = time_taken(legs, [table.seconds[n] for n in numbers])
    free = np.ones(len(start), dtype=bool)
    for n in numbers:
        free &= table.any_time[n]
    bound = np.flatnonzero(~free)
    bound_legs = [(t[bound], d[bound]) for t, d in legs]
    bound_numbers = [n[bound] for n in numbers]
    days = np.zeros(len(start), dtype=np.uint64)
    every = np.bitwise_or.reduce(allowed) if len(allowed) else np.uint64(0)
    for t, mask in enumerate(types.days):
        if not every & mask:
            continue
        arrival = types.leave[t, start] + took
        if len(bound):
            arrival[bound] = _arrival(types.leave[t, start[bound]], bound_legs, bound_numbers, table, t)
        days |= np.where(arrival <= types.arrive[t, end], allowed & mask, np.uint64(0))
    return days, took
