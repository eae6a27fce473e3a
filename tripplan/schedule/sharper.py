"""The bound that remembers all sights, made finer where too many labels stand side by side or it lies far below the plan."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np

from .bounds import Bound, bound_bytes, bound_work, make_bound
from .buckets import Buckets, Resting, make_buckets
from .budget import WORK_A_LABEL, Budget
from .tables import Tables
from .watch import choose_sizes, closer

__all__ = ["Sharper", "first_sizes"]

NUMPY_WORK = 2.5e8  # additions up to which numpy alone is quicker than importing the compiled kernels
FIRST_BUCKETS = 12
FEW_BUCKETS = 6  # where labels cost little beside the bound
FINER_BUCKETS = (12, 24, 48, 192)
PROBE_WORK = 4e9  # additions up to which each store is looked at closely
AFTER_PROBES = 40  # so many more labels must stand side by side to go on from there
LEAST_CROWD = 2048
WIDE_GAP = 0.07  # of the best plan, between bound and plan, that makes a finer bound worth its time at once
MOST_BYTES = 350_000_000


def first_sizes(tables: Tables, resting: Resting, *, by_day: bool = False) -> tuple[list[int], float]:
    """Return with how many buckets of each store to begin, and the additions that takes (see ``bound_work``)."""
    sizes = choose_sizes(resting, FIRST_BUCKETS)
    work = bound_work(tables, make_buckets(resting, sizes).arrive_sizes, by_day=by_day)
    if work < NUMPY_WORK:
        sizes = choose_sizes(resting, FEW_BUCKETS)
        work = bound_work(tables, make_buckets(resting, sizes).arrive_sizes, by_day=by_day)
    return sizes, work


class Sharper:
    """The bounds of one problem, one finer than the other.

    Parameters
    ----------
    tables
        The problem.
    budget
        Limits and whom to tell.
    weigh
        Given additions to come, returns the compiled kernels or None.
    closely
        Whether each store may be looked at closely. False where few arcs are left, and labels cost little.
    """

    def __init__(self, tables: Tables, budget: Budget, weigh: Callable[[float], Any], *, closely: bool = True) -> None:
        self.tables, self.budget, self.weigh = tables, budget, weigh
        self.resting = Resting(tables)
        self._by_day = not closely  # where few arcs are left, they are allowed on few days
        self.sizes, work = first_sizes(tables, self.resting, by_day=self._by_day)
        weigh(work)
        self._finer = list(FINER_BUCKETS)
        self._probes, self._probed = closely, not closely
        self._bound: Bound | None = None
        self._labels_before = budget.labels
        self._next_crowd: int | None = None
        self.notes: dict[str, float] = {}

    def bound(self) -> Bound:
        """Return the bound, made on first use."""
        if self._bound is None:
            self._bound = self._make(make_buckets(self.resting, self.sizes), self.sizes)
        return self._bound

    def _make(self, buckets: Buckets, sizes: list[int]) -> Bound:
        begun, work = self.budget.seconds, bound_work(self.tables, buckets.arrive_sizes, by_day=self._by_day)
        self.budget.count_work(work)
        made = make_bound(
            self.tables, buckets, sizes, kernels=self.weigh(work), check=lambda share: self.budget.check("bound", share)
        )
        self.notes["bound_s"] = self.notes.get("bound_s", 0.0) + self.budget.seconds - begun
        self.notes["buckets"] = float(np.prod(sizes))
        return made

    def _choices(self) -> list[tuple[list[int], Buckets]]:
        """Return the next finer choices of buckets to try, none when they are as fine as memory and the stores allow.

        Where that is cheap, each store in turn is looked at closely, as one store told well says more than several told coarsely
        (a cassette on a long stretch without a dump station). After that all stores together become finer.
        """
        if self._probes:
            choices = [(sizes, make_buckets(self.resting, sizes)) for sizes in closer(self.resting)]
            fits = all(bound_bytes(self.tables, buckets) <= MOST_BYTES for _, buckets in choices)
            if len(choices) > 1 and fits and self._work(choices) <= PROBE_WORK:
                return choices
            self._probes = False
        while self._finer:
            sizes = choose_sizes(self.resting, self._finer[0])
            buckets = make_buckets(self.resting, sizes)
            if np.prod(sizes) <= np.prod(self.sizes) or bound_bytes(self.tables, buckets) > MOST_BYTES:
                self._finer.pop(0)
                continue
            return [(sizes, buckets)]
        return []

    def _work(self, choices: list[tuple[list[int], Buckets]]) -> float:
        return sum(bound_work(self.tables, buckets.arrive_sizes, by_day=self._by_day) for _, buckets in choices)

    def crowded(self) -> bool:
        """Tell whether so many labels have been kept with this bound that a finer one is worth its time."""
        if self._next_crowd is None:
            finer = self._choices()
            often = AFTER_PROBES if self._probed else 1
            self._next_crowd = int(self._work(finer) / WORK_A_LABEL * often) if finer else self.budget.max_labels
        return self.budget.labels - self._labels_before > max(self._next_crowd, LEAST_CROWD)

    def refine(self) -> None:
        """Put the next finer bound in place."""
        choices = self._choices()
        self.weigh(self._work(choices))  # of all of them together
        if len(choices) > 1:
            self._probes, self._probed = False, True
        else:
            self._finer.pop(0)
        if len(choices) == 1 and not self._probed:  # surely better: room for it first
            self._bound = None
            self.sizes = choices[0][0]
        best = self.bound()
        for sizes, buckets in choices:
            if sizes == self.sizes:
                continue
            made = self._make(buckets, sizes)
            if made.root > best.root or (len(choices) == 1 and made.root >= best.root):
                best, self.sizes = made, sizes
        self._bound = best
        self.notes["buckets"] = float(np.prod(self.sizes))
        self._labels_before, self._next_crowd = self.budget.labels, None

    def refine_for(self, cost: int) -> bool:
        """Make the bound finer if it lies far below the cost of a plan; tell whether it did."""
        if cost - self.bound().root <= WIDE_GAP * abs(cost) or not self._choices():
            return False
        self.refine()
        return True
