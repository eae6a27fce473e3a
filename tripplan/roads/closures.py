"""Closures by date: the days of a trip sorted into sets with the same roads closed and the same turns barred."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np

from tripplan.region.region import Region

__all__ = ["NO_CLOSURES", "ClosureSet", "closure_sets"]


@dataclass(frozen=True, slots=True)
class ClosureSet:
    """Days on which the same ways are closed by date, and the same turns barred.

    Parameters
    ----------
    days
        Day numbers, counted from the first date.
    closed
        Rows of the ways closed on those days.
    doubtful
        Rows of ways with a conditional closure that nobody could read: open here, to be named as a caution.
    turns_off
        Rows of turn restrictions that do not hold on those days.
    """

    days: tuple[int, ...] = ()
    closed: tuple[int, ...] = ()
    doubtful: tuple[int, ...] = ()
    turns_off: tuple[int, ...] = ()


#: Nothing closed by date, every turn restriction in force.
NO_CLOSURES = ClosureSet()


def closure_sets(region: Region, dates: Sequence[date], *, hours: tuple[int, int] | None = None) -> list[ClosureSet]:
    """Sort the days into sets with the same ways closed and the same turns barred, in order of their first day.

    One network per set is enough, and most trips have one.

    Parameters
    ----------
    hours
        From and to in minutes after midnight: the hours in which any road is used. ``None``: a closure, or a turn
        restriction, by the hour counts for the whole day.
    """
    ways, turns = region.ways, region.turns
    rows, turn_rows = np.flatnonzero(ways.closed_when >= 0), np.flatnonzero(turns.when >= 0)
    if not len(rows) and not len(turn_rows):
        return [ClosureSet(tuple(range(len(dates))))] if dates else []
    from tripplan.rules.closed import closed_on
    from tripplan.rules.turns import in_force

    # Few raw texts stand on many ways: each is read once a day.
    texts = {int(number): region.string(int(number)) for number in np.unique(ways.closed_when[rows])}
    turn_texts = {int(number): region.string(int(number)) for number in np.unique(turns.when[turn_rows])}
    days: dict[tuple[tuple[int, ...], tuple[int, ...]], list[int]] = {}
    doubtful: set[int] = set()
    west, south, east, north = region.meta.bbox
    at = (region.meta.country, (west + (east - west) % 360 / 2 + 180) % 360 - 180, (south + north) / 2)
    for day, when in enumerate(dates):
        answers = {number: closed_on(text, when, *at, hours=hours) for number, text in texts.items()}
        closed = tuple(int(r) for r in rows if answers[int(ways.closed_when[r])])
        doubtful.update(int(r) for r in rows if answers[int(ways.closed_when[r])] is None)
        holds = {number: in_force(text, when, *at, hours=hours) for number, text in turn_texts.items()}
        off = tuple(int(r) for r in turn_rows if not holds[int(turns.when[r])])
        days.setdefault((closed, off), []).append(day)
    return [ClosureSet(tuple(numbers), closed, tuple(sorted(doubtful)), off) for (closed, off), numbers in days.items()]
