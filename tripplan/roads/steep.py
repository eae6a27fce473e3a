"""Steep pieces of a way, from tagged grades only: where nobody noted a grade the road may be steep all the same."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tripplan.model.plan import PieceRun
from tripplan.region.region import Region

__all__ = ["LONG_M", "LONG_PERCENT", "STEEP_PERCENT", "Steep", "graded_share", "steep_stretches"]

#: Grade that calls for a caution by itself, and a lower one that does over a length (common practice, no source) [%, m].
STEEP_PERCENT, LONG_PERCENT, LONG_M = 8.0, 5.0, 3000.0


@dataclass(frozen=True, slots=True)
class Steep:
    """A stretch of steep road.

    Parameters
    ----------
    from_m, length_m
        Where it begins on the way, and its length [m]. percent: greatest tagged grade on it, up or down.
    osm_way, name
        Way of the map with that grade.
    """

    from_m: float
    length_m: float
    percent: float
    osm_way: int
    name: str


def steep_stretches(region: Region, runs: PieceRun) -> tuple[Steep, ...]:
    """Return the stretches tagged 8 % and more, and those of 5 % and more that go on for over 3 km, in order of travel."""
    ways = region.ways
    row = region.pieces.way[np.asarray(runs.piece, np.int64)]
    metres = np.asarray(runs.to_m, np.float64) - np.asarray(runs.from_m, np.float64)
    start = np.concatenate(([0.0], np.cumsum(metres)))
    grade = np.nan_to_num(ways.incline[row].astype(np.float64), nan=0.0)
    out: list[Steep] = []
    at = 0
    while at < len(grade):
        if grade[at] < LONG_PERCENT:
            at += 1
            continue
        first = at
        while at < len(grade) and grade[at] >= LONG_PERCENT:
            at += 1
        length, top = float(start[at] - start[first]), int(first + np.argmax(grade[first:at]))
        if length > LONG_M or grade[top] >= STEEP_PERCENT:
            if length <= LONG_M:
                steep = first + np.flatnonzero(grade[first:at] >= STEEP_PERCENT)
                first, length = int(steep[0]), float(metres[steep].sum())
            way = int(row[top])
            name = region.string(int(ways.name[way])) or region.string(int(ways.ref[way]))
            out.append(Steep(float(start[first]), length, float(grade[top]), int(ways.osm_id[way]), name))
    return tuple(out)


def graded_share(region: Region, runs: PieceRun) -> float:
    """Return the share of a way's length on which the map tells a grade; 0 for an empty way."""
    metres = np.asarray(runs.to_m, np.float64) - np.asarray(runs.from_m, np.float64)
    known = np.isfinite(region.ways.incline[region.pieces.way[np.asarray(runs.piece, np.int64)]])
    total = float(metres.sum())
    return float(metres[known].sum()) / total if total > 0 else 0.0
