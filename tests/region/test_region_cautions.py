"""On drawn maps: what the tags say of size, date, surface and drive bites where it should, is listed where nobody can read it, and
leaves alone what it is not about.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from helpers.towing import CAR, ROAD, VAN, Map, drawn

from tripplan.model.words import Surface
from tripplan.region.columns import Access
from tripplan.region.store import load, save
from tripplan.region.through import tow_access
from tripplan.roads.closures import closure_sets
from tripplan.roads.grounds import piece_grounds
from tripplan.roads.network import open_network
from tripplan.roads.terms import Terms

# A short road BC between two ends, and a long way round by D and E.
SHORT_CUT = "A-B--X--C-F\n" + 24 * "  |     |\n" + "  D-----E"
STRAIGHT, ROUND = "BC", "BDEC"
WINTER, SUMMER = date(2026, 1, 15), date(2026, 7, 15)


def short_cut(folder: Path, **tags: str) -> Map:
    """Return the map with tags on the short cut; ``at_`` in front: on the point in the middle of it."""
    road = dict(pair.split("=") for pair in ROAD.split())
    node = {key.removeprefix("at_").replace("__", ":"): value for key, value in tags.items() if key.startswith("at_")}
    own = {key.removeprefix("_").replace("__", ":"): value for key, value in tags.items() if not key.startswith("at_")}
    own = {key: value for key, value in {**road, **own}.items() if value}
    ways = {"AB": ROAD, "CF": ROAD, "BXC": own, "BD": ROAD, "DE": ROAD, "EC": ROAD}
    return drawn(SHORT_CUT, ways, folder, nodes={"X": node} if node else None)


def goes(made: Map, day: date, **more: tuple[int, int]) -> str:
    """Return the way of the van on a date."""
    return made.way("A", "F", closures=closure_sets(made.region, [day], outfit=VAN, **more)[0]).replace("X", "")


@pytest.mark.parametrize(
    ("tags", "winter", "summer"),
    [
        ({"maxheight__conditional": "2.7 @ (Nov-Mar)"}, ROUND, STRAIGHT), ({"maxheight__conditional": "3.5 @ (Nov-Mar)"}, STRAIGHT, STRAIGHT),
        ({"maxwidth__conditional": "2.4 @ (Jun-Aug)"}, STRAIGHT, ROUND), ({"maxlength__conditional": "11 @ (Nov-Mar)"}, ROUND, STRAIGHT),
        ({"maxweight__conditional": "3 @ (Nov-Mar)"}, ROUND, STRAIGHT), ({"maxweight__conditional": "3 @ (hgv AND Nov-Mar)"}, STRAIGHT, STRAIGHT),
        ({"maxweightrating__conditional": "3 @ (20:00-06:00)"}, ROUND, ROUND), ({"maxaxleload__conditional": "1 @ (Mar-Apr)"}, STRAIGHT, STRAIGHT),
        ({"maxaxleload__conditional": "1 @ (Jan-Apr)"}, ROUND, STRAIGHT), ({"maxweight__conditional": "3 @ (trailer)"}, ROUND, ROUND),
        ({"motor_vehicle__conditional": "no @ (weight>7.5 AND Nov-Mar)"}, STRAIGHT, STRAIGHT),
        ({"motor_vehicle__conditional": "no @ (weight>3 AND Nov-Mar)"}, ROUND, STRAIGHT),
        ({"motor_vehicle__conditional": "no @ 2025-11-01--2026-03-31"}, ROUND, STRAIGHT),
        # For those who stop there, by size: whoever keeps each of the sizes goes through.
        ({"motor_vehicle__conditional": "destination @ (weight>7.5)"}, STRAIGHT, STRAIGHT),
        ({"motor_vehicle__conditional": "destination @ (weight>3)"}, ROUND, ROUND),
        ({"access__conditional": "destination @ (length>12.5); delivery @ (width>2.6 m)"}, STRAIGHT, STRAIGHT),
        ({"access__conditional": "destination @ (weight>7.5); destination @ (length>11)"}, ROUND, ROUND),
        ({"access__conditional": "destination @ (height>2.7)"}, ROUND, ROUND),  # 2.6 m and its clearance
        ({"access__conditional": "destination @ (weight>7.5); destination @ (22:00-06:00)"}, ROUND, ROUND),
        ({"access__conditional": "destination @ (22:00-06:00 AND weight>7.5)"}, STRAIGHT, STRAIGHT),
        ({"access__conditional": "destination @ (weight>heavy)"}, ROUND, ROUND),
        ({"access": "destination", "motor_vehicle__conditional": "destination @ (weight>7.5)"}, ROUND, ROUND),
        ({"highway": "living_street", "motor_vehicle__conditional": "destination @ (weight>7.5)"}, ROUND, ROUND),
        ({"access__conditional": "destination @ (trailer AND weight>7.5)"}, STRAIGHT, STRAIGHT),
        # At a gate on the road.
        ({"at_barrier": "gate", "at_motor_vehicle__conditional": "no @ (Nov-Mar)"}, ROUND, STRAIGHT),
        ({"at_barrier": "gate", "at_access": "no", "at_access__conditional": "yes @ (May-Oct)"}, ROUND, STRAIGHT),
        ({"at_barrier": "gate", "at_hgv__conditional": "no @ (Nov-Mar)"}, STRAIGHT, STRAIGHT),
        ({"at_barrier": "gate", "at_access": "no", "at_access__conditional": "yes @ (May-Oct)", "motor_vehicle__conditional": "no @ (Jan)"},
         ROUND, ROUND),
    ],
)  # fmt: skip
def test_limits_and_gates_by_date(tmp_path: Path, tags: dict[str, str], winter: str, summer: str) -> None:
    """A limit, a closure by size or a gate is in force on its dates, for whom it concerns (2.6 x 2.3 x 12 m, 3.2 t, axle 1.4 t)."""
    made = short_cut(tmp_path, **tags)
    assert [goes(made, day) for day in (WINTER, SUMMER)] == [winter, summer]


def test_a_through_road_by_size_is_one_to_route_check_and_audit(tmp_path: Path) -> None:
    """The access column that route and audit share, and the grounds of the check, agree on whom a destination sign by size is for."""
    made = short_cut(tmp_path, motor_vehicle__conditional="destination @ (weight>7.5)")
    short = made.region.pieces.way == np.flatnonzero(made.region.ways.tow_access == Access.ENDS_ONLY)[0]
    piece = int(np.flatnonzero(short)[0])
    for outfit, through in ((VAN, True), (replace(VAN, mass_kg=7600), False)):
        network = open_network(made.region, Terms(outfit))
        found = piece_grounds(made.region, network, piece, "")
        assert bool(tow_access(made.region, outfit)[made.region.pieces.way[piece]] == Access.OPEN) is through
        assert (found is None) is through
    assert found is not None
    assert found.why == ("only for those who stop there: motor_vehicle:conditional=destination @ (weight>7.5)",)
    assert made.region.ways.tow_access.max() == Access.ENDS_ONLY  # the region itself stays as strict as it was


def test_a_limit_by_the_hour_within_the_hours_of_a_trip(tmp_path: Path) -> None:
    """A limit by night holds all day, unless the trip keeps to hours outside it."""
    made = short_cut(tmp_path, maxweight__conditional="3 @ (20:00-06:00)")
    assert goes(made, SUMMER) == ROUND
    assert goes(made, SUMMER, hours=(9 * 60, 18 * 60)) == STRAIGHT
    assert goes(made, SUMMER, hours=(9 * 60, 21 * 60)) == ROUND


@pytest.mark.parametrize(("tags", "way", "car"), [
    ({"_4wd_only": "yes"}, ROUND, ROUND), ({"_4wd_only": "recommended"}, STRAIGHT, STRAIGHT), ({"_4wd_only": "no"}, STRAIGHT, STRAIGHT),
    ({"surface__lanes": "asphalt|gravel"}, ROUND, STRAIGHT), ({"surface": "", "surface__forward": "gravel"}, ROUND, STRAIGHT),
    ({"surface__shoulder": "gravel"}, STRAIGHT, STRAIGHT), ({"surface": "", "surface__lanes": "asphalt|asphalt"}, STRAIGHT, STRAIGHT),
    ({"surface": "paved;gravel"}, ROUND, STRAIGHT), ({"surface": "concrete:plates"}, STRAIGHT, STRAIGHT), ({"surface": "chipseal"}, STRAIGHT, STRAIGHT),
    ({"surface": "paving_stones"}, STRAIGHT, STRAIGHT), ({"surface": "metal", "bridge": "yes"}, STRAIGHT, STRAIGHT),
    ({"surface": "wood", "bridge": "yes"}, STRAIGHT, STRAIGHT), ({"surface": "", "bridge": "yes"}, ROUND, STRAIGHT),
    ({"maxheight__forward": "2.7"}, ROUND, STRAIGHT), ({"maxheight__hgv": "2.7"}, STRAIGHT, STRAIGHT), ({"trailer": "no"}, ROUND, STRAIGHT),
    ({"smoothness__lanes": "good|horrible"}, ROUND, STRAIGHT), ({"smoothness": "impassable"}, ROUND, STRAIGHT), ({"smoothness": "bad"}, STRAIGHT, STRAIGHT),
])  # fmt: skip
def test_surface_parts_and_drive(tmp_path: Path, tags: dict[str, str], way: str, car: str) -> None:
    """What keeps the van off, and whether the car alone, on any surface, keeps off too."""
    made = short_cut(tmp_path, **tags)
    assert made.way("A", "F").replace("X", "") == way
    assert made.way("A", "F", Terms(CAR, van=False, surfaces="any")).replace("X", "") == car


@pytest.mark.parametrize(
    ("tags", "text", "fault"),
    [
        ({"motor_vehicle__conditional": "no @ winter"}, "a condition that could not be read, as written: motor_vehicle:conditional=no @ winter", True),
        ({"maxheight": "-3"}, "a limit that could not be read, as written: maxheight=-3", True),
        ({"maxweight": "abc"}, "a limit that could not be read, as written: maxweight=abc", True),
        ({"maxheight__conditional": "2.5 @ winter"}, "a condition that could not be read, as written: maxheight:conditional=2.5 @ winter", True),
        ({"at_barrier": "gate", "at_access__conditional": "no @ winter"}, "a condition that could not be read, as written: access:conditional=no @ winter", True),
        ({"_4wd_only": "recommended"}, "signed as recommended for four-wheel drive only (4wd_only=recommended)", False),
        ({"maxheight": "default"}, "", False), ({"maxheight": "none"}, "", False), ({"motor_vehicle__conditional": "no @ (Nov-Mar)"}, "", False),
    ],
)  # fmt: skip
def test_what_cannot_be_read_is_kept_listed_and_closes_nothing(
    tmp_path: Path, tags: dict[str, str], text: str, fault: bool
) -> None:
    """The way keeps a line to ask about, the region counts it among its faults as written, and the road stays as it was."""
    made = short_cut(tmp_path, **tags)
    save(made.region, tmp_path / "r")
    region = load(tmp_path / "r")
    row = region.ways.osm_id.tolist().index(made.drawing.way_id["BXC"])
    assert region.string(int(region.ways.caution[row])) == text
    assert (region.ways.caution >= 0).sum() == (1 if text else 0)
    listed = [what for what in region.meta.faults if what.endswith("could not be read")]
    assert listed == ([f'"{text.partition("written: ")[2]}" could not be read'] if fault else [])
    assert goes(made, SUMMER) == STRAIGHT


def test_many_faults_are_told_in_a_few_lines(tmp_path: Path) -> None:
    """The most frequent ones by name, the rest by their number."""
    ways = {f"AB#{n}": {"highway": "service", "maxweight": f"heavy {n}"} for n in range(30)}
    faults = drawn("A-B", {**ways, "AB": ROAD}, tmp_path).region.meta.faults
    told = {what: count for what, count in faults.items() if what.endswith("could not be read")}
    assert len(told) == 13
    assert sum(told.values()) == 30
    assert told["other conditions and limits that could not be read"] == 18


def test_an_unsealed_part_stops_a_presumption(tmp_path: Path) -> None:
    """Where an untagged road is presumed, one with a gravel lane or a sign for four-wheel drive is not."""
    row = "ABCDEFGHIJKLMNOPQRST"
    ways = {a + b: f"{ROAD} ref={a}" for a, b in pairwise(row)}
    asked = {
        "BX": "highway=secondary",
        "CY": "highway=secondary surface:lanes=asphalt|gravel",
        "DZ": "highway=secondary 4wd_only=recommended",
    }
    made = drawn("-".join(row) + "\n  X Y Z", {**ways, **asked}, tmp_path, grid_m=2000)
    rows = [made.region.ways.osm_id.tolist().index(made.drawing.way_id[word]) for word in asked]
    assert made.region.ways.surface[rows].tolist() == [Surface.UNKNOWN, Surface.UNSEALED, Surface.UNKNOWN]  # CY lies next to BX
    alone = drawn("-".join(row) + "\n  X   Z", {**ways, "BX": asked["BX"], "DZ": asked["DZ"]}, tmp_path, grid_m=2000)
    rows = [alone.region.ways.osm_id.tolist().index(alone.drawing.way_id[word]) for word in ("BX", "DZ")]
    assert alone.region.ways.surface[rows].tolist() == [Surface.PRESUMED, Surface.UNKNOWN]
