"""The loop that drops beaten ways from days, compiled: for tables of more rows than arrays handle well."""

from __future__ import annotations

from typing import Any

import numpy as np
from numba import njit

__all__ = ["drop_beaten"]


@njit(cache=True)
def drop_beaten(first: Any, does: Any, money: Any, use: Any, days: Any):  # type: ignore[no-untyped-def]
    """Return the days left of each row.

    Parameters
    ----------
    first
        (n) row at which the row's pair of places begins; within it rows stand by cost.
    does
        (n) mask of what each does.
    """
    left = days.copy()
    none = np.uint64(0)
    for late in range(len(days)):
        for early in range(first[late], late):
            if left[late] == none:
                break
            if does[late] & ~does[early] == 0 and money[early] <= money[late] and use[early] <= use[late]:
                left[late] &= ~days[early]
    return left
