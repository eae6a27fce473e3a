"""The prepared network against engines that share nothing with it, restrictions and the ban on turning round included."""

from __future__ import annotations

import itertools
import os
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from helpers.towing import CAR, ROAD, VAN, drawn
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from test_roads_real import random_spots
from test_roads_search import EDGES, GRID, TAGS, sound, spots_of

from tripplan.region.build import build
from tripplan.region.region import Region
from tripplan.roads.hierarchy import is_prepared, is_worthwhile, open_hierarchy
from tripplan.roads.join import Joined, join
from tripplan.roads.network import Network, open_network
from tripplan.roads.route import table_states
from tripplan.roads.terms import Terms
from tripplan.roads.times import find_table

pytest.importorskip("numba")


def with_turns(region: Region, count: int, seed: int) -> Region:
    """Return the region with random restrictions added, a fifth of them via a way, a quarter of them ``only_*``."""
    rng = np.random.default_rng(seed)
    pieces, turns = region.pieces, region.turns
    at: dict[int, list[int]] = {}
    for piece, (a, b) in enumerate(zip(pieces.a.tolist(), pieces.b.tolist(), strict=True)):
        at.setdefault(a, []).append(piece)
        at.setdefault(b, []).append(piece)
    crossings = [v for v, here in at.items() if len(set(here)) >= 3]
    rows, via = [], []
    while len(rows) < count:
        v = crossings[int(rng.integers(len(crossings)))]
        row = rng.choice(sorted(set(at[v])), 2, replace=False).tolist()
        if rng.random() < 0.2:
            w = int(pieces.a[row[1]] + pieces.b[row[1]]) - v
            further = [p for p in at[w] if p != row[1]]
            row += [int(rng.choice(further))] if further else []
        rows.append(row)
        via.append(v)
    sizes = [len(row) for row in rows]
    more = replace(
        turns, osm_id=np.concatenate((turns.osm_id, np.arange(count))), via=np.concatenate((turns.via, via)).astype(np.int32),
        ptr=np.concatenate((turns.ptr, turns.ptr[-1] + np.cumsum(sizes))).astype(turns.ptr.dtype),
        pieces=np.concatenate((turns.pieces, np.concatenate(rows))).astype(np.int32),
        only=np.concatenate((turns.only, rng.random(count) < 0.25)).astype(np.uint8),
        u_turn=np.concatenate((turns.u_turn, np.zeros(count))).astype(np.uint8),
        when=np.concatenate((turns.when, np.full(count, -1))).astype(np.int32),
        holds_for=np.concatenate((turns.holds_for, np.full(count, 3))).astype(np.uint8),
    )  # fmt: skip
    return replace(region, turns=more, meta=replace(region.meta, key=f"{region.meta.key}+{count}+{seed}"))


def same_as(engine: str, joined: Joined) -> int:
    """Hold the prepared network's times to those of another engine, to the millisecond; return the pairs compared."""
    ours = Joined(joined.network, joined.spots, joined.joints, joined.key, "hierarchy")._table(None, None)
    theirs = Joined(joined.network, joined.spots, joined.joints, joined.key, engine)._table(None, None)
    assert np.array_equal(ours.total_ms, theirs.total_ms)
    assert np.array_equal(ours.drive_ms, theirs.drive_ms)
    assert np.allclose(ours.length_m, theirs.length_m, atol=0.5)
    return int((ours.total_ms > 0).sum())


@st.composite
def wide_grids(draw):
    """A grid of 6 x 6 with random ways and restrictions."""
    letters = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghij"
    rows = [letters[k : k + 6] for k in range(0, 36, 6)]
    text = "\n| | | | | |\n".join("-".join(row) for row in rows)
    edges = [a + b for row in rows for a, b in itertools.pairwise(row)]
    edges += [a + b for a, b in zip(letters[:30], letters[6:], strict=True)]
    drawing = (text, {edge: draw(st.sampled_from(TAGS[:6])) for edge in edges})
    return drawing, draw(st.integers(1, 40)), draw(st.integers(0, 10**6)), edges


@settings(max_examples=40, deadline=None, suppress_health_check=list(HealthCheck))
@given(wide_grids(), st.booleans())
def test_wide_grids_full_of_restrictions(tmp_path_factory, made, van):
    """On random maps with a restriction at every other crossing the times equal those of the graph of turns written out."""
    (text, ways), count, seed, edges = made
    drawing = drawn(text, ways, tmp_path_factory.mktemp("grid"))
    terms = Terms(VAN) if van else Terms(CAR, van=False, surfaces="any")
    network = open_network(with_turns(drawing.region, count, seed), terms)
    joined = join(network, [drawing.spot(edge) for edge in edges[seed % 5 :: 5]])
    same_as("scipy", joined)


@settings(max_examples=25, deadline=None, suppress_health_check=list(HealthCheck))
@given(wide_grids())
def test_a_forbidden_turn_is_found_and_searched_again(tmp_path_factory, made):
    """Even with every mark near restrictions left out the times are right: ways that turn round are searched again."""
    from tripplan.roads import detours

    (text, ways), count, seed, edges = made
    drawing = drawn(text, ways, tmp_path_factory.mktemp("grid"))
    network = open_network(with_turns(drawing.region, count, seed), Terms(VAN))
    joined = join(network, [drawing.spot(edge) for edge in edges[seed % 5 :: 5]])
    marks = detours.mark_near_turns
    detours.mark_near_turns = lambda *args: np.zeros_like(marks(*args))
    try:
        same_as("scipy", joined)
    finally:
        detours.mark_near_turns = marks


def test_turning_round_beside_a_restriction(tmp_path):
    """Where the way round is longer than there and back, the van still takes it, found without a second search."""
    drawing = drawn("  D   \n  |   \nA-B-CE\n  |  |\n  F--G", {"AB": ROAD, "BC": ROAD, "CE": ROAD, "BD": ROAD, "BF": ROAD, "FG": ROAD, "EG": ROAD}, tmp_path,
        relations=[({"type": "restriction", "restriction": "no_left_turn"}, [("from", "AB"), ("via", "B"), ("to", "BD")])],
    )  # fmt: skip
    joined = drawing.joined(["AB", "BD"], engine="hierarchy")
    assert drawing.letters(joined.route(0, 1)) in ("BCEGFB", "BFGECB")  # round the block, one way or the other
    assert same_as("scipy", joined) == 2
    from tripplan.roads.engines import Setting, pick_engine
    from tripplan.roads.hierarchy import find_meetings

    setting = Setting(joined.network, joined.joints)
    assert find_meetings(setting, lambda: pick_engine(setting)).again == {}


def test_kept_and_read_back_without_numba(tmp_path):
    """What was prepared is kept; times and routes come back from the files without numba or scipy."""
    from tripplan.region.store import save

    drawing = drawn(GRID, dict.fromkeys(EDGES, ROAD), tmp_path)
    save(drawing.region, tmp_path / "grid.region")
    network = open_network(drawing.region, Terms(VAN), cache=tmp_path / "cache")
    said: list[str] = []
    open_hierarchy(network, progress=lambda what, share: said.append(what))
    assert said == ["Preparing the roads for car and van, once for this map"]
    assert is_prepared(network)
    joined = join(network, spots_of(drawing))
    expected = joined.matrix().total_s.tolist()
    assert joined._table(None, None).back_leaf.size
    legs = [len(joined.route(0, j).runs.piece) for j in range(6)]
    program = """
import sys
from pathlib import Path
from tripplan.model.outfit import Outfit
from tripplan.model.place import Spot
from tripplan.region.store import load
from tripplan.roads.join import join
from tripplan.roads.network import open_network
from tripplan.roads.terms import Terms
folder = Path(sys.argv[1])
spots = [Spot("x", "x", float(a), float(b)) for a, b in (w.split(",") for w in sys.argv[2:])]
outfit = Outfit("car and van", True, 3200, 1500, 1400, height_m=2.6, width_m=2.3, length_m=12.0, towing_limit_kmh=80)
joined = join(open_network(load(folder / "grid.region"), Terms(outfit), cache=folder / "cache"), spots)
print(joined.matrix().total_s.tolist())
print([len(joined.route(0, j).runs.piece) for j in range(6)])
print(sorted({"scipy", "numba", "shapely", "pandas", "networkx"} & set(sys.modules)))
"""
    run = subprocess.run(
        [sys.executable, "-c", program, str(tmp_path), *(f"{s.lon!r},{s.lat!r}" for s in spots_of(drawing))], capture_output=True,
        text=True, check=True, env={**os.environ, "PYTHONPATH": str(Path(__file__).parents[2])},
    )  # fmt: skip
    assert run.stdout.splitlines() == [str(expected), str(legs), "[]"]


def test_one_route_alone_is_the_one_of_the_table(tmp_path):
    """A route asked for alone in a prepared network takes as long as the table says, for every pair."""
    drawing = drawn(GRID, {edge: TAGS[k % 6] for k, edge in enumerate(EDGES)}, tmp_path)
    network = open_network(drawing.region, Terms(VAN), cache=tmp_path / "cache")
    _ = network.hierarchy
    table = find_table(network, join(network, spots_of(drawing)).joints)
    alone = join(network, spots_of(drawing))
    object.__setattr__(alone, "key", "none kept")
    for i, j in itertools.permutations(range(6), 2):
        if table.total_ms[i, j] >= 0:
            leg = alone.route(i, j)
            assert round((leg.drive_s + leg.ferry_s) * 1000) == table.total_ms[i, j]
        else:
            with pytest.raises(LookupError):
                alone.route(i, j)


def test_small_networks_are_not_prepared(tmp_path):
    """Few spots or few roads are searched at once: preparing would cost more."""
    network = open_network(drawn(GRID, dict.fromkeys(EDGES, ROAD), tmp_path).region, Terms(VAN), cache=tmp_path / "cache")
    assert not is_worthwhile(network, 10_000)
    assert not is_prepared(network)


def many(network: Network, region: Region, count: int, seed: int) -> Joined:
    """Join spots all over a network."""
    return join(network, random_spots(region, network, count, seed), on_road=True)


@pytest.mark.extract
@pytest.mark.parametrize(
    ("name", "van"),
    [
        ("andorra-20250119", True),
        ("liechtenstein-20240304", True),
        *(
            pytest.param(*one, marks=pytest.mark.long)
            for one in (
                ("andorra-20250119", False),
                ("liechtenstein-20240304", False),
                ("malta-20180827", True),
                ("malta-20180827", False),
            )
        ),
    ],
)
def test_extract_hundred_by_hundred(extracts, name, van):
    """On whole countries, with restrictions in, 100 x 100 times equal scipy's on the graph of turns written out."""
    region = with_turns(build(extracts / f"{name}.osm.pbf", name=name), 200, seed=5)
    terms = Terms(VAN, country=region.meta.country) if van else Terms(CAR, van=False, surfaces="any", country=region.meta.country)
    network = open_network(region, terms)
    joined = many(network, region, 100, seed=6)
    assert same_as("scipy", joined) >= 5000
    from helpers.reference import Reference

    reference = Reference(joined)
    prepared = Joined(network, joined.spots, joined.joints, joined.key, "hierarchy")
    table = prepared._table(None, None)
    for i in range(0, 100, 9):
        j = (i * 7 + 3) % 100
        if i != j and table.total_ms[i, j] >= 0:
            sound(prepared, i, j, reference)
            if table.leaf[i, j] >= 0:
                states = table_states(network, table, i, j)
                after = [network.arcs.next_states(s, u_turns=network.u_turns) for s in states]
                assert all(s in onward for onward, s in zip(after, states[1:], strict=False))
