"""The least that each counter must still grow: how many more one-night stays, how much more money, whatever is chosen.

The same backward bound, with counts in the place of costs and stores left out. A label whose count and least growth pass
the limit leads nowhere, and where pick-up itself does, there is no plan.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from .bounds import Bound, make_bound
from .buckets import Resting, make_buckets
from .labels import Labels
from .tables import Tables, make_tables

__all__ = ["Tallies"]


class Tallies:
    """Bounds of the counters that can run into their limit.

    Parameters
    ----------
    tables
        The problem.
    sights
        False: they ask for nothing, where they are too many.
    kernels, check
        As in ``make_bound``.
    """

    def __init__(
        self, tables: Tables, *, sights: bool = True, kernels: Any = None, check: Callable[[float], None] | None = None
    ) -> None:
        self.limits: list[tuple[int, int, Tables, Bound]] = []
        p = tables.problem
        free = not (p.excess_weight > 0).any()  # where excess is paid for, the stores forbid nothing
        for c in np.flatnonzero(tables.harmless_counts[0] < 0):
            counted = replace(
                p,
                arc_cost=p.arc_count[:, c].astype(np.int64),
                night_cost=np.where(p.night_cost < 0, -1, p.night_count[:, :, c].astype(np.int64)),
                one_night_cost=int(p.one_night_count[c]),
                value=np.zeros_like(p.value),
                arc_count=p.arc_count[:, :0],
                night_count=p.night_count[:, :, :0],
                count_cap=p.count_cap[:0],
                one_night_count=p.one_night_count[:0],
                day_block=p.day_block if free else np.zeros_like(p.day_block),
                night_block=p.night_block if free else np.zeros_like(p.night_block),
                goal_cap=p.goal_cap if free else np.maximum(p.goal_cap, p.start_level),
                excess_weight=np.zeros_like(p.excess_weight),
                couple=p.couple if free else (),
            )
            if not sights:
                counted = replace(
                    counted, need=p.need[:0], must=p.must[:0], value=p.value[:0], cover=p.cover[:, :0],
                    arc_sights=np.zeros_like(p.arc_sights),
                )  # fmt: skip
            own = make_tables(counted)
            sizes = [1] * len(p.cap)
            bound = make_bound(own, make_buckets(Resting(own), sizes), sizes, kernels=kernels, check=check)
            self.limits.append((int(c), int(p.count_cap[c]), own, bound))

    @property
    def impossible(self) -> bool:
        """True when some counter passes its limit whatever is chosen."""
        return any(bound.root > limit for _, limit, _, bound in self.limits)

    def keep(self, day: int, labels: Labels) -> Labels:
        """Return the labels at the start of a day that can keep every counter's limit."""
        ok: NDArray[np.bool_] = np.ones(len(labels), bool)
        for c, limit, own, bound in self.limits:
            place = labels.place.astype(np.int64)
            half = np.where((labels.nights >= 2) & (own.halves == 2), 1, 0).astype(np.int64)
            state = labels.state if own.states > 1 else np.zeros(len(labels), np.int64)
            column = bound.position[day][state].astype(np.int64)
            if not bound.values[day].size:
                continue
            rest = bound.rest(day, place, half, np.zeros(len(place), np.int64), np.maximum(column, 0))
            ok &= (column < 0) | (labels.counts[:, c] + rest <= limit)
        return labels if ok.all() else labels.take(np.flatnonzero(ok))
