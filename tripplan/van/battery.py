"""What a 12 V battery gives: Peukert, cold, acceptance, and the volts that a display would show."""

from __future__ import annotations

from math import log

import numpy as np

from tripplan.model.van import Van
from tripplan.van.facts import value

__all__ = [
    "acceptance",
    "cold_share",
    "display_volts",
    "ieee_485_factor",
    "peukert_exponent",
    "peukert_from_ratings",
    "peukert_hours",
    "rested_charge",
    "rested_volts",
]

#: Rested open-circuit volts by share of charge. Flooded: 26.7 °C, weak source, makers differ by 0.1 V; the others: common practice,
#: no source (sealed lead-acid lies 0.1 to 0.2 V higher when full; lithium iron phosphate is nearly flat).
_LEAD_SHARE = (0.0, 0.25, 0.50, 0.75, 1.0)
_RESTED = {
    "flooded": (_LEAD_SHARE, (11.89, 12.06, 12.24, 12.45, 12.65)),
    "agm": (_LEAD_SHARE, (11.75, 12.00, 12.30, 12.60, 12.85)),
    "gel": (_LEAD_SHARE, (11.75, 12.00, 12.30, 12.60, 12.85)),
    "lifepo4": ((0.0, 0.10, 0.20, 0.40, 0.70, 0.90, 1.0), (10.0, 12.0, 12.9, 13.1, 13.2, 13.3, 13.4)),
}


def peukert_hours(capacity_ah: float, rating_h: float, exponent: float, current_a: float) -> float:
    """Return the hours that a battery lasts at a steady current, t = H (C / (I H))^k [h]."""
    return float(rating_h * (capacity_ah / (current_a * rating_h)) ** exponent)


def peukert_from_ratings(hours_1: float, hours_2: float, current_1: float, current_2: float) -> float:
    """Return the Peukert exponent that two ratings (hours at a current [A]) agree on."""
    return log(hours_2 / hours_1) / log(current_1 / current_2)


def peukert_exponent(van: Van) -> float:
    """Return the exponent planned with for the van's kind of battery."""
    return value(f"peukert_{van.battery_kind}")


def acceptance(van: Van) -> float:
    """Return the share of charge given that the van's battery keeps."""
    return value("accept_lifepo4" if van.battery_kind == "lifepo4" else "accept_lead")


def ieee_485_factor(temp_c: float) -> float:
    """Return the size multiplier of a lead-acid battery at a temperature: 1 at 25 °C, more when colder.

    A cubic fit of IEEE 485 table 1 (quoted in an engineering forum), held at its ends outside -3.9 to 51.7 °C.
    """
    x = min(max(temp_c, -3.9), 51.7) / 100
    return -2.8117 * x**3 + 4.1916 * x**2 - 2.4941 * x + 1.405


def cold_share(van: Van, temp_c: float) -> float:
    """Return the share of its capacity that the van's battery gives at a temperature; never over 1.

    Lead-acid by IEEE 485; lithium iron phosphate 1 down to 10 °C and 0.8 at -10 °C (common practice, no source).
    """
    if van.battery_kind == "lifepo4":
        return float(np.interp(temp_c, (-10.0, 10.0), (0.8, 1.0)))
    return min(1.0, 1 / ieee_485_factor(temp_c))


def rested_volts(share: float, kind: str = "flooded") -> float:
    """Return the volts of a rested battery at a share of its charge (for display, never for planning)."""
    return float(np.interp(share, *_RESTED[kind]))


def rested_charge(volts: float, kind: str = "flooded") -> tuple[float, float]:
    """Return the share of charge at which a rested battery shows so many volts, held at its ends, and the volts of a full one."""
    shares, rested = _RESTED[kind]
    return float(np.interp(volts, rested, shares)), rested[-1]


def display_volts(van: Van, charge_ah: float, amps_out: float = 0.0) -> float:
    """Return the volts that a display in the van would show.

    Parameters
    ----------
    charge_ah
        What is in the battery [Ah].
    amps_out
        What is drawn [A]; negative: charged. A charger holds no more than its own end voltage.
    """
    inner = value("inner_ohm_lifepo4" if van.battery_kind == "lifepo4" else "inner_ohm_lead") * 100 / van.battery_ah
    volts = rested_volts(charge_ah / van.battery_ah, van.battery_kind) - amps_out * inner
    return min(max(volts, 0.0), value("charge_v"))
