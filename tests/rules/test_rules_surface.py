"""Surface values against the open map's documented groups, and what the other tags may and may not prove."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tripplan.model.words import Source, Surface
from tripplan.rules.surface import NO_SURFACE_TAG, SURFACES, judge_surface

# OSM wiki, Key:surface, the three groups of documented values; cross-checked with the lists `osmPavedTags` and
# `osmSemipavedTags` of the iD editor (commit ffc7e21, from wiki revision 2910310). Published source, read in extract.
PAVED = [
    "paved",
    "asphalt",
    "chipseal",
    "concrete",
    "concrete:lanes",
    "concrete:plates",
    "paving_stones",
    "paving_stones:lanes",
    "grass_paver",
    "sett",
    "unhewn_cobblestone",
    "cobblestone",
    "bricks",
    "metal",
    "metal_grid",
    "wood",
    "stepping_stones",
    "tiles",
    "fibre_reinforced_polymer_grate",
    "resin_bound",
]
UNPAVED = [
    "unpaved",
    "compacted",
    "fine_gravel",
    "gravel",
    "shells",
    "rock",
    "pebblestone",
    "ground",
    "dirt",
    "earth",
    "mud",
    "laterite",
    "grass",
    "sand",
    "woodchips",
    "snow",
    "ice",
    "salt",
]
SPORTS = ["clay", "tartan", "artificial_turf", "acrylic", "carpet", "plastic", "rubber"]
ID_PAVED_SMOOTH = ["paved", "asphalt", "concrete", "chipseal", "concrete:lanes", "concrete:plates", "tiles"]
ID_SEMI_PAVED = [
    "bricks",
    "cobblestone",
    "unhewn_cobblestone",
    "sett",
    "paving_stones",
    "grass_paver",
    "metal",
    "metal_grid",
    "fibre_reinforced_polymer_grate",
    "wood",
]

# This project's own judgement for a van.
SEALED = [
    "paved",
    "asphalt",
    "chipseal",
    "concrete",
    "concrete:plates",
    "paving_stones",
    "bricks",
    "cement",
    "metal",
    "resin_bound",
    "tiles",
    "brick",
    "bitmac",
]
ROUGH = ["sett", "cobblestone", "unhewn_cobblestone", "concrete:lanes", "metal_grid", "wood", "cobblestone:flattened"]
NEVER = ["grass_paver", "paving_stones:lanes", "stepping_stones", *UNPAVED, *SPORTS]


def test_every_documented_value_is_in_the_table_with_its_group() -> None:
    """The table's groups are the wiki's, value by value, and nothing undocumented hides in them."""
    for group, values in (("paved", PAVED), ("unpaved", UNPAVED), ("sports", SPORTS)):
        assert {value for value, row in SURFACES.items() if row.group == group} == set(values)


@pytest.mark.parametrize("value", SEALED)
def test_sealed(value: str) -> None:
    """Each sealed value is sealed, tagged, and not rough."""
    fact = judge_surface({"highway": "primary", "surface": value})
    assert (fact.surface, fact.source, fact.rough) == (Surface.SEALED, Source.TAGGED, False)


@pytest.mark.parametrize("value", ROUGH)
def test_rough(value: str) -> None:
    """Each rough value is sealed and rough."""
    fact = judge_surface({"highway": "primary", "surface": value})
    assert (fact.surface, fact.rough) == (Surface.SEALED, True)


@pytest.mark.parametrize("value", NEVER)
def test_unsealed(value: str) -> None:
    """Each value of the unpaved and sports groups is unsealed, compacted too, and half-paved ones with it."""
    fact = judge_surface({"highway": "motorway", "surface": value})
    assert (fact.surface, fact.source) == (Surface.UNSEALED, Source.TAGGED)
    assert value in fact.why


def test_against_the_editor() -> None:
    """What the editor calls paved and smooth is sealed here; its semi-paved values never come out smooth and unremarked."""
    assert all(SURFACES[value].surface == Surface.SEALED for value in ID_PAVED_SMOOTH)
    plain = {value for value in ID_SEMI_PAVED if SURFACES[value].surface == Surface.SEALED and not SURFACES[value].rough}
    assert plain == {"bricks", "paving_stones", "metal"}


def test_paved_inside_unpaved() -> None:
    """Values are matched whole: "unpaved" holds "paved", "non_asphalt" holds "asphalt"."""
    assert judge_surface({"surface": "unpaved"}).surface == Surface.UNSEALED
    for odd in ("non_asphalt", "asphalt_", "asfalt", "yes", "ground²", "paved?", "tunnel"):
        fact = judge_surface({"highway": "primary", "surface": odd})
        assert (fact.surface, fact.source) == (Surface.UNKNOWN, Source.NONE)


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("asphalt;gravel", Surface.UNSEALED), ("gravel; asphalt", Surface.UNSEALED), ("asphalt; concrete", Surface.SEALED),
        ("asphalt;whatever", Surface.UNKNOWN), ("whatever;sand", Surface.UNSEALED), (" Asphalt ;", Surface.SEALED), (";", Surface.UNKNOWN),
    ],
)  # fmt: skip
def test_lists(text: str, expected: Surface) -> None:
    """Of a list the worst value counts."""
    assert judge_surface({"highway": "tertiary", "surface": text}).surface == expected


@given(st.lists(st.sampled_from(sorted(SURFACES)), min_size=1, max_size=5))
def test_list_is_never_better_than_a_member(values: list[str]) -> None:
    """A list is exactly as bad as its worst member, in any order."""
    worst = max(SURFACES[value].surface for value in values)
    assert judge_surface({"surface": ";".join(values)}).surface == worst
    assert judge_surface({"surface": "; ".join(reversed(values))}).surface == worst


@given(st.dictionaries(st.sampled_from(["surface", "tracktype", "smoothness", "highway", "route"]), st.text(max_size=40)))
def test_any_text_gets_an_answer(tags: dict[str, str]) -> None:
    """No text whatever raises, and sealed comes only from a sealed value or a ferry."""
    fact = judge_surface(tags)
    if fact.surface == Surface.SEALED and fact.source == Source.TAGGED:
        parts = [part.strip().lower() for part in tags["surface"].split(";") if part.strip()]
        assert all(SURFACES[part].surface == Surface.SEALED for part in parts)


# OSM wiki, Key:*:lanes (the suffix may follow any key; a lane left blank has the plain value; cycle lanes count) and
# Tag:surface=paving_stones:lanes (`surface:middle`). Published source, read in extract. What follows from it is this project's.
@pytest.mark.parametrize(
    ("tags", "expected"),
    [
        ({"surface:lanes": "asphalt|gravel"}, Surface.UNSEALED), ({"surface:lanes:backward": "|gravel"}, Surface.UNSEALED),
        ({"surface:forward": "gravel"}, Surface.UNSEALED), ({"surface:backward": "Dirt"}, Surface.UNSEALED),
        ({"surface:middle": "grass"}, Surface.UNSEALED), ({"surface:left": "asphalt", "surface:right": "sand"}, Surface.UNSEALED),
        ({"surface:forward": "asphalt;gravel"}, Surface.UNSEALED), ({"surface:conditional": "gravel @ (Nov-Mar)"}, Surface.UNSEALED),
        ({"surface:type": "gravel"}, Surface.UNSEALED), ({"surface:lanes": "asphalt|tarmacadam"}, Surface.UNKNOWN),
        ({"surface": "asphalt", "surface:lanes": "asphalt|gravel"}, Surface.UNKNOWN),
        ({"surface": "asphalt", "surface:backward": "compacted"}, Surface.UNKNOWN),
        ({"surface": "gravel", "surface:forward": "asphalt", "surface:backward": "asphalt"}, Surface.UNSEALED),
        # All of it named, and all of it sealed.
        ({"surface:lanes": "asphalt|concrete"}, Surface.SEALED), ({"surface:forward": "asphalt", "surface:backward": "paved"}, Surface.SEALED),
        ({"surface:lanes:forward": "asphalt", "surface:lanes:backward": "asphalt|asphalt"}, Surface.SEALED),
        # A part of it named: the rest is as unknown as before.
        ({"surface:forward": "asphalt"}, Surface.UNKNOWN), ({"surface:lanes": "asphalt|"}, Surface.UNKNOWN),
        ({"surface:middle": "asphalt"}, Surface.UNKNOWN),
        # What is beside the road, or no surface at all.
        ({"surface": "asphalt", "surface:cycleway": "gravel"}, Surface.SEALED), ({"surface": "asphalt", "surface:shoulder": "gravel"}, Surface.SEALED),
        ({"surface": "asphalt", "surface:lanes": "asphalt|concrete"}, Surface.SEALED), ({"surface:note": "gravel"}, Surface.UNKNOWN),
        ({"surface:sidewalk:left": "gravel"}, Surface.UNKNOWN), ({"surface": "asphalt", "surface:colour": "red"}, Surface.SEALED),
        ({"surface": "asphalt", "source:surface": "gravel"}, Surface.SEALED),
    ],
)  # fmt: skip
def test_parts_of_the_carriageway(tags: dict[str, str], expected: Surface) -> None:
    """One unsealed lane, direction or side unseals a road without a plain value, and makes a sealed one doubtful."""
    assert judge_surface({"highway": "primary", **tags}).surface == expected


def test_only_a_road_of_which_nothing_is_said_may_be_presumed() -> None:
    """The reason that lets evidence speak stands only where no tag speaks of the surface; a sealed part leaves it so."""
    for tags, free in (
        ({}, True), ({"surface:forward": "asphalt"}, True), ({"surface:note": "bumpy"}, True), ({"smoothness": "bad"}, True),
        ({"4wd_only": "no"}, True), ({"4wd_only": "yes"}, False), ({"4wd_only": "recommended"}, False), ({"surface": "yes"}, False),
        ({"surface:lanes": "asphalt|gravel"}, False), ({"tracktype": "grade1"}, False), ({"tracktype": "grade3"}, False),
        ({"smoothness": "horrible"}, False), ({"smoothness:lanes": "good|impassable"}, False), ({"tracktype": "grade1;grade3"}, False),
    ):  # fmt: skip
        assert (judge_surface({"highway": "primary", **tags}).why == NO_SURFACE_TAG) is free, tags


def test_a_rough_lane_is_rough() -> None:
    """A sealed but rough lane makes the road rough."""
    assert judge_surface({"surface": "asphalt", "surface:lanes": "asphalt|sett"}).rough
    assert not judge_surface({"surface": "asphalt", "surface:lanes": "asphalt|asphalt"}).rough


def test_tracktype() -> None:
    """grade1 is no proof; grades 2 to 5 are unsealed; against a sealed value they leave it unknown."""
    assert judge_surface({"highway": "track", "tracktype": "grade1"}).surface == Surface.UNKNOWN
    assert judge_surface({"highway": "track", "tracktype": "grade1", "surface": "asphalt"}).surface == Surface.SEALED
    assert judge_surface({"highway": "track", "tracktype": "grade1", "surface": "compacted"}).surface == Surface.UNSEALED
    for grade in ("grade2", "grade3", "grade4", "grade5"):
        assert judge_surface({"highway": "unclassified", "tracktype": grade}).surface == Surface.UNSEALED
        assert judge_surface({"highway": "track", "tracktype": grade, "surface": "asphalt"}).surface == Surface.UNKNOWN


def test_untagged() -> None:
    """No class of road is sealed by its class; a plain track is unsealed; a bridge proves nothing; a ferry has a deck."""
    for highway in ("motorway", "primary", "residential", "service", "living_street", "road"):
        fact = judge_surface({"highway": highway, "bridge": "yes", "lanes": "2", "lit": "yes"})
        assert (fact.surface, fact.source) == (Surface.UNKNOWN, Source.NONE)
    assert judge_surface({"highway": "track"}).surface == Surface.UNSEALED
    assert judge_surface({"highway": "track"}).source == Source.CLASS_DEFAULT
    assert judge_surface({"route": "ferry"}).surface == Surface.SEALED
    assert judge_surface({"highway": "primary", "bridge": "yes", "surface": "wood"}).rough


def test_smoothness() -> None:
    """Bad smoothness makes sealed road rough; very bad without a surface is unsealed; good smoothness proves nothing."""
    assert judge_surface({"surface": "asphalt", "smoothness": "bad"}).rough
    assert not judge_surface({"surface": "asphalt", "smoothness": "intermediate"}).rough
    assert judge_surface({"highway": "primary", "smoothness": "excellent"}).surface == Surface.UNKNOWN
    for value in ("very_bad", "horrible", "very_horrible", "impassable"):
        assert judge_surface({"highway": "primary", "smoothness": value}).surface == Surface.UNSEALED
        assert judge_surface({"surface": "asphalt", "smoothness": value}).rough
