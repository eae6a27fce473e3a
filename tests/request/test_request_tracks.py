"""Recorded tracks that somebody brings: three kinds of file, and a clear line for everything that could hurt."""

from __future__ import annotations

import gzip
import io
import json
import time
import zipfile
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tripplan.model.errors import BadInputError
from tripplan.model.track import Track
from tripplan.request import track_points
from tripplan.request.tracks import is_track, load_track

# 2027-02-06T10:00:00Z, from the calendar: 20,855 days after 1970-01-01.
TEN = 20_855 * 86_400 + 10 * 3600
GPX = """<?xml version="1.0"?>
<gpx version="1.1" creator="x" xmlns="http://www.topografix.com/GPX/1/1">
  <metadata><name>not this</name><time>2001-01-01T00:00:00Z</time></metadata>
  <wpt lat="1" lon="2"><name>a point</name></wpt>
  <trk><name> day one </name>
    <trkseg>
      <trkpt lat="-43.25" lon="-26.5"><ele>4</ele><time>2027-02-06T10:00:00Z</time></trkpt>
      <trkpt lat="-43.24" lon="-26.5"><time>2027-02-06T10:00:05.500Z</time><extensions><x><time>1999-01-01</time></x></extensions></trkpt>
    </trkseg>
    <trkseg><trkpt lat="-43.0" lon="-26.25"><time>2027-02-06T23:00:00+13:00</time></trkpt></trkseg>
  </trk>
</gpx>"""
KML = """<?xml version="1.0" encoding="UTF-8"?>
<kml xmlns="http://www.opengis.net/kml/2.2" xmlns:gx="http://www.google.com/kml/ext/2.2"><Document><name>day one</name>
 <Placemark><Point><coordinates>1,2,0</coordinates></Point></Placemark>
 <Placemark><gx:MultiTrack>
  <gx:Track><when>2027-02-06T10:00:00Z</when><when>2027-02-06T10:00:05.5Z</when>
    <gx:coord>-26.5 -43.25 4</gx:coord><gx:coord>-26.5 -43.24 4</gx:coord></gx:Track>
  <gx:Track><when>2027-02-06T10:00:00Z</when><gx:coord>-26.25 -43.0 0</gx:coord></gx:Track>
 </gx:MultiTrack></Placemark></Document></kml>"""
LINES = [[[-26.5, -43.25], [-26.5, -43.24, 7]], [[-26.25, -43.0]]]
TIMES = [["2027-02-06T10:00:00Z", TEN + 5.5], [TEN * 1000]]
GEOJSON = json.dumps(
    {
        "type": "FeatureCollection",
        "features": [
            {"type": "Feature", "properties": {}, "geometry": {"type": "Point", "coordinates": [1, 2]}},
            {"type": "Feature", "properties": {"name": "day one", "coordTimes": TIMES}, "geometry": {"type": "MultiLineString", "coordinates": LINES}},
        ],
    }
)  # fmt: skip


def write(folder: Path, name: str, text: str | bytes) -> Path:
    """Write a file to read."""
    path = folder / name
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return path


PARTS = "2 parts, checked one after the other: the recorder was off in between, or several tracks share the file"


@pytest.mark.parametrize(("name", "text"), [("a.gpx", GPX), ("a.kml", KML), ("a.geojson", GEOJSON), ("a.bin", GPX), ("a.bin", KML), ("a.bin", GEOJSON)])  # fmt: skip
def test_one_track_in_three_formats(tmp_path: Path, name: str, text: str) -> None:
    """The same points, times and parts come out of GPX (trk), KML (gx:Track) and GeoJSON, whatever the file is called."""
    track = load_track(write(tmp_path, name, text))
    assert track.name == "day one"
    assert track.lon.tolist() == [-26.5, -26.5, -26.25]
    assert track.lat.tolist() == [-43.25, -43.24, -43.0]
    assert track.time_s.tolist() == [TEN, TEN + 5.5, TEN]
    assert track.part.tolist() == [0, 0, 1]
    assert track.remarks == ("times run backwards at 1 point: no speed is judged there", PARTS)


def test_a_line_of_kml_has_no_times(tmp_path: Path) -> None:
    """A LineString gives its positions; altitude is not needed, white space between positions is any."""
    text = "<kml><Placemark><LineString><coordinates>\n 8.5,47.1,400\t8.6,47.2  8.7,47.3,1e2\n</coordinates></LineString></Placemark></kml>"
    track = load_track(write(tmp_path, "a.kml", text))
    assert track.lon.tolist() == [8.5, 8.6, 8.7]
    assert np.isnan(track.time_s).all()


def test_an_independent_reader_finds_the_same(tmp_path: Path) -> None:
    """GDAL's reader of GPX, by way of pyogrio, finds the same points, parts and times in the same file."""
    import pyogrio

    path = write(tmp_path, "a.gpx", GPX)
    points, track = pyogrio.read_dataframe(path, layer="track_points"), load_track(path)
    assert len(points) == 3
    assert points.geometry.x.tolist() == track.lon.tolist()
    assert points.geometry.y.tolist() == track.lat.tolist()
    assert points.track_seg_id.tolist() == track.part.tolist()
    assert [when.timestamp() for when in points.time] == track.time_s.tolist()


def test_times_that_are_missing_are_remarked_on(tmp_path: Path) -> None:
    """A track of which some points have a time is taken, with a remark; a time without a zone is UTC."""
    text = GPX.replace("<time>2027-02-06T10:00:05.500Z</time>", "").replace("10:00:00Z", "10:00:00")
    track = load_track(write(tmp_path, "a.gpx", text))
    assert track.time_s[0] == TEN
    assert np.isnan(track.time_s[1])
    assert track.remarks == ("1 of 3 points have no time", PARTS)


def outcome(path: Path) -> Track | str:
    """Return the track of a file, or the line that says what is wrong."""
    try:
        return load_track(path)
    except BadInputError as error:
        return error.one_line()


POINT = '<trkpt lat="{}" lon="{}">{}</trkpt>'


def gpx_of(*points: str) -> str:
    """Return a GPX text with these points."""
    return "<gpx><trk><trkseg>" + "".join(points) + "</trkseg></trk></gpx>"


GOOD = POINT.format(1, 2, "")
LAUGHS = '<!DOCTYPE lolz [<!ENTITY a "lol">' + "".join(f'<!ENTITY {b} "{f"&{a};" * 10}">' for a, b in zip("abcdefgh", "bcdefghi", strict=True)) + "]><gpx>&i;</gpx>"  # fmt: skip


def zipped_zeros() -> bytes:
    """Return a zip file with a GPX file of ten million zeros in it."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as file:
        file.writestr("a.gpx", b"0" * 10_000_000)
    return out.getvalue()


HARMFUL: list[tuple[str, str | bytes, str]] = [
    ("laughs.gpx", LAUGHS, "declares a document type or entities"),
    ("outside.kml", '<!DOCTYPE kml [<!ENTITY x SYSTEM "file:///etc/hostname">]><kml>&x;</kml>', "declares a document type or entities"),
    ("deep.gpx", "<gpx>" * 200_000, "is nested too deep"),
    ("deep.kml", "<kml>" + "<Folder>" * 200_000, "is nested too deep"),
    ("deep.geojson", "[" * 1_000_000, "is nested too deep"),
    ("deep2.geojson", '{"type":"LineString","coordinates":' + "[" * 900 + "]" * 900 + "}", "position is a list"),
    ("zeros.gpx", zipped_zeros(), "is packed (zip)"),
    ("zeros.kmz", zipped_zeros(), "is packed (zip)"),
    ("zeros.gpx.gz", gzip.compress(b"0" * 10_000_000), "is packed (gzip)"),
    ("zeros.gpx", b"0" * 41_000_000, "is larger than 40 MB"),
    ("many.gpx", "<gpx>" + "<a/>" * 2_000_001, "holds more than 2,000,000 elements"),
    ("huge.gpx", gpx_of(GOOD, POINT.format("1" + "0" * 400, 2, "")), "latitude is '1000"),
    ("exponent.gpx", gpx_of(GOOD, POINT.format("1e999", 2, "")), "latitude is '1e999'"),
    ("nan.gpx", gpx_of(GOOD, POINT.format("nan", 2, "")), "latitude is 'nan'"),
    ("nan.geojson", '{"type":"LineString","coordinates":[[1,2],[NaN,3]]}', "longitude is nan"),
    ("infinite.geojson", '{"type":"LineString","coordinates":[[1,2],[Infinity,3]]}', "longitude is inf"),
    ("big.geojson", '{"type":"LineString","coordinates":[[1,2],[' + "9" * 400 + ",3]]}", "longitude is 999"),
    ("digits.geojson", '{"type":"LineString","coordinates":[[1,2],[' + "9" * 5000 + ",3]]}", "is not JSON"),
    ("true.geojson", '{"type":"LineString","coordinates":[[1,2],[true,3]]}', "longitude is True"),
    ("text.geojson", '{"type":"LineString","coordinates":"x"}', "has no coordinates"),
    ("kind.geojson", '{"type":"Polygon","coordinates":[]}', "has the geometry 'Polygon'"),
    ("kind2.geojson", '{"type":"Feature","geometry":{"type":' + "[" * 500 + "]" * 500 + "}}", "has the geometry a list"),
    ("times.geojson", '{"type":"Feature","properties":{"coordTimes":[1]},"geometry":{"type":"LineString","coordinates":[[1,2],[1,3]]}}', "has 1 times and 2 positions"),
    ("swapped.gpx", gpx_of(GOOD, POINT.format(-150, 2, "")), "are the two swapped"),
    ("time.gpx", gpx_of(GOOD, POINT.format(1, 2, "<time>soon</time>")), "time is 'soon'"),
    ("year.gpx", gpx_of(GOOD, POINT.format(1, 2, "<time>99999-01-01T00:00:00Z</time>")), "time is '99999"),
    ("early.gpx", gpx_of(GOOD, POINT.format(1, 2, "<time>0001-01-01T00:00:00+23:00</time>")), ""),
    ("none.gpx", "<gpx></gpx>", "holds 0 points of a track"),
    ("one.gpx", gpx_of(GOOD), "holds 1 point of a track"),
    ("route.gpx", '<gpx><rte><rtept lat="1" lon="2"/></rte></gpx>', "holds a route and no track"),
    ("cut.gpx", gpx_of(GOOD, GOOD)[:-9], "is not XML"),
    ("other.gpx", "<html></html>", "is not GPX but <html>"),
    ("attributes.gpx", gpx_of(GOOD, '<trkpt lat="1"/>'), "longitude is ''"),
    ("coord.kml", "<kml><Track><when>2027-01-01</when><coord>1 2</coord><coord>1 3</coord></Track></kml>", "has 1 times and 2 positions"),
    ("comma.kml", "<kml><LineString><coordinates>8;47 8,1</coordinates></LineString></kml>", "longitude is '8;47'"),
    ("bytes.gpx", b"\xff\xfe<\x00g\x00", "is not UTF-8"),
    ("plain.txt", "hello", "is no track"),
    ("empty.gpx", "", "is not XML"),
]  # fmt: skip


@pytest.mark.parametrize(("name", "text", "says"), [pytest.param(*case, id=case[0]) for case in HARMFUL])
def test_what_could_hurt_ends_in_one_line(tmp_path: Path, name: str, text: str | bytes, says: str) -> None:
    """Bombs, deep nesting, huge and missing numbers, cut and foreign files: one line with the file's name, quickly."""
    start = time.process_time()
    out = outcome(write(tmp_path, name, text))
    # Hangs are what is looked for: the slowest of these takes two to three seconds.
    assert time.process_time() - start < 15
    if isinstance(out, Track):
        assert not says
        assert len(out.lon) == 2
    else:
        assert says in out
        assert name in out
        assert "\n" not in out
        assert len(out) < 600


def test_more_points_than_are_taken(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Beyond the limit the reader stops at once and says what to do."""
    monkeypatch.setattr(track_points, "MOST_TRACK_POINTS", 3)
    with pytest.raises(BadInputError, match=r"holds more than 3 points.*cut it into days"):
        load_track(write(tmp_path, "a.gpx", gpx_of(*[GOOD] * 4)))


@settings(max_examples=150, deadline=None)
@given(st.sampled_from(["a.gpx", "a.kml", "a.geojson", "a"]), st.sampled_from([GPX, KML, GEOJSON]), st.data())
def test_spoilt_files_end_in_a_track_or_one_line(
    tmp_path_factory: pytest.TempPathFactory, name: str, text: str, data: st.DataObject
) -> None:
    """A sound file with bytes cut, changed or put in gives a sound track or one line, never anything else."""
    raw = bytearray(text.encode())
    for _ in range(data.draw(st.integers(1, 6))):
        at = data.draw(st.integers(0, len(raw) - 1))
        raw[at : at + data.draw(st.integers(0, 3))] = data.draw(st.binary(max_size=3))
    path = write(tmp_path_factory.getbasetemp(), name, bytes(raw))
    is_track(path)
    out = outcome(path)
    if isinstance(out, Track):
        assert len(out.lon) >= 2
        assert np.isfinite(out.lon).all()
        assert (np.abs(out.lat) <= 90).all()
    else:
        assert "\n" not in out


DENSE = json.dumps({"type": "LineString", "coordinates": [[8 + n / 1000, 47] for n in range(30)]})
SPARSE = json.dumps({"type": "LineString", "coordinates": [[8 + n / 10, 47] for n in range(30)]})


@pytest.mark.parametrize(
    ("name", "text", "answer"),
    [
        ("a.gpx", GPX, True), ("a.gpx", GPX.replace("</trk>", "</trk><rte></rte>"), False), ("a.gpx", "<gpx><wpt lat='1' lon='2'/></gpx>", False),
        ("a.kml", KML, True), ("a.geojson", GEOJSON, True), ("a.geojson", DENSE, True), ("a.geojson", SPARSE, False),
        ("a.geojson", '{"type":"Point","coordinates":[1,2]}', False), ("a.csv", "lat,lon\n1,2\n", False), ("a.geojson", "{", False),
        ("a.kmz", zipped_zeros(), True),
    ],
)  # fmt: skip
def test_what_is_taken_for_a_track(tmp_path: Path, name: str, text: str | bytes, answer: bool) -> None:
    """GPX with trk and KML are tracks; a GeoJSON line is one with times or with points 76 m apart, not with 7.6 km."""
    assert is_track(write(tmp_path, name, text)) is answer


def test_no_such_file(tmp_path: Path) -> None:
    """A missing file and a folder are named."""
    assert not is_track(tmp_path / "none.gpx")
    with pytest.raises(BadInputError, match="no such file"):
        load_track(tmp_path / "none.gpx")
    with pytest.raises(BadInputError, match="is a folder"):
        load_track(tmp_path)
