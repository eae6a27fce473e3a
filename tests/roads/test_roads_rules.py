"""One drawn map a rule, each with the case in which the rule must not bite."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest
from helpers.towing import CAR, ROAD, VAN, drawn

from tripplan.roads.closures import closure_sets
from tripplan.roads.terms import Terms

# A short road BC between two ends, and a long way round by D and E.
SHORT_CUT = "A-B-----C-F\n" + 24 * "  |     |\n" + "  D-----E"


def short_cut(folder: Path, tags: str, **more):
    """Return the map with the given tags on the short cut."""
    return drawn(SHORT_CUT, {"AB": ROAD, "CF": ROAD, "BC": tags, "BD": ROAD, "DE": ROAD, "EC": ROAD}, folder, **more)


ROUND, STRAIGHT = "BDEC", "BC"


@pytest.mark.parametrize(
    ("tags", "way"),
    [
        ("highway=secondary surface=asphalt", STRAIGHT),
        ("highway=secondary surface=gravel", ROUND),
        ("highway=secondary surface=asphalt;gravel", ROUND),
        ("highway=secondary", ROUND),  # nothing is presumed on a map of a few roads
        ("highway=residential", ROUND),  # unknown is for the last mile, not for transit
        ("highway=service", ROUND),
        ("highway=track", ROUND),
        ("highway=residential surface=asphalt", STRAIGHT),
    ],
)
def test_van_goes_round_what_is_not_known_sealed(tmp_path, tags, way):
    """Only sealed road serves in transit: gravel, a mixed list, untagged and track are gone round, asphalt is not."""
    assert short_cut(tmp_path, tags).way("A", "F") == way


@pytest.mark.parametrize(
    ("tags", "way"),
    [("highway=secondary surface=gravel", STRAIGHT), ("highway=residential", STRAIGHT), ("highway=track", ROUND),
     ("highway=track surface=asphalt", STRAIGHT), ("highway=residential access=private", ROUND)],
)  # fmt: skip
def test_car_alone_on_any_surface(tmp_path, tags, way):
    """The car alone may use gravel where the firm says any surface, but no track unless it is sealed, nor what is closed."""
    assert short_cut(tmp_path, tags).way("A", "F", Terms(CAR, van=False, surfaces="any")) == way


def test_car_alone_under_the_sealed_rule(tmp_path):
    """With the firm's rule "sealed" the car goes round gravel like the van."""
    assert short_cut(tmp_path, "highway=secondary surface=gravel").way("A", "F", Terms(CAR, van=False)) == ROUND


@pytest.mark.parametrize(
    ("tags", "way"),
    [("access=destination", ROUND), ("motor_vehicle=customers", ROUND), ("access=private", ROUND), ("motorcar=no", ROUND),
     ("caravan=no", ROUND), ("access=no motor_vehicle=yes", STRAIGHT), ("access=permissive", STRAIGHT), ("hgv=no", STRAIGHT)],
)  # fmt: skip
def test_access(tmp_path, tags, way):
    """Destination and customers roads are no through roads, private ones none at all; the nearer key wins; others' bans don't bite."""
    assert short_cut(tmp_path, f"{ROAD} {tags}").way("A", "F") == way


def test_destination_road_leads_to_who_lives_there(tmp_path):
    """The same destination road is used when the spot lies on it."""
    drawing = short_cut(tmp_path, f"{ROAD} access=destination")
    assert drawing.way("A", "BC") == "B"
    assert drawing.joined(["A", "BC"]).reached.all()


@pytest.mark.parametrize(
    ("tags", "way"),
    [("maxheight=2.7", ROUND), ("maxheight=2.8", STRAIGHT), ("maxwidth=2.4", ROUND), ("maxwidth=2.5", STRAIGHT),
     ("maxlength=11", ROUND), ("maxlength=12", STRAIGHT), ("maxweight=3", ROUND), ("maxweight=3.5", STRAIGHT), ("maxaxleload=1.3", ROUND),
     ("maxheight=default", STRAIGHT), ("maxheight=9'0\"", ROUND)],
)  # fmt: skip
def test_sizes_with_clearance(tmp_path, tags, way):
    """Limits hold with 0.2 m to spare in height and width (outfit 2.6 x 2.3 x 12 m, 3.2 t, axle 1.4 t)."""
    assert short_cut(tmp_path, f"{ROAD} {tags}").way("A", "F") == way


def test_low_bridge_does_not_stop_the_car_alone(tmp_path):
    """The limit is the outfit's: the car passes under what stops the van."""
    drawing = short_cut(tmp_path, f"{ROAD} maxheight=2.0")
    assert drawing.way("A", "F") == ROUND
    assert drawing.way("A", "F", Terms(CAR, van=False)) == STRAIGHT


@pytest.mark.parametrize(("tags", "start", "end", "way"), [
    ("oneway=yes", "A", "F", STRAIGHT), ("oneway=yes", "F", "A", "CEDB"), ("oneway=-1", "A", "F", ROUND), ("oneway=-1", "F", "A", "CB"),
    ("oneway=no", "F", "A", "CB"),
])  # fmt: skip
def test_one_way(tmp_path, tags, start, end, way):
    """A one-way road is used in its direction only."""
    assert short_cut(tmp_path, f"{ROAD} {tags}").way(start, end) == way


def test_tolls_by_terms(tmp_path):
    """A toll road is used and counted, or gone round when the trip says no tolls."""
    drawing = short_cut(tmp_path, f"{ROAD} toll=yes")
    assert drawing.way("A", "F") == STRAIGHT
    assert drawing.joined(["A", "F"]).route(0, 1).tolls == 1
    assert drawing.way("A", "F", Terms(VAN, tolls=False)) == ROUND
    assert drawing.joined(["A", "F"], Terms(VAN, tolls=False)).route(0, 1).tolls == 0


@pytest.mark.parametrize(
    ("barrier", "way"), [("bollard", ROUND), ("gate access=private", ROUND), ("cattle_grid", STRAIGHT), ("toll_booth", STRAIGHT)]
)
def test_barriers(tmp_path, barrier, way):
    """A bollard or a private gate in the middle of the road stops the outfit; a grid or a booth does not."""
    drawing = drawn(
        SHORT_CUT.replace("B-----C", "B--X--C"),
        {"AB": ROAD, "CF": ROAD, "BXC": ROAD, "BD": ROAD, "DE": ROAD, "EC": ROAD}, tmp_path,
        nodes={"X": f"barrier={barrier}"},
    )  # fmt: skip
    assert drawing.way("A", "F").replace("X", "") == way


def test_area_off_limits(tmp_path):
    """A road that crosses the firm's area is gone round, also when no point of it lies inside; another area does not bite."""
    drawing = short_cut(tmp_path, ROAD)
    lon, lat = drawing.spot("BC").lon, drawing.spot("BC").lat

    def area(dx: float, dy: float):
        return (("moor", tuple((lon + dx + u * 1e-4, lat + dy + v * 1e-4) for u, v in ((-1, -1), (1, -1), (1, 1), (-1, 1)))),)

    assert drawing.way("A", "F", Terms(VAN, off_limits=area(0, 0))) == ROUND
    assert drawing.way("A", "F", Terms(VAN, off_limits=area(0, 0.01))) == STRAIGHT


def test_closure_by_date(tmp_path):
    """A pass closed in winter splits the days into sets; on the others it is used."""
    drawing = short_cut(tmp_path, {**dict(p.split("=") for p in ROAD.split()), "motor_vehicle:conditional": "no @ (Nov-Apr)"})
    sets = closure_sets(drawing.region, [date(2026, 4, 29), date(2026, 4, 30), date(2026, 5, 1), date(2026, 11, 1)])
    assert [s.days for s in sets] == [(0, 1, 3), (2,)]
    assert drawing.way("A", "F", closures=sets[0]) == ROUND
    assert drawing.way("A", "F", closures=sets[1]) == STRAIGHT


def test_one_closure_set_without_closures(tmp_path):
    """Where nothing closes by date all days share one network."""
    sets = closure_sets(short_cut(tmp_path, ROAD).region, [date(2026, 1, 1), date(2026, 7, 1)])
    assert [(s.days, s.closed) for s in sets] == [((0, 1), ())]


# A cross: from A straight on to C, left (north) to N, right (south) to S; round by the outer roads.
CROSS = """
N-----P
|     |
X--A  |
|     |
S-----Q
"""
CROSS_WAYS = {"NX": ROAD, "XS": ROAD, "AX": ROAD, "NP": ROAD, "PQ": ROAD, "QS": ROAD}


def restriction(kind: str, *members: tuple[str, str], **tags: str):
    """Return a turn restriction."""
    return ({"type": "restriction", "restriction": kind, **tags}, list(members))


@pytest.mark.parametrize(
    ("kind", "to", "end", "free"),
    [("no_right_turn", "NX", "NP", False), ("no_left_turn", "XS", "NP", True), ("only_left_turn", "XS", "NP", False),
     ("only_right_turn", "NX", "NP", True)],
)  # fmt: skip
def test_turns_by_a_junction(tmp_path, kind, to, end, free):
    """no_* bars one turn and only_* all others, so the way goes round; restrictions of another turn do not bite."""
    rules = [restriction(kind, ("from", "AX"), ("via", "X"), ("to", to))]
    drawing = drawn(CROSS, CROSS_WAYS, tmp_path, relations=rules)
    assert drawing.way("A", end) == ("XN" if free else "XSQP")


@pytest.mark.parametrize(("tags", "free"), [({"except": "motorcar"}, True), ({"except": "bus"}, False)])
def test_turn_exceptions(tmp_path, tags, free):
    """A restriction that excepts cars does not bite; one that excepts buses does."""
    rules = [restriction("no_right_turn", ("from", "AX"), ("via", "X"), ("to", "NX"), **tags)]
    assert drawn(CROSS, CROSS_WAYS, tmp_path, relations=rules).way("A", "NP") == ("XN" if free else "XSQP")


def test_turn_for_others_does_not_bite(tmp_path):
    """restriction:hgv is for lorries."""
    rules = [({"type": "restriction", "restriction:hgv": "no_right_turn"}, [("from", "AX"), ("via", "X"), ("to", "NX")])]
    assert drawn(CROSS, CROSS_WAYS, tmp_path, relations=rules).way("A", "NP") == "XN"


# From A over the middle road MK to C; the restriction speaks of A-MK-KC only. D comes by another way.
VIA = """
A--M--K--C
   |  |  |
   D  E  |
   |  |  |
   F--G--H
"""
VIA_WAYS = {"AM": ROAD, "MK": ROAD, "KC": ROAD, "MDF": ROAD, "KEG": ROAD, "CH": ROAD, "FG": ROAD, "GH": ROAD}


def test_turns_via_a_way(tmp_path):
    """A restriction via a way bars that sequence only: from elsewhere, or leaving in between, the road is free."""
    rules = [restriction("no_straight_on", ("from", "AM"), ("via", "MK"), ("to", "KC"))]
    drawing = drawn(VIA, VIA_WAYS, tmp_path, relations=rules)
    assert drawing.way("A", "KC") not in ("MK", "")  # must not go straight
    assert drawing.way("A", "KE") == "MK"
    assert drawing.way("D", "KC") == "MK"
    assert drawn(VIA, VIA_WAYS, tmp_path).way("A", "KC") == "MK"


def test_only_via_a_way(tmp_path):
    """only_* via a way forces its end; who comes from elsewhere is free."""
    rules = [restriction("only_straight_on", ("from", "AM"), ("via", "MK"), ("to", "KC"))]
    drawing = drawn(VIA, VIA_WAYS, tmp_path, relations=rules)
    assert drawing.way("A", "KE") != "MK"
    assert drawing.way("A", "KC") == "MK"
    assert drawing.way("D", "KE") == "MK"


def test_no_turning_round_on_the_road(tmp_path):
    """A barred turn may not be had by driving past and turning round; the car alone may do that; a real loop is fine."""
    rules = [restriction("no_right_turn", ("from", "AX"), ("via", "X"), ("to", "NX"))]
    ways = {"NX": ROAD, "XSU": ROAD, "AX": ROAD, "NP": ROAD}
    stub = drawn("N--P\n|\nX--A\n|\nS\n|\nU", ways, tmp_path, relations=rules)
    assert stub.way("A", "NP") == ""
    assert stub.way("A", "NP", Terms(CAR, van=False)) == "XUXN"
    loop = drawn("N--P\n|\nX--A\n|\nS\n|\nU--V\n|  |\nT--W", {**ways, "UVWTU": ROAD}, tmp_path, relations=rules)
    assert loop.way("A", "NP") == "XUUXN"


def test_turning_round_at_a_stop(tmp_path):
    """A stop is the place to turn round: a spot in a dead end is reached and left."""
    drawing = drawn("A--B--C\n   |\n   D", {"AB": ROAD, "BC": ROAD, "BD": ROAD}, tmp_path)
    joined = drawing.joined(["A", "D", "C"])
    assert joined.reached.all()
    assert drawing.letters(joined.route(0, 1)) == "B"
    assert drawing.letters(joined.route(1, 2)) == "B"


FERRY = """
A--B.......C--D
|             |
E-------------F
"""


@pytest.mark.parametrize("duration", ["00:10", ""])
def test_ferry_time_and_wait(tmp_path, duration):
    """A crossing takes its tagged duration, else its length at the stated speed, and half an hour on the quay; it is not driving."""
    land = f"{ROAD} maxspeed=60"
    sea = {"route": "ferry", "motor_vehicle": "yes", **({"duration": duration} if duration else {})}
    ways = {"AB": land, "CD": land, "BC": sea}
    drawing = drawn(FERRY.split("\n|")[0], ways, tmp_path, grid_m=1000)
    leg = drawing.joined(["A", "D"]).route(0, 1)
    crossing_s = 600 if duration else 8000 / 15 * 3.6
    assert leg.ferry_s == pytest.approx(crossing_s + 1800, rel=1e-3)
    assert leg.drive_s == pytest.approx(6000 / 60 * 3.6, rel=1e-3)
    assert leg.length_m == pytest.approx(14_000, rel=1e-3)


def test_ferry_by_terms(tmp_path):
    """Without ferries the way goes round by land."""
    ways = {
        "AB": ROAD,
        "CD": ROAD,
        "AE": ROAD,
        "EF": ROAD,
        "FD": ROAD,
        "BC": "route=ferry motor_vehicle=yes duration=00:05 interval=00:10",
    }
    drawing = drawn(FERRY, ways, tmp_path, grid_m=3000)
    assert drawing.way("A", "D", Terms(VAN)).replace("A", "") == "BC"
    assert "BC" not in drawing.way("A", "D", Terms(VAN, ferries=False))


def test_one_wait_a_boarding(tmp_path):
    """A crossing drawn as several ways is boarded once."""
    ways = {
        "AB": ROAD,
        "DE": ROAD,
        "BC": "route=ferry motor_vehicle=yes duration=00:10",
        "CD": "route=ferry motor_vehicle=yes duration=00:10",
    }
    drawing = drawn("A--B....C....D--E", ways, tmp_path, grid_m=1000)
    assert drawing.joined(["A", "E"]).route(0, 1).ferry_s == pytest.approx(1200 + 1800, abs=1)


def test_posted_limit_never_slows(tmp_path):
    """A faster posted limit never makes a way slower."""
    slow = short_cut(tmp_path, f"{ROAD} maxspeed=50").joined(["A", "F"]).matrix().total_s[0, 1]
    fast = short_cut(tmp_path, f"{ROAD} maxspeed=100").joined(["A", "F"]).matrix().total_s[0, 1]
    assert fast <= slow


def test_every_road_terms_disregard_the_outfit(tmp_path):
    """For a check the way leads over gravel, under the low bridge and along the destination road; what no car may use stays closed."""
    every = replace(Terms(VAN), surfaces="any", every_road=True)
    for tags in (f"{ROAD} maxheight=2", "highway=track", f"{ROAD} access=destination", f"{ROAD} caravan=no"):
        assert short_cut(tmp_path, tags).way("A", "F", every) == STRAIGHT, tags
    assert short_cut(tmp_path, f"{ROAD} access=private").way("A", "F", every) == ROUND


def test_closure_that_nobody_can_read(tmp_path):
    """An unreadable condition leaves the road open and is listed to be named as a caution."""
    tags = {**dict(p.split("=") for p in ROAD.split()), "motor_vehicle:conditional": "no @ (when the sheep are out)"}
    drawing = short_cut(tmp_path, tags)
    sets = closure_sets(drawing.region, [date(2026, 5, 1)])
    assert len(sets[0].doubtful) == 1
    assert sets[0].closed == ()
    assert drawing.way("A", "F", closures=sets[0]) == STRAIGHT


@pytest.mark.parametrize(
    ("tags", "node", "way", "without"),
    [
        ("", "barrier=toll_booth", 1, ROUND), ("toll=yes", "barrier=toll_booth", 1, ROUND), ("", "barrier=toll_booth motor_vehicle=yes", 1, ROUND),
        ("", "barrier=lift_gate motor_vehicle=yes", 0, STRAIGHT), ("", "barrier=border_control", 0, STRAIGHT), ("toll=no", "barrier=cattle_grid", 0, STRAIGHT),
    ],
)  # fmt: skip
def test_a_booth_is_a_toll(tmp_path, tags, node, way, without):
    """Passing a toll booth is counted once, whatever the road is tagged, and gone round without tolls; other barriers are none."""
    drawing = drawn(
        SHORT_CUT.replace("B-----C", "B--X--C"),
        {"AB": ROAD, "CF": ROAD, "BXC": f"{ROAD} {tags}".strip(), "BD": ROAD, "DE": ROAD, "EC": ROAD}, tmp_path, nodes={"X": node},
    )  # fmt: skip
    assert drawing.joined(["A", "F"]).route(0, 1).tolls == way
    assert drawing.way("A", "F").replace("X", "") == STRAIGHT
    none = Terms(VAN, tolls=False)
    assert drawing.way("A", "F", none).replace("X", "") == without
    assert drawing.joined(["A", "F"], none).route(0, 1).tolls == 0
    # Up to the booth nobody pays but for the road.
    assert drawing.joined(["A", "BX"]).route(0, 1).tolls == (tags == "toll=yes")


def test_two_booths_are_two_tolls_and_the_only_road_is_named(tmp_path):
    """Booths apart count each; a spot behind one that tolls rule out is told why it is not reached."""
    booths = {"X": "barrier=toll_booth", "Y": "barrier=toll_booth"}
    drawing = drawn("C--A--X---Y--B", {"CA": ROAD, "AXYB": ROAD}, tmp_path, nodes=booths, grid_m=4000)
    assert drawing.joined(["A", "B"]).route(0, 1).tolls == 2
    joined = drawing.joined(["A", "B"], Terms(VAN, tolls=False))
    assert not joined.reached.all()
    assert any("a toll booth, and tolls are ruled out" in why for why in joined.why_not)
