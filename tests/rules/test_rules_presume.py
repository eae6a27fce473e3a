"""Presumed surfaces: each rule with the case where it must not bite, silence on few tags."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tripplan.rules.access import ROAD_CLASSES
from tripplan.rules.presume import BLOCK_KM, presume, surface_evidence, wilson_lower
from tripplan.rules.silence import words_by_class

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
    assert "12 nearest blocks" in why


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
        assert ("too few secondary" in why) == (not expected)


def test_lower_classes_lend_blocks_higher_ones_do_not() -> None:
    """Sealed tertiary roads in many blocks speak for a trunk seen in few; sealed trunks say nothing of tertiary."""
    made = sealed_country("tertiary", blocks=12)
    for i in range(3):
        made.add("trunk", SEALED, east_km=2 * i * BLOCK_KM, km=2)  # enough apart to hide some and ask
    assert made.judge(made.add("trunk", UNTAGGED, east_km=4))[0]
    made = sealed_country("trunk", blocks=12)
    for i in range(3):
        made.add("tertiary", SEALED, east_km=i * BLOCK_KM, km=2)
    assert not made.judge(made.add("tertiary", UNTAGGED, east_km=4))[0]


@pytest.mark.parametrize(
    ("own", "unsealed", "expected"),
    [(5, "", True), (4, "", False), (5, "secondary", False), (5, "tertiary", False)],
)
def test_higher_classes_are_heard_where_the_class_speaks_for_itself(own: int, unsealed: str, expected: bool) -> None:
    """Five sealed blocks of its own and twenty of a higher class; not with four, nor with anything unsealed in the blocks."""
    made = sealed_country("secondary", 20)
    for i in range(own):
        made.add("tertiary", SEALED, east_km=(i + 0.5) * BLOCK_KM, north_km=3.5 * BLOCK_KM, km=2)
    if unsealed:
        made.add(unsealed, UNSEALED, east_km=12.5 * BLOCK_KM, north_km=3.5 * BLOCK_KM)
    row = made.add("tertiary", UNTAGGED, east_km=2.5 * BLOCK_KM, north_km=5.5 * BLOCK_KM)
    presumed, why = made.judge(row)
    assert presumed == expected
    assert ("where main roads are tagged" in why) == expected


def test_class_share() -> None:
    """A class with 3 % unsealed km on two roads is not presumed anywhere, even far from them; with 1 %, or on one road, it is."""
    for bad_km, roads, expected in ((1.25, 2, False), (0.25, 2, True), (2.5, 1, True)):
        made = sealed_country(blocks=40, km=2)
        for road in range(roads):
            made.add("secondary", UNSEALED, east_km=400 + 20 * road, km=bad_km)
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
    """An unsealed road of its class or a higher one next door or next but one silences; a third hop doesn't, nor a lower road."""
    for highway, hops, expected in (
        ("secondary", 0, False), ("primary", 1, False), ("secondary", 1, False), ("secondary", 2, True), ("tertiary", 0, True), ("track", 0, True),
    ):  # fmt: skip
        made = big_country()
        made.add(highway, UNSEALED, east_km=900, km=0.1, ends=(1, 2))
        for hop in range(hops):
            made.add("secondary", SEALED, east_km=4, ends=(2 + hop, 3 + hop))
        presumed, why = made.judge(made.add("secondary", UNTAGGED, east_km=4, ends=(2 + hops, 99)))
        assert presumed == expected
        assert ("lies within two junctions" in why) == (not expected)


@pytest.mark.parametrize(("highway", "away", "mixed", "expected"), [
    ("secondary", 4.0, False, False), ("secondary", 8.0, False, True), ("tertiary", 1.0, False, True), ("secondary", 7.0, True, False),
    ("primary", 4.0, True, True),
])  # fmt: skip
def test_same_class_nearby(highway: str, away: float, mixed: bool, expected: bool) -> None:
    """An unsealed road of its class silences within 6 km where such roads are exceptions, within 8 km on a map with both kinds."""
    made = big_country()
    for road in range(10 if mixed else 0):
        made.add("tertiary", UNSEALED, east_km=600 + 10 * road)
    made.add(highway, UNSEALED, east_km=91.5 + away, north_km=1.5, km=0.3)
    presumed, why = made.judge(made.add("secondary", UNTAGGED, east_km=91.5, north_km=1.5, km=0.2))
    assert presumed == expected
    assert (f"within {8 if mixed else 6} km" in why) == (not expected)


def test_the_date_line_is_no_wall() -> None:
    """An unsealed road on the other side of 180 degrees is as near as it is."""
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
    assert templates == []


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


def test_a_long_road_speaks_for_few_blocks() -> None:
    """One road tagged over forty blocks is one road: with its ways chained it is not evidence enough, as single roads it is."""
    for number, expected in ((5, False), (-1, True)):
        made = Map()
        for i in range(40):
            ends = (i, i + 1) if number >= 0 else None
            made.add("secondary", SEALED, east_km=(i + 0.5) * BLOCK_KM, north_km=1.5, ref=number, ends=ends)
        assert made.judge(made.add("secondary", UNTAGGED, east_km=4))[0] == expected


def test_far_evidence_counts_only_where_all_is_sealed() -> None:
    """On a map without anything unsealed far blocks speak; with much unsealed elsewhere only blocks within 50 or 100 km do."""
    for bad, kind, far_km, expected in (
        (0, "", 300, True), (12, "tertiary", 300, False), (12, "tertiary", 120, True), (12, "primary", 120, False), (12, "primary", 70, True),
    ):  # fmt: skip
        made = sealed_country(blocks=20, km=2)
        for i in range(bad):
            made.add(kind, UNSEALED, east_km=900 + i * BLOCK_KM, km=1)
        assert made.judge(made.add("secondary", UNTAGGED, east_km=far_km))[0] == expected
        assert made.judge(made.add("secondary", UNTAGGED, east_km=20))[0]


def test_bridges_and_tunnels_are_laid_apart() -> None:
    """A tunnel needs tunnels, or sealed roads at both ends; an ordinary road there does not."""
    made = sealed_country()
    made.add("secondary", SEALED, east_km=4, ends=(1, 2))
    made.add("secondary", SEALED, east_km=5, ends=(3, 4))
    rows = [made.add("secondary", UNTAGGED, east_km=4.5, ends=ends) for ends in ((2, 3), (2, 77), (2, 78))]
    arrays = made.arrays()
    structure = np.zeros(len(arrays[0]), np.uint8)
    structure[rows[:2]] = 2
    found = surface_evidence(*arrays, structure=structure)
    assert found.presumed[rows].tolist() == [True, False, True]
    assert "laid apart" in found.reasons[found.why[rows[1]]]


def test_an_exception_across_a_border_of_blocks_is_one() -> None:
    """An unsealed road of 1 km whose two ways lie in two blocks weighs as much as one in a single block."""
    seen = []
    for spots in ((301.0, 301.2), (302.9, 303.1)):
        made = sealed_country(blocks=24, km=2)
        for spot in spots:
            made.add("secondary", UNSEALED, east_km=spot, north_km=1.5, km=0.5, ref=9, ends=(int(spot * 10), int(spots[-1] * 10)))
        asked = made.add("secondary", UNTAGGED, east_km=20)
        found = surface_evidence(*made.arrays())
        seen.append((bool(found.presumed[asked]), float(found.p[asked])))
    assert seen[0][0]
    assert seen[1][0]
    assert seen[0][1] == pytest.approx(seen[1][1], abs=0.01)


def test_probability() -> None:
    """Every untagged main way has one, and no other; it falls with what speaks against the way and is never certain."""
    made = big_country()
    made.add("secondary", UNSEALED, east_km=900, km=0.3, ref=7)
    plain = made.add("secondary", UNTAGGED, east_km=30)
    near = made.add("secondary", UNTAGGED, east_km=903)
    same = made.add("secondary", UNTAGGED, east_km=60, ref=7)
    lane = made.add("residential", UNTAGGED, east_km=30)
    found = surface_evidence(*made.arrays())
    p = found.p
    assert np.isnan(p[0])
    assert np.isnan(p[lane])
    assert ((p[[plain, near, same]] > 0) & (p[[plain, near, same]] < 1)).all()
    assert p[plain] > max(p[near], p[same])
    assert found.reasons[found.why[plain]].startswith(f"{100 * p[plain]:.0f} % likely sealed")
    assert "tags hidden and asked for again in 61 blocks: contradicted in 1" in found.reasons[found.why[plain]]


def test_a_road_that_goes_on_sealed_is_likelier_sealed() -> None:
    """Where sealed roads stay sealed and unsealed ones unsealed, a sealed neighbour of the same ref speaks for a way."""
    made = Map()
    for i in range(60):
        for part in range(2):
            made.add("tertiary", i % 2, east_km=i * BLOCK_KM, km=1, ref=i, ends=(1000 + 3 * i + part, 1001 + 3 * i + part))
    goes_on = made.add("tertiary", UNTAGGED, east_km=30, ref=10, ends=(1032, 5000))
    alone = made.add("tertiary", UNTAGGED, east_km=30, ref=99, ends=(6000, 6001))
    found = surface_evidence(*made.arrays())
    assert found.p[goes_on] > found.p[alone] + 0.1
    assert "its road goes on sealed" in found.reasons[found.why[goes_on]]
    assert not found.presumed[[goes_on, alone]].any()


def test_a_rule_that_fails_its_trial_is_not_used() -> None:
    """Where hidden tags contradict the rule on several roads, the class falls silent; without those roads it speaks."""
    for exceptions, expected in ((0, True), (4, False)):
        made = sealed_country(blocks=80)
        for i in range(exceptions):
            made.add("secondary", UNSEALED, east_km=(10.6 + 20 * i) * BLOCK_KM, north_km=1, km=0.1)
        asked = made.add("secondary", UNTAGGED, east_km=60)
        found = surface_evidence(*made.arrays())
        assert found.presumed[asked] == expected
        assert found.trial.failed.any() != expected
        assert not found.mixed
        reason = found.reasons[found.why[asked]]
        assert ("contradicted in 4" in reason) != expected
        assert ("not contradicted (up to" in reason) == expected


@pytest.mark.parametrize(
    ("tracks", "km", "street", "loose", "noted", "expected"),
    [
        (3, 1.0, False, True, False, False),  # ends among tracks
        (1, 1.0, False, True, False, True), (3, 2.0, False, True, False, True),  # too few of them, for its length
        (3, 1.0, True, True, False, True),  # a street joins it
        (3, 1.0, False, False, False, True),  # main roads go on at both ends
        (3, 1.0, False, True, True, True),  # somebody has noted more of it
    ],
)  # fmt: skip
def test_a_road_that_ends_among_tracks_is_not_presumed(
    tracks: int, km: float, street: bool, loose: bool, noted: bool, expected: bool
) -> None:
    """Two tracks a kilometre, no street, no main road beyond and nothing noted: the sealed roads of its class say nothing of it."""
    made = sealed_country()
    made.add("secondary", SEALED, east_km=4, ends=(1, 2))
    if not loose:
        made.add("secondary", SEALED, east_km=4, ends=(4, 5))
    asked = made.add("secondary", UNTAGGED, east_km=4, km=km / 2, name=7, ends=(2, 3))
    made.add("secondary", UNTAGGED, east_km=4, km=km / 2, name=7, ends=(3, 4))
    for _ in range(tracks):
        made.add("track", UNTAGGED, east_km=4, ends=(3, -1))
    if street:
        made.add("residential", UNTAGGED, east_km=4, ends=(4, -1))
    arrays = made.arrays()
    told = np.zeros(len(arrays[0]), np.bool_)
    told[asked] = noted
    found = surface_evidence(*arrays, noted=told)
    assert found.presumed[asked] == expected
    assert ("among tracks" in found.reasons[found.why[asked]]) != expected


@pytest.mark.parametrize(("tracks", "mixed"), [(3, False), (1, True)])
def test_a_road_that_ends_among_tracks_makes_no_map_mixed(tracks: int, mixed: bool) -> None:
    """One unsealed road in thirteen blocks makes a map mixed, and far blocks fall silent; not where it ends among tracks."""
    made = sealed_country()
    made.add("tertiary", UNSEALED, east_km=200, ends=(1, 2))
    for _ in range(tracks):
        made.add("track", UNTAGGED, east_km=200, ends=(2, -1))
    asked = made.add("secondary", UNTAGGED, east_km=300)
    found = surface_evidence(*made.arrays())
    assert found.mixed == mixed
    assert found.presumed[asked] != mixed


def test_a_class_on_which_the_rule_cannot_be_tried_is_presumed_less() -> None:
    """Lower classes speak for a trunk tagged in two blocks of the trial: only what goes on from sealed road is presumed, and it says so."""
    for blocks, expected in ((2, [True, True, False]), (12, [True, True, True])):
        made = sealed_country("secondary", blocks=30)
        for i in range(blocks):
            made.add("trunk", SEALED, east_km=6 * i, km=4, ref=5 if i == 0 else -1, ends=(100 + 2 * i, 101 + 2 * i))
        rows = [
            made.add("trunk", UNTAGGED, east_km=1, ref=5, ends=(101, 900)), made.add("trunk", UNTAGGED, east_km=3, ends=(101, 102)),
            made.add("trunk", UNTAGGED, east_km=12),
        ]  # fmt: skip
        found = surface_evidence(*made.arrays())
        assert found.presumed[rows].tolist() == expected
        line = said_of(made)["trunk"]
        assert (
            "of its own too little is tagged to try the rule on, so only what goes on from sealed road is presumed" in line
        ) != expected[2]
        assert ("1.0 km (too few tags to try the rule on)" in line) != expected[2]


def test_a_class_that_is_one_road_says_that_the_trial_is_silent() -> None:
    """A trunk of one ref is hidden as a whole, so the trial asks of it and the rule says nothing; no words of too few tags."""
    made = sealed_country("secondary", blocks=30)
    for i in range(30):
        made.add("trunk", SEALED, east_km=i * BLOCK_KM, km=3, ref=5, ends=(100 + i, 101 + i))
    made.add("trunk", UNTAGGED, east_km=4, ref=5, ends=(130, 131))
    line = said_of(made)["trunk"]
    assert line.startswith("1.0 of 1.0 km presumed (90.0 km tagged sealed")
    assert "neither contradicted nor confirmed" in line
    assert "too few" not in line


def test_motorways_take_no_tags_and_say_so() -> None:
    """An untagged motorway is presumed by the wiki's word, its link is not, and the line speaks of no trial."""
    made = Map()
    made.add("motorway", UNTAGGED, east_km=0, km=4)
    made.add("motorway_link", UNTAGGED, east_km=0, km=2)
    assert said_of(made) == {
        "motorway": "4.0 of 6.0 km presumed (0.0 km tagged sealed, 0.0 km unsealed; motorways, not their links, may safely be assumed "
        "sealed (OSM wiki, Key:surface)); not presumed: 2.0 km (too few tags)"
    }


def said_of(made: Map) -> dict[str, str]:
    """What is said of each class of a made-up map."""
    arrays = made.arrays()
    highway, tagged, length_m = arrays[:3]
    return words_by_class(highway, tagged, length_m, surface_evidence(*arrays), tagged == UNTAGGED)


def test_a_class_with_too_few_tags_says_so() -> None:
    """Silence has its reason, class by class, with the kilometres; with one block more it is spoken."""
    made = sealed_country(blocks=10)
    made.add("secondary", UNTAGGED, east_km=4, km=7)
    made.add("unclassified", UNTAGGED, east_km=4, km=7)
    made.add("trunk", SEALED, east_km=400)
    assert said_of(made) == {
        "secondary": "nothing presumed of 7.0 km: too few tags to presume by (10.0 km tagged sealed, 0.0 km unsealed)"
    }
    made.add("secondary", SEALED, east_km=10.5 * BLOCK_KM, north_km=0.5 * BLOCK_KM)
    assert said_of(made)["secondary"].startswith("7.0 of 7.0 km presumed (11.0 km tagged sealed, 0.0 km unsealed; ")


def test_what_is_said_names_each_reason_with_its_kilometres() -> None:
    """An untagged road near an unsealed one, and one of its ref, are told apart from those presumed."""
    made = sealed_country(blocks=40)
    made.add("secondary", UNSEALED, east_km=600, ref=5, km=0.5)
    made.add("secondary", UNTAGGED, east_km=4, km=2)
    made.add("secondary", UNTAGGED, east_km=602, km=3)
    made.add("secondary", UNTAGGED, east_km=20, ref=5, km=4)
    line = said_of(made)["secondary"]
    assert line.startswith("2.0 of 9.0 km presumed (40.0 km tagged sealed, 0.5 km unsealed; tags hidden and asked for again in ")
    assert line.endswith("; not presumed: 4.0 km (an unsealed road of the same ref or name), 3.0 km (an unsealed road near)")
