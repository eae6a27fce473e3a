"""Which pieces of road touch an area: plain arrays, no geometry library."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from tripplan.region.columns import Pieces
from tripplan.roads.terms import Area

__all__ = ["inside_ring", "pieces_touching"]

F64 = NDArray[np.float64]
Mask = NDArray[np.bool_]


def inside_ring(x: F64, y: F64, ring: F64) -> Mask:
    """Return which points lie inside a ring by the even-odd rule; ring: (n, 2), closed or not."""
    inside = np.zeros(len(x), bool)
    for (x1, y1), (x2, y2) in zip(ring, np.roll(ring, -1, axis=0), strict=True):
        if y1 != y2:
            inside ^= ((y1 > y) != (y2 > y)) & (x < (x2 - x1) * (y - y1) / (y2 - y1) + x1)
    return inside


def pieces_touching(pieces: Pieces, areas: Sequence[Area]) -> Mask:
    """Return which pieces have a point in one of the areas or cross its edge, shape (pieces)."""
    touching = np.zeros(len(pieces.way), bool)
    if not areas or not len(touching):
        return touching
    first = pieces.ptr[:-1]
    box = [f.reduceat(c, first) / 1e7 for c in (pieces.lon_e7, pieces.lat_e7) for f in (np.minimum, np.maximum)]
    for _, corners in areas:
        ring = np.asarray(corners, np.float64)
        west, south = ring.min(axis=0)
        east, north = ring.max(axis=0)
        near = np.flatnonzero((box[1] >= west) & (box[0] <= east) & (box[3] >= south) & (box[2] <= north))
        if not len(near):
            continue
        size = np.diff(pieces.ptr)[near]
        owner = np.repeat(np.arange(len(near)), size)
        points = np.repeat(pieces.ptr[near] - np.concatenate(([0], np.cumsum(size)[:-1])), size) + np.arange(size.sum())
        x, y = pieces.lon_e7[points] / 1e7, pieces.lat_e7[points] / 1e7
        hit = np.zeros(len(near), bool)
        hit[owner[inside_ring(x, y, ring)]] = True
        same = owner[:-1] == owner[1:]
        crossing = _crossing(x, y, ring) & same
        hit[owner[:-1][crossing]] = True
        touching[near[hit]] = True
    return touching


def _crossing(x: F64, y: F64, ring: F64) -> Mask:
    """Return which segments between following points cross an edge of the ring, shape (points - 1)."""
    x1, y1, x2, y2 = x[:-1], y[:-1], x[1:], y[1:]
    crossing = np.zeros(len(x1), bool)
    for (ax, ay), (bx, by) in zip(ring, np.roll(ring, -1, axis=0), strict=True):
        side1 = (bx - ax) * (y1 - ay) - (by - ay) * (x1 - ax)
        side2 = (bx - ax) * (y2 - ay) - (by - ay) * (x2 - ax)
        side_a = (x2 - x1) * (ay - y1) - (y2 - y1) * (ax - x1)
        side_b = (x2 - x1) * (by - y1) - (y2 - y1) * (bx - x1)
        crossing |= (side1 * side2 <= 0) & (side_a * side_b <= 0) & ((side1 != 0) | (side2 != 0))
    return crossing
