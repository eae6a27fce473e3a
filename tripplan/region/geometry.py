"""Lines of road pieces: the pure geometry that routes, papers and the audit share."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tripplan.model.plan import PieceRun
from tripplan.region.region import Region

__all__ = ["EARTH_RADIUS_M", "ROAD_REACH_M", "great_circle_m", "piece_ends_m", "piece_line", "run_line", "segment_lengths_m"]

#: Radius of the sphere that piece lengths are measured on, as OSMnx [m].
EARTH_RADIUS_M = 6_371_009.0
#: A place further than this from every road is reached by none [m].
ROAD_REACH_M = 2000.0

F64 = NDArray[np.float64]


def great_circle_m(lon0: F64 | float, lat0: F64 | float, lon1: F64, lat1: F64) -> F64:
    """Return great-circle distances between pairs of points given in degrees, haversine [m]."""
    phi0, phi1 = np.radians(lat0), np.radians(lat1)
    h = np.sin((phi1 - phi0) / 2) ** 2 + np.cos(phi0) * np.cos(phi1) * np.sin(np.radians(lon1 - lon0) / 2) ** 2
    return np.asarray(2 * EARTH_RADIUS_M * np.arcsin(np.sqrt(np.minimum(h, 1.0))), np.float64)


def segment_lengths_m(lon: F64, lat: F64) -> F64:
    """Return great-circle lengths between following points given in degrees, shape (n - 1) [m]."""
    return great_circle_m(lon[:-1], lat[:-1], lon[1:], lat[1:])


def piece_ends_m(from_m: ArrayLike, to_m: ArrayLike) -> F64:
    """Return where each piece of a run of n begins, and where the last one ends, from the run's beginning, shape (n + 1) [m]."""
    return np.concatenate(([0.0], np.cumsum(np.asarray(to_m, np.float64) - np.asarray(from_m, np.float64))))


def piece_line(region: Region, piece: int, forward: bool = True, from_m: float = 0.0, to_m: float = np.inf) -> F64:
    """Return the points of one piece, or of a part of it, in the direction of travel.

    Parameters
    ----------
    from_m, to_m
        Part of the piece along the direction of travel [m]; cut to the piece.

    Returns
    -------
    array (n, 2)
        lon, lat [degrees], two points or more.
    """
    first, end = int(region.pieces.ptr[piece]), int(region.pieces.ptr[piece + 1])
    points = np.column_stack((region.pieces.lon_e7[first:end], region.pieces.lat_e7[first:end])) / 1e7
    if not forward:
        points = points[::-1]
    length = float(region.pieces.length_m[piece])
    if from_m <= 0 and to_m >= length:
        return points
    steps = segment_lengths_m(points[:, 0], points[:, 1])
    along = np.concatenate(([0.0], np.cumsum(steps)))
    if along[-1] > 0:
        along *= length / along[-1]
    low, high = min(max(from_m, 0.0), length), min(max(to_m, 0.0), length)
    inner = (along > low) & (along < high)
    # Longitudes may jump by 360 degrees within a piece: cut on the continuous ones, and bring the cuts back.
    lon = points[:, 0] if np.ptp(points[:, 0]) <= 180 else np.unwrap(points[:, 0], period=360)
    ends = np.array([[np.interp(m, along, lon), np.interp(m, along, points[:, 1])] for m in (low, high)])
    ends[:, 0] = np.where(np.abs(ends[:, 0]) > 180, (ends[:, 0] + 180) % 360 - 180, ends[:, 0])
    return np.vstack((ends[:1], points[inner], ends[1:]))


def run_line(region: Region, runs: PieceRun) -> F64:
    """Return the line of pieces driven one after another; repeated points are dropped.

    Returns
    -------
    array (n, 2)
        lon, lat [degrees]; (0, 2) for an empty run.
    """
    parts = [piece_line(region, *part) for part in zip(runs.piece, runs.forward, runs.from_m, runs.to_m, strict=True)]
    if not parts:
        return np.empty((0, 2))
    line = np.vstack(parts)
    keep = np.ones(len(line), bool)
    keep[1:] = (line[1:] != line[:-1]).any(axis=1)
    return line[keep]
