"""Way-points that somebody brings: CSV, GeoJSON or a GPX route, checked point by point."""

from __future__ import annotations

import json
import re
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from tripplan.model.errors import BadInputError
from tripplan.request.text_file import comma_of, csv_table, read_text

__all__ = ["MOST_POINTS", "WayPoint", "load_waypoints"]

#: Limits on what is taken: points, and size of the file [MB].
MOST_POINTS = 2000
MOST_MB = 5.0
_MOST_DEPTH, _MOST_ELEMENTS = 100, 200_000

_ACCEPTED = "a .csv with the columns lat and lon, a .geojson with points or one line, or a .gpx with a route"
_LAT_NAMES = ("lat", "latitude", "y", "breite", "lat_deg")
_LON_NAMES = ("lon", "lng", "long", "longitude", "x", "länge", "lon_deg")
_NAME_NAMES = ("name", "title", "label", "place", "description")


@dataclass(frozen=True, slots=True)
class WayPoint:
    """One point to pass: its name ("" when it has none) and where it is [degrees, WGS 84]."""

    name: str
    lon: float
    lat: float


def load_waypoints(path: Path) -> tuple[WayPoint, ...]:
    """Return the points of a file, in order, two or more.

    Raises
    ------
    BadInputError
        Not such a file, or a point that cannot be.
    """
    path = Path(path)
    text = read_text(path, most_mb=MOST_MB, accepted=_ACCEPTED)
    where = str(path)
    kind = _kind(path, text)
    if kind == "gpx":
        points = _gpx(text, where)
    elif kind == "geojson":
        points = _geojson(text, where)
    else:
        points = _csv(text, where)
    if len(points) < 2:
        raise BadInputError(
            f"holds {len(points)} point{'s' if len(points) != 1 else ''}",
            where=where,
            accepted=f"2 to {MOST_POINTS} points",
            next_step="add the way's points",
        )
    if len(points) > MOST_POINTS:
        raise BadInputError(
            f"holds {len(points)} points",
            where=where,
            accepted=f"2 to {MOST_POINTS} points",
            next_step="thin the way-points; a recorded track is no route",
        )
    return tuple(points)


def _kind(path: Path, text: str) -> str:
    suffix = path.suffix.casefold()
    by_name = {".gpx": "gpx", ".geojson": "geojson", ".json": "geojson", ".csv": "csv", ".tsv": "csv", ".txt": "csv"}.get(suffix)
    if by_name:
        return by_name
    start = text.lstrip()[:1]
    return {"<": "gpx", "{": "geojson"}.get(start, "csv")


def _point(name: str, lon: float, lat: float, where: str) -> WayPoint:
    if not (-90 <= lat <= 90 and -180 <= lon <= 180):
        swapped = -90 <= lon <= 90 and -180 <= lat <= 180
        raise BadInputError(
            f"latitude {lat:g}, longitude {lon:g}", where=where, accepted="latitude -90 to 90, longitude -180 to 180",
            next_step="are the two swapped?" if swapped else "mend the point",
        )  # fmt: skip
    return WayPoint(name.strip()[:200], lon, lat)


# ------------------------------------------------------------------------------------------------- CSV


def _csv(text: str, where: str) -> list[WayPoint]:
    comma = comma_of(text, ",;\t|")
    table = csv_table(text, where, _ACCEPTED, comma)
    numbered = [(n, [cell.strip() for cell in row]) for n, row in enumerate(table, 1) if any(cell.strip() for cell in row)]
    if not numbered:
        raise BadInputError("is empty", where=where, accepted=_ACCEPTED, next_step="check the file")
    header = [cell.casefold() for cell in numbered[0][1]]
    if len(header) == 1:
        raise BadInputError(
            f'first line "{_short(numbered[0][1][0])}" has one column', where=where, accepted="a first line with the column names, such as name,lat,lon",
            next_step="add the column names",
        )  # fmt: skip
    lat_col, lon_col = _column(header, _LAT_NAMES), _column(header, _LON_NAMES)
    if lat_col is None or lon_col is None:
        missing = "lat" if lat_col is None else "lon"
        raise BadInputError(
            f"has no column `{missing}` (columns: {_short(', '.join(header))})", where=where, accepted="the columns lat and lon, and name if you like",
            next_step="name the columns in the first line",
        )  # fmt: skip
    name_col = _column(header, _NAME_NAMES)
    for column in (lat_col, lon_col):
        if header.count(header[column]) > 1:
            raise BadInputError(
                f"column `{header[column]}` stands twice", where=where, accepted="each once", next_step="take one out"
            )
    points = []
    for number, row in numbered[1:]:
        at = f"{where}, row {number}"
        if len(row) != len(header):
            hint = " (a comma for the decimal point?)" if comma == "," and len(row) > len(header) else ""
            raise BadInputError(
                f"has {len(row)} columns, the first line {len(header)}{hint}", where=at, accepted="as many columns as names, decimal points",
                next_step="write 43.21, not 43,21, and put texts with commas in double quotes",
            )  # fmt: skip
        lat, lon = _degrees(row[lat_col], "lat", at), _degrees(row[lon_col], "lon", at)
        points.append(_point(row[name_col] if name_col is not None else "", lon, lat, at))
        if len(points) > MOST_POINTS:
            break
    return points


def _column(header: list[str], names: tuple[str, ...]) -> int | None:
    return next((header.index(name) for name in names if name in header), None)


def _degrees(cell: str, column: str, where: str) -> float:
    text = cell.strip()
    if re.fullmatch(r"[-+]?\d+,\d+", text):
        raise BadInputError(
            f'`{column}` is "{text}"',
            where=where,
            accepted="degrees with a decimal point",
            next_step=f"write {text.replace(',', '.')}",
        )
    if not re.fullmatch(r"[-+]?(\d+(\.\d*)?|\.\d+)([eE][-+]?\d{1,3})?", text):
        raise BadInputError(
            f'`{column}` is "{_short(text)}"',
            where=where,
            accepted="degrees as a decimal number, such as -43.21",
            next_step="mend the value",
        )
    return float(text)


# ------------------------------------------------------------------------------------------------- GeoJSON


def _geojson(text: str, where: str) -> list[WayPoint]:
    try:
        raw = json.loads(text)
    except RecursionError:
        raise BadInputError("is nested too deep", where=where, accepted=_ACCEPTED, next_step="check the file") from None
    except ValueError as error:
        raise BadInputError(f"is not JSON ({error})", where=where, accepted=_ACCEPTED, next_step="check the file") from None
    if not isinstance(raw, dict):
        raise BadInputError("is no GeoJSON object", where=where, accepted=_ACCEPTED, next_step="check the file")
    items = raw.get("features") if raw.get("type") == "FeatureCollection" else [raw]
    if not isinstance(items, list):
        raise BadInputError("`features` is no list", where=where, accepted="a list of features", next_step="check the file")
    points: list[WayPoint] = []
    lines: list[list[WayPoint]] = []
    for number, item in enumerate(items, 1):
        at = f"{where}, feature {number}"
        geometry = item.get("geometry") if isinstance(item, dict) and item.get("type") == "Feature" else item
        properties = item.get("properties") if isinstance(item, dict) else None
        name = properties.get("name") if isinstance(properties, dict) else ""
        kind = geometry.get("type") if isinstance(geometry, dict) else None
        if not isinstance(geometry, dict) or kind not in ("Point", "LineString"):
            raise BadInputError(
                f"has the geometry {_short(str(kind))}",
                where=at,
                accepted="Point, or one LineString",
                next_step="leave others out",
            )
        if kind == "Point":
            points.append(_position(geometry.get("coordinates"), name if isinstance(name, str) else "", at))
        else:
            coordinates = geometry.get("coordinates")
            if not isinstance(coordinates, list):
                raise BadInputError(
                    "has no coordinates", where=at, accepted="a list of [longitude, latitude]", next_step="check the file"
                )
            lines.append([_position(c, "", f"{at}, position {n}") for n, c in enumerate(coordinates[: MOST_POINTS + 1], 1)])
        if len(points) > MOST_POINTS:
            break
    if lines and (points or len(lines) > 1):
        raise BadInputError(
            f"holds {len(lines)} line{'s' if len(lines) > 1 else ''} and {len(points)} point{'s' if len(points) != 1 else ''}", where=where,
            accepted="points alone, or one LineString alone", next_step="keep the one that is the way",
        )  # fmt: skip
    return lines[0] if lines else points


def _position(raw: Any, name: str, where: str) -> WayPoint:
    sound = isinstance(raw, list) and 2 <= len(raw) <= 4
    if not sound or not all(isinstance(x, int | float) and not isinstance(x, bool) and abs(x) < 1e9 for x in raw[:2]):
        raise BadInputError(
            f"position is {_short(json.dumps(raw))}",
            where=where,
            accepted="[longitude, latitude], two numbers",
            next_step="mend the position",
        )
    return _point(name, float(raw[0]), float(raw[1]), where)


# ------------------------------------------------------------------------------------------------- GPX


def _gpx(text: str, where: str) -> list[WayPoint]:
    from xml.etree import ElementTree as ET

    if re.search(r"<!\s*(DOCTYPE|ENTITY)", text, re.IGNORECASE):
        raise BadInputError(
            "declares a document type or entities",
            where=where,
            accepted="plain GPX without <!DOCTYPE>",
            next_step="save the route again as plain GPX",
        )
    depth = count = 0

    class Bounded(ET.TreeBuilder):
        """Builds a tree that is neither deep nor large."""

        def start(self, tag: str, attrs: dict[Any, Any], /) -> Any:
            nonlocal depth, count
            depth, count = depth + 1, count + 1
            if depth > _MOST_DEPTH or count > _MOST_ELEMENTS:
                what = "is nested too deep" if depth > _MOST_DEPTH else f"holds more than {_MOST_ELEMENTS:,} elements"
                raise BadInputError(what, where=where, accepted=_ACCEPTED, next_step="check the file")
            return super().start(tag, attrs)

        def end(self, tag: str, /) -> Any:
            nonlocal depth
            depth -= 1
            return super().end(tag)

    try:
        root = ET.fromstring(text, ET.XMLParser(target=Bounded()))  # noqa: S314  (see above)
    except BadInputError:
        raise
    except (ET.ParseError, ValueError) as error:
        raise BadInputError(f"is not XML ({error})", where=where, accepted=_ACCEPTED, next_step="check the file") from None
    if _local(root.tag) != "gpx":
        raise BadInputError(
            f"is not GPX but <{_short(_local(root.tag))}>", where=where, accepted=_ACCEPTED, next_step="check the file"
        )
    routes = [element for element in root if _local(element.tag) == "rte"]
    if len(routes) > 1:
        raise BadInputError(f"holds {len(routes)} routes", where=where, accepted="one route", next_step="keep one")
    elements = [e for e in routes[0] if _local(e.tag) == "rtept"] if routes else [e for e in root if _local(e.tag) == "wpt"]
    if not elements and any(_local(e.tag) == "trk" for e in root):
        raise BadInputError(
            "holds a recorded track and no route",
            where=where,
            accepted="a route (rte) or way-points (wpt)",
            next_step="save it as a route",
        )
    points = []
    for number, element in enumerate(elements[: MOST_POINTS + 1], 1):
        at = f"{where}, point {number}"
        name = next((child.text or "" for child in element if _local(child.tag) == "name"), "")
        points.append(_point(name, _degrees(element.get("lon", ""), "lon", at), _degrees(element.get("lat", ""), "lat", at), at))
    return points


def _local(tag: Any) -> str:
    return str(tag).rpartition("}")[2]


def _short(text: str) -> str:
    return text if len(text) <= 60 else text[:57] + "..."
