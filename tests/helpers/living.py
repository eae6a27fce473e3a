"""Vans, parties, weather and suns for tests: plain ones, and Hypothesis strategies over the whole accepted range."""

from __future__ import annotations

from hypothesis import strategies as st

from tripplan.almanac.sun import SunDay
from tripplan.model.van import DayWeather, Party, Van
from tripplan.van.use import StayKind

#: A sun from 6 to 18, as a triangle.
SHARE = tuple(max(0.0, 6 - abs(h + 0.5 - 12)) / 36 for h in range(24))
SUN = SunDay(None, None, None, 12.0, "", SHARE)
MILD = DayWeather(16, 11, 21, 5.0, "test")
COLD = DayWeather(0, -5, 5, 1.0, "test")


def plain_van(**change: object) -> Van:
    """Return a van of ordinary size with some figures changed."""
    figures: dict[str, object] = {
        "name": "plain", "fresh_l": 40, "grey_l": 40, "cassette_l": 19, "flush_l": 10, "gas_bottle_kg": 9, "gas_bottles": 1, "battery_ah": 100,
    }  # fmt: skip
    return Van(**{**figures, **change})  # type: ignore[arg-type]


def plain_party(**change: object) -> Party:
    """Return two adults with some habits changed."""
    return Party(**{"name": "two", "adults": 2, **change})  # type: ignore[arg-type]


vans = st.builds(
    Van,
    name=st.just("any"),
    fresh_l=st.floats(10, 200), grey_l=st.floats(10, 200), cassette_l=st.floats(10, 25), flush_l=st.one_of(st.just(0.0), st.floats(2, 20)),
    gas_bottle_kg=st.floats(2, 15), gas_bottles=st.integers(1, 3), battery_ah=st.floats(60, 300),
    battery_kind=st.sampled_from(["flooded", "agm", "gel", "lifepo4"]), battery_depth=st.floats(0.3, 0.9), solar_w=st.floats(0, 400),
    charger_a=st.floats(0, 40), fridge_w=st.floats(0, 250), fridge_towing=st.sampled_from(["none", "car_12v", "battery"]),
    heater_mains_w=st.floats(0, 2000), heat_loss_w_per_k=st.floats(40, 150), water_heater_l=st.sampled_from([0.0, 6.0, 14.0]),
    shower_aboard=st.booleans(), hob_aboard=st.booleans(), piped_water=st.booleans(), cassettes=st.integers(1, 2),
)  # fmt: skip

parties = st.builds(
    Party,
    name=st.just("any"), adults=st.integers(1, 4), children=st.integers(0, 3), water_l=st.floats(4, 30), drunk_l=st.floats(1, 4),
    showers_per_day=st.floats(0, 1), toilet_share_with_block=st.floats(0, 1), inside_c=st.floats(15, 24), asleep_c=st.floats(8, 20),
    pets=st.integers(0, 2), spread_shared=st.floats(0, 0.4),
)  # fmt: skip


@st.composite
def weathers(draw: st.DrawFn) -> DayWeather:
    """Any day from frost to heat."""
    low = draw(st.floats(-25, 25))
    swing = draw(st.floats(0, 18))
    mean = low + swing * draw(st.floats(0.2, 0.8))
    return DayWeather(mean, low, low + swing, draw(st.floats(0, 9)), "test")


kinds = st.builds(StayKind, *[st.booleans()] * 7)
