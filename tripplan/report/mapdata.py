"""What a trip's map shows, as numbers: lines of the days, nights and stops where they lie, the base map around them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tripplan.model.place import Spot
from tripplan.model.plan import Day, Event, Night, Plan
from tripplan.model.words import Surface
from tripplan.region.region import Region
from tripplan.report.basemap import Frame, base_layers, frame_around, kept_off, roads, towns
from tripplan.report.language import spoken, tell
from tripplan.report.lines import run_points, surface_runs
from tripplan.report.mapothers import other_style
from tripplan.report.mapstores import store_days
from tripplan.report.palette import day_style
from tripplan.report.say import ranges
from tripplan.report.thin import pack, thin

__all__ = ["MapData", "Mark", "map_data", "map_words", "marks_of"]

F64 = NDArray[np.float64]

#: Most points of base map, roads and kept-off roads on one page, so that two weeks stay below 1.5 MB.
_MOST_BASE, _MOST_ROADS, _MOST_KEPT_OFF = 26_000, 40_000, 8_000
#: Stops that are one for the eye [degrees], about 150 m.
_SAME_DEG = 0.0014
_SIGNS = {"handover": "depot", "return": "depot", "service": "service", "sight": "sight"}


@dataclass(frozen=True, slots=True)
class Mark:
    """One sign on the map with the entry of the list that tells about it.

    Parameters
    ----------
    sign
        ``night``, ``service``, ``sight`` or ``depot``. label: number or letter in it.
    key
        Identity of the list's entry. days: numbers of the days it belongs to.
    events, nights
        What happens there, with the day of each.
    """

    sign: str
    label: str
    key: str
    spot: Spot
    days: tuple[int, ...]
    events: tuple[tuple[Day, Event], ...] = ()
    nights: tuple[tuple[Day, Night], ...] = ()


@dataclass(frozen=True, slots=True)
class MapData:
    """Everything that the map's script draws; ``page`` goes on the page as JSON. Longitudes are as the frame counts them."""

    frame: Frame
    marks: tuple[Mark, ...]
    bounds: tuple[tuple[float, float], tuple[float, float]]
    kept_off_m: float
    page: dict[str, object]

    def at(self, mark: Mark) -> tuple[float, float]:
        """Return where a sign stands: lat and lon [degrees]."""
        ((lon, lat),) = self.frame.line(np.array([(mark.spot.lon, mark.spot.lat)]))
        return float(lat), float(lon)


def _close(a: Spot, b: Spot) -> bool:
    return (a.place >= 0 and a.place == b.place) or (abs(a.lat - b.lat) < _SAME_DEG and abs(a.lon - b.lon) < _SAME_DEG)


def marks_of(plan: Plan) -> tuple[Mark, ...]:
    """Return the signs of a plan: one a night's place, one a depot, one a stop elsewhere; services at a night's place are told there."""
    places: list[tuple[str, Spot, list[tuple[Day, Event]], list[tuple[Day, Night]]]] = []

    def at(sign: str, spot: Spot) -> tuple[str, Spot, list[tuple[Day, Event]], list[tuple[Day, Night]]]:
        for entry in places:
            if _close(entry[1], spot) and (entry[0] == sign or (entry[0] == "night" and sign == "service")):
                return entry
        places.append((sign, spot, [], []))
        return places[-1]

    for day in plan.days:
        if day.night is not None:
            at("night", day.night.spot)[3].append((day, day.night))
    for day in plan.days:
        for event in day.events:
            if event.spot is not None and event.kind in _SIGNS:
                at(_SIGNS[event.kind], event.spot)[2].append((day, event))
    marks = []
    for i, (sign, spot, events, nights) in enumerate(places):
        days = tuple(sorted({day.number for day, _ in events} | {day.number for day, _ in nights}))
        label = ranges(day.number for day, _ in nights) if sign == "night" else ""
        marks.append(Mark(sign, label, f"mark-{i}", spot, days, tuple(events), tuple(nights)))
    return tuple(marks)


def _packed(lines: list[F64], tolerance_m: float) -> list[int]:
    """Return lines of (n, 2) degrees, thinned and packed."""
    lines = [line for line in lines if len(line) >= 2]
    if not lines:
        return []
    points = np.concatenate(lines) * 1e5
    ptr = np.concatenate([[0], np.cumsum([len(line) for line in lines])]).astype(np.int64)
    return pack(*thin(points[:, 0], points[:, 1], ptr, tolerance_m))


def _way_of(plan: Plan, region: Region) -> list[F64]:
    """Return the lines of all legs with the van."""
    return [run_points(region, leg.runs) for day in plan.days for leg in day.legs if leg.mode == "van"]


def map_words() -> dict[str, str]:
    """Return what the map's own signs are called, by the names that its script has for them."""
    return {
        "off": tell("Unsealed: kept off"), "in": tell("Zoom in"), "out": tell("Zoom out"), "layers": tell("Layers"), "close": tell("Close"),
    }  # fmt: skip


def map_data(plan: Plan, region: Region, alternatives: Sequence[tuple[str, Plan]] = ()) -> MapData:
    """Return all that the map of a plan shows.

    Parameters
    ----------
    alternatives
        Other plans with a title each; of these only the way with the van is shown.
    """
    drawn: list[tuple[Day, list[F64], list[F64]]] = []
    presumed: list[F64] = []
    unknown: list[F64] = []
    for day in plan.days:
        van: list[F64] = []
        car: list[F64] = []
        for leg in day.legs:
            (van if leg.mode == "van" else car).append(run_points(region, leg.runs))
            if leg.mode == "van":
                for surface, part in surface_runs(region, leg.runs, frozenset({Surface.PRESUMED, Surface.UNKNOWN})):
                    (presumed if surface == Surface.PRESUMED else unknown).append(run_points(region, part))
        drawn.append((day, van, car))
    others = [_way_of(other, region) for _, other in alternatives]
    marks = marks_of(plan)
    points = np.array([(m.spot.lon, m.spot.lat) for m in marks]).reshape(-1, 2)
    own = [part for _, van, car in drawn for part in (*van, *car)]
    line = np.concatenate([*own, np.empty((0, 2))])
    frame = frame_around(np.concatenate([line, *(part for other in others for part in other)]), points)
    line, points = frame.line(line), frame.line(points)

    def packed(lines: list[F64], tolerance_m: float) -> list[int]:
        return _packed([frame.line(part) for part in lines], tolerance_m)

    days = []
    for day, van, car in drawn:
        style = day_style(day.number)
        days.append({"n": day.number, "c": style.colour, "d": style.dash, "van": packed(van, 4.0), "car": packed(car, 6.0)})
    base = base_layers(region, frame, _MOST_BASE)
    off, off_m = kept_off(region, frame, _MOST_KEPT_OFF)
    everything = np.concatenate([line, points])
    low, high = (everything.min(axis=0), everything.max(axis=0)) if len(everything) else (np.zeros(2), np.zeros(2))
    bounds = ((round(float(low[1]), 5), round(float(low[0]), 5)), (round(float(high[1]), 5), round(float(high[0]), 5)))
    page: dict[str, object] = {
        "credit": tell("© OpenStreetMap contributors, data of {date}", date=plan.data_date),
        "words": map_words(),
        "imperial": not spoken().metric,
        "days": days,
        "bounds": bounds,
        "frame": [[round(frame.south, 4), round(frame.west, 4)], [round(frame.north, 4), round(frame.east, 4)]],
        # All coasts closed: what is not land is sea. Otherwise the map's ground is land and the coast a line.
        "sea": bool(base.get("land")) and not base.get("coast"),
        "base": base,
        "roads": roads(region, frame, _MOST_ROADS),
        "off": off,
        "presumed": packed(presumed, 4.0),
        "unknown": packed(unknown, 2.0),
        "others": [
            {"c": other_style(i).colour, "d": other_style(i).dash, "van": packed(other, 12.0)} for i, other in enumerate(others)
        ],
        "stores": store_days(plan),
        "towns": towns(region, frame),
        "marks": [
            {"sign": m.sign, "label": m.label, "key": m.key, "at": [round(float(lat), 5), round(float(lon), 5)], "days": m.days}
            for m, (lon, lat) in zip(marks, points, strict=True)
        ],
    }
    return MapData(frame, marks, bounds, off_m, page)
