"""The clock of each day against doors and boats: hours of the trip, check-in and check-out, sailings, spare time, public holidays."""

from __future__ import annotations

import re
from collections.abc import Iterator
from datetime import datetime, timedelta
from math import isfinite

from tripplan.audit.findings import Findings
from tripplan.audit.spots import apart, metres
from tripplan.model.place import Place, Spot
from tripplan.model.plan import Day, Event, Leg, Plan
from tripplan.region.columns import Flag
from tripplan.region.region import Region

__all__ = ["at_the_pitch", "audit_clock", "hours_text"]

_MINUTE = timedelta(minutes=1)
#: No stop is shorter (common practice, no source).
_STOP = timedelta(minutes=15)
#: What is counted on the quay where the map tells no interval [s] (common practice, no source).
_QUAY_S = 30 * 60
#: Places so near each other are one stop [m].
_BESIDE_M = 200.0
_SAILS = re.compile(r"sails @ \((.*)\)")


def audit_clock(plan: Plan, region: Region, found: Findings) -> None:
    """Check the clock of every day."""
    for before, day in zip((None, *plan.days), plan.days, strict=False):
        _holiday(region, day, found)
        if not day.events:
            continue
        _day_hours(plan, day, found)
        _emptying(day, found)
        _check_out(plan, region, before, day, found)
        _check_in(plan, region, day, found)
        _ferries(region, day, found)
        _spare(plan, region, day, found)
        _unread(plan, region, before, day, found)


def at_the_pitch(day: Day, event: Event) -> bool:
    """Whether a service is done by guests before they leave their pitch: hours of the place are those of its desk."""
    moves = _moves(day)
    here = event.kind == "service" and event.spot is not None and not apart(event.spot, day.start)
    return here and bool(moves) and event.end <= moves[0].start


def hours_text(plan: Plan, region: Region, event: Event) -> str:
    """Return the hours that bind an event, as written; empty: none are told."""
    if event.spot is None:
        return ""
    if event.kind in ("handover", "return"):
        return plan.trip.firm.depot_hours
    if event.kind == "sight":
        for sight in plan.trip.sights:
            if sight.visiting and not apart(sight.spot, event.spot):
                return sight.visiting
    return region.places[event.spot.place].hours if 0 <= event.spot.place < len(region.places) else ""


def _holiday(region: Region, day: Day, found: Findings) -> None:
    from tripplan.almanac.hours import is_holiday

    true = bool(is_holiday(day.date, region.meta.country))
    if bool(day.holiday) != true:
        found.add(
            "holiday",
            day.number,
            1,
            "",
            f"{day.date:%d %b} is {'a' if true else 'no'} public holiday, which the plan does not say",
        )


def _moves(day: Day) -> list[Event]:
    return [e for e in day.events if e.kind in ("drive", "ferry")]


def _minutes(moment: datetime, day: Day) -> float:
    """Return the wall clock in minutes after the day's midnight."""
    return (moment.replace(tzinfo=None) - datetime.combine(day.date, datetime.min.time())).total_seconds() / 60


def _emptying(day: Day, found: Findings) -> None:
    """What is emptied before the pitch is left takes its time."""
    for event in day.events:
        short = _STOP - (event.end - event.start)
        if at_the_pitch(day, event) and short > timedelta():
            text = f"{event.text!r} takes {(event.end - event.start).total_seconds() / 60:.0f} min, no stop is so short"
            found.add("timetable", day.number, short.total_seconds() / 60, "min", text)


def _day_hours(plan: Plan, day: Day, found: Findings) -> None:
    trip, moves = plan.trip, _moves(day)
    if not moves:
        return
    early = trip.leave_after_min - _minutes(moves[0].start, day)
    if day.number > 1 and early > 1:
        found.add(
            "day hours",
            day.number,
            early,
            "min",
            f"sets off at {moves[0].start:%H:%M}, {early:.0f} min before the trip's days begin",
        )
    late = _minutes(moves[-1].end, day) - trip.arrive_by_min
    if late > 1:
        found.add(
            "day hours", day.number, late, "min", f"arrives at {moves[-1].end:%H:%M}, {late:.0f} min after the trip's days end"
        )


def _site(region: Region, place: int) -> Place | None:
    return region.places[place] if 0 <= place < len(region.places) else None


def _check_out(plan: Plan, region: Region, before: Day | None, day: Day, found: Findings) -> None:
    """The pitch is left by check-out, or as soon as the trip's days and the light allow."""
    from tripplan.almanac.hours import check_times

    place = _site(region, before.night.spot.place) if before is not None and before.night is not None else None
    moves = [e for e in _moves(day) if any(leg.mode == "van" for leg in day.legs)]
    if place is None or not place.check_out or not moves or not apart(day.start, day.end):
        return
    times = check_times(place.check_out, day.date, latest=True, country=region.meta.country)
    if times is None:
        return
    first = float(plan.trip.leave_after_min)
    if day.sunrise is not None:
        first = max(first, _minutes(day.sunrise, day) + 20)  # the sun of where the day ends
    late = _minutes(moves[0].start, day) - max(times[1], first)
    if late > 1:
        found.add(
            "check-out", day.number, late, "min",
            f"leaves {place.name!r} at {moves[0].start:%H:%M}, {late:.0f} min after check-out ({place.check_out})",
        )  # fmt: skip


def _check_in(plan: Plan, region: Region, day: Day, found: Findings) -> None:
    """Who comes for the first night comes while arrivals are taken; what is booked is agreed."""
    from tripplan.almanac.hours import check_times, windows

    arrivals = [e for e in day.events if e.kind == "arrive"]
    if not arrivals or day.night is None or not apart(day.start, day.end):
        return
    place = _site(region, day.night.spot.place)
    if place is None or any(b.night == day.date and not apart(b.spot, day.night.spot) for b in plan.trip.bookings):
        return
    at = _minutes(arrivals[-1].start, day)
    times = check_times(place.check_in, day.date, latest=False, country=region.meta.country) if place.check_in else None
    if times is not None and not times[0] - 1 <= at <= times[1] + 1:
        off = max(times[0] - at, at - times[1])
        text = f"arrives at {place.name!r} at {arrivals[-1].start:%H:%M}, outside check-in ({place.check_in})"
        found.add("check-in", day.number, off, "min", text)
    open_day = windows(place.hours, day.date, 0, 1440, region.meta.country, place.lon, place.lat) if place.hours else None
    if open_day is None or not open_day.windows:
        return
    low, high = times or (0, 1440)
    if not any(min(b, high) > max(a, low) for a, b in open_day.windows):
        return  # hours that check-in misses altogether are those of something else at the site
    if not any(a - 1 <= at <= b + 1 for a, b in open_day.windows):
        text = f"{place.name!r} takes nobody at {arrivals[-1].start:%H:%M} (hours: {place.hours})"
        found.add("closed", day.number, 1, "", text)


def _crossings(region: Region, leg: Leg) -> Iterator[tuple[int, float]]:
    """Yield the first way and the whole time [s] of each stretch of ferry pieces of a leg."""
    way, seconds = -1, 0.0
    for piece, time in zip(leg.runs.piece, leg.runs.time_s, strict=True):
        row = int(region.pieces.way[piece]) if 0 <= piece < len(region.pieces.way) else -1
        if row >= 0 and int(region.ways.flags[row]) & Flag.FERRY:
            way, seconds = (row if way < 0 else way), seconds + time
        elif way >= 0:
            yield way, seconds
            way, seconds = -1, 0.0
    if way >= 0:
        yield way, seconds


def _ferries(region: Region, day: Day, found: Findings) -> None:
    """Each boat is boarded in time, takes its time, and departs when it sails."""
    from tripplan.almanac.hours import windows

    events = [e for e in day.events if e.kind == "ferry"]
    boats = [boat for leg in day.legs for boat in _crossings(region, leg)]
    at_sea = sum((e.end - e.start).total_seconds() for e in events)
    short = sum(s for _, s in boats) - at_sea
    if short > 60:
        found.add(
            "ferry", day.number, short / 60, "min", f"the timetable counts {short / 60:.0f} min less for ferries than they take"
        )
    if len(events) < len(boats):
        found.add("ferry", day.number, len(boats) - len(events), "", f"{len(boats)} crossings, {len(events)} in the timetable")
        return
    if len(events) > len(boats):  # boats are changed at a pier: only the first departure of all is known to be whose
        events, boats = events[:1], boats[:1]
    west, south, east, north = region.meta.bbox
    middle = (west + (east - west) % 360 / 2 + 180) % 360 - 180, (south + north) / 2
    for event, (way, _) in zip(events, boats, strict=True):
        told = _SAILS.search(region.string(int(region.ways.closed_when[way])))
        open_day = windows(told[1], day.date, 0, 1440, region.meta.country, *middle) if told else None
        if open_day is None or open_day.open is None:
            continue
        quay = float(region.ways.ferry_wait_s[way])
        check_in = float(region.ways.ferry_check_in_s[way])
        wait = (quay if isfinite(quay) and quay >= 0 else _QUAY_S) + (check_in if isfinite(check_in) and check_in > 0 else 0)
        sails = _minutes(event.start, day) + wait / 60
        if not any(a - 1 <= sails <= b + 1 for a, b in open_day.windows):
            name = region.string(int(region.ways.name[way]))
            text = f"no ferry{f' {name!r}' if name else ''} departs at {int(sails) // 60:02d}:{int(sails) % 60:02d} (sails {told[1] if told else ''})"
            found.add("ferry", day.number, 1, "", text)


def _unread(plan: Plan, region: Region, before: Day | None, day: Day, found: Findings) -> None:
    """Hours that cannot be read are listed to phone about, as written."""
    from tripplan.almanac.hours import check_times, is_readable

    country = region.meta.country
    texts: list[tuple[Spot, str]] = []
    for event in day.events:
        binds = event.kind in ("service", "sight") and not at_the_pitch(day, event)
        text = hours_text(plan, region, event) if binds else ""
        if event.spot is not None and text.strip() and not is_readable(text):
            texts.append((event.spot, text))
    site = _site(region, day.night.spot.place) if day.night is not None else None
    came = before is None or before.night is None or day.night is None or apart(before.night.spot, day.night.spot)
    if site is not None and day.night is not None and came:
        if site.hours.strip() and not is_readable(site.hours):
            texts.append((day.night.spot, site.hours))
        for text, latest in ((site.check_in, False), (site.check_out, True)):
            if text and check_times(text, plan.trip.dates[0], latest=latest, country=country) is None:
                texts.append((day.night.spot, text))
    asked = [item for item in plan.presumed_offers if item.offer == "hours" and item.day == day.number]
    for spot, text in texts:
        if not any(text in item.evidence and metres(item.spot, spot) <= _BESIDE_M for item in asked):
            found.add("phone first", day.number, 1, "", f"the hours of {spot.name!r} cannot be read ({text}) and are not listed")


def _spare(plan: Plan, region: Region, day: Day, found: Findings) -> None:
    """Being as much later as the plan says is still in time for the door and for the end of the day."""
    from tripplan.almanac.hours import is_open

    for event in day.events:
        if event.spare_min <= 0 or event.kind not in ("service", "sight", "arrive", "return"):
            continue
        later = event.start + timedelta(minutes=min(event.spare_min, 2880))
        if event.kind in ("service", "sight"):
            hours = hours_text(plan, region, event)
            last = (later + (event.end - event.start) - _MINUTE).replace(tzinfo=None)
            if (
                event.spot is not None
                and hours
                and is_open(hours, last, region.meta.country, event.spot.lon, event.spot.lat) is False
            ):
                over = f"{event.spot.name!r} is closed {event.spare_min} min later, which the plan calls spare"
                found.add("spare", day.number, event.spare_min, "min", over)
        over_min = _minutes(later, day) - plan.trip.arrive_by_min
        if over_min > 1:
            found.add("spare", day.number, over_min, "min", f"{event.text!r} has less to spare than {event.spare_min} min")
