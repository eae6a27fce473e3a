"""The weather that a date is planned with: the trip's own figures, the region's table, else a guess by latitude and month.

The guess is common practice and has no source: mean air temperature near sea level by latitude, a yearly wave that is
warmest about four weeks after the longest day and smaller in the south (more sea), a daily swing, and a share of the
clear-sky sun that passes the clouds. It is there so that a plan can be made at all, and every plan says that it was used.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from math import cos, pi

import numpy as np

from tripplan.almanac.sun import clear_sky_kwh
from tripplan.model.van import DayWeather

__all__ = ["GUESS_SOURCE", "guess_weather", "weather_for"]

GUESS_SOURCE = "guess by latitude and date (common practice, no source)"

_LATITUDE = (0.0, 15.0, 30.0, 40.0, 50.0, 60.0, 70.0, 90.0)
_YEAR_MEAN_C = (26.0, 25.5, 20.0, 14.0, 9.0, 3.5, -5.0, -20.0)
# No wave at the equator itself: the seasons of the two halves must meet there.
_HALF_RANGE_NORTH = (0.0, 3.0, 7.0, 9.0, 9.0, 11.0, 13.0, 15.0)
_HALF_RANGE_SOUTH = (0.0, 2.5, 5.0, 5.0, 5.0, 6.0, 8.0, 15.0)
_HALF_DAY_SWING_C = (4.5, 5.0, 6.0, 5.5, 4.5, 4.0, 3.5, 3.0)
_THROUGH_CLOUD = (0.62, 0.65, 0.70, 0.68, 0.52, 0.48, 0.48, 0.48)


def _by_latitude(lat: float, values: tuple[float, ...]) -> float:
    return float(np.interp(abs(lat), _LATITUDE, values))


def guess_weather(day: date, lat: float) -> DayWeather:
    """Return the built-in guess for a date and latitude [degrees]."""
    warmest = 201 if lat >= 0 else 18  # day of the year: 20 July, 18 January
    half = _by_latitude(lat, _HALF_RANGE_NORTH if lat >= 0 else _HALF_RANGE_SOUTH)
    mean = _by_latitude(lat, _YEAR_MEAN_C) + half * cos(2 * pi * (day.timetuple().tm_yday - warmest) / 365.25)
    swing = _by_latitude(lat, _HALF_DAY_SWING_C)
    sun = clear_sky_kwh(day, lat) * _by_latitude(lat, _THROUGH_CLOUD)
    return DayWeather(round(mean, 1), round(mean - swing, 1), round(mean + swing, 1), round(sun, 2), GUESS_SOURCE)


def weather_for(
    day: date,
    lat: float,
    own: Mapping[int, DayWeather] | tuple[tuple[int, DayWeather], ...] = (),
    table: Mapping[int, DayWeather] | None = None,
    by_date: tuple[tuple[date, DayWeather], ...] = (),
) -> DayWeather:
    """Return the weather to plan a date with.

    Parameters
    ----------
    day
        Local date.
    lat
        [degrees, north positive]
    own
        The trip's figures by month (1 to 12), as a mapping or pairs; they rule where given.
    table
        Other figures by month; they rule next.
    by_date
        Figures by date, which rule over all: the trip's own file, or what a region's climate table comes to.
    """
    for when, weather in by_date:
        if when == day:
            return weather
    for by_month in (dict(own), dict(table or {})):
        if day.month in by_month:
            return by_month[day.month]
    return guess_weather(day, lat)
