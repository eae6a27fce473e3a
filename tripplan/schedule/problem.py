"""The seam between the model of a trip and the search: one trip as integer arrays.

Levels count what is used up since a store was last served: 0 is best, more is worse, over the cap is forbidden. All
functions of a level are non-decreasing, so a label with no larger level, count and cost dominates.

A day ``d`` (0 .. D-1) starts at a place with levels ``L``, sights done, and nights spent there so far:

1. an arc is chosen that leaves the place, is allowed on day ``d`` and leads to a place open for night ``d`` (on the
   last day: to the goal, and no night follows);
2. the day's block of the arc's use class is added (below), then the stores in ``arc_reset`` become 0 (served on the way
   or by car), then ``arc_cost`` and ``arc_count`` are added, and the arc's sights count as done;
3. leaving a place after exactly one night adds ``one_night_cost`` and ``one_night_count``;
4. on arrival the stores in ``arrive_reset`` of the place become 0; the night's block is added, ``night_cost`` and
   ``night_count`` with it; a sight that nights at this place count for advances by one; then ``leave_reset`` apply.

A block is three numbers a store, so that sun and loads within it are exact though a full battery takes no more:
``total`` (sum), ``prefix`` (greatest sum from its start: ``max(L + prefix, ...) <= cap`` is required), ``tail``
(greatest sum up to its end, >= 0). The level becomes ``max(L + total, tail)``; with no negative part,
``prefix = total`` and ``tail = 0``.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

__all__ = ["Problem", "Solution"]

I32 = NDArray[np.int32]
I64 = NDArray[np.int64]
U32 = NDArray[np.uint32]
U64 = NDArray[np.uint64]


@dataclass(frozen=True)
class Problem:
    """One trip as arrays. P places, D days, A arcs, R stores, K night classes, U use classes, S sights, C counters.

    Parameters
    ----------
    start, goal
        Places of pick-up and return (may be the same number).
    arc_ptr
        (P + 1) arcs leaving place p are ``arc_ptr[p]:arc_ptr[p + 1]``. arc_to: (A) place reached; equal to p on a
        standing day. arc_cost: (A) [cents]. arc_reset: (A) bit r set: store r is served. arc_days: (A) bit d set: allowed
        on day d. arc_use: (A) use class. arc_sights: (A) bit s set: sight s is visited for its hours. arc_count: (A, C).
    day_block
        (D, U, 3, R) total, prefix, tail of each use class.
    night_class
        (P) class of each place. night_block: (D, K, 3, R). night_cost: (D, P) [cents], negative: not open that night.
        night_count: (D, P, C).
    arrive_reset, leave_reset
        (P) bits of stores served at the place.
    max_stay
        (P) most nights in a row, 0 no limit.
    start_level, cap, goal_cap
        (R) levels at pick-up, limits, and limits that hold on reaching the goal after the last day's block and resets.
    count_cap
        (C) one_night_count: (C) one_night_cost [cents].
    need
        (S) times a sight must be counted to be done (1 for hours). must: (S) 1 must be done; value: (S) reward [cents]
        when a nice one is done. cover: (P, S) 1 where a night at the place counts for the sight (``need`` nights).
    excess_weight
        (R) cents a unit over the cap costs; 0 everywhere: caps are hard. Where positive, what is over the cap is paid for
        and the level goes on at the cap.
    couple
        Rows (from store, to store, numerator, denominator): at a place whose ``leave_reset`` serves the first, the second
        grows by ``level * numerator / denominator`` (rounded up) before the reset. None in trips: for time spent on a
        service that depends on how much is missing.
    """

    start: int
    goal: int
    arc_ptr: I64
    arc_to: I32
    arc_cost: I64
    arc_reset: U32
    arc_days: U64
    arc_use: I32
    arc_sights: U32
    arc_count: I32
    day_block: I32
    night_class: I32
    night_block: I32
    night_cost: I64
    night_count: I32
    arrive_reset: U32
    leave_reset: U32
    max_stay: I32
    start_level: I32
    cap: I32
    goal_cap: I32
    count_cap: I64
    one_night_count: I32
    one_night_cost: int
    need: I32
    must: I32
    value: I64
    cover: NDArray[np.uint8]
    excess_weight: I32
    couple: tuple[tuple[int, int, int, int], ...] = ()

    @property
    def days(self) -> int:
        """D."""
        return int(self.night_cost.shape[0])

    @property
    def places(self) -> int:
        """P."""
        return int(self.night_cost.shape[1])


@dataclass(frozen=True)
class Solution:
    """What the search found.

    Parameters
    ----------
    status
        ``proven`` (best, or proven that none exists when ``arcs`` is empty), ``gap`` (a plan, not proven best) or
        ``unknown`` (stopped before a plan or a proof).
    arcs
        One arc number a day; empty without a plan.
    cost, bound
        Of the plan, and no plan costs less [cents].
    labels
        Kept over the whole search.
    """

    status: str
    arcs: tuple[int, ...]
    cost: int
    bound: int
    labels: int
    seconds: float
    notes: dict[str, float] = field(default_factory=dict)
