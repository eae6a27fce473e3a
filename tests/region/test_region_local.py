"""Local knowledge beats the map, is named as the source, and can be taken out again to the last bit."""

from __future__ import annotations

import string
from dataclasses import fields
from datetime import date
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from helpers.drawn import METRES_A_DEGREE, Drawing
from helpers.make import piece_of, region_from_drawing
from hypothesis import given, settings
from hypothesis import strategies as st

from tripplan.model.errors import BadInputError
from tripplan.model.local import NoteSource, PlaceNote, RoadNote
from tripplan.model.outfit import Outfit
from tripplan.model.place import Spot
from tripplan.model.words import Offer, SiteKind, Source, Surface
from tripplan.region.build import build, content_key
from tripplan.region.columns import Access
from tripplan.region.find import find
from tripplan.region.geometry import piece_line
from tripplan.region.local import add_local, local_files, without_local
from tripplan.region.region import Region
from tripplan.region.store import load, save
from tripplan.rules.closed import closed_on

ROADS = """
   F   E
   |   |
A--B---C--D
"""
LABEL = "local note: notes.csv, row 2, A. Writer, 2026-01-02"


def source(row: int = 2, file: str = "notes.csv") -> NoteSource:
    return NoteSource(file, f"row {row}", "A. Writer", "2026-01-02")


def road(row: int = 2, **said: object) -> RoadNote:
    return RoadNote(source(row), **said)  # type: ignore[arg-type]


def place(row: int = 2, **said: object) -> PlaceNote:
    return PlaceNote(source(row), **said)  # type: ignore[arg-type]


@pytest.fixture
def drawn(tmp_path: Path):
    """A road of one way from A to D with two side roads, a no-left-turn at C, a site, a tap and a shop."""
    return region_from_drawing(
        ROADS,
        {
            "ABCD": {"highway": "secondary", "name": "Long Road", "ref": "7", "surface": "asphalt"},
            "BF": {"highway": "secondary", "name": "Fell Road", "motor_vehicle:conditional": "no @ (Jun-Aug)"},
            "CE": {"highway": "tertiary", "name": "East Road", "surface": "gravel", "access": "private", "maxheight": "2.5"},
        },
        nodes={
            "F": {"tourism": "caravan_site", "name": "Fell Field", "power_supply": "no"},
            "E": {"amenity": "drinking_water", "name": "East Tap"},
        },
        relations=[({"type": "restriction", "restriction": "no_entry"}, [("from", "ABCD"), ("via", "C"), ("to", "CE")])],
        folder=tmp_path,
        grid_m=200,
    )


def same(a: Region, b: Region) -> None:
    for table in ("ways", "pieces", "junctions", "turns", "towns", "base"):
        for field in fields(getattr(a, table)):
            one, other = getattr(getattr(a, table), field.name), getattr(getattr(b, table), field.name)
            assert one.dtype == other.dtype, (table, field.name)
            np.testing.assert_array_equal(one, other, err_msg=f"{table}.{field.name}")
    assert list(a.strings) == list(b.strings)
    assert list(a.places) == list(b.places)
    assert a.meta == b.meta
    assert content_key(a) == content_key(b)


def way_row(region: Region, osm_id: int, nth: int = 0) -> int:
    return int(np.flatnonzero(region.ways.osm_id == osm_id)[nth])


def test_surface_beats_the_map_and_is_named(drawn) -> None:
    """Sealed becomes unsealed, gravel sealed, a tag doubted; each with the note as its source and reason."""
    region, drawing = drawn
    ids = drawing.way_id
    made = add_local(region, [road(2, ways=(ids["ABCD"],), surface="unsealed"), road(3, ways=(ids["CE"],), surface="sealed")])
    row = way_row(made, ids["ABCD"])
    assert made.ways.surface[row] == Surface.UNSEALED
    assert list(Source)[made.ways.surface_source[row]] is Source.LOCAL_NOTE
    assert made.string(int(made.ways.surface_why[row])) == LABEL
    assert made.ways.surface[way_row(made, ids["CE"])] == Surface.SEALED
    assert made.ways.surface[way_row(made, ids["BF"])] == region.ways.surface[way_row(region, ids["BF"])]
    doubted = add_local(region, [road(2, ways=(ids["ABCD"],), surface="unknown")])
    assert doubted.ways.surface[way_row(doubted, ids["ABCD"])] == Surface.UNKNOWN


def test_access_limits_and_their_source(drawn) -> None:
    """A private road opened, one closed to the van alone, a limit given and one lifted."""
    region, drawing = drawn
    ids = drawing.way_id
    notes = [
        road(2, ways=(ids["CE"],), access="open", limits=(("max_height_m", None), ("max_weight_kg", 3000.0))),
        road(3, ways=(ids["BF"],), access="closed", van_only=True),
    ]
    made = add_local(region, notes)
    east, fell = way_row(made, ids["CE"]), way_row(made, ids["BF"])
    assert region.ways.tow_access[way_row(region, ids["CE"])] == Access.CLOSED
    assert made.ways.tow_access[east] == made.ways.car_access[east] == Access.OPEN
    assert np.isnan(made.ways.max_height_m[east])
    assert made.ways.max_weight_kg[east] == 3000
    assert made.local is not None
    assert made.local.limit_source(east, "max_weight_kg") == LABEL
    assert made.local.limit_source(east, "max_width_m") == ""
    assert made.ways.tow_access[fell] == Access.CLOSED
    assert made.ways.car_access[fell] == Access.OPEN
    assert "row 3" in made.string(int(made.ways.access_why[fell]))


@pytest.mark.parametrize(
    ("since", "until", "shut", "open_days"),
    [
        ("2026-01-05", "2026-03-10", [(2026, 1, 5), (2026, 3, 10)], [(2026, 1, 4), (2026, 3, 11), (2027, 2, 1)]),
        ("11-01", "04-15", [(2026, 11, 1), (2027, 4, 15), (2026, 1, 1)], [(2026, 10, 31), (2026, 4, 16)]),
        ("2026-05-01", "", [(2026, 5, 1), (2030, 1, 1)], [(2026, 4, 30)]),
        ("", "2026-05-01", [(2026, 5, 1), (2025, 10, 10)], [(2026, 5, 2)]),
        ("2026-12-20", "2027-01-10", [(2026, 12, 31), (2027, 1, 10)], [(2026, 12, 19), (2027, 1, 11)]),
        ("02-03", "02-03", [(2026, 2, 3), (2028, 2, 3)], [(2026, 2, 2), (2026, 2, 4)]),
    ],
)  # fmt: skip
def test_closures_by_date(drawn, since: str, until: str, shut: list, open_days: list) -> None:
    """A closure holds on its first and last date and not on the days around; the map's own closure holds beside it."""
    region, drawing = drawn
    ids = drawing.way_id
    hard = NoteSource("notes.csv", "row 2", 'Ann (yard) and "Bob"; office', "2026-01-02")
    notes = [RoadNote(hard, (ids[word],), access="closed", since=since, until=until) for word in ("ABCD", "BF")]
    made = add_local(region, notes)
    long, fell = (made.string(int(made.ways.closed_when[way_row(made, ids[word])])) for word in ("ABCD", "BF"))
    for day in shut:
        assert closed_on(long, date(*day)), (long, day)
        assert closed_on(fell, date(*day))
    for day in open_days:
        assert closed_on(long, date(*day)) is False, (long, day)
        assert closed_on(fell, date(*day)) is (6 <= day[1] <= 8)
    assert closed_on(fell, date(2026, 7, 1))
    assert "local note: notes.csv, row 2" in long
    assert "Bob" in long


def test_opened_road_loses_the_maps_closure(drawn) -> None:
    """`open` lifts the map's closure by date; a dated closure of another note stays."""
    region, drawing = drawn
    fell = drawing.way_id["BF"]
    made = add_local(region, [road(2, ways=(fell,), access="open")])
    assert made.ways.closed_when[way_row(made, fell)] == -1
    both = add_local(
        region, [road(2, ways=(fell,), access="open"), road(3, ways=(fell,), access="closed", since="01-01", until="01-31")]
    )
    raw = both.string(int(both.ways.closed_when[way_row(both, fell)]))
    assert closed_on(raw, date(2026, 1, 9))
    assert not closed_on(raw, date(2026, 7, 1))


def between(drawing, a: str, b: str, share: float, north_m: float = 0.0) -> tuple[float, float]:
    (x0, y0), (x1, y1) = drawing.at[a], drawing.at[b]
    return x0 + share * (x1 - x0), y0 + share * (y1 - y0) + north_m / METRES_A_DEGREE


def test_part_of_a_way(drawn) -> None:
    """Only the part between two points changes: the rest of the way, its length and its line stay what they were."""
    region, drawing = drawn
    osm_id = drawing.way_id["ABCD"]
    at = (between(drawing, "A", "B", 0.5, 30), between(drawing, "B", "C", 0.75, -30))
    made = add_local(region, [road(2, ways=(osm_id,), at=at, surface="unsealed")])
    assert (made.ways.osm_id == osm_id).sum() == 2
    old_m = np.bincount(region.pieces.way, weights=region.pieces.length_m)[way_row(region, osm_id)]
    metres = np.bincount(made.pieces.way, weights=made.pieces.length_m)
    rest, part = way_row(made, osm_id, 0), way_row(made, osm_id, 1)
    assert made.ways.surface[rest] == Surface.SEALED
    assert made.ways.surface[part] == Surface.UNSEALED
    assert metres[part] == pytest.approx(0.5 * 600 + 0.75 * 800, abs=2)
    assert metres[rest] + metres[part] == pytest.approx(old_m, abs=1e-6)
    assert (made.junctions.osm_id < 0).sum() == 2
    assert np.all(np.diff(made.pieces.ptr) >= 2)
    for piece in range(len(made.pieces.way)):
        line = piece_line(made, piece)
        for end, junction in ((line[0], made.pieces.a[piece]), (line[-1], made.pieces.b[piece])):
            assert end == pytest.approx((made.junctions.lon_e7[junction] / 1e7, made.junctions.lat_e7[junction] / 1e7), abs=1e-9)


def test_part_to_a_junction_cuts_nothing(drawn) -> None:
    """A part that begins and ends at junctions needs no new one; points in either order mean the same."""
    region, drawing = drawn
    osm_id = drawing.way_id["ABCD"]
    made = [
        add_local(region, [road(2, ways=(osm_id,), at=at, surface="unsealed")])
        for at in ((drawing.at["B"], drawing.at["C"]), (drawing.at["C"], drawing.at["B"]))
    ]
    for one in made:
        assert len(one.pieces.way) == len(region.pieces.way)
        assert one.ways.surface[one.pieces.way[piece_of(one, drawing, "BC")]] == Surface.UNSEALED
        assert one.ways.surface[one.pieces.way[piece_of(one, drawing, "AB")]] == Surface.SEALED


def test_turn_restriction_holds_after_a_cut(drawn) -> None:
    """The restriction A to E over C stands on the pieces beside C, wherever the road is cut."""
    region, drawing = drawn
    osm_id = drawing.way_id["ABCD"]
    at = (between(drawing, "B", "C", 0.25), between(drawing, "B", "C", 0.5))
    notes = [road(2, ways=(osm_id,), at=at, limits=(("max_height_m", 4.0),)),
             road(3, ways=(drawing.way_id["CE"],), at=(between(drawing, "C", "E", 0.5), drawing.at["E"]), surface="sealed")]  # fmt: skip
    made = add_local(region, notes)
    assert len(made.turns.osm_id) == len(region.turns.osm_id) == 2  # from either side: the way runs on over C
    from_m = set()
    for row in range(2):
        first, last = made.turns.pieces[made.turns.ptr[row] : made.turns.ptr[row + 1]].tolist()
        c = int(made.turns.via[row])
        assert made.junctions.osm_id[c] == drawing.node_id["C"]
        assert c in (made.pieces.a[first], made.pieces.b[first])
        assert c in (made.pieces.a[last], made.pieces.b[last])
        from_m.add(round(float(made.pieces.length_m[first]), -1))
        assert made.pieces.length_m[last] == pytest.approx(200, abs=2)
    assert from_m == {400, 600}


def test_turn_restriction_over_a_cut_way(tmp_path: Path) -> None:
    """A restriction by way of a road that is cut holds over all its parts, in the direction of travel."""
    region, drawing = region_from_drawing(
        "A--B--C--D", {"AB": "highway=primary", "CB": "highway=primary", "CD": "highway=primary"}, folder=tmp_path, grid_m=200,
        relations=[({"type": "restriction", "restriction": "no_straight_on"}, [("from", "AB"), ("via", "CB"), ("to", "CD")])],
    )  # fmt: skip
    at = (between(drawing, "B", "C", 0.3), between(drawing, "B", "C", 0.6))
    made = add_local(region, [road(2, ways=(drawing.way_id["CB"],), at=at, surface="sealed")])
    assert len(region.turns.pieces) == 3
    listed = made.turns.pieces.tolist()
    assert len(listed) == 5
    junctions = [{int(made.pieces.a[p]), int(made.pieces.b[p])} for p in listed]
    assert all(one & two for one, two in pairwise(junctions))
    assert drawing.node_id["A"] in made.junctions.osm_id[list(junctions[0])]
    assert drawing.node_id["D"] in made.junctions.osm_id[list(junctions[-1])]


def test_road_by_name_and_point(drawn) -> None:
    """A road's name or ref with a point means the way there; with two points, the part along the road of that name."""
    region, drawing = drawn
    for name in ("Long Road", "long road", "7"):
        made = add_local(region, [road(2, road=name, at=(between(drawing, "A", "B", 0.5, 40),), surface="unsealed")])
        assert made.ways.surface[way_row(made, drawing.way_id["ABCD"])] == Surface.UNSEALED
    at = (between(drawing, "A", "B", 0.9), between(drawing, "C", "D", 0.1))
    made = add_local(region, [road(2, road="Long Road", at=at, surface="unsealed")])
    assert made.ways.surface[made.pieces.way[piece_of(made, drawing, "BC")]] == Surface.UNSEALED


def test_part_goes_before_the_whole(drawn) -> None:
    """Of "unsealed" and "sealed from B to C" the narrower note holds there, in any order."""
    region, drawing = drawn
    osm_id = drawing.way_id["ABCD"]
    notes = [
        road(2, ways=(osm_id,), surface="unsealed"),
        road(3, ways=(osm_id,), at=(drawing.at["B"], drawing.at["C"]), surface="sealed"),
    ]
    for given_notes in (notes, notes[::-1]):
        made = add_local(region, given_notes)
        surfaces = {word: made.ways.surface[made.pieces.way[piece_of(made, drawing, word)]] for word in ("AB", "BC", "CD")}
        assert surfaces == {"AB": Surface.UNSEALED, "BC": Surface.SEALED, "CD": Surface.UNSEALED}


def test_overlapping_parts_that_contradict(drawn) -> None:
    """Two parts that overlap and disagree are refused, each row named; those that touch are not."""
    region, drawing = drawn
    osm_id = drawing.way_id["ABCD"]
    b, c = drawing.at["B"], drawing.at["C"]
    middle = between(drawing, "B", "C", 0.5)
    with pytest.raises(BadInputError, match=r"row 3: .*sealed.*row 2"):
        add_local(
            region,
            [road(2, ways=(osm_id,), at=(b, c), surface="unsealed"), road(3, ways=(osm_id,), at=(middle, c), surface="sealed")],
        )
    made = add_local(
        region,
        [road(2, ways=(osm_id,), at=(b, middle), surface="unsealed"), road(3, ways=(osm_id,), at=(middle, c), surface="sealed")],
    )
    assert (made.ways.osm_id == osm_id).sum() == 3


@pytest.mark.parametrize(
    ("notes", "words"),
    [
        ([{"ways": (999,), "surface": "sealed"}], ("row 2", "`way` 999", "accepted", "again")),
        ([{"ways": (101,), "surface": "sealed"}, {"ways": (101,), "surface": "unsealed"}], ("row 3", "unsealed", "row 2")),
        ([{"ways": (101,), "access": "closed"}, {"ways": (101,), "access": "open"}], ("row 3", "open", "closed in notes.csv, row 2")),
        ([{"ways": (101,), "limits": (("max_height_m", 3.0),)}, {"ways": (101,), "limits": (("max_height_m", 3.2),)}], ("3.2", "3", "row 2")),
        ([{"ways": (101,), "at": ((8.5, 50.0),), "surface": "sealed"}], ("way 101 is 3", "km from 50, 8.5")),
        ([{"road": "No Such Road", "at": ((8.0, 50.0),), "surface": "sealed"}], ('"No Such Road"', "spelling")),
        ([{"road": "Long Road", "at": ((8.1, 50.0),), "surface": "sealed"}], ("Long Road", "km from")),
        ([{"ways": (102, 101), "at": ((8.0, 49.99641), (8.0, 49.99641)), "surface": "sealed"}], ("same place",)),
    ],
)  # fmt: skip
def test_bad_road_notes(drawn, notes: list, words: tuple) -> None:
    """Each mistake about a road is one line that names file, row, value, what is accepted and what to do."""
    region, _ = drawn
    with pytest.raises(BadInputError) as told:
        add_local(region, [road(k, **said) for k, said in enumerate(notes, 2)])
    line = told.value.one_line()
    assert line.startswith("notes.csv, row ")
    assert told.value.accepted
    assert told.value.next_step
    for word in words:
        assert word in line, line


def test_parts_not_joined(tmp_path: Path) -> None:
    """Two points on ways that do not meet, two ways of a name at one point, a part of a ferry: each told apart."""
    region, drawing = region_from_drawing(
        "A--B--C\n\nD--E--F",
        {
            "AB": "highway=primary ref=1",
            "BC": "highway=primary ref=1",
            "DE": "highway=primary ref=1",
            "EF": "route=ferry motorcar=yes",
        },
        folder=tmp_path,
    )
    ids = drawing.way_id
    with pytest.raises(BadInputError, match="not joined"):
        add_local(region, [road(2, ways=(ids["AB"], ids["DE"]), at=(drawing.at["A"], drawing.at["D"]), surface="sealed")])
    with pytest.raises(BadInputError, match=r"2 ways at that point .*101, 102"):
        add_local(region, [road(2, road="1", at=(drawing.at["B"],), surface="sealed")])
    with pytest.raises(BadInputError, match="ferry"):
        add_local(region, [road(2, ways=(ids["EF"],), at=(drawing.at["E"], drawing.at["F"]), access="closed")])


# ------------------------------------------------------------------------------------------------- places


def test_new_places(drawn) -> None:
    """A depot, a dump point and a powered site of the operator's: found by name and by identity, offers with their source."""
    region, drawing = drawn
    at = between(drawing, "A", "B", 0.5, 300)
    notes = [
        place(2, role="depot", name="Long Lee", at=at),
        place(3, role="service", name="Yard Dump", at=between(drawing, "A", "B", 0.2), offers=(("cassette", "yes"), ("grey", "no"))),
        place(4, role="site", name="Lee Pitches", at=drawing.at["D"], offers=(("power", "yes"),), values=(("price_cents", 2500), ("kind", "farm stay"), ("pets", "no"))),
    ]  # fmt: skip
    made = add_local(region, notes)
    [depot] = find(made, "Long Lee", roles=["depot"])
    assert made.places[depot.place].role == "depot"
    assert find(made, "local:Long Lee")[0].place == depot.place
    dump = made.places[made.place_by_ref["local:Yard Dump"]]
    assert dump.offer("cassette").answer is Offer.YES
    assert dump.offer("cassette").source is Source.LOCAL_NOTE
    assert dump.offer("grey").answer is Offer.NO
    assert dump.offer("grey").evidence == LABEL.replace("row 2", "row 3")
    site = made.places[made.place_by_ref["local:Lee Pitches"]]
    assert (site.admits, site.price_cents, site.kind, site.pets) == (Offer.YES, 2500, SiteKind.FARM, Offer.NO)
    assert "row 4" in site.admits_why
    assert site.source == LABEL.replace("row 2", "row 4")
    assert [p.index for p in made.places] == list(range(len(made.places)))


def test_updating_a_place_of_the_map(drawn) -> None:
    """By its identity or as the nearest of its role: the map's place takes what is said, keeps the rest and its identity."""
    region, drawing = drawn
    ref = f"n{drawing.node_id['F']}"
    x, y = drawing.at["F"]
    for note in (
        place(2, ref=ref, offers=(("power", "yes"),), values=(("hours", "Oct-Apr"),)),
        place(2, role="site", at=(x, y + 100 / METRES_A_DEGREE), offers=(("power", "yes"),), values=(("hours", "Oct-Apr"),)),
    ):
        made = add_local(region, [note])
        assert len(made.places) == len(region.places)
        site = made.places[made.place_by_ref[ref]]
        assert site.name == "Fell Field"
        assert site.offer("power").source is Source.LOCAL_NOTE
        assert site.offer("power").answer is Offer.YES
        assert site.hours == "Oct-Apr"
        assert site.source.startswith("map; ")
        assert "hours" in site.source
        assert LABEL in site.source
        assert site.admits == region.places[region.place_by_ref[ref]].admits
        assert (site.lon, site.lat) == (x, y)
    moved = add_local(region, [place(2, ref=ref, at=(x, y - 0.001))]).places[region.place_by_ref[ref]]
    assert (moved.lon, moved.lat) == (x, y - 0.001)
    assert "position: " + LABEL in moved.source


def test_a_gas_seller_beside_a_tap_is_another_place(drawn) -> None:
    """Of services, only one that has to do with what is said is the same place; `new` and a distance make another too."""
    region, drawing = drawn
    at = drawing.at["E"]
    assert len(add_local(region, [place(2, role="service", at=at, offers=(("gas", "yes"),))]).places) == len(region.places) + 1
    assert len(add_local(region, [place(2, role="service", at=at, offers=(("fresh", "no"),))]).places) == len(region.places)
    assert (
        len(add_local(region, [place(2, role="service", ref="new", at=at, offers=(("fresh", "no"),))]).places)
        == len(region.places) + 1
    )
    far = (at[0], at[1] + 160 / METRES_A_DEGREE)
    assert len(add_local(region, [place(2, role="service", at=far, offers=(("fresh", "no"),))]).places) == len(region.places) + 1


@pytest.mark.parametrize(
    ("notes", "words"),
    [
        ([{"ref": "n999", "offers": (("power", "yes"),)}], ('"n999"', "no place")),
        ([{"ref": "local:Nowhere", "offers": (("power", "yes"),)}], ("local:Nowhere",)),
        ([{"ref": "n6", "role": "depot"}], ("`role` is depot", "site")),
        ([{"role": "site", "name": "Other Meadow", "at": (8.00840, 50.0)}], ("Fell Field", "new if it is another")),
        ([{"role": "depot", "name": "Far", "at": (9.0, 50.0)}], ("off the map", "accepted")),
        (
            [{"role": "depot", "name": "Yard", "at": (8.001, 49.999)}] * 1 + [{"role": "depot", "name": "Yard", "at": (8.001, 49.999), "values": (("hours", "Mo-Fr"),)}]
            + [{"role": "depot", "name": "Yard", "at": (8.001, 49.999), "values": (("hours", "24/7"),)}],
            ("row 4", "24/7", "Mo-Fr in notes.csv, row 3"),
        ),
        ([{"ref": "n6", "offers": (("power", "yes"),)}, {"ref": "n6", "offers": (("power", "no"),)}], ("row 3", "row 2", "power")),
    ],
)  # fmt: skip
def test_bad_place_notes(drawn, notes: list, words: tuple) -> None:
    """Each mistake about a place is one line that names file, row, value, what is accepted and what to do."""
    region, _ = drawn
    with pytest.raises(BadInputError) as told:
        add_local(region, [place(k, **said) for k, said in enumerate(notes, 2)])
    for word in words:
        assert word in told.value.one_line(), told.value.one_line()
    assert told.value.accepted
    assert told.value.next_step


def test_two_alike_are_not_guessed_between(tmp_path: Path) -> None:
    """Two sites about as near and no name that decides: refused; with a name, or one clearly nearer: taken."""
    region, drawing = region_from_drawing(
        "A--B--C", {"ABC": "highway=primary"}, folder=tmp_path, grid_m=30,
        nodes={"A": {"tourism": "caravan_site", "name": "West Field"}, "C": {"tourism": "caravan_site", "name": "East Field"}},
    )  # fmt: skip
    with pytest.raises(BadInputError, match="may be one of the map"):
        add_local(region, [place(2, role="site", at=drawing.at["B"])])
    named = add_local(region, [place(2, role="site", name="east field", at=drawing.at["B"], values=(("capacity", 7),))])
    assert named.places[named.place_by_ref[f"n{drawing.node_id['C']}"]].capacity == 7
    near = add_local(region, [place(2, role="site", at=between(drawing, "A", "B", 0.05), values=(("capacity", 7),))])
    assert near.places[near.place_by_ref[f"n{drawing.node_id['A']}"]].capacity == 7


def test_places_of_one_name(drawn) -> None:
    """Places of one name far apart get identities of their own; a place off the map is left out where that is no mistake."""
    region, drawing = drawn
    notes = [place(2, role="service", name="Public Dump", at=drawing.at["A"], offers=(("cassette", "yes"),)),
             place(3, role="service", name="Public Dump", at=drawing.at["D"], offers=(("cassette", "yes"),)),
             place(4, role="service", name="Public Dump", at=(9.0, 51.0), offers=(("cassette", "yes"),), inside_only=True)]  # fmt: skip
    made = add_local(region, notes)
    refs = [p.ref for p in made.places[len(region.places) :]]
    assert len(set(refs)) == 2
    assert all(ref.startswith("local:Public Dump@") for ref in refs)
    assert made.local is not None
    assert "left out" in made.local.effects[2]
    again = add_local(made, [PlaceNote(source(9, "more.csv"), ref=refs[1], offers=(("grey", "yes"),))])
    assert again.places[again.place_by_ref[refs[1]]].offer("grey").answer is Offer.YES


# ------------------------------------------------------------------------------------------------- kept apart


def notes_of_all_kinds(drawing) -> list:
    return [
        road(
            2,
            ways=(drawing.way_id["ABCD"],),
            at=(between(drawing, "A", "B", 0.3), between(drawing, "B", "C", 0.6)),
            surface="unsealed",
        ),
        road(3, ways=(drawing.way_id["BF"],), access="closed", since="2026-01-05", until="2026-03-10"),
        road(4, ways=(drawing.way_id["CE"],), access="open", limits=(("max_height_m", None),)),
        place(5, ref=f"n{drawing.node_id['F']}", offers=(("power", "yes"),)),
        place(6, role="depot", name="Long Lee", at=between(drawing, "A", "B", 0.5)),
    ]


def test_taken_out_to_the_last_bit(drawn, tmp_path: Path) -> None:
    """The map alone comes back with every column, string, place and its key, also after a save and a load; the key differs while notes are in."""
    region, drawing = drawn
    made = add_local(region, notes_of_all_kinds(drawing))
    assert made.meta.key != region.meta.key
    same(without_local(made), region)
    save(made, tmp_path / "with.region")
    opened = load(tmp_path / "with.region")
    same(opened, made)
    assert opened.local == made.local
    assert opened.local is not None
    assert opened.local.notes == tuple(notes_of_all_kinds(drawing))
    same(without_local(opened), region)
    save(without_local(opened), tmp_path / "map.region")
    save(region, tmp_path / "region.region")
    assert (tmp_path / "map.region").read_bytes() == (tmp_path / "region.region").read_bytes()


def test_added_one_after_another(drawn) -> None:
    """Files added one by one make the region that they make together; a file of the same name takes the place of the old one."""
    region, drawing = drawn
    one = [road(2, ways=(drawing.way_id["ABCD"],), surface="unsealed")]
    two = [PlaceNote(source(2, "places.csv"), role="depot", name="Long Lee", at=drawing.at["A"])]
    together = add_local(region, [*one, *two])
    step = add_local(add_local(region, one), two)
    same(step, together)
    assert local_files(step) == ("notes.csv", "places.csv")
    changed = add_local(step, [road(2, ways=(drawing.way_id["ABCD"],), surface="unknown")])
    assert changed.ways.surface[way_row(changed, drawing.way_id["ABCD"])] == Surface.UNKNOWN
    assert len(changed.places) == len(step.places)
    less = add_local(step, [], without=["places.csv"])
    same(less, add_local(region, one))
    with pytest.raises(BadInputError, match=r"others\.csv .*notes\.csv"):
        add_local(step, [], without=["others.csv"])


def test_key_follows_the_notes(drawn) -> None:
    """Another answer, another author: another key, and so other prepared networks."""
    region, drawing = drawn
    ways = (drawing.way_id["ABCD"],)
    keys = {
        add_local(region, [note]).meta.key
        for note in (road(2, ways=ways, surface="sealed"), road(2, ways=ways, surface="unsealed"), road(3, ways=ways, surface="sealed"),
                     RoadNote(NoteSource("notes.csv", "row 2", "Another", "2026-01-02"), ways, surface="sealed"))
    }  # fmt: skip
    assert len(keys | {region.meta.key}) == 5


def test_routes_after_a_cut(drawn) -> None:
    """A cut with nothing said of surface leaves every time and length; unsealed in the middle, the van no longer passes."""
    from tripplan.roads.join import join
    from tripplan.roads.network import open_network
    from tripplan.roads.terms import Terms

    region, drawing = drawn
    outfit = Outfit(
        "o", True, mass_kg=3000, van_mass_kg=1400, axle_load_kg=1500, length_m=9.0, width_m=2.3, height_m=2.6, towing_limit_kmh=90
    )
    spots = [Spot("A", "A", *drawing.at["A"]), Spot("D", "D", *drawing.at["D"])]
    at = (between(drawing, "B", "C", 0.2), between(drawing, "B", "C", 0.4))
    ways = (drawing.way_id["ABCD"],)
    before = join(open_network(region, Terms(outfit)), spots).matrix()
    wide = add_local(region, [road(2, ways=ways, at=at, limits=(("max_height_m", 4.0),))])
    after = join(open_network(wide, Terms(outfit)), spots).matrix()
    assert after.total_s[0, 1] == pytest.approx(before.total_s[0, 1], abs=1)
    assert after.length_m[0, 1] == pytest.approx(before.length_m[0, 1], abs=0.5)
    low = add_local(region, [road(2, ways=ways, at=at, limits=(("max_height_m", 2.0),))])
    assert join(open_network(low, Terms(outfit)), spots).matrix().total_s[0, 1] >= 10**9
    rough = add_local(region, [road(2, ways=ways, at=at, surface="unsealed")])
    assert join(open_network(rough, Terms(outfit)), spots).matrix().total_s[0, 1] >= 10**9


@settings(max_examples=40, deadline=None)
@given(
    shares=st.lists(st.tuples(st.floats(0, 1), st.floats(0, 1), st.sampled_from(["AB", "BC", "CD"]), st.sampled_from(["AB", "BC", "CD"])), min_size=1, max_size=5)
)  # fmt: skip
def test_any_parts_keep_the_road(tmp_path_factory: pytest.TempPathFactory, shares: list) -> None:
    """However parts overlap, the road keeps its length and shape, its junctions meet, and the map comes back whole."""
    region, drawing = region_from_drawing(
        ROADS, {"ABCD": "highway=secondary surface=asphalt name=Long", "BF": "highway=secondary", "CE": "highway=tertiary"},
        folder=tmp_path_factory.mktemp("any"), grid_m=200,
    )  # fmt: skip
    notes = []
    for k, (s, t, one, other) in enumerate(shares, 2):
        a, b = between(drawing, one[0], one[1], s), between(drawing, other[0], other[1], t)
        notes.append(road(k, ways=(drawing.way_id["ABCD"],), at=(a, b), surface="unsealed"))
    begin, size = {"AB": 0.0, "BC": 600.0, "CD": 1400.0}, {"AB": 600.0, "BC": 800.0, "CD": 600.0}
    spans = sorted(tuple(sorted((begin[o] + s * size[o], begin[p] + t * size[p]))) for s, t, o, p in shares)
    if any(high - low < 12 for low, high in spans):  # told to be one place
        return
    made = add_local(region, notes)
    assert made.pieces.length_m.sum() == pytest.approx(region.pieces.length_m.sum(), abs=1e-6)
    assert (made.pieces.length_m > 0).all()
    assert (np.diff(made.pieces.ptr) >= 2).all()
    ends = made.pieces.ptr[1:] - 1
    for column in ("lon_e7", "lat_e7"):
        points, at = getattr(made.pieces, column), getattr(made.junctions, column)
        np.testing.assert_array_equal(points[made.pieces.ptr[:-1]], at[made.pieces.a])
        np.testing.assert_array_equal(points[ends], at[made.pieces.b])
    covered = made.ways.surface[made.pieces.way] == Surface.UNSEALED
    # What the notes cover, along the straight road from A, by plain arithmetic.
    total, reach = 0.0, -1.0
    for low, high in spans:
        total += max(0.0, high - max(low, reach))
        reach = max(reach, high)
    assert made.pieces.length_m[covered].sum() == pytest.approx(total, abs=11 * len(shares))
    same(without_local(made), region)


@pytest.fixture(scope="module")
def presumed(tmp_path_factory) -> tuple[Region, Drawing]:
    """Twenty-five sealed roads of 1 km, 3 km apart, and three roads beside them that nobody tagged: presumed sealed."""
    letters = string.ascii_letters + string.digits
    sealed, asked = [letters[2 * k : 2 * k + 2] for k in range(25)], ("01", "23", "45")
    below = [" "] * 75
    for word, column in zip(asked, (6, 66, 69), strict=True):
        below[column : column + 2] = word
    plan = " ".join(sealed) + "\n\n" + "".join(below).rstrip()
    ways = dict.fromkeys(sealed, "highway=secondary surface=asphalt") | dict.fromkeys(asked, "highway=secondary")
    return region_from_drawing(plan, ways, folder=tmp_path_factory.mktemp("presumed"), grid_m=1000)


def test_an_unsealed_note_takes_presumptions_away(presumed) -> None:
    """Beside a road noted unsealed, or a sealed tag that is doubted, less is presumed; far off, and by other notes, nothing changes."""
    region, drawing = presumed
    rows = {word: way_row(region, drawing.way_id[word]) for word in ("01", "23", "45")}
    assert {int(region.ways.surface[row]) for row in rows.values()} == {Surface.PRESUMED}
    made = add_local(region, [road(2, ways=(drawing.way_id["45"],), surface="unsealed")])
    near, far = rows["23"], rows["01"]
    assert made.ways.surface[near] == Surface.UNKNOWN
    assert list(Source)[made.ways.surface_source[near]] is Source.LOCAL_NOTE
    assert (
        made.string(int(made.ways.surface_why[near])) == f"no surface tagged; presumed no longer: near an unsealed road ({LABEL})"
    )
    assert np.isnan(made.ways.surface_p[near])
    assert region.ways.surface_p[near] > 0.8
    assert made.ways.surface[far] == Surface.PRESUMED
    assert made.ways.surface_p[far] == region.ways.surface_p[far]
    assert made.local is not None
    assert made.local.effects[0].endswith("; 1.0 km beside are presumed sealed no longer")
    same(without_local(made), region)
    for other in ({"surface": "sealed"}, {"access": "closed"}, {"limits": (("max_height_m", 2.0),)}):
        kept = add_local(region, [road(2, ways=(drawing.way_id["45"],), **other)])
        assert kept.ways.surface[near] == kept.ways.surface[far] == Surface.PRESUMED


def test_a_sealed_note_presumes_nothing_beside_it(presumed) -> None:
    """What operators note as sealed is what they drive: it says nothing of its neighbours, which stay as the map leaves them."""
    region, drawing = presumed
    doubtful = add_local(region, [road(2, ways=(drawing.way_id["45"],), surface="unsealed")])
    both = add_local(doubtful, [RoadNote(NoteSource("more.csv", "row 2"), ways=(drawing.way_id["ab"],), surface="sealed")])
    assert both.ways.surface[way_row(both, drawing.way_id["23"])] == Surface.UNKNOWN


@pytest.mark.extract
def test_notes_never_add_presumed_roads(extracts) -> None:
    """On a real map a note of any kind leaves presumed what was presumed or less; unsealed ones leave less beside them."""
    region = build(extracts / "andorra-20250119.osm.pbf")
    presumed = region.ways.surface == Surface.PRESUMED
    rows = np.flatnonzero(presumed)
    for k, surface in enumerate(("unsealed", "unknown", "sealed")):
        noted = int(rows[k * len(rows) // 3])
        made = add_local(region, [road(2, ways=(int(region.ways.osm_id[noted]),), surface=surface)])
        now = made.ways.surface == Surface.PRESUMED
        assert not (now & ~presumed).any()
        lost = int((presumed & ~now).sum()) - 1
        assert lost > 0 if surface == "unsealed" else lost == 0
