"""Pressure and volume of bottled gas: whether a bottle gives anything in the cold, and how full it is in the heat."""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from tripplan.model.errors import BadInputError
from tripplan.van.facts import value

__all__ = ["gas_volume_l", "gauge_kpa", "gives_gas", "left_in_the_cold", "mix_kpa", "vapour_kpa"]

ATMOSPHERE_KPA = 101.325
#: Molar mass [g/mol] (IUPAC atomic weights).
_MOLAR = {"propane": 44.097, "butane": 58.124}
_KELVIN = 273.15
_AT_C = (-40.0, -30.0, -20.0, -10.0, 0.0, 10.0, 15.0, 20.0, 30.0, 40.0, 50.0)
#: Absolute vapour pressure [kPa] from the reference equations of state (Lemmon 2009 propane; Bücker & Wagner 2006 butanes).
_VAPOUR = {
    "propane": (111.0, 168.0, 244.6, 345.0, 474.6, 637.0, 732.0, 836.0, 1079.0, 1369.0, 1713.0),
    "butane": (17.0, 28.0, 45.0, 70.0, 103.2, 149.0, 176.0, 208.0, 283.0, 379.0, 496.0),
    "isobutane": (29.0, 47.0, 72.0, 108.0, 157.0, 221.0, 259.0, 302.0, 405.0, 531.0, 685.0),
}
#: Liquid density [kg/L] at those temperatures, same equations.
_DENSITY = {
    "propane": ((0.0, 0.5286), (15.0, 0.5075), (20.0, 0.500), (50.0, 0.4489)),
    "butane": ((0.0, 0.6007), (15.0, 0.584), (20.0, 0.579)),
}


def _known(kind: str, table: dict[str, object]) -> None:
    if kind not in table:
        raise BadInputError(f"gas {kind!r} is not known", accepted=", ".join(table))


def vapour_kpa(kind: str, temp_c: float) -> float:
    """Return the absolute pressure in a bottle with liquid left, -40 to 50 °C [kPa]; ln p runs straight over 1/T between points."""
    _known(kind, dict(_VAPOUR))
    inverse = 1 / (np.array(_AT_C) + _KELVIN)
    at = 1 / (min(max(temp_c, _AT_C[0]), _AT_C[-1]) + _KELVIN)
    return float(np.exp(np.interp(at, inverse[::-1], np.log(_VAPOUR[kind])[::-1])))


def gauge_kpa(kind: str, temp_c: float) -> float:
    """Return the pressure above the air outside at sea level [kPa]; at or below 0 nothing comes out."""
    return vapour_kpa(kind, temp_c) - ATMOSPHERE_KPA


def gives_gas(kind: str, temp_c: float) -> bool:
    """Return whether a bottle at a temperature still drives a regulator."""
    return gauge_kpa(kind, temp_c) >= value("least_gauge_kpa")


def mix_kpa(propane: float, temp_c: float) -> float:
    """Return the absolute pressure over a liquid of propane and n-butane, by Raoult's law on moles [kPa].

    Parameters
    ----------
    propane
        Share of the liquid's mass, 0 to 1.
    """
    x = _moles(propane)
    return x * vapour_kpa("propane", temp_c) + (1 - x) * vapour_kpa("butane", temp_c)


@lru_cache(maxsize=256)
def left_in_the_cold(propane: float, temp_c: float) -> float:
    """Return the share of a full bottle's mass that still lies in it when it gives no more gas at a temperature.

    What boils off is richer in propane than what stays, so that the pressure falls as the bottle empties. With a steady ratio
    of the two pressures Rayleigh's equation (1902) gives how much liquid is left at each mixture; the gas stops at the mixture whose
    pressure no longer drives the regulator.

    Parameters
    ----------
    propane
        Share of the fill's mass, 0 to 1.
    """
    least = ATMOSPHERE_KPA + value("least_gauge_kpa")
    light, heavy = vapour_kpa("propane", temp_c), vapour_kpa("butane", temp_c)
    if heavy >= least:
        return 0.0
    x = _moles(propane)
    stop = (least - heavy) / (light - heavy)
    if x <= stop:
        return 1.0
    if x >= 1.0:
        return 0.0
    ratio = light / heavy
    moles = (stop / x) ** (1 / (ratio - 1)) * ((1 - x) / (1 - stop)) ** (ratio / (ratio - 1))
    return float(moles * _molar_kg(stop) / _molar_kg(x))


def _moles(propane: float) -> float:
    """Share of propane by moles where ``propane`` is its share by mass."""
    light, heavy = propane / _MOLAR["propane"], (1 - propane) / _MOLAR["butane"]
    return light / (light + heavy)


def _molar_kg(x: float) -> float:
    return x * _MOLAR["propane"] + (1 - x) * _MOLAR["butane"]


def gas_volume_l(kind: str, mass_kg: float, temp_c: float) -> float:
    """Return the volume of the liquid [L]: why a bottle is never filled to the brim."""
    _known(kind, dict(_DENSITY))
    at, density = zip(*_DENSITY[kind], strict=True)
    return mass_kg / float(np.interp(temp_c, at, density))
