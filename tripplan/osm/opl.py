"""OPL, the line format that libosmium writes: tags, members and located node lists back from text.

The filters and the node locations are libosmium's own work, in C++; what reaches Python is one line of text an object,
and its numbers are parsed many at a time.
"""

from __future__ import annotations

import re
from typing import Any

import numpy as np
from numpy.typing import NDArray

__all__ = ["NO_PLACE", "escape", "parse_located", "parse_members", "parse_tags", "unescape"]

_ESCAPE = re.compile(r"%([0-9a-fA-F]{1,6})%")

#: What stands for "this node is not in the file", 1e-7 degrees.
NO_PLACE = 2_000_000_000
_TENS = 10 ** np.arange(19, dtype=np.int64)


def _char(found: re.Match[str]) -> str:
    number = int(found.group(1), 16)
    return chr(number) if number < 0x110000 and not 0xD800 <= number < 0xE000 else "\ufffd"


def unescape(text: bytes) -> str:
    """Return a key, value or role as it is on the map."""
    plain = text.decode("utf-8", "replace")
    return _ESCAPE.sub(_char, plain) if "%" in plain else plain


def escape(text: str) -> str:
    """Return text as OPL writes it: all but letters and digits of ASCII and a few signs by their number."""
    return "".join(c if (c.isascii() and c.isalnum()) or c in "_:;.-" else f"%{ord(c):x}%" for c in text)


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

    Digits are gathered place by place over all numbers at once: eight times as fast as a general number parser.

    Raises
    ------
    ValueError
        If the text does not hold ``count`` nodes.
    """
    if count == 0:
        return np.empty(0, np.int64), np.empty(0, np.int32), np.empty(0, np.int32)
    chars = np.frombuffer(text, np.uint8)
    n, x, y = (np.flatnonzero(chars == ord(letter)) for letter in "nxy")
    if not len(n) == len(x) == len(y) == count:
        raise ValueError(f"{len(x)} positions of {len(n)} nodes where {count} were expected")
    end = np.append(n[1:] - 1, len(chars))
    ids = _digits(chars, n + 1, x, np.int64)
    negative = np.flatnonzero(chars[n + 1] == ord("-"))
    if len(negative):
        ids[negative] = -_digits(chars, n[negative] + 2, x[negative], np.int64)
    dots = np.flatnonzero(chars == ord("."))
    if len(dots) == 2 * count:
        lon, lat = _degrees(chars, x + 1, dots[0::2], y), _degrees(chars, y + 1, dots[1::2], end)
    else:
        lon, lat = (_degrees(chars, start, _dot(dots, start, stop), stop) for start, stop in ((x + 1, y), (y + 1, end)))
        missing = (y == x + 1) | (end == y + 1)
        lon[missing] = lat[missing] = NO_PLACE
    return ids, lon, lat


def _dot(dots: NDArray[np.intp], start: NDArray[np.intp], stop: NDArray[np.intp]) -> NDArray[np.intp]:
    """Where the decimal point of each number is; its end where it has none."""
    at = np.searchsorted(dots, start)
    found = np.append(dots, np.iinfo(np.intp).max)[at]
    return np.asarray(np.minimum(found, stop))


def _degrees(
    chars: NDArray[np.uint8], start: NDArray[np.intp], dot: NDArray[np.intp], stop: NDArray[np.intp]
) -> NDArray[np.int32]:
    negative = chars[np.minimum(start, len(chars) - 1)] == ord("-")
    whole = _digits(chars, start + negative, dot, np.int32)
    first = np.minimum(dot + 1, stop)
    value: NDArray[np.int32] = whole * 10_000_000 + _digits(chars, first, stop, np.int32) * _TENS[
        7 - np.minimum(stop - first, 7)
    ].astype(np.int32)
    np.negative(value, out=value, where=negative)
    return value


def _digits(
    chars: NDArray[np.uint8], start: NDArray[np.intp], stop: NDArray[np.intp], kind: type[np.signedinteger[Any]]
) -> NDArray[Any]:
    """Return the whole numbers written in ``chars[start:stop]``; 0 for none."""
    length = stop - start
    least, most = int(length.min()), int(length.max())
    value = np.zeros(len(start), kind)
    for place in range(min(most, 18)):
        digit = chars[np.maximum(stop - 1 - place, 0)].astype(kind)
        digit -= ord("0")
        digit *= _TENS[place].astype(kind)
        if place >= least:
            digit[place >= length] = 0
        value += digit
    return value
