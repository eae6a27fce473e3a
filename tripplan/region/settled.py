"""Where streets say that it is a town: for roads on which nobody noted a speed."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from tripplan.region.columns import HIGHWAYS, Flag, Pieces, Ways

__all__ = ["mark_towns"]

#: Side of a cell [degrees of latitude], and street on a square kilometre from which it is a town [m]. Common practice, no source.
_CELL = 0.005
_STREETS_M_PER_KM2 = 4000.0
_KM_PER_DEGREE = 111.195

_STREETS = tuple(HIGHWAYS.index(name) for name in ("residential", "living_street"))
_NEVER = tuple(HIGHWAYS.index(name) for name in ("motorway", "motorway_link", "service", "track", "ferry"))


def mark_towns(ways: Ways, pieces: Pieces) -> NDArray[np.uint16]:
    """Return the flags of all ways, with `Flag.TOWN` on those that run mostly among streets where people live.

    Only ways without a posted speed, without a tag for a built-up area and of a class that leads through towns are marked.
    """
    silent = np.isnan(ways.speed_fwd) & np.isnan(ways.speed_bwd) & ((ways.flags & Flag.BUILT_UP) == 0)
    asked = silent & ~np.isin(ways.highway, _NEVER)
    street = np.isin(ways.highway[pieces.way], _STREETS)
    wanted = np.flatnonzero(asked[pieces.way])
    rows = np.flatnonzero(street)
    if not len(rows) or not len(wanted):
        return ways.flags
    middle = (pieces.ptr[:-1] + pieces.ptr[1:]) // 2
    lat = pieces.lat_e7[middle] / 1e7
    squeeze = float(np.cos(np.radians((lat.min() + lat.max()) / 2)))
    x, y = pieces.lon_e7[middle] / 1e7 * squeeze / _CELL, lat / _CELL
    area = (_CELL * _KM_PER_DEGREE) ** 2 * np.cos(np.radians(lat[wanted])) / squeeze
    dense = np.zeros(len(wanted), bool)
    # Two grids, one shifted by half a cell: a settlement on a seam is not cut in two in both.
    for shift in (0.0, 0.5):
        cell = (np.floor(y + shift).astype(np.int64) << 32) + np.floor(x + shift).astype(np.int64)
        cells, which = np.unique(cell[rows], return_inverse=True)
        metres = np.bincount(which, weights=pieces.length_m[rows])
        at = np.minimum(np.searchsorted(cells, cell[wanted]), len(cells) - 1)
        found = np.where(cells[at] == cell[wanted], metres[at], 0.0)
        dense |= found >= _STREETS_M_PER_KM2 * area
    count = len(ways.osm_id)
    whole = np.bincount(pieces.way[wanted], weights=pieces.length_m[wanted], minlength=count)
    inside = np.bincount(pieces.way[wanted[dense]], weights=pieces.length_m[wanted[dense]], minlength=count)
    flags = ways.flags.copy()
    flags[(inside * 2 > whole) & asked] |= np.uint16(Flag.TOWN)
    return flags
