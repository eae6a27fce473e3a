"""The own base map of a trip: coast, water, roads and towns around the way, thinned until they fit a page."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tripplan.model.words import Surface
from tripplan.region.columns import BASE_LAYERS, HIGHWAYS
from tripplan.region.region import Region
from tripplan.report.dateline import box_of, in_range
from tripplan.report.safe import plain
from tripplan.report.thin import pack, thin

__all__ = ["Frame", "base_layers", "frame_around", "kept_off", "roads", "towns"]

F64 = NDArray[np.float64]
I64 = NDArray[np.int64]
Bool = NDArray[np.bool_]
E7 = NDArray[np.int32] | NDArray[np.int64]

#: Road classes of each group of the base map, and how far from the way they are shown [km] (0: only within the frame).
_GROUPS: dict[str, tuple[frozenset[str], float]] = {
    "main": (frozenset({"motorway", "trunk", "primary", "motorway_link", "trunk_link", "primary_link"}), 0.0),
    "middle": (frozenset({"secondary", "tertiary", "secondary_link", "tertiary_link"}), 20.0),
    "small": (frozenset({"unclassified", "residential", "living_street", "road"}), 3.0),
}
_CELL_DEG = 0.01
#: Cells that a frame is cut into at most; of a larger frame they are coarser.
_MOST_CELLS = 4_000_000
_TOWN_RANK = {"city": 0, "town": 1, "village": 2, "island": 2, "suburb": 3, "islet": 3, "hamlet": 4}


@dataclass(frozen=True, slots=True)
class Frame:
    """The part of the world that a map shows, and where in it the way runs.

    Parameters
    ----------
    west, south, east, north
        Edges of the base map [degrees]. Longitudes go on beyond 180 where the frame lies across it: west < east always.
    way
        (n, 2) points of the way, lon and lat [degrees], lon as in the frame.
    """

    west: float
    south: float
    east: float
    north: float
    way: F64

    @property
    def turned(self) -> bool:
        """Whether the frame lies across 180 degrees."""
        return self.west < -180.0 or self.east > 180.0

    def unrolled(self, lon: F64) -> F64:
        """Return longitudes [degrees] as the frame counts them: each within half a turn of its middle."""
        if not self.turned:
            return lon
        return np.asarray(lon + 360.0 * np.round(((self.west + self.east) / 2 - lon) / 360.0))

    def line(self, points: F64) -> F64:
        """Return points (n, 2) of lon and lat [degrees] with longitudes as the frame counts them."""
        if not self.turned:
            return points
        return np.column_stack([self.unrolled(points[:, 0]), points[:, 1]])

    def holds(self, lon: F64, lat: F64) -> Bool:
        """Return which points lie in the frame; lon and lat [degrees]."""
        lon = self.unrolled(lon)
        held: Bool = (lon >= self.west) & (lon <= self.east) & (lat >= self.south) & (lat <= self.north)
        return held

    def near(self, lon: F64, lat: F64, km: float) -> Bool:
        """Return which points lie within about ``km`` of the way: to a cell of a hundredth of a degree, or coarser in a huge frame."""
        if len(self.way) == 0:
            return np.zeros(len(lon), dtype=np.bool_)
        lon = self.unrolled(lon)
        size = max(_CELL_DEG, ((self.east - self.west) * (self.north - self.south) / _MOST_CELLS) ** 0.5)
        columns = int((self.east - self.west) / size) + 2
        lines = int((self.north - self.south) / size) + 2
        grid = np.zeros((lines, columns), dtype=np.bool_)
        grid[_cell(self.way[:, 1], self.south, size, lines), _cell(self.way[:, 0], self.west, size, columns)] = True
        # As many cells as the distance spans: fewer kilometres a degree of longitude away from the equator.
        north = max(1, round(km / (111.2 * size)))
        east = max(1, round(km / (111.2 * size * max(0.1, float(np.cos(np.deg2rad(self.way[:, 1].mean())))))))
        wide = _spread(_spread(grid, north, 0), east, 1)
        inside = (lon >= self.west) & (lon <= self.east) & (lat >= self.south) & (lat <= self.north)
        found: Bool = inside & wide[_cell(lat, self.south, size, lines), _cell(lon, self.west, size, columns)]
        return found


def _cell(degrees: F64, start: float, size: float, count: int) -> I64:
    cells: I64 = np.clip(((degrees - start) / size).astype(np.int64), 0, count - 1)
    return cells


def _spread(grid: Bool, steps: int, axis: int) -> Bool:
    """Return the grid with every marked cell widened by ``steps`` cells to both sides."""
    sums = np.cumsum(np.pad(grid.astype(np.int32), [(steps + 1, steps) if a == axis else (0, 0) for a in (0, 1)]), axis=axis)
    size = grid.shape[axis]
    upper = np.take(sums, np.arange(2 * steps + 1, 2 * steps + 1 + size), axis=axis)
    spread: Bool = (upper - np.take(sums, np.arange(size), axis=axis)) > 0
    return spread


def frame_around(way: F64, points: F64) -> Frame:
    """Return a frame around a way and the points of a trip, with room at the sides: 15 % and at least 0.1 degree.

    The narrowest that holds all: a trip across 180 degrees has one too, whose longitudes go on beyond it.
    """
    everything = np.concatenate([way.reshape(-1, 2), points.reshape(-1, 2)])
    if len(everything) == 0:
        return Frame(-1.0, -1.0, 1.0, 1.0, way)
    box = box_of([everything])
    if box is not None and box[0] > box[2]:
        # Across 180 degrees: the eastern part is counted on, or the western one back, whichever leaves the middle its own number.
        back = box[0] + box[2] >= 0.0
        everything, way = (_counted_on(p.reshape(-1, 2), box[0], back=back) for p in (everything, way))
    west, south = everything.min(axis=0)
    east, north = everything.max(axis=0)
    room_x, room_y = max(0.1, 0.15 * (east - west)), max(0.1, 0.15 * (north - south))
    return Frame(float(west - room_x), float(south - room_y), float(east + room_x), float(north + room_y), way)


def _counted_on(points: F64, west: float, *, back: bool) -> F64:
    """Return points whose longitudes run on eastward from ``west``, a whole turn less where ``back``."""
    lon = in_range(points[:, 0])
    return np.column_stack([np.where(lon < west, lon + 360.0, lon) - (360.0 if back else 0.0), points[:, 1]])


def _counted(lon_e7: E7, frame: Frame) -> E7:
    """Return longitudes [1e-7 degree] as the frame counts them."""
    return np.rint(frame.unrolled(_degrees(lon_e7)) * 1e7).astype(np.int64) if frame.turned else lon_e7


def _degrees(e7: E7) -> F64:
    return np.asarray(e7, dtype=np.float64) * 1e-7


def _lines_of(lon_e7: E7, lat_e7: E7, ptr: I64, rows: I64) -> tuple[F64, F64, I64]:
    """Return the chosen lines in units of 1e-5 degree."""
    counts = (ptr[rows + 1] - ptr[rows]).astype(np.int64)
    bounds = np.concatenate([[0], np.cumsum(counts)]).astype(np.int64)
    at = np.repeat(ptr[rows] - bounds[:-1], counts) + np.arange(int(bounds[-1]))
    return lon_e7[at] / 100.0, lat_e7[at] / 100.0, bounds


def _boxes(lon_e7: E7, lat_e7: E7, ptr: I64) -> tuple[F64, F64, F64, F64]:
    """Return west, south, east and north of every line [degrees]."""
    starts = ptr[:-1].astype(np.int64)
    return (
        np.minimum.reduceat(lon_e7, starts) * 1e-7, np.minimum.reduceat(lat_e7, starts) * 1e-7,
        np.maximum.reduceat(lon_e7, starts) * 1e-7, np.maximum.reduceat(lat_e7, starts) * 1e-7,
    )  # fmt: skip


def _fitted(x: F64, y: F64, ptr: I64, most: int, tolerance_m: float) -> list[int]:
    """Thin lines, ever more coarsely, until no more than ``most`` points are left; pack them."""
    for _ in range(9):
        x, y, ptr = thin(x, y, ptr, tolerance_m)
        if len(x) <= most:
            break
        tolerance_m *= 1.8
    if len(x) > most:
        # Even two points a line are too many: the longest lines stay.
        extent = np.hypot(
            np.diff(x[np.stack([ptr[:-1], ptr[1:] - 1])], axis=0)[0], np.diff(y[np.stack([ptr[:-1], ptr[1:] - 1])], axis=0)[0]
        )
        order = np.argsort(-extent, kind="stable")
        count = np.cumsum(np.diff(ptr)[order])
        rows = np.sort(order[: int(np.searchsorted(count, most, side="right"))])
        at = np.concatenate([np.arange(ptr[r], ptr[r + 1]) for r in rows]) if len(rows) else np.empty(0, dtype=np.int64)
        ptr = np.concatenate([[0], np.cumsum(np.diff(ptr)[rows])]).astype(np.int64)
        x, y = x[at], y[at]
    return pack(x, y, ptr)


def base_layers(region: Region, frame: Frame, most_points: int) -> dict[str, list[int]]:
    """Return the packed lines and areas of the base map that touch the frame.

    Returns
    -------
    dict
        ``land`` and ``sea`` (areas by the turn of a closed coast: land lies on its left), ``coast`` (open lines of it),
        ``water``, ``wood`` (areas), ``river``, ``border`` (lines).
    """
    base = region.base
    out: dict[str, list[int]] = {}
    if len(base.layer) == 0 or len(base.lon_e7) == 0:
        return out
    lon_e7 = _counted(base.lon_e7, frame)
    west, south, east, north = _boxes(lon_e7, base.lat_e7, base.ptr)
    seen = (west <= frame.east) & (east >= frame.west) & (south <= frame.north) & (north >= frame.south)
    turn = _turns(lon_e7, base.lat_e7, base.ptr)
    starts, ends = base.ptr[:-1].astype(np.int64), base.ptr[1:].astype(np.int64) - 1
    closed = base.closed.astype(np.bool_) | ((lon_e7[starts] == lon_e7[ends]) & (base.lat_e7[starts] == base.lat_e7[ends]))
    number = {name: i for i, name in enumerate(BASE_LAYERS)}
    is_coast = base.layer == number["coast"]
    masks = {
        "land": is_coast & closed & (turn >= 0), "sea": is_coast & closed & (turn < 0), "coast": is_coast & ~closed,
        "wood": (base.layer == number["wood"]) & closed, "water": (base.layer == number["water"]) & closed,
        "river": (base.layer == number["river"]) | ((base.layer == number["water"]) & ~closed), "border": base.layer == number["border"],
    }  # fmt: skip
    share = {"land": 0.35, "sea": 0.1, "coast": 0.3, "wood": 0.15, "water": 0.2, "river": 0.25, "border": 0.1}
    for name, mask in masks.items():
        rows = np.flatnonzero(mask & seen).astype(np.int64)
        if len(rows):
            out[name] = _fitted(*_lines_of(lon_e7, base.lat_e7, base.ptr, rows), int(most_points * share[name]), 12.0)
    return out


def _turns(lon_e7: E7, lat_e7: E7, ptr: I64) -> F64:
    """Return twice the signed area of every line, closed: positive when it runs anticlockwise."""
    x, y = lon_e7.astype(np.float64), lat_e7.astype(np.float64)
    step = x * np.roll(y, -1) - np.roll(x, -1) * y
    ends, starts = ptr[1:].astype(np.int64) - 1, ptr[:-1].astype(np.int64)
    step[ends] = x[ends] * y[starts] - x[starts] * y[ends]
    return np.add.reduceat(step, starts)


def roads(region: Region, frame: Frame, most_points: int) -> dict[str, list[int]]:
    """Return packed roads by group (`main`, `middle`, `small`) along the way, sealed or not known otherwise."""
    pieces = region.pieces
    out: dict[str, list[int]] = {}
    if len(pieces.way) == 0:
        return out
    highway = region.ways.highway[pieces.way]
    sealed = region.ways.surface[pieces.way] != Surface.UNSEALED
    middle = ((pieces.ptr[:-1] + pieces.ptr[1:]) // 2).astype(np.int64)
    inside = frame.holds(_degrees(pieces.lon_e7[middle]), _degrees(pieces.lat_e7[middle]))
    lon_e7 = _counted(pieces.lon_e7, frame)
    for name, (classes, reach_km) in _GROUPS.items():
        mask = np.isin(highway, [i for i, word in enumerate(HIGHWAYS) if word in classes]) & sealed & inside
        rows = np.flatnonzero(mask).astype(np.int64)
        if reach_km > 0:
            rows = rows[_near_anywhere(region, rows, frame, reach_km)]
        share = {"main": 0.4, "middle": 0.4, "small": 0.2}[name]
        if len(rows):
            out[name] = _fitted(*_lines_of(lon_e7, pieces.lat_e7, pieces.ptr, rows), int(most_points * share), 10.0)
    return out


def _near_anywhere(region: Region, rows: I64, frame: Frame, reach_km: float) -> Bool:
    """Return which pieces come near the way with an end or their middle."""
    pieces = region.pieces
    first, last = pieces.ptr[rows].astype(np.int64), pieces.ptr[rows + 1].astype(np.int64) - 1
    found = np.zeros(len(rows), dtype=np.bool_)
    for at in (first, (first + last) // 2, last):
        found |= frame.near(_degrees(pieces.lon_e7[at]), _degrees(pieces.lat_e7[at]), reach_km)
    return found


def kept_off(region: Region, frame: Frame, most_points: int, reach_km: float = 5.0) -> tuple[list[int], float]:
    """Return the unsealed roads near the way, packed, and their length [m]; tracks are left out, nobody takes those for a road."""
    pieces = region.pieces
    if len(pieces.way) == 0:
        return [], 0.0
    classes = [i for i, word in enumerate(HIGHWAYS) if word not in ("track", "ferry")]
    mask = (region.ways.surface[pieces.way] == Surface.UNSEALED) & np.isin(region.ways.highway[pieces.way], classes)
    rows = np.flatnonzero(mask).astype(np.int64)
    rows = rows[_near_anywhere(region, rows, frame, reach_km)]
    if len(rows) == 0:
        return [], 0.0
    packed = _fitted(*_lines_of(_counted(pieces.lon_e7, frame), pieces.lat_e7, pieces.ptr, rows), most_points, 8.0)
    return packed, float(pieces.length_m[rows].sum())


def towns(region: Region, frame: Frame, most: int = 250) -> list[tuple[str, int, float, float]]:
    """Return named towns within the frame, most important first: name (clean text), rank from 0, lat and lon [degrees].

    Villages and smaller ones are named within 15 km of the way only.
    """
    table = region.towns
    if len(table.name) == 0:
        return []
    lon, lat = _degrees(table.lon_e7), _degrees(table.lat_e7)
    kinds = {int(k): _TOWN_RANK.get(region.string(int(k)), 9) for k in np.unique(table.kind)}
    rank = np.array([kinds[int(k)] for k in table.kind])
    mask = frame.holds(lon, lat) & (rank < 9) & (table.name >= 0)
    mask &= (rank <= 1) | frame.near(lon, lat, 15.0)
    rows = np.flatnonzero(mask)
    rows = rows[np.lexsort((rows, -table.population[rows].astype(np.int64), rank[rows]))][:most]
    return [
        (
            plain(region.string(int(table.name[r])))[:60],
            int(rank[r]),
            round(float(lat[r]), 5),
            round(float(frame.unrolled(lon[r])), 5),
        )
        for r in rows
    ]
