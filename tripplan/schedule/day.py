"""One day in whole minutes: what it asks, the exact pass that keeps it or not, and which rules stand in each other's way.

Durations are rounded up to minutes, openings up and closings down, so a day that is kept here is also kept by the plain pass
in seconds (`clock.lay_out`) that the tables of options use: that pass never turns away a day which this one accepts.

Earliest is best for every rule (a later start opens no door that waiting does not), except that a rest which begins as a
wait can save a break later. So the pass keeps, at each point of the day, every pair of time and time at the wheel since the
last rest that no other pair beats: at most a few.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

__all__ = ["DAY_END", "RULES", "DayTask", "Halt", "LegTask", "Line", "Sailing", "best_leave", "clash", "kept", "score", "spare"]

Windows = tuple[tuple[int, int], ...] | None
#: A break of at least 15 minutes after every two hours at the wheel [min]: UK Highway Code, rule 91.
RULES = (120, 15)
DAY_END = 1440
#: Later than any day lasts [min].
NEVER = 10 * DAY_END


@dataclass(frozen=True, slots=True)
class Sailing:
    """A ferry on a leg.

    Parameters
    ----------
    after
        Time at the wheel since the leg began, or since the sailing before [min].
    wait, sea
        Counted on the quay, check-in included, and at sea [min].
    windows
        When it departs [min after midnight]; ``None``: at any time, as far as is known.
    """

    after: int
    wait: int
    sea: int
    windows: Windows = None


@dataclass(frozen=True, slots=True)
class LegTask:
    """A leg: time at the wheel after its last sailing (of the whole leg where there is none) [min], and its sailings."""

    drive: int
    sailings: tuple[Sailing, ...] = ()


@dataclass(frozen=True, slots=True)
class Halt:
    """A service or a visit: how long it takes, and when it is open [min after midnight]."""

    minutes: int
    windows: Windows = None


@dataclass(frozen=True, slots=True)
class DayTask:
    """What one day asks; all times in minutes after midnight.

    Parameters
    ----------
    leave_from, leave_by
        Earliest start, and the latest where the place is to be left in time (check-out); never before the earliest.
    arrive_by
        Latest end of the last leg, and of the wait for the place at the end.
    legs, halts
        One leg more than halts.
    end_windows, end_minutes
        When the place at the end takes one in, and how long that takes.
    wish_leave, wish_last, wish_arrive
        See `score`: start best liked, latest start thought of, and arrival before which nobody is glad to be early.
    """

    leave_from: int
    leave_by: int
    arrive_by: int
    legs: tuple[LegTask, ...]
    halts: tuple[Halt, ...] = ()
    end_windows: Windows = None
    end_minutes: int = 0
    wish_leave: int = 0
    wish_last: int = 0
    wish_arrive: int = 0

    @property
    def last_leave(self) -> int:
        """Latest start thought of."""
        return max(self.leave_from, min(self.leave_by, self.wish_last))


#: A line of a day laid out: kind (``drive``, ``break``, ``wait``, ``quay``, ``ferry``, ``stop``), leg or halt, from, to [min].
Line = tuple[str, int, int, int]


@dataclass(frozen=True, slots=True)
class _State:
    """A way to have come this far: the time, time at the wheel since the last rest, and the lines so far."""

    at: int
    since: int
    lines: tuple[Line, ...] = ()


def opening(at: int, minutes: int, windows: Windows) -> int | None:
    """Return the first time from ``at`` on at which something so long can begin; ``None``: it cannot any more."""
    if windows is None:
        return at
    return next((max(at, a) for a, b in windows if max(at, a) + minutes <= b), None)


def kept(task: DayTask, leave: int, rules: tuple[int, int] = RULES) -> tuple[int, tuple[Line, ...]] | None:
    """Return the earliest arrival on leaving at a time, and the lines of the day; ``None`` where the day is not kept.

    Parameters
    ----------
    rules
        Longest time at the wheel without a rest, and how long a rest must be [min].
    """
    if not task.leave_from <= leave <= max(task.leave_from, task.leave_by):
        return None
    states = [_State(leave, 0)]
    for k in range(len(task.legs)):
        states = _over_leg(states, task, k, rules)
        if k < len(task.halts):
            states = _best(s for state in states for s in _halt(state, task.halts[k], k, rules))
    return _at_end(states, task)


def _over_leg(states: list[_State], task: DayTask, k: int, rules: tuple[int, int]) -> list[_State]:
    for ferry in task.legs[k].sailings:
        states = [_drive(state, ferry.after, k, rules) for state in states]
        states = _best(s for state in states for s in _sail(state, ferry, k, rules))
    return [_drive(state, task.legs[k].drive, k, rules) for state in states]


def _at_end(states: list[_State], task: DayTask) -> tuple[int, tuple[Line, ...]] | None:
    if not states:
        return None
    first = min(states, key=lambda s: (s.at, s.since))
    begin = opening(first.at, task.end_minutes, task.end_windows)
    if begin is None or begin > task.arrive_by:
        return None
    wait = (("wait", len(task.halts), first.at, begin),) if begin > first.at else ()
    return begin, first.lines + wait


def _drive(state: _State, minutes: int, k: int, rules: tuple[int, int]) -> _State:
    """Drive on with breaks as late as they may be."""
    every, rest = rules
    at, since, lines = state.at, state.since, list(state.lines)
    while since + minutes > every:
        part = every - since
        if part:
            lines.append(("drive", k, at, at + part))
        lines.append(("break", k, at + part, at + part + rest))
        at, minutes, since = at + part + rest, minutes - part, 0
    if minutes:
        lines.append(("drive", k, at, at + minutes))
    return _State(at + minutes, since + minutes, tuple(lines))


def _sail(state: _State, ferry: Sailing, k: int, rules: tuple[int, int]) -> Iterator[_State]:
    """Sail by the first departure, or after a break; a wait for the first boat of the day is a rest when it is long enough."""
    for pause in (0, rules[1]) if ferry.windows is not None and state.since else (0,):
        ready = state.at + pause + ferry.wait
        sails = opening(ready, 0, ferry.windows)
        if sails is None:
            continue
        idle = sails - ready
        lines = list(state.lines)
        if pause:
            lines.append(("break", k, state.at, state.at + pause))
        if idle:
            lines.append(("quay", k, state.at + pause, state.at + pause + idle))
        lines.append(("ferry", k, state.at + pause + idle, sails + ferry.sea))
        yield _State(sails + ferry.sea, 0 if pause or idle >= rules[1] else state.since, tuple(lines))


def _halt(state: _State, halt: Halt, k: int, rules: tuple[int, int]) -> Iterator[_State]:
    """Halt, with the wait before it; what is too short for a rest may be drawn out to one."""
    begin = opening(state.at, halt.minutes, halt.windows)
    if begin is None:
        return
    end = begin + halt.minutes
    lines = (*state.lines, *((("wait", k, state.at, begin),) if begin > state.at else ()), ("stop", k, begin, end))
    if end - state.at >= rules[1]:
        yield _State(end, 0, lines)
        return
    yield _State(end, state.since, lines)
    yield _State(state.at + rules[1], 0, (*lines, ("break", k, end, state.at + rules[1])))


def _best(states: Iterator[_State]) -> list[_State]:
    """Keep the states that no other beats in both time and time since the last rest."""
    out: list[_State] = []
    for state in sorted(states, key=lambda s: (s.at, s.since)):
        if not out or state.since < out[-1].since:
            out.append(state)
    return out


def score(task: DayTask, leave: int, arrive: int) -> tuple[int, int, int, int]:
    """Return what is least for the day that a hirer would like best, in this order.

    Early arrival, though earlier than `DayTask.wish_arrive` is no gain; then the least time between leaving and arriving, so that no one
    waits at a closed gate who could have had breakfast; then a start near the one liked best; then the earlier one.
    """
    return max(arrive, task.wish_arrive), arrive - leave, abs(leave - task.wish_leave), leave


def best_leave(task: DayTask, rules: tuple[int, int] = RULES) -> int | None:
    """Return the start of the day liked best, by trying every minute; ``None`` where the day cannot be kept."""
    found = []
    for leave in range(task.leave_from, task.last_leave + 1):
        laid = kept(task, leave, rules)
        if laid is not None:
            found.append((score(task, leave, laid[0]), leave))
    return min(found)[1] if found else None


def spare(task: DayTask, leave: int, rules: tuple[int, int] = RULES) -> tuple[int, ...]:
    """Return how much later than laid out each halt, and the arrival, could be and the day still be kept [min].

    Up to that a delay is made good by waits; the latest moment never lies in a wait, since one can come when the wait ends as well.
    """
    laid = kept(task, leave, rules)
    if laid is None:
        return ()
    arrive, lines = laid
    begins = [next(a for kind, n, a, _ in lines if kind == "stop" and n == k) for k in range(len(task.halts))]
    out = []
    for k, at in enumerate(begins):
        rest = replace(task, leave_from=at, leave_by=NEVER, legs=(LegTask(0), *task.legs[k + 1 :]), halts=task.halts[k:])
        out.append(_latest(rest, at, rules) - at)
    last = replace(task, leave_from=arrive, leave_by=NEVER, legs=(LegTask(0),), halts=())
    return (*out, _latest(last, arrive, rules) - arrive)


def _latest(task: DayTask, low: int, rules: tuple[int, int]) -> int:
    """Return the latest start that is kept, where ``low`` is: later ones are kept less and less."""
    high = task.arrive_by + 1
    while high - low > 1:
        middle = (low + high) // 2
        if kept(task, middle, rules) is not None:
            low = middle
        else:
            high = middle
    return low


def clash(task: DayTask) -> tuple[tuple[str, int], ...]:
    """Return a smallest set of rules that cannot all be kept (none of them can be left out), in the order of the day.

    Returns
    -------
    tuple
        ``leave`` (earliest start), ``halt`` k (its hours), ``sail`` k (departures on leg k), ``breaks``, ``end`` (hours of the
        place at the end) and ``arrive`` (latest arrival); empty where the day can be kept.
    """
    if kept(task, task.leave_from) is not None:
        return ()
    rules: list[tuple[str, int]] = [("leave", 0), ("breaks", 0)]
    for k, leg in enumerate(task.legs):
        rules += [("sail", k)] if any(s.windows is not None for s in leg.sailings) else []
        rules += [("halt", k)] if k < len(task.halts) and task.halts[k].windows is not None else []
    rules += [("end", 0)] if task.end_windows is not None else []
    rules.append(("arrive", 0))
    needed = list(rules)
    for rule in rules:
        fewer = [r for r in needed if r != rule]
        if not _keeps(task, fewer):
            needed = fewer
    return tuple(needed)


def _keeps(task: DayTask, rules: list[tuple[str, int]]) -> bool:
    loose, every = without(task, rules)
    return kept(loose, loose.leave_from, (every, RULES[1])) is not None


def without(task: DayTask, rules: list[tuple[str, int]]) -> tuple[DayTask, int]:
    """Return a day on which only some of its rules hold, and how long one may drive without a rest [min]."""
    halts = tuple(h if ("halt", k) in rules else replace(h, windows=None) for k, h in enumerate(task.halts))
    legs = tuple(
        leg if ("sail", k) in rules else replace(leg, sailings=tuple(replace(s, windows=None) for s in leg.sailings))
        for k, leg in enumerate(task.legs)
    )
    loose = replace(
        task, halts=halts, legs=legs,
        end_windows=task.end_windows if ("end", 0) in rules else None,
        arrive_by=task.arrive_by if ("arrive", 0) in rules else NEVER,
        leave_from=task.leave_from if ("leave", 0) in rules else -DAY_END,
    )  # fmt: skip
    return loose, RULES[0] if ("breaks", 0) in rules else NEVER
