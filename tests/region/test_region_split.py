"""Ways cut to pieces, curves measured, turn restrictions resolved."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from helpers.drawn import METRES_A_DEGREE
from helpers.make import junction_of, piece_of, region_from_drawing
from hypothesis import given, settings
from hypothesis import strategies as st

from tripplan.region.columns import Access
from tripplan.region.curves import curvature, segment_lengths
from tripplan.region.geometry import EARTH_RADIUS_M, segment_lengths_m
from tripplan.region.region import Region
from tripplan.rules.speed import curve_speed

_ROAD = "highway=secondary surface=asphalt"


def _chains(region: Region) -> list[list[int]]:
    """Junction ids of each piece's ends."""
    pieces = region.pieces
    return [[int(region.junctions.osm_id[a]), int(region.junctions.osm_id[b])] for a, b in zip(pieces.a, pieces.b, strict=True)]


def test_pieces_end_at_junctions_barriers_and_crossings_of_itself(tmp_path: Path) -> None:
    """Shared nodes, a gate in the middle, a loop of one way and dead ends cut; a plain bend does not."""
    region, drawn = region_from_drawing(
        """
        A--B--C--D--E
           |     |  |
           F     G--H
        """,
        {"ABC": _ROAD, "CDEHGD": _ROAD, "BF": _ROAD}, nodes={"F": "barrier=bollard", "A": "barrier=gate"}, folder=tmp_path,
    )  # fmt: skip
    n = drawn.node_id
    assert sorted(map(sorted, _chains(region))) == sorted(
        map(sorted, [[n["A"], n["B"]], [n["B"], n["C"]], [n["C"], n["D"]], [n["D"], n["D"]], [n["B"], n["F"]]])
    )
    assert region.junctions.blocks_tow[junction_of(region, drawn, "F")] == Access.CLOSED
    assert region.junctions.blocks_car[junction_of(region, drawn, "A")] == Access.OPEN


def test_a_barrier_in_the_middle_of_a_road_cuts_it(tmp_path: Path) -> None:
    """A node with a barrier is the end of a piece even where one way passes; a node off the road is nothing."""
    region, drawn = region_from_drawing(
        "A-B-C D", {"ABC": _ROAD}, nodes={"B": "barrier=block", "D": "barrier=block"}, folder=tmp_path
    )
    assert len(region.pieces.a) == 2
    assert len(region.junctions.osm_id) == 3
    assert region.string(int(region.junctions.barrier[junction_of(region, drawn, "B")])) == "block"


def test_two_nodes_at_one_place_are_no_junction(tmp_path: Path) -> None:
    """Node ids join roads, not positions: a bridge's own node over another road's stays apart, and is counted."""
    from tripplan.region.build import build

    path = tmp_path / "bridge.osm.opl"
    path.write_text(
        "n1 x0 y0\nn2 x0.01 y0\nn3 x0.02 y0\nn4 x0.01 y0.01\nn5 x0.01 y0\nn6 x0.01 y-0.01\n"
        "w1 Thighway=primary Nn1,n2,n3\nw2 Thighway=primary,bridge=yes,layer=1 Nn4,n5,n6\nw3 Thighway=service Nn2,n1\nw4 Thighway=service Nn5,n6\n"
    )
    region = build(path)
    assert not {2, 5} <= set(region.junctions.osm_id[[region.pieces.a[0], region.pieces.b[0]]].tolist())
    assert region.meta.faults["junctions that share their position with another"] == 1


@settings(deadline=None)  # the first call imports
@given(
    st.lists(
        st.tuples(st.integers(-1_799_999_999, 1_799_999_999), st.integers(-890_000_000, 890_000_000)), min_size=2, max_size=30
    )
)
def test_lengths_are_great_circles(points: list[tuple[int, int]]) -> None:
    """Bulk lengths in 1e-7 degrees equal the haversine of OSMnx on the same sphere."""
    from osmnx.distance import great_circle

    lon, lat = np.array(points).T / 1e7
    bulk = segment_lengths(np.array(points, np.int32)[:, 0], np.array(points, np.int32)[:, 1])
    assert bulk == pytest.approx(great_circle(lat[:-1], lon[:-1], lat[1:], lon[1:]), rel=1e-9, abs=1e-6)
    assert bulk == pytest.approx(segment_lengths_m(lon, lat), rel=1e-9, abs=1e-6)


def _circle(radius_m: float, step_m: float, count: int = 40, lat: float = 47.0) -> tuple[np.ndarray, np.ndarray]:
    angle = np.arange(count) * step_m / radius_m
    east, north = radius_m * np.sin(angle), radius_m * (1 - np.cos(angle))
    lon = 9 + east / METRES_A_DEGREE / np.cos(np.radians(lat))
    return np.rint(lon * 1e7).astype(np.int32), np.rint((lat + north / METRES_A_DEGREE) * 1e7).astype(np.int32)


@pytest.mark.parametrize(("radius", "step"), [(15, 5), (30, 3), (30, 12), (120, 25), (400, 60)])
def test_the_radius_of_a_circle_is_found(radius: float, step: float) -> None:
    """Points on a circle give its radius, near or far apart (within 5 %; chord for arc where points are near)."""
    lon, lat = _circle(radius, step)
    bend = curvature(lon, lat, np.array([0, len(lon)]), segment_lengths(lon, lat))
    assert 1 / bend[6:-6] == pytest.approx(radius, rel=0.05)
    assert bend[0] == bend[-1] == 0


def test_jitter_of_a_straight_road_is_no_hairpin() -> None:
    """Half a metre of jitter every three metres would read as 12 km/h by neighbouring points; it does not slow below 45."""
    rng = np.random.default_rng(3)
    east = np.arange(200) * 3.0
    north = rng.uniform(-0.25, 0.25, 200)
    lon = np.rint((9 + east / METRES_A_DEGREE / np.cos(np.radians(47))) * 1e7).astype(np.int32)
    lat = np.rint((47 + north / METRES_A_DEGREE) * 1e7).astype(np.int32)
    bend = curvature(lon, lat, np.array([0, 200]), segment_lengths(lon, lat))
    naive_radius = 3.0**2 / (2 * 0.5)
    assert curve_speed(naive_radius) < 15
    assert curve_speed(1 / bend[bend > 0]).min() > 45


def test_lines_do_not_bend_into_each_other() -> None:
    """The last point of a line and the first of the next are not one curve."""
    lon, lat = np.array([0, 10000, 20000, 20000, 20000], np.int32), np.array([0, 0, 0, 10000, 20000], np.int32)
    assert curvature(lon, lat, np.array([0, 3, 5]), segment_lengths(lon, lat)) == pytest.approx(0)


def test_a_hairpin_slows_and_a_straight_does_not(tmp_path: Path) -> None:
    """In a region, the comfort speed of a right angle drawn with legs of 40 m is that of the circle through it, a straight has none."""
    region, drawn = region_from_drawing(
        "A-B-C\n    |\n    D", {"ABCD": _ROAD, "AB#2": "highway=service"}, folder=tmp_path, grid_m=20
    )
    straight, bent = piece_of(region, drawn, "AB"), piece_of(region, drawn, "BD")
    assert region.pieces.curve_kmh[region.pieces.ptr[straight]] == 255
    start = region.pieces.ptr[bent]
    # legs of 40 m and 40 m at 90 degrees: circle of 28.3 m; mean of its curvature and the straight ends' is half of it
    assert region.pieces.curve_kmh[start] == pytest.approx(float(curve_speed(2 * 28.28)), abs=1.5)
    assert np.pi / 180 * EARTH_RADIUS_M == pytest.approx(METRES_A_DEGREE)


_CROSS = """
  N
  |
W-X-E
  |
  S
"""


def _pieces_of_turns(region: Region) -> list[list[int]]:
    turns = region.turns
    return [turns.pieces[turns.ptr[k] : turns.ptr[k + 1]].tolist() for k in range(len(turns.osm_id))]


def test_a_turn_by_way_of_a_node_becomes_two_pieces(tmp_path: Path) -> None:
    """From, via node, to: pieces in order of travel, the junction between them, only or no."""
    ways = {"WX": _ROAD, "XE": _ROAD, "NX": _ROAD, "XS": _ROAD}
    relations = [
        ({"type": "restriction", "restriction": "no_left_turn"}, [("from", "WX"), ("via", "X"), ("to", "NX")]),
        ({"type": "restriction", "restriction": "only_straight_on"}, [("from", "NX"), ("via", "X"), ("to", "XS")]),
        ({"type": "restriction", "restriction": "no_u_turn"}, [("from", "WX"), ("via", "X"), ("to", "WX")]),
        ({"type": "restriction", "restriction:hgv": "no_left_turn"}, [("from", "WX"), ("via", "X"), ("to", "NX")]),
    ]
    region, drawn = region_from_drawing(_CROSS, ways, relations=relations, folder=tmp_path)
    w, n, s = (piece_of(region, drawn, word) for word in ("WX", "NX", "XS"))
    assert _pieces_of_turns(region) == [[w, n], [n, s], [w, w]]
    assert region.turns.via.tolist() == [junction_of(region, drawn, "X")] * 3
    assert region.turns.only.tolist() == [0, 1, 0]
    assert region.turns.u_turn.tolist() == [0, 0, 1]


def test_a_way_that_runs_on_is_read_by_its_one_way(tmp_path: Path) -> None:
    """Where `to` passes through the junction, both sides count unless it is one-way: then only the side that may be driven."""
    turn = [({"type": "restriction", "restriction": "no_right_turn"}, [("from", "NX"), ("via", "X"), ("to", "WXE")])]
    region, drawn = region_from_drawing(
        _CROSS, {"NX": _ROAD, "WXE": f"{_ROAD} oneway=yes", "XS": _ROAD}, relations=turn, folder=tmp_path
    )
    assert _pieces_of_turns(region) == [[piece_of(region, drawn, "NX"), piece_of(region, drawn, "XE")]]


def test_a_turn_by_way_of_ways_keeps_its_order(tmp_path: Path) -> None:
    """From, two via ways given in the wrong order, to: four pieces as they are driven."""
    relations = [
        ({"type": "restriction", "restriction": "no_u_turn"}, [("from", "AB"), ("via", "CE"), ("via", "BC"), ("to", "ED")])
    ]
    region, drawn = region_from_drawing(
        """
        A--B--F
           |
           C
           |
        D--E--G
        """,
        {"AB": _ROAD, "BF": _ROAD, "BC": _ROAD, "CE": _ROAD, "ED": _ROAD, "EG": _ROAD}, relations=relations, folder=tmp_path,
    )  # fmt: skip
    assert _pieces_of_turns(region) == [[piece_of(region, drawn, word) for word in ("AB", "BC", "CE", "ED")]]
    assert region.turns.via.tolist() == [junction_of(region, drawn, "B")]


@pytest.mark.parametrize(
    ("members", "words"),
    [
        ([("from", "WX"), ("to", "XE")], "a role is missing"),
        ([("from", "WX"), ("via", "N"), ("to", "XE")], "don't meet"),
        ([("from", "WX"), ("via", "X"), ("to", "park")], "not on the map"),
        ([("from", "WX"), ("via", "XS"), ("to", "NX")], "don't join"),
    ],
)
def test_broken_restrictions_are_counted_not_guessed(tmp_path: Path, members: list[tuple[str, str]], words: str) -> None:
    """A missing role, ways that don't meet, members that are no roads: left out, with the reason and their number."""
    ways = {"WX": _ROAD, "XE": _ROAD, "NX": f"{_ROAD} oneway=-1", "XS": f"{_ROAD} oneway=-1", "park": "leisure=park"}
    drawing = _CROSS + "\np a r k\n"
    turn = [({"type": "restriction", "restriction": "no_left_turn"}, members)]
    region, _ = region_from_drawing(drawing, ways, relations=turn, folder=tmp_path)
    assert len(region.turns.osm_id) == 0
    assert [k for k in region.meta.faults if "turn restrictions" in k and words in k]


def test_a_region_cut_in_the_middle_of_a_road(tmp_path: Path) -> None:
    """The road ends where the file ends, with a junction there, goes on after the gap as a road of its own, and all is as long as drawn."""
    region, drawing = region_from_drawing(
        "A--B--C--D--E--F\n|           |\nG           H", {"ABCDEF": "highway=primary name=Long", "AG": "highway=service", "EH": "highway=service"},
        relations=[({"type": "restriction", "restriction": "no_left_turn"}, [("from", "ABCDEF"), ("via", "C"), ("to", "EH")])],
        missing="C", folder=tmp_path, grid_m=100,
    )  # fmt: skip
    ends = {
        tuple(sorted((int(region.junctions.osm_id[a]), int(region.junctions.osm_id[b]))))
        for a, b in zip(region.pieces.a, region.pieces.b, strict=True)
    }
    number = drawing.node_id
    assert ends == {tuple(sorted((number[a], number[b]))) for a, b in ("AB", "DE", "EF", "AG", "EH")}
    long = region.pieces.length_m[region.ways.osm_id[region.pieces.way] == drawing.way_id["ABCDEF"]]
    assert sorted(long.tolist()) == pytest.approx([300, 300, 300], rel=1e-3)
    assert number["C"] not in region.junctions.osm_id
    assert region.meta.faults["clipped ways kept in part"] == 1
    assert len(region.turns.osm_id) == 0  # its junction lies beyond the cut
