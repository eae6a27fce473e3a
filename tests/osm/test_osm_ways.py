"""Ways taken many at a time, against each way looked at by itself."""

from __future__ import annotations

from collections import Counter

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tripplan.osm.keys import FERRY_KEYS, ROAD_TAGS, road_key
from tripplan.osm.opl import escape
from tripplan.osm.raw import RawMap
from tripplan.osm.rings import Assembler
from tripplan.osm.ways import WayTable

_PAIRS = (
    "highway=primary", "highway=service", "highway=footway", "route=ferry", "foot=yes", "bicycle=no", "reservation=required", "surface=gravel",
    "access=private", "name=High, street", "name=B", "name=", "ref=A1", "ref=B", "note=old", "area=yes", "tourism=camp_site", "", "maxspeed:variable=yes",
)  # fmt: skip


def _read(ways: list[list[str]], at_once: int) -> RawMap:
    faults: Counter[str] = Counter()
    table = WayTable(faults)
    tags = [("T" + ",".join("=".join(map(escape, pair.split("=", 1))) for pair in pairs)).encode() for pairs in ways]
    nodes = [f"Nn{2 * row}x1.5y{row}.5,n{2 * row + 1}x2.5y{row}.5".encode() for row in range(len(ways))]
    for first in range(0, len(ways), at_once):
        part = slice(first, first + at_once)
        table.add(list(range(len(ways)))[part], tags[part], nodes[part])
    return table.finish("drawn", "2024-01-01", [], Assembler([], faults), [], faults)


@given(
    st.lists(st.lists(st.sampled_from(_PAIRS), max_size=6, unique_by=lambda pair: pair.split("=")[0]), max_size=12),
    st.integers(1, 5),
)
@settings(max_examples=200)
def test_each_way_is_what_its_own_tags_say(ways: list[list[str]], at_once: int) -> None:
    """Whatever lot a way comes in: roads are told from others, and carry their name, ref and the tags that decide, no more."""
    raw = _read(ways, at_once)
    roads = {"=".join(pair) for pair in ROAD_TAGS}
    expected = {}
    for row, pairs in enumerate(ways):
        if roads.isdisjoint(pairs) or "area=yes" in pairs:
            continue
        tags = dict(pair.split("=", 1) for pair in pairs if pair)
        on_ferry = {key.decode() for key in FERRY_KEYS} if tags.get("route") == "ferry" else set()
        expected[row] = (
            {key: value for key, value in tags.items() if road_key(key) or key in on_ferry}, tags.get("name"), tags.get("ref"),
        )  # fmt: skip
    text = (
        [None if row < 0 else raw.names[row] for row in raw.way_name],
        [None if row < 0 else raw.names[row] for row in raw.way_ref],
    )
    found = {
        int(way): (raw.tag_sets[tags], name, ref) for way, tags, name, ref in zip(raw.way_id, raw.way_tags, *text, strict=True)
    }
    assert found == expected
    assert len({tuple(sorted(tags.items())) for tags in raw.tag_sets}) == len(raw.tag_sets)
    assert np.array_equal(raw.node_id, [2 * row + k for row in expected for k in (0, 1)])


def test_tags_beyond_those_remembered_are_still_read(monkeypatch: pytest.MonkeyPatch) -> None:
    """When more distinct tags were met than are kept in mind, the rest are looked at each time, with the same answer."""
    ways = [["highway=primary", f"surface=s{row % 3}", f"name=n{row % 4}", f"note={row}"] for row in range(40)]
    all_known = _read(ways, 7)
    monkeypatch.setattr("tripplan.osm.ways._MOST_KNOWN", 2)
    few_known = _read(ways, 7)
    assert few_known.tag_sets == all_known.tag_sets
    assert few_known.names == all_known.names
    assert np.array_equal(few_known.way_tags, all_known.way_tags)
    assert np.array_equal(few_known.way_name, all_known.way_name)
