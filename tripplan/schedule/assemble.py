"""Trip, region and ways between places put into the arrays of a `Problem`, with what is needed to read its answer."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from tripplan.model.trip import Trip
from tripplan.region.region import Region
from tripplan.schedule.arrays import fill
from tripplan.schedule.candidates import Cast
from tripplan.schedule.day_options import classes_of, day_options, priced
from tripplan.schedule.hours import DayHours, hours_of
from tripplan.schedule.options import Options
from tripplan.schedule.overdue import with_first_chances
from tripplan.schedule.reach import reach_of
from tripplan.schedule.use import PickUp, at_pick_up, blocks_of
from tripplan.schedule.ways import Ways
from tripplan.schedule.work import Slack, Work

__all__ = ["assemble", "every_day_has_a_way", "work_of"]

I64 = NDArray[np.int64]


def assemble(
    trip: Trip,
    region: Region,
    cast: Cast,
    ways: list[Ways],
    slack: Slack | None = None,
    hours: DayHours | None = None,
    shares: NDArray[np.float64] | None = None,
) -> Work:
    """Build the problem of a trip.

    Parameters
    ----------
    slack
        Without it every limit is hard.
    shares
        (R) how often each store's limit may fail by itself; ``None``: as often as the trip may.
    """
    hours = hours or hours_of(trip, region, cast)
    rules = slack or Slack()
    classes_s = classes_of(trip, rules)
    pick_up = at_pick_up(trip, cast, hours, shares)
    reach = reach_of(trip, cast, ways, rules)
    parts, sets = [], []
    for number, way in enumerate(ways):
        options = day_options(trip, cast, way, hours, classes_s, reach, rules, pick_up)
        parts.append(options)
        sets.append(np.full(len(options), number, dtype=np.int64))
    options = Options.join(parts)
    set_of = np.concatenate(sets)
    options, set_of, penalty = priced(trip, options, set_of, hours, rules)
    pick_up = with_first_chances(pick_up, trip, cast, options)
    return work_of(trip, region, cast, ways, hours, options, set_of, penalty, rules, pick_up)


def work_of(
    trip: Trip,
    region: Region,
    cast: Cast,
    ways: list[Ways],
    hours: DayHours,
    options: Options,
    set_of: I64,
    penalty: I64,
    rules: Slack,
    pick_up: PickUp,
) -> Work:
    """Put options in any order into the arrays of a problem."""
    places, days = 2 + len(cast.sites), len(trip.dates)
    classes_s = classes_of(trip, rules)
    order = np.argsort(options.start, kind="stable")
    options, set_of, penalty = options.take(order), set_of[order], penalty[order]
    served = options.serves.astype(np.int64)
    counted = np.where(options.start == 0, pick_up.counted(served), served)
    use = blocks_of(trip, cast, hours, np.unique(counted[~options.car]).tolist(), classes_s, pick_up)
    problem, counters = fill(trip, cast, use, options, counted, rules, places, days)
    return Work(trip, region, cast, ways, hours, use, options, set_of, problem, counters, penalty)


def every_day_has_a_way(work: Work) -> bool:
    """Say whether on each day of the trip there is anything at all that can be done."""
    days = int(np.bitwise_or.reduce(work.problem.arc_days)) if len(work.options) else 0
    return days == (1 << work.problem.days) - 1
