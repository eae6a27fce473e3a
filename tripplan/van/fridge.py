"""How warm the fridge gets while it is not powered, and how long it takes to be cold again.

The inside goes towards its surroundings with one time constant, T(t) = Ta - (Ta - T0) exp(-t / tau), and back towards
what an absorption fridge can hold below them. It is a caution with remedies, not a limit.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import exp, inf, log

from tripplan.model.van import DayWeather, Van
from tripplan.van.facts import value

__all__ = ["FridgeDay", "hours_to", "tow_day", "warmed_c"]

#: Perishables above the limit so long in all are thrown away (two-hour/four-hour guide) [h].
DISCARD_H = 4.0
#: A closed van stands in the sun: its inside against the air (common practice, no source) [K].
_CLOSED_VAN_K = 5.0


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


def tow_day(van: Van, weather: DayWeather, drive_h: float, *, start_c: float | None = None) -> FridgeDay:
    """Return what ``drive_h`` hours of towing do to the fridge of a van.

    Parameters
    ----------
    start_c
        Inside at the start; cold from the night when not given. Take the outside temperature for a van just picked up.
    """
    tau, limit = value("fridge_tau_h"), value("fridge_limit_c")
    start = value("fridge_kept_c") if start_c is None else start_c
    around = weather.high_c + _CLOSED_VAN_K
    holds = around - value("fridge_lift_k")
    towards = around if van.fridge_towing == "none" else max(holds, value("fridge_kept_c"))
    warmest = warmed_c(drive_h, towards, start, tau)
    first_h = 0.0 if start > limit else min(drive_h, hours_to(limit, towards, start, tau))
    # After arriving the van is aired, and the evening is cooler than the road.
    evening = (weather.mean_c + weather.high_c) / 2 - value("fridge_lift_k")
    recool = 0.0 if warmest <= limit else hours_to(limit, evening, warmest, tau)
    above = min(24.0, (drive_h - first_h) + recool)
    return FridgeDay(round(warmest, 2), above, recool, warmest > limit, above > DISCARD_H)
