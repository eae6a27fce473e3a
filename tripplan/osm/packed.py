"""Map files that would unpack to far more than any map does, or that hold text without an end: refused before they are read.

Libosmium reads whatever it is given, block by block. A file of a megabyte can make a gigabyte of it, and an XML parser looks
at a text that never ends again and again.
"""

from __future__ import annotations

import bz2
import gzip
import zlib
from collections.abc import Iterator
from pathlib import Path
from typing import IO

from tripplan.model.errors import BadInputError

__all__ = ["refuse_bombs"]

#: Unpacked size over size on disk that no map has; measured on extracts of five places, 2013 to 2025: pbf to 2.5, gz 8.5, bz2 11.5.
_MOST_TIMES = 100
#: Below this much unpacked nobody minds [bytes].
_FLOOR = 64 << 20
#: Text in which some mark must come within twice this length [bytes]: XML closes a tag, OPL ends a line (2,000 nodes of a way are 60 kB).
_CHUNK = 256 << 10


def refuse_bombs(file: Path) -> None:
    """Refuse a map file by its sizes alone. What is broken in other ways is left to the reader.

    Raises
    ------
    BadInputError
        When it unpacks to more than a hundred times its size, or has a tag or a line of more than half a megabyte.
    """
    name = file.name.lower()
    try:
        if name.endswith(".pbf"):
            _check_sizes(file, _blocks(file))
        else:
            _check_sizes(file, _text(file, b"\n" if name.endswith(".opl") else b">"))
    except BadInputError:
        raise
    except (OSError, EOFError, ValueError, zlib.error):
        return


def _check_sizes(file: Path, sizes: Iterator[tuple[int, int]]) -> None:
    for packed, unpacked in sizes:
        if unpacked > _FLOOR and unpacked > _MOST_TIMES * max(packed, 1):
            raise BadInputError(
                f"unpacks to more than {_MOST_TIMES} times its size",
                where=str(file),
                accepted="a map file",
                next_step="fetch it again",
            )


def _text(file: Path, mark: bytes) -> Iterator[tuple[int, int]]:
    """Read a text through: bytes taken from disk and bytes made of them."""
    name, total, what = file.name.lower(), 0, "line" if mark == b"\n" else "tag"
    with file.open("rb") as raw:
        stream: IO[bytes] | gzip.GzipFile | bz2.BZ2File = raw
        if name.endswith(".gz"):
            stream = gzip.GzipFile(fileobj=raw)
        elif name.endswith(".bz2"):
            stream = bz2.BZ2File(raw)
        while chunk := stream.read(_CHUNK):
            total += len(chunk)
            if len(chunk) == _CHUNK and mark not in chunk:
                raise BadInputError(
                    f"holds a {what} without an end", where=str(file), accepted="a map file",
                    next_step="fetch it again",
                )  # fmt: skip
            yield raw.tell(), total


def _blocks(file: Path) -> Iterator[tuple[int, int]]:
    """Go from block to block of a pbf file and add up what each says that it unpacks to."""
    total = 0
    with file.open("rb") as raw:
        while len(size := raw.read(4)) == 4:
            head = raw.read(min(int.from_bytes(size, "big"), 1 << 16))
            length = _field(head, 3)
            if length == 0:  # no block of a map is empty
                return
            start = raw.tell()
            total += _field(raw.read(min(length, 32)), 2)
            raw.seek(start + length)
            yield start + length, total


def _field(data: bytes, wanted: int) -> int:
    """Return a whole number of a protobuf message by its field, 0 where it is not among the first bytes."""
    at = 0
    while at < len(data):
        key, at = _varint(data, at)
        number, at = _varint(data, at)
        if key >> 3 == wanted and key & 7 == 0:
            return number
        at += number if key & 7 == 2 else 0
    return 0


def _varint(data: bytes, at: int) -> tuple[int, int]:
    number = shift = 0
    while at < len(data) and shift < 64:
        number |= (data[at] & 127) << shift
        shift += 7
        at += 1
        if data[at - 1] < 128:
            return number, at
    raise ValueError("no number")
