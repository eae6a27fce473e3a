"""Access hierarchy, barriers, fords, one-way and closures by date, each with the case where the rule must not bite."""

from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tripplan.model.outfit import Outfit
from tripplan.region.columns import HIGHWAYS, Access
from tripplan.rules.access import (
    ACCESS_VALUES,
    BARRIERS,
    CLOSED,
    ENDS_ONLY,
    OPEN,
    ROAD_CLASSES,
    AccessFact,
    closed_on,
    closed_when,
    judge_access,
    judge_barrier,
    oneway,
)  # fmt: skip
from tripplan.rules.limits import size_limits

ROAD = {"highway": "secondary"}


def access(mode: str = "tow", **tags: str) -> int:
    return judge_access({**ROAD, **{key.replace("__", ":"): value for key, value in tags.items()}}, mode).access


def test_the_numbers_are_the_regions() -> None:
    """Road classes and access numbers agree with the region's columns, which this room may not import."""
    assert ROAD_CLASSES == HIGHWAYS
    assert (OPEN, ENDS_ONLY, CLOSED) == (Access.OPEN, Access.ENDS_ONLY, Access.CLOSED)


def test_the_particular_beats_the_general() -> None:
    """Access < vehicle < motor_vehicle < motorcar < trailer < caravan, in both senses."""
    chain = ["access", "vehicle", "motor_vehicle", "motorcar", "trailer", "caravan"]
    for i, general in enumerate(chain):
        for particular in chain[i + 1 :]:
            assert access(**{general: "no", particular: "yes"}) == OPEN
            assert access(**{general: "yes", particular: "no"}) == CLOSED


def test_trailer_keys_are_for_the_van_only() -> None:
    """trailer=no and caravan=no close to the van, not to the car; motorhome is never read."""
    for key in ("trailer", "caravan"):
        assert access(**{key: "no"}) == CLOSED
        assert access("car", **{key: "no"}) == OPEN
        assert access(motor_vehicle="no", **{key: "yes"}) == OPEN
        assert access("car", motor_vehicle="no", **{key: "yes"}) == CLOSED
        assert access(**{key: "discouraged"}) == CLOSED
    for mode in ("tow", "car"):
        assert access(mode, motorhome="no") == OPEN
        assert access(mode, motor_vehicle="no", motorhome="designated") == CLOSED
        assert access(mode, hgv="no", bicycle="no", foot="no", horse="no", bus="no") == OPEN


# Values: OSM wiki, Key:access, and id-tagging-schema; which of them a car may use as OSRM's profile car.lua (BSD-2) has it.
@pytest.mark.parametrize(
    ("value", "expected"),
    [
        *[(value, OPEN) for value in ("yes", "permissive", "designated", "official")],
        *[(value, ENDS_ONLY) for value in ("destination", "customers", "delivery")],
        *[(value, CLOSED) for value in ("no", "private", "permit", "agricultural", "forestry", "emergency", "military", "residents")],
        ("unknown", OPEN), ("", OPEN), ("qwerty", CLOSED), ("YES ", OPEN), ("Private", CLOSED),
    ],
)  # fmt: skip
@pytest.mark.parametrize("key", ["access", "vehicle", "motor_vehicle", "motorcar"])
@pytest.mark.parametrize("mode", ["tow", "car"])
def test_values(mode: str, key: str, value: str, expected: int) -> None:
    """Every documented value has its answer in both modes; one that is not understood closes; unknown says nothing."""
    fact = judge_access({**ROAD, key: value}, mode)
    assert fact.access == expected
    assert (fact.why == "") == (expected == OPEN)


def test_unknown_does_not_open_what_a_general_key_closes() -> None:
    """motor_vehicle=unknown leaves access=private in force."""
    assert access(access="private", motor_vehicle="unknown") == CLOSED


@pytest.mark.parametrize(
    ("value", "expected"),
    [("agricultural;forestry", CLOSED), ("destination;agricultural", ENDS_ONLY), ("yes;agricultural", OPEN), ("yes;no", CLOSED),
     ("permit;destination", ENDS_ONLY), ("private;destination", CLOSED)],
)  # fmt: skip
def test_lists(value: str, expected: int) -> None:
    """Others named beside us close nothing; of what is left the strictest counts."""
    assert access(motor_vehicle=value) == expected


def test_class_rules() -> None:
    """Foot roads and roads being built are closed; living streets and driveways are for the ends of a towing day."""
    for highway in ("footway", "pedestrian", "cycleway", "construction", "proposed", "busway", "escape", "raceway", "steps"):
        for mode in ("tow", "car"):
            assert judge_access({"highway": highway, "motor_vehicle": "yes"}, mode).access == CLOSED
    assert judge_access({"highway": "living_street"}, "tow").access == ENDS_ONLY
    assert judge_access({"highway": "living_street"}, "car").access == OPEN
    assert judge_access({"highway": "living_street", "vehicle": "private"}, "tow").access == CLOSED
    assert judge_access({"highway": "service", "service": "driveway"}, "tow").access == ENDS_ONLY
    assert judge_access({"highway": "service", "service": "driveway", "access": "yes"}, "tow").access == OPEN
    assert judge_access({"highway": "service"}, "tow").access == OPEN
    assert judge_access({"route": "ferry"}, "tow").access == OPEN


def test_closed_to_the_van_but_not_to_the_car() -> None:
    """Fords and very bad smoothness close to the van alone."""
    for tags in ({"ford": "yes"}, {"ford": "stream"}, {"smoothness": "very_bad"}, {"smoothness": "impassable"}):
        assert access(**tags) == CLOSED
        assert access("car", **tags) == OPEN
    assert access(ford="no", smoothness="bad") == OPEN
    for key in ("disused", "impassable", "ice_road", "tidal"):
        assert access("car", **{key: "yes"}) == CLOSED
        assert access("car", **{key: "no"}) == OPEN


def test_conditions_about_trailers() -> None:
    """No @ (trailer) closes to the van for good, to the car never."""
    assert access(motor_vehicle__conditional="no @ (trailer)") == CLOSED
    assert access("car", motor_vehicle__conditional="no @ (trailer)") == OPEN
    assert access(motor_vehicle="no", motor_vehicle__conditional="yes @ (caravan)") == OPEN


def test_destination_by_the_hour_counts_always() -> None:
    """A rush-hour restriction to destination is kept at all hours (Liechtenstein writes it so)."""
    assert access(access__conditional="destination @ (06:30-08:30);destination @ (16:30-18:30)") == ENDS_ONLY


def test_closures_by_date_leave_the_way_open_here() -> None:
    """The date is asked later: the static answer is open, and the raw text is handed on."""
    tags = {**ROAD, "motor_vehicle:conditional": "no @ (Nov-Apr)"}
    assert judge_access(tags, "tow").access == OPEN
    assert closed_when(tags) == "no @ (Nov-Apr)"
    opened = {**ROAD, "access": "no", "access:conditional": "yes @ (May-Oct)"}
    assert judge_access(opened, "tow").access == OPEN
    assert closed_when(opened) == "no; yes @ (May-Oct)"
    assert judge_access({**ROAD, "access": "no", "access:conditional": "yes @ (snowmobile club)"}, "tow").access == CLOSED


def test_closed_when_leaves_out_what_is_no_date() -> None:
    """Roads without conditions, and conditions on size or on others, give no closure."""
    for tags in (
        {}, {"hgv:conditional": "no @ (22:00-06:00)"}, {"motor_vehicle:conditional": "no @ (weight>3.5)"},
        {"maxspeed:conditional": "30 @ (Mo-Fr 07:00-09:00)"}, {"seasonal": "no"}, {"opening_hours": "24/7"},
    ):  # fmt: skip
        assert closed_when({**ROAD, **tags}) == ""
    assert closed_when({**ROAD, "opening_hours": "May-Oct"}) == "no; yes @ (May-Oct)"
    assert closed_when({**ROAD, "access:conditional": "no @ (hgv AND Nov-Apr)", "maxweight:conditional": "3.5 @ (hgv)"}) == ""
    assert closed_on(closed_when({**ROAD, "seasonal": "summer"}), date(2025, 7, 1)) is None


VAN = Outfit("car and van", True, 3200, 1500, 1400, height_m=2.6, width_m=2.3, length_m=12.0, towing_limit_kmh=80)


@pytest.mark.parametrize(
    ("tags", "winter", "summer"),
    [
        # A bound of size that goes with a date closes to who is beyond it, on those dates.
        ({"motor_vehicle:conditional": "no @ (Nov-Apr AND weight>2.5)"}, True, False),
        ({"motor_vehicle:conditional": "no @ (weight>7.5 AND Nov-Apr)"}, False, False),
        ({"motor_vehicle:conditional": "no @ (length > 10 AND 22:00-06:00)"}, True, True),
        ({"motor_vehicle:conditional": "no @ (length > 15 AND 22:00-06:00)"}, False, False),
        ({"motor_vehicle:conditional": "no @ (Nov-Apr); yes @ (Nov-Apr AND weight<3.5)"}, False, False),
        ({"motor_vehicle:conditional": "no @ (Nov-Apr); yes @ (Nov-Apr AND weight<3)"}, True, False),
        ({"motor_vehicle:conditional": "no @ (axles>2)"}, True, True), ({"motor_vehicle:conditional": "no @ (axles>5)"}, False, False),
        ({"motor_vehicle:conditional": "no @ (width>2.4 AND Nov-Apr)"}, True, False),  # 2.3 m and 0.2 m to spare
        ({"motor_vehicle:conditional": "no @ (width>2.5 AND Nov-Apr)"}, False, False),
        # Limits that hold at some times.
        ({"maxheight:conditional": "2.7 @ (Nov-Apr)"}, True, False), ({"maxheight:conditional": "2.8 @ (Nov-Apr)"}, False, False),
        ({"maxwidth:conditional": "8' @ (May-Oct)"}, False, True), ({"maxlength:conditional": "10 @ (Nov-Apr)"}, True, False),
        ({"maxlength:conditional": "12 @ (Nov-Apr)"}, False, False), ({"maxweight:conditional": "3 @ (22:00-06:00)"}, True, True),
        ({"maxweight:conditional": "3.2 @ (Nov-Apr)"}, False, False), ({"maxweightrating:conditional": "3 t @ (Nov-Apr)"}, True, False),
        ({"maxaxleload:conditional": "1.3 @ (Mar-Apr; Nov-Jan)"}, True, False), ({"maxaxleload:conditional": "1.4 @ (Nov-Apr)"}, False, False),
        ({"maxweight:backward:conditional": "3 @ (Nov-Apr)"}, True, False), ({"maxweight:lanes:conditional": "7.5|3 @ (Nov-Apr)"}, True, False),
        ({"maxweight:conditional": "7.5 @ (Nov-Apr); 3 @ (Jan)"}, True, False), ({"maxweight:conditional": "none @ (Nov-Apr)"}, False, False),
        ({"maxweight:conditional": "3 @ (axles>2)"}, True, True), ({"maxweight:conditional": "3 @ (length<10 AND Nov-Apr)"}, False, False),
        # Others' limits.
        ({"maxweight:hgv:conditional": "3 @ (Nov-Apr)"}, False, False), ({"maxweight:conditional": "3 @ (hgv AND Nov-Apr)"}, False, False),
        ({"maxheight:conditional": "2 @ (bus)"}, False, False),
        # Nobody can date these.
        ({"maxheight:conditional": "2.5 @ (winter)"}, None, None), ({"maxheight:conditional": "4 @ (winter)"}, False, False),
        ({"motor_vehicle:conditional": "no @ (SH 07:00-09:00)"}, None, None),
        # Dates of ISO 8601.
        ({"motor_vehicle:conditional": "no @ 2024-11-01--2025-03-31"}, True, False),
        ({"motor_vehicle:conditional": "no @ (2025-07-01/2025-07-31)"}, False, True),
        ({"motor_vehicle:conditional": "no @ (2023-11-01--2024-03-31)"}, False, False),
    ],
)  # fmt: skip
def test_closures_and_limits_by_date_and_size(tags: dict[str, str], winter: bool | None, summer: bool | None) -> None:
    """An outfit of 2.6 x 2.3 x 12 m, 3.2 t, axle 1.4 t, against what holds at some times or for some sizes."""
    raw = closed_when({**ROAD, **tags})
    assert [closed_on(raw, day, outfit=VAN) for day in (WINTER, SUMMER)] == [winter, summer]


def test_a_closure_for_trailers_by_date_leaves_the_car_alone() -> None:
    """Closed in winter with a trailer: the car alone may go; without an outfit it counts for all."""
    car = Outfit("car", False, 1700, 0, 950, height_m=1.6, width_m=1.9, length_m=4.7, towing_limit_kmh=130)
    for tags in (
        {"motor_vehicle:conditional": "no @ (trailer AND Nov-Apr)"},
        {"maxweight:conditional": "1 @ (caravan AND Nov-Apr)"},
    ):
        raw = closed_when({**ROAD, **tags})
        assert [closed_on(raw, WINTER, outfit=outfit) for outfit in (VAN, car, None)] == [True, False, True]
        assert [closed_on(raw, SUMMER, outfit=outfit) for outfit in (VAN, car, None)] == [False, False, False]


def test_a_limit_by_the_hour_within_given_hours() -> None:
    """A limit by the hour holds all day, unless the hours of use are given and lie outside it."""
    raw = closed_when({**ROAD, "maxweight:conditional": "2.8 @ (22:00-06:00)"})
    for hours, closed in ((None, True), ((9 * 60, 18 * 60), False), ((9 * 60, 23 * 60), True)):
        assert closed_on(raw, SUMMER, hours=hours, outfit=VAN) is closed


def test_a_closure_by_size_is_for_all_where_no_outfit_is_named() -> None:
    """Without an outfit what closes some closes, and what opens for some does not open."""
    assert closed_on("no @ (Nov-Apr AND weight>40)", WINTER) is True
    assert closed_on("no @ (Nov-Apr); yes @ (Nov-Apr AND weight<3.5)", WINTER) is True
    assert closed_on("no @ (Nov-Apr AND weight>40)", SUMMER) is False


def test_four_wheel_drive() -> None:
    """A road signed for four-wheel drive only is closed to van and car (OSM wiki, Key:4wd_only); a recommendation closes nothing."""
    for mode in ("tow", "car"):
        assert judge_access({**ROAD, "4wd_only": "yes"}, mode) == AccessFact(CLOSED, "4wd_only=yes")
        for value in ("no", "recommended", ""):
            assert judge_access({**ROAD, "4wd_only": value}, mode).access == OPEN


def test_conditions_for_others_leave_the_road_open() -> None:
    """Destination for lorries, or with a trailer of some weight, is no word about every outfit."""
    assert judge_access({**ROAD, "motor_vehicle:conditional": "destination @ (hgv)"}, "tow").access == OPEN
    assert judge_access({**ROAD, "motor_vehicle:conditional": "destination @ (22:00-06:00)"}, "tow").access == ENDS_ONLY
    assert judge_access({**ROAD, "motor_vehicle:conditional": "no @ (trailer)"}, "tow").access == CLOSED
    heavy = {**ROAD, "motor_vehicle:conditional": "no @ (trailer AND weight>7.5)"}
    assert judge_access(heavy, "tow").access == OPEN
    assert size_limits(heavy).weight_kg == 7500


def test_days_on_which_a_ferry_sails() -> None:
    """A ferry goes on days with any sailing, where a road with such hours would count as closed; the hours asked for matter."""
    ferry = {"route": "ferry", "motor_vehicle": "yes", "opening_hours": "Mo-Fr 10:00-16:00"}
    assert closed_when(ferry) == "no; sails @ (Mo-Fr 10:00-16:00)"
    assert [closed_on(closed_when(ferry), day) for day in (SUMMER, SATURDAY)] == [False, True]
    assert closed_on(closed_when({**ROAD, "opening_hours": "Mo-Fr 10:00-16:00"}), SUMMER) is True
    assert closed_on(closed_when(ferry), SUMMER, hours=(17 * 60, 19 * 60)) is True
    assert closed_when({**ferry, "opening_hours": "24/7"}) == ""


def test_closures_by_the_hour_within_given_hours() -> None:
    """A closure by the hour counts for the day, unless the hours of use are given and lie outside it."""
    for hours, closed in ((None, True), ((9 * 60, 18 * 60), False), ((9 * 60, 23 * 60), True)):
        assert closed_on("no @ (22:00-06:00)", SUMMER, hours=hours) is closed
    assert closed_on("no; yes @ (10:00-16:00)", SUMMER, hours=(11 * 60, 15 * 60)) is False
    assert closed_on("no; yes @ (10:00-16:00)", SUMMER, hours=(9 * 60, 15 * 60)) is True


WINTER, SUMMER, SATURDAY = date(2025, 1, 15), date(2025, 7, 15), date(2025, 7, 19)


@pytest.mark.parametrize(
    ("raw", "winter", "summer", "saturday"),
    [
        ("", False, False, False),
        ("no @ (Nov-Apr)", True, False, False),
        ("no @ (Nov - Apr)", True, False, False),
        ("no @ (1 November - 30 April)", True, False, False),
        ("no @ (May 1 - Sep 30)", False, True, True),
        ("no @ (Jun-Aug)", False, True, True),
        ("no; yes @ (May-Oct)", True, False, False),
        ("no; yes @ (May 15-Oct 15; Sa)", True, False, False),
        ("no @ (Sa,Su,PH 10:00-18:00)", False, False, True),
        ("no @ (22:00-06:00)", True, True, True),
        ("no; yes @ (06:30-08:30); yes @ (16:30-18:30)", True, True, True),
        ("no; yes @ (06:00-22:00)", False, False, False),
        ("no @ (2025 Jan 10-2025 Mar 20)", True, False, False),
        ("no @ (Jan 10 2024-Mar 20 2024)", False, False, False),
        ("no @ (snow)", None, None, None),
        ("no; yes @ (dry)", True, True, True),
        ("no @ (Nov-Apr AND snow)", None, False, False),
        ("no @ (snow); no @ (Nov-Apr)", True, None, None),
        ("no @ (Nov-Apr); yes @ (Jan)", False, False, False),
        ("no @ (Mar 15 - Sep 15)", False, True, True),
    ],
)  # fmt: skip
def test_closed_on(raw: str, winter: bool | None, summer: bool | None, saturday: bool | None) -> None:
    """Seasons (also round the new year), weekdays, hours, openings, unreadable conditions."""
    assert [closed_on(raw, day) for day in (WINTER, SUMMER, SATURDAY)] == [winter, summer, saturday]


@given(st.integers(0, 364), st.integers(0, 364), st.integers(0, 729))
def test_a_season_against_plain_dates(first: int, last: int, offset: int) -> None:
    """A season from one day of the year to another, wrapping or not, is what the calendar says (365-day years)."""
    start, end = (date(2025, 1, 1) + timedelta(days=n) for n in (first, last))
    day = date(2025, 1, 1) + timedelta(days=offset)
    key = (day.month, day.day)
    low, high = (start.month, start.day), (end.month, end.day)
    inside = low <= key <= high if low <= high else key >= low or key <= high
    raw = f"no @ ({start:%b} {start.day} - {end:%b} {end.day})"
    assert closed_on(raw, day) == inside


def test_barriers() -> None:
    """What stops a car stops us, gates without access tags are passed, access tags of the node decide."""
    for kind in ("bollard", "block", "cycle_barrier", "chain", "jersey_barrier", "log", "stile", "planter", "nonsense"):
        assert judge_barrier({"barrier": kind}, "tow").access == CLOSED
        assert judge_barrier({"barrier": kind}, "car").access == CLOSED
    for kind in ("gate", "lift_gate", "swing_gate", "toll_booth", "border_control", "cattle_grid", "entrance"):
        for mode in ("tow", "car"):
            assert judge_barrier({"barrier": kind}, mode).access == OPEN
            assert judge_barrier({"barrier": kind, "access": "private"}, mode).access == CLOSED
            assert judge_barrier({"barrier": kind, "access": "customers"}, mode).access == ENDS_ONLY
    assert "locked" in judge_barrier({"barrier": "gate"}, "tow").why
    assert judge_barrier({"barrier": "gate", "locked": "yes"}, "car").access == CLOSED
    assert judge_barrier({"barrier": "gate", "locked": "yes", "motor_vehicle": "yes"}, "car").access == OPEN
    assert judge_barrier({"barrier": "gate", "access": "no", "motor_vehicle": "yes"}, "tow").access == OPEN
    assert judge_barrier({"barrier": "gate", "access": "yes", "trailer": "no"}, "tow").access == CLOSED
    assert judge_barrier({"barrier": "gate", "access": "yes", "trailer": "no"}, "car").access == OPEN


def test_a_bollard_takes_a_key_for_vehicles() -> None:
    """access=yes on a bollard speaks of walkers; motor_vehicle=yes opens it; foot and bicycle say nothing."""
    assert judge_barrier({"barrier": "bollard", "access": "yes"}, "car").access == CLOSED
    assert judge_barrier({"barrier": "bollard", "foot": "yes", "bicycle": "yes"}, "car").access == CLOSED
    assert judge_barrier({"barrier": "bollard", "motor_vehicle": "yes"}, "car").access == OPEN
    assert judge_barrier({"barrier": "bollard", "motor_vehicle": "permit"}, "car").access == CLOSED


def test_restrictors_and_fords() -> None:
    """A bar with a figure is for each outfit to be held against; one without a figure closes to the van."""
    assert judge_barrier({"barrier": "height_restrictor", "maxheight": "2.1"}, "tow").access == OPEN
    assert judge_barrier({"barrier": "height_restrictor", "maxheight": "2.1"}, "car").access == OPEN
    assert judge_barrier({"barrier": "width_restrictor", "maxwidth": "2.1"}, "tow").why == "width_restrictor of 2.1 m"
    assert judge_barrier({"barrier": "width_restrictor"}, "tow").access == CLOSED
    assert judge_barrier({"barrier": "height_restrictor", "maxheight": "3.5"}, "tow").access == OPEN
    assert judge_barrier({"barrier": "height_restrictor", "maxheight": "12'"}, "tow").access == OPEN
    assert judge_barrier({"barrier": "height_restrictor"}, "tow").access == CLOSED
    assert judge_barrier({"barrier": "height_restrictor"}, "car").access == OPEN
    assert judge_barrier({"barrier": "height_restrictor", "maxheight": "3.5", "access": "no"}, "tow").access == CLOSED
    assert judge_barrier({"ford": "yes"}, "tow").access == CLOSED
    assert judge_barrier({"ford": "yes"}, "car").access == OPEN
    assert judge_barrier({"ford": "no"}, "tow").access == OPEN


@pytest.mark.parametrize(
    ("tags", "expected"),
    [
        ({}, 0), ({"oneway": "yes"}, 1), ({"oneway": "true"}, 1), ({"oneway": "1"}, 1), ({"oneway": "-1"}, -1), ({"oneway": "no"}, 0),
        ({"oneway": "reversible"}, None), ({"oneway": "alternating"}, 0), ({"highway": "motorway"}, 1),
        ({"highway": "motorway", "oneway": "no"}, 0), ({"highway": "trunk"}, 0), ({"highway": "motorway_link"}, 0),
        ({"junction": "roundabout"}, 1), ({"junction": "circular"}, 1), ({"junction": "roundabout", "oneway": "-1"}, -1),
        ({"oneway": "yes", "oneway:bicycle": "no"}, 1), ({"oneway": "yes", "oneway:motor_vehicle": "no"}, 0),
        ({"motor_vehicle:backward": "no"}, 1), ({"vehicle:forward": "no"}, -1), ({"vehicle:backward": "no", "motor_vehicle:backward": "yes"}, 0),
        ({"oneway": "yes", "vehicle:forward": "no"}, None), ({"oneway:conditional": "yes @ (Mo-Fr 07:00-09:00)"}, 1),
        ({"oneway": "yes", "oneway:conditional": "no @ (22:00-06:00)"}, 1), ({"oneway": "yes", "oneway:conditional": "-1 @ (16:00-19:00)"}, None),
        ({"bicycle:backward": "no"}, 0), ({"oneway:conditional": "schooldays only"}, 0),
    ],
)  # fmt: skip
def test_oneway(tags: dict[str, str], expected: int | None) -> None:
    """Explicit, implied, by direction keys, by hours."""
    assert oneway(tags) == expected


@given(
    st.dictionaries(
        st.sampled_from(["access", "vehicle", "motor_vehicle", "motorcar", "trailer", "highway", "barrier", "access:conditional", "seasonal",
                         "motor_vehicle:conditional", "opening_hours", "ford", "oneway", "oneway:conditional", "maxheight", "locked"]),
        st.one_of(st.text(max_size=30), st.sampled_from([*ACCESS_VALUES, *BARRIERS, "no @ (Nov-Apr)", "yes @ (", "@", "no @", "(;)"])),
    ),
    st.dates(date(2020, 1, 1), date(2035, 12, 31)),
)  # fmt: skip
def test_any_text_gets_an_answer(tags: dict[str, str], day: date) -> None:
    """No text whatever raises; what is open to the van by the hierarchy alone is never more than the car's, trailers aside."""
    for mode in ("tow", "car"):
        assert judge_access(tags, mode).access in (OPEN, ENDS_ONLY, CLOSED)
        assert judge_barrier(tags, mode).access in (OPEN, ENDS_ONLY, CLOSED)
    if "trailer" not in tags:
        assert judge_access(tags, "tow").access >= judge_access(tags, "car").access
    assert oneway(tags) in (-1, 0, 1, None)
    assert closed_on(closed_when(tags), day) in (True, False, None)
