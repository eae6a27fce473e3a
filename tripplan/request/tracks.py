"""Recorded tracks that somebody brings: GPX, GeoJSON or KML, and nothing that could hurt the reader."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

import numpy as np

from tripplan.model.errors import BadInputError
from tripplan.model.track import Track
from tripplan.request.text_file import read_text
from tripplan.request.track_points import MOST_TRACK_POINTS, Draft, shortened, told
from tripplan.request.track_xml import read_gpx, read_kml

__all__ = ["MOST_TRACK_POINTS", "is_track", "load_track"]

#: Size of the file that is taken [MB]; JSON takes more memory for its size.
MOST_MB, MOST_JSON_MB = 40.0, 20.0
#: A line without times is a track when its points stand closer than this on the middle; else they are way-points [m].
_TRACK_STEP_M = 500.0

_ACCEPTED = "a .gpx with a track (trk), a .geojson with lines, or a .kml with a LineString or a gx:Track"
_PACKED = {
    b"PK\x03\x04": "zip",
    b"PK\x05\x06": "zip",
    b"\x1f\x8b": "gzip",
    b"BZh": "bzip2",
    b"\xfd7zXZ": "xz",
    b"7z\xbc\xaf": "7z",
}


def load_track(path: Path) -> Track:
    """Return the track of a file: all its lines, in order, a part each.

    Raises
    ------
    BadInputError
        Packed, too large, not such a file, a point that cannot be, or fewer than two points.
    """
    path = Path(path)
    where = str(path)
    kind = _kind(path)
    text = read_text(path, most_mb=MOST_JSON_MB if kind == "geojson" else MOST_MB, accepted=_ACCEPTED)
    kind = kind or _kind_of(text)
    if kind == "gpx":
        draft = read_gpx(text, where, _ACCEPTED)
    elif kind == "kml":
        draft = read_kml(text, where, _ACCEPTED)
    elif kind == "geojson":
        draft = _geojson(text, where)
    else:
        raise BadInputError("is no track", where=where, accepted=_ACCEPTED, next_step="check the file")
    if not len(draft) and (draft.routes or draft.points):
        raise BadInputError(
            f"holds {'a route' if draft.routes else 'points'} and no track", where=where, accepted=_ACCEPTED,
            next_step="check it as way-points",
        )  # fmt: skip
    if len(draft) < 2:
        raise BadInputError(
            f"holds {len(draft)} point{'s' if len(draft) != 1 else ''} of a track", where=where,
            accepted=f"2 to {MOST_TRACK_POINTS:,} points", next_step="check the file",
        )  # fmt: skip
    return draft.track()


def is_track(path: Path) -> bool:
    """Say whether a file holds a recorded track rather than way-points.

    GPX: a ``trk`` and no ``rte``. KML: always. GeoJSON: lines with times, several lines, or one whose points stand closer than
    500 m to each other (the median). A file that cannot be read is no track: its own reader will say what is wrong.
    """
    path = Path(path)
    try:
        kind = _kind(path)
        if kind == "csv":
            return False
        text = read_text(path, most_mb=MOST_MB, accepted=_ACCEPTED)
        kind = kind or _kind_of(text)
        if kind == "kml":
            return True
        if kind == "gpx":
            return bool(re.search(r"<(\w+:)?trk[\s>]", text)) and not re.search(r"<(\w+:)?rte[\s>]", text)
        if kind != "geojson" or not ('"LineString"' in text or '"MultiLineString"' in text):
            return False
        track = _geojson(text, str(path)).track()
    except BadInputError as error:
        return "packed" in error.what
    if len(track.lon) < 2:
        return False
    if np.isfinite(track.time_s).any() or track.part[-1] > 0:
        return True
    dy = np.diff(track.lat) * 111_195.0
    dx = ((np.diff(track.lon) + 180) % 360 - 180) * 111_195.0 * np.cos(np.radians(track.lat[1:]))
    return bool(np.median(np.hypot(dx, dy)) < _TRACK_STEP_M)


def _kind(path: Path) -> str:
    """Return the kind by the file's name, "" where that says nothing; a packed file is refused here."""
    try:
        with path.open("rb") as file:
            head = file.read(6)
    except (OSError, ValueError):
        head = b""
    packed = next((word for magic, word in _PACKED.items() if head.startswith(magic)), "")
    if packed:
        raise BadInputError(
            f"is packed ({packed})", where=str(path), accepted=_ACCEPTED,
            next_step="unpack it first; a .kmz holds a doc.kml" if packed == "zip" else "unpack it first",
        )  # fmt: skip
    return {
        ".gpx": "gpx", ".kml": "kml", ".geojson": "geojson", ".json": "geojson", ".csv": "csv", ".tsv": "csv", ".txt": "csv",
    }.get(path.suffix.casefold(), "")  # fmt: skip


def _kind_of(text: str) -> str:
    start = text[:4000].lstrip()
    if start.startswith("{"):
        return "geojson"
    if start.startswith("<"):
        return "kml" if re.search(r"<(\w+:)?kml[\s>]", start) else "gpx"
    return "csv"


# ------------------------------------------------------------------------------------------------- GeoJSON


def _geojson(text: str, where: str) -> Draft:
    try:
        raw = json.loads(text)
    except RecursionError:
        raise BadInputError("is nested too deep", where=where, accepted=_ACCEPTED, next_step="check the file") from None
    except ValueError as error:
        reason = shortened(str(error))
        raise BadInputError(f"is not JSON ({reason})", where=where, accepted=_ACCEPTED, next_step="check the file") from None
    if not isinstance(raw, dict):
        raise BadInputError("is no GeoJSON object", where=where, accepted=_ACCEPTED, next_step="check the file")
    items = raw.get("features") if raw.get("type") == "FeatureCollection" else [raw]
    if not isinstance(items, list):
        raise BadInputError("`features` is no list", where=where, accepted="a list of features", next_step="check the file")
    draft = Draft(where)
    for number, item in enumerate(items, 1):
        at = f"{where}, feature {number}"
        feature = item if isinstance(item, dict) and item.get("type") == "Feature" else {"geometry": item}
        geometry, properties = feature.get("geometry"), feature.get("properties")
        properties = properties if isinstance(properties, dict) else {}
        kind = geometry.get("type") if isinstance(geometry, dict) else None
        if not isinstance(geometry, dict) or kind not in ("LineString", "MultiLineString", "Point", "MultiPoint"):
            raise BadInputError(
                f"has the geometry {told(kind)}", where=at, accepted="LineString or MultiLineString", next_step="leave others out"
            )  # fmt: skip
        if kind in ("Point", "MultiPoint"):
            draft.points = True
            continue
        if isinstance(name := properties.get("name"), str) and not draft.name:
            draft.name = name.strip()[:200]
        times = _times(properties)
        lines = geometry.get("coordinates")
        if kind == "LineString":
            _line(draft, lines, times, at)
            continue
        if not isinstance(lines, list):
            raise BadInputError("has no coordinates", where=at, accepted="a list of lines", next_step="check the file")
        if times is not None and len(times) != len(lines):
            raise BadInputError(
                f"has times for {len(times)} lines and {len(lines)} lines", where=at, accepted="a list of times a line",
                next_step="check the file",
            )  # fmt: skip
        for row, line in enumerate(lines):
            _line(draft, line, times[row] if times is not None else None, at)
    return draft


def _times(properties: dict[str, Any]) -> list[Any] | None:
    """Return the times that stand beside a line, under one of the two names in use."""
    inner = properties.get("coordinateProperties")
    found = properties.get("coordTimes", inner.get("times") if isinstance(inner, dict) else None)
    return found if isinstance(found, list) else None


def _line(draft: Draft, line: Any, times: Any, at: str) -> None:
    if not isinstance(line, list):
        raise BadInputError(
            "has no coordinates", where=at, accepted="a list of [longitude, latitude]", next_step="check the file"
        )
    if times is not None and (not isinstance(times, list) or len(times) != len(line)):
        count = len(times) if isinstance(times, list) else "no list of"
        raise BadInputError(
            f"has {count} times and {len(line)} positions", where=at, accepted="a time a position", next_step="check the file"
        )
    draft.new_part()
    for row, position in enumerate(line):
        if not isinstance(position, list) or not 2 <= len(position) <= 10:
            raise BadInputError(
                f"position is {told(position)}", where=f"{at}, position {row + 1}", accepted="[longitude, latitude]",
                next_step="mend the position",
            )  # fmt: skip
        draft.add(position[0], position[1], times[row] if times is not None else None)
