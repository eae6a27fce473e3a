"""Ways judged, places found, offers lent, country and zone known."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest
from helpers.drawn import draw
from helpers.make import region_from_drawing

from tripplan.model.words import Offer, Surface
from tripplan.osm.raw import RawArea
from tripplan.region.build import build
from tripplan.region.columns import HIGHWAYS, Access, Flag
from tripplan.region.judge import duration_s, incline_percent
from tripplan.region.where import inside, zone_countries

_SITE_MAP = """
A---B
| w |
|d t|  x
D---C
R---S
"""
_ROAD = {"RS": "highway=residential"}


def _site(tmp_path: Path, site: dict[str, str], nodes: dict[str, str]):
    region, drawn = region_from_drawing(
        _SITE_MAP, {**_ROAD, "ABCDA": {"tourism": "caravan_site", "name": "Meadow", **site}}, nodes=nodes, folder=tmp_path
    )
    return region, {place.ref: place for place in region.places}, drawn


def test_what_stands_on_a_site_is_lent_to_it_with_its_ref(tmp_path: Path) -> None:
    """A dump station for customers inside the outline: only guests may use it, and the site has it, by that evidence."""
    nodes = {"d": "amenity=sanitary_dump_station access=customers", "t": "amenity=toilets", "x": "amenity=sanitary_dump_station"}
    _, places, drawn = _site(tmp_path, {}, nodes)
    site = places[f"w{drawn.way_id['ABCDA']}"]
    dump, outside = places[f"n{drawn.node_id['d']}"], places[f"n{drawn.node_id['x']}"]
    assert dump.only_guests
    assert not outside.only_guests
    assert site.offer("cassette").answer == Offer.YES
    assert f"n{drawn.node_id['d']}" in site.offer("cassette").evidence
    assert site.offer("toilets").answer == Offer.YES
    assert site.lat == pytest.approx((drawn.at["A"][1] + drawn.at["D"][1]) / 2)


def test_a_sites_own_no_stands(tmp_path: Path) -> None:
    """What the site's own tags deny is not lent to it."""
    _, places, drawn = _site(tmp_path, {"toilets": "no"}, {"t": "amenity=toilets"})
    assert places[f"w{drawn.way_id['ABCDA']}"].offer("toilets").answer == Offer.NO


def test_a_site_drawn_as_node_and_as_area_is_one(tmp_path: Path) -> None:
    """The node inside the area with the same name goes, and is counted; another name stays."""
    region, places, drawn = _site(
        tmp_path,
        {},
        {"t": {"tourism": "caravan_site", "name": "Meadow"}, "w": {"tourism": "camp_site", "name": "Other", "phone": "1"}},
    )
    assert f"n{drawn.node_id['t']}" not in places
    assert f"n{drawn.node_id['w']}" in places
    assert region.meta.faults["sites drawn twice (node within area)"] == 1
    assert [place.index for place in region.places] == list(range(len(region.places)))


def test_each_combination_of_tags_becomes_facts(tmp_path: Path) -> None:
    """Surface, access, limits, speeds, one-way, flags and ferry times stand in the way's row."""
    region, drawn = region_from_drawing(
        "A-B-C-D-E-F-G",
        {
            "AB": "highway=motorway surface=concrete maxspeed=120 toll=yes bridge=yes maxheight=4.2 maxweight=30",
            "BC": "highway=track tracktype=grade3 access=private",
            "CD": "highway=residential surface=sett lit=yes maxspeed:trailer=60 incline=-12%",
            "DE": "route=ferry duration=01:30 interval=PT40M motorcar=yes",
            "EF": "highway=secondary oneway=reversible",
            "FG": "route=ferry foot=yes",
        },
        folder=tmp_path,
    )
    ways = region.ways
    ab, bc, cd, de, ef, fg = range(6)
    assert [HIGHWAYS[k] for k in ways.highway] == ["motorway", "track", "residential", "ferry", "secondary", "ferry"]
    assert ways.surface[[ab, bc, cd]].tolist() == [Surface.SEALED, Surface.UNSEALED, Surface.SEALED]
    assert ways.oneway[[ab, cd]].tolist() == [1, 0]
    assert ways.tow_access[[ab, bc, cd, de, ef, fg]].tolist() == [
        Access.OPEN,
        Access.CLOSED,
        Access.OPEN,
        Access.OPEN,
        Access.CLOSED,
        Access.CLOSED,
    ]
    assert (ways.max_height_m[ab], ways.max_weight_kg[ab], ways.speed_fwd[ab]) == (pytest.approx(4.2), 30_000, 120)
    assert ways.flags[ab] & (Flag.TOLL | Flag.BRIDGE | Flag.DUAL) == Flag.TOLL | Flag.BRIDGE | Flag.DUAL
    assert ways.flags[cd] & (Flag.BUILT_UP | Flag.ROUGH) == Flag.BUILT_UP | Flag.ROUGH
    assert (ways.speed_trailer[cd], ways.incline[cd]) == (60, 12)
    assert (ways.ferry_s[de], ways.ferry_wait_s[de]) == (5400, 2400)
    assert math.isnan(ways.max_height_m[cd])
    assert drawn.way_id["AB"] == ways.osm_id[ab]


@pytest.mark.parametrize(
    ("text", "seconds"),
    [("00:45", 2700), ("1:30", 5400), ("01:02:03", 3723), ("PT25M", 1500), ("PT1H5M", 3900), ("P1DT2H", 93600), ("40", 2400), ("2 h", 7200), ("20 min", 1200)],
)  # fmt: skip
def test_durations_as_written(text: str, seconds: float) -> None:
    """The forms that the map's page Key:duration documents (HH:MM, HH:MM:SS, ISO 8601, minutes)."""
    assert duration_s(text) == seconds


@pytest.mark.parametrize("text", ["", "soon", "PT", "P", "1:2", "-5"])
def test_what_is_no_duration_is_not_known(text: str) -> None:
    """Words are no time."""
    assert math.isnan(duration_s(text))


def test_grades_as_written() -> None:
    """Per cent and degrees, sign dropped; up and down say nothing of how much."""
    assert incline_percent("-12.5%") == 12.5
    assert incline_percent("45°") == pytest.approx(math.inf) or math.isnan(incline_percent("45°"))
    assert incline_percent("10°") == pytest.approx(17.63, abs=0.01)
    assert math.isnan(incline_percent("up"))
    assert math.isnan(incline_percent("90%"))


def test_the_country_is_the_boundarys_if_it_holds_the_roads(tmp_path: Path) -> None:
    """A whole boundary of admin_level 2 around the roads gives the country; one that is clipped does not."""
    ways = {"ABCDA": "boundary=administrative admin_level=2", "RS": "highway=service"}
    drawing = "A----B\n| RS |\nD----C"
    relation = [({"type": "boundary", "boundary": "administrative", "admin_level": "2", "ISO3166-1": "XK"}, [("outer", "ABCDA")])]
    meta = build(draw(drawing, ways, relations=relation, folder=tmp_path).path).meta
    assert (meta.country, meta.tz) == ("XK", "Europe/Berlin")
    assert "boundary" in meta.country_how
    clipped = build(draw(drawing, ways, relations=relation, folder=tmp_path, missing="A").path).meta
    assert clipped.country == "DE"
    assert clipped.country_how == "time zone Europe/Berlin"
    assert clipped.faults["areas not whole (border)"] == 1


def test_zone_table_of_the_time_zone_database() -> None:
    """zone.tab (IANA time zone database): one country a zone there, as looked up in the table."""
    table = zone_countries()
    assert table["Europe/Andorra"] == ("AD",)
    assert table["Europe/Vaduz"] == ("LI",)
    assert table["Pacific/Auckland"] == ("NZ",)


def test_inside_agrees_with_shapely() -> None:
    """Crossing numbers on a ring with a hole equal shapely's answer on 2,000 points."""
    import shapely

    rng = np.random.default_rng(1)
    angle = np.linspace(0, 2 * np.pi, 60)
    ring = np.column_stack((np.cos(angle), np.sin(angle))) * rng.uniform(0.5, 1, 60)[:, None]
    ring[-1] = ring[0]
    outer, inner = np.rint(ring * 1e8).astype(np.int32), np.rint(ring * 2e7).astype(np.int32)
    points = rng.integers(-100_000_000, 100_000_000, (2000, 2)).astype(np.int32)
    expected = shapely.contains_xy(shapely.Polygon(outer, [inner]), points[:, 0], points[:, 1])
    assert np.array_equal(inside(points[:, 0], points[:, 1], RawArea("r1", {}, (outer,), (inner,))), expected)


def test_the_base_map_is_thinned_and_bounded(tmp_path: Path) -> None:
    """A coast in many ways is one line of fewer points that stays within the tolerance; ponds are left out."""
    from tripplan.osm.raw import RawLine
    from tripplan.region import thin

    x = np.arange(0, 10_000_001, 1000)
    wave = np.rint(30_000 * np.sin(x / 300_000)).astype(np.int32)
    coast = np.column_stack((x.astype(np.int32), wave))
    parts = [RawLine("coast", False, coast[k : k + 101]) for k in range(0, 10_000, 100)]
    pond = RawLine("water", True, np.array([[0, 0], [100, 0], [100, 100], [0, 0]], np.int32))
    base = thin.base_map([*parts, pond], (0.0, -0.1, 1.0, 0.1))
    assert len(base.layer) == 1
    assert 20 < len(base.lon_e7) < 1000
    assert base.closed.tolist() == [0]
    off = np.abs(np.interp(x, base.lon_e7, base.lat_e7) - wave)
    assert off.max() * 111_195 / 1e7 < 20


def test_a_region_on_both_sides_of_180_degrees(tmp_path: Path) -> None:
    """Its box runs from 179.9 east to 179.9 west, a road across is as long as it is, and the zone is one of that place."""
    path = tmp_path / "line.osm.opl"
    path.write_text(
        "n1 x179.9 y-16.8\nn2 x180 y-16.8\nn3 x-180 y-16.8\nn4 x-179.9 y-16.8\nw1 Thighway=primary Nn1,n2\nw2 Thighway=primary Nn3,n4\nw3 Thighway=primary Nn2,n3\n"
    )
    region = build(path)
    assert region.meta.bbox == (179.9, -16.8, -179.9, -16.8)
    assert region.meta.tz == "Pacific/Fiji"
    assert region.pieces.length_m == pytest.approx([10644.9, 10644.9, 0], abs=1)


def test_a_region_cannot_be_written_to(tmp_path: Path) -> None:
    """Columns are read-only from the start, as they are when they come from a file."""
    region, _ = region_from_drawing("A-B", {"AB": "highway=service"}, folder=tmp_path)
    with pytest.raises(ValueError, match="read-only"):
        region.pieces.length_m[0] = 1
