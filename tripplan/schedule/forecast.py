"""Hourly use on each calendar day of a trip, cut where its stretches meet, on the mean or with what keeps a limit at a confidence.

Sun and weather are taken at two opposite corners of what the trip may see, and the worse of both counts.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from tripplan.model.trip import Trip
from tripplan.model.van import DayWeather
from tripplan.schedule.candidates import Cast
from tripplan.schedule.hours import DayHours
from tripplan.van.blocks import Block, block_of, day_block, worst
from tripplan.van.spread import Spreads, mean_weather, parts_of, spreads_of
from tripplan.van.use import MEAN, StayKind, Tilt, hourly, slots

__all__ = ["Forecast", "corners", "forecast_of", "weather_of"]

F64 = NDArray[np.float64]
#: What a place serves is done by then, before most water is used [h]: common practice, no source.
_SUPPER_H = 17.0
Rows = tuple[F64, int, int]


def weather_of(trip: Trip, day: int, lat: float) -> DayWeather:
    """Return the weather that a day is planned with."""
    from tripplan.almanac.climate import weather_for

    return weather_for(trip.dates[day], lat, trip.weather, by_date=trip.weather_days)


def corners(trip: Trip, cast: Cast) -> tuple[tuple[float, float], ...]:
    """Two opposite corners of what the trip may see, or one point where they are near: sun and weather are taken at both."""
    spots = [trip.depot, trip.return_depot, *(s.spot for s in cast.sites)]
    lon, lat = [s.lon for s in spots], [s.lat for s in spots]
    if max(lat) - min(lat) < 0.05 and max(lon) - min(lon) < 0.1:
        return ((trip.depot.lon, trip.depot.lat),)
    return ((min(lon), min(lat)), (max(lon), max(lat)))


@dataclass
class Forecast:
    """Use of each calendar day.

    Parameters
    ----------
    ends
        Longitude and latitude of the corners. weathers: of each corner, day by day.
    leave, arrive
        Hours of the earliest leaving and the latest arrival of each day.
    """

    trip: Trip
    ends: tuple[tuple[float, float], ...]
    weathers: list[list[DayWeather]]
    leave: list[float]
    arrive: list[float]
    _known: dict[tuple[int, int, StayKind | None, Tilt | None], Rows] = field(default_factory=dict)

    @cached_property
    def shares(self) -> list[list[tuple[float, ...]]]:
        """Of each corner, day by day: share of the day's sun in each hour."""
        from tripplan.almanac.sun import sun_day

        return [[sun_day(day, lon, lat, self.trip.tz).share for day in self.trip.dates] for lon, lat in self.ends]

    @cached_property
    def spreads(self) -> Spreads:
        """Errors of the trip's figures, at an ordinary day of it."""
        share = np.mean([row for rows in self.shares for row in rows], axis=0)
        return spreads_of(
            self.trip.van, self.trip.party, mean_weather([w for row in self.weathers for w in row]), tuple(share.tolist())
        )

    def rows(self, d: int, end: int, kind: StayKind | None, tilt: Tilt | None = MEAN) -> Rows:
        """Return the use of each slot of a calendar day, and where leaving and arriving cut it.

        Parameters
        ----------
        tilt
            ``None``: the means part by part, as from `tripplan.van.spread.parts_of`.
        """
        key = (d, end, kind, tilt)
        if key not in self._known:
            parts = [slots(0.0, self.leave[d]), slots(self.leave[d], self.arrive[d]), slots(self.arrive[d], 24.0)]
            hours, trip = np.concatenate(parts), self.trip
            given = (trip.van, trip.party, self.weathers[end][d], self.shares[end][d], kind, hours)
            use = parts_of(*given) if tilt is None else hourly(*given, tilt=tilt)
            self._known[key] = (use, len(parts[0]), len(parts[0]) + len(parts[1]))
        return self._known[key]

    def night_rows(self, d: int, end: int, kind: StayKind, tilt: Tilt | None = MEAN) -> F64:
        """Return the use from the latest arrival to the next morning's leaving."""
        evening, _, b = self.rows(d, end, kind, tilt)
        morning, a, _ = self.rows(d + 1, end, kind, tilt)
        return np.concatenate((evening[b:], morning[:a]))

    def day_rows(self, d: int, end: int, kind: StayKind | None, tilt: Tilt | None = MEAN) -> F64:
        """Return the use between leaving and arriving hours: standing at a kind of place, or with nothing given."""
        rows, a, b = self.rows(d, end, kind, tilt)
        return rows[a:b]

    def evening_rows(self, d: int, end: int, kind: StayKind, tilt: Tilt | None = MEAN) -> F64:
        """Return the use at a place from supper to the latest arrival: nobody need see to its stores later than then."""
        trip, hours = self.trip, slots(_SUPPER_H, self.arrive[d])
        given = (trip.van, trip.party, self.weathers[end][d], self.shares[end][d], kind, hours)
        return parts_of(*given) if tilt is None else hourly(*given, tilt=tilt)

    def road_parts(self, d: int, end: int, most_s: int, afloat_s: int = 0) -> F64:
        """Return the means of a towing day part by part, driving first where that draws on the van's battery, then crossing."""
        if self.trip.van.fridge_towing != "battery":
            return self.day_rows(d, end, None, None)
        leave, arrive = self.leave[d], self.arrive[d]
        turn = min(arrive, leave + most_s / 3600)
        quay = min(arrive, turn + afloat_s / 3600)
        # Aboard the car's engine is off and charges nothing.
        stretches = ((leave, turn, self.trip.van, 1.0), (turn, quay, replace(self.trip.van, car_charge_a=0.0), 1.0),
                     (quay, arrive, self.trip.van, 0.0))  # fmt: skip
        given = (self.trip.party, self.weathers[end][d], self.shares[end][d], None)
        return np.concatenate([parts_of(van, *given, slots(a, b), towing) for a, b, van, towing in stretches])

    def _worst(self, rows: Callable[[int], F64]) -> Block:
        block = block_of(rows(0))
        for end in range(1, len(self.ends)):
            block = worst(block, block_of(rows(end)))
        return block

    def night(self, d: int, kind: StayKind, tilt: Tilt) -> Block:
        """Return the block from the latest arrival to the next morning's leaving."""
        return self._worst(lambda end: self.night_rows(d, end, kind, tilt))

    def stay(self, d: int, kind: StayKind, tilt: Tilt) -> Block:
        """Return the block of a standing day between leaving and arriving hours."""
        return self._worst(lambda end: self.day_rows(d, end, kind, tilt))

    def road(self, d: int, most_s: int, tilt: Tilt, afloat_s: int = 0) -> Block:
        """Return the block of a towing day: for each store, the worse of hardly driving and driving so long, first or last.

        Parameters
        ----------
        most_s
            The most that is driven and crossed [s]. afloat_s: what of it is aboard ferries, where the car charges nothing.
        """
        from tripplan.almanac.sun import SunDay

        block: Block | None = None
        for end, shares in enumerate(self.shares):
            sun = SunDay(None, None, None, 0.0, "", shares[d])
            # At the wheel nothing draws more than at rest, unless the fridge runs from the van's battery.
            at_most = min(most_s / 3600, max(0.0, self.arrive[d] - self.leave[d]))
            for drive_h in (0.0, at_most) if self.trip.van.fridge_towing == "battery" else (0.0,):
                one = day_block(
                    self.trip.van, self.trip.party, self.weathers[end][d], sun, drive_h=drive_h, afloat_h=afloat_s / 3600, kind=None,
                    leave_h=self.leave[d], arrive_h=self.arrive[d], tilt=tilt,
                )  # fmt: skip
                block = one if block is None else worst(block, one)
        assert block is not None
        return block


def forecast_of(trip: Trip, cast: Cast, hours: DayHours | None = None) -> Forecast:
    """Return the forecast of a trip; without hours, one that only tells weather and errors."""
    ends = corners(trip, cast)
    leave: Sequence[float] = [0.0] * len(trip.dates) if hours is None else [float(s) / 3600 for s in hours.first_leave]
    arrive = [24.0] * len(trip.dates) if hours is None else [min(24.0, float(s) / 3600) for s in hours.last_arrive]
    weathers = [[weather_of(trip, d, lat) for d in range(len(trip.dates))] for _, lat in ends]
    return Forecast(trip, ends, weathers, list(leave), arrive)
