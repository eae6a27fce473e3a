"""Where one drives into a site that is mapped as an area: roads that cross its outline, gates and entrances on it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tripplan.model.place import Place
from tripplan.osm.raw import RawArea, RawMap
from tripplan.region.columns import HIGHWAYS, Pieces, Ways

__all__ = ["with_entrances"]

_NOT_ROADS = tuple(HIGHWAYS.index(name) for name in ("motorway", "motorway_link", "ferry"))
#: Barriers that stand where one drives in.
_GATES = frozenset(("gate", "lift_gate", "swing_gate", "sliding_gate", "entrance", "toll_booth", "cattle_grid", "hampshire_gate"))
#: More roads than so many across an outline: it is no site with gates but a stretch of country.
_MOST = 24
#: Side of the cells by which roads near an area are picked [1e-7 degrees].
_CELL = 200_000
#: Once round the earth [1e-7 degrees].
_ROUND = 3_600_000_000

I32 = NDArray[Any]  # 1e-7 degrees; int64 where longitudes run on across the date line
I64 = NDArray[np.int64]


def with_entrances(places: Sequence[Place], raw: RawMap, ways: Ways, pieces: Pieces) -> tuple[Place, ...]:
    """Give each site that is an area its entrances.

    Roads that cross the outline count; where none does, gates and entrances that are nodes of the outline.
    """
    areas = {area.ref: area for area in raw.areas}
    rows = [row for row, place in enumerate(places) if place.role == "site" and place.ref in areas]
    rings = [_rings(areas[places[row].ref]) for row in rows]
    rows = [row for row, own in zip(rows, rings, strict=True) if own]
    rings = [own for own in rings if own]
    if not rows:
        return tuple(places)
    if len(pieces.lon_e7) and int(pieces.lon_e7.max()) - int(pieces.lon_e7.min()) > 1_800_000_000:
        # Across the date line: measured in longitudes that run on.
        rings = [[np.column_stack((ring[:, 0].astype(np.int64) % _ROUND, ring[:, 1])) for ring in own] for own in rings]
        turned: Any = pieces.lon_e7.astype(np.int64) % _ROUND
        pieces = replace(pieces, lon_e7=turned)
    crossed = _crossings(rings, ways, pieces)
    gates = _gates(raw)
    out = list(places)
    for number, row in enumerate(rows):
        points = crossed.get(number, [])
        if not points:
            outline = {(_wrapped(int(x)), int(y)) for ring in rings[number] for x, y in ring}
            points = sorted(outline & gates)
        if 0 < len(points) <= _MOST:
            out[row] = replace(out[row], entrances=tuple((_wrapped(x) / 1e7, y / 1e7) for x, y in points))
    return tuple(out)


def _wrapped(lon_e7: int) -> int:
    return (lon_e7 + _ROUND // 2) % _ROUND - _ROUND // 2


def _rings(area: RawArea) -> list[I32]:
    return [ring for ring in area.outer if len(ring) >= 4 and np.array_equal(ring[0], ring[-1])]


def _gates(raw: RawMap) -> set[tuple[int, int]]:
    found = {(round(node.lon * 1e7), round(node.lat * 1e7)) for node in raw.nodes if node.tags.get("barrier") in _GATES}
    found.update((int(x), int(y)) for x, y in raw.entrances)
    return found


def _crossings(rings: Sequence[Sequence[I32]], ways: Ways, pieces: Pieces) -> dict[int, list[tuple[int, int]]]:
    """Return the points at which roads go through the outline of each area, by its number [1e-7 degrees]."""
    import shapely

    shapes: list[Any] = [
        shapely.union_all([shapely.make_valid(shapely.Polygon(ring.astype(np.float64))) for ring in own]) for own in rings
    ]
    box = np.array([[*np.concatenate(own).min(axis=0), *np.concatenate(own).max(axis=0)] for own in rings], np.int64)
    near = _pieces_near(box, ways, pieces)
    if not len(near):
        return {}
    first, last = pieces.ptr[near], pieces.ptr[near + 1]
    west, south, east, north = _boxes(pieces, near)
    tree = shapely.STRtree(shapely.box(box[:, 0], box[:, 1], box[:, 2], box[:, 3]))
    which, area = tree.query(shapely.box(west, south, east, north), predicate="intersects")
    size = (last - first)[which]
    owner = np.repeat(np.arange(len(which)), size)
    start = np.concatenate(([0], np.cumsum(size)))[:-1]
    points = np.repeat(first[which] - start, size) + np.arange(int(size.sum()))
    x, y = pieces.lon_e7[points].astype(np.float64), pieces.lat_e7[points].astype(np.float64)
    for shape in shapes:
        shapely.prepare(shape)
    inside = shapely.contains_xy(np.array(shapes, object)[area[owner]], x, y)
    steps = np.flatnonzero((owner[1:] == owner[:-1]) & (inside[1:] != inside[:-1]))
    found: dict[int, set[tuple[int, int]]] = {}
    for step in steps.tolist():
        number = int(area[owner[step]])
        outer, inner = (step, step + 1) if inside[step + 1] else (step + 1, step)
        line = shapely.LineString([(x[inner], y[inner]), (x[outer], y[outer])])
        cut = shapely.intersection(line, shapes[number].boundary)
        at = shapely.get_coordinates(cut)
        # The way out of the last stretch inside: the cut that is nearest to the inner point.
        spot = (
            min(at.tolist(), key=lambda p: (p[0] - x[inner]) ** 2 + (p[1] - y[inner]) ** 2) if len(at) else (x[outer], y[outer])
        )
        found.setdefault(number, set()).add((round(spot[0]), round(spot[1])))
    return {number: sorted(points) for number, points in found.items()}


def _pieces_near(box: I64, ways: Ways, pieces: Pieces) -> I64:
    """Return the rows of pieces of road that may touch one of the boxes."""
    cells: set[int] = set()
    for x0, y0, x1, y1 in (box // _CELL).tolist():
        if (x1 - x0) * (y1 - y0) > 10_000:
            continue  # as large as a country: no site
        cells.update((y << 32) + x for y in range(y0 - 1, y1 + 2) for x in range(x0 - 1, x1 + 2))
    known = np.array(sorted(cells), np.int64)
    if not len(known) or not len(pieces.way):
        return np.empty(0, np.int64)
    first = pieces.ptr[:-1]
    x, y = (column[first].astype(np.int64) // _CELL for column in (pieces.lon_e7, pieces.lat_e7))
    key = (y << 32) + x
    at = np.minimum(np.searchsorted(known, key), len(known) - 1)
    # Pieces no longer than a cell that touch a box begin in a cell beside it; the longer ones are all looked at.
    metres_of_a_cell = _CELL / 1e7 * 111_195 * np.cos(np.radians(np.minimum(np.abs(pieces.lat_e7[first]) / 1e7, 89)))
    may = (known[at] == key) | (pieces.length_m > metres_of_a_cell)
    return np.flatnonzero(may & ~np.isin(ways.highway[pieces.way], _NOT_ROADS)).astype(np.int64)


def _boxes(pieces: Pieces, rows: I64) -> tuple[I32, I32, I32, I32]:
    """Return west, south, east, north of some pieces [1e-7 degrees]."""
    size = np.diff(pieces.ptr)[rows]
    start = np.concatenate(([0], np.cumsum(size)))[:-1]
    points = np.repeat(pieces.ptr[rows] - start, size) + np.arange(int(size.sum()))
    lon, lat = pieces.lon_e7[points], pieces.lat_e7[points]
    low, high = np.minimum.reduceat, np.maximum.reduceat
    return low(lon, start), low(lat, start), high(lon, start), high(lat, start)
