"""Every constant that the forecast stands on, with unit, source and spread: one table, read by the code and by `explain`.

Sources marked "memory" are well known but were not read again; "common practice, no source" is the trade's habit.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

__all__ = ["FACTS", "PRACTICE", "SPREADS", "Fact", "Spread", "value"]

PRACTICE = "common practice, no source"


@dataclass(frozen=True, slots=True)
class Fact:
    """One constant: value, unit, where it comes from, and the relative spread (one sigma) of what it stands for."""

    value: float
    unit: str
    source: str
    spread: float = 0.0
    meaning: str = ""


FACTS: Mapping[str, Fact] = MappingProxyType(
    {
        # gas
        "propane_net_mj_per_kg": Fact(46.34, "MJ/kg", "heat of combustion -2219.2 kJ/mol less vapour; property sheets agree (46.3)", meaning="net calorific value of propane"),
        "butane_net_mj_per_kg": Fact(45.72, "MJ/kg", "heat of combustion -2877.6 kJ/mol less vapour; property sheets agree (45.7)", meaning="net calorific value of n-butane"),
        "least_gauge_kpa": Fact(5.0, "kPa", PRACTICE, meaning="pressure above the air that a regulator needs to work at all"),
        "draw_cools_k": Fact(3.0, "K", "300 g/h take 31 W out of the liquid (heat of vaporisation 375 kJ/kg); what that cools is " + PRACTICE, meaning="a bottle in use is colder than the air by"),
        # water
        "water_kj_per_kg_k": Fact(4.186, "kJ/(kg K)", "heat-transfer texts (memory)", meaning="specific heat of water"),
        "hot_water_c": Fact(60.0, "°C", PRACTICE, meaning="set-point of the water heater"),
        "shower_c": Fact(40.0, "°C", PRACTICE, meaning="water at the shower head"),
        "water_mains_efficiency": Fact(0.843, "", "10 L from 10 to 60 °C by 1,800 W: 19.4 min ideal, 23 min in practice (common practice)", meaning="share of the element's heat that reaches the water"),
        "kettle_efficiency": Fact(0.5, "", PRACTICE, meaning="pan or kettle on the hob, where there is no water heater"),
        "boiler_w_per_k": Fact(0.5, "W/K", PRACTICE, 0.3, "heat loss of a small insulated water heater"),
        "pet_water_l": Fact(1.0, "L/day", PRACTICE, 0.2, "drinking water of a pet"),
        # heating
        "free_heat_w": Fact(100.0, "W", "one person sitting: 58 W/m² on 1.8 m² (ISO 7730, memory)", meaning="heat that needs no heater"),
        "fan_least_share": Fact(0.3, "", PRACTICE, meaning="least share of the fan's current while heating"),
        "asleep_from_h": Fact(22.0, "h", PRACTICE, meaning="the asleep set-point holds from"),
        "asleep_to_h": Fact(7.0, "h", PRACTICE, meaning="and to"),
        # fridge
        "fridge_limit_c": Fact(5.0, "°C", "FSANZ Standard 3.2.2, temperature control; NSW Food Authority", meaning="food is kept at or below"),
        "fridge_kept_c": Fact(3.0, "°C", PRACTICE, meaning="temperature of a fridge that has run all night"),
        "fridge_tau_h": Fact(8.0, "h", "weak: quoted 4 h (small, part full) to 10 h; 10 kg of food and 1.2 W/K give 10.9 h", 0.3, "time constant of warming, door shut"),
        "fridge_lift_k": Fact(25.0, "K", PRACTICE, meaning="how far below its surroundings an absorption fridge can cool"),
        "closed_van_k": Fact(5.0, "K", PRACTICE, meaning="inside of a closed van in the sun against the air"),
        "stop_on_gas_h": Fact(1.0, "h", PRACTICE, meaning="stops on the way so long or longer have the fridge on gas"),
        "fridge_12v": Fact(12.0, "V", PRACTICE, meaning="voltage at the 12 V element"),
        # battery
        "panel_ratio": Fact(0.75, "", "0.65 to 0.80 for a flat panel (common practice); PVWatts v5 default losses 14 % plus heat", 0.0, "share of rated output that reaches the battery"),
        "panel_v": Fact(12.5, "V", PRACTICE, meaning="volts at which watt hours become ampere hours"),
        "accept_lead": Fact(0.90, "", "0.85 to 0.95 (common practice)", meaning="charge kept of charge given, lead-acid"),
        "accept_lifepo4": Fact(0.97, "", PRACTICE, meaning="the same, lithium iron phosphate"),
        "rating_h": Fact(20.0, "h", "capacity is rated over 20 h", meaning="hours of the rated capacity"),
        "peukert_flooded": Fact(1.25, "", "1.2 to 1.3, battery handbooks (secondary)", meaning="Peukert exponent"),
        "peukert_agm": Fact(1.10, "", "1.05 to 1.15, battery handbooks (secondary)", meaning="Peukert exponent"),
        "peukert_gel": Fact(1.15, "", "1.1 to 1.25, battery handbooks (secondary)", meaning="Peukert exponent"),
        "peukert_lifepo4": Fact(1.03, "", PRACTICE, meaning="Peukert exponent"),
        "inner_ohm_lead": Fact(0.02, "ohm", PRACTICE, 0.3, "resistance of 100 Ah lead-acid with its cables"),
        "inner_ohm_lifepo4": Fact(0.008, "ohm", PRACTICE, 0.3, "the same, lithium iron phosphate"),
        "charge_v": Fact(14.4, "V", PRACTICE, meaning="volts at which a charger ends"),
        "charger_efficiency": Fact(0.85, "", PRACTICE, meaning="share of the charger's mains input that reaches the battery"),
        "battery_c": Fact(10.0, "°C", PRACTICE, meaning="battery temperature planned with when the trip's cold is not given"),
        # frost
        "ice_kj_per_kg": Fact(334.0, "kJ/kg", "heat of fusion of water (memory)", meaning="heat that freezes water"),
        "barrel_w_per_k_40l": Fact(2.5, "W/K", "0.6 m² of barrel wall in still air at about 4 W/m²K; " + PRACTICE, 0.3, "heat loss of an outdoor barrel of 40 L"),
        "frost_share": Fact(0.05, "", PRACTICE, meaning="share of ice from which a barrel's tap and pump stand still"),
        "frost_inside_c": Fact(3.0, "°C", PRACTICE, meaning="pipes and water heater are drained where the van gets colder inside"),
        "van_kj_per_k": Fact(900.0, "kJ/K", "about 700 kg of body, furniture and water at 1.3 kJ/kgK; " + PRACTICE, 0.3, "heat that the van stores"),
        # reserves
        "fresh_reserve": Fact(0.05, "", PRACTICE, meaning="share of the barrel that the pump does not reach or is kept back"),
        "grey_reserve": Fact(0.05, "", PRACTICE, meaning="share of the barrel left free so that it does not run over"),
        "cassette_usable": Fact(0.90, "", PRACTICE, meaning="share of a cassette used before towing (room to slosh)"),
        "flush_reserve": Fact(0.05, "", PRACTICE, meaning="share of the flush tank kept back"),
        "gas_reserve_kg": Fact(0.3, "kg", PRACTICE, meaning="gas kept back in the last bottle"),
        # load
        "water_kg_per_l": Fact(1.0, "kg/L", "physics", meaning="mass of water"),
        "bottle_tare": Fact(1.2, "", PRACTICE, 0.2, "mass of an empty steel bottle against its fill"),
        "adult_goods_kg": Fact(30.0, "kg", PRACTICE, 0.3, "clothes, food and gear of an adult"),
        "child_goods_kg": Fact(20.0, "kg", PRACTICE, 0.3, "of a child"),
        "shared_goods_kg": Fact(60.0, "kg", PRACTICE, 0.3, "awning, chairs, table, cable, hoses"),
        "nose_low": Fact(0.05, "", "UK Met Office, travelling safely with a caravan: 5 to 7 %", meaning="least nose weight against laden mass"),
        "nose_high": Fact(0.07, "", "UK Met Office, travelling safely with a caravan: 5 to 7 %", meaning="greatest"),
    }
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Spread:
    """How far real use lies from the figure planned with, as relative errors (one sigma each).

    Parameters
    ----------
    shared
        The part that is the same on all days of a trip (a thirsty party, a cold month); where ``habit``, the party's own
        ``spread_shared`` stands in its place.
    daily
        The part that differs from day to day and averages out.
    """

    shared: float
    daily: float
    source: str
    habit: bool = False


#: Spread of each use: one table for forecast and `explain`.
SPREADS: Mapping[str, Spread] = MappingProxyType(
    {
        "water": Spread(0.12, 0.15, PRACTICE, habit=True),
        "showers": Spread(0.12, 0.30, PRACTICE, habit=True),
        "toilet": Spread(0.12, 0.15, "urine and faeces differ between people by about as much (Rose et al. 2015, memory)", habit=True),
        "flush": Spread(0.12, 0.20, PRACTICE, habit=True),
        "cooking": Spread(0.12, 0.25, PRACTICE, habit=True),
        "hot water": Spread(0.12, 0.25, PRACTICE, habit=True),
        "devices": Spread(0.12, 0.25, PRACTICE, habit=True),
        "heating": Spread(0.15, 0.20, "days colder or windier than the figures planned with; " + PRACTICE),
        "fridge": Spread(0.10, 0.05, "fridge input against its rating (ambient, door); " + PRACTICE),
        "sun": Spread(0.15, 0.35, "PVWatts v5 manual: ±30 % in a month, taken as two sigma; from day to day " + PRACTICE),
    }
)  # fmt: skip


def value(name: str) -> float:
    """Return the value of one of `FACTS`."""
    return FACTS[name].value
