"""The trip as GeoJSON by RFC 7946 (The GeoJSON Format, IETF 2016): days, nights, stops, and what is not tagged as sealed.

Longitude before latitude in degrees of WGS 84 to 6 decimals (11.2), no `crs`, lines cut at the antimeridian (3.1.9), rings
by the right-hand rule (3.1.6), a `bbox` that crosses the antimeridian with its west above its east (5.2).
"""

from __future__ import annotations

import json

import numpy as np

from tripplan.model.place import Spot
from tripplan.model.plan import Plan
from tripplan.model.words import Surface
from tripplan.region.region import Region
from tripplan.report.counted import trip_title
from tripplan.report.dateline import F64, box_of, cut, in_range
from tripplan.report.gpx import mark_words
from tripplan.report.mapdata import Mark, marks_of
from tripplan.report.safe import plain
from tripplan.report.say import spot_name
from tripplan.report.waylines import DayLine, SurfaceLine, WayLines, way_lines

__all__ = ["geojson_text"]

_SURFACES = {Surface.PRESUMED: "presumed", Surface.UNKNOWN: "unknown"}


def geojson_text(plan: Plan, region: Region, lines: WayLines | None = None) -> str:
    """Return the GeoJSON file: one feature collection, a feature a line of text; the same plan gives the same bytes.

    Each feature has a ``kind``: ``day``, ``surface``, ``night``, ``service``, ``sight``, ``depot`` or ``off limits``.

    Parameters
    ----------
    lines
        The plan's lines where they are known already.
    """
    lines = lines if lines is not None else way_lines(plan, region)
    marks = marks_of(plan)
    features = [
        *[_day(drawn) for drawn in lines.days],
        *[_surface(i, part) for i, part in enumerate(lines.surfaces)],
        *[_mark(mark) for mark in marks],
        *[area for i, (name, ring) in enumerate(plan.trip.firm.areas_off_limits) for area in _off_limits(i, name, ring)],
    ]
    points = np.array([(mark.spot.lon, mark.spot.lat) for mark in marks]).reshape(-1, 2)
    box = box_of([points, *[part for drawn in lines.days for line in drawn.lines for part in cut(line)]])
    head = {
        "type": "FeatureCollection",
        **({"bbox": [_r(x) for x in box]} if box is not None else {}),
        "name": plain(trip_title(plan.trip)),
        "attribution": "© OpenStreetMap contributors, ODbL 1.0",
        "data_date": plain(plan.data_date),
        "region": plain(plan.region_name),
    }
    body = ",\n".join(_json(feature) for feature in features)
    return f'{_json(head)[:-1]},"features":[\n{body}\n]}}\n'


def _json(value: object) -> str:
    return json.dumps(value, ensure_ascii=False, separators=(",", ":"), allow_nan=False)


def _r(degrees: float) -> float:
    return round(degrees, 6) + 0.0


def _positions(line: F64) -> list[list[float]]:
    positions: list[list[float]] = (np.round(line, 6) + 0.0).tolist()  # + 0.0: no minus zero
    return positions


def _feature(identity: str, geometry: dict[str, object], properties: dict[str, object]) -> dict[str, object]:
    return {"type": "Feature", "id": identity, "properties": properties, "geometry": geometry}


def _lines(lines: list[F64]) -> dict[str, object]:
    """Return one line or several, none of which crosses the antimeridian."""
    parts = [_positions(part) for line in lines for part in cut(line)]
    if len(parts) == 1:
        return {"type": "LineString", "coordinates": parts[0]}
    return {"type": "MultiLineString", "coordinates": parts}


def _day(drawn: DayLine) -> dict[str, object]:
    day = drawn.day
    return _feature(
        f"day-{day.number}-{drawn.mode}",
        _lines(list(drawn.lines)),
        {
            "kind": "day",
            "day": day.number,
            "date": day.date.isoformat(),
            "mode": drawn.mode,
            "from": spot_name(day.start),
            "to": spot_name(day.end),
            "length_m": round(drawn.length_m),
            "drive_s": round(drawn.drive_s),
            "ferry_s": round(sum(leg.ferry_s for leg in drawn.legs)),
            "presumed_m": round(sum(leg.presumed_m for leg in drawn.legs)),
            "unknown_m": round(sum(leg.unknown_m for leg in drawn.legs)),
        },
    )


def _surface(i: int, part: SurfaceLine) -> dict[str, object]:
    properties: dict[str, object] = {
        "kind": "surface", "day": part.day.number, "surface": _SURFACES[part.surface], "length_m": round(part.length_m)
    }  # fmt: skip
    return _feature(f"surface-{i}", _lines([part.line]), properties)


def _place(spot: Spot) -> dict[str, object]:
    return {"type": "Point", "coordinates": [_r(float(in_range(round(spot.lon, 7)))), _r(spot.lat)]}


def _mark(mark: Mark) -> dict[str, object]:
    properties: dict[str, object] = {
        "kind": mark.sign,
        "name": spot_name(mark.spot),
        "days": list(mark.days),
        "what": mark_words(mark),
    }
    if mark.nights:
        _, night = mark.nights[0]
        properties |= {
            "nights": [day.number for day, _ in mark.nights],
            "ref": plain(night.ref),
            "site": plain(night.kind),
            "mains": night.powered,
            "price_cents": night.price_cents if night.price_known else None,
        }
    services = sorted({store for _, event in mark.events if event.kind == "service" for store in event.stores})
    if services:
        properties["stores"] = [plain(store) for store in services]
    return _feature(mark.key, _place(mark.spot), properties)


def _off_limits(i: int, name: str, ring: tuple[tuple[float, float], ...]) -> list[dict[str, object]]:
    """Return an area off limits as a ring that is closed and runs anticlockwise; nothing for a ring without an inside.

    An area over the antimeridian is told by its edge alone, cut there.
    """
    points = np.array(ring, np.float64).reshape(-1, 2)
    if len(points) and (points[0] != points[-1]).any():
        points = np.concatenate([points, points[:1]])
    if len(points) < 4:
        return []
    if float(np.abs(np.diff(points[:, 0])).max()) > 180.0 or float(np.abs(points[:, 0]).max()) > 180.0:
        geometry = _lines([points])
    else:
        twice = float(np.sum(points[:-1, 0] * points[1:, 1] - points[1:, 0] * points[:-1, 1]))
        geometry = {"type": "Polygon", "coordinates": [_positions(points if twice >= 0 else points[::-1])]}
    return [_feature(f"off-limits-{i}", geometry, {"kind": "off limits", "name": plain(name)})]
