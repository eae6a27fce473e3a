"""Which places lie on some chain of days from pick-up to return, by driving alone."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tripplan.model.trip import Trip
from tripplan.schedule.candidates import Cast
from tripplan.schedule.ways import FAR, Ways
from tripplan.schedule.work import Slack

__all__ = ["Reach", "reach_of"]

I64 = NDArray[np.int64]


@dataclass(frozen=True)
class Reach:
    """Places that lie on some chain of days from pick-up to return, by driving alone; both depots first.

    Parameters
    ----------
    alive
        Their numbers. out, back: (P) least days from pick-up and to the return.
    """

    alive: I64
    out: I64
    back: I64

    def days(self, count: int) -> NDArray[np.uint64]:
        """(P, P) of the living: days of ``count`` on which one may go from one to another with regard to the days before and after."""
        early = [(1 << int(n)) - 1 for n in self.out[self.alive]]
        late = [(1 << max(0, count - int(n))) - 1 for n in self.back[self.alive]]
        return ~np.array(early, dtype=np.uint64)[:, None] & np.array(late, dtype=np.uint64)[None, :]


def reach_of(trip: Trip, cast: Cast, ways: list[Ways], rules: Slack) -> Reach:
    """Count the days, over the quickest way with at most two stops, as a stop can shorten a way (the van may turn there)."""
    places = 2 + len(cast.sites)
    most = int(trip.max_drive_s * rules.factor)
    first = min(int(trip.first_day_drive_s * rules.factor), most)
    time = np.full((places, places), FAR, dtype=np.int64)
    for way in ways:
        drive = way.van.drive_s
        time = np.minimum(time, drive[:places, :places])
        to_stop = drive[:places, places:].copy()
        for v in range(places, len(drive)):
            np.minimum(to_stop, drive[:places, v, None] + drive[None, v, places:], out=to_stop)
        for v in range(places, len(drive)):
            np.minimum(time, to_stop[:, v - places, None] + drive[None, v, :places], out=time)
    near = time <= most
    days = len(trip.dates)
    site = np.arange(places) >= 2
    out = _steps((time[0] <= first) & site, near, site, days)
    back = _steps(near[:, 1] & site, near.T, site, days)
    out[0] = back[1] = 0
    lives = out + back <= days
    lives[:2] = True
    return Reach(np.flatnonzero(lives), out, back)


def _steps(front: NDArray[np.bool_], near: NDArray[np.bool_], site: NDArray[np.bool_], days: int) -> I64:
    """(P) least days to each place; ``days`` where it takes longer."""
    out = np.full(len(front), days, dtype=np.int64)
    steps = 1
    while front.any() and steps < days:
        out[front] = steps
        front = near[front].any(axis=0) & (out == days) & site
        steps += 1
    return out
