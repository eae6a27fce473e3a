"""Scratch files and folders that a killed run left behind, found by their names and taken away by the next run."""

from __future__ import annotations

import os
import re
import shutil
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import IO

__all__ = ["keep", "scratch_folder", "scratch_name", "sweep", "write_whole"]

_BEGAN = time.time()


def scratch_name(name: str) -> str:
    """Return what this run calls the scratch beside a file or folder of that name: hidden, and with our process number."""
    return f".{name}.{os.getpid()}.part"


@contextmanager
def scratch_folder() -> Iterator[Path]:
    """Give a folder of our own among the system's temporary files, after taking away those of killed runs; gone at the end."""
    shared = Path(tempfile.gettempdir()) / "tripplan"
    sweep(shared)
    own = shared.with_name(scratch_name(shared.name))
    try:
        own.mkdir(mode=0o700)
    except FileExistsError:  # two builds in one process, or somebody else's: then one with a name that nobody can guess
        own = Path(tempfile.mkdtemp(prefix="tripplan-"))
    try:
        yield own
    finally:
        shutil.rmtree(own, ignore_errors=True)


def sweep(beside: Path) -> None:
    """Remove the scratch beside a file or folder whose run is over. What cannot be removed stays.

    A name is taken for ours only if it is exactly what `scratch_name` makes, and for left over only if no process has that number
    (where the system can tell without touching it).
    """
    _sweep(beside.parent, re.escape(beside.name))


def write_whole(path: Path, data: bytes) -> None:
    """Write a file whole or not at all; what a killed run left beside it goes.

    Raises
    ------
    OSError, ValueError
        As the system has it, also when another thread of ours is writing it; then nothing is changed.
    """
    _put(path, re.escape(path.name), lambda file: file.write(data))


def keep(path: Path, write: Callable[[IO[bytes]], object]) -> None:
    """Write a file of a cache folder as `write_whole` does, and take away what killed runs left of any such file there.

    A full disk, or a folder that cannot be written, only costs the next run its time.
    """
    with suppress(OSError):
        path.parent.mkdir(parents=True, exist_ok=True)
        _put(path, ".*" + re.escape(path.suffix), write)


def _put(path: Path, names: str, write: Callable[[IO[bytes]], object]) -> None:
    """Write a file beside its place and move it there, after a sweep; nothing is left beside it when that fails."""
    _sweep(path.parent, names)
    scratch = path.with_name(scratch_name(path.name))
    with scratch.open("xb") as file:  # one that is there is being written by another thread of ours
        try:
            write(file)
            file.flush()
            os.fsync(file.fileno())
        except BaseException:
            file.close()
            scratch.unlink(missing_ok=True)
            raise
    try:
        scratch.replace(path)
    except OSError:
        scratch.unlink(missing_ok=True)
        raise


def _sweep(folder: Path, names: str) -> None:
    ours = re.compile(rf"\.{names}\.([0-9]{{1,18}})\.part", re.DOTALL)
    with suppress(OSError):
        for path in folder.iterdir():
            found = ours.fullmatch(path.name)
            if found is None or (_ours(path) if int(found[1]) == os.getpid() else _runs(int(found[1]))):
                continue
            if path.is_dir() and not path.is_symlink():
                shutil.rmtree(path, ignore_errors=True)
            else:
                with suppress(OSError):
                    path.unlink()


def _ours(path: Path) -> bool:
    """Say whether scratch with our number is from this run: in a container, each run may have the number of the one before."""
    return path.lstat().st_mtime > _BEGAN - 1.0


def _runs(number: int) -> bool:
    """Say whether another process may be running; yes where asking is not harmless."""
    if sys.platform == "win32":  # there, signal 0 is Ctrl-C
        return True
    try:
        os.kill(number, 0)
    except ProcessLookupError:
        return False
    except (OSError, OverflowError):
        return True
    return True
