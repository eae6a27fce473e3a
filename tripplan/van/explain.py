"""Every figure that a forecast stands on, with its unit and where it comes from."""

from __future__ import annotations

from dataclasses import MISSING, fields
from typing import NamedTuple

from tripplan.model.van import Party, Van
from tripplan.model.words import STORES
from tripplan.van.facts import FACTS, PRACTICE
from tripplan.van.heat import heat_minutes, heat_minutes_in_practice
from tripplan.van.limits import limit_level

__all__ = ["Row", "explain"]


class Row(NamedTuple):
    """One line: name, value as text, unit, source, relative spread (0: none)."""

    name: str
    value: str
    unit: str
    source: str
    spread: float = 0.0


#: Unit and source of each default; a figure that differs from its default is the user's own.
_VAN: dict[str, tuple[str, str]] = {
    "fresh_l": ("L", ""), "grey_l": ("L", ""), "cassette_l": ("L", ""), "flush_l": ("L", ""), "gas_bottle_kg": ("kg", ""), "gas_bottles": ("", ""), "battery_ah": ("Ah over 20 h", ""),
    "battery_kind": ("", PRACTICE),
    "battery_depth": ("share", "50 % for lead-acid leisure batteries, " + PRACTICE),
    "charger_a": ("A", PRACTICE),
    "solar_w": ("W at standard test conditions", PRACTICE),
    "fridge_w": ("W", "120 to 200 W for an absorption fridge, " + PRACTICE),
    "fridge_electronics_a": ("A", "0.05 to 0.3 A, " + PRACTICE),
    "fridge_towing": ("", PRACTICE),
    "heater_w": ("W", "2 to 6 kW, " + PRACTICE),
    "heater_efficiency": ("share", "0.90 to 0.97, " + PRACTICE),
    "heater_mains_w": ("W", PRACTICE),
    "heat_loss_w_per_k": ("W/K", "U 1.2 W/m²K and 1.5 air changes an hour on a 5.5 x 2.2 x 1.95 m box (ISO 13789): 76.8 W/K"),
    "water_heater_l": ("L", PRACTICE),
    "water_heater_w": ("W", "1.2 to 1.5 kW, " + PRACTICE),
    "water_heater_efficiency": ("share", "0.75 to 0.85 on gas, " + PRACTICE),
    "hob_w": ("W", "1.0 to 1.8 kW a burner, " + PRACTICE),
    "pump_l_per_min": ("L/min", PRACTICE),
    "pump_a": ("A", "3 to 7 A, " + PRACTICE),
    "alarm_a": ("A", "0.05 to 0.15 A, " + PRACTICE),
    "fan_a": ("A", "0.5 to 3 A, " + PRACTICE),
    "lights_a": ("A", "0.1 to 0.8 A each, " + PRACTICE),
    "shower_aboard": ("", PRACTICE), "hob_aboard": ("", PRACTICE), "piped_water": ("", PRACTICE),
    "payload_kg": ("kg", PRACTICE), "nose_weight_kg": ("kg", "50 to 100 kg, UK Met Office"),
    "berths": ("", PRACTICE), "cassettes": ("", PRACTICE),
    "gas_propane": ("share by mass", PRACTICE),
    "car_charge_a": ("A", "none unless the van is wired for it, " + PRACTICE),
    "solar_shade": ("share of the sun", PRACTICE),
    "water_heater_mains_w": ("W", PRACTICE),
    "kettle_w": ("W", PRACTICE),
    "mains_v": ("V", "IEC 60038 standard voltage (memory)"),
    "hook_up_a": ("A", "6, 10 or 16 A by site, " + PRACTICE + ": ask"),
}  # fmt: skip
_PARTY: dict[str, tuple[str, str]] = {
    "adults": ("", ""), "children": ("", ""),
    "child_share": ("share of an adult", PRACTICE),
    "water_l": ("L/day an adult", "10 to 20 L, " + PRACTICE + "; NZS 5465:2001 asks for 4 L at least"),
    "drunk_l": ("L/day an adult", PRACTICE),
    "shower_l": ("L", "4 to 6 L/min for 2 to 4 min, " + PRACTICE),
    "showers_per_day": ("", PRACTICE),
    "toilet_share_with_block": ("share", "0.4 to 1.0, " + PRACTICE),
    "waste_l": ("L/day an adult", "urine 1.42 L and faeces 0.13 kg: Rose et al. 2015 (memory for the urine); NZS 5465 asks for 1 L"),
    "flushes": ("a day", PRACTICE),
    "flush_l": ("L", "0.2 to 0.5 L with care, " + PRACTICE),
    "inside_c": ("°C", PRACTICE), "asleep_c": ("°C", PRACTICE),
    "hob_min": ("min/day", PRACTICE), "hot_water_l": ("L/day at 60 °C", PRACTICE), "devices_ah": ("Ah/day", PRACTICE),
    "pets": ("", ""),
    "spread_shared": ("share, one sigma", PRACTICE),
}  # fmt: skip
#: Figures whose use follows the party's habits.
_HABITS = {"water_l", "drunk_l", "shower_l", "showers_per_day", "toilet_share_with_block", "waste_l", "flushes", "flush_l", "hob_min", "hot_water_l", "devices_ah"}  # fmt: skip


def _text(value: object) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    return f"{value:g}" if isinstance(value, int | float) else str(value)


def _rows(thing: Van | Party, table: dict[str, tuple[str, str]], spread: float) -> list[Row]:
    rows = []
    for item in fields(thing):
        if item.name == "name":
            continue
        unit, source = table[item.name]
        value = getattr(thing, item.name)
        given = item.default is MISSING or value != item.default
        rows.append(Row(item.name, _text(value), unit, "given" if given else source, spread if item.name in _HABITS else 0.0))
    return rows


def explain(van: Van, party: Party | None = None) -> tuple[Row, ...]:
    """Return every figure of a van, a party and the forecast.

    Returns
    -------
    tuple of Row
        The van's figures, the party's, the limit of each store, then the constants. Source ``given`` marks a figure that is
        not the default.
    """
    rows = _rows(van, _VAN, 0.0)
    if party is not None:
        rows += _rows(party, _PARTY, party.spread_shared)
    rows += [
        Row(f"limit of {store.value}", _text(round(limit_level(van, store), 2)), store.unit, "capacity less reserve, below")
        for store in STORES
    ]
    if van.water_heater_w > 0 and van.water_heater_l > 0:
        ideal = heat_minutes(van.water_heater_l, 10, 60, van.water_heater_w)
        real = heat_minutes_in_practice(van.water_heater_l, 10, 60, van.water_heater_w)
        rows.append(Row("water heater 10 to 60 °C, ideal", f"{ideal:.1f}", "min", "m c ΔT / P"))
        rows.append(Row("water heater 10 to 60 °C, in practice", f"{real:.1f}", "min", FACTS["water_mains_efficiency"].source))
    rows += [
        Row(
            f"{name}: {fact.meaning}",
            _text(fact.value) if not name.endswith("_spread") else "",
            fact.unit,
            fact.source,
            fact.spread,
        )
        for name, fact in FACTS.items()
    ]
    return tuple(rows)
