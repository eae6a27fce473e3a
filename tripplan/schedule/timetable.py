"""Legs and events of a day: what the clock laid out, in words."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import replace

from tripplan.model.plan import Event, Leg
from tripplan.model.trip import Trip
from tripplan.model.words import STORES
from tripplan.schedule.candidates import DUMP_S, SERVES, Stop, spot_of
from tripplan.schedule.clock import ClockDay, Row
from tripplan.schedule.day import DAY_END, DayTask, Halt, kept
from tripplan.schedule.follow import bits, emptied_on_leaving
from tripplan.schedule.hours import moment_of, seconds_of
from tripplan.schedule.laid import LaidDay
from tripplan.schedule.sailings import leg_task, minutes_up
from tripplan.schedule.work import Work

__all__ = ["DOING", "clock_of", "events_of", "legs_of", "task_of"]

#: Start liked best, latest start thought of, and arrival before which nobody is glad to be early [min after midnight]. With the van: sites
#: are left by 10:30 and taken from 14:00; by car: out at 10, by noon at the latest, back by 17:00 (common practice, no source).
WISH_VAN, WISH_CAR = (10 * 60 + 30, 10 * 60 + 30, 14 * 60), (10 * 60, 12 * 60, 17 * 60)

#: What is done for a store at a stop.
DOING = {
    "fresh": "fill fresh water", "grey": "empty the grey water", "cassette": "empty the cassette", "flush": "fill the flush tank",
    "gas": "exchange every gas bottle that has been opened",
}  # fmt: skip


def legs_of(work: Work, arc: int) -> tuple[Leg, ...]:
    """Return the legs of an arc, piece by piece."""
    points = work.points(arc)
    if len(points) < 2:
        return ()
    ways = work.ways_of(arc)
    joined = ways.joined_car if work.options.car[arc] else ways.joined_van
    assert joined is not None
    return tuple(joined.route(a, b) for a, b in itertools.pairwise(points))


def task_of(work: Work, day: int, arc: int, legs: Sequence[Leg] = ()) -> DayTask:
    """Return what a day of the trip asks.

    Parameters
    ----------
    legs
        Of the arc, where they are known: they say where on a leg its ferries lie.
    """
    trip, hours, car = work.trip, work.hours, bool(work.options.car[arc])
    points, stops = work.points(arc), work.stops(arc)
    table = work.ways_of(arc).car if car else work.ways_of(arc).van
    times = [(int(table.total_s[a, b]), int(table.drive_s[a, b])) for a, b in itertools.pairwise(points)]
    joined = work.ways_of(arc).joined_car if car else work.ways_of(arc).joined_van
    if not legs and joined is not None and any(total > drive for total, drive in times):
        legs = legs_of(work, arc)
    outfit = trip.car if car else trip.outfit
    tasks = tuple(
        leg_task(work.region, trip.dates[day], drive, total, legs[k] if legs else None, outfit)
        for k, (total, drive) in enumerate(times)
    )
    halts = tuple(Halt(minutes_up(s.seconds), _in_minutes(s.windows[day])) for s in stops)
    start, end = int(work.options.start[arc]), int(work.options.end[arc])
    last = end == 1
    # Who comes back to a pitch that is theirs already needs no desk.
    site = None if last or start == end or car else work.cast.sites[end - 2]
    windows = hours.goal_windows if last else (site.hours[day] or None if site else None)
    booked = site is not None and work.cast.booked[day] == end - 2
    arrive_by = int(hours.arrive[day, end])
    if car:
        arrive_by = int(hours.back[day, end]) if arrive_by >= 0 else 86_400
    earliest = minutes_up(int(hours.leave[day, start]))
    until = int(hours.leave_by[day, start]) // 60 if start != end and not car else DAY_END
    # What is emptied on leaving takes its time of the day, or is done before the day where one must be gone.
    latest = max(earliest, until)
    if emptied_on_leaving(work, day, arc):
        earliest = min(earliest + minutes_up(DUMP_S), latest)
    wish_leave, wish_last, wish_arrive = WISH_CAR if car else WISH_VAN
    return DayTask(
        earliest, latest, arrive_by // 60, tasks, halts, None if booked else _in_minutes(windows),
        trip.firm.return_min if last else 0, wish_leave, wish_last if day else 0, wish_arrive,
    )  # fmt: skip


def _in_minutes(windows: tuple[tuple[int, int], ...] | None) -> tuple[tuple[int, int], ...] | None:
    if windows is None:
        return None
    return tuple((minutes_up(a), b // 60) for a, b in windows)


def clock_of(work: Work, day: int, arc: int, legs: Sequence[Leg] = (), laid: LaidDay | None = None) -> ClockDay:
    """Lay out a day of the trip.

    Parameters
    ----------
    legs
        As in `task_of`.
    laid
        When to start; ``None``: as early as may be, which tells whether the day can be kept at all.
    """
    task = task_of(work, day, arc, legs)
    if not task.legs:
        return ClockDay((), task.leave_from * 60, task.leave_from * 60, None)
    leave = laid.leave if laid is not None else task.leave_from
    found = kept(task, leave)
    if found is None:
        from tripplan.schedule.clashes import fault_of

        return ClockDay((), leave * 60, leave * 60, fault_of(task))
    arrive, lines = found
    return ClockDay(tuple(Row(kind, n, a * 60, b * 60) for kind, n, a, b in lines), leave * 60, arrive * 60, None)


def _tasks(stop: Stop) -> list[tuple[object, tuple[str, ...]]]:
    """Return which place serves which stores at a stop, each store by the place that is surest of it."""
    done: dict[int, tuple[object, list[str]]] = {}
    for word, place in stop.givers:
        for r, store in enumerate(STORES):
            if SERVES[word] & stop.serves & (1 << r):
                done.setdefault(place.index, (place, []))[1].append(store.value)
    return [(place, tuple(stores)) for place, stores in done.values()]


def events_of(
    work: Work, day: int, arc: int, laid: ClockDay, spare: Sequence[int] = (), legs: Sequence[Leg] = ()
) -> tuple[Event, ...]:
    """Return the timetable of a day.

    Parameters
    ----------
    spare
        How much later each stop, and the arrival, could be [min]; empty: not told.
    legs
        Of the arc, which name its ferries; empty: no ferry is named.
    """
    spares = (*spare, *(-1,) * (len(work.stops(arc)) + 1 - len(spare)))
    trip, stops, points = work.trip, work.stops(arc), work.points(arc)
    end = int(work.options.end[arc])
    spots = [_end_spot(work, int(work.options.start[arc])), *(s.spot for s in stops), _end_spot(work, end)]

    def at(seconds: int):  # type: ignore[no-untyped-def]
        return moment_of(trip, day, seconds)

    events: list[Event] = []
    if day == 0 and trip.under_way is None:
        begin = seconds_of(trip.pick_up)
        text = f"Pick up {trip.van.name} and be shown how everything works"
        events.append(Event("handover", at(begin), at(begin + trip.firm.handover_min * 60), text, trip.depot))
    emptied = emptied_on_leaving(work, day, arc)
    if emptied:
        stores = tuple(store.value for store, yes in zip(STORES, bits(emptied), strict=True) if yes)
        begin = laid.leave - DUMP_S
        events.append(Event("service", at(begin), at(laid.leave), _doing(trip, stores), spots[0], stores))
    for row in laid.rows:
        start, stop_at = at(row.start), at(row.end)
        if row.kind == "drive":
            way = "Drive by car to" if work.options.car[arc] else "Tow to"
            boards = next((f for f in laid.rows if f.kind == "ferry" and f.number == row.number and f.start >= row.end), None)
            to = spots[row.number + 1].name
            if boards is not None:  # the time counted on the quay, check-in and all, begins with the ferry's own row
                to = f"the {_ferry(work, arc, laid, boards, legs)}, be on the quay by {at(boards.start):%H:%M}"
            events.append(Event("drive", start, stop_at, f"{way} {to}", spots[row.number + 1]))
        elif row.kind == "ferry":
            events.append(Event("ferry", start, stop_at, "Ferry: gas off at the bottle", None))
        elif row.kind == "break":
            events.append(Event("break", start, stop_at, "Break", None))
        elif row.kind == "wait":
            does = "opens" if row.number < len(stops) else "takes arrivals"
            events.append(Event("break", start, stop_at, f"Wait until {spots[row.number + 1].name} {does}", None))
        elif row.kind == "quay":
            events.append(Event("break", start, stop_at, "Wait for the first ferry", None))
        else:
            found = _stop_events(work, day, stops[row.number], row.start, row.end)
            events += [replace(event, spare_min=spares[row.number]) for event in found]
    arrived = at(laid.arrive)
    if end == 1:
        done = at(laid.arrive + trip.firm.return_min * 60)
        events.append(Event("return", arrived, done, "Return the van, empty and clean", trip.return_depot, spare_min=spares[-1]))
    elif work.options.car[arc]:
        begin = at(laid.arrive if len(points) > 1 else laid.leave)
        text = "Back at the van" if len(points) > 1 else "A day without driving"
        events.append(Event("stay", begin, begin, text, spots[-1], spare_min=spares[-1] if len(points) > 1 else -1))
    else:
        events.append(Event("arrive", arrived, arrived, f"Arrive at {spots[-1].name}", spots[-1], spare_min=spares[-1]))
    return tuple(events)


def _ferry(work: Work, arc: int, laid: ClockDay, boards: Row, legs: Sequence[Leg]) -> str:
    """Return what to call a crossing of the day: by its name, "ferry" before a name that does not say so."""
    from tripplan.roads.ferries import crossings

    trip = work.trip
    found = crossings(work.region, legs[boards.number], trip.car if work.options.car[arc] else trip.outfit) if legs else ()
    before = sum(row.kind == "ferry" and row.number == boards.number and row.start < boards.start for row in laid.rows)
    name = found[before].name if before < len(found) else ""
    return name if "ferry" in name.lower() else f"ferry {name}".rstrip()


def _stop_events(work: Work, day: int, stop: Stop, start: int, end: int) -> list[Event]:
    trip = work.trip
    if stop.sight >= 0:
        return [Event("sight", moment_of(trip, day, start), moment_of(trip, day, end), f"Visit {stop.spot.name}", stop.spot)]
    tasks = _tasks(stop)
    edges = [start + (end - start) * k // len(tasks) for k in range(len(tasks) + 1)]
    events = []
    for k, (place, stores) in enumerate(tasks):
        spot = stop.spot if place is stop.place else spot_of(place)  # type: ignore[arg-type]
        when = moment_of(trip, day, edges[k]), moment_of(trip, day, edges[k + 1])
        events.append(Event("service", *when, _doing(trip, stores), spot, stores, stop.cents if k == 0 else 0))
    return events


def _doing(trip: Trip, stores: Sequence[str]) -> str:
    text = ", ".join(DOING[s] for s in stores if s != "flush" or trip.van.flush_l > 0)
    return text[:1].upper() + text[1:]


def _end_spot(work: Work, place: int):  # type: ignore[no-untyped-def]
    return (work.trip.depot, work.trip.return_depot)[place] if place < 2 else work.cast.sites[place - 2].spot
