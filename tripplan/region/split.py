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
    order, ranked = _ranked(ids)
    new = np.empty(n, bool)
    new[:1] = True
    np.not_equal(ranked[1:], ranked[:-1], out=new[1:])
    group_start = np.flatnonzero(new)
    shared = np.diff(np.append(group_start, n)) > 1
    is_end = np.zeros(n, bool)
    is_end[raw.line_ptr[:-1]] = True
    is_end[raw.line_ptr[1:] - 1] = True
    wanted = shared | np.logical_or.reduceat(is_end[order], group_start) if n else shared
    if len(extra_ids) and n:
        at = np.searchsorted(ranked[group_start], extra_ids)
        at = at[at < len(group_start)]
        hit = np.isin(ranked[group_start[at]], extra_ids)
        wanted[at[hit]] = True
    number = np.cumsum(wanted) - 1
    number[~wanted] = -1
    junction = np.empty(n, np.int32)
    junction[order] = np.repeat(number, np.diff(np.append(group_start, n)))
    points = np.flatnonzero(junction >= 0)
    line_of = np.repeat(np.arange(len(raw.line_way), dtype=np.int32), np.diff(raw.line_ptr))[points]
    same = line_of[1:] == line_of[:-1]
    first, last = points[:-1][same], points[1:][same]
    rows = group_start[wanted]
    return Split(
        first=first.astype(np.int64), last=last.astype(np.int64), a=junction[first], b=junction[last], way=raw.line_way[line_of[:-1][same]],
        junction_id=ranked[rows], junction_point=order[rows].astype(np.int64),
    )  # fmt: skip


def _ranked(ids: I64) -> tuple[I64, I64]:
    """Return the order that sorts ids, and the ids sorted.

    Sorting plain numbers is several times as fast as sorting their positions, so id and position share one number where
    both fit.
    """
    bits = len(ids).bit_length()
    if len(ids) and ids.min() >= 0 and int(ids.max()).bit_length() + bits < 63:
        packed = (ids << bits) | np.arange(len(ids), dtype=np.int64)
        packed.sort()
        return packed & ((1 << bits) - 1), packed >> bits
    order = np.argsort(ids, kind="stable")
    return order, ids[order]
