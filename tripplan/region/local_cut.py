"""Pieces of road cut where a part that a note speaks of begins or ends."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import fields, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tripplan.region.columns import Junctions, Pieces, Turns
from tripplan.region.geometry import segment_lengths_m
from tripplan.region.region import Region

__all__ = ["Cut", "cut_pieces"]

I64 = NDArray[np.int64]
F64 = NDArray[np.float64]

#: Pieces cut anew: the region, and for each of its pieces the row it had and where in that it begins [m].
Cut = tuple[Region, I64, F64]

#: Points of a line: lon, lat, curve speed.
Line = tuple[NDArray[Any], NDArray[Any], NDArray[Any]]


def cut_pieces(region: Region, cuts: Mapping[int, Sequence[float]]) -> Cut:
    """Cut pieces at distances from their first point [m], each at a junction of its own; turn restrictions follow.

    New junctions stand after the map's, with identities below 0. ``cuts`` holds distances inside the pieces, ascending.
    """
    pieces, old = region.pieces, len(region.pieces.way)
    count = np.ones(old, np.int64)
    for piece, at in cuts.items():
        count[piece] += len(at)
    parent = np.repeat(np.arange(old), count)
    first = np.concatenate(([0], np.cumsum(count)))
    start = np.zeros(len(parent))
    if not cuts:
        return region, parent, start
    a, b, length = pieces.a[parent], pieces.b[parent], pieces.length_m[parent]
    size = np.diff(pieces.ptr)[parent]
    columns: Line = (pieces.lon_e7, pieces.lat_e7, pieces.curve_kmh)
    chunks: list[list[NDArray[Any]]] = [[], [], []]
    new_lon: list[int] = []
    new_lat: list[int] = []
    done = 0
    junctions = len(region.junctions.osm_id)
    for piece in sorted(cuts):
        at = [float(metres) for metres in cuts[piece]]
        low, high = int(pieces.ptr[piece]), int(pieces.ptr[piece + 1])
        rows = slice(int(first[piece]), int(first[piece + 1]))
        bounds = np.array([0.0, *at, float(pieces.length_m[piece])])
        start[rows], length[rows] = bounds[:-1], np.diff(bounds)
        fresh = junctions + len(new_lon) + np.arange(len(at))
        b[rows.start : rows.stop - 1], a[rows.start + 1 : rows.stop] = fresh, fresh
        parts = _cut_line(
            (pieces.lon_e7[low:high], pieces.lat_e7[low:high], pieces.curve_kmh[low:high]), float(pieces.length_m[piece]), at
        )
        new_lon += [int(part[0][-1]) for part in parts[:-1]]
        new_lat += [int(part[1][-1]) for part in parts[:-1]]
        size[rows] = [len(part[0]) for part in parts]
        for k, column in enumerate(columns):
            chunks[k] += [column[done:low], *(part[k] for part in parts)]
        done = high
    for k, column in enumerate(columns):
        chunks[k].append(column[done:])
    lon, lat, curve = (np.concatenate(chunk) for chunk in chunks)
    made = Pieces(
        a=a.astype(np.int32), b=b.astype(np.int32), way=pieces.way[parent], length_m=length,
        ptr=np.concatenate(([0], np.cumsum(size))).astype(np.int64), lon_e7=lon, lat_e7=lat, curve_kmh=curve,
    )  # fmt: skip
    turns = _turns(region.turns, pieces, first)
    return replace(region, pieces=made, junctions=_junctions(region.junctions, new_lon, new_lat), turns=turns), parent, start


def _cut_line(columns: Line, length_m: float, at: Sequence[float]) -> list[Line]:
    """Cut one line of points (lon, lat, curve speed) at some distances."""
    lon, lat, curve = columns
    along = np.concatenate(([0.0], np.cumsum(segment_lengths_m(lon / 1e7, lat / 1e7))))
    along *= length_m / along[-1] if along[-1] > 0 else 1.0
    parts: list[Line] = []
    head: Line | None = None
    begin = 0  # row of the next old point, and the point that a part begins with
    for metres in [*at, None]:
        end = len(lon) if metres is None else int(np.searchsorted(along, metres, side="left"))
        rows = slice(begin, end)
        x, y, speed = [lon[rows]], [lat[rows]], [curve[rows]]
        if head is not None:
            x, y, speed = [head[0], *x], [head[1], *y], [head[2], *speed]
        if metres is not None:
            low = max(end - 1, 0)
            width = along[end] - along[low]
            share = (metres - along[low]) / width if width > 0 else 0.0
            mid = [np.array([_between(int(v[low]), int(v[end]), share)], v.dtype) for v in (lon, lat)]
            on = end if along[end] <= metres else low  # the stretch that goes on from here
            head = (mid[0], mid[1], curve[on : on + 1])
            x, y, speed = [*x, mid[0]], [*y, mid[1]], [*speed, np.array([255], curve.dtype)]
            begin = end if along[end] > metres else end + 1
        parts.append((np.concatenate(x), np.concatenate(y), np.concatenate(speed)))
    return parts


def _between(low: int, high: int, share: float) -> int:
    """Return the coordinate between two others, the short way round the earth [1e-7 degrees]."""
    turn = 3_600_000_000
    step = (high - low + turn // 2) % turn - turn // 2
    value = low + round(share * step)
    return value if abs(value) <= turn // 2 else value - (turn if value > 0 else -turn)


def _junctions(junctions: Junctions, lon: list[int], lat: list[int]) -> Junctions:
    count = len(lon)
    least = int(min(junctions.osm_id.min(initial=0), 0))
    more: dict[str, Any] = {"osm_id": least - 1 - np.arange(count), "lon_e7": np.array(lon), "lat_e7": np.array(lat)}
    for field in fields(Junctions):
        # Nothing stands there: no barrier, no figure, no access that anybody denies.
        column = getattr(junctions, field.name)
        more.setdefault(field.name, np.full(count, np.nan if column.dtype.kind == "f" else -1 if field.name == "barrier" else 0))
    old = {field.name: getattr(junctions, field.name) for field in fields(Junctions)}
    return Junctions(**{name: np.concatenate((column, more[name].astype(column.dtype))) for name, column in old.items()})


def _turns(turns: Turns, pieces: Pieces, first: I64) -> Turns:
    """Put the parts of cut pieces into turn restrictions: of the first and the last the part at the turn, of others all."""
    whole = np.diff(first) == 1
    if whole[turns.pieces].all():
        return replace(turns, pieces=first[turns.pieces].astype(turns.pieces.dtype))
    out: list[int] = []
    ptr = [0]
    for row in range(len(turns.osm_id)):
        listed = turns.pieces[turns.ptr[row] : turns.ptr[row + 1]].tolist()
        at = int(turns.via[row])
        out.append(int(first[listed[0] + 1]) - 1 if int(pieces.b[listed[0]]) == at else int(first[listed[0]]))
        for number, piece in enumerate(listed[1:], 1):
            parts = list(range(int(first[piece]), int(first[piece + 1])))
            ahead = int(pieces.a[piece]) == at
            at = int(pieces.b[piece]) if ahead else int(pieces.a[piece])
            parts = parts if ahead else parts[::-1]
            out += parts[:1] if number == len(listed) - 1 else parts
        ptr.append(len(out))
    return replace(turns, ptr=np.array(ptr, turns.ptr.dtype), pieces=np.array(out, turns.pieces.dtype))
