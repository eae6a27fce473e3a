"""Maps drawn as text: letters are nodes, ways are strings of letters with tags."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from math import cos, radians
from pathlib import Path

#: Metres of one degree of latitude on the sphere that piece lengths are measured on (radius 6,371,009 m).
METRES_A_DEGREE = 111_195.07973


@dataclass(frozen=True)
class Drawing:
    """A map file made from a drawing, with the number of everything in it."""

    path: Path
    at: dict[str, tuple[float, float]]
    node_id: dict[str, int]
    way_id: dict[str, int]
    relation_id: tuple[int, ...]


def opl_text(text: str) -> str:
    """Escape a key, value or role as OPL wants it."""
    return "".join(c if (c.isalnum() and c.isascii()) or c in "_:;.-/()<>+*?!'\"" else f"%{ord(c):x}%" for c in text)


def _tags(tags: Mapping[str, str] | str) -> dict[str, str]:
    if isinstance(tags, str):
        return dict(pair.split("=", 1) for pair in tags.split())
    return dict(tags)


def _tag_text(tags: Mapping[str, str] | str) -> str:
    return ",".join(f"{opl_text(k)}={opl_text(v)}" for k, v in _tags(tags).items())


def coordinates(
    ascii_map: str, *, grid_m: float = 100.0, origin: tuple[float, float] = (8.0, 50.0)
) -> dict[str, tuple[float, float]]:
    """Return (lon, lat) of each letter or digit: one character is ``grid_m`` wide, one line ``grid_m`` high, north up."""
    lon0, lat0 = origin
    at: dict[str, tuple[float, float]] = {}
    for row, line in enumerate(ascii_map.strip("\n").splitlines()):
        for column, char in enumerate(line):
            if char.isalnum():
                lon = lon0 + column * grid_m / METRES_A_DEGREE / cos(radians(lat0))
                lon = (lon + 180) % 360 - 180  # a drawing may lie across the date line
                at[char] = (round(lon, 7), round(lat0 - row * grid_m / METRES_A_DEGREE, 7))
    return at


def draw(
    ascii_map: str,
    ways: Mapping[str, Mapping[str, str] | str],
    *,
    nodes: Mapping[str, Mapping[str, str] | str] | None = None,
    relations: Iterable[tuple[Mapping[str, str] | str, Sequence[tuple[str, str]]]] = (),
    folder: Path,
    grid_m: float = 100.0,
    origin: tuple[float, float] = (8.0, 50.0),
    missing: str = "",
    name: str = "drawn",
) -> Drawing:
    """Write a drawing as an OPL file and say what number everything has.

    Parameters
    ----------
    ascii_map
        Letters and digits are nodes; all else (``-``, ``|``, blanks) is for the eye.
    ways
        Letters in order -> tags, as a mapping or ``"highway=primary surface=asphalt"``. Repeat a way with other tags
        by a suffix after ``#`` ("AB#2").
    nodes
        Letter -> tags.
    relations
        Tags and members as (role, letters): one letter is a node unless ``ways`` knows the word.
    missing
        Letters whose nodes are left out of the file, as in a clipped extract.

    Numbers: nodes from 1 in order of the alphabet, ways from 101 and relations from 1001 in order of mention.
    """
    at = coordinates(ascii_map, grid_m=grid_m, origin=origin)
    node_id = {letter: number for number, letter in enumerate(sorted(at), 1)}
    way_id = {word: number for number, word in enumerate(ways, 101)}
    node_tags = nodes or {}
    lines = [
        f"n{node_id[c]} v1 T{_tag_text(node_tags.get(c, {}))} x{lon:.7f} y{lat:.7f}"
        for c, (lon, lat) in sorted(at.items())
        if c not in missing
    ]
    for word, tags in ways.items():
        refs = ",".join(f"n{node_id[c]}" for c in word.split("#")[0])
        lines.append(f"w{way_id[word]} v1 T{_tag_text(tags)} N{refs}")
    numbers = []
    for number, (tags, members) in enumerate(relations, 1001):
        parts = [
            f"w{way_id[word]}@{opl_text(role)}" if word in way_id else f"n{node_id[word]}@{opl_text(role)}"
            for role, word in members
        ]
        lines.append(f"r{number} v1 T{_tag_text(tags)} M{','.join(parts)}")
        numbers.append(number)
    path = folder / f"{name}.osm.opl"
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return Drawing(path, at, node_id, way_id, tuple(numbers))
