"""Presumed surfaces: each rule with the case where it must not bite, silence on few tags, and real maps with tags hidden."""

import os
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tripplan.rules.access import ROAD_CLASSES
from tripplan.rules.presume import BLOCK_KM, class_evidence, presume, wilson_lower

SEALED, UNSEALED, UNTAGGED = 0, 1, 2
DEGREE_KM = 6371.009 * np.pi / 180


class Map:
    """A made-up map: ways one by one."""

    def __init__(self) -> None:
        self.rows: list[tuple[str, int, float, float, float, int, int, int, int]] = []
        self.junction = 1_000_000

    def add(
        self,
        highway: str,
        tagged: int,
        *,
        east_km: float,
        north_km: float = 0,
        km: float = 1,
        ref: int = -1,
        name: int = -1,
        ends: tuple[int, int] | None = None,
    ) -> int:
        if ends is None:
            self.junction += 2
            ends = (self.junction, self.junction + 1)
        self.rows.append((highway, tagged, km * 1000, east_km / DEGREE_KM, north_km / DEGREE_KM, ref, name, *ends))
        return len(self.rows) - 1

    def arrays(self) -> tuple[np.ndarray, ...]:
        h, t, m, x, y, r, n, a, b = zip(*self.rows, strict=True)
        return (
            np.array([ROAD_CLASSES.index(name) for name in h], np.uint8), np.array(t, np.uint8), np.array(m), np.array(x), np.array(y),
            np.array(r, np.int32), np.array(n, np.int32), np.column_stack((a, b)).astype(np.int64),
        )  # fmt: skip

    def judge(self, row: int) -> tuple[bool, str]:
        presumed, templates, why = presume(*self.arrays())
        return bool(presumed[row]), templates[why[row]] if why[row] >= 0 else ""


def sealed_country(highway: str = "secondary", blocks: int = 12, km: float = 1) -> Map:
    """So many blocks in a row, each with one sealed road of the class."""
    made = Map()
    for i in range(blocks):
        made.add(highway, SEALED, east_km=(i + 0.5) * BLOCK_KM, north_km=0.5 * BLOCK_KM, km=km)
    return made


def test_wilson() -> None:
    """Eleven good out of eleven reach 0.8 at one-sided 95 %, ten don't (Wilson 1927: n / (n + z²) when all are good)."""
    assert float(wilson_lower(11, 11)) == pytest.approx(11 / (11 + 1.6448536**2))
    assert float(wilson_lower(11, 11)) >= 0.8 > float(wilson_lower(10, 10))
    assert float(wilson_lower(0, 0)) == 0
    assert float(wilson_lower(30, 31)) < float(wilson_lower(31, 31))


def test_plenty_of_evidence() -> None:
    """With all of its class sealed in twelve blocks, an untagged road is presumed sealed, with the figures in the reason."""
    made = sealed_country()
    presumed, why = made.judge(made.add("secondary", UNTAGGED, east_km=4))
    assert presumed
    assert "12 km seen sealed" in why
    assert "12 blocks" in why


@pytest.mark.parametrize("highway", ["unclassified", "residential", "living_street", "service", "track", "road", "ferry"])
def test_nothing_below_tertiary(highway: str) -> None:
    """Below tertiary nothing is presumed, however much of it is sealed."""
    made = sealed_country(highway, blocks=40)
    assert made.judge(made.add(highway, UNTAGGED, east_km=4)) == (False, "")


def test_tagged_ways_are_left_alone() -> None:
    """Only untagged ways are presumed."""
    made = sealed_country()
    assert not made.judge(0)[0]
    assert not made.judge(made.add("secondary", UNSEALED, east_km=500))[0]


def test_few_blocks_or_few_km() -> None:
    """Ten blocks are too few; eleven do; eleven with less than 5 km of road don't."""
    for blocks, km, expected in ((10, 1.0, False), (11, 1.0, True), (11, 0.4, False), (13, 0.4, True)):
        made = sealed_country(blocks=blocks, km=km)
        presumed, why = made.judge(made.add("secondary", UNTAGGED, east_km=4))
        assert presumed == expected
        assert ("too few" in why) == (not expected)


def test_lower_classes_lend_blocks_higher_ones_do_not() -> None:
    """Sealed tertiary roads in many blocks speak for a trunk seen in few; sealed trunks say nothing of tertiary."""
    made = sealed_country("tertiary", blocks=12)
    for i in range(3):
        made.add("trunk", SEALED, east_km=i * BLOCK_KM, km=2)
    assert made.judge(made.add("trunk", UNTAGGED, east_km=4))[0]
    made = sealed_country("trunk", blocks=12)
    for i in range(3):
        made.add("tertiary", SEALED, east_km=i * BLOCK_KM, km=2)
    assert not made.judge(made.add("tertiary", UNTAGGED, east_km=4))[0]


def test_class_share() -> None:
    """A class with 3 % unsealed km is not presumed anywhere, even far from them; with 1 % it is."""
    for bad_km, expected in ((2.5, False), (0.5, True)):
        made = sealed_country(blocks=40, km=2)
        made.add("secondary", UNSEALED, east_km=400, km=bad_km)
        assert made.judge(made.add("secondary", UNTAGGED, east_km=4))[0] == expected


def big_country() -> Map:
    """Sealed enough that one short unsealed road leaves its class above the line."""
    return sealed_country(blocks=60, km=2)


def test_same_ref_or_name() -> None:
    """An unsealed road of the same ref or name, however far, silences; another number doesn't; -1 is no name."""
    for key in ("ref", "name"):
        for other, expected in ((7, False), (8, True), (-1, True)):
            made = big_country()
            made.add("secondary", UNSEALED, east_km=900, km=0.3, **{key: 7})
            presumed, why = made.judge(made.add("secondary", UNTAGGED, east_km=4, **{key: other}))
            assert presumed == expected
            assert ("same ref or name" in why) == (not expected)


def test_two_hops() -> None:
    """An unsealed road next door or next but one silences; a third hop doesn't; a track that joins says nothing."""
    for hops, expected in ((0, False), (1, False), (2, True)):
        made = big_country()
        made.add("tertiary", UNSEALED, east_km=900, km=0.1, ends=(1, 2))
        for hop in range(hops):
            made.add("secondary", SEALED, east_km=4, ends=(2 + hop, 3 + hop))
        presumed, why = made.judge(made.add("secondary", UNTAGGED, east_km=4, ends=(2 + hops, 99)))
        assert presumed == expected
        assert ("lies within two junctions" in why) == (not expected)
    made = big_country()
    made.add("track", UNSEALED, east_km=4, km=0.1, ends=(1, 2))
    assert made.judge(made.add("secondary", UNTAGGED, east_km=4, ends=(2, 3)))[0]


def test_same_class_within_8_km() -> None:
    """An unsealed road of its class 7 km off silences; 9 km off doesn't, nor one of another class; the date line is no wall."""
    for highway, away, expected in (("secondary", 7.0, False), ("secondary", 9.0, True), ("tertiary", 1.0, True)):
        made = big_country()
        made.add(highway, UNSEALED, east_km=4 + away, km=0.3)
        assert made.judge(made.add("secondary", UNTAGGED, east_km=4, km=0.2))[0] == expected
    made = big_country()
    made.add("secondary", UNSEALED, east_km=-179.99 * DEGREE_KM, km=0.3)
    assert not made.judge(made.add("secondary", UNTAGGED, east_km=179.99 * DEGREE_KM))[0]


def test_motorways() -> None:
    """A motorway needs no evidence (OSM wiki, Key:surface), its links do; an unsealed road of its ref silences it."""
    made = Map()
    presumed, why = made.judge(made.add("motorway", UNTAGGED, east_km=0, ref=3))
    assert presumed
    assert "wiki" in why
    assert not made.judge(made.add("motorway_link", UNTAGGED, east_km=0))[0]
    made.add("trunk", UNSEALED, east_km=50, ref=3)
    assert not made.judge(0)[0]


def test_an_empty_map() -> None:
    """No ways, no answers, no error."""
    empty = np.zeros(0)
    presumed, templates, why = presume(
        empty.astype(np.uint8),
        empty.astype(np.uint8),
        empty,
        empty,
        empty,
        empty.astype(np.int32),
        empty.astype(np.int32),
        np.zeros((0, 2), np.int64),
    )
    assert (len(presumed), len(why)) == (0, 0)
    assert templates


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 2**32 - 1))
def test_fewer_tags_of_sealed_roads_never_presume_more(seed: int) -> None:
    """On a map with nothing unsealed, hiding tags can only silence the rule; and every untagged main road has a reason."""
    rng = np.random.default_rng(seed)
    made = Map()
    for _ in range(150):
        highway = ROAD_CLASSES[rng.integers(1, 12)]
        made.add(
            highway,
            int(rng.choice([0, 0, 0, 2])),
            east_km=rng.uniform(0, 40),
            north_km=rng.uniform(0, 40),
            km=rng.uniform(0.2, 3),
        )
    arrays = made.arrays()
    full, _, why = presume(*arrays)
    main_untagged = (arrays[0] < 10) & (arrays[1] == UNTAGGED)
    assert (why[main_untagged] >= 0).all()
    assert (why[~main_untagged] == -1).all()
    tagged = arrays[1].copy()
    tagged[rng.random(len(tagged)) < 0.5] = UNTAGGED
    thin, _, _ = presume(arrays[0], tagged, *arrays[2:])
    shown = arrays[1] == UNTAGGED
    assert not (thin & shown & ~full).any()


def test_evidence_adds_up() -> None:
    """Lengths by class and tag are the sums over the ways, links with their class."""
    made = sealed_country(blocks=3)
    made.add("secondary_link", SEALED, east_km=0, km=2)
    made.add("secondary", UNSEALED, east_km=0, km=4)
    made.add("primary", UNTAGGED, east_km=0, km=8)
    found = class_evidence(*made.arrays()[:5])
    row = found.names.index("secondary")
    assert (found.sealed_km[row], found.unsealed_km[row]) == (5, 4)
    assert found.untagged_km[found.names.index("primary")] == 8
    assert not found.enough.any()


# ---------------------------------------------------------------- real maps

EXTRACTS = os.environ.get("TRIPPLAN_EXTRACTS", "")
needs_extracts = pytest.mark.skipif(not EXTRACTS, reason="TRIPPLAN_EXTRACTS is not set: no real extracts here")


def real(name: str) -> tuple[np.ndarray, ...]:
    from tripplan.region.build import build
    from tripplan.region.judge import tagged_code

    region = build(Path(EXTRACTS) / name)
    ways, pieces = region.ways, region.pieces
    count = len(ways.osm_id)
    first = np.searchsorted(pieces.way, np.arange(count))
    last = np.searchsorted(pieces.way, np.arange(count), side="right") - 1
    middle = pieces.ptr[(first + last) // 2]
    return (
        ways.highway, tagged_code(ways.surface), np.bincount(pieces.way, weights=pieces.length_m, minlength=count),
        pieces.lon_e7[middle] / 1e7, pieces.lat_e7[middle] / 1e7, ways.ref, ways.name,
        np.column_stack((pieces.a[first], pieces.b[last])).astype(np.int64), ways.osm_id,
    )  # fmt: skip


@pytest.mark.extract
@needs_extracts
@pytest.mark.parametrize(
    ("name", "found_at_least"), [("andorra-20250119.osm.pbf", 0.95), ("liechtenstein-20240304.osm.pbf", 0.7)]
)
def test_hidden_tags_are_found_again(name: str, found_at_least: float) -> None:
    """Tags hidden by blocks of 5 km, a fifth at a time: nothing presumed is contradicted, and most sealed km are found."""
    *arrays, _ = real(name)
    highway, tagged, length, lon, lat = arrays[:5]
    block = np.floor(lat * DEGREE_KM / 5).astype(int) * 10_000 + np.floor(
        lon * DEGREE_KM * np.cos(np.radians(lat.mean())) / 5
    ).astype(int)
    numbers, inverse = np.unique(block, return_inverse=True)
    fold = np.random.default_rng(0).integers(0, 5, len(numbers))[inverse]
    known = (highway < 10) & (tagged != UNTAGGED)
    right = wrong = 0.0
    for k in range(5):
        hidden = known & (fold == k)
        shown = np.where(hidden, UNTAGGED, tagged).astype(np.uint8)
        presumed, _, _ = presume(highway, shown, *arrays[2:])
        right += length[hidden & presumed & (tagged == SEALED)].sum()
        wrong += length[hidden & presumed & (tagged == UNSEALED)].sum()
    assert wrong == 0
    assert right >= found_at_least * length[known & (tagged == SEALED)].sum()


@pytest.mark.extract
@needs_extracts
def test_an_old_map_judged_by_a_new_one() -> None:
    """What is presumed on Andorra's map of 2013 is not contradicted by the tags of 2025, way by way of the same id."""
    *old, old_id = real("andorra-20130528.osm.pbf")
    *new, new_id = real("andorra-20250119.osm.pbf")
    presumed, _, _ = presume(*old)
    today = dict(zip(new_id.tolist(), new[1].tolist(), strict=True))
    now = np.array([today.get(way, UNTAGGED) for way in old_id.tolist()])
    km = old[2] / 1000
    assert km[presumed & (now == SEALED)].sum() > 50
    assert km[presumed & (now == UNSEALED)].sum() <= 0.01 * km[presumed & (now != UNTAGGED)].sum()
