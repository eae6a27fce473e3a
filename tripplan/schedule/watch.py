"""Which stores the backward bound watches, and how closely.

More buckets make a better bound and a slower one, so they go where they tell most: to stores that run into their limit
soonest, counted as lasting longer the more they are served anyway. A cassette that is emptied wherever water is fetched
tells little that the water does not.
"""

from __future__ import annotations

import numpy as np

from .buckets import Resting
from .tables import Tables

__all__ = ["choose_sizes", "closer"]

MOST_A_STORE = 6
CLOSE = 12  # buckets of a store looked at closely


def _lasting(resting: Resting) -> list[tuple[float, int, int]]:
    """Return (days it lasts, store, buckets that tell its levels apart), soonest first, of stores that can run out."""
    p = resting.tables.problem
    out: list[tuple[float, int, int]] = []
    for r in range(len(p.cap)):
        day_rows, night_rows = resting.unserved(r)
        use, most = 0.0, 0.0
        for d in range(p.days):
            parts = [rows[:, 0] for rows in (day_rows[d], night_rows[d]) if len(rows)]
            use += float(sum(np.median(x) for x in parts)) / p.days
            most += max(float(sum(x.max() for x in parts)), 0.0)
        if most <= 0 or int(p.start_level[r]) + most <= min(int(p.cap[r]), int(p.goal_cap[r])):
            continue
        # on the mean a store may refill itself (sun), and still run out in a bad week
        lasts = int(p.cap[r]) / max(use, most / p.days / 3)
        out.append((lasts, r, max(2, min(int(lasts) + 1, MOST_A_STORE))))
    return sorted(out)


def _served_with(tables: Tables) -> np.ndarray:
    """Return (R, R) share of the ways to serve a store (row), nights and arcs alike, that serve another too (column)."""
    p = tables.problem
    bits = np.arange(len(p.cap), dtype=np.uint32)
    ever_open = (p.night_cost >= 0).any(0)
    nights = (((p.arrive_reset | p.leave_reset)[ever_open, None] >> bits) & np.uint32(1)).astype(float)
    masks, many = np.unique(p.arc_reset, return_counts=True)
    arcs = ((masks[:, None] >> bits) & np.uint32(1)).astype(float)
    share = np.zeros((len(bits), len(bits)))
    for rows, weight in ((nights, np.ones(len(nights))), (arcs, many.astype(float))):
        served = (rows * weight[:, None]).sum(0)
        both = (rows * weight[:, None]).T @ rows
        # where a way serves nothing of the row's store, it tells the column's store nothing: full share
        share += np.where(served[:, None] > 0, both / np.maximum(served[:, None], 1), 1.0) / 2
    return share


def choose_sizes(resting: Resting, most: int) -> list[int]:
    """Return how many buckets each store gets when their product may be ``most``.

    Parameters
    ----------
    resting
        Of the problem.
    most
        Largest product.
    """
    sizes = [1] * len(resting.tables.problem.cap)
    lasting = _lasting(resting)
    share = _served_with(resting.tables)
    waiting = {r: (lasts, n) for lasts, r, n in lasting}
    chosen: list[int] = []
    left = most
    while waiting and left >= 2:
        urgent = {
            r: lasts / max(1.0 - max((float(share[t, r]) for t in chosen), default=0.0), 0.05)
            for r, (lasts, _) in waiting.items()
        }
        r = min(urgent, key=lambda i: (urgent[i], i))
        n = min(waiting.pop(r)[1], left)
        chosen.append(r)
        sizes[r] = n
        left //= n
    return sizes


def closer(resting: Resting) -> list[list[int]]:
    """Return one choice of buckets for each store that can run out: that store told closely, the others left out."""
    stores = len(resting.tables.problem.cap)
    return [[CLOSE if r == close else 1 for r in range(stores)] for _, close, _ in _lasting(resting)]
