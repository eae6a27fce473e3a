"""Itinerary, GPX, calendar and the words of the terminal."""

from __future__ import annotations

import json
import re
from datetime import UTC, datetime, timedelta
from pathlib import Path
from xml.etree import ElementTree

import pyogrio
import pytest
from helpers import plans
from helpers.anyplan import plans as any_plans
from helpers.pages import Page, shown
from helpers.schemas import assert_gpx, assert_kml
from hypothesis import HealthCheck, Phase, given, settings
from icalendar import Calendar
from pyproj import Geod

from tripplan.model.errors import NoPlanError
from tripplan.model.plan import Excess, Plan
from tripplan.report.calendar import calendar_text
from tripplan.report.gpx import gpx_text
from tripplan.report.itinerary import itinerary_page
from tripplan.report.lines import stretches
from tripplan.report.safe import ics_text, plain
from tripplan.report.say import amount, hours_minutes, km, listed, money, night_price, spot_name
from tripplan.report.words import no_plan_words, summary
from tripplan.report.write import render_papers

from hostile import CORPUS  # isort: skip
from test_report_map import assert_harmless, hostile_plan  # isort: skip

REGION = plans.island()
PLAN = plans.plan(7, region=REGION)

# ------------------------------------------------------------------------------------------------ itinerary


def test_itinerary_is_harmless_and_complete() -> None:
    """The itinerary has no script, loads nothing, and tells each day's clock, roads, levels, night and light."""
    source = itinerary_page(PLAN, REGION)
    page = Page(source)
    assert_harmless(page)
    assert not page.scripts
    for day in PLAN.days:
        assert f"Day {day.number} ·" in page.text
        if day.night:
            assert day.night.spot.name in page.text
    for words in (
        "Coast Road 1 (A1)",
        "sunset 21:08",
        "To book",
        "Phone first",
        "Cautions",
        "Money in all",
        "presumed sealed",
        "© OpenStreetMap contributors",
        "2026-10-01",
    ):
        assert words in page.text, words
    assert "Empty grey water, empty the cassette and fill fresh water" in page.text
    assert "at most 54 L" in page.text
    assert "Grey water today: tomorrow's site has no drain." in page.text


@pytest.mark.parametrize("first", range(0, len(CORPUS), 24))
def test_hostile_texts_on_the_itinerary(first: int) -> None:
    """Every foreign text of a plan stands whole on the itinerary, and does nothing there."""
    plan, region, _ = hostile_plan(first, 7)
    page = Page(itinerary_page(plan, region))
    assert_harmless(page)
    must = [
        plan.trip.name,
        plan.trip.firm.name,
        *plan.assumptions,
        *[c.text for c in plan.cautions],
        *[p.evidence for p in plan.presumed_offers],
    ]
    for day in plan.days:
        must += [day.weather, *day.notes, *[event.text for event in day.events], spot_name(day.start), spot_name(day.end)]
    for words in must:
        assert shown(plain(words)).strip() in page.text, words


def test_roads_by_name_add_up() -> None:
    """The stretches of a leg keep its length and time, name its roads, and tell low bridges, tolls, grades and presumed metres."""
    legs = [leg for day in PLAN.days for leg in day.legs if leg.runs.piece]
    remarks = []
    for leg in legs:
        parts = stretches(REGION, leg, 2.6, 2.3)
        assert sum(part.length_m for part in parts) == pytest.approx(leg.length_m)
        assert sum(part.time_s for part in parts) == pytest.approx(leg.drive_s)
        assert sum(part.presumed_m for part in parts) == pytest.approx(leg.presumed_m)
        remarks += [word for part in parts for word in part.remarks]
    assert "toll" in remarks
    assert "low: posted 2.9 m, the outfit is 2.60 m" in remarks
    assert "steep: 11 % tagged" in remarks


# ------------------------------------------------------------------------------------------------ GPX


def test_gpx_keeps_to_its_schema_and_reads_back(tmp_path: Path) -> None:
    """GPX 1.1 is valid by its schema; an independent reader (GDAL's, by way of pyogrio) finds every night, route and track."""
    text = gpx_text(PLAN, REGION)
    assert assert_gpx(text).tag == "{http://www.topografix.com/GPX/1/1}gpx"
    path = tmp_path / "route.gpx"
    path.write_text(text, encoding="utf-8")
    routes, points, tracks = (pyogrio.read_dataframe(path, layer=layer) for layer in ("routes", "waypoints", "tracks"))
    assert routes.number.tolist() == [day.number for day in PLAN.days if any(leg.mode == "van" for leg in day.legs)]
    nights = points["name"][points["type"] == "night"].tolist()
    assert nights[0] == "Night 1: Ferrin Caravan Site"
    assert len(nights) == len({day.night.spot for day in PLAN.days if day.night})
    # Lengths on the ellipsoid by pyproj, which the reader brings along.
    metres = dict(zip(tracks.name, (Geod(ellps="WGS84").geometry_length(line) for line in tracks.geometry), strict=True))
    for day in PLAN.days:
        want = sum(leg.length_m for leg in day.legs if leg.mode == "van")
        if want:
            assert metres[f"Day {day.number}"] == pytest.approx(want, rel=0.01)


@pytest.mark.parametrize("first", range(0, len(CORPUS), 24))
def test_hostile_texts_in_gpx(first: int) -> None:
    """Every hostile name reads back from the GPX as the cleaned text, and the file keeps to the schema."""
    plan, region, _ = hostile_plan(first, 7)
    root = assert_gpx(gpx_text(plan, region))
    texts = " ".join(element.text or "" for element in root.iter())
    for day in plan.days:
        assert spot_name(day.end) in texts


# ------------------------------------------------------------------------------------------------ calendar


def _lines(text: bytes) -> list[str]:
    """Content lines of a calendar, unfolded by hand (RFC 5545, 3.1)."""
    assert text.endswith(b"\r\n")
    assert b"\n" not in text.replace(b"\r\n", b"")
    for line in text.split(b"\r\n"):
        assert len(line) <= 75
        line.decode("utf-8")
    return re.sub(r"\r\n[ \t]", "", text.decode("utf-8")).split("\r\n")[:-1]


def test_calendar_tells_times_in_the_trips_zone() -> None:
    """Each event is there once, at the right instant by the offsets in the file's own time zone, with an identity of its own."""
    text = calendar_text(PLAN)
    lines = _lines(text)
    assert lines[0] == "BEGIN:VCALENDAR"
    assert lines.count("BEGIN:VTIMEZONE") == 1
    read = Calendar.from_ical(text)
    entries = [entry for entry in read.walk("VEVENT") if "Night" not in str(entry["SUMMARY"])]
    events = [e for day in PLAN.days for e in day.events if e.kind not in ("arrive", "break", "stay")]
    assert [entry.decoded("DTSTART").astimezone(UTC) for entry in entries] == [
        e.start.replace(microsecond=0).astimezone(UTC) for e in events
    ]
    assert len({str(entry["UID"]) for entry in read.walk("VEVENT")}) == len(read.walk("VEVENT"))
    assert sum("Night" in str(entry["SUMMARY"]) for entry in read.walk("VEVENT")) == PLAN.trip.nights
    # December is summer time on this island: 13 h before UTC (the zone's own block says so too).
    assert "TZOFFSETTO:+1300" in lines
    assert "DTSTART;TZID=Pacific/Auckland:20261130T100000" in lines


def test_calendar_is_the_same_each_time() -> None:
    """The same plan gives the same bytes."""
    assert calendar_text(PLAN) == calendar_text(plans.plan(7))


@pytest.mark.parametrize("first", range(0, len(CORPUS), 24))
def test_hostile_texts_in_the_calendar(first: int) -> None:
    """No text can end its line, open a component or get lost: the file has the components of an ordinary plan."""
    plan, _, _ = hostile_plan(first, 7)
    text = calendar_text(plan)
    kinds = [line for line in _lines(text) if line.startswith(("BEGIN:", "END:", "ATTACH"))]
    assert kinds == [line for line in _lines(calendar_text(PLAN)) if line.startswith(("BEGIN:", "END:", "ATTACH"))]
    places = [str(entry["LOCATION"]) for entry in Calendar.from_ical(text).walk("VEVENT") if "LOCATION" in entry]
    want = [
        ics_text(spot_name(e.spot))
        for day in plan.days
        for e in day.events
        if e.spot and e.kind in ("handover", "drive", "service", "sight", "return")
    ]
    assert set(want) <= set(places)


# ------------------------------------------------------------------------------------------------ words


def test_summary_says_what_was_planned() -> None:
    """The terminal's lines name the days, what each store does and the files; not one control character among them."""
    lines = summary(PLAN)
    text = "\n".join(lines)
    assert lines[0].startswith("Round Skerry Isle: Mon 30 November 2026 to Mon 7 December 2026, 7 nights")
    assert "toilet cassette: emptied on 4 days; fullest on day 1, with 15 L in it; 16 L at most" in text
    # What the stores' lines count, the days' lines tell.
    for store, todo in (("fresh", "fill fresh water"), ("grey", "empty grey water"), ("flush", "fill the flush tank")):
        served = sum(1 for day in PLAN.days for line in day.levels if line.store == store and line.served)
        assert served > 0
        at_site = [line for line in lines if line.startswith(" " * 8) and todo in line and "at the site: " in line]
        assert len(at_site) == sum(1 for day in PLAN.days for line in day.levels if line.store == store and "site" in line.served)
    assert "proven best" in text
    seen = next((day, event) for day in PLAN.days for event in day.events if event.kind == "sight" and event.spot)
    assert f"; see {spot_name(seen[1].spot)}" in next(line for line in lines if line.startswith(f"Day {seen[0].number:>2}"))
    plan, _, _ = hostile_plan(30, 7)
    assert all(
        c.isprintable() or c in "\u2068\u2069" or ord(c) >= 0x2000 or c == "\u00a0" or c == "\ufeff"
        for line in summary(plan)
        for c in line
    )


def test_summary_tells_surfaces_money_and_services_truly() -> None:
    """Unknown metres are not called tagged, money has its name, and a battery that mains charge is not called unserved."""
    from dataclasses import replace

    def with_legs(**more: float) -> str:
        days = tuple(replace(day, legs=tuple(replace(leg, **more) for leg in day.legs)) for day in PLAN.days)
        trip = replace(PLAN.trip, firm=replace(PLAN.trip.firm, currency="crowns"))
        return "\n".join(summary(replace(PLAN, days=days, trip=trip)))

    assert "all of it sealed by the map" in with_legs(presumed_m=0.0, unknown_m=0.0)
    told = with_legs(presumed_m=0.0, unknown_m=120.0)
    unknown = km(120.0 * sum(leg.mode == "van" for day in PLAN.days for leg in day.legs))
    assert f"sealed by the map but for {unknown} at the ends of days whose surface nobody tells" in told
    assert "all of it sealed" not in told
    assert f"{PLAN.cost.money_cents / 100:,.2f} crowns" in told
    assert "battery: lowest on day" in told


def test_no_plan_names_each_limit() -> None:
    """Without a plan, each broken limit is named once with its day and amount, those of a store together with their sum."""
    rows = (
        Excess("cassette", 4, 3.5, "L", "Sun 8 Feb: the cassette is 3.5 L over its limit by the next morning"),
        Excess("driving", 5, 12, "min", "Mon 9 Feb: 12 min more at the wheel than the limit"),
        Excess("cassette", 5, 2.25, "L", "Mon 9 Feb: 2.2 L more in the cassette by the next morning"),
    )
    lines = no_plan_words(NoPlanError("all of it on one line", rows))
    assert lines == [
        "No plan keeps all limits. The nearest one, and none comes nearer, would break these:",
        "  toilet cassette, 5.75 L in all",
        f"    day 4, {rows[0].text}",
        f"    day 5, {rows[2].text}",
        f"  day 5, {rows[1].text}",
        "Nothing was written.",
    ]
    assert "not proven" in no_plan_words(NoPlanError("", rows, least=False))[0]
    assert no_plan_words(NoPlanError("stopped early"))[0] == "No plan keeps all limits: stopped early."


@pytest.mark.parametrize(
    ("got", "want"),
    [
        (hours_minutes(0), "0 min"), (hours_minutes(59.6 * 60), "1 h"), (hours_minutes(3600 + 5 * 60), "1 h 05 min"), (km(0), "0 m"), (km(854), "850 m"), (km(999), "1.0 km"),
        (km(12_345), "12 km"), (money(123_456), "1,234.56"), (money(-5, "crowns"), "-0.05 crowns"), (amount("gas", 4.25), "4.2 kg"), (amount("grey", -0.2), "0 L"), (amount("fresh", 0.6), "0.6 L"), (amount("flush", 0.4), "0.4 L"), (amount("fresh", 4.0), "4 L"), (amount("grey", 9.96), "10 L"), (amount("grey", 57.4), "57 L"), (listed([]), ""),
        (listed(["a", "b", "c"]), "a, b and c"),
    ],
)  # fmt: skip
def test_figures_in_words(got: str, want: str) -> None:
    """Durations, lengths, money and levels are rounded as people say them."""
    assert got == want


def test_the_clock_says_each_thing_once() -> None:
    """A text that tells what is done there stands alone; one that does not stands beside it; a sight's name is not repeated."""
    from dataclasses import replace

    def itinerary(kind: str, text: str, stores: tuple[str, ...] = ()) -> str:
        day = next(day for day in PLAN.days if any(event.kind == "service" and event.cents for event in day.events))
        event = next(event for event in day.events if event.kind == "service")
        own = replace(day, events=(replace(event, kind=kind, text=text, stores=stores),))
        changed = replace(PLAN, trip=replace(PLAN.trip, firm=replace(PLAN.trip.firm, currency="crowns")), days=(own,))
        source = itinerary_page(changed, REGION)
        return Page(source[source.index('<table class="clock">') :].partition("</table>")[0]).text

    told = itinerary("service", "Empty the cassette, empty the grey water", ("cassette", "grey"))
    assert "Empty the cassette, empty the grey water, Dump station" in told
    assert told.lower().count("empty the cassette") == 1
    assert "3.00 crowns" in told
    assert "Empty grey water (Round the back)" in itinerary("service", "Round the back", ("grey",))
    assert "Exchange every gas bottle, Dump" in itinerary("service", "Exchange every gas bottle", ("gas",)).replace("the ", "")
    name = next(
        event.spot.name for day in PLAN.days for event in day.events if event.kind == "service" and event.cents and event.spot
    )
    assert itinerary("sight", f"Visit {name}").count(name) == itinerary("sight", "Visit it").count(name)


def test_what_a_night_costs() -> None:
    """In the firm's money; nothing where the map says so; marked where it is a guess."""
    from dataclasses import replace

    night = next(day.night for day in PLAN.days if day.night)
    assert night_price(replace(night, price_cents=1650, price_known=True), "crowns") == "16.50 crowns a night"
    assert night_price(replace(night, price_cents=0, price_known=True), "crowns") == "no charge"
    assert night_price(replace(night, price_cents=3000, price_known=False)) == "price not known, 30.00 a night assumed"


# ------------------------------------------------------------------------------------------------ any plan


@settings(max_examples=12, suppress_health_check=list(HealthCheck), deadline=None, phases=(Phase.explicit, Phase.generate))
@given(any_plans())
def test_any_plan_becomes_papers(plan: Plan) -> None:
    """Whatever a plan holds (odd words, no levels, times out of order), papers come out and keep to their formats."""
    from dataclasses import replace

    empty = plans.plan(1).days[0].legs[0].runs
    empty = replace(empty, piece=(), forward=(), from_m=(), to_m=(), time_s=())
    days = tuple(replace(day, legs=tuple(replace(leg, runs=empty) for leg in day.legs)) for day in plan.days)
    papers = render_papers(replace(plan, days=days), REGION)
    assert_harmless(Page(papers["map.html"].decode()))
    assert_harmless(Page(papers["itinerary.html"].decode()))
    assert_gpx(papers["route.gpx"].decode())
    assert_kml(papers["route.kml"].decode())
    assert json.loads(papers["route.geojson"])["type"] == "FeatureCollection"
    assert ElementTree.fromstring(papers["levels.svg"]).tag == "{http://www.w3.org/2000/svg}svg"
    assert papers["levels.png"].startswith(b"\x89PNG\r\n")
    assert papers["days.csv"].count(b"\r\n") >= len(plan.days) + 1
    _lines(papers["trip.ics"])
    summary(plan)


def test_night_of_two_days_is_in_order() -> None:
    """A night in the calendar lasts from arriving to the next day's first entry."""
    read = Calendar.from_ical(calendar_text(PLAN))
    first = next(entry for entry in read.walk("VEVENT") if str(entry["SUMMARY"]).startswith("Night 1"))
    start, end = first.decoded("DTSTART"), first.decoded("DTEND")
    assert isinstance(start, datetime)
    assert timedelta(hours=10) < end - start < timedelta(hours=30)
