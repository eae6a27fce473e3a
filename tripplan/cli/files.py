"""Reading small text files that people hand over, and writing such files whole or not at all."""

from __future__ import annotations

from pathlib import Path

from tripplan.model import leftovers
from tripplan.model.errors import BadInputError

__all__ = ["read_text", "write_whole"]

_MOST_BYTES = 64 * 2**20


def read_text(path: Path) -> str:
    """Return the text of a file, or say in one line why not.

    Raises
    ------
    BadInputError
        No such file, a folder, too large, or not UTF-8.
    """
    if not path.exists():
        raise BadInputError("no such file", where=str(path), next_step="check the path")
    if path.is_dir():
        raise BadInputError("is a folder", where=str(path), accepted="a file", next_step="name the file in it")
    if path.stat().st_size > _MOST_BYTES:
        raise BadInputError(
            f"is {path.stat().st_size / 2**20:.0f} MB", where=str(path), accepted=f"at most {_MOST_BYTES / 2**20:.0f} MB"
        )
    try:
        return path.read_text(encoding="utf-8")
    except UnicodeDecodeError:
        raise BadInputError("is not UTF-8 text", where=str(path), next_step="save it as UTF-8") from None


def write_whole(path: Path, text: str, *, encoding: str = "utf-8") -> None:
    """Write a text whole or not at all.

    Raises
    ------
    OSError, ValueError
        As the system or the encoding has it; then nothing is changed.
    """
    leftovers.write_whole(path, text.encode(encoding))
