"""Closures and wind warnings that somebody brings: GeoJSON with a few plain properties, or a WZDx work zone feed.

WZDx: Work Zone Data Exchange Specification, US Department of Transportation, version 4 (github.com/usdot-jpo-ode/wzdx: objects
WorkZoneFeed, WorkZoneRoadEvent and RoadEventCoreDetails, enumerated types VehicleImpact, EventType, Direction and EventStatus). Of such
a feed only what closes all lanes is taken; the rest is told, and nothing that cannot be read is passed over in silence.
"""

from __future__ import annotations

import json
import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta, tzinfo
from pathlib import Path
from typing import Any, NoReturn

from tripplan.model.closure import CLOSED, KINDS, Closure
from tripplan.model.errors import BadInputError
from tripplan.model.trip import Trip
from tripplan.region.region import Region
from tripplan.request.nearest import nearest_key
from tripplan.request.spots import on_map, swapped
from tripplan.request.text_file import read_text

__all__ = [
    "MOST_FEATURES", "MOST_MB", "ClosureFile", "check_order", "closures_of", "is_address", "load_closures", "with_closures", "with_files",
]  # fmt: skip

#: Largest file or answer [MB], most features, most points of all features together.
MOST_MB, MOST_FEATURES, MOST_POINTS = 20.0, 20_000, 500_000
_LETTERS, _MOST_WAYS = 200, 1000
_ACCEPTED = "GeoJSON with closures, or a WZDx work zone feed"
_KEYS = ("name", "from", "to", "kind", "source", "direction", "way", "ways")
_SHAPES = ("LineString", "MultiLineString", "Polygon", "MultiPolygon")
#: Directions of WZDx that say which way along the line the event concerns.
_ONE_WAY = ("northbound", "eastbound", "southbound", "westbound", "inner-loop", "outer-loop")


@dataclass(frozen=True, slots=True)
class ClosureFile:
    """What a file or an address holds: what it is called, its closures, and what was left out, a sentence each."""

    name: str
    closures: tuple[Closure, ...]
    left_out: tuple[str, ...] = ()


def is_address(text: str) -> bool:
    """Say whether a text names an address on the network, no file."""
    return text.casefold().startswith(("https://", "http://"))


def load_closures(given: str | Path, zone: tzinfo) -> ClosureFile:
    """Read a file, or fetch an address.

    Parameters
    ----------
    zone
        Time zone of the region: moments with an offset become dates there.

    Raises
    ------
    BadInputError
        Whatever is wrong, as one line.
    """
    where = str(given)
    if is_address(where):
        from tripplan.request.fetched import fetch_text

        return closures_of(fetch_text(where, most_mb=MOST_MB, accepted=_ACCEPTED), where, zone)
    return closures_of(read_text(Path(where), most_mb=MOST_MB, accepted=_ACCEPTED), where, zone)


def with_closures(trip: Trip, given: Sequence[str | Path], region: Region) -> Trip:
    """Return a trip with the closures of files and addresses that hold on one of its dates (errors as `load_closures`, `check_order`)."""
    from zoneinfo import ZoneInfo

    files = [load_closures(one, ZoneInfo(trip.tz)) for one in given]
    for file in files:
        check_order(file, region)
    return with_files(trip, files)


def check_order(file: ClosureFile, region: Region) -> None:
    """Refuse a file all of whose points lie off the map while some would lie on it with latitude and longitude changed over.

    Raises
    ------
    BadInputError
        Such a file closes nothing, and who brought it would never know.
    """
    points = [point for closure in file.closures for part in (*closure.lines, *closure.rings) for point in part]
    by_points = not any(closure.ways for closure in file.closures) and not any(on_map(region, *point) for point in points)
    if by_points and any(swapped(region, *point) for point in points):
        lon, lat = points[0]
        raise BadInputError(
            f"lies wholly off the map, the first point at longitude {lon:g}, latitude {lat:g}", where=file.name,
            accepted="[longitude, latitude], in this order", next_step="change the two over: then it lies on the map",
        )  # fmt: skip


def with_files(trip: Trip, files: Sequence[ClosureFile]) -> Trip:
    """Return a trip with the closures of files read already that hold on one of its dates."""
    now = [c for file in files for c in file.closures if any(c.holds(day) for day in trip.dates)]
    return replace(
        trip,
        closures=tuple(dict.fromkeys((*trip.closures, *now))),
        closures_left=tuple(dict.fromkeys((*trip.closures_left, *(text for file in files for text in file.left_out)))),
    )


def closures_of(text: str, where: str, zone: tzinfo) -> ClosureFile:
    """Return what a text holds (errors as `load_closures`)."""
    raw = _json(text, where)
    if not isinstance(raw, dict) or raw.get("type") not in ("FeatureCollection", "Feature"):
        raise BadInputError("is no GeoJSON feature collection", where=where, accepted=_ACCEPTED, next_step="check the file")
    features = raw.get("features") if raw["type"] == "FeatureCollection" else [raw]
    if not isinstance(features, list):
        raise BadInputError("`features` is no list", where=where, accepted="a list of features", next_step="check the file")
    if len(features) > MOST_FEATURES:
        raise BadInputError(
            f"holds {len(features)} features", where=where, accepted=f"at most {MOST_FEATURES}", next_step="cut it to the region"
        )
    reader = _Reader(where, zone, _feed_name(raw, where))
    if _is_work_zones(raw, features):
        found = [closure for n, f in enumerate(features, 1) if (closure := reader.work_zone(n, f)) is not None]
    else:
        found = [reader.plain(n, f) for n, f in enumerate(features, 1)]
    return ClosureFile(where, tuple(found), reader.told())


def _json(text: str, where: str) -> Any:
    def no_constant(word: str) -> NoReturn:
        raise ValueError(f"{word} is no number")

    try:
        return json.loads(text, parse_constant=no_constant)
    except (RecursionError, MemoryError):
        reason = "nested too deep"
    except ValueError as error:
        reason = "a number has thousands of digits" if "digits" in str(error) else str(error)
    raise BadInputError(f"is not JSON ({reason})", where=where, accepted=_ACCEPTED, next_step="check the file")


def _is_work_zones(raw: dict[str, Any], features: Sequence[Any]) -> bool:
    if isinstance(raw.get("feed_info"), dict) or isinstance(raw.get("road_event_feed_info"), dict):
        return True
    first = features[0] if features else None
    properties = first.get("properties") if isinstance(first, dict) else None
    return isinstance(properties, dict) and isinstance(properties.get("core_details"), dict)


def _feed_name(raw: dict[str, Any], where: str) -> str:
    info = raw.get("feed_info") or raw.get("road_event_feed_info")
    publisher = info.get("publisher") if isinstance(info, dict) else None
    return _text(publisher) or (where if is_address(where) else Path(where).name)[:_LETTERS]


def _text(value: Any) -> str:
    """Return a text on one line, at most so many letters; "" for anything else."""
    return " ".join(value.split())[:_LETTERS] if isinstance(value, str) else ""


def _show(value: Any) -> str:
    text = json.dumps(value, ensure_ascii=False, default=str)
    return text if len(text) <= 60 else text[:57] + "..."


class _Reader:
    """Features one after another, with what they have in common."""

    def __init__(self, where: str, zone: tzinfo, feed: str) -> None:
        self.where, self.zone, self.feed = where, zone, feed
        self.points = 0
        self.left: Counter[str] = Counter()

    def told(self) -> tuple[str, ...]:
        """Say what was left out, the most frequent first."""
        return tuple(
            f"{n} {'feature' if n == 1 else 'features'} left out: {why}"
            for why, n in sorted(self.left.items(), key=lambda item: (-item[1], item[0]))
        )

    # ------------------------------------------------------------------------------------------ own properties

    def plain(self, number: int, feature: Any) -> Closure:
        """Read a feature with our own properties: the first that is wrong is told, and nothing is taken."""
        at = f"{self.where}, feature {number}"
        if not isinstance(feature, dict) or feature.get("type") != "Feature":
            raise BadInputError("is no GeoJSON feature", where=at, accepted="features", next_step="check the file")
        given = feature.get("properties")
        if not isinstance(given, dict):
            raise BadInputError("has no properties", where=at, accepted="name, from, to, kind, source", next_step="add them")
        for key in given:
            near = nearest_key(key, _KEYS) if key not in _KEYS else ""
            if near:
                raise BadInputError(
                    f"property {_show(key)} is unknown", where=at, accepted=", ".join(_KEYS), next_step=f"did you mean `{near}`?"
                )
        kind = given.get("kind", CLOSED)
        if kind not in KINDS:
            raise BadInputError(f"`kind` is {_show(kind)}", where=at, accepted="closed or wind", next_step="mend the kind")
        direction = given.get("direction", "both")
        if direction not in ("both", "along"):
            raise BadInputError(
                f"`direction` is {_show(direction)}", where=at, accepted="both, or along (the line as drawn)", next_step="mend it"
            )
        for key in ("name", "source"):
            if not isinstance(given.get(key, ""), str):
                raise BadInputError(f"`{key}` is {_show(given[key])}", where=at, accepted="text", next_step="write text")
        lines, rings = self._shape(feature.get("geometry"), at)
        first, last = self._date(given.get("from"), "from", at), self._date(given.get("to"), "to", at, end=True)
        name = _text(given.get("name")) or ("closed road" if kind == CLOSED else "wind warning")
        source = _text(given.get("source")) or self.feed
        try:
            return Closure(name, str(kind), source, first, last, lines, rings, self._ways(given, at), direction == "along")
        except BadInputError as error:
            raise BadInputError(error.what, where=at, accepted=error.accepted, next_step="mend the feature") from None

    def _ways(self, given: dict[str, Any], at: str) -> tuple[int, ...]:
        """Return ids of ways: 123, "w123" or "way/123", one or a list."""
        raw = given.get("ways", given.get("way"))
        values = raw if isinstance(raw, list) else [] if raw in (None, "") else [raw]
        out = []
        for value in values[: _MOST_WAYS + 1]:
            digits = str(value).removeprefix("way/").removeprefix("w")
            if isinstance(value, bool | float) or not (digits.isascii() and digits.isdigit() and len(digits) < 16):
                raise BadInputError(
                    f"`way` is {_show(value)}", where=at, accepted='the id of a way, such as 123 or "w123"', next_step="mend it"
                )
            out.append(int(digits))
        if len(out) > _MOST_WAYS:
            raise BadInputError(f"names {len(values)} ways", where=at, accepted=f"at most {_MOST_WAYS}", next_step="split it")
        return tuple(out)

    # ------------------------------------------------------------------------------------------ WZDx

    def work_zone(self, number: int, feature: Any) -> Closure | None:
        """Read a road event of a feed; ``None``, counted with the reason, where it closes no road or cannot be read."""
        at = f"{self.where}, feature {number}"
        given = feature.get("properties") if isinstance(feature, dict) else None
        if not isinstance(given, dict):
            self.left["not a feature with properties: look at it yourself"] += 1
            return None
        core = given.get("core_details")
        core = core if isinstance(core, dict) else given
        event = core.get("event_type")
        impact = given.get("vehicle_impact")
        if event != "work-zone":
            self.left[f"event type {_show(event)}"] += 1
            return None
        if given.get("event_status", core.get("event_status")) in ("completed", "cancelled"):
            self.left["over, or called off"] += 1
            return None
        if impact != "all-lanes-closed":
            why = f"vehicle impact {_show(impact)}, which closes not all lanes"
            self.left["vehicle impact not told: look at it yourself" if impact in (None, "unknown") else why] += 1
            return None
        try:
            lines, rings = self._shape(feature.get("geometry"), at, points=True)
            first = self._date(given.get("start_date"), "start_date", at)
            last = self._date(given.get("end_date"), "end_date", at, end=True)
            roads = core.get("road_names")
            names = [_text(r) for r in roads[:4]] if isinstance(roads, list) else []
            name = ", ".join(n for n in names if n)[:_LETTERS] or _text(core.get("name")) or "work zone"
            one_way = core.get("direction") in _ONE_WAY and isinstance(feature.get("geometry"), dict)
            one_way = one_way and feature["geometry"].get("type") == "LineString"
            return Closure(name, CLOSED, self.feed, first, last, lines, rings, (), bool(one_way))
        except BadInputError as error:
            if error.what.startswith("holds more"):
                raise
            self.left[f"closes all lanes but cannot be read ({error.what}): look at it yourself"] += 1
            return None

    # ------------------------------------------------------------------------------------------ values

    def _date(self, value: Any, key: str, at: str, *, end: bool = False) -> date | None:
        """Return the date of a date or moment; a moment at midnight ends the day before."""
        if value is None or value == "":
            return None
        accepted = 'a date such as "2026-02-03", or a time such as "2026-02-03T08:00:00Z"'
        try:
            if isinstance(value, str) and len(value) == 10:
                day = date.fromisoformat(value)
            elif isinstance(value, str) and len(value) <= 40:
                moment = datetime.fromisoformat(value)
                moment = moment.astimezone(self.zone) if moment.tzinfo is not None else moment
                day = (moment - timedelta(seconds=1 if end else 0)).date()
            else:
                raise ValueError
        except (ValueError, OverflowError):
            raise BadInputError(f"`{key}` is {_show(value)}", where=at, accepted=accepted, next_step="mend the date") from None
        if not 1900 <= day.year <= 2200:
            raise BadInputError(f"`{key}` is {_show(value)}", where=at, accepted="years 1900 to 2200", next_step="mend the date")
        return day

    def _shape(self, geometry: Any, at: str, *, points: bool = False):  # type: ignore[no-untyped-def]
        """Return lines and rings of a geometry; ``points``: a MultiPoint stands for the line through its points."""
        if geometry is None:
            return (), ()
        kind = geometry.get("type") if isinstance(geometry, dict) else None
        shapes = (*_SHAPES, "MultiPoint") if points else _SHAPES
        if not isinstance(geometry, dict) or kind not in shapes:
            raise BadInputError(
                f"has the geometry {_show(kind)}", where=at, accepted=", ".join(shapes), next_step="draw it as a line or an area"
            )
        raw = geometry.get("coordinates")
        if kind in ("LineString", "MultiPoint"):
            return (self._line(raw, at, 2),), ()
        if not isinstance(raw, list):
            raise BadInputError("has no coordinates", where=at, accepted="lists of [longitude, latitude]", next_step="mend it")
        if kind == "MultiLineString":
            return tuple(self._line(part, at, 2) for part in raw), ()
        polygons = [raw] if kind == "Polygon" else raw
        if not all(isinstance(polygon, list) for polygon in polygons):
            raise BadInputError("has no coordinates", where=at, accepted="lists of [longitude, latitude]", next_step="mend it")
        return (), tuple(self._line(ring, at, 3) for polygon in polygons for ring in polygon)

    def _line(self, raw: Any, at: str, least: int) -> tuple[tuple[float, float], ...]:
        if not isinstance(raw, list) or len(raw) < least:
            raise BadInputError("has too few points", where=at, accepted=f"{least} or more", next_step="mend the geometry")
        self.points += len(raw)
        if self.points > MOST_POINTS:
            raise BadInputError(
                f"holds more than {MOST_POINTS} points", where=self.where, accepted="fewer", next_step="cut it to the region"
            )
        return tuple(self._point(p, at) for p in raw)

    def _point(self, raw: Any, at: str) -> tuple[float, float]:
        good = isinstance(raw, list) and len(raw) >= 2
        if not good or not all(isinstance(x, int | float) and not isinstance(x, bool) and abs(x) <= 1e6 for x in raw[:2]):
            raise BadInputError(f"position is {_show(raw)}", where=at, accepted="[longitude, latitude]", next_step="mend it")
        lon, lat = float(raw[0]), float(raw[1])
        if not (-180 <= lon <= 180 and -90 <= lat <= 90 and math.isfinite(lon)):
            raise BadInputError(
                f"latitude {lat:g}, longitude {lon:g}", where=at, accepted="latitude -90 to 90, longitude -180 to 180",
                next_step="are the two swapped?" if -90 <= lon <= 90 else "mend the point",
            )  # fmt: skip
        return lon, lat
