"""Files for other programs: each keeps to its standard, opens in a reader that shares nothing with us, and takes any text."""

from __future__ import annotations

import csv
import html
import io
import json
from dataclasses import replace
from datetime import UTC
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from fastkml import KML
from helpers import plans
from helpers.schemas import assert_gpx, assert_kml
from hypothesis import given
from hypothesis import strategies as st
from ics import Calendar

from tripplan.region.region import Region
from tripplan.report.calendar import calendar_text
from tripplan.report.dateline import box_of, cut
from tripplan.report.geojson import geojson_text
from tripplan.report.gpx import gpx_text, mark_name, mark_words
from tripplan.report.kml import kml_text
from tripplan.report.mapdata import marks_of
from tripplan.report.safe import csv_cell, plain
from tripplan.report.say import spot_name
from tripplan.report.tables import DAY_COLUMNS, LEVEL_COLUMNS, days_csv, levels_csv

from hostile import CORPUS  # isort: skip
from test_report_map import hostile_plan  # isort: skip

REGION = plans.island()
PLAN = plans.plan(7, region=REGION)
KML_NAMES = {"k": "http://www.opengis.net/kml/2.2"}


def _length_m(line: Any) -> float:
    """Length of a line of lon, lat on a sphere of 6,371,009 m, short steps taken for flat; none of them goes round the world."""
    line = np.asarray(line, float)
    step = np.radians(np.diff(line, axis=0))
    assert np.abs(np.diff(line[:, 0])).max(initial=0) < 180
    return float(6_371_009 * np.hypot(step[:, 0] * np.cos(np.radians(line[:-1, 1])), step[:, 1]).sum())


def _moved(region: Region, degrees: float) -> Region:
    """Return a region moved east, beyond 180 degrees round to -180."""

    def turned(lon_e7: Any) -> Any:
        return ((lon_e7.astype(np.int64) + round(degrees * 1e7) + 1_800_000_000) % 3_600_000_000 - 1_800_000_000).astype(np.int32)

    places = tuple(replace(p, lon=(p.lon + degrees + 180) % 360 - 180) for p in region.places)
    return replace(
        region, pieces=replace(region.pieces, lon_e7=turned(region.pieces.lon_e7)), places=places,
        junctions=replace(region.junctions, lon_e7=turned(region.junctions.lon_e7)),
    )  # fmt: skip


FAR = _moved(REGION, 9.8)  # the island's middle lies at 180
FAR_PLAN = plans.plan(14, region=FAR)


# ------------------------------------------------------------------------------------------------ GeoJSON


def assert_rfc7946(text: str) -> dict[str, Any]:
    """Assert what RFC 7946 asks of a feature collection of points, lines and polygons; return it."""

    def whole(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
        assert len(dict(pairs)) == len(pairs)
        return dict(pairs)

    found = json.loads(text, object_pairs_hook=whole)
    assert found["type"] == "FeatureCollection"
    assert "crs" not in found  # 4
    west, south, east, north = found["bbox"]  # 5
    assert south <= north
    assert all(-180 <= x <= 180 for x in (west, east))
    identities = [feature["id"] for feature in found["features"]]
    assert len(set(identities)) == len(identities)
    for feature in found["features"]:
        assert set(feature) == {"type", "id", "properties", "geometry"}  # 3.2
        assert feature["type"] == "Feature"
        kind, shape = feature["geometry"]["type"], feature["geometry"]["coordinates"]
        lines = {"Point": [[shape]], "LineString": [shape], "MultiLineString": shape, "Polygon": shape}[kind]
        for line in lines:
            assert len(line) >= {"Point": 1, "Polygon": 4}.get(kind, 2)  # 3.1.4, 3.1.6
            for lon, lat in line:
                assert -180 <= lon <= 180
                assert -90 <= lat <= 90
                assert round(lon, 6) == lon  # 11.2
                inside = west <= lon <= east if west <= east else (lon >= west or lon <= east)
                assert feature["properties"]["kind"] == "off limits" or (inside and south <= lat <= north)
            assert all(abs(a[0] - b[0]) <= 180 for a, b in pairwise(line))  # 3.1.9
            if kind == "Polygon":
                assert line[0] == line[-1]
                assert sum(a[0] * b[1] - b[0] * a[1] for a, b in pairwise(line)) > 0  # 3.1.6, anticlockwise
    return found


def test_geojson_keeps_to_its_standard() -> None:
    """Days, nights, stops and presumed stretches are there with their lengths; the same plan gives the same bytes."""
    text = geojson_text(PLAN, REGION)
    found = assert_rfc7946(text)
    assert text == geojson_text(plans.plan(7), plans.island())
    kinds = [feature["properties"]["kind"] for feature in found["features"]]
    assert {"day", "surface", "night", "service", "sight", "depot"} <= set(kinds)
    for feature in found["features"]:
        told, shape = feature["properties"], feature["geometry"]["coordinates"]
        if told["kind"] in ("day", "surface"):
            lines = shape if feature["geometry"]["type"] == "MultiLineString" else [shape]
            assert sum(map(_length_m, lines)) == pytest.approx(told["length_m"], rel=0.01, abs=2)
    presumed = sum(f["properties"]["length_m"] for f in found["features"] if f["properties"].get("surface") == "presumed")
    assert presumed == pytest.approx(sum(leg.presumed_m for day in PLAN.days for leg in day.legs if leg.mode == "van"), abs=20)


def test_geojson_over_the_antimeridian() -> None:
    """Where a day's road crosses 180 degrees its line is cut there, no part goes round the world, and the box is narrow."""
    found = assert_rfc7946(geojson_text(FAR_PLAN, FAR))
    west, _, east, _ = found["bbox"]
    assert west > 170
    assert east < -170
    cut_at = [f for f in found["features"] if f["geometry"]["type"] == "MultiLineString"]
    assert cut_at
    ends = {abs(line[i][0]) for f in cut_at for line in f["geometry"]["coordinates"] for i in (0, -1)}
    assert 180 in ends
    for feature in found["features"]:
        if feature["properties"]["kind"] == "day":
            shape = feature["geometry"]["coordinates"]
            lines = shape if feature["geometry"]["type"] == "MultiLineString" else [shape]
            assert sum(map(_length_m, lines)) == pytest.approx(feature["properties"]["length_m"], rel=0.01)


def test_areas_off_limits_run_anticlockwise() -> None:
    """An area of the firm's stands there as a closed ring by the right-hand rule, whichever way it was given."""
    ring = ((170.0, -44.5), (170.0, -44.4), (170.1, -44.4))  # clockwise, open
    over = ((179.0, -44.5), (179.0, -44.4), (-179.0, -44.4), (-179.0, -44.5))
    areas = (("The pass", ring), ("It again", ring[::-1]), ("No inside", ring[:2]), ("Far", over))
    firm = replace(PLAN.trip.firm, areas_off_limits=areas)
    found = assert_rfc7946(geojson_text(replace(PLAN, trip=replace(PLAN.trip, firm=firm)), REGION))
    areas = [f for f in found["features"] if f["properties"]["kind"] == "off limits"]
    assert [(area["properties"]["name"], area["geometry"]["type"]) for area in areas] == [
        ("The pass", "Polygon"), ("It again", "Polygon"), ("Far", "MultiLineString"),
    ]  # fmt: skip


def test_another_reader_opens_the_geojson(tmp_path: Path) -> None:
    """GDAL, by way of pyogrio, finds every feature with its properties in WGS 84."""
    import geopandas

    path = tmp_path / "route.geojson"
    path.write_text(geojson_text(PLAN, REGION), encoding="utf-8")
    table = geopandas.read_file(path)
    assert table.crs.to_epsg() == 4326
    assert len(table) == len(json.loads(path.read_text(encoding="utf-8"))["features"])
    assert table[table["kind"] == "night"]["name"].tolist() == [spot_name(m.spot) for m in marks_of(PLAN) if m.sign == "night"]
    assert table.geometry.is_valid.all()


@given(st.lists(st.tuples(st.floats(-180, 180), st.floats(-80, 80)), min_size=2, max_size=12))
def test_cut_lines_keep_every_point_and_cross_nothing(points: list[tuple[float, float]]) -> None:
    """No part spans more than half the world, every point of the line is on a part, and parts meet at 180."""
    line = np.round(np.array(points), 6)
    parts = cut(line)
    for part in parts:
        assert np.abs(part[:, 0]).max() <= 180
        assert np.abs(np.diff(part[:, 0])).max() <= 180
    if parts:
        ends = [(a[-1], b[0]) for a, b in pairwise(parts)]
        assert all(abs(a[0]) == 180 == abs(b[0]) and a[0] == -b[0] and a[1] == pytest.approx(b[1]) for a, b in ends)
        here = np.concatenate(parts)
        for lon, lat in line:
            apart = np.abs((here[:, 0] - lon + 180) % 360 - 180)
            assert ((apart < 1e-9) & (np.abs(here[:, 1] - lat) < 1e-9)).any()
        west, south, east, north = box_of(parts) or (0, 0, 0, 0)
        assert (south, north) == (here[:, 1].min(), here[:, 1].max())
        assert -180 <= west <= 180
        assert -180 <= east <= 180


# ------------------------------------------------------------------------------------------------ KML


def _kml(text: str) -> Any:
    return KML.from_string(text.removeprefix('<?xml version="1.0" encoding="UTF-8"?>\n'))


def _placemarks(feature: Any) -> list[Any]:
    return [x for f in getattr(feature, "features", []) for x in (_placemarks(f) if hasattr(f, "features") else [f])]


def test_kml_is_valid_and_reads_back() -> None:
    """KML 2.2 is valid by its schema; an independent reader finds days, nights and stops where they are."""
    text = kml_text(PLAN, REGION)
    assert_kml(text)
    document = _kml(text).features[0]
    folders = ["Days", "Nights", "Services", "Sights", "Hand-over and return", "Presumed sealed"]
    assert [f.name for f in document.features] == folders  # nothing of unknown surface is driven here
    by_name = {p.name: p for p in _placemarks(document)}
    for day in PLAN.days:
        legs = [leg for leg in day.legs if leg.mode == "van" and leg.runs.piece]
        if legs:
            shape = by_name[f"Day {day.number}: {spot_name(day.start)} to {spot_name(day.end)}"].geometry
            assert _length_m(shape.coords) == pytest.approx(sum(leg.length_m for leg in legs), rel=0.01)
    for mark in marks_of(PLAN):
        assert by_name[mark_name(mark)].geometry.coords[0] == pytest.approx((mark.spot.lon, mark.spot.lat), abs=1e-6)


def test_kml_over_the_antimeridian() -> None:
    """A day's line that crosses 180 degrees is cut there, and the file is still valid."""
    text = kml_text(FAR_PLAN, FAR)
    root = assert_kml(text)
    assert root.findall(".//k:MultiGeometry", KML_NAMES)
    for element in root.findall(".//k:coordinates", KML_NAMES):
        line = [tuple(map(float, point.split(","))) for point in (element.text or "").split()]
        assert len(line) == 1 or _length_m(line) > 0


@pytest.mark.parametrize("first", range(0, len(CORPUS), 24))
def test_hostile_texts_in_map_files(first: int) -> None:
    """Names read back from KML and GeoJSON as the cleaned text; a description that is shown as HTML shows it, and holds no markup."""
    plan, region, _ = hostile_plan(first, 7)
    root = assert_kml(kml_text(plan, region))
    names = [e.text or "" for e in root.findall(".//k:name", KML_NAMES)]
    descriptions = [e.text or "" for e in root.findall(".//k:description", KML_NAMES)]
    assert not any(set(words) & set("<>{}`\\\"'") for words in descriptions)
    shown = [html.unescape(words) for words in descriptions]
    found = assert_rfc7946(geojson_text(plan, region))
    assert found["name"] == names[0] == plain(plan.trip.name)
    told = {(f["properties"].get("name"), f["properties"].get("what")) for f in found["features"]}
    for mark in marks_of(plan):
        assert mark_name(mark) in names
        assert mark_words(mark) in shown
        assert (spot_name(mark.spot), mark_words(mark)) in told
    assert len(root.findall(".//k:Placemark", KML_NAMES)) == len(found["features"])


# ------------------------------------------------------------------------------------------------ calendar


def test_another_reader_opens_the_calendar() -> None:
    """A parser that shares nothing with our writer finds every event at its instant, under its name, in the trip's zone."""
    read = sorted(Calendar(calendar_text(PLAN).decode()).events, key=lambda e: (e.begin, e.name))
    own = [e for day in PLAN.days for e in day.events if e.kind not in ("arrive", "break", "stay")]
    clocked = [e for e in read if not e.name.startswith("Night")]
    assert [e.begin.astimezone(UTC) for e in clocked] == sorted(e.start.replace(microsecond=0).astimezone(UTC) for e in own)
    assert len(read) - len(clocked) == PLAN.trip.nights
    assert {spot_name(e.spot) for e in own if e.spot} <= {e.location for e in read}


# ------------------------------------------------------------------------------------------------ CSV


def _rows(text: str) -> list[list[str]]:
    """Records of a CSV by RFC 4180, 2: read character by character, no library."""
    rows, row, cell, quoted = [], [], "", False
    i = 0
    while i < len(text):
        c = text[i]
        if quoted:
            if c == '"' and text[i + 1 : i + 2] == '"':
                cell, i = cell + '"', i + 1
            elif c == '"':
                quoted = False
                assert text[i + 1 : i + 2] in (",", "\r")
            else:
                cell += c
        elif c == '"':
            assert cell == ""
            quoted = True
        elif c == ",":
            row, cell = [*row, cell], ""
        elif c == "\r":
            assert text[i + 1] == "\n"
            rows, row, cell, i = [*rows, [*row, cell]], [], "", i + 1
        else:
            assert c != "\n"
            cell += c
        i += 1
    assert (row, cell, quoted) == ([], "", False)
    return rows


def test_tables_of_days_and_levels() -> None:
    """A row a day, a row a day and store; every row has every column; other readers find the same figures."""
    import pandas

    for text, columns, count in (
        (days_csv(PLAN), DAY_COLUMNS, len(PLAN.days)),
        (levels_csv(PLAN), LEVEL_COLUMNS, sum(len(day.levels) for day in PLAN.days)),
    ):
        rows = _rows(text)
        assert tuple(rows[0]) == columns
        assert len(rows) == count + 1
        assert {len(row) for row in rows} == {len(columns)}
        assert rows == list(csv.reader(io.StringIO(text, newline="")))
    days = pandas.read_csv(io.StringIO(days_csv(PLAN)))
    length = sum(leg.length_m for day in PLAN.days for leg in day.legs if leg.mode == "van")
    assert days["towing_km"].sum() == pytest.approx(length / 1000, abs=0.5)
    assert days["notes"].fillna("").str.split(" | ", regex=False).map(lambda notes: len([n for n in notes if n])).tolist() == [
        len(day.notes) for day in PLAN.days
    ]
    assert days["night_at"].dropna().tolist() == [spot_name(day.night.spot) for day in PLAN.days if day.night]
    levels = pandas.read_csv(io.StringIO(levels_csv(PLAN)))
    line = PLAN.days[2].levels[4]
    row = levels[(levels["day"] == 3) & (levels["store"] == "gas")].iloc[0]
    assert (row["worst"], row["limit"], row["full"]) == pytest.approx((line.worst, line.limit, 9.0))
    assert (row["limit_is"], row["unit"]) == ("least", "kg")


@pytest.mark.parametrize("first", range(0, len(CORPUS), 24))
def test_hostile_texts_in_tables(first: int) -> None:
    """No cell begins a formula, no text ends its record, and each reads back as the cleaned text."""
    plan, _, _ = hostile_plan(first, 7)
    text = days_csv(plan)
    rows = _rows(text)
    assert {len(row) for row in rows} == {len(DAY_COLUMNS)}
    numbers = {
        i for i, name in enumerate(DAY_COLUMNS) if name.endswith(("_km", "_min")) or name in ("lat", "lon", "price", "day")
    }
    for row, day in zip(rows[1:], plan.days, strict=True):
        for i, cell in enumerate(row):
            if i in numbers:
                assert not cell or float(cell) == float(cell)
            else:
                assert not cell.lstrip(" \u00a0\u2068").startswith(("=", "+", "-", "@", "＝", "＋", "－", "＠", "\t", "\r"))
        assert row[DAY_COLUMNS.index("weather")] == csv_cell(day.weather)
        assert row[DAY_COLUMNS.index("to")] == csv_cell(spot_name(day.end))


# ------------------------------------------------------------------------------------------------ GPX


def test_another_reader_opens_gpx_and_kml(tmp_path: Path) -> None:
    """GDAL, by way of pyogrio, opens both and finds as many way-points and tracks, placemarks and folders, as were written."""
    import pyogrio

    (tmp_path / "route.gpx").write_text(gpx_text(PLAN, REGION), encoding="utf-8")
    (tmp_path / "route.kml").write_text(kml_text(PLAN, REGION), encoding="utf-8")
    points = pyogrio.read_dataframe(tmp_path / "route.gpx", layer="waypoints")
    tracks = pyogrio.read_dataframe(tmp_path / "route.gpx", layer="tracks")
    assert points["name"].tolist() == [mark_name(mark) for mark in marks_of(PLAN)]
    assert len(tracks) == sum(len({leg.mode for leg in day.legs if leg.runs.piece}) for day in PLAN.days)
    assert "Days" in {name for name, _ in pyogrio.list_layers(tmp_path / "route.kml")}


def test_gpx_over_the_antimeridian() -> None:
    """Longitudes stay below 180 as the schema asks, and no box is told that would go round the world."""
    root = assert_gpx(gpx_text(FAR_PLAN, FAR))
    assert not root.findall(".//{*}bounds")
    lon = [float(e.attrib["lon"]) for e in root.iter("{http://www.topografix.com/GPX/1/1}trkpt")]
    assert min(lon) < -179.5 < 179.5 < max(lon)
    assert assert_gpx(gpx_text(PLAN, REGION)).findall(".//{*}bounds")


def test_gpx_says_to_follow_the_tracks() -> None:
    """A device that makes its own way between route points may leave the sealed roads: each route says so."""
    assert gpx_text(PLAN, REGION).count("Follow the tracks") == 1 + sum(
        any(leg.mode == "van" for leg in d.legs) for d in PLAN.days
    )
