"""The check of a way that somebody brings."""

from __future__ import annotations

import json
import shlex
from dataclasses import replace
from datetime import date

import numpy as np
import pytest
from helpers.towing import ROAD, VAN, drawn

from tripplan.model.errors import BadInputError
from tripplan.model.place import Spot
from tripplan.model.words import Surface
from tripplan.report.check_json import check_json
from tripplan.report.check_words import found_words
from tripplan.roads.check import check
from tripplan.roads.terms import Terms, terms_every_road

# A short pass PQ of gravel, a long sealed way round; A and B at the ends.
PASS = "A--P------Q--B\n" + 10 * "   |      |\n" + "   R------S"
WAYS = {"AP": ROAD, "QB": ROAD, "PR": ROAD, "RS": ROAD, "SQ": ROAD}


def checked(folder, tags, words=("A", "PQ", "B"), *, last_mile_m=1000.0, nodes=None, ways=WAYS):
    """Check way-points on the map with the given tags on the pass."""
    drawing = drawn(PASS, {**ways, "PQ": tags}, folder, nodes=nodes)
    terms = Terms(VAN, last_mile_m=last_mile_m)
    return check(drawing.region, [drawing.spot(w) for w in words], terms_every_road(terms), terms)


def test_gravel_pass_is_listed_and_the_way_round_advised(tmp_path):
    """The gravel stretch is one line with its length, name, place and reason; the advised way is 2 km longer."""
    nodes = {"P": "place=village name=Upper"}
    result = checked(tmp_path, "highway=secondary surface=gravel name=Pass ref=R7", ("A", "B", "A"), nodes=nodes)
    assert result.forbidden
    assert [s.kind for s in result.stretches] == ["unsealed", "unsealed"]
    first = result.stretches[0]
    assert (first.name, first.ref, first.town, first.forbidden, first.leg) == ("Pass", "R7", "Upper", True, 0)
    assert first.why == ("unsealed: surface=gravel",)
    assert first.length_m == pytest.approx(700, rel=0.01)
    assert first.from_m == pytest.approx(300, rel=0.02)
    assert result.sealed_way
    assert result.more_km == pytest.approx(2 * 2 * 1.1, rel=0.02)
    assert result.more_min > 0


def test_sealed_way_passes(tmp_path):
    """A sealed way has nothing to list, and the advised way is the same."""
    result = checked(tmp_path, ROAD, ("A", "B"))
    assert not result.forbidden
    assert result.stretches == ()
    assert result.more_km == pytest.approx(0)
    assert result.more_min == pytest.approx(0)


def test_way_point_on_the_gravel_has_no_sealed_way_but_the_ends_have(tmp_path):
    """A way-point that only gravel leads to is named, and the advised way leaves it out."""
    result = checked(tmp_path, "highway=secondary surface=gravel")
    assert result.forbidden
    assert result.sealed_way
    assert [(g.first, g.second) for g in result.advised_gaps] == [(1, -1)]
    assert "unsealed" in result.advised_gaps[0].why


def test_no_sealed_way(tmp_path):
    """Where only gravel joins the ends the answer is that there is no sealed way."""
    ways = {"AP": ROAD, "QB": ROAD}
    result = checked(tmp_path, "highway=secondary surface=gravel", ("A", "B"), ways=ways)
    assert not result.sealed_way
    assert result.advised == ()
    assert np.isnan(result.more_km)


@pytest.mark.parametrize(
    ("tags", "kind", "why"),
    [(f"{ROAD} maxheight=2.5", "closed", "height limit 2.5 m, the outfit needs 2.8 m"), (f"{ROAD} maxweight=3", "closed", "weight limit 3 t, the outfit needs 3.2 t"),
     (f"{ROAD} caravan=no", "closed", "closed to the outfit"), (f"{ROAD} access=destination", "closed", "only for those who stop there"),
     ("highway=secondary", "unknown", "secondary road, not at an end of the way"), ("highway=residential", "unknown", "not at an end of the way"),
     ("highway=secondary surface=gravel maxheight=2.5", "closed", "unsealed: surface=gravel")],
)  # fmt: skip
def test_what_is_closed_to_the_outfit(tmp_path, tags, kind, why):
    """Everything that a car may use and the outfit may not is listed with every reason."""
    result = checked(tmp_path, f"{tags} maxspeed=60", ("A", "B"))
    assert [s.kind for s in result.stretches] == [kind]
    assert result.stretches[0].forbidden
    assert any(why in text for text in result.stretches[0].why)


@pytest.mark.parametrize(("allowed_m", "forbidden"), [(400, False), (200, True)])
def test_unknown_at_the_ends(tmp_path, allowed_m, forbidden):
    """Untagged lane at an end of the way is "phone first" inside the firm's allowance and forbidden beyond it."""
    result = checked(tmp_path, ROAD, ("A", "B"), last_mile_m=allowed_m, ways={**WAYS, "AP": "highway=service"})
    (stretch,) = result.stretches
    assert (stretch.kind, stretch.forbidden, stretch.phone_first) == ("unknown", forbidden, not forbidden)
    assert stretch.length_m == pytest.approx(300, rel=0.01)


def test_barrier_that_a_car_passes(tmp_path):
    """A barrier for the van alone is a line of its own."""
    ways = {**WAYS, "QB": ROAD}
    drawing = drawn(PASS.replace("P------Q", "P--X---Q"), {**ways, "PXQ": ROAD}, tmp_path, nodes={"X": "barrier=gate caravan=no"})
    terms = Terms(VAN)
    result = check(drawing.region, [drawing.spot("A"), drawing.spot("B")], terms_every_road(terms), terms)
    assert [(s.kind, s.length_m) for s in result.stretches] == [("closed", 0)]
    assert "gate" in result.stretches[0].why[0]
    assert result.more_km == pytest.approx(2.2, rel=0.02)


def test_bad_way_points(tmp_path):
    """One way-point, or none near a road, is bad input in one line."""
    with pytest.raises(BadInputError, match="two or more"):
        checked(tmp_path, ROAD, ("A",))
    drawing = drawn(PASS, {**WAYS, "PQ": ROAD}, tmp_path)
    terms = Terms(VAN)
    with pytest.raises(BadInputError, match="no way-point is near a road"):
        check(drawing.region, [Spot("x", "x", 20, 50), Spot("y", "y", 20, 51)], terms_every_road(terms), terms)


@pytest.mark.parametrize(("surface", "p", "told"), [
    (Surface.PRESUMED, 0.93, 0.93), (Surface.UNKNOWN, 0.41, 0.41), (Surface.UNKNOWN, np.nan, None), (Surface.UNSEALED, 0.41, None),
])  # fmt: skip
def test_how_likely_an_untagged_road_is_sealed(tmp_path, surface, p, told):
    """The list and its JSON carry the probability where no tag tells the surface, with the reasons, and nothing where one does."""
    drawing = drawn(PASS, {**WAYS, "PQ": "highway=secondary"}, tmp_path)
    ways, row = drawing.region.ways, int(np.flatnonzero(drawing.region.ways.osm_id == drawing.drawing.way_id["PQ"])[0])
    columns = {name: getattr(ways, name).copy() for name in ("surface", "surface_p")}
    columns["surface"][row], columns["surface_p"][row] = int(surface), p
    region = replace(drawing.region, ways=replace(ways, **columns))
    terms = Terms(VAN)
    result = check(region, [drawing.spot(word) for word in ("A", "PQ", "B")], terms_every_road(terms), terms)
    (stretch,) = {s.osm_way: s for s in result.stretches}.values()
    assert told is None or stretch.sealed_p == pytest.approx(told)
    assert np.isnan(stretch.sealed_p) == (told is None)
    (said, *_) = json.loads(check_json(result, region, VAN, date(2027, 2, 6)))["stretches"]
    assert said["sealed_p"] == told
    assert any("no surface tagged" in why or "too few" in why for why in said["why"])


# A direct pass of 3 km and a sealed way round of about 9 km; the far side RS is 3 km down.
LONG = "A--P" + 30 * "-" + "Q--B\n" + 30 * ("   |" + 30 * " " + "|\n") + "   R" + 30 * "-" + "S"


@pytest.mark.parametrize(
    ("tags", "kind"),
    [
        ("highway=secondary surface=gravel name=Pass maxspeed=10", "unsealed"), (f"{ROAD} motor_vehicle=no name=Pass", "closed"),
        ("highway=track name=Pass", "unsealed"), (f"{ROAD} access=destination name=Pass maxspeed=10", "closed"),
    ],
)  # fmt: skip
def test_the_direct_way_that_is_not_for_the_outfit(tmp_path, tags, kind):
    """A leg that goes round gravel or a closed road is well, and says which direct way that is and how much longer it is itself."""
    drawing = drawn(LONG, {**WAYS, "PQ": tags}, tmp_path)
    terms = Terms(VAN)
    result = check(drawing.region, [drawing.spot(w) for w in ("A", "B")], terms_every_road(terms), terms)
    assert not result.forbidden
    assert result.length_m == pytest.approx(600 + 3 * 3100, rel=0.02)
    (detour,) = result.detours
    assert (detour.worst.kind, detour.worst.name) == (kind, "Pass")
    assert detour.way.length_m == pytest.approx(600 + 3100, rel=0.02)
    assert detour.way.longer_m == pytest.approx(2 * 3100, rel=0.02)
    (line,) = [line for line in found_words(result) if line.startswith("  shorter")]
    assert "A to B: the direct way by Pass, 3.7 km, is " in line
    assert "6.2 km longer" in line
    (told,) = json.loads(check_json(result, drawing.region, VAN, date(2027, 2, 6)))["shorter"]
    assert (told["longer_m"], told["stretches"][0]["name"]) == (pytest.approx(detour.way.longer_m, abs=0.1), "Pass")


@pytest.mark.parametrize(
    ("tags", "down"),
    [
        (f"{ROAD} maxspeed=10", 30),  # lawful and slow: the driver's own choice
        ("highway=track motor_vehicle=no", 30),  # no way through for anybody
        ("highway=secondary surface=gravel maxspeed=20 oneway=-1", 30),  # leads the other way
        ("highway=secondary surface=gravel maxspeed=10", 3),
    ],
)  # fmt: skip
def test_no_direct_way_is_told(tmp_path, tags, down):
    """A slow lawful road, a track closed to cars, a road one-way the other way, and a way that is hardly longer are not told."""
    plan = "A--P" + 30 * "-" + "Q--B\n" + down * ("   |" + 30 * " " + "|\n") + "   R" + 30 * "-" + "S"
    drawing = drawn(plan, {**WAYS, "PQ": tags}, tmp_path)
    terms = Terms(VAN)
    result = check(drawing.region, [drawing.spot(w) for w in ("A", "B")], terms_every_road(terms), terms)
    assert not result.forbidden
    assert result.detours == ()


def test_a_leg_over_gravel_is_told_once(tmp_path):
    """Where the leg itself goes over gravel that is what is told, not a direct way beside it."""
    drawing = drawn(LONG, {**WAYS, "PQ": "highway=secondary surface=gravel maxspeed=80"}, tmp_path)
    terms = Terms(VAN)
    result = check(drawing.region, [drawing.spot(w) for w in ("A", "PQ", "B")], terms_every_road(terms), terms)
    assert result.forbidden
    assert result.detours == ()


# A network, an islet with a road of its own, and a larger island: nothing joins them.
ISLES = "A" + 60 * "-" + "B\n\n\nC----D\n\n\nE" + 55 * "-" + "F"


@pytest.mark.parametrize(("islet", "forbidden"), [(ROAD, False), ("highway=secondary surface=gravel", True)])
def test_roads_that_nothing_joins_are_judged(tmp_path, islet, forbidden):
    """Way-points on an islet and on a second island are judged by their own roads, sealed or gravel."""
    drawing = drawn(ISLES, {"AB": ROAD, "CD": islet, "EF": islet}, tmp_path)
    terms = Terms(VAN)
    for words, km in (("CD", 0.5), ("EF", 5.6), ("DC", 0.5)):
        result = check(drawing.region, [drawing.spot(w) for w in words], terms_every_road(terms), terms)
        assert result.gaps == ()
        assert result.length_m == pytest.approx(km * 1000, rel=0.02)
        assert result.forbidden is forbidden
        assert {s.kind for s in result.stretches} == ({"unsealed"} if forbidden else set())
        assert result.sealed_way is not forbidden


def test_no_road_between_way_points(tmp_path):
    """Each leg without a road says so with both lengths; the legs before and after it are judged all the same."""
    drawing = drawn(ISLES, {"AB": ROAD, "CD": ROAD, "EF": "highway=secondary surface=gravel"}, tmp_path)
    terms = Terms(VAN)
    result = check(drawing.region, [drawing.spot(w) for w in "ABCDEF"], terms_every_road(terms), terms)
    assert result.forbidden
    assert [(g.first, g.second) for g in result.gaps] == [(1, 2), (3, 4)]
    assert "B is on roads of 6.1 km in all, C on roads of 500 m, and nothing joins the two" in result.gaps[0].why
    assert [leg is None for leg in result.legs] == [False, True, False, True, False]
    lines = found_words(result)
    assert any(
        line.startswith("  NO WAY       B to C: no way on any road of this map that a car may use: B is on roads")
        for line in lines
    )
    assert any("No road for 2 legs of 5; the others were judged" in line for line in lines)
    told = json.loads(check_json(result, drawing.region, VAN, date(2027, 2, 6)))
    assert [leg["answer"] for leg in told["legs"]] == ["clear", "no way", "clear", "no way", "forbidden"]


def test_a_way_point_on_no_road(tmp_path):
    """A way-point far from any road is named with the distance; one that lies near a road closed to cars says what closes it."""
    drawing = drawn("A" + 60 * "-" + "B--C", {"AB": ROAD, "BC": f"{ROAD} motor_vehicle=no"}, tmp_path)
    terms = Terms(VAN)
    far = Spot("x", "x", drawing.spot("A").lon, drawing.spot("A").lat + 0.04)
    result = check(drawing.region, [drawing.spot("A"), drawing.spot("B"), far], terms_every_road(terms), terms)
    assert [leg is None for leg in result.legs] == [False, True]
    assert "x is on no road: the nearest road a car may use is 4.4 km away" in result.gaps[0].why


TOLL = "A----B----C----D----E"


@pytest.mark.parametrize(
    ("ways", "nodes", "found"),
    [
        ({"BC": "toll=yes name=Bridge", "CD": "toll=yes"}, {}, [(500, 1000)]), ({"BC": "toll=yes", "DE": "toll=yes"}, {}, [(500, 500), (1500, 500)]),
        ({}, {"C": "barrier=toll_booth"}, [(1000, 0)]), ({}, {}, []),
    ],
)  # fmt: skip
def test_tolls(tmp_path, ways, nodes, found):
    """Tolls are told with where they begin, also across a way-point, and are no reason to forbid; a road without has none."""
    roads = {way: f"{ROAD} {ways.get(way, '')}" for way in ("AB", "BC", "CD", "DE")}
    drawing = drawn(TOLL, roads, tmp_path, nodes=nodes)
    terms = Terms(VAN)
    result = check(drawing.region, [drawing.spot(w) for w in ("A", "CD", "E")], terms_every_road(terms), terms)
    assert not result.forbidden
    assert [(pytest.approx(f, abs=3), pytest.approx(n, abs=3)) for f, n in found] == [
        (t.from_m, t.length_m) for t in result.tolls
    ]
    told = json.loads(check_json(result, drawing.region, VAN, date(2027, 2, 6)))["tolls"]
    assert len(told) == len(found) == sum(line.startswith("  toll") for line in found_words(result))
    assert any(f"{len(found)} toll" in line for line in found_words(result)) is bool(found)


@pytest.mark.parametrize(
    ("tags", "says"),
    [
        (f"{ROAD} motor_vehicle:conditional='no @ winter'", "a condition that could not be read, as written: motor_vehicle:conditional=no @ winter"),
        (f"{ROAD} maxheight=low", "a limit that could not be read, as written: maxheight=low"), (ROAD, ""),
    ],
)  # fmt: skip
def test_what_could_not_be_read_is_to_be_asked(tmp_path, tags, says):
    """A sign that nobody could read forbids nothing, and is told as written with its road; plain tags ask nothing."""
    drawing = drawn(PASS, {**WAYS, "PQ": tags_of(tags)}, tmp_path)
    terms = Terms(VAN)
    result = check(drawing.region, [drawing.spot(w) for w in ("A", "B")], terms_every_road(terms), terms)
    assert not result.forbidden
    assert [s.kind for s in result.stretches] == (["ask first"] if says else [])
    lines = found_words(result)
    assert any(line.startswith("  ask first    km") and says in line for line in lines) is bool(says)
    assert any("Ask first about 1 stretch" in line for line in lines) is bool(says)


def tags_of(text):
    """Return tags from words, a value with blanks in quotes."""
    return dict(word.split("=", 1) for word in shlex.split(text))


def test_presumed_pieces_of_one_road_share_a_line(tmp_path):
    """Presumed pieces of one road one after another are one line with the sum of their lengths; another road has its own."""
    drawing = drawn(
        "A----B----C----D",
        {"AB": "highway=secondary ref=R1", "BC": "highway=secondary ref=R1", "CD": "highway=secondary ref=R2"},
        tmp_path,
    )
    ways = drawing.region.ways
    region = replace(drawing.region, ways=replace(ways, surface=np.full_like(ways.surface, int(Surface.PRESUMED))))
    terms = Terms(VAN)
    result = check(region, [drawing.spot(w) for w in ("A", "D")], terms_every_road(terms), terms)
    assert len(result.stretches) == 3
    lines = [line for line in found_words(result) if line.startswith("  presumed")]
    assert len(lines) == 2
    assert "1,000 m  R1 (way" in lines[0]
    assert "and 1 more): untagged, presumed sealed" in lines[0]
    assert "500 m  R2 (way" in lines[1]


def test_swapped_coordinates_are_asked_about(tmp_path):
    """Way-points that would lie on the map with latitude and longitude changed are asked about; others are not."""
    drawing = drawn(PASS, {**WAYS, "PQ": ROAD}, tmp_path)
    terms = Terms(VAN)
    spots = [drawing.spot("A"), drawing.spot("B")]
    turned = [Spot(s.text, s.name, s.lat, s.lon) for s in spots]
    with pytest.raises(BadInputError, match="are latitude and longitude swapped"):
        check(drawing.region, turned, terms_every_road(terms), terms)
    away = [Spot(s.text, s.name, s.lon + 20, s.lat) for s in spots]
    with pytest.raises(BadInputError, match="take the region that they lie in"):
        check(drawing.region, away, terms_every_road(terms), terms)


@pytest.mark.parametrize(("between", "boats"), [("route=ferry name=Heron duration=00:20", 1), (ROAD, 0)])
def test_ferries_are_listed(tmp_path, between, boats):
    """A ferry on the way is told with where it begins, its time at sea, booking and length; a road has none."""
    drawing = drawn("A----B----------C----D", {"AB": ROAD, "BC": between, "CD": ROAD}, tmp_path)
    terms = Terms(VAN)
    result = check(drawing.region, [drawing.spot(w) for w in ("A", "C", "D")], terms_every_road(terms), terms)
    assert not result.forbidden
    assert [(pytest.approx(500, abs=3), pytest.approx(1100, abs=5))] * boats == [
        (b.from_m, b.crossing.length_m) for b in result.ferries
    ]
    lines = [line for line in found_words(result) if line.startswith("  ferry")]
    assert len(lines) == boats
    assert all("Ferry Heron: 20 min at sea" in line and "12.0 m of length" in line for line in lines)
    told = json.loads(check_json(result, drawing.region, VAN, date(2027, 2, 6)))["ferries"]
    assert [(boat["name"], boat["sailing_s"], boat["interval_s"]) for boat in told] == [("Heron", 1200, None)] * boats


def test_a_checked_way_keeps_turn_restrictions(tmp_path):
    """A way that a turn restriction sends round goes round, and without one it turns."""
    barred = [({"type": "restriction", "restriction": "no_right_turn"}, [("from", "AX"), ("via", "X"), ("to", "XC")])]
    plan = "A----X----B\n     |    |\n     |    |\n     C----D"
    ways = {"AX": ROAD, "XB": ROAD, "XC": ROAD, "BD": ROAD, "DC": ROAD}
    terms = Terms(VAN)
    for relations, metres in ((barred, 1800), ([], 800)):
        drawing = drawn(plan, ways, tmp_path, relations=relations)
        result = check(drawing.region, [drawing.spot("A"), drawing.spot("C")], terms_every_road(terms), terms)
        assert result.length_m == pytest.approx(metres, abs=150)
        assert not result.forbidden
