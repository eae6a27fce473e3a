"""Bad input gets one clear line and exit code 2, and leaves nothing half-written."""

from __future__ import annotations

import errno
import gzip
import json
import os
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest


def _one_line(ran, *words: str) -> None:
    assert ran.code == 2, (ran.code, ran.out, ran.err)
    assert ran.err.count("\n") == 1, ran.err
    assert "Traceback" not in ran.err
    for word in words:
        assert word in ran.err, ran.err


@pytest.fixture
def trip(sample: Path, tmp_path: Path):
    """The family trip with one text replaced, beside copies of the files it names."""

    def changed(old: str, new: str, file: str = "trip_family_loop.toml") -> Path:
        import shutil

        folder = tmp_path / "mine"
        shutil.copytree(sample, folder, ignore=shutil.ignore_patterns("*.py", "*.pbf"), dirs_exist_ok=True)
        text = (folder / file).read_text(encoding="utf-8")
        assert old in text
        (folder / file).write_text(text.replace(old, new), encoding="utf-8")
        return folder / "trip_family_loop.toml"

    return changed


def test_no_such_map(run, tmp_path: Path) -> None:
    """A map file that is not there."""
    _one_line(run("region", "build", tmp_path / "none.osm.pbf", "--out", tmp_path / "r"), "no such file")
    assert not (tmp_path / "r").exists()


def test_not_a_map(run, tmp_path: Path) -> None:
    """A file of another kind under a map's name, and one under no map's name."""
    for name in ("cat.osm.pbf", "cat.osm", "cat.osm.bz2", "cat.txt"):
        (tmp_path / name).write_bytes(b"\x00this is not a map\xff" * 50)
        _one_line(run("region", "build", tmp_path / name, "--out", tmp_path / "r"), name)
    assert not (tmp_path / "r").exists()


def test_truncated_map(run, sample: Path, tmp_path: Path) -> None:
    """A download that broke off."""
    whole = (sample / "island.osm.pbf").read_bytes()
    (tmp_path / "half.osm.pbf").write_bytes(whole[: len(whole) // 2])
    _one_line(run("region", "build", tmp_path / "half.osm.pbf", "--out", tmp_path / "r"), "half.osm.pbf")
    assert not (tmp_path / "r").exists()


def test_map_without_roads(run, tmp_path: Path) -> None:
    """A map of nothing but a tree."""
    text = '<osm version="0.6"><node id="1" lat="50" lon="8"><tag k="natural" v="tree"/></node></osm>'
    with gzip.open(tmp_path / "tree.osm.gz", "wt") as file:
        file.write(text)
    _one_line(run("region", "build", tmp_path / "tree.osm.gz", "--out", tmp_path / "r"), "road")


def test_region_of_an_older_format(run, island: Path, sample: Path, tmp_path: Path) -> None:
    """A region written by an older version says: build it again."""
    with zipfile.ZipFile(island) as old, zipfile.ZipFile(tmp_path / "old.region", "w") as new:
        for info in old.infolist():
            data = old.read(info)
            if info.filename.startswith("meta"):
                data = data.replace(b"tripplan region 3", b"tripplan region 0")
            new.writestr(info, data)
    _one_line(run("region", "show", tmp_path / "old.region"), "region", "build")
    _one_line(
        run("plan", sample / "trip_family_loop.toml", "--region", tmp_path / "old.region", "--out", tmp_path / "o"), "build"
    )


def test_region_that_is_none(run, sample: Path, tmp_path: Path) -> None:
    """A map file handed over as a region."""
    _one_line(run("region", "show", sample / "island.osm.pbf"), "island.osm.pbf")
    _one_line(run("region", "show", tmp_path), str(tmp_path))


@pytest.mark.parametrize(
    ("file", "old", "new", "words"),
    [
        ("trip_family_loop.toml", "[driving]", "[drivng]", ("drivng", "driving")),
        ("trip_family_loop.toml", "max_h = 3 ", "max_min = 3 ", ("max_min", "max_h")),
        ("trip_family_loop.toml", "fresh_l = 80", 'fresh_l = "80 gal"', ("fresh_l", "80 gal")),
        ("trip_family_loop.toml", "2026-02-13T15:00:00", "2026-02-01T15:00:00", ("return",)),
        ("trip_family_loop.toml", 'place = "Long Lee" ', 'place = "Atlantis" ', ("Atlantis",)),
        ("trip_family_loop.toml", 'place = "Long Lee" ', 'place = "12.5, 47.1" ', ("12.5, 47.1",)),
        ("trip_family_loop.toml", "name =", "name = =", ("line",)),
        ("vans/four_berth.toml", "grey_l = ", "grey_l = -", ("grey_l", "-")),
    ],
)
def test_trip_file_mistakes(
    run, island: Path, trip, tmp_path: Path, file: str, old: str, new: str, words: tuple[str, ...]
) -> None:
    """Unknown keys and units, negative capacity, return before pick-up, a depot off the map, TOML that is none."""
    ran = run("plan", trip(old, new, file), "--region", island, "--out", tmp_path / "papers")
    _one_line(ran, *words)
    assert not (tmp_path / "papers").exists()


def test_trip_file_that_is_empty(run, island: Path, tmp_path: Path) -> None:
    """Nothing in it but a comment: told where a trip comes from, not which of its keys are missing."""
    (tmp_path / "empty.toml").write_text("# later\n", encoding="utf-8")
    _one_line(
        run("plan", tmp_path / "empty.toml", "--region", island, "--out", tmp_path / "papers"), "holds no trip", "tripplan new"
    )


@pytest.mark.parametrize("command", ["plan", "demo", "suggest", "batch", "recheck"])
@pytest.mark.parametrize(
    ("name", "words"),
    [("two\nlines", "line break"), ("x" * 300, "too long"), ("a-file/papers", "cannot be written"), ("a-file", "not a folder")],
)
def test_folder_that_cannot_be_had(run, island: Path, sample: Path, tmp_path: Path, command: str, name: str, words: str) -> None:
    """Said before the work and not after it: what follows `--out` is looked at first."""
    (tmp_path / "a-file").write_text("mine", encoding="utf-8")
    trip, region = sample / "trip_family_loop.toml", ("--region", island)
    words_before = {
        "plan": ("plan", trip, *region),
        "demo": ("demo",),
        "suggest": ("suggest", *region, "--depot", "Long Lee", "--nights", "3"),
        "batch": ("batch", sample / "bookings.csv", *region),
        "recheck": ("recheck", sample / "plan.json", *region),
    }[command]
    before = sorted(tmp_path.rglob("*"))
    _one_line(run(*words_before, "--out", tmp_path / name), "--out", words)
    assert sorted(tmp_path.rglob("*")) == before
    assert (tmp_path / "a-file").read_text(encoding="utf-8") == "mine"


def test_depot_off_every_sealed_road(run, island: Path, trip, tmp_path: Path) -> None:
    """A depot behind gravel: said in one line, with how far the nearest road is."""
    from tripplan.region.store import load

    region = load(island)
    rows = ((region.ways.highway[region.pieces.way] == 14) & (region.pieces.length_m > 500)).nonzero()[0]
    far = max(rows, key=lambda r: region.pieces.length_m[r])
    at = int(region.pieces.ptr[far] + region.pieces.ptr[far + 1]) // 2
    where = f"{region.pieces.lat_e7[at] / 1e7}, {region.pieces.lon_e7[at] / 1e7}"
    ran = run("plan", trip('place = "Long Lee" ', f'place = "{where}" '), "--region", island, "--out", tmp_path / "papers")
    _one_line(ran, "road")
    assert not (tmp_path / "papers").exists()


def test_ambiguous_place_lists_the_matches(run, tmp_path: Path) -> None:
    """Two towns of one name: both are listed with how to tell them apart."""
    from helpers.make import region_from_drawing

    from tripplan.region.store import save

    region, _ = region_from_drawing(
        "A---------B---------C\n\n\n\nD         E         F",
        {"ABC": "highway=primary surface=asphalt"},
        nodes={"D": "place=town name=Twinford", "F": "place=town name=Twinford", "E": "place=town name=Other"},
        folder=tmp_path,
        grid_m=1000,
    )
    save(region, tmp_path / "twin.region")
    trip = tmp_path / "trip.toml"
    sample = Path(__file__).resolve().parents[2] / "data_sample"
    trip.write_text(
        f'van = "{sample}/vans/two_berth.toml"\nparty = "{sample}/parties/couple.toml"\nfirm = "{sample}/firm.toml"\n'
        f'outfit = "{sample}/outfits/hatchback_and_two_berth.toml"\n[pick_up]\nplace = "Twinford"\ntime = 2027-06-01T10:00:00\n'
        '[return]\nplace = "Twinford"\ntime = 2027-06-04T10:00:00\n',
        encoding="utf-8",
    )
    ran = run("plan", trip, "--region", tmp_path / "twin.region", "--out", tmp_path / "papers")
    _one_line(ran, "Twinford", "2")


def test_plan_file_mistakes(run, island: Path, tmp_path: Path) -> None:
    """A plan that is none, or of an unknown format."""
    (tmp_path / "no.json").write_text("{", encoding="utf-8")
    _one_line(run("audit", tmp_path / "no.json", "--region", island), "no.json")
    (tmp_path / "odd.json").write_text(json.dumps({"format": "something else"}), encoding="utf-8")
    _one_line(run("audit", tmp_path / "odd.json", "--region", island), "odd.json")
    _one_line(run("audit", tmp_path / "none.json", "--region", island), "no such file")


def test_no_room_on_the_disk(run, sample: Path, island: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A full disk: one line, and neither a region nor papers are left."""

    def full(*_: object) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    _one_line(run("region", "build", sample / "island.osm.pbf", "--out", tmp_path / "r.region"), "room")
    assert not (tmp_path / "r.region").exists()
    assert not list(tmp_path.glob("*r.region*"))
    _one_line(run("plan", sample / "trip_isle_weekend.toml", "--region", island, "--out", tmp_path / "papers"), "room")
    assert not (tmp_path / "papers" / "plan.json").exists()


def test_words_that_are_no_command(run) -> None:
    """A mistyped command, a missing option, a missing argument."""
    _one_line(run("plann"), "plann")
    _one_line(run("plan", "x.toml"), "--region")
    _one_line(run("region", "build", "--out", "x"), "FILE or --place")
    _one_line(run("demo", "--trip", "nowhere", "--out", "x"), "nowhere")


def test_own_faults_show_no_traceback(run, island: Path, sample: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A fault of ours is one line too, with exit code 3."""
    import tripplan.pipeline

    monkeypatch.setattr(tripplan.pipeline, "audited_plan", lambda *a, **k: 1 / 0)
    ran = run("plan", sample / "trip_isle_weekend.toml", "--region", island, "--out", tmp_path / "papers")
    assert ran.code == 3
    assert ran.err.count("\n") == 1
    assert "Traceback" not in ran.err
    assert not (tmp_path / "papers").exists()


def test_help_is_complete(run) -> None:
    """Each command is listed with a line, and each has its own help."""
    told = run("--help").out
    for word in ("demo", "region", "plan", "audit", "check"):
        assert word in told
        assert "Usage" in run(word, "--help").out


def _in_a_shell(command: str, folder: Path, **more: str) -> subprocess.CompletedProcess[str]:
    """Run a shell line in which $TRIPPLAN stands for the program."""
    root = Path(__file__).resolve().parents[2]
    env = {**os.environ, "PYTHONPATH": str(root), "PYTHON": sys.executable, **more}
    line = command.replace("$TRIPPLAN", '"$PYTHON" -m tripplan')
    return subprocess.run(["bash", "-c", line], cwd=folder, env=env, capture_output=True, text=True, timeout=120, check=False)


@pytest.mark.skipif(sys.platform == "win32", reason="a POSIX shell is needed")
def test_streams_that_are_closed_or_full(sample: Path, tmp_path: Path) -> None:
    """Without standard output, with a reader that goes away, or with a full disk behind it: no traceback, no fault of ours."""
    told = _in_a_shell("$TRIPPLAN demo --list >&-", tmp_path)
    assert (told.returncode, told.stderr) == (0, "")
    assert _in_a_shell("$TRIPPLAN demo --list 2>&-", tmp_path).returncode == 0
    told = _in_a_shell('$TRIPPLAN --help | true; exit "${PIPESTATUS[0]}"', tmp_path)
    assert told.returncode in (0, 141)
    assert told.stderr == ""
    if Path("/dev/full").exists():
        told = _in_a_shell("$TRIPPLAN demo --list > /dev/full", tmp_path)
        assert told.returncode == 2
        assert told.stderr.count("\n") == 1
        assert "no room" in told.stderr
        assert "nothing was written" not in told.stderr


def test_demo_needs_no_cache_folder(run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Where the cache folder cannot be made, the demo still plans: only the next run pays for it."""
    (tmp_path / "file").write_text("in the way")
    monkeypatch.setenv("TRIPPLAN_CACHE", str(tmp_path / "file" / "cache"))
    ran = run("demo", "--trip", "isle_weekend", "--out", tmp_path / "trip")
    assert ran.code == 0, ran.err
    assert (tmp_path / "trip" / "plan.json").is_file()
