"""The levels of all stores over a trip as a PNG: what the chart model holds, drawn with ink, dashes and arrows; no colour is needed."""

from __future__ import annotations

import io
import unicodedata
from importlib.resources import as_file, files
from itertools import pairwise
from math import hypot
from typing import TYPE_CHECKING, Any

from tripplan.model.plan import Plan
from tripplan.report.chart import Chart, Strip, levels_of
from tripplan.report.language import tell
from tripplan.report.sheets.letters import visual

if TYPE_CHECKING:
    from PIL.Image import Image
    from PIL.ImageDraw import ImageDraw

__all__ = ["levels_image", "levels_png"]

#: Width of the picture [px], and how much larger it is drawn before it is made smaller, so that slanted lines are smooth.
_WIDTH, _FINER = 1400, 2
_LEFT, _RIGHT, _HEAD, _STRIP, _GAP, _FOOT = 270, 20, 92, 76, 22, 40
_PAPER, _INK, _GREY, _LIMIT, _AREA, _SPREAD, _NIGHTS = "#ffffff", "#1c1c1c", "#444444", "#c24a00", "#dde6ec", "#a9bfcd", "#dddddd"
_DASH, _SPACE, _DOTS = 14, 8, 6

Point = tuple[float, float]


def levels_png(plan: Plan) -> bytes:
    """Return the picture as a PNG, 1,400 px wide; the same plan gives the same picture."""
    from PIL.Image import Quantize

    out = io.BytesIO()
    # Few colours: a palette makes the file a third as large.
    few = levels_image(plan).quantize(64, method=Quantize.FASTOCTREE)
    few.save(out, "PNG", optimize=False, compress_level=6)
    return out.getvalue()


def levels_image(plan: Plan) -> Image:
    """Return the picture in all its colours, 1,400 px wide."""
    from PIL import ImageDraw
    from PIL.Image import new

    chart = levels_of(plan)
    height = _HEAD + len(chart.strips) * (_STRIP + _GAP) + _FOOT
    image = new("RGB", (_WIDTH * _FINER, height * _FINER), _PAPER)
    pen = _Pen(ImageDraw.Draw(image))
    days = max(len(chart.days), 1)
    step = (_WIDTH - _LEFT - _RIGHT) / days
    for row, strip in enumerate(chart.strips):
        _strip(pen, strip, days, _HEAD + row * (_STRIP + _GAP), step)
    small = image.reduce(_FINER)
    _texts(small, chart, step, height)
    return small


class _Pen:
    """Draws in the picture's own pixels on the larger sheet."""

    def __init__(self, draw: ImageDraw) -> None:
        self.draw = draw

    def line(self, points: list[Point], colour: str, width: float) -> None:
        """Draw a line through points."""
        self.draw.line([(x * _FINER, y * _FINER) for x, y in points], fill=colour, width=round(width * _FINER), joint="curve")

    def dots(self, points: list[Point], colour: str) -> None:
        """Draw dots along a line, as far apart on every part of it."""
        left = 0.0
        for (x0, y0), (x1, y1) in pairwise(points):
            length = hypot(x1 - x0, y1 - y0)
            while left < length:
                x, y = x0 + (x1 - x0) * left / length, y0 + (y1 - y0) * left / length
                self.draw.ellipse([(x - 1) * _FINER, (y - 1) * _FINER, (x + 1) * _FINER, (y + 1) * _FINER], fill=colour)
                left += _DOTS
            left -= length

    def area(self, points: list[Point], colour: str) -> None:
        """Fill an area."""
        if len(points) >= 3:
            self.draw.polygon([(x * _FINER, y * _FINER) for x, y in points], fill=colour)

    def box(self, low: Point, high: Point, colour: str) -> None:
        """Draw the edge of a box."""
        self.draw.rectangle([low[0] * _FINER, low[1] * _FINER, high[0] * _FINER, high[1] * _FINER], outline=colour, width=_FINER)


def _strip(pen: _Pen, strip: Strip, days: int, top: float, step: float) -> None:
    foot, right = top + _STRIP, _WIDTH - _RIGHT

    def at(point: Point) -> Point:
        return _LEFT + point[0] * step, top + _STRIP * (1 - strip.share(point[1]))

    points = [at(point) for point in strip.line]
    if points:
        pen.area([*points, (points[-1][0], foot), (points[0][0], foot)], _AREA)
        pen.area([*points, *reversed([at(point) for point in strip.expected])] if strip.expected else [], _SPREAD)
    for i in range(1, days):
        pen.line([(_LEFT + i * step, top), (_LEFT + i * step, foot)], _NIGHTS, 1)
    pen.box((_LEFT, top), (right, foot), "#999999")
    pen.dots([at(point) for point in strip.expected], _INK)
    if points:
        pen.line(points, _INK, 3)
    if strip.limit is not None:
        y = at((0.0, strip.limit))[1]
        x = float(_LEFT)
        while x < right:
            pen.line([(x, y), (min(x + _DASH, right), y)], _LIMIT, 3)
            x += _DASH + _SPACE
    for mark in strip.services:
        x = _LEFT + mark.x * step
        pen.area([(x - 8, top - 3), (x + 8, top - 3), (x, top + 11)], _INK)


def _texts(image: Any, chart: Chart, step: float, height: int) -> None:
    """Write all texts at the picture's own size, where the font's hints hold."""
    from PIL import ImageDraw

    draw = ImageDraw.Draw(image)
    bold, usual, small = _font("DejaVuSans-Bold.ttf", 24), _font("DejaVuSans-Bold.ttf", 20), _font("DejaVuSans.ttf", 17)
    draw.text((16, 14), _fitted(draw, _title(chart.trip, bold), bold, _WIDTH - 32), fill=_INK, font=bold)
    draw.text((16, 50), _key(chart), fill=_GREY, font=small)
    for row, strip in enumerate(chart.strips):
        top = _HEAD + row * (_STRIP + _GAP)
        draw.text((_LEFT - 14, top + 24), strip.name, fill=_INK, font=usual, anchor="rm")
        draw.text((_LEFT - 14, top + 54), strip.bound, fill=_GREY, font=small, anchor="rm")
    every = 1 if len(chart.days) <= 20 else 2
    for i, number in enumerate(chart.days):
        if i % every == 0:
            draw.text((_LEFT + (i + 0.5) * step, height - 26), str(number), fill=_GREY, font=small, anchor="mm")
    draw.text((_LEFT - 14, height - 26), tell("day"), fill=_GREY, font=small, anchor="rm")


def _title(name: str, font: Any) -> str:
    """Return the trip's name in the order of sight; where the font lacks a letter of it, words that say so rather than boxes."""
    shown = visual(_drawable(name))
    none = bytes(font.getmask("\uffff"))
    if any(
        not letter.isspace() and bytes(font.getmask(letter)) == none for letter in dict.fromkeys(shown) if not letter.isascii()
    ):
        return tell("Stores over the trip, whose name has letters that this picture's font lacks")
    return shown


def _key(chart: Chart) -> str:
    if any(strip.expected for strip in chart.strips):
        return tell(
            "Line: the level counted with, so that limits hold. Dotted: the level to be expected. Dashed: limit. Arrow: service."
        )
    return tell("Line: the level as planned. Dashed: its limit. Arrow: service.")


def _font(name: str, size: int) -> Any:
    from PIL import ImageFont

    with as_file(files("tripplan.report") / "fonts" / name) as path:
        return ImageFont.truetype(io.BytesIO(path.read_bytes()), size, layout_engine=ImageFont.Layout.BASIC)


def _drawable(text: str) -> str:
    """Return text without marks that have no shape: a picture has no reader that would act on them."""
    return "".join(c for c in text[:400] if unicodedata.category(c) not in ("Cf", "Cc"))


def _fitted(draw: ImageDraw, text: str, font: Any, width: float) -> str:
    """Return as much of a text as fits, with an ellipsis where some is left out."""
    if draw.textlength(text, font=font) <= width:
        return text
    low, high = 0, len(text)
    while low < high - 1:
        middle = (low + high) // 2
        low, high = (middle, high) if draw.textlength(text[:middle] + "…", font=font) <= width else (low, middle)
    return text[:low] + "…"
