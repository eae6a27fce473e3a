"""One file a region: the same back, atomic, damage and old formats told in one line."""

from __future__ import annotations

import dataclasses
import errno
import os
import random
import zipfile
from pathlib import Path

import numpy as np
import pytest
from helpers.make import region_from_drawing

from tripplan.model.errors import BadInputError
from tripplan.region.build import content_key
from tripplan.region.region import Region
from tripplan.region.store import FORMAT, load, save


@pytest.fixture
def region(tmp_path: Path) -> Region:
    """A small region with something in every table."""
    made, _ = region_from_drawing(
        "A--B--C\n|  |\nD--E\np  q",
        {"ABC": "highway=primary name=Ärmel surface=asphalt", "BE": "highway=service", "ADE": "highway=tertiary", "pq": "natural=coastline"},
        nodes={"A": "place=town name=Übersee", "C": "tourism=camp_site name=Wiese toilets=yes"},
        relations=[("type=restriction restriction=no_left_turn", [("from", "ABC"), ("via", "B"), ("to", "BE")])],
        folder=tmp_path, grid_m=2000,
    )  # fmt: skip
    return made


def _columns(region: Region) -> dict[str, np.ndarray]:
    return {
        f"{table}.{field.name}": getattr(getattr(region, table), field.name)
        for table in ("ways", "pieces", "junctions", "turns", "towns", "base")
        for field in dataclasses.fields(getattr(region, table))
    }


def test_a_region_comes_back_as_it_was(region: Region, tmp_path: Path) -> None:
    """Every column, string, place and fact is equal, type and all; saving again gives the same bytes."""
    save(region, tmp_path / "a.region")
    back = load(tmp_path / "a.region")
    ours, theirs = _columns(region), _columns(back)
    assert ours.keys() == theirs.keys()
    for name, column in ours.items():
        assert column.dtype == theirs[name].dtype, name
        np.testing.assert_array_equal(column, theirs[name], err_msg=name)
        assert theirs[name].flags.aligned, name
    assert list(back.strings) == list(region.strings)
    assert list(back.places) == list(region.places)
    assert back.meta == region.meta
    assert back.place_by_ref == region.place_by_ref
    assert content_key(back) == region.meta.key
    save(back, tmp_path / "b.region")
    assert (tmp_path / "a.region").read_bytes() == (tmp_path / "b.region").read_bytes()


def test_the_file_is_a_plain_zip_of_npy(region: Region, tmp_path: Path) -> None:
    """Standard tools read it: zipfile finds no fault and numpy loads a column."""
    save(region, tmp_path / "a.region")
    with zipfile.ZipFile(tmp_path / "a.region") as archive:
        assert archive.testzip() is None
        with archive.open("pieces/length_m.npy") as column:
            np.testing.assert_array_equal(np.lib.format.read_array(column), region.pieces.length_m)


def test_the_key_changes_with_what_matters(region: Region) -> None:
    """One metre of one piece, one place or the country changes the content key; the name does not."""
    pieces = dataclasses.replace(region.pieces, length_m=region.pieces.length_m + np.eye(1, len(region.pieces.a))[0])
    assert content_key(dataclasses.replace(region, pieces=pieces)) != region.meta.key
    assert content_key(dataclasses.replace(region, places=region.places[:-1])) != region.meta.key
    assert content_key(dataclasses.replace(region, meta=dataclasses.replace(region.meta, country="QQ"))) != region.meta.key
    assert content_key(dataclasses.replace(region, meta=dataclasses.replace(region.meta, name="other"))) == region.meta.key


def test_a_region_of_an_older_format_is_refused(region: Region, tmp_path: Path) -> None:
    """The line names the format met, the one wanted, and what to do."""
    save(dataclasses.replace(region, meta=dataclasses.replace(region.meta, format="tripplan region 0")), tmp_path / "old.region")
    with pytest.raises(BadInputError, match=f"region 0.*{FORMAT}.*build the region again"):
        load(tmp_path / "old.region")


@pytest.mark.parametrize("content", [None, b"", b"not a zip at all", b"PK\x05\x06" + bytes(18)])
def test_what_is_no_region_is_one_clear_line(tmp_path: Path, content: bytes | None) -> None:
    """No file, empty, another file, a zip of something else."""
    path = tmp_path / "x.region"
    if content is not None:
        path.write_bytes(content)
    with pytest.raises(BadInputError) as met:
        load(path)
    assert "\n" not in met.value.one_line()


@pytest.mark.parametrize(
    ("content", "says"),
    [
        (b"", "the region file is empty; build the region again"), (b"PK\x03\x04cut", "not a region file, or cut off; build the region again"),
        (b"no zip", "not a region file, or cut off; build the region again"), (b"PK\x05\x06" + bytes(18), "not a region; build the region again"),
    ],
)  # fmt: skip
def test_what_is_no_region_is_told_without_a_name_of_the_program(tmp_path: Path, content: bytes, says: str) -> None:
    """An empty, cut or foreign file is told in words that a person knows."""
    (tmp_path / "a.region").write_bytes(content)
    with pytest.raises(BadInputError) as caught:
        load(tmp_path / "a.region")
    assert says in caught.value.one_line()
    assert "Error" not in caught.value.one_line()
    assert "Zip" not in caught.value.one_line()


def test_a_folder_is_called_one(tmp_path: Path) -> None:
    """A folder given as a region is told to be a folder; a path that cannot be is one line as well."""
    with pytest.raises(BadInputError, match="is a folder; accepted: a region file; name the file in it"):
        load(tmp_path)
    with pytest.raises(BadInputError, match="no such region"):
        load(tmp_path / "none")
    with pytest.raises(BadInputError):
        load("a\x00b")


def test_damage_is_found(region: Region, tmp_path: Path) -> None:
    """Cut anywhere or with one bit flipped in a column, a file is refused or, flipped outside of them, the same region."""
    path = tmp_path / "a.region"
    save(region, path)
    whole = path.read_bytes()
    rng = random.Random(5)
    refused = 0
    for _ in range(40):
        path.write_bytes(whole[: rng.randrange(len(whole))])
        with pytest.raises(BadInputError):
            load(path)
    for _ in range(120):
        data = bytearray(whole)
        data[rng.randrange(len(data))] ^= 1 << rng.randrange(8)
        path.write_bytes(bytes(data))
        try:
            assert content_key(load(path)) == region.meta.key
        except BadInputError:
            refused += 1
    assert refused > 60


def test_no_room_leaves_the_old_file_and_nothing_else(region: Region, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A full disk while writing: one clear line, the former region untouched, no part file left."""
    folder = tmp_path / "out"
    folder.mkdir()
    path = folder / "a.region"
    save(region, path)
    before = path.read_bytes()

    def full(_: int) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(BadInputError, match="no room on disk"):
        save(region, path)
    assert path.read_bytes() == before
    assert list(folder.iterdir()) == [path]


def test_a_real_full_device_is_told(region: Region) -> None:
    """Writing to the system's always-full device ends the same way."""
    if not Path("/dev/full").exists():
        pytest.skip("this system has no /dev/full")
    from tripplan.region import store

    with pytest.raises(OSError, match="No space") as met, zipfile.ZipFile("/dev/full", "w") as archive:
        store._add(archive, 0, "x.npy", bytes(1 << 20))
    assert met.value.errno == errno.ENOSPC


def test_a_folder_that_is_not_there_is_told(region: Region, tmp_path: Path) -> None:
    """A path into nowhere is one clear line."""
    with pytest.raises(BadInputError, match="cannot be written"):
        save(region, tmp_path / "none" / "a.region")
