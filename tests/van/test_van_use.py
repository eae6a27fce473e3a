"""Hours: how time is cut, how spread enters, and that the parts add up."""

from __future__ import annotations

import numpy as np
import pytest
from helpers.living import MILD, SHARE, kinds, parties, plain_party, plain_van, vans, weathers
from hypothesis import given, settings
from hypothesis import strategies as st

from tripplan.model.van import DayWeather, Party, Van
from tripplan.van.heat import hour_temperatures
from tripplan.van.use import StayKind, heads, hourly, slots, use_kind


@given(start=st.floats(0, 24), length=st.floats(0, 60))
def test_slots_cut_time_at_full_hours(start: float, length: float) -> None:
    """Slots are in order, at most an hour long, stay within their hour and add up to the stretch."""
    cut = slots(start, start + length)
    assert cut[:, 1].sum() == pytest.approx(length, abs=1e-9)
    assert (cut[:, 1] <= 1 + 1e-9).all()
    assert ((cut[:, 0] >= 0) & (cut[:, 0] < 24)).all()
    if len(cut):
        assert cut[0, 0] == int(start) % 24


def test_slots_by_hand() -> None:
    """16:30 to 9:00 is half of hour 16, then 17 .. 23 and 0 .. 8."""
    cut = slots(16.5, 33)
    assert cut[:, 0].tolist() == [*range(16, 24), *range(9)]
    assert cut[:, 1].tolist() == [0.5, *[1.0] * 16]
    assert slots(9, 9).shape == (0, 2)


@given(van=vans, party=parties, weather=weathers(), kind=kinds, cut=st.floats(9.1, 15.9))
@settings(max_examples=50, deadline=None)
def test_cutting_time_changes_nothing_that_only_loses(
    van: Van, party: Party, weather: DayWeather, kind: StayKind, cut: float
) -> None:
    """Two stretches use what the whole does, in all stores."""
    whole = hourly(van, party, weather, SHARE, kind, slots(9, 16)).sum(axis=0)
    parts = sum(hourly(van, party, weather, SHARE, kind, slots(a, b)).sum(axis=0) for a, b in ((9, cut), (cut, 16)))
    assert parts == pytest.approx(whole, abs=1e-9)


@given(kind=kinds)
def test_only_some_offers_change_use(kind: StayKind) -> None:
    """Kinds that differ in dump and fill alone use the same, so one block serves them."""
    van, party = plain_van(piped_water=True, shower_aboard=True), plain_party()
    full, short = (hourly(van, party, MILD, SHARE, k, slots(16, 33)) for k in (kind, use_kind(kind)))
    assert (full == short).all()


def test_flush_comes_from_fresh_without_a_tank() -> None:
    """A van without a flush tank takes the flush from its barrel, and the cassette gets the same."""
    tank, none = (
        hourly(plain_van(flush_l=litres), plain_party(), MILD, SHARE, None, slots(0, 24)).sum(axis=0) for litres in (10, 0)
    )
    assert tank[3] == pytest.approx(3.0)
    assert none[3] == 0
    assert none[0] - tank[0] == pytest.approx(3.0)
    assert none[2] == pytest.approx(tank[2])
    assert none[1] == pytest.approx(tank[1])


def test_a_block_on_site_spares_the_cassette_and_the_shower() -> None:
    """With toilets on site 40 % of the visits are aboard; with showers there none are taken aboard."""
    van, party = plain_van(), plain_party()
    bare = hourly(van, party, MILD, SHARE, None, slots(0, 24)).sum(axis=0)
    block = hourly(van, party, MILD, SHARE, StayKind(toilets=True, showers=True), slots(0, 24)).sum(axis=0)
    assert block[2] == pytest.approx(0.4 * bare[2])
    assert bare[0] - block[0] == pytest.approx(2 * 0.5 * 12)
    assert block[4] < bare[4]


def test_children_count_by_their_share() -> None:
    """Two adults and two children at 0.7 are 3.4 adults' worth of water."""
    assert heads(plain_party(children=2)) == pytest.approx(3.4)
    one = hourly(plain_van(shower_aboard=False), plain_party(children=2), MILD, SHARE, None, slots(0, 24))[:, 0].sum()
    assert one == pytest.approx(3.4 * 12)


@given(weather=weathers())
def test_hours_stay_within_the_day(weather: DayWeather) -> None:
    """Hourly temperatures lie between low and high, coldest at 5 and warmest at 15."""
    hours = hour_temperatures(weather)
    assert min(hours) >= weather.low_c - 1e-9
    assert max(hours) <= weather.high_c + 1e-9
    assert hours[5] == pytest.approx(min(hours))
    assert hours[15] == pytest.approx(max(hours))


def test_the_mean_is_kept_where_the_range_allows() -> None:
    """A symmetric day keeps its mean."""
    assert np.mean(hour_temperatures(MILD)) == pytest.approx(16, abs=0.3)


def test_polar_night_and_day_light() -> None:
    """With no sun the lamps burn through all waking hours, with sun in every hour none do."""
    party = plain_party(devices_ah=0)
    quiet = plain_van(fan_a=0, alarm_a=0, fridge_electronics_a=0, pump_a=0.5, lights_a=1.0)
    warm = DayWeather(25, 24, 26, 0.0)
    dark = hourly(quiet, party, warm, (0.0,) * 24, None, slots(0, 24))[:, 5].sum()
    light = hourly(quiet, party, warm, (1 / 24,) * 24, None, slots(0, 24))[:, 5].sum()
    assert dark - light == pytest.approx(16.0)
