"""`tripplan batch` and `tripplan recheck` stopped in the middle, by Ctrl-C and by kill -9: nothing lost, nothing twice, nothing half there."""

from __future__ import annotations

import csv
import json
import os
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="stops process groups by POSIX signals")


@pytest.fixture
def desk(tmp_path: Path) -> Path:
    """A folder with the island, and a table of five bookings."""
    from tripplan.pipeline import sample_region
    from tripplan.region.store import save

    shutil.copytree(ROOT / "data_sample", tmp_path / "desk", ignore=shutil.ignore_patterns("*.py", "*.pbf", "__pycache__"))
    save(sample_region(), tmp_path / "island.region")
    rows = [f"B{n},trip_isle_weekend.toml,{3 + n * 0.1:g}" for n in range(5)]
    (tmp_path / "desk" / "bookings.csv").write_text("booking,trip,driving.max_h\n" + "\n".join(rows) + "\n", encoding="utf-8")
    return tmp_path


def begun(folder: Path, *words: str) -> subprocess.Popen[str]:
    """Begin `tripplan` in a process group of its own, where it hears Ctrl-C even if the tests run in the background of a shell."""
    env = {**os.environ, "PYTHONPATH": str(ROOT)}
    return subprocess.Popen(
        [sys.executable, "-m", "tripplan", *words], cwd=folder, env=env, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, start_new_session=True,
        preexec_fn=lambda: signal.signal(signal.SIGINT, signal.SIG_DFL),
    )  # fmt: skip


def batch(folder: Path, out: str) -> subprocess.Popen[str]:
    """Begin to plan the table by two processes."""
    return begun(folder, "batch", "desk/bookings.csv", "--region", "island.region", "--out", out, "--workers", "2")


def journal(folder: Path) -> list[str]:
    """Return the bookings that the journal holds whole."""
    path = folder / "outcomes.jsonl"
    lines = path.read_text(encoding="utf-8").splitlines() if path.is_file() else []
    return [json.loads(line)["booking"] for line in lines if line.endswith("}")]


def papers(folder: Path) -> dict[str, bytes]:
    """Return all papers by name."""
    return {str(p.relative_to(folder)): p.read_bytes() for p in folder.rglob("*") if p.is_file() and p.parent != folder}


@pytest.mark.parametrize("how", [signal.SIGINT, signal.SIGKILL])
def test_a_batch_stopped_in_the_middle_is_taken_up(desk: Path, how: signal.Signals) -> None:
    """Stopped after the first booking: the next run does only the rest, and all is as if nobody had stopped it."""
    first = batch(desk, "out")
    until = time.monotonic() + 120
    while not journal(desk / "out") and time.monotonic() < until:
        time.sleep(0.02)
    os.killpg(first.pid, how)
    _, told = first.communicate(timeout=60)
    assert "Traceback" not in told
    assert first.returncode == (130 if how == signal.SIGINT else -signal.SIGKILL)
    had = journal(desk / "out")
    assert 1 <= len(had) < 5, "it was stopped in the middle"
    before = {name: (desk / "out" / name / "plan.json").stat().st_mtime_ns for name in had}
    second = batch(desk, "out")
    said, told = second.communicate(timeout=240)
    assert second.returncode == 0, told
    assert f" done before, {5 - len(had)} to do" in said
    assert sorted(journal(desk / "out")) == [f"B{n}" for n in range(5)], "each once"
    assert {name: (desk / "out" / name / "plan.json").stat().st_mtime_ns for name in had} == before
    with (desk / "out" / "outcomes.csv").open(encoding="utf-8-sig", newline="") as table:
        assert [(row["booking"], row["outcome"]) for row in csv.DictReader(table)] == [(f"B{n}", "planned") for n in range(5)]
    assert not [path.name for path in (desk / "out").iterdir() if path.name.endswith(".part")]
    if how == signal.SIGKILL:
        whole = batch(desk, "whole")
        whole.communicate(timeout=240)
        assert papers(desk / "out") == papers(desk / "whole")


def workers_of(pid: int) -> list[int]:
    """Return the processes that a process has begun, as Linux lists them."""
    try:
        return [int(word) for word in Path(f"/proc/{pid}/task/{pid}/children").read_text().split()]
    except OSError:
        return []


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="looks processes up where Linux lists them")
@pytest.mark.parametrize("how", [signal.SIGINT, signal.SIGKILL])
def test_workers_that_have_just_begun_go_quietly(desk: Path, how: signal.Signals) -> None:
    """Ctrl-C while they still load what they need: one line and no word of theirs. And none outlives a parent that is killed."""
    first = batch(desk, "out")
    until = time.monotonic() + 60
    while (
        len(begun_now := workers_of(first.pid)) < 3 and time.monotonic() < until
    ):  # two, and the one that keeps count of what is shared
        time.sleep(0.01)
    assert len(begun_now) == 3
    if how == signal.SIGINT:
        os.killpg(first.pid, how)
        _, told = first.communicate(timeout=60)
        assert (first.returncode, told.split()[:2]) == (130, ["tripplan:", "stopped;"]), told
        assert len([line for line in told.splitlines() if line.strip()]) == 1, told
        return
    time.sleep(2.0)  # past their start
    os.kill(first.pid, how)
    first.wait()
    until = time.monotonic() + 30
    while any(Path(f"/proc/{pid}").exists() for pid in begun_now) and time.monotonic() < until:
        time.sleep(0.05)
    assert not [pid for pid in begun_now if Path(f"/proc/{pid}").exists()]
    first.communicate(timeout=60)


def test_recheck_stopped_while_it_looks_for_a_repair_writes_nothing(desk: Path) -> None:
    """Ctrl-C in the middle of the repair: exit code 130, no traceback, and no folder of papers."""
    done = begun(desk, "plan", "desk/trip_family_loop.toml", "--region", "island.region", "--out", "plan")
    done.communicate(timeout=240)
    assert done.returncode == 0
    ring = [[-30.0, -50.0], [-20.0, -50.0], [-20.0, -40.0], [-30.0, -40.0], [-30.0, -50.0]]
    plan = json.loads((desk / "plan" / "plan.json").read_text(encoding="utf-8"))
    towed = [day["date"] for day in plan["days"] if day["kind"] == "towing"][1]
    gale = {"name": "gale", "kind": "wind", "from": towed, "to": towed}
    feature = {"type": "Feature", "properties": gale, "geometry": {"type": "Polygon", "coordinates": [ring]}}
    (desk / "wind.geojson").write_text(json.dumps({"type": "FeatureCollection", "features": [feature]}), encoding="utf-8")
    words = ("--region", "island.region", "--closures", "wind.geojson", "--out", "mended")
    stopped = begun(desk, "recheck", "plan/plan.json", *words)
    line = ""
    assert stopped.stdout is not None
    time.sleep(0.05)
    until = time.monotonic() + 60
    while "no longer holds" not in line and time.monotonic() < until:
        line = stopped.stdout.readline()
    os.killpg(stopped.pid, signal.SIGINT)
    _, told = stopped.communicate(timeout=60)
    assert stopped.returncode == 130
    assert "Traceback" not in told
    assert not (desk / "mended").exists()
    assert not [path.name for path in desk.iterdir() if path.name.endswith(".part")]
