"""The energy of each day of a plan: what runs on what, when gas is off, whether mains is needed and why, what to expect."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime, time, timedelta
from math import isfinite

from tripplan.model.plan import Day, DayEnergy, Event, LevelLine
from tripplan.model.trip import Trip
from tripplan.model.van import DayWeather, Levels
from tripplan.model.words import Store
from tripplan.van.use import StayKind

__all__ = ["day_energy", "fridge_parts"]

#: Stores that have mass.
_LOADED = ("fresh", "grey", "cassette", "flush", "gas")


def fridge_parts(events: Sequence[Event], day: date) -> tuple[tuple[float, float, str], ...]:
    """Return the stretches of a towing day from leaving to arriving, as `tripplan.van.fridge.lived_day` takes them."""
    moves = [e for e in events if e.kind in ("drive", "ferry")]
    if not moves:
        return ()
    out: list[tuple[float, float, str]] = []
    clock, end = _hour(moves[0].start, day), _hour(moves[-1].end, day)
    for event in moves:
        start, stop = _hour(event.start, day), _hour(event.end, day)
        if start > clock:
            out.append((clock, start, "stop"))
        out.append((start, stop, "ferry" if event.kind == "ferry" else "towing"))
        clock = max(clock, stop)
    return tuple(part for part in out if part[0] < part[1] <= end + 1e-9)


def day_energy(trip: Trip, day: Day, kind: StayKind, weather: DayWeather) -> DayEnergy:
    """Return the energy of one day.

    Parameters
    ----------
    day
        With its legs, events, levels and night.
    kind
        What the night's place gives.
    """
    from tripplan.van.battery import display_volts
    from tripplan.van.boiler import boiler_of
    from tripplan.van.energy import most_heat_w, road_lines, stay_lines
    from tripplan.van.fridge import lived_day
    from tripplan.van.frost import frost_words
    from tripplan.van.gas import left_in_the_cold
    from tripplan.van.hookup import hook_up_words
    from tripplan.van.limits import bottle_temperature, capacity
    from tripplan.van.load import load_kg

    van, party = trip.van, trip.party
    levels = {line.store: line for line in day.levels}
    towing = any(leg.mode == "van" for leg in day.legs)
    parts = fridge_parts(day.events, day.date) if towing else ()
    lines = (*(road_lines(van) if towing else ()), *(road_lines(van, ferry=True) if _sails(day) else ()))
    fridge = (
        lived_day(van, weather, parts, start_c=weather.mean_c if day.number == 1 and trip.under_way is None else None)
        if parts
        else None
    )
    mains, mains_why = "", tuple[str, ...]()
    hook_up: tuple[str, ...] = ()
    boiler = boiler_of(van, weather, powered=kind.powered) if day.night is not None else None
    if day.night is not None:
        lines = (*lines, *stay_lines(van, party, weather, kind))
        mains, mains_why = _mains(trip, day, kind, weather)
        hook_up = hook_up_words(van, most_heat_w(van, party, weather)) if kind.powered else ()
    battery = levels.get(Store.BATTERY.value)
    heat_w = van.heater_w + (van.heater_mains_w if kind.powered else 0.0)
    tow_h = sum(stop - start for start, stop, _ in parts)
    fresh, grey, cassette, flush, gas = (levels[s].leave if s in levels else 0.0 for s in _LOADED)
    return DayEnergy(
        lines=lines,
        mains=mains,
        mains_why=mains_why,
        hook_up_a=van.hook_up_a if hook_up else 0.0,
        hook_up=hook_up,
        hot_water_ideal_min=round(boiler.ideal_min, 1) if boiler else 0.0,
        hot_water_min=round(boiler.practice_min, 1) if boiler else 0.0,
        shower_l=round(boiler.shower_l, 1) if boiler else 0.0,
        fridge_warmest_c=fridge.warmest_c if fridge else 0.0,
        fridge_above_h=round(fridge.above_h, 2) if fridge else 0.0,
        fridge_recool_h=(fridge.recool_h if isfinite(fridge.recool_h) else -1.0) if fridge else 0.0,
        volts_evening=round(display_volts(van, battery.arrive), 2) if battery else -1.0,
        volts_morning=round(display_volts(van, battery.worst), 2) if battery and day.night is not None else -1.0,
        gas_left_cold_kg=round(capacity(van, Store.GAS) * left_in_the_cold(van.gas_propane, bottle_temperature([weather])), 2),
        frost=frost_words(
            van, weather, fresh_l=_most(levels, "fresh"), grey_l=_most(levels, "grey"), start_c=party.asleep_c, heat_w=heat_w, tow_h=tow_h,
        ),
        carried_kg=round(load_kg(van, party, Levels(fresh, grey, cassette, flush, gas)).total_kg, 1) if towing else 0.0,
        payload_kg=van.payload_kg if towing else 0.0,
    )  # fmt: skip


def _most(levels: dict[str, LevelLine], store: str) -> float:
    return max(0.0, levels[store].arrive) if store in levels else 0.0


def _sails(day: Day) -> bool:
    return any(leg.ferry_s > 0 for leg in day.legs if leg.mode == "van")


def _mains(trip: Trip, day: Day, kind: StayKind, weather: DayWeather) -> tuple[str, tuple[str, ...]]:
    from tripplan.almanac.sun import sun_day
    from tripplan.van.energy import mains_verdict

    line = next((line for line in day.levels if line.store == Store.BATTERY.value), None)
    moves = [e for e in day.events if e.kind in ("drive", "ferry")]
    towing = any(leg.mode == "van" for leg in day.legs)
    arrive = min(23.0, _hour(moves[-1].end, day.date)) if towing and moves else trip.leave_after_min / 60
    share = sun_day(day.date, day.end.lon, day.end.lat, trip.tz).share
    return mains_verdict(
        trip.van, trip.party, weather, share, kind, arrive_h=arrive, leave_h=trip.leave_after_min / 60,
        battery_ah=max(0.0, (line.arrive if towing else line.leave) if line else 0.0), battery_limit_ah=line.limit if line else 0.0,
    )  # fmt: skip


def _hour(moment: datetime, day: date) -> float:
    """Local wall-clock hours since midnight of a date."""
    return (moment.replace(tzinfo=None) - datetime.combine(day, time())) / timedelta(hours=1)
