"""Weather to plan with: the trip's own first, then the region's, then a guess that is right way round in both hemispheres."""

from __future__ import annotations

from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tripplan.almanac.climate import GUESS_SOURCE, guess_weather, weather_for
from tripplan.almanac.sun import clear_sky_kwh
from tripplan.model.van import DayWeather

OWN = DayWeather(10, 5, 15, 3.0, "own file")
TABLE = DayWeather(11, 6, 16, 4.0, "region table")

# Monthly mean global irradiation [kWh/m² a day], January to December. D: computed from measured or satellite typical years
# (NREL TMY3 723170 Greensboro NC and TMY2 12839 Miami FL; PVGIS, JRC, 45 N 8 E).
MEASURED = {
    36.10: (2.41, 3.06, 4.25, 5.41, 5.64, 6.25, 6.08, 5.61, 4.43, 3.59, 2.43, 2.24),
    25.80: (3.49, 4.43, 5.16, 6.16, 6.03, 5.76, 5.99, 5.67, 4.91, 4.37, 3.57, 3.36),
    45.00: (1.54, 2.39, 3.82, 4.05, 4.83, 7.21, 6.62, 5.76, 4.52, 2.87, 2.02, 1.49),
}


def test_own_figures_rule_then_the_regions() -> None:
    """The trip's month beats the region's, which beats the guess; pairs and mappings are the same."""
    day = date(2025, 5, 3)
    assert weather_for(day, -40, {5: OWN}, {5: TABLE}) == OWN
    assert weather_for(day, -40, ((5, OWN),), {5: TABLE}) == OWN
    assert weather_for(day, -40, {6: OWN}, {5: TABLE}) == TABLE
    assert weather_for(day, -40, {6: OWN}, {7: TABLE}).source == GUESS_SOURCE
    assert weather_for(day, -40).source == GUESS_SOURCE


def test_seasons_are_turned_round_in_the_south() -> None:
    """January is warm and bright at 43° S, cold and dim at 43° N."""
    january, july = date(2025, 1, 15), date(2025, 7, 15)
    assert guess_weather(january, -43).mean_c > guess_weather(july, -43).mean_c + 5
    assert guess_weather(july, 43).mean_c > guess_weather(january, 43).mean_c + 5
    assert guess_weather(january, -43).sun_kwh_per_m2 > 3 * guess_weather(july, -43).sun_kwh_per_m2
    assert guess_weather(july, 43).sun_kwh_per_m2 > 3 * guess_weather(january, 43).sun_kwh_per_m2


@pytest.mark.parametrize("lat", MEASURED)
def test_the_guess_of_the_sun_is_near_open_data(lat: float) -> None:
    """Against three open typical years the guess lies within 40 % in each month and 20 % over the year, not above by more than 15 %."""
    guess = [guess_weather(date(2025, m, 15), lat).sun_kwh_per_m2 for m in range(1, 13)]
    for mine, theirs in zip(guess, MEASURED[lat], strict=True):
        assert 0.6 * theirs < mine < 1.4 * theirs
    assert 0.8 < sum(guess) / sum(MEASURED[lat]) < 1.15


@given(day=st.dates(date(2000, 1, 1), date(2050, 1, 1)), lat=st.floats(-90, 90))
def test_any_guess_is_sound(day: date, lat: float) -> None:
    """Low ≤ mean ≤ high, and clouds never add sun."""
    weather = guess_weather(day, lat)
    assert weather.low_c <= weather.mean_c <= weather.high_c
    assert 0 <= weather.sun_kwh_per_m2 <= clear_sky_kwh(day, lat) + 0.01
