"""Climate tables: which stations count, what a date gets, and how they are kept."""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tripplan.almanac.climate import guess_weather, weather_for
from tripplan.almanac.normals import Station, nearest_station, stations_from, stations_text, under_cloud, weather_by_date
from tripplan.model.errors import BadInputError

MONTHS = tuple((10.0 + m, 5.0 + m, 16.0 + m, 1.0 + m / 4) for m in range(12))
COAST = Station("Coast", 10.0, -40.0, MONTHS, "normals.csv")
HILLS = Station("Hills", 11.0, -40.5, tuple((a - 4, b - 5, c - 1, d - 0.5) for a, b, c, d in MONTHS), "normals.csv")
FAR = Station("Far", 60.0, 40.0, MONTHS)


def test_the_middle_of_a_month_has_its_normal() -> None:
    """On the 15th the month's own figures; half way to the next month, about half of each."""
    assert COAST.on(date(2026, 3, 15)) == MONTHS[2]
    between = COAST.on(date(2026, 3, 30))
    assert between[0] == pytest.approx((MONTHS[2][0] + MONTHS[3][0]) / 2, abs=0.02)
    assert COAST.on(date(2026, 1, 1))[0] == pytest.approx(10 + 14 / 30.4 * 11, abs=0.01)


@given(day=st.dates(date(2000, 1, 1), date(2060, 12, 31)))
def test_no_day_jumps(day: date) -> None:
    """From one day to the next no figure moves more than a thirtieth of the largest step between months, and low <= mean <= high."""
    one, two = COAST.on(day), COAST.on(day + timedelta(days=1))
    assert all(abs(b - a) <= 11 / 28 for a, b in zip(one, two, strict=True))
    assert one[1] <= one[0] <= one[2]


def test_nearest_station_and_none_too_far() -> None:
    """The nearer of two by great circle, also across the 180th meridian; none beyond 250 km."""
    assert nearest_station((COAST, HILLS, FAR), 10.1, -40.0) is COAST
    assert nearest_station((COAST, HILLS), 10.9, -40.4) is HILLS
    assert nearest_station((FAR,), 10.0, -40.0) is None
    east = Station("East", 179.9, -17.0, MONTHS)
    assert nearest_station((east,), -179.9, -17.0) is east


def test_the_coldest_and_dullest_of_the_stations_named() -> None:
    """Places near two stations are planned with the lower mean, low and sun and the higher high; the source names both and the table."""
    day = date(2026, 2, 15)
    found = dict(weather_by_date((COAST, HILLS, FAR), [day], [(10.0, -40.0), (11.0, -40.5)]))[day]
    assert (found.mean_c, found.low_c, found.high_c, found.sun_kwh_per_m2) == (7.0, 1.0, 17.0, 0.75)
    assert found.source == "climate table normals.csv: the coldest and dullest of Coast and Hills"
    alone = dict(weather_by_date((COAST, HILLS), [day], [(10.0, -40.0)]))[day]
    assert (alone.mean_c, alone.source) == (11.0, "climate table normals.csv: Coast")
    assert weather_by_date((FAR,), [day], [(10.0, -40.0)]) == ()
    assert weather_by_date((), [day], [(10.0, -40.0)]) == ()


def test_dates_rule_over_months_and_guess() -> None:
    """A date that has figures gets them; the others what they had before."""
    day = date(2026, 2, 15)
    by_date = weather_by_date((COAST,), [day], [(10.0, -40.0)])
    assert weather_for(day, -40, {2: guess_weather(day, 0)}, by_date=by_date).source.startswith("climate table")
    assert weather_for(date(2026, 2, 16), -40, by_date=by_date) == guess_weather(date(2026, 2, 16), -40)


def test_kept_as_text_and_back() -> None:
    """What is written is what is read; damaged text is refused in one line."""
    assert stations_from(stations_text((COAST, HILLS))) == (COAST, HILLS)
    for text in (
        "",
        "{",
        "[1]",
        '[["a", 1, 2, [], ""]]',
        '[["a", 999, 2, ' + "[" + ",".join(["[1,0,2,1]"] * 12) + '], ""]]',
        "[" * 100_000,
    ):
        with pytest.raises(BadInputError):
            stations_from(text)


def test_impossible_normals_are_refused() -> None:
    """A mean outside low and high, eleven months, or a figure that no place has."""
    for months in (
        MONTHS[:11],
        (*MONTHS[:11], (20.0, 5.0, 10.0, 1.0)),
        (*MONTHS[:11], (float("nan"), 5.0, 10.0, 1.0)),
        (*MONTHS[:11], (8.0, 5.0, 10.0, 99.0)),
    ):
        with pytest.raises(BadInputError):
            Station("bad", 0.0, 0.0, months)


def test_clouds() -> None:
    """Kasten & Czeplak 1980 (from memory): a quarter of the sun passes a wholly covered sky, all of it a clear one, never more."""
    assert under_cloud(8.0, 1.0) == pytest.approx(2.0)
    assert under_cloud(8.0, 0.0) == 8.0
    assert under_cloud(8.0, 0.5) == pytest.approx(8 * (1 - 0.75 * 0.5**3.4))
