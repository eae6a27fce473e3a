"""What runs on what: at a stay, and on the road."""

from __future__ import annotations

import numpy as np

from tripplan.model.van import DayWeather, Party, Van
from tripplan.van.facts import value
from tripplan.van.heat import heat_w, hour_temperatures
from tripplan.van.use import StayKind, asleep_hours

__all__ = ["most_heat_w", "runs_on", "runs_on_road"]


def most_heat_w(van: Van, party: Party, weather: DayWeather) -> float:
    """Return the heat wanted in the coldest hour of a date, by day or asleep [W]."""
    inside = np.where(asleep_hours(), party.asleep_c, party.inside_c)
    return heat_w(van.heat_loss_w_per_k, float((inside - hour_temperatures(weather)).max()), 0.0, value("free_heat_w"))


def _heating(van: Van, party: Party, weather: DayWeather, kind: StayKind) -> str:
    wanted = most_heat_w(van, party, weather)
    if wanted <= 0:
        return "not needed"
    has_mains = kind.powered and van.heater_mains_w > 0
    if has_mains and wanted <= van.heater_mains_w:
        return "mains"
    if van.heater_w <= 0:
        return "mains, less than wished" if has_mains else "none aboard"
    most = van.heater_w + (van.heater_mains_w if has_mains else 0.0)
    what = "mains, gas in the coldest hours" if has_mains else "gas"
    return what if wanted <= most else f"{what}, less than wished"


def runs_on(van: Van, party: Party, weather: DayWeather, kind: StayKind) -> dict[str, str]:
    """Return what each thing runs on at a stay.

    Returns
    -------
    dict
        ``fridge``, ``heating``, ``hot water``, ``cooking``, ``12 V`` and ``gas`` -> plain words.
    """
    mains = kind.powered
    if van.water_heater_l <= 0 or van.water_heater_w <= 0:
        hot = "hob" if van.hob_aboard else "none aboard"
    else:
        hot = "mains" if mains else "gas"
    heating = _heating(van, party, weather, kind)
    gas_used = not mains or van.hob_aboard or "gas" in heating
    volts = "mains charger" if mains and van.charger_a > 0 else ("battery and sun" if van.solar_w > 0 else "battery")
    return {
        "fridge": "mains" if mains else "gas",
        "heating": heating,
        "hot water": hot,
        "cooking": "gas" if van.hob_aboard else "outside",
        "12 V": volts,
        "gas": "on while in use" if gas_used else "off",
    }


def runs_on_road(van: Van, *, ferry: bool = False) -> dict[str, str]:
    """Return what runs on what while towing or aboard a ferry: gas off at the bottle, always."""
    fridge = {"none": "off", "car_12v": "car, 12 V", "battery": "van battery, 12 V"}[van.fridge_towing]
    if ferry and van.fridge_towing == "car_12v":
        fridge = "off"
    return {
        "fridge": fridge,
        "heating": "off",
        "hot water": "off",
        "cooking": "off",
        "12 V": "battery and sun" if van.solar_w > 0 and not ferry else "battery",
        "gas": "off at the bottle",
    }
