"""The order of the halts of a day, where it is free: of all orders that cost the same, the one whose day is liked best.

The search counts with one order of each day's halts, the cheapest. Out and back by the same roads, the other way round costs the same
to the cent; what is open when then decides.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import replace

from tripplan.schedule.day import DayTask, kept, score
from tripplan.schedule.laid import LaidDay, lay_days
from tripplan.schedule.timetable import task_of
from tripplan.schedule.ways import FAR
from tripplan.schedule.work import Work

__all__ = ["choose_orders", "in_order"]


def in_order(work: Work, arc: int, numbers: Sequence[int]) -> Work:
    """Return the same problem with the halts of one way in another order."""
    columns = {}
    for name, number in zip(("first", "second", "third"), (*numbers, -1, -1, -1), strict=False):
        column = getattr(work.options, name).copy()
        column[arc] = number
        columns[name] = column
    return replace(work, options=replace(work.options, **columns))


def choose_orders(work: Work, arcs: Sequence[int]) -> None:
    """Put the halts of each day of a path into the order liked best among those that cost and drive no more."""
    trials: list[tuple[int, int, Work, DayTask]] = []
    for day, arc in enumerate(arcs):
        others = [in_order(work, arc, numbers) for numbers in _free(work, arc)]
        if others:
            trials += [(day, arc, one, task_of(one, day, arc)) for one in (work, *others)]
    laid = lay_days([task for *_, task in trials], work.cache) if trials else []
    best: dict[int, tuple[tuple[int, ...], Work]] = {}
    for (_, arc, one, task), found in zip(trials, laid, strict=True):
        value = _score(task, found)
        if value is not None and (arc not in best or value < best[arc][0]):
            best[arc] = value, one
    for arc, (_, one) in best.items():
        if one is not work:
            work.options = in_order(work, arc, _numbers(one, arc)).options


def _score(task: DayTask, found: LaidDay | None) -> tuple[int, ...] | None:
    laid = kept(task, found.leave) if found is not None else None
    return score(task, found.leave, laid[0]) if found is not None and laid is not None else None


def _numbers(work: Work, arc: int) -> tuple[int, ...]:
    o = work.options
    return tuple(int(n) for n in (o.first[arc], o.second[arc], o.third[arc]) if n >= 0)


def _free(work: Work, arc: int) -> list[tuple[int, ...]]:
    """Return the other orders of the halts of a way that cost the same and take no longer at the wheel."""
    own = _numbers(work, arc)
    if len(own) < 2 or any(s.only_from >= 0 or s.only_to >= 0 for s in work.stops(arc)):
        return []
    table = work.ways_of(arc).car if work.options.car[arc] else work.ways_of(arc).van
    points = work.points(arc)

    def price(chain: Sequence[int]) -> tuple[int, int, int]:
        pairs = list(itertools.pairwise(chain))
        return tuple(int(sum(int(part[a, b]) for a, b in pairs)) for part in (table.cents, table.km_cents, table.drive_s))  # type: ignore[return-value]

    cents, money, drive = price(points)
    row = dict(zip(own, points[1:-1], strict=True))
    found = []
    for order in itertools.permutations(own):
        if order == own:
            continue
        other = price((points[0], *(row[n] for n in order), points[-1]))
        if other[0] == cents < FAR and other[1] == money and other[2] <= drive:
            found.append(order)
    return found
