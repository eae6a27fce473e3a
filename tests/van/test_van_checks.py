"""Published and derived check values of the trade. Labels: P published and read, P* published and quoted from memory, C common practice, D arithmetic."""

from __future__ import annotations

import pytest
from helpers.living import MILD, SHARE, plain_party, plain_van

from tripplan.model.van import DayWeather
from tripplan.van.battery import cold_share, ieee_485_factor, peukert_from_ratings, peukert_hours, rested_volts
from tripplan.van.facts import FACTS, value
from tripplan.van.fridge import hours_to
from tripplan.van.gas import gas_volume_l, gauge_kpa, gives_gas, vapour_kpa
from tripplan.van.heat import (
    gas_kg,
    heat_loss_w_per_k,
    heat_minutes,
    heat_minutes_in_practice,
    heat_w,
    mixed_l,
    water_wh,
)
from tripplan.van.load import nose_range_kg
from tripplan.van.use import StayKind, hourly, slots

DAY = slots(0, 24)


def test_calorific_value() -> None:
    """lpg_lhv_propane (P): 46.34 MJ/kg net, so 1 kW burns 77.7 g/h and a kilogram gives 12.87 kWh."""
    assert value("propane_net_mj_per_kg") == pytest.approx(46.34, abs=0.05)
    assert gas_kg(1000) * 1000 == pytest.approx(77.7, abs=0.05)
    assert 1 / gas_kg(1000) == pytest.approx(12.87, abs=0.01)


def test_appliances_in_grams() -> None:
    """lpg_190W_g_per_24h and lpg_2kW_eta0.9_g_per_h (D), with the burner, the 0.97 heater and the 10 L tank beside them."""
    assert gas_kg(190 * 24) * 1000 == pytest.approx(354.3, abs=1)
    assert gas_kg(2000, 0.9) * 1000 == pytest.approx(172.6, abs=0.3)
    assert gas_kg(1500) * 1000 == pytest.approx(116.5, abs=0.1)
    assert gas_kg(3000, 0.97) * 1000 == pytest.approx(240.3, abs=0.3)
    assert gas_kg(water_wh(10, 15, 60), 0.80) * 1000 == pytest.approx(50.8, abs=0.1)


def test_the_forecast_burns_what_the_fridge_is_rated_at() -> None:
    """A 190 W fridge alone uses 354 g in a day of the forecast (D), through the hourly path and not only the formula."""
    van = plain_van(fridge_w=190, hob_aboard=False, water_heater_l=0)
    warm = DayWeather(25, 24, 26, 5.0)
    use = hourly(van, plain_party(), warm, SHARE, None, DAY)
    assert use[:, 4].sum() * 1000 == pytest.approx(354.3, abs=1)


def test_vapour_pressure() -> None:
    """butane_gauge_0C and propane_gauge_-20C (D, reference equations of state): 1.9 and 143.2 kPa; one is no use, the other is."""
    assert gauge_kpa("butane", 0) == pytest.approx(1.9, abs=0.5)
    assert gauge_kpa("propane", -20) == pytest.approx(143.2, abs=2)
    assert not gives_gas("butane", 0)
    assert gives_gas("propane", -20)
    # Boiling points -42.1 and -0.5 °C (D) lie where the pressure passes that of the air; -40 is the table's end.
    assert vapour_kpa("butane", -0.5) == pytest.approx(101.3, abs=0.6)
    assert vapour_kpa("propane", -40) > 101.3


def test_bottle_volume() -> None:
    """lpg_9kg_volume_15C (D): 17.73 L at 15 °C and 20.05 L at 50 °C, of the 21.4 L that 42 % filling by mass gives (P*)."""
    assert gas_volume_l("propane", 9, 15) == pytest.approx(17.73, abs=0.05)
    assert gas_volume_l("propane", 9, 50) == pytest.approx(20.05, abs=0.05)
    assert gas_volume_l("propane", 9, 50) < 9 / 0.42


def test_ten_litres_by_1800_watts() -> None:
    """water_10L_10to60_1800W_ideal_min (D): 19.38 min ideally; 23 min in practice (C); the model shows both."""
    assert heat_minutes(10, 10, 60, 1800) == pytest.approx(19.38, abs=0.05)
    assert heat_minutes_in_practice(10, 10, 60, 1800) == pytest.approx(23, abs=0.05)


@pytest.mark.parametrize(
    ("cold", "kwh", "minutes", "efficiency"),
    [(5, 0.640, 21.3, 0.927), (10, 0.581, 19.4, 0.843), (15, 0.523, 17.4, 0.758), (20, 0.465, 15.5, 0.674)],
)
def test_water_heating_table(cold: float, kwh: float, minutes: float, efficiency: float) -> None:
    """water_10L_15to60_eff_23min and its neighbours (D): 10 L to 60 °C by 1,800 W, and the efficiency that 23 min means."""
    assert water_wh(10, cold, 60) / 1000 == pytest.approx(kwh, abs=0.001)
    assert heat_minutes(10, cold, 60, 1800) == pytest.approx(minutes, abs=0.06)
    assert heat_minutes(10, cold, 60, 1800) / 23 == pytest.approx(efficiency, abs=0.002)


def test_mixing() -> None:
    """10 L at 60 °C with 15 °C supply give 18.0 L at 40 °C (D)."""
    assert mixed_l(10, 60, 15, 40) == pytest.approx(18.0)


def test_least_water_of_the_self_containment_standard() -> None:
    """nzs5465_fresh_2p_3d and nzs5465_toilet_2p_3d (P, NZS 5465:2001): 4 and 1 L a head and day are 24 and 6 L; the defaults plan for more."""
    van = plain_van(shower_aboard=False)
    least = plain_party(water_l=4, waste_l=1.0, flushes=0, drunk_l=0.5)
    three_days = slots(0, 72)
    use = hourly(van, least, MILD, SHARE, None, three_days)
    assert use[:, 0].sum() == pytest.approx(24)
    assert use[:, 2].sum() == pytest.approx(6)
    ours = hourly(van, plain_party(), MILD, SHARE, None, three_days)
    assert ours[:, 0].sum() > 24
    assert ours[:, 2].sum() > 6


def test_cassette_days() -> None:
    """cassette_19L_person_days (D, waste of Rose et al. 2015): 1.55 L and 5 flushes of 0.3 L fill 19 L in 6.23 person-days."""
    one = plain_party(adults=1)
    day = hourly(plain_van(), one, MILD, SHARE, None, DAY)[:, 2].sum()
    assert day == pytest.approx(3.05)
    assert 19 / day == pytest.approx(6.23, abs=0.01)
    assert value("cassette_usable") * 19 / day == pytest.approx(5.61, abs=0.01)


def test_peukert() -> None:
    """peukert_100Ah_20h_k1.2_10A and peukert_k_42_33.6 (D on P* and M); the trap: at the rated current it must last the rated hours."""
    assert peukert_hours(100, 20, 1.2, 10) == pytest.approx(8.706, abs=0.002)
    assert peukert_hours(100, 20, 1.15, 10) == pytest.approx(9.013, abs=0.002)
    assert peukert_hours(100, 20, 1.15, 20) == pytest.approx(4.061, abs=0.002)
    assert peukert_hours(100, 20, 1.2, 5) == pytest.approx(20)
    k = peukert_from_ratings(10, 1, 4.2, 33.6)
    assert k == pytest.approx(1.1073, abs=0.0002)
    assert 4.2**k * 10 == pytest.approx(49.0, abs=0.1)


def test_the_forecast_obeys_peukert() -> None:
    """A fridge drawing 12.5 A from 100 Ah for 4 h takes 4 x 12.5 x (12.5/5)^(k-1) Ah; a load under the 20 h rate takes what it says."""
    bare = {"alarm_a": 0, "lights_a": 0, "fan_a": 0, "fridge_electronics_a": 0, "battery_kind": "agm"}
    party = plain_party(devices_ah=0, water_l=2, flushes=0)
    hours = slots(2, 5)  # nobody at the tap or the toilet but for a trace
    van = plain_van(fridge_towing="battery", fridge_w=150, **bare)
    warm = DayWeather(25, 24, 26, 0.0)
    used = hourly(van, party, warm, SHARE, None, hours, towing=1.0)[:, 5].sum()
    assert used == pytest.approx(3 * 12.5 * 2.5**0.10, abs=0.001)
    slow = plain_van(fridge_towing="none", **{**bare, "alarm_a": 0.1})
    assert hourly(slow, party, warm, SHARE, None, hours, towing=1.0)[:, 5].sum() == pytest.approx(0.3, abs=0.001)


@pytest.mark.parametrize(("temp", "factor"), [(25, 1.0), (10, 1.195), (4.4, 1.303), (0, 1.405), (-3.9, 1.509), (40, 0.898)])
def test_battery_in_the_cold(temp: float, factor: float) -> None:
    """ieee485_0C and ieee485_25C (P, fit of IEEE 485 table 1): size factors, and what of the capacity is left."""
    assert ieee_485_factor(temp) == pytest.approx(factor, abs=0.001)
    assert cold_share(plain_van(), temp) == pytest.approx(min(1.0, 1 / factor), abs=0.001)


def test_rested_volts() -> None:
    """ocv_soc (P, weak; makers differ by 0.1 V): 12.65 V full to 11.89 V empty."""
    for share, volts in ((1, 12.65), (0.75, 12.45), (0.5, 12.24), (0.25, 12.06), (0, 11.89)):
        assert rested_volts(share) == pytest.approx(volts, abs=0.1)
    # Cell volts are about specific gravity + 0.84 (P*, Vinal): 1.265 when full, 1.190 at half.
    assert rested_volts(1.0) == pytest.approx(6 * (1.265 + 0.84), abs=0.1)
    assert rested_volts(0.5) == pytest.approx(6 * (1.190 + 0.84), abs=0.1)


def test_pump_and_alarm() -> None:
    """40 L at 7 L/min and 5 A take 0.476 Ah, an alarm of 0.1 A 2.4 Ah a day (D)."""
    quiet = {"lights_a": 0, "fan_a": 0, "fridge_electronics_a": 0, "hob_aboard": False, "shower_aboard": False, "flush_l": 0}
    party = plain_party(water_l=20, flushes=0, devices_ah=0)
    warm = DayWeather(25, 24, 26, 0.0)
    alarm = plain_van(**quiet, alarm_a=0.1, pump_a=0.5)
    both = plain_van(**quiet, alarm_a=0.1, pump_a=5.5)
    base = hourly(alarm, party, warm, SHARE, None, DAY)[:, 5].sum()
    assert hourly(both, party, warm, SHARE, None, DAY)[:, 5].sum() - base == pytest.approx(0.476, abs=0.001)
    assert base == pytest.approx(2.4 + 0.0476, abs=0.001)


def test_panel_yield() -> None:
    """pv_100W_5kWh_pr0.75 (D): 375 Wh, 30.0 Ah at 12.5 V, of which a lead-acid battery keeps 90 % (C)."""
    bare = {"alarm_a": 0, "lights_a": 0, "fan_a": 0, "fridge_electronics_a": 0, "pump_a": 0.5}
    van = plain_van(solar_w=100, solar_shade=0, **bare)
    party = plain_party(devices_ah=0, water_l=2, flushes=0)
    warm = DayWeather(25, 24, 26, 5.0)
    dark = hourly(plain_van(solar_w=0, **bare), party, warm, SHARE, None, DAY)[:, 5].sum()
    kept = dark - hourly(van, party, warm, SHARE, None, DAY)[:, 5].sum()
    assert 100 * 5.0 * value("panel_ratio") == pytest.approx(375)
    assert kept == pytest.approx(30.0 * 0.90, abs=0.02)


def test_fridge_warming() -> None:
    """fridge_tau8_25_2_to_5 (D) and its neighbours: hours from cold to 5 °C."""
    assert hours_to(5, 25, 2, 8) == pytest.approx(1.118, abs=0.001)
    assert hours_to(5, 25, 4, 8) == pytest.approx(0.390, abs=0.001)
    assert hours_to(5, 35, 2, 8) == pytest.approx(0.762, abs=0.001)
    assert hours_to(5, 25, 2, 4) == pytest.approx(0.559, abs=0.001)


def test_space_heating() -> None:
    """heat_76.8WK_dT15 (D on ISO 13789's 0.33 Wh/m³K): the box of 54.23 m² and 23.6 m³ loses 56.6, 76.8 or 103.9 W/K."""
    for u, air, loss, watts, grams in ((0.9, 1.0, 56.6, 849, 68), (1.2, 1.5, 76.8, 1151, 92), (1.7, 1.5, 103.9, 1558, 125)):
        mine = heat_loss_w_per_k(u, 54.23, air, 23.6)
        assert mine == pytest.approx(loss, abs=0.1)
        assert heat_w(mine, 15, 0) == pytest.approx(watts, abs=3)
        assert gas_kg(heat_w(mine, 15, 0), 0.97) * 1000 == pytest.approx(grams, abs=0.7)


def test_the_forecast_heats_by_the_same_physics() -> None:
    """Eight hours asleep at ΔT 15 K and 76.8 W/K take 9.2 kWh, 0.74 kg of gas (D), less 100 W that come for free."""
    van = plain_van(heat_loss_w_per_k=76.8, heater_efficiency=0.97, fridge_w=0, hob_aboard=False, water_heater_l=0)
    party = plain_party(asleep_c=15)
    still_cold = DayWeather(0, 0, 0, 0.0)
    used = hourly(van, party, still_cold, SHARE, None, slots(23, 31))[:, 4].sum()
    assert used == pytest.approx(gas_kg((76.8 * 15 - 100) * 8, 0.97), rel=1e-6)
    assert gas_kg(76.8 * 15 * 8, 0.97) == pytest.approx(0.74, abs=0.005)


def test_nose_weight() -> None:
    """1,500 kg ask for 75 to 105 kg on the hitch (P, UK Met Office: 5 to 7 %)."""
    assert nose_range_kg(1500) == pytest.approx((75, 105))


def test_every_fact_has_a_source() -> None:
    """Nothing in the table of constants stands without a word on where it comes from."""
    assert all(fact.source and fact.meaning for fact in FACTS.values())
    assert all(0 <= fact.spread < 0.5 for fact in FACTS.values())


def test_piped_pitch_touches_no_barrel() -> None:
    """Where tap and drain are joined by hose, neither barrel changes, and without the hose aboard they do."""
    kind = StayKind(powered=True, piped=True)
    joined = hourly(plain_van(piped_water=True), plain_party(), MILD, SHARE, kind, DAY)
    apart = hourly(plain_van(piped_water=False), plain_party(), MILD, SHARE, kind, DAY)
    assert joined[:, :2].sum() == 0
    assert apart[:, 0].sum() > 20
