"""Real extracts against general-purpose libraries on the same file: OSMnx and networkx, and pyrosm.

The extracts are OpenStreetMap data, © OpenStreetMap contributors, ODbL 1.0; they are found through TRIPPLAN_EXTRACTS.
"""

from __future__ import annotations

from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from tripplan.model.words import Offer
from tripplan.region.build import build
from tripplan.region.columns import HIGHWAYS
from tripplan.region.judge import FERRY
from tripplan.region.region import Region

_FILES = {"andorra": "andorra-20250119.osm.pbf", "liechtenstein": "liechtenstein-20240304.osm.pbf"}
pytestmark = pytest.mark.extract


@cache
def _region(path: Path) -> Region:
    return build(path)


@cache
def _osmnx_graph(path: Path, folder: Path) -> Any:
    """The roads of a file as OSMnx reads them: one directed edge a step as drawn, nothing simplified, all components."""
    import osmium
    import osmnx

    from tripplan.osm.keys import ROAD_CLASSES

    xml = folder / f"{path.name}.osm"
    with osmium.BackReferenceWriter(str(xml), ref_src=str(path), overwrite=True) as writer:
        for way in osmium.FileProcessor(str(path), osmium.osm.WAY).with_filter(
            osmium.filter.TagFilter(*(("highway", c) for c in ROAD_CLASSES))
        ):
            if way.tags.get("area") != "yes":
                writer.add(way)
    before = osmnx.settings.all_oneway
    osmnx.settings.all_oneway = True
    try:
        return osmnx.graph_from_xml(xml, simplify=False, retain_all=True)
    finally:
        osmnx.settings.all_oneway = before


def _km(region: Region) -> dict[str, float]:
    ways, pieces = region.ways, region.pieces
    by_class = np.bincount(ways.highway[pieces.way], weights=pieces.length_m, minlength=len(HIGHWAYS)) / 1000
    return {name: float(km) for name, km in zip(HIGHWAYS, by_class, strict=True) if km > 0 and name != "ferry"}


@pytest.mark.parametrize("name", _FILES)
def test_road_km_by_class_equal_osmnx(extracts: Path, tmp_path_factory: pytest.TempPathFactory, name: str) -> None:
    """Kilometres of every road class equal those of OSMnx on the same file to one part in a million: nothing lost, nothing twice."""
    path = extracts / _FILES[name]
    theirs: dict[str, float] = {}
    for _, _, data in _osmnx_graph(path, tmp_path_factory.getbasetemp()).edges(data=True):
        theirs[data["highway"]] = theirs.get(data["highway"], 0.0) + data["length"] / 1000
    ours = _km(_region(path))
    assert ours.keys() == theirs.keys()
    assert ours == pytest.approx(theirs, rel=1e-6)


@pytest.mark.parametrize("name", _FILES)
def test_pieces_run_as_osmnx_steps_do(extracts: Path, tmp_path_factory: pytest.TempPathFactory, name: str) -> None:
    """Where OSMnx's simplification keeps a node because roads meet there, a piece ends; and every piece's length is its steps'."""
    path = extracts / _FILES[name]
    graph = _osmnx_graph(path, tmp_path_factory.getbasetemp())
    region = _region(path)
    undirected = graph.to_undirected(as_view=True)
    meeting = {node for node in undirected.nodes if len(set(undirected.neighbors(node)) - {node}) >= 3}
    ends = set(region.junctions.osm_id.tolist())
    assert meeting <= ends


@pytest.mark.parametrize("name", _FILES)
def test_ten_route_lengths_equal_networkx(extracts: Path, tmp_path_factory: pytest.TempPathFactory, name: str) -> None:
    """Shortest ways between ten pairs of junctions, over our pieces and over OSMnx's steps, both by networkx, are equally long."""
    import networkx as nx

    path = extracts / _FILES[name]
    region = _region(path)
    theirs = _osmnx_graph(path, tmp_path_factory.getbasetemp()).to_undirected()
    ours = nx.MultiGraph()
    ids = region.junctions.osm_id
    for a, b, way, length in zip(region.pieces.a, region.pieces.b, region.pieces.way, region.pieces.length_m, strict=True):
        if region.ways.highway[way] != FERRY:
            ours.add_edge(int(ids[a]), int(ids[b]), length=float(length))
    core = sorted(max(nx.connected_components(ours), key=len))
    rng = np.random.default_rng(7)
    for a, b in rng.choice(core, (10, 2), replace=False).tolist():
        mine = nx.shortest_path_length(ours, a, b, weight="length")
        assert mine == pytest.approx(nx.shortest_path_length(theirs, a, b, weight="length"), rel=1e-7)


@pytest.mark.parametrize("name", _FILES)
def test_road_km_by_class_near_pyrosm(extracts: Path, name: str) -> None:
    """pyrosm, which reads pbf by its own code, gives the same kilometres of each class: its lengths are whole metres a way."""
    pyrosm = pytest.importorskip("pyrosm")
    edges = pyrosm.OSM(str(extracts / _FILES[name])).get_network(network_type="all")
    theirs = edges.groupby("highway")["length"].sum() / 1000
    count = edges.groupby("highway")["length"].count()
    ours = _km(_region(extracts / _FILES[name]))
    for road, km in ours.items():
        if road != "road":
            assert theirs[road] == pytest.approx(km, rel=1e-5, abs=0.0005 * count[road]), road


def test_what_is_known_of_liechtenstein(extracts: Path) -> None:
    """By OSM id: the one site that admits vans, those that do not, the dump that refuses grey water and the one for customers only."""
    region = _region(extracts / _FILES["liechtenstein"])
    places = {ref: region.places[row] for ref, row in region.place_by_ref.items()}
    assert places["w173914142"].admits >= Offer.PRESUMED
    assert [ref for ref, place in places.items() if place.role == "site" and place.admits >= Offer.PRESUMED] == ["w173914142"]
    assert places["n8850402432"].offer("grey").answer == Offer.NO
    assert [
        ref for ref, place in places.items() if "cassette" in place.offers and place.only_guests and place.role == "service"
    ] == ["n10106651500"]
    assert (region.meta.country, region.meta.tz, region.meta.data_date) == ("LI", "Europe/Vaduz", "2024-03-04")


def test_clipped_and_stampless_files_are_read(extracts: Path) -> None:
    """Tiles cut through the middle of things, and without any time stamp: read, faults counted, nothing lost but what is not there."""
    region = _region(extracts / "tile-8-122-122-liberia-ivorycoast-201710.nometa.osm.pbf")
    assert "date of the file" in region.meta.data_date
    assert sum(_km(region).values()) == pytest.approx(10_103, rel=0.01)  # the figure that came with the extract
