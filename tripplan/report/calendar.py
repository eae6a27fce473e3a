"""The trip for a calendar (RFC 5545): what is on the clock, and each night, with the time zone's own rules inside."""

from __future__ import annotations

import hashlib
from datetime import UTC, date, datetime, timedelta
from typing import TYPE_CHECKING

from tripplan.model.closure import WIND, Closure
from tripplan.model.plan import Day, Event, Plan
from tripplan.report import say
from tripplan.report.closed import closure_sentence, in_force
from tripplan.report.counted import trip_title
from tripplan.report.language import tell, word
from tripplan.report.retell import retell
from tripplan.report.safe import ics_text, plain
from tripplan.report.say import spot_name

if TYPE_CHECKING:
    from icalendar import Component

__all__ = ["calendar_text"]

_TITLES = {
    "handover": word("Hand-over"), "drive": word("Drive"), "service": word("Service"), "sight": word("Sight"), "return": word("Return the van"),
    "ferry": word("Ferry"),
}  # fmt: skip


def calendar_text(plan: Plan) -> bytes:
    """Return the calendar file: lines folded and ended as the standard asks, in UTF-8.

    The same plan gives the same bytes: identities come from the plan, and the stamp is the map data's date. Breaks and stays
    are left out; they are on the day sheets.
    """
    from icalendar import Calendar

    calendar = Calendar()
    calendar.add("prodid", "-//tripplan//trip//EN")
    calendar.add("version", "2.0")
    calendar.add("calscale", "GREGORIAN")
    calendar.add("x-wr-calname", plain(trip_title(plan.trip)))
    for component in _zone(plan):
        calendar.add_component(component)
    stamp = _stamp(plan)
    seed = f"{plan.region_key}|{plan.trip.name}|{plan.trip.pick_up.isoformat()}"
    for i, day in enumerate(plan.days):
        for n, event in enumerate(day.events):
            if event.kind in _TITLES:
                calendar.add_component(_event(day, event, f"{seed}|{day.number}|{n}", stamp))
        if day.night is not None and i + 1 < len(plan.days):
            calendar.add_component(_night(day, plan.days[i + 1], f"{seed}|{day.number}|night", stamp))
    for n, (closure, first, last) in enumerate(_closed(plan)):
        calendar.add_component(_closure(closure, first, last, plan, f"{seed}|closure {n}", stamp))
    text: bytes = calendar.to_ical()
    return text


def _closed(plan: Plan) -> list[tuple[Closure, date, date]]:
    """Return the closures and wind warnings that a day names, each with its first and last such day."""
    days: dict[Closure, list[date]] = {}
    for day in plan.days:
        told = {(closure.name, closure.source) for closure in day.closures}
        own = [c for c in plan.trip.closures if c.holds(day.date) and (c.name, c.source) in told]
        for closure in dict.fromkeys((*own, *in_force(plan, day)[0])):
            days.setdefault(closure, []).append(day.date)
    return [(closure, min(dates), max(dates)) for closure, dates in days.items()]


def _closure(closure: Closure, first: date, last: date, plan: Plan, seed: str, stamp: datetime) -> Component:
    """Return an entry of whole days that keeps nobody busy."""
    from icalendar import Event as Entry

    entry = Entry()
    entry.add("uid", _uid(seed))
    entry.add("dtstamp", stamp)
    entry.add("dtstart", first)
    entry.add("dtend", last + timedelta(days=1))
    title = tell("Wind warning: {name}", name=closure.name) if closure.kind == WIND else tell("Closed: {name}", name=closure.name)
    entry.add("summary", ics_text(title))
    said = [told.text for day in plan.days for told in day.closures if (told.name, told.source) == (closure.name, closure.source)]
    entry.add("description", ics_text("\n".join(map(retell, dict.fromkeys(said))) or closure_sentence(closure, plan)))
    entry.add("categories", [tell("Closures and wind warnings")])
    entry.add("transp", "TRANSPARENT")
    return entry


def _stamp(plan: Plan) -> datetime:
    try:
        return datetime.fromisoformat(plan.data_date[:10]).replace(tzinfo=UTC)
    except ValueError:
        return plan.trip.pick_up.astimezone(UTC).replace(hour=0, minute=0, second=0, microsecond=0)


def _zone(plan: Plan) -> list[Component]:
    from icalendar import Timezone

    zone = plan.trip.pick_up.tzinfo
    if zone is None or plan.trip.tz == "UTC":
        return []
    first, last = plan.trip.pick_up.date(), plan.trip.return_by.date()
    return [Timezone.from_tzid(plan.trip.tz, first_date=first - timedelta(days=366), last_date=last + timedelta(days=366))]


def _uid(seed: str) -> str:
    return f"{hashlib.sha256(seed.encode('utf-8', 'replace')).hexdigest()[:32]}@tripplan.invalid"


def _event(day: Day, event: Event, seed: str, stamp: datetime) -> Component:
    from icalendar import Event as Entry

    title = tell(_TITLES[event.kind])
    words = say.upper_first(say.todo_words(event.stores)) if event.kind == "service" and event.stores else retell(event.text)
    entry = Entry()
    entry.add("uid", _uid(seed))
    entry.add("dtstamp", stamp)
    entry.add("dtstart", event.start)
    entry.add("dtend", max(event.end, event.start))
    entry.add("summary", ics_text(_titled(title, words)))
    if event.spot is not None:
        entry.add("location", ics_text(spot_name(event.spot)))
        entry.add("geo", (round(event.spot.lat, 6), round(event.spot.lon, 6)))
    entry.add(
        "description",
        ics_text(
            tell("Day {number}. {what}", number=day.number, what=retell(event.text))
            if event.text
            else tell("Day {number}.", number=day.number)
        ),
    )
    entry.add("categories", [title])
    return entry


def _titled(title: str, words: str) -> str:
    """Return title and words, the title once."""
    if not words:
        return title
    return words if words.casefold().startswith(title.casefold()) else f"{title}: {plain(words)}"


def _night(day: Day, after: Day, seed: str, stamp: datetime) -> Component:
    from icalendar import Event as Entry

    night = day.night
    assert night is not None
    arrived = [event.start for event in day.events if event.kind == "arrive"] or [event.end for event in day.events]
    leaving = [event.start for event in after.events]
    zone = arrived[-1].tzinfo if arrived else None
    entry = Entry()
    entry.add("uid", _uid(seed))
    entry.add("dtstamp", stamp)
    if arrived and leaving and leaving[0] > arrived[-1] and zone is not None:
        entry.add("dtstart", arrived[-1])
        entry.add("dtend", leaving[0])
    else:
        entry.add("dtstart", day.date)
        entry.add("dtend", day.date + timedelta(days=1))
    entry.add("summary", ics_text(tell("Night {number}: {place}", number=day.number, place=spot_name(night.spot))))
    entry.add("location", ics_text(spot_name(night.spot)))
    entry.add("geo", (round(night.spot.lat, 6), round(night.spot.lon, 6)))
    power = tell("mains") if night.powered else tell("no mains")
    runs = "; ".join(tell("{what} on {source}", what=retell(a), source=retell(b)) for a, b in night.runs_on.items())
    entry.add(
        "description",
        ics_text(tell("{kind}, {power}. {runs}", kind=retell(night.kind), power=power, runs=runs)),
    )
    entry.add("categories", [tell("Night")])
    entry.add("transp", "TRANSPARENT")
    return entry
