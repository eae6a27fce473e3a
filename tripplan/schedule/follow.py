"""The levels along a path of arcs, day by day, by the same steps as the search."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tripplan.model.words import STORES, Store
from tripplan.schedule.work import Work

__all__ = ["Along", "DayLevels", "bits", "emptied_on_leaving", "follow", "follow_along", "left_alone"]

Numbers = NDArray[Any]
_GAS, _BATTERY = STORES.index(Store.GAS), STORES.index(Store.BATTERY)
_GREY, _CASSETTE = STORES.index(Store.GREY), STORES.index(Store.CASSETTE)


@dataclass(frozen=True)
class DayLevels:
    """What is used up on one day, (N) each.

    Parameters
    ----------
    leave
        When the day begins. road: most on the way. arrive: at the night's place, services on the way done.
    worst
        Most from arriving to the next morning. end: next morning, services of the place done.
    """

    leave: Numbers
    road: Numbers
    arrive: Numbers
    worst: Numbers
    end: Numbers


@dataclass(frozen=True)
class Along:
    """Blocks of a path, N columns.

    Parameters
    ----------
    day, night
        (days, 3, N) as in `Problem`. after: (days, N) what a day may use after a service.
    last_day
        (N) most that the last day uses. store: (N) the store of each column.
    """

    day: Numbers
    night: Numbers
    after: Numbers
    last_day: Numbers
    store: NDArray[np.int64]


def bits(mask: int) -> NDArray[np.bool_]:
    """(R) the stores of a mask."""
    return np.array([bool(mask >> r & 1) for r in range(len(STORES))])


def left_alone(work: Work) -> NDArray[np.bool_]:
    """(R) stores not used again once they are served on the last day: what comes back empty, and gas that must come back full."""
    firm = work.trip.firm
    out = np.zeros(len(STORES), dtype=bool)
    out[STORES.index(Store.GREY)], out[STORES.index(Store.CASSETTE)] = firm.return_grey_empty, firm.return_cassette_empty
    out[_GAS] = bool(work.use.last_day[_GAS] > work.problem.goal_cap[_GAS])
    return out


def emptied_on_leaving(work: Work, day: int, arc: int) -> int:
    """Return the mask of what is emptied at the last night's place before it is left, as the firm wants it back empty and the way does not do it."""
    start = int(work.options.start[arc])
    if day < work.problem.days - 1 or start < 2:
        return 0
    from tripplan.van.limits import capacity

    alone = left_alone(work)
    asked = sum(1 << r for r in (_GREY, _CASSETTE) if alone[r] and capacity(work.trip.van, STORES[r]) > 0)
    return asked & int(work.problem.leave_reset[start]) & ~int(work.options.serves[arc])


def _after(level: Numbers, block: Numbers) -> tuple[Numbers, Numbers]:
    total, prefix, tail = block
    end = np.maximum(level + total, tail)
    return end, np.maximum(level + prefix, end)


def follow_along(
    work: Work, arcs: Sequence[int], along: Along, start: Numbers, without: NDArray[np.bool_] | None = None
) -> list[DayLevels]:
    """Return the levels of some columns along a path, caps disregarded; ``without`` as in `follow`."""
    p, store = work.problem, along.store
    level = start
    found = []
    site = np.zeros(len(store), dtype=bool)
    for d, arc in enumerate(arcs):
        leave = level
        emptied = site & bits(emptied_on_leaving(work, d, arc))[store]
        level, road = _after(level, np.where(emptied, 0, along.day[d]))
        way, site = bits(int(p.arc_reset[arc])), bits(int(p.leave_reset[p.arc_to[arc]]))
        if without is not None:
            way, site = way & ~without[d, 0], site & ~without[d, 1]
        way, site, alone = way[store], site[store], left_alone(work)[store]
        level = np.where(way, 0, level)
        if d == p.days - 1:
            # What the firm wants back empty or full is left alone after its service, the rest used to the end.
            back = level + np.where(way & ~alone, along.last_day, 0)
            found.append(DayLevels(leave, road, back, back, level))
            break
        # The day's own use is carried into the night where a service on the way might come before it (see `use`).
        arrive = level + along.after[d]
        level = np.where(site, 0, level)
        level, worst = _after(level, along.night[d])
        worst = np.maximum(worst, np.where(site, 0, arrive))
        # A standing day is spent at the place, and a battery may be at its lowest before the sun has reached the latest arrival.
        here = store == _BATTERY if not work.options.car[arc] else ~way & ~site
        worst = np.maximum(worst, np.where(here, road, 0))
        level = np.where(site, 0, level)
        found.append(DayLevels(leave, road, arrive, worst, level))
    return found


def follow(work: Work, arcs: Sequence[int], without: NDArray[np.bool_] | None = None) -> list[DayLevels]:
    """Return the levels along a path as the search counts them [units], caps disregarded.

    Parameters
    ----------
    without
        (days, 2, R) services that do not happen: on the way, and at the night's place.
    """
    p, use, rows = work.problem, work.use, range(len(arcs))
    along = Along(
        np.array([p.day_block[d, p.arc_use[arcs[d]]] for d in rows], dtype=np.int64),
        np.array([p.night_block[d, p.night_class[p.arc_to[arcs[d]]]] for d in rows], dtype=np.int64),
        use.after,
        use.last_day,
        np.arange(len(STORES)),
    )
    return follow_along(work, arcs, along, p.start_level.astype(np.int64), without)
