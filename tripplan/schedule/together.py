"""From limits that hold one by one to a plan on which all of them hold together.

The search holds each store's limit at a confidence. Of the best plan so found the chance that any store fails anywhere is worked
out; where it is more than the trip allows, the limit of the store that fails most is held tighter, just so far that this plan no
longer keeps to it, and the search goes on. What comes out is the best plan among those that hold each limit at the confidence
reached for it; all of them together hold at the one asked for. Which store is held tighter, and how far, is a choice, so it need not
be the cheapest of all that hold together. How far it can be from that is known: whoever holds all limits together holds each by
itself, so that no such plan costs less than the best one with each limit at the confidence asked for (`Together.least_cents`).
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
from tripplan.schedule.assemble import work_of
from tripplan.schedule.lived import Lived
from tripplan.schedule.overdue import with_first_chances
from tripplan.schedule.problem import Solution
from tripplan.schedule.use import at_pick_up
from tripplan.schedule.work import Slack, Work

__all__ = ["Together", "TooLittleTogether", "all_together", "hold_at", "holds_of", "no_plan_together"]
F64 = NDArray[np.float64]
#: No limit is held tighter than this share of failing trips.
_LEAST = 1e-5
#: So many searches, the first not counted; and so many for one store between a limit that is too loose and one that leaves no plan.
_SEARCHES, _BETWEEN = 16, 2
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
class Together:
    """A plan on which all stores hold together, or why there is none.

    Parameters
    ----------
    lived
        What the plan comes to; ``None`` without a plan.
    least_cents
        What the best plan costs that keeps each limit by itself at the confidence asked for, as the search counts its use: a
        bound from below for all on which they hold together, not the cost of one of them.
    short
        What the best plans found lack, where that is why there is none.
    """

    solution: Solution
    lived: Lived | None
    least_cents: int = 0
    short: TooLittleTogether | None = None


@dataclass(frozen=True)
class _Found:
    """The best plan with each limit held at some confidence, if there is one."""

    shares: F64
    solution: Solution
    lived: Lived | None

    @property
    def holds(self) -> bool:
        """Whether all stores hold together as asked for, and each by itself as the search counted."""
        if self.lived is None:
            return False
        asked = self.lived.work.trip.confidence
        return self.lived.together >= asked - _NOISE and not self.beyond().any()

    def beyond(self) -> NDArray[np.bool_]:
        """(R) stores that, gone through part by part, do not hold by themselves as the search counted."""
        assert self.lived is not None
        return np.asarray(self.lived.tightest > self.shares + 1e-6)


@dataclass
class _Ladder:
    """Searches with each store's limit held at a confidence of its own."""

    work: Work
    search: Callable[[Work], Solution]
    progress: Progress
    labels: int = 0

    def at(self, shares: F64) -> _Found:
        self.progress(f"Holding all stores together: single limits up to {_percent(1 - shares.min())}", float("nan"))
        hold_at(self.work, shares)
        solution = self.search(self.work)
        self.labels += solution.labels
        return _Found(shares, solution, Lived(self.work, solution.arcs) if solution.arcs else None)

    def up(self, found: _Found, r: int) -> F64:
        """Return shares to which the plan found does not keep, as one store is held tighter."""
        assert found.lived is not None
        may, risk = 1.0 - self.work.trip.confidence, found.lived.risks[STORES[r]]
        over = 1.0 - found.lived.together - may
        left = min(0.97, max(0.3, 1 - over / risk)) if risk > 0 else 0.97
        shares = found.shares.copy()
        shares[r] = min(shares[r], found.lived.tightest[r]) * left
        return shares


def all_together(work: Work, solution: Solution, search: Callable[[Work], Solution], *, progress: Progress = silent) -> Together:
    """Hold single limits tighter until all hold together.

    Parameters
    ----------
    work, solution
        The problem, limits held at the trip's confidence, and its best plan. The problem changes with the confidence.
    search
        Finds the best plan of a problem.
    """
    ladder = _Ladder(work, search, progress, solution.labels)
    bound = solution.bound
    found = _Found(work.use.pick_up.held.shares, solution, Lived(work, solution.arcs))
    stuck: set[int] = set()
    best = 0.0
    for _ in range(_SEARCHES):
        assert found.lived is not None
        best = max(best, found.lived.together)
        if found.holds:
            return Together(replace(found.solution, labels=ladder.labels), found.lived, bound)
        r = _fails_most(found, stuck)
        if r is None:
            break
        shares = ladder.up(found, r)
        tighter = ladder.at(shares)
        for _ in range(_BETWEEN):
            if tighter.lived is not None or tighter.solution.status == "unknown":
                break
            touch = min(found.shares[r], found.lived.tightest[r])
            shares = shares.copy()
            shares[r] = (shares[r] * touch) ** 0.5
            tighter = ladder.at(shares)
        if tighter.solution.status == "unknown":
            return Together(replace(tighter.solution, labels=ladder.labels), None)
        if tighter.lived is None:
            stuck.add(r)
        else:
            found = tighter
    none = Solution("proven", (), 0, 0, ladder.labels, 0.0)
    return Together(none, None, bound, TooLittleTogether(work.trip.confidence, best))


def _fails_most(found: _Found, stuck: set[int]) -> int | None:
    """Return the store to hold tighter: the one that fails most of those that can be."""
    assert found.lived is not None
    beyond = found.beyond()
    risks = [(bool(beyond[r]), found.lived.risks.get(s, 0.0), r) for r, s in enumerate(STORES)]
    rows = [row for row in risks if row[2] not in stuck and row[1] > _LEAST and found.shares[row[2]] > _LEAST]
    return max(rows)[2] if rows else None


def hold_at(work: Work, shares: F64) -> None:
    """Change a problem so that each limit may fail by itself no more often than told; its options stay."""
    if (work.use.pick_up.held.shares == shares).all():
        return
    pick_up = at_pick_up(work.trip, work.cast, work.hours, shares, work.use.pick_up.forecast)
    pick_up = with_first_chances(pick_up, work.trip, work.cast, work.options)
    work.become(
        work_of(
            work.trip, work.region, work.cast, work.ways, work.hours, work.options, work.set_of, work.penalty, Slack(), pick_up
        )
    )


def holds_of(lived: Lived, least_cents: int = 0) -> Holds:
    """Return how sure the stores of a plan are; ``least_cents``: as of `Together`."""
    held = lived.work.use.pick_up.held
    by_store = {store.value: round(1 - risk, 4) for store, risk in lived.risks.items()}
    each = {store.value: round(1 - float(held.shares[STORES.index(store)]), 6) for store in lived.risks}
    return Holds(lived.work.trip.confidence, each, round(lived.together, 4), by_store, int(least_cents))


def _percent(share: float) -> str:
    return f"{_floor(share):.1%}".replace(".0%", "%").replace("%", " %")


def _floor(share: float) -> float:
    """Round down to a tenth of a per cent: no confidence is told that is not reached."""
    return int(share * 1000 + 1e-6) / 1000


def no_plan_together(error: NoPlanError, why: TooLittleTogether) -> NoPlanError:
    """Add to the reasons of the nearest plan what the confidence lacks."""
    excess = why.excess()
    return NoPlanError(f"{excess.text}; {error}", (excess, *error.excesses), least=error.least, cut=error.cut)
