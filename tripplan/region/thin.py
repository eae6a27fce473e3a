"""Vectors of the own base map: thinned and bounded in size."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from tripplan.osm.raw import RawLine
from tripplan.region.columns import BASE_LAYERS, BaseMap

__all__ = ["base_map"]

#: Most points that a base map may have; lines are thinned more until it holds.
MOST_POINTS = 60_000
_METRE_E7 = 1e7 / 111_195.0


def base_map(lines: list[RawLine], box: tuple[float, float, float, float]) -> BaseMap:
    """Thin the base map's lines (Douglas-Peucker) to what a region of this size can show.

    Parameters
    ----------
    lines
        Vectors as read.
    box
        west, south, east, north of the roads [degrees]: sets the first tolerance, 1/8000 of its diagonal, and which small
        waters are left out.
    """
    tall = (box[3] - box[1]) * 111_195.0
    wide = ((box[2] - box[0]) % 360) * 111_195.0 * np.cos(np.radians((box[1] + box[3]) / 2))
    tolerance_m = max(10.0, float(np.hypot(tall, wide)) / 8000)
    usable = [line for line in _joined(lines) if len(line.points) >= 2]
    while True:
        kept = _thinned(usable, tolerance_m)
        total = sum(len(points) for _, points in kept)
        if total <= MOST_POINTS or tolerance_m > 5000:
            break
        tolerance_m *= 1.7
    ptr = np.zeros(len(kept) + 1, np.int64)
    np.cumsum([len(points) for _, points in kept], out=ptr[1:])
    flat = np.concatenate([points for _, points in kept]) if kept else np.empty((0, 2), np.int32)
    return BaseMap(
        layer=np.array([BASE_LAYERS.index(line.layer) for line, _ in kept], np.uint8), closed=np.array([int(line.closed) for line, _ in kept], np.uint8),
        ptr=ptr, lon_e7=np.ascontiguousarray(flat[:, 0]), lat_e7=np.ascontiguousarray(flat[:, 1]),
    )  # fmt: skip


def _joined(lines: list[RawLine]) -> list[RawLine]:
    """Join open lines of a layer end to end, so that thinning works on whole coasts and rivers."""
    from shapely import MultiLineString, get_coordinates, get_parts, line_merge

    out = [line for line in lines if line.closed]
    for layer in BASE_LAYERS:
        mine = [
            line.points.astype(np.float64) for line in lines if line.layer == layer and not line.closed and len(line.points) >= 2
        ]
        if not mine:
            continue
        for part in get_parts(line_merge(MultiLineString(mine))):
            points = np.rint(get_coordinates(part)).astype(np.int32)
            out.append(RawLine(layer, False, points))
    return out


def _thinned(lines: list[RawLine], tolerance_m: float) -> list[tuple[RawLine, NDArray[np.int32]]]:
    import shapely

    if not lines:
        return []
    stretch = np.cos(np.radians(np.mean([line.points[0, 1] for line in lines]) / 1e7))
    count = [len(line.points) for line in lines]
    flat = np.concatenate([line.points for line in lines]).astype(np.float64)
    flat[:, 0] *= stretch
    lower = np.minimum.reduceat(flat, np.concatenate(([0], np.cumsum(count)[:-1])))
    upper = np.maximum.reduceat(flat, np.concatenate(([0], np.cumsum(count)[:-1])))
    size = (upper - lower).max(axis=1) / _METRE_E7
    shapes = shapely.linestrings(flat, indices=np.repeat(np.arange(len(lines)), count))
    thin = shapely.simplify(shapes, tolerance_m * _METRE_E7, preserve_topology=False)
    coordinates, owner = shapely.get_coordinates(thin, return_index=True)
    coordinates[:, 0] /= stretch
    points = np.rint(coordinates).astype(np.int32)
    bounds = np.searchsorted(owner, np.arange(len(lines) + 1))
    # Small waters and short rivers would be dots: a hand's breadth of map shows nothing below eight tolerances.
    return [
        (line, points[bounds[k] : bounds[k + 1]])
        for k, line in enumerate(lines)
        if bounds[k + 1] - bounds[k] >= (4 if line.closed else 2)
        and (line.layer in ("coast", "border") or size[k] >= 8 * tolerance_m)
    ]
