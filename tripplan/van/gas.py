"""Pressure and volume of bottled gas: whether a bottle gives anything in the cold, and how full it is in the heat."""

from __future__ import annotations

import numpy as np

from tripplan.model.errors import BadInputError

__all__ = ["gas_volume_l", "gauge_kpa", "gives_gas", "vapour_kpa"]

ATMOSPHERE_KPA = 101.325
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
#: A regulator needs this much above the air around it to work at all [kPa] (common practice, no source).
_LEAST_GAUGE_KPA = 5.0


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
    return gauge_kpa(kind, temp_c) >= _LEAST_GAUGE_KPA


def gas_volume_l(kind: str, mass_kg: float, temp_c: float) -> float:
    """Return the volume of the liquid [L]: why a bottle is never filled to the brim."""
    _known(kind, dict(_DENSITY))
    at, density = zip(*_DENSITY[kind], strict=True)
    return mass_kg / float(np.interp(temp_c, at, density))
