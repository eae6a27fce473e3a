"""From limits that hold one by one to a plan on which all of them hold together.

The search holds each store's limit at a confidence. Of the best plan so found the chance that any store fails anywhere is worked
out; where it is more than the trip allows, each limit is held at a higher confidence and the search goes on. What comes out is the
best plan among those that hold every limit at the confidence reached, and all of them together at the one asked for.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from tripplan.model.errors import NoPlanError
from tripplan.model.plan import Excess, Holds
from tripplan.model.progress import Progress, silent
from tripplan.model.words import STORES
from tripplan.schedule.assemble import Slack, Work, work_of
from tripplan.schedule.lived import Lived
from tripplan.schedule.problem import Solution
from tripplan.schedule.use import at_pick_up

__all__ = ["TooLittleTogether", "all_together", "hold_at", "holds_of", "no_plan_together"]
F64 = NDArray[np.float64]
#: Stores whose part in the failing trips is less than this share of what may fail stay as they are.
_MATTERS = 0.02
#: So many steps up, and so many tries between the last that was too little and the first that was enough.
_STEPS, _BETWEEN = 12, 2
#: Float noise in a chance.
_NOISE = 1e-9


@dataclass(frozen=True)
class TooLittleTogether:
    """Why the confidence asked for cannot be reached: what the best plan that holds each limit at it comes to.

    Parameters
    ----------
    together
        The most that any plan found holds all stores together at.
    """

    asked: float
    together: float

    def excess(self) -> Excess:
        """Return the limit that is broken, in words."""
        text = (
            f"all stores together hold on {_percent(self.together)} of such trips where {_percent(self.asked)} is asked for, "
            f"though each by itself can hold on {_percent(self.asked)}: `confidence = {_floor(self.together):g}` in the trip would do"
        )
        return Excess("confidence", 0, round(100 * (self.asked - self.together), 2), "points", text)


@dataclass(frozen=True)
class _Found:
    """The best plan with each limit held at some confidence, if there is one."""

    shares: F64
    solution: Solution
    lived: Lived | None

    @property
    def holds(self) -> bool:
        """Whether all stores hold together on as many trips as asked for."""
        return self.lived is not None and self.lived.together >= self.lived.work.trip.confidence - _NOISE


@dataclass
class _Ladder:
    """Searches with each store's limit held at a confidence of its own."""

    work: Work
    search: Callable[[Work], Solution]
    progress: Progress
    labels: int = 0

    def at(self, shares: F64) -> _Found:
        self.progress(f"Holding all stores together: each limit at {_percent(1 - shares.max())} or more", float("nan"))
        hold_at(self.work, shares)
        solution = self.search(self.work)
        self.labels += solution.labels
        return _Found(shares, solution, Lived(self.work, solution.arcs) if solution.arcs else None)

    def up(self, found: _Found) -> F64:
        """Return shares that the plan found does not keep to: stores that take part in what fails too often are held tighter."""
        assert found.lived is not None
        may, risks = 1.0 - self.work.trip.confidence, np.array([found.lived.risks.get(s, 0.0) for s in STORES])
        less = min(0.97, may / risks.sum())
        tight = np.minimum(found.shares, found.lived.tightest) * less
        return np.where(risks > _MATTERS * may, np.maximum(tight, 1e-6), found.shares)


def all_together(
    work: Work, solution: Solution, search: Callable[[Work], Solution], *, progress: Progress = silent
) -> tuple[Solution, Lived | None, TooLittleTogether | None]:
    """Hold single limits tighter until all hold together.

    Parameters
    ----------
    work, solution
        The problem, limits held at the trip's confidence, and its best plan. The problem changes with the confidence.
    search
        Finds the best plan of a problem.

    Returns
    -------
    tuple
        The plan and what it comes to; or no arcs, nothing, and what the best plans found come to.
    """
    ladder = _Ladder(work, search, progress, solution.labels)
    found = _Found(work.use.pick_up.held.shares, solution, Lived(work, solution.arcs))
    if found.holds:
        return solution, found.lived, None
    low, best = found, found.lived.together if found.lived is not None else 0.0
    for _ in range(_STEPS):
        found = ladder.at(ladder.up(low))
        if found.holds or found.lived is None:
            break
        low, best = found, max(best, found.lived.together)
    for _ in range(_BETWEEN):
        # The step was large: perhaps a plan that costs less lies between.
        if found.solution.status == "unknown" or (found.holds and found.solution.cost <= low.solution.cost * 1.005):
            break
        between = ladder.at(np.sqrt(low.shares * found.shares))
        if between.lived is not None:
            best = max(best, between.lived.together)
        if between.holds or (between.lived is None and not found.holds):
            found = between
        elif between.lived is not None:
            low = between
        else:
            break
    if not found.holds:
        why = None if found.solution.status == "unknown" else TooLittleTogether(work.trip.confidence, best)
        return replace(found.solution, arcs=(), labels=ladder.labels), None, why
    hold_at(work, found.shares)
    assert found.lived is not None
    return replace(found.solution, labels=ladder.labels), found.lived, None


def hold_at(work: Work, shares: F64) -> None:
    """Change a problem so that each limit may fail by itself no more often than told; its options stay."""
    if (work.use.pick_up.held.shares == shares).all():
        return
    pick_up = at_pick_up(work.trip, work.cast, work.hours, shares, work.use.pick_up.forecast)
    work.become(
        work_of(
            work.trip, work.region, work.cast, work.ways, work.hours, work.options, work.set_of, work.penalty, Slack(), pick_up
        )
    )


def holds_of(lived: Lived) -> Holds:
    """Return how sure the stores of a plan are."""
    held = lived.work.use.pick_up.held
    by_store = {store.value: round(1 - risk, 4) for store, risk in lived.risks.items()}
    each = {store.value: round(1 - float(held.shares[STORES.index(store)]), 6) for store in lived.risks}
    return Holds(lived.work.trip.confidence, each, round(lived.together, 4), by_store)


def _percent(share: float) -> str:
    return f"{_floor(share):.1%}".replace(".0%", "%").replace("%", " %")


def _floor(share: float) -> float:
    """Round down to a tenth of a per cent: no confidence is told that is not reached."""
    return int(share * 1000 + 1e-6) / 1000


def no_plan_together(error: NoPlanError, why: TooLittleTogether) -> NoPlanError:
    """Add to the reasons of the nearest plan what the confidence lacks."""
    excess = why.excess()
    return NoPlanError(f"{excess.text}; {error}", (excess, *error.excesses), least=error.least)
