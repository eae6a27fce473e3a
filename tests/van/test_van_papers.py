"""What runs on what, what is carried, the fridge on a tow, the explanation of figures, and the cautions."""

from __future__ import annotations

from dataclasses import fields

import pytest
from helpers.living import COLD, MILD, kinds, parties, plain_party, plain_van, vans, weathers
from hypothesis import given, settings
from hypothesis import strategies as st

from tripplan.model.cautions import CAUTIONS, LAST_WORD, caution
from tripplan.model.van import DayWeather, Levels, Party, Van
from tripplan.van.energy import most_heat_w, runs_on, runs_on_road
from tripplan.van.explain import explain
from tripplan.van.facts import SPREADS
from tripplan.van.fridge import hours_to, tow_day, warmed_c
from tripplan.van.load import load_kg
from tripplan.van.use import StayKind

WARM = DayWeather(25, 22, 30, 6.0)


def test_mains_or_gas() -> None:
    """On mains: fridge, water and mild heating from the post; off mains from the bottle; in warmth no heating."""
    van, party = plain_van(), plain_party()
    on, off = runs_on(van, party, MILD, StayKind(powered=True)), runs_on(van, party, MILD, StayKind())
    assert (on["fridge"], on["heating"], on["hot water"], on["12 V"]) == ("mains", "mains", "mains", "mains charger")
    assert (off["fridge"], off["heating"], off["hot water"], off["12 V"]) == ("gas", "gas", "gas", "battery")
    assert runs_on(van, party, WARM, StayKind())["heating"] == "not needed"
    assert runs_on(van, party, COLD, StayKind(powered=True))["heating"] == "mains, gas in the coldest hours"


def test_a_heater_that_is_too_small_is_named() -> None:
    """Where the coldest hour wants more than the heater gives, the paper says so."""
    party, arctic = plain_party(), DayWeather(-25, -30, -20, 1.0)
    van = plain_van()
    assert most_heat_w(van, party, arctic) > van.heater_w
    assert runs_on(van, party, arctic, StayKind())["heating"].endswith("less than wished")


@given(van=vans, ferry=st.booleans())
def test_gas_is_always_off_on_the_road(van: Van, ferry: bool) -> None:
    """Towing or aboard a ferry, whatever the van, gas is off at the bottle and nothing runs on it."""
    road = runs_on_road(van, ferry=ferry)
    assert road["gas"] == "off at the bottle"
    assert "gas" not in [word for key, words in road.items() if key != "gas" for word in words.split()]


@given(van=vans, party=parties, weather=weathers(), kind=kinds)
@settings(max_examples=60, deadline=None)
def test_every_stay_says_all_six(van: Van, party: Party, weather: DayWeather, kind: StayKind) -> None:
    """Each stay names all that runs, in words; without mains nothing runs on mains."""
    words = runs_on(van, party, weather, kind)
    assert set(words) == {"fridge", "heating", "hot water", "cooking", "12 V", "gas"}
    assert all(words.values())
    if not kind.powered:
        assert not any("mains" in text for text in words.values())


def test_load_by_hand() -> None:
    """40 L of water, 9 kg of gas in a 10.8 kg bottle, two adults' things and the shared gear: 179.8 kg of 300."""
    load = load_kg(plain_van(), plain_party(), Levels(40, 0, 0, 0, 9, 100))
    assert load.total_kg == pytest.approx(40 + 9 + 10.8 + 60 + 60)
    assert load.margin_kg == pytest.approx(300 - load.total_kg)
    assert "overload" not in load.cautions
    family = load_kg(plain_van(), plain_party(children=2), Levels(40, 0, 0, 0, 9, 100))
    assert family.total_kg - load.total_kg == pytest.approx(40)
    heavy = load_kg(plain_van(payload_kg=150), plain_party(), Levels(40, 0, 0, 0, 9, 100), van_mass_kg=2500)
    assert heavy.margin_kg < 0
    assert {"overload", "nose_weight"} <= set(heavy.cautions)


@given(van=vans, party=parties, litres=st.floats(0, 10), more=st.floats(0, 10))
def test_water_is_mass(van: Van, party: Party, litres: float, more: float) -> None:
    """Each litre more takes a kilogram of the margin; every key is a caution that exists."""
    one, two = (load_kg(van, party, Levels(fresh_l=x)) for x in (litres, litres + more))
    assert one.margin_kg - two.margin_kg == pytest.approx(more, abs=1e-9)
    assert set(two.cautions) <= set(CAUTIONS)


def test_a_tow_warms_the_fridge() -> None:
    """Three hours unpowered at 21 °C pass 5 °C; on the car's 12 V they do not; hours above count the cooling down again."""
    tow = tow_day(plain_van(), MILD, 3)
    assert tow.warm
    assert tow.warmest_c == pytest.approx(warmed_c(3, 26, 3, 8), abs=0.01)
    assert tow.above_h == pytest.approx(3 - hours_to(5, 26, 3, 8) + tow.recool_h)
    powered = tow_day(plain_van(fridge_towing="car_12v"), MILD, 3)
    assert (powered.warm, powered.above_h, powered.recool_h) == (False, 0.0, 0.0)


def test_too_hot_to_recool() -> None:
    """At 40 °C an absorption fridge 25 K below never gets to 5 °C: the day counts whole and food is past its time."""
    hot = tow_day(plain_van(), DayWeather(38, 35, 42, 7.0), 2, start_c=20)
    assert hot.recool_h == float("inf")
    assert hot.above_h == 24
    assert hot.discard


@given(weather=weathers(), drive=st.floats(0, 8), more=st.floats(0, 4))
def test_a_longer_tow_is_never_colder(weather: DayWeather, drive: float, more: float) -> None:
    """More hours without power never leave a cold fridge colder than fewer, where it is warm around."""
    around = weather.high_c + 5
    if around > 5:
        assert tow_day(plain_van(), weather, drive + more).above_h >= tow_day(plain_van(), weather, drive).above_h - 1e-9


def test_explain_names_every_figure_with_a_source() -> None:
    """Each figure of van and party has a line; a default has a source, one's own figure is marked as given."""
    van, party = plain_van(fridge_w=170.0), plain_party()
    rows = {row.name: row for row in explain(van, party)}
    for thing in (Van, Party):
        assert {f.name for f in fields(thing)} - {"name", "learned"} <= set(rows)
    assert rows["fridge_w"].source == "given"
    assert rows["hob_w"].source != "given"
    assert (rows["water_l"].spread, rows["water_l"].daily) == (party.spread_shared, SPREADS["water"].daily)
    assert (rows["solar_w"].spread, rows["solar_w"].daily) == (SPREADS["sun"].shared, SPREADS["sun"].daily)
    assert all(row.source for row in rows.values())
    assert {f"spread of {use}" for use in SPREADS} <= set(rows)
    assert all(row.value or row.spread for row in rows.values())


def test_explain_shows_ideal_and_practical_minutes() -> None:
    """Ten litres by 1,800 W: 19.4 min ideal and 23.0 in practice (common practice) stand in the table."""
    rows = {row.name: row.value for row in explain(plain_van(water_heater_l=10, water_heater_mains_w=1800, water_heater_w=0))}
    for heater in ("10 L by 1,800 W", "water heater on mains"):
        assert rows[f"{heater}, 10 to 60 °C, ideal"] == "19.4"
        assert rows[f"{heater}, 10 to 60 °C, in practice"] == "23.0"
    assert not any("on gas" in name for name in rows)


def test_every_caution_has_text_and_source() -> None:
    """No caution without words or without where they come from; the last word leaves it to local rules and licensed people."""
    for key in CAUTIONS:
        made = caution(key, (2, 3))
        assert made.key == key
        assert made.days == (2, 3)
        assert len(made.text) > 20
        assert made.source
    assert "local rules" in CAUTIONS[LAST_WORD][0]
    assert "licensed" in CAUTIONS[LAST_WORD][0]
    for needed in (
        "gas_off_driving",
        "gas_off_ferry",
        "carbon_monoxide",
        "mains",
        "wind",
        "descents",
        "black_water",
        "loading",
        "nose_weight",
    ):
        assert needed in CAUTIONS
    with pytest.raises(KeyError):
        caution("no such key")
