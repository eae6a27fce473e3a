"""Which roads are through roads to one outfit, where that depends on its size."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from tripplan.model.outfit import Outfit
from tripplan.region.columns import Access
from tripplan.region.region import Region
from tripplan.rules.sizes import spares

__all__ = ["tow_access"]


def tow_access(region: Region, outfit: Outfit) -> NDArray[np.uint8]:
    """Return `Access` of each way for an outfit with its van, (ways).

    As the region has it, but open where a road is for those who stop there under conditions of size (``destination @
    (weight>7.5)``) that the outfit does not meet.
    """
    ways = region.ways
    rows = np.flatnonzero((ways.tow_access == Access.ENDS_ONLY) & (ways.access_why >= 0))
    numbers, back = np.unique(ways.access_why[rows], return_inverse=True)
    free = np.array([spares(region.string(int(number)), outfit) for number in numbers], np.bool_)
    if not free.any():
        return ways.tow_access
    access = ways.tow_access.copy()
    access[rows[free[back]]] = Access.OPEN
    return access
