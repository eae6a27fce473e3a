"""`tripplan plan --readings`: the rest of a trip from the command line, and its mistakes in one line."""

from __future__ import annotations

import json
import shutil
from pathlib import Path


def test_the_rest_of_a_trip_from_a_file_of_readings(run, sample: Path, island: Path, tmp_path: Path) -> None:
    """Plan, read on the way, plan the rest: the summary names what was learned, the papers are written, the audit passes."""
    mine = tmp_path / "mine"
    shutil.copytree(sample, mine, ignore=shutil.ignore_patterns("*.py", "*.pbf", "__pycache__"))
    trip, readings = mine / "trip_family_loop.toml", mine / "readings_family_loop.toml"
    assert run("plan", trip, "--region", island, "--out", mine / "my-trip").code == 0
    ran = run("plan", trip, "--region", island, "--readings", readings, "--out", tmp_path / "rest")
    assert ran.code == 0, ran.err
    assert "From your readings:" in ran.out
    assert "more fresh water than planned" in ran.out
    assert "cassette lamp lit" in ran.out
    assert (
        "Now, by 09:00, at Loth Lido: fill fresh water, empty the grey water, empty the cassette, fill the flush tank" in ran.out
    )
    assert "May be full now: cassette, 15.6 L" in ran.out
    plan = json.loads((tmp_path / "rest" / "plan.json").read_text(encoding="utf-8"))
    assert plan["days"][0]["date"] == "2026-02-06"
    assert plan["trip"]["party"]["learned"]
    assert any("more fresh water than planned" in line for line in plan["assumptions"])
    assert run("audit", tmp_path / "rest" / "plan.json", "--region", island).code == 0

    readings.write_text(
        readings.read_text(encoding="utf-8").replace("2026-02-06T09:00:00 ", "2026-02-13T09:00:00 "), encoding="utf-8"
    )
    for file, word in ((readings, "no night left"), (mine / "none.toml", "no such file"), (trip, "`name` is unknown")):
        refused = run("plan", trip, "--region", island, "--readings", file, "--out", tmp_path / "no")
        assert refused.code == 2, refused.out
        assert refused.err.count("\n") == 1
        assert word in refused.err
    assert not (tmp_path / "no").exists()
