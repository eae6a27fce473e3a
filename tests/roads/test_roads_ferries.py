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
