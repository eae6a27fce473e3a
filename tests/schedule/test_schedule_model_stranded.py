"""Where the van can go nowhere, the day and the reason are named."""

from __future__ import annotations

from pathlib import Path

import pytest
from helpers.make import region_from_drawing

from tripplan.model.errors import NoPlanError
from tripplan.region.region import Region

SAMPLE = Path(__file__).resolve().parents[2] / "data_sample"
TRIP = """
van = "{0}/vans/two_berth.toml"
party = "{0}/parties/couple.toml"
outfit = "{0}/outfits/hatchback_and_two_berth.toml"
firm = {{ name = "Firm", phone = "0", towing_limit_kmh = 80 }}
[pick_up]
place = "Alfa"
time = {1}T10:00:00
[return]
time = {2}T16:00:00
"""
SITE = "tourism=caravan_site name=Delta caravans=yes power_supply=yes drinking_water=yes sanitary_dump_station=yes fee=yes"


def _no_plan(region: Region, folder: Path, first: str, last: str) -> NoPlanError:
    from tripplan.request.trip_file import load_trip
    from tripplan.schedule.plan import make_plan

    (folder / "trip.toml").write_text(TRIP.format(SAMPLE, first, last), encoding="utf-8")
    with pytest.raises(NoPlanError) as error:
        make_plan(load_trip(folder / "trip.toml", region), region, cache=folder)
    return error.value


def test_depot_on_roads_of_its_own(tmp_path: Path) -> None:
    """No site is on the depot's own roads: said for the first night, with how far the roads lie apart."""
    region, _ = region_from_drawing(
        "A---B---C---D\n|   |       |\nG   E       F",
        {
            "BCD": "highway=primary surface=asphalt",
            "BE": "highway=tertiary surface=asphalt",
            "AG": "highway=residential surface=asphalt",
        },
        nodes={"A": "place=town name=Alfa", "D": SITE},
        folder=tmp_path,
        grid_m=4000,
    )
    error = _no_plan(region, tmp_path, "2026-07-04", "2026-07-06")
    assert [(e.what, e.day) for e in error.excesses] == [("way", 1)]
    assert "Alfa" in error.excesses[0].text
    assert "km" in error.excesses[0].text


def test_road_that_closes_behind_the_party(tmp_path: Path) -> None:
    """The only road closes while the party is beyond it: said for the return day, with the road's name."""
    region, _ = region_from_drawing(
        "A---B---D",
        {
            "AB": "highway=primary surface=asphalt",
            "BD": {
                "highway": "primary",
                "surface": "asphalt",
                "name": "Cliff Road",
                "motor_vehicle:conditional": "no @ (Jul 5-Jul 20)",
            },
        },
        nodes={"A": "place=town name=Alfa", "D": SITE},
        folder=tmp_path,
        grid_m=4000,
    )
    error = _no_plan(region, tmp_path, "2026-07-04", "2026-07-06")
    assert [(e.what, e.day) for e in error.excesses] == [("way", 3)]
    assert "Cliff Road" in error.excesses[0].text
    assert "Alfa" in error.excesses[0].text


def test_turn_restrictions_between_depot_and_site(tmp_path: Path) -> None:
    """Depot and site are on one network, and every way from the one to the other breaks a turn restriction: which one is said."""
    road = "highway=primary surface=asphalt"
    barred = [("no_right_turn", "NX"), ("no_left_turn", "XS")]
    rules = [({"type": "restriction", "restriction": kind}, [("from", "AX"), ("via", "X"), ("to", to)]) for kind, to in barred]
    region, drawing = region_from_drawing(
        "N-----D\n|     |\nX--A  |\n|     |\nS-----Q", dict.fromkeys(("NX", "XS", "AX", "ND", "DQ", "QS"), road), relations=rules,
        nodes={"A": "place=town name=Alfa", "D": SITE}, folder=tmp_path, grid_m=2000,
    )  # fmt: skip
    error = _no_plan(region, tmp_path, "2026-07-04", "2026-07-06")
    assert [(e.what, e.day) for e in error.excesses] == [("way", 1)]
    assert "Alfa (every way breaks a turn restriction; the shortest, of " in error.excesses[0].text
    assert any(f"breaks relation {number} after 6.0 km" in error.excesses[0].text for number in drawing.relation_id)
