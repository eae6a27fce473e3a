"""Which state a region lies in, by boundaries drawn in the file, and what follows for the towing limit."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from helpers.drawn import draw
from helpers.towing import VAN

from tripplan.almanac.towing import towing_limit
from tripplan.osm.raw import RawArea
from tripplan.osm.read import read_file
from tripplan.region.build import build
from tripplan.region.store import load, save
from tripplan.region.where import inside
from tripplan.roads.network import open_network
from tripplan.roads.terms import Terms

# A state in the west of two boundary ways, its neighbour in the east; a road in each.
MAP = """
A--------B------E
|        |      |
|  R--S  | T--U |
|        |      |
D--------C------F
"""
ROAD = "highway=motorway oneway=no"
WEST, EAST = [("outer", "ABC"), ("outer", "CDA")], [("outer", "BEFC"), ("outer", "BC")]
BORDERS = {"ABC": "", "CDA": "", "BC": "", "BEFC": ""}
HOBART, PERTH, FRESNO = (147.0, -42.5), (116.5, -32.0), (-119.8, 36.8)


def state(code: str, **more: str) -> dict[str, str]:
    """Return the tags of a state's boundary."""
    return {"type": "boundary", "boundary": "administrative", "admin_level": "4", "ISO3166-2": code, **more}


def built(folder: Path, ways: dict[str, str], relations: list, **more: object):
    """Draw and build."""
    return build(draw(MAP, {**BORDERS, **ways}, relations=relations, folder=folder, grid_m=1000, **more).path)


def test_the_state_that_holds_the_roads(tmp_path: Path) -> None:
    """Two states share a border: the one whose rings hold the roads is told, and it comes back from the file."""
    both = [(state("AU-TAS"), WEST), (state("AU-VIC"), EAST)]
    region = built(tmp_path, {"RS": ROAD}, both, origin=HOBART)
    assert (region.meta.country, region.meta.state) == ("AU", "AU-TAS")
    save(region, tmp_path / "x.region")
    assert load(tmp_path / "x.region").meta.state == "AU-TAS"
    assert built(tmp_path, {"TU": ROAD}, [(state("AU-TAS"), WEST), (state("AU-VIC"), EAST)], origin=HOBART).meta.state == "AU-VIC"


def test_a_region_of_two_states_has_none(tmp_path: Path) -> None:
    """Roads on both sides of a border belong to no single state: the strictest limits of the country are left to hold."""
    both = [(state("AU-WA"), WEST), (state("AU-SA"), EAST)]
    assert built(tmp_path, {"RS": ROAD, "TU": ROAD}, both, origin=PERTH).meta.state == ""
    assert built(tmp_path, {"RS": ROAD}, both, origin=PERTH).meta.state == "AU-WA"


@pytest.mark.parametrize(
    ("members", "missing"), [(WEST, "D"), ([("outer", "ABC")], ""), ([("outer", "ABC"), ("inner", "CDA")], "")]
)
def test_a_boundary_that_is_not_whole_says_nothing(tmp_path: Path, members: list[tuple[str, str]], missing: str) -> None:
    """A state's ring with a node or a way outside the file, as in most extracts, is left out and is no fault of the map."""
    region = built(tmp_path, {"RS": ROAD}, [(state("AU-TAS"), members)], origin=HOBART, missing=missing)
    assert region.meta.state == ""
    assert region.meta.country == "AU"
    assert not any("not whole" in what for what in region.meta.faults)


def test_a_state_within_another(tmp_path: Path) -> None:
    """Roads in the hole of a state, which is a state of its own, are the inner one's."""
    drawing = "A-----------B\n|  E-----F  |\n|  | R-S |  |\n|  H-----G  |\nD---P-Q-----C"
    ways = {"ABCDA": "", "EFGHE": "", "RS": ROAD}
    ring, hole = [("outer", "ABCDA"), ("inner", "EFGHE")], [("outer", "EFGHE")]
    path = draw(drawing, ways, relations=[(state("AU-NSW"), ring), (state("AU-ACT"), hole)], folder=tmp_path, origin=HOBART).path
    assert build(path).meta.state == "AU-ACT"


def test_only_states_whose_limits_differ_are_read(tmp_path: Path) -> None:
    """Boundaries of admin_level 4 of other countries, and those without a code, are not even assembled."""
    path = draw(MAP, {**BORDERS, "RS": ROAD}, relations=[(state("DE-BY"), WEST), (state(""), EAST)], folder=tmp_path).path
    raw = read_file(path)
    assert raw.state_areas == []
    assert raw.country_areas == []
    assert build(path).meta.state == ""


def test_the_states_limit_rules_the_road(tmp_path: Path) -> None:
    """On an unposted motorway the van goes at the state's towing limit: 55 mph in California (California Vehicle Code § 22406 (b))."""
    outfit = replace(VAN, towing_limit_kmh=130)
    speeds = {}
    for code in ("US-CA", "US-AK"):
        region = built(tmp_path, {"RS": ROAD}, [(state(code), WEST)], origin=FRESNO)
        assert (region.meta.country, region.meta.state) == ("US", code)
        network = open_network(region, Terms(outfit, country=region.meta.country, state=region.meta.state))
        metres = float(region.pieces.length_m.sum())
        speeds[code] = metres / (float(network.arcs.ms[0]) / 1000) * 3.6
    assert speeds["US-CA"] == pytest.approx(55 * 1.609344, rel=0.01)
    assert speeds["US-CA"] == pytest.approx(towing_limit("US", "motorway", "US-CA"), rel=0.01)
    assert speeds["US-AK"] == pytest.approx(towing_limit("US", "motorway", "US-AK"), rel=0.01)
    assert speeds["US-AK"] < speeds["US-CA"] - 10


def test_inside_with_holes_and_islands() -> None:
    """Even crossings are out: in the outer ring, in its hole, on an island in the hole, and outside of all."""

    def square(half: int) -> np.ndarray:
        return np.array([(-half, -half), (half, -half), (half, half), (-half, half), (-half, -half)], np.int32)

    area = RawArea("r1", {}, (square(30_000_000), square(10_000_000)), (square(20_000_000),))
    lon = np.array([25_000_000, 15_000_000, 5_000_000, 35_000_000, -25_000_000], np.int32)
    assert inside(lon, np.full(5, 1, np.int32), area).tolist() == [True, False, True, False, True]


def test_a_part_of_a_piece_over_180_degrees_lies_there() -> None:
    """Cut in the middle, a piece that goes from 179.99 east to 179.99 west begins near 180, not near 0."""
    from types import SimpleNamespace

    import numpy as np

    from tripplan.region.geometry import piece_line, segment_lengths_m

    lon, lat = np.array([179.99, -179.99]), np.array([-40.0, -40.0])
    length = float(segment_lengths_m(lon, lat).sum())
    pieces = SimpleNamespace(
        ptr=np.array([0, 2]),
        lon_e7=np.rint(lon * 1e7).astype(np.int64),
        lat_e7=np.rint(lat * 1e7).astype(np.int64),
        length_m=np.array([length]),
    )
    for at, expected in ((0.25, 179.995), (0.75, -179.995)):
        line = piece_line(SimpleNamespace(pieces=pieces), 0, True, at * length, length)  # type: ignore[arg-type]
        assert abs(line[0, 0] - expected) < 1e-6
    assert np.abs(piece_line(SimpleNamespace(pieces=pieces), 0, True, length / 2, length)[:, 0]).min() > 179.9  # type: ignore[arg-type]
