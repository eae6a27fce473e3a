"""The search against engines that share nothing with it."""

from __future__ import annotations

import itertools
import tempfile
from pathlib import Path

import numpy as np
import pytest
from helpers.reference import Reference
from helpers.towing import CAR, ROAD, VAN, Map, drawn
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tripplan.model.place import Spot
from tripplan.model.words import Surface
from tripplan.region.columns import HIGHWAYS, Access
from tripplan.roads.join import Joined, join
from tripplan.roads.network import open_network
from tripplan.roads.terms import Terms

GRID = "A-B-C-D\n| | | |\nE-F-G-H\n| | | |\nI-J-K-L\n| | | |\nM-N-O-P"
EDGES = [a + b for row in ("ABCD", "EFGH", "IJKL", "MNOP") for a, b in itertools.pairwise(row)]
EDGES += [a + b for a, b in zip("ABCDEFGHIJKL", "EFGHIJKLMNOP", strict=True)]
TAGS = (
    ROAD, ROAD, ROAD, f"{ROAD} oneway=yes", f"{ROAD} oneway=-1", f"{ROAD} maxspeed=30", "highway=service", f"{ROAD} access=destination",
    "highway=track", f"{ROAD} access=private", "highway=residential surface=gravel",
)  # fmt: skip
KINDS = ("no_left_turn", "no_right_turn", "no_straight_on", "only_straight_on", "only_left_turn", "no_u_turn")


@st.composite
def grids(draw: st.DrawFn) -> Map:
    """A grid of sixteen junctions with random tags and turn restrictions, some via a way."""
    ways = {edge: draw(st.sampled_from(TAGS)) for edge in EDGES}
    relations = []
    for _ in range(draw(st.integers(0, 6))):
        path = [draw(st.sampled_from("ABCDEFGHIJKLMNOP"))]
        for _ in range(draw(st.integers(2, 4))):
            path.append(draw(st.sampled_from([e.replace(path[-1], "") for e in EDGES if path[-1] in e])))
        words = [next(e for e in EDGES if set(e) == {a, b}) for a, b in itertools.pairwise(path)]
        vias = [("via", path[1])] if len(words) == 2 else [("via", w) for w in words[1:-1]]
        tags = {"type": "restriction", "restriction": draw(st.sampled_from(KINDS))}
        relations.append((tags, [("from", words[0]), *vias, ("to", words[-1])]))
    with tempfile.TemporaryDirectory() as folder:
        return drawn(GRID, ways, Path(folder), relations=relations)


def spots_of(drawing: Map) -> list[Spot]:
    """Return spots on the middle of some pieces."""
    return [drawing.spot(word) for word in ("AB", "CG", "KO", "MN", "HL", "EF")]


def compare(joined: Joined, pairs: list[tuple[int, int]] | None = None, *, tie_ms: int = 0) -> None:
    """Hold times, lengths and routes against the search that remembers moves, and one engine against the other.

    Of two ways that take equally long, one may be so much longer at the wheel (``tie_ms``) and shorter at sea.
    """
    n = len(joined.spots)
    table = joined._table(None, None)
    for engine in ("scipy", "hierarchy"):
        other = Joined(joined.network, joined.spots, joined.joints, joined.key, engine)
        written = other._table(None, None)
        assert np.array_equal(table.total_ms, written.total_ms)
        assert np.abs(table.drive_ms - written.drive_ms).max() <= tie_ms
        assert np.allclose(table.length_m, written.length_m, atol=0.5)  # keys count in tenths of a metre
    reference = Reference(joined)
    for i in range(n):
        for j in range(n):
            if i != j and joined.reached[i] and joined.reached[j] and table.total_ms[i, j] >= 0:
                sound(other, i, j, reference)
    matrix = joined.matrix()
    for i, j in pairs or [(i, j) for i in range(n) for j in range(n) if i != j]:
        if not (joined.reached[i] and joined.reached[j]):
            assert matrix.total_s[i, j] == 10**9
            continue
        assert reference.ms_between(i, j) == table.total_ms[i, j], (i, j)
        if table.total_ms[i, j] >= 0:
            sound(joined, i, j, reference)


def sound(joined: Joined, i: int, j: int, reference: Reference) -> None:
    """A route adds up to the matrix, hangs together, and keeps every rule that it could break."""
    leg = joined.route(i, j)
    matrix = joined.matrix()
    assert -(-round((leg.drive_s + leg.ferry_s) * 1000) // 1000) == matrix.total_s[i, j]
    assert leg.length_m == pytest.approx(float(matrix.length_m[i, j]), abs=0.5)
    assert sum(leg.runs.time_s) == pytest.approx(leg.drive_s + leg.ferry_s)
    region, arcs = joined.network.region, joined.network.arcs
    pieces = region.pieces
    moves = list(zip(leg.runs.piece, [0 if f else 1 for f in leg.runs.forward], strict=True))
    for k, move in enumerate(moves):
        way = int(pieces.way[move[0]])
        access = region.ways.tow_access if joined.network.terms.van else region.ways.car_access
        assert access[way] != Access.CLOSED
        if joined.network.terms.surfaces == "sealed":
            assert region.ways.surface[way] != Surface.UNSEALED
        if k:
            v = reference.head(moves[k - 1])
            assert v == (pieces.a if move[1] == 0 else pieces.b)[move[0]]
            assert arcs.barred[v] != Access.CLOSED
            assert reference.may(tuple(moves[max(0, k - 4) : k]), move)
    if joined.network.terms.surfaces == "sealed":
        assert leg.unknown_m <= 2 * joined.network.terms.last_mile_m


SAILS = tuple(
    f"route=ferry motor_vehicle=yes {tags}"
    for tags in (
        "name=Sound",
        "name=Sound interval=00:10",
        "name=Strait ref=7 duration=00:01",
        "ref=7 check_in=00:02",
        "interval=00:02",
    )
)


@st.composite
def harbours(draw: st.DrawFn) -> Map:
    """The grid with boats of several lines for half of its roads, and restrictions."""
    ways = {edge: draw(st.sampled_from((*TAGS[:5], *SAILS))) for edge in EDGES}
    relations = []
    for _ in range(draw(st.integers(0, 4))):
        via = draw(st.sampled_from("BCFGJKNO"))
        words = draw(st.lists(st.sampled_from([e for e in EDGES if via in e]), min_size=2, max_size=2, unique=True))
        tags = {"type": "restriction", "restriction": draw(st.sampled_from(("no_entry", "only_straight_on")))}
        relations.append((tags, [("from", words[0]), ("via", via), ("to", words[1])]))
    with tempfile.TemporaryDirectory() as folder:
        return drawn(GRID, ways, Path(folder), relations=relations)


@settings(max_examples=25, deadline=None, suppress_health_check=list(HealthCheck))
@given(harbours(), st.booleans())
def test_random_harbours(drawing, van):
    """With boats that call at piers all engines agree with the search that asks at each piece whether one stays on board."""
    terms = Terms(VAN) if van else Terms(CAR, van=False, surfaces="any")
    land = [drawing.spot(word) for word in EDGES if drawing.region.ways.highway[_way(drawing, word)] < HIGHWAYS.index("ferry")]
    if len(land) > 1:
        compare(join(open_network(drawing.region, terms), land[:: max(1, len(land) // 6)]), tie_ms=10)


def _way(drawing: Map, word: str) -> int:
    return int(np.flatnonzero(drawing.region.ways.osm_id == drawing.drawing.way_id[word])[0])


@settings(max_examples=40, deadline=None, suppress_health_check=list(HealthCheck))
@given(grids(), st.booleans())
def test_random_grids(drawing, van):
    """On random maps with restrictions the times equal a search that remembers the last four roads, and no rule is broken."""
    terms = Terms(VAN) if van else Terms(CAR, van=False, surfaces="any")
    compare(join(open_network(drawing.region, terms), spots_of(drawing)))


@pytest.mark.parametrize("kind", ["no_straight_on", "only_straight_on"])
def test_a_restriction_that_ends_in_the_last_mile(tmp_path, kind):
    """A turn restriction whose way runs on over roads for the last mile holds there too, by whichever road one comes."""
    ways = dict.fromkeys(EDGES, ROAD) | {
        "NO": "highway=service",
        "MN": "highway=service",
        "JN": "highway=track",
        "IM": "highway=track",
    }
    relation = ({"type": "restriction", "restriction": kind}, [("from", "OP"), ("via", "NO"), ("to", "MN")])
    joined = (drawing := drawn(GRID, ways, tmp_path, relations=[relation])).joined(["HL", "MN", "OP"])
    compare(joined)
    names = {_way(drawing, word): word for word in EDGES}
    driven = [names[int(way)] for way in drawing.region.pieces.way[list(joined.route(0, 1).runs.piece)].tolist()]
    assert driven[-2:] == ["NO", "MN"]
    assert driven[-3] == "KO" or kind == "only_straight_on"


def test_one_route_without_the_matrix(tmp_path):
    """A route asked for alone is the one that the matrix has."""
    drawing = drawn(GRID, dict.fromkeys(EDGES, ROAD), tmp_path)
    alone = drawing.joined(["AB", "KO", "MN"])
    whole = drawing.joined(["AB", "KO", "MN"])
    whole.matrix()
    assert [alone.route(i, j) for i in range(3) for j in range(3)] == [whole.route(i, j) for i in range(3) for j in range(3)]
    leg = whole.route(1, 1)
    assert (leg.length_m, leg.drive_s, leg.off_road_m, leg.runs.piece) == (0, 0, 0, ())


def test_same_answer_twice(tmp_path):
    """On a grid full of ties the same routes come out every time."""
    drawing = drawn(GRID, dict.fromkeys(EDGES, ROAD), tmp_path)
    runs = []
    for _ in range(2):
        joined = drawing.joined(["AB", "KO", "HL", "EF"])
        joined.matrix()
        runs.append([joined.route(i, j) for i in range(4) for j in range(4)])
    assert runs[0] == runs[1]


def test_without_numba(tmp_path, monkeypatch):
    """Where numba is not installed the same times come out."""
    import sys

    from tripplan.roads.kernels import compiled

    drawing = drawn(GRID, dict.fromkeys(EDGES, ROAD), tmp_path)
    with_it = drawing.joined(["AB", "KO", "HL"]).matrix()
    compiled.cache_clear()
    monkeypatch.setitem(sys.modules, "numba", None)
    try:
        assert compiled() is None
        joined = drawing.joined(["AB", "KO", "HL"])
        assert np.array_equal(joined.matrix().total_s, with_it.total_s)
        with pytest.raises(RuntimeError, match="numba is not installed"):
            drawing.joined(["AB", "KO"], engine="numba").matrix()
    finally:
        compiled.cache_clear()
