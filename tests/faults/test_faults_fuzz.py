"""Spoilt inputs: a seeded sample in worker processes of bounded memory (a million of them: tests/benchmarks/fuzz.py), and what was found."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path

import pytest
from helpers.fuzz import RESIDENT, Tally, run
from helpers.fuzz_seeds import GPX_TRACK, prepare, rich_map
from helpers.fuzz_targets import SHARES

from tripplan.model.errors import BadInputError

#: Inputs of the sample.
SAMPLE = {"tags": 1500, "hours": 500, "waypoints": 400, "track": 400, "local": 300, "climate": 100, "mapping": 150, "trip": 150, "plan": 60, "region": 60, "merge": 20,
          "map_text": 40, "map_pbf": 60, "map_xml": 30}  # fmt: skip


def test_a_sample_of_spoilt_inputs(tmp_path: Path) -> None:
    """Thousands of spoilt inputs of every kind end in a result or in one printable line: no other error, no hang, little memory."""
    assert SAMPLE.keys() == SHARES.keys()
    tally = Tally()
    run([("suite", name, 0, count) for name, count in SAMPLE.items()], prepare(tmp_path), tally)
    assert not tally.faults, "\n".join(tally.lines())
    assert dict(tally.count) == SAMPLE
    for name in SAMPLE:  # a target whose inputs are all taken, or all refused, tests half of what it should
        assert tally.ends[f"{name} taken"] > 0, name
        assert name in ("tags", "hours") or tally.ends[f"{name} refused"] > 0, name
    assert tally.resident_mb < RESIDENT / 2**20


@pytest.mark.long
def test_a_million_spoilt_inputs() -> None:
    """The same for a million, through the script, on two workers (about half an hour)."""
    import subprocess
    import sys

    script = Path(__file__).resolve().parents[1] / "benchmarks" / "fuzz.py"
    done = subprocess.run([sys.executable, str(script), "1000000", "--workers", "2"], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout[-4000:]


def test_the_runner_sees_faults(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """An error, a hang and a line that is none are told; after an input that ends the process the next one follows."""
    import random
    import signal
    import time

    from helpers import fuzz

    def shot(kind: str) -> fuzz.Shot:
        def one(rng: random.Random, _: Path) -> str:
            if kind == "error":
                return str(1 // 0)
            if kind == "hang":
                end = time.process_time() + 9
                while time.process_time() < end:
                    pass
            raise BadInputError("x", accepted="y" * 5000)

        return one

    monkeypatch.setattr(fuzz, "LIMIT_S", 0.2)
    before = signal.signal(signal.SIGPROF, fuzz.too_long)
    try:
        for kind, words in (("error", "ZeroDivisionError"), ("hang", "hang"), ("line", "no line")):
            assert words in fuzz._one(shot(kind), f"x:{kind}:1", tmp_path)
    finally:
        signal.signal(signal.SIGPROF, before)
    assert fuzz._after([("x", "a", 0, 5), ("x", "b", 0, 3)], "x:a:4") == [("x", "b", 0, 3)]
    assert fuzz._after([("x", "a", 0, 5), ("x", "b", 0, 3)], "x:a:1")[0] == ("x", "a", 2, 5)


# ------------------------------------------------------------------------------------------------- found and mended


def test_a_duration_of_thousands_of_digits() -> None:
    """Python refuses to read a number of more than 4,300 digits; such a duration is none."""
    from tripplan.region.judge import duration_s

    assert duration_s("PT" + "9" * 5000 + "H") != duration_s("PT1H")
    assert duration_s("PT2H") == 7200.0


@pytest.mark.parametrize("text", ["9" * 400, "9" * 60, "9" * 400 + " t"])
def test_figures_that_no_sign_shows(text: str) -> None:
    """A figure of dozens of digits overflows to infinity: it is no limit and no speed."""
    from tripplan.rules.limits import size_limits
    from tripplan.rules.speed import parse_speed

    limits = size_limits({"maxheight": text, "maxweight": text, "maxwidth": text})
    assert limits.height_m != limits.height_m
    assert limits.weight_kg != limits.weight_kg
    assert parse_speed(text) != parse_speed(text)


@pytest.mark.parametrize("text", ["9" * 400, "P" + "9" * 5000 + "D", "PT" + "9" * 5000 + "H", "9" * 400 + " days"])
def test_a_stay_of_thousands_of_digits(text: str) -> None:
    """A longest stay that overflows is none that is known."""
    from tripplan.rules.place_text import nights_of_stay

    assert nights_of_stay(text) == 0


def test_a_restriction_that_could_be_read_in_endless_ways(tmp_path: Path) -> None:
    """Ways that share many junctions, each a via many times: left out and counted, not combined for ever."""
    from tripplan.region.build import build

    nodes = "".join(f"n{k} v1 T x{8 + k / 1000:.3f} y50\n" for k in range(1, 25))
    refs = ",".join(f"n{k}" for k in range(1, 25))
    ways = "".join(f"w{w} v1 Thighway=primary N{refs}\n" for w in range(101, 105))
    via = ",".join(f"w{102 + k % 2}@via" for k in range(30))
    path = tmp_path / "mesh.osm.opl"
    path.write_text(f"{nodes}{ways}r1 v1 Ttype=restriction,restriction=no_left_turn Mw101@from,{via},w104@to\n")
    region = build(path)
    assert region.meta.faults["turn restrictions left out (too many ways to read it)"] == 1


def test_a_point_of_a_track_outside_any_track(tmp_path: Path) -> None:
    """A trkpt under another parent than trk is passed over where it begins and where it ends."""
    from tripplan.request.tracks import load_track

    path = tmp_path / "t.gpx"
    path.write_text(GPX_TRACK.replace("<trk>", "<tr>").replace("</trk>", "</tr>"))
    with pytest.raises(BadInputError, match=r"0 points|no track"):
        load_track(path)


def test_a_region_whose_numbers_point_nowhere(tmp_path: Path) -> None:
    """A region file with right sums and a wrong number in any column of numbers that point is refused on loading."""
    import io
    import zipfile

    import numpy as np

    from tripplan.region.build import build
    from tripplan.region.store import load, save

    save(build(rich_map(tmp_path)), tmp_path / "rich.region")
    with zipfile.ZipFile(tmp_path / "rich.region") as archive:
        members = {info.filename: archive.read(info) for info in archive.infolist()}
    pointing = ("ways/name", "ways/highway", "ways/surface", "ways/access_why", "pieces/a", "pieces/b", "pieces/way", "pieces/ptr", "pieces/lat_e7",
                "junctions/barrier", "turns/pieces", "turns/via", "turns/ptr", "towns/name", "base/ptr", "strings/ptr", "places/ptr")  # fmt: skip
    for name in pointing:
        column = np.lib.format.read_array(io.BytesIO(members[f"{name}.npy"])).copy()
        column[-1] = 250 if column.dtype == np.uint8 else 2_000_000_000
        out = io.BytesIO()
        np.lib.format.write_array(out, column, version=(1, 0))
        with zipfile.ZipFile(tmp_path / "bad.region", "w") as archive:
            for member, data in members.items():
                archive.writestr(member, out.getvalue() if member == f"{name}.npy" else data)
        with pytest.raises(BadInputError, match="damaged"):
            load(tmp_path / "bad.region")


def test_hours_of_half_characters(tmp_path: Path) -> None:
    """JSON can carry half a character (a lone surrogate); hours that hold one are not readable and say so."""
    from tripplan.almanac.hours import is_open, is_readable
    from tripplan.request.local_files import load_local

    assert not is_readable("Mo-Fr 08:00-17:00 \ud800")
    assert is_open("\ud800", datetime(2026, 1, 1, 12)) is None  # noqa: DTZ001 - wall clock
    path = tmp_path / "n.geojson"
    path.write_text(
        '{"type":"FeatureCollection","features":[{"type":"Feature","properties":{"role":"dump","hours":"Mo \\ud800"},'
        '"geometry":{"type":"Point","coordinates":[8,50]}}]}'
    )
    with pytest.raises(BadInputError, match="hours"):
        load_local(path)


def test_messages_stay_short() -> None:
    """A key of thousands of letters does not make a message of thousands of letters; its two ends are kept."""
    line = BadInputError(
        "key `" + "9" * 90_000 + "` is unknown", where="trip.toml, " + "x" * 5000, next_step="y" * 900
    ).one_line()
    assert len(line) < 2600
    assert "key `99" in line
    assert "99` is unknown" in line


def test_a_nul_in_a_text_of_the_map(tmp_path: Path) -> None:
    """A NUL in a string made libosmium read beyond its end and the process vanish: refused in pbf and OPL; empty strings are none."""
    import random

    from helpers.fuzz_targets import _blobs, _pbf

    from tripplan.region.build import build

    blobs = _blobs((prepare(tmp_path) / "rich.osm.pbf").read_bytes())
    for number, (old, new) in enumerate(
        ((b"main", b"mai\0"), (b"Kestrel", b"Kestrel"), (b"tourism", b"t\0urism"), (b"natural", b"natu\n\0l"))
    ):
        path = tmp_path / f"x{number}.osm.pbf"
        path.write_bytes(_pbf([(kind, data.replace(old, new)) for kind, data in blobs], random.Random(number)))
        if old == new:
            assert len(build(path).pieces.way) > 0
            continue
        with pytest.raises(BadInputError, match="NUL"):
            build(path)
    text = (tmp_path / "rich.osm.opl").read_text(encoding="utf-8")
    (tmp_path / "y.osm.opl").write_text(text.replace("name=High", "name=%2c%0%41%"), encoding="utf-8")
    assert ",0A" in build(tmp_path / "y.osm.opl").strings
    (tmp_path / "x.osm.opl").write_text(text.replace("name=High", "name=H%00%h"), encoding="utf-8")
    with pytest.raises(BadInputError, match="NUL"):
        build(tmp_path / "x.osm.opl")


@pytest.mark.parametrize("change", [{"return_min": 2**31}, {"handover_min": 2**40}, {"return_min": -(2**31)}])
def test_minutes_beyond_the_calendar(change: dict[str, int]) -> None:
    """A plan whose firm takes thousands of years for a return is audited, not stumbled over."""
    from dataclasses import replace

    from helpers import plans

    from tripplan.audit.run import audit

    region = plans.island()
    plan = plans.plan(3, region=region)
    trip = replace(plan.trip, firm=replace(plan.trip.firm, **change))
    audit(replace(plan, trip=trip), region)


def test_a_year_in_which_no_trip_is() -> None:
    """Years at the ends of the calendar, from which a day cannot be counted on, are refused."""
    from dataclasses import replace
    from datetime import timedelta

    from helpers import plans

    trip = plans.trip(3)
    for year in (1, 9999):
        pick_up = trip.pick_up.replace(year=year, month=6, day=1)
        with pytest.raises(BadInputError, match="year"):
            replace(trip, pick_up=pick_up, return_by=pick_up + timedelta(days=3))


def test_keys_of_many_parts(tmp_path: Path) -> None:
    """A dotted key of hundreds of parts is refused before it is read; dots in texts, numbers and comments are none of its business."""
    from tripplan.request.text_file import read_toml

    path = tmp_path / "t.toml"
    for text in ("a." * 300 + "b = 1", f"[{'a.' * 300}b]", f"x = {{{'a.' * 300}b = 1}}"):
        path.write_text(text, encoding="utf-8")
        with pytest.raises(BadInputError, match=r"more than 100 parts"):
            read_toml(path)
    path.write_text(f"x = \"{'.' * 300}\"\ny = [{', '.join(['[1.5, 2.5]'] * 300)}]\nz.a = '{'.' * 200}'\n", encoding="utf-8")
    assert len(read_toml(path)[0]["y"]) == 300
