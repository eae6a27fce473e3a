"""The frame of a plan: dates, depots, bookings, sights, driving limits, clock and daylight."""

from __future__ import annotations

from datetime import datetime, timedelta
from itertools import pairwise

from tripplan.audit.clock import at_the_pitch, audit_clock, hours_text
from tripplan.audit.findings import Findings
from tripplan.audit.spots import apart, metres
from tripplan.model.place import Spot
from tripplan.model.plan import Day, Event, Plan
from tripplan.model.trip import Sight
from tripplan.model.words import Via
from tripplan.region.region import Region

__all__ = ["audit_calendar"]

_MINUTE = timedelta(minutes=1)
#: The sun of a day differs so much between where it starts and where it ends.
_SUN_SLACK = timedelta(minutes=20)
#: At least so long a stop after each two hours at the wheel (The Highway Code, rule 91).
_BREAK = timedelta(minutes=15)
_BREAK_EVERY_S = 2 * 3600


def audit_calendar(plan: Plan, region: Region, found: Findings) -> None:
    """Check days, dates, depots, bookings, sights and the clock of each day."""
    _frame(plan, found)
    _bookings(plan, found)
    _sights(plan, found)
    for day in plan.days:
        _driving(plan, day, found)
        _clock(plan, day, found)
        _opening(plan, region, day, found)
        _daylight(plan, day, found)
    audit_clock(plan, region, found)


def _frame(plan: Plan, found: Findings) -> None:
    trip = plan.trip
    dates = tuple(day.date for day in plan.days)
    if dates != trip.dates:
        more = len(dates) - len(trip.dates)
        text = (
            f"the plan has {len(dates)} days, the trip {len(trip.dates)}"
            if more
            else "the plan's dates are not those of the trip"
        )
        found.add("dates", 0, more or 1, "days", text)
        return
    if [day.number for day in plan.days] != list(range(1, len(dates) + 1)):
        found.add("dates", 0, 1, "", "the days are not numbered 1, 2, 3 ...")
    if apart(plan.days[0].start, trip.depot) or apart(plan.days[-1].end, trip.return_depot):
        found.add("depot", 0, 1, "", "the plan does not begin and end at the depots of the trip")
    for before, after in pairwise(plan.days):
        if apart(before.end, after.start):
            found.add(
                "broken chain", after.number, 1, "", f"starts at {after.start.name!r}, but the night was at {before.end.name!r}"
            )
    for day in plan.days[:-1]:
        if day.night is None or apart(day.night.spot, day.end):
            found.add("no night", day.number, 1, "night", "the day does not end at a night's place")
    for day in plan.days:
        moved = apart(day.start, day.end)
        towed = any(leg.mode == "van" for leg in day.legs)
        if moved and not towed:
            found.add("van left behind", day.number, 1, "", "the night's place changes but the van is not towed")
        if towed and day.date in trip.no_towing:
            found.add("no towing", day.number, 1, "day", f"the van is towed on {day.date:%d %b}, a day without towing")


def _bookings(plan: Plan, found: Findings) -> None:
    nights = {day.date: day for day in plan.days if day.night is not None}
    for booking in plan.trip.bookings:
        day = nights.get(booking.night)
        if day is None or day.night is None or apart(day.night.spot, booking.spot):
            found.add(
                "booking",
                day.number if day else 0,
                1,
                "night",
                f"the booked night at {booking.spot.name!r} on {booking.night} is not kept",
            )


def _sights(plan: Plan, found: Findings) -> None:
    for sight in plan.trip.sights:
        if not sight.must:
            continue
        if sight.nights:
            count = sum(1 for day in plan.days if day.night and metres(day.night.spot, sight.spot) / 1000 <= sight.near_km + 0.01)
            if count < sight.nights:
                found.add(
                    "sight", 0, sight.nights - count, "nights", f"{count} of {sight.nights} nights near {sight.spot.name!r}"
                )
            continue
        visits = [(day, event) for day in plan.days for event in day.events if _visits(event, sight.spot)]
        stayed = max((event.end - event.start for day, event in visits if _lawful(day, sight)), default=timedelta())
        if stayed + _MINUTE < timedelta(hours=sight.hours):
            found.add(
                "sight",
                0,
                sight.hours - stayed.total_seconds() / 3600,
                "h",
                f"{sight.spot.name!r} is not visited for {sight.hours:g} h",
            )
    _by_van_or_car(plan, found)


def _by_van_or_car(plan: Plan, found: Findings) -> None:
    """Each visit is one that a wish for that place allows; a place may be wished for more than once."""
    for day in plan.days:
        for event in day.events:
            wishes = [s for s in plan.trip.sights if not s.nights and _visits(event, s.spot)]
            if wishes and not any(_lawful(day, s) for s in wishes):
                mode = "van" if wishes[0].via is Via.CAR_ONLY else "car"
                text = f"{wishes[0].spot.name!r} is reached by {mode}, the trip says {wishes[0].via.value}"
                found.add("sight", day.number, 1, "", text)


def _lawful(day: Day, sight: Sight) -> bool:
    """Whether a day comes to a sight as its wish says, with the van or by car."""
    modes = {leg.mode for leg in day.legs if not apart(leg.end, sight.spot)}
    return not ((sight.via is Via.CAR_ONLY and modes == {"van"}) or (sight.via is Via.VAN and modes == {"car"}))


def _visits(event: Event, spot: Spot) -> bool:
    return event.kind == "sight" and event.spot is not None and not apart(event.spot, spot)


def _driving(plan: Plan, day: Day, found: Findings) -> None:
    trip = plan.trip
    drive = sum(leg.drive_s for leg in day.legs)
    limit = min(trip.max_drive_s, trip.first_day_drive_s) if day.number == 1 else trip.max_drive_s
    if drive > limit + 1:
        found.add(
            "driving", day.number, (drive - limit) / 60, "min", f"{drive / 3600:.2f} h at the wheel, {limit / 3600:.2f} h allowed"
        )
    timed = sum((e.end - e.start).total_seconds() for e in day.events if e.kind in ("drive", "ferry"))
    legs = sum(leg.drive_s + leg.ferry_s for leg in day.legs)
    # The clock counts whole minutes: each stretch of a leg, between ferries, is rounded up.
    stretches = len(day.legs) + 2 * sum(e.kind == "ferry" for e in day.events)
    if abs(timed - legs) > 60 * (1 + stretches):
        found.add(
            "timetable",
            day.number,
            (timed - legs) / 60,
            "min",
            f"the timetable drives {timed / 60:.0f} min, the legs {legs / 60:.0f} min",
        )


def _clock(plan: Plan, day: Day, found: Findings) -> None:
    trip = plan.trip
    if not day.events:
        if day.legs:
            found.add("timetable", day.number, 1, "", "a day on the road has no timetable")
        return
    for event in day.events:
        if event.end < event.start:
            found.add("timetable", day.number, 1, "", f"{event.text!r} ends before it starts")
        if event.start.utcoffset() is None or {event.start.date(), event.end.date()} != {day.date}:
            found.add("timetable", day.number, 1, "", f"{event.text!r} lies on another date")
    for one, two in pairwise(day.events):
        if two.start < one.end - _MINUTE:
            found.add("timetable", day.number, 1, "", f"{two.text!r} starts before {one.text!r} has ended")
    if day.number == 1:
        ready = trip.pick_up + _minutes(trip.firm.handover_min)
        moves = [e for e in day.events if e.kind == "drive"]
        if moves and moves[0].start < ready - _MINUTE:
            found.add("handover", 1, (ready - moves[0].start).total_seconds() / 60, "min", "leaves before the handover is over")
    if day.number == len(plan.days):
        gone = trip.return_by - _minutes(trip.firm.return_min)
        moves = [e for e in day.events if e.kind in ("drive", "ferry")]
        if moves and moves[-1].end > gone + _MINUTE:
            late = (moves[-1].end - gone).total_seconds() / 60
            found.add("late return", day.number, late, "min", f"reaches the depot {late:.0f} min too late to return on time")
    _breaks(day, found)


def _breaks(day: Day, found: Findings) -> None:
    """No more than two hours at the wheel without a stop of 15 min."""
    at_wheel, since, afloat = 0.0, day.events[0].start, timedelta()
    for event in day.events:
        if event.kind == "ferry":
            afloat += event.end - event.start
        if event.kind == "drive":
            # Boarding asks for attention: time on the quay and at sea is no rest.
            if event.start - since - afloat >= _BREAK:
                at_wheel = 0.0
            at_wheel += (event.end - event.start).total_seconds()
            since, afloat = event.end, timedelta()
            if at_wheel > _BREAK_EVERY_S + 60:
                found.add(
                    "break",
                    day.number,
                    (at_wheel - _BREAK_EVERY_S) / 60,
                    "min",
                    f"{at_wheel / 3600:.2f} h at the wheel without a break",
                )
                at_wheel = 0.0


def _opening(plan: Plan, region: Region, day: Day, found: Findings) -> None:
    """Each service and depot is open when it is called at; unreadable hours are the plan's to show, not ours to guess."""
    from tripplan.almanac.hours import is_open

    for event in day.events:
        if event.kind not in ("service", "handover", "return", "sight") or event.spot is None or at_the_pitch(day, event):
            continue
        hours = hours_text(plan, region, event)
        if not hours:
            continue
        for moment in (event.start, event.end - _MINUTE):
            if is_open(hours, _naive(moment), region.meta.country, event.spot.lon, event.spot.lat) is False:
                found.add("closed", day.number, 1, "", f"{event.spot.name!r} is closed at {moment:%H:%M} (hours: {hours})")
                break


def _naive(moment: datetime) -> datetime:
    return moment.replace(tzinfo=None)


def _daylight(plan: Plan, day: Day, found: Findings) -> None:
    """The sun is where the plan says, and the van is not towed after sunset less the margin, nor before sunrise."""
    from tripplan.almanac.sun import sun_day

    trip = plan.trip
    sun = sun_day(day.date, day.end.lon, day.end.lat, trip.tz)
    for word, said, true in (("sunrise", day.sunrise, sun.sunrise), ("sunset", day.sunset, sun.sunset)):
        if said is not None and (true is None or abs(said - true) > _SUN_SLACK):
            found.add("sun", day.number, 1, "", f"{word} is given as {said:%Y-%m-%d %H:%M}, which it is not")
    if not any(leg.mode == "van" for leg in day.legs):
        return
    drives = [e for e in day.events if e.kind == "drive"]
    if not drives or sun.polar:
        return
    if sun.sunrise is not None and drives[0].start < sun.sunrise - 3 * _MINUTE:
        early = (sun.sunrise - drives[0].start).total_seconds() / 60
        found.add("daylight", day.number, early, "min", f"leaves at {drives[0].start:%H:%M}, {early:.0f} min before sunrise")
    if sun.sunset is not None:
        limit = sun.sunset - timedelta(minutes=trip.sunset_margin_min)
        if drives[-1].end > limit + 3 * _MINUTE:
            late = (drives[-1].end - limit).total_seconds() / 60
            found.add(
                "daylight",
                day.number,
                late,
                "min",
                f"arrives at {drives[-1].end:%H:%M}, {late:.0f} min after the margin before sunset",
            )


def _minutes(number: float) -> timedelta:
    """Return so many minutes, a year at most: a plan read from a file may say any number, and the calendar ends."""
    return timedelta(minutes=max(-525_600.0, min(float(number), 525_600.0)))
