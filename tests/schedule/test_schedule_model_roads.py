"""Whole trips on drawn roads, from map text to an audited plan."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from helpers.make import region_from_drawing

from tripplan.audit.run import audit
from tripplan.model.errors import BadInputError, NoPlanError
from tripplan.model.outfit import Outfit
from tripplan.model.place import Spot
from tripplan.model.plan import Plan
from tripplan.model.serial import plan_to_json
from tripplan.model.trip import Booking, Firm, Sight, Trip
from tripplan.model.van import Levels, Party, Van
from tripplan.model.words import Via
from tripplan.region.find import find
from tripplan.region.region import Region
from tripplan.report.language import language_named, speaking
from tripplan.report.retell import retell
from tripplan.roads.asks import asks_of
from tripplan.schedule.plan import make_plan, prepare

#: D the depot, E to H junctions of a main road; sites S, T, U; a dump with water at W beside it; gas at G and a sight at X by
#: gravel only; a sight at V on the main road, one at Y by either way.
MAP = """
D-----E-------W------F-------V-------H
      |              |       |       |
      S              T       G       U
                                     |
              Y                      X
"""


def _tags(text: str) -> dict[str, str]:
    return dict(pair.split("=") for pair in text.split())


ROAD = "highway=primary surface=asphalt maxspeed=80"
LANE = "highway=tertiary surface=asphalt maxspeed=60"
GRAVEL = "highway=unclassified surface=gravel"
WAYS = {
    "DE": f"{ROAD} name=Highroad maxheight=low", "EW": ROAD, "WF": {**_tags(ROAD), "access:conditional": "no @ (snow)"}, "FV": ROAD, "VH": ROAD, "ES": LANE, "FT": LANE, "HU": LANE, "VG": GRAVEL, "UX": GRAVEL,
    "WY": LANE,
}  # fmt: skip
SITE = "tourism=caravan_site caravans=yes fee=yes"
NODES: dict[str, dict[str, str] | str] = {
    "S": f"{SITE} name=Sandhome drinking_water=yes toilets=yes charge=15",
    "T": f"{SITE} name=Tarnside power_supply=yes toilets=yes charge=25",
    "U": f"{SITE} name=Underhill charge=10",
    "W": {
        "amenity": "sanitary_dump_station", "name": "Weir dump", "drinking_water": "yes", "sanitary_dump_station:grey_water": "yes",
        "sanitary_dump_station:chemical_toilet": "yes", "opening_hours": "Mo-Su 08:00-17:00", "access": "yes",
    },
    "G": {"shop": "gas", "name": "Gorse bottles", "opening_hours": "Mo-Fr 09:00-17:00"},
    "V": "tourism=viewpoint name=Vantage",
    "X": "natural=waterfall waterway=waterfall name=Xarn",
    "Y": "tourism=museum name=Yardhouse",
}  # fmt: skip
ZONE = "Pacific/Auckland"
ORIGIN = (170.0, -44.0)
OUTFIT = Outfit("car and van", True, 3400, 1400, 1300, 2.6, 2.3, 12, 90)


def drawn(folder: Path, ways=WAYS, nodes=NODES, ascii_map: str = MAP) -> tuple[Region, dict[str, tuple[float, float]]]:
    """Build the drawn region, two kilometres a character, in the south."""
    region, drawing = region_from_drawing(ascii_map, ways, nodes=nodes, folder=folder, grid_m=2000.0, origin=ORIGIN)
    return replace(region, meta=replace(region.meta, tz=ZONE)), drawing.at


def trip_of(region: Region, at: dict[str, tuple[float, float]], nights: int = 5, **change: object) -> Trip:
    """Return a trip from D, with little gas, so that a bottle must be fetched."""
    start = datetime(2026, 2, 3, 9, tzinfo=ZoneInfo(ZONE))  # a Tuesday
    depot = Spot("D", "Depot", *at["D"])
    firm = Firm("Drawn Vans", "0", 85, handover_min=60, return_min=60, return_gas_kg=2.0)
    values: dict[str, object] = {
        "name": "drawn", "tz": region.meta.tz, "firm": firm, "outfit": OUTFIT,
        "car": replace(OUTFIT, towing=False, van_mass_kg=0), "van": Van("van", 60, 50, 18, 10, 5.0, 1, 100, solar_w=200),
        "party": Party("pair", 2, water_l=7, showers_per_day=0.2, shower_l=8), "depot": depot, "return_depot": depot,
        "pick_up": start, "return_by": (start + timedelta(days=nights)).replace(hour=16),
        "levels": Levels(60, 0, 0, 10, 3.2, 80),
    }  # fmt: skip
    return Trip(**{**values, **change})  # type: ignore[arg-type]


def spot(region: Region, name: str) -> Spot:
    return find(region, name)[0]


@pytest.fixture(scope="module")
def region_at(tmp_path_factory: pytest.TempPathFactory):
    return drawn(tmp_path_factory.mktemp("drawn"))


@pytest.fixture(scope="module")
def plan(region_at, tmp_path_factory: pytest.TempPathFactory) -> Plan:
    """One trip with a booking, a day without towing, sights by van and by car, and gas that does not last."""
    region, at = region_at
    trip = trip_of(
        region, at,
        sights=(
            Sight(spot(region, "Vantage"), True, 0, Via.VAN, 1.0),
            Sight(spot(region, "Xarn"), True, 0, Via.CAR_ONLY, 1.0),
            Sight(spot(region, "Yardhouse"), False, 4000, Via.EITHER, 1.0),
        ),
        bookings=(Booking(date(2026, 2, 4), spot(region, "Tarnside")),),
        no_towing=(date(2026, 2, 6),),
    )  # fmt: skip
    return make_plan(trip, region, cache=tmp_path_factory.mktemp("cache"))


def test_the_audit_finds_nothing(plan, region_at):
    """The plan is proven best and passes the independent re-check."""
    assert plan.proof.proven
    assert audit(plan, region_at[0]) == ()


def test_towing_and_standing_days(plan):
    """The van is towed on towing days only, the date without towing is a standing day, and the booked night is kept."""
    kinds = {day.date: day.kind for day in plan.days}
    assert kinds[date(2026, 2, 6)] == "standing"
    assert set(kinds.values()) == {"towing", "standing"}
    for day in plan.days:
        assert all(leg.mode == ("van" if day.kind == "towing" else "car") for leg in day.legs)
    assert plan.days[1].night is not None
    assert plan.days[1].night.spot.name == "Tarnside"


def test_what_nobody_could_read_is_asked_about_where_the_road_is_driven(plan, region_at):
    """A height without a figure and a closure by weather stand in the notes of the days that pass there, once a way, in German too."""
    snow = "a condition that could not be read, as written: access:conditional=no @ (snow)"
    for day in plan.days:
        asked = [note for note in day.notes if note.startswith("Ask first")]
        passed = set()
        for leg in day.legs:
            rows = region_at[0].pieces.way[np.asarray(leg.runs.piece, np.int64)]
            texts = {text for row in rows for text in asks_of(region_at[0], int(row), doubtful=False)}
            passed |= {(leg.start.name, text) for text in texts}
        assert {(note.partition(" km after ")[2].partition(": ")[0], note.partition(": ")[2]) for note in asked} == passed
    first, last = plan.days[0].notes, plan.days[-1].notes
    low = "Ask first on Highroad, 0 km after Depot: a limit that could not be read, as written: maxheight=low"
    assert low in first
    assert any(note.endswith(snow) for day in plan.days for note in day.notes)
    assert any("maxheight=low" in note for note in last)
    with speaking(language_named("de")):
        assert (
            retell(low)
            == "Vorher fragen, Highroad, 0 km nach Depot: eine Beschränkung, die nicht zu lesen war, wie geschrieben: maxheight=low"
        )


def test_gas_is_fetched_by_car_over_gravel(plan, region_at):
    """The gas seller lies on gravel: the car goes there alone on a standing day when it is open, and the gas holds."""
    fetched = [(day, event) for day in plan.days for event in day.events if "gas" in event.stores]
    assert fetched
    for day, event in fetched:
        assert day.kind == "standing"
        assert event.spot is not None
        assert event.spot.name == "Gorse bottles"
        assert day.date.weekday() < 5
        assert 9 <= event.start.hour < 17
        line = next(line for line in day.levels if line.store == "gas")
        assert "car" in line.served
        assert line.end > line.leave
    region = region_at[0]
    gravel = {
        int(region.pieces.way[p]) for p in range(len(region.pieces.way)) if int(region.ways.surface[region.pieces.way[p]]) == 3
    }
    for day in plan.days:
        for leg in day.legs:
            rolled = {int(region.pieces.way[p]) for p in leg.runs.piece}
            assert not (leg.mode == "van" and rolled & gravel)
    last = next(line for line in plan.days[-1].levels if line.store == "gas")
    assert last.end >= 2.0 - 0.02


def test_service_on_the_way_and_return_conditions(plan):
    """Sites here take no cassette: it is emptied at the dump on the way, on the last day too, before the van goes back."""
    served = [day.number for day in plan.days for event in day.events if "cassette" in event.stores]
    assert plan.days[-1].number in served
    for day in plan.days:
        for event in day.events:
            if event.kind == "service" and "cassette" in event.stores:
                assert event.spot is not None
                assert event.spot.name == "Weir dump"
                assert event.start.hour >= 8
                assert event.end.hour < 17 or (event.end.hour == 17 and event.end.minute == 0)
    assert plan.days[-1].events[-1].kind == "return"
    assert plan.days[-1].events[-1].end <= plan.trip.return_by


def test_sights_by_the_way_asked_for(plan):
    """The sight for the van is seen on a towing day, the one for the car on a standing day, the nice one where it pays."""
    how = {event.spot.name: day.kind for day in plan.days for event in day.events if event.kind == "sight" and event.spot}
    assert how["Vantage"] == "towing"
    assert how["Xarn"] == "standing"
    assert "Yardhouse" in how
    assert plan.cost.sights_value_cents == 4000


def test_same_trip_same_plan(region_at, tmp_path):
    """The same trip gives the same plan byte for byte, with cold caches and warm."""
    region, at = region_at
    trip = trip_of(region, at, nights=4, sights=(Sight(spot(region, "Vantage"), True, 0, Via.EITHER, 1.0),))
    texts = {plan_to_json(make_plan(trip, region, cache=tmp_path / name)) for name in ("one", "one", "two")}
    assert len(texts) == 1


def test_a_closure_in_the_middle_parts_the_trip(tmp_path):
    """A short cut that is shut from a date is taken before it and not after; two networks serve one search."""
    ascii_map = """
D----E-------F
     |       |
     I       S
     |       |
     K-------L
     |
     T
"""
    shut = {
        "highway": "primary",
        "surface": "asphalt",
        "maxspeed": "80",
        "motor_vehicle:conditional": "no @ (2026 Feb 05-2026 Feb 28)",
    }
    ways = {"DE": ROAD, "EF": shut, "FS": ROAD, "SL": ROAD, "LK": ROAD, "KIE": ROAD, "KT": LANE}
    nodes = {
        "S": f"{SITE} name=Sandhome drinking_water=yes toilets=yes sanitary_dump_station=yes grey_water=yes charge=15",
        "T": f"{SITE} name=Tarnside drinking_water=yes toilets=yes sanitary_dump_station=yes grey_water=yes charge=15",
    }
    region, at = drawn(tmp_path, ways, nodes, ascii_map)
    trip = trip_of(
        region, at, nights=4, levels=Levels(60, 0, 0, 10, 5, 80),
        bookings=tuple(Booking(date(2026, 2, d), spot(region, name)) for d, name in ((3, "Sandhome"), (4, "Sandhome"), (5, "Tarnside"))),
        firm=Firm("Drawn Vans", "0", 85, handover_min=60),
    )  # fmt: skip
    plan = make_plan(trip, region, cache=tmp_path / "cache")
    assert audit(plan, region) == ()
    closed = int((region.ways.closed_when >= 0).nonzero()[0][0])
    by_day = {day.date: {int(region.pieces.way[p]) for leg in day.legs for p in leg.runs.piece} for day in plan.days}
    assert closed in by_day[date(2026, 2, 3)]
    assert any(closed not in rows and rows for when, rows in by_day.items() if when >= date(2026, 2, 5))
    assert all(closed not in rows for when, rows in by_day.items() if when >= date(2026, 2, 5))
    _, ways_of_days = prepare(trip, region, cache=tmp_path / "cache")
    assert [bin(w.days) for w in ways_of_days] == ["0b11", "0b11100"]


def test_short_winter_days(region_at, tmp_path):
    """In June in the south every wheel turns between sunrise and the margin before sunset, later than in February."""
    region, at = region_at
    start = datetime(2026, 6, 2, 9, tzinfo=ZoneInfo(ZONE))
    van = Van("van", 60, 50, 18, 10, 8.0, 2, 100, solar_w=400)
    trip = trip_of(
        region, at, nights=3, pick_up=start, return_by=(start + timedelta(days=3)).replace(hour=16), van=van,
        levels=Levels(60, 0, 0, 10, 16, 100), leave_after_min=7 * 60, arrive_by_min=20 * 60,
        bookings=(Booking(date(2026, 6, 3), spot(region, "Tarnside")), Booking(date(2026, 6, 2), spot(region, "Tarnside"))),
    )  # fmt: skip
    plan = make_plan(trip, region, cache=tmp_path)
    assert audit(plan, region) == ()
    for day in plan.days:
        assert day.sunrise is not None
        assert day.sunset is not None
        assert (day.sunset - day.sunrise) < timedelta(hours=9.5)
        drives = [e for e in day.events if e.kind == "drive"] if day.kind == "towing" else []
        assert all(e.start >= day.sunrise and e.end <= day.sunset - timedelta(minutes=44) for e in drives)
        assert not drives or drives[0].start.hour >= 8


@pytest.mark.parametrize("allowed", [False, True])
def test_last_mile_at_stops(allowed, tmp_path):
    """A dump at the end of an untagged lane is used where the firm allows its last mile at stops, else it is as if not there."""
    ways = {k: v for k, v in WAYS.items() if k != "WY"} | {"WY": "highway=service"}
    nodes = {**NODES, "W": {}, "Y": NODES["W"]}
    ascii_map = """
D-----E-------W------F-------V-------H
      |       Y      |       |       |
      S              T       G       U
                                     |
                                     X
"""
    region, at = drawn(tmp_path, ways, nodes, ascii_map)
    firm = Firm("Drawn Vans", "0", 85, handover_min=60, last_mile_m=2500.0, last_mile_at_stops=allowed)
    trip = trip_of(region, at, nights=2, firm=firm, levels=Levels(60, 0, 0, 10, 5, 80))
    if allowed:
        plan = make_plan(trip, region, cache=tmp_path / "cache")
        assert audit(plan, region) == ()
        unknown = [leg.unknown_m for leg in plan.days[-1].legs]
        assert max(unknown) > 1500
    else:
        with pytest.raises(NoPlanError) as caught:
            make_plan(trip, region, cache=tmp_path / "cache")
        assert "cassette" in str(caught.value)


def test_private_service_is_never_used(tmp_path):
    """A dump station behind `access=private` is no service, whatever it has."""
    private = {**NODES["W"], "access": "private"}  # type: ignore[dict-item]
    region, at = drawn(tmp_path, WAYS, {**NODES, "W": private})
    trip = trip_of(region, at, nights=2, levels=Levels(60, 0, 0, 10, 5, 80))
    with pytest.raises(NoPlanError):
        make_plan(trip, region, cache=tmp_path / "cache")


def test_depot_off_the_roads_is_told(region_at, tmp_path):
    """A depot that only gravel reaches is bad input, with the reason."""
    region, at = region_at
    trip = trip_of(region, at)
    with pytest.raises(BadInputError, match="cannot be reached with the van"):
        make_plan(replace(trip, depot=Spot("X", "Xarn", *at["X"])), region, cache=tmp_path)


def test_out_to_a_dump_and_back_to_the_same_site(tmp_path):
    """With one site on the map and no dump there, the van is towed out to the dump and back to its place."""
    region, at = drawn(tmp_path, WAYS, {k: v for k, v in NODES.items() if k not in ("T", "U", "X", "G")})
    trip = trip_of(
        region, at, nights=5, levels=Levels(60, 0, 0, 10, 10, 80), van=Van("van", 60, 50, 14, 10, 5.0, 2, 100, solar_w=200)
    )
    plan = make_plan(trip, region, cache=tmp_path / "cache")
    assert plan.proof.proven
    assert audit(plan, region) == ()
    round_trips = [d for d in plan.days[1:-1] if d.kind == "towing"]
    assert round_trips
    for day in round_trips:
        assert day.start.name == day.end.name == "Sandhome"
        assert [leg.mode for leg in day.legs] == ["van", "van"]
        assert any("cassette" in event.stores for event in day.events)
    assert [d.night.stay_night for d in plan.days[:-1] if d.night] == [1, 2, 3, 4, 5]
