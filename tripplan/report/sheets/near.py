"""What lies near: the nearest hospital, and how far it is from one fuel station of the way to the next."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from tripplan.model.place import Spot
from tripplan.region.columns import AID_KINDS, BASE_LAYERS, Aids
from tripplan.region.geometry import EARTH_RADIUS_M, great_circle_m
from tripplan.region.region import Region

__all__ = ["FUEL_REACH_M", "FuelGap", "Hospital", "border_near", "fuel_gap", "nearest_hospital"]

F64 = NDArray[np.float64]
#: A station so near to the way counts as on it (common practice, no source) [m].
FUEL_REACH_M = 500.0


#: A border on land so near to the way is told (common practice, no source) [km].
_BORDER_KM = 15.0


@dataclass(frozen=True, slots=True)
class Hospital:
    """The nearest hospital of the map; ``km`` in a straight line. Name and phone may be empty."""

    name: str
    phone: str
    km: float


@dataclass(frozen=True, slots=True)
class FuelGap:
    """The longest stretch of the way without a fuel station.

    Parameters
    ----------
    metres
        Its length along the way, by van and car [m].
    day
        Number of the day on which it ends. stations: how many passes of a station the way has.
    after, before
        The stations at its ends, "" one without a name; ``None``: the trip's start or end.
    """

    metres: float
    day: int
    stations: int
    after: str | None
    before: str | None


def _rows(aids: Aids, kind: str) -> NDArray[np.int64]:
    return np.flatnonzero(aids.kind == AID_KINDS.index(kind)).astype(np.int64)


def nearest_hospital(region: Region, spot: Spot) -> Hospital | None:
    """Return the hospital nearest to a spot in a straight line; ``None`` where the region knows of none.

    One with a name goes before one without that is less than 2 km nearer: people find it.
    """
    aids = region.aids
    rows = _rows(aids, "hospital") if aids is not None else np.empty(0, np.int64)
    if aids is None or len(rows) == 0:
        return None
    away = great_circle_m(spot.lon, spot.lat, aids.lon_e7[rows] / 1e7, aids.lat_e7[rows] / 1e7)
    best = int(np.argmin(away + np.where(aids.name[rows] < 0, 2000.0, 0.0)))
    row = rows[best]
    return Hospital(region.string(int(aids.name[row])), region.string(int(aids.phone[row])), float(away[best]) / 1000)


def fuel_gap(region: Region, ways: Sequence[tuple[int, F64]]) -> FuelGap | None:
    """Return the longest stretch without a fuel station.

    Parameters
    ----------
    ways
        The way in order: number of the day and points (n, 2) lon and lat [degrees] of each leg.

    Returns
    -------
    FuelGap or None
        ``None`` where the region does not know of fuel stations at all, or there is no way.
    """
    aids = region.aids
    lines = [(day, line) for day, line in ways if len(line) > 1]
    if aids is None or not lines:
        return None
    points = np.concatenate([line for _, line in lines])
    days = np.concatenate([np.full(len(line), day) for day, line in lines])
    east = np.cos(np.radians(points[:, 1])) * EARTH_RADIUS_M
    x = np.radians((points[:, 0] - points[0, 0] + 180) % 360 - 180) * float(east.mean())
    y = np.radians(points[:, 1]) * EARTH_RADIUS_M
    dx, dy = np.diff(x), np.diff(y)
    # From the last point of a leg to the first of the next nobody drives by the map.
    inside = np.ones(len(dx), dtype=np.bool_)
    inside[np.cumsum([len(line) for _, line in lines])[:-1] - 1] = False
    step = np.hypot(np.radians(np.diff(points[:, 0] % 360 if np.ptp(points[:, 0]) > 180 else points[:, 0])) * east[:-1], dy)
    step[~inside] = 0.0
    along = np.concatenate(([0.0], np.cumsum(step)))
    passes: list[tuple[float, int, str]] = []
    squared = np.maximum(dx * dx + dy * dy, 1e-9)
    for row in _rows(aids, "fuel"):
        sx = float(np.radians((aids.lon_e7[row] / 1e7 - points[0, 0] + 180) % 360 - 180) * east.mean())
        sy = float(np.radians(aids.lat_e7[row] / 1e7) * EARTH_RADIUS_M)
        if not (x.min() - FUEL_REACH_M < sx < x.max() + FUEL_REACH_M and y.min() - FUEL_REACH_M < sy < y.max() + FUEL_REACH_M):
            continue
        t = np.clip(((sx - x[:-1]) * dx + (sy - y[:-1]) * dy) / squared, 0.0, 1.0)
        off = np.hypot(sx - x[:-1] - t * dx, sy - y[:-1] - t * dy)
        near = np.flatnonzero((off <= FUEL_REACH_M) & inside)
        for group in np.split(near, np.flatnonzero(np.diff(near) > 1) + 1) if len(near) else []:
            best = int(group[np.argmin(off[group])])
            passes.append((float(along[best] + t[best] * step[best]), int(days[best]), region.string(int(aids.name[row]))))
    passes.sort()
    stops: list[tuple[float, int, str | None]] = [(0.0, int(days[0]), None), *passes, (float(along[-1]), int(days[-1]), None)]
    gaps = [FuelGap(b[0] - a[0], b[1], len(passes), a[2], b[2]) for a, b in pairwise(stops)]
    return max(gaps, key=lambda gap: gap.metres)


def border_near(region: Region, ways: Sequence[F64]) -> bool:
    """Return whether any of the ways (longitude, latitude) [degrees] crosses a country's border of the map, or has one near it on land.

    A border at sea that nobody crosses is an island's own. A point lies at sea where an odd number of coasts lie between it and a
    way's end, which is on land.
    """
    import shapely

    base, ways = region.base, [way for way in ways if len(way) > 1]
    rows = {layer: np.flatnonzero(base.layer == BASE_LAYERS.index(layer)).tolist() for layer in ("border", "coast")}
    if not rows["border"] or not ways:
        return False
    lon0, lat0 = float(ways[0][0, 0]), float(np.concatenate(ways)[:, 1].mean())
    km = np.radians(1.0) * EARTH_RADIUS_M / 1000

    def flat(lon: F64, lat: F64) -> shapely.LineString:
        return shapely.LineString(
            np.column_stack([((lon - lon0 + 180) % 360 - 180) * km * np.cos(np.radians(lat0)), (lat - lat0) * km])
        )

    def drawn(layer: str) -> list[shapely.LineString]:
        spans = [slice(base.ptr[row], base.ptr[row + 1]) for row in rows[layer]]
        return [flat(base.lon_e7[span] / 1e7, base.lat_e7[span] / 1e7) for span in spans]

    borders = drawn("border")
    tree, coasts = shapely.STRtree(borders), shapely.MultiLineString(drawn("coast"))
    for way in (flat(way[:, 0], way[:, 1]) for way in ways):
        for row in tree.query(way, predicate="dwithin", distance=_BORDER_KM).tolist():
            if way.intersects(borders[row]):
                return True
            near = shapely.segmentize(borders[row].intersection(way.buffer(_BORDER_KM)), 1.0)
            for point in shapely.get_coordinates(near):
                between = shapely.LineString([way.coords[0], point]).intersection(coasts)
                if shapely.get_num_geometries(between) % 2 == 0 or between.is_empty:
                    return True
    return False
