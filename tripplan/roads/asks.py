"""What is signed along a way and nobody could read or decide: it closes nothing, and somebody has to ask before it is driven."""

from __future__ import annotations

import re
from collections.abc import Collection
from dataclasses import dataclass

import numpy as np

from tripplan.model.plan import PieceRun
from tripplan.region.geometry import piece_ends_m
from tripplan.region.region import Region

__all__ = ["Ask", "asks_along", "asks_of"]


@dataclass(frozen=True, slots=True)
class Ask:
    """One thing to ask about. ``from_m``: where it is first met on the way [m]; ``name``: the road's, "" for none."""

    from_m: float
    name: str
    text: str


def asks_of(region: Region, row: int, *, doubtful: bool) -> tuple[str, ...]:
    """Return what is to be asked about a way of the map; ``doubtful``: whether it is closed on the dates could not be told."""
    caution = int(region.ways.caution[row])
    out = region.string(caution).split("\n") if caution >= 0 else []
    when = region.string(int(region.ways.closed_when[row]))
    if doubtful and _bare(when) not in _bare(" ".join(out)):
        out.append(f"whether it is closed on these dates is not told: {when}")
    return tuple(line for line in out if line)


def asks_along(region: Region, runs: PieceRun, doubtful: Collection[int] = ()) -> tuple[Ask, ...]:
    """Return what is to be asked along a way, in order of travel, each text once for a road's name.

    Parameters
    ----------
    runs
        The pieces driven. doubtful: rows of ways with a closure that could not be read (`closures.ClosureSet`).
    """
    ways = region.ways
    row = region.pieces.way[np.asarray(runs.piece, np.int64)]
    asked = ways.caution[row] >= 0
    if doubtful:
        asked |= np.isin(row, np.fromiter(doubtful, np.int64))
    ends = piece_ends_m(runs.from_m, runs.to_m)
    found: dict[tuple[str, str], Ask] = {}
    for at in np.flatnonzero(asked).tolist():
        way = int(row[at])
        name = region.string(int(ways.name[way])) or region.string(int(ways.ref[way]))
        for text in asks_of(region, way, doubtful=way in doubtful):
            found.setdefault((name, text), Ask(float(ends[at]), name, text))
    return tuple(found.values())


def _bare(text: str) -> str:
    """Return a condition without brackets and blanks: as written it has them or not."""
    return re.sub(r"[()\s]", "", text)
