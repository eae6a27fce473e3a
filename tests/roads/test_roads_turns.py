"""Turn restrictions by outfit, date and size, of every shape a relation may have; bars and fords at a point. Each with
the case in which the rule must not bite.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pytest
from helpers.towing import CAR, ROAD, VAN, drawn
from test_roads_rules import CROSS, CROSS_WAYS, ROUND, SHORT_CUT, STRAIGHT, VIA, VIA_WAYS

from tripplan.roads.closures import closure_sets
from tripplan.roads.terms import Terms

ALONE = Terms(CAR, van=False)
FROM_A_TO_N = [("from", "AX"), ("via", "X"), ("to", "NX")]
FREE, LONG, BACK = "XN", "XSQP", "XSXN"  # the car alone may turn round on the road
FRIDAY, SATURDAY = date(2026, 5, 1), date(2026, 5, 2)


def cross(folder, **tags: str):
    """Return the cross with a restriction on turning from A to N."""
    tags = {key.replace("__", ":"): value for key, value in tags.items()}
    return drawn(CROSS, CROSS_WAYS, folder, relations=[({"type": "restriction", **tags}, FROM_A_TO_N)])


@pytest.mark.parametrize(
    ("tags", "van", "car"),
    [
        ({"restriction": "no_right_turn"}, LONG, BACK), ({"restriction__caravan": "no_right_turn"}, LONG, FREE),
        ({"restriction__trailer": "no_right_turn"}, LONG, FREE), ({"restriction__motorcar": "no_right_turn"}, LONG, BACK),
        ({"restriction": "no_right_turn", "except": "caravan"}, FREE, BACK), ({"restriction__hgv": "no_right_turn"}, FREE, FREE),
        ({"restriction__conditional": "no_right_turn @ (length>8)"}, LONG, FREE),
        ({"restriction__conditional": "no_right_turn @ (weight>7.5)"}, FREE, FREE),
        ({"restriction__conditional": "no_right_turn @ (trailer)"}, LONG, FREE),
    ],
)  # fmt: skip
def test_each_outfit_has_its_own_turns(tmp_path, tags, van, car):
    """What is for trailers, or for the long, bars the van alone; what exempts caravans bars the car alone."""
    drawing = cross(tmp_path, **tags)
    assert drawing.way("A", "NP") == van
    assert drawing.way("A", "NP", ALONE) == car


def test_turns_by_the_trips_dates(tmp_path):
    """A rush-hour restriction holds all day on its days and sleeps on others, each with its own network."""
    drawing = cross(tmp_path, restriction__conditional="no_right_turn @ (Mo-Fr 07:00-09:00)")
    sets = closure_sets(drawing.region, [FRIDAY, SATURDAY])
    assert [s.days for s in sets] == [(0,), (1,)]
    assert drawing.way("A", "NP", closures=sets[0]) == LONG
    assert drawing.way("A", "NP", closures=sets[1]) == FREE
    assert drawing.way("A", "NP") == LONG  # no date given: the strict reading


def test_turns_by_the_hour_where_the_trip_says_so(tmp_path):
    """With the hours on the road given a restriction outside them does not hold, and all days are one set."""
    drawing = cross(tmp_path, restriction__conditional="no_right_turn @ (Mo-Fr 07:00-09:00)")
    sets = closure_sets(drawing.region, [FRIDAY, SATURDAY], hours=(9 * 60 + 30, 18 * 60))
    assert [s.days for s in sets] == [(0, 1)]
    assert drawing.way("A", "NP", closures=sets[0]) == FREE
    early = closure_sets(drawing.region, [FRIDAY, SATURDAY], hours=(8 * 60, 18 * 60))
    assert drawing.way("A", "NP", closures=early[0]) == LONG


def test_a_restriction_lifted_at_weekends(tmp_path):
    """``none @ (Sa,Su)`` lifts the plain restriction on those days."""
    drawing = cross(tmp_path, restriction="no_right_turn", restriction__conditional="none @ (Sa,Su)")
    sets = closure_sets(drawing.region, [FRIDAY, SATURDAY])
    assert [drawing.way("A", "NP", closures=s) for s in sets] == [LONG, FREE]


def test_days_with_the_same_turns_share_a_network(tmp_path):
    """A fortnight has two sets: working days and weekends."""
    drawing = cross(tmp_path, restriction__conditional="no_right_turn @ (Mo-Fr 07:00-09:00)")
    sets = closure_sets(drawing.region, [date(2026, 5, d) for d in range(1, 15)])
    assert [s.days for s in sets] == [(0, 3, 4, 5, 6, 7, 10, 11, 12, 13), (1, 2, 8, 9)]


@pytest.mark.parametrize(("kind", "members", "start", "end", "way"), [
    ("no_entry", [("from", "AX"), ("from", "XS"), ("via", "X"), ("to", "NX")], "A", "NP", LONG),
    ("no_entry", [("from", "AX"), ("from", "XS"), ("via", "X"), ("to", "NX")], "S", "NP", "SQP"),
    ("no_entry", [("from", "AX"), ("from", "XS"), ("via", "X"), ("to", "NX")], "N", "AX", "X"),
    ("no_exit", [("from", "AX"), ("via", "X"), ("to", "NX"), ("to", "XS")], "A", "NP", ""),
    ("no_exit", [("from", "AX"), ("via", "X"), ("to", "NX"), ("to", "XS")], "N", "AX", "X"),
])  # fmt: skip
def test_several_froms_and_tos(tmp_path, kind, members, start, end, way):
    """no_entry bars one road to several, no_exit several roads to one; the other direction is free."""
    drawing = drawn(CROSS, CROSS_WAYS, tmp_path, relations=[({"type": "restriction", "restriction": kind}, members)])
    assert drawing.way(start, end) == way


LADDER = """
A--M--K--L--C
   |  |  |  |
   D--E--F--G
"""
LADDER_WAYS = {
    "AM": ROAD,
    "MK": ROAD,
    "KL": ROAD,
    "LC": ROAD,
    "MD": ROAD,
    "KE": ROAD,
    "LF": ROAD,
    "CG": ROAD,
    "DE": ROAD,
    "EF": ROAD,
    "FG": ROAD,
}


@pytest.mark.parametrize(("kind", "end", "bites"), [
    ("no_straight_on", "LC", True), ("no_straight_on", "LF", False), ("no_straight_on", "KE", False), ("only_straight_on", "LF", True),
    ("only_straight_on", "LC", False),
])  # fmt: skip
def test_via_two_ways(tmp_path, kind, end, bites):
    """A restriction via two ways bars that whole sequence and nothing less; who leaves in between is free unless it is ``only``."""
    members = [("from", "AM"), ("via", "MK"), ("via", "KL"), ("to", "LC")]
    plain = drawn(LADDER, LADDER_WAYS, tmp_path).way("A", end)
    assert plain.startswith("MK")
    barred = drawn(LADDER, LADDER_WAYS, tmp_path, relations=[({"type": "restriction", "restriction": kind}, members)])
    assert (barred.way("A", end) != plain) == bites
    assert barred.way("D", end) == drawn(LADDER, LADDER_WAYS, tmp_path).way("D", end)


DUAL = """
A--B--C--D
   |
E--F--G--H
"""


def test_no_u_turn_through_the_gap_of_a_dual_carriageway(tmp_path):
    """no_u_turn via the link bars turning back through it; crossing it to go on is another matter."""
    road = "highway=trunk surface=asphalt"
    ways = {
        "DCB": f"{road} oneway=yes",
        "BA": f"{road} oneway=yes",
        "EF": f"{road} oneway=yes",
        "FGH": f"{road} oneway=yes",
        "BF": ROAD,
        "AE": ROAD,
        "DH": ROAD,
    }
    rule = [({"type": "restriction", "restriction": "no_u_turn"}, [("from", "EF"), ("via", "BF"), ("to", "BA")])]
    free, barred = drawn(DUAL, ways, tmp_path), drawn(DUAL, ways, tmp_path, relations=rule)
    assert free.way("EF", "BA") == "FB"
    assert barred.way("EF", "BA") != "FB"
    assert barred.way("EF", "BF") == "F"


@pytest.mark.parametrize(
    ("node", "van", "low", "car"),
    [
        ("barrier=height_restrictor maxheight=2.7", ROUND, STRAIGHT, STRAIGHT), ("barrier=height_restrictor maxheight=3.5", STRAIGHT, STRAIGHT, STRAIGHT),
        ("barrier=height_restrictor", ROUND, ROUND, STRAIGHT), ("barrier=height_restrictor maxheight=1.7", ROUND, ROUND, ROUND),
        ("maxheight=2.7", ROUND, STRAIGHT, STRAIGHT), ("maxheight=9'0\"", ROUND, STRAIGHT, STRAIGHT),
        ("barrier=width_restrictor maxwidth=2.2", ROUND, ROUND, STRAIGHT), ("barrier=cattle_grid maxweight=3", ROUND, ROUND, STRAIGHT),
        ("barrier=cattle_grid maxweight=3.5", STRAIGHT, STRAIGHT, STRAIGHT), ("ford=yes", ROUND, ROUND, STRAIGHT),
        ("highway=ford", ROUND, ROUND, STRAIGHT), ("highway=crossing", STRAIGHT, STRAIGHT, STRAIGHT), ("ford=no", STRAIGHT, STRAIGHT, STRAIGHT),
    ],
)  # fmt: skip
def test_points_against_each_outfit(tmp_path, node, van, low, car):
    """A bar, a gap, a weak grid or a ford stops the outfits that it would: 2.6 m, 2.3 m high, and the car alone (1.6 m, 1.7 t)."""
    drawing = drawn(
        SHORT_CUT.replace("B-----C", "B--X--C"),
        {"AB": ROAD, "CF": ROAD, "BXC": ROAD, "BD": ROAD, "DE": ROAD, "EC": ROAD}, tmp_path, nodes={"X": node},
    )  # fmt: skip
    for terms, way in ((Terms(VAN), van), (Terms(replace(VAN, height_m=2.3)), low), (ALONE, car)):
        assert drawing.way("A", "F", terms).replace("X", "") == way, terms.outfit


def test_a_closure_by_the_hour(tmp_path):
    """A road closed at night is closed all day, unless the hours on the road are given and lie outside."""
    tags = {**dict(p.split("=") for p in ROAD.split()), "motor_vehicle:conditional": "no @ (22:00-06:00)"}
    drawing = drawn(SHORT_CUT, {"AB": ROAD, "CF": ROAD, "BC": tags, "BD": ROAD, "DE": ROAD, "EC": ROAD}, tmp_path)
    assert drawing.way("A", "F", closures=closure_sets(drawing.region, [FRIDAY])[0]) == ROUND
    assert drawing.way("A", "F", closures=closure_sets(drawing.region, [FRIDAY], hours=(540, 1080))[0]) == STRAIGHT


def test_via_ways_of_the_middle_road_only(tmp_path):
    """A restriction for caravans via a way bars the van and not the car."""
    rule = [({"type": "restriction", "restriction:caravan": "no_straight_on"}, [("from", "AM"), ("via", "MK"), ("to", "KC")])]
    drawing = drawn(VIA, VIA_WAYS, tmp_path, relations=rule)
    assert drawing.way("A", "KC") != "MK"
    assert drawing.way("A", "KC", ALONE) == "MK"


THROUGH = """
N-----P
|     |
W--X--E
   |
   S
"""
THROUGH_WAYS = {"NW": ROAD, "WXE": ROAD, "NP": ROAD, "PE": ROAD, "XS": ROAD}
UNCLEAR = "turn restrictions left out (a way runs through via, and either side could be meant)"


@pytest.mark.parametrize(("kind", "from_", "to", "from_w", "from_e"), [
    ("no_right_turn", "WXE", "XS", False, True), ("no_left_turn", "WXE", "XS", True, False), ("only_straight_on", "WXE", "XS", True, True),
    ("no_entry", "WXE", "XS", False, False), ("no_straight_on", "WXE", "XS", True, True), ("only_right_turn", "WXE", "XS", True, True),
])  # fmt: skip
def test_from_runs_through_the_via(tmp_path, kind, from_, to, from_w, from_e):
    """Of a way that runs on through the via the side counts from which the turn is the one named; no_entry means both."""
    drawing = drawn(
        THROUGH,
        THROUGH_WAYS,
        tmp_path,
        relations=[({"type": "restriction", "restriction": kind}, [("from", from_), ("via", "X"), ("to", to)])],
    )
    direct = {start: drawing.way(start, "XS") == "X" for start in ("WX", "XE")}
    assert direct == {"WX": from_w, "XE": from_e}
    assert (UNCLEAR in drawing.region.meta.faults) == (kind.endswith("straight_on"))
    # Who may only turn right coming from W, as the angles say, may not go straight on; from E all is free.
    assert (drawing.way("WX", "XE") == "X") == (kind != "only_right_turn")
    assert drawing.way("XE", "WX") == "X"


@pytest.mark.parametrize(("kind", "to_w", "to_e"), [
    ("no_left_turn", False, True), ("no_right_turn", True, False), ("no_exit", False, False), ("no_u_turn", True, True),
])  # fmt: skip
def test_to_runs_through_the_via(tmp_path, kind, to_w, to_e):
    """The same for the way turned into: coming from S, W is to the left and E to the right."""
    drawing = drawn(
        THROUGH,
        THROUGH_WAYS,
        tmp_path,
        relations=[({"type": "restriction", "restriction": kind}, [("from", "XS"), ("via", "X"), ("to", "WXE")])],
    )
    assert {end: drawing.way("XS", end) == "X" for end in ("WX", "XE")} == {"WX": to_w, "XE": to_e}
    assert (UNCLEAR in drawing.region.meta.faults) == (kind == "no_u_turn")


def test_both_run_through_the_via(tmp_path):
    """At a crossing of two ways drawn through it, two turns are to the left: nothing is barred, and the fault is named."""
    ways = {"WXE": ROAD, "NXS": ROAD, "NW": ROAD}
    plan = "   N\n   |\nW--X--E\n   |\n   S"
    members = [("from", "WXE"), ("via", "X"), ("to", "NXS")]
    drawing = drawn(plan, ways, tmp_path, relations=[({"type": "restriction", "restriction": "no_left_turn"}, members)])
    assert drawing.region.meta.faults[UNCLEAR] == 1
    assert drawing.way("WX", "NX") == "X"
    # With one-way traffic one reading is left, and it holds.
    one = drawn(
        plan,
        {**ways, "WXE": f"{ROAD} oneway=yes"},
        tmp_path,
        relations=[({"type": "restriction", "restriction": "no_left_turn"}, members)],
    )
    assert UNCLEAR not in one.region.meta.faults
    assert one.way("WX", "NX") != "X"
    assert one.way("WX", "XS") == "X"


def test_from_runs_through_a_via_way(tmp_path):
    """By way of a road: of a way that runs on past it the side counts from which one turns back as the relation says."""
    plan = "A--B--C\n   |\nE--F--G"
    ways = {"ABC": ROAD, "BF": ROAD, "EF": ROAD, "FG": ROAD, "AE": ROAD, "CG": ROAD}
    members = [("from", "ABC"), ("via", "BF"), ("to", "EF")]
    drawing = drawn(plan, ways, tmp_path, relations=[({"type": "restriction", "restriction": "no_u_turn"}, members)])
    assert drawing.way("AB", "EF") != "BF"  # there and back
    assert drawing.way("BC", "EF") == "BF"  # on westward
