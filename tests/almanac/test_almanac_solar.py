"""The sun's energy by hours against pvlib: latitudes, dates and hours, both hemispheres, polar day and night, clock changes."""

from __future__ import annotations

from datetime import UTC, date, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tripplan.almanac.solar import apparent_cos_zenith, clear_sky_hours, clear_sky_w, haurwitz_w
from tripplan.almanac.sun import clear_sky_kwh

#: An hour with less than 5 W/m² on the mean gives a 100 W panel 0.4 Wh: it is held to 0.3 W/m² instead of 2 %.
FAINT_KWH = 0.005


def theirs(day: date, lon: float, lat: float, tz: str = "UTC") -> np.ndarray:
    """Return the 24 hours by pvlib: SPA positions each minute, refraction, Haurwitz sky [kWh/m²]."""
    pytest.importorskip("pvlib")
    import pandas as pd
    from pvlib import clearsky, solarposition

    times = pd.date_range(pd.Timestamp(day, tz=tz), periods=1440, freq="1min") + pd.Timedelta("30s")
    zenith = solarposition.get_solarposition(times, lat, lon)["apparent_zenith"]
    return np.asarray(clearsky.haurwitz(zenith)["ghi"].to_numpy().reshape(24, 60).mean(axis=1) / 1000)


def close(mine: np.ndarray, other: np.ndarray) -> None:
    """Within 2 % in each hour, faint ones within 0.3 W/m², and within 1 % over the day."""
    assert mine == pytest.approx(other, rel=0.02, abs=0.0003)
    bright = other >= FAINT_KWH
    assert mine[bright] == pytest.approx(other[bright], rel=0.02)
    assert mine.sum() == pytest.approx(other.sum(), rel=0.01, abs=0.0005)


@pytest.mark.parametrize("lat", [-89.0, -66.5, -43.5, -36.8, -12.0, 0.0, 23.4, 40.0, 51.5, 60.0, 66.6, 71.0, 80.0])
def test_hours_equal_pvlib(lat: float) -> None:
    """Every hour of each month's middle, and of both solstices, at thirteen latitudes of both hemispheres."""
    for month, day in [*((m, 15) for m in range(1, 13)), (6, 21), (12, 21)]:
        when = date(2026, month, day)
        lon = 37.0 * month - 200
        lon = (lon + 180) % 360 - 180
        close(clear_sky_hours(when, lon, lat, UTC), theirs(when, lon, lat))


def test_polar_day_and_night_equal_pvlib() -> None:
    """At 78° the midwinter sun gives nothing and the midsummer sun shines in all 24 hours, south as well as north."""
    for lat, light, dark in ((78.0, date(2026, 6, 21), date(2026, 12, 21)), (-78.0, date(2026, 12, 21), date(2026, 6, 21))):
        summer = clear_sky_hours(light, 15.0, lat, UTC)
        close(summer, theirs(light, 15.0, lat))
        assert summer.min() > 0.02
        assert clear_sky_hours(dark, 15.0, lat, UTC).sum() == 0 == theirs(dark, 15.0, lat).sum()


@pytest.mark.parametrize(
    ("tz", "lon", "lat"),
    [
        ("Pacific/Auckland", 174.76, -36.85),
        ("Europe/Oslo", 25.0, 71.0),
        ("America/St_Johns", -52.7, 47.6),
        ("Asia/Kathmandu", 85.3, 27.7),
    ],
)
def test_local_clocks(tz: str, lon: float, lat: float) -> None:
    """Hours are those that clocks on the wall show: a whole, half or quarter hour off, in summer time and without."""
    for day in (date(2025, 12, 21), date(2026, 6, 21), date(2026, 3, 10)):
        close(clear_sky_hours(day, lon, lat, ZoneInfo(tz)), theirs(day, lon, lat, tz))


def test_days_on_which_clocks_change() -> None:
    """The sun's day stays within 1 % of the day before and after, though the clock has 23 or 25 hours."""
    for day in (date(2026, 3, 29), date(2026, 10, 25)):
        around = [
            float(clear_sky_hours(day + timedelta(days=k), 13.4, 52.5, ZoneInfo("Europe/Berlin")).sum()) for k in (-1, 0, 1)
        ]
        assert around[1] == pytest.approx((around[0] + around[2]) / 2, rel=0.01)


def test_position_of_the_spa_reference_case() -> None:
    """Check value nrel_spa (P, NREL/TP-560-34302): 2003-10-17 12:30:30 UTC-7 at 39.742476, -105.1786: zenith 50.111622° (820 mbar, 11 °C)."""
    seconds = np.array([(date(2003, 10, 17) - date(2000, 1, 1)).days * 86400.0 + (19.5 - 12) * 3600 + 30])
    zenith = np.degrees(np.arccos(apparent_cos_zenith(seconds, -105.1786, 39.742476)))
    assert zenith[0] == pytest.approx(50.111622, abs=0.01)


def test_haurwitz() -> None:
    """Check value haurwitz (P, pvlib's tests): irradiance at elevations of 5, 10, 30, 50, 90°, and none below the horizon."""
    elevation = np.array([5.0, 10, 30, 50, 90, -20, -0.05, -0.001])
    expected = [48.6299, 135.7417, 487.8941, 778.7667, 1035.092, 0, 0, 0]
    assert haurwitz_w(np.cos(np.radians(90 - elevation))) == pytest.approx(expected, abs=0.001)


@given(day=st.dates(date(1990, 1, 1), date(2060, 12, 31)), lon=st.floats(-180, 180), lat=st.floats(-90, 90))
@settings(max_examples=100, deadline=None)
def test_any_day_is_sound(day: date, lon: float, lat: float) -> None:
    """Never negative, never over the sun overhead, and the same on both sides of the 180th meridian and a year of 366 days on."""
    hours = clear_sky_hours(day, lon, lat, UTC)
    assert (hours >= 0).all()
    assert hours.max() <= 1.036
    seconds = np.arange(24) * 3600.0
    assert clear_sky_w(seconds, lon, lat) == pytest.approx(clear_sky_w(seconds, lon - 360, lat), abs=1e-6)
    assert clear_sky_kwh(day, lat, lon) == pytest.approx(clear_sky_kwh(day + timedelta(days=1461), lat, lon), rel=0.02, abs=0.005)
