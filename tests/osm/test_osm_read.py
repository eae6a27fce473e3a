"""Files of every kind, sound and not, to raw maps."""

from __future__ import annotations

import bz2
import gzip
import random
from pathlib import Path

import numpy as np
import osmium
import pytest
from helpers.drawn import draw
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tripplan.model.errors import BadInputError
from tripplan.osm.raw import RawMap
from tripplan.osm.read import read_file

_MAP = """
A--B--C--D
   |  |
   E--F
"""


def _drawn(tmp_path: Path, **more: object) -> Path:
    return draw(
        _MAP, {"ABCD": "highway=primary name=High ref=A1 surface=asphalt", "BEFC": "highway=residential", "EF#2": "route=ferry"},
        nodes={"E": "barrier=bollard", "A": {"place": "village", "name": "Übersee, West"}}, folder=tmp_path, **more,
    ).path  # fmt: skip


def _as(path: Path, ending: str) -> Path:
    """Write the same map in another form."""
    out = path.with_name(f"other{ending}")
    plain = out.with_name("other.osm") if ending in (".osm.gz", ".osm.bz2") else out
    with osmium.SimpleWriter(str(plain)) as writer:
        for thing in osmium.FileProcessor(str(path)):
            writer.add(thing)
    if ending == ".osm.gz":
        out.write_bytes(gzip.compress(plain.read_bytes()))
    if ending == ".osm.bz2":
        out.write_bytes(bz2.compress(plain.read_bytes()))
    return out


def _same(a: RawMap, b: RawMap) -> None:
    for name in ("way_id", "line_way", "line_ptr", "node_id", "lon_e7", "lat_e7"):
        assert np.array_equal(getattr(a, name), getattr(b, name)), name
    assert a.tag_sets == b.tag_sets
    assert a.names == b.names
    assert a.nodes == b.nodes


@pytest.mark.parametrize("ending", [".osm.pbf", ".osm", ".osm.gz", ".osm.bz2"])
def test_each_kind_of_file_gives_the_same_map(tmp_path: Path, ending: str) -> None:
    """pbf, XML and packed XML of one map are read alike."""
    path = _drawn(tmp_path)
    _same(read_file(path), read_file(_as(path, ending)))


def test_names_are_apart_from_what_is_judged(tmp_path: Path) -> None:
    """Name and ref are no part of a tag combination, so ways that differ only there are judged once."""
    raw = read_file(
        draw("A-B-C", {"AB": "highway=service name=x ref=1 source=survey", "BC": "highway=service name=y"}, folder=tmp_path).path
    )
    assert raw.tag_sets == [{"highway": "service"}]
    assert [raw.names[k] for k in raw.way_name] == ["x", "y"]


def test_a_clipped_way_keeps_its_sound_stretches(tmp_path: Path) -> None:
    """A missing node cuts the way; what is left and right of it stays, single nodes go, all of it is counted."""
    raw = read_file(
        draw("A-B-C-D-E-F", {"ABCDEF": "highway=tertiary", "EF": "highway=service"}, missing="CE", folder=tmp_path).path
    )
    assert raw.node_id.tolist() == [1, 2]
    assert raw.way_id.tolist() == [101]
    assert raw.faults["clipped ways kept in part"] == 2
    assert raw.faults["stretches of a single node left out"] == 3
    assert raw.faults["ways without a sound stretch left out"] == 1


def test_things_met_twice_are_counted(tmp_path: Path) -> None:
    """A way or a node twice in a file counts once; a node repeated in a way is dropped."""
    path = tmp_path / "twice.osm.opl"
    path.write_text(
        "n1 Tplace=town,name=T x1 y1\nn1 Tplace=town,name=T x1 y1\nn2 x1.1 y1\nw1 Thighway=primary Nn1,n2,n2\nw1 Thighway=primary Nn1,n2\n"
        "r1 Ttype=restriction,restriction=no_u_turn Mw1@from\nr1 Ttype=restriction Mw1@from\n"
    )
    raw = read_file(path)
    assert raw.way_id.tolist() == [1]
    assert raw.node_id.tolist() == [1, 2]
    assert len(raw.nodes) == 1
    for fault in ("ways met twice", "nodes met twice", "nodes repeated in a way", "relations met twice"):
        assert raw.faults[fault] == 1, fault


def test_the_data_date_is_the_headers_else_the_newest_objects(tmp_path: Path) -> None:
    """Replication time of the header first, then the newest time stamp, then the file's own date, said so."""
    path = _drawn(tmp_path)
    assert "date of the file" in read_file(path).data_date
    stamped = tmp_path / "stamped.osm.opl"
    stamped.write_text(
        "n1 v1 t2019-03-04T05:06:07Z x1 y1\nn2 v1 t2020-01-02T00:00:00Z Tbarrier=gate x1 y2\nw1 v1 t2018-01-01T00:00:00Z Thighway=primary Nn1,n2\n"
    )
    assert read_file(stamped).data_date == "2020-01-02"
    headed = tmp_path / "headed.osm.pbf"
    header = osmium.io.Header()
    header.set("osmosis_replication_timestamp", "2021-07-08T00:00:00Z")
    with osmium.SimpleWriter(str(headed), header=header) as writer:
        for thing in osmium.FileProcessor(str(stamped)):
            writer.add(thing)
    assert read_file(headed).data_date == "2021-07-08"


def test_a_site_of_several_ways_is_joined_to_a_ring(tmp_path: Path) -> None:
    """Outer ways in any order and direction make one ring; a missing one is counted and the place is kept."""
    relation = [
        ({"type": "multipolygon", "tourism": "camp_site", "name": "Meadow"}, [("outer", "AB"), ("outer", "DCB"), ("outer", "DA")])
    ]
    ways = {"AB": "", "DCB": "", "DA": "", "AC": "highway=service"}
    raw = read_file(draw("A-B\n|  |\nD-C", ways, relations=relation, folder=tmp_path).path)
    (area,) = raw.areas
    assert (area.ref, len(area.outer), len(area.outer[0])) == ("r1001", 1, 5)
    assert raw.faults == {}
    raw = read_file(draw("A-B\n|  |\nD-C", ways, relations=relation, folder=tmp_path, missing="D").path)
    assert raw.areas[0].ref == "r1001"
    assert raw.faults["areas not whole (place)"] == 1


@pytest.mark.parametrize(
    ("name", "content", "words"),
    [
        ("gone.osm.pbf", None, "no such file"),
        ("notes.txt", b"hello", "ending"),
        ("empty.osm.pbf", b"", "empty"),
        ("junk.osm.pbf", b"PK\x03\x04 this is no map at all" * 20, "sound|cut off"),
        ("junk.osm", b"<html><body>not a map</body></html>", "sound|cut off"),
        ("half.osm", b'<osm version="0.6"><node id="1" lat="1" lon="1"/><way id="1">', "sound|cut off"),
        ("junk.osm.gz", b"not gzip", "sound|cut off"),
        ("roadless.osm", b'<osm version="0.6"><node id="1" lat="1" lon="1"/></osm>', "no roads"),
        ("latin.osm.opl", b"n1 Tname=\xff\xfe x1 y1\nw1 T\xff Nn1\n", "sound|no roads"),
    ],
)
def test_what_is_no_map_is_one_clear_line(tmp_path: Path, name: str, content: bytes | None, words: str) -> None:
    """No such file, not OSM, cut off, no roads: one line, no traceback."""
    path = tmp_path / name
    if content is not None:
        path.write_bytes(content)
    with pytest.raises(BadInputError, match=words) as met:
        read_file(path)
    assert "\n" not in met.value.one_line()


def test_a_folder_is_no_file(tmp_path: Path) -> None:
    """A folder with a map's name is refused."""
    (tmp_path / "x.osm").mkdir()
    with pytest.raises(BadInputError, match="not a file"):
        read_file(tmp_path / "x.osm")


def _broken_is_clear(data: bytes, path: Path) -> None:
    from tripplan.region.build import build

    path.write_bytes(data)
    line = ""
    try:
        build(path)
    except BadInputError as error:
        line = error.one_line()
    assert "\n" not in line


def test_cut_and_bit_flipped_files_end_in_words_or_a_region(tmp_path: Path) -> None:
    """Whatever bytes are cut or flipped, the answer is a region or one clear line: 120 seeded cases on pbf and XML."""
    path = _drawn(tmp_path)
    rng = random.Random(20240304)
    for ending in (".osm.pbf", ".osm"):
        whole = _as(path, ending).read_bytes()
        for _ in range(20):
            _broken_is_clear(whole[: rng.randrange(len(whole))], tmp_path / f"cut{ending}")
        for _ in range(40):
            data = bytearray(whole)
            for _ in range(rng.choice((1, 1, 3))):
                data[rng.randrange(len(data))] ^= 1 << rng.randrange(8)
            _broken_is_clear(bytes(data), tmp_path / f"flipped{ending}")


_WORD = st.sampled_from(["highway=primary", "highway=track,tracktype=grade9", "highway=residential,oneway=-1", "route=ferry,duration=PTx", "building=yes",
                         "highway=service,maxheight=%20%,maxspeed=a;b,incline=up", "tourism=camp_site,name=%7b%%7b%x", "natural=water,name=L"])  # fmt: skip
_NODES = st.lists(st.tuples(st.integers(1, 8), st.sampled_from(["", "barrier=gate", "barrier=wall%20%of%20%china", "tourism=caravan_site", "place=town,name=T,population=1e9"])), max_size=8)  # fmt: skip
_WAYS = st.lists(st.tuples(st.integers(1, 5), _WORD, st.lists(st.integers(1, 9), max_size=6)), max_size=6)
_RELATIONS = st.lists(
    st.tuples(
        st.sampled_from(["type=restriction,restriction=no_left_turn", "type=multipolygon,tourism=camp_site", "type=boundary,boundary=administrative,admin_level=2,ISO3166-1=XX"]),
        st.lists(st.tuples(st.sampled_from("nw"), st.integers(1, 9), st.sampled_from(["from", "via", "to", "outer", "inner", ""])), max_size=5),
    ),
    max_size=4,
)  # fmt: skip


@given(_NODES, _WAYS, _RELATIONS)
@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_any_map_is_a_region_or_one_clear_line(tmp_path: Path, nodes: list, ways: list, relations: list) -> None:
    """Missing nodes, odd tags, ways of one node, relations of nothing: a sound region or BadInputError, never else."""
    from tripplan.region.build import build

    lines = [f"n{number} T{tags} x{number / 7:.7f} y{50 + number * number % 5 / 9:.7f}" for number, tags in nodes]
    lines += [f"w{number} T{tags} N{','.join(f'n{node}' for node in refs)}" for number, tags, refs in ways]
    lines += [
        f"r{k} T{tags} M{','.join(f'{kind}{ref}@{role}' for kind, ref, role in members)}"
        for k, (tags, members) in enumerate(relations, 1)
    ]
    path = tmp_path / "any.osm.opl"
    path.write_text("\n".join(lines) + "\n")
    try:
        region = build(path)
    except BadInputError:
        return
    pieces = region.pieces
    assert np.all(np.diff(pieces.ptr) >= 2)
    assert np.all(np.isfinite(pieces.length_m))
    assert np.all(pieces.length_m >= 0)
    for end, point in ((pieces.a, pieces.ptr[:-1]), (pieces.b, pieces.ptr[1:] - 1)):
        assert np.array_equal(region.junctions.lon_e7[end], pieces.lon_e7[point])
        assert np.array_equal(region.junctions.lat_e7[end], pieces.lat_e7[point])


def test_text_that_is_no_utf8_ends_in_words(tmp_path: Path) -> None:
    """Broken text inside a sound pbf stops the C++ writer half way; the process lives and says so in one line."""
    drawn = _drawn(tmp_path)
    path = tmp_path / "plain.osm.pbf"
    with osmium.SimpleWriter(osmium.io.File(str(path), "pbf,pbf_compression=none")) as writer:
        for thing in osmium.FileProcessor(str(drawn)):
            writer.add(thing)
    data = path.read_bytes()
    assert b"High" in data
    path.write_bytes(data.replace(b"High", b"Hi\xff\xfe"))
    with pytest.raises(BadInputError, match="not a sound OpenStreetMap file"):
        read_file(path)


def test_no_room_for_scratch_files_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A scratch folder that cannot be made is one clear line."""
    import tempfile

    path = _drawn(tmp_path)
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path / "none"))
    with pytest.raises(BadInputError, match="cannot be read"):
        read_file(path)


def test_a_process_of_its_own_reads_the_same_and_fails_alike(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Large files are read apart: the same map with its areas, the same words for a file cut off, and no second process is no harm."""
    lines = [f"n{k} v1 T x{k % 2}.0 y{k // 2}.0" for k in range(4)] + ["n4 v1 Tamenity=fuel x.5 y.5"]
    lines += ["w1 v1 Thighway=primary Nn0,n1,n3", "w2 v1 T Nn0,n1,n3", "w3 v1 T Nn3,n2,n0"]
    lines += ["r1 v1 Ttype=multipolygon,tourism=camp_site Mw2@outer,w3@outer", "r2 v1 Ttype=route Mw1@"]
    whole = tmp_path / "whole.osm.opl"
    whole.write_text("\n".join(lines) + "\n")
    cut = tmp_path / "cut.osm.pbf"
    path = _drawn(tmp_path)
    cut.write_bytes(path.read_bytes()[:-40])
    here = [read_file(whole), read_file(path)]
    with pytest.raises(BadInputError) as said:
        read_file(cut)
    monkeypatch.setattr("tripplan.osm.passes._APART", 0)
    for file, known in zip((whole, path), here, strict=True):
        _same(read_file(file), known)
    area, known = read_file(whole).areas, here[0].areas
    assert len(area) == 1
    assert (area[0].tags, area[0].outer[0].tolist()) == (known[0].tags, known[0].outer[0].tolist())
    with pytest.raises(BadInputError) as apart:
        read_file(cut)
    assert str(apart.value) == str(said.value)
    monkeypatch.setattr("sys.executable", str(tmp_path / "none"))
    _same(read_file(path), here[1])


def test_positions_in_every_quarter_of_the_world(tmp_path: Path) -> None:
    """South and west, whole degrees, the poles and 180 degrees come out as written, in every form and beside a missing node."""
    at = [
        (-179.9999999, -89.5),
        (180, -17),
        (-180, -17.25),
        (0, 0),
        (-0.0000001, 0.0000001),
        (12, -34.5),
        (-71.0000003, 45),
        (179.5, 90),
    ]
    nodes = "".join(f"n{k} v1 x{lon:.7f} y{lat:.7f}\n" for k, (lon, lat) in enumerate(at, 1))
    refs = ",".join(f"n{k}" for k in range(1, len(at) + 1))
    for missing in ("", ",n99,n1,n2"):
        folder = tmp_path / f"missing{len(missing)}"
        folder.mkdir()
        path = folder / "round.osm.opl"
        path.write_text(
            f"{nodes}w1 v1 Thighway=primary N{refs}{missing}\nw2 v1 Thighway=primary Nn1,n2\nw3 v1 Thighway=track N\n"
        )
        raw = read_file(path)
        assert raw.node_id.tolist()[: len(at)] == list(range(1, len(at) + 1))
        found = list(zip(raw.lon_e7.tolist(), raw.lat_e7.tolist(), strict=True))[: len(at)]
        assert found == [(round(lon * 1e7), round(lat * 1e7)) for lon, lat in at]
        assert raw.way_id.tolist() == [1, 2]
        _same(raw, read_file(_as(path, ".osm.pbf")))
