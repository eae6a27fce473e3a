"""How warm the fridge gets while it is not powered, and how long it takes to be cold again.

The inside goes towards its surroundings with one time constant, T(t) = Ta - (Ta - T0) exp(-t / tau), and back towards
what an absorption fridge can hold below them. It is a caution with remedies, not a limit.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import exp, inf, log

from tripplan.model.van import DayWeather, Van
from tripplan.van.facts import value
from tripplan.van.heat import hour_temperatures

__all__ = ["FridgeDay", "hours_to", "lived_day", "tow_day", "warmed_c"]

#: Perishables above the limit so long in all are thrown away (two-hour/four-hour guide) [h].
DISCARD_H = 4.0
_STEP_H = 1 / 12


@dataclass(frozen=True, slots=True)
class FridgeDay:
    """What a tow does to the fridge.

    Parameters
    ----------
    warmest_c
        Inside on arrival [°C].
    above_h
        Hours above 5 °C, cooling down again included; at most 24.
    recool_h
        From power on until 5 °C; ``inf`` when it is too hot for that.
    warm
        Whether a caution is due. discard: whether perishables would be past the four-hour guide.
    """

    warmest_c: float
    above_h: float
    recool_h: float
    warm: bool
    discard: bool


def warmed_c(hours: float, around_c: float, start_c: float, tau_h: float) -> float:
    """Return the temperature inside after so long without power [°C]."""
    return around_c - (around_c - start_c) * exp(-hours / tau_h)


def hours_to(limit_c: float, around_c: float, start_c: float, tau_h: float) -> float:
    """Return the hours until the inside passes from ``start_c`` to ``limit_c`` on its way to ``around_c``; ``inf`` if it never does."""
    if (start_c - limit_c) * (around_c - limit_c) >= 0:
        return 0.0 if start_c == limit_c else inf
    return tau_h * log((around_c - start_c) / (around_c - limit_c))


def lived_day(
    van: Van, weather: DayWeather, parts: Sequence[tuple[float, float, str]], *, start_c: float | None = None
) -> FridgeDay:
    """Return what a day does to the fridge, followed from leaving until it is cold again, five minutes at a time.

    Parameters
    ----------
    parts
        (from, to, how) one after another, local hours since midnight: ``towing``, ``ferry`` or ``stop``. After the last the van has
        arrived and the fridge runs on mains or gas. A stop of an hour or more has it on gas, a shorter one leaves it as it is off.
    start_c
        Inside on leaving; cold from the night when not given. Take the outside temperature for a van just picked up.
    """
    air = hour_temperatures(weather).tolist()
    kept, limit, tau = value("fridge_kept_c"), value("fridge_limit_c"), value("fridge_tau_h")
    share = 1 - exp(-_STEP_H / tau)
    inside = value("fridge_kept_c") if start_c is None else start_c
    warmest, above, recool = inside, 0.0, 0.0
    clock = parts[0][0] if parts else 0.0
    arrived = parts[-1][1] if parts else 0.0
    # The next morning's tow begins a new day: what is not cold by then is not cold again.
    end = clock + 24.0
    row = 0
    while clock < end - 1e-9:
        while row < len(parts) and parts[row][1] <= clock + 1e-9:
            row += 1
        how, length = "on", inf
        if row < len(parts):
            how, length = parts[row][2], parts[row][1] - parts[row][0]
        elif inside <= limit:
            break
        runs = how == "on" or (how == "stop" and length >= value("stop_on_gas_h"))
        runs = runs or van.fridge_towing == "battery" or (van.fridge_towing == "car_12v" and how == "towing")
        around = air[int(clock) % 24] + (value("closed_van_k") if how != "on" else 0.0)
        step = min(_STEP_H, parts[row][1] - clock) if row < len(parts) else _STEP_H
        part = share if step == _STEP_H else 1 - exp(-step / tau)
        before = inside
        inside += part * (around - (value("fridge_lift_k") if runs else 0.0) - inside)
        if runs:  # the thermostat keeps it from getting colder
            inside = max(inside, min(before, kept))
        above += step * _share_above(before, inside, limit)
        warmest = max(warmest, inside)
        recool = clock + step - arrived if row >= len(parts) else 0.0
        clock += step
    cold = inside <= limit
    return FridgeDay(round(warmest, 2), round(above, 2), round(recool, 2) if cold else inf, warmest > limit, above > DISCARD_H)


def _share_above(before: float, after: float, limit: float) -> float:
    """Share of a short step spent above the limit, its temperature taken as a straight line."""
    low, high = min(before, after), max(before, after)
    if high <= limit:
        return 0.0
    return 1.0 if low >= limit else (high - limit) / (high - low)


def tow_day(van: Van, weather: DayWeather, drive_h: float, *, start_c: float | None = None) -> FridgeDay:
    """Return what ``drive_h`` hours of towing do to the fridge of a van.

    Parameters
    ----------
    start_c
        Inside at the start; cold from the night when not given. Take the outside temperature for a van just picked up.
    """
    tau, limit = value("fridge_tau_h"), value("fridge_limit_c")
    start = value("fridge_kept_c") if start_c is None else start_c
    around = weather.high_c + value("closed_van_k")
    holds = around - value("fridge_lift_k")
    towards = around if van.fridge_towing == "none" else max(holds, value("fridge_kept_c"))
    warmest = warmed_c(drive_h, towards, start, tau)
    first_h = 0.0 if start > limit else min(drive_h, hours_to(limit, towards, start, tau))
    # After arriving the van is aired, and the evening is cooler than the road.
    evening = (weather.mean_c + weather.high_c) / 2 - value("fridge_lift_k")
    recool = 0.0 if warmest <= limit else hours_to(limit, evening, warmest, tau)
    above = min(24.0, (drive_h - first_h) + recool)
    return FridgeDay(round(warmest, 2), above, recool, warmest > limit, above > DISCARD_H)
