"""Ways to spend a day: from each place to each other with a few stops on the way, or out and back by car from a standing van.

With the van there are up to two stops, or two services and a sight, and one may also come back to the same place.

All ways are looked at; one stays in the table on those days on which no other serves and visits as much at no more cost. Where
a budget counts money, that must be no more either, and where driving draws on the van's battery, the class of driving time.
Few places are worked through as whole arrays, many in compiled loops; both find the same ways.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields, replace

import numpy as np
from numpy.typing import NDArray

from tripplan.schedule.candidates import Stop
from tripplan.schedule.chain_tables import Found, direct_chains, near_chains, pairs_of, price
from tripplan.schedule.chains import DayTypes, StopTable, day_types, fitting_days, stop_table, time_taken
from tripplan.schedule.need import Need
from tripplan.schedule.triple_tables import Known, triple_chains
from tripplan.schedule.use import class_of
from tripplan.schedule.ways import FAR, Table

__all__ = ["Frame", "Options", "options_of", "stand_options", "tow_options", "undominated"]

I64 = NDArray[np.int64]
I32 = NDArray[np.int32]
B1 = NDArray[np.bool_]
#: Rows from which a compiled loop pays for its import; pairs of places times pairs of stops from which it does.
_COMPILE_ROWS, _COMPILE_CHAINS = 200_000, 10_000_000


@dataclass(frozen=True)
class Frame:
    """The hours and limits that days must keep to.

    Parameters
    ----------
    leave, arrive
        (D, P) earliest leaving of each place and latest arrival there [s after midnight]; arrive -1: not on that day.
    days
        (P, P) uint64: bit d set where the van may go from one place to the other on day d.
    drive_s
        (P) most time at the wheel on a day that begins at the place [s].
    classes_s
        Upper ends of the classes of driving time, crossings in it [s].
    need
        What is worth serving on the way.
    money
        Whether money counts beside cost.
    afloat_s
        (V, V) how long the van is aboard ferries between places and stops, where that draws on its battery; ``None``: nowhere.
    """

    leave: I64
    arrive: I64
    days: NDArray[np.uint64]
    drive_s: I64
    classes_s: tuple[int, ...]
    need: Need
    money: bool = False
    afloat_s: I64 | None = None


@dataclass(frozen=True)
class Options:
    """Ways to spend a day, side by side: columns of equal length.

    Parameters
    ----------
    start, end
        Places. first, second, third: numbers of the stops, -1 none. car: whether the car goes alone.
    cost, money
        [cents] drive_s, total_s: at the wheel; all legs, stops and breaks, no waiting [s].
    serves, sights
        Masks. days: bit d set: on day d. use: class of driving time.
    """

    start: I32
    end: I32
    first: I32
    second: I32
    third: I32
    cost: I32
    money: I32
    drive_s: I32
    total_s: I32
    serves: I32
    sights: I64
    use: I32
    days: NDArray[np.uint64]
    car: B1

    def __len__(self) -> int:
        return len(self.start)

    def take(self, rows: NDArray[np.int64] | B1) -> Options:
        """Return some of the rows."""
        return Options(*(getattr(self, f.name)[rows] for f in fields(self)))

    @staticmethod
    def join(parts: Sequence[Options]) -> Options:
        """Return several tables as one."""
        return Options(*(np.concatenate([getattr(p, f.name) for p in parts]) for f in fields(Options)))


def tow_options(table: Table, places: int, stops: Sequence[Stop], frame: Frame, *, compiled: bool | None = None) -> Options:
    """Return the undominated ways to tow from each place to each other, or by way of stops back to the same.

    Parameters
    ----------
    table
        Between the places (first ``places`` rows) and the stops (the rest).
    compiled
        Whether loops are compiled; ``None``: where that pays.
    """
    types = day_types(frame.leave, frame.arrive, stops)
    laid = stop_table(stops, types)
    allowed, onward = frame.days, frame.days.copy()
    np.fill_diagonal(onward, np.uint64(0))
    bar = not frame.money and len(frame.classes_s) == 1
    if compiled is None:
        chains = places * places * len(stops) * len(stops)
        compiled = chains > (_COMPILE_CHAINS if bar else _COMPILE_CHAINS // 10)
    compiled = compiled and frame.afloat_s is None  # the loops tell classes by the time at the wheel alone
    if compiled:
        try:
            from tripplan.schedule.chain_kernels import far_chains
        except ImportError:
            compiled = False
    if compiled:
        chains = far_chains(
            table,
            places,
            laid,
            types,
            allowed,
            frame.drive_s,
            frame.need,
            pairs=True,
            money=frame.money,
            classes_s=frame.classes_s,
        )
        parts = [
            options_of(direct_chains(table, places, laid, types, allowed & np.uint64(0), frame.drive_s), laid, frame, car=False)
        ]
        parts += [undominated(options_of(found, laid, frame, car=False), frame, compiled=True) for found in chains]
        kept = Options.join(parts)
        return replace(kept, total_s=_total(table, places, laid, kept))
    found = [direct_chains(table, places, laid, types, onward, frame.drive_s)]
    found += near_chains(table, places, laid, types, allowed, frame.drive_s, frame.need, pairs=True, bar=bar)
    few = undominated(Options.join([options_of(f, laid, frame, car=False) for f in found]), frame)
    start, end, serves, cost = (column.astype(np.int64) for column in (few.start, few.end, few.serves, few.cost))
    known = Known(start, end, serves, few.sights, cost, few.days)
    found = triple_chains(table, places, laid, types, allowed, frame.drive_s, frame.need, known, bar=bar)
    return undominated(Options.join([few, *(options_of(f, laid, frame, car=False) for f in found)]), frame)


def _total(table: Table, places: int, stops: StopTable, o: Options) -> I32:
    """Return what days take without waiting [s]."""
    out = np.zeros(len(o), dtype=np.int32)
    stops_made = (o.first >= 0).astype(int) + (o.second >= 0) + (o.third >= 0)
    for count in range(4):
        rows = np.flatnonzero(stops_made == count)
        numbers = [number[rows].astype(np.int64) for number in (o.first, o.second, o.third)][:count]
        for lo in range(0, len(rows), 1_000_000):
            part = slice(lo, lo + 1_000_000)
            few = [n[part] for n in numbers]
            _, _, legs = price(
                table, places, stops, o.start[rows[part]].astype(np.int64), o.end[rows[part]].astype(np.int64), few
            )
            out[rows[part]] = time_taken(legs, [stops.seconds[n] for n in few])
    return out


def options_of(found: Found, stops: StopTable, frame: Frame, *, car: bool) -> Options:
    """Return ways that fit on some day as options."""
    found = found.take(found.days != 0)
    count = len(found.start)
    serves, sights = np.zeros(count, dtype=np.int64), np.zeros(count, dtype=np.int64)
    for number in (found.first, found.second, found.third) if len(stops) else ():
        there = np.maximum(number, 0)
        serves |= np.where(number >= 0, stops.serves[there], 0)
        sights |= np.where((number >= 0) & (stops.sight[there] >= 0), 1 << np.maximum(stops.sight[there], 0), 0)
    afloat = np.zeros(count, dtype=np.int64) if car or frame.afloat_s is None else _afloat(found, frame.afloat_s, len(stops))
    use = class_of(frame.classes_s, found.drive_s + afloat, afloat)

    def small(column: NDArray[np.integer]) -> I32:
        return column.astype(np.int32)

    return Options(
        small(found.start), small(found.end), small(found.first), small(found.second), small(found.third), small(found.cost),
        small(found.money), small(found.drive_s), small(found.total_s), small(serves), sights, small(use), found.days,
        np.full(count, car, dtype=bool),
    )  # fmt: skip


def _afloat(found: Found, afloat_s: I64, stops: int) -> I64:
    """(n) time aboard ferries of each way [s]."""
    places = len(afloat_s) - stops
    out, here = np.zeros(len(found.start), dtype=np.int64), found.start.astype(np.int64)
    for number in (found.first, found.second, found.third):
        there = np.where(number >= 0, places + number, here)
        out += np.where(number >= 0, afloat_s[here, there], 0)
        here = there
    return out + afloat_s[here, found.end]


def stand_options(table: Table, places: int, stops: Sequence[Stop], frame: Frame, most_s: int) -> Options:
    """Return the undominated ways to spend a standing day: nothing, or out and back by car with up to two stops.

    Two stops are two sights, or a sight and a service.

    Parameters
    ----------
    table
        Of the car: between the places (first ``places`` rows) and its stops.
    frame
        Of the same places.
    most_s
        Most time at the wheel [s].
    """
    types = day_types(frame.leave, frame.arrive, stops)
    laid = stop_table(stops, types)
    here = np.arange(places)
    zero, none = np.zeros(places, dtype=np.int64), np.full(places, -1, dtype=np.int64)
    days, _ = fitting_days(frame.days[here, here], here, here, [(zero, zero)], [], laid, types)
    parts = [options_of(Found(here, here, none, none, none, zero, zero, zero, zero, days), laid, frame, car=True)]
    if len(stops):
        a, b = pairs_of(laid)
        seen = (laid.sight[a] >= 0) | (laid.sight[b] >= 0)
        parts += [
            undominated(
                options_of(_out_and_back(table, places, laid, types, frame, numbers, most_s), laid, frame, car=True), frame
            )
            for numbers in ([np.arange(len(stops))], [a[seen], b[seen]])
        ]
    return undominated(Options.join(parts), frame)


def _out_and_back(
    table: Table, places: int, stops: StopTable, types: DayTypes, frame: Frame, numbers: list[I64], most_s: int
) -> Found:
    """Return the days by car from each place through chains of stops and back."""
    count = len(numbers[0])
    start = np.repeat(np.arange(places), count)
    numbers = [np.tile(n, places) for n in numbers]
    cost, money, legs = price(table, places, stops, start, start, numbers)
    drive = np.sum([d for _, d in legs], axis=0)
    good = (cost < FAR) & (drive <= most_s)
    for n in numbers:
        good &= (stops.only_from[n] < 0) | (stops.only_from[n] == start)
    rows = np.flatnonzero(good)
    start, numbers, legs = start[rows], [n[rows] for n in numbers], [(t[rows], d[rows]) for t, d in legs]
    days, took = fitting_days(frame.days[start, start], start, start, legs, numbers, stops, types)
    none = np.full(len(rows), -1, dtype=np.int64)
    first, second = [*numbers, none][:2]
    return Found(start, start, first, second, none, cost[rows], money[rows], drive[rows], took, days)


def undominated(o: Options, frame: Frame, *, compiled: bool | None = None) -> Options:
    """Drop each way from the days on which another does as much at no more cost, money and use.

    Parameters
    ----------
    compiled
        As in `tow_options`.
    """
    if not len(o):
        return o
    order = np.lexsort((o.third, o.second, o.first, o.use, o.money, o.cost, o.car, o.end, o.start))
    o = o.take(order)
    new = np.ones(len(o), dtype=bool)
    new[1:] = (o.start[1:] != o.start[:-1]) | (o.end[1:] != o.end[:-1]) | (o.car[1:] != o.car[:-1])
    first = np.flatnonzero(new)[np.cumsum(new) - 1]
    worth = frame.need.effect(o.start.astype(np.int64), o.end.astype(np.int64), o.serves.astype(np.int64))
    days = _drop_beaten(o, first, worth, money=frame.money, compiled=len(o) > _COMPILE_ROWS if compiled is None else compiled)
    return replace(o, days=days).take(days != 0)


def _drop_beaten(o: Options, first: I64, worth: I64, *, money: bool, compiled: bool) -> NDArray[np.uint64]:
    """Return the days left of each row; rows of one pair of places (begun at ``first``) stand by cost."""
    does = worth | o.sights << 8
    paid = o.money if money else np.zeros_like(o.money)
    if compiled:
        try:
            from tripplan.schedule.beaten import drop_beaten
        except ImportError:
            pass
        else:
            return np.asarray(drop_beaten(first, does, paid, o.use, o.days))
    days = o.days.copy()
    late = np.flatnonzero(np.arange(len(o)) > first)
    apart = 1
    # A row can only be beaten by one before it, at distance 1, 2, ...
    while len(late):
        early = late - apart
        better = ((does[late] & ~does[early]) == 0) & (o.use[early] <= o.use[late])
        if money:
            better &= paid[early] <= paid[late]
        days[late[better]] &= ~o.days[early[better]]
        apart += 1
        late = late[(late - first[late] >= apart) & (days[late] != 0)]
    return days
