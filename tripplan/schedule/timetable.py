"""Legs and events of a day: what the clock laid out, in words."""

from __future__ import annotations

import itertools
from collections.abc import Sequence

import numpy as np

from tripplan.model.plan import Event, Leg
from tripplan.model.words import STORES
from tripplan.schedule.assemble import Work
from tripplan.schedule.candidates import SERVES, Stop, spot_of
from tripplan.schedule.clock import ClockDay, StopTask, lay_out
from tripplan.schedule.hours import moment_of, seconds_of

__all__ = ["clock_of", "events_of", "legs_of"]

#: Sites are left by so late and taken from so early (common practice, no source); the car goes out for the day at [s].
CHECK_OUT_S, CHECK_IN_S, CAR_OUT_S = 10 * 3600 + 1800, 14 * 3600, 10 * 3600

_DOING = {
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


def _before_ferry(work: Work, leg: Leg) -> int:
    """Time at the wheel before the first ferry of a leg [s]."""
    from tripplan.region.columns import Flag

    ways = work.region.ways.flags[work.region.pieces.way[np.array(leg.runs.piece, dtype=np.int64)]]
    afloat = np.flatnonzero(ways & int(Flag.FERRY))
    times = np.array(leg.runs.time_s, dtype=np.float64)
    return int(times[: afloat[0]].sum()) if len(afloat) else int(leg.drive_s)


def clock_of(work: Work, day: int, arc: int, legs: Sequence[Leg] = ()) -> ClockDay:
    """Lay out a day of the trip.

    Parameters
    ----------
    legs
        Of the arc, where they are known: they say where on a leg its ferry lies.
    """
    points, stops = work.points(arc), work.stops(arc)
    table = work.ways_of(arc).car if work.options.car[arc] else work.ways_of(arc).van
    spans = []
    for k, (a, b) in enumerate(itertools.pairwise(points)):
        total, drive = int(table.total_s[a, b]), int(table.drive_s[a, b])
        before = min(drive, _before_ferry(work, legs[k])) if legs and total > drive else drive
        spans.append((total, drive, before))
    start, end = int(work.options.start[arc]), int(work.options.end[arc])
    hours, trip = work.hours, work.trip
    arrive_by = int(hours.arrive[day, end])
    if work.options.car[arc] and arrive_by < 0:
        arrive_by = 86_400
    tasks = [StopTask(s.seconds, s.windows[day]) for s in stops]
    last = end == 1
    site = None if last else work.cast.sites[end - 2]
    windows = hours.goal_windows if last else (site.hours[day] or None if site and not work.options.car[arc] else None)
    booked = not last and work.cast.booked[day] == end - 2
    earliest = int(hours.leave[day, start])
    end_s = trip.firm.return_min * 60 if last else 0

    def laid(leave: int) -> ClockDay:
        return lay_out(leave, spans, tasks, arrive_by, None if booked else windows, end_s)

    first = laid(earliest)
    if first.fault is not None or day == 0 or len(points) < 2:
        return first
    # Nobody is at a site's desk at nine: a short day starts later, where its stops allow (common practice, no source).
    wish = CAR_OUT_S if work.options.car[arc] else min(CHECK_OUT_S, max(earliest, CHECK_IN_S - (first.arrive - earliest)))
    later = laid(wish) if wish > earliest else first
    return later if later.fault is None and later.arrive - wish <= first.arrive - earliest else first


def _tasks(stop: Stop) -> list[tuple[object, tuple[str, ...]]]:
    """Return which place serves which stores at a stop, each store by the place that is surest of it."""
    done: dict[int, tuple[object, list[str]]] = {}
    for word, place in stop.givers:
        for r, store in enumerate(STORES):
            if SERVES[word] & stop.serves & (1 << r):
                done.setdefault(place.index, (place, []))[1].append(store.value)
    return [(place, tuple(stores)) for place, stores in done.values()]


def events_of(work: Work, day: int, arc: int, laid: ClockDay) -> tuple[Event, ...]:
    """Return the timetable of a day."""
    trip, stops, points = work.trip, work.stops(arc), work.points(arc)
    end = int(work.options.end[arc])
    spots = [_end_spot(work, int(work.options.start[arc])), *(s.spot for s in stops), _end_spot(work, end)]

    def at(seconds: int):  # type: ignore[no-untyped-def]
        return moment_of(trip, day, seconds)

    events: list[Event] = []
    if day == 0:
        begin = seconds_of(trip.pick_up)
        text = f"Pick up {trip.van.name} and be shown how everything works"
        events.append(Event("handover", at(begin), at(begin + trip.firm.handover_min * 60), text, trip.depot))
    for row in laid.rows:
        start, stop_at = at(row.start), at(row.end)
        if row.kind == "drive":
            way = "Drive by car to" if work.options.car[arc] else "Tow to"
            events.append(Event("drive", start, stop_at, f"{way} {spots[row.number + 1].name}", spots[row.number + 1]))
        elif row.kind == "ferry":
            events.append(Event("ferry", start, stop_at, "Ferry: gas off at the bottle", None))
        elif row.kind == "break":
            events.append(Event("break", start, stop_at, "Break", None))
        elif row.kind == "wait":
            events.append(Event("break", start, stop_at, f"Wait until {spots[row.number + 1].name} opens", None))
        else:
            events += _stop_events(work, day, stops[row.number], row.start, row.end)
    arrived = at(laid.arrive)
    if end == 1:
        done = at(laid.arrive + trip.firm.return_min * 60)
        events.append(Event("return", arrived, done, "Return the van, empty and clean", trip.return_depot))
    elif work.options.car[arc]:
        begin = at(laid.arrive if len(points) > 1 else laid.leave)
        text = "Back at the van" if len(points) > 1 else "A day without driving"
        events.append(Event("stay", begin, begin, text, spots[-1]))
    else:
        events.append(Event("arrive", arrived, arrived, f"Arrive at {spots[-1].name}", spots[-1]))
    return tuple(events)


def _stop_events(work: Work, day: int, stop: Stop, start: int, end: int) -> list[Event]:
    trip = work.trip
    if stop.sight >= 0:
        return [Event("sight", moment_of(trip, day, start), moment_of(trip, day, end), f"Visit {stop.spot.name}", stop.spot)]
    tasks = _tasks(stop)
    edges = [start + (end - start) * k // len(tasks) for k in range(len(tasks) + 1)]
    events = []
    for k, (place, stores) in enumerate(tasks):
        text = ", ".join(_DOING[s] for s in stores if s != "flush" or trip.van.flush_l > 0)
        spot = stop.spot if place is stop.place else spot_of(place)  # type: ignore[arg-type]
        when = moment_of(trip, day, edges[k]), moment_of(trip, day, edges[k + 1])
        events.append(Event("service", *when, text[:1].upper() + text[1:], spot, stores, stop.cents if k == 0 else 0))
    return events


def _end_spot(work: Work, place: int):  # type: ignore[no-untyped-def]
    return (work.trip.depot, work.trip.return_depot)[place] if place < 2 else work.cast.sites[place - 2].spot
