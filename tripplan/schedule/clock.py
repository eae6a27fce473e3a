"""The clock of one day: a plain forward pass over its legs and stops, and the reason when it cannot be kept.

A day leaves as early as its rules allow, waits where a stop is not open yet, and must reach its end in time. Earliest is
best for every rule here (a later start never opens a door that an earlier one with waiting finds shut), so the day can be
kept exactly when this pass keeps it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

__all__ = ["BREAK_S", "DRIVE_BETWEEN_BREAKS_S", "ClockDay", "Fault", "Row", "StopTask", "breaks_needed", "lay_out"]

#: A break of at least 15 minutes after every two hours at the wheel: UK Highway Code, rule 91.
DRIVE_BETWEEN_BREAKS_S = 2 * 3600
BREAK_S = 15 * 60

Windows = tuple[tuple[int, int], ...] | None


@dataclass(frozen=True, slots=True)
class StopTask:
    """A stop on the way.

    Parameters
    ----------
    seconds
        How long it takes [s].
    windows
        Open stretches of the day [s after midnight]; ``None``: any time.
    """

    seconds: int
    windows: Windows = None


@dataclass(frozen=True, slots=True)
class Row:
    """One line of a day: ``drive``, ``ferry``, ``break``, ``wait`` or ``stop``; which leg or stop, when [s after midnight]."""

    kind: str
    number: int
    start: int
    end: int


@dataclass(frozen=True, slots=True)
class Fault:
    """What a day cannot keep: ``opens``, ``arrival`` or ``end``; at which stop (-1: the end), and by how much [s]."""

    what: str
    number: int
    seconds: int


@dataclass(frozen=True, slots=True)
class ClockDay:
    """A day laid out; ``arrive`` is when the last leg ends [s after midnight]."""

    rows: tuple[Row, ...]
    leave: int
    arrive: int
    fault: Fault | None


def breaks_needed(drive_s: float) -> int:
    """Return how many breaks an unbroken drive needs: one less than the two-hour stretches in it."""
    return max(0, -(-int(drive_s) // DRIVE_BETWEEN_BREAKS_S) - 1)


def _enter(at: int, task: StopTask) -> tuple[int, int]:
    """Return when a stop can begin and by how much it is missed [s] (0: kept)."""
    if task.windows is None:
        return at, 0
    missed = -1
    for opens, closes in task.windows:
        begin = max(at, opens)
        if begin + task.seconds <= closes:
            return begin, 0
        missed = begin + task.seconds - closes
    return at, max(1, missed) if missed >= 0 else 86_400


def lay_out(
    leave_from: int,
    legs: Sequence[tuple[int, int, int]],
    stops: Sequence[StopTask],
    arrive_by: int,
    end_windows: Windows = None,
    end_s: int = 0,
) -> ClockDay:
    """Lay out a day.

    Parameters
    ----------
    leave_from
        Earliest start [s after midnight].
    legs
        Of each: whole time, time at the wheel, and the part of that before a ferry [s]; one more than there are stops.
    stops
        Between the legs, in order.
    arrive_by
        Latest end of the last leg [s after midnight].
    end_windows
        When the place at the end takes one in [s after midnight]; ``None``: any time. end_s: how long that takes [s].
    """
    rows: list[Row] = []
    at, since = leave_from, 0
    fault: Fault | None = None
    for k, (total, drive, before) in enumerate(legs):
        aside = total - drive
        # Time at sea is no time at the wheel; it does not count as a break either, as boarding asks for attention.
        for left in (before, drive - before) if aside else (drive,):
            while since + left > DRIVE_BETWEEN_BREAKS_S:
                part = DRIVE_BETWEEN_BREAKS_S - since
                if part:
                    rows.append(Row("drive", k, at, at + part))
                rows.append(Row("break", k, at + part, at + part + BREAK_S))
                at, left, since = at + part + BREAK_S, left - part, 0
            if left:
                rows.append(Row("drive", k, at, at + left))
            at, since = at + left, since + left
            if aside:
                rows.append(Row("ferry", k, at, at + aside))
                at, aside = at + aside, 0
        if k < len(stops):
            begin, missed = _enter(at, stops[k])
            if missed and fault is None:
                fault = Fault("opens", k, missed)
            if begin > at:
                rows.append(Row("wait", k, at, begin))
            rows.append(Row("stop", k, begin, begin + stops[k].seconds))
            if begin + stops[k].seconds - at >= BREAK_S:
                since = 0
            at = begin + stops[k].seconds
    if at > arrive_by and fault is None:
        fault = Fault("arrival", -1, at - arrive_by)
    begin, missed = _enter(at, StopTask(end_s, end_windows))
    if missed and fault is None:
        fault = Fault("end", -1, missed)
    if not missed and begin > at:
        rows.append(Row("wait", len(stops), at, begin))
        at = begin
        if at > arrive_by and fault is None:
            fault = Fault("arrival", -1, at - arrive_by)
    return ClockDay(tuple(rows), leave_from, at, fault)
