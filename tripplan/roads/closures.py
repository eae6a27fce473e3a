"""Closures by date: the days of a trip sorted into sets with the same roads closed and the same turns barred."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date

import numpy as np

from tripplan.model.closure import WIND, Closure
from tripplan.model.outfit import Outfit
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
    shut
        Pieces that closures brought by somebody close, as (piece, side): side 0 as drawn, 1 against, 2 both directions.
    no_tow
        Pieces in the area of a wind warning: closed to the van, open to the car alone.
    """

    days: tuple[int, ...] = ()
    closed: tuple[int, ...] = ()
    doubtful: tuple[int, ...] = ()
    turns_off: tuple[int, ...] = ()
    shut: tuple[tuple[int, int], ...] = ()
    no_tow: tuple[int, ...] = ()

    def whole(self, *, van: bool) -> tuple[int, ...]:
        """Return the pieces closed in both directions, beyond what the map itself says, with the van on or without."""
        sides: dict[int, int] = {}
        for piece, side in self.shut:
            sides[piece] = sides.get(piece, 0) | (3 if side == 2 else 1 << side)
        both = {piece for piece, bits in sides.items() if bits == 3}
        return tuple(sorted(both | set(self.no_tow) if van else both))

    def brought(self, *, van: bool) -> tuple[object, ...]:
        """Return what a network depends on beside the map's own closures; empty where nothing was brought."""
        no_tow = self.no_tow if van else ()
        return (self.shut, no_tow) if self.shut or no_tow else ()

    def against(self, side: int) -> tuple[int, ...]:
        """Return the pieces closed in one direction at least: side 0 as drawn, 1 against."""
        return tuple(sorted({piece for piece, closed in self.shut if closed in (side, 2)}))


#: Nothing closed by date, every turn restriction in force.
NO_CLOSURES = ClosureSet()


def closure_sets(
    region: Region,
    dates: Sequence[date],
    *,
    hours: tuple[int, int] | None = None,
    closures: Sequence[Closure] = (),
    outfit: Outfit | None = None,
) -> list[ClosureSet]:
    """Sort the days into sets with the same ways closed and the same turns barred, in order of their first day.

    One network per set is enough, and most trips have one.

    Parameters
    ----------
    hours
        From and to in minutes after midnight: the hours in which any road is used. ``None``: a closure, or a turn
        restriction, by the hour counts for the whole day.
    closures
        What somebody brought beside the map: closed roads, areas with a wind warning.
    outfit
        Whose weight and size closures and limits by date are held against; ``None``: they hold for all.
    """
    own = _map_sets(region, dates, hours, outfit)
    in_force = [closure for closure in closures if any(closure.holds(day) for day in dates)]
    if not in_force:
        return own
    from tripplan.roads.shut import match_closures

    matches = match_closures(region, in_force)
    found: dict[tuple[int, tuple[tuple[int, int], ...], tuple[int, ...]], list[int]] = {}
    for number, one in enumerate(own):
        for day in one.days:
            shut: set[tuple[int, int]] = set()
            no_tow: set[int] = set()
            for closure, match in zip(in_force, matches, strict=True):
                if not closure.holds(dates[day]):
                    continue
                if closure.kind == WIND:
                    no_tow.update(match.pieces)
                else:
                    shut.update(zip(match.pieces, match.sides, strict=True))
            found.setdefault((number, tuple(sorted(shut)), tuple(sorted(no_tow))), []).append(day)
    sets = [replace(own[n], days=tuple(days), shut=shut, no_tow=no_tow) for (n, shut, no_tow), days in found.items()]
    return sorted(sets, key=lambda one: one.days)


def _map_sets(region: Region, dates: Sequence[date], hours: tuple[int, int] | None, outfit: Outfit | None) -> list[ClosureSet]:
    """Sort the days by what the map itself closes."""
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
        answers = {number: closed_on(text, when, *at, hours=hours, outfit=outfit) for number, text in texts.items()}
        closed = tuple(int(r) for r in rows if answers[int(ways.closed_when[r])])
        doubtful.update(int(r) for r in rows if answers[int(ways.closed_when[r])] is None)
        holds = {number: in_force(text, when, *at, hours=hours) for number, text in turn_texts.items()}
        off = tuple(int(r) for r in turn_rows if not holds[int(turns.when[r])])
        days.setdefault((closed, off), []).append(day)
    return [ClosureSet(tuple(numbers), closed, tuple(sorted(doubtful)), off) for (closed, off), numbers in days.items()]
