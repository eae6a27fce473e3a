"""What runs on what, at a stay and on the road, and why; and whether a night needs mains."""

from __future__ import annotations

import numpy as np

from tripplan.model.plan import EnergyLine
from tripplan.model.van import DayWeather, Party, Van
from tripplan.van.boiler import boiler_of
from tripplan.van.facts import value
from tripplan.van.heat import gas_kg, heat_w, hour_temperatures, inlet_c
from tripplan.van.use import StayKind, asleep_hours, hourly, slots, water_heated_by

__all__ = ["mains_verdict", "most_heat_w", "road_lines", "runs_on", "runs_on_road", "stay_lines"]


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
    hot = water_heated_by(van, powered=mains)
    if hot == "hob" and not van.hob_aboard:
        hot = "none aboard"
    heating = _heating(van, party, weather, kind)
    gas_used = not mains or van.hob_aboard or "gas" in heating or hot == "gas"
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


def stay_lines(van: Van, party: Party, weather: DayWeather, kind: StayKind) -> tuple[EnergyLine, ...]:
    """Return what each thing runs on at a stay, with the reason in figures."""
    words = runs_on(van, party, weather, kind)
    wanted, boiler = most_heat_w(van, party, weather), boiler_of(van, weather, powered=kind.powered)
    a_day_kg = gas_kg(van.fridge_w * 24, propane=van.gas_propane)
    fridge = f"{van.fridge_w:.0f} W all day; " + (
        f"on gas it would burn {a_day_kg:.2f} kg a day"
        if kind.powered
        else f"{a_day_kg:.2f} kg of gas a day, as there is no mains"
    )
    heating = ""
    if wanted > 0:
        heating = f"the coldest hour, {weather.low_c:.0f} °C, asks for {wanted:,.0f} W; gas gives {van.heater_w:,.0f} W"
        heating += f", the mains element {van.heater_mains_w:,.0f} W" if kind.powered and van.heater_mains_w > 0 else ""
    hot = ""
    if boiler.ideal_min > 0:
        hot = (
            f"{van.water_heater_l:g} L from {inlet_c(weather):.0f} to {value('hot_water_c'):.0f} °C by {boiler.power_w:,.0f} W: "
            f"{boiler.ideal_min:.0f} min ideally, {boiler.practice_min:.0f} in practice; {boiler.shower_l:.0f} L at the shower head"
        )
    volts = f"charger of {van.charger_a:g} A" if words["12 V"] == "mains charger" else ""
    if not volts and van.solar_w > 0:
        wh = van.solar_w * (1 - van.solar_shade) * weather.sun_kwh_per_m2 * value("panel_ratio")
        volts = f"panels of {van.solar_w:.0f} W give about {wh / value('panel_v'):.0f} Ah on such a day"
    gas = (
        "off at the bottle when nobody is aboard to mind it" if words["gas"] != "off" else "nothing runs on it: off at the bottle"
    )
    why = {"fridge": fridge, "heating": heating, "hot water": hot, "12 V": volts, "gas": gas}
    return tuple(EnergyLine("stay", what, on, why.get(what, "")) for what, on in words.items())


def road_lines(van: Van, *, ferry: bool = False) -> tuple[EnergyLine, ...]:
    """Return what each thing runs on while towing or aboard a ferry, with the reason."""
    words = runs_on_road(van, ferry=ferry)
    fridge = {
        "off": "nothing powers it: keep the door shut" if not ferry else "engine and gas are off aboard: keep the door shut",
        "car, 12 V": "holds what is cold while the engine runs; off at every stop",
        "van battery, 12 V": f"takes {van.fridge_w / value('fridge_12v'):.0f} A from the van's battery",
    }[words["fridge"]]
    volts = "" if ferry or van.car_charge_a <= 0 else f"the car charges with {van.car_charge_a:g} A"
    gas = "before boarding, and aboard" if ferry else "before the van moves"
    why = {
        "fridge": fridge,
        "heating": "gas is off",
        "hot water": "gas is off",
        "cooking": "gas is off",
        "12 V": volts,
        "gas": gas,
    }
    return tuple(EnergyLine("ferry" if ferry else "towing", what, on, why[what]) for what, on in words.items())


def mains_verdict(
    van: Van, party: Party, weather: DayWeather, sun_share: tuple[float, ...], kind: StayKind, *, arrive_h: float, leave_h: float,
    battery_ah: float, battery_limit_ah: float,
) -> tuple[str, tuple[str, ...]]:  # fmt: skip
    """Return whether a night needs mains, and why, a sentence each.

    Parameters
    ----------
    arrive_h, leave_h
        Local hours of arriving, and of leaving on the next date.
    battery_ah, battery_limit_ah
        What is in the battery on arrival, and what must stay in it [Ah].

    Returns
    -------
    tuple
        ``needed``, ``helps`` or ``none`` (there is no mains), and the reasons.
    """
    hours = slots(arrive_h, 24 + leave_h)
    bare = kind._replace(powered=False)
    without = hourly(van, party, weather, sun_share, bare, hours)
    level = lowest = battery_ah
    for used in without[:, 5].tolist():
        level = min(van.battery_ah, level - used)
        lowest = min(lowest, level)
    wanted = most_heat_w(van, party, weather)
    cold = wanted > van.heater_w
    if not kind.powered:
        why = [
            f"no mains: the battery is expected to come down to about {lowest:.0f} Ah, {battery_limit_ah:.0f} Ah must stay in it"
        ]
        if cold:
            why.append(
                f"the coldest hour asks for {wanted:,.0f} W of heat and gas gives {van.heater_w:,.0f} W: it gets colder than wished"
            )
        return "none", tuple(why)
    why = []
    if lowest < battery_limit_ah:
        why.append(
            f"without it the battery is expected to come down to about {lowest:.0f} Ah, and {battery_limit_ah:.0f} Ah must stay in it"
        )
    if cold and van.heater_mains_w > 0:
        why.append(f"the coldest hour asks for {wanted:,.0f} W of heat and gas alone gives {van.heater_w:,.0f} W")
    if water_heated_by(van, powered=False) != "gas" and water_heated_by(van, powered=True) == "mains":
        why.append("the water heater runs on mains only")
    needed = bool(why)
    spared = float(without[:, 4].sum() - hourly(van, party, weather, sun_share, kind, hours)[:, 4].sum())
    if spared >= 0.01:
        why.append(f"it spares about {spared:.2f} kg of gas this night")
    if not needed:
        why.append(
            f"without it the battery is expected to come down to about {lowest:.0f} Ah, above the {battery_limit_ah:.0f} Ah that must stay"
        )
    return ("needed" if needed else "helps"), tuple(why)
