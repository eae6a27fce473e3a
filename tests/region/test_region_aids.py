"""Fuel stations and hospitals of a region: which are kept, where they are, and that files without them still open."""

from __future__ import annotations

import zipfile
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from helpers.make import region_from_drawing

from tripplan.region.columns import AID_KINDS
from tripplan.region.region import Region
from tripplan.region.store import load, save
from tripplan.rules.aids import judge_aid

ROADS = {"ABC": "highway=primary surface=asphalt"}


def _told(region: Region) -> list[tuple[str, str, str]]:
    aids = region.aids
    assert aids is not None
    return [
        (AID_KINDS[int(k)], region.string(int(n)), region.string(int(p)))
        for k, n, p in zip(aids.kind, aids.name, aids.phone, strict=True)
    ]


@pytest.mark.parametrize(
    ("tags", "kind"),
    [
        ({"amenity": "fuel"}, "fuel"), ({"amenity": "fuel", "fuel:lpg": "yes"}, "fuel"), ({"amenity": "fuel", "fuel:lpg": "only"}, ""), ({"amenity": "fuel", "access": "private"}, ""),
        ({"amenity": "fuel", "disused": "yes"}, ""), ({"amenity": "hospital"}, "hospital"), ({"amenity": "hospital", "emergency": "yes"}, "hospital"), ({"amenity": "hospital", "emergency": "no"}, ""),
        ({"amenity": "doctors"}, ""), ({}, ""),
    ],
)  # fmt: skip
def test_what_counts_as_an_aid(tags: dict[str, str], kind: str) -> None:
    """Stations where a car can fill up, and hospitals unless they are tagged to take no emergencies (common practice, no source)."""
    fact = judge_aid(tags)
    assert (fact.kind if fact else "") == kind


def test_points_and_areas_are_kept(tmp_path: Path) -> None:
    """A station drawn as a point and a hospital drawn as an area are there by name and phone; the area at a point inside."""
    region, drawing = region_from_drawing(
        "A--B--C\np  q\nr  s", {**ROADS, "pqsrp": {"amenity": "hospital", "name": "Übersee Hospital", "phone": "+999 1"}},
        nodes={"B": {"amenity": "fuel", "name": "Mid Fuel"}}, folder=tmp_path,
    )  # fmt: skip
    assert _told(region) == [("fuel", "Mid Fuel", ""), ("hospital", "Übersee Hospital", "+999 1")]
    assert region.aids is not None
    p, s = drawing.at["p"], drawing.at["s"]
    assert min(p[0], s[0]) * 1e7 < region.aids.lon_e7[1] < max(p[0], s[0]) * 1e7
    assert not any(place.name == "Übersee Hospital" for place in region.places)


def test_saved_and_opened_again(tmp_path: Path) -> None:
    """The same aids back from a file; a file from before they were kept opens too, with nothing known."""
    region, _ = region_from_drawing("A--B--C", ROADS, nodes={"B": "amenity=hospital name=Ward"}, folder=tmp_path)
    save(region, tmp_path / "new.region")
    assert _told(load(tmp_path / "new.region")) == _told(region) == [("hospital", "Ward", "")]
    save(replace(region, aids=None), tmp_path / "old.region")
    assert not any("aids" in name for name in zipfile.ZipFile(tmp_path / "old.region").namelist())
    older = load(tmp_path / "old.region")
    assert older.aids is None
    assert np.array_equal(older.ways.osm_id, region.ways.osm_id)


def test_numbers_that_point_nowhere_are_refused(tmp_path: Path) -> None:
    """A name beyond the table of strings makes a file damaged, in one line."""
    from tripplan.model.errors import BadInputError

    region, _ = region_from_drawing("A--B--C", ROADS, nodes={"B": "amenity=fuel"}, folder=tmp_path)
    assert region.aids is not None
    save(replace(region, aids=replace(region.aids, name=np.array([10_000], np.int32))), tmp_path / "bad.region")
    with pytest.raises(BadInputError, match=r"damaged \(aids.name\)"):
        load(tmp_path / "bad.region")
