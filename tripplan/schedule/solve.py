"""The best trip of a problem, with its proof."""

from __future__ import annotations

import time
from collections import defaultdict
from collections.abc import Callable

from .problem import Problem, Solution
from .walk import State, first_state, step

__all__ = ["solve"]


def solve(
    problem: Problem,
    *,
    forbidden: frozenset[tuple[int, int]] = frozenset(),
    engine: str = "auto",
    max_labels: int = 20_000_000,
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
        ``auto``, ``numba`` or ``numpy``.
    max_labels, max_seconds
        Where to stop without a proof.
    progress
        Told the stage and its done share.
    should_stop
        Asked now and then; True stops the search.
    """
    begun = time.perf_counter()
    front: list[tuple[State, tuple[int, ...]]] = [(first_state(problem), ())]
    kept = 0
    for day in range(problem.days):
        if should_stop is not None and should_stop():
            return Solution("unknown", (), 0, 0, kept, time.perf_counter() - begun)
        groups: dict[tuple[int, int, tuple[int, ...]], list[tuple[State, tuple[int, ...]]]] = defaultdict(list)
        for state, path in front:
            for arc in range(int(problem.arc_ptr[state.place]), int(problem.arc_ptr[state.place + 1])):
                if (day, arc) in forbidden:
                    continue
                following = step(problem, day, arc, state)
                if following is not None:
                    groups[following.place, following.nights, following.progress].append((following, (*path, arc)))
        front = []
        for group in groups.values():
            group.sort(key=lambda e: (e[0].cost, sum(e[0].levels) + sum(e[0].counts)))
            chosen: list[tuple[State, tuple[int, ...]]] = []
            for s, path in group:
                if not any(
                    all(x <= y for x, y in zip(o.levels, s.levels, strict=True))
                    and all(x <= y for x, y in zip(o.counts, s.counts, strict=True))
                    for o, _ in chosen
                ):
                    chosen.append((s, path))
            front += chosen
        kept += len(front)
        if progress is not None:
            progress("search", (day + 1) / problem.days)
    spent = time.perf_counter() - begun
    if not front:
        return Solution("proven", (), 0, 0, kept, spent)
    best, path = min(front, key=lambda e: e[0].cost)
    return Solution("proven", path, best.cost, best.cost, kept, spent)
