"""Ways to spend a day that come back when the clock forbids one that had beaten them.

The tables of options hold, for each pair of places and each day, only ways that no other beats; what beats another is known to
fit the day as far as the plain pass can tell. Where the exact clock then finds that it cannot be, the ways it had beaten must
come back, or the proof would speak of a smaller world. So all ways between that pair on that day are looked at again, without those
that are known to be impossible.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterable
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from tripplan.schedule.assemble import work_of
from tripplan.schedule.candidates import pitch_of
from tripplan.schedule.chain_tables import try_chains
from tripplan.schedule.chains import StopTable, day_types, stop_table
from tripplan.schedule.day_options import classes_of, need_of
from tripplan.schedule.need import Need
from tripplan.schedule.options import Frame, Options, options_of, undominated
from tripplan.schedule.ways import FAR
from tripplan.schedule.work import Slack, Work

__all__ = ["Way", "admit_others", "way_of"]

I64 = NDArray[np.int64]
#: A way to spend a day, whatever its number: day, start, end, whether by car, stops (-1: none).
Way = tuple[int, int, int, bool, int, int, int]


def way_of(work: Work, day: int, arc: int) -> Way:
    """Return what an arc on a day is, in terms that stay the same when arcs are numbered anew."""
    o = work.options
    return (
        day, int(o.start[arc]), int(o.end[arc]), bool(o.car[arc]), int(o.first[arc]), int(o.second[arc]), int(o.third[arc])
    )  # fmt: skip


def admit_others(work: Work, shut: Iterable[Way], fresh: Iterable[Way]) -> Work:
    """Return the problem without some impossible ways, and with those that they had beaten.

    Parameters
    ----------
    shut
        All ways known to be impossible. fresh: those of them that the problem still holds.
    """
    shut = set(shut)
    options, set_of, penalty = work.options, work.set_of, work.penalty
    days = options.days.copy()
    parts, sets = [], []
    for day, start, end, car in sorted({way[:4] for way in fresh}):
        days[(options.start == start) & (options.end == end) & (options.car == car)] &= ~np.uint64(1 << day)
        number = next(k for k, ways in enumerate(work.ways) if ways.days >> day & 1)
        found = _between(work, day, start, end, number, car=car, shut=shut)
        parts.append(found)
        sets.append(np.full(len(found), number, dtype=np.int64))
    left = np.flatnonzero(days != 0)
    options = Options.join([replace(options, days=days).take(left), *parts])
    set_of = np.concatenate([set_of[left], *sets])
    penalty = np.concatenate([penalty[left], np.zeros(len(options) - len(left), dtype=np.int64)])
    new = work_of(work.trip, work.region, work.cast, work.ways, work.hours, options, set_of, penalty, Slack(), work.use.pick_up)
    new.cache = work.cache
    return new


def _between(work: Work, day: int, start: int, end: int, number: int, *, car: bool, shut: set[Way]) -> Options:
    """Return the undominated ways between two places on one day, those left out that are shut."""
    trip, cast, ways = work.trip, work.cast, work.ways[number]
    sites = len(cast.sites)
    stops = cast.car_stops if car else cast.van_stops
    places = sites if car else 2 + sites
    table = ways.car if car else ways.van
    shift = 2 if car else 0
    hours = work.hours
    leave, arrive = hours.leave[[day]][:, shift:], hours.arrive[[day]][:, shift:]
    if car:
        arrive = np.where(arrive >= 0, hours.back[[day]][:, shift:], 86_400)
    here = [replace(s, windows=(s.windows[day],)) for s in stops]
    types = day_types(leave, arrive, here)
    laid = stop_table(here, types)
    limit = min(trip.first_day_drive_s, trip.max_drive_s) if start == 0 else trip.max_drive_s
    frame = _frame(work, limit, car=car)
    if not car and len(frame.classes_s) > 1:
        frame = replace(frame, afloat_s=table.afloat_s)
    found = []
    stays = start == end or (start == 0 and end >= 2 and end - 2 == pitch_of(trip, cast.sites))
    leaves = end if car else start  # a day by car begins where it ends, the first of a rest too
    for numbers in _chains(laid, cast_start=leaves - 2, cast_end=end - 2, car=car, home=stays):
        rows = len(numbers[0]) if numbers else 1
        first, last = (np.full(rows, place - shift, dtype=np.int64) for place in (leaves, end))
        # The plain pass knows this one day as day 0.
        allowed = np.full((places, places), np.uint64(1))
        some = try_chains(table, places, laid, types, allowed, first, last, numbers)
        good = (some.cost < FAR) & (some.drive_s <= limit) & (some.days != 0)
        found.append(options_of(some.take(good), laid, frame, car=car))
    o = Options.join(found)
    column = zip(o.first.tolist(), o.second.tolist(), o.third.tolist(), strict=True)
    open_ = np.array([(day, start, end, car, *three) not in shut for three in column], dtype=bool)
    o = replace(o, start=np.full_like(o.start, start), end=o.end + np.int32(shift)).take(open_)
    return replace(kept := undominated(o, frame), days=np.where(kept.days != 0, np.uint64(1 << day), np.uint64(0)))


def _frame(work: Work, limit: int, *, car: bool) -> Frame:
    places = np.arange(2 + len(work.cast.sites))
    need = need_of(work.cast, work.use.pick_up, places)
    if car:
        need = Need(need.arriving, need.arriving)
    none = np.zeros((1, len(places)), dtype=np.int64)
    return Frame(
        none, none, np.zeros((len(places), len(places)), dtype=np.uint64), np.full(len(places), limit), classes_of(work.trip, Slack()), need,
        "money" in work.counters,
    )  # fmt: skip


def _chains(stops: StopTable, *, cast_start: int, cast_end: int, car: bool, home: bool) -> list[list[I64]]:
    """Return all chains of stops that a day may have, one list of columns for each length."""
    may = np.flatnonzero(
        ((stops.only_from < 0) | (stops.only_from == cast_start)) & ((stops.only_to < 0) | (stops.only_to == cast_end))
    )
    onward = may[stops.only_to[may] < 0]  # who may use it only on arriving goes nowhere after it
    a, b = (column.ravel() for column in np.meshgrid(onward, may, indexing="ij"))
    apart = a != b
    seen = stops.sight >= 0
    if car:
        apart &= seen[a] | seen[b]
        return [[], [may], [a[apart], b[apart]]]
    chains: list[list[I64]] = [[may], [a[apart], b[apart]]]
    if not home:  # with the van one goes somewhere
        chains.insert(0, [])
    sights, services = may[seen[may]], may[~seen[may]]
    a, b = (column.ravel() for column in np.meshgrid(services, services, indexing="ij"))
    a, b = a[a != b], b[a != b]
    three = [np.repeat(a, len(sights)), np.repeat(b, len(sights)), np.tile(sights, len(a))]
    for order in ((0, 1, 2), (0, 2, 1), (2, 0, 1)):
        columns = [three[k] for k in order]
        good = (stops.only_to[columns[0]] < 0) & (stops.only_to[columns[1]] < 0)
        chains.append([column[good] for column in columns])
    return list(itertools.filterfalse(lambda columns: bool(columns) and not len(columns[0]), chains))
