"""The level of each store along a path of arcs, day by day, with the same blocks as the search and in people's units."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tripplan.model.plan import LevelLine
from tripplan.model.words import STORES, Store
from tripplan.schedule.assemble import Work

__all__ = ["DayLevels", "follow", "level_lines"]

I64 = NDArray[np.int64]


@dataclass(frozen=True)
class DayLevels:
    """What is used up on one day [units], (R) each.

    Parameters
    ----------
    leave
        When the day begins. road: most on the way. arrive: at the night's place, services on the way done.
    worst
        Most from arriving to the next morning. end: next morning, services of the place done.
    """

    leave: I64
    road: I64
    arrive: I64
    worst: I64
    end: I64


def _after(level: I64, block: NDArray[np.int32]) -> tuple[I64, I64]:
    total, prefix, tail = block.astype(np.int64)
    end = np.maximum(level + total, tail)
    return end, np.maximum(level + prefix, end)


def _bits(mask: int) -> NDArray[np.bool_]:
    return np.array([bool(mask >> r & 1) for r in range(len(STORES))])


def _left_alone(work: Work) -> NDArray[np.bool_]:
    """(R) stores that come back empty: once emptied on the last day they are not used again."""
    firm = work.trip.firm
    asked = {Store.GREY: firm.return_grey_empty, Store.CASSETTE: firm.return_cassette_empty}
    return np.array([asked.get(store, False) for store in STORES])


def follow(work: Work, arcs: Sequence[int], without: NDArray[np.bool_] | None = None) -> list[DayLevels]:
    """Return the levels along a path, caps disregarded.

    Parameters
    ----------
    without
        (days, 2, R) services that do not happen: on the way, and at the night's place.
    """
    p, use = work.problem, work.use
    level = p.start_level.astype(np.int64)
    found = []
    for d, arc in enumerate(arcs):
        leave = level
        level, road = _after(level, p.day_block[d, p.arc_use[arc]])
        way = _bits(int(p.arc_reset[arc]))
        site = _bits(int(p.leave_reset[p.arc_to[arc]]))
        if without is not None:
            way, site = way & ~without[d, 0], site & ~without[d, 1]
        level = np.where(way, 0, level)
        if d == p.days - 1:
            # What is emptied for the firm is left alone after that, the rest used to the end.
            back = level + np.where(way & ~_left_alone(work), use.last_day, 0)
            found.append(DayLevels(leave, road, back, back, level))
            break
        # The day's own use is carried into the night where a service on the way might come before it (see `use`).
        arrive = level + use.after[d]
        level = np.where(site, 0, level)
        level, worst = _after(level, p.night_block[d, p.night_class[p.arc_to[arc]]])
        worst = np.maximum(worst, np.where(site, 0, arrive))
        # A standing day is spent at the place, and a battery may be at its lowest before the sun has reached the latest arrival.
        here = np.arange(len(STORES)) == STORES.index(Store.BATTERY) if not work.options.car[arc] else ~way & ~site
        worst = np.maximum(worst, np.where(here, road, 0))
        level = np.where(site, 0, level)
        found.append(DayLevels(leave, road, arrive, worst, level))
    return found


def level_lines(work: Work, arcs: Sequence[int]) -> list[tuple[LevelLine, ...]]:
    """Return the lines of each day."""
    from tripplan.van.limits import capacity, level_of_used, limit_level

    van, p = work.trip.van, work.problem
    rows = follow(work, arcs)
    pick_up = work.use.pick_up
    out = []
    for d, (arc, day) in enumerate(zip(arcs, rows, strict=True)):
        lines = []
        for r, store in enumerate(STORES):
            if capacity(van, store) <= 0:
                continue
            served = []
            way = int(work.options.serves[arc]) >> r & 1
            if way:
                served.append("car" if work.options.car[arc] else "way")
            if d < p.days - 1 and int(p.leave_reset[p.arc_to[arc]]) >> r & 1:
                served.append("site")
            used = [int(part[r]) for part in (day.leave, day.arrive, day.worst, day.end if d < p.days - 1 else day.arrive)]
            if d == 0 and pick_up.dry[r]:  # not used before it is filled: it stays as it is
                used[0] = int(pick_up.true[r])
                used[1] = used[1] if way else used[0]
            leave, arrive, worst, end = (round(level_of_used(van, store, u), 2) for u in used)
            limit = round(limit_level(van, store, battery_c=pick_up.battery_c, gas_c=pick_up.gas_c), 2)
            lines.append(LevelLine(store.value, leave, arrive, worst, end, limit, "+".join(served)))
        out.append(tuple(lines))
    return out
