"""Monthly normals of weather stations, and the weather that a trip's dates are planned with by them.

A normal is the mean of a month over many years; between the middles of two months the weather goes in a straight line. A trip is planned
with the stations nearest to the places that it names, and of those with the coldest and dullest (the warmest for the fridge): where the
nights will be spent is not known before the plan is made, and whatever it chooses must hold.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from math import asin, cos, inf, radians, sin, sqrt

from tripplan.model.errors import BadInputError
from tripplan.model.van import DayWeather

__all__ = [
    "FARTHEST_KM",
    "MOST_STATIONS",
    "Station",
    "nearest_km",
    "nearest_station",
    "stations_from",
    "stations_text",
    "under_cloud",
    "weather_by_date",
]

#: More than any region's table holds.
MOST_STATIONS = 5000
#: A station farther away says nothing of a place [km].
FARTHEST_KM = 250.0
_EARTH_KM = 6371.0
#: Accepted ranges of mean, low and high [°C] and sun [kWh/m² a day].
_RANGES = ((-60.0, 45.0), (-70.0, 45.0), (-60.0, 55.0), (0.0, 12.0))


@dataclass(frozen=True, slots=True)
class Station:
    """A weather station and its normals.

    Parameters
    ----------
    lon, lat
        [degrees, east and north positive]
    months
        (12) mean, low and high [°C] and sun [kWh/m² a day], January first. low and high: mean of the days' coldest and warmest hour.
    source
        The table that it comes from.
    """

    name: str
    lon: float
    lat: float
    months: tuple[tuple[float, float, float, float], ...]
    source: str = ""

    def __post_init__(self) -> None:
        where = f"station {self.name!r}"
        if not (-180 <= self.lon <= 180 and -90 <= self.lat <= 90):
            raise BadInputError(
                f"lon, lat are {self.lon:g}, {self.lat:g}", where=where, accepted="-180 to 180, -90 to 90 degrees"
            )
        if len(self.months) != 12:
            raise BadInputError(f"has {len(self.months)} months", where=where, accepted="each of the 12 months once")
        for number, month in enumerate(self.months, 1):
            if not all(low <= x <= high for x, (low, high) in zip(month, _RANGES, strict=True)):
                raise BadInputError(
                    f"month {number} holds {', '.join(f'{x:g}' for x in month)}", where=where,
                    accepted="mean -60 to 45, low -70 to 45, high -60 to 55 °C, sun 0 to 12 kWh/m² a day",
                )  # fmt: skip
            if not month[1] <= month[0] <= month[2]:
                raise BadInputError(
                    f"month {number} has no low <= mean <= high", where=where, accepted="a mean between low and high"
                )

    def on(self, day: date) -> tuple[float, float, float, float]:
        """Return mean, low and high [°C] and sun [kWh/m²] of a date."""
        here = self.months[day.month - 1]
        step = -1 if day.day < 15 else 1
        other = self.months[(day.month - 1 + step) % 12]
        share = abs(day.day - 15) / 30.4
        mean, low, high, sun = (a + share * (b - a) for a, b in zip(here, other, strict=True))
        return mean, low, high, sun


def under_cloud(clear_kwh: float, cloud: float) -> float:
    """Return the sun that passes clouds covering a share of the sky, 0 to 1 (Kasten & Czeplak, Solar Energy 24, 1980; from memory)."""
    return float(clear_kwh * (1 - 0.75 * min(max(cloud, 0.0), 1.0) ** 3.4))


def nearest_station(stations: Sequence[Station], lon: float, lat: float) -> Station | None:
    """Return the station nearest to a place as the crow flies; ``None`` when there is none within `FARTHEST_KM`."""
    best = min(((_km(s, lon, lat), row) for row, s in enumerate(stations)), default=(FARTHEST_KM + 1, -1))
    return stations[best[1]] if best[0] <= FARTHEST_KM else None


def nearest_km(stations: Sequence[Station], places: Iterable[tuple[float, float]]) -> tuple[float, str]:
    """Return how far the station nearest to any of some places (longitude, latitude) is [km], and its name; infinite without any."""
    return min(((_km(s, lon, lat), s.name) for lon, lat in places for s in stations), default=(inf, ""))


def _km(station: Station, lon: float, lat: float) -> float:
    a, b = radians(station.lat), radians(lat)
    half = sin((b - a) / 2) ** 2 + cos(a) * cos(b) * sin(radians(lon - station.lon) / 2) ** 2
    return 2 * _EARTH_KM * asin(sqrt(min(1.0, half)))


def weather_by_date(
    stations: Sequence[Station], dates: Iterable[date], places: Iterable[tuple[float, float]]
) -> tuple[tuple[date, DayWeather], ...]:
    """Return the weather that dates are planned with; empty when no station is near.

    Parameters
    ----------
    places
        Longitude and latitude of the places that the trip names: depots, sights, bookings.
    """
    near = dict.fromkeys(s for lon, lat in places if (s := nearest_station(stations, lon, lat)) is not None)
    if not near:
        return ()
    names = list(dict.fromkeys(s.name for s in near))
    told = names[0] if len(names) == 1 else f"the coldest and dullest of {', '.join(names[:-1])} and {names[-1]}"
    sources = ", ".join(dict.fromkeys(s.source for s in near if s.source))
    source = f"climate table{f' {sources}' if sources else ''}: {told}"
    out = []
    for day in dates:
        mean, low, high, sun = zip(*(s.on(day) for s in near), strict=True)
        out.append((day, DayWeather(round(min(mean), 1), round(min(low), 1), round(max(high), 1), round(min(sun), 2), source)))
    return tuple(out)


def stations_text(stations: Sequence[Station]) -> str:
    """Return stations as JSON text, to be kept in a region."""
    rows = [[s.name, s.lon, s.lat, [list(month) for month in s.months], s.source] for s in stations]
    return json.dumps(rows, ensure_ascii=False, separators=(",", ":"))


def stations_from(text: str) -> tuple[Station, ...]:
    """Return the stations of a text as `stations_text` writes it; `BadInputError` when it is damaged."""
    try:
        rows = json.loads(text)
        return tuple(
            Station(
                str(name),
                float(lon),
                float(lat),
                tuple((float(a), float(b), float(c), float(d)) for a, b, c, d in months),
                str(source),
            )
            for name, lon, lat, months, source in rows
        )
    except (ValueError, TypeError, RecursionError, OverflowError):
        raise BadInputError(
            "the climate table is damaged", next_step="build the region again with `tripplan region build`"
        ) from None
