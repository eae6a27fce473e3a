"""Which pieces of road each point of a track may lie on: all points at once, in plain arrays.

Points and roads are laid out in longitudes that run on from the track's first point, so the date line is no edge.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tripplan.region.columns import Pieces
from tripplan.region.geometry import EARTH_RADIUS_M
from tripplan.roads.match_graph import MatchGraph

__all__ = ["Candidates", "RoadGrid"]

F64 = NDArray[np.float64]
I64 = NDArray[np.int64]
Mask = NDArray[np.bool_]

_M_PER_DEGREE = EARTH_RADIUS_M * np.pi / 180
#: Cells that tell which pieces lie along the track at all [degrees].
_COARSE = 0.01
#: A longer way is not cut into coarse cells: whole regions are rarely so large, and a track across it has every piece looked at.
_MOST_COARSE = 4_000_000
#: Two visits of a piece to a point are told apart from so much road between them on [m].
_APART_M = 30.0
#: Pairs of point and segment that are measured at a time.
_CHUNK = 2_000_000


@dataclass(frozen=True, slots=True)
class Candidates:
    """Pieces near each point, nearest first (ties: by row). A piece that comes by twice (a hairpin) stands there twice.

    Parameters
    ----------
    ptr
        (points + 1) rows of point p are ``ptr[p]:ptr[p + 1]``.
    piece
        Row of the piece. distance_m: straight distance [m]; along_m: where the nearest point lies, from the piece's first point [m].
    """

    ptr: I64
    piece: I64
    distance_m: F64
    along_m: F64


class RoadGrid:
    """The roads along a track, cut into short segments and sorted into cells.

    Parameters
    ----------
    lon, lat
        The track [degrees]. reach_m: largest distance that will be asked for [m].
    """

    def __init__(self, pieces: Pieces, graph: MatchGraph, lon: F64, lat: F64, reach_m: float) -> None:
        self._lon0 = float(lon[0])
        self._pieces = pieces
        self._reach_m = reach_m
        self._height = 2 * reach_m / _M_PER_DEGREE
        self._width = self._height / max(float(np.cos(np.radians(min(np.abs(lat).max() + 0.1, 89.0)))), 0.01)
        self._rows = np.flatnonzero(self._along(graph, lon, lat, reach_m))
        self._cut()

    def _shift(self, lon: F64) -> F64:
        return np.asarray((lon - self._lon0 + 180) % 360 - 180, np.float64)

    def _along(self, graph: MatchGraph, lon: F64, lat: F64, reach_m: float) -> Mask:
        """Return which pieces have a box that touches a coarse cell near the track."""
        x, y = self._shift(lon), lat
        up = reach_m / _M_PER_DEGREE
        aside = up / max(float(np.cos(np.radians(min(np.abs(lat).max() + 0.1, 89.0)))), 0.01)
        west, south = x.min() - aside, y.min() - up
        columns, lines = int((x.max() + aside - west) / _COARSE) + 2, int((y.max() + up - south) / _COARSE) + 2
        if columns * lines > _MOST_COARSE:
            return np.ones(len(graph.west), bool)
        grid = np.zeros((lines + 1, columns + 1), np.int32)
        for dx in (-aside, 0.0, aside):
            for dy in (-up, 0.0, up):
                # One beyond: row and column 0 stay empty for the sums.
                grid[((y + dy - south) / _COARSE).astype(np.int64) + 1, ((x + dx - west) / _COARSE).astype(np.int64) + 1] = 1
        grid = grid.cumsum(axis=0).cumsum(axis=1)
        left, right = self._shift(graph.west / 1e7), self._shift(graph.east / 1e7)
        over = right < left  # a box across the seam opposite to the track, or all round the world

        def cell(value: F64, start: float, count: int) -> I64:
            return np.clip(np.floor((value - start) / _COARSE), -1, count - 1).astype(np.int64)

        x0, x1 = cell(left, west, columns), cell(right, west, columns)
        y0, y1 = cell(graph.south / 1e7, south, lines), cell(graph.north / 1e7, south, lines)
        x0, y0 = np.maximum(x0, 0), np.maximum(y0, 0)
        hits = grid[y1 + 1, x1 + 1] - grid[y0, x1 + 1] - grid[y1 + 1, x0] + grid[y0, x0]
        inside = (x1 >= x0) & (y1 >= y0) & (hits > 0)
        wide = (graph.east.astype(np.int64) - graph.west) > 1_800_000_000
        return np.asarray(inside | over | wide, np.bool_)

    def _cut(self) -> None:
        """Cut the pieces into segments no longer than a cell, and sort them by cell."""
        pieces, rows = self._pieces, self._rows
        size = np.diff(pieces.ptr)[rows]
        start = np.concatenate(([0], np.cumsum(size)))[:-1].astype(np.int64)
        at = np.repeat(pieces.ptr[rows] - start, size) + np.arange(int(size.sum()))
        x, y = self._shift(pieces.lon_e7[at] / 1e7), pieces.lat_e7[at] / 1e7
        owner = np.repeat(np.arange(len(rows)), size)
        inner = np.flatnonzero(owner[1:] == owner[:-1])
        dx = (x[inner + 1] - x[inner] + 180) % 360 - 180
        dy = y[inner + 1] - y[inner]
        x0, y0, owner = x[inner], y[inner], owner[inner]
        step = np.hypot(dx * np.cos(np.radians(y0 + dy / 2)), dy) * _M_PER_DEGREE
        travelled = np.concatenate(([0.0], np.cumsum(step)))[:-1]
        first = np.searchsorted(owner, np.arange(len(rows)))
        whole = np.bincount(owner, weights=step, minlength=len(rows))
        # Lengths along the piece are those of the region: the flat ones are only used to share them out.
        scale = np.divide(pieces.length_m[rows], whole, out=np.zeros(len(rows)), where=whole > 0)
        along = (travelled - travelled[first[owner]]) * scale[owner] if len(owner) else travelled
        cuts = np.maximum(np.ceil(np.maximum(np.abs(dy) / self._height, np.abs(dx) / self._width)), 1).astype(np.int64)
        many = np.repeat(np.arange(len(owner)), cuts)
        nth = np.arange(len(many)) - np.repeat(np.concatenate(([0], np.cumsum(cuts)))[:-1], cuts)
        share = 1.0 / cuts[many]
        dx, dy, step_m = dx[many] * share, dy[many] * share, (step * scale[owner])[many] * share
        x0, y0 = x0[many] + nth * dx, y0[many] + nth * dy
        line = np.floor((y0 + dy / 2) / self._height).astype(np.int64)
        column = np.floor((x0 + dx / 2) / self._width).astype(np.int64)
        key = line * self._columns + column
        order = np.argsort(key, kind="stable")
        self._key = key[order]
        self._x, self._y, self._dx, self._dy = x0[order], y0[order], dx[order], dy[order]
        self._along_m = (along[many] + nth * step_m)[order]
        self._step_m = step_m[order]
        self._owner = owner[many][order]

    @property
    def _columns(self) -> int:
        """Number that keeps lines of cells apart."""
        return int(720 / self._width) + 8

    def near(self, lon: F64, lat: F64, radius_m: float, most: int) -> Candidates:
        """Return the pieces within a distance of each point, at most so many a point."""
        if radius_m > self._reach_m:
            raise ValueError(f"{radius_m} m is beyond the reach of {self._reach_m} m")
        x = self._shift(lon)
        line, column = np.floor(lat / self._height).astype(np.int64), np.floor(x / self._width).astype(np.int64)
        low = np.stack([np.searchsorted(self._key, (line + d) * self._columns + column - 1) for d in (-1, 0, 1)])
        high = np.stack([np.searchsorted(self._key, (line + d) * self._columns + column + 1, side="right") for d in (-1, 0, 1)])
        count = (high - low).sum(axis=0)
        parts, begin = [], 0
        bounds = np.concatenate(([0], np.cumsum(count)))
        while begin < len(lon):
            end = max(int(np.searchsorted(bounds, bounds[begin] + _CHUNK, side="right")) - 1, begin + 1)
            parts.append(self._measure(x, lat, np.arange(begin, end), low[:, begin:end], high[:, begin:end], radius_m, most))
            begin = end
        point, owner, distance, along = (np.concatenate(c) for c in zip(*parts, strict=True))
        ptr = np.concatenate(([0], np.cumsum(np.bincount(point, minlength=len(lon))))).astype(np.int64)
        return Candidates(ptr, self._rows[owner], distance, along)

    def _measure(self, x: F64, y: F64, points: I64, low: I64, high: I64, radius_m: float, most: int) -> tuple[I64, I64, F64, F64]:
        count = (high - low).ravel()
        point = np.repeat(np.tile(points, 3), count)
        first = np.concatenate(([0], np.cumsum(count)))[:-1]
        at = np.repeat(low.ravel() - first, count) + np.arange(len(point))
        scale = _M_PER_DEGREE * np.cos(np.radians(y[point]))
        ex, ey = (self._x[at] - x[point]) * scale, (self._y[at] - y[point]) * _M_PER_DEGREE
        dx, dy = self._dx[at] * scale, self._dy[at] * _M_PER_DEGREE
        square = dx * dx + dy * dy
        share = np.clip(np.divide(-(ex * dx + ey * dy), square, out=np.zeros_like(square), where=square > 0), 0.0, 1.0)
        distance = np.hypot(ex + share * dx, ey + share * dy)
        keep = np.flatnonzero(distance <= radius_m)
        at, point, share, distance = at[keep], point[keep], share[keep], distance[keep]
        owner = self._owner[at]
        along = self._along_m[at] + share * self._step_m[at]
        order = np.lexsort((along, owner, point))
        point, owner, distance, along, at = point[order], owner[order], distance[order], along[order], at[order]
        best = _lowest(point, owner, distance, along, self._along_m[at], self._along_m[at] + self._step_m[at])
        point, owner, distance, along = point[best], owner[best], distance[best], along[best]
        order = np.lexsort((owner, distance, point))
        point, owner, distance, along = point[order], owner[order], distance[order], along[order]
        start = np.searchsorted(point, points)
        few = np.flatnonzero(np.arange(len(point)) - start[np.searchsorted(points, point)] < most)
        point, owner, distance, along = point[few], owner[few], distance[few], along[few]
        return point, owner, distance, np.minimum(along, self._pieces.length_m[self._rows[owner]])


def _lowest(point: I64, owner: I64, distance: F64, along: F64, begin_m: F64, end_m: F64) -> I64:
    """Return the rows where a piece comes nearest to a point, once a visit; rows are sorted by point, piece and along."""
    if not len(point):
        return np.empty(0, np.int64)
    same = (point[1:] == point[:-1]) & (owner[1:] == owner[:-1])
    touching = same & (begin_m[1:] <= end_m[:-1] + 0.01)
    lower_before = np.concatenate(([False], touching & (distance[:-1] <= distance[1:])))
    lower_after = np.concatenate((touching & (distance[1:] < distance[:-1]), [False]))
    rows = np.flatnonzero(~lower_before & ~lower_after)
    while True:
        near = (point[rows[1:]] == point[rows[:-1]]) & (owner[rows[1:]] == owner[rows[:-1]])
        near &= along[rows[1:]] - along[rows[:-1]] < _APART_M
        if not near.any():
            return rows
        worse_after = near & (distance[rows[1:]] >= distance[rows[:-1]])
        drop = np.concatenate((near & ~worse_after, [False])) | np.concatenate(([False], worse_after))
        rows = rows[~drop]
