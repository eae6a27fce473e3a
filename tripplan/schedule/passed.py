"""A plan followed up to now: where the party was in each hour, what it used on the mean, and which services it made.

The plan's own timetable says so: under way and at stops with nothing given, else at the night's place with what that gives. A
place that serves a store does so on arriving and each morning, as the plan says.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, time, timedelta

import numpy as np
from numpy.typing import NDArray

from tripplan.almanac.climate import weather_for
from tripplan.almanac.sun import sun_day
from tripplan.model.plan import Day, Plan
from tripplan.model.readings import Done
from tripplan.model.words import STORES, Store
from tripplan.schedule.candidates import stay_kind
from tripplan.van.limits import battery_temperature, capacity, reserve
from tripplan.van.spread import Spreads, mean_weather, parts_of, spreads_of
from tripplan.van.use import StayKind, slots

__all__ = ["Served", "Stretch", "errors_of", "kind_at", "parts_between", "services_of", "stretches_of"]

F64 = NDArray[np.float64]
_HOUR = timedelta(hours=1)


@dataclass(frozen=True, slots=True)
class Stretch:
    """A stretch of local time, without its zone, in one state.

    Parameters
    ----------
    kind
        What the place gives; ``None``: on the road. wheel: 1 under way with the van.
    settled
        Whether the first night's place has been reached.
    """

    start: datetime
    end: datetime
    kind: StayKind | None
    wheel: float
    day: Day
    settled: bool


@dataclass(frozen=True, slots=True)
class Served:
    """Stores filled or emptied at a moment of local time."""

    time: datetime
    stores: tuple[Store, ...]


def kind_at(plan: Plan, day: Day) -> StayKind | None:
    """Return what a day's night's place gives, as far as the trip counts on it."""
    return None if day.night is None else stay_kind(plan.trip, dict(day.night.offers))._replace(powered=day.night.powered)


def _moves(day: Day) -> list[tuple[datetime, datetime]]:
    return [(_local(e.start), _local(e.end)) for e in day.events if e.kind in ("drive", "ferry")]


def _towed(day: Day) -> bool:
    return any(leg.mode == "van" for leg in day.legs)


def _local(moment: datetime) -> datetime:
    return moment.replace(tzinfo=None)


def stretches_of(plan: Plan) -> Iterator[Stretch]:
    """Yield the plan from pick-up to return, stretch by stretch, without gaps."""
    here: StayKind | None = None
    for day in plan.days:
        midnight = datetime.combine(day.date, time())
        clock = _local(plan.trip.pick_up) if day is plan.days[0] else midnight
        finish = _local(plan.trip.return_by) if day is plan.days[-1] else midnight + timedelta(days=1)
        there, moves = kind_at(plan, day), _moves(day)
        first = day is plan.days[0]
        if not _towed(day) or not moves:
            here = there if first else here
            yield Stretch(clock, finish, here, 0.0, day, settled=True)
        else:
            if clock < moves[0][0]:
                yield Stretch(clock, moves[0][0], here, 0.0, day, settled=not first)
                clock = moves[0][0]
            for start, end in moves:
                if start > clock:
                    yield Stretch(clock, start, None, 0.0, day, settled=not first)
                yield Stretch(max(start, clock), max(end, clock), None, 1.0, day, settled=not first)
                clock = max(clock, end)
            if clock < finish:
                yield Stretch(clock, finish, there, 0.0, day, settled=True)
        here = there


def services_of(plan: Plan, changes: Sequence[Done]) -> list[Served]:
    """Return the services of a plan in order, with those that people say happened, and without those that did not."""
    found: list[Served] = []
    for before, day in zip((None, *plan.days), plan.days, strict=False):
        found += [
            Served(_local(e.end), tuple(Store(s) for s in e.stores if s in STORES)) for e in day.events if e.kind == "service"
        ]
        moves = _moves(day)
        morning = datetime.combine(day.date, time(plan.trip.leave_after_min // 60 % 24, plan.trip.leave_after_min % 60))
        towed = _towed(day) and moves
        if before is not None:
            found.append(Served(moves[0][0] if towed else morning, _at_site(before)))
        if towed and day is not plan.days[-1]:
            found.append(Served(moves[-1][1], _at_site(day)))
    missed = [(change.time.date(), change.stores) for change in changes if not change.done]
    kept = [
        Served(s.time, tuple(x for x in s.stores if not any(s.time.date() == d and x in m for d, m in missed))) for s in found
    ]
    kept += [Served(_local(change.time), change.stores) for change in changes if change.done]
    return sorted((s for s in kept if s.stores), key=lambda s: s.time)


def _at_site(day: Day) -> tuple[Store, ...]:
    return tuple(Store(line.store) for line in day.levels if "site" in line.served.split("+") and line.store in STORES)


def parts_between(plan: Plan, stretch: Stretch, start: datetime, end: datetime) -> F64:
    """(n, 10) means of what each hour of a part of a stretch uses, part by part [L, kg, Ah]."""
    day, trip = stretch.day, plan.trip
    midnight = datetime.combine(day.date, time())
    cut = slots((start - midnight) / _HOUR, (end - midnight) / _HOUR)
    weather = weather_for(day.date, day.end.lat, trip.weather, by_date=trip.weather_days)
    share = sun_day(day.date, day.start.lon, day.start.lat, trip.tz).share
    return parts_of(trip.van, trip.party, weather, share, stretch.kind, cut, stretch.wheel)


def errors_of(plan: Plan) -> tuple[Spreads, F64]:
    """Return the errors of a plan's figures, at an ordinary day of it, and what may be used up of each store [L, kg, Ah]."""
    trip = plan.trip
    weathers = [weather_for(day.date, day.end.lat, trip.weather, by_date=trip.weather_days) for day in plan.days]
    shares = np.mean([sun_day(day.date, day.end.lon, day.end.lat, trip.tz).share for day in plan.days], axis=0)
    cold = battery_temperature(weathers, trip.party)
    room = np.array([capacity(trip.van, s) - reserve(trip.van, s, battery_c=cold) for s in STORES])
    return spreads_of(trip.van, trip.party, mean_weather(weathers), tuple(shares.tolist())), room
