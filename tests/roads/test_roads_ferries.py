"""Ferries: time, wait, check-in, booking, sail days and limits; and steep pieces from tagged grades."""

from __future__ import annotations

from datetime import date

import pytest
from helpers.towing import CAR, ROAD, VAN, drawn

from tripplan.roads.closures import closure_sets
from tripplan.roads.ferries import crossings
from tripplan.roads.steep import graded_share, steep_stretches
from tripplan.roads.terms import Terms

SEA = "A--B.......C--D\n|             |\nE-------------F"
FRIDAY, SATURDAY = date(2026, 5, 1), date(2026, 5, 2)


def sea(folder, land: bool = False, **tags: str):
    """Return a map with a ferry; with ``land`` there is a way round."""
    ferry = {"route": "ferry", "motor_vehicle": "yes", **{key.replace("__", ":"): value for key, value in tags.items()}}
    ways = {"AB": ROAD, "CD": ROAD, "BC": ferry}
    ways |= {"AE": ROAD, "EF": ROAD, "FD": ROAD} if land else {}
    return drawn(SEA if land else SEA.split("\n|")[0], ways, folder, grid_m=1000)


@pytest.mark.parametrize(("tags", "wait_min"), [
    ({}, 30), ({"interval": "00:20"}, 20), ({"check_in": "45 min"}, 75), ({"interval": "00:20", "check_in": "00:30"}, 50),
    ({"check_in:duration": "PT15M", "interval": "60"}, 75), ({"check_in": "ask at the office"}, 30), ({"reservation": "required"}, 30),
])  # fmt: skip
def test_time_on_the_quay(tmp_path, tags, wait_min):
    """The whole interval, half an hour when untagged, and the check-in lead before it; words that are no time add nothing."""
    drawing = sea(tmp_path, duration="00:40", **tags)
    leg = drawing.joined(["A", "D"]).route(0, 1)
    assert leg.ferry_s == pytest.approx((40 + wait_min) * 60, abs=1)
    (crossing,) = crossings(drawing.region, leg, VAN)
    assert crossing.wait_s == wait_min * 60
    assert crossing.sailing_s == pytest.approx(2400, abs=1)


def test_what_to_know_before_boarding(tmp_path):
    """Booking length is that of car and van, or of the car alone; what the map does not tell is to be asked."""
    tags = {"reservation": "required", "check_in": "30 min", "opening_hours": "Mo-Sa 07:00-19:00", "name": "Sound Ferry"}
    drawing = sea(tmp_path, duration="00:40", **tags)
    leg = drawing.joined(["A", "D"]).route(0, 1)
    (crossing,) = crossings(drawing.region, leg, VAN)
    assert crossing.words() == (
        "Ferry Sound Ferry: 40 min at sea; 60 min on the quay counted; be there 30 min before departure; "
        "booking required, for 12.0 m of length; sails Mo-Sa 07:00-19:00"
    )
    assert crossings(drawing.region, leg, CAR)[0].booking_length_m == CAR.length_m
    silent = sea(tmp_path)
    words = crossings(silent.region, silent.joined(["A", "D"]).route(0, 1), VAN)[0].words()
    assert "by its length: ask" in words
    assert "ask whether to book, for 12.0 m of length; ask on which days it sails" in words
    assert crossings(silent.region, silent.joined(["A", "B"]).route(0, 1), VAN) == ()


def test_sail_days(tmp_path):
    """On a day without a sailing the way goes round by land; on others it is used."""
    drawing = sea(tmp_path, land=True, duration="00:02", interval="00:01", opening_hours="Mo-Fr 07:00-19:00")
    sets = closure_sets(drawing.region, [FRIDAY, SATURDAY])
    assert [s.days for s in sets] == [(0,), (1,)]
    ways = [drawing.way("AB", "CD", closures=s) for s in sets]
    assert ways == ["BC", "AEFD"]


@pytest.mark.parametrize(("tags", "van"), [
    ({"maxlength": "11"}, False), ({"maxlength": "12"}, True), ({"maxheight": "2.7"}, False), ({"maxweight": "3"}, False),
    ({"caravan": "no"}, False), ({"trailer": "no"}, False), ({"motor_vehicle": "no"}, False), ({"hgv": "no"}, True),
])  # fmt: skip
def test_who_may_board(tmp_path, tags, van):
    """Limits and access of a ferry are held against the outfit like those of a road."""
    assert (sea(tmp_path, duration="00:20", **tags).way("AB", "CD") != "") == van


CALL = "A--B.......C.......D--E\n           |\n           F"


def calling(folder, first: str, second: str):
    """Return a map with a boat from B to D that calls at C, where a road begins; 40 and 30 minutes at sea."""
    ways = {
        "AB": ROAD,
        "DE": ROAD,
        "CF": ROAD,
        "BC": f"route=ferry motor_vehicle=yes duration=00:40 {first}",
        "CD": f"route=ferry motor_vehicle=yes duration=00:30 {second}",
    }
    return drawn(CALL, ways, folder, grid_m=1000)


@pytest.mark.parametrize(("first", "second", "waits"), [
    ("name=Sound", "name=Sound", [20]), ("ref=7", "ref=7 name=Sound", [20]), ("name=Sound", "name=Strait", [20, 60]), ("", "", [20, 60]),
    ("ref=7 name=Sound", "ref=8 name=Sound", [20]), ("ref=7", "ref=8", [20, 60]),
])  # fmt: skip
@pytest.mark.parametrize("engine", ["numba", "scipy", "hierarchy"])
def test_a_call_at_a_pier_on_the_way(tmp_path, first, second, waits, engine):
    """Who stays on the boat waits once; who changes to another line waits again, and each boat is named."""
    drawing = calling(tmp_path, f"interval=00:20 {first}", f"interval=00:30 check_in=00:30 {second}")
    leg = drawing.joined(["A", "E"], engine=engine).route(0, 1)
    assert leg.ferry_s == pytest.approx((70 + sum(waits)) * 60, abs=1)
    boats = crossings(drawing.region, leg, VAN)
    assert [boat.wait_s / 60 for boat in boats] == waits
    assert [boat.sailing_s / 60 for boat in boats] == pytest.approx([70] if len(waits) == 1 else [40, 30], abs=0.1)


@pytest.mark.parametrize("engine", ["numba", "scipy", "hierarchy"])
def test_going_on_land_and_boarding_at_the_pier(tmp_path, engine):
    """From the boat one may go on land at the pier; who boards there pays the wait of the second piece; both ways round."""
    drawing = calling(tmp_path, "interval=00:20 name=Sound", "interval=00:30 check_in=00:30 name=Sound")
    joined = drawing.joined(["A", "E", "CF"], engine=engine)
    joined.matrix()
    minutes = {(i, j): joined.route(i, j).ferry_s / 60 for i in range(3) for j in range(3) if i != j}
    assert minutes == {pair: pytest.approx(m, abs=0.1) for pair, m in {
        (0, 1): 20 + 70, (1, 0): 60 + 70, (0, 2): 20 + 40, (2, 0): 20 + 40, (2, 1): 60 + 30, (1, 2): 60 + 30,
    }.items()}  # fmt: skip
    assert drawing.letters(joined.route(0, 2)) == "BC"


def test_one_way_of_the_map_through_the_pier(tmp_path):
    """A line that is one way of the map from quay to quay is one boat, nameless or not."""
    ways = {"AB": ROAD, "DE": ROAD, "CF": ROAD, "BCD": "route=ferry motor_vehicle=yes duration=01:00"}
    drawing = drawn(CALL, ways, tmp_path, grid_m=1000)
    assert drawing.joined(["A", "E"]).route(0, 1).ferry_s == pytest.approx(90 * 60, abs=1)
    assert drawing.joined(["A", "CF"]).route(0, 1).ferry_s == pytest.approx(60 * 60, abs=1)


@pytest.mark.parametrize(("kind", "to_land", "stays"), [
    ("no_right_turn", False, True), ("only_straight_on", False, True), ("no_straight_on", True, False), ("only_right_turn", True, False),
])  # fmt: skip
def test_turn_restrictions_hold_at_the_pier(tmp_path, kind, to_land, stays):
    """A restriction from the boat holds for who comes by it, whether it goes on at sea or on land."""
    ways = {
        "AB": ROAD,
        "DE": ROAD,
        "CF": ROAD,
        "BC": "route=ferry motor_vehicle=yes name=Sound",
        "CD": "route=ferry motor_vehicle=yes name=Sound",
    }
    to = "CD" if kind.endswith("straight_on") else "CF"
    rule = [({"type": "restriction", "restriction": kind}, [("from", "BC"), ("via", "C"), ("to", to)])]
    drawing = drawn(CALL, ways, tmp_path, grid_m=1000, relations=rule)
    reached = {end: bool(drawing.way("AB", end, Terms(VAN, last_mile_m=0))) for end in ("CF", "DE")}
    # From D the pier's road is reached by the other piece, which no restriction speaks of.
    assert reached == {"CF": to_land, "DE": stays}


def test_ferries_are_not_counted_as_toll(tmp_path):
    """A fare is no road toll: without tolls the ferry stays."""
    drawing = sea(tmp_path, duration="00:20", toll="yes")
    assert drawing.joined(["A", "D"]).route(0, 1).tolls == 0
    assert drawing.way("AB", "CD", Terms(VAN, tolls=False)) == "BC"


HILL = "A--B--C--D--E"


def hill(folder, *grades: str):
    """Return stretches of 2.94 km with tagged grades, and the way over all."""
    words = ("AB", "BC", "CD", "DE")
    ways = {
        word: {**dict(p.split("=") for p in ROAD.split()), **({"incline": g} if g else {})}
        for word, g in zip(words, grades, strict=True)
    }
    drawing = drawn(HILL, ways, folder, grid_m=980)
    return drawing.region, drawing.joined(["A", "E"]).route(0, 1)


@pytest.mark.parametrize(("grades", "found"), [
    (("", "", "", ""), []), (("3%", "4%", "", ""), []), (("", "12%", "", ""), [(2940, 2940, 12)]), (("", "-12%", "", ""), [(2940, 2940, 12)]),
    (("", "up", "", ""), []), (("6%", "6%", "", ""), [(0, 5880, 6)]), (("6%", "", "6%", ""), []), (("6%", "10%", "", ""), [(0, 5880, 10)]),
    (("", "1:8", "", ""), [(2940, 2940, 12.5)]), (("", "5°", "", ""), [(2940, 2940, 8.749)]), (("8%", "", "8%", ""), [(0, 2940, 8), (5880, 2940, 8)]),
])  # fmt: skip
def test_steep(tmp_path, grades, found):
    """8 % and more, or 5 % and more for over 3 km, up or down; a grade without a figure says nothing."""
    region, leg = hill(tmp_path, *grades)
    got = [(s.from_m, s.length_m, s.percent) for s in steep_stretches(region, leg.runs)]
    assert got == [pytest.approx(row, rel=1e-3, abs=3) for row in found]


def test_no_tag_is_not_flat(tmp_path):
    """How much of the way carries a grade is told."""
    region, leg = hill(tmp_path, "12%", "", "2%", "")
    assert graded_share(region, leg.runs) == pytest.approx(0.5, abs=0.01)
    bare, flat = hill(tmp_path, "", "", "", "")
    assert graded_share(bare, flat.runs) == 0
