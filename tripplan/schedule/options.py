"""Ways to spend a day: from each place to each other with up to two stops, or out and back by car from a standing van.

Stops that serve the same stores in the same hours are a class; for each pair of places and each class, or pair of classes
that serve more together, the way of least cost is kept, for each day on which it fits into the hours. A way stays in the
table on those days on which no other serves as much, visits as much, uses no more and costs no more.

With two stops the first is the one that leads to the second at least cost; where that chain does not fit into the hours or
the driving limit of a day, all chains through the two classes are tried for that day.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, fields, replace

import numpy as np
from numpy.typing import NDArray

from tripplan.schedule.candidates import Stop
from tripplan.schedule.clock import BREAK_S, DRIVE_BETWEEN_BREAKS_S
from tripplan.schedule.ways import FAR, Table

__all__ = ["Frame", "Options", "tow_options", "stand_options"]

I64 = NDArray[np.int64]
B1 = NDArray[np.bool_]
#: Cells of one work table.
_CHUNK = 4_000_000
#: Rows from which a compiled loop pays for its import, and after which a pile of tables is thinned.
_COMPILE_ROWS, _PILE_ROWS = 30_000, 1_000_000


@dataclass(frozen=True)
class Frame:
    """The hours and limits that days must keep to.

    Parameters
    ----------
    leave, arrive
        (D, P) earliest leaving of each place and latest arrival there [s after midnight]; arrive -1: not on that day.
    days
        (P, P) uint64: bit d set where the van may go from one place to the other on day d.
    drive_s
        (P) most time at the wheel on a day that begins at the place [s].
    classes_s
        Upper ends of the classes of driving time [s].
    worth
        From masks served on the way from the first place to masks by which those ways are compared; ``None``: the same.
    """

    leave: I64
    arrive: I64
    days: NDArray[np.uint64]
    drive_s: I64
    classes_s: tuple[int, ...]
    worth: Callable[[I64], I64] | None = None


@dataclass(frozen=True)
class Options:
    """Ways to spend a day, side by side: columns of equal length.

    Parameters
    ----------
    start, end
        Places. first, second: numbers of the stops, -1 none. car: whether the car goes alone.
    cost, money
        [cents] drive_s, total_s: at the wheel; all legs, stops and breaks, no waiting [s].
    serves, sights
        Masks. days: bit d set: on day d. use: class of driving time.
    """

    start: I64
    end: I64
    first: I64
    second: I64
    cost: I64
    money: I64
    drive_s: I64
    total_s: I64
    serves: I64
    sights: I64
    use: I64
    days: NDArray[np.uint64]
    car: B1

    def __len__(self) -> int:
        return len(self.start)

    def take(self, rows: NDArray[np.int64] | B1) -> Options:
        """Return some of the rows."""
        return Options(*(getattr(self, f.name)[rows] for f in fields(self)))

    @staticmethod
    def join(parts: Sequence[Options]) -> Options:
        """Return several tables as one."""
        return Options(*(np.concatenate([getattr(p, f.name) for p in parts]) for f in fields(Options)))


@dataclass(frozen=True)
class _Class:
    """Stops that are alike but for where they are."""

    members: I64
    serves: int
    sight: int
    windows: tuple[object, ...]

    @property
    def any_time(self) -> bool:
        return all(w is None for w in self.windows)


def _classes(stops: Sequence[Stop]) -> list[_Class]:
    groups: dict[tuple[object, ...], list[int]] = {}
    for number, stop in enumerate(stops):
        groups.setdefault((stop.serves, stop.sight, stop.windows), []).append(number)
    return [_Class(np.array(m), stops[m[0]].serves, stops[m[0]].sight, stops[m[0]].windows) for m in groups.values()]


def _pairs(classes: list[_Class]) -> Iterator[tuple[_Class, _Class]]:
    """Ordered pairs of classes that do more together than one does alone."""
    for a in classes:
        for b in classes:
            both = a.serves | b.serves
            more = both not in (a.serves, b.serves) if a.sight < 0 and b.sight < 0 else a.sight != b.sight
            if more:
                yield a, b


@dataclass
class _Chain:
    """Best chains so far from each start (rows) to each stop or place (columns): what they cost, and each leg."""

    cost: I64
    money: I64
    stops: list[I64]
    legs: list[tuple[I64, I64]]

    @property
    def drive(self) -> I64:
        return np.minimum(sum((d for _, d in self.legs), np.zeros_like(self.cost)), FAR)


def _start(table: Table, first: Sequence[Stop], members: I64) -> _Chain:
    """From every place to the members of a class."""
    cost, money = table.cents[:, members].copy(), table.km_cents[:, members].copy()
    for k, v in enumerate(members.tolist()):
        stop = first[v]
        if stop.only_from >= 0:
            cost[np.arange(len(cost)) != stop.only_from, k] = FAR
        cost[:, k] += stop.cents + stop.charge_cents
        money[:, k] += stop.cents
    cost[cost > FAR] = FAR
    numbers = np.broadcast_to(members, cost.shape)
    return _Chain(cost, money, [np.asarray(numbers)], [(table.total_s[:, members], table.drive_s[:, members])])


def _follow(chain: _Chain, onward: Table, limit: I64, shut: B1 | None = None) -> _Chain:
    """Go on from the members to each column of ``onward``, through the member of least cost within the limit."""
    rows, middle = chain.cost.shape
    cols = onward.cents.shape[1]
    pick = np.zeros((rows, cols), dtype=np.int64)
    best = np.full((rows, cols), FAR, dtype=np.int64)
    drive = chain.drive
    step = max(1, _CHUNK // max(1, middle * cols))
    for lo in range(0, rows, step):
        part = slice(lo, lo + step)
        cost = chain.cost[part, :, None] + onward.cents[None]
        cost[drive[part, :, None] + onward.drive_s[None] > limit[part, None, None]] = FAR
        if shut is not None:
            cost[:, shut] = FAR
        at = cost.argmin(axis=1)
        pick[part] = at
        best[part] = np.take_along_axis(cost, at[:, None, :], axis=1)[:, 0, :]
    best[best > FAR] = FAR
    row = np.arange(rows)[:, None]
    col = np.arange(cols)[None, :]
    legs = [(t[row, pick], d[row, pick]) for t, d in chain.legs]
    legs.append((onward.total_s[pick, col], onward.drive_s[pick, col]))
    money = chain.money[row, pick] + onward.km_cents[pick, col]
    return _Chain(best, money, [s[row, pick] for s in chain.stops], legs)


def _add_stop(chain: _Chain, stops: Sequence[Stop], members: I64) -> None:
    """Count the stop at the columns that a chain has reached."""
    fee = np.array([stops[v].cents for v in members.tolist()], dtype=np.int64)
    charge = np.array([stops[v].charge_cents for v in members.tolist()], dtype=np.int64)
    chain.cost = np.minimum(chain.cost + fee + charge, FAR)
    chain.money = chain.money + fee
    chain.stops.append(np.broadcast_to(members, chain.cost.shape))
    for k, v in enumerate(members.tolist()):
        if stops[v].only_from >= 0:
            shut = np.arange(len(chain.cost)) != stops[v].only_from
            chain.cost[shut, k] = FAR


def _shut_ends(stops: Sequence[Stop], members: I64, cols: I64) -> B1 | None:
    """(members, columns) pairs that are only for guests of another place."""
    only = np.array([stops[v].only_to for v in members.tolist()])
    if (only < 0).all():
        return None
    return np.asarray((only[:, None] >= 0) & (only[:, None] != cols[None, :]))


def _pass(at: I64, legs: list[tuple[I64, I64]], stops: list[tuple[I64, object]]) -> tuple[I64, B1]:
    """The forward pass of `clock.lay_out` on arrays: arrival [s] and whether all stops took the party in.

    ``stops`` holds for each stop its duration [s] and its windows of the day (``None``: any time).
    """
    since = np.zeros_like(at)
    ok = np.ones(at.shape, dtype=bool)
    for k, (total, drive) in enumerate(legs):
        breaks = np.maximum(0, -(-(since + drive) // DRIVE_BETWEEN_BREAKS_S) - 1)
        at = at + total + breaks * BREAK_S
        since = since + drive - breaks * DRIVE_BETWEEN_BREAKS_S
        if k < len(stops):
            seconds, windows = stops[k]
            begin = at
            if windows is not None:
                begin = np.full_like(at, -1)
                for opens, closes in reversed(list(windows)):  # type: ignore[call-overload]
                    candidate = np.maximum(at, opens)
                    begin = np.where(candidate + seconds <= closes, candidate, begin)
                ok &= begin >= 0
                begin = np.maximum(begin, at)
            since = np.where(begin + seconds - at >= BREAK_S, 0, since)
            at = begin + seconds
    return at, ok


def _days(
    frame: Frame, chain: _Chain, start: I64, end: I64, kinds: Sequence[_Class], stops: Sequence[Stop]
) -> NDArray[np.uint64]:
    """On which days each cell fits into the hours, (n) uint64; cells are given by their places and the chain's columns."""
    seconds = np.array([s.seconds for s in stops] or [0], dtype=np.int64)
    at_stops = [seconds[s] for s in chain.stops]
    allowed = frame.days[start, end]
    days = np.zeros(len(start), dtype=np.uint64)
    free = all(k.any_time for k in kinds)
    if free:
        took, _ = _pass(np.zeros(len(start), dtype=np.int64), chain.legs, [(s, None) for s in at_stops])
    for d in range(len(frame.leave)):
        bit = np.uint64(1 << d)
        if not (allowed & bit).any():
            continue
        if free:
            fits = frame.leave[d, start] + took <= frame.arrive[d, end]
        else:
            on_day = [(s, k.windows[d]) for s, k in zip(at_stops, kinds, strict=True)]
            arrival, ok = _pass(frame.leave[d, start], chain.legs, on_day)
            fits = ok & (arrival <= frame.arrive[d, end])
        days |= np.where(fits, allowed & bit, np.uint64(0))
    return days


def _cells(chain: _Chain, keep: B1) -> _Chain:
    rows, cols = np.nonzero(keep)
    return _Chain(
        chain.cost[rows, cols], chain.money[rows, cols], [s[rows, cols] for s in chain.stops],
        [(t[rows, cols], d[rows, cols]) for t, d in chain.legs],
    )  # fmt: skip


def _options(
    frame: Frame, chain: _Chain, start: I64, end: I64, kinds: Sequence[_Class], stops: Sequence[Stop], *, car: bool
) -> Options:
    """Return the cells (one each) as options, those that fit on some day."""
    none = np.full(len(start), -1, dtype=np.int64)
    seconds = np.array([s.seconds for s in stops] or [0], dtype=np.int64)
    days = _days(frame, chain, start, end, kinds, stops)
    took, _ = _pass(np.zeros(len(start), dtype=np.int64), chain.legs, [(seconds[s], None) for s in chain.stops])
    serves = sights = 0
    for kind in kinds:
        serves |= kind.serves
        sights |= 1 << kind.sight if kind.sight >= 0 else 0
    drive = chain.drive
    use = np.searchsorted(np.array(frame.classes_s), drive)
    numbers = [*chain.stops, none, none]
    full = np.full(len(start), 1, dtype=np.int64)
    table = Options(
        start, end, numbers[0], numbers[1], chain.cost, chain.money, drive, took, full * serves, full * sights, use, days,
        np.full(len(start), car, dtype=bool),
    )  # fmt: skip
    return table.take(days != 0)


def tow_options(table: Table, places: int, stops: Sequence[Stop], frame: Frame, *, pairs: bool = True) -> Options:
    """Return the undominated ways to tow from each place to each other.

    Parameters
    ----------
    table
        Between the places (first ``places`` rows) and the stops (the rest).
    pairs
        Whether days may have two stops.
    """
    at_stop = np.arange(places, places + len(stops))
    here = np.arange(places)
    direct = table.take(here, here)
    to_stop, from_stop = table.take(here, at_stop), table.take(at_stop, here)
    between = table.take(at_stop, at_stop)
    limit = frame.drive_s
    parts = _Pile(frame.worth)

    def keep(chain: _Chain, kinds: Sequence[_Class]) -> None:
        good = (chain.cost < FAR) & (chain.drive <= limit[:, None]) & (frame.days != 0)
        np.fill_diagonal(good, val=False)
        start, end = np.nonzero(good)
        parts.append(_options(frame, _cells(chain, good), start, end, kinds, stops, car=False))

    keep(_Chain(direct.cents, direct.km_cents, [], [(direct.total_s, direct.drive_s)]), ())
    fee = np.array([s.cents for s in stops], dtype=np.int64)
    charge = np.array([s.charge_cents for s in stops], dtype=np.int64)
    only = np.array([s.only_from for s in stops], dtype=np.int64)
    classes = _classes(stops)
    ends = {id(c): _shut_ends(stops, c.members, here) for c in classes}
    begun = {id(c): _start(to_stop, stops, c.members) for c in classes}
    for c in classes:
        onward = from_stop.take(c.members, here)
        chain = _follow(begun[id(c)], onward, limit, ends[id(c)])
        keep(chain, (c,))
        if len(c.members) > 1:
            _other_days(
                frame, _Links(begun[id(c)], None, onward, ends[id(c)], None, fee, fee, fee), limit, chain, (c,), stops, parts
            )
    for a, b in _pairs(classes) if pairs else ():
        gone = np.array([stops[v].only_to >= 0 for v in a.members.tolist()])
        shut = np.repeat(gone[:, None], len(b.members), axis=1) if gone.any() else None
        middle = between.take(a.members, b.members)
        chain = _follow(begun[id(a)], middle, limit, shut)
        _add_stop(chain, stops, b.members)
        onward = from_stop.take(b.members, here)
        chain = _follow(chain, onward, limit, ends[id(b)])
        keep(chain, (a, b))
        if len(a.members) * len(b.members) > 1:
            _other_days(
                frame,
                _Links(
                    begun[id(a)], middle, onward, ends[id(b)], shut, (fee + charge)[b.members], fee[b.members], only[b.members]
                ),
                limit,
                chain,
                (a, b),
                stops,
                parts,
            )
    return undominated(Options.join(parts), frame.worth)


@dataclass(frozen=True)
class _Links:
    """The tables that a chain of one or two stops is made of, and which pairs in them are shut."""

    begun: _Chain
    middle: Table | None
    onward: Table
    shut_end: B1 | None
    shut_middle: B1 | None
    second_cents: I64
    second_money: I64
    second_only_from: I64


def _quickest(links: _Links, first_s: I64, second_s: I64) -> tuple[I64, I64]:
    """Least time on the way with stops, and least time at the wheel, between each pair of places (each on its own)."""
    total, drive = links.begun.legs[0]
    found = []
    for legs, mid, end, one, two in (
        (total, links.middle.total_s if links.middle else None, links.onward.total_s, first_s, second_s),
        (drive, links.middle.drive_s if links.middle else None, links.onward.drive_s, first_s * 0, second_s * 0),
    ):
        reach = legs + one
        if mid is not None:
            reach = _least(reach, mid) + two
        found.append(_least(reach, end))
    return found[0], found[1]


def _least(left: I64, right: I64) -> I64:
    """Min-plus product."""
    out = np.full((left.shape[0], right.shape[1]), FAR, dtype=np.int64)
    for k in range(left.shape[1]):
        np.minimum(out, left[:, k, None] + right[None, k, :], out=out)
    return out


def _other_days(
    frame: Frame, links: _Links, limit: I64, best: _Chain, kinds: Sequence[_Class], stops: Sequence[Stop], parts: list[Options]
) -> None:
    """On days on which the kept chain is too late, too early, too long or shut to us, take the cheapest that is not."""
    good = (best.cost < FAR) & (best.drive <= limit[:, None]) & (frame.days != 0)
    np.fill_diagonal(good, val=False)
    have = np.zeros(good.shape, dtype=np.uint64)
    start, end = np.nonzero(good)
    have[start, end] = _days(frame, _cells(best, good), start, end, kinds, stops)
    missed = frame.days & ~have
    np.fill_diagonal(missed, val=np.uint64(0))
    seconds = [np.array([stops[v].seconds for v in k.members.tolist()], dtype=np.int64) for k in kinds]
    quick_s, least_drive = _quickest(links, seconds[0], seconds[-1])
    missed[least_drive > limit[:, None]] = 0
    many = int(np.prod([len(k.members) for k in kinds]))
    step = max(1, _CHUNK // (8 * many))
    for d in range(len(frame.leave)):
        windows = [k.windows[d] for k in kinds]
        if any(w is not None and not w for w in windows):
            continue
        hope = (missed & np.uint64(1 << d) != 0) & (frame.leave[d][:, None] + quick_s <= frame.arrive[d][None, :])
        i_all, j_all = np.nonzero(hope)
        for lo in range(0, len(i_all), step):
            chain, i, j = _try_all(frame, links, limit, d, i_all[lo : lo + step], j_all[lo : lo + step], kinds, seconds)
            if len(i):
                parts.append(_options(frame, chain, i, j, kinds, stops, car=False))


def _try_all(
    frame: Frame, links: _Links, limit: I64, d: int, i: I64, j: I64, kinds: Sequence[_Class], seconds: list[I64]
) -> tuple[_Chain, I64, I64]:
    """Return the cheapest chain through the classes for pairs of places on one day, over all their members."""
    begun, onward = links.begun, links.onward
    total, drive = begun.legs[0]
    if links.middle is None:
        first = last = np.arange(len(kinds[0].members))[None, :]
    else:
        first, last = (x.ravel()[None, :] for x in np.indices((len(kinds[0].members), len(kinds[1].members))))
    row, col = i[:, None], j[:, None]
    legs = [(total[row, first], drive[row, first])]
    cost, money, held = begun.cost[row, first], begun.money[row, first], [(seconds[0][first], kinds[0].windows[d])]
    if links.middle is not None:
        legs.append((links.middle.total_s[first, last] + 0 * row, links.middle.drive_s[first, last] + 0 * row))
        cost = cost + links.middle.cents[first, last] + links.second_cents[last]
        money = money + links.middle.km_cents[first, last] + links.second_money[last]
        held.append((seconds[1][last], kinds[1].windows[d]))
    legs.append((onward.total_s[last, col], onward.drive_s[last, col]))
    cost, money = cost + onward.cents[last, col], money + onward.km_cents[last, col]
    at, ok = _pass(frame.leave[d, i][:, None] + 0 * legs[0][0], legs, held)
    ok &= (at <= frame.arrive[d, j][:, None]) & (cost < FAR) & (sum(x for _, x in legs) <= limit[i][:, None])
    if links.shut_end is not None:
        ok &= ~links.shut_end[last, col]
    if links.shut_middle is not None:
        ok &= ~links.shut_middle[first, last]
    if links.middle is not None:
        ok &= (links.second_only_from[last] < 0) | (links.second_only_from[last] == row)
    cost = np.where(ok, cost, FAR)
    pick = cost.argmin(axis=1)
    rows = np.flatnonzero(cost[np.arange(len(i)), pick] < FAR)
    p = pick[rows]
    numbers = [kinds[0].members[first[0, p]]] + ([kinds[1].members[last[0, p]]] if links.middle is not None else [])
    chain = _Chain(cost[rows, p], money[rows, p], numbers, [(t[rows, p], x[rows, p]) for t, x in legs])
    return chain, i[rows], j[rows]


def stand_options(table: Table, places: int, stops: Sequence[Stop], frame: Frame, most_s: int) -> Options:
    """Return the undominated ways to spend a standing day: nothing, or out and back by car with up to two stops.

    Parameters
    ----------
    table
        Of the car: between the places (first ``places`` rows) and its stops.
    frame
        Of the same places.
    most_s
        Most time at the wheel [s].
    """
    here = np.arange(places)
    zero = np.zeros(places, dtype=np.int64)
    parts = [_options(frame, _Chain(zero, zero, [], [(zero, zero)]), here, here, (), stops, car=True)]
    at_stop = np.arange(places, places + len(stops))
    to_stop, from_stop, between = table.take(here, at_stop), table.take(at_stop, here), table.take(at_stop, at_stop)
    fee = np.array([s.cents for s in stops], dtype=np.int64)
    charge = np.array([s.charge_cents for s in stops], dtype=np.int64)
    only = np.array([s.only_from for s in stops], dtype=np.int64)

    def keep(numbers: list[I64], kinds: Sequence[_Class], start: I64) -> None:
        at = numbers[0]
        chain = _Chain(
            to_stop.cents[start, at],
            to_stop.km_cents[start, at],
            numbers,
            [(to_stop.total_s[start, at], to_stop.drive_s[start, at])],
        )
        for k, stop in enumerate(numbers):
            chain.cost = chain.cost + fee[stop] + charge[stop]
            chain.money = chain.money + fee[stop]
            last = k == len(numbers) - 1
            leg = from_stop if last else between
            to = start if last else numbers[k + 1]
            chain.cost = chain.cost + leg.cents[stop, to]
            chain.money = chain.money + leg.km_cents[stop, to]
            chain.legs.append((leg.total_s[stop, to], leg.drive_s[stop, to]))
        good = (chain.cost < FAR) & (chain.drive <= most_s)
        for stop in numbers:
            good &= (only[stop] < 0) | (only[stop] == start)
        rows = np.flatnonzero(good)
        chain = _Chain(
            chain.cost[rows], chain.money[rows], [s[rows] for s in numbers], [(t[rows], d[rows]) for t, d in chain.legs]
        )
        parts.append(undominated(_options(frame, chain, start[rows], start[rows], kinds, stops, car=True)))

    classes = _classes(stops)
    for c in classes:
        start, stop = (x.ravel() for x in np.meshgrid(here, c.members, indexing="ij"))
        keep([stop], (c,), start)
    for a, b in _pairs(classes):
        if a.sight < 0 and b.sight < 0:
            continue
        start, one, two = (x.ravel() for x in np.meshgrid(here, a.members, b.members, indexing="ij"))
        keep([one, two], (a, b), start)
    return undominated(Options.join(parts))


def undominated(options: Options, worth: Callable[[I64], I64] | None = None) -> Options:
    """Drop each way from the days on which another does as much at no more cost, money and use.

    Parameters
    ----------
    worth
        As in `Frame`.
    """
    if not len(options):
        return options
    o = options
    order = np.lexsort((np.arange(len(o)), o.use, o.money, o.cost, o.car, o.end, o.start))
    o = o.take(order)
    new = np.concatenate(([True], (o.start[1:] != o.start[:-1]) | (o.end[1:] != o.end[:-1]) | (o.car[1:] != o.car[:-1])))
    group = np.cumsum(new) - 1
    first = np.flatnonzero(new)
    like = o if worth is None else replace(o, serves=np.where(o.start == 0, worth(o.serves), o.serves))
    days = _drop_beaten(like, first[group], compiled=len(o) > _COMPILE_ROWS)
    o = replace(o, days=days)
    return o.take(days != 0)


def _drop_beaten(o: Options, first: I64, *, compiled: bool) -> NDArray[np.uint64]:
    """Return the days left of each row; rows of one pair of places (begun at ``first``) stand by cost."""
    if compiled:
        try:
            from tripplan.schedule.beaten import drop_beaten
        except ImportError:
            pass
        else:
            return np.asarray(drop_beaten(first, o.serves, o.sights, o.money, o.use, o.days))
    days = o.days.copy()
    behind = np.arange(len(o)) - first
    # A row can only be beaten by one before it, at distance 1, 2, ...
    for apart in range(1, int(behind.max(initial=0)) + 1):
        late = np.flatnonzero((behind >= apart) & (days != 0))
        early = late - apart
        better = (
            ((o.serves[late] & ~o.serves[early]) == 0)
            & ((o.sights[late] & ~o.sights[early]) == 0)
            & (o.money[early] <= o.money[late])
            & (o.use[early] <= o.use[late])
        )
        late, early = late[better], early[better]
        days[late] &= ~o.days[early]
    return days


class _Pile(list[Options]):
    """Tables of ways, thinned now and then so that they never fill the memory."""

    def __init__(self, worth: Callable[[I64], I64] | None = None) -> None:
        super().__init__()
        self.rows = 0
        self.worth = worth

    def append(self, table: Options) -> None:
        """Add a table."""
        super().append(table)
        self.rows += len(table)
        if self.rows > _PILE_ROWS:
            kept = undominated(Options.join(self), self.worth)
            self.clear()
            super().append(kept)
            # What is left after thinning does not count, or a large table would be thinned again at once.
            self.rows = 0
