"""Where the sun stands and what it gives on the flat under a clear sky, for many instants at once.

Position after Meeus, *Astronomical Algorithms* (1998), chapter 25, low accuracy (0.01°), with sidereal time from his chapter 12
and the refraction of NREL's SPA (Reda & Andreas 2003, equation 42) at 1013.25 mbar and 12 °C. Clear sky after Haurwitz (1945,
1946): 1098 cos z exp(-0.059 / cos z) W/m². pvlib does the same with SPA; its import would cost a plan more than the search.
"""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta, tzinfo

import numpy as np
from numpy.typing import NDArray

__all__ = ["apparent_cos_zenith", "clear_sky_hours", "clear_sky_w", "haurwitz_w"]

F64 = NDArray[np.float64]
_EPOCH = datetime(2000, 1, 1, 12, tzinfo=UTC)
#: The sun's horizontal parallax [degrees].
_PARALLAX = 8.794 / 3600
_A_DAY_S = 86_400.0
#: Samples of an hour.
_PER_HOUR = 12


def haurwitz_w(cos_zenith: F64) -> F64:
    """Return clear-sky irradiance on the flat [W/m²] (Haurwitz 1945, 1946)."""
    up = np.maximum(cos_zenith, 1e-6)
    return np.asarray(np.where(cos_zenith > 0, 1098 * up * np.exp(-0.059 / up), 0.0))


def apparent_cos_zenith(seconds: F64, lon: float, lat: float) -> F64:
    """Return the cosine of the zenith angle at which the sun appears, refraction counted.

    Parameters
    ----------
    seconds
        UTC seconds since 2000-01-01 12:00.
    lon, lat
        [degrees, east and north positive]
    """
    days = seconds / _A_DAY_S
    # Earth's rotation lags by about 69 s in these years, which moves the sun by a millionth of a turn: left out.
    t = days / 36525
    mean_lon = 280.46646 + t * (36000.76983 + 0.0003032 * t)
    anomaly = np.radians(357.52911 + t * (35999.05029 - 0.0001537 * t))
    centre = (
        np.sin(anomaly) * (1.914602 - t * (0.004817 + 0.000014 * t))
        + np.sin(2 * anomaly) * (0.019993 - 0.000101 * t)
        + np.sin(3 * anomaly) * 0.000289
    )
    node = np.radians(125.04 - 1934.136 * t)
    apparent = np.radians(mean_lon + centre - 0.00569 - 0.00478 * np.sin(node))
    tilt = np.radians(23.4392911 - t * 0.0130042 + 0.00256 * np.cos(node))
    right = np.arctan2(np.cos(tilt) * np.sin(apparent), np.cos(apparent))
    sin_declination = np.sin(tilt) * np.sin(apparent)
    cos_declination = np.sqrt(1 - sin_declination**2)
    nutation = -0.00478 * np.sin(node) * np.cos(tilt)
    sidereal = 280.46061837 + 360.98564736629 * days + 0.000387933 * t * t + nutation
    hour_angle = np.radians(sidereal + (lon + 180) % 360 - 180) - right  # both sides of the 180th meridian alike
    phi = np.radians(lat)
    sin_up = np.clip(np.sin(phi) * sin_declination + np.cos(phi) * cos_declination * np.cos(hour_angle), -1, 1)
    up = np.degrees(np.arcsin(sin_up)) - _PARALLAX * np.sqrt(1 - sin_up**2)
    high = np.maximum(up, -0.8333)
    bent = (1013.25 / 1010) * (283 / (273 + 12)) * 1.02 / (60 * np.tan(np.radians(high + 10.3 / (high + 5.11))))
    return np.asarray(np.sin(np.radians(np.where(up >= -0.8333, up + bent, up))))


def clear_sky_w(seconds: F64, lon: float, lat: float) -> F64:
    """Return clear-sky irradiance on the flat at UTC seconds since 2000-01-01 12:00 [W/m²]."""
    return haurwitz_w(apparent_cos_zenith(seconds, lon, lat))


def clear_sky_hours(day: date, lon: float, lat: float, zone: tzinfo) -> F64:
    """Return what a clear sky gives in each local clock hour of a date, (24) [kWh/m²].

    On the day on which clocks go forward the hour that is not there counts like the one before it, on the day on which they go back
    the hour that comes twice counts once: both lie in the night but near the poles.
    """
    midnight = datetime(day.year, day.month, day.day, tzinfo=zone)
    behind = [(midnight + timedelta(hours=h)).utcoffset() or timedelta() for h in (0, 23)]
    if behind[0] != behind[1]:
        behind = [(midnight + timedelta(hours=h)).utcoffset() or timedelta() for h in range(24)]
    local = (midnight.replace(tzinfo=UTC) - _EPOCH).total_seconds() + np.arange(24) * 3600.0
    starts = local - np.array([b.total_seconds() for b in behind] if len(behind) == 24 else behind[0].total_seconds())
    inside = (np.arange(_PER_HOUR) + 0.5) * (3600 / _PER_HOUR)
    return np.asarray(clear_sky_w(starts[:, None] + inside, lon, lat).mean(axis=1) / 1000)
