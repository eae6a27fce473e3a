"""The best trip of a problem, with its proof.

A backward bound on coarse levels, a narrow forward search for a quick good plan, then wider ones, pruned by the best plan
so far, until one has left nothing out: its answer is proven. Where too many labels stand side by side the bound is made
finer first (see ``sharper``). A large problem is narrowed before that (see ``narrowing``). Equal costs are settled by the order of
labels (see ``labels``), never by time or chance, so the same problem gives the same arcs, with either engine.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from .bounds import Bound
from .buckets import Resting
from .budget import COMPILING, STAGES, Budget, StopError
from .forward import go_forward
from .narrowing import Narrowing
from .problem import Problem, Solution
from .sharper import NUMPY_WORK, Sharper, first_sizes
from .tables import Tables, make_tables
from .tallies import Tallies

__all__ = ["COMPILING", "STAGES", "solve"]

FIRST_WIDTH = 64
WIDTHS = (1024, 16384)
NUMPY_WORK_A_LABEL = 8e4  # additions that take as long as a label, with numpy
NARROW_WORK = 4e9  # additions from which a problem is narrowed first


class Engine:
    """Compiled kernels or numpy alone; left to choose, it goes over to the kernels when the work pays for loading them."""

    def __init__(self, name: str) -> None:
        if name not in ("auto", "numba", "numpy"):
            raise ValueError(f"no engine {name!r}; auto, numba or numpy")
        self.kernels: Any = None
        self._auto = name == "auto"
        if name == "numba":
            self._load()

    def _load(self) -> None:
        from . import kernels

        self.kernels = kernels

    def weigh(self, work: float) -> Any:
        """Return the kernels for so many additions to come, None: numpy."""
        if self._auto and self.kernels is None and work > NUMPY_WORK:
            try:
                self._load()
            except (ImportError, RuntimeError):  # no numba, or nowhere to keep what it compiles
                self._auto = False
        return self.kernels


class Run:
    """One search: its best plan so far, and what no plan can be below."""

    def __init__(self, problem: Problem, engine: Engine, budget: Budget) -> None:
        self.engine, self.budget = engine, budget
        self.whole = make_tables(problem)
        self.best: int | None = None
        self.target: int | None = None
        self.arcs: tuple[int, ...] = ()
        self.floor = -int(np.abs(problem.value).sum())
        self.notes: dict[str, float] = {}

    @property
    def limit(self) -> int:
        """Only plans below this are looked for [cents]."""
        return min(x for x in (self.best, self.target, self.whole.inf) if x is not None)

    def raise_floor(self, cost: int) -> None:
        """Note that no plan costs less than this, or than the limit [cents]."""
        self.floor = max(self.floor, min(cost, self.limit))

    def found_below(self, cost: int) -> bool:
        """Tell whether the best plan costs less [cents]."""
        return self.best is not None and self.best < cost

    def weigh(self, work: float) -> Any:
        """Return kernels for so much work, and let the compiling be told."""
        self.budget.kernels = self.engine.weigh(work)
        return self.budget.kernels

    def solve(self) -> Solution:
        """Search until the proof or a limit."""
        try:
            self.budget.check("bound", 0.0)
            self._search()
            proven = True
        except StopError:
            proven = False
        self.notes |= {"root": float(self.floor), "work": self.budget.work}
        labels, spent = self.budget.labels, self.budget.seconds
        if proven:
            cost = self.best if self.best is not None else 0
            return Solution("proven", self.arcs, cost, cost, labels, spent, self.notes)
        if self.best is None:
            return Solution("unknown", (), 0, self.floor, labels, spent, self.notes)
        return Solution("gap", self.arcs, self.best, min(self.floor, self.best), labels, spent, self.notes)

    def _search(self) -> None:
        _, work = first_sizes(self.whole, Resting(self.whole))
        if work <= NARROW_WORK or len(self.whole.problem.need) < 2:
            self.sharpen(self.whole, None)
            return
        narrowing = Narrowing(self, work)
        while not narrowing.settled():
            pass

    def forward(
        self,
        tables: Tables,
        numbers: NDArray[np.int64] | None,
        bound: Bound,
        width: int | None,
        all_below: int | None = None,
        **how: Any,
    ) -> bool | None:
        """Search once, keep what it finds, and tell whether nothing was left out (None: broken off).

        ``all_below``: of plans that cost this or more, some may be missing in the tables [cents].
        """
        self.weigh(self.budget.labels * NUMPY_WORK_A_LABEL)
        found = go_forward(tables, bound, width, self.limit, self.budget, kernels=self.engine.kernels, **how)
        if found.cost is not None:
            self.best = found.cost
            self.arcs = found.arcs if numbers is None else tuple(int(numbers[a]) for a in found.arcs)
        self.raise_floor(found.floor if all_below is None else min(found.floor, all_below))
        return found.whole

    def sharpen(self, tables: Tables, numbers: NDArray[np.int64] | None, *, closely: bool = True) -> None:
        """Search a problem to the proof with bounds that remember all sights."""
        bounds = Sharper(tables, self.budget, self.weigh, closely=closely)
        widths: list[int | None] = [FIRST_WIDTH, *WIDTHS, None]
        tallies: Tallies | None = None
        while widths:
            self.weigh(self.budget.labels * NUMPY_WORK_A_LABEL)
            root = bounds.bound().root
            self.notes |= bounds.notes
            if root >= self.limit:
                return
            self.floor = max(self.floor, root)
            if self.budget.labels and tallies is None:  # a second pass is needed, and so are tighter counters
                tallies = self.tally(tables)
                if tallies.impossible:
                    return
            width = widths[0]
            crowded = bounds.crowded if width != FIRST_WIDTH else (lambda: False)
            whole = self.forward(tables, numbers, bounds.bound(), width, tallies=tallies, crowded=crowded)
            if whole is None:
                bounds.refine()
                continue
            if whole:
                return
            if widths.pop(0) == WIDTHS[0] and self.best is not None:
                bounds.refine_for(self.best)

    def tally(self, tables: Tables, *, sights: bool = True) -> Tallies:
        """Return the counters' bounds."""
        begun = self.budget.seconds
        made = Tallies(tables, sights=sights, kernels=self.engine.kernels, check=lambda share: self.budget.check("bound", share))
        self.notes["tally_s"] = self.budget.seconds - begun
        return made


def solve(
    problem: Problem,
    *,
    forbidden: frozenset[tuple[int, int]] = frozenset(),
    engine: str = "auto",
    max_labels: int = 20_000_000,
    max_work: float = np.inf,
    max_seconds: float | None = None,
    progress: Callable[[str, float], None] | None = None,
    should_stop: Callable[[], bool] | None = None,
) -> Solution:
    """Return the plan of least cost, proven, or how far from it the search got.

    Parameters
    ----------
    problem
        The trip.
    forbidden
        (day, arc) pairs that must not be used.
    engine
        ``numpy``; ``numba``: compiled kernels; ``auto``: numba where the work pays for loading it and it is there. All
        give the same arcs.
    max_labels, max_work, max_seconds
        Where to stop without a proof: labels kept; additions in bounds, a label counting as two millions; time. The first two stop at the
        same place on every machine.
    progress
        Told the stage in words (`STAGES`, and `COMPILING` on first use) and its done share.
    should_stop
        Asked now and then; True stops the search, which then returns what it has.

    Raises
    ------
    ValueError
        The arrays break the contract, or the engine's name is not known.
    """
    allowed = np.array(problem.arc_days, np.uint64)
    for day, arc in forbidden:
        if 0 <= day < problem.days and 0 <= arc < len(allowed):
            allowed[arc] &= ~np.uint64(1 << day)
    budget = Budget(max_labels, max_work, max_seconds, progress, should_stop)
    return Run(replace(problem, arc_days=allowed), Engine(engine), budget).solve()
