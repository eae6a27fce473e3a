"""The trip as KML 2.2 (Open Geospatial Consortium, OGC 07-147r2): a folder of days, of nights, of stops, of presumed stretches.

A viewer shows a placemark's `description` as HTML, so what stands there is escaped once for HTML and once for XML; `name` is
plain text.
"""

from __future__ import annotations

import numpy as np

from tripplan.model.plan import Plan
from tripplan.model.words import Surface
from tripplan.region.region import Region
from tripplan.report import say
from tripplan.report.counted import trip_title
from tripplan.report.dateline import F64, cut, in_range
from tripplan.report.gpx import mark_name, mark_words
from tripplan.report.language import tell, word
from tripplan.report.mapdata import Mark, marks_of
from tripplan.report.markup import Markup, el, raw
from tripplan.report.palette import day_style
from tripplan.report.safe import safe
from tripplan.report.say import spot_name
from tripplan.report.waylines import DayLine, SurfaceLine, WayLines, way_lines

__all__ = ["kml_text"]

_SIGNS = {"service": word("Services"), "sight": word("Sights"), "depot": word("Hand-over and return")}


def kml_text(plan: Plan, region: Region, lines: WayLines | None = None) -> str:
    """Return the KML file: coordinates to 6 decimals, lines cut at the antimeridian; it links to nothing.

    Parameters
    ----------
    lines
        The plan's lines where they are known already.
    """
    lines = lines if lines is not None else way_lines(plan, region)
    marks = marks_of(plan)
    numbers = sorted({drawn.day.number for drawn in lines.days})
    folders = [
        _folder(tell("Days"), [_day(drawn) for drawn in lines.days]),
        _folder(tell("Nights"), [_mark(mark) for mark in marks if mark.sign == "night"]),
        *[_folder(tell(name), [_mark(mark) for mark in marks if mark.sign == sign]) for sign, name in _SIGNS.items()],
        _folder(tell("Presumed sealed"), [_surface(part) for part in lines.surfaces if part.surface == Surface.PRESUMED]),
        _folder(tell("Unknown surface"), [_surface(part) for part in lines.surfaces if part.surface == Surface.UNKNOWN]),
    ]
    credit = tell(
        "{span}. © OpenStreetMap contributors, ODbL 1.0, data of {date}, region {region}.",
        span=say.day_span(plan),
        date=plan.data_date,
        region=plan.region_name,
    )
    document = el(
        "Document",
        raw("\n"), el("name", trip_title(plan.trip)), raw("\n"), _description(credit),
        *[_style(number) for number in numbers],
        _line_style("presumed", "ff5a7a00", 6),
        _line_style("unknown", "ff1c1c1c", 6),
        *folders,
    )  # fmt: skip
    root = el("kml", raw("\n"), document, raw("\n"), xmlns="http://www.opengis.net/kml/2.2")
    return f'<?xml version="1.0" encoding="UTF-8"?>\n{root}\n'


def _description(words: str) -> Markup:
    return el("description", safe(words))


def _style(number: int) -> Markup:
    colour = day_style(number).colour
    return _line_style(f"day-{number}", f"ff{colour[5:7]}{colour[3:5]}{colour[1:3]}", 4)


def _line_style(identity: str, colour: str, width: int) -> Markup:
    """Return a style; KML writes colours as alpha, blue, green, red."""
    return raw("\n" + el("Style", el("LineStyle", el("color", colour), el("width", width)), id=identity))


def _folder(name: str, placemarks: list[Markup]) -> Markup | None:
    return raw("\n" + el("Folder", el("name", name), *placemarks)) if placemarks else None


def _lines(lines: list[F64]) -> Markup:
    parts = [part for line in lines for part in cut(line)]
    drawn = [el("LineString", el("tessellate", "1"), el("coordinates", raw(_coordinates(part)))) for part in parts]
    return drawn[0] if len(drawn) == 1 else el("MultiGeometry", *drawn)


def _coordinates(line: F64) -> str:
    return " ".join(f"{lon:.6f},{lat:.6f}" for lon, lat in np.round(line, 6).tolist())


def _placemark(name: str, words: str, style: str, geometry: Markup) -> Markup:
    return raw("\n" + el("Placemark", el("name", name), _description(words), el("styleUrl", style) if style else None, geometry))


def _day(drawn: DayLine) -> Markup:
    day = drawn.day
    name = (
        tell("Day {number}: {start} to {end}", number=day.number, start=spot_name(day.start), end=spot_name(day.end))
        if drawn.mode == "van"
        else tell("Day {number}, car alone", number=day.number)
    )
    return _placemark(
        name,
        tell("{date}, {words}", date=say.day_of(day.date), words=say.day_words(day)),
        f"#day-{day.number}",
        _lines(list(drawn.lines)),
    )


def _surface(part: SurfaceLine) -> Markup:
    key = "presumed" if part.surface == Surface.PRESUMED else "unknown"
    name = tell("Day {number}: {km}", number=part.day.number, km=say.km(part.length_m))
    return _placemark(
        name, tell("Surface presumed") if key == "presumed" else tell("Surface unknown"), f"#{key}", _lines([part.line])
    )


def _mark(mark: Mark) -> Markup:
    lon = float(in_range(round(mark.spot.lon, 7)))
    return _placemark(mark_name(mark), mark_words(mark), "", el("Point", el("coordinates", f"{lon:.6f},{mark.spot.lat:.6f}")))
