"""Every figure that a forecast stands on, with its unit and where it comes from."""

from __future__ import annotations

from dataclasses import MISSING, fields
from typing import NamedTuple

from tripplan.model.van import Party, Van
from tripplan.model.words import STORES
from tripplan.van.facts import FACTS, PRACTICE, SPREADS, value
from tripplan.van.heat import heat_minutes
from tripplan.van.limits import limit_level

__all__ = ["Row", "explain"]


class Row(NamedTuple):
    """One line.

    Parameters
    ----------
    name, value, unit, source
        Name as it is written in a file (or what a worked-out figure is), value as text, unit, and where it comes from: a public source,
        "common practice, no source", or ``given`` for a figure of one's own.
    spread, daily
        Relative errors, one sigma: the same on all days of a trip, and from day to day; 0: none.
    group
        ``van``, ``party``, ``limits``, ``times``, ``spreads`` or ``constants``.
    meaning
        What it is, in words, where the name does not say it.
    """

    name: str
    value: str
    unit: str
    source: str
    spread: float = 0.0
    daily: float = 0.0
    group: str = "van"
    meaning: str = ""


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
    "adults": ("", ""), "children": ("", "none unless given"),
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
    "pets": ("", "none unless given"),
    "spread_shared": ("share, one sigma", PRACTICE),
}  # fmt: skip
#: Which use's spread a figure has (`tripplan.van.facts.SPREADS`).
_SPREAD_OF = {
    "water_l": "water", "drunk_l": "water", "shower_l": "showers", "showers_per_day": "showers", "toilet_share_with_block": "toilet",
    "waste_l": "toilet", "flushes": "flush", "flush_l": "flush", "hob_min": "cooking", "hot_water_l": "hot water", "devices_ah": "devices",
    "solar_w": "sun", "fridge_w": "fridge", "heat_loss_w_per_k": "heating",
}  # fmt: skip


def _text(value: object) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    return f"{value:g}" if isinstance(value, int | float) else str(value)


def _rows(thing: Van | Party, table: dict[str, tuple[str, str]], party: Party | None) -> list[Row]:
    rows = []
    group = "van" if isinstance(thing, Van) else "party"
    for item in fields(thing):
        if item.name in ("name", "learned"):
            continue
        unit, source = table[item.name]
        figure = getattr(thing, item.name)
        given = item.default is MISSING or figure != item.default
        shared, daily = _spread(item.name, party) if not (group == "van" and item.name == "flush_l") else (0.0, 0.0)
        rows.append(Row(item.name, _text(figure), unit, "given" if given else source, shared, daily, group))
    return rows


def _spread(name: str, party: Party | None) -> tuple[float, float]:
    if name not in _SPREAD_OF:
        return 0.0, 0.0
    spread = SPREADS[_SPREAD_OF[name]]
    return (party.spread_shared if spread.habit and party is not None else spread.shared), spread.daily


def explain(van: Van, party: Party | None = None) -> tuple[Row, ...]:
    """Return every figure of a van, a party and the forecast.

    Returns
    -------
    tuple of Row
        The van's figures, the party's, the limit of each store, times that heating water takes, the spread of each use, then the
        constants. Source ``given`` marks a figure that is not the default.
    """
    rows = _rows(van, _VAN, party)
    if party is not None:
        rows += _rows(party, _PARTY, party)
    rows += [
        Row(
            f"limit of {store.value}", _text(round(limit_level(van, store), 2)), store.unit, "capacity less reserve, below", group="limits"
        )
        for store in STORES
    ]  # fmt: skip
    rows += _times(van)
    rows += [
        Row(
            f"spread of {use}", "", "share, one sigma", spread.source,
            party.spread_shared if spread.habit and party is not None else spread.shared, spread.daily, "spreads",
        )
        for use, spread in SPREADS.items()
    ]  # fmt: skip
    rows += [
        Row(name, _text(fact.value), fact.unit, fact.source, fact.spread, group="constants", meaning=fact.meaning)
        for name, fact in FACTS.items()
    ]
    return tuple(rows)


def _times(van: Van) -> list[Row]:
    """Minutes to heat water from 10 to 60 °C, ideally and in practice: the trade's worked example, then the van's own heater."""
    practice = FACTS["water_mains_efficiency"].source
    heaters = [("10 L by 1,800 W", 10.0, 1800.0, value("water_mains_efficiency"), practice)]
    if van.water_heater_l > 0 and van.water_heater_mains_w > 0:
        heaters.append(
            ("water heater on mains", van.water_heater_l, van.water_heater_mains_w, value("water_mains_efficiency"), practice)
        )
    if van.water_heater_l > 0 and van.water_heater_w > 0:
        heaters.append(
            (
                "water heater on gas",
                van.water_heater_l,
                van.water_heater_w,
                van.water_heater_efficiency,
                _VAN["water_heater_efficiency"][1],
            )
        )
    rows = []
    for name, litres, watts, share, source in heaters:
        ideal = heat_minutes(litres, 10, 60, watts)
        rows.append(Row(f"{name}, 10 to 60 °C, ideal", f"{ideal:.1f}", "min", "m c ΔT / P", group="times"))
        rows.append(Row(f"{name}, 10 to 60 °C, in practice", f"{ideal / share:.1f}", "min", source, group="times"))
    return rows
