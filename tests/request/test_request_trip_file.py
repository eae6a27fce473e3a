"""Trip files: what a person writes becomes a trip, and each mistake becomes one line that says what to do."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import fields, replace
from datetime import date, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tripplan.model.errors import BadInputError
from tripplan.model.place import Spot
from tripplan.model.trip import Trip, Weights
from tripplan.model.van import Party, Van
from tripplan.model.words import SiteKind, Via
from tripplan.region.build import build
from tripplan.region.find import find
from tripplan.region.region import Region
from tripplan.request.keys import NEEDED, TABLES, keys_of
from tripplan.request.spots import find_spot, on_map, road_m
from tripplan.request.trip_file import load_trip, read_firm, read_outfit

SAMPLE = Path(__file__).resolve().parents[2] / "data_sample"

GOOD = """\
van = "van.toml"
party = "party.toml"
firm = "firm.toml"
outfit = "outfit.toml"

[pick_up]
place = "Long Lee"
time = 2026-02-03T10:00:00

[return]
time = 2026-02-09T15:00:00
"""
PARTS = {
    "van.toml": (
        'name = "test van"\nfresh_l = 60\ngrey_l = 60\ncassette_l = 18\nflush_l = 10\ngas_bottle_kg = 5\ngas_bottles = 2\nbattery_ah = 100\n'
    ),
    "party.toml": 'name = "test party"\nadults = 2\n',
    "firm.toml": 'name = "test firm"\nphone = "1"\ntowing_limit_kmh = 90\n',
    "outfit.toml": 'name = "test outfit"\ncar_mass_kg = 2000\nvan_mass_kg = 1400\nheight_m = 2.6\nwidth_m = 2.3\nlength_m = 12\n',
}


@pytest.fixture(scope="module")
def region() -> Region:
    """The sample island."""
    return build(SAMPLE / "island.osm.pbf", name="Ornevay")


@pytest.fixture
def load(tmp_path: Path, region: Region) -> Callable[..., Trip]:
    """Write a trip and its parts, each text changed as told, and load it."""

    def run(text: str = GOOD, *, now: datetime | None = None, **parts: str) -> Trip:
        for name, body in PARTS.items():
            (tmp_path / name).write_text(parts.get(name.removesuffix(".toml"), body), encoding="utf-8")
        (tmp_path / "trip.toml").write_text(text, encoding="utf-8")
        return load_trip(tmp_path / "trip.toml", region, now=now)

    return run


def refused(load: Callable[..., Trip], *args: str, now: datetime | None = None, **parts: str) -> str:
    """Return the one line that a file is refused with, its folder taken out."""
    with pytest.raises(BadInputError) as caught:
        load(*args, now=now, **parts)
    assert "\n" not in str(caught.value)
    assert caught.value.next_step, "no next step"
    assert caught.value.accepted, "nothing said of what is accepted"
    return re.sub(r"(?<![\w.:/])/\S*/", "", str(caught.value))


# ------------------------------------------------------------------------------------------------- what is read


def test_the_least_that_a_trip_needs(load: Callable[..., Trip]) -> None:
    """Places are found, times are local to the region, and everything left out has its documented default."""
    trip = load()
    assert trip.name == "trip"
    assert (trip.depot.name, trip.return_depot) == ("Long Lee", trip.depot)
    assert trip.pick_up == datetime(2026, 2, 3, 10, tzinfo=ZoneInfo("Etc/GMT+2"))
    assert trip.pick_up.utcoffset() == timedelta(hours=-2)  # 26° west: Etc/GMT+2 by the time zone map, signs reversed
    assert trip.nights == 6
    assert (trip.max_drive_s, trip.first_day_drive_s) == (4 * 3600, 2 * 3600)
    assert (trip.leave_after_min, trip.arrive_by_min) == (9 * 60, 18 * 60)
    assert (trip.firm.handover_min, trip.firm.return_min) == (90, 60)
    assert trip.weights == Weights()
    assert not trip.pets
    assert (trip.sights, trip.bookings, trip.avoid, trip.no_towing, trip.weather) == ((), (), (), (), ())


def test_levels_at_pick_up_by_default(load: Callable[..., Trip]) -> None:
    """Barrels empty, cassette clean, gas full, battery at 80 %: as most vans stand in a yard."""
    levels = load().levels
    assert (levels.fresh_l, levels.grey_l, levels.cassette_l, levels.flush_l) == (0, 0, 0, 0)
    assert (levels.gas_kg, levels.battery_ah) == (10, 80)


def test_everything_that_may_be_written(load: Callable[..., Trip]) -> None:
    """Each key lands where it belongs."""
    text = GOOD.replace(
        'van = "van.toml"',
        'name = "All of it"\nconfidence = 0.9\nno_towing = [2026-02-05]\navoid = ["Saltgrass Bay"]\nvan = "van.toml"',
    )
    trip = load(
        text.replace("[return]", '[return]\nplace = "-43.2, -26.1"')
        + """
[driving]
max_h = 3.5
first_day_max_h = 1
drivers = 2
ferries = false
tolls = false
hourly_closures_all_day = false
leave_after = 08:30:00
arrive_by = 17:00:00
sunset_margin_min = 60
[wishes]
powered_nights_at_least = 2
site_kinds = ["caravan site", "farm stay"]
pets = true
budget_cents = 90000
max_one_night_stays = 3
presumed_offers = false
[levels]
fresh_l = 30
gas_kg = 4.5
[weights]
drive_hour_cents = 1500
[[weather]]
month = 2
mean_c = 15
low_c = 8
high_c = 21
sun_kwh_per_m2 = 5.5
[[sights]]
place = "Tarn Light"
via = "car only"
hours = 2
[[sights]]
place = "Lothmere"
must = false
value_cents = 3000
nights = 2
near_km = 12
[[bookings]]
night = 2026-02-04
place = "Tarrow Green"
"""
    )
    assert (trip.name, trip.confidence, trip.no_towing) == ("All of it", 0.9, (date(2026, 2, 5),))
    assert trip.avoid[0].name == "Saltgrass Bay"
    assert (trip.return_depot.lat, trip.return_depot.lon, trip.return_depot.place) == (-43.2, -26.1, -1)
    assert (trip.max_drive_s, trip.first_day_drive_s, trip.drivers) == (12600, 3600, 2)
    assert (trip.ferries, trip.tolls, trip.leave_after_min, trip.arrive_by_min, trip.sunset_margin_min) == (
        False,
        False,
        510,
        1020,
        60,
    )
    assert trip.road_hours == (510, 1020)
    assert (trip.powered_nights_at_least, trip.site_kinds) == (2, (SiteKind.CARAVAN_SITE, SiteKind.FARM))
    assert (trip.pets, trip.budget_cents, trip.max_one_night_stays, trip.presumed_offers) == (True, 90000, 3, False)
    assert (trip.levels.fresh_l, trip.levels.gas_kg, trip.weights.drive_hour_cents) == (30, 4.5, 1500)
    assert (trip.weather[0][0], trip.weather[0][1].sun_kwh_per_m2, trip.weather[0][1].source) == (2, 5.5, "the trip file")
    assert (trip.sights[0].via, trip.sights[0].hours, trip.sights[0].must) == (Via.CAR_ONLY, 2, True)
    assert (trip.sights[1].nights, trip.sights[1].near_km, trip.sights[1].value_cents, trip.sights[1].spot.place) == (
        2,
        12,
        3000,
        -1,
    )
    assert (trip.bookings[0].night, trip.bookings[0].spot.name) == (date(2026, 2, 4), "Tarrow Green")


def test_tables_inside_the_trip_do_as_well_as_files(load: Callable[..., Trip]) -> None:
    """A van written into the trip is the same van."""
    inline = GOOD.replace('van = "van.toml"\n', "") + "\n[van]\n" + PARTS["van.toml"]
    assert load(inline).van == load().van


def test_a_part_file_may_name_its_table(load: Callable[..., Trip]) -> None:
    """A van file that holds one [van] table is read as that van."""
    assert load(van="[van]\n" + PARTS["van.toml"]).van == load().van


def test_the_lower_towing_limit_holds(load: Callable[..., Trip]) -> None:
    """The firm's limit and the outfit's: whichever is lower."""
    assert load().outfit.towing_limit_kmh == 90
    assert load(outfit=PARTS["outfit.toml"] + "towing_limit_kmh = 80\n").outfit.towing_limit_kmh == 80


def test_outfit_and_car_alone(load: Callable[..., Trip]) -> None:
    """Masses add up, the greater height rules, and the car alone is the car alone."""
    trip = load(outfit=PARTS["outfit.toml"] + "car_height_m = 2.8\n")
    assert (trip.outfit.mass_kg, trip.outfit.van_mass_kg, trip.outfit.height_m, trip.outfit.towing) == (3400, 1400, 2.8, True)
    assert (trip.car.mass_kg, trip.car.van_mass_kg, trip.car.length_m, trip.car.towing) == (2000, 0, 4.7, False)


def test_a_time_with_an_offset_is_brought_home(load: Callable[..., Trip]) -> None:
    """A time written for another offset is the same moment on the region's clock."""
    trip = load(GOOD.replace("2026-02-03T10:00:00", "2026-02-03T12:00:00+00:00"))
    assert (trip.pick_up.hour, trip.pick_up.utcoffset()) == (10, timedelta(hours=-2))


def test_pets_of_the_party_ask_for_sites_that_take_them(load: Callable[..., Trip]) -> None:
    """A party with a dog wants sites for dogs unless the trip says otherwise."""
    with_dog = PARTS["party.toml"] + "pets = 1\n"
    assert load(party=with_dog).pets
    assert not load(GOOD + "[wishes]\npets = false\n", party=with_dog).pets


def test_name_and_town_tell_two_places_apart(load: Callable[..., Trip]) -> None:
    """Two hamlets share a name; the town after the comma decides."""
    west = load(GOOD.replace("Long Lee", "Saltgrass, Tarrowby")).depot
    east = load(GOOD.replace("Long Lee", "Saltgrass, Fennoway")).depot
    assert west.name == east.name == "Saltgrass"
    assert west.lon < -26.5 < -24.9 < east.lon


def _south_of_all_roads(region: Region, metres: float) -> Spot:
    """A point so far south of the southernmost point of road."""
    row = int(region.pieces.lat_e7.argmin())
    lat = region.pieces.lat_e7[row] / 1e7 - metres / 111_195
    return find(region, f"{lat:.7f}, {region.pieces.lon_e7[row] / 1e7:.7f}")[0]


def test_a_place_just_outside_the_box_of_the_roads_is_on_the_map(load: Callable[..., Trip], region: Region) -> None:
    """A place hangs over the rim as far as a road reaches it; further out, its distance and a box that differs from it are told."""
    near, far = (_south_of_all_roads(region, metres) for metres in (55, 2100))
    assert not on_map(region, near.lon, near.lat)
    assert road_m(region, near.lon, near.lat) == pytest.approx(55, abs=0.5)
    assert load(GOOD.replace("Long Lee", near.text)).depot.lat == near.lat
    assert '" is off the map: the nearest road is 2100 m away; accepted: latitude ' in refused(
        load, GOOD.replace("Long Lee", far.text)
    )


def test_a_narrow_box_is_said_with_digits_that_differ(region: Region) -> None:
    """A town by name beyond the reach of a region 200 m wide: two digits would give one figure for both sides."""
    lon, lat, box = -26.0, -43.0, (-26.0, -43.0, -25.998, -42.998)
    ptr, spans = np.array([0, 2]), {"lon_e7": [-260000000, -259980000], "lat_e7": [-430000000, -429980000]}
    pieces = replace(
        region.pieces,
        ptr=ptr,
        **{k: np.array(v, np.int32) for k, v in spans.items()},
        way=np.zeros(1, np.int32),
        length_m=np.full(1, 275.0),
    )
    town = replace(region.towns, **{f.name: getattr(region.towns, f.name)[:1] for f in fields(region.towns)})
    town = replace(town, lon_e7=np.array([round(lon * 1e7)], np.int32), lat_e7=np.array([round(lat * 1e7) - 300_000], np.int32))
    narrow = replace(region, meta=replace(region.meta, bbox=box), pieces=pieces, towns=town, places=())
    name = narrow.string(int(town.name[0]))
    with pytest.raises(BadInputError) as caught:
        find_spot(narrow, name, "[pick_up]")
    assert f'"{name}" is off the map: the nearest road is 3336 m away' in str(caught.value)
    assert caught.value.accepted == "latitude -43.000 to -42.998, longitude -26.000 to -25.998"
    assert caught.value.next_step == "name a place nearer to a road, or build a region that holds its roads"


# ------------------------------------------------------------------------------------------------- what is refused

LINES: list[tuple[str, str, dict[str, str], str]] = [
    (
        "unit in the value", GOOD, {"van": PARTS["van.toml"].replace("grey_l = 60", 'grey_l = "60 L"')},
        'van.toml, line 3: `grey_l` is "60 L"; accepted: 5 to 400 L; write `grey_l = 60`, a plain number in litres',
    ),
    (
        "unit in the key", GOOD, {"van": PARTS["van.toml"].replace("grey_l = 60", "gray_gal = 16")},
        "van.toml, line 3: key `gray_gal` is unknown (and 1 more); accepted: name, fresh_l, grey_l, cassette_l, flush_l, gas_bottle_kg, gas_bottles, battery_ah, "
        "battery_kind, battery_depth, charger_a, solar_w, fridge_w, fridge_electronics_a, fridge_towing, heater_w, heater_efficiency, heater_mains_w, heat_loss_w_per_k, "
        "water_heater_l, water_heater_w, water_heater_efficiency, hob_w, pump_l_per_min, pump_a, alarm_a, fan_a, lights_a, shower_aboard, hob_aboard, piped_water, "
        "payload_kg, nose_weight_kg, berths, cassettes, gas_propane, car_charge_a, solar_shade, water_heater_mains_w, kettle_w, mains_v, hook_up_a; "
        "did you mean `grey_l` in litres?",
    ),
    (
        "negative capacity", GOOD, {"van": PARTS["van.toml"].replace("fresh_l = 60", "fresh_l = -60")},
        "van.toml, line 2: `fresh_l` is -60; accepted: 5 to 400 L; mend the value",
    ),
    (
        "not a number", GOOD, {"van": PARTS["van.toml"].replace("fresh_l = 60", "fresh_l = nan")},
        "van.toml, line 2: `fresh_l` is nan; accepted: 5 to 400 L; mend the value",
    ),
    (
        "yes in place of a number", GOOD, {"van": PARTS["van.toml"].replace("gas_bottles = 2", "gas_bottles = true")},
        "van.toml, line 7: `gas_bottles` is true; accepted: whole numbers from 1 to 4; mend the value",
    ),
    (
        "half a bottle", GOOD, {"van": PARTS["van.toml"].replace("gas_bottles = 2", "gas_bottles = 1.5")},
        "van.toml, line 7: `gas_bottles` is 1.5; accepted: whole numbers from 1 to 4; mend the value",
    ),
    (
        "missing key", GOOD, {"van": PARTS["van.toml"].replace("grey_l = 60\n", "")},
        "van.toml: key `grey_l` is missing; accepted: 5 to 400 L; add `grey_l`: Grey water barrel or tank, full volume.",
    ),
    (
        "word not on the list", GOOD, {"van": PARTS["van.toml"] + 'battery_kind = "lifepo"\n'},
        'van.toml, line 9: `battery_kind` is "lifepo"; accepted: "flooded", "agm", "gel", "lifepo4"; did you mean "lifepo4"?',
    ),
    (
        "gas wanted back that nobody carries", GOOD, {"firm": PARTS["firm.toml"] + "return_gas_kg = 12\n"},
        "firm.toml, line 4: `return_gas_kg` is 12; accepted: at most the 10 kg that the van carries; mend the firm or the van",
    ),
    (
        "length of the van alone", GOOD, {"outfit": PARTS["outfit.toml"].replace("length_m = 12", "length_m = 4.6")},
        "outfit.toml, line 6: `length_m` is 4.6; accepted: more than the car's own 4.7 m: car and van together, drawbar included; mend the length",
    ),
    (
        "return before pick-up", GOOD.replace("2026-02-09", "2026-02-02"), {},
        "trip.toml, [return]: return 2026-02-02 15:00 is not after pick-up 2026-02-03 10:00; accepted: a return 1 to 35 nights after pick-up; "
        "mend one of the two times",
    ),
    (
        "back the same day", GOOD.replace("2026-02-09", "2026-02-03"), {},
        "trip.toml, [return]: pick-up 2026-02-03 to return 2026-02-03 are 0 nights; accepted: 1 to 35 nights; mend one of the two times",
    ),
    (
        "two months", GOOD.replace("2026-02-09", "2026-04-09"), {},
        "trip.toml, [return]: pick-up 2026-02-03 to return 2026-04-09 are 65 nights; accepted: 1 to 35 nights; mend one of the two times",
    ),
    (
        "date without time", GOOD.replace("2026-02-09T15:00:00", "2026-02-09"), {},
        "trip.toml, [return]: `time` is 2026-02-09; accepted: a date and time without quotes, such as 2026-02-03T10:00:00; "
        "add the time of day, such as 2026-02-09T10:00:00",
    ),
    (
        "time in quotes", GOOD.replace("2026-02-09T15:00:00", '"2026-02-09 15:00"'), {},
        'trip.toml, [return]: `time` is "2026-02-09 15:00"; accepted: a date and time without quotes, such as 2026-02-03T10:00:00; write it without quotes',
    ),
    (
        "syntax", GOOD.replace("[return]", "[return"), {},
        "trip.toml: is not TOML: Expected ']' at the end of a table declaration (at line 10, column 8); accepted: key = value lines; mend that line",
    ),
    (
        "a day that is none", GOOD.replace("2026-02-09T", "2026-02-30T"), {},
        "trip.toml: is not TOML: Invalid date or datetime (at line 11, column 8); accepted: key = value lines; mend that line",
    ),
    (
        "several places", GOOD.replace("Long Lee", "Saltgrass"), {},
        "Saltgrass (hamlet",
    ),
    (
        "no such place", GOOD.replace("Long Lee", "Long Leee"), {},
        'trip.toml, [pick_up], line 7: "Long Leee" is not on the map of Ornevay; accepted: a name on the map, "name, town near it", "latitude, longitude", '
        'or a map identity such as "n123"; did you mean "Long Lee"?',
    ),
    (
        "depot off the map", GOOD.replace("Long Lee", "-41.2, -26.0"), {},
        'trip.toml, [pick_up], line 7: "-41.2, -26.0" is off the map: the nearest road is FAR km away; accepted: latitude BOX; '
        "check the coordinates, or build a region that holds them",
    ),
    (
        "longitude first", GOOD.replace("Long Lee", "-26.0, -43.2"), {},
        'trip.toml, [pick_up], line 7: "-26.0, -43.2" is off the map: the nearest road is FAR km away; accepted: latitude BOX; '
        'did you mean "-43.2, -26"? Latitude comes first',
    ),
    (
        "not on earth", GOOD.replace("Long Lee", "-143.2, -26.0"), {},
        "trip.toml, [pick_up], line 7: position '-143.2, -26.0' is not on earth; accepted: latitude, longitude in degrees, as in 57.41, -6.19; "
        "mind the order: latitude first",
    ),
    (
        "unknown identity", GOOD.replace("Long Lee", "n999999999"), {},
        'trip.toml, [pick_up], line 7: "n999999999" is not on the map of Ornevay; accepted: a name on the map, "name, town near it", "latitude, longitude", '
        'or a map identity such as "n123"; check the spelling on the map',
    ),
    (
        "booked night outside", GOOD + '[[bookings]]\nnight = 2026-02-09\nplace = "Tarrow Green"\n', {},
        "trip.toml, [bookings 1], line 13: `night` is 2026-02-09, outside the trip; accepted: nights that begin from 2026-02-03 to before 2026-02-09; "
        "mend the date or the trip's times",
    ),
    (
        "booked twice", GOOD + 2 * '[[bookings]]\nnight = 2026-02-05\nplace = "Tarrow Green"\n', {},
        "trip.toml, [bookings 2]: the night of 2026-02-05 is booked twice; accepted: one place a night; take one of the two out",
    ),
    (
        "a night in a museum", GOOD + '[[bookings]]\nnight = 2026-02-05\nplace = "Museum of the Orne Sea"\n', {},
        "is no site but Museum of the Orne Sea (sight, ",
    ),
    (
        "no towing after the trip", 'no_towing = [2026-03-01]\n' + GOOD, {},
        "trip.toml, line 1: `no_towing` holds 2026-03-01, outside the trip; accepted: dates from 2026-02-03 to 2026-02-09; mend the date or take it out",
    ),
    (
        "more water than the barrel holds", GOOD + "[levels]\nfresh_l = 70\n", {},
        "trip.toml, [levels], line 13: `fresh_l` is 70; accepted: at most the 60 that the van holds; mend the level or the van",
    ),
    (
        "a visit of no length", GOOD + '[[sights]]\nplace = "Tarn Light"\nhours = 0\n', {},
        "trip.toml, [sights 1], line 14: `hours` is 0; accepted: more than 0 hours, or `nights` of 1 or more; say how long the visit is",
    ),
    (
        "unknown key of a sight", GOOD + '[[sights]]\nplace = "Tarn Light"\nduration_h = 2\nvia = "boat"\n', {},
        "trip.toml, [sights 1], line 14: key `duration_h` is unknown (and 1 more); accepted: place, must, value_cents, via, hours, nights, near_km, visiting; take it out",
    ),
    (
        "one sight twice", GOOD + '[[sights]]\nplace = "Tarn Light"\n\n[[sights]]\nplace = "tarn light"\nmust = false\n', {},
        "trip.toml, [sights 2]: Tarn Light is wished for twice, as sight 1 already; accepted: each place once; "
        "take one of the two out, or make them differ (hours, nights)",
    ),
    (
        "one sight as a table", GOOD + '[sights]\nplace = "Tarn Light"\n', {},
        "trip.toml: `sights` is {'place': 'Tarn Light'}; accepted: one or more tables of keys; write `[[sights]]` with two brackets",
    ),
    (
        "unknown table", GOOD + "[drivng]\nmax_h = 3\n", {},
        "trip.toml: key `drivng` is unknown; accepted: name, van, party, firm, outfit, pick_up, return, sights, bookings, avoid, no_towing, driving, wishes, "
        "levels, weights, weather, closures, confidence, language, units; did you mean `driving`?",
    ),
    (
        "part missing", GOOD.replace('van = "van.toml"', 'van = "vans/none.toml"'), {},
        "trip.toml, line 1: `van`: none.toml no such file; accepted: a TOML file; check the path; paths are relative to the trip's folder",
    ),
    (
        "part from the net", GOOD.replace('van = "van.toml"', 'van = "https://example.org/van.toml"'), {},
        'trip.toml, line 1: `van` is "https://example.org/van.toml"; accepted: the path of a file on this machine; save the file beside the trip and name it',
    ),
    (
        "part is a number", GOOD.replace('van = "van.toml"', "van = 3"), {},
        'trip.toml, line 1: `van` is 3; accepted: the path of a TOML file, or a table of keys; write `van = "FILE.toml"`',
    ),
    (
        "cold above warm", GOOD + "[[weather]]\nmonth = 2\nmean_c = 25\nlow_c = 8\nhigh_c = 21\nsun_kwh_per_m2 = 5\n", {},
        "trip.toml, [weather 1], line 14: `mean_c` is 25; accepted: 8 to 21 °C, between `low_c` and `high_c`; mend the three temperatures",
    ),
    (
        "area in the wrong order", GOOD, {"firm": PARTS["firm.toml"] + '[[areas_off_limits]]\nname = "x"\npoints = [[10, 95], [11, 95], [10, 96]]\n'},
        "firm.toml, [areas_off_limits 1], line 6: `points` holds [10, 95]; accepted: [longitude, latitude] in degrees; mind the order: longitude first",
    ),
]  # fmt: skip


@pytest.mark.parametrize(("text", "parts", "says"), [line[1:] for line in LINES], ids=[line[0] for line in LINES])
def test_each_mistake_is_one_clear_line(load: Callable[..., Trip], text: str, parts: dict[str, str], says: str) -> None:
    """What, where, the value met, what is accepted, what to do: on one line."""
    line = re.sub(
        r"latitude -43\.\d\d to -42\.\d\d, longitude -27\.\d\d to -24\.\d\d", "latitude BOX", refused(load, text, **parts)
    )
    line = re.sub(r"road is \d+ km", "road is FAR km", line)
    assert says in line
    if says.startswith(("trip.toml", "van.toml", "firm.toml", "outfit.toml")):
        assert line == says


def test_several_matches_are_listed(load: Callable[..., Trip]) -> None:
    """Two places of one name are both named, with what is near each and where they lie."""
    line = refused(load, GOOD.replace("Long Lee", "Saltgrass"))
    assert line.startswith('trip.toml, [pick_up], line 7: "Saltgrass" fits 2 places: Saltgrass (hamlet')
    assert line.count("-43.") == 2
    assert line.endswith('accepted: one place; write it as "name, town near it", as "latitude, longitude" or as its map identity')


@pytest.mark.parametrize(
    ("line", "allowed"), [("", False), ("last_mile_at_stops = true", True), ("last_mile_at_stops = false", False)]
)
def test_last_mile_at_stops_is_the_firms(load: Callable[..., Trip], line: str, allowed: bool) -> None:
    """A firm that does not say so keeps stops to known roads."""
    assert load(firm=f"{PARTS['firm.toml']}{line}\n").firm.last_mile_at_stops is allowed


def test_firm_and_outfit_on_their_own() -> None:
    """The two files that a check of a way needs are read without a trip."""
    firm = read_firm(SAMPLE / "firm.toml")
    outfit = read_outfit(SAMPLE / "outfits" / "estate_and_four_berth.toml", firm)
    assert (firm.towing_limit_kmh, outfit.towing_limit_kmh, outfit.mass_kg) == (85, 85, 3550)
    with pytest.raises(BadInputError, match=r"firm\.toml, line 2: key `name` is unknown|key `"):
        read_outfit(SAMPLE / "firm.toml", firm)


@pytest.mark.parametrize(
    ("text", "parts", "says"),
    [
        (GOOD.replace("2026-02-09T15", "9999-12-31T15").replace("2026-02-03T10", "9999-12-28T10"), {}, "`time` is in the year 9999; accepted: years 1990 to 2100"),
        (GOOD.replace("2026-02-03T10", "0001-02-03T10"), {}, "`time` is in the year 1;"),
        (GOOD + '[[sights]]\nplace = "Pell Sands"\n' * 33, {}, "`sights` holds 33; accepted: at most 32 sights"),
        (GOOD, {"party": 'name = "crowd"\nadults = 3\nchildren = 2\n'}, "5 people travel in a van with 4 berths; accepted: at most 4"),
        (GOOD + "[[weather]]\nmonth = 3\nmean_c = 10\nlow_c = 20\nhigh_c = 0\nsun_kwh_per_m2 = 1\n", {}, "`low_c` is 20 and `high_c` 0; accepted: a coldest hour below the warmest"),
        (GOOD.replace('"van.toml"', '""'), {}, "is a folder; accepted: a TOML file; name a file in it"),
        (GOOD, {"van": "grey_l = " + "9" * 5000}, "is not TOML: a number has thousands of digits"),
    ],
)  # fmt: skip
def test_what_no_trip_can_hold(load: Callable[..., Trip], text: str, parts: dict[str, str], says: str) -> None:
    """Years without a calendar, more sights than the search keeps, more people than beds, a folder for a van: one line each, said once."""
    told = refused(load, text, **parts)
    assert says in told
    assert told.count("accepted") == 1


def test_a_time_that_clocks_skip(load: Callable[..., Trip], region: Region, tmp_path: Path) -> None:
    """Half past two does not exist on the morning when clocks go forward (EU Directive 2000/84/EC: last Sunday of March, 01:00 UTC)."""
    from dataclasses import replace

    there = replace(region, meta=replace(region.meta, tz="Europe/Vaduz"))
    load(GOOD.replace("2026-02-03T10:00:00", "2026-03-29T02:30:00").replace("2026-02-09T15", "2026-04-02T15"))
    written = (tmp_path / "trip.toml").read_text(encoding="utf-8")
    with pytest.raises(BadInputError, match=r"when clocks there go forward.*2026-03-29T03:30:00"):
        load_trip(tmp_path / "trip.toml", there)
    for exists in ("2026-03-29T03:30:00", "2026-03-28T02:30:00", "2026-10-25T02:30:00"):
        text = written.replace("2026-03-29T02:30:00", exists).replace(
            "2026-04-02T15", "2026-04-02T15" if "-03-" in exists else "2026-10-30T15"
        )
        (tmp_path / "trip.toml").write_text(text, encoding="utf-8")
        assert load_trip(tmp_path / "trip.toml", there).pick_up.isoformat().startswith(exists)


def test_part_of_a_name_is_not_taken_by_role(load: Callable[..., Trip]) -> None:
    """A part of a name that fits a town, sites and service points lists them all: at pick-up a service point is no better guess."""
    told = refused(load, GOOD.replace('"Long Lee"', '"quill"'))
    assert '"quill" fits 6 places' in told
    assert "Quillansea (town" in told


def test_pick_up_in_the_past(load: Callable[..., Trip]) -> None:
    """Where the caller tells the time, a year mistyped is found."""
    now = datetime(2026, 6, 1, 12, tzinfo=ZoneInfo("Etc/GMT+2"))
    assert refused(load, now=now) == (
        "trip.toml, [pick_up]: pick-up 2026-02-03 10:00 lies in the past; accepted: a time to come; mend the year"
    )


@pytest.mark.parametrize(
    ("content", "says"),
    [
        (None, "no such file; accepted: a TOML file; check the path"),
        (b"\x89PNG\r\n\x1a\n\xff", "is not UTF-8 text (byte 1 is 0x89); accepted: a TOML file; save it as UTF-8 text"),
        (b"a = 1\n" * 200_000, "is larger than 1 MB; accepted: a TOML file, at most 1 MB; take a smaller one"),
        (b"a = " + b"[" * 50_000, "is not TOML: nested too deep; accepted: key = value lines; mend that line"),
        (
            b"",
            "holds no trip; accepted: a trip file; write one with `tripplan new`, or take a sample: `tripplan demo --copy my-files`",
        ),
        (
            b"name = 'ours'",
            "key `van` is missing (and 5 more); accepted: the path of a TOML file, or a table of keys; add `van`: The van: its stores and appliances.",
        ),
    ],
)
def test_files_that_are_none(tmp_path: Path, region: Region, content: bytes | None, says: str) -> None:
    """No file, a picture, a flood, a trap and nothing at all: one line each."""
    path = tmp_path / "trip.toml"
    if content is not None:
        path.write_bytes(content)
    with pytest.raises(BadInputError) as caught:
        load_trip(path, region)
    assert str(caught.value) == f"{path}: {says}"


def test_a_folder_is_no_trip(tmp_path: Path, region: Region) -> None:
    """A folder named in place of a file is told apart."""
    with pytest.raises(BadInputError, match="is a folder; accepted: a TOML file; name a file in it"):
        load_trip(tmp_path, region)


TOML_VALUES = st.sampled_from(
    [
        "-1",
        "0",
        "1e300",
        "nan",
        "true",
        '""',
        '"x"',
        '"{{ 1 }}"',
        "[]",
        "{}",
        "[1]",
        "2026-02-05",
        "10:00:00",
        "2026-02-05T10:00:00",
        "9999999999999999999999",
    ]
)


@settings(max_examples=120, deadline=None, derandomize=True)
@given(st.data())
def test_any_value_at_any_key_is_taken_or_told(
    region: Region, tmp_path_factory: pytest.TempPathFactory, data: st.DataObject
) -> None:
    """Whatever stands at a key ends in a trip or in one line, never in another error."""
    folder = tmp_path_factory.mktemp("any")
    table = data.draw(st.sampled_from(["trip", "van", "party", "firm", "outfit", "driving", "wishes", "levels", "weights"]))
    key = data.draw(st.sampled_from([k.name for k in TABLES[table]] + ["strange"]))
    line = f"{key} = {data.draw(TOML_VALUES)}\n"
    texts = {"trip.toml": GOOD, **PARTS}
    if table == "trip":
        texts["trip.toml"] = line + re.sub(rf"(?m)^{key} = .*\n", "", GOOD)
    elif f"{table}.toml" in texts:
        texts[f"{table}.toml"] = line + re.sub(rf"(?m)^{key} = .*\n", "", texts[f"{table}.toml"])
    else:
        texts["trip.toml"] = GOOD + f"[{table}]\n{line}"
    for name, text in texts.items():
        (folder / name).write_text(text, encoding="utf-8")
    try:
        load_trip(folder / "trip.toml", region)
    except BadInputError as error:
        assert "\n" not in str(error)  # noqa: PT017


# ------------------------------------------------------------------------------------------------- the table of keys


def test_every_field_of_van_and_party_has_its_key() -> None:
    """Nothing that the model knows of a van or a party is out of a person's reach, but for what readings tell."""
    for table, kind in (("van", Van), ("party", Party), ("weights", Weights)):
        assert {key.name for key in keys_of(table)} == {f.name for f in fields(kind)} - {"learned"}


@pytest.mark.parametrize("table", ["van", "party"])
def test_ranges_agree_with_the_model(table: str) -> None:
    """A value at either end of a key's range is one that the class takes; beyond it the class refuses too."""
    kind = {"van": Van, "party": Party}[table]
    base = {"name": "x", **{k.name: k.low if k.default is NEEDED else k.default for k in keys_of(table) if k.name != "name"}}
    for key in keys_of(table):
        if key.kind not in ("number", "whole") or key.low is None or key.high is None:
            continue
        for value in (key.low, key.high):
            kind(**{**base, key.name: value})
        for value in (key.low - 0.01, key.high + 0.01):
            with pytest.raises(BadInputError):
                kind(**{**base, key.name: value})
