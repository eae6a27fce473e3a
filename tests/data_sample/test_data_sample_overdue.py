"""A store that is past its limit when it is read: a plan that serves it first, says so, and passes its audit."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest

from tripplan.audit.run import audit
from tripplan.model.plan import Plan
from tripplan.model.readings import Reading, Readings
from tripplan.model.serial import plan_from_json, plan_to_json
from tripplan.model.trip import Trip
from tripplan.model.words import Store
from tripplan.region.region import Region
from tripplan.request.trip_file import load_trip
from tripplan.schedule.plan import make_plan
from tripplan.schedule.rest import rest_of

SAMPLE = Path(__file__).resolve().parents[2] / "data_sample"
LAMP = (Store.CASSETTE, "lamp", 0.9)
FULL = (Store.GREY, "percent", 100.0)
DRY = (Store.FRESH, "percent", 0.0)
NO_GAS = (Store.GAS, "percent", 0.0)
FLAT = (Store.BATTERY, "volts", 11.6)


@pytest.fixture(scope="module")
def trip(region: Region) -> Trip:
    """The family's trip."""
    return load_trip(SAMPLE / "trip_family_loop.toml", region)


def rest(plan: Plan, trip: Trip, region: Region, day: int, hour: float, *read: tuple[Store, str, float]) -> Trip:
    """Return the rest of a trip after something was read at an hour of a day."""
    now = plan.days[day - 1].events[0].start.replace(hour=0, minute=0) + timedelta(hours=hour)
    return rest_of(trip, plan, Readings(now, tuple(Reading(now, *one, lit=True) for one in read)), region)


@pytest.mark.parametrize(
    ("hour", "read", "day"),
    [
        (12.0, (LAMP,), 1), (12.0, (FULL,), 1), (12.0, (DRY,), 1), (12.0, (NO_GAS,), 1), (12.0, (FLAT,), 1),
        (20.0, (LAMP, FULL), 2), (20.0, (NO_GAS,), 2), (20.0, (FLAT,), 2), (12.0, (LAMP, FULL, NO_GAS), 1),
    ],
)  # fmt: skip
def test_what_is_past_its_limit_is_served_first(
    hour: float, read: tuple[tuple[Store, str, float], ...], day: int, plans: dict[str, Plan], trip: Trip, region: Region
) -> None:
    """At noon it is done that day, in the evening of a place that serves nothing as soon as it can be, and the papers say where."""
    left = rest(plans["family_loop"], trip, region, 1, hour, *read)
    plan = make_plan(left, region, reasons=False)
    assert audit(plan, region) == ()
    told = {one.store: one for one in plan.overdue}
    assert {store.value for store, _, _ in read} <= set(told)
    for one in told.values():
        assert one.day == day
        assert one.spot.name in one.text
        assert one.text in plan.days[0].notes
        assert one.text in plan.days[day - 1].notes
        line = next(x for x in plan.days[day - 1].levels if x.store == one.store)
        assert line.served or one.store == "battery"
        better = line.end < line.limit if Store(one.store).fills else line.end > line.limit
        assert better
    assert plan_to_json(plan_from_json(plan_to_json(plan))) == plan_to_json(plan)


def test_what_nobody_states_or_serves_is_a_finding(plans: dict[str, Plan], trip: Trip, region: Region) -> None:
    """Without the statement, with another level or a later day in it, or without the service, the audit says so."""
    plan = make_plan(rest(plans["family_loop"], trip, region, 1, 12.0, LAMP), region, reasons=False)
    (one,) = plan.overdue
    for worse in (
        (), (replace(one, level=one.level - 2),), (replace(one, limit=one.limit + 2),), (replace(one, day=99),), (replace(one, store="grey"),),
    ):  # fmt: skip
        assert audit(replace(plan, overdue=worse), region), worse
    lines = tuple(replace(x, served="") if x.store == "cassette" else x for x in plan.days[0].levels)
    events = tuple(
        replace(e, stores=tuple(s for s in e.stores if s != "cassette")) if e.kind == "service" else e
        for e in plan.days[0].events
    )
    unserved = replace(plan, days=(replace(plan.days[0], levels=lines, events=events), *plan.days[1:]))
    assert any("overdue" in f.text for f in audit(unserved, region))


def test_what_is_nearly_full_is_emptied_on_the_way(plans: dict[str, Plan], trip: Trip, region: Region) -> None:
    """A cassette a little below its limit, which would not last the day, gets a plan as a full one does."""
    plan = make_plan(rest(plans["family_loop"], trip, region, 1, 12.0, (Store.CASSETTE, "percent", 88.0)), region, reasons=False)
    assert audit(plan, region) == ()
    assert "no further" in plan.overdue[0].text


def test_a_van_taken_over_with_a_full_cassette_empties_it_on_the_first_day(trip: Trip, region: Region) -> None:
    """What the firm hands over past its limit is told likewise; with levels as usual nothing is overdue."""
    full = replace(trip, levels=replace(trip.levels, cassette_l=trip.van.cassette_l))
    plan = make_plan(full, region, reasons=False)
    assert audit(plan, region) == ()
    assert [(one.store, one.day) for one in plan.overdue] == [("cassette", 1)]
    # The same full cassette, left until later, is past its limit for longer than a firm's van may be.
    assert audit(replace(plan, overdue=(replace(plan.overdue[0], day=2),)), region)


def test_the_audit_knows_who_may_use_a_service(plans: dict[str, Plan], trip: Trip, region: Region) -> None:
    """A gas seller that is private serves nobody, whatever it offers."""
    from tripplan.model.words import Offer

    plan = make_plan(rest(plans["family_loop"], trip, region, 1, 12.0, NO_GAS), region, reasons=False)
    spots = {e.spot.place for d in plan.days for e in d.events if e.kind == "service" and e.spot is not None}
    row = next(n for n in sorted(spots) if region.places[n].role == "service")
    places = list(region.places)
    assert audit(plan, region) == ()
    places[row] = replace(places[row], admits=Offer.NO, admits_why="access=private")
    assert "not admitted" in {f.what for f in audit(plan, replace(region, places=tuple(places)))}
