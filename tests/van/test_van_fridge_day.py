"""The fridge lived through a day: against the closed formula, what stops and ferries do, and what must hold for any day."""

from __future__ import annotations

import pytest
from helpers.living import MILD, plain_van, weathers
from hypothesis import given, settings
from hypothesis import strategies as st

from tripplan.model.van import DayWeather
from tripplan.van.fridge import hours_to, lived_day, warmed_c

EVEN = DayWeather(20, 20, 20, 5.0)


def test_a_tow_in_even_air_follows_the_formula() -> None:
    """Three hours off at 25 °C in the van: warmest and time above 5 °C as T = Ta - (Ta - T0) exp(-t/τ) says, to a hundredth."""
    day = lived_day(plain_van(), EVEN, ((9.0, 12.0, "towing"),))
    warmest = warmed_c(3, 25, 3, 8)
    recool = hours_to(5, 20 - 25, warmest, 8)
    assert day.warmest_c == pytest.approx(warmest, abs=0.01)
    assert day.recool_h == pytest.approx(recool, abs=0.09)
    assert day.above_h == pytest.approx(3 - hours_to(5, 25, 3, 8) + recool, abs=0.02)


def test_what_the_fridge_runs_on_decides() -> None:
    """Off it warms; on the car's or the van's 12 V it holds; aboard a ferry only the van's own battery holds it."""
    tow, sail = ((9.0, 12.0, "towing"),), ((9.0, 10.0, "towing"), (10.0, 13.0, "ferry"))
    warm = {way: lived_day(plain_van(fridge_towing=way), MILD, tow).warm for way in ("none", "car_12v", "battery")}
    assert warm == {"none": True, "car_12v": False, "battery": False}
    afloat = {way: lived_day(plain_van(fridge_towing=way), MILD, sail).warm for way in ("none", "car_12v", "battery")}
    assert afloat == {"none": True, "car_12v": True, "battery": False}


def test_a_long_stop_has_it_on_gas() -> None:
    """Three hours at a sight between two tows cool it; a quarter of an hour does not."""
    long = lived_day(plain_van(), EVEN, ((9.0, 10.0, "towing"), (10.0, 13.0, "stop"), (13.0, 14.0, "towing")))
    short = lived_day(plain_van(), EVEN, ((9.0, 10.0, "towing"), (10.0, 10.25, "stop"), (10.25, 11.25, "towing")))
    assert long.warmest_c < short.warmest_c
    assert short.warmest_c == pytest.approx(warmed_c(2.25, 25, 3, 8), abs=0.01)


def test_too_hot_never_gets_cold() -> None:
    """At 40 °C the fridge holds 15 °C at best: not cold again that day."""
    day = lived_day(plain_van(), DayWeather(40, 38, 42, 7.0), ((9.0, 10.0, "towing"),), start_c=20)
    assert day.recool_h == float("inf")
    assert day.above_h == pytest.approx(24, abs=0.01)


@given(weather=weathers(), drive=st.floats(0.1, 8), more=st.floats(0, 3), start=st.floats(7, 12))
@settings(max_examples=80, deadline=None)
def test_a_longer_tow_is_never_better(weather: DayWeather, drive: float, more: float, start: float) -> None:
    """Nor colder at its warmest where it is warm around; hours above lie in a day; a stay has none."""
    one = lived_day(plain_van(), weather, ((start, start + drive, "towing"),))
    two = lived_day(plain_van(), weather, ((start, start + drive + more, "towing"),))
    assert two.warmest_c >= one.warmest_c - 1e-9
    assert 0 <= one.above_h <= 24.001
    assert one.warm == (one.warmest_c > 5) or one.warmest_c == 5.0
    assert lived_day(plain_van(), weather, ()).above_h == 0
