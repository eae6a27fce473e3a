"""Shortest ways by length alone, turns and barriers disregarded: what a map shows as the direct way."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from tripplan.region.region import Region

__all__ = ["At", "LengthGraph", "direction"]

Mask = NDArray[np.bool_]
F64 = NDArray[np.float64]
#: A point on a piece: the piece, and how far along it as drawn [m].
At = tuple[int, float]
#: (piece, driven as drawn, from, to along the direction of travel [m])
Step = tuple[int, bool, float, float]

_METRES_A_DEGREE = 111_195.0
#: Room for the flat distances that ways are bounded by, and the least weight of a piece [m].
_ROOM, _LEAST_M = 1.01, 1e-3


def direction(region: Region, piece: int) -> int:
    """Return 1 where a piece is one-way as drawn, -1 against it, 0 both ways."""
    return int(np.sign(region.ways.oneway[region.pieces.way[piece]]))


class LengthGraph:
    """Some pieces of a region, one-way roads in their direction."""

    def __init__(self, region: Region, usable: Mask) -> None:
        self.region, self.usable = region, usable
        pieces = region.pieces
        rows = np.flatnonzero(usable)
        oneway = region.ways.oneway[pieces.way[rows]]
        ahead, back = rows[oneway >= 0], rows[oneway <= 0]
        self._piece = np.concatenate((ahead, back))
        self._forward = np.repeat(np.array([True, False]), [len(ahead), len(back)])
        self._tail = np.concatenate((pieces.a[ahead], pieces.b[back])).astype(np.int64)
        self._head = np.concatenate((pieces.b[ahead], pieces.a[back])).astype(np.int64)

    def way(self, start: At, end: At, most_m: float = np.inf) -> list[Step] | None:
        """Return the shortest way between two points on roads; ``None`` where none of at most so many metres exists."""
        if not (self.usable[start[0]] and self.usable[end[0]]):
            return None
        pieces = self.region.pieces
        near = self._between(start, end, most_m)
        local = np.cumsum(near) - 1
        keep = near[self._tail] & near[self._head]
        tail, head, row = local[self._tail[keep]], local[self._head[keep]], np.flatnonzero(keep)
        size = int(near.sum())
        source, sink = size, size + 1
        leave = [one for one in self._ends(start, leaving=True) if near[one[0]]]
        arrive = [one for one in self._ends(end, leaving=False) if near[one[0]]]
        ends = [*leave, *arrive]
        tails = [source] * len(leave) + [int(local[one[0]]) for one in arrive]
        heads = [int(local[one[0]]) for one in leave] + [sink] * len(arrive)
        u, v = np.concatenate((tail, tails)).astype(np.int64), np.concatenate((head, heads)).astype(np.int64)
        weight = np.concatenate((pieces.length_m[self._piece[row]], [metres for _, metres, _ in ends])) + _LEAST_M
        number = np.concatenate((row, -1 - np.arange(len(ends)))).astype(np.int64)
        path = _shortest(u, v, weight, size + 2, source, sink, most_m)
        if path is None:
            return None
        steps: list[Step] = []
        for edge in path:
            if number[edge] < 0:
                steps.append(ends[-1 - int(number[edge])][2])
            else:
                piece = int(self._piece[number[edge]])
                steps.append((piece, bool(self._forward[number[edge]]), 0.0, float(pieces.length_m[piece])))
        return [step for step in steps if step[3] > step[2]]

    def _ends(self, at: At, *, leaving: bool) -> list[tuple[int, float, Step]]:
        """Return junctions that a point on a piece is left to, or come to from, with metres and step."""
        piece, along = at
        pieces, oneway = self.region.pieces, direction(self.region, piece)
        a, b, length = int(pieces.a[piece]), int(pieces.b[piece]), float(pieces.length_m[piece])
        along = min(max(along, 0.0), length)
        out = []
        if oneway >= 0:
            out.append((b, length - along, (piece, True, along, length)) if leaving else (a, along, (piece, True, 0.0, along)))
        if oneway <= 0:
            back = length - along
            out.append((a, along, (piece, False, back, length)) if leaving else (b, back, (piece, False, 0.0, back)))
        return out

    def _between(self, start: At, end: At, most_m: float) -> Mask:
        """Return the junctions that a way of so many metres may pass: an ellipse around both points."""
        junctions, pieces = self.region.junctions, self.region.pieces
        if not np.isfinite(most_m):
            return np.ones(len(junctions.osm_id), np.bool_)
        spread = np.zeros(len(junctions.osm_id))
        room = most_m * _ROOM
        for piece, _ in (start, end):
            j = int(pieces.a[piece])
            room += float(pieces.length_m[piece])
            lat = float(junctions.lat_e7[j]) / 1e7
            east = (junctions.lon_e7.astype(np.int64) - int(junctions.lon_e7[j]) + 1_800_000_000) % 3_600_000_000 - 1_800_000_000
            # Nearer the pole a degree of longitude is shorter: the shortest of all counts, so that nothing is left out.
            scale = max(np.cos(np.radians(min(abs(lat) + room / _METRES_A_DEGREE, 90.0))), 0.0)
            spread += np.hypot(east * (1e-7 * scale), (junctions.lat_e7 - junctions.lat_e7[j]) * 1e-7)
        return np.asarray(spread * _METRES_A_DEGREE <= room, np.bool_)


def _shortest(
    u: NDArray[np.int64], v: NDArray[np.int64], weight: F64, size: int, source: int, sink: int, most_m: float
) -> list[int] | None:
    """Return the edges of the shortest way, by number; of parallel edges the shortest counts."""
    from scipy.sparse import csr_array
    from scipy.sparse.csgraph import dijkstra

    order = np.lexsort((np.arange(len(u)), weight, v, u))
    order = order[u[order] != v[order]]
    if not len(order):
        return None
    order = order[np.concatenate(([True], (np.diff(u[order]) != 0) | (np.diff(v[order]) != 0)))]
    graph: Any = csr_array((weight[order], (u[order], v[order])), shape=(size, size))
    distance, before = dijkstra(graph, indices=source, return_predecessors=True, limit=most_m)
    if not np.isfinite(distance[sink]):
        return None
    code, at, path = u[order] * size + v[order], sink, []
    while at != source:
        path.append(int(order[np.searchsorted(code, int(before[at]) * size + at)]))
        at = int(before[at])
    return path[::-1]
