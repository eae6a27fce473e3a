"""What a gauge, a lamp or a voltage says of a store, and how sure it is."""

from __future__ import annotations

from dataclasses import dataclass

from tripplan.model.errors import BadInputError
from tripplan.model.readings import Reading
from tripplan.model.van import Van
from tripplan.model.words import STORES, Store
from tripplan.van.battery import rested_charge
from tripplan.van.limits import capacity

__all__ = ["LAMP_SHARE", "Told", "told_of", "usual_error"]

#: A lamp of cassette or grey barrel is lit above this share, give or take: common practice, no source.
LAMP_SHARE, LAMP_ERROR = 0.8, 0.05
#: What usual gauges err by, one sigma: litres by eye on the barrel and a battery meter, as shares of the store; a scale under
#: the gas bottle [kg]; a gauge in per cent, most of which know quarters or thirds only; volts of a display (common practice, no source).
_BY_EYE, _BATTERY_METER, _SCALE_KG, _GAUGE_PERCENT, _VOLTS = 0.05, 0.05, 0.2, 8.0, 0.05
#: A battery that shows more than a full one at rest is being charged [V].
_CHARGED = 0.15


@dataclass(frozen=True, slots=True)
class Told:
    """What a reading tells of what is used up.

    Parameters
    ----------
    row
        Number of the store. used: used up [L, kg, Ah]; of a lamp where it begins, or ends, to be lit. error: one sigma of that.
    more
        Of a lamp: whether more than ``used`` is used up; ``None``: a plain level.
    """

    row: int
    used: float
    error: float
    more: bool | None = None


def usual_error(reading: Reading, van: Van) -> float:
    """Return the one sigma of a reading in its own unit, as told or as usual."""
    if reading.error >= 0:
        return reading.error
    if reading.kind == "lamp":
        return LAMP_ERROR
    if reading.kind == "volts":
        return _VOLTS
    if reading.kind == "percent":
        return _GAUGE_PERCENT
    if reading.store is Store.GAS:
        return _SCALE_KG * van.gas_bottles
    return capacity(van, reading.store) * (_BATTERY_METER if reading.store is Store.BATTERY else _BY_EYE)


def told_of(reading: Reading, van: Van) -> Told:
    """Return what a reading tells.

    Raises
    ------
    BadInputError
        When it cannot be: more than the store holds, or volts of a battery that is being charged.
    """
    full, row = capacity(van, reading.store), STORES.index(reading.store)
    error = usual_error(reading, van)
    where = f"reading of {reading.store.value} at {reading.time:%Y-%m-%d %H:%M}"
    if full <= 0:
        raise BadInputError(f"the van has no {reading.store.value} store", where=where, next_step="take the reading out")
    if reading.kind == "lamp":
        share = reading.value
        # A lamp of a barrel or tank that empties is lit while little is left: below the share.
        used = share * full if reading.store.fills else (1 - share) * full
        return Told(row, used, max(error, 1e-3) * full, more=reading.lit)
    if reading.kind == "volts":
        return _by_volts(reading.value, max(error, 1e-3), van, row, where)
    level, sd = (reading.value, error) if reading.kind == "level" else (reading.value / 100 * full, error / 100 * full)
    if level > full * 1.02 + 1e-6:
        raise BadInputError(
            f"{level:g} {reading.store.unit} of {reading.store.value} were read, the van holds {full:g}", where=where,
            accepted=f"0 to {full:g} {reading.store.unit}", next_step="mend the reading or the van",
        )  # fmt: skip
    used = level if reading.store.fills else full - level
    return Told(row, min(max(used, 0.0), full), max(sd, full * 1e-3))


def _by_volts(volts: float, error: float, van: Van, row: int, where: str) -> Told:
    top = rested_charge(99.0, van.battery_kind)[1]
    if volts > top + _CHARGED:
        raise BadInputError(
            f"{volts:g} V is more than a rested battery shows", where=where, accepted=f"at most {top:.2f} V, nothing charging it",
            next_step="read it in the evening, half an hour after sun and mains",
        )  # fmt: skip
    # Where the curve is flat, many charges show the same volts: the error is what a sigma of volts either way comes to.
    low, here, high = (rested_charge(v, van.battery_kind)[0] for v in (volts - error, volts, volts + error))
    return Told(row, (1 - here) * van.battery_ah, max(high - here, here - low, 0.02) * float(van.battery_ah))
