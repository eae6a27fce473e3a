"""What a bound with a short memory knows of the sights: at each place only those near it, the others by a price.

All sights at once are too many to keep apart. Here a place remembers how far the sights nearest to it are done and forgets
the rest, and each time a sight is counted its price is taken off the cost. A trip may so be paid twice for a sight that it forgot in
between, never less than once, so with the prices of what is still to be done added the bound holds, whatever the prices are. (The
relaxation is that of Baldacci, Mingozzi and Roberti, New state-space relaxations for solving the traveling salesman problem with
time windows, INFORMS Journal on Computing 24(3), 2012, laid onto days, places and nights.)
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .tables import Tables

__all__ = ["Memory", "make_memory"]

I32 = NDArray[np.int32]
I64 = NDArray[np.int64]


@dataclass(frozen=True)
class Memory:
    """Classes of places that remember the same sights. K classes, W columns, G progress numbers, S sights.

    Parameters
    ----------
    place_class
        (P) class of each place.
    sights
        Sights each class remembers. widths: (K) columns it uses, at most W.
    column_of
        (K, G) column of a progress number.
    night_kind
        (P) kind of a place by class and sights that its nights count for. night_next: (kinds, W) column after a night, -1 where
        a class has no such column. night_adds: (kinds, W, S) by how much each sight advances.
    leave_adds
        (classes of places and of an arc's sights, W, S) by how much each sight advances by an arc, as far as is remembered.
    moves
        (combinations, 3) class left, class reached, class of the arc's sights. move_next: (combinations, W) column on arrival. leave_row: row
        of ``leave_adds`` of each.
    at_goal
        (columns of the goal) whether a trip may end so.
    """

    place_class: I32
    sights: tuple[tuple[int, ...], ...]
    widths: I64
    column_of: I32
    night_kind: I32
    night_next: I32
    night_adds: NDArray[np.uint8]
    leave_adds: NDArray[np.uint8]
    moves: I64
    move_next: I32
    leave_row: I64
    at_goal: NDArray[np.bool_]

    @property
    def columns(self) -> int:
        """W."""
        return int(self.night_next.shape[1])

    def move_of(self, origin: I32, to: I32, sight_class: I32, kinds: int) -> I32:
        """Return the row of ``moves`` of arcs."""
        number = self._number(self.moves[:, 0], self.moves[:, 1], self.moves[:, 2], kinds)
        found = self._number(self.place_class[origin], self.place_class[to], sight_class, kinds)
        return np.searchsorted(number, found).astype(np.int32)

    def _number(self, a: NDArray[np.integer], b: NDArray[np.integer], c: NDArray[np.integer], kinds: int) -> I64:
        return np.asarray((a.astype(np.int64) * len(self.sights) + b) * kinds + c)


def _far(tables: Tables) -> I64:
    """Return (P, S) the least cost of arcs from each place to where a sight can be counted."""
    p = tables.problem
    origin = np.repeat(np.arange(p.places), np.diff(p.arc_ptr).astype(np.int64))
    big = np.int64(1) << 40
    cost = np.full((p.places, p.places), big)
    np.minimum.at(cost, (origin, p.arc_to), p.arc_cost)
    far = np.full((p.places, len(p.need)), big)
    for s in range(len(p.need)):
        d = np.full(p.places, big)
        d[np.flatnonzero(p.cover[:, s])] = 0
        on_the_way = (p.arc_sights >> np.uint32(s)) & np.uint32(1) != 0
        np.minimum.at(d, origin[on_the_way], p.arc_cost[on_the_way])
        for _ in range(p.days):
            nearer = np.minimum(d, (cost + d[None, :]).min(1))
            if (nearer == d).all():
                break
            d = nearer
        far[:, s] = d
    return far


def _digits(need: I64) -> I64:
    """Return (columns, sights) how often each sight is counted in each column."""
    size = int(np.prod(need + 1)) if len(need) else 1
    out = np.zeros((size, len(need)), np.int64)
    left = np.arange(size)
    for k, n in enumerate(need):
        out[:, k] = left % (n + 1)
        left = left // (n + 1)
    return out


def make_memory(tables: Tables, most: int, always: tuple[int, ...] = ()) -> Memory:
    """Choose what each place remembers, up to ``most`` columns, and lay out what follows from it.

    Parameters
    ----------
    always
        Sights that every place remembers.
    """
    p, digits = tables.problem, tables.digits
    need = np.asarray(p.need, np.int64)
    count = len(need)
    far = _far(tables)
    nearest = np.argmin(far, axis=1)
    centres = np.unique(nearest)
    place_class = np.searchsorted(centres, nearest).astype(np.int32)
    sights: list[tuple[int, ...]] = []
    for k in range(len(centres)):
        mean = far[place_class == k].astype(np.float64).mean(0)
        chosen = list(always)
        size = int(np.prod(need[chosen] + 1)) if chosen else 1
        for s in np.argsort(mean, kind="stable").tolist():
            if s in always:
                continue
            if size * (int(need[s]) + 1) > most:
                break
            size *= int(need[s]) + 1
            chosen.append(s)
        sights.append(tuple(sorted(chosen)))
    alike = {chosen: k for k, chosen in enumerate(dict.fromkeys(sights))}
    place_class = np.array([alike[chosen] for chosen in sights], np.int32)[place_class]
    sights = list(alike)
    known = [_digits(need[list(chosen)]) for chosen in sights]
    stride = [np.cumprod([1, *(need[list(c)] + 1)[:-1]]).astype(np.int64) if c else np.zeros(0, np.int64) for c in sights]
    widths = np.array([len(d) for d in known], np.int64)
    wide = int(widths.max())
    column_of = np.stack([digits[:, list(c)].astype(np.int64) @ s for c, s in zip(sights, stride, strict=True)]).astype(np.int32)

    def whole(k: int) -> I64:
        """(W of the class, S) digits, 0 for what is not remembered."""
        out = np.zeros((len(known[k]), count), np.int64)
        out[:, list(sights[k])] = known[k]
        return out

    pairs, night_kind = np.unique(np.stack([place_class, tables.cover_class], 1), axis=0, return_inverse=True)
    cover_rows = {
        int(c): p.cover[np.flatnonzero(tables.cover_class == c)[0]].astype(np.int64) for c in np.unique(tables.cover_class)
    }
    night_next = np.full((len(pairs), wide), -1, np.int32)
    night_adds = np.zeros((len(pairs), wide, count), np.uint8)
    for row, (k, c) in enumerate(pairs.tolist()):
        before = whole(k)
        after = np.minimum(before + cover_rows[c], need)
        night_next[row, : len(before)] = after[:, list(sights[k])] @ stride[k]
        night_adds[row, : len(before)] = after - before
    kinds = int(tables.sight_map.shape[0])
    origin = np.repeat(place_class, np.diff(p.arc_ptr).astype(np.int64)).astype(np.int64)
    number = (origin * len(sights) + place_class[p.arc_to]) * kinds + tables.sight_class
    uniq = np.unique(number)
    moves = np.stack([uniq // kinds // len(sights), uniq // kinds % len(sights), uniq % kinds], 1)
    leaves, leave_row = np.unique(moves[:, 0] * kinds + moves[:, 2], return_inverse=True)
    masks = np.unique(np.append(p.arc_sights, np.uint32(0)))
    seen = ((masks[:, None] >> np.arange(count, dtype=np.uint32)) & np.uint32(1)).astype(bool)
    leave_adds = np.zeros((len(leaves), wide, count), np.uint8)
    after_arc: list[I64] = []
    for row, leave in enumerate(leaves.tolist()):
        before = whole(leave // kinds)
        after = np.where(seen[leave % kinds], need, before)
        leave_adds[row, : len(before)] = after - before
        after_arc.append(after)
    move_next = np.full((len(moves), wide), -1, np.int32)
    for row, (_, b, _) in enumerate(moves.tolist()):
        after = after_arc[int(leave_row[row])]
        move_next[row, : len(after)] = after[:, list(sights[b])] @ stride[b]
    sure = [s for s in always if p.must[s]]
    at_goal = np.asarray((whole(int(place_class[p.goal]))[:, sure] >= need[sure]).all(axis=1))
    return Memory(
        place_class, tuple(sights), widths, column_of, night_kind.reshape(-1).astype(np.int32), night_next, night_adds, leave_adds,
        moves, move_next, leave_row.reshape(-1).astype(np.int64), at_goal,
    )  # fmt: skip
