"""Papers on disk: all or none."""

from __future__ import annotations

import errno
import os
import subprocess
import sys
from pathlib import Path

import pytest
from helpers import plans

from tripplan.model.errors import BadInputError
from tripplan.model.serial import plan_from_json
from tripplan.report import stale, write
from tripplan.report.write import PAPERS, begin_papers, map_paper, render_papers, write_papers

REGION = plans.island()
PLAN = plans.plan(2, region=REGION)


def _content(folder: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in folder.iterdir()}


def test_a_new_folder_appears_complete(tmp_path: Path) -> None:
    """All papers are there, with missing parents made, and nothing else is left behind."""
    out = tmp_path / "deep" / "trip"
    paths = write_papers(PLAN, REGION, out)
    assert [path.name for path in paths] == list(PAPERS)
    assert sorted(_content(out)) == sorted(PAPERS)
    assert [path.name for path in out.parent.iterdir()] == ["trip"]
    assert plan_from_json((out / "plan.json").read_text(encoding="utf-8")).trip.name == PLAN.trip.name


def test_same_plan_same_papers(tmp_path: Path) -> None:
    """Two writes of one plan give the same bytes in every file."""
    write_papers(PLAN, REGION, tmp_path / "a")
    write_papers(plans.plan(2), plans.island(), tmp_path / "b")
    assert _content(tmp_path / "a") == _content(tmp_path / "b")


def test_older_papers_go_and_other_files_stay(tmp_path: Path) -> None:
    """Papers of an older plan are replaced; a file of somebody else's is not touched."""
    out = tmp_path / "trip"
    out.mkdir()
    (out / "notes.txt").write_text("mine")
    (out / "map.html").write_text("old")
    write_papers(PLAN, REGION, out)
    assert (out / "notes.txt").read_text() == "mine"
    assert (out / "map.html").read_bytes().startswith(b"<!DOCTYPE html>")
    assert sorted(_content(out)) == sorted([*PAPERS, "notes.txt"])


def test_a_file_in_the_way(tmp_path: Path) -> None:
    """A file where the folder should be is bad input, and stays."""
    out = tmp_path / "trip"
    out.write_text("a file")
    with pytest.raises(BadInputError, match="not a folder"):
        write_papers(PLAN, REGION, out)
    assert out.read_text() == "a file"


@pytest.mark.parametrize("fail_at", range(len(PAPERS)))
def test_a_failed_step_puts_everything_back(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, fail_at: int) -> None:
    """When any of the moves fails, the folder holds exactly what it held before."""
    out = tmp_path / "trip"
    out.mkdir()
    for name in PAPERS:
        (out / name).write_text(f"old {name}")
    before = _content(out)
    moves = 0
    real = Path.replace

    def replace(self: Path, target: Path) -> Path:
        nonlocal moves
        moves += 1
        if moves == fail_at + 1:
            raise OSError(errno.EIO, "input/output error")
        return real(self, target)

    monkeypatch.setattr(Path, "replace", replace)
    with pytest.raises(BadInputError, match="cannot be written"):
        write_papers(PLAN, REGION, out)
    assert moves > fail_at
    assert _content(out) == before
    assert [path.name for path in tmp_path.iterdir()] == ["trip"]


@pytest.mark.parametrize(
    ("number", "words"), [(errno.ENOSPC, "no room on disk"), (errno.EACCES, "no permission"), (errno.EROFS, "no permission")]
)
@pytest.mark.parametrize("paper", range(len(PAPERS)))
def test_a_full_disk_leaves_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, number: int, words: str, paper: int) -> None:
    """When a paper cannot be written out, the error says why in one line and no folder appears."""
    written = 0
    real = write._write_through

    def fail(path: Path, content: bytes) -> None:
        nonlocal written
        if written == paper:
            raise OSError(number, "refused")
        written += 1
        real(path, content)

    monkeypatch.setattr(write, "_write_through", fail)
    with pytest.raises(BadInputError, match=words) as caught:
        write_papers(PLAN, REGION, tmp_path / "trip")
    assert "\n" not in str(caught.value)
    assert list(tmp_path.iterdir()) == []


def test_a_paper_that_cannot_be_made_leaves_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A fault while a page is made touches no disk at all."""
    monkeypatch.setattr("tripplan.report.calendar.calendar_text", lambda plan: 1 / 0)
    with pytest.raises(ZeroDivisionError):
        write_papers(PLAN, REGION, tmp_path / "trip")
    assert list(tmp_path.iterdir()) == []


def test_each_paper_is_whole_at_every_moment(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Before each move every paper is there, the older or the newer one: a run killed then leaves no gap."""
    out = tmp_path / "trip"
    write_papers(PLAN, REGION, out)
    new = _content(out)
    old = {name: f"old {name}".encode() for name in PAPERS}
    for name, content in old.items():
        (out / name).write_bytes(content)
    real = Path.replace
    seen: list[int] = []

    def replace(self: Path, target: Path) -> Path:
        now = _content(out)
        assert set(now) == set(PAPERS)
        assert all(now[name] in (old[name], new[name]) for name in PAPERS)
        seen.append(sum(now[name] == new[name] for name in PAPERS))
        assert Path(target).name != "plan.json" or seen[-1] == len(PAPERS) - 1
        return real(self, target)

    monkeypatch.setattr(Path, "replace", replace)
    write_papers(PLAN, REGION, out)
    assert seen == list(range(len(PAPERS)))
    assert _content(out) == new


def test_another_run_is_there_first(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """When the folder appears while the papers are made, the later run's papers stand in it, whole."""
    out = tmp_path / "trip"
    real = Path.rename

    def rename(self: Path, target: Path) -> Path:
        out.mkdir()
        (out / "map.html").write_text("the other run's")
        return real(self, target)

    monkeypatch.setattr(Path, "rename", rename)
    write_papers(PLAN, REGION, out)
    assert sorted(_content(out)) == sorted(PAPERS)
    assert _content(out)["map.html"].startswith(b"<!DOCTYPE html>")
    assert [path.name for path in tmp_path.iterdir()] == ["trip"]


def test_what_a_killed_run_left_is_taken_away(tmp_path: Path) -> None:
    """The next run into a folder removes the scratch of one that is over, and nothing of another name."""
    gone = subprocess.run([sys.executable, "-c", "import os; print(os.getpid())"], capture_output=True, text=True, check=True)
    left = tmp_path / f".trip.{gone.stdout.strip()}.part"
    left.mkdir()
    (left / "map.html").write_text("half")
    others = [tmp_path / ".trip.part", tmp_path / ".trip.12x.part", tmp_path / ".tri.1.part"]
    for other in others:
        other.write_text("somebody's")
    write_papers(PLAN, REGION, tmp_path / "trip")
    assert left.exists() == (sys.platform == "win32")
    assert all(other.exists() for other in others)


def test_begun_papers_are_the_same(tmp_path: Path) -> None:
    """With the PDF written by a process of its own meanwhile, every file has the same bytes as without."""
    write_papers(PLAN, REGION, tmp_path / "a")
    write_papers(PLAN, REGION, tmp_path / "b", begun=begin_papers(PLAN, REGION))
    assert _content(tmp_path / "a") == _content(tmp_path / "b")


def test_other_plans_are_on_the_map_alone() -> None:
    """Alternatives change the map, by a layer each, and no other paper."""
    other = plans.plan(3, region=REGION)
    without, with_it = render_papers(PLAN, REGION), render_papers(PLAN, REGION, alternatives=(("Least money", other),))
    assert [name for name in PAPERS if without[name] != with_it[name]] == ["map.html"]
    assert with_it["map.html"] == map_paper(PLAN, REGION, alternatives=(("Least money", other),))
    assert b'tripplan.layer("other-0")' in with_it["map.html"]
    assert b"Least money" in with_it["map.html"]


def _choices_beside(out: Path, *names: str) -> None:
    """Lay a page of choices and their folders beside the papers of a plan, as an earlier run left them."""
    links = "".join(f'<a href="{name}/map.html">Map</a>' for name in names)
    (out / "choices.html").write_text(f"<head>{stale.GENERATOR}</head>{links}", encoding="utf-8")
    for name in names:
        (out / name).mkdir()
        for paper in PAPERS:
            (out / name / paper).write_text("{}", encoding="utf-8")


def test_choices_of_an_earlier_plan_go_with_it_and_nothing_of_anybody_else(tmp_path: Path) -> None:
    """What our page lists and nobody has changed is taken away; a note, a changed sheet, a folder not listed and a link stay."""
    out = tmp_path / "trip"
    out.mkdir()
    _choices_beside(out, "choice-cheapest", "choice-fewest-km", "choice-linked")
    (out / "choice-fewest-km" / "notes.txt").write_text("mine")
    changed = out / "choice-fewest-km" / "days.csv"
    os.utime(changed, (changed.stat().st_mtime + 3600,) * 2)
    (out / "choice-of-mine").mkdir()
    (out / "choice-of-mine" / "plan.json").write_text("{}")
    elsewhere = tmp_path / "elsewhere"
    (out / "choice-linked").rename(elsewhere)
    (out / "choice-linked").symlink_to(elsewhere)
    write_papers(PLAN, REGION, out)
    assert sorted(p.name for p in out.iterdir()) == sorted([*PAPERS, "choice-fewest-km", "choice-linked", "choice-of-mine"])
    assert sorted(p.name for p in (out / "choice-fewest-km").iterdir()) == ["days.csv", "notes.txt"]
    assert sorted(p.name for p in elsewhere.iterdir()) == sorted(PAPERS)
    assert [p.name for p in (out / "choice-of-mine").iterdir()] == ["plan.json"]


def test_a_page_of_choices_that_is_not_ours_is_left_alone(tmp_path: Path) -> None:
    """Without our mark in its head, neither the page nor what it links to is touched, nor is what climbs out of the folder."""
    out = tmp_path / "trip"
    out.mkdir()
    _choices_beside(out, "choice-cheapest")
    (out / "choices.html").write_text('<a href="choice-cheapest/map.html">Map</a>', encoding="utf-8")
    write_papers(PLAN, REGION, out)
    assert (out / "choices.html").is_file()
    assert sorted(p.name for p in (out / "choice-cheapest").iterdir()) == sorted(PAPERS)
    page = tmp_path / "page.html"
    page.write_text(stale.GENERATOR + '<a href="../map.html"><a href="/etc/map.html"><a href="best/map.html">', encoding="utf-8")
    assert stale.listed(page) == ("best",)
    assert stale.listed(tmp_path / "none.html") == ()
