"""The hours of each day of a trip: from when the van may leave each place, and until when it must have arrived."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, time, timedelta

import numpy as np
from numpy.typing import NDArray

from tripplan.model.errors import BadInputError
from tripplan.model.place import Spot
from tripplan.model.trip import Trip
from tripplan.region.region import Region
from tripplan.schedule.candidates import Cast, pitch_of

__all__ = ["DayHours", "depot_hours_of", "hours_of"]

I64 = NDArray[np.int64]
#: Sunrise and sunset are looked up on a grid so wide, and the latest and earliest of its corners taken [degrees].
_GRID = 1.0


@dataclass(frozen=True)
class DayHours:
    """The frame of all days.

    Parameters
    ----------
    leave, arrive
        (D, P) earliest leaving and latest arrival [s after midnight] at depot, return depot and the sites; arrive is -1
        where no arrival is possible.
    first_leave, last_arrive
        (D) earliest leaving and latest arrival anywhere on the day [s]: between them the forecast counts the party as on the road,
        from pick-up on the first day and until the return on the last.
    goal_windows
        When the depot takes vans back on the last day [s]; ``None``: any time.
    leave_by
        (D, P) when a place must have been left, where its check-out says so; else the end of the day [s].
    back
        (D, P) latest coming back by car of those who have a pitch there already: no desk is needed [s].

    A sun that does not set, or does not rise, bounds no day: then the trip's own hours alone do. Where it does not rise one arrives in
    the dark whatever one does, and the plan says so. Check-out never makes a day impossible: where it comes before the day may
    begin, one leaves the pitch by then and waits.
    """

    leave: I64
    arrive: I64
    first_leave: I64
    last_arrive: I64
    goal_windows: tuple[tuple[int, int], ...] | None
    leave_by: I64
    back: I64


def seconds_of(moment: datetime) -> int:
    """Return the local wall clock [s after midnight]."""
    return moment.hour * 3600 + moment.minute * 60 + moment.second


def moment_of(trip: Trip, day: int, seconds: int) -> datetime:
    """Return the local time of a day's number and seconds after its midnight."""
    from tripplan.almanac.sun import local_zone

    return datetime.combine(trip.dates[day], time()).replace(tzinfo=local_zone(trip.tz)) + timedelta(seconds=seconds)


@dataclass
class _Sun:
    trip: Trip

    def __post_init__(self) -> None:
        self.corners: dict[tuple[int, int, int], tuple[int, int]] = {}

    def corner(self, day: int, x: int, y: int) -> tuple[int, int]:
        """Sunrise and sunset at a corner of the grid [s after midnight]; a sun that does not set or rise closes nothing."""
        key = (day, x, y)
        if key not in self.corners:
            lon, lat = min(max(x * _GRID, -180.0), 180.0), min(max(y * _GRID, -90.0), 90.0)
            self.corners[key] = _light(self.trip, day, lon, lat)
        return self.corners[key]

    def is_mixed(self, day: int, x: int, y: int) -> bool:
        """Say whether the sun rises and sets in a part of a cell only."""
        return _mixed([self.corner(day, x + dx, y + dy) for dx in (0, 1) for dy in (0, 1)])

    def at(self, day: int, spot: Spot) -> tuple[int, int]:
        """Latest sunrise and earliest sunset of the grid cell around a point [s]."""
        x, y = int(np.floor(spot.lon / _GRID)), int(np.floor(spot.lat / _GRID))
        four = [self.corner(day, x + dx, y + dy) for dx in (0, 1) for dy in (0, 1)]
        if _mixed(four):
            return _light(self.trip, day, spot.lon, spot.lat)
        return max(r for r, _ in four), min(s for _, s in four)


#: Hours of a day that light does not bound.
_ENDLESS = (0, 86_400)


def _mixed(four: list[tuple[int, int]]) -> bool:
    """Say whether the sun rises and sets in a part of a cell only."""
    return _ENDLESS in four and any(light != _ENDLESS for light in four)


def _light(trip: Trip, day: int, lon: float, lat: float) -> tuple[int, int]:
    """Sunrise and sunset at a point [s after midnight]; `_ENDLESS` where the sun does not rise or does not set."""
    from tripplan.almanac.sun import sun_day

    date = trip.dates[day]
    sun = sun_day(date, lon, lat, trip.tz)
    if sun.sunrise is None or sun.sunset is None:
        return _ENDLESS
    return _on_date(sun.sunrise, date), _on_date(sun.sunset, date)


def _on_date(moment: datetime, date: object) -> int:
    days = (moment.date() - date).days  # type: ignore[operator]
    return int(days * 86_400 + seconds_of(moment))


def _hull(cells: Iterable[tuple[int, int]]) -> list[tuple[int, int]]:
    """Corners of the grid around all cells."""
    x, y = zip(*cells, strict=True)
    return [(a, b) for a in (min(x), max(x) + 1) for b in (min(y), max(y) + 1)]


def hours_of(trip: Trip, region: Region, cast: Cast) -> DayHours:
    """Work out the hours of every day.

    Raises
    ------
    BadInputError
        When the depot is closed at the hour of pick-up, or on the day of return.
    """
    spots = (trip.depot, trip.return_depot, *(s.spot for s in cast.sites))
    count, days = len(spots), len(trip.dates)
    sun = _Sun(trip)
    cells = {(int(np.floor(s.lon / _GRID)), int(np.floor(s.lat / _GRID))): s for s in spots}
    cell = [(int(np.floor(s.lon / _GRID)), int(np.floor(s.lat / _GRID))) for s in spots]
    leave = np.zeros((days, count), dtype=np.int64)
    arrive = np.zeros((days, count), dtype=np.int64)
    wide = _hull(cells)
    for d in range(days):
        # Where light closes nothing at the corners of all, it closes nothing between them.
        corners = [sun.corner(d, x, y) for x, y in wide]
        rise, fall = max(r for r, _ in corners), min(f for _, f in corners)
        endless = all(corner == _ENDLESS for corner in corners)
        if endless or (rise <= trip.leave_after_min * 60 and fall - trip.sunset_margin_min * 60 >= trip.arrive_by_min * 60):
            leave[d], arrive[d] = trip.leave_after_min * 60, trip.arrive_by_min * 60
            continue
        by_cell = {key: None if sun.is_mixed(d, *key) else sun.at(d, spot) for key, spot in cells.items()}
        light = np.array([by_cell[c] or sun.at(d, spot) for c, spot in zip(cell, spots, strict=True)])
        leave[d] = np.maximum(trip.leave_after_min * 60, light[:, 0])
        # Where the sun does not set or rise, the margin before sunset means nothing.
        last = np.where((light == _ENDLESS).all(axis=1), light[:, 1], light[:, 1] - trip.sunset_margin_min * 60)
        arrive[d] = np.minimum(trip.arrive_by_min * 60, last)
    ready = seconds_of(trip.pick_up) + trip.firm.handover_min * 60
    leave[0] = max(ready, sun.at(0, trip.depot)[0])
    due = seconds_of(trip.return_by) - trip.firm.return_min * 60
    arrive[-1] = np.minimum(arrive[-1], due)
    goal_windows = depot_hours_of(trip, region)
    if goal_windows:
        arrive[-1] = np.minimum(arrive[-1], max(b for _, b in goal_windows) - trip.firm.return_min * 60)
    back = arrive.copy()
    for number, site in enumerate(cast.sites):
        for d in range(days - 1):
            windows = site.hours[d]
            if not site.open[d]:
                arrive[d, 2 + number] = -1
            elif windows:
                arrive[d, 2 + number] = min(arrive[d, 2 + number], max(b for _, b in windows))
    first_leave = leave[:, :].min(axis=1)
    first_leave[0] = seconds_of(trip.pick_up)
    last_arrive = arrive.max(axis=1)
    last_arrive[-1] = seconds_of(trip.return_by)
    leave_by = np.full((days, count), 86_400, dtype=np.int64)
    for number, site in enumerate(cast.sites):
        for d, until in enumerate(site.check_out):
            if until >= 0:
                leave_by[d, 2 + number] = max(until, leave[d, 2 + number])
    pitch = pitch_of(trip, cast.sites)
    if pitch >= 0:
        leave_by[0, 0] = leave_by[0, 2 + pitch]
    return DayHours(leave, arrive, first_leave, np.maximum(last_arrive, first_leave), goal_windows, leave_by, back)


def depot_hours_of(trip: Trip, region: Region) -> tuple[tuple[int, int], ...] | None:
    """Check pick-up against the depot's hours, and return those of the return day."""
    text = trip.firm.depot_hours
    if not text.strip():
        return None
    from tripplan.almanac.hours import is_readable, windows

    where = "firm, `depot_hours`"
    if not is_readable(text):
        raise BadInputError(f"{text!r} cannot be read as opening hours", where=where, accepted="such as Mo-Sa 08:00-18:00")
    country = region.meta.country
    first = windows(text, trip.dates[0], 0, 1440, country, trip.depot.lon, trip.depot.lat)
    at = seconds_of(trip.pick_up) // 60
    if trip.under_way is None and not any(a <= at and at + trip.firm.handover_min <= b for a, b in first.windows):
        raise BadInputError(
            f"the depot is closed at pick-up, {trip.pick_up:%a %Y-%m-%d %H:%M} ({text})",
            where=where,
            next_step="mend the time of pick-up",
        )
    last = windows(text, trip.dates[-1], 0, 1440, country, trip.return_depot.lon, trip.return_depot.lat)
    if not last.windows:
        raise BadInputError(
            f"the depot is closed on the day of return, {trip.return_by:%a %Y-%m-%d} ({text})",
            where=where,
            next_step="mend the day of return",
        )
    return tuple((a * 60, b * 60) for a, b in last.windows)
