"""Files written whole or not at all, and what killed runs left beside them."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from tripplan.model import leftovers
from tripplan.model.leftovers import keep, scratch_name, write_whole


def put(how: str, path: Path, data: bytes) -> None:
    """Write by one of the two."""
    if how == "keep":
        keep(path, lambda file: file.write(data))
    else:
        write_whole(path, data)


def dead() -> int:
    """Return the number of a process that is over."""
    return int(subprocess.run([sys.executable, "-c", "import os; print(os.getpid())"], capture_output=True, check=True).stdout)


@pytest.mark.parametrize("how", ["keep", "whole"])
def test_what_is_written_is_whole_and_leftovers_go(how: str, tmp_path: Path) -> None:
    """The new content stands there; scratch of a run that is over is gone, and that of a run before with our own number."""
    path = tmp_path / "a.bin"
    path.write_bytes(b"old")
    over, same, living = (tmp_path / f".a.bin.{n}.part" for n in (dead(), os.getpid(), os.getppid()))
    for scratch in (over, same, living):
        scratch.write_bytes(b"half")
    os.utime(same, (1_700_000_000, 1_700_000_000))  # from before this process began
    put(how, path, b"new")
    assert path.read_bytes() == b"new"
    assert set(tmp_path.iterdir()) == {path, living}


@pytest.mark.parametrize("how", ["keep", "whole"])
def test_a_failure_changes_nothing(how: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A full disk leaves the old file as it was and nothing beside it: told by one, a lost cache for the other."""
    path = tmp_path / "a.bin"
    path.write_bytes(b"old")

    def full(_number: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(leftovers.os, "fsync", full)
    if how == "keep":
        put(how, path, b"new")
    else:
        with pytest.raises(OSError, match="No space"):
            put(how, path, b"new")
    assert path.read_bytes() == b"old"
    assert list(tmp_path.iterdir()) == [path]


def test_a_place_that_is_a_folder_is_told_and_left(tmp_path: Path) -> None:
    """A file cannot take a folder's place; nothing stays beside it."""
    (tmp_path / "a" / "b").mkdir(parents=True)
    with pytest.raises(OSError, match="a"):
        write_whole(tmp_path / "a", b"x")
    assert [p.name for p in tmp_path.iterdir()] == ["a"]


def test_another_thread_of_ours_is_not_written_over(tmp_path: Path) -> None:
    """Who finds scratch of this very run stands back."""
    path = tmp_path / "a.bin"
    beside = tmp_path / scratch_name(path.name)
    beside.write_bytes(b"half")
    with pytest.raises(FileExistsError):
        write_whole(path, b"x")
    assert beside.read_bytes() == b"half"
