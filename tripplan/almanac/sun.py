"""Sunrise, noon and sunset of a date, and how the sun's energy falls over its hours.

The equations are those of the NOAA solar calculator (Meeus, *Astronomical Algorithms*, low-precision sun): east longitude
positive, upper limb on the horizon at a zenith of 90.833°. They stay within 2 minutes of NREL's SPA up to the polar circles,
which is all a plan needs. The sun's energy by hours is `tripplan.almanac.solar`.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta, timezone
from functools import lru_cache
from math import acos, asin, cos, degrees, isfinite, radians, sin, tan
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from tripplan.almanac.solar import clear_sky_hours, haurwitz_w
from tripplan.model.errors import BadInputError

__all__ = [
    "SunDay",
    "clear_sky_kwh",
    "equation_of_time_min",
    "haurwitz_w",
    "hourly_sun_share",
    "local_zone",
    "sun_day",
    "sun_declination",
]

#: Upper limb on the horizon with 34' of refraction and 16' of radius [degrees]. NOAA.
ZENITH = 90.833
_EPOCH = datetime(2000, 1, 1, 12, tzinfo=UTC)


@dataclass(frozen=True, slots=True)
class SunDay:
    """The sun of one local date.

    Parameters
    ----------
    sunrise, sunset
        Aware, local; ``None`` when the sun does not cross the horizon.
    noon
        Sun highest; aware, local.
    daylight_h
        0 to 24 [h].
    polar
        ``"day"`` (no sunset), ``"night"`` (no sunrise) or empty.
    share
        Clear-sky share of the day's energy in each local clock hour; sums to 1, or is 0 everywhere in polar night.
    """

    sunrise: datetime | None
    sunset: datetime | None
    noon: datetime | None
    daylight_h: float
    polar: str = ""
    share: tuple[float, ...] = (0.0,) * 24


def local_zone(tz: str) -> ZoneInfo:
    """Return the zone of an IANA name; `BadInputError` when there is none of that name."""
    try:
        return ZoneInfo(tz)
    except (ZoneInfoNotFoundError, ValueError, OSError) as error:
        raise BadInputError(f"time zone {tz!r} is not known", accepted="an IANA name such as Etc/GMT-12 or UTC") from error


def _sun(when: datetime) -> tuple[float, float]:
    """Return declination [degrees] and equation of time [min] at an instant."""
    t = (when - _EPOCH).total_seconds() / 86400 / 36525
    lon = radians((280.46646 + t * (36000.76983 + 0.0003032 * t)) % 360)
    anomaly = radians(357.52911 + t * (35999.05029 - 0.0001537 * t))
    ecc = 0.016708634 - t * (0.000042037 + 0.0000001267 * t)
    centre = (
        sin(anomaly) * (1.914602 - t * (0.004817 + 0.000014 * t))
        + sin(2 * anomaly) * (0.019993 - 0.000101 * t)
        + sin(3 * anomaly) * 0.000289
    )
    node = radians(125.04 - 1934.136 * t)
    apparent = lon + radians(centre - 0.00569 - 0.00478 * sin(node))
    tilt = radians(23 + (26 + (21.448 - t * (46.815 + t * (0.00059 - t * 0.001813))) / 60) / 60 + 0.00256 * cos(node))
    y = tan(tilt / 2) ** 2
    equation = (
        y * sin(2 * lon)
        - 2 * ecc * sin(anomaly)
        + 4 * ecc * y * sin(anomaly) * cos(2 * lon)
        - 0.5 * y * y * sin(4 * lon)
        - 1.25 * ecc * ecc * sin(2 * anomaly)
    )
    return degrees(asin(sin(tilt) * sin(apparent))), 4 * degrees(equation)


def sun_declination(when: datetime) -> float:
    """Return the sun's declination at an aware instant [degrees]."""
    return _sun(when)[0]


def equation_of_time_min(when: datetime) -> float:
    """Return apparent less mean solar time at an aware instant [min]."""
    return _sun(when)[1]


def _cos_hour_angle(lat: float, declination: float) -> float:
    """Cosine of the hour angle at which the sun crosses the horizon; beyond ±1 it does not."""
    phi, delta = radians(min(max(lat, -89.9999), 89.9999)), radians(declination)
    return cos(radians(ZENITH)) / (cos(phi) * cos(delta)) - tan(phi) * tan(delta)


def _noon(day: date, lon: float, zone: ZoneInfo) -> datetime:
    """Solar noon whose local date is ``day``, in UTC."""
    guess = datetime(day.year, day.month, day.day, 12, tzinfo=UTC) - timedelta(minutes=4 * lon)
    noon = guess
    for _ in range(3):
        noon = guess - timedelta(minutes=_sun(noon)[1])
        # A zone may run a day ahead of or behind its longitude (the date line): keep the noon that falls on the local date.
        guess -= timedelta(days=(noon.astimezone(zone).date() - day).days)
    return guess - timedelta(minutes=_sun(guess)[1])


def _crossing(noon: datetime, lat: float, sign: int) -> datetime | None:
    """Sunrise (sign -1) or sunset (+1) next to a noon, in UTC, refined to the declination at its own instant."""
    when = noon
    noon_equation = _sun(noon)[1]
    for _ in range(4):
        declination, equation = _sun(when)
        cosine = _cos_hour_angle(lat, declination)
        if not -1 <= cosine <= 1:
            return None
        when = noon + timedelta(minutes=noon_equation - equation + sign * 4 * degrees(acos(cosine)))
    return when


def _check_position(lon: float, lat: float) -> None:
    if not (isfinite(lon) and isfinite(lat) and -180 <= lon <= 180 and -90 <= lat <= 90):
        raise BadInputError(f"position {lon:g}, {lat:g} is not on earth", accepted="longitude -180 to 180, latitude -90 to 90")


@lru_cache(maxsize=1024)
def sun_day(day: date, lon: float, lat: float, tz: str) -> SunDay:
    """Return sunrise, noon and sunset of a local date.

    Parameters
    ----------
    day
        The date that clocks at the place show.
    lon, lat
        [degrees, east and north positive]
    tz
        IANA name. The noon that falls on ``day`` by this clock is taken; sunset may fall past midnight of it.
    """
    _check_position(lon, lat)
    zone = local_zone(tz)
    noon = _noon(day, lon, zone)
    rise, fall = _crossing(noon, lat, -1), _crossing(noon, lat, +1)
    share = _share(day, lon, lat, zone)
    local_noon = noon.astimezone(zone)
    if rise is None or fall is None:
        # The horizon is crossed at most once near noon or midnight: the day counts as what it nearly wholly is.
        up = _cos_hour_angle(lat, _sun(noon)[0]) < 0
        return SunDay(None, None, local_noon, 24.0 if up else 0.0, "day" if up else "night", share)
    hours = (fall - rise).total_seconds() / 3600
    return SunDay(rise.astimezone(zone), fall.astimezone(zone), local_noon, hours, "", share)


def _share(day: date, lon: float, lat: float, zone: ZoneInfo) -> tuple[float, ...]:
    """Clear-sky share of each local clock hour of a date."""
    energy = clear_sky_hours(day, lon, lat, zone)
    total = float(energy.sum())
    return tuple(float(e) / total for e in energy) if total > 0 else (0.0,) * 24


def hourly_sun_share(day: date, lon: float, lat: float, tz: str) -> tuple[float, ...]:
    """Return the share of the day's solar energy that falls in each local clock hour (24; sums to 1, or all 0)."""
    return sun_day(day, lon, lat, tz).share


def clear_sky_kwh(day: date, lat: float, lon: float = 0.0) -> float:
    """Return the greatest energy that the sun can bring on the flat in a solar day [kWh/m²] (Haurwitz)."""
    _check_position(lon, lat)
    return float(clear_sky_hours(day, lon, lat, timezone(timedelta(minutes=round(4 * lon)))).sum())
