"""Whole trips on drawn regions in odd corners of the world, from a map file to audited papers: what holds at home holds there.

Single rules of these (joints, turns, closures) are tested on the roads; here the same drawing is planned here and there.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from pathlib import Path

import pytest
from helpers.drawn import draw

from tripplan.almanac.climate import guess_weather
from tripplan.audit.run import audit
from tripplan.model.errors import BadInputError
from tripplan.model.plan import Plan
from tripplan.model.serial import plan_from_json
from tripplan.pipeline import audited_plan
from tripplan.region.build import build
from tripplan.region.region import Region
from tripplan.region.store import load, save
from tripplan.report.write import write_papers
from tripplan.request.trip_file import load_trip

SAMPLE = Path(__file__).resolve().parents[2] / "data_sample"
ROAD = "highway=secondary surface=asphalt"

# A is the depot's town; sites at P and Q; a dump at W; a lookout at K. One letter is 2 km.
MAP = """
A-----B-----C--W--D
|           |     |
|           |     |
G-----P-----H-----Q
|                 |
L--------K--------M
"""
WAYS = {"ABCWD": ROAD, "AG": ROAD, "GL": ROAD, "GPHQ": ROAD, "CH": ROAD, "DQ": ROAD, "QM": ROAD, "LKM": ROAD}
SITE = {
    "tourism": "caravan_site",
    "power_supply": "yes",
    "sanitary_dump_station": "yes",
    "sanitary_dump_station:grey_water": "yes",
    "drinking_water": "yes",
    "toilets": "yes",
    "shower": "yes",
}
NODES = {
    "A": "place=town name=Ashquay", "P": {**SITE, "name": "Pennow"}, "Q": {**SITE, "name": "Quarrel"},
    "W": {"amenity": "sanitary_dump_station", "name": "Wharf"}, "K": {"tourism": "viewpoint", "name": "Kestrel Head"},
}  # fmt: skip
HOME = (8.0, 50.0)


@dataclass
class Planned:
    """A plan, its region read back from its file, and the papers."""

    plan: Plan
    region: Region
    papers: Path

    @property
    def drive_s(self) -> float:
        return sum(leg.drive_s for day in self.plan.days for leg in day.legs)

    @property
    def length_m(self) -> float:
        return sum(leg.length_m for day in self.plan.days for leg in day.legs)

    @property
    def nights(self) -> list[str]:
        return [day.night.spot.name for day in self.plan.days if day.night]


def planned(
    folder: Path, name: str, ways=WAYS, *, ascii_map: str = MAP, nodes=NODES, origin=HOME, grid_m: float = 2000, missing: str = "",
    sights: tuple[str, ...] = ("Kestrel Head",), more: str = "",
) -> Planned:  # fmt: skip
    """Draw, build, save, load, plan two nights from Ashquay, audit, write papers, read the plan back and audit it again."""
    drawing = draw(ascii_map, ways, nodes=nodes, folder=folder, origin=origin, grid_m=grid_m, missing=missing, name=name)
    save(build(drawing.path, name=name), folder / f"{name}.region")
    region = load(folder / f"{name}.region")
    trip = folder / f"{name}.toml"
    trip.write_text(
        f'van = "{SAMPLE}/vans/two_berth.toml"\nparty = "{SAMPLE}/parties/couple.toml"\nfirm = "{SAMPLE}/firm.toml"\n'
        f'outfit = "{SAMPLE}/outfits/hatchback_and_two_berth.toml"\n{more}\n[pick_up]\nplace = "Ashquay"\ntime = 2027-03-01T10:00:00\n'
        "[return]\ntime = 2027-03-03T16:00:00\n" + "".join(f'[[sights]]\nplace = "{sight}"\nhours = 1\n' for sight in sights),
        encoding="utf-8",
    )
    plan = audited_plan(load_trip(trip, region), region)
    papers = folder / f"{name}-papers"
    write_papers(plan, region, papers)
    again = plan_from_json((papers / "plan.json").read_text(encoding="utf-8"))
    assert audit(again, region) == ()
    return Planned(plan, region, papers)


@pytest.fixture(scope="module")
def home(tmp_path_factory: pytest.TempPathFactory) -> Planned:
    """The drawing in an ordinary place."""
    return planned(tmp_path_factory.mktemp("home"), "home")


@pytest.mark.parametrize(
    ("name", "origin"),
    [("south", (170.0, -44.0)), ("line", (179.85, -17.0)), ("north_line", (-179.95, 66.0)), ("equator", (-0.1, 0.05))],
)
def test_the_same_trip_elsewhere(tmp_path: Path, home: Planned, name: str, origin: tuple[float, float]) -> None:
    """South, across 180 degrees, round the equator and the prime meridian: the roads are as long and take as long as at home.

    2 km on the drawing are 2 km at its northern edge; further down a metre of longitude differs by 0.2 % at most here.
    """
    there = planned(tmp_path, name, origin=origin)
    assert there.length_m == pytest.approx(home.length_m, rel=0.01)
    assert there.drive_s == pytest.approx(home.drive_s, rel=0.02)
    west, south, east, north = there.region.meta.bbox
    assert (east - west) % 360 < 1.5  # the box is the drawing's, not the world's
    assert north - south < 0.2
    for day in there.plan.days:
        for leg in day.legs:
            assert abs(leg.start.lat - origin[1]) < 0.2


def test_the_map_across_the_date_line_is_one_picture(tmp_path: Path) -> None:
    """Lines of the map and of the GPX file do not run round the world where the road crosses 180 degrees."""
    import json
    import re

    from helpers.pages import Page

    from tripplan.report.sheets.blocks import Path
    from tripplan.report.sheets.drawings import map_drawing
    from tripplan.report.thin import unpack
    from tripplan.report.waylines import way_lines

    there = planned(tmp_path, "line", origin=(179.85, -17.0))
    lon = [float(x) for x in re.findall(r'lon="([-\d.]+)"', (there.papers / "route.gpx").read_text(encoding="utf-8"))]
    assert {x > 0 for x in lon} == {True, False}  # GPX 1.1 schema: longitudes from -180 to 180
    assert all(-180 <= x <= 180 for x in lon)
    west, _, east, _ = there.region.meta.bbox
    assert west > 179
    assert east < -179
    # The map and the sheets' picture: one narrow frame, in which roads, ways, towns and signs are where the drawing has them.
    drawn = json.loads(Page((there.papers / "map.html").read_text(encoding="utf-8")).scripts[0][1])
    (_, left), (_, right) = drawn["frame"]
    assert 0.3 < right - left < 1.0
    lines = [line for day in drawn["days"] for line in unpack(day["van"])]
    lines += [line for packed in drawn["roads"].values() for line in unpack(packed)]
    assert min(x for line in lines for x, _ in line) / 1e5 >= left
    assert max(x for line in lines for x, _ in line) / 1e5 <= right
    assert all(left <= mark["at"][1] <= right for mark in drawn["marks"])
    assert drawn["towns"]
    assert all(left <= town[3] <= right for town in drawn["towns"])
    lines = way_lines(there.plan, there.region)
    picture = map_drawing(
        there.plan, there.region, [(one.day.number, one.mode, line) for one in lines.days for line in one.lines]
    )
    ways = [shape for shape in picture.shapes if isinstance(shape, Path) and shape.width == 2.4]
    x = [point[0] for way in ways for point in way.points]
    assert all(0 <= at <= picture.width for at in x)
    assert max(x) - min(x) > 0.25 * picture.width


def test_the_weather_does_not_jump_at_the_equator() -> None:
    """The guess by latitude has no step where north becomes south, on any day of the year."""
    for number in range(0, 365, 7):
        day = date.fromordinal(date(2026, 1, 1).toordinal() + number)
        north, south = guess_weather(day, 1e-6), guess_weather(day, -1e-6)
        assert north.mean_c == pytest.approx(south.mean_c, abs=0.11)
        assert north.sun_kwh_per_m2 == pytest.approx(south.sun_kwh_per_m2, abs=0.02)


@pytest.mark.parametrize("left", [True, False])
def test_left_and_right(tmp_path: Path, left: bool) -> None:
    """The main road as two one-way roads 20 m apart and a roundabout at its middle, drawn for either hand: out by the one and back by the other."""
    origin = (170.0, -44.0) if left else HOME
    north, south = ("ABC", "FEA") if left else ("CBA", "AEF")  # driven on the left, the northern road leads east
    ring = "CXFYC" if left else "CYFXC"  # clockwise where one drives on the left
    ascii_map = "A----------B----------C\n|          E         Y X\n|                      F\n|                      |\n|                      |\nG----W-----P-----------H\n           |\n           K"
    one_way = f"{ROAD} oneway=yes"
    ways = {north: one_way, south: one_way, ring: f"{ROAD} junction=roundabout", "GWPH": ROAD, "FH": ROAD, "PK": ROAD}
    nodes = {"A": NODES["A"], "P": NODES["P"], "K": NODES["K"], "W": NODES["W"]}
    there = planned(tmp_path, "hand", ways, ascii_map=ascii_map, nodes=nodes, origin=origin)
    pieces, region = there.region.pieces, there.region
    ring_way, out_way, back_way = (region.ways.osm_id == number for number in (103, 101, 102))
    used: set[int] = set()
    for day in there.plan.days:
        for leg in day.legs:
            for piece, forward in zip(leg.runs.piece, leg.runs.forward, strict=True):
                way = int(pieces.way[piece])
                assert forward or region.ways.oneway[way] == 0
                used.add(way)
    for way in (ring_way, out_way, back_way):
        assert set(way.nonzero()[0]) <= used


# Two islands: the depot and a site on one, the sight and a site on the other.
ISLES = "A--W--P-----F\n             .\n             .\n             .\n             N-----Q-----K"
ISLE_WAYS = {"AWPF": ROAD, "NQK": ROAD, "FN": "route=ferry motor_vehicle=yes duration=00:40 interval=02:00"}
ISLE_NODES = {"W": NODES["W"], "A": NODES["A"], "P": NODES["P"], "Q": NODES["Q"], "K": NODES["K"]}


def test_islands_with_a_ferry(tmp_path: Path) -> None:
    """The trip crosses by ferry and comes back by it; each crossing is told as one."""
    there = planned(tmp_path, "isles", ISLE_WAYS, ascii_map=ISLES, nodes=ISLE_NODES)
    ferries = [event for day in there.plan.days for event in day.events if event.kind == "ferry"]
    assert len(ferries) >= 2
    assert len(ferries) % 2 == 0


def test_islands_without_one(tmp_path: Path) -> None:
    """Without a ferry, or where ferries are not wanted, the sight on the other island is refused in one line."""
    ways = {word: tags for word, tags in ISLE_WAYS.items() if word != "FN"}
    for name, roads, more in (("none", ways, ""), ("unwanted", ISLE_WAYS, "[driving]\nferries = false")):
        with pytest.raises((BadInputError, Exception), match="Kestrel Head") as met:
            planned(tmp_path, name, roads, ascii_map=ISLES, nodes=ISLE_NODES, more=more)
        assert type(met.value).__name__ in ("BadInputError", "NoPlanError")
        assert "\n" not in str(met.value)


def test_a_region_cut_in_the_middle_of_its_roads(tmp_path: Path) -> None:
    """East of H nothing is in the file, as in a clipped extract: the trip keeps to what is there, and the cut is counted."""
    there = planned(tmp_path, "cut", missing="DQM")
    assert there.region.meta.faults["clipped ways kept in part"] >= 3
    assert set(there.nights) == {"Pennow"}
    assert there.length_m > 0
    with pytest.raises((BadInputError, Exception), match="Quarrel"):
        planned(tmp_path, "cut_off", missing="DQM", sights=("Quarrel",))
