"""Every road of the region as a graph of lengths, for telling where a track went.

A track shows what was driven, so nothing is left out but travel against a one-way road, which has a graph of its own
(`match_against`): roads closed to cars are in it, and neither turn restrictions nor barriers are looked at. What the outfit may
use is judged afterwards.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from tripplan.region.columns import Access
from tripplan.region.region import Region
from tripplan.roads.store import code_key, digest, load_arrays, save_arrays

__all__ = ["MatchGraph", "open_graph"]

F64 = NDArray[np.float64]
I32 = NDArray[np.int32]
I64 = NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class MatchGraph:
    """Columns; an arc is a piece of road in one direction, sorted by the junction that it leaves.

    Parameters
    ----------
    out_ptr
        (junctions + 1) arcs that leave junction v are ``out_ptr[v]:out_ptr[v + 1]``.
    tail, head, piece
        (arcs) junction left and reached, piece.
    forward
        (arcs) whether the piece is driven as drawn.
    length_m
        (arcs) length [m].
    reverse
        (arcs) arc of the same piece the other way, -1 none.
    arc_of
        (pieces, 2) arc forward and backward, -1 none.
    against
        (arcs) whether it leads against a one-way road.
    open_to_cars
        (pieces) whether a car may use it at all.
    west, east, south, north
        (pieces) box [1e-7 degrees].
    """

    out_ptr: I64
    tail: I32
    head: I32
    piece: I32
    forward: NDArray[np.bool_]
    length_m: F64
    reverse: I32
    arc_of: I32
    against: NDArray[np.bool_]
    open_to_cars: NDArray[np.bool_]
    west: I32
    east: I32
    south: I32
    north: I32


def open_graph(region: Region, *, cache: Path | None = None, against: bool = False) -> MatchGraph:
    """Return the graph of a region, from its file when it was made before; with ``against`` one-way roads lead both ways."""
    path = cache / f"match-{digest(region.meta.key, code_key(), 'match', against)}.npz" if cache else None
    stored = load_arrays(path, tuple(f.name for f in fields(MatchGraph)))
    if stored is not None:
        return MatchGraph(**stored)
    graph = derive_graph(region, against=against)
    save_arrays(path, {f.name: getattr(graph, f.name) for f in fields(MatchGraph)})
    return graph


def derive_graph(region: Region, *, against: bool = False) -> MatchGraph:
    """Work out the graph."""
    pieces, ways = region.pieces, region.ways
    oneway = ways.oneway[pieces.way]
    rows = [np.flatnonzero((oneway >= 0) | against), np.flatnonzero((oneway <= 0) | against)]
    piece = np.concatenate(rows).astype(np.int32)
    side = np.repeat(np.array([0, 1], np.int32), [len(rows[0]), len(rows[1])])
    tail = np.where(side == 0, pieces.a[piece], pieces.b[piece]).astype(np.int32)
    order = np.argsort(tail, kind="stable")
    piece, side, tail = piece[order], side[order], tail[order]
    head = np.where(side == 0, pieces.b[piece], pieces.a[piece]).astype(np.int32)
    counts = np.bincount(tail, minlength=len(region.junctions.osm_id))
    arc_of = np.full((len(pieces.way), 2), -1, np.int32)
    arc_of[piece, side] = np.arange(len(piece), dtype=np.int32)
    first = pieces.ptr[:-1]
    boxes = [
        f.reduceat(c, first) if len(first) else np.empty(0, np.int32)
        for c in (pieces.lon_e7, pieces.lat_e7)
        for f in (np.minimum, np.maximum)
    ]
    return MatchGraph(
        np.concatenate(([0], np.cumsum(counts))).astype(np.int64), tail, head, piece, side == 0,
        np.ascontiguousarray(pieces.length_m[piece], np.float64), arc_of[piece, 1 - side], arc_of,
        np.asarray(np.where(side == 0, oneway[piece] < 0, oneway[piece] > 0), np.bool_),
        np.asarray(ways.car_access[pieces.way] != Access.CLOSED, np.bool_), *boxes,
    )  # fmt: skip
