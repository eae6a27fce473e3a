"""Ways to pieces: cut where two ways meet, where one crosses itself, and at barriers."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tripplan.osm.raw import RawMap

__all__ = ["Split", "split_ways"]

I32 = NDArray[np.int32]
I64 = NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Split:
    """Pieces as rows of points of the raw map.

    Parameters
    ----------
    first, last
        First and last point of each piece, rows of ``RawMap.node_id``. a, b: junction rows. way: way rows.
    junction_id, junction_point
        OSM id of each junction and a point that lies there.
    """

    first: I64
    last: I64
    a: I32
    b: I32
    way: I32
    junction_id: I64
    junction_point: I64

    def point_rows(self) -> tuple[I64, I64]:
        """Return rows of the points of all pieces one after another, end points with each, and where each piece starts."""
        count = self.last - self.first + 1
        ptr = np.concatenate(([0], np.cumsum(count))).astype(np.int64)
        rows = np.arange(ptr[-1], dtype=np.int64)
        rows += np.repeat(self.first - ptr[:-1], count)
        return rows, ptr


def split_ways(raw: RawMap, extra_ids: I64) -> Split:
    """Cut every line of the raw map at its junctions.

    Parameters
    ----------
    raw
        The map.
    extra_ids
        Node ids at which a piece must end besides: barriers, fords.

    Notes
    -----
    A junction is a node where a line ends, that occurs twice in the lines (two ways, or a way that crosses itself), or
    that ``extra_ids`` names. Node ids count, not coordinates: a bridge's node above another road's is no junction.
    """
    ids = raw.node_id
    n = len(ids)
    is_end = np.zeros(n, bool)
    is_end[raw.line_ptr[:-1]] = True
    is_end[raw.line_ptr[1:] - 1] = True
    at, point = _at_junctions(ids, is_end, extra_ids)
    first_there = np.empty(len(at), bool)
    first_there[:1] = True
    np.not_equal(at[1:], at[:-1], out=first_there[1:])
    junction = np.full(n, -1, np.int32)
    junction[point] = np.cumsum(first_there) - 1
    points = np.flatnonzero(junction >= 0)
    line_of = np.repeat(np.arange(len(raw.line_way), dtype=np.int32), np.diff(raw.line_ptr))[points]
    same = line_of[1:] == line_of[:-1]
    first, last = points[:-1][same], points[1:][same]
    return Split(
        first=first.astype(np.int64), last=last.astype(np.int64), a=junction[first], b=junction[last], way=raw.line_way[line_of[:-1][same]],
        junction_id=at[first_there], junction_point=point[first_there],
    )  # fmt: skip


def _at_junctions(ids: I64, is_end: NDArray[np.bool_], extra_ids: I64) -> tuple[I64, I64]:
    """Return the node ids and rows of all points that lie at a junction, by id and then by row.

    Sorting plain numbers is several times as fast as sorting their positions, so id, position and end share one number
    where they fit.
    """
    bits = len(ids).bit_length() + 1
    if len(ids) and ids.min() >= 0 and int(ids.max()).bit_length() + bits < 63:
        packed = ids << bits
        packed |= np.arange(0, 2 * len(ids), 2, dtype=np.int64)
        packed |= is_end
        packed.sort()
        ranked = packed >> bits
        rows = _wanted(ranked, (packed & 1).astype(np.bool_), extra_ids)
        return ranked[rows], (packed[rows] & ((1 << bits) - 1)) >> 1
    order = np.argsort(ids, kind="stable")
    ranked = ids[order]
    rows = _wanted(ranked, is_end[order], extra_ids)
    return ranked[rows], order[rows].astype(np.int64)


def _wanted(ranked: I64, is_end: NDArray[np.bool_], extra_ids: I64) -> NDArray[np.intp]:
    """Return the rows of sorted ids that occur twice, end a line or are asked for."""
    wanted = is_end.copy()
    twice = ranked[1:] == ranked[:-1]
    wanted[1:] |= twice
    wanted[:-1] |= twice
    if len(extra_ids):
        at = np.searchsorted(ranked, extra_ids)
        at = at[at < len(ranked)]
        wanted[at[np.isin(ranked[at], extra_ids)]] = True
    return np.flatnonzero(wanted)
