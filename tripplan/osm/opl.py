"""OPL, the line format that libosmium writes: tags, members and located node lists back from text.

The filters and the node locations are libosmium's own work, in C++; what reaches Python is one line of text an object,
and its numbers are parsed many at a time.
"""

from __future__ import annotations

import re

import numpy as np
from numpy.typing import NDArray

__all__ = ["NO_PLACE", "parse_located", "parse_members", "parse_tags", "unescape"]

_ESCAPE = re.compile(r"%([0-9a-fA-F]{1,6})%")

#: What stands for "this node is not in the file", 1e-7 degrees.
NO_PLACE = 2_000_000_000


def _char(found: re.Match[str]) -> str:
    number = int(found.group(1), 16)
    return chr(number) if number < 0x110000 and not 0xD800 <= number < 0xE000 else "\ufffd"


def unescape(text: bytes) -> str:
    """Return a key, value or role as it is on the map."""
    plain = text.decode("utf-8", "replace")
    return _ESCAPE.sub(_char, plain) if "%" in plain else plain


def parse_tags(text: bytes) -> dict[str, str]:
    """Return the tags of an object: ``text`` is its ``T`` field without the letter."""
    tags: dict[str, str] = {}
    for pair in text.split(b","):
        key, sign, value = pair.partition(b"=")
        if sign:
            tags[unescape(key)] = unescape(value)
    return tags


def parse_members(text: bytes) -> tuple[tuple[str, int, str], ...]:
    """Return a relation's members as (type letter, id, role): ``text`` is its ``M`` field without the letter."""
    members = []
    for part in text.split(b","):
        if part:
            head, _, role = part.partition(b"@")
            members.append((chr(head[0]), int(head[1:]), unescape(role)))
    return tuple(members)


def parse_located(text: bytes, count: int) -> tuple[NDArray[np.int64], NDArray[np.int32], NDArray[np.int32]]:
    """Return ids, longitudes and latitudes [1e-7 degrees] of ``n1x8.1y54.2,n2x...``; `NO_PLACE` where a node is missing.

    Raises
    ------
    ValueError
        If the text does not hold ``count`` nodes.
    """
    if count == 0:
        return np.empty(0, np.int64), np.empty(0, np.int32), np.empty(0, np.int32)
    plain = text.replace(b"xy", b"x200y200").translate(bytes.maketrans(b"xy", b",,"), b"n")
    numbers = np.fromstring(plain, dtype=np.float64, sep=",")
    if len(numbers) != 3 * count:
        raise ValueError(f"{len(numbers)} numbers where {3 * count} were expected")
    table = numbers.reshape(count, 3)
    ids = table[:, 0].astype(np.int64)
    lon = np.rint(table[:, 1] * 1e7).astype(np.int32)
    lat = np.rint(table[:, 2] * 1e7).astype(np.int32)
    return ids, lon, lat
