"""Tolls: roads that are tagged so, and booths on roads that are not."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from tripplan.model.plan import PieceRun
from tripplan.region.columns import Flag
from tripplan.region.geometry import piece_ends_m
from tripplan.region.region import Region

__all__ = ["BOOTH", "toll_booths", "toll_parts", "toll_stretches"]

#: How a booth begins in `Junctions.barrier`.
BOOTH = "toll_booth"


def toll_booths(region: Region) -> NDArray[np.bool_]:
    """Return (junctions) where a toll booth stands (``barrier=toll_booth``): who passes pays, whatever the road is tagged."""
    return _booths(region, region.junctions.barrier)


def _booths(region: Region, barrier: NDArray[np.int32]) -> NDArray[np.bool_]:
    numbers = [n for n in np.unique(barrier[barrier >= 0]).tolist() if region.string(n).startswith(BOOTH)]
    return np.asarray(np.isin(barrier, numbers), np.bool_)


def toll_stretches(region: Region, runs: PieceRun) -> int:
    """Count the tolls paid: toll pieces and booths one after another are one."""
    return len(toll_parts(region, runs))


def toll_parts(region: Region, runs: PieceRun) -> list[tuple[float, float]]:
    """Return from where to where each toll is paid, along the way [m]; a booth on a road without toll has no length."""
    if not runs.piece:
        return []
    pieces = region.pieces
    piece, forward = np.array(runs.piece, np.int64), np.array(runs.forward, bool)
    toll = (region.ways.flags[pieces.way[piece]] & Flag.TOLL) != 0
    # A junction is passed where the next piece is entered at its end.
    passed = np.append(np.array(runs.from_m[1:]) <= 0, False)
    booth = passed & _booths(region, region.junctions.barrier[np.where(forward, pieces.b[piece], pieces.a[piece])])
    between = booth | (toll & np.append(toll[1:], False))  # from one toll piece to the next nothing more is paid
    both = np.column_stack((toll, between)).ravel().astype(np.int8)
    edges = np.flatnonzero(np.diff(np.concatenate(([0], both, [0]))))
    ends = piece_ends_m(runs.from_m, runs.to_m)
    # Even rows are pieces, odd ones the junctions after them.
    return [
        (float(ends[(first + 1) // 2]), float(ends[(after + 1) // 2]))
        for first, after in zip(edges[0::2].tolist(), edges[1::2].tolist(), strict=True)
    ]
