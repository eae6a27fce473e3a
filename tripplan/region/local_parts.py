"""Which ways, and which part of them, a road note means."""

from __future__ import annotations

import heapq
from collections.abc import Sequence
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from tripplan.model.errors import BadInputError
from tripplan.model.local import RoadNote
from tripplan.region.columns import Flag, Pieces
from tripplan.region.geometry import EARTH_RADIUS_M
from tripplan.region.region import Region

__all__ = ["Interval", "RoadFinder", "project"]

I64 = NDArray[np.int64]
F64 = NDArray[np.float64]

#: Part of a piece: its row, from, to [m from its first point].
Interval = tuple[int, float, float]

#: A point of a note is this near to its road, else it is the wrong road or the wrong point [m].
_NEAR_M = 250.0
#: Two roads of a name this near to a point are told apart by it no more [m].
_SAME_M = 1.0
#: A part that begins or ends so near to a junction begins or ends there [m].
_AT_JUNCTION_M = 5.0


class RoadFinder:
    """Finds the ways of a region that notes mean."""

    def __init__(self, region: Region) -> None:
        self._region = region

    @cached_property
    def _by_id(self) -> tuple[I64, I64]:
        order = np.argsort(self._region.ways.osm_id, kind="stable").astype(np.int64)
        return self._region.ways.osm_id[order], order

    @cached_property
    def _by_name(self) -> dict[str, list[int]]:
        """String numbers of each folded name or ref."""
        from tripplan.region.find import fold

        out: dict[str, list[int]] = {}
        for number in np.unique(np.concatenate((self._region.ways.name, self._region.ways.ref))).tolist():
            if number >= 0:
                for part in {self._region.string(number), *self._region.string(number).split(";")}:
                    out.setdefault(fold(part), []).append(number)
        return out

    @cached_property
    def _pieces_of(self) -> tuple[I64, I64]:
        """Pieces sorted by way, and where each way's begin."""
        way = self._region.pieces.way
        order = np.argsort(way, kind="stable").astype(np.int64)
        return order, np.concatenate(([0], np.cumsum(np.bincount(way, minlength=len(self._region.ways.osm_id))))).astype(np.int64)

    def pieces_of(self, ways: Sequence[int]) -> I64:
        """Return the pieces of some ways, ascending."""
        order, ptr = self._pieces_of
        parts = [order[ptr[way] : ptr[way + 1]] for way in ways]
        return np.sort(np.concatenate(parts)) if parts else np.empty(0, np.int64)

    def ways(self, note: RoadNote) -> list[int]:
        """Return the rows of the ways that a note means as a whole, or between whose points it means a part.

        Raises
        ------
        BadInputError
            No such way, no such road at that point, or several.
        """
        where = note.source.where
        if not note.ways:
            return self._named(note)
        ids, order = self._by_id
        rows = []
        for osm_id in note.ways:
            at = int(np.searchsorted(ids, osm_id))
            if at == len(ids) or ids[at] != osm_id:
                raise BadInputError(
                    f"`way` {osm_id} is not a road of region {self._region.meta.name}", where=where, accepted="the number of a way that cars may use, on this map",
                    next_step="look the number up again: ways are cut and joined as the map is edited; or give `road`, lat and lon",
                )  # fmt: skip
            rows.append(int(order[at]))
        pieces = self.pieces_of(rows)
        for point in note.at:
            distance, _ = project(self._region.pieces, pieces, *point)
            self._check_near(float(distance.min(initial=np.inf)), "way " + ";".join(str(n) for n in note.ways), point, where)
        return rows

    def _check_near(self, distance: float, road: str, point: tuple[float, float], where: str) -> None:
        if distance > _NEAR_M:
            far = f"{distance / 1000:.1f} km" if np.isfinite(distance) else "far"
            raise BadInputError(
                f"{road} is {far} from {point[1]:g}, {point[0]:g}", where=where, accepted=f"a point within {_NEAR_M:g} m of the road",
                next_step="check the road and the columns lat and lon",
            )  # fmt: skip

    def _named(self, note: RoadNote) -> list[int]:
        from tripplan.region.find import fold

        ways, where = self._region.ways, note.source.where
        numbers = self._by_name.get(fold(note.road), [])
        rows = np.flatnonzero(np.isin(ways.name, numbers) | np.isin(ways.ref, numbers)) if numbers else np.empty(0, np.int64)
        if not len(rows):
            raise BadInputError(
                f'`road` "{note.road}" is not on the map of {self._region.meta.name}', where=where, accepted="a name or ref as on the map",
                next_step="check the spelling, or give `way`",
            )  # fmt: skip
        pieces = self.pieces_of(rows.tolist())
        for point in note.at:
            distance, _ = project(self._region.pieces, pieces, *point)
            self._check_near(float(distance.min(initial=np.inf)), f'road "{note.road}"', point, where)
        if len(note.at) == 2:
            return [int(row) for row in rows]
        distance, _ = project(self._region.pieces, pieces, *note.at[0])
        near = np.unique(self._region.pieces.way[pieces[distance <= distance.min() + _SAME_M]]).tolist()
        if len(near) > 1:
            ids = ", ".join(str(int(ways.osm_id[row])) for row in near[:4])
            raise BadInputError(
                f'`road` "{note.road}" has {len(near)} ways at that point (way {ids})', where=where, accepted="one way",
                next_step="give `way`, or a point further along",
            )  # fmt: skip
        return [int(near[0])]

    def part(self, note: RoadNote, rows: Sequence[int]) -> list[Interval]:
        """Return the stretch between the two points of a note, along the ways meant.

        Raises
        ------
        BadInputError
            Both points at one place, not joined by these ways, or on a ferry.
        """
        region, where = self._region, note.source.where
        pieces = self.pieces_of(rows)
        if (region.ways.flags[region.pieces.way[pieces]] & Flag.FERRY).any():
            raise BadInputError(
                "a part of a ferry", where=where, accepted="a ferry as a whole", next_step="take lat2 and lon2 out"
            )
        ends = []
        for point in note.at:
            distance, along = project(region.pieces, pieces, *point)
            best = int(np.argmin(distance))
            ends.append((int(pieces[best]), self._snapped(int(pieces[best]), float(along[best]))))
        found = _stretch(region.pieces, pieces, ends[0], ends[1])
        if found is None:
            raise BadInputError(
                "the two points are not joined by the ways meant", where=where, accepted="two points on one stretch of road",
                next_step="name every way between them, as in 123;124, or make a row for each",
            )  # fmt: skip
        found = [part for part in found if part[2] > part[1]]
        if not found:
            raise BadInputError(
                "the two points are at the same place of the road", where=where, accepted=f"points more than {_AT_JUNCTION_M:g} m apart",
                next_step="mend lat2 and lon2, or leave them empty to mean the whole way",
            )  # fmt: skip
        return found

    def _snapped(self, piece: int, along: float) -> float:
        length = float(self._region.pieces.length_m[piece])
        if along < _AT_JUNCTION_M and along <= length / 2:
            return 0.0
        return length if along > length - _AT_JUNCTION_M else along


def project(pieces: Pieces, rows: I64, lon: float, lat: float) -> tuple[F64, F64]:
    """Return for each piece the straight distance from a point and where along it the nearest point lies [m]."""
    if not len(rows):
        return np.empty(0), np.empty(0)
    size = np.diff(pieces.ptr)[rows]
    start = np.concatenate(([0], np.cumsum(size)))[:-1]
    points = np.repeat(pieces.ptr[rows] - start, size) + np.arange(int(size.sum()))
    a_degree = EARTH_RADIUS_M * np.pi / 180
    x = ((pieces.lon_e7[points] / 1e7 - lon + 180) % 360 - 180) * a_degree * np.cos(np.radians(lat))
    y = (pieces.lat_e7[points] / 1e7 - lat) * a_degree
    dx, dy = np.append(np.diff(x), 0.0), np.append(np.diff(y), 0.0)
    last = start + size - 1
    dx[last] = dy[last] = 0.0
    square = dx * dx + dy * dy
    with np.errstate(invalid="ignore", divide="ignore"):
        share = np.where(square > 0, np.clip(-(x * dx + y * dy) / square, 0, 1), 0.0)
    away = np.hypot(x + share * dx, y + share * dy)
    step = np.sqrt(square)
    travelled = np.concatenate(([0.0], np.cumsum(step)))[:-1]
    owner = np.repeat(np.arange(len(rows)), size)
    best = np.lexsort((np.arange(len(points)), away, owner))[start]
    flat = np.add.reduceat(step, start)
    along = travelled[best] - travelled[start] + share[best] * step[best]
    length = pieces.length_m[rows]
    return away[best], np.clip(np.where(flat > 0, along * length / np.maximum(flat, 1e-9), 0.0), 0.0, length)


def _stretch(pieces: Pieces, rows: I64, start: tuple[int, float], end: tuple[int, float]) -> list[Interval] | None:
    """Return the shortest stretch from one point to another along some pieces, either way; ``None`` when there is none."""
    if start[0] == end[0]:
        low, high = sorted((start[1], end[1]))
        return [(start[0], low, high)]
    at: dict[int, list[int]] = {}
    for piece in rows.tolist():
        for junction in {int(pieces.a[piece]), int(pieces.b[piece])}:
            at.setdefault(junction, []).append(piece)
    heap: list[tuple[float, int, tuple[Interval, ...]]] = []
    for junction, low, high in _halves(pieces, start):
        heapq.heappush(heap, (high - low, junction, ((start[0], low, high),)))
    goal = {junction: (low, high) for junction, low, high in _halves(pieces, end)}
    seen: set[int] = set()
    best: tuple[float, list[Interval]] | None = None
    while heap:
        metres, junction, parts = heapq.heappop(heap)
        if best is not None and metres >= best[0]:
            break
        if junction in seen:
            continue
        seen.add(junction)
        if junction in goal:
            low, high = goal[junction]
            if best is None or metres + high - low < best[0]:
                best = metres + high - low, [*parts, (end[0], low, high)]
        for piece in at[junction]:
            other = int(pieces.b[piece]) if int(pieces.a[piece]) == junction else int(pieces.a[piece])
            if piece not in (start[0], end[0]) and other not in seen:
                length = float(pieces.length_m[piece])
                heapq.heappush(heap, (metres + length, other, (*parts, (piece, 0.0, length))))
    return None if best is None else best[1]


def _halves(pieces: Pieces, point: tuple[int, float]) -> list[tuple[int, float, float]]:
    """Return both junctions of a point's piece, with the part of the piece between them and the point."""
    piece, along = point
    return [(int(pieces.a[piece]), 0.0, along), (int(pieces.b[piece]), along, float(pieces.length_m[piece]))]
