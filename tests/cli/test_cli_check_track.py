"""`tripplan check` with a recorded track: from the file to the list, the JSON, the map and the exit code."""

from __future__ import annotations

import json
import re
from pathlib import Path

import numpy as np
import pytest

from tripplan.model.outfit import Outfit
from tripplan.region.geometry import piece_line, run_line
from tripplan.region.region import Region
from tripplan.region.store import load
from tripplan.roads.join import join
from tripplan.roads.network import open_network
from tripplan.roads.terms import Terms

VAN = Outfit("car and van", True, 3200, 1500, 1400, height_m=2.6, width_m=2.3, length_m=12.0, towing_limit_kmh=80)


def points_of(region: Region, *, gravel: bool) -> np.ndarray:
    """Return points every 40 m along a sealed way of the island, or along an unsealed road of it."""
    if gravel:
        unsealed = region.ways.surface[region.pieces.way] == 3
        piece = int(np.argmax(np.where(unsealed, region.pieces.length_m, 0)))
        line = piece_line(region, piece)
    else:
        network = open_network(region, Terms(VAN))
        from tripplan.model.place import Spot

        rows = np.flatnonzero(network.arcs.transit & (network.arcs.component[network.arcs.head] == 0))
        at = region.pieces.ptr[network.arcs.piece[rows[[0, len(rows) // 2]]]]
        spots = [Spot("x", "x", region.pieces.lon_e7[k] / 1e7, region.pieces.lat_e7[k] / 1e7) for k in at]
        line = run_line(region, join(network, spots, on_road=True).route(0, 1).runs)
    along = np.concatenate(([0.0], np.cumsum(np.hypot(np.diff(line[:, 0]) * 80_000, np.diff(line[:, 1]) * 111_000))))
    at_m = np.arange(0, along[-1], 40)
    return np.column_stack([np.interp(at_m, along, line[:, k]) for k in (0, 1)])


def gpx(points: np.ndarray, seconds: float = 5.0) -> str:
    """Return a GPX track, one point after another, on 6 February 2027."""
    rows = "".join(
        f'<trkpt lat="{lat:.7f}" lon="{lon:.7f}"><time>2027-02-06T{int(10 + k * seconds // 3600):02d}:{int(k * seconds % 3600 // 60):02d}:{k * seconds % 60:06.3f}Z</time></trkpt>'
        for k, (lon, lat) in enumerate(points)
    )
    return f"<gpx><trk><name>drive</name><trkseg>{rows}</trkseg></trk></gpx>"


def test_a_good_track(run, island: Path, tmp_path: Path) -> None:
    """A slow drive on sealed roads: exit code 0, its own date, its length, and both papers written."""
    points = points_of(load(island), gravel=False)
    (tmp_path / "drive.gpx").write_text(gpx(points), encoding="utf-8")
    ran = run(
        "check", tmp_path / "drive.gpx", "--region", island, "--json", tmp_path / "drive.json", "--map", tmp_path / "drive.html"
    )
    assert ran.code == 0, ran.out + ran.err
    assert "on 6 February 2027" in ran.out
    assert f"The track drive: {len(points):,} points" in ran.out
    assert "Nothing forbidden was found." in ran.out
    told = json.loads((tmp_path / "drive.json").read_text(encoding="utf-8"))
    assert told["forbidden"] is False
    assert told["matched_m"] == pytest.approx(told["length_m"], rel=0.02)
    assert told["length_m"] == pytest.approx((len(points) - 1) * 40, rel=0.05)
    assert (tmp_path / "drive.html").read_text(encoding="utf-8").startswith("<!DOCTYPE html>")


def test_a_track_over_gravel_and_one_too_fast(run, island: Path, tmp_path: Path) -> None:
    """Gravel and speed each give exit code 1 and a FORBIDDEN line with kilometre, length, road and reason."""
    region = load(island)
    (tmp_path / "gravel.gpx").write_text(gpx(points_of(region, gravel=True)), encoding="utf-8")
    ran = run("check", tmp_path / "gravel.gpx", "--region", island)
    assert ran.code == 1
    assert any(line.startswith("  FORBIDDEN    km ") and "unsealed" in line for line in ran.out.splitlines())
    (tmp_path / "fast.gpx").write_text(gpx(points_of(region, gravel=False), 1.0), encoding="utf-8")
    ran = run("check", tmp_path / "fast.gpx", "--region", island)
    assert ran.code == 1
    assert re.search(r"14\d km/h on average", ran.out)
    assert "Over the towing limit" in ran.out


def test_the_same_way_as_geojson_and_kml(run, island: Path, tmp_path: Path) -> None:
    """The three formats give the same length; without times the list says that speeds are not judged."""
    points = points_of(load(island), gravel=False)
    (tmp_path / "a.geojson").write_text(json.dumps({"type": "LineString", "coordinates": points.tolist()}), encoding="utf-8")
    words = " ".join(f"{lon:.7f},{lat:.7f},0" for lon, lat in points)
    (tmp_path / "a.kml").write_text(
        f"<kml><Placemark><LineString><coordinates>{words}</coordinates></LineString></Placemark></kml>", encoding="utf-8"
    )
    (tmp_path / "a.gpx").write_text(gpx(points), encoding="utf-8")
    lengths = set()
    for name in ("a.geojson", "a.kml", "a.gpx"):
        ran = run("check", tmp_path / name, "--region", island, "--date", "2027-02-06")
        assert ran.code == 0, ran.out + ran.err
        assert ("speeds are not judged" in ran.out) == (name != "a.gpx")
        lengths.add(
            next(line for line in ran.out.splitlines() if line.startswith("The track")).split("points, ")[1].split(" km")[0]
        )
    assert len(lengths) == 1


def test_a_file_taken_for_the_other_kind(run, island: Path, tmp_path: Path) -> None:
    """--as makes way-points of a dense line, and refuses a route as a track; a word that is no kind is bad input."""
    points = points_of(load(island), gravel=False)[:60]
    (tmp_path / "a.geojson").write_text(json.dumps({"type": "LineString", "coordinates": points.tolist()}), encoding="utf-8")
    assert "The way as brought" in run("check", tmp_path / "a.geojson", "--region", island, "--as", "way-points").out
    (tmp_path / "r.gpx").write_text('<gpx><rte><rtept lat="1" lon="2"/><rtept lat="1" lon="3"/></rte></gpx>', encoding="utf-8")
    ran = run("check", tmp_path / "r.gpx", "--region", island, "--as", "track")
    assert ran.code == 2
    assert "holds a route and no track" in ran.err
    assert run("check", tmp_path / "r.gpx", "--region", island, "--as", "song").code == 2


def test_nothing_half_written(run, island: Path, tmp_path: Path) -> None:
    """A paper that cannot be written ends in one line and exit code 2, and leaves nothing behind."""
    (tmp_path / "a.gpx").write_text(gpx(points_of(load(island), gravel=False)), encoding="utf-8")
    before = set(tmp_path.iterdir())
    ran = run("check", tmp_path / "a.gpx", "--region", island, "--json", tmp_path / "none" / "a.json")
    assert ran.code == 2
    assert len(ran.err.strip().splitlines()) == 1
    assert set(tmp_path.iterdir()) == before
