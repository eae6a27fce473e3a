"""The sun against NREL's SPA, the NOAA worksheet, pvlib and published clear-sky values."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from math import cos, radians

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tripplan.almanac.sun import (
    clear_sky_kwh,
    equation_of_time_min,
    haurwitz_w,
    hourly_sun_share,
    sun_day,
    sun_declination,
)
from tripplan.model.errors import BadInputError

# Label, date, lon, lat, zone, rise, set. Tolerance 2 min: SPA counts by UTC date, so a set west of Greenwich may be the
# evening before's. P: NREL/TP-560-34302 reference case (spa_tester.c); P: the SPA set in pvlib's own tests for Golden;
# D: pvlib's SPA for the others.
SPA = [
    ("P", date(2003, 10, 17), -105.1786, 39.742476, "Etc/GMT+7", "06:12:43", "17:20:19"),
    ("P", date(2015, 1, 2), -105.1786, 39.742476, "Etc/GMT+7", "07:21:55", "16:47:43"),
    ("P", date(2015, 8, 2), -105.1786, 39.742476, "Etc/GMT+7", "05:00:27", "19:13:58"),
    ("D", date(2025, 12, 21), 174.76, -36.85, "Pacific/Auckland", "05:58:35", "20:39:42"),
    ("D", date(2025, 12, 21), 172.63, -43.53, "Pacific/Auckland", "05:44:57", "21:10:23"),
    ("D", date(2025, 6, 21), 174.76, -36.85, "Pacific/Auckland", "07:33:56", "17:11:41"),
    ("D", date(2025, 6, 21), -0.12, 51.50, "Europe/London", "04:43:07", "21:21:32"),
]
# id noaa_auckland_2025-12-21 and its neighbours, D: the short NOAA worksheet ("General Solar Position Calculations").
NOAA = [
    (date(2025, 12, 21), 174.76, -36.85, "Pacific/Auckland", "05:58:12", "20:39:22"),
    (date(2025, 12, 21), 172.63, -43.53, "Pacific/Auckland", "05:44:35", "21:10:01"),
    (date(2025, 6, 21), 174.76, -36.85, "Pacific/Auckland", "07:33:23", "17:11:10"),
    (date(2025, 6, 21), -0.12, 51.50, "Europe/London", "04:42:34", "21:21:02"),
    (date(2015, 1, 2), -105.1786, 39.742476, "Etc/GMT+7", "07:21:38", "16:46:29"),
    (date(2015, 8, 2), -105.1786, 39.742476, "Etc/GMT+7", "04:59:50", "19:14:30"),
]
TWO_MINUTES = timedelta(minutes=2)


def _at(day: date, clock: str, like: datetime) -> datetime:
    hour, minute, second = map(int, clock.split(":"))
    return datetime(day.year, day.month, day.day, hour, minute, second, tzinfo=like.tzinfo)


@pytest.mark.parametrize(("label", "day", "lon", "lat", "tz", "rise", "fall"), SPA)
def test_rise_and_set_agree_with_spa(label: str, day: date, lon: float, lat: float, tz: str, rise: str, fall: str) -> None:
    """Sunrise and sunset lie within two minutes of NREL SPA values, north and south, summer and winter."""
    sun = sun_day(day, lon, lat, tz)
    assert sun.sunrise is not None
    assert sun.sunset is not None
    assert abs(sun.sunrise - _at(day, rise, sun.sunrise)) <= TWO_MINUTES, label
    assert abs(sun.sunset - _at(day, fall, sun.sunset)) <= TWO_MINUTES, label


@pytest.mark.parametrize(("day", "lon", "lat", "tz", "rise", "fall"), NOAA)
def test_rise_and_set_agree_with_the_noaa_worksheet(day: date, lon: float, lat: float, tz: str, rise: str, fall: str) -> None:
    """The short worksheet of NOAA, another set of equations, gives the same to two minutes."""
    sun = sun_day(day, lon, lat, tz)
    assert sun.sunrise is not None
    assert sun.sunset is not None
    assert abs(sun.sunrise - _at(day, rise, sun.sunrise)) <= TWO_MINUTES
    assert abs(sun.sunset - _at(day, fall, sun.sunset)) <= TWO_MINUTES


def test_transit_agrees_with_spa() -> None:
    """Noon in Golden on 2003-10-17 is at 11:46:05 (D: pvlib SPA) and on 2015-01-02 at 12:04:45 (P: pvlib's tests)."""
    for day, clock in ((date(2003, 10, 17), "11:46:05"), (date(2015, 1, 2), "12:04:45")):
        noon = sun_day(day, -105.1786, 39.742476, "Etc/GMT+7").noon
        assert noon is not None
        assert abs(noon - _at(day, clock, noon)) <= timedelta(seconds=5)


def test_declination_and_equation_of_time() -> None:
    """Golden 2015-01-02: equation -3.351 min, declination -22.979° (D, NOAA worksheet; a fit of its own, half a day off here)."""
    when = datetime(2015, 1, 2, 19, tzinfo=UTC)
    assert sun_declination(when) == pytest.approx(-22.979, abs=0.1)
    assert equation_of_time_min(when) == pytest.approx(-3.351, abs=0.75)


def test_the_sun_stands_at_the_horizon_by_an_independent_sun() -> None:
    """At every computed rise and set, pvlib's SPA puts the true zenith at 90.833° to 0.03°, -66 to 66° of latitude."""
    solar = pytest.importorskip("pvlib.solarposition")
    pd = pytest.importorskip("pandas")
    rng = np.random.default_rng(7)
    for _ in range(40):
        lat, lon = float(rng.uniform(-66, 66)), float(rng.uniform(-180, 180))
        day = date(2020, 1, 1) + timedelta(days=int(rng.integers(0, 3650)))
        sun = sun_day(day, lon, lat, "UTC")
        if sun.polar:
            continue
        times = pd.DatetimeIndex([sun.sunrise, sun.sunset])
        zenith = solar.get_solarposition(times, lat, lon)["zenith"].to_numpy()
        assert np.abs(zenith - 90.833).max() < 0.03, (day, lon, lat)


def test_polar_day_and_night() -> None:
    """At 71° N the sun stays up at midsummer and down at midwinter; at 78° S it is the other way round; the poles are no error."""
    assert sun_day(date(2025, 6, 21), 25.0, 71.0, "Europe/Oslo").polar == "day"
    assert sun_day(date(2025, 12, 21), 25.0, 71.0, "Europe/Oslo").polar == "night"
    assert sun_day(date(2025, 6, 21), 166.7, -77.8, "Antarctica/McMurdo").polar == "night"
    summer = sun_day(date(2025, 12, 21), 166.7, -77.8, "Antarctica/McMurdo")
    assert (summer.polar, summer.sunrise, summer.sunset, summer.daylight_h) == ("day", None, None, 24.0)
    for lat in (90.0, -90.0):
        assert {sun_day(date(2025, m, 21), 0.0, lat, "UTC").polar for m in (6, 12)} == {"day", "night"}
    dark = sun_day(date(2025, 12, 21), 25.0, 80.0, "Europe/Oslo")
    assert dark.daylight_h == 0
    assert sum(dark.share) == 0


@pytest.mark.parametrize(
    ("lon", "lat", "tz"),
    [
        (180.0, -17.0, "Pacific/Fiji"), (-180.0, -17.0, "Pacific/Fiji"), (-157.4, 1.9, "Pacific/Kiritimati"), (-171.8, -13.8, "Pacific/Apia"),
        (-176.6, 51.9, "America/Adak"), (179.9, 0.0, "Etc/GMT-12"), (-179.9, 0.0, "Etc/GMT+12"), (87.6, 43.8, "Asia/Shanghai"),
    ],
)  # fmt: skip
def test_the_date_line(lon: float, lat: float, tz: str) -> None:
    """Noon falls on the date asked for by the local clock, wherever the clock runs a day ahead of or behind the longitude."""
    for month in (1, 7):
        day = date(2025, month, 15)
        sun = sun_day(day, lon, lat, tz)
        assert sun.noon is not None
        assert sun.sunrise is not None
        assert sun.sunset is not None
        assert sun.noon.date() == day
        assert sun.sunrise < sun.noon < sun.sunset


def test_both_sides_of_the_180th_meridian_agree() -> None:
    """+180° and -180° are one place."""
    assert sun_day(date(2025, 3, 1), 180, -17, "Pacific/Fiji") == sun_day(date(2025, 3, 1), -180, -17, "Pacific/Fiji")


@given(
    day=st.dates(date(1990, 1, 1), date(2060, 12, 31)),
    lon=st.floats(-180, 180),
    lat=st.floats(-90, 90),
    ahead_h=st.integers(-3, 3),
)
@settings(max_examples=150, deadline=None)
def test_any_day_anywhere_is_sound(day: date, lon: float, lat: float, ahead_h: int) -> None:
    """Daylight is 0 to 24 h, the flags and the times agree, the shares are a distribution, and noon has the local date."""
    hours = max(-12, min(14, round(lon / 15) + ahead_h))
    tz = f"Etc/GMT{-hours:+d}"
    sun = sun_day(day, lon, lat, tz)
    assert 0 <= sun.daylight_h <= 24
    assert (sun.sunrise is None) == (sun.sunset is None) == bool(sun.polar)
    assert sun.noon is not None
    assert sun.noon.date() == day
    assert len(sun.share) == 24
    assert min(sun.share) >= 0
    assert sum(sun.share) == pytest.approx(1) or sum(sun.share) == 0
    if sun.sunrise and sun.sunset:
        assert sun.sunrise < sun.noon < sun.sunset


def test_clear_sky_formula() -> None:
    """Check value haurwitz (P): irradiance at elevations of 5, 10, 30, 50, 90° as in pvlib's tests, and none below the horizon."""
    elevation = np.array([5.0, 10, 30, 50, 90, -20, -0.05, -0.001])
    expected = [48.6299, 135.7417, 487.8941, 778.7667, 1035.092, 0, 0, 0]
    assert haurwitz_w(np.cos(np.radians(90 - elevation))) == pytest.approx(expected, abs=0.001)


# D: pvlib 0.16.1, one-minute Haurwitz totals [kWh/m²] on 21 Mar, 21 Jun, 23 Sep, 21 Dec.
CLEAR = {
    -36.85: (5.99, 2.82, 6.03, 8.78),
    -43.53: (5.36, 1.99, 5.41, 8.79),
    51.50: (4.62, 8.68, 4.50, 1.05),
    64.15: (3.10, 8.42, 2.96, 0.03),
    -31.95: (6.38, 3.44, 6.44, 8.72),
}


@pytest.mark.parametrize("lat", CLEAR)
def test_clear_sky_totals(lat: float) -> None:
    """Totals of a clear day agree with pvlib's within 2 % or 0.03 kWh/m²."""
    days = [date(2025, 3, 21), date(2025, 6, 21), date(2025, 9, 23), date(2025, 12, 21)]
    for day, expected in zip(days, CLEAR[lat], strict=True):
        assert clear_sky_kwh(day, lat) == pytest.approx(expected, rel=0.02, abs=0.03)


def test_hourly_shares_against_an_independent_sun() -> None:
    """Each hour's share of the sun agrees with pvlib's positions and Haurwitz sky within 0.006, by the local clock."""
    solar = pytest.importorskip("pvlib.solarposition")
    clearsky = pytest.importorskip("pvlib.clearsky")
    pd = pytest.importorskip("pandas")
    for day, lon, lat, tz in (
        (date(2025, 12, 21), 174.76, -36.85, "Pacific/Auckland"),
        (date(2025, 6, 21), -3.0, 57.0, "Europe/London"),
        (date(2025, 3, 1), -105.0, 40.0, "America/Denver"),
    ):
        times = pd.date_range(pd.Timestamp(day, tz=tz), periods=288, freq="5min") + pd.Timedelta("150s")
        zenith = solar.get_solarposition(times, lat, lon)["apparent_zenith"]
        hourly = clearsky.haurwitz(zenith)["ghi"].to_numpy().reshape(24, 12).sum(axis=1)
        assert np.array(hourly_sun_share(day, lon, lat, tz)) == pytest.approx(hourly / hourly.sum(), abs=0.006)


def test_bad_places_and_zones_are_refused() -> None:
    """A position off the globe, no number, or an unknown zone gives one clear line."""
    for lon, lat, tz in (
        (181, 0, "UTC"),
        (0, 91, "UTC"),
        (float("nan"), 0, "UTC"),
        (0, 0, "Nowhere/Atall"),
        (0, 0, "../etc/passwd"),
    ):
        with pytest.raises(BadInputError):
            sun_day(date(2025, 1, 1), lon, lat, tz)


def test_higher_sun_gives_more() -> None:
    """Clear-sky energy peaks where the sun is overhead: near 23° N at the June solstice, away from both ends."""
    values = [clear_sky_kwh(date(2025, 6, 21), lat) for lat in (-60, -30, 0, 35)]
    assert values == sorted(values)
    assert cos(radians(90)) == pytest.approx(0)
