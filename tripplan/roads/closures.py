"""Closures by date: the days of a trip sorted into sets with the same roads closed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np

from tripplan.region.region import Region

__all__ = ["NO_CLOSURES", "ClosureSet", "closure_sets"]


@dataclass(frozen=True, slots=True)
class ClosureSet:
    """Days on which the same ways are closed by date.

    Parameters
    ----------
    days
        Day numbers, counted from the first date.
    closed
        Rows of the ways closed on those days.
    doubtful
        Rows of ways with a conditional closure that nobody could read: open here, to be named as a caution.
    """

    days: tuple[int, ...] = ()
    closed: tuple[int, ...] = ()
    doubtful: tuple[int, ...] = ()


NO_CLOSURES = ClosureSet()


def closure_sets(region: Region, dates: Sequence[date]) -> list[ClosureSet]:
    """Sort the days into sets with the same ways closed, in order of their first day.

    One network per set is enough, and most trips have one. A closure by the hour counts for the whole day.
    """
    rows = np.flatnonzero(region.ways.closed_when >= 0)
    if not len(rows):
        return [ClosureSet(tuple(range(len(dates))))] if dates else []
    from tripplan.rules.closed import closed_on

    # Few raw texts stand on many ways: each is read once a day.
    texts = {int(number): region.string(int(number)) for number in np.unique(region.ways.closed_when[rows])}
    days: dict[tuple[int, ...], list[int]] = {}
    doubtful: set[int] = set()
    west, south, east, north = region.meta.bbox
    for day, when in enumerate(dates):
        answers = {
            number: closed_on(text, when, region.meta.country, (west + east) / 2, (south + north) / 2)
            for number, text in texts.items()
        }
        closed = tuple(int(r) for r in rows if answers[int(region.ways.closed_when[r])])
        doubtful.update(int(r) for r in rows if answers[int(region.ways.closed_when[r])] is None)
        days.setdefault(closed, []).append(day)
    return [ClosureSet(tuple(numbers), closed, tuple(sorted(doubtful))) for closed, numbers in days.items()]
