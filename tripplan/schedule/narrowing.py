"""A large problem made small: bounds with a short memory leave out what no plan of use needs, stage by stage.

Prices of the sights are sought on a part of the places first, then set right on all of them. A quick search with this bound gives
a plan; what cannot be in a better one is left out, and the same begins again on what remains, with longer memories, until the
bound that remembers all sights is affordable or nothing more can be left out. Where no good plan is known, one below a target is looked
for as if there were one; when the proof is that there is none, the target is raised.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from .bounds import Bound, bound_bytes
from .buckets import Resting, make_buckets
from .memory import make_memory
from .memory_bound import Layout, Prices, make_layout, memory_work
from .memory_prices import PriceHunt
from .narrow import Passing, narrowed, passing, spread
from .sharper import MOST_BYTES, Sharper, first_sizes
from .tables import Tables, make_tables
from .watch import choose_sizes

if TYPE_CHECKING:
    from .solve import Run

__all__ = ["Narrowing"]

I64 = NDArray[np.int64]
MEMORY_STAGES = ((24, 48, 2), (96, 48, 6), (192, 64, 4))  # columns, buckets, rounds of prices
THIN_ROUNDS = 12  # of prices on a part of the places
THIN = 5  # one of so many places belongs to it, and those where sights are
SHARP_WORK = 4e9  # additions of a bound that remembers all sights, affordable
AIM = 0.05  # of the bound, from it to the first target; doubled each time
GOOD = 0.2  # of a plan, between bound and plan: no target is needed
AIMS = 6  # so many targets before the search goes on without
SHRUNK = 0.7  # a stage is worth repeating when it leaves less than this share
WIDTHS = (64, 1024)
LAST_WIDTHS = (16384, None)
FEW = 60_000  # days of arcs, over the cheapest ways, that are searched for a better plan first
WIDE = 0.15  # of the bound, from it to the dearest ways that are looked at for that
TRY_WORK = 1.5e9  # additions that the bound may take there
TRY_BYTES = 120_000_000
TRY_OF = 5e11  # additions that the bound may take on the whole problem, for a few days of arcs to be worth looking at


class Narrowing:
    """The stages of one search.

    Parameters
    ----------
    run
        The search: its limits, kernels and best plan.
    work
        Additions that a bound of the whole problem would take that remembers all sights.
    """

    def __init__(self, run: Run, work: float) -> None:
        self.run = run
        self.hunt = PriceHunt.begin(run.whole)
        self._aims = 0
        self._thin = True
        self._may_try = work <= TRY_OF

    def settled(self) -> bool:
        """Search for a plan below the target; tell whether the best plan is proven now, else raise the target."""
        run = self.run
        self._below()
        limit = run.limit
        if run.target is None or (run.best is not None and run.best <= run.target):
            return True
        run.floor = max(run.floor, limit)
        self._aims += 1
        run.target = None if self._aims > AIMS else limit + max(int(AIM * 2**self._aims * abs(limit)), 1)
        return False

    def _kernels(self, work: float) -> Any:
        if self.run.weigh(work) is None:
            return None
        from . import narrow_kernels

        return narrow_kernels

    def _below(self) -> None:
        """Go on until it is proven that no plan below the limit is left but the best."""
        run, budget = self.run, self.run.budget
        tables: Tables = run.whole
        numbers: I64 = np.arange(len(tables.problem.arc_to))
        stage = 0
        while True:
            bound, layout, prices = self._climb(tables, stage)
            if bound.root >= run.limit:
                return
            run.floor = max(run.floor, bound.root)
            if run.forward(tables, numbers, bound, WIDTHS[min(stage, 1)]):
                return
            before = spread(tables.problem)
            kernels = self._kernels(before)
            ways: Passing | None = None
            if self._may_try:
                self._may_try = False
                budget.check("bound", 0.0, "narrow")
                wide = bound.root + max(int(WIDE * abs(bound.root)), 1)
                ways = passing(tables, layout, prices, bound, min(run.limit, wide), kernels=kernels)
                if self._tried(tables, numbers, ways):
                    return
            if run.target is None and self._aims <= AIMS and not self._near(bound):
                run.target = bound.root + max(int(AIM * abs(bound.root)), 1)
            if ways is None or ways.limit < run.limit:
                budget.check("bound", 0.0, "narrow")
                ways = passing(tables, layout, prices, bound, run.limit, kernels=kernels)
            smaller, arcs = narrowed(tables.problem, ways.below(run.limit))
            after = spread(smaller)
            last = stage == len(MEMORY_STAGES) - 1
            if last and after > SHRUNK * before:
                break
            if not after:
                return
            tables, numbers = make_tables(smaller), numbers[arcs]
            if not len(tables.columns[0]):
                return
            stage = min(stage + 1, len(MEMORY_STAGES) - 1)
            if self._affordable(tables, stage):
                run.sharpen(tables, numbers, closely=False)
                return
        tallies = run.tally(tables, sights=False)
        if tallies.impossible:
            return
        for width in LAST_WIDTHS:
            if run.forward(tables, numbers, bound, width, tallies=tallies):
                return

    def _tried(self, tables: Tables, numbers: I64, ways: Passing) -> bool:
        """Search where the cheapest ways lead, for a better plan; tell whether it is proven the best.

        The fewer cents lie between the bound and the best plan, the less is left to be looked at afterwards.
        """
        run = self.run
        nearest = ways.few(FEW)
        if nearest >= run.limit:
            return False
        smaller, arcs = narrowed(tables.problem, ways.below(nearest))
        few = make_tables(smaller) if len(arcs) else None
        if few is None or not len(few.columns[0]):
            run.raise_floor(nearest)
            return False
        sizes, work = first_sizes(few, Resting(few), by_day=True)
        if work > TRY_WORK or bound_bytes(few, make_buckets(Resting(few), sizes)) > TRY_BYTES:
            return False
        bound = Sharper(few, run.budget, run.weigh, closely=False).bound()
        return any(run.forward(few, numbers[arcs], bound, width, nearest) for width in WIDTHS) and run.found_below(nearest)

    def _near(self, bound: Bound) -> bool:
        best = self.run.best
        return best is not None and best - bound.root <= GOOD * abs(best)

    def _affordable(self, tables: Tables, stage: int) -> bool:
        """Tell whether the bound that remembers all sights takes no more than the next stage."""
        resting = Resting(tables)
        sizes, work = first_sizes(tables, resting, by_day=True)
        columns, buckets, rounds = MEMORY_STAGES[stage]
        another = float(spread(tables.problem)) * columns * buckets * rounds
        return work <= max(SHARP_WORK, another) and bound_bytes(tables, make_buckets(resting, sizes)) <= MOST_BYTES

    def _climb(self, tables: Tables, stage: int) -> tuple[Bound, Layout, Prices]:
        """Return the bound of a stage, with the best prices found."""
        most, buckets, rounds = MEMORY_STAGES[stage]
        if self._thin:
            self._thin = False
            few = _part(tables)
            self._rounds(few, most, buckets, THIN_ROUNDS, None, ())
        # what is remembered everywhere has no price: only where memory is long enough for both
        always = self.hunt.always(tables, most // 4) if stage else ()
        return self._rounds(tables, most, buckets, rounds, self.run.limit, always)

    def _rounds(
        self, tables: Tables, most: int, buckets: int, rounds: int, limit: int | None, always: tuple[int, ...]
    ) -> tuple[Bound, Layout, Prices]:
        run, budget = self.run, self.run.budget
        resting = Resting(tables)
        sizes = choose_sizes(resting, buckets)
        memory = make_memory(tables, most, always)
        layout = make_layout(tables, make_buckets(resting, sizes), sizes, memory)
        work = memory_work(layout)
        begun = budget.seconds
        kernels = self._kernels(work * rounds)

        def check(share: float) -> None:
            budget.check("bound", share, "memory")

        bound, prices = self.hunt.climb(
            tables, layout, always, rounds, limit, kernels=None if kernels is None else kernels.memory, check=check,
            count=lambda: budget.count_work(work),
        )  # fmt: skip
        run.notes["bound_s"] = run.notes.get("bound_s", 0.0) + budget.seconds - begun
        run.notes["buckets"], run.notes["columns"] = float(np.prod(sizes)), float(memory.columns)
        return bound, layout, prices


def _part(tables: Tables) -> Tables:
    """Return the problem on a part of the places: each fifth, the ends, and all where sights are."""
    p = tables.problem
    places = np.asarray(p.cover.any(axis=1))
    origin = np.repeat(np.arange(p.places), np.diff(p.arc_ptr).astype(np.int64))
    seen = p.arc_sights != 0
    places[origin[seen]] = places[p.arc_to[seen]] = True
    places[::THIN] = True
    places[[p.start, p.goal]] = True
    both = places[origin] & places[p.arc_to]
    return make_tables(narrowed(p, np.where(both, p.arc_days, np.uint64(0)))[0])
