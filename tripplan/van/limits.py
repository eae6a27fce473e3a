"""How much of each store may be used between two services, in the integers that the search counts in.

*Used up* counts from 0 (full of fresh water, empty of grey, charged) upwards, so that more is worse for every store.
"""

from __future__ import annotations

from collections.abc import Iterable
from math import ceil, floor, isfinite

import numpy as np
from numpy.typing import NDArray

from tripplan.model.errors import BadInputError
from tripplan.model.van import DayWeather, Levels, Party, Van
from tripplan.model.words import STORES, Store
from tripplan.van.battery import cold_share
from tripplan.van.facts import value
from tripplan.van.gas import left_in_the_cold

__all__ = [
    "UNITS_PER",
    "battery_temperature",
    "bottle_temperature",
    "capacity",
    "level_of_used",
    "limit_level",
    "reserve",
    "room_units",
    "used_units_of_levels",
]

#: Search units per litre, kilogram or ampere hour, in the order of `STORES`: 0.1 L, 10 g, 0.1 Ah.
UNITS_PER: tuple[int, ...] = (10, 10, 10, 10, 100, 10)
#: Float noise that rounding must not turn into a unit.
_NOISE = 1e-6


def capacity(van: Van, store: Store | str) -> float:
    """Return the full volume of a store, all cassettes or bottles together [L, kg, Ah]."""
    return {
        Store.FRESH: van.fresh_l,
        Store.GREY: van.grey_l,
        Store.CASSETTE: van.cassette_l * van.cassettes,
        Store.FLUSH: van.flush_l,
        Store.GAS: van.gas_bottle_kg * van.gas_bottles,
        Store.BATTERY: van.battery_ah,
    }[Store(store)]


def battery_temperature(days: Iterable[DayWeather], party: Party) -> float:
    """Return the battery temperature to plan a trip with: its locker lies halfway between the sleeping van and the coldest night."""
    lows = [day.low_c for day in days]
    return min(lows, default=value("battery_c")) / 2 + party.asleep_c / 2 if lows else value("battery_c")


def bottle_temperature(days: Iterable[DayWeather]) -> float:
    """Return the temperature of the gas to plan a trip with: that of the coldest hour, less what boiling off takes."""
    return min((day.low_c for day in days), default=value("battery_c")) - value("draw_cools_k")


def reserve(van: Van, store: Store | str, *, battery_c: float | None = None, gas_c: float | None = None) -> float:
    """Return what is kept back of a store: left in it (fresh, flush, gas, battery) or left free (grey, cassette) [L, kg, Ah].

    For the battery it is what its depth limit and the cold at ``battery_c`` [°C] leave unusable; for gas at least what gives no
    pressure at ``gas_c`` [°C], which is nothing of pure propane.
    """
    full = capacity(van, store)
    temp = value("battery_c") if battery_c is None else battery_c
    return {
        Store.FRESH: full * value("fresh_reserve"),
        Store.GREY: full * value("grey_reserve"),
        Store.CASSETTE: full * (1 - value("cassette_usable")),
        Store.FLUSH: full * value("flush_reserve"),
        Store.GAS: max(
            min(value("gas_reserve_kg"), full / 2),
            full * left_in_the_cold(van.gas_propane, value("battery_c") if gas_c is None else gas_c),
        ),
        Store.BATTERY: full * (1 - van.battery_depth * cold_share(van, temp)),
    }[Store(store)]


def room_units(van: Van, *, battery_c: float | None = None, gas_c: float | None = None) -> NDArray[np.int32]:
    """Return what may be used up of each store between two services, (6) search units, rounded down.

    Parameters
    ----------
    battery_c
        Battery temperature, as from `battery_temperature`; 10 °C when not given. gas_c: of the gas, as from `bottle_temperature`.
    """
    usable = (capacity(van, s) - reserve(van, s, battery_c=battery_c, gas_c=gas_c) for s in STORES)
    return np.array([floor(u * per + _NOISE) for u, per in zip(usable, UNITS_PER, strict=True)], dtype=np.int32)


def used_units_of_levels(van: Van, levels: Levels) -> NDArray[np.int32]:
    """Return what is used up at given levels, (6) search units, rounded up.

    Raises
    ------
    BadInputError
        When a level is below 0 or above what the store holds.
    """
    used = []
    for store, per in zip(STORES, UNITS_PER, strict=True):
        level, full = levels.of(store), capacity(van, store)
        if not (isfinite(level) and -_NOISE <= level <= full + _NOISE):
            raise BadInputError(
                f"level of {store.value} is {level:g} {store.unit}",
                where=f"van {van.name!r}",
                accepted=f"0 to {full:g} {store.unit}",
            )
        used.append(max(0, ceil((level if store.fills else full - level) * per - _NOISE)))
    return np.array(used, dtype=np.int32)


def level_of_used(van: Van, store: Store | str, used_units: float) -> float:
    """Return the level as people read it when so many search units are used up [L, kg, Ah]; may pass the limits, as use may."""
    word = Store(store)
    used = float(used_units) / UNITS_PER[STORES.index(word)]
    return used if word.fills else capacity(van, word) - used


def limit_level(van: Van, store: Store | str, *, battery_c: float | None = None, gas_c: float | None = None) -> float:
    """Return the level that must not be passed: upwards for grey and cassette, downwards for the others [L, kg, Ah]."""
    word = Store(store)
    return level_of_used(van, word, int(room_units(van, battery_c=battery_c, gas_c=gas_c)[STORES.index(word)]))
