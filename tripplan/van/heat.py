"""Heat for water and for the van, and what it takes in gas."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from tripplan.model.van import DayWeather
from tripplan.van.facts import value

__all__ = [
    "gas_kg",
    "heat_loss_w_per_k",
    "heat_minutes",
    "heat_minutes_in_practice",
    "heat_w",
    "hour_temperatures",
    "inlet_c",
    "mixed_l",
    "water_wh",
]

#: Heat that air carries, ISO 13789 [Wh/(m³ K)].
_AIR_WH_PER_M3_K = 0.33
_COLDEST_H, _WARMEST_H = 5.0, 15.0


def gas_kg(heat_wh: float, efficiency: float = 1.0, propane: float = 1.0) -> float:
    """Return the gas that gives so much useful heat, by net calorific value, ``propane`` its share of the mass [kg]."""
    net = propane * value("propane_net_mj_per_kg") + (1 - propane) * value("butane_net_mj_per_kg")
    return heat_wh / efficiency * 0.0036 / net


def water_wh(litres: float, from_c: float, to_c: float) -> float:
    """Return the heat that warms water, m c ΔT [Wh]; 0 when it is warm already."""
    return litres * value("water_kj_per_kg_k") * max(0.0, to_c - from_c) / 3.6


def heat_minutes(litres: float, from_c: float, to_c: float, power_w: float, efficiency: float = 1.0) -> float:
    """Return the minutes that a heater of so much power takes; ideal with efficiency 1."""
    return 60 * water_wh(litres, from_c, to_c) / (power_w * efficiency)


def heat_minutes_in_practice(litres: float, from_c: float, to_c: float, power_w: float) -> float:
    """Return the minutes that a mains element takes in practice: losses of tank and pipes counted."""
    return heat_minutes(litres, from_c, to_c, power_w, value("water_mains_efficiency"))


def mixed_l(hot_l: float, hot_c: float, cold_c: float, mixed_c: float) -> float:
    """Return the litres at ``mixed_c`` that hot water makes with cold."""
    return hot_l * (hot_c - cold_c) / (mixed_c - cold_c)


def inlet_c(weather: DayWeather) -> float:
    """Return the temperature of tap and barrel water: that of the day's air, 5 to 25 °C (common practice)."""
    return min(max(weather.mean_c, 5.0), 25.0)


def heat_loss_w_per_k(u_w_per_m2_k: float, area_m2: float, air_changes: float, volume_m3: float) -> float:
    """Return a van's heat loss from its walls and its vents, U A + 0.33 n V [W/K]."""
    return u_w_per_m2_k * area_m2 + _AIR_WH_PER_M3_K * air_changes * volume_m3


def heat_w(loss_w_per_k: float, inside_c: float, outside_c: float, free_w: float = 0.0) -> float:
    """Return the heat that holds ``inside_c``, less what comes for free; never below 0 [W]."""
    return max(0.0, loss_w_per_k * (inside_c - outside_c) - free_w)


def _day_shape() -> NDArray[np.float64]:
    """(24) rise from 0 at the coldest hour to 1 at the warmest, and back."""
    hour = np.arange(24.0)
    rising = _WARMEST_H - _COLDEST_H
    up = 0.5 - 0.5 * np.cos(np.pi * (hour - _COLDEST_H) / rising)
    down = 0.5 + 0.5 * np.cos(np.pi * ((hour - _WARMEST_H) % 24) / (24 - rising))
    return np.where((hour >= _COLDEST_H) & (hour <= _WARMEST_H), up, down)


_SHAPE = _day_shape()
_SHAPE_MEAN = float(_SHAPE.mean())


def hour_temperatures(weather: DayWeather) -> NDArray[np.float64]:
    """Return the air temperature of each local hour, (24) [°C]: coldest at 5, warmest at 15, the mean kept where low and high allow."""
    low, high = min(weather.low_c, weather.high_c), max(weather.low_c, weather.high_c)
    shift = weather.mean_c - (low + (high - low) * _SHAPE_MEAN)
    return np.asarray(np.clip(low + (high - low) * _SHAPE + shift, low, high))
