"""Traffic counted along every single route gives the same figures; what is asked first is what most routes depend on."""

from __future__ import annotations

import csv
import io
from dataclasses import replace
from pathlib import Path

import networkx as nx
import numpy as np
import pytest
from helpers.make import piece_of, region_from_drawing

from tripplan.model.local import NoteSource, PlaceNote, RoadNote
from tripplan.model.outfit import Outfit
from tripplan.model.place import Spot
from tripplan.model.words import Surface
from tripplan.region.build import build
from tripplan.region.local import add_local
from tripplan.region.region import Region
from tripplan.roads.doubts import find_doubts
from tripplan.roads.join import join
from tripplan.roads.network import open_network
from tripplan.roads.terms import Terms
from tripplan.roads.traffic import count_traffic, traffic_spots

OUTFIT = Outfit(
    "o", True, mass_kg=3000, van_mass_kg=1400, axle_load_kg=1500, length_m=9.0, width_m=2.3, height_m=2.6, towing_limit_kmh=90
)
SAMPLE = Path(__file__).resolve().parents[2] / "data_sample" / "island.osm.pbf"


@pytest.fixture(scope="module")
def island() -> Region:
    """The sample island."""
    return build(SAMPLE, name="Ornevay")


@pytest.mark.parametrize("engine", ["auto", "scipy"])
def test_traffic_is_what_single_routes_add_up_to(island: Region, engine: str) -> None:
    """Over each piece go as many routes as there are when every one is laid out piece by piece."""
    spots, left_out = traffic_spots(island)
    spots = spots[::4]
    joined = join(open_network(island, Terms(OUTFIT)), spots, engine=engine)
    traffic = count_traffic(joined, day_s=2 * 3600)
    over = np.zeros(len(island.pieces.way), np.int64)
    total = joined.matrix().total_s
    routes = 0
    for i in range(len(spots)):
        for j in range(len(spots)):
            if i != j and joined.reached[i] and joined.reached[j] and 0 < total[i, j] <= 2 * 3600:
                routes += 1
                np.add.at(over, np.array(joined.route(i, j).runs.piece, np.int64), 1)
    assert left_out == 0
    assert traffic.routes == routes > 100
    np.testing.assert_array_equal(traffic.over, over)


def test_traffic_beside_a_general_purpose_library(tmp_path: Path) -> None:
    """On a drawn tree, where each way is the only one, networkx's edge betweenness over the same ends gives the counts."""
    region, drawing = region_from_drawing(
        """
        A--B--C--D
           |  |
           E  F--G
        """,
        {"ABCD": "highway=primary surface=asphalt", "BE": "highway=primary surface=asphalt", "CFG": "highway=primary surface=asphalt"},
        folder=tmp_path, grid_m=2000,
    )  # fmt: skip
    letters = "ADEG"
    spots = [Spot(c, c, *drawing.at[c]) for c in letters]
    traffic = count_traffic(join(open_network(region, Terms(OUTFIT)), spots), day_s=4 * 3600)
    graph = nx.Graph(["AB", "BC", "CD", "BE", "CG"])
    edges = nx.edge_betweenness_centrality_subset(graph, list(letters), list(letters), normalized=False)
    for (a, b), undirected in edges.items():
        assert traffic.over[piece_of(region, drawing, a + b)] == 2 * undirected
    # Of 12 routes, 2 (between D and G) do not go over B, where A and E meet the road, and 2 not over C.
    assert traffic.past.tolist() == [10, 10, 10, 10]


@pytest.fixture
def fork(tmp_path: Path):
    """Two ways from west to east: a short one untagged, a long one sealed; a site and a depot at the ends, and lanes of unknown surface."""
    return region_from_drawing(
        """
        A--B--C--D
           |  |
           E--F
        """,
        {
            "AB": "highway=primary surface=asphalt", "BC": {"highway": "unclassified", "name": "Short Cut"}, "CD": "highway=primary surface=asphalt",
            "BEFC": "highway=primary surface=asphalt maxspeed=50",
        },
        nodes={
            "A": {"tourism": "caravan_site", "name": "West Field"}, "D": {"tourism": "caravan_site", "name": "East Field", "caravans": "yes"},
            "E": {"amenity": "sanitary_dump_station", "name": "Mill Dump"},
        },
        folder=tmp_path, grid_m=1500,
    )  # fmt: skip


def test_unknown_roads_count_as_if_sealed(fork) -> None:
    """The untagged short cut carries nothing now and would carry the routes from end to end; answered, it is asked no more and is used or not."""
    region, drawing = fork
    found = find_doubts(region, Terms(OUTFIT))
    [doubt] = found.roads
    assert (doubt.way, doubt.name, doubt.now, doubt.road) == (drawing.way_id["BC"], "Short Cut", "unknown", "unclassified")
    assert doubt.routes == 0
    assert doubt.if_sealed == 2  # between the two sites; to the dump the sealed way round is as short and faster
    assert doubt.share == pytest.approx(2 / 6)
    assert doubt.length_m == pytest.approx(4500, rel=0.01)
    assert found.routes == found.routes_if_sealed == 6
    spots = [Spot(c, c, *drawing.at[c]) for c in "AD"]

    def length(answer: str) -> float:
        made = add_local(region, [RoadNote(NoteSource("n.csv", "row 2"), (doubt.way,), surface=answer)])
        assert find_doubts(made, Terms(OUTFIT)).roads == ()
        return float(join(open_network(made, Terms(OUTFIT)), spots).matrix().length_m[0, 1])

    assert length("sealed") < length("unsealed") - 2000


def test_doubts_say_how_likely_sealed(fork) -> None:
    """Where the map's own tags give a probability the doubt carries it, on the list and in the file; elsewhere there is none."""
    from tripplan.cli.region_local import _doubt_lines, _doubts_csv

    region, drawing = fork
    found = find_doubts(region, Terms(OUTFIT))
    assert np.isnan(found.roads[0].sealed_p)
    assert "likely sealed" not in "\n".join(_doubt_lines(found))
    p = np.where(region.ways.osm_id == drawing.way_id["BC"], np.float32(0.87), region.ways.surface_p)
    found = find_doubts(replace(region, ways=replace(region.ways, surface_p=p)), Terms(OUTFIT))
    assert found.roads[0].sealed_p == pytest.approx(0.87)
    assert "87% likely sealed: " in "\n".join(_doubt_lines(found))
    rows = list(csv.DictReader(io.StringIO(_doubts_csv(found))))
    assert rows[0]["sealed_percent"] == "87"
    assert rows[0]["evidence"]
    assert {row["sealed_percent"] for row in rows if row["what"] == "offer"} == {""}


def test_offers_in_doubt(fork) -> None:
    """Each offer that an answer would settle is asked for, with how many routes pass and how far the next known one is; answered, no more."""
    region, drawing = fork
    found = find_doubts(region, Terms(OUTFIT))
    asked = {(doubt.name, doubt.offer) for doubt in found.offers}
    assert ("West Field", "admits") in asked
    assert ("East Field", "admits") not in asked
    assert ("Mill Dump", "grey") in asked
    assert ("Mill Dump", "gas") not in asked
    assert {offer for name, offer in asked if name == "East Field"} == {"power", "fresh", "grey", "cassette"}
    cassette = next(d for d in found.offers if (d.name, d.offer) == ("East Field", "cassette"))
    assert np.isfinite(cassette.next_known_m)
    assert cassette.now == "unknown"
    shares = [doubt.share for doubt in found.offers]
    assert shares == sorted(shares, reverse=True)
    note = PlaceNote(NoteSource("n.csv", "row 2"), ref=f"n{drawing.node_id['E']}", offers=(("grey", "yes"),))
    after = {(d.name, d.offer) for d in find_doubts(add_local(region, [note]), Terms(OUTFIT)).offers}
    assert after == asked - {("Mill Dump", "grey")}


def test_the_busiest_come_first_on_the_island(island: Region) -> None:
    """Roads are listed once each, by share, all of them presumed or unknown, and a shorter list is the head of a longer one."""
    found = find_doubts(island, Terms(OUTFIT), top=30)
    shares = [doubt.share for doubt in found.roads]
    assert shares == sorted(shares, reverse=True)
    assert len({doubt.way for doubt in found.roads}) == len(found.roads) == 30
    row = {int(osm_id): k for k, osm_id in enumerate(island.ways.osm_id)}
    assert all(island.ways.surface[row[d.way]] in (Surface.PRESUMED, Surface.UNKNOWN) for d in found.roads)
    assert all(max(d.routes, d.if_sealed) > 0 for d in found.roads)
    short = find_doubts(island, Terms(OUTFIT), top=5)
    assert short.roads == found.roads[:5]
    assert short.offers == found.offers[:5]


def test_few_places_take_towns(tmp_path: Path) -> None:
    """A map with hardly a place counts routes between its towns; one with none at all is no fault."""
    region, _ = region_from_drawing(
        "A--B--C", {"ABC": "highway=primary"}, folder=tmp_path, grid_m=2000,
        nodes={"A": {"place": "town", "name": "Awe"}, "C": {"place": "town", "name": "Cray"}},
    )  # fmt: skip
    assert [spot.name for spot in traffic_spots(region)[0]] == ["Awe", "Cray"]
    [doubt] = find_doubts(region, Terms(OUTFIT)).roads
    assert (doubt.routes, doubt.if_sealed) == (0, 2)
    bare, _ = region_from_drawing("A--B", {"AB": "highway=primary"}, folder=tmp_path, name="bare")
    assert find_doubts(bare, Terms(OUTFIT)).roads == ()
