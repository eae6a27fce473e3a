"""The water heater hour by hour, what freezes, what trips a fuse, and the volts that a display shows."""

from __future__ import annotations

import itertools

import pytest
from helpers.living import COLD, MILD, kinds, parties, plain_party, plain_van, vans, weathers
from hypothesis import given, settings
from hypothesis import strategies as st

from tripplan.model.van import DayWeather, Party, Van
from tripplan.van.battery import display_volts, rested_volts
from tripplan.van.boiler import boiler_of, hot_water_day
from tripplan.van.facts import value
from tripplan.van.frost import barrel_ice_share, coldest_inside_c, frost_words
from tripplan.van.heat import inlet_c
from tripplan.van.hookup import fits_on, hook_up_words, mains_loads
from tripplan.van.use import StayKind, hourly, slots, water_heated_by

ARCTIC = DayWeather(-12, -18, -6, 1.0)


# ------------------------------------------------------------------------------------------------- hot water


def test_ten_litres_by_a_mains_element() -> None:
    """19.4 min ideally and 23.0 in practice (common practice) at a tap of 10 °C; 10 L of 60 °C make 16.7 L at 40 °C there."""
    van = plain_van(water_heater_l=10, water_heater_mains_w=1800)
    boiler = boiler_of(van, DayWeather(10, 5, 15, 3.0), powered=True)
    assert (boiler.by, round(boiler.ideal_min, 1), round(boiler.practice_min, 1)) == ("mains", 19.4, 23.0)
    assert boiler.shower_l == pytest.approx(10 * 50 / 30)


def test_what_heats_water() -> None:
    """The element on mains, the burner elsewhere, a pan where there is neither; no element: gas on mains too, and it is burnt."""
    van = plain_van()
    assert [water_heated_by(van, powered=p) for p in (True, False)] == ["mains", "gas"]
    bare = plain_van(water_heater_mains_w=0)
    assert water_heated_by(bare, powered=True) == "gas"
    assert water_heated_by(plain_van(water_heater_l=0), powered=True) == "hob"
    on = StayKind(powered=True)
    warm, share, day = DayWeather(25, 24, 26, 5.0), (0.0,) * 24, slots(0, 24)
    burnt = [hourly(v, plain_party(), warm, share, on, day)[:, 4].sum() for v in (van, bare)]
    assert burnt[1] > burnt[0] + 0.03


@given(van=vans, party=parties, weather=weathers(), kind=kinds)
@settings(max_examples=60, deadline=None)
def test_the_heater_stays_between_tap_and_set_point(van: Van, party: Party, weather: DayWeather, kind: StayKind) -> None:
    """Inside never below the tap nor above 60 °C; nothing is short that was not asked for."""
    day = hot_water_day(van, party, weather, kind)
    assert len(day.inside_c) == len(day.short_wh) == 24
    assert all(inlet_c(weather) - 1e-6 <= c <= value("hot_water_c") + 1e-6 for c in day.inside_c)
    assert min(day.short_wh) >= 0


def test_a_small_heater_runs_short() -> None:
    """Six long showers in an evening outrun a 5 L heater of 300 W, and not one of 14 L and 1.5 kW with one shower."""
    many = plain_party(adults=6, showers_per_day=1, shower_l=25)
    assert sum(hot_water_day(plain_van(water_heater_l=5, water_heater_w=300), many, MILD, None).short_wh) > 500
    assert sum(hot_water_day(plain_van(water_heater_l=14, water_heater_w=1500), plain_party(), MILD, None).short_wh) == 0


# ------------------------------------------------------------------------------------------------- frost


def test_ice_by_hand() -> None:
    """40 L that stand at 0 °C in air of -10 °C lose 2.5 W/K x 10 K x 17 h = 1,530 kJ: 4.58 kg of ice at 334 kJ/kg, 11.5 %."""
    even = DayWeather(-10, -10, -10, 1.0)
    assert barrel_ice_share(40, even) == pytest.approx(2.5 * 10 * 17 * 3.6 / 334 / 40, rel=1e-6)
    assert barrel_ice_share(0, even) == 0
    assert barrel_ice_share(40, DayWeather(5, 2, 9, 1.0)) == 0


@given(litres=st.floats(1, 200), weather=weathers(), by=st.floats(0, 15))
def test_colder_makes_more_ice_and_more_water_less(litres: float, weather: DayWeather, by: float) -> None:
    """A share of 0 to 1, never less in the cold."""
    colder = DayWeather(weather.mean_c - by, weather.low_c - by, weather.high_c - by, 1.0)
    assert 0 <= barrel_ice_share(litres, weather) <= barrel_ice_share(litres, colder) + 1e-9 <= 1 + 1e-9


def test_a_heated_van_does_not_freeze_inside() -> None:
    """3 kW hold 15 °C at -18 °C outside; without heat the van is below 0 °C within the night."""
    assert coldest_inside_c(plain_van(), ARCTIC, 22, 31, 15.0, 3000) == 15.0
    assert coldest_inside_c(plain_van(), ARCTIC, 22, 31, 15.0, 0) < 0


def test_frost_words() -> None:
    """None without frost; hoses always, barrels when they freeze, pipes when the heating fails, the water heater before a long tow."""
    told = {"fresh_l": 40.0, "grey_l": 10.0, "start_c": 15.0}
    assert frost_words(plain_van(), MILD, **told, heat_w=3000) == ()
    mild_frost = " ".join(frost_words(plain_van(), COLD, **told, heat_w=3000, tow_h=2))
    assert "hoses" in mild_frost
    assert "stay liquid" in mild_frost
    hard = " ".join(frost_words(plain_van(), ARCTIC, **told, heat_w=0, tow_h=4))
    for word in ("turns to ice", "cannot keep", "empty the flush tank", "before leaving"):
        assert word in hard


# ------------------------------------------------------------------------------------------------- fuses


def test_fuses_by_hand() -> None:
    """150 W fridge, 15 A charger (254 W), 1 kW heating, 800 W water, 2 kW kettle on 230 V: what 6, 10 and 16 A carry."""
    loads = mains_loads(plain_van(), 500)
    assert [n for n, _ in loads] == ["fridge", "charger", "heating", "water heater", "kettle"]
    assert dict(loads)["charger"] == pytest.approx(15 * 14.4 / 0.85)
    assert [n for n, _ in fits_on(loads, 6, 230)[0]] == ["fridge", "charger", "water heater"]
    assert [n for n, _ in fits_on(loads, 10, 230)[1]] == ["kettle"]
    six, ten, sixteen = hook_up_words(plain_van(), 500)
    assert "kettle alone takes 8.7 A and trips it" in six
    assert "kettle (8.7 A) trips it unless" in ten
    assert "unless water heater is off" in sixteen
    assert "heating" not in dict(mains_loads(plain_van(), 0))


@given(van=vans, fuse=st.floats(2, 63), heat=st.floats(0, 5000))
def test_what_runs_together_fits(van: Van, fuse: float, heat: float) -> None:
    """The things that run together are within the fuse, and none that is left out would have fitted beside them."""
    loads = mains_loads(van, heat)
    inside, outside = fits_on(loads, fuse, van.mains_v)
    total = sum(w for _, w in inside)
    assert total <= fuse * van.mains_v + 1e-3
    assert all(total + w > fuse * van.mains_v for _, w in outside)
    assert sorted(inside + outside) == sorted(loads)


# ------------------------------------------------------------------------------------------------- volts


@given(van=vans, one=st.floats(0, 1), other=st.floats(0, 1), amps=st.floats(0, 30))
def test_a_display_shows_less_when_empty_or_under_load(van: Van, one: float, other: float, amps: float) -> None:
    """Volts rise with charge, fall under load, and never pass the charger's end."""
    low, high = sorted((one, other))
    volts = [display_volts(van, share * van.battery_ah) for share in (low, high)]
    assert volts[0] <= volts[1] <= value("charge_v")
    assert display_volts(van, high * van.battery_ah, amps) <= volts[1]
    assert display_volts(van, high * van.battery_ah, -amps) >= volts[1]


def test_kinds_of_battery_differ() -> None:
    """Sealed lead-acid stands higher when full than flooded, lithium iron phosphate hardly falls between 90 and 30 %."""
    assert rested_volts(1.0, "agm") > rested_volts(1.0, "flooded")
    assert rested_volts(0.9, "lifepo4") - rested_volts(0.3, "lifepo4") < 0.4
    for kind in ("flooded", "agm", "gel", "lifepo4"):
        shown = [rested_volts(s / 10, kind) for s in range(11)]
        assert all(b > a for a, b in itertools.pairwise(shown))
