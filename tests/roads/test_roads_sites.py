"""Sites as areas join at their entrances; places join the side of the network that they can be driven to; pairs that no
way joins say why. On roads of both hands, in the south, across the date line and cut at the edge of the map.
"""

from __future__ import annotations

from datetime import date

import numpy as np
import pytest
from helpers.towing import CAR, ROAD, VAN, Map, drawn

from tripplan.model.place import Spot
from tripplan.roads.apart import why_apart
from tripplan.roads.closures import closure_sets
from tripplan.roads.join import Joined, join
from tripplan.roads.network import open_network
from tripplan.roads.terms import Terms

SITE = {"tourism": "caravan_site", "name": "Meadow"}
GRAVEL, SERVICE = "highway=unclassified surface=gravel", "highway=service surface=asphalt"

# A site PQRS between a main road (north) and a lane (south); a service road enters it at G from the lane.
AREA = """
A--------------B
|              |
|  P--------Q  |
|  |        |  |
|  |   I    |  |
|  |        |  |
|  S---G----R  |
|      |       |
C------L-------D
"""
ROUND = {"AB": ROAD, "AC": ROAD, "BD": ROAD, "CLD": ROAD}


def area(folder, ways, outline: str = "PQRGSP", tags=SITE, **more) -> Map:
    return drawn(AREA, {**ROUND, **ways, outline: tags}, folder, **more)


def join_site(drawing: Map, terms: Terms | None = None, start: str = "AB") -> Joined:
    return drawing.joined_spots([drawing.spot(start), drawing.site("Meadow")], terms)


def test_a_site_joins_where_a_road_crosses_its_outline(tmp_path):
    """The way ends at the gate on the lane's side, not at the main road behind the site; the distance is to the gate."""
    drawing = area(tmp_path, {"LGI": SERVICE})
    assert drawing.region.places[drawing.site("Meadow").place].entrances == (drawing.drawing.at["G"],)
    joined = join_site(drawing)
    assert joined.off_road_m[1] < 1
    assert drawing.letters(joined.route(0, 1)).endswith("L")
    assert joined.route(0, 1).length_m == pytest.approx(750 + 800 + 700 + 200, abs=60)


def test_a_road_may_cross_between_nodes(tmp_path):
    """The outline need share no node with the road."""
    drawing = area(tmp_path, {"LI": SERVICE}, outline="PQRSP")
    (entrance,) = drawing.region.places[drawing.site("Meadow").place].entrances
    assert entrance == pytest.approx(drawing.drawing.at["G"], abs=1e-6)
    assert join_site(drawing).off_road_m[1] < 1


@pytest.mark.parametrize("node", ["barrier=gate", "barrier=lift_gate", "entrance=main", "entrance=yes"])
def test_gates_and_entrances_on_the_outline(tmp_path, node):
    """Where no road is drawn inside, a gate or entrance on the outline is the way in: the lane beside it is joined."""
    drawing = area(tmp_path, {"LG": SERVICE}, nodes={"G": node})
    assert drawing.region.places[drawing.site("Meadow").place].entrances == (drawing.drawing.at["G"],)
    assert join_site(drawing).off_road_m[1] < 1


@pytest.mark.parametrize(
    ("node", "tags"), [("entrance=emergency", SITE), ("", SITE), ("entrance=yes", {**SITE, "tourism": "museum"})]
)
def test_no_entrance(tmp_path, node, tags):
    """An emergency exit is none, an outline without gates has none, and only sites are entered: then the point counts."""
    drawing = area(tmp_path, {}, tags=tags, nodes={"G": node} if node else None)
    assert drawing.region.places[drawing.site("Meadow").place].entrances == ()


def test_a_road_along_the_outline_does_not_enter(tmp_path):
    """A road that shares nodes with the outline without going in makes no entrance."""
    drawing = area(tmp_path, {"PS": SERVICE, "CS": SERVICE, "AP": SERVICE}, outline="PQRSP")
    assert drawing.region.places[drawing.site("Meadow").place].entrances == ()


def test_a_gate_on_gravel_is_not_reached_from_behind(tmp_path):
    """Sealed road passes behind the site, but the gate lies on 200 m of gravel: unreached, with the number."""
    drawing = drawn(
        AREA.replace("|      |       |\nC", "|      |       |\n|      |       |\nC"),
        {**ROUND, "LGI": GRAVEL, "PQRGSP": SITE}, tmp_path,
    )  # fmt: skip
    joined = join_site(drawing)
    assert not joined.reached[1]
    assert "m of unsealed road (surface=gravel)" in joined.why_not[1]
    assert join_site(drawing, Terms(CAR, van=False, surfaces="any")).reached.all()


def test_two_gates_each_for_its_own_side(tmp_path):
    """With a gate north and one south each way uses the nearer one."""
    ways = {"LGI": SERVICE, "IKN": SERVICE, "ANB": ROAD, "AC": ROAD, "BD": ROAD, "CLD": ROAD, "PKQRGSP": SITE}
    ascii_map = AREA.replace("A--------------B", "A------N-------B").replace("P--------Q", "P---K----Q")
    drawing = drawn(ascii_map, ways, tmp_path)
    spots = [drawing.spot("AN"), drawing.spot("CL"), drawing.site("Meadow")]
    joined = drawing.joined_spots(spots)
    assert joined.reached.all()
    assert drawing.letters(joined.route(0, 2)) == "N"
    assert drawing.letters(joined.route(2, 0)) == "N"
    assert drawing.letters(joined.route(1, 2)) == "L"
    matrix = joined.matrix()
    assert matrix.total_s[0, 2] < 90
    assert matrix.total_s[2, 1] < 90


def test_in_by_one_road_and_out_by_another(tmp_path):
    """A lay-by with a lane in and a lane out, both one-way: in by the one and out by the other."""
    ascii_map = (
        "A---M------N---B\n     \\      /\n      X Y\n|              |\n|              |\n|              |\nC--------------D"
    )
    ways = {"AMNB": ROAD, "MX": f"{SERVICE} oneway=yes", "YN": f"{SERVICE} oneway=yes", "AC": ROAD, "CD": ROAD, "DB": ROAD}
    drawing = drawn(ascii_map, ways, tmp_path)
    joined = drawing.joined(["A", "XY", "B"])
    assert joined.reached.all()
    assert drawing.letters(joined.route(0, 1)) == "M"
    assert drawing.letters(joined.route(1, 2)) == "N"
    only_in = drawn(ascii_map.replace("Y", " "), {k: v for k, v in ways.items() if k != "YN"}, tmp_path)
    alone = only_in.joined(["A", "X"])
    assert alone.reached.tolist() == [True, True] or "no way back" in alone.why_not[1]


def carriageways(folder, *, left: bool, **more) -> Map:
    """Return a dual carriageway, east and west apart, driven on the left or on the right; links at both ends."""
    one_way = "highway=trunk surface=asphalt oneway=yes"
    north, south = ("ANB", "DSC") if left else ("BNA", "CSD")  # driven on the left the northern road leads east
    return drawn(
        "A---------N---------B\n\n\nC---------S---------D",
        {north: one_way, south: one_way, "AC": ROAD, "BD": ROAD},
        folder,
        **more,
    )


@pytest.mark.parametrize("left", [False, True])
@pytest.mark.parametrize("origin", [(8.0, 50.0), (170.0, -44.0)])
def test_the_side_of_a_dual_carriageway(tmp_path, left, origin):
    """A place beside one carriageway is come to in that carriageway's direction, whichever side is driven on, north or south."""
    drawing = carriageways(tmp_path, left=left, origin=origin)
    lon, lat = drawing.drawing.at["N"]
    north = Spot("north", "north", lon + 0.003, lat + 0.0004)
    joined = join(open_network(drawing.region, Terms(VAN)), [drawing.spot("A"), north, drawing.spot("B")])
    assert joined.reached.all()
    first, last = (0, 2) if left else (2, 0)
    assert drawing.letters(joined.route(first, 1)) in ("N", "BN", "AN", "")
    assert joined.route(first, 1).length_m < joined.route(last, 1).length_m
    assert set("SCD") & set(drawing.letters(joined.route(1, first)))  # back only by the other carriageway


@pytest.mark.parametrize("clockwise", [True, False])
def test_roundabouts_of_both_hands(tmp_path, clockwise):
    """A roundabout is driven round in the direction drawn: clockwise where one drives on the left."""
    ring = "NESWN" if clockwise else "NWSEN"
    ways = {ring: f"{ROAD} junction=roundabout", "AW": ROAD, "EB": ROAD, "NC": ROAD, "SD": ROAD}
    drawing = drawn("  C\n  N\nAWXEB\n  S\n  D", ways, tmp_path)
    assert drawing.way("A", "B") == ("WNE" if clockwise else "WSE")
    assert drawing.way("A", "C") == ("WN" if clockwise else "WSEN")


def test_southern_winter(tmp_path):
    """A pass closed June to August is closed in the south's winter by plain dates."""
    tags = {**dict(p.split("=") for p in ROAD.split()), "motor_vehicle:conditional": "no @ (Jun-Aug)"}
    drawing = drawn("A-B-----C-F\n  |     |\n  D-----E", {"AB": ROAD, "CF": ROAD, "BC": tags, "BD": ROAD, "DE": ROAD, "EC": ROAD}, tmp_path,
                    origin=(170.0, -44.0))  # fmt: skip
    sets = closure_sets(drawing.region, [date(2026, 1, 15), date(2026, 7, 15)])
    assert [drawing.way("A", "F", closures=s) for s in sets] == ["BC", "BDEC"]


def test_across_the_date_line(tmp_path):
    """A region across 180 degrees: lengths, joints, entrances and routes are those of the same region elsewhere."""
    results = []
    for origin in ((20.0, -17.0), (179.996, -17.0)):
        drawing = area(tmp_path, {"LGI": SERVICE}, origin=origin, name=f"at{origin[0]:.0f}")
        joined = join_site(drawing)
        assert joined.reached.all()
        results.append((joined.route(0, 1).length_m, float(joined.off_road_m[1]), drawing.letters(joined.route(0, 1))))
    assert np.ptp(drawing.region.pieces.lon_e7.astype(np.int64)) > 3_000_000_000
    assert results[0][0] == pytest.approx(results[1][0], rel=1e-3)
    assert results[0][1] == pytest.approx(results[1][1], abs=1)
    assert results[0][2] == results[1][2]


def test_a_region_cut_in_the_middle_of_a_road(tmp_path):
    """A road whose far nodes lie outside the file ends at its last node: spots on it are joined, beyond it there is nothing."""
    drawing = drawn("A-----M-----B-----X-----Y", {"AMBXY": ROAD, "AM#2": "highway=footway"}, tmp_path, missing="XY")
    assert drawing.joined(["AM", "MB", "B"]).reached.all()
    assert drawing.joined(["AM", "MB"]).route(0, 1).length_m == pytest.approx(600, rel=0.01)
    assert "clipped ways kept in part" in drawing.region.meta.faults
    gap = drawn("A-----M-----B-----X-----Y", {"AMBXY": ROAD}, tmp_path, missing="B", name="gap")
    assert gap.joined(["AM", "XY"]).reached.tolist() == [True, False]
    assert "not joined to the rest of the roads" in gap.joined(["AM", "XY"]).why_not[1]


def test_home_by_its_spot(tmp_path):
    """On islands the network is that of the depot, also where it is none of the spots that are joined."""
    drawing = drawn("A---------B\n\n\nC----D", {"AB": ROAD, "CD": ROAD}, tmp_path, grid_m=2000)
    spots = [drawing.spot("AB"), drawing.spot("CD")]
    assert drawing.joined_spots(spots, home=drawing.spot("D")).reached.tolist() == [False, True]


CROSS = "N-----P\n|     |\nX--A  |\n|     |\nS-----Q"


def test_a_pair_apart_by_turns_says_which(tmp_path):
    """Where turn restrictions alone stand between two spots the relations are named, with the metres before each."""
    ways = {"NX": ROAD, "XS": ROAD, "AX": ROAD, "NP": ROAD, "PQ": ROAD, "QS": ROAD}
    rules = [
        ({"type": "restriction", "restriction": "no_right_turn"}, [("from", "AX"), ("via", "X"), ("to", "NX")]),
        ({"type": "restriction", "restriction": "no_left_turn"}, [("from", "AX"), ("via", "X"), ("to", "XS")]),
    ]
    joined = drawn(CROSS, ways, tmp_path, relations=rules).joined(["A", "NP"])
    assert joined.reached.all()
    assert (
        why_apart(joined, 0, 1) == "every way breaks a turn restriction; the shortest, of 800 m, breaks relation 1001 after 300 m"
    )
    assert why_apart(joined, 1, 0) == ""
    one = drawn(CROSS, ways, tmp_path, relations=rules[:1]).joined(["A", "NP"])
    assert why_apart(one, 0, 1) == ""


def test_a_pair_apart_by_turning_round(tmp_path):
    """Where only a turn on the road would help that is said; the car alone may turn."""
    rule = [({"type": "restriction", "restriction": "no_right_turn"}, [("from", "AX"), ("via", "X"), ("to", "NX")])]
    drawing = drawn("N--P\n|\nX--A\n|\nS\n|\nU", {"NX": ROAD, "XSU": ROAD, "AX": ROAD, "NP": ROAD}, tmp_path, relations=rule)
    assert "breaks relation 1001 after 300 m" in why_apart(drawing.joined(["A", "NP"]), 0, 1)
    assert why_apart(drawing.joined(["A", "NP"], Terms(CAR, van=False)), 0, 1) == ""


def test_an_unreached_spot_has_its_own_reason(tmp_path):
    """A pair with an unreached spot says what `why_not` says."""
    drawing = drawn("A---M---B\n    |\n    |\n    |\n    |\n    S", {"AMB": ROAD, "MS": GRAVEL}, tmp_path)
    joined = drawing.joined(["A", "S"])
    assert why_apart(joined, 0, 1) == joined.why_not[1] != ""


def test_a_low_bar_on_the_way_in_is_named(tmp_path):
    """A site behind a bar says how high the bar is and what the outfit needs."""
    drawing = drawn(
        "A---M---B\n    |\n    X\n    |\n    |\n    S",
        {"AMB": ROAD, "MXS": ROAD},
        tmp_path,
        nodes={"X": "barrier=height_restrictor maxheight=2.2"},
    )
    joined = drawing.joined(["A", "S"])
    assert not joined.reached[1]
    assert "a point with a limit of 2.2 m height, where 2.8 m are needed" in joined.why_not[1]
    assert drawing.joined(["A", "S"], Terms(CAR, van=False)).reached.all()
