"""The plan's timetable as stretches of time in one state, and what is served between them."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from typing import Final

from tripplan.model.plan import Day, Event, Plan
from tripplan.model.words import Offer
from tripplan.region.region import Region
from tripplan.van.use import StayKind

__all__ = ["MORNING", "SETTLED", "Stretch", "kind_of", "timeline"]

#: Stands in a day's timeline where the night's place is reached, or in the morning of a standing day.
SETTLED: Final[tuple[str, ...]] = ("",)
#: Stands where the day before ends: in the morning, before what the night's place serves is done.
MORNING: Final[tuple[str, ...]] = (" ",)

#: What a place serves is done on arriving, in the morning, and once more by then, before most water is used [h]: common practice.
_BEFORE_SUPPER_H = 17.0


@dataclass(frozen=True)
class Stretch:
    """A stretch of local wall clock in one state: ``kind`` None on the road, ``wheel`` 1 at the wheel with the van on."""

    start_h: float
    end_h: float
    kind: StayKind | None
    wheel: float
    ferry: bool = False


def kind_of(plan: Plan, region: Region, day: Day) -> StayKind | None:
    """What the night's place gives, as far as the trip lets it be leaned on."""
    if day.night is None:
        return None
    if not 0 <= day.night.spot.place < len(region.places):
        return StayKind()
    place = region.places[day.night.spot.place]
    least = Offer.PRESUMED if plan.trip.presumed_offers else Offer.YES
    has = {
        word: place.offer(word).answer >= least for word in ("power", "fresh", "piped", "grey", "cassette", "toilets", "showers")
    }
    return StayKind(
        powered=has["power"] and day.night.powered,
        fresh=has["fresh"],
        piped=has["piped"],
        grey=has["grey"],
        cassette=has["cassette"],
        toilets=has["toilets"],
        showers=has["showers"],
    )


def timeline(plan: Plan, region: Region, day: Day, evening: StayKind | None) -> Iterator[Stretch | tuple[str, ...]]:
    """Yield the stretches of one calendar day in order, between them the stores that a service resets, `MORNING` and `SETTLED`."""
    first, last = day is plan.days[0], day is plan.days[-1]
    begin = _hour(plan.trip.pick_up, day.date) if first else 0.0
    finish = _hour(plan.trip.return_by, day.date) if last else 24.0
    standing = not any(leg.mode == "van" for leg in day.legs)
    here = evening
    there = kind_of(plan, region, day)
    if first and standing:  # the rest of a trip, begun at the pitch
        here = there
    served = tuple(line.store for line in day.levels if "site" in line.served.split("+"))
    moves = [e for e in day.events if e.kind in ("drive", "ferry")]
    clock = begin
    if standing:
        morning = max(clock, plan.trip.leave_after_min / 60)
        yield Stretch(clock, morning, here, 0.0)
        if not first:
            yield MORNING
        yield SETTLED
        clock = morning
        if not first:
            yield _before(plan, day)
        for event in day.events:
            if event.kind == "service" and event.stores and not _at(event, day):
                yield Stretch(clock, _hour(event.end, day.date), here, 0.0)
                clock = max(clock, _hour(event.end, day.date))
                yield event.stores
        if served and not last:  # barrels are seen to in the morning, and again before the evening
            evening_h = max(clock, _BEFORE_SUPPER_H, *(_hour(event.end, day.date) for event in day.events))
            yield Stretch(clock, evening_h, here, 0.0)
            yield served
            clock = evening_h
        yield Stretch(clock, finish, here, 0.0)
        return
    leave = _hour(moves[0].start, day.date) if moves else begin
    morning = min(leave, max(clock, plan.trip.leave_after_min / 60))
    if not first and clock < morning < leave:  # in the morning, and once more on leaving
        yield Stretch(clock, morning, here, 0.0)
        yield MORNING
        yield _before(plan, day)
        clock = morning
    elif not first:
        yield Stretch(clock, leave, here, 0.0)
        yield MORNING
        clock = leave
    if clock < leave:
        yield Stretch(clock, leave, here, 0.0)
        clock = leave
    if not first:
        yield _before(plan, day)
    for event in day.events:
        start, end = _hour(event.start, day.date), _hour(event.end, day.date)
        if start < leave or event.kind in ("stay", "arrive", "return"):
            continue
        if start > clock:
            yield Stretch(clock, start, None, 0.0)
        under_way = 1.0 if event.kind in ("drive", "ferry") else 0.0
        yield Stretch(max(start, clock), end, None, under_way, event.kind == "ferry")
        clock = max(clock, end)
        if event.kind == "service" and not _at(event, day):
            yield event.stores
        if event.kind == "drive" and moves and event is moves[-1]:
            break
    yield SETTLED
    if served and not last:
        yield served
        if clock < _BEFORE_SUPPER_H:
            yield Stretch(clock, _BEFORE_SUPPER_H, there, 0.0)
            yield served
            clock = _BEFORE_SUPPER_H
    if clock < finish:
        yield Stretch(clock, finish, there, 0.0)


def _before(plan: Plan, day: Day) -> tuple[str, ...]:
    """Stores that the last night's place serves in the morning before leaving."""
    previous = plan.days[day.number - 2]
    return tuple(line.store for line in previous.levels if "site" in line.served.split("+"))


def _at(event: Event, day: Day) -> bool:
    """Whether a service is done at the night's place itself."""
    spot = day.night.spot if day.night is not None else None
    return (
        spot is not None
        and event.spot is not None
        and abs(event.spot.lon - spot.lon) < 1e-9
        and abs(event.spot.lat - spot.lat) < 1e-9
    )


def _hour(moment: datetime, day: date) -> float:
    """Local wall-clock hours since midnight of a date."""
    midnight = datetime.combine(day, time())
    return (moment.replace(tzinfo=None) - midnight) / timedelta(hours=1)
