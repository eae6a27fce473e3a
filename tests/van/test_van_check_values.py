"""Every published or derived check value that concerns the van, its source beside it.

Labels: P published and read; P* published, quoted from memory; C common practice, no source; D derived by arithmetic from P values;
M from memory.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

import numpy as np
import pytest
from helpers.living import MILD, SHARE, plain_party, plain_van

from tripplan.almanac.solar import haurwitz_w
from tripplan.van.battery import ieee_485_factor, peukert_from_ratings, peukert_hours, rested_volts
from tripplan.van.facts import value
from tripplan.van.fridge import hours_to
from tripplan.van.gas import gas_volume_l, gauge_kpa
from tripplan.van.heat import gas_kg, heat_loss_w_per_k, heat_minutes, heat_minutes_in_practice, heat_w
from tripplan.van.use import hourly, slots


class Check(NamedTuple):
    """One check value: what it is called, what is expected within what, where from, and what we make of it."""

    name: str
    expected: float | tuple[float, ...]
    tolerance: float
    source: str
    mine: Callable[[], object]


def _three_days(store: int) -> float:
    """Use of two adults at the least that the standard sizes for, through the hourly forecast [L]."""
    least = plain_party(water_l=4, waste_l=1.0, flushes=0, drunk_l=0.5)
    return float(hourly(plain_van(shower_aboard=False), least, MILD, SHARE, None, slots(0, 72))[:, store].sum())


def _cassette_days() -> float:
    day = hourly(plain_van(), plain_party(adults=1), MILD, SHARE, None, slots(0, 24))[:, 2].sum()
    return 19 / float(day)


CHECKS = (
    Check("lpg_lhv_propane [MJ/kg]", 46.34, 0.05, "P: LPG property sheets; D from NIST heat of combustion", lambda: value("propane_net_mj_per_kg")),
    Check("lpg_190W_g_per_24h [g]", 354.3, 1, "D: 190 W on the net calorific value", lambda: gas_kg(190 * 24) * 1000),
    Check("lpg_2kW_eta0.9_g_per_h [g/h]", 172.6, 0.3, "D", lambda: gas_kg(2000, 0.9) * 1000),
    Check("butane_gauge_0C [kPa]", 1.9, 0.5, "D: Bücker & Wagner 2006 equation of state", lambda: gauge_kpa("butane", 0)),
    Check("propane_gauge_-20C [kPa]", 143.2, 2, "D: Lemmon 2009 equation of state", lambda: gauge_kpa("propane", -20)),
    Check("lpg_9kg_volume_15C [L]", 17.73, 0.05, "D: liquid density 0.5075 kg/L", lambda: gas_volume_l("propane", 9, 15)),
    Check("water_10L_10to60_1800W_ideal_min [min]", 19.38, 0.05, "D: m c ΔT / P", lambda: heat_minutes(10, 10, 60, 1800)),
    Check("the same in practice [min]", 23.0, 0.05, "C: common practice, no source", lambda: heat_minutes_in_practice(10, 10, 60, 1800)),
    Check("water_10L_15to60_eff_23min", 0.758, 0.002, "D", lambda: heat_minutes(10, 15, 60, 1800) / 23),
    Check("nzs5465_fresh_2p_3d [L]", 24, 1e-6, "P: NZS 5465:2001 as summarised by MBIE, 4 L a head and day for 3 days", lambda: _three_days(0)),
    Check("nzs5465_toilet_2p_3d [L]", 6, 1e-6, "P: the same, 1 L a head and day", lambda: _three_days(2)),
    Check("cassette_19L_person_days [d]", 6.23, 0.01, "D: Rose et al. 2015 (P; urine P*), 5 flushes of 0.3 L", _cassette_days),
    Check("peukert_100Ah_20h_k1.2_10A [h]", 8.706, 0.002, "D: worked example of an encyclopaedia (P*)", lambda: peukert_hours(100, 20, 1.2, 10)),
    Check("peukert_k_42_33.6", 1.1073, 0.0002, "M + D: Larminie & Lowry 2003, section 2.12", lambda: peukert_from_ratings(10, 1, 4.2, 33.6)),
    Check("ieee485_0C", 1.405, 0.001, "P: fit of IEEE 485 table 1", lambda: ieee_485_factor(0)),
    Check("ieee485_25C", 1.000, 0.001, "P: the same", lambda: ieee_485_factor(25)),
    Check(
        "ocv_soc [V]", (12.65, 12.45, 12.24, 12.06, 11.89), 0.1, "P, weak: table at 26.7 °C; makers differ by 0.1 V",
        lambda: [rested_volts(s) for s in (1, 0.75, 0.5, 0.25, 0)],
    ),
    Check(
        "haurwitz [W/m²]", (48.6299, 135.7417, 487.8941, 778.7667, 1035.092), 0.001, "P: pvlib's tests of the clear sky",
        lambda: haurwitz_w(np.cos(np.radians(90 - np.array([5.0, 10, 30, 50, 90])))),
    ),
    Check("pv_100W_5kWh_pr0.75 [Wh]", 375, 1e-6, "D", lambda: 100 * 5.0 * value("panel_ratio")),
    Check("fridge_tau8_25_2_to_5 [h]", 1.118, 0.001, "D: τ ln((Ta - T0) / (Ta - Tlim))", lambda: hours_to(5, 25, 2, 8)),
    Check("heat_76.8WK_dT15 [W]", 1151, 3, "D on 0.33 Wh/m³K of ISO 13789 (P*)", lambda: heat_w(heat_loss_w_per_k(1.2, 54.23, 1.5, 23.6), 15, 0)),
)  # fmt: skip


@pytest.mark.parametrize("check", CHECKS, ids=[c.name for c in CHECKS])
def test_check_value(check: Check) -> None:
    """What the program makes of it is the published value, within what the source allows."""
    assert check.source
    assert check.mine() == pytest.approx(check.expected, abs=check.tolerance)
