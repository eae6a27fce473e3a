"""Closures and wind warnings on the papers: each day names what is in force near it, also where no leg of the day would have gone there."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import pytest
from helpers import plans

from tripplan.model.closure import CLOSED, WIND, Closure
from tripplan.model.plan import ClosureMatch, DayClosure, Plan
from tripplan.report.calendar import calendar_text
from tripplan.report.closed import in_force, in_force_words
from tripplan.report.itinerary import sheets_of
from tripplan.report.language import Language, speaking
from tripplan.report.map import map_page
from tripplan.report.sheets.blocks import texts

from hostile import CORPUS  # isort: skip

REGION = plans.island()
BARE = plans.plan(4, region=REGION)


def _near(name: str, day: int, kind: str = CLOSED, north: float = 0.1, source: str = "Roads office") -> Closure:
    """Return a closure on one day of the plan, ``north`` degrees north of where that day begins."""
    at = BARE.days[day - 1].start
    line = ((at.lon, at.lat + north), (at.lon + 0.01, at.lat + north), (at.lon, at.lat + north + 0.01))
    when = BARE.days[day - 1].date
    shape = {"rings": (line,)} if kind == WIND else {"lines": (line,)}
    return Closure(name, kind, source, when, when, **shape)


def _with(*closures: Closure, sure: str = "sure") -> Plan:
    matches = tuple(ClosureMatch(c.name, c.kind, c.dates, c.source, sure, "the line runs along it", 3, 1200.0) for c in closures)
    return replace(BARE, trip=replace(BARE.trip, closures=closures), closures=matches)


def _sheet(plan: Plan, key: str) -> str:
    return " ".join(next(texts(sheet) for sheet in sheets_of(plan, REGION) if sheet.key == key))


@pytest.mark.parametrize(("tongue", "words"), [("en", "In force today: closed"), ("de", "Gilt heute: gesperrt")])
def test_a_closure_that_moved_a_night_stands_on_every_paper(tongue: str, words: str) -> None:
    """The day sheet of its date and no other, the first page, the map's list and the calendar name it, in either language."""
    plan = _with(_near("Bridge works at Ferrin", 2), _near("Gale", 3, WIND))
    assert not any(day.closures for day in plan.days)
    with speaking(Language(tongue)):
        sheets = {key: _sheet(plan, key) for key in ("glance", "day-1", "day-2", "day-3")}
        page = map_page(plan, REGION)
        calendar = calendar_text(plan).decode().replace("\r\n ", "")
    for name, day in (("Bridge works at Ferrin", 2), ("Gale", 3)):
        assert name in sheets["glance"]
        assert name in sheets[f"day-{day}"]
        assert name not in sheets[f"day-{5 - day}"] + sheets["day-1"]
        assert page.count(name) >= 2
        assert name in calendar
    assert words in sheets["day-2"]
    assert words in page
    assert f"DTSTART;VALUE=DATE:{plan.days[1].date:%Y%m%d}" in calendar
    assert f"DTEND;VALUE=DATE:{plan.days[1].date + timedelta(days=1):%Y%m%d}" in calendar


def test_what_the_map_does_not_know_is_said_to_keep_nothing_off() -> None:
    """A closure that matched no road is named with that, since nothing keeps the plan off it."""
    (line,) = in_force_words(_with(_near("Bridge works", 2), sure=""), BARE.days[1])
    assert "not found on this map" in line
    (line,) = in_force_words(_with(_near("Bridge works", 2)), BARE.days[1])
    assert "keeps off it" in line


def test_the_nearest_are_named_and_the_others_counted() -> None:
    """Three at most, none over 50 km away, and none that the day's notes tell with its roads already."""
    plan = _with(*(_near(f"Works {n}", 2, north=0.05 * n) for n in range(1, 6)), _near("Far works", 2, north=3.0))
    near, more = in_force(plan, plan.days[1])
    assert [c.name for c in near] == ["Works 1", "Works 2", "Works 3"]
    assert more == 3
    assert "3 more" in in_force_words(plan, plan.days[1])[-1]
    first = plan.trip.closures[0]
    told = DayClosure(first.name, first.kind, first.dates, first.source, "kept off", "told")
    assert "Works 1" not in " ".join(in_force_words(plan, replace(plan.days[1], closures=(told,))))
    assert in_force(_with(_near("Far works", 2, north=3.0)), plan.days[1]) == ((), 1)
    assert in_force(BARE, BARE.days[1]) == ((), 0)


def test_hostile_names_of_closures_stay_text() -> None:
    """Names and sources of closures may hold anything: nothing of it becomes an element, and the calendar reads back."""
    from icalendar import Calendar

    closures = tuple(_near(f"{name} .", 2, source=name or "?") for name in CORPUS[::3])
    page = map_page(_with(*closures), REGION)
    assert page.count("<script") == map_page(_with(_near("Plain", 2)), REGION).count("<script")
    entries = Calendar.from_ical(calendar_text(_with(*closures))).walk("VEVENT")
    assert sum(str(entry["summary"]).startswith("Closed: ") for entry in entries) == 3
