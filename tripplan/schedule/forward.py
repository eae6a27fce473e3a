"""One pass of the search from pick-up to return, with at most so many labels a morning."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from .bounds import Bound
from .budget import Budget
from .labels import Labels, expand, finish, first_label, freedom, undominated
from .tables import Tables
from .tallies import Tallies

__all__ = ["Pass", "go_forward"]

I64 = NDArray[np.int64]
FEWER = 16  # times the width: so many of the labels of a morning are looked at for dominance


@dataclass(frozen=True)
class Pass:
    """What a pass found.

    Parameters
    ----------
    whole
        True: no label was left out, so there is no better plan below the limit. None: broken off, the labels were too many.
    floor
        No plan costs less than this, or than the limit [cents].
    cost, arcs
        Of the plan found, None and nothing without one.
    """

    whole: bool | None
    floor: int
    cost: int | None = None
    arcs: tuple[int, ...] = ()


def _mixed(tables: Tables, found: Labels, order: I64, width: int) -> I64:
    """Return rows, sorted by floor, so that half of the first ``width`` are the best of each number of sights counted.

    With a short memory a label that puts sights off looks better than it is, and a few of each kind find a plan sooner.
    """
    first, rest = order[: width // 2], order[width // 2 :]
    done = tables.digits[found.state[rest]].sum(1)
    by = np.argsort(done, kind="stable")
    starts = np.flatnonzero(np.diff(done[by], prepend=-1))
    rank = np.empty(len(rest), np.int64)
    rank[by] = np.arange(len(rest)) - np.repeat(starts, np.diff(np.append(starts, len(rest))))
    return np.concatenate([first, rest[np.argsort(rank, kind="stable")]])


def go_forward(
    tables: Tables,
    bound: Bound,
    width: int | None,
    limit: int,
    budget: Budget,
    *,
    tallies: Tallies | None = None,
    kernels: Any = None,
    crowded: Callable[[], bool] = lambda: False,
) -> Pass:
    """Search with at most ``width`` labels a morning, None for all of them.

    Parameters
    ----------
    limit
        Only plans below this are of use [cents].
    tallies
        Bounds of the counters, None before they are made.
    crowded
        Asked after each day; True: break off.
    """
    days = tables.problem.days
    mixed = bound.offset is not None
    front = first_label(tables, bound.root)
    trail: list[Labels] = []
    whole = True
    left_out = tables.inf
    floor = bound.root

    def cut(order: I64, found: Labels, most: int) -> I64:
        nonlocal left_out, whole
        if mixed:
            order = _mixed(tables, found, order, most)
        left_out, whole = min(left_out, int(found.floor[order[most:]].min())), False
        return np.sort(order[:most])

    for day in range(days - 1):
        budget.check("search", day / days)
        found = (expand if kernels is None else kernels.expand)(tables, day, front, bound, limit)
        if tallies is not None:
            found = tallies.keep(day + 1, found)
        if width is not None and len(found) > FEWER * width:
            found = found.take(cut(np.argsort(found.floor, kind="stable"), found, FEWER * width))
        kept = undominated(found, freedom(tables, day + 1, found), kernels)
        trail.append(front)
        if width is not None and len(kept) > width:
            kept = cut(kept[np.argsort(found.floor[kept], kind="stable")], found, width)
        front = found.take(kept)
        budget.count_labels(len(front))
        if width is None and len(front):
            floor = max(floor, int(front.floor.min()))
        if crowded():
            return Pass(None, floor)
        if not len(front):
            return Pass(whole, max(floor, min(left_out, limit)))
    floor = max(floor, min(left_out, limit))
    end = finish(tables, front, limit)
    if end is None:
        return Pass(whole, floor)
    cost, row, arc = end
    path = [arc]
    for labels in [front, *trail[:0:-1]]:
        path.append(int(labels.arc[row]))
        row = int(labels.parent[row])
    return Pass(whole, floor, cost, tuple(path[::-1]))
