"""Map files that would unpack to far more than any map does, or that hold text without an end: refused before they are read.

Libosmium reads whatever it is given, block by block. A file of a megabyte can make a gigabyte of it, and an XML parser looks
at a text that never ends again and again. A NUL inside a text ends it early there and makes libosmium 2 read beyond its end: the
process would be gone.
"""

from __future__ import annotations

import bz2
import gzip
import re
import zlib
from collections import deque
from collections.abc import Iterator
from concurrent.futures import Future, ThreadPoolExecutor
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
#: Largest block of a pbf file unpacked, as libosmium takes it (OSM wiki, PBF Format) [bytes].
_MOST_BLOCK = 32 << 20
#: So many blocks are unpacked at a time; each is 32 MB at most.
_AHEAD = 3
_OPL_ESCAPE = re.compile(rb"%([0-9a-fA-F]*)%")
_OPL_NUL = re.compile(rb"%0+%")
_RAW, _RAW_SIZE, _ZLIB = 1, 2, 3


def refuse_bombs(file: Path) -> None:
    """Refuse a map file by its sizes alone. What is broken in other ways is left to the reader.

    Raises
    ------
    BadInputError
        When it unpacks to more than a hundred times its size, has a tag or a line of more than half a megabyte, or a NUL in a text.
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
    rest = b""
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
            if mark == b"\n":
                lines, _, rest = (rest + chunk).rpartition(b"\n")
                if _writes_nul(lines):
                    raise _nul(file)
            yield raw.tell(), total
        if _writes_nul(rest):
            raise _nul(file)


def _writes_nul(lines: bytes) -> bool:
    """Whether an escape of OPL stands for NUL; ``%2c%0%41%`` holds none: the signs belong together in pairs."""
    if not _OPL_NUL.search(lines):
        return False
    return any(not found[1].strip(b"0") and found[1] for line in lines.split(b"\n") for found in _OPL_ESCAPE.finditer(line))


def _nul(file: Path) -> BadInputError:
    return BadInputError(
        "holds a text with a NUL character in it", where=str(file), accepted="a map file", next_step="fetch it again"
    )


def _blocks(file: Path) -> Iterator[tuple[int, int]]:
    """Go from block to block of a pbf file and add up what each says that it unpacks to."""
    total = 0
    with file.open("rb") as raw, ThreadPoolExecutor(2) as pool:  # to unpack is work outside the interpreter
        waiting: deque[Future[bool]] = deque()
        while len(size := raw.read(4)) == 4:
            head = raw.read(min(int.from_bytes(size, "big"), 1 << 16))
            length = _number(head, 3)
            if length == 0:  # no block of a map is empty
                break
            blob = raw.read(length)
            total += _number(blob[:32], _RAW_SIZE)
            yield raw.tell(), total
            waiting.append(pool.submit(_holds_nul, blob))
            if len(waiting) == _AHEAD and waiting.popleft().result():
                raise _nul(file)
        while waiting:
            if waiting.popleft().result():
                raise _nul(file)


def _holds_nul(blob: bytes) -> bool:
    """Whether a packed block holds a text with a NUL; no for one that is broken, which the reader will say."""
    try:
        return _has_nul(_unpacked(blob))
    except (ValueError, zlib.error):
        return False


def _unpacked(blob: bytes) -> bytes:
    """Return what a block of a pbf file holds; nothing where it is packed in a way that is not zlib's."""
    at = 0
    while at < len(blob):
        key, at = _varint(blob, at)
        number, at = _varint(blob, at)
        if key & 7 != 2:
            continue
        if key >> 3 == _RAW:
            return blob[at : at + number]
        if key >> 3 == _ZLIB:
            return zlib.decompressobj().decompress(memoryview(blob)[at : at + number], _MOST_BLOCK)
        at += number
    return b""


def _has_nul(block: bytes) -> bool:
    """Whether a text of a block's table of strings, its first field, holds a NUL."""
    if block[:1] != b"\x0a":
        return False
    size, at = _varint(block, 1)
    table = block[at : at + size]
    at = 2 if table[:2] == b"\x0a\0" else 0  # an empty string comes first
    if b"\0" not in table[at:]:
        return False
    size = len(table)
    while at < size:
        # One byte each for the field and a length below 128, nearly always.
        if table[at] == 0x0A and at + 1 < size and table[at + 1] < 128:
            length, at = table[at + 1], at + 2
        else:
            _, at = _varint(table, at)
            length, at = _varint(table, at)
        if table.find(0, at, at + length) >= 0:
            return True
        at += length
    return False


def _number(data: bytes, wanted: int) -> int:
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
