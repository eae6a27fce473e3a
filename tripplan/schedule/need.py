"""What is worth serving on the way from one place to another.

A store that the site left in the morning serves, or the site reached in the evening, gains nothing by being served between
them: its level at night is the same with and without. (What a day may use after a service is carried into its night, see
`use`.) So ways are compared by what is left of what they serve.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tripplan.schedule.chains import SIGHT
from tripplan.schedule.use import PickUp

__all__ = ["Need"]

I64 = NDArray[np.int64]


@dataclass(frozen=True)
class Need:
    """What the places serve of themselves.

    Parameters
    ----------
    leaving, arriving
        (P) masks of stores. pick_up: the stores at pick-up, where the first place is the depot and something is dry there.
    """

    leaving: I64
    arriving: I64
    pick_up: PickUp | None = None

    def masks(self, rows: I64) -> NDArray[np.uint8]:
        """(p, P) masks of what is worth serving from some places to all, with the bit of a sight, which always is."""
        served = self.leaving[rows][:, None] | self.arriving[None, :]
        return ((~served & (SIGHT - 1)) | SIGHT).astype(np.uint8)

    def effect(self, start: I64, end: I64, serves: I64) -> I64:
        """Return masks by which ways between places may be compared, (n) each."""
        left = serves & ~(self.leaving[start] | self.arriving[end])
        if self.pick_up is not None:
            depot = np.flatnonzero(start == 0)
            emptied = (serves[depot] & ~self.leaving[0]) | self.arriving[end[depot]]
            left[depot] |= self.pick_up.spared(emptied, serves[depot])
        return left

    def alike(self, rows: I64, serves: I64) -> Iterator[tuple[I64, I64]]:
        """Yield cells (row by row) of equal need, with what each of some masks is worth there."""
        count = len(self.arriving)
        whole = self.leaving[rows][:, None] | self.arriving[None, :]
        depot = np.zeros(whole.shape, dtype=np.int64)
        if self.pick_up is not None:
            depot[rows == 0] = 1 + self.arriving
        key = (whole * (2 * SIGHT) + depot).ravel()
        for value in np.unique(key):
            part = np.flatnonzero(key == value)
            one = int(part[0])
            start = np.full(len(serves), rows[one // count])
            yield part, self.effect(start, np.full(len(serves), one % count), serves)
