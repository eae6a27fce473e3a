"""Ways to spend a day on one set of closures, with places numbered as in the problem, and what passing a limit there costs."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from tripplan.model.trip import Trip
from tripplan.schedule.candidates import Cast, pitch_of
from tripplan.schedule.hours import DayHours
from tripplan.schedule.need import Need
from tripplan.schedule.options import Frame, Options, stand_options, tow_options
from tripplan.schedule.reach import Reach
from tripplan.schedule.use import PickUp, drive_classes
from tripplan.schedule.ways import Table, Ways
from tripplan.schedule.work import Slack

__all__ = ["classes_of", "day_options", "need_of", "priced", "serves_of", "tow_days"]

I64 = NDArray[np.int64]


def classes_of(trip: Trip, rules: Slack) -> tuple[int, ...]:
    """Return the upper ends of the classes of driving time [s]."""
    return drive_classes(trip, min(int(max(trip.max_drive_s, trip.first_day_drive_s) * rules.factor), 16 * 3600))


def tow_days(trip: Trip) -> int:
    """Bits of the days on which the van may be towed."""
    return sum(1 << d for d, date in enumerate(trip.dates) if date not in trip.no_towing)


def day_options(
    trip: Trip, cast: Cast, way: Ways, hours: DayHours, classes_s: tuple[int, ...], reach: Reach, rules: Slack, pick_up: PickUp
) -> Options:
    """Options on the days of one set of closures, with places numbered as in the problem."""
    alive = reach.alive
    days, count = len(trip.dates), len(alive)
    full = 2 + len(cast.sites)
    stops_at = np.arange(full, len(way.van.cents))
    rows = np.concatenate((alive, stops_at))
    number = {int(p): k for k, p in enumerate(alive.tolist())}
    stops = [
        replace(s, only_from=number.get(2 + s.only_from, count), only_to=-1) if s.only_from >= 0
        else replace(s, only_to=number.get(2 + s.only_to, count)) if s.only_to >= 0 else s
        for s in cast.van_stops
    ]  # fmt: skip
    reached = reach.days(days)
    mask = _day_masks(trip, cast, way, alive, rules) & reached
    limit = np.full(count, int(trip.max_drive_s * rules.factor), dtype=np.int64)
    limit[0] = min(int(trip.first_day_drive_s * rules.factor), limit[0])
    arrive = hours.arrive[:, alive]
    if rules.minute:
        arrive = np.where(arrive >= 0, 86_400, arrive)
    need = need_of(cast, pick_up, alive)
    serves = need.arriving
    money = trip.budget_cents >= 0 and rules.counters
    table = way.van.take(rows, rows)
    afloat_s = table.afloat_s if len(classes_s) > 1 else None
    frame = Frame(hours.leave[:, alive], arrive, mask, limit, classes_s, need, money, afloat_s)
    tow = tow_options(table, count, stops, frame)
    stands = pitch_of(trip, cast.sites)
    pitch = number.get(2 + stands, -1) if stands >= 0 else -1
    if pitch >= 0:  # to stay is no drive of no length
        tow = tow.take(~((tow.start == 0) & (tow.end == pitch) & (tow.first < 0)))
    tow = replace(tow, start=alive[tow.start].astype(np.int32), end=alive[tow.end].astype(np.int32))
    here = alive[2:]
    if not len(here) or (days < 3 and pitch < 0):
        return tow
    car_rows = np.concatenate((here - 2, np.arange(len(cast.sites), len(way.car.cents))))
    car_stops = [
        replace(s, only_from=number.get(2 + s.only_from, count + 2) - 2) if s.only_from >= 0 else s for s in cast.car_stops
    ]
    if way.joined_car is None and not cast.car_stops:
        empty = np.zeros((len(here), len(here)), dtype=np.int64)
        table = Table(empty, empty, empty, empty)
    else:
        table = way.car.take(car_rows, car_rows)
    between = np.uint64(((1 << (days - 1)) - 2) & way.days)
    stay_frame = Frame(
        hours.leave[:, here], np.where(hours.arrive[:, here] >= 0, hours.back[:, here], 86_400),
        np.full((len(here), len(here)), between) & reached[2:, 2:], limit[2:], classes_s, Need(serves[2:], serves[2:]), money,
    )  # fmt: skip
    stand = stand_options(table, len(here), car_stops, stay_frame, int(trip.max_drive_s * rules.factor))
    stand = replace(stand, start=here[stand.start].astype(np.int32), end=here[stand.end].astype(np.int32))
    parts = [tow, stand] if days >= 3 else [tow]
    if pitch >= 0:
        parts = [_second_day_apart(part, 2 + stands) for part in parts]
    if pitch >= 0 and way.days & 1 and bool(reached[0, pitch] & np.uint64(1)):
        # The rest of a trip begins at a pitch: its first day may be spent there too, by car.
        first = _first_day(hours, pitch - 2, stay_frame)
        limit_s = int(min(trip.first_day_drive_s, trip.max_drive_s) * rules.factor)
        stay = stand_options(table, len(here), car_stops, first, limit_s)
        parts.append(replace(stay, start=np.zeros_like(stay.start), end=here[stay.end].astype(np.int32)))
    return Options.join(parts)


def _second_day_apart(options: Options, pitch: int) -> Options:
    """Set apart what may be done on the second day by those still at the pitch: it counts towards no new stay (`_problem`)."""
    second = np.uint64(2)
    both = (options.start == pitch) & (options.end == pitch) & ((options.days & second) != 0)
    rest = replace(options, days=np.where(both, options.days & ~second, options.days))
    return Options.join([rest.take(rest.days != 0), replace(options, days=np.full_like(options.days, second)).take(both)])


def _first_day(hours: DayHours, pitch: int, frame: Frame) -> Frame:
    """Return the frame of a first day spent at the pitch where the van stands; who comes late to stay needs no time."""
    days = np.zeros_like(frame.days)
    days[pitch, pitch] = np.uint64(1)
    leave = frame.leave.copy()
    leave[0] = hours.leave[0, 0]
    return replace(frame, leave=leave, arrive=np.maximum(frame.arrive, leave), days=days)


def need_of(cast: Cast, pick_up: PickUp, alive: I64) -> Need:
    """Return what is worth serving between some places, both depots first."""
    serves = serves_of(cast)
    leaving = serves.copy()
    leaving[0] = ~pick_up.counted(np.array([-1]))[0] & 31
    return Need(leaving[alive], serves[alive], pick_up if pick_up.dry.any() else None)


def serves_of(cast: Cast) -> I64:
    """Return (P) masks of the stores that places serve."""
    return np.array([0, 0, *(s.serves for s in cast.sites)], dtype=np.int64)


def _day_masks(trip: Trip, cast: Cast, way: Ways, alive: I64, rules: Slack) -> NDArray[np.uint64]:
    """(P, P) days on which the van may go from one place to another."""
    days, count = len(trip.dates), len(alive)
    allowed = way.days if rules.tow else way.days & tow_days(trip)
    between = allowed & (((1 << (days - 1)) - 1) & ~1)
    mask = np.full((count, count), np.uint64(between))
    mask[0, :] = np.uint64(allowed & 1)
    mask[:, 1] = np.uint64(allowed & (1 << (days - 1)))
    mask[0, 1] = np.uint64(0)
    mask[1, :] = np.uint64(0)
    mask[:, 0] = np.uint64(0)
    for d in range(days - 1):
        bit = np.uint64(1 << d)
        for site in np.flatnonzero([not s.open[d] for s in cast.sites]).tolist():
            mask[:, alive == 2 + site] &= ~bit
        booked = cast.booked[d]
        if booked >= 0:
            mask[:, alive != 2 + booked] &= ~bit
        if d and cast.booked[d - 1] >= 0:
            mask[alive != 2 + cast.booked[d - 1], :] &= ~bit
    if cast.booked[days - 2] >= 0:
        mask[alive != 2 + cast.booked[days - 2], 1] = np.uint64(0)
    return mask


def priced(trip: Trip, options: Options, set_of: I64, hours: DayHours, rules: Slack) -> tuple[Options, I64, I64]:
    """With slack, split arcs by what they exceed on each day and put a price on it."""
    penalty = np.zeros(len(options), dtype=np.int64)
    if not rules.minute and not rules.tow:
        return options, set_of, penalty
    o = options
    limit = np.where(o.start == 0, min(trip.first_day_drive_s, trip.max_drive_s), trip.max_drive_s)
    driven = np.maximum(o.drive_s - limit, 0)
    allowed = tow_days(trip)
    parts, sets, prices = [], [], []
    free = o.days.copy()
    for d in range(len(trip.dates)):
        bit = np.uint64(1 << d)
        rows = np.flatnonzero((o.days & bit) != 0)
        late = np.maximum(hours.leave[d, o.start[rows]] + o.total_s[rows] - hours.arrive[d, o.end[rows]], 0)
        late = np.where(o.car[rows], 0, late)
        price = -(-(driven[rows] + late) // 60) * rules.minute
        if not allowed >> d & 1:
            price = price + np.where(o.car[rows], 0, rules.tow)
        dear = price > 0
        rows, price = rows[dear], price[dear]
        free[rows] &= ~bit
        part = o.take(rows)
        parts.append(replace(part, days=np.full(len(rows), bit), cost=(part.cost + price).astype(np.int32)))
        sets.append(set_of[rows])
        prices.append(price)
    rest = np.flatnonzero(free != 0)
    parts.append(replace(o, days=free).take(rest))
    sets.append(set_of[rest])
    prices.append(np.zeros(len(rest), dtype=np.int64))
    return Options.join(parts), np.concatenate(sets), np.concatenate(prices)
