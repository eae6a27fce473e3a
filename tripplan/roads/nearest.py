"""The pieces of road nearest to a point, with the straight distance and where along the piece. Plain arrays."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tripplan.region.columns import Pieces
from tripplan.region.geometry import EARTH_RADIUS_M

__all__ = ["Near", "PieceIndex"]

F64 = NDArray[np.float64]
I64 = NDArray[np.int64]

_M_PER_DEGREE = EARTH_RADIUS_M * np.pi / 180
#: Pieces with a taller box are looked at one by one: they would spoil the slices of all others [degrees].
_TALL = 0.02


@dataclass(frozen=True, slots=True)
class Near:
    """Pieces near a point, nearest first (ties: by row).

    Parameters
    ----------
    piece, distance_m
        Row and straight distance [m]. along_m: where the nearest point lies, from the piece's first point [m].
    """

    piece: I64
    distance_m: F64
    along_m: F64


class PieceIndex:
    """Boxes of some pieces, sorted from south to north.

    Parameters
    ----------
    rows
        The pieces to look among, ascending.
    """

    def __init__(self, pieces: Pieces, rows: I64) -> None:
        self._pieces = pieces
        first = pieces.ptr[:-1]
        if not len(rows):
            self._boxes = np.empty((4, 0))
            self._rows = rows
            self._split, self._south, self._height = 0, np.empty(0), 0.0
            return
        # A region that lies across the date line is measured in longitudes that run on.
        self._lon0 = float(pieces.lon_e7[0]) / 1e7
        west = np.minimum.reduceat(pieces.lon_e7, first)[rows] / 1e7
        east = np.maximum.reduceat(pieces.lon_e7, first)[rows] / 1e7
        south = np.minimum.reduceat(pieces.lat_e7, first)[rows] / 1e7
        north = np.maximum.reduceat(pieces.lat_e7, first)[rows] / 1e7
        tall = (north - south > _TALL) | (east - west > 180)
        order = np.lexsort((south, tall))
        self._rows = rows[order]
        self._boxes = np.stack((west, east, south, north))[:, order]
        self._split = int((~tall).sum())
        self._south = self._boxes[2, : self._split]
        self._height = float((north - south)[~tall].max()) if self._split else 0.0

    def near(self, lon: float, lat: float, radius_m: float) -> Near:
        """Return the pieces within a distance of a point [degrees, m]."""
        dlat = radius_m / _M_PER_DEGREE
        dlon = dlat / max(np.cos(np.radians(lat)), 0.01)
        low = int(np.searchsorted(self._south, lat - dlat - self._height))
        high = int(np.searchsorted(self._south, lat + dlat, side="right"))
        at = np.concatenate((np.arange(low, high), np.arange(self._split, len(self._rows))))
        west, east, south, north = self._boxes[:, at]
        middle, half = (west + east) / 2, (east - west) / 2
        apart = np.abs((middle - lon + 180) % 360 - 180)
        wide = half > 90  # a box across the date line
        at = at[((apart <= half + dlon) | wide) & (north >= lat - dlat) & (south <= lat + dlat)]
        rows = self._rows[at]
        if not len(rows):
            return Near(np.empty(0, np.int64), np.empty(0), np.empty(0))
        near = self._measure(rows, lon, lat)
        keep = near.distance_m <= radius_m
        piece, distance, along = near.piece[keep], near.distance_m[keep], near.along_m[keep]
        order = np.lexsort((piece, distance))
        return Near(piece[order], distance[order], along[order])

    def _measure(self, rows: I64, lon: float, lat: float) -> Near:
        pieces = self._pieces
        size = np.diff(pieces.ptr)[rows]
        start = np.concatenate(([0], np.cumsum(size)))[:-1]
        points = np.repeat(pieces.ptr[rows] - start, size) + np.arange(int(size.sum()))
        x = ((pieces.lon_e7[points] / 1e7 - lon + 180) % 360 - 180) * _M_PER_DEGREE * np.cos(np.radians(lat))
        y = (pieces.lat_e7[points] / 1e7 - lat) * _M_PER_DEGREE
        dx, dy = np.append(np.diff(x), 0.0), np.append(np.diff(y), 0.0)
        last = start + size - 1
        dx[last] = dy[last] = 0.0
        square = dx * dx + dy * dy
        with np.errstate(invalid="ignore", divide="ignore"):
            share = np.where(square > 0, np.clip(-(x * dx + y * dy) / square, 0, 1), 0.0)
        distance = np.hypot(x + share * dx, y + share * dy)
        step = np.sqrt(square)
        travelled = np.concatenate(([0.0], np.cumsum(step)))[:-1]
        owner = np.repeat(np.arange(len(rows)), size)
        order = np.lexsort((np.arange(len(points)), distance, owner))
        best = order[start]
        flat = np.add.reduceat(step, start)
        along = travelled[best] - travelled[start] + share[best] * step[best]
        length = pieces.length_m[rows]
        along = np.clip(np.where(flat > 0, along * length / np.maximum(flat, 1e-9), 0.0), 0.0, length)
        return Near(rows, distance[best], along)
