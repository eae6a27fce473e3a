"""Multipolygon and boundary relations to rings."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tripplan.osm.opl import NO_PLACE, parse_located
from tripplan.osm.raw import RawArea, RawLine

__all__ = ["Assembler", "WantedRelation", "join_rings"]

Part = tuple[NDArray[np.int64], NDArray[np.int32]]


@dataclass(frozen=True, slots=True)
class WantedRelation:
    """A relation to assemble: what it is for (``place``, ``water``, ``border``, ``state``), tags, and member ways with roles."""

    osm_id: int
    layer: str
    tags: dict[str, str]
    ways: tuple[tuple[int, str], ...]


def join_rings(parts: list[Part]) -> tuple[list[NDArray[np.int32]], int]:
    """Join ways end to end into closed rings.

    Returns
    -------
    rings, open_ends
        Rings I32[n, 2], and how many ways were left over.
    """
    rings: list[NDArray[np.int32]] = []
    at: dict[int, list[int]] = {}
    for number, (ids, points) in enumerate(parts):
        if len(ids) > 3 and ids[0] == ids[-1]:
            rings.append(points)
        elif len(ids) >= 2:
            at.setdefault(int(ids[0]), []).append(number)
            at.setdefault(int(ids[-1]), []).append(number)
    used: set[int] = set()
    left = 0
    for number in sorted({n for numbers in at.values() for n in numbers}):
        if number in used:
            continue
        used.add(number)
        chain = [parts[number][1]]
        taken = 1
        start, end = int(parts[number][0][0]), int(parts[number][0][-1])
        while end != start:
            following = next((n for n in at.get(end, ()) if n not in used), None)
            if following is None:
                break
            used.add(following)
            taken += 1
            ids, points = parts[following]
            forward = int(ids[0]) == end
            chain.append(points[1:] if forward else points[-2::-1])
            end = int(ids[-1] if forward else ids[0])
        if end == start:
            rings.append(np.concatenate(chain))
        else:
            left += taken
    return rings, left


class Assembler:
    """Collects member ways of wanted relations; `finish` makes areas and base map lines of them."""

    def __init__(self, wanted: list[WantedRelation], faults: Counter[str]) -> None:
        self._wanted = wanted
        self._faults = faults
        self._parts: dict[int, Part] = {}
        self._clipped: set[int] = set()
        self.way_ids = {ref for relation in wanted for ref, _ in relation.ways}
        #: Boundaries of states that close, once `finish` was called.
        self.states: list[RawArea] = []

    def add(self, line: bytes) -> None:
        """Take one member way as an OPL line."""
        fields = line.split(b" ")
        number = int(fields[0][1:])
        text = fields[-1][1:]
        ids, lon, lat = parse_located(text, text.count(b"n"))
        sound = lon != NO_PLACE
        if not sound.all():
            self._clipped.add(number)
        if sound.sum() >= 2:
            self._parts[number] = (ids[sound], np.column_stack((lon, lat))[sound])

    def finish(self) -> tuple[list[RawArea], list[RawLine], list[RawArea]]:
        """Return places, base map lines and country boundaries."""
        areas: list[RawArea] = []
        lines: list[RawLine] = []
        countries: list[RawArea] = []
        drawn: set[int] = set()
        for relation in self._wanted:
            ways = [ref for ref, _ in relation.ways]
            whole = all(ref in self._parts and ref not in self._clipped for ref in ways)
            outer, left = join_rings([self._parts[r] for r, role in relation.ways if role != "inner" and r in self._parts])
            inner, _ = join_rings([self._parts[r] for r, role in relation.ways if role == "inner" and r in self._parts])
            if (not whole or left) and relation.layer != "state":
                self._faults[f"areas not whole ({relation.layer})"] += 1
            if relation.layer == "place":
                if not outer:  # a broken ring still says where the place is
                    outer = [self._parts[ref][1] for ref in ways if ref in self._parts]
                if outer:
                    areas.append(RawArea(f"r{relation.osm_id}", relation.tags, tuple(outer), tuple(inner)))
            elif relation.layer == "state":
                if outer and whole and not left:
                    self.states.append(RawArea(f"r{relation.osm_id}", relation.tags, tuple(outer), tuple(inner)))
            elif relation.layer == "water":
                lines += [RawLine("water", True, ring) for ring in outer]
            else:
                lines += [
                    RawLine("border", False, self._parts[ref][1]) for ref in ways if ref in self._parts and ref not in drawn
                ]
                drawn.update(ways)
                if outer and whole and not left:
                    countries.append(RawArea(f"r{relation.osm_id}", relation.tags, tuple(outer), tuple(inner)))
        return areas, lines, countries
