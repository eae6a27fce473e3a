"""A mix of propane and butane in the cold: pressure, what stays in the bottle, and what that leaves of the van's gas."""

from __future__ import annotations

import numpy as np
import pytest
from helpers.living import plain_van
from hypothesis import given
from hypothesis import strategies as st

from tripplan.model.van import DayWeather
from tripplan.model.words import STORES, Store
from tripplan.van.facts import value
from tripplan.van.gas import ATMOSPHERE_KPA, left_in_the_cold, mix_kpa, vapour_kpa
from tripplan.van.heat import gas_kg
from tripplan.van.limits import bottle_temperature, limit_level, reserve, room_units

GAS = STORES.index(Store.GAS)


def drawn_off(propane: float, temp_c: float) -> float:
    """Return the share of the mass left, by boiling off one ten-thousandth at a time until the pressure no longer suffices."""
    light, heavy = propane / 44.097, (1 - propane) / 58.124
    start = light * 44.097 + heavy * 58.124
    p_light, p_heavy = vapour_kpa("propane", temp_c), vapour_kpa("butane", temp_c)
    step = (light + heavy) / 20_000
    while light + heavy > step:
        x = light / (light + heavy)
        pressure = x * p_light + (1 - x) * p_heavy
        if pressure < ATMOSPHERE_KPA + value("least_gauge_kpa"):
            break
        y = x * p_light / pressure
        light, heavy = max(0.0, light - step * y), max(0.0, heavy - step * (1 - y))
    return (light * 44.097 + heavy * 58.124) / start


@pytest.mark.parametrize("propane", [0.3, 0.5, 0.7, 0.9])
@pytest.mark.parametrize("temp", [-20.0, -10.0, 0.0])
def test_rayleigh_equals_drawing_off(propane: float, temp: float) -> None:
    """The closed formula equals a bottle emptied in small steps, within half a percent of the fill."""
    assert left_in_the_cold(propane, temp) == pytest.approx(drawn_off(propane, temp), abs=0.005)


def test_pure_gases() -> None:
    """Propane leaves nothing behind down to -35 °C, butane everything at 0 °C and nothing at 5 °C."""
    assert left_in_the_cold(1.0, -35) == 0
    assert left_in_the_cold(0.0, 0) == 1
    assert left_in_the_cold(0.0, 5) == 0
    assert mix_kpa(1.0, 0) == pytest.approx(474.6)
    assert mix_kpa(0.0, 0) == pytest.approx(103.2)


@given(propane=st.floats(0, 1), more=st.floats(0, 1), temp=st.floats(-35, 20), warmer=st.floats(0, 15))
def test_colder_and_less_propane_leave_more(propane: float, more: float, temp: float, warmer: float) -> None:
    """A share of 0 to 1; never less in the cold, never less with less propane."""
    less, much = sorted((propane, more))
    here = left_in_the_cold(less, temp)
    assert 0 <= here <= 1
    assert left_in_the_cold(less, temp + warmer) <= here + 1e-9
    assert left_in_the_cold(much, temp) <= here + 1e-9


@given(x=st.floats(0, 1), temp=st.floats(-40, 50))
def test_pressure_lies_between_those_of_the_parts(x: float, temp: float) -> None:
    """Raoult's law never leaves the two pure pressures."""
    assert vapour_kpa("butane", temp) - 1e-9 <= mix_kpa(x, temp) <= vapour_kpa("propane", temp) + 1e-9


def test_the_limit_of_the_gas_follows_the_cold() -> None:
    """A mix of 60 % propane keeps more back at -8 °C than at 10 °C; propane the same at both; the limit says so."""
    mixed, pure = plain_van(gas_propane=0.6), plain_van()
    cold = bottle_temperature([DayWeather(0, -5, 5, 1.0), DayWeather(4, 0, 8, 1.0)])
    assert cold == -5 - value("draw_cools_k")
    assert reserve(pure, Store.GAS, gas_c=cold) == reserve(pure, Store.GAS, gas_c=10) == value("gas_reserve_kg")
    kept = reserve(mixed, Store.GAS, gas_c=cold)
    assert kept == pytest.approx(9 * left_in_the_cold(0.6, cold))
    assert kept > 1.5
    assert room_units(mixed, gas_c=cold)[GAS] == int(np.floor((9 - kept) * 100 + 1e-6))
    assert limit_level(mixed, Store.GAS, gas_c=cold) == pytest.approx(kept, abs=0.0101)


def test_a_mix_gives_less_heat() -> None:
    """Half butane takes 0.7 % more mass for the same heat: 45.72 against 46.34 MJ/kg (D, heats of combustion)."""
    assert gas_kg(1000, propane=0.5) / gas_kg(1000) == pytest.approx(46.34 / 46.03, abs=1e-6)
