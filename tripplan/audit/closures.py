"""No driven road is closed on its date by what the trip brought, and no van is towed in the area of a wind warning.

Worked out from the lines and areas alone, metre by metre of what is driven; it shares no code with the matching of the search, and its
margins are a little wider, so that what it finds is no matter of rounding.
"""

from __future__ import annotations

from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from tripplan.audit.findings import Findings
from tripplan.model.closure import WIND, Closure
from tripplan.model.plan import Day, Leg, Plan
from tripplan.region.region import Region

__all__ = ["audit_closures"]

F64 = NDArray[np.float64]
B1 = NDArray[np.bool_]
_METRES = 111_195.0
_STEP_M = 4.0
#: Driving so much in an area, or along a closed line, is no touching of its edge [m].
_INSIDE_M, _ALONG_M = 30.0, 60.0
#: A road is the closed one where its middle is so near the line and it goes the same way [m, degrees].
_NEAR_M, _ANGLE = 6.0, 20.0
_SHARE = 0.6


def audit_closures(plan: Plan, region: Region, found: Findings) -> None:
    """Check each leg of each day against the closures of the trip."""
    if not plan.trip.closures:
        return
    for day in plan.days:
        today = [c for c in plan.trip.closures if c.holds(day.date)]
        if not today:
            continue
        for leg in day.legs:
            _leg(region, day, leg, today, found)


def _leg(region: Region, day: Day, leg: Leg, today: list[Closure], found: Findings) -> None:
    runs = leg.runs
    if not runs.piece or not all(0 <= p < len(region.pieces.way) for p in runs.piece):
        return  # told elsewhere
    parts = [_driven(region, *one) for one in zip(runs.piece, runs.forward, runs.from_m, runs.to_m, strict=False)]
    at = np.vstack([p[0] for p in parts])
    step = np.concatenate([p[1] for p in parts])
    heading = np.vstack([p[2] for p in parts])
    of = np.repeat(np.arange(len(parts)), [len(p[1]) for p in parts])
    whole = region.pieces.length_m[np.array(runs.piece)]
    way = region.ways.osm_id[region.pieces.way[np.array(runs.piece)]]
    for closure in today:
        if closure.kind == WIND and leg.mode != "van":
            continue
        on = (
            _on_line(closure, at, heading)
            if closure.lines
            else _in_rings(closure, at)
            if closure.rings
            else np.ones(len(at), bool)
        )
        if closure.ways:
            meant = np.isin(way, np.array(closure.ways, np.int64))
            # A line that lies elsewhere than its way closes the way as a whole; only where it fits it narrows it.
            on = meant[of] & on
        metres = np.bincount(of[on], step[on], minlength=len(parts))
        least = _INSIDE_M if closure.rings and not closure.lines else _ALONG_M
        if closure.ways and not closure.lines and not closure.rings:
            least = 1.0
        bad = (metres > least) | ((metres > _SHARE * whole) & (metres > 10.0))
        if not bad.any():
            continue
        first = int(np.flatnonzero(bad)[0])
        name = region.string(int(region.ways.name[region.pieces.way[runs.piece[first]]])) or f"way {int(way[first])}"
        what = "towing in wind" if closure.kind == WIND else "closed that day"
        said = "inside the wind warning" if closure.kind == WIND else "of road closed by"
        total = float(metres[bad].sum())
        found.add(
            what, day.number, total, "m",
            f"{total:.0f} m {said} {closure.name!r} ({closure.dates}, says {closure.source}), first on {name} "
            f"({leg.mode}, {leg.start.name} to {leg.end.name})",
        )  # fmt: skip


def _driven(region: Region, piece: int, forward: bool, from_m: float, to_m: float) -> tuple[F64, F64, F64]:
    """Return points every few metres of a driven part, how much each stands for, and the direction of travel there."""
    pieces = region.pieces
    a, b = int(pieces.ptr[piece]), int(pieces.ptr[piece + 1])
    line = np.column_stack([pieces.lon_e7[a:b], pieces.lat_e7[a:b]]) / 1e7
    line = line if forward else line[::-1]
    scale = np.array([_METRES * np.cos(np.radians(line[:, 1].mean())), _METRES])
    flat = (line - line[0]) * scale
    along = np.concatenate(([0.0], np.cumsum(np.hypot(*np.diff(flat, axis=0).T))))
    length = float(pieces.length_m[piece])
    stretch = along[-1] / length if length > 0 else 1.0
    low, high = max(from_m, 0.0) * stretch, min(to_m, length) * stretch
    if not high > low:
        return np.empty((0, 2)), np.empty(0), np.empty((0, 2))
    n = max(1, int(np.ceil((high - low) / _STEP_M)))
    where = low + (np.arange(n) + 0.5) * (high - low) / n
    x, y = np.interp(where, along, flat[:, 0]), np.interp(where, along, flat[:, 1])
    k = np.clip(np.searchsorted(along, where, side="right") - 1, 0, len(flat) - 2)
    ahead = flat[k + 1] - flat[k]
    ahead = ahead / np.maximum(np.hypot(ahead[:, 0], ahead[:, 1]), 1e-9)[:, None]
    return np.column_stack([x, y]) / scale + line[0], np.full(n, (high - low) / n), ahead


def _in_rings(closure: Closure, at: F64) -> B1:
    odd = np.zeros(len(at), np.bool_)
    for ring in closure.rings:
        corner = np.array(ring, np.float64)
        for (x1, y1), (x2, y2) in zip(corner, np.roll(corner, -1, axis=0), strict=True):
            level = (y1 > at[:, 1]) != (y2 > at[:, 1])
            with np.errstate(divide="ignore", invalid="ignore"):
                odd ^= level & (at[:, 0] < x1 + (x2 - x1) * (at[:, 1] - y1) / (y2 - y1))
    return odd


def _on_line(closure: Closure, at: F64, heading: F64) -> B1:
    on = np.zeros(len(at), np.bool_)
    limit = float(np.cos(np.radians(_ANGLE)))
    for line in closure.lines:
        points = np.array(line, np.float64)
        scale = np.array([_METRES * np.cos(np.radians(points[:, 1].mean())), _METRES])
        flat, here = (points - points[0]) * scale, (at - points[0]) * scale
        low, high = flat.min(axis=0) - _NEAR_M, flat.max(axis=0) + _NEAR_M
        rows = np.flatnonzero(((here >= low) & (here <= high)).all(axis=1))
        for one, two in pairwise(flat):
            size = float(np.hypot(*(two - one)))
            if size < 0.01 or not len(rows):
                continue
            unit = (two - one) / size
            gap = here[rows] - one
            t = gap @ unit
            off = np.hypot(gap[:, 0] - np.clip(t, 0, size) * unit[0], gap[:, 1] - np.clip(t, 0, size) * unit[1])
            same = heading[rows] @ unit
            goes = same >= limit if closure.one_way else np.abs(same) >= limit
            on[rows[(off <= _NEAR_M) & (t >= -1) & (t <= size + 1) & goes]] = True
    return on
