"""What a party reads on the way: gauges, lamps, voltages, and services that really happened or did not."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from tripplan.model.place import Spot
from tripplan.model.words import Store

__all__ = ["Done", "Reading", "Readings"]


@dataclass(frozen=True, slots=True)
class Reading:
    """One store read once.

    Parameters
    ----------
    kind
        ``level`` [L, kg, Ah], ``percent`` of what the store holds, ``volts`` of the rested battery, or ``lamp``.
    value
        What is read, in that unit; of a lamp the share of the store above which it is lit.
    error
        One sigma in the unit of ``value``, of a lamp in shares; below 0: the usual one.
    lit
        Of a lamp.
    """

    time: datetime
    store: Store
    kind: str
    value: float
    error: float = -1.0
    lit: bool = False


@dataclass(frozen=True, slots=True)
class Done:
    """A service that happened though the plan has none, or that did not happen on its date though the plan has it."""

    time: datetime
    stores: tuple[Store, ...]
    done: bool


@dataclass(frozen=True, slots=True)
class Readings:
    """All that was read, and where the van is now.

    Parameters
    ----------
    place
        Where the van is; ``None``: where the plan has it.
    seen
        Names of the sights seen; ``None``: those of the plan's days behind.
    """

    now: datetime
    readings: tuple[Reading, ...]
    services: tuple[Done, ...] = ()
    place: Spot | None = None
    seen: tuple[str, ...] | None = None
