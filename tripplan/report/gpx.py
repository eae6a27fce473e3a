"""The trip as GPX 1.1 (Topografix, GPX 1.1 Schema): waypoints for nights and stops, a route and a track for each day."""

from __future__ import annotations

from xml.etree import ElementTree

import numpy as np

from tripplan.model.place import Spot
from tripplan.model.plan import Day, Plan
from tripplan.region.region import Region
from tripplan.report import say
from tripplan.report.lines import run_points
from tripplan.report.mapdata import Mark, marks_of
from tripplan.report.safe import plain, xml_text
from tripplan.report.say import spot_name

__all__ = ["gpx_text"]

_NAMESPACE = "http://www.topografix.com/GPX/1/1"
_SCHEMA = f"{_NAMESPACE} http://www.topografix.com/GPX/1/1/gpx.xsd"
_TYPES = {"night": "night", "service": "service", "sight": "sight", "depot": "depot"}


def gpx_text(plan: Plan, region: Region) -> str:
    """Return the GPX file. Elements stand in the order that the schema prescribes; coordinates to 7 decimals."""
    root = ElementTree.Element(
        "gpx",
        {
            "version": "1.1", "creator": "tripplan", "xmlns": _NAMESPACE, "xmlns:xsi": "http://www.w3.org/2001/XMLSchema-instance",
            "xsi:schemaLocation": _SCHEMA,
        },
    )  # fmt: skip
    tracks = [(day, [(leg, run_points(region, leg.runs)) for leg in day.legs]) for day in plan.days]
    marks = marks_of(plan)
    points = [
        np.array([(m.spot.lon, m.spot.lat) for m in marks]).reshape(-1, 2),
        *[line for _, legs in tracks for _, line in legs],
    ]
    _metadata(root, plan, np.concatenate(points))
    for mark in marks:
        _waypoint(root, "wpt", mark.spot, _mark_name(mark), _mark_words(mark), _TYPES[mark.sign])
    for day in plan.days:
        if any(leg.mode == "van" for leg in day.legs):
            _route(root, day)
    for day, legs in tracks:
        for mode in ("van", "car"):
            lines = [line for leg, line in legs if leg.mode == mode and len(line) >= 2]
            if lines:
                track = ElementTree.SubElement(root, "trk")
                _child(track, "name", f"Day {day.number}" + ("" if mode == "van" else ", car alone"))
                _child(track, "desc", say.day_words(day))
                _child(track, "type", "towing" if mode == "van" else "driving")
                for line in lines:
                    segment = ElementTree.SubElement(track, "trkseg")
                    for lon, lat in line.tolist():
                        ElementTree.SubElement(segment, "trkpt", _at(lon, lat))
    ElementTree.indent(root)
    return '<?xml version="1.0" encoding="UTF-8"?>\n' + ElementTree.tostring(root, encoding="unicode") + "\n"


def _at(lon: float, lat: float) -> dict[str, str]:
    """Return a position as the schema wants it: longitude from -180 up to, not including, 180."""
    return {"lat": f"{lat:.7f}", "lon": f"{(round(lon, 7) + 180) % 360 - 180:.7f}"}


def _child(parent: ElementTree.Element, tag: str, text: object) -> ElementTree.Element:
    element = ElementTree.SubElement(parent, tag)
    element.text = xml_text(text)
    return element


def _metadata(root: ElementTree.Element, plan: Plan, points: np.ndarray) -> None:
    metadata = ElementTree.SubElement(root, "metadata")
    _child(metadata, "name", plan.trip.name)
    _child(metadata, "desc", f"{say.day_span(plan)}. Map data of {plain(plan.data_date)}, region {plain(plan.region_name)}.")
    owner = ElementTree.SubElement(metadata, "copyright", {"author": "OpenStreetMap contributors"})
    if plan.data_date[:4].isdigit() and len(plan.data_date) >= 4:
        _child(owner, "year", plan.data_date[:4])
    _child(owner, "license", "https://opendatacommons.org/licenses/odbl/1-0/")
    _child(metadata, "keywords", "caravan, towing")
    if len(points):
        (west, south), (east, north) = points.min(axis=0), points.max(axis=0)
        edges = {"minlat": south, "minlon": west, "maxlat": north, "maxlon": east}
        ElementTree.SubElement(metadata, "bounds", {name: f"{value:.7f}" for name, value in edges.items()})


def _waypoint(parent: ElementTree.Element, tag: str, spot: Spot, name: str, words: str, kind: str) -> None:
    point = ElementTree.SubElement(parent, tag, _at(spot.lon, spot.lat))
    _child(point, "name", name)
    if words:
        _child(point, "desc", words)
    _child(point, "type", kind)


def _mark_name(mark: Mark) -> str:
    name = spot_name(mark.spot)
    return f"Night {mark.label}: {name}" if mark.sign == "night" else name


def _mark_words(mark: Mark) -> str:
    words = [f"{plain(night.kind)}, {'mains' if night.powered else 'no mains'}" for _, night in mark.nights[:1]]
    for day, event in mark.events:
        what = say.done_words(event.stores) if event.kind == "service" and event.stores else event.text
        words.append(f"day {day.number} {say.clock(event.start)} {plain(what or event.kind)}")
    return "; ".join(words)


def _route(root: ElementTree.Element, day: Day) -> None:
    route = ElementTree.SubElement(root, "rte")
    _child(route, "name", f"Day {day.number}: {spot_name(day.start)} to {spot_name(day.end)}")
    _child(route, "desc", f"{say.day_of(day.date)}, {say.day_words(day)}")
    _child(route, "number", str(day.number))
    legs = [leg for leg in day.legs if leg.mode == "van"]
    for i, spot in enumerate([legs[0].start, *[leg.end for leg in legs]]):
        _waypoint(route, "rtept", spot, spot_name(spot), "", "start" if i == 0 else "stop")
