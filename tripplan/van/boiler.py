"""The water heater as a store: how warm it is hour by hour, how long it takes, and what it gives at the shower head.

A storage heater is one well-mixed volume: what is drawn is made up with cold water, the burner or the element warms it, and
its walls lose a little. Litres drawn follow the party's habits (`tripplan.van.use`).
"""

from __future__ import annotations

from dataclasses import dataclass

from tripplan.model.van import DayWeather, Party, Van
from tripplan.van.facts import value
from tripplan.van.heat import heat_minutes, inlet_c, mixed_l, water_wh
from tripplan.van.use import ON_THE_ROAD, StayKind, hot_water_l, water_heated_by

__all__ = ["Boiler", "HotWater", "boiler_of", "hot_water_day"]


@dataclass(frozen=True, slots=True)
class Boiler:
    """A water heater at a place.

    Parameters
    ----------
    by
        ``mains``, ``gas`` or ``hob`` (none aboard: a pan).
    power_w, efficiency
        Input [W] and the share of it that reaches the water in practice.
    ideal_min, practice_min
        To heat the whole of it from tap to set-point [min].
    shower_l
        What a full heater gives at the shower head without waiting [L].
    """

    by: str
    power_w: float
    efficiency: float
    ideal_min: float
    practice_min: float
    shower_l: float


@dataclass(frozen=True, slots=True)
class HotWater:
    """A day of the water heater, (24) each: inside at the end of each hour [°C], and heat asked for that was not there [Wh]."""

    inside_c: tuple[float, ...]
    short_wh: tuple[float, ...]


def boiler_of(van: Van, weather: DayWeather, *, powered: bool) -> Boiler:
    """Return the water heater as it runs at a place."""
    by, cold, hot = water_heated_by(van, powered=powered), inlet_c(weather), value("hot_water_c")
    if by == "hob":
        return Boiler(by, van.hob_w if van.hob_aboard else 0.0, value("kettle_efficiency"), 0.0, 0.0, 0.0)
    power = van.water_heater_mains_w if by == "mains" else van.water_heater_w
    share = value("water_mains_efficiency") if by == "mains" else van.water_heater_efficiency
    ideal = heat_minutes(van.water_heater_l, cold, hot, power)
    return Boiler(by, power, share, ideal, ideal / share, mixed_l(van.water_heater_l, hot, cold, value("shower_c")))


def hot_water_day(
    van: Van, party: Party, weather: DayWeather, kind: StayKind | None, *, start_c: float | None = None
) -> HotWater:
    """Return a day of the water heater, left on all day.

    Parameters
    ----------
    start_c
        Inside at midnight [°C]; at its set-point when not given.
    """
    place = kind or ON_THE_ROAD
    boiler = boiler_of(van, weather, powered=place.powered)
    if boiler.by == "hob":
        return HotWater((inlet_c(weather),) * 24, (0.0,) * 24)
    cold, hot, litres = inlet_c(weather), value("hot_water_c"), van.water_heater_l
    per_k = water_wh(1.0, 0.0, 1.0) * litres
    inside = hot if start_c is None else start_c
    temps, short = [], []
    for asked_l in hot_water_l(van, party, weather, place):
        # Within the hour draw and heat go on together: what the store holds above cold and what the heater adds can be drawn.
        there = per_k * max(0.0, inside - cold) + boiler.power_w * boiler.efficiency
        drawn = water_wh(asked_l, cold, hot)
        lost = value("boiler_w_per_k") * max(0.0, inside - weather.mean_c)
        short.append(max(0.0, drawn - there))
        inside = min(hot, max(cold, cold + (there - min(drawn, there) - lost) / per_k))
        temps.append(inside)
    return HotWater(tuple(temps), tuple(short))
