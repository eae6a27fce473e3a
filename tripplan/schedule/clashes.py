"""Why a day cannot be kept: the fewest rules that stand in each other's way, and what they come to in words."""

from __future__ import annotations

from tripplan.model.words import day_name
from tripplan.schedule.clock import Fault
from tripplan.schedule.day import NEVER, DayTask, Halt, LegTask, Line, Windows, clash, kept, without
from tripplan.schedule.follow import emptied_on_leaving
from tripplan.schedule.hours import seconds_of
from tripplan.schedule.sailings import minutes_up
from tripplan.schedule.ways import FAR
from tripplan.schedule.work import Work

__all__ = ["fault_of", "forbidden_words", "missed_services", "reasons_of"]

Rule = tuple[str, int]


def _late(task: DayTask) -> tuple[list[Rule], Rule, int, tuple[Line, ...], int]:
    """Return the clash, the rule at which the day comes too late, and when it would come, were that rule not there.

    Returns
    -------
    tuple
        Rules, the late one, arrival at the end, lines, and when the thing itself would begin [min after midnight].
    """
    rules = list(clash(task))
    late = rules[-1]
    if late == ("arrive", 0) and ("end", 0) in rules:
        late = ("end", 0)  # it is the wait for the place at the end that takes too long
    loose, every = without(task, [r for r in rules if r != late] + ([("breaks", 0)] if late != ("breaks", 0) else []))
    laid = kept(loose, loose.leave_from, (every, 15)) or kept(*_loosest(task))
    assert laid is not None
    arrive, lines = laid
    what, k = late
    begin = arrive
    if what == "halt":
        begin = next(a for kind, n, a, _ in lines if kind == "stop" and n == k)
    elif what == "sail":
        begin = next(
            b - sum(s.sea for s in task.legs[k].sailings[-1:]) for kind, n, _, b in reversed(lines) if kind == "ferry" and n == k
        )
    return rules, late, arrive, lines, begin


def _loosest(task: DayTask) -> tuple[DayTask, int]:
    loose, _ = without(task, [("leave", 0), ("breaks", 0)])
    return loose, loose.leave_from


def fault_of(task: DayTask) -> Fault:
    """Return the fault of a day that cannot be kept: ``opens``, ``arrival`` or ``end``, at which stop, and by how much [s]."""
    _, (what, k), arrive, _, begin = _late(task)
    if what == "halt":
        return Fault("opens", k, 60 * _missed(begin, task.halts[k].minutes, task.halts[k].windows))
    if what == "end":
        return Fault("end", -1, 60 * _missed(begin, task.end_minutes, task.end_windows))
    if what == "sail":
        return Fault("opens", -1, 60 * _missed(begin, 0, task.legs[k].sailings[-1].windows))
    return Fault("arrival", -1, 60 * max(1, arrive - task.arrive_by))


def _missed(begin: int, needs: int, windows: Windows) -> int:
    """Return by how much something comes too late for the last window that it could have had [min]; a day where there is none."""
    late = [begin + needs - b for _, b in windows or () if begin + needs > b]
    return min(late) if late else 1440 if not windows else 1


def clock_words(minutes: int) -> str:
    """Return a time of day, also one past midnight."""
    return f"{minutes // 60 % 24:02d}:{minutes % 60:02d}" + (" the next day" if minutes >= 1440 else "")


def _hours(windows: tuple[tuple[int, int], ...]) -> str:
    return ", ".join(f"{clock_words(a)}–{'24:00' if b == 1440 else clock_words(b)}" for a, b in windows)


def reasons_of(work: Work, day: int, arc: int, task: DayTask | None = None) -> tuple[str, ...]:
    """Return why a day of the trip cannot be kept, a sentence each: where it comes too late first; empty where it can be kept."""
    from tripplan.schedule.timetable import task_of

    task = task or task_of(work, day, arc)
    if not task.legs or kept(task, task.leave_from) is not None:
        return ()
    emptied = bool(emptied_on_leaving(work, day, arc))
    return _said(work, day, _names(work, arc), int(work.options.end[arc]), task, emptied=emptied)


def _said(work: Work, day: int, names: list[str], end: int, task: DayTask, *, emptied: bool = False) -> tuple[str, ...]:
    rules, late, _, _, begin = _late(task)
    said = [_late_words(work, day, names, end, task, late, begin)]
    said += [text for rule in rules if rule != late and (text := _rule_words(work, day, names, end, task, rule, emptied=emptied))]
    return tuple(said)


def missed_services(work: Work, day: int, arc: int, store: int, most: int = 2) -> tuple[str, ...]:
    """Return why the service points of a store nearest to a day's way were of no use on that day, a sentence each.

    Parameters
    ----------
    store
        Number of the store.
    most
        How many are looked at: those that cost the least time at the wheel.
    """
    if work.options.car[arc]:
        return ()
    trip, hours, table = work.trip, work.hours, work.ways_of(arc).van
    start, end = int(work.options.start[arc]), int(work.options.end[arc])
    places = 2 + len(work.cast.sites)
    limit = min(trip.first_day_drive_s, trip.max_drive_s) if day == 0 else trip.max_drive_s
    near = []
    for number, stop in enumerate(work.cast.van_stops):
        drives = [int(table.drive_s[a, b]) for a, b in ((start, places + number), (places + number, end))]
        fits = stop.only_from in (-1, start - 2) and stop.only_to in (-1, end - 2)
        if stop.serves >> store & 1 and fits and max(drives) < FAR:
            near.append((sum(drives), number, stop, drives))
    said: list[str] = []
    for driven, _, stop, drives in sorted(near, key=lambda row: row[:2])[:most]:
        legs = tuple(LegTask(minutes_up(seconds)) for seconds in drives)
        windows = stop.windows[day]
        in_minutes = None if windows is None else tuple((minutes_up(a), b // 60) for a, b in windows)
        arrive_by = int(hours.arrive[day, end]) // 60
        earliest = minutes_up(int(hours.leave[day, start]))
        task = DayTask(earliest, earliest, arrive_by, legs, (Halt(minutes_up(stop.seconds), in_minutes),))
        if driven > limit:
            said.append(f"by way of {stop.spot.name} it is {-(-(driven - limit) // 60)} min more at the wheel than the limit")
        elif kept(task, earliest) is None and arrive_by >= 0:
            said.append("; ".join(_said(work, day, [stop.spot.name], end, task)))
    return tuple(said)


def _names(work: Work, arc: int) -> list[str]:
    return [s.spot.name for s in work.stops(arc)]


def _place(work: Work, end: int) -> str:
    return work.trip.return_depot.name if end == 1 else work.cast.sites[end - 2].spot.name


def _late_words(work: Work, day: int, names: list[str], end: int, task: DayTask, late: Rule, begin: int) -> str:
    what, k = late
    there = clock_words(begin)
    if what == "halt":
        halt, name = task.halts[k], names[k]
        if not halt.windows:
            return f"{name} is closed all day"
        closes = max(b for _, b in halt.windows)
        if begin + halt.minutes > closes:
            needs = f" and need {halt.minutes} min" if begin < closes else ""
            return f"{name} closes at {clock_words(closes)}, you would be there at {there}{needs}"
        return f"{name} is open {_hours(halt.windows)}, you would be there at {there}"
    if what == "sail":
        windows = task.legs[k].sailings[-1].windows or ()
        return (
            f"the ferry sails {_hours(windows)}, you would be ready to sail at {there}" if windows else "no ferry sails that day"
        )
    name = _place(work, end)
    if what == "end":
        windows = task.end_windows or ()
        if not windows:
            return f"{name} is closed all day"
        needs = f" and need {task.end_minutes} min" if any(a <= begin < b for a, b in windows) else ""
        return f"{name} takes arrivals {_hours(windows)}, you would be there at {there}{needs}"
    if what == "arrive":
        return f"{_arrive_words(work, day, end, task)}, you would be at {name} at {there}"
    return "the day is too short for its breaks" if what == "breaks" else "the day begins too late"


def _arrive_words(work: Work, day: int, end: int, task: DayTask) -> str:
    """Say what ends the day."""
    trip, limit = work.trip, clock_words(task.arrive_by)
    if day == len(trip.dates) - 1:
        back = (seconds_of(trip.return_by) - trip.firm.return_min * 60) // 60
        if task.arrive_by == back:
            return f"the van is due at {limit}, {trip.firm.return_min} min before the end of the hire"
    if task.arrive_by == trip.arrive_by_min:
        return f"the trip's days on the road end at {limit}"
    windows = () if end == 1 else work.cast.sites[end - 2].hours[day] or ()
    if windows and max(b for _, b in windows) // 60 == task.arrive_by:
        return f"arrivals are taken until {limit}"
    return f"one arrives {trip.sunset_margin_min} min before sunset, by {limit}"


def _rule_words(work: Work, day: int, names: list[str], end: int, task: DayTask, rule: Rule, *, emptied: bool) -> str:
    what, k = rule
    if what == "leave":
        why = "the trip's days on the road begin then"
        if day == 0:
            why = "the handover lasts until then" if work.trip.under_way is None else "the rest is planned from then"
        if emptied:
            why = "what the firm wants back empty is emptied by then"
        elif day and task.leave_from > work.trip.leave_after_min:
            why = "the sun rises no earlier"
        return f"nobody sets off before {clock_words(task.leave_from)}: {why}"
    if what == "breaks":
        return "a break of 15 min is due after each two hours at the wheel"
    if what == "halt":
        return f"{names[k]} is open {_hours(task.halts[k].windows or ())} and takes {task.halts[k].minutes} min"
    if what == "sail":
        return f"the ferry sails {_hours(task.legs[k].sailings[-1].windows or ())}"
    if what == "end":
        return f"{_place(work, end)} takes arrivals {_hours(task.end_windows or ())}"
    return _arrive_words(work, day, end, task) if task.arrive_by < NEVER else ""


def forbidden_words(work: Work, day: int, arc: int) -> str:
    """Return one line on a day that the search chose and the clock cannot keep."""
    date = work.trip.dates[day]
    stops = "".join(f" by way of {name}" for name in _names(work, arc))
    why = "; ".join(reasons_of(work, day, arc)) or f"the fridge would be above 5 °C for more than {work.trip.fridge_limit_h:g} h"
    return f"{day_name(date)}, to {_place(work, int(work.options.end[arc]))}{stops}: {why}"
