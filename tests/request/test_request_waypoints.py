"""Way-points that somebody brings: three kinds of file, and a clear line for everything else."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tripplan.model.errors import BadInputError
from tripplan.request.waypoints import MOST_POINTS, WayPoint, load_waypoints

TWO = (WayPoint("a", -26.5, -43.25), WayPoint("b", -26.25, -43.0))

GPX_ROUTE = """<?xml version="1.0"?>
<gpx version="1.1" creator="x" xmlns="http://www.topografix.com/GPX/1/1">
  <wpt lat="1" lon="2"><name>beside the route</name></wpt>
  <rte><name>way</name>
    <rtept lat="-43.25" lon="-26.5"><name>a</name></rtept>
    <rtept lat="-43.0" lon="-26.25"><name>b</name></rtept>
  </rte>
</gpx>"""


def write(folder: Path, name: str, text: str | bytes) -> Path:
    """Write a file to read."""
    path = folder / name
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return path


@pytest.mark.parametrize(
    ("name", "text"),
    [
        ("a.csv", "name,lat,lon\na,-43.25,-26.5\nb,-43.0,-26.25\n"),
        ("a.csv", "\ufefflongitude;latitude;Name;more\r\n-26.5;-43.25;a;x\r\n\r\n-26.25;-43.0;b;y\r\n"),
        ("a.csv", "name,lat,lon\ra,-43.25,-26.5\rb,-43.0,-26.25\r"),
        ("a.csv", "\n \nname,lat,lon\na,-43.25,-26.5\n,,\nb,-43.0,-26.25\n"),
        ("a.tsv", "name\tLat\tLng\na\t-43.25\t-26.5\nb\t-4.3e1\t-26.25\n"),
        ("a.csv", 'name,lat,lon\n"a",-43.25,-26.5\n"b",-43.,-26.25'),
        ("a.gpx", GPX_ROUTE),
        ("a.gpx", GPX_ROUTE.replace('<wpt lat="1" lon="2"><name>beside the route</name></wpt>', "").replace("rtept", "wpt").replace("<rte><name>way</name>", "").replace("</rte>", "")),
        ("a.xyz", GPX_ROUTE),
        (
            "a.geojson",
            json.dumps(
                {
                    "type": "FeatureCollection",
                    "features": [
                        {"type": "Feature", "properties": {"name": "a"}, "geometry": {"type": "Point", "coordinates": [-26.5, -43.25, 12]}},
                        {"type": "Feature", "properties": {"name": "b"}, "geometry": {"type": "Point", "coordinates": [-26.25, -43]}},
                    ],
                }
            ),
        ),
    ],
)  # fmt: skip
def test_points_in_order(tmp_path: Path, name: str, text: str) -> None:
    """The same two points come out of every kind of file."""
    assert load_waypoints(write(tmp_path, name, text)) == TWO


def test_a_line_is_a_way(tmp_path: Path) -> None:
    """One LineString gives its positions, which have no names."""
    line = {"type": "LineString", "coordinates": [[-26.5, -43.25], [-26.25, -43.0]]}
    assert load_waypoints(write(tmp_path, "a.json", json.dumps(line))) == tuple(WayPoint("", p.lon, p.lat) for p in TWO)


def feature(kind: str, coordinates: object) -> dict[str, object]:
    """Return one GeoJSON feature."""
    return {"type": "Feature", "properties": None, "geometry": {"type": kind, "coordinates": coordinates}}


def collection(*features: object) -> str:
    """Return a GeoJSON text."""
    return json.dumps({"type": "FeatureCollection", "features": list(features)})


CSV, KINDS = "name,lat,lon\n", "a .csv with the columns lat and lon, a .geojson with points or one line, or a .gpx with a route"
LINES = [
    ("a.csv", CSV + "a,95,10\nb,1,1\n", ", row 2: latitude 95, longitude 10; accepted: latitude -90 to 90, longitude -180 to 180; are the two swapped?"),
    ("a.csv", CSV + "a,95,1000\n", ", row 2: latitude 95, longitude 1000; accepted: latitude -90 to 90, longitude -180 to 180; mend the point"),
    ("a.csv", "name;lat;lon\na;43,25;26,5\n", ', row 2: `lat` is "43,25"; accepted: degrees with a decimal point; write 43.25'),
    ("a.csv", "name,lat,lon\na,43,25,26,5\n", ", row 2: has 5 columns, the first line 3 (a comma for the decimal point?); accepted: as many columns as names, decimal points; write 43.21, not 43,21, and put texts with commas in double quotes"),
    ("a.csv", CSV + "a,43°12',5\n", """, row 2: `lat` is "43°12'"; accepted: degrees as a decimal number, such as -43.21; mend the value"""),
    ("a.csv", CSV + "a,nan,5\n", ', row 2: `lat` is "nan"; accepted: degrees as a decimal number, such as -43.21; mend the value'),
    ("a.csv", CSV + "a,1,\n", ', row 2: `lon` is ""; accepted: degrees as a decimal number, such as -43.21; mend the value'),
    ("a.csv", "name,lat,long_deg\na,1,2\n", ": has no column `lon` (columns: name, lat, long_deg); accepted: the columns lat and lon, and name if you like; name the columns in the first line"),
    ("a.csv", "lat,lat,lon\n1,1,1\n2,2,2\n", ": column `lat` stands twice; accepted: each once; take one out"),
    ("a.csv", "\n\nname,lat,lon\n\n\"a\nb\",1,1\nb,x,1\n", ', row 6: `lat` is "x"; accepted: degrees as a decimal number, such as -43.21; mend the value'),
    ("a.csv", "hello\n", ': first line "hello" has one column; accepted: a first line with the column names, such as name,lat,lon; add the column names'),
    ("a.csv", "", f": is empty; accepted: {KINDS}; check the file"),
    ("a.csv", CSV, f": holds 0 points; accepted: 2 to {MOST_POINTS} points; add the way's points"),
    ("a.csv", CSV + "a,1,1\n", f": holds 1 point; accepted: 2 to {MOST_POINTS} points; add the way's points"),
    ("a.csv", CSV + "a,1,1\n" * 2500, f": holds {MOST_POINTS + 1} points; accepted: 2 to {MOST_POINTS} points; thin the way-points; a recorded track is no route"),
    ("a.csv", CSV + '"a,1,1\n', f": is not CSV (unexpected end of data); accepted: {KINDS}; check the quotes"),
    ("a.csv", b"name,lat,lon\n\xe9,1,1\n", f": is not UTF-8 text (byte 14 is 0xe9); accepted: {KINDS}; save it as UTF-8 text"),
    ("a.csv", b"x" * 5_000_001, f": is larger than 5 MB; accepted: {KINDS}, at most 5 MB; take a smaller one"),
    ("a.geojson", "{", f": is not JSON (Expecting property name enclosed in double quotes: line 1 column 2 (char 1)); accepted: {KINDS}; check the file"),
    ("a.geojson", "[" * 100_000, f": is nested too deep; accepted: {KINDS}; check the file"),
    ("a.geojson", "[]", f": is no GeoJSON object; accepted: {KINDS}; check the file"),
    ("a.geojson", collection(feature("Polygon", [])), ", feature 1: has the geometry Polygon; accepted: Point, or one LineString; leave others out"),
    ("a.geojson", collection(feature("Point", [1])), ", feature 1: position is [1]; accepted: [longitude, latitude], two numbers; mend the position"),
    ("a.geojson", collection(feature("Point", ["1", "2"])), ', feature 1: position is ["1", "2"]; accepted: [longitude, latitude], two numbers; mend the position'),
    ("a.geojson", collection(feature("Point", [-43.2, -126.0])), ", feature 1: latitude -126, longitude -43.2; accepted: latitude -90 to 90, longitude -180 to 180; are the two swapped?"),
    ("a.geojson", collection(feature("LineString", [[1, 1], [2, 2]]), feature("Point", [1, 1])), ": holds 1 line and 1 point; accepted: points alone, or one LineString alone; keep the one that is the way"),
    ("a.geojson", collection(), f": holds 0 points; accepted: 2 to {MOST_POINTS} points; add the way's points"),
    ("a.gpx", "<gpx>", f": is not XML (no element found: line 1, column 5); accepted: {KINDS}; check the file"),
    ("a.gpx", "<kml/>", f": is not GPX but <kml>; accepted: {KINDS}; check the file"),
    ("a.gpx", '<!DOCTYPE gpx [<!ENTITY a "aaaa">]><gpx/>', ": declares a document type or entities; accepted: plain GPX without <!DOCTYPE>; save the route again as plain GPX"),
    ("a.gpx", "<gpx><rte/><rte/></gpx>", ": holds 2 routes; accepted: one route; keep one"),
    ("a.gpx", "<gpx><trk/></gpx>", ": holds a recorded track and no route; accepted: a route (rte) or way-points (wpt); save it as a route"),
    ("a.gpx", GPX_ROUTE.replace('lat="-43.25"', ""), ', point 1: `lat` is ""; accepted: degrees as a decimal number, such as -43.21; mend the value'),
]  # fmt: skip


@pytest.mark.parametrize(("name", "text", "says"), LINES)
def test_each_mistake_is_one_clear_line(tmp_path: Path, name: str, text: str | bytes, says: str) -> None:
    """What, where, the value met, what is accepted, what to do: on one line."""
    path = write(tmp_path, name, text)
    with pytest.raises(BadInputError) as caught:
        load_waypoints(path)
    assert str(caught.value) == f"{path}{says}"


def test_no_such_file(tmp_path: Path) -> None:
    """A path that leads nowhere."""
    with pytest.raises(BadInputError, match=r"none\.csv: no such file; accepted: a \.csv"):
        load_waypoints(tmp_path / "none.csv")


def test_deep_and_wide_xml_is_survived(tmp_path: Path) -> None:
    """Elements nested as deep as the size limit allows are refused; a name as long does no harm."""
    deep = write(tmp_path, "deep.gpx", "<gpx>" + "<a>" * 200_000 + "</a>" * 200_000 + "</gpx>")
    with pytest.raises(BadInputError, match="nested too deep"):
        load_waypoints(deep)
    long_name = write(tmp_path, "long.gpx", GPX_ROUTE.replace("<name>a</name>", f"<name>{'a' * 4_000_000}</name>"))
    assert len(load_waypoints(long_name)[0].name) == 200


@settings(max_examples=200, deadline=None, derandomize=True)
@given(
    st.sampled_from(["a.csv", "a.gpx", "a.geojson", "a.txt"]),
    st.one_of(
        st.binary(max_size=60),
        st.text(st.sampled_from('latlonname,;\t"\n-1.5{}[]<>/"gpxrte:'), max_size=80).map(str.encode),
        st.tuples(st.integers(0, len(GPX_ROUTE)), st.binary(max_size=4)).map(
            lambda t: GPX_ROUTE.encode()[: t[0]] + t[1] + GPX_ROUTE.encode()[t[0] + 1 :]
        ),
    ),
)
def test_any_bytes_are_taken_or_told(tmp_path_factory: pytest.TempPathFactory, name: str, content: bytes) -> None:
    """No file ends in another error than the one for bad input."""
    path = write(tmp_path_factory.mktemp("any"), name, content)
    try:
        assert len(load_waypoints(path)) >= 2
    except BadInputError as error:
        assert "\n" not in str(error)  # noqa: PT017
