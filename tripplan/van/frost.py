"""What freezes on a cold night or on a cold road, and what to drain.

Hose and tap outside have no mass to speak of: below 0 °C they freeze within the hour. A barrel outside has: it must first lose its
warmth and then 334 kJ for each kilogram of ice, through its wall. Inside, a heated van does not freeze; an unheated one cools
towards the air with one time constant, what it stores over what it loses.
"""

from __future__ import annotations

from math import exp

import numpy as np

from tripplan.model.van import DayWeather, Van
from tripplan.van.facts import value
from tripplan.van.heat import hour_temperatures

__all__ = ["barrel_ice_share", "coldest_inside_c", "frost_words"]

#: From which hour of the day a night is followed: a barrel is as warm as the day was until then.
_FROM_H = 16


def barrel_ice_share(litres: float, weather: DayWeather, hours: int = 17) -> float:
    """Return the share of a barrel outside that is ice in the morning, 0 to 1.

    Parameters
    ----------
    litres
        What is in it [L].
    hours
        How long it has stood, from four in the afternoon [h].
    """
    if litres <= 0:
        return 0.0
    air = hour_temperatures(weather)
    # A wall grows with the two-thirds power of the volume.
    loss = value("barrel_w_per_k_40l") * (litres / 40) ** (2 / 3)
    heat_k = value("water_kj_per_kg_k") * litres
    inside, ice = max(0.0, weather.mean_c), 0.0
    for hour in range(_FROM_H, _FROM_H + hours):
        flow = loss * 3.6 * (float(air[hour % 24]) - inside)  # [kJ] into the water
        if ice > 0 or inside + flow / heat_k < 0:
            surplus = flow + heat_k * inside
            ice = max(0.0, ice - surplus / value("ice_kj_per_kg"))
            inside = 0.0
        else:
            inside += flow / heat_k
    return min(1.0, ice / litres)


def coldest_inside_c(van: Van, weather: DayWeather, from_h: float, to_h: float, start_c: float, heat_w: float = 0.0) -> float:
    """Return the coldest that it gets inside over some hours with so much heat at most, kept at ``start_c`` where that is enough [°C]."""
    tau = value("van_kj_per_k") / 3.6 / van.heat_loss_w_per_k
    air = hour_temperatures(weather)
    inside = coldest = start_c
    for hour in np.arange(from_h, to_h, 0.25).tolist():
        towards = float(air[int(hour) % 24]) + (heat_w + value("free_heat_w")) / van.heat_loss_w_per_k
        inside = min(start_c, towards + (inside - towards) * exp(-0.25 / tau))
        coldest = min(coldest, inside)
    return coldest


def frost_words(
    van: Van, weather: DayWeather, *, fresh_l: float, grey_l: float, start_c: float, heat_w: float, tow_h: float = 0.0
) -> tuple[str, ...]:
    """Return what freezes and what to drain on a date, a sentence each; none without frost.

    Parameters
    ----------
    fresh_l, grey_l
        In the barrels at night [L].
    start_c, heat_w
        Kept inside while asleep [°C], and the heat that heater and element give at most [W].
    tow_h
        Hours on the road with the heating off, from nine in the morning [h].
    """
    if weather.low_c >= 0:
        return ()
    air = hour_temperatures(weather)
    below = int((air < 0).sum())
    out = [f"{below} h below 0 °C, down to {weather.low_c:.0f} °C: empty the hoses and outside taps for the night"]
    for what, litres in (("fresh water", fresh_l), ("grey water", grey_l)):
        share = barrel_ice_share(litres, weather)
        if share >= value("frost_share"):
            out.append(f"The {what} barrel outside turns to ice by {share:.0%}: empty it or take it in")
        elif litres > 0:
            out.append(f"{litres:.0f} L in the {what} barrel outside stay liquid that night; its pump and hose do not")
    least = value("frost_inside_c")
    if coldest_inside_c(van, weather, 22.0, 31.0, start_c, heat_w) < least:
        out.append("The heating cannot keep the van above freezing: drain water heater, pipes and pump, and empty the flush tank")
    else:
        out.append("Keep the heating on all night; where the van stands unheated, drain water heater, pipes and pump")
    if tow_h > 0 and coldest_inside_c(van, weather, 9.0, 9.0 + tow_h, start_c) < least:
        out.append("On the road the heating is off and the van gets near freezing inside: drain the water heater before leaving")
    return tuple(out)
