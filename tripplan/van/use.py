"""What an hour uses of each store, at a stay or on the road.

Sun and mains give the battery back, so its use may be negative; the other stores only lose. Habits are spread over the
hours of a day by fixed profiles (common practice, no source), so that a day of any two stretches adds up to one day's habits.
"""

from __future__ import annotations

from dataclasses import replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from tripplan.model.van import DayWeather, Party, Van
from tripplan.model.words import STORES
from tripplan.van.battery import acceptance, peukert_exponent
from tripplan.van.facts import value
from tripplan.van.heat import gas_kg, hour_temperatures, inlet_c, water_wh

__all__ = [
    "LEARNED", "MEAN", "ON_THE_ROAD", "StayKind", "Tilt", "asleep_hours", "heads", "hot_water_l", "hourly", "learned", "slots", "use_kind", "water_heated_by",
]  # fmt: skip

F64 = NDArray[np.float64]


class StayKind(NamedTuple):
    """What a place gives, as judged usable for this trip (known, or presumed where the trip allows it)."""

    powered: bool = False
    fresh: bool = False
    piped: bool = False
    grey: bool = False
    cassette: bool = False
    toilets: bool = False
    showers: bool = False


ON_THE_ROAD = StayKind()


class Tilt(NamedTuple):
    """Factors on what feeds gas and battery, each of which errs by itself (`tripplan.van.spread`); 1 gives the mean."""

    loads: float = 1.0
    sun: float = 1.0
    heating: float = 1.0
    fridge: float = 1.0
    habits: float = 1.0


MEAN = Tilt()
#: What readings can tell of, in the order of `tripplan.van.spread.PARTS` without the charger.
LEARNED = ("fresh", "grey", "cassette", "flush", "heating", "fridge", "habits", "loads", "sun")


def learned(party: Party) -> tuple[float, ...] | None:
    """Return the factors that readings have told of the parts of use, in the order of `LEARNED`; ``None``: nothing was read."""
    if not party.learned:
        return None
    told = {entry.part: entry.factor for entry in party.learned}
    return tuple(told.get(part, 1.0) for part in LEARNED)


def use_kind(kind: StayKind | None) -> StayKind:
    """Return the kind with only the offers that change use (mains, pitch tap and drain, toilets, showers), for caching."""
    if kind is None:
        return ON_THE_ROAD
    return StayKind(powered=kind.powered, piped=kind.piped, toilets=kind.toilets, showers=kind.showers)


def _profile(**weights: float) -> F64:
    """Hours of a day (``h7=2``) as shares that sum to 1."""
    hours = np.zeros(24)
    for name, weight in weights.items():
        hours[int(name[1:])] = weight
    return np.asarray(hours / hours.sum())


_TAP = _profile(h7=12, h8=15, h10=4, h12=10, h13=8, h15=4, h17=8, h18=14, h19=12, h20=6, h21=7)
_SHOWER = _profile(h7=3, h8=2, h19=2, h20=3)
_TOILET = _profile(h1=3, h5=5, h7=18, h8=12, h10=8, h12=8, h14=8, h16=8, h18=10, h20=8, h22=12)
_COOKING = _profile(h7=3, h8=2, h12=2, h18=5, h19=3)
_DEVICES = _profile(h7=1, h17=1, h18=2, h19=3, h20=3, h21=3, h22=1)
_AWAKE = np.array([1.0 if 7 <= h < 23 else 0.0 for h in range(24)])
#: An hour with less than this share of the day's sun is dark.
_DARK_SHARE = 0.002


def heads(party: Party) -> float:
    """Return the party as adults' worth of water and toilet use."""
    return party.adults + party.child_share * party.children


def slots(from_h: float, to_h: float) -> F64:
    """Cut a stretch of time at full hours.

    Parameters
    ----------
    from_h, to_h
        Local hours since midnight of the first date; ``to_h`` may pass 24.

    Returns
    -------
    numpy.ndarray
        (n, 2) hour of the day (0 .. 23) and length [h] of each slot, in order.
    """
    if to_h <= from_h:
        return np.zeros((0, 2))
    inner = np.arange(np.floor(from_h) + 1, np.ceil(to_h))
    edges = np.concatenate(([from_h], inner, [to_h]))
    return np.column_stack((np.floor(edges[:-1]) % 24, np.diff(edges)))


def hourly(
    van: Van,
    party: Party,
    weather: DayWeather,
    sun_share: tuple[float, ...],
    kind: StayKind | None,
    hours: F64,
    *,
    towing: float | F64 = 0.0,
    tilt: Tilt = MEAN,
    ferry: bool = False,
) -> F64:
    """Return what each slot of time uses of each store.

    Parameters
    ----------
    sun_share
        (24) share of the day's sun in each local hour (`tripplan.almanac.sun.hourly_sun_share`).
    kind
        What the place gives; ``None`` on the road or where nothing is given.
    hours
        (n, 2) hour of the day and length [h], as from `slots`.
    towing
        Share of each slot spent at the wheel with the van on, 0 to 1; one number or (n). Gas is off meanwhile.
    tilt
        Factors on the battery's loads and the sun, and on heating, fridge and habits of the gas alone; what readings have told
        of the party (`Party.learned`) comes on top of them.
    ferry
        Whether the hours under way are spent aboard a ferry: the car's engine is off and charges nothing.

    Returns
    -------
    numpy.ndarray
        (n, 6) used up, in the order of `STORES` [L, L, L, L, kg, Ah]; the battery's may be negative (charged).
    """
    place = kind or ON_THE_ROAD
    told = learned(party)
    if told is not None:
        heating, fridge, habits, loads, sun = told[4:]
        tilt = Tilt(tilt.loads * loads, tilt.sun * sun, tilt.heating * heating, tilt.fridge * fridge, tilt.habits * habits)
    at = hours[:, 0].astype(np.int64)
    length = hours[:, 1]
    wheel = length * np.broadcast_to(np.asarray(towing, dtype=np.float64), length.shape)
    still = length - wheel

    out = np.zeros((len(at), len(STORES)))
    water, toilet = _water(van, party, place, at, length)
    out[:, 0], out[:, 1] = water
    out[:, 2], out[:, 3] = toilet
    if van.flush_l <= 0 and not (place.piped and van.piped_water):
        out[:, 0] += out[:, 3]
    if van.flush_l <= 0:
        out[:, 3] = 0.0
    demand_w = _heating_w(van, party, weather)[at]
    out[:, 4] = _gas(van, party, weather, place, at, still, demand_w, tilt)
    if ferry:
        van = replace(van, car_charge_a=0.0)
    out[:, 5] = _battery(van, party, weather, sun_share, place, at, length, wheel, demand_w, out[:, 0] + out[:, 3], tilt)
    if told is not None:
        out[:, :4] *= told[:4]
    return out


def _shower_l(van: Van, party: Party, place: StayKind) -> float:
    """Litres of showers aboard by one adult in a day."""
    return party.shower_l * party.showers_per_day if van.shower_aboard and not place.showers else 0.0


def _water(
    van: Van, party: Party, place: StayKind, at: NDArray[np.int64], length: F64
) -> tuple[tuple[F64, F64], tuple[F64, F64]]:
    """Fresh and grey; cassette and flush water [L]. Through a hose at the pitch neither barrel is touched."""
    people = heads(party)
    shower = people * _shower_l(van, party, place) * _SHOWER[at] * length
    tap = _TAP[at] * length
    pets = party.pets * value("pet_water_l")
    fresh = people * party.water_l * tap + shower + pets * tap
    # What is drunk never reaches the drain; all else does (the bound that sizing rules take).
    grey = people * max(0.0, party.water_l - party.drunk_l) * tap + shower
    if place.piped and van.piped_water:
        fresh, grey = np.zeros_like(fresh), np.zeros_like(grey)
    aboard = people * (party.toilet_share_with_block if place.toilets else 1.0) * _TOILET[at] * length
    flush = aboard * party.flushes * party.flush_l
    return (fresh, grey), (aboard * party.waste_l + flush, flush)


def asleep_hours() -> NDArray[np.bool_]:
    """(24) whether the asleep set-point holds in each hour of the day."""
    hour = np.arange(24)
    return np.asarray((hour >= value("asleep_from_h")) | (hour < value("asleep_to_h")))


def water_heated_by(van: Van, *, powered: bool) -> str:
    """Return what heats water aboard: ``mains``, ``gas``, or ``hob`` where no heater can."""
    if van.water_heater_l > 0 and powered and van.water_heater_mains_w > 0:
        return "mains"
    return "gas" if van.water_heater_l > 0 and van.water_heater_w > 0 else "hob"


def hot_water_l(van: Van, party: Party, weather: DayWeather, place: StayKind) -> F64:
    """(24) water at the heater's set-point that each hour of a day asks for, dishes and showers aboard [L]."""
    cold, hot = inlet_c(weather), value("hot_water_c")
    showers = heads(party) * _shower_l(van, party, place) * (value("shower_c") - cold) / (hot - cold)
    return np.asarray(party.hot_water_l * _TAP + showers * _SHOWER)


def _heating_w(van: Van, party: Party, weather: DayWeather) -> F64:
    """(24) heat wanted in each hour of the day [W]."""
    inside = np.where(asleep_hours(), party.asleep_c, party.inside_c)
    wanted = np.maximum(0.0, van.heat_loss_w_per_k * (inside - hour_temperatures(weather)) - value("free_heat_w"))
    return np.asarray(wanted)


def _gas(
    van: Van, party: Party, weather: DayWeather, place: StayKind, at: NDArray[np.int64], still: F64, demand_w: F64,
    tilt: Tilt = MEAN,
) -> F64:  # fmt: skip
    """Gas burnt in each slot [kg]; none at the wheel.

    On mains the element heats first and the gas heater gives the rest; fridge and water heater run on mains. The hob is gas.
    """
    one_wh = gas_kg(1.0, propane=van.gas_propane)
    mains_w = np.minimum(demand_w, van.heater_mains_w) if place.powered else 0.0
    heating = one_wh / van.heater_efficiency * np.minimum(demand_w - mains_w, van.heater_w)
    fridge = 0.0 if place.powered else one_wh * van.fridge_w
    hob = one_wh * van.hob_w * party.hob_min / 60 * _COOKING[at] if van.hob_aboard else 0.0
    cold = inlet_c(weather)
    dishes = water_wh(party.hot_water_l, cold, value("hot_water_c")) * _TAP[at]
    hot: float | F64 = 0.0
    if water_heated_by(van, powered=place.powered) == "mains":
        hot = 0.0
    elif water_heated_by(van, powered=place.powered) == "hob":
        hot = one_wh / value("kettle_efficiency") * dishes if van.hob_aboard else 0.0
    else:
        showers = heads(party) * water_wh(_shower_l(van, party, place), cold, value("shower_c")) * _SHOWER[at]
        hot = one_wh / van.water_heater_efficiency * (dishes + showers)
    return np.asarray((heating * tilt.heating + fridge * tilt.fridge + (hob + hot) * tilt.habits) * still)


def _battery(
    van: Van, party: Party, weather: DayWeather, sun_share: tuple[float, ...], place: StayKind, at: NDArray[np.int64],
    length: F64, wheel: F64, demand_w: F64, pumped_l: F64, tilt: Tilt = MEAN,
) -> F64:  # fmt: skip
    """Charge taken from the battery in each slot, less what sun and mains put back [Ah]."""
    still = length - wheel
    sun = np.array(sun_share)[at]
    lit = _AWAKE[at] * (sun < _DARK_SHARE)
    duty = np.clip(demand_w / max(van.heater_w, 1.0), value("fan_least_share"), 1.0) * (demand_w > 0)
    electronics = still + (wheel if van.fridge_towing != "none" else 0.0)
    loads = (
        van.alarm_a * length
        + van.fridge_electronics_a * electronics
        + van.lights_a * lit * still
        + van.fan_a * duty * still
        + van.pump_a * pumped_l / van.pump_l_per_min / 60
        + party.devices_ah * _DEVICES[at] * length
    )
    if van.fridge_towing == "battery":
        amps = van.fridge_w / value("fridge_12v")
        loads = loads + amps * wheel
    loads = loads * tilt.loads
    wh = van.solar_w * (1 - van.solar_shade) * weather.sun_kwh_per_m2 * value("panel_ratio") * tilt.sun * sun * length
    given = wh / value("panel_v") + (van.charger_a * still if place.powered else 0.0) + van.car_charge_a * wheel
    net = loads - given
    amps_out = np.divide(net, length, out=np.zeros_like(net), where=length > 0)
    rated_a = van.battery_ah / value("rating_h")
    peukert = np.maximum(1.0, np.maximum(amps_out, 0.0) / rated_a) ** (peukert_exponent(van) - 1)
    return np.asarray(np.where(net > 0, net * peukert, net * acceptance(van)))
