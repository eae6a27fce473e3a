"""The check of a way that somebody brings."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import date

import numpy as np
import pytest
from helpers.towing import ROAD, VAN, drawn

from tripplan.model.errors import BadInputError
from tripplan.model.place import Spot
from tripplan.model.words import Surface
from tripplan.report.check_json import check_json
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
