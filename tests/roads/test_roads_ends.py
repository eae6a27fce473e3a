"""The two ends of a leg: last mile, spots in grounds, several networks, and why a spot is not reached."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from helpers.towing import CAR, ROAD, VAN, drawn

from tripplan.model.place import Spot
from tripplan.roads.join import join
from tripplan.roads.network import open_network
from tripplan.roads.terms import Terms

# A main road M1-M2, a lane from M1 to the site S.
LANE = "A--------M--------B\n         |\n         L\n         |\n         S"


@pytest.mark.parametrize(
    ("tags", "allowed_m", "reached"),
    [("highway=service", 1000, True), ("highway=residential", 1000, True), ("highway=unclassified", 1000, True),
     ("highway=service", 300, False), ("highway=tertiary", 1000, False), ("highway=track", 1000, False),
     ("highway=service surface=gravel", 1000, False), ("highway=service surface=asphalt", 0, True),
     ("highway=service access=private", 1000, False)],
)  # fmt: skip
def test_last_mile(tmp_path, tags, allowed_m, reached):
    """400 m of untagged small road lead to a site where the firm allows so much; a larger class, a track or gravel never does."""
    drawing = drawn(LANE, {"AMB": ROAD, "MLS": tags}, tmp_path)
    joined = drawing.joined(["A", "S"], Terms(VAN, last_mile_m=allowed_m))
    assert joined.reached.tolist() == [True, reached]
    if reached:
        leg = joined.route(0, 1)
        assert leg.unknown_m == pytest.approx(0 if "surface" in tags else 400, abs=1)
        assert joined.off_road_m[1] < 1
    else:
        assert joined.why_not[1]


def test_no_more_unknown_road_than_needed(tmp_path):
    """Where a sealed way in exists the shorter untagged one is left alone."""
    drawing = drawn(
        "A--M-----N--B\n   |     |\n   |     |\n   S-----T",
        {"AMNB": ROAD, "MS": "highway=service", "ST": ROAD, "TN": ROAD},
        tmp_path,
    )
    leg = drawing.joined(["A", "S"]).route(0, 1)
    assert leg.unknown_m == 0
    assert drawing.letters(leg).startswith("MNT")


def test_unknown_road_never_in_transit(tmp_path):
    """Two sites on one untagged lane: it is no through road however much is allowed, but serves between the two."""
    ascii_map = (
        "A--M--------------N--B\n   |              |\n   P--S--------T--Q"
        + 40 * "\n|                    |"
        + "\nX--------------------Y"
    )
    drawing = drawn(
        ascii_map, {"AM": ROAD, "NB": ROAD, "MPSTQN": "highway=service", "AX": ROAD, "XY": ROAD, "YB": ROAD}, tmp_path
    )
    joined = drawing.joined(["AM", "NB", "PS", "TQ"], Terms(VAN, last_mile_m=3000))
    assert drawing.letters(joined.route(0, 1)) == "AXYB"
    between = joined.route(2, 3)
    assert between.unknown_m == pytest.approx(between.length_m)
    assert between.length_m == pytest.approx(1200, rel=0.01)


def test_same_piece_both_ways(tmp_path):
    """Two spots on one piece are joined straight, either way round; on a one-way road only with it."""
    free = drawn("A-----------B", {"AB": ROAD}, tmp_path)
    spots = [Spot("p", "p", *point) for point in ((free.at("A", 0.25, "B")), (free.at("A", 0.75, "B")))]
    joined = free.joined_spots(spots)
    assert joined.route(0, 1).length_m == pytest.approx(600, rel=0.01)
    assert joined.route(1, 0).length_m == pytest.approx(600, rel=0.01)
    ring = drawn("A-----------B\n|           |\nD-----------C", {"AB": f"{ROAD} oneway=yes", "BCDA": ROAD}, tmp_path, name="ring")
    joined = ring.joined_spots([Spot("p", "p", *ring.at("A", 0.25, "B")), Spot("q", "q", *ring.at("A", 0.75, "B"))])
    assert joined.route(0, 1).length_m == pytest.approx(600, rel=0.01)
    assert joined.route(1, 0).length_m == pytest.approx(2 * 1200 + 2 * 200 - 600, rel=0.01)


@pytest.mark.parametrize(
    ("tags", "words"),
    [("highway=unclassified surface=gravel", "400 m of unsealed road (surface=gravel)"), (f"{ROAD} maxheight=2.5", "a limit of 2.5 m height"),
     (f"{ROAD} maxweight=2", "a limit of 2 t weight"), (f"{ROAD} access=private", "closed to the outfit"), (f"{ROAD} oneway=yes", "no way back"),
     (f"{ROAD} oneway=-1", "no way in"), ("highway=tertiary", "400 m of tertiary road of unknown surface")],
)  # fmt: skip
def test_reasons_in_numbers(tmp_path, tags, words):
    """An unreachable spot says what stands in the way, with the amount."""
    drawing = drawn(LANE, {"AMB": ROAD, "MLS": tags}, tmp_path)
    joined = drawing.joined(["A", "S"])
    assert joined.reached.tolist() == [True, False]
    assert words in joined.why_not[1]


def test_far_from_any_road(tmp_path):
    """A spot with no road near says how far the nearest one is."""
    drawing = drawn("A------B", {"AB": ROAD}, tmp_path)
    lon, lat = drawing.drawing.at["A"]
    joined = drawing.joined_spots([drawing.spot("B"), Spot("peak", "peak", lon, lat + 0.05)])
    assert joined.why_not[1] == "the nearest road a van may use is 5.6 km away"


def test_site_beside_gravel_is_not_joined_across_the_field(tmp_path):
    """The nearest road of any kind is the access: sealed road on the far side of a field does not make a gravel site reachable."""
    drawing = drawn(
        "A------M------B\n       |\n       |\n       |\n       |\n       |\n    G--S--H",
        {"AMB": ROAD, "MS": "highway=track", "GSH": "highway=track"},
        tmp_path,
    )
    assert drawing.joined(["A", "H"]).reached.tolist() == [True, False]


def test_grounds_of_a_site(tmp_path):
    """Within 150 m of sealed road a place is on it, whatever footing its own grounds have."""
    drawing = drawn("A------M------B\n       S", {"AMB": ROAD, "MS": "highway=service surface=gravel"}, tmp_path)
    joined = drawing.joined(["A", "S"])
    assert joined.reached.all()
    assert joined.off_road_m[1] == pytest.approx(100, abs=1)


def test_barrier_for_guests_only(tmp_path):
    """A gate for customers is passed at the end of a leg, never in transit."""
    drawing = drawn(
        "A--X--B--C\n|        |\n|        |\n|        |\n|        |\nD--------E", {"AXBC": ROAD, "AD": ROAD, "DE": ROAD, "EC": ROAD}, tmp_path,
        nodes={"X": "barrier=lift_gate access=customers"},
    )  # fmt: skip
    assert "X" not in drawing.way("D", "C")
    assert drawing.way("AX", "XB") == "X"


def test_islands(tmp_path):
    """Of two networks the home spot's counts."""
    drawing = drawn("A---------B\n\n\nC----D", {"AB": ROAD, "CD": ROAD}, tmp_path, grid_m=2000)
    assert drawing.joined(["AB", "CD"]).reached.tolist() == [True, False]
    assert drawing.joined(["AB", "CD"], home=1).reached.tolist() == [False, True]
    assert "not joined to the rest" in drawing.joined(["AB", "CD"]).why_not[1]


def test_spots_are_joined_off_the_motorway(tmp_path):
    """A place beside a motorway belongs to the road behind it; a way-point on the motorway belongs to the motorway."""
    ways = {
        "AB": "highway=motorway surface=asphalt oneway=yes",
        "BA": "highway=motorway surface=asphalt oneway=yes",
        "CD": ROAD,
        "AC": ROAD,
        "BD": ROAD,
    }
    drawing = drawn("A--------------B\nC--------------D", ways, tmp_path)
    assert drawing.joined(["AB", "A"]).off_road_m[0] == pytest.approx(100, abs=1)
    assert drawing.joined(["AB", "A"], on_road=True).off_road_m[0] == pytest.approx(0, abs=1)


def test_no_roads_for_this_outfit(tmp_path):
    """Where nothing may be used every spot says so."""
    drawing = drawn("A------B", {"AB": "highway=track"}, tmp_path)
    joined = drawing.joined(["A", "B"])
    assert joined.why_not == ("the region has no connected roads that a van may use",) * 2
    assert (joined.matrix().total_s == 10**9).all()


def test_date_line(tmp_path):
    """Spots are joined on both sides of the date line."""
    drawing = drawn("A------B------C", {"ABC": ROAD}, tmp_path)

    def moved(lon_e7):
        return ((lon_e7.astype(np.int64) - 80_000_000 + 1_799_950_000 + 1_800_000_000) % 3_600_000_000 - 1_800_000_000).astype(
            np.int32
        )

    region = drawing.region
    pieces = replace(region.pieces, lon_e7=moved(region.pieces.lon_e7))
    assert np.ptp(pieces.lon_e7.astype(np.int64)) > 3_000_000_000
    region = replace(region, pieces=pieces, junctions=replace(region.junctions, lon_e7=moved(region.junctions.lon_e7)))
    lat = drawing.drawing.at["A"][1]
    joined = join(open_network(region, Terms(VAN)), [Spot("w", "w", 179.9951, lat), Spot("e", "e", -179.9949, lat)])
    assert joined.reached.all()
    assert joined.off_road_m.max() < 1
    assert joined.route(0, 1).length_m == pytest.approx(0.01 * 111_195 * np.cos(np.radians(50)), rel=0.01)


def test_every_outfit_has_its_own_answer(tmp_path):
    """The same spot is reached by the car alone and not by the van."""
    drawing = drawn(LANE, {"AMB": ROAD, "MLS": "highway=unclassified surface=gravel"}, tmp_path)
    assert drawing.joined(["A", "S"], Terms(CAR, van=False, surfaces="any")).reached.all()
    assert not drawing.joined(["A", "S"], replace(Terms(CAR), van=False)).reached.all()
