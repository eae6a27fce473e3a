"""Lengths and curves of many lines at once, for the build. Great circles on the sphere of `geometry`."""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor

import numpy as np
from numpy.typing import NDArray

from tripplan.region.geometry import EARTH_RADIUS_M

__all__ = ["curvature", "segment_lengths"]

F64 = NDArray[np.float64]
I32 = NDArray[np.int32]
I64 = NDArray[np.int64]

_E7 = np.pi / 180 / 1e7
#: So many points at a time: what is worked out on the way stays near the processor.
_CHUNK = 1 << 16

#: A side of the three-point circle is at least so long [m]: shorter ones measure the hand of the mapper, not the road.
_LEAST_SIDE_M = 10.0
#: With closer points the circle goes through the road this far on either side [m].
_REACH_M = 12.0


def segment_lengths(lon_e7: I32, lat_e7: I32) -> F64:
    """Return the length from each point to the next [m], F64[n - 1]."""
    n = max(len(lon_e7) - 1, 0)
    out = np.empty(n)

    def some(start: int, stop: int) -> None:
        lam = lon_e7[start : stop + 1] * _E7
        phi = lat_e7[start : stop + 1] * _E7
        cosine = np.cos(phi)
        h = np.sin(np.diff(phi) / 2) ** 2 + cosine[1:] * cosine[:-1] * np.sin(np.diff(lam) / 2) ** 2
        out[start:stop] = 2 * EARTH_RADIUS_M * np.arcsin(np.minimum(1.0, np.sqrt(h)))

    _by_chunks(n, some)
    return out


def _by_chunks(n: int, some: Callable[[int, int], None]) -> None:
    """Work on all points, some at a time, on two threads: the arrays' work is outside the interpreter."""
    starts = range(0, n, _CHUNK)
    if len(starts) < 2:
        some(0, n)
        return
    with ThreadPoolExecutor(2) as pool:
        list(pool.map(some, starts, (min(start + _CHUNK, n) for start in starts)))


def curvature(lon_e7: I32, lat_e7: I32, ptr: I64, seg_m: F64) -> NDArray[np.float32]:
    """Return the curvature at each point of many lines, by the circle through it and one point on either side [1/m].

    Parameters
    ----------
    lon_e7, lat_e7
        Points of all lines [1e-7 degrees]. ptr: where each line starts, [L + 1].
    seg_m
        Length from each point to the next [m] (what lies between two lines is not looked at).

    Notes
    -----
    End points have curvature 0. Where a neighbour is nearer than 10 m, the circle goes through the road 12 m before and
    after instead (so a jitter of a metre doesn't read as a hairpin); within 4 m of an end nothing is measured.
    """
    n = len(lon_e7)
    out = np.zeros(n, np.float32)
    if n < 3:
        return out
    inner = np.ones(n, bool)
    inner[ptr[:-1]] = False
    inner[ptr[1:] - 1] = False

    def some(start: int, stop: int) -> None:
        rows = np.flatnonzero(inner[start:stop]) + start
        if len(rows):
            phi = lat_e7[rows] * _E7
            out[rows] = _circle(lon_e7, lat_e7, rows, np.cos(phi))

    _by_chunks(n, some)
    dense = np.flatnonzero(inner)
    dense = dense[(out[dense] > 1 / 1500) & (np.minimum(seg_m[dense - 1], seg_m[dense]) < _LEAST_SIDE_M)]
    if len(dense):
        out[dense] = _circle_by_reach(lon_e7, lat_e7, ptr, seg_m, dense)
    return out


def _menger(ax: F64, ay: F64, bx: F64, by: F64) -> F64:
    """Curvature of the circle through the origin, a and b: 4 x area / product of sides."""
    cross = np.abs(ax * by - ay * bx)
    sides = np.sqrt((ax * ax + ay * ay) * (bx * bx + by * by) * ((ax - bx) ** 2 + (ay - by) ** 2))
    return np.asarray(np.divide(2 * cross, sides, out=np.zeros_like(cross), where=sides > 1e-6))


def _circle(lon_e7: I32, lat_e7: I32, rows: NDArray[np.intp], cosine: F64) -> F64:
    here_x, here_y = lon_e7[rows].astype(np.int64), lat_e7[rows].astype(np.int64)
    scale = float(EARTH_RADIUS_M * _E7)
    ax, ay = (lon_e7[rows - 1] - here_x) * (scale * cosine), np.asarray((lat_e7[rows - 1] - here_y) * scale, np.float64)
    bx, by = (lon_e7[rows + 1] - here_x) * (scale * cosine), np.asarray((lat_e7[rows + 1] - here_y) * scale, np.float64)
    return _menger(ax, ay, bx, by)


def _circle_by_reach(lon_e7: I32, lat_e7: I32, ptr: I64, seg_m: F64, rows: NDArray[np.intp]) -> F64:
    along = np.concatenate(([0.0], np.cumsum(seg_m)))
    line = np.searchsorted(ptr, rows, side="right") - 1
    first, last = along[ptr[line]], along[ptr[line + 1] - 1]
    here = along[rows]
    before, after = np.maximum(here - _REACH_M, first), np.minimum(here + _REACH_M, last)
    scale = EARTH_RADIUS_M * _E7
    cosine = np.cos(lat_e7[rows] * _E7)

    def offset(at: F64) -> tuple[F64, F64]:
        k = np.clip(np.searchsorted(along, at, side="right") - 1, ptr[line], ptr[line + 1] - 2)
        share = np.clip((at - along[k]) / np.maximum(seg_m[k], 1e-9), 0, 1)
        x = lon_e7[k] + share * (lon_e7[k + 1].astype(np.float64) - lon_e7[k]) - lon_e7[rows]
        y = lat_e7[k] + share * (lat_e7[k + 1].astype(np.float64) - lat_e7[k]) - lat_e7[rows]
        return np.asarray(x * scale * cosine, np.float64), np.asarray(y * scale, np.float64)

    ax, ay = offset(before)
    bx, by = offset(after)
    bend = _menger(ax, ay, bx, by)
    too_near = (here - before < 4.0) | (after - here < 4.0)
    return np.asarray(np.where(too_near, 0.0, bend))
