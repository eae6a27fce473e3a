"""A plan that passes, spoilt in one way at a time: the audit must say so, and say what."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import timedelta
from typing import Any

import pytest

from tripplan.audit.run import audit
from tripplan.model.place import OfferFact
from tripplan.model.plan import Day, Event, Leg, Plan
from tripplan.model.trip import Booking
from tripplan.model.words import Offer, Source, Surface
from tripplan.region.columns import Access
from tripplan.region.region import Region

Spoil = Callable[[Plan, Region], Plan]


def _day(plan: Plan, number: int, **changes: Any) -> Plan:
    days = list(plan.days)
    days[number - 1] = replace(days[number - 1], **changes)
    return replace(plan, days=tuple(days))


def _trip(plan: Plan, **changes: Any) -> Plan:
    return replace(plan, trip=replace(plan.trip, **changes))


def _van_day(plan: Plan, *, least: int = 3) -> Day:
    return next(d for d in plan.days if d.legs and d.legs[0].mode == "van" and len(d.legs[0].runs.piece) >= least)


def _leg(plan: Plan, change: Callable[[Leg], Leg]) -> Plan:
    day = _van_day(plan)
    return _day(plan, day.number, legs=(change(day.legs[0]), *day.legs[1:]))


def _column(plan: Plan, name: str, change: Callable[[list[Any]], list[Any]]) -> Plan:
    def on(leg: Leg) -> Leg:
        return replace(leg, runs=replace(leg.runs, **{name: tuple(change(list(getattr(leg.runs, name))))}))

    return _leg(plan, on)


def _without_piece(plan: Plan) -> Plan:
    def on(leg: Leg) -> Leg:
        runs = leg.runs
        cut = {name: getattr(runs, name)[:1] + getattr(runs, name)[2:] for name in runs.__slots__}
        return replace(leg, runs=replace(runs, **cut))

    return _leg(plan, on)


def _other_piece(plan: Plan, region: Region, surface: Surface) -> Plan:
    rows = (region.ways.surface[region.pieces.way] == surface).nonzero()[0]
    return _column(plan, "piece", lambda column: [column[0], int(rows[0]), *column[2:]])


def _moved_night(plan: Plan, region: Region) -> Plan:
    """The second night at a site that turns vans away."""
    refused = next(p for p in region.places if p.role == "site" and p.admits == Offer.NO)
    day = plan.days[1]
    assert day.night is not None
    spot = replace(day.night.spot, place=refused.index, name=refused.name, lon=refused.lon, lat=refused.lat)
    return _day(plan, 2, night=replace(day.night, spot=spot, ref=refused.ref), end=spot)


def _unserved(plan: Plan, store: str) -> Plan:
    days = tuple(
        replace(
            day,
            levels=tuple(replace(line, served="") if line.store == store else line for line in day.levels),
            events=tuple(replace(e, stores=tuple(s for s in e.stores if s != store)) for e in day.events),
        )
        for day in plan.days
    )
    return replace(plan, days=days)


def _line(plan: Plan, number: int, store: str, **changes: float) -> Plan:
    levels = tuple(replace(line, **changes) if line.store == store else line for line in plan.days[number - 1].levels)
    return _day(plan, number, levels=levels)


def _renamed_sight(plan: Plan) -> Plan:
    day = next(d for d in plan.days if any(e.kind == "sight" for e in d.events))
    events = (replace(e, spot=replace(e.spot, name="Elsewhere")) if e.kind == "sight" and e.spot else e for e in day.events)
    return _day(plan, day.number, events=tuple(events))


def _offering(plan: Plan, offers: dict[str, OfferFact]) -> Plan:
    night = plan.days[1].night
    assert night is not None
    return _day(plan, 2, night=replace(night, offers=offers))


def _quick(event: Event) -> Event:
    assert event.stores == ("grey", "cassette")
    return replace(event, start=event.end - timedelta(minutes=5))


def _event(plan: Plan, change: Callable[[Event], Event]) -> Plan:
    events = plan.days[0].events
    return _day(plan, 1, events=(*events[:-1], change(events[-1])))


def _served_on_the_way(plan: Plan) -> Plan:
    day = _van_day(plan)
    return _day(plan, day.number, levels=tuple(replace(line, served="way") for line in day.levels))


def _without_sight(plan: Plan) -> Plan:
    must = next(s for s in plan.trip.sights if s.must and not s.nights)
    days = tuple(
        replace(d, events=tuple(e for e in d.events if not (e.kind == "sight" and e.spot and e.spot.name == must.spot.name)))
        for d in plan.days
    )
    return replace(plan, days=days)


def _late(plan: Plan) -> Plan:
    day = plan.days[-1]
    later = timedelta(hours=4)
    return _day(plan, day.number, events=tuple(replace(e, start=e.start + later, end=e.end + later) for e in day.events))


def _smaller(plan: Plan, **changes: float) -> Plan:
    return _trip(plan, van=replace(plan.trip.van, **changes))


SPOILS: dict[str, tuple[str, Spoil]] = {
    "other map": ("other map", lambda p, r: replace(p, region_key="0" * 64)),
    "day dropped": ("dates", lambda p, r: replace(p, days=p.days[:-1])),
    "night moved": ("not admitted", lambda p, r: _moved_night(p, r)),
    "chain broken": ("broken chain", lambda p, r: _day(p, 2, start=p.trip.sights[0].spot)),
    "piece dropped": ("broken way", lambda p, r: _without_piece(p)),
    "piece unsealed": ("unsealed", lambda p, r: _other_piece(p, r, Surface.UNSEALED)),
    "no such piece": ("no such road", lambda p, r: _column(p, "piece", lambda c: [*c[:-1], 10**9])),
    "direction turned": ("broken way", lambda p, r: _column(p, "forward", lambda c: [c[0], not c[1], *c[2:]])),
    "too fast": ("too fast", lambda p, r: _column(p, "time_s", lambda c: [t / 3 for t in c])),
    "outside the piece": ("outside the piece", lambda p, r: _column(p, "to_m", lambda c: [c[0] + 5000, *c[1:]])),
    "length mis-stated": ("length", lambda p, r: _leg(p, lambda leg: replace(leg, length_m=leg.length_m * 0.9))),
    "presumed hidden": (
        "presumed metres",
        lambda p, r: replace(p, days=tuple(replace(d, legs=tuple(replace(g, presumed_m=0.0) for g in d.legs)) for d in p.days)),
    ),
    "unknown hidden": (
        "unknown metres",
        lambda p, r: replace(p, days=tuple(replace(d, legs=tuple(replace(g, unknown_m=0.0) for g in d.legs)) for d in p.days)),
    ),
    "shorter last mile": ("unknown surface", lambda p, r: _trip(p, firm=replace(p.trip.firm, last_mile_m=100.0))),
    "outfit too high": ("height", lambda p, r: _low_bridge(p, r)),
    "off limits": ("off limits", lambda p, r: _off_limits(p, r)),
    "most driving cut": ("driving", lambda p, r: _trip(p, max_drive_s=1800, first_day_drive_s=900)),
    "no towing": ("no towing", lambda p, r: _trip(p, no_towing=(_van_day(p).date,))),
    "late return": ("late return", lambda p, r: _late(p)),
    "leaves during handover": ("handover", lambda p, r: _trip(p, firm=replace(p.trip.firm, handover_min=240))),
    "sight left out": ("sight", lambda p, r: _without_sight(p)),
    "booking ignored": ("booking", lambda p, r: _trip(p, bookings=(Booking(p.days[0].date, p.trip.sights[0].spot),))),
    "avoided place": ("avoided", lambda p, r: _trip(p, avoid=(p.days[0].night.spot,) if p.days[0].night else ())),
    "one-night stays": ("one-night stays", lambda p, r: _trip(p, max_one_night_stays=0)),
    "powered nights": ("powered nights", lambda p, r: _trip(p, powered_nights_at_least=p.trip.nights)),
    "phone-first list emptied": ("phone first", lambda p, r: replace(p, presumed_offers=())),
    "presumed refused": ("offer", lambda p, r: _trip(p, presumed_offers=False)),
    "service invented": ("service", lambda p, r: _served_on_the_way(p)),
    "level row dropped": ("stated level", lambda p, r: _day(p, 2, levels=p.days[1].levels[1:])),
    "limit moved": ("stated level", lambda p, r: _line(p, 2, "cassette", limit=99.0)),
    "level flattered on arriving": ("stated level", lambda p, r: _line(p, _van_day(p).number, "grey", arrive=0.0)),
    "level flattered at night": (
        "stated level",
        lambda p, r: _line(p, 1, "gas", worst=p.trip.van.gas_bottle_kg * p.trip.van.gas_bottles),
    ),
    "level flattered by night at a site that empties": ("stated level", lambda p, r: _line(p, 5, "grey", worst=12.2)),
    "level flattered before it is emptied": ("stated level", lambda p, r: _line(p, 2, "grey", arrive=40.0, worst=47.0)),
    "worst is not the worst": ("stated level", lambda p, r: _line(p, 2, "grey", worst=47.0)),
    "not emptied before the last pitch is left": ("return", lambda p, r: _day(p, 11, events=p.days[-1].events[1:])),
    "emptied in no time": ("timetable", lambda p, r: _day(p, 11, events=(_quick(p.days[-1].events[0]), *p.days[-1].events[1:]))),
    "sight renamed": ("name", lambda p, r: _renamed_sight(p)),
    "offer made up": (
        "stated offer",
        lambda p, r: _offering(p, {**p.days[1].night.offers, "gas": OfferFact(Offer.YES, Source.TAGGED, "")}),
    ),
    "offer left out": ("stated offer", lambda p, r: _offering(p, {})),
    "levels jump overnight": ("stated level", lambda p, r: _line(p, 3, "gas", leave=16.9)),
    "more at pick-up than fits": ("pick-up level", lambda p, r: _trip(p, levels=replace(p.trip.levels, fresh_l=500.0))),
    "sunset moved": ("sun", lambda p, r: _day(p, 2, sunset=p.days[1].sunset + timedelta(hours=2) if p.days[1].sunset else None)),
    "event ends days later": ("timetable", lambda p, r: _event(p, lambda e: replace(e, end=e.end + timedelta(days=10)))),
    "event elsewhere": (
        "not the place",
        lambda p, r: _event(p, lambda e: replace(e, spot=replace(p.days[0].end, lon=p.days[0].end.lon + 0.01))),
    ),
    "place of another region": (
        "no such place",
        lambda p, r: _event(p, lambda e: replace(e, spot=replace(p.days[0].end, place=10**6))),
    ),
    "cassette never emptied": ("level", lambda p, r: _unserved(_smaller(p, cassettes=1), "cassette")),
    "grey never emptied": ("level", lambda p, r: _unserved(p, "grey")),
    "cassette not empty on return": ("return", lambda p, r: _unserved(p, "cassette")),
    "smaller barrel": ("level", lambda p, r: _smaller(p, fresh_l=20.0)),
    "less gas": ("level", lambda p, r: _smaller(p, gas_bottle_kg=1.0)),
    "weaker battery": ("level", lambda p, r: _smaller(p, battery_ah=25.0)),
    "more gas wanted back": ("return", lambda p, r: _trip(p, firm=replace(p.trip.firm, return_gas_kg=16.9))),
    "night price hidden": ("cost", lambda p, r: replace(p, cost=replace(p.cost, nights_cents=p.cost.nights_cents - 500))),
    "sum wrong": ("cost", lambda p, r: replace(p, cost=replace(p.cost, total_cents=p.cost.total_cents - 100))),
    "days misnumbered": ("dates", lambda p, r: replace(p, days=(*p.days[:2], replace(p.days[2], number=13), *p.days[3:]))),
    "a day on another date": ("dates", lambda p, r: _day(p, 3, date=p.days[2].date + timedelta(days=40))),
    "over budget": ("budget", lambda p, r: _trip(p, budget_cents=1000)),
}


def _low_bridge(plan: Plan, region: Region) -> Plan:
    """The limit stands on the road that is driven; the same plan for a higher outfit."""
    way = int(region.pieces.way[_van_day(plan).legs[0].runs.piece[1]])
    region.ways.max_height_m.flags.writeable = True
    region.ways.max_height_m[way] = 2.4
    return plan


def _off_limits(plan: Plan, region: Region) -> Plan:
    piece = _van_day(plan).legs[0].runs.piece[1]
    at = int(region.pieces.ptr[piece])
    lon, lat = region.pieces.lon_e7[at] / 1e7, region.pieces.lat_e7[at] / 1e7
    ring = tuple((lon + dx, lat + dy) for dx, dy in ((-0.001, -0.001), (0.001, -0.001), (0.001, 0.001), (-0.001, 0.001)))
    return _trip(plan, firm=replace(plan.trip.firm, areas_off_limits=(("the works", ring),)))


@pytest.fixture
def own_region(sample_region: Region) -> Region:
    """A region whose columns may be written on."""
    ways = replace(
        sample_region.ways, max_height_m=sample_region.ways.max_height_m.copy(), tow_access=sample_region.ways.tow_access.copy()
    )
    return replace(sample_region, ways=ways)


def test_plan_as_made_passes(sample_plan: Plan, sample_region: Region) -> None:
    """The search's own plan has no findings; on the last day grey and cassette are emptied before leaving and stay so."""
    assert audit(sample_plan, sample_region) == ()
    last = sample_plan.days[-1]
    emptied, leaving = last.events[:2]
    assert (emptied.kind, emptied.spot, emptied.text) == ("service", last.start, "Empty the grey water, empty the cassette")
    assert (emptied.end - emptied.start, emptied.end) == (timedelta(minutes=20), leaving.start)
    assert {(x.store, x.arrive, x.worst, x.end) for x in last.levels if x.store in emptied.stores} == {
        ("grey", 0, 0, 0),
        ("cassette", 0, 0, 0),
    }


@pytest.mark.parametrize("name", SPOILS)
def test_spoilt_plan_is_caught(name: str, sample_plan: Plan, own_region: Region) -> None:
    """Each way to spoil a plan is found, under its own word."""
    what, spoil = SPOILS[name]
    findings = audit(spoil(sample_plan, own_region), own_region)
    assert what in {f.what for f in findings}, [(f.what, f.text) for f in findings]


def test_closed_road_is_caught(sample_plan: Plan, own_region: Region) -> None:
    """A road that is closed to a car with a van is found on the leg that uses it, with its metres."""
    leg = _van_day(sample_plan).legs[0]
    own_region.ways.tow_access[int(own_region.pieces.way[leg.runs.piece[1]])] = Access.CLOSED
    findings = [f for f in audit(sample_plan, own_region) if f.what == "closed"]
    assert findings
    assert findings[0].amount > 0
    assert findings[0].unit == "m"


def test_findings_are_named_with_day_and_amount(sample_plan: Plan, sample_region: Region) -> None:
    """A level that overflows is told with its day, its amount and its unit."""
    findings = [f for f in audit(_unserved(sample_plan, "grey"), sample_region) if f.what == "level"]
    assert findings[0].day > 0
    assert findings[0].amount > 0
    assert findings[0].unit == "L"


@pytest.mark.parametrize(("mode", "told"), [("van", True), ("car", False)])
def test_only_the_van_may_not_turn_round_on_the_road(mode: str, told: bool, sample_plan: Plan, sample_region: Region) -> None:
    """There and back over a piece in the middle of a leg: a finding with the van on; the car alone may, where no sign says otherwise."""

    def on(leg: Leg) -> Leg:
        at = len(leg.runs.piece) // 2
        again = {
            name: (*column[: at + 1], *column[at : at + 1] * 2, *column[at + 1 :])
            for name in leg.runs.__slots__
            for column in [getattr(leg.runs, name)]
        }
        ahead = leg.runs.forward[at]
        return replace(
            leg,
            mode=mode,
            runs=replace(
                leg.runs, **{**again, "forward": (*leg.runs.forward[: at + 1], not ahead, ahead, *leg.runs.forward[at + 1 :])}
            ),
        )

    found = {f.what for f in audit(_leg(sample_plan, on), sample_region)}
    assert ("turning round" in found) is told
