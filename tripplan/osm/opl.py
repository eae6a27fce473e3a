"""OPL, the line format that libosmium writes: tags, members and located node lists back from text.

The filters and the node locations are libosmium's own work, in C++; what reaches Python is one line of text an object,
and its numbers are parsed many at a time.
"""

from __future__ import annotations

import re
from typing import Any

import numpy as np
from numpy.typing import NDArray

__all__ = [
    "NO_PLACE", "Located", "escape", "parse_located", "parse_many_located", "parse_members", "parse_tags", "unescape", "unescape_all",
]  # fmt: skip

#: Ids, longitudes and latitudes [1e-7 degrees].
Located = tuple[NDArray[np.int64], NDArray[np.int32], NDArray[np.int32]]

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


def unescape_all(texts: list[bytes]) -> list[str]:
    """Return what `unescape` makes of each text; each distinct escape is looked at once."""
    # No text of OPL holds a line end or an odd number of %: what does is left to the slow way, one by one.
    parts = b"\n".join(texts).decode("utf-8", "replace").split("%")
    known = {part: _ESCAPE.sub(_char, f"%{part}%") for part in set(parts[1::2])}
    if len(parts) % 2 == 0 or any(len(char) != 1 or char == "\n" for char in known.values()):
        return [unescape(text) for text in texts]
    parts[1::2] = map(known.__getitem__, parts[1::2])
    plain = "".join(parts).split("\n")
    return plain if len(plain) == len(texts) else [unescape(text) for text in texts]


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


def parse_located(text: bytes, count: int) -> Located:
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
    ids = _ids(chars, n, x)
    dots = np.flatnonzero(chars == ord("."))
    if len(dots) == 2 * count:
        lon, lat = _degrees(chars, x + 1, dots[0::2], y), _degrees(chars, y + 1, dots[1::2], end)
    else:
        lon, lat = (_degrees(chars, start, _dot(dots, start, stop), stop) for start, stop in ((x + 1, y), (y + 1, end)))
        missing = (y == x + 1) | (end == y + 1)
        lon[missing] = lat[missing] = NO_PLACE
    return ids, lon, lat


def _ids(chars: NDArray[np.uint8], n: NDArray[np.intp], x: NDArray[np.intp]) -> NDArray[np.int64]:
    """Return the whole numbers between the marks ``n`` and ``x``."""
    ids: NDArray[np.int64] = _digits(chars, n + 1, x, np.int64)
    negative = np.flatnonzero(chars[n + 1] == ord("-"))
    if len(negative):
        ids[negative] = -_digits(chars, n[negative] + 2, x[negative], np.int64)
    return ids


def parse_many_located(texts: list[bytes]) -> tuple[Located, NDArray[np.int64]]:
    """Return what `parse_located` makes of many ways' fields ``Nn1x8.1y54.2,n2x...``, one after another, and how many nodes each has."""
    text = b"".join(texts)
    chars = np.frombuffer(text, np.uint8)
    # All but digits and minus; the difference of bytes wraps, so that one comparison does.
    marks = np.flatnonzero(((chars - np.uint8(48)) > 9) & (chars != 45))
    count = len(marks) // 6
    if count and len(marks) == 6 * count:
        signs = chars[marks].reshape(-1, 6)
        first = signs[:, 0] == ord("N")
        if (signs[:, 1:] == np.frombuffer(b"nx.y.", np.uint8)).all() and (first | (signs[:, 0] == ord(","))).all():
            starts = np.flatnonzero(first)
            if len(starts) == len(texts):
                before, n, x, dot_x, y, dot_y = np.ascontiguousarray(marks.reshape(-1, 6).T)
                end = np.append(before[1:], len(chars))
                located = _ids(chars, n, x), _degrees(chars, x + 1, dot_x, y), _degrees(chars, y + 1, dot_y, end)
                return located, np.diff(np.append(starts, count)).astype(np.int64)
    # A way without nodes, a node without a position, a degree without a fraction.
    counts = np.array([text.count(b"n") for text in texts], np.int64)
    return parse_located(b",".join(text[1:] for text in texts if len(text) > 1), int(counts.sum())), counts


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
    at = stop.copy()
    for place in range(min(most, 18)):
        at -= 1
        digit = chars[at if place < least else np.maximum(at, 0)].astype(kind)
        digit -= ord("0")
        digit *= _TENS[place].astype(kind)
        if place >= least:
            digit[place >= length] = 0
        value += digit
    return value
