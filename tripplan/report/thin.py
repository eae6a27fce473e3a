"""Lines thinned and packed for a page: whole numbers of 1e-5 degree, each point as the step from the one before."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

__all__ = ["METRES_PER_UNIT", "pack", "thin", "unpack"]

F64 = NDArray[np.float64]
I64 = NDArray[np.int64]
Bool = NDArray[np.bool_]

#: One unit (1e-5 degree) of latitude on a sphere of 6,371,009 m [m].
METRES_PER_UNIT = 6_371_009.0 * np.pi / 180.0 * 1e-5
_HALF_TURN = 18_000_000


def thin(x: F64, y: F64, ptr: I64, tolerance_m: float, passes: int = 8) -> tuple[F64, F64, I64]:
    """Return the lines with points left out that stand less than ``tolerance_m`` off the line of their neighbours.

    Parameters
    ----------
    x, y
        Points of all lines one after another, in units of 1e-5 degree of longitude and latitude.
    ptr
        (n + 1) bounds of each line. Ends of lines always stay.
    passes
        Every pass looks at every second point, so that two neighbours never go in one pass.

    Returns
    -------
    tuple
        x, y and ptr of what stays.
    """
    if len(x) == 0 or tolerance_m <= 0:
        return x, y, ptr
    scale = np.cos(np.deg2rad(float(np.mean(y)) * 1e-5)) or 1.0
    line = np.repeat(np.arange(len(ptr) - 1), np.diff(ptr))
    px, py = x * scale * METRES_PER_UNIT, y * METRES_PER_UNIT
    keep = np.arange(len(x))
    for turn in range(passes):
        owner, ax, ay = line[keep], px[keep], py[keep]
        inner = np.zeros(len(keep), dtype=np.bool_)
        inner[1:-1] = (owner[:-2] == owner[1:-1]) & (owner[2:] == owner[1:-1])
        inner &= (np.arange(len(keep)) + turn) % 2 == 0
        at = np.flatnonzero(inner)
        if len(at) == 0:
            continue
        bx, by = ax[at - 1], ay[at - 1]
        dx, dy = ax[at + 1] - bx, ay[at + 1] - by
        length = np.hypot(dx, dy)
        ex, ey = ax[at] - bx, ay[at] - by
        # Off the line of the neighbours; where those coincide or the point lies beyond them, off the nearer one.
        along = np.divide(ex * dx + ey * dy, length**2, out=np.zeros_like(length), where=length > 0)
        along = np.clip(along, 0.0, 1.0)
        off = np.hypot(ex - along * dx, ey - along * dy)
        drop = at[off < tolerance_m]
        if len(drop):
            stays = np.ones(len(keep), dtype=np.bool_)
            stays[drop] = False
            keep = keep[stays]
    counts = np.bincount(line[keep], minlength=len(ptr) - 1)
    bounds = np.concatenate([[0], np.cumsum(counts)]).astype(np.int64)
    return x[keep], y[keep], bounds


def pack(x: F64, y: F64, ptr: I64) -> list[int]:
    """Return lines as one list of whole numbers: for each line its number of points, then steps ``dx, dy``.

    The first step of a line is taken from the last point of the line before, of the first line from 0, 0. Lines of fewer
    than two points are left out. A line over the date line goes on beyond 180 degrees rather than round the world.
    """
    xi, yi = np.rint(x).astype(np.int64), np.rint(y).astype(np.int64)
    line = np.repeat(np.arange(len(ptr) - 1), np.diff(ptr))
    if len(xi) == 0:
        return []
    same = np.zeros(len(xi), dtype=np.bool_)
    same[1:] = (xi[1:] == xi[:-1]) & (yi[1:] == yi[:-1]) & (line[1:] == line[:-1])
    xi, yi, line = xi[~same], yi[~same], line[~same]
    enough = np.bincount(line, minlength=len(ptr) - 1)[line] >= 2
    xi, yi, line = xi[enough], yi[enough], line[enough]
    if len(xi) == 0:
        return []
    first = np.ones(len(line), dtype=np.bool_)
    first[1:] = line[1:] != line[:-1]
    dx, dy = np.diff(xi, prepend=0), np.diff(yi, prepend=0)
    if np.any(np.abs(dx[~first]) > _HALF_TURN):
        return _pack_slowly(xi, yi, first)
    out = np.empty(2 * len(xi) + int(first.sum()), dtype=np.int64)
    place = 2 * np.arange(len(xi)) + np.cumsum(first)
    out[place], out[place + 1] = dx, dy
    out[place[first] - 1] = np.bincount(np.cumsum(first) - 1)
    packed: list[int] = out.tolist()
    return packed


def _pack_slowly(xi: I64, yi: I64, first: Bool) -> list[int]:
    """Pack lines that cross the date line, point by point (rare)."""
    out: list[int] = []
    turn = 2 * _HALF_TURN
    at_x = at_y = 0
    bounds = [*np.flatnonzero(first).tolist(), len(xi)]
    for low, high in pairwise(bounds):
        out.append(high - low)
        for i in range(low, high):
            step = int(xi[i]) - at_x
            if i > low:
                step -= turn * round(step / turn)
            at_x, step_y, at_y = at_x + step, int(yi[i]) - at_y, int(yi[i])
            out += [step, step_y]
    return out


def unpack(packed: list[int]) -> list[list[tuple[int, int]]]:
    """Return what `pack` packed, as lists of points in 1e-5 degree; the page's script does the same."""
    lines: list[list[tuple[int, int]]] = []
    at, x, y = 0, 0, 0
    while at < len(packed):
        count, at = packed[at], at + 1
        line = []
        for _ in range(count):
            x, y, at = x + packed[at], y + packed[at + 1], at + 2
            line.append((x, y))
        lines.append(line)
    return lines
