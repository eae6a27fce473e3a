"""Presumed surfaces on real maps: tags hidden in blocks with whole roads, tags thinned out, old maps judged by new ones.

The protocols and the tables of all measured figures are in tests/benchmarks (surface_evidence.py, SURFACE.md); here is a
seeded sample of each, with the targets as limits.
"""

from __future__ import annotations

from functools import cache
from pathlib import Path

import numpy as np
import pytest
from helpers.hiding import (
    SEALED,
    UNSEALED,
    UNTAGGED,
    Map,
    Score,
    cut,
    folds,
    hide_and_ask,
    most_bad,
    open_map,
    thin_and_ask,
    truth_by_id,
    truth_by_place,
    wilson,
)  # fmt: skip
from helpers.surface_rules import by_evidence, presume_all, rule_b

from tripplan.rules.presume import surface_evidence

MIXED = "tile-8-122-122-liberia-ivorycoast-201710.nometa.osm.pbf"
SEALED_MAPS = ("andorra-20250119.osm.pbf", "malta-20180827.osm.pbf", "tile-7-105-51-east-china-201710.osm.pbf")


@cache
def opened(path: Path) -> Map:
    return open_map(path)


@pytest.fixture
def mixed(extracts: Path) -> Map:
    """A map with more than 1,000 km of main roads unsealed."""
    return opened(extracts / MIXED)


# ------------------------------------------------------------------------------------------------- the protocol itself


@pytest.mark.extract
def test_no_road_lies_on_both_sides(mixed: Map) -> None:
    """What is asked for is hidden with its whole road; over the folds each tagged main way is asked for once."""
    asked_in_all = np.zeros(len(mixed.km), int)
    for asked, hidden in folds(mixed, 5.0, seed=0):
        shown = mixed.main & (mixed.tagged != UNTAGGED) & ~hidden
        assert not set(mixed.road[asked]) & set(mixed.road[shown])
        assert (hidden | ~asked).all()
        asked_in_all += asked
    assert (asked_in_all == (mixed.main & (mixed.tagged != UNTAGGED))).all()


def test_bounds() -> None:
    """No error in n blocks bounds the share by 3/n; Wilson's interval of 10 in 10 starts at 72 % (1 / (1 + 1.96² / 10))."""
    assert most_bad(60, 0) == pytest.approx(5.0)
    assert most_bad(1, 0) == 100.0
    assert most_bad(20, 1) == pytest.approx(24.87, abs=0.01)  # Clopper and Pearson 1934, 1 of 20
    assert wilson(10, 10)[0] == pytest.approx(100 / (1 + 1.959964**2 / 10))
    assert wilson(10, 10)[1] == pytest.approx(100)


@pytest.mark.extract
def test_the_protocol_tells_a_bad_rule(mixed: Map) -> None:
    """Presuming all is wrong for most of this map's unsealed roads: the protocol shows it."""
    score = hide_and_ask(mixed, presume_all, seeds=range(1))
    assert score.right < 35
    assert len(score.wrong_ways) == int((mixed.main & (mixed.tagged == UNSEALED)).sum())


# ------------------------------------------------------------------------------------------------- figures (i) to (iv)


@pytest.mark.extract
@pytest.mark.parametrize("km", [5.0, 10.0])
def test_a_map_with_both_kinds(mixed: Map, km: float) -> None:
    """At most one wrong way, 99.5 % of presumed km right, and it is not silence: a quarter of the sealed km is found."""
    score = hide_and_ask(mixed, by_evidence, km, range(4))
    assert score.most_wrong <= 1
    assert score.right >= 99.5
    assert score.found >= 25


@pytest.mark.extract
@pytest.mark.parametrize("name", SEALED_MAPS)
def test_where_nearly_all_is_sealed(extracts: Path, name: str) -> None:
    """At least three quarters of the hidden sealed km of every class that eleven blocks or more carry tags of are found."""
    made = opened(extracts / name)
    score, block = hide_and_ask(made, by_evidence, seeds=range(4)), made.blocks(5.0)
    looked = 0
    for group in range(5):
        mine = made.main & (made.group == group) & (made.tagged != UNTAGGED)
        if len(np.unique(block[mine])) >= 11:
            looked += 1
            assert score.found_of(group) >= 75
    assert looked >= 3
    assert score.right == 100
    assert score.most_wrong == 0


@pytest.mark.extract
@pytest.mark.parametrize("name", SEALED_MAPS[:2])
def test_a_half_map_is_no_silence(extracts: Path, name: str) -> None:
    """The western half as a map of its own: of every class tagged in eleven blocks or more three quarters are found."""
    made = opened(extracts / name)
    lon = made.inputs["mid_lon"]
    half = cut(made, lon < (lon.min() + lon.max()) / 2)
    score, block = hide_and_ask(half, by_evidence, seeds=range(2)), half.blocks(5.0)
    known = half.main & (half.tagged != UNTAGGED)
    wide = [g for g in range(5) if len(np.unique(block[known & (half.group == g)])) >= 11]
    assert 4 in wide
    assert all(score.found_of(g) >= 75 for g in wide)
    assert score.most_wrong == 0


@pytest.mark.extract
@pytest.mark.parametrize("truth", [truth_by_id, truth_by_place])
def test_an_old_map_judged_by_a_new_one(extracts: Path, truth: object) -> None:
    """What is presumed on Andorra's map of 2013 is not contradicted by the tags of 2025, by way id and by place."""
    old, new = opened(extracts / "andorra-20130528.osm.pbf"), opened(extracts / "andorra-20250119.osm.pbf")
    now = truth(old, new)  # type: ignore[operator]
    score = Score.none()
    score.add(old, old.main & (old.tagged == UNTAGGED) & (now != UNTAGGED), by_evidence(old.inputs), now, old.blocks(5.0))
    score.close()
    assert score.right_km.sum() > 50
    assert score.right == 100
    assert score.blocks[0] >= 11


@pytest.mark.extract
def test_an_old_map_with_hardly_a_tag_is_left_alone(extracts: Path) -> None:
    """Liechtenstein's map of 2013 has tags in one block: nothing is presumed, and that is right of one way (by its place)."""
    old, new = opened(extracts / "liechtenstein-20130803.osm.pbf"), opened(extracts / "liechtenstein-20240304.osm.pbf")
    found = surface_evidence(**old.inputs)
    assert not found.presumed.any()
    asked = old.main & (old.tagged == UNTAGGED)
    assert all("too few" in found.reasons[n] for n in found.why[asked])
    now = truth_by_place(old, new)
    assert old.km[asked & (now == SEALED)].sum() > 60


@pytest.mark.extract
@pytest.mark.parametrize("name", [MIXED, *SEALED_MAPS])
@pytest.mark.parametrize("share", [0.1, 0.03])
def test_thinned_tags(extracts: Path, name: str, share: float) -> None:
    """With tags left in a tenth or a thirtieth of the blocks, no way is wrong in ten seeds, or the rule is silent."""
    score = thin_and_ask(opened(extracts / name), by_evidence, share)
    assert len(score.rounds) == 10
    assert score.most_wrong == 0


@pytest.mark.extract
def test_better_than_the_rule_without_blocks(extracts: Path) -> None:
    """Thinned out, rule B goes wrong where this one does not (the case that asks for blocks and for tunnels of their own)."""
    made = opened(extracts / SEALED_MAPS[2])
    assert thin_and_ask(made, rule_b, 0.1, seeds=range(5)).most_wrong > 0


@pytest.mark.extract
def test_the_probability_means_what_it_says(mixed: Map) -> None:
    """On the map with both kinds: of hidden roads called likely (0.8 and more) nine km of ten are sealed, of unlikely ones few."""
    stated = np.full(len(mixed.km), np.nan)
    for asked, hidden in folds(mixed, 5.0, seed=0):
        stated[asked] = surface_evidence(**mixed.showing(np.where(hidden, UNTAGGED, mixed.tagged))).p[asked]
    known = mixed.main & (mixed.tagged != UNTAGGED)
    assert not np.isnan(stated[known]).any()
    likely, unlikely = known & (stated >= 0.8), known & (stated < 0.2)
    for mask, least, most in ((likely, 0.9, 1.0), (unlikely, 0.0, 0.2)):
        share = mixed.km[mask & (mixed.tagged == SEALED)].sum() / mixed.km[mask].sum()
        assert least <= share <= most
        assert mixed.km[mask].sum() > 200
