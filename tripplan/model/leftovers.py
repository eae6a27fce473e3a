"""Scratch files and folders that a killed run left behind, found by their names and taken away by the next run."""

from __future__ import annotations

import os
import shutil
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

__all__ = ["scratch_folder", "scratch_name", "sweep"]


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
    start, end = f".{beside.name}.", ".part"
    with suppress(OSError):
        for path in beside.parent.iterdir():
            number = path.name[len(start) : -len(end)]
            if not (path.name.startswith(start) and path.name.endswith(end) and number.isascii() and number.isdigit()):
                continue
            if _runs(int(number)):
                continue
            if path.is_dir() and not path.is_symlink():
                shutil.rmtree(path, ignore_errors=True)
            else:
                with suppress(OSError):
                    path.unlink()


def _runs(number: int) -> bool:
    """Say whether a process may be running; yes where asking is not harmless."""
    if number == os.getpid() or sys.platform == "win32":  # there, signal 0 is Ctrl-C
        return True
    try:
        os.kill(number, 0)
    except ProcessLookupError:
        return False
    except (OSError, OverflowError):
        return True
    return True
