"""Where a command writes: folders looked at before the work, and files written whole or not at all."""

from __future__ import annotations

import errno
from pathlib import Path

from tripplan.model import leftovers
from tripplan.model.errors import BadInputError

__all__ = ["check_folder", "write_whole"]

#: Characters of a path that a message shows.
_MOST_NAME = 120


def write_whole(path: Path, text: str, *, encoding: str = "utf-8") -> None:
    """Write a text whole or not at all.

    Raises
    ------
    OSError, ValueError
        As the system or the encoding has it; then nothing is changed.
    """
    leftovers.write_whole(path, text.encode(encoding))


def check_folder(out: Path) -> None:
    """Say now, not after minutes of work, that a folder for papers cannot be had. Nothing is left behind.

    Raises
    ------
    BadInputError
        Without a name, a name with control characters or too long, a file of that name, or nowhere to write.
    """
    accepted = "a folder, new or not"
    if not str(out).strip() or out == Path():
        raise BadInputError("no folder is named", where="--out", accepted=accepted, next_step="name one")
    if not str(out).isprintable():
        raise BadInputError(
            f"{out} holds a line break or another control character", where="--out", accepted="a name in plain characters", next_step="name another one"
        )  # fmt: skip
    try:
        if out.exists() and not out.is_dir():
            raise BadInputError(f"{out} is not a folder", where="--out", accepted=accepted, next_step="name another one")
        whole = out.resolve()
        there = next(folder for folder in (whole.parent, *whole.parent.parents) if folder.exists())
        for folder in (there, whole) if whole.is_dir() else (there,):
            probe = folder / leftovers.scratch_name(whole.name)
            probe.mkdir()
            probe.rmdir()
    except OSError as error:
        reason, advice = error.strerror or str(error), "name another one"
        if error.errno == errno.ENAMETOOLONG:
            reason, advice = "the name is too long for this disk", "name a shorter one"
        shown = str(out) if len(str(out)) <= _MOST_NAME else str(out)[:_MOST_NAME] + "…"
        raise BadInputError(f"{shown} cannot be written ({reason})", where="--out", accepted=accepted, next_step=advice) from None
