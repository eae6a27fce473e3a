"""`tripplan batch`: outcomes, resuming, processes that die, and the same answers from other machines."""

from __future__ import annotations

import json
import os
import signal
from pathlib import Path

import pytest

from tripplan import batch
from tripplan.batch import Outcome, outcome_of, plan_bookings, row_key
from tripplan.cli.main import main
from tripplan.region.region import Region
from tripplan.request.bookings import BookingRow, load_bookings

SAMPLE = Path(__file__).resolve().parents[2] / "data_sample"
TABLE = """booking,trip,pick_up.time,return.time,party.adults
first,trip_isle_weekend.toml,,,
late,trip_isle_weekend.toml,2026-03-12 09:00,2026-03-16 16:00,
many,trip_isle_weekend.toml,,,9
north,trip_too_long_in_the_north.toml,,,
wrong,trip_isle_weekend.toml,tomorrow,,
"""


@pytest.fixture(scope="module")
def island(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Region]:
    """The sample island's region, in a file and read."""
    from tripplan.region.build import build
    from tripplan.region.store import load, save

    path = tmp_path_factory.mktemp("region") / "island.region"
    save(build(SAMPLE / "island.osm.pbf", name="Sample island"), path)
    return path, load(path)


@pytest.fixture
def table(tmp_path: Path) -> Path:
    """A table of five bookings beside the sample files."""
    import shutil

    folder = tmp_path / "desk"
    shutil.copytree(SAMPLE, folder, ignore=shutil.ignore_patterns("*.py", "*.pbf", "__pycache__"))
    path = folder / "bookings.csv"
    path.write_text(TABLE, encoding="utf-8")
    return path


def run(*words: object) -> int:
    with pytest.raises(SystemExit) as stop:
        main([str(w) for w in words])
    return int(stop.value.code or 0)


def keyed(table: Path, region: Region) -> list[tuple[BookingRow, str]]:
    return [(row, row_key(row, region.meta.key)) for row in load_bookings(table)]


def bare(outcomes: list[Outcome]) -> list[dict[str, object]]:
    """Outcomes by row, without how long they took."""
    return [{**o.values(), "seconds": 0} for o in sorted(outcomes, key=lambda o: o.row)]


def test_each_row_has_its_outcome_and_a_second_run_does_nothing(
    table: Path, island: tuple[Path, Region], tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Planned, no plan and bad input are told apart, with papers for what is planned; done rows are not planned again."""
    out = tmp_path / "out"
    assert run("batch", table, "--region", island[0], "--out", out, "--workers", 1) == 1
    told = (out / "outcomes.csv").read_text(encoding="utf-8-sig").splitlines()
    assert [line.split(",")[2] for line in told[1:]] == ["planned", "planned", "bad input", "no plan", "bad input"]
    assert "berths" in told[3]
    assert {p.name for p in out.iterdir() if p.is_dir()} == {"first", "late"}
    assert (out / "first" / "map.html").is_file()
    before = {p: p.stat().st_mtime_ns for p in out.rglob("*.*") if p.parent != out}
    monkeypatch.setattr(batch, "outcome_of", lambda *_: pytest.fail("a done row was planned again"))
    assert run("batch", table, "--region", island[0], "--out", out, "--workers", 1) == 1
    assert "5 bookings done before, 0 to do" in capsys.readouterr().out
    assert before == {p: p.stat().st_mtime_ns for p in out.rglob("*.*") if p.parent != out}


def test_a_changed_row_and_lost_papers_are_planned_again(table: Path, island: tuple[Path, Region], tmp_path: Path) -> None:
    """Only the row that changed and the one whose papers are gone come up anew; a last line cut off in the journal is no matter."""
    out = tmp_path / "out"
    run("batch", table, "--region", island[0], "--out", out, "--workers", 1)
    with (out / "outcomes.jsonl").open("a", encoding="utf-8") as journal:
        journal.write('{"booking": "fir')
    (out / "first" / "plan.json").unlink()
    kept = (out / "late" / "plan.json").stat().st_mtime_ns
    table.write_text(
        table.read_text(encoding="utf-8").replace("tomorrow,,", "2026-03-19 09:00,2026-03-23 16:00,"), encoding="utf-8"
    )
    run("batch", table, "--region", island[0], "--out", out, "--workers", 1)
    assert (out / "first" / "plan.json").is_file()
    assert (out / "wrong" / "plan.json").is_file()
    assert (out / "late" / "plan.json").stat().st_mtime_ns == kept


def test_processes_give_the_same_outcomes_and_the_same_bytes(table: Path, island: tuple[Path, Region], tmp_path: Path) -> None:
    """Two processes and one agree in every outcome and every byte of every paper."""
    rows = keyed(table, island[1])
    one = list(plan_bookings(rows, island[0], tmp_path / "one", workers=1))
    two = list(plan_bookings(rows, island[0], tmp_path / "two", workers=2))
    assert bare(one) == bare(two)
    for path in sorted((tmp_path / "one").rglob("*.*")):
        if path.is_file():
            assert (tmp_path / "two" / path.relative_to(tmp_path / "one")).read_bytes() == path.read_bytes(), path.name


def _die_on_late(row: BookingRow, key: str, region_file: str, out: str) -> Outcome:
    if row.booking == "late":
        os.kill(os.getpid(), signal.SIGKILL)
    return Outcome(row.booking, row.number, key, "no plan")


def test_a_process_that_dies_takes_only_its_own_booking(
    table: Path, island: tuple[Path, Region], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Killed in the middle of a booking, that one is told as failed; every other has its outcome, once."""
    monkeypatch.setattr(batch, "_here", _die_on_late)
    found = list(plan_bookings(keyed(table, island[1]), island[0], tmp_path, workers=2))
    assert sorted(o.booking for o in found) == ["first", "late", "many", "north", "wrong"]
    assert {o.booking: o.outcome for o in found}["late"] == "failed"
    assert [o.outcome for o in found if o.booking != "late"] == ["no plan"] * 4


def test_a_fault_of_our_own_is_one_row(table: Path, island: tuple[Path, Region], monkeypatch: pytest.MonkeyPatch) -> None:
    """An error that nobody foresaw is told in the row's outcome, on one line."""

    def broken(*_: object) -> object:
        raise RuntimeError("first line\nsecond line")

    monkeypatch.setattr("tripplan.pipeline.audited_plan", broken)
    row, key = keyed(table, island[1])[0]
    outcome, papers = outcome_of(row, island[1], key)
    assert outcome.outcome == "failed"
    assert "RuntimeError: first line second line" in outcome.words
    assert papers == {}


def test_what_is_kept_comes_back_as_it_was() -> None:
    """An outcome goes through the journal unchanged; a line that is something else is passed over."""
    outcome = Outcome("B", 2, "k", "planned", 3, 1.5, 0.5, 12.0, "crowns", True, 2, "B", "", 0.1)
    assert Outcome.of(json.loads(json.dumps(outcome.values()))) == outcome
    assert Outcome.of({"booking": "B"}) is None
    assert Outcome.of({**outcome.values(), "words": 3}) is None


@pytest.mark.enable_socket
def test_dask_gives_the_same_outcomes_and_the_same_bytes(table: Path, island: tuple[Path, Region], tmp_path: Path) -> None:
    """A scheduler with a worker on loopback, which gets the map and sends the papers back, agrees with this process."""
    distributed = pytest.importorskip("distributed")
    rows = keyed(table, island[1])[:3]
    one = list(plan_bookings(rows, island[0], tmp_path / "one", workers=1))
    with distributed.LocalCluster(
        n_workers=1,
        threads_per_worker=1,
        processes=False,
        protocol="tcp",
        dashboard_address=None,
        host="127.0.0.1",
        local_directory=str(tmp_path / "dask"),
    ) as cluster:
        other = list(plan_bookings(rows, island[0], tmp_path / "other", scheduler=cluster.scheduler_address))
    assert bare(one) == bare(other)
    for path in sorted((tmp_path / "one").rglob("*.*")):
        if path.is_file():
            assert (tmp_path / "other" / path.relative_to(tmp_path / "one")).read_bytes() == path.read_bytes(), path.name


@pytest.mark.enable_socket
def test_a_scheduler_that_is_not_there_is_one_line(
    table: Path, island: tuple[Path, Region], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """An address where nobody answers is bad input, with what to do."""
    from tripplan.model.errors import BadInputError

    monkeypatch.setattr("tripplan.batch._ANSWER_S", 1)

    pytest.importorskip("distributed")
    for address in ("tcp://127.0.0.1:9", "nonsense://x"):
        with pytest.raises(BadInputError, match="cannot be reached"):
            list(plan_bookings(keyed(table, island[1]), island[0], tmp_path, scheduler=address))
