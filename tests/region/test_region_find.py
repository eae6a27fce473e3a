"""Places looked up as people write them, and the table of what a region knows."""

from __future__ import annotations

import numpy as np
import pytest
from helpers.make import region_from_drawing
from hypothesis import given
from hypothesis import strategies as st

from tripplan.model.errors import BadInputError
from tripplan.model.outfit import Outfit
from tripplan.region.coverage import coverage
from tripplan.region.find import describe, find, fold, nearest_town
from tripplan.region.region import Region

_MAP = """
A  a  B  b     C  c
R--S--T--U--V--W--X
"""


@pytest.fixture(scope="module")
def region(tmp_path_factory: pytest.TempPathFactory) -> Region:
    """Two towns, two sites of one name, names with accents."""
    made, _ = region_from_drawing(
        _MAP,
        {
            "RS": "highway=primary surface=asphalt", "ST": "highway=primary maxheight=2.2 surface=asphalt", "TUV": "highway=service",
            "VW": "highway=track surface=gravel", "WX": "highway=service access=private",
        },
        nodes={
            "A": "place=town name=Northport population=1200", "C": "place=village name=Søndre_Ås population=90",
            "a": {"tourism": "camp_site", "name": "Sea View", "phone": "1"}, "c": {"tourism": "camp_site", "name": "Sea View", "phone": "2"},
            "B": {"tourism": "attraction", "name": "Château d'Écume"}, "b": {"tourism": "caravan_site", "name": "Northport Touring", "caravans": "yes"},
        },
        folder=tmp_path_factory.mktemp("find"), grid_m=3000,
    )  # fmt: skip
    return made


def _refs(region: Region, text: str, **more: object) -> list[str]:
    return [region.places[spot.place].ref if spot.place >= 0 else spot.name for spot in find(region, text, **more)]  # type: ignore[arg-type]


@pytest.mark.parametrize("text", ["Château d'Écume", "chateau d'ecume", "CHATEAU D ECUME", "  château   d'écume "])
def test_case_accents_and_punctuation_do_not_matter(region: Region, text: str) -> None:
    """However it is typed, it is found; so are letters that are no accents (ø, å)."""
    assert [spot.name for spot in find(region, text)] == ["Château d'Écume"]
    assert find(region, "sondre as")[0].name == "Søndre_Ås"


def test_the_name_itself_stands_before_what_begins_with_it(region: Region) -> None:
    """Northport the town first, the site that begins so after it; words within a name last."""
    assert [spot.name for spot in find(region, "northport")] == ["Northport", "Northport Touring"]
    assert [spot.name for spot in find(region, "touring")] == ["Northport Touring"]
    assert find(region, "touri ng") == []
    assert find(region, "") == []
    assert find(region, "'-'") == []


def test_several_of_one_name_are_told_apart(region: Region) -> None:
    """Both are listed, the nearer first when asked; described by nearest town; one by "name, town"."""
    both = find(region, "Sea View")
    assert len(both) == 2
    assert {describe(region, spot).split(" from ")[1].split(";")[0] for spot in both} == {"Northport", "Søndre_Ås"}
    west = find(region, "sea view", near=(both[0].lon - 0.1, both[0].lat))
    east = find(region, "sea view", near=(both[1].lon + 1, both[1].lat))
    assert west[0].place != east[0].place
    assert [spot.lon for spot in find(region, "Sea View, Sondre As")] == [max(spot.lon for spot in both)]


def test_roles_narrow_the_search(region: Region) -> None:
    """Only places of the roles asked for; towns by their own word."""
    assert [spot.name for spot in find(region, "northport", roles=("site",))] == ["Northport Touring"]
    assert [spot.name for spot in find(region, "northport", roles=("town",))] == ["Northport"]


def test_coordinates_and_identities(region: Region) -> None:
    """Latitude comes first, as people write it; hemispheres by letter; map identities in both spellings."""
    (spot,) = find(region, "57.41, -6.19")
    assert (spot.lat, spot.lon, spot.place) == (57.41, -6.19, -1)
    (spot,) = find(region, "41.5 S 170.25 E")
    assert (spot.lat, spot.lon) == (-41.5, 170.25)
    ref = region.places[0].ref
    assert _refs(region, ref) == _refs(region, f"node/{ref[1:]}") == [ref]
    assert find(region, "n999999") == []
    with pytest.raises(BadInputError, match="not on earth"):
        find(region, "157.41, -6.19")


@given(st.text(max_size=30))
def test_any_text_is_safe_to_look_up(text: str) -> None:
    """Folding is stable and never fails."""
    assert fold(fold(text)) == fold(text)


def test_the_nearest_town(region: Region) -> None:
    """Distance in km over the drawn 3 km grid."""
    site = region.places[region.place_by_ref[_refs(region, "Northport Touring")[0]]]
    name, away = nearest_town(region, site.lon, site.lat)
    assert (name, round(away)) == ("Søndre_Ås", 18)


def test_coverage_counts_every_kilometre_once(region: Region) -> None:
    """Surfaces of a class sum to its roads; closed and too small are counted beside; places by kind and offer."""
    outfit = Outfit("o", True, 3000, 1300, 1000, 2.6, 2.3, 12, 80)
    table = coverage(region, outfit, {0: "", 1: "0.4 km beyond the last mile", 2: "0.4 km beyond the last mile"})
    rows = {row.road: row for row in table.roads}
    assert sum(row.km for row in table.roads) == pytest.approx(region.pieces.length_m.sum() / 1000)
    assert rows["primary"].sealed_km == pytest.approx(18, rel=1e-3)
    assert rows["primary"].small_km == pytest.approx(9, rel=1e-3)
    assert rows["track"].unsealed_km == pytest.approx(9, rel=1e-3)
    assert rows["service"].unknown_km == pytest.approx(27, rel=1e-3)
    assert rows["service"].closed_km == pytest.approx(9, rel=1e-3)
    kinds = {(row.role, row.kind): row for row in table.places}
    assert sum(row.places for row in table.places) == len(region.places)
    assert all(sum(counts) == row.places for row in kinds.values() for counts in row.offers.values())
    assert table.why_not == (("0.4 km beyond the last mile", 2),)
    assert sum(count for _, count in table.reached.values()) == 3
    assert coverage(region).reached == {}
    assert (table.towns, table.data_date) == (len(region.towns.name), region.meta.data_date)
    assert np.isfinite(rows["service"].km)
