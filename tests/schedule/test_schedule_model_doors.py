"""Whole trips on a drawn map with doors: check-in and check-out, a ferry with hours, visiting hours, holidays, hours nobody can read."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from helpers.make import region_from_drawing

from tripplan.audit.run import audit
from tripplan.model.errors import NoPlanError
from tripplan.model.outfit import Outfit
from tripplan.model.place import Spot
from tripplan.model.plan import Day, Event, Plan
from tripplan.model.serial import plan_from_json, plan_to_json
from tripplan.model.trip import Firm, Sight, Trip
from tripplan.model.van import Levels, Party, Van
from tripplan.model.words import Via
from tripplan.region.find import find
from tripplan.region.region import Region
from tripplan.schedule.plan import make_plan

#: D the depot and L a site on the land; by the ferry from A to B an isle with a site S, a dump W and a sight X.
MAP = """
D--L--A.......B--W--X--S
"""
ROAD = "highway=primary surface=asphalt maxspeed=80"
FERRY = {"route": "ferry", "motor_vehicle": "yes", "name": "Sound Ferry", "duration": "00:20", "interval": "00:15"}
SITE = "tourism=caravan_site caravans=yes fee=yes charge=20 drinking_water=yes toilets=yes sanitary_dump_station=yes"
OUTFIT = Outfit("car and van", True, 3400, 1400, 1300, 2.6, 2.3, 12, 90)
TZ = ZoneInfo("Pacific/Auckland")
MONDAY = date(2026, 2, 2)


def tags(text: str, **more: str) -> dict[str, str]:
    """Return tags of a short form, with more of them."""
    return dict(part.split("=", 1) for part in text.split()) | more


def isle(
    folder: Path,
    *,
    ferry: str = "",
    desk: dict[str, str] | None = None,
    dump: str = "",
    sight: str = "",
    country: str = "",
    lasts: str = "00:20",
) -> tuple[Region, dict[str, tuple[float, float]]]:
    """Build the isle: hours of the ferry and how long it takes, tags of site S, hours of the dump and of the sight."""
    ways = {
        "DL": ROAD,
        "LA": ROAD,
        "BW": ROAD,
        "WX": ROAD,
        "XS": ROAD,
        "AB": FERRY | {"duration": lasts} | ({"opening_hours": ferry} if ferry else {}),
    }
    nodes: dict[str, dict[str, str] | str] = {
        "L": tags(SITE, name="Landside"), "S": tags(SITE, name="Seaside", **(desk or {})),
        "W": {
            "amenity": "sanitary_dump_station", "name": "Weir dump", "access": "yes", "sanitary_dump_station:grey_water": "yes",
            "sanitary_dump_station:chemical_toilet": "yes", **({"opening_hours": dump} if dump else {}),
        },
        "X": {"tourism": "museum", "name": "Xenia House", **({"opening_hours": sight} if sight else {})},
    }  # fmt: skip
    region, drawing = region_from_drawing(MAP, ways, nodes=nodes, folder=folder, grid_m=2000.0, origin=(170.0, -44.0))
    return replace(region, meta=replace(region.meta, tz="Pacific/Auckland", country=country)), drawing.at


def trip_to_isle(
    region: Region, at: dict[str, tuple[float, float]], nights: int = 2, first: date = MONDAY, **change: object
) -> Trip:
    """Return a trip from D that must see X with the van."""
    start = datetime.combine(first, datetime.min.time(), TZ).replace(hour=9)
    depot = Spot("D", "Depot", *at["D"])
    values: dict[str, object] = {
        "name": "isle", "tz": region.meta.tz, "firm": Firm("Drawn Vans", "0", 85, handover_min=60, return_min=60, return_grey_empty=False, return_cassette_empty=False),
        "outfit": OUTFIT, "car": replace(OUTFIT, towing=False, van_mass_kg=0), "van": Van("van", 80, 80, 18, 10, 9.0, 1, 100, solar_w=200),
        "party": Party("pair", 2, water_l=7), "depot": depot, "return_depot": depot, "pick_up": start,
        "return_by": (start + timedelta(days=nights)).replace(hour=18), "levels": Levels(80, 0, 0, 10, 9, 80),
        "sights": (Sight(find(region, "Xenia House")[0], True, 0, Via.VAN, 1.0),),
    }  # fmt: skip
    return Trip(**{**values, **change})  # type: ignore[arg-type]


def on_the_isle(trip: Trip, region: Region) -> Trip:
    """Return the trip with no site on the land."""
    return replace(trip, avoid=(find(region, "Landside")[0],))


def clock_findings(plan: Plan, region: Region) -> list[tuple[str, str]]:
    """Return what the audit holds against the clock of a plan."""
    words = {
        "ferry",
        "check-in",
        "check-out",
        "closed",
        "day hours",
        "break",
        "timetable",
        "daylight",
        "spare",
        "holiday",
        "handover",
        "late return",
    }
    return [(f.what, f.text) for f in audit(plan, region) if f.what in words]


def events(plan: Plan, kind: str) -> list[tuple[Day, Event]]:
    """Return the events of a kind with their days."""
    return [(day, event) for day in plan.days for event in day.events if event.kind == kind]


def at(event: Event) -> str:
    """Return when an event begins."""
    return f"{event.start:%H:%M}"


def test_a_ferry_with_hours_is_waited_for(tmp_path):
    """The boat departs when it sails, the wait for it is in the timetable, and the audit agrees."""
    region, where = isle(tmp_path, ferry="Mo-Su 12:00-16:00")
    plan = make_plan(trip_to_isle(region, where), region, cache=tmp_path / "cache")
    assert clock_findings(plan, region) == []
    out = events(plan, "ferry")
    assert len(out) == 2
    for _, event in out:
        departs = event.start + timedelta(minutes=15)
        assert 12 * 60 <= departs.hour * 60 + departs.minute <= 16 * 60
    assert any(event.text == "Wait for the first ferry" for _, event in events(plan, "break"))
    for day, ferry in out:
        (before,) = [event for _, event in events(plan, "drive") if event.end <= ferry.start and event.start.date() == day.date][
            -1:
        ]
        assert before.text == f"Tow to the Sound Ferry, be on the quay by {at(ferry)}"


def test_the_car_charges_nothing_aboard_a_ferry(tmp_path):
    """With the fridge on a battery that the car charges on the way, a crossing draws on it all the same; the audit's hours agree."""
    region, where = isle(tmp_path, lasts="02:30")
    trip = on_the_isle(trip_to_isle(region, where, nights=1, sights=()), region)
    flat = replace(trip.van, battery_ah=500, solar_w=40, fridge_towing="battery", car_charge_a=15)
    plan = make_plan(replace(trip, van=flat, levels=replace(trip.levels, battery_ah=490)), region, cache=tmp_path / "cache")
    assert sum(leg.ferry_s for leg in plan.days[0].legs) >= 9000
    assert audit(plan, region) == ()
    battery = next(line for line in plan.days[0].levels if line.store == "battery")
    amps = flat.fridge_w / 12
    assert battery.arrive < 490 - 2.5 * (amps - 2)  # at the wheel the car gives more than the fridge takes


def test_a_ferry_that_cannot_be_reached_in_time_makes_no_plan_and_says_why(tmp_path):
    """Where the only boat has gone before the handover is over there is no plan; the reasons name the boat and the handover."""
    region, where = isle(tmp_path, ferry="Mo-Su 07:00-09:30")
    with pytest.raises(NoPlanError) as caught:
        make_plan(trip_to_isle(region, where, nights=1), region, cache=tmp_path / "cache")
    told = " ".join(line for excess in caught.value.excesses for line in (excess.text, *excess.clash))
    assert "too late for the ferry" in told
    assert "the ferry sails 07:00–09:30, you would be ready to sail at" in told


def test_check_in_is_waited_for_and_check_out_kept(tmp_path):
    """A site that takes arrivals from 15:00 is reached no earlier, one to be left by 09:20 is left in time."""
    region, where = isle(tmp_path, desk={"check_in": "15:00-19:00", "check_out": "09:20"})
    plan = make_plan(on_the_isle(trip_to_isle(region, where), region), region, cache=tmp_path / "cache")
    assert clock_findings(plan, region) == []
    nights = [day for day in plan.days if day.night is not None and day.night.spot.name == "Seaside"]
    assert nights
    first = nights[0]
    assert all(at(event) >= "15:00" for event in first.events if event.kind == "arrive")
    left = plan.days[nights[-1].number]
    moves = [event for event in left.events if event.kind == "drive"]
    assert at(moves[0]) <= "09:20"


def test_check_out_before_the_day_begins_forbids_nothing(tmp_path):
    """A site to be left by 08:00 on a trip whose days begin at 09:00: the day begins at nine all the same, nothing later."""
    region, where = isle(tmp_path, desk={"check_out": "08:00"})
    plan = make_plan(on_the_isle(trip_to_isle(region, where), region), region, cache=tmp_path / "cache")
    assert clock_findings(plan, region) == []
    nights = [day for day in plan.days if day.night is not None and day.night.spot.name == "Seaside"]
    if nights and nights[-1].number < len(plan.days):
        moves = [event for event in plan.days[nights[-1].number].events if event.kind == "drive"]
        assert at(moves[0]) == "09:00"


def test_hours_that_nobody_can_read_are_asked_for_as_written(tmp_path):
    """They hold nothing up, stand in the list to phone first as written, and in the notes of the day."""
    region, where = isle(
        tmp_path, dump="when the harbour master is in", desk={"check_in": "after lunch", "opening_hours": "ring the bell"}
    )
    firm = replace(trip_to_isle(region, where).firm, return_cassette_empty=True)
    trip = trip_to_isle(region, where, firm=firm, levels=Levels(80, 0, 6, 10, 9, 80))
    plan = make_plan(on_the_isle(trip, region), region, cache=tmp_path / "cache")
    assert clock_findings(plan, region) == []
    asked = {(item.spot.name, item.evidence) for item in plan.presumed_offers if item.offer == "hours"}
    used = {event.spot.name for _, event in events(plan, "service") if event.spot}
    sleeps = {day.night.spot.name for day in plan.days if day.night}
    assert ("Weir dump", "hours as written: when the harbour master is in") in asked or "Weir dump" not in used
    assert ("Seaside", "hours as written: ring the bell; check-in after lunch") in asked or "Seaside" not in sleeps
    assert asked
    assert any("ring the bell" in note or "harbour master" in note for day in plan.days for note in day.notes)
    hidden = replace(plan, presumed_offers=tuple(item for item in plan.presumed_offers if item.offer != "hours"))
    assert "phone first" in {f.what for f in audit(hidden, region)} - {f.what for f in audit(plan, region)}


def test_a_dump_that_shuts_too_early_is_told_with_its_hour(tmp_path):
    """A cassette that must come back empty, and a dump open for an hour in the early morning: what stands in the way is told in clock times."""
    desk = {"sanitary_dump_station": "no"}
    region, where = isle(tmp_path, dump="Mo-Su 08:00-09:00", desk=desk)
    firm = replace(trip_to_isle(region, where).firm, return_cassette_empty=True)
    trip = trip_to_isle(region, where, firm=firm, levels=Levels(80, 0, 6, 10, 9, 80))
    with pytest.raises(NoPlanError) as caught:
        make_plan(on_the_isle(trip, region), region, cache=tmp_path / "cache")
    short = [excess for excess in caught.value.excesses if excess.what == "cassette at the return"]
    assert short
    assert short[0].clash[0].startswith("Weir dump closes at 09:00, you would be there at 09:1")
    assert "nobody sets off before 09:00" in short[0].clash[0]


@pytest.mark.parametrize("own", [True, False])
def test_visiting_hours(tmp_path, own):
    """A sight is visited while it is open, by the map's hours or by the trip's own, which rule."""
    region, where = isle(tmp_path, sight="Mo-Su 14:00-16:00")
    trip = trip_to_isle(region, where)
    if own:
        trip = replace(trip, sights=(replace(trip.sights[0], visiting="Mo-Su 15:00-17:00"),))
    plan = make_plan(trip, region, cache=tmp_path / "cache")
    assert clock_findings(plan, region) == []
    ((_, visit),) = events(plan, "sight")
    assert ("15:00" if own else "14:00") <= at(visit)
    assert f"{visit.end:%H:%M}" <= ("17:00" if own else "16:00")


def test_public_holidays_are_kept_and_said(tmp_path):
    """A dump shut on public holidays is not called at on one (6 February in New Zealand), and the day says that it is one."""
    region, where = isle(tmp_path, dump="Mo-Su 08:00-18:00; PH off", sight="Mo-Su 09:00-17:00; PH off", country="NZ")
    trip = trip_to_isle(
        region, where, nights=2, first=date(2026, 2, 5)
    )  # Thursday; Friday is Waitangi Day (Public Holidays Act, NZ)
    plan = make_plan(trip, region, cache=tmp_path / "cache")
    assert clock_findings(plan, region) == []
    assert [day.holiday for day in plan.days] == ["", "public holiday", ""]
    assert all(day.date != date(2026, 2, 6) for day, _ in (*events(plan, "sight"), *events(plan, "service")))
    assert any("public holiday" in note for note in plan.days[1].notes)


def test_spare_time_and_next_chance(tmp_path):
    """Each stop and arrival tells its minutes to spare; a service tells the next chance, on the plan or by road."""
    region, where = isle(tmp_path, dump="Mo-Su 08:00-17:00", desk={"sanitary_dump_station": "no"})
    firm = replace(trip_to_isle(region, where).firm, return_cassette_empty=True)
    trip = on_the_isle(trip_to_isle(region, where, nights=3, firm=firm), region)
    plan = make_plan(trip, region, cache=tmp_path / "cache")
    assert any("cassette" in event.stores for _, event in events(plan, "service"))
    for day, event in (*events(plan, "sight"), *events(plan, "service"), *events(plan, "arrive"), *events(plan, "return")):
        assert event.spare_min >= 0, (day.number, event.text)
    again = [event for _, event in events(plan, "service")]
    assert len(again) > 1
    assert len({event.spot for event in again}) == 1
    for event in again:
        # The isle has one dump: shut on one day, its next day is no way out, and without it the stores do not last.
        assert event.next_chance is not None
        assert event.next_chance.planned is None
        assert not event.next_chance.lasts
    assert plan_from_json(plan_to_json(plan)) == plan_from_json(plan_to_json(plan_from_json(plan_to_json(plan))))


def test_same_trip_same_bytes_with_and_without_kept_days(tmp_path):
    """A plan made with days read from their file is the plan made without it, byte for byte."""
    region, where = isle(tmp_path, ferry="Mo-Su 10:00-16:00", desk={"check_in": "14:00"})
    trip = trip_to_isle(region, where)
    first, second, other = (plan_to_json(make_plan(trip, region, cache=tmp_path / name)) for name in ("a", "a", "b"))
    assert first == second == other


@pytest.fixture(scope="module")
def doors(tmp_path_factory: pytest.TempPathFactory) -> tuple[Plan, Region]:
    """A plan with a ferry, a desk, visiting hours and a holiday, that passes."""
    folder = tmp_path_factory.mktemp("doors")
    desk = {"check_in": "15:00-19:00", "check_out": "10:00", "sanitary_dump_station": "no"}
    region, where = isle(
        folder, ferry="Mo-Su 10:00-16:30", desk=desk, dump="Mo-Su 08:00-17:00", sight="Mo-Su 11:00-17:00", country="NZ"
    )
    trip = trip_to_isle(region, where, first=date(2026, 2, 5), levels=Levels(80, 0, 6, 10, 9, 80))
    trip = replace(trip, firm=replace(trip.firm, return_cassette_empty=True))
    plan = make_plan(on_the_isle(trip, region), region, cache=folder / "cache")
    assert clock_findings(plan, region) == []
    assert {"ferry", "sight", "service", "arrive"} <= {event.kind for day in plan.days for event in day.events}
    return plan, region


def change(plan: Plan, number: int, edit) -> Plan:  # type: ignore[no-untyped-def]
    """Return a plan with one day changed."""
    return replace(plan, days=tuple(edit(day) if day.number == number else day for day in plan.days))


def _events(day: Day, edit) -> Day:  # type: ignore[no-untyped-def]
    return replace(day, events=tuple(edit(event) for event in day.events))


def _later(hours: float, *kinds: str):  # type: ignore[no-untyped-def]
    by = timedelta(hours=hours)

    def edit(day: Day) -> Day:
        return _events(day, lambda e: replace(e, start=e.start + by, end=e.end + by) if not kinds or e.kind in kinds else e)

    return edit


def _spoils(plan: Plan) -> dict[str, tuple[str, Plan]]:
    last = len(plan.days)
    return {
        "boat after its last departure": ("ferry", change(plan, 1, _later(7, "ferry"))),
        "boat before its first departure": ("ferry", change(plan, last, _later(-4, "ferry"))),
        "boat left out": ("ferry", change(plan, 1, lambda d: replace(d, events=tuple(e for e in d.events if e.kind != "ferry")))),
        "boat cut short": ("ferry", change(plan, 1, lambda d: _events(d, lambda e: replace(e, end=e.start + timedelta(minutes=5)) if e.kind == "ferry" else e))),
        "arrives before check-in": ("check-in", change(plan, 1, _later(-2, "arrive"))),
        "arrives after check-in": ("check-in", change(plan, 1, _later(5, "arrive"))),
        "leaves after check-out": ("check-out", change(plan, last, _later(3))),
        "sets off too early": ("day hours", change(plan, last, _later(-3))),
        "arrives too late": ("day hours", change(plan, 1, _later(9, "drive"))),
        "visits when shut": ("closed", change(plan, last, _later(7, "sight"))),
        "trip's own visiting hours": ("closed", replace(plan, trip=replace(plan.trip, sights=(replace(plan.trip.sights[0], visiting="Mo-Su 07:00-08:00"),)))),
        "holiday hidden": ("holiday", change(plan, 2, lambda d: replace(d, holiday=""))),
        "holiday invented": ("holiday", change(plan, 1, lambda d: replace(d, holiday="public holiday"))),
        "spare overstated": ("spare", change(plan, last, lambda d: _events(d, lambda e: replace(e, spare_min=600) if e.kind == "sight" else e))),
        "sunset margin": ("daylight", replace(plan, trip=replace(plan.trip, sunset_margin_min=10 * 60))),
        "service when shut": ("closed", change(plan, last, _later(12, "service"))),
    }  # fmt: skip


@pytest.mark.parametrize("name", [
    "boat after its last departure", "boat before its first departure", "boat left out", "boat cut short", "arrives before check-in", "arrives after check-in",
    "leaves after check-out", "sets off too early", "arrives too late", "visits when shut", "trip's own visiting hours", "holiday hidden", "holiday invented",
    "spare overstated", "sunset margin", "service when shut",
])  # fmt: skip
def test_a_spoilt_clock_is_caught_under_its_own_word(doors, name):
    """Each way to spoil the clock of a plan that passes is found, under its own word."""
    plan, region = doors
    what, spoilt = _spoils(plan)[name]
    assert spoilt != plan
    assert what in {word for word, _ in clock_findings(spoilt, region)}


def test_a_break_taken_at_sea_is_caught(doors):
    """Two drives of 90 minutes with a boat between them and no rest: the audit wants a break."""
    plan, region = doors
    day = plan.days[0]
    start = day.events[0].end
    lines, moment = [day.events[0]], start
    for kind, minutes in (("drive", 90), ("ferry", 40), ("drive", 90)):
        lines.append(Event(kind, moment, moment + timedelta(minutes=minutes), kind))
        moment += timedelta(minutes=minutes)
    spoilt = change(plan, 1, lambda d: replace(d, events=tuple(lines)))
    assert "break" in {word for word, _ in clock_findings(spoilt, region)}
