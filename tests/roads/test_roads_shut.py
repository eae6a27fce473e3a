"""Closures and wind warnings brought to a drawn map: what is shut, and what must stay open."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import Any

import pytest
from helpers.drawn import Drawing
from helpers.make import piece_of, region_from_drawing

from tripplan.model.closure import Closure
from tripplan.model.outfit import Outfit
from tripplan.region.region import Region
from tripplan.roads.closures import closure_sets
from tripplan.roads.network import open_network
from tripplan.roads.shut import match_closures
from tripplan.roads.terms import Terms

DAY = date(2026, 2, 3)
TOW = Terms(Outfit("van", True, 3000, 1300, 1300, 2.6, 2.3, 12, 80))
CAR = Terms(Outfit("car", False, 1700, 0, 1000, 1.7, 1.9, 4.7, 110), van=False)

#: A street A-B-C with a side street B-D; E-F runs beside it, a hundred metres north.
MAP = """
E---------F

A----B----C
     |
     D
"""
ROADS = {name: {"highway": "primary", "surface": "asphalt"} for name in ("ABC", "BD", "EF")}


@pytest.fixture
def town(tmp_path: Path) -> tuple[Region, Drawing]:
    """The drawn map, ten metres a letter across and down."""
    return region_from_drawing(MAP, ROADS, folder=tmp_path, grid_m=50.0)


def line(
    drawing: Drawing, letters: str, north_m: float = 0.0, share: tuple[float, float] = (0.0, 1.0)
) -> tuple[tuple[float, float], ...]:
    """Return the line through letters, moved north, or a part of it from its first to its last letter."""
    (x0, y0), (x1, y1) = (drawing.at[letters[0]], drawing.at[letters[-1]])
    up = north_m / 111_195
    return tuple((x0 + (x1 - x0) * s, y0 + (y1 - y0) * s + up) for s in share)


def shut(region: Region, **values: Any) -> set[int]:
    """Return the pieces that one closure matches."""
    (match,) = match_closures(region, [Closure(**{"name": "works", "kind": "closed", "source": "test", **values})])
    return set(match.pieces)


def test_a_line_closes_what_it_runs_along(town: tuple[Region, Drawing]) -> None:
    """Both pieces under the line, neither the side street that it crosses nor the street beside it."""
    region, drawn = town
    assert shut(region, lines=(line(drawn, "AC"),)) == {piece_of(region, drawn, "AB"), piece_of(region, drawn, "BC")}
    assert shut(region, lines=(line(drawn, "AC", north_m=15),)) == {piece_of(region, drawn, "AB"), piece_of(region, drawn, "BC")}


def test_a_line_too_far_or_across_closes_nothing(town: tuple[Region, Drawing]) -> None:
    """Thirty metres off is another road; a line across a street is no way along it."""
    region, drawn = town
    assert shut(region, lines=(line(drawn, "AC", north_m=30),)) == set()
    x, y = drawn.at["A"]
    x += 0.001
    (match,) = match_closures(region, [Closure("across", "closed", "t", lines=(((x, y - 0.0002), (x, y + 0.0002)),))])
    assert match.pieces == ()
    assert match.why


def test_latitude_first_is_asked_about(town: tuple[Region, Drawing]) -> None:
    """A line or an area with its coordinates changed over closes nothing and says why; one that is simply far away says no such thing."""
    region, drawn = town
    swapped = tuple((lat, lon) for lon, lat in line(drawn, "AC"))
    (x0, y0), (x1, y1) = drawn.at["E"], drawn.at["D"]
    ring = tuple((lat, lon) for lon, lat in ((x0, y0), (x1, y0), (x1, y1), (x0, y1), (x0, y0)))
    for values in ({"lines": (swapped,)}, {"rings": (ring,)}):
        (match,) = match_closures(region, [Closure("works", "closed", "t", **values)])
        assert (match.pieces, "longitude first" in match.why) == ((), True)
    (far,) = match_closures(region, [Closure("works", "closed", "t", lines=(((100.0, 60.0), (100.0, 60.1)),))])
    assert "longitude first" not in far.why


def test_a_line_that_ends_at_a_junction_leaves_what_lies_beyond(town: tuple[Region, Drawing]) -> None:
    """A-B is closed and B-C is not, also where the line overshoots the junction by ten metres."""
    region, drawn = town
    assert shut(region, lines=(line(drawn, "AB"),)) == {piece_of(region, drawn, "AB")}
    assert shut(region, lines=(line(drawn, "AB", share=(0.0, 1.04)),)) == {piece_of(region, drawn, "AB")}


def test_a_short_stretch_closes_the_whole_piece(town: tuple[Region, Drawing]) -> None:
    """A hundred metres of works in the middle: nobody gets through, and how sure that is is told."""
    region, drawn = town
    (match,) = match_closures(region, [Closure("works", "closed", "t", lines=(line(drawn, "AB", share=(0.3, 0.7)),))])
    assert match.pieces == (piece_of(region, drawn, "AB"),)
    assert match.sure in ("part", "likely")


def test_a_way_closes_by_its_id(town: tuple[Region, Drawing]) -> None:
    """The whole way, or where its line runs along it; a way that the map has not is told."""
    region, drawn = town
    way = int(region.ways.osm_id[region.pieces.way[piece_of(region, drawn, "AB")]])
    both = {piece_of(region, drawn, "AB"), piece_of(region, drawn, "BC")}
    assert shut(region, ways=(way,)) == both
    assert shut(region, ways=(way,), lines=(line(drawn, "AB"),)) == {piece_of(region, drawn, "AB")}
    assert shut(region, ways=(999_999,)) == set()


def test_an_area_closes_what_lies_inside(town: tuple[Region, Drawing]) -> None:
    """E-F inside is closed; A-C outside is not, nor is anything in a hole."""
    region, drawn = town
    (x0, y0), (x1, _) = drawn.at["E"], drawn.at["F"]
    box = ((x0 - 0.001, y0 - 0.0004), (x1 + 0.001, y0 - 0.0004), (x1 + 0.001, y0 + 0.0004), (x0 - 0.001, y0 + 0.0004))
    assert shut(region, rings=(box,)) == {piece_of(region, drawn, "EF")}
    assert shut(region, rings=(box, box)) == set()


def test_an_area_touched_at_its_edge_is_not_entered(town: tuple[Region, Drawing]) -> None:
    """A road that reaches ten metres into an area stays open: areas are drawn by hand."""
    region, drawn = town
    x, y = drawn.at["A"]
    edge = x + 10 / (111_195 * 0.643)
    assert shut(region, rings=(((x - 0.01, y - 0.001), (edge, y - 0.001), (edge, y + 0.001), (x - 0.01, y + 0.001)),)) == set()


def _arcs(region: Region, terms: Terms, closure: Closure, day: date = DAY) -> dict[int, int]:
    """Return pieces with how many directions of each may be driven on a day."""
    (one,) = closure_sets(region, [day], closures=[closure])
    arcs = open_network(region, terms, one).arcs
    return {row: int((arcs.piece == row).sum()) for row in range(len(region.pieces.way))}


def test_one_direction_only(town: tuple[Region, Drawing]) -> None:
    """A closure along the line leaves the other direction open; unless stated both are closed."""
    region, drawn = town
    ab = piece_of(region, drawn, "AB")
    along, back = line(drawn, "AB"), line(drawn, "AB")[::-1]
    assert _arcs(region, TOW, Closure("w", "closed", "t", lines=(along,)))[ab] == 0
    for one, other in ((along, back), (back, along)):
        assert _arcs(region, TOW, Closure("w", "closed", "t", lines=(one,), one_way=True))[ab] == 1
        both = closure_sets(region, [DAY], closures=[Closure("w", "closed", "t", lines=(x,), one_way=True) for x in (one, other)])
        assert ab in both[0].whole(van=False)


def test_wind_stops_the_van_and_not_the_car(town: tuple[Region, Drawing]) -> None:
    """In the area of a wind warning the van is not towed; the car alone may go, and the day after both may."""
    region, drawn = town
    x, y = drawn.at["E"]
    box = ((x - 0.01, y - 0.0004), (x + 0.02, y - 0.0004), (x + 0.02, y + 0.0004), (x - 0.01, y + 0.0004))
    wind, ef = Closure("gale", "wind", "t", DAY, DAY, rings=(box,)), piece_of(region, drawn, "EF")
    assert _arcs(region, TOW, wind)[ef] == 0
    assert _arcs(region, CAR, wind)[ef] == 2
    assert _arcs(region, TOW, wind, date(2026, 2, 4))[ef] == 2


def test_one_network_for_each_set_in_force(town: tuple[Region, Drawing]) -> None:
    """Days with the same closures share a set; a car's network under wind is the plain one; what holds on no day changes nothing."""
    region, drawn = town
    days = [date(2026, 2, d) for d in range(1, 7)]
    closure = Closure("w", "closed", "t", days[1], days[2], lines=(line(drawn, "AB"),))
    sets = closure_sets(region, days, closures=[closure])
    assert [one.days for one in sets] == [(0, 3, 4, 5), (1, 2)]
    assert closure_sets(
        region, days, closures=[Closure("w", "closed", "t", date(2027, 1, 1), lines=closure.lines)]
    ) == closure_sets(region, days)
    wind = Closure("gale", "wind", "t", lines=closure.lines)
    (calm,), (windy,) = closure_sets(region, days), closure_sets(region, days, closures=[wind])
    assert open_network(region, CAR, calm).key == open_network(region, CAR, windy).key
    assert open_network(region, TOW, calm).key != open_network(region, TOW, windy).key
