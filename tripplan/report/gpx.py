"""The trip as GPX 1.1 (Topografix, GPX 1.1 Schema): waypoints for nights and stops, a route and a track for each day."""

from __future__ import annotations

import numpy as np

from tripplan.model.place import Spot
from tripplan.model.plan import Day, Plan
from tripplan.region.region import Region
from tripplan.report import say
from tripplan.report.counted import trip_title
from tripplan.report.dateline import box_of, in_range
from tripplan.report.language import tell, word
from tripplan.report.mapdata import Mark, marks_of
from tripplan.report.markup import Markup, el, raw
from tripplan.report.retell import retell
from tripplan.report.say import spot_name
from tripplan.report.waylines import F64, DayLine, WayLines, way_lines

__all__ = ["gpx_text", "mark_name", "mark_words"]

_NAMESPACE = "http://www.topografix.com/GPX/1/1"
_SCHEMA = f"{_NAMESPACE} http://www.topografix.com/GPX/1/1/gpx.xsd"
_FOLLOW = word(
    "Follow the tracks: a device that finds its own way between the points of a route may lead the van over unsealed or barred roads."
)


def gpx_text(plan: Plan, region: Region, lines: WayLines | None = None) -> str:
    """Return the GPX file. Elements stand in the order that the schema prescribes; coordinates to 7 decimals.

    Parameters
    ----------
    lines
        The plan's lines where they are known already.
    """
    lines = lines if lines is not None else way_lines(plan, region)
    marks = marks_of(plan)
    parts = [
        _metadata(plan, marks, lines),
        *[_point("wpt", mark.spot, mark_name(mark), mark_words(mark), mark.sign) for mark in marks],
        *[_route(day) for day in plan.days if any(leg.mode == "van" for leg in day.legs)],
        *[_track(drawn) for drawn in lines.days],
    ]
    root = el(
        "gpx", *[raw(f"\n{part}") for part in parts], raw("\n"), version="1.1", creator="tripplan", xmlns=_NAMESPACE,
        **{"xmlns:xsi": "http://www.w3.org/2001/XMLSchema-instance", "xsi:schemaLocation": _SCHEMA},
    )  # fmt: skip
    return f'<?xml version="1.0" encoding="UTF-8"?>\n{root}\n'


def _metadata(plan: Plan, marks: tuple[Mark, ...], lines: WayLines) -> Markup:
    year = (
        el("year", plan.data_date[:4])
        if plan.data_date[:4].isascii() and plan.data_date[:4].isdigit() and len(plan.data_date) >= 4
        else None
    )
    box = box_of(
        [
            np.array([(mark.spot.lon, mark.spot.lat) for mark in marks]).reshape(-1, 2),
            *[line for d in lines.days for line in d.lines],
        ]
    )
    bounds = None
    # A box over the antimeridian would have its least longitude above its greatest: the schema has no word for that.
    if box is not None and -180.0 <= box[0] <= box[2] < 180.0:
        bounds = el("bounds", minlat=f"{box[1]:.7f}", minlon=f"{box[0]:.7f}", maxlat=f"{box[3]:.7f}", maxlon=f"{box[2]:.7f}")
    return el(
        "metadata",
        el("name", trip_title(plan.trip)),
        el(
            "desc",
            tell(
                "{span}. Map data of {date}, region {region}. {follow}",
                span=say.day_span(plan),
                date=plan.data_date,
                region=plan.region_name,
                follow=tell(_FOLLOW),
            ),
        ),
        el(
            "copyright",
            year,
            el("license", "https://opendatacommons.org/licenses/odbl/1-0/"),
            author="OpenStreetMap contributors",
        ),
        el("keywords", "caravan, towing"),
        bounds,
    )


def _at(lon: float, lat: float) -> dict[str, str]:
    """Return a position as the schema wants it: longitude from -180 up to, not including, 180."""
    return {"lat": f"{lat:.7f}", "lon": f"{(round(lon, 7) + 180) % 360 - 180:.7f}"}


def _point(tag: str, spot: Spot, name: str, words: str, kind: str) -> Markup:
    return el(tag, el("name", name), el("desc", words) if words else None, el("type", kind), **_at(spot.lon, spot.lat))


def mark_name(mark: Mark) -> str:
    """Return what a mark is called: its place, a night's with its number before it."""
    name = spot_name(mark.spot)
    return tell("Night {number}: {place}", number=mark.label, place=name) if mark.sign == "night" else name


def mark_words(mark: Mark) -> str:
    """Return what happens at a mark, on which day and when."""
    words = [
        tell("{kind}, {power}", kind=retell(night.kind), power=tell("mains") if night.powered else tell("no mains"))
        for _, night in mark.nights[:1]
    ]
    for day, event in mark.events:
        what = say.done_words(event.stores) if event.kind == "service" and event.stores else retell(event.text)
        words.append(tell("day {number} {time} {what}", number=day.number, time=say.clock(event.start), what=what or event.kind))
    return "; ".join(words)


def _route(day: Day) -> Markup:
    legs = [leg for leg in day.legs if leg.mode == "van"]
    spots = [legs[0].start, *[leg.end for leg in legs]]
    return el(
        "rte",
        el("name", tell("Day {number}: {start} to {end}", number=day.number, start=spot_name(day.start), end=spot_name(day.end))),
        el("desc", tell("{date}, {words}. {follow}", date=say.day_of(day.date), words=say.day_words(day), follow=tell(_FOLLOW))),
        el("number", day.number),
        *[_point("rtept", spot, spot_name(spot), "", "start" if i == 0 else "stop") for i, spot in enumerate(spots)],
    )


def _track(drawn: DayLine) -> Markup:
    return el(
        "trk",
        el(
            "name",
            tell(word("Day {number}") if drawn.mode == "van" else word("Day {number}, car alone"), number=drawn.day.number),
        ),
        el("desc", say.day_words(drawn.day)),
        el("type", "towing" if drawn.mode == "van" else "driving"),
        *[_segment(line) for line in drawn.lines],
    )


def _segment(line: F64) -> Markup:
    """Return the points of a line; they are many, and all ours, so no builder is asked for each."""
    lons, lats = in_range(np.round(line[:, 0], 7)).tolist(), line[:, 1].tolist()
    points = "\n".join(f'<trkpt lat="{lat:.7f}" lon="{lon:.7f}"/>' for lon, lat in zip(lons, lats, strict=True))
    return raw(f"<trkseg>\n{points}\n</trkseg>\n")
