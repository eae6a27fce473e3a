"""How long a day of the search would keep the fridge warm, against what the trip allows."""

from __future__ import annotations

from tripplan.schedule.energy import fridge_parts
from tripplan.schedule.laid import LaidDay
from tripplan.schedule.timetable import clock_of, events_of
from tripplan.schedule.use import weather_of
from tripplan.schedule.work import Work

__all__ = ["fridge_excess_h", "too_warm"]


def fridge_excess_h(work: Work, day: int, arc: int, laid: LaidDay | None = None) -> float:
    """Return by how much a towing day keeps the fridge above 5 °C for longer than the trip allows [h]; 0 where it does not.

    The day of pick-up never does: the fridge is warm then, and empty.

    Parameters
    ----------
    laid
        When the day starts; ``None``: as early as may be.
    """
    from tripplan.van.fridge import lived_day

    trip = work.trip
    if trip.fridge_limit_h < 0 or (day == 0 and trip.under_way is None) or work.options.car[arc]:
        return 0.0
    parts = fridge_parts(events_of(work, day, arc, clock_of(work, day, arc, (), laid)), trip.dates[day])
    if not parts:
        return 0.0
    end = int(work.options.end[arc])
    lat = (trip.return_depot if end == 1 else work.cast.sites[end - 2].spot).lat
    more = lived_day(trip.van, weather_of(trip, day, lat), parts).above_h - trip.fridge_limit_h
    return more if more > 1e-6 else 0.0


def too_warm(work: Work, day: int, arc: int, laid: LaidDay) -> bool:
    """Say whether a day, as it is laid out, keeps the fridge warm for longer than the trip allows."""
    return fridge_excess_h(work, day, arc, laid) > 0
