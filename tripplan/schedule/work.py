"""A problem with what is needed to read its answer, and the limits that may be passed for a price."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from tripplan.model.trip import Trip
from tripplan.region.region import Region
from tripplan.schedule.candidates import Cast, Stop
from tripplan.schedule.hours import DayHours
from tripplan.schedule.options import Options
from tripplan.schedule.problem import Problem
from tripplan.schedule.use import Use
from tripplan.schedule.ways import Ways

__all__ = ["Slack", "Work"]

I64 = NDArray[np.int64]


@dataclass(frozen=True)
class Slack:
    """Limits that may be passed for a price, to find the nearest plan when there is none.

    Parameters
    ----------
    store
        Cents for a hundredth of a store's limit. minute: for a minute of driving or lateness too much. sight: for a must
        sight missed. tow: for towing on a day without towing.
    factor
        How many times the driving limit is tried.
    counters
        Whether counters hold.
    """

    store: int = 0
    minute: int = 0
    sight: int = 0
    tow: int = 0
    factor: float = 1.0
    counters: bool = True


@dataclass
class Work:
    """A problem and how to read it: place 0 is pick-up, 1 the return, 2 + s site s.

    Parameters
    ----------
    options
        Row a of them is arc a of the problem. set_of: which of ``ways`` each holds on.
    penalty
        (A) cents of an arc that are a price for passing a limit.
    counters
        Names of the problem's counters in order.
    shut, forbidden_why
        Ways to spend a day (see `again`) that the clock found impossible, and why, the first few.
    found
        Paths found, by the identity of their arcs, with what each arc is: arcs are numbered anew when ways are forbidden.
    cache
        Folder of prepared files, for days laid out; ``None``: nothing is kept.
    """

    trip: Trip
    region: Region
    cast: Cast
    ways: list[Ways]
    hours: DayHours
    use: Use
    options: Options
    set_of: NDArray[np.int64]
    problem: Problem
    counters: tuple[str, ...]
    penalty: I64
    shut: dict[tuple[int, int, int, bool, int, int, int], None] = field(default_factory=dict)
    forbidden_why: list[str] = field(default_factory=list)
    found: dict[int, tuple[tuple[int, ...], tuple[tuple[int, int, int, bool, int, int, int], ...]]] = field(default_factory=dict)
    cache: Path | None = None

    def become(self, other: Work) -> None:
        """Take over the options and the problem of the same trip with other days allowed."""
        self.use, self.options, self.set_of, self.problem = other.use, other.options, other.set_of, other.problem
        self.counters, self.penalty = other.counters, other.penalty

    def stops(self, arc: int) -> tuple[Stop, ...]:
        """Return the stops of an arc in order."""
        o = self.options
        pool = self.cast.car_stops if o.car[arc] else self.cast.van_stops
        return tuple(pool[int(n)] for n in (o.first[arc], o.second[arc], o.third[arc]) if n >= 0)

    def ways_of(self, arc: int) -> Ways:
        """Return the ways that an arc goes by."""
        return self.ways[int(self.set_of[arc])]

    def points(self, arc: int) -> tuple[int, ...]:
        """Return the rows of an arc's points in the table of its mode."""
        o = self.options
        stops = [int(n) for n in (o.first[arc], o.second[arc], o.third[arc]) if n >= 0]
        if o.car[arc]:
            sites = len(self.cast.sites)
            home = int(o.end[arc]) - 2
            return (home, *(sites + n for n in stops), home) if stops else ()
        places = 2 + len(self.cast.sites)
        return (int(o.start[arc]), *(places + n for n in stops), int(o.end[arc]))
