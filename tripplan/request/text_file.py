"""Reading small files that people wrote: every way that can fail is one clear line."""

from __future__ import annotations

import csv
import io
import re
import tomllib
from pathlib import Path
from typing import Any

from tripplan.model.errors import BadInputError

__all__ = ["comma_of", "csv_table", "read_text", "read_toml"]

_MEGABYTE = 1_000_000
#: Parts of a dotted key: time and memory of tomllib grow with their square.
_MOST_DOTS = 100
_QUOTED = re.compile(r'"(?:[^"\\\n]|\\.)*"|\'[^\'\n]*\'')


def read_text(path: Path, *, most_mb: float, accepted: str) -> str:
    """Return the text of a file.

    Parameters
    ----------
    most_mb
        Largest size taken [MB]. accepted: what kind of file is wanted, for messages.

    Raises
    ------
    BadInputError
        No such file, a folder, not to be opened, too large, or not UTF-8 text.
    """
    where = str(path)
    try:
        if path.is_dir():
            raise BadInputError("is a folder", where=where, accepted=accepted, next_step="name a file in it")
        with path.open("rb") as file:
            data = file.read(int(most_mb * _MEGABYTE) + 1)
    except BadInputError:
        raise
    except FileNotFoundError:
        raise BadInputError("no such file", where=where, accepted=accepted, next_step="check the path") from None
    except (OSError, ValueError) as error:  # ValueError: a null character in the path
        reason = getattr(error, "strerror", None) or str(error)
        raise BadInputError(f"cannot be read ({reason})", where=where, accepted=accepted, next_step="check the file") from None
    if len(data) > most_mb * _MEGABYTE:
        raise BadInputError(
            f"is larger than {most_mb:g} MB",
            where=where,
            accepted=f"{accepted}, at most {most_mb:g} MB",
            next_step="take a smaller one",
        )
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise BadInputError(
            f"is not UTF-8 text (byte {error.start + 1} is 0x{data[error.start]:02x})",
            where=where, accepted=accepted, next_step="save it as UTF-8 text",
        ) from None  # fmt: skip


def comma_of(text: str, commas: str = ",;\t") -> str:
    """Return what parts the columns of a table: the mark that stands most often in its first line."""
    first = next((line for line in text.splitlines() if line.strip()), "")
    return max(commas, key=first.count)


def csv_table(text: str, where: str, accepted: str, comma: str = "") -> list[list[str]]:
    """Return the rows of a table, blank ones too.

    Parameters
    ----------
    comma
        What parts its columns; empty: as `comma_of` finds it.

    Raises
    ------
    BadInputError
        When quotes do not close or rows cannot be told apart.
    """
    try:
        return list(csv.reader(io.StringIO(text, newline=""), delimiter=comma or comma_of(text), strict=True))
    except csv.Error as error:
        raise BadInputError(f"is not CSV ({error})", where=where, accepted=accepted, next_step="check the quotes") from None


def read_toml(path: Path) -> tuple[dict[str, Any], str]:
    """Return what a TOML file holds, and its text."""
    text = read_text(path, most_mb=1, accepted="a TOML file")
    if any(part.count(".") > _MOST_DOTS for part in re.split(r"[=,{}\[\]\n]", _QUOTED.sub("q", text))):
        raise BadInputError(
            f"a key of more than {_MOST_DOTS} parts", where=str(path), accepted="key = value lines", next_step="mend that line"
        )
    try:
        return tomllib.loads(text), text
    except tomllib.TOMLDecodeError as error:
        reason = str(error).replace("at end of document", "in its last line")
    except (RecursionError, MemoryError):
        reason = "nested too deep"
    except ValueError as error:  # dates such as 2026-13-45
        reason = "a number has thousands of digits" if "digits" in str(error) else str(error)
    raise BadInputError(f"is not TOML: {reason}", where=str(path), accepted="key = value lines", next_step="mend that line")
