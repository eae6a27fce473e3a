"""The command that suggests loops: its catalogue, papers and trip files, and what it says of bad input."""

from __future__ import annotations

import json
import os
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

Run = Callable[..., Any]
SHORT = ("--depot", "Long Lee", "--nights", "3", "--date", "2026-02-16", "--most-sights", "5")


@pytest.fixture(scope="module")
def made(island: Path, tmp_path_factory: pytest.TempPathFactory, request: pytest.FixtureRequest) -> tuple[Path, str]:
    """A catalogue of three themes for three nights, and what the command said."""
    import io
    from contextlib import redirect_stdout

    from tripplan.cli.main import main

    out = tmp_path_factory.mktemp("loops") / "loops"
    with redirect_stdout(io.StringIO()) as told, pytest.raises(SystemExit) as stop:
        main(
            [
                "suggest",
                "--region",
                str(island),
                *SHORT,
                "--theme",
                "best",
                "--theme",
                "coast",
                "--theme",
                "dry",
                "--out",
                str(out),
            ]
        )
    assert stop.value.code in (0, None), told.getvalue()
    return out, told.getvalue()


def test_catalogue_with_papers_for_each(made: tuple[Path, str]) -> None:
    """One page links to the papers of each loop, and every link leads to a file."""
    import re

    out, told = made
    page = (out / "index.html").read_text(encoding="utf-8")
    links = [link for link in re.findall(r'href="([^"#][^"]*)"', page) if "://" not in link]
    assert len(links) >= 6
    assert all((out / link).is_file() for link in links)
    assert "best/TRIP.toml" in links
    assert "<svg" in page
    assert "The best of all" in told


def test_start_from_this_gives_the_same_plan(made: tuple[Path, str], island: Path, tmp_path: Path, run: Run) -> None:
    """The trip file of a loop loads, and planned again it gives the same plan byte for byte."""
    out, _ = made
    ran = run("plan", out / "best" / "TRIP.toml", "--region", island, "--out", tmp_path / "again")
    assert ran.code == 0, ran.err
    assert (tmp_path / "again" / "plan.json").read_bytes() == (out / "best" / "plan.json").read_bytes()


def test_plans_pass_the_audit_when_read_again(made: tuple[Path, str], island: Path, run: Run) -> None:
    """Each plan written passes the audit from its file."""
    out, _ = made
    plans = sorted(out.glob("*/plan.json"))
    assert plans
    for plan in plans:
        assert run("audit", plan, "--region", island).code == 0


def test_same_question_same_catalogue(made: tuple[Path, str], island: Path, tmp_path: Path, run: Run) -> None:
    """Asked again, the page and the plan are the same byte for byte."""
    out, _ = made
    assert run("suggest", "--region", island, *SHORT, "--theme", "best", "--out", tmp_path / "a").code == 0
    assert run("suggest", "--region", island, *SHORT, "--theme", "best", "--out", tmp_path / "b").code == 0
    assert (tmp_path / "a" / "index.html").read_bytes() == (tmp_path / "b" / "index.html").read_bytes()
    assert (tmp_path / "a" / "best" / "plan.json").read_bytes() == (out / "best" / "plan.json").read_bytes()


def test_the_operators_list_and_what_is_asked_for_decide(island: Path, tmp_path: Path, run: Run) -> None:
    """A sight worth much by the list is seen, one worth nought never; a trip file is kept to, with its own sights."""
    table = tmp_path / "sights.csv"
    table.write_text("name,value_cents\nNarrow Glen Falls,90000\nTarn Light,0\n", encoding="utf-8")
    ran = run("suggest", "--region", island, *SHORT, "--theme", "best", "--sights", table, "--out", tmp_path / "out")
    assert ran.code == 0, ran.err
    seen = {
        event["spot"]["name"]
        for day in json.loads((tmp_path / "out" / "best" / "plan.json").read_text())["days"]
        for event in day["events"]
        if event["kind"] == "sight"
    }
    assert "Narrow Glen Falls" in seen
    assert "Tarn Light" not in (tmp_path / "out" / "best" / "TRIP.toml").read_text(encoding="utf-8")


def test_a_trip_to_start_from_keeps_its_wishes(island: Path, sample: Path, tmp_path: Path, run: Run) -> None:
    """With a trip file its firm, levels, party and must-see sights hold, and its dates where no other is told."""
    from tripplan.region.store import load
    from tripplan.request.trip_file import load_trip

    trip = sample / "trip_isle_weekend.toml"
    ran = run("suggest", "--region", island, "--trip", trip, "--theme", "best", "--most-sights", "3", "--out", tmp_path / "out")
    assert ran.code == 0, ran.out + ran.err
    region = load(island)
    own, made = load_trip(trip, region), load_trip(tmp_path / "out" / "best" / "TRIP.toml", region)
    assert (made.firm, made.party, made.van, made.levels, made.pick_up, made.return_by) == (
        own.firm, own.party, own.van, own.levels, own.pick_up, own.return_by,
    )  # fmt: skip
    assert made.sights[: len(own.sights)] == own.sights


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("--nights", "3", "--date", "2026-02-16"), "--depot"),
        (("--depot", "Long Lee", "--nights", "3", "--date", "soon"), "no date"),
        (("--depot", "Nowhere at all", "--nights", "3", "--date", "2026-02-16"), "not on the map"),
        ((*SHORT, "--theme", "moon"), "no theme"),
        ((*SHORT, "--see", "Nowhere at all"), "not on the map"),
        ((*SHORT, "--van", "no-such-van.toml"), "no such file"),
    ],
)
def test_bad_input_is_one_line(island: Path, tmp_path: Path, run: Run, words: tuple[str, ...], told: str) -> None:
    """What cannot be used is told in one line with exit code 2, and nothing is written."""
    ran = run("suggest", "--region", island, *words, "--out", tmp_path / "out")
    assert ran.code == 2
    assert told in ran.err
    assert ran.err.strip().count("\n") == 0
    assert not (tmp_path / "out").exists()


@pytest.mark.parametrize(
    ("table", "told"),
    [
        ("", "is empty"), ("a,b\n1,2\n", "no columns"), ("name,value_cents\nTarn Light,much\n", "much"), ("name,value_cents\nTarn Light,-5\n", "-5"),
        ("name,value_cents\nNobody knows it,5\n", "row 2"), ("name,value_cents\nTarn Light\n", "1 columns"), ('name,value_cents\n"Tarn,5\n', "not CSV"),
    ],
)  # fmt: skip
def test_bad_lists_of_values_name_the_row(island: Path, tmp_path: Path, run: Run, table: str, told: str) -> None:
    """A table of values that cannot be used says where and why."""
    (tmp_path / "sights.csv").write_text(table, encoding="utf-8")
    ran = run("suggest", "--region", island, *SHORT, "--sights", tmp_path / "sights.csv", "--out", tmp_path / "out")
    assert ran.code == 2
    assert told in ran.err
    assert "sights.csv" in ran.err


def test_no_loop_writes_nothing(island: Path, tmp_path: Path, run: Run) -> None:
    """Where no theme has a plan the reasons are told, the exit code is 1 and no folder appears."""
    trip = tmp_path / "trip.toml"
    trip.write_text(
        'van = { name = "v", berths = 2 }\nparty = { name = "p", adults = 2 }\nfirm = { name = "f", phone = "1", towing_limit_kmh = 80, depot_hours = "Mo 03:00-03:10" }\n'
        'outfit = { name = "o", car_mass_kg = 1900, van_mass_kg = 1300, height_m = 2.6, width_m = 2.3, length_m = 11.5 }\n'
        '[pick_up]\nplace = "Long Lee"\ntime = 2026-02-16T10:00:00\n[return]\ntime = 2026-02-18T15:00:00\n', encoding="utf-8",
    )  # fmt: skip
    ran = run("suggest", "--region", island, "--trip", trip, "--theme", "best", "--out", tmp_path / "out")
    assert ran.code in (1, 2), ran.out
    assert not (tmp_path / "out").exists()


def test_stopped_midway_leaves_whole_papers(island: Path, tmp_path: Path, run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    """Stopped in the second theme, the first loop and the page that shows it are there, whole."""
    import tripplan.pipeline as pipeline

    plan_of = pipeline.audited_plan
    calls: list[str] = []

    def stopping(trip: Any, region: Any, **more: Any) -> Any:
        calls.append(trip.name)
        if len(calls) > 1:
            raise KeyboardInterrupt
        return plan_of(trip, region, **more)

    monkeypatch.setattr(pipeline, "audited_plan", stopping)
    ran = run("suggest", "--region", island, *SHORT, "--theme", "best", "--theme", "coast", "--out", tmp_path / "out")
    assert ran.code == 130
    assert "best/map.html" in (tmp_path / "out" / "index.html").read_text(encoding="utf-8")
    assert (tmp_path / "out" / "best" / "plan.json").is_file()
    assert sorted(p.name for p in (tmp_path / "out").iterdir()) == ["best", "index.html"]


def test_themes_that_are_not_suggested_now_go(made: tuple[Path, str], island: Path, tmp_path: Path, run: Run) -> None:
    """In a folder of an earlier catalogue, loops that are not in the new one go; a trip file that somebody changed stays."""
    out = tmp_path / "loops"
    shutil.copytree(made[0], out)  # with the times of its files
    other = next(p.name for p in sorted(out.iterdir()) if p.is_dir() and p.name != "best")
    mine = out / other / "TRIP.toml"
    os.utime(mine, (mine.stat().st_mtime + 3600,) * 2)
    ran = run("suggest", "--region", island, *SHORT, "--theme", "best", "--out", out)
    assert ran.code == 0, ran.err
    assert sorted(p.name for p in out.iterdir()) == sorted(["best", other, "index.html"])
    assert [p.name for p in (out / other).iterdir()] == ["TRIP.toml"]
