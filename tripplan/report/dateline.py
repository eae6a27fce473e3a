"""Lines cut where they cross the antimeridian, as RFC 7946 asks in 3.1.9 (The GeoJSON Format, IETF 2016)."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

__all__ = ["box_of", "cut", "in_range"]

F64 = NDArray[np.float64]


def in_range(lon: F64 | float) -> F64:
    """Return longitudes from -180 up to, not including, 180 [degrees]."""
    return np.asarray((np.asarray(lon, np.float64) + 180.0) % 360.0 - 180.0)


def cut(line: F64) -> list[F64]:
    """Return a line in parts of which none crosses the antimeridian.

    Parameters
    ----------
    line
        (n, 2) lon and lat [degrees]. Neighbours more than half a turn apart, or on both sides of 180, lie across it.

    Returns
    -------
    list of array (m, 2)
        Parts of two points or more; where one ends at 180 or -180 the next begins at -180 or 180, at the same latitude.
    """
    if len(line) < 2:
        return []
    if float(np.abs(line[:, 0]).max()) <= 180.0 and float(np.abs(np.diff(line[:, 0])).max()) <= 180.0:
        return [line]
    lon = _unbroken(line[:, 0])
    turn = np.floor((lon + 180.0) / 360.0)
    # A point on the antimeridian itself belongs to the side that the line comes from, else to the one it goes to.
    on_it = (lon + 180.0) % 360.0 == 0.0
    for i in np.flatnonzero(on_it).tolist():
        before = turn[i - 1] if i else np.nan
        turn[i] = before if before in (turn[i], turn[i] - 1) else _side(lon, turn, i)
    parts: list[F64] = []
    part = [(lon[0] - 360.0 * turn[0], float(line[0, 1]))]
    for i in range(1, len(lon)):
        if turn[i] != turn[i - 1]:
            up = turn[i] > turn[i - 1]
            edge = 360.0 * max(turn[i], turn[i - 1]) - 180.0
            span = lon[i] - lon[i - 1]
            share = (edge - lon[i - 1]) / span if span else 0.0
            lat = float(line[i - 1, 1] + share * (line[i, 1] - line[i - 1, 1]))
            part.append((180.0 if up else -180.0, lat))
            parts.append(np.array(part))
            part = [(-180.0 if up else 180.0, lat)]
        part.append((lon[i] - 360.0 * turn[i], float(line[i, 1])))
    parts.append(np.array(part))
    cleaned = [p[np.concatenate([[True], (p[1:] != p[:-1]).any(axis=1)])] for p in parts]
    return [p for p in cleaned if len(p) >= 2]


def _side(lon: F64, turn: F64, i: int) -> float:
    """Return on which side a first point on the antimeridian lies: the one of the next point that is off it."""
    after = lon[i + 1 :]
    off = after[after != lon[i]]
    return float(turn[i] - 1 if len(off) and off[0] < lon[i] else turn[i])


def _unbroken(lon: F64) -> F64:
    """Return longitudes that go on beyond 180 rather than jump by a whole turn."""
    steps = np.diff(lon)
    return np.asarray(lon - 360.0 * np.concatenate([[0.0], np.cumsum(np.round(steps / 360.0))]))


def box_of(lines: list[F64]) -> tuple[float, float, float, float] | None:
    """Return west, south, east, north of lines and points [degrees], the narrowest that holds all; west > east across the antimeridian.

    ``None`` where there is nothing (RFC 7946, 5 and 5.2).
    """
    lines = [line for line in lines if len(line)]
    if not lines:
        return None
    points = np.concatenate(lines)
    south, north = float(points[:, 1].min()), float(points[:, 1].max())
    west, east = float(points[:, 0].min()), float(points[:, 0].max())
    if east - west > 180.0:
        # The widest gap round the world is what the box leaves out.
        lon = np.unique(in_range(points[:, 0]))
        if len(lon) > 1:
            gap = np.diff(np.concatenate([lon, [lon[0] + 360.0]]))
            widest = int(np.argmax(gap))
            if widest != len(lon) - 1:
                west, east = float(lon[widest + 1]), float(lon[widest])
    return west, south, east, north
