"""Stores that are overdue when a plan begins: past their limit, or too near to it to last until they can be served.

What is past its limit at the start was so before the plan: that is told, and is no reason for having no plan. Such a store is
left alone (at its limit and no further) until it is served, on the first day on which anything in reach serves it; from then on
its limit holds like any other. A flat battery is served by mains; what the sun puts back before is not counted, since how much that is
hangs on each day's clouds, and a battery that stands flat takes harm (common practice, no source): it is brought to mains as soon as may be.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from tripplan.model.trip import Trip
from tripplan.model.words import STORES, Store
from tripplan.schedule.candidates import Cast
from tripplan.schedule.options import Options
from tripplan.schedule.use import PickUp, drive_classes
from tripplan.van.use import StayKind, use_kind

__all__ = ["with_first_chances"]

_BATTERY = STORES.index(Store.BATTERY)


def with_first_chances(pick_up: PickUp, trip: Trip, cast: Cast, options: Options) -> PickUp:
    """Tell of each store on which day it can first be served, where the rest of a trip begins with one that is overdue.

    Parameters
    ----------
    options
        All ways to spend the days.

    Returns
    -------
    PickUp
        ``until`` set; stores overdue by then that are not at the very start count as overdue too.
    """
    if trip.under_way is None:
        return pick_up
    chance, kinds = _chances(trip, cast, options)
    dry, start = pick_up.dry.copy(), pick_up.start.copy()
    for r, day in enumerate(chance):
        if (
            r != _BATTERY
            and not dry[r]
            and day > 0
            and start[r] > 0
            and _least_used(pick_up, trip, kinds, r, day) > pick_up.cap[r]
        ):
            dry[r], start[r] = True, pick_up.cap[r]
    until = tuple(max(0, day) if dry[r] else 0 for r, day in enumerate(chance))
    return replace(pick_up, dry=dry, start=start, until=until)


def _chances(trip: Trip, cast: Cast, options: Options) -> tuple[list[int], list[set[StayKind]]]:
    """Return the first day on which each store can be served (-1: none), and the kinds of stay in reach each night."""
    days = len(trip.dates)
    serves = np.array([0, 0, *(s.serves | (int(s.kind.powered) << _BATTERY) for s in cast.sites)], dtype=np.int64)
    done = options.serves.astype(np.int64) | serves[options.end]
    chance, kinds = [-1] * len(STORES), list[set[StayKind]]()
    front = np.zeros(len(serves), dtype=bool)
    front[0] = True
    for d in range(days):
        rows = np.flatnonzero((options.days >> np.uint64(d) & np.uint64(1) != 0) & front[options.start])
        found = int(np.bitwise_or.reduce(done[rows], initial=0))
        chance = [d if day < 0 and found >> r & 1 else day for r, day in enumerate(chance)]
        front = np.zeros(len(serves), dtype=bool)
        front[options.end[rows]] = True
        front[:2] = False
        kinds.append({use_kind(cast.sites[int(p) - 2].kind) for p in np.flatnonzero(front)})
    return chance, kinds


def _least_used(pick_up: PickUp, trip: Trip, kinds: Sequence[set[StayKind]], r: int, day: int) -> int:
    """Return the least that is used up of a store by the end of a day on which it can first be served [units]."""
    from tripplan.van.blocks import to_units

    forecast, tilt = pick_up.forecast, pick_up.held.tilt
    longest = drive_classes(trip, trip.max_drive_s)[-1]
    used = int(pick_up.start[r]) + int(to_units(forecast.road(0, longest, tilt))[1, r])
    for d in range(day):
        used += min((int(to_units(forecast.night(d, kind, tilt))[0, r]) for kind in kinds[d]), default=0)
        used += int(to_units(forecast.road(d + 1, longest, tilt))[1, r])
    return used
