"""The levels of all stores over a trip as a drawing for a page: a strip a store, with its limit and its services."""

from __future__ import annotations

from collections.abc import Iterable

from tripplan.model.plan import Plan
from tripplan.report.chart import Chart, Strip, levels_of
from tripplan.report.language import tell
from tripplan.report.markup import Markup, el

__all__ = ["levels_chart", "levels_svg"]

_LEFT, _RIGHT, _TOP, _STRIP, _GAP = 162.0, 8.0, 8.0, 32.0, 10.0
_WIDTH = 700.0
_INK, _LIMIT, _AREA, _SPREAD, _NIGHTS, _BOX = "#1c1c1c", "#c24a00", "#dde6ec", "#b9cbd7", "#ddd", "#999"
#: What a page's style may overrule.
_FONT = {"font_family": "'DejaVu Sans', Verdana, Arial, sans-serif", "font_size": "12", "fill": "#1c1c1c"}


def levels_chart(plan: Plan) -> Markup:
    """Return an inline SVG: for every store its level from day to day, the limit dashed, services as arrows; no colour needed."""
    chart = levels_of(plan)
    parts, height = _body(chart, _TOP)
    return el(
        "svg", el("title", chart.title), el("desc", chart.words), *parts,
        class_="levels", viewBox=f"0 0 {_WIDTH:.0f} {height:.0f}", role="img", width="100%", **_FONT,
    )  # fmt: skip


def levels_svg(plan: Plan) -> str:
    """Return the same drawing as an SVG file of its own (SVG 1.1), with a heading and a key; it loads and runs nothing."""
    chart = levels_of(plan)
    head = 42.0
    parts, height = _body(chart, head)
    key = tell("Solid: the level as planned. Dashed: its limit. Arrow: service.")
    spread = any(strip.expected for strip in chart.strips)
    if spread:
        key = tell(
            "Solid: the level counted with, so that limits hold. Dotted: the level to be expected. Dashed: limit. Arrow: service."
        )
    heading = chart.trip if len(chart.trip) <= 70 else chart.trip[:69] + "…"
    drawn = el(
        "svg",
        el("title", f"{chart.trip}: {chart.title}"),
        el("desc", chart.words),
        el("rect", width=f"{_WIDTH:.0f}", height=_r(height + 6), fill="#fff"),
        el("text", heading, x="8", y="18", font_weight="bold"),
        el("text", key, x="8", y="33", class_="small", font_size="10", fill="#444"),
        *parts,
        xmlns="http://www.w3.org/2000/svg",
        version="1.1",
        viewBox=f"0 0 {_WIDTH:.0f} {_r(height + 6)}",
        width=f"{_WIDTH:.0f}",
        height=_r(height + 6),
        role="img",
        **_FONT,
    )
    return f'<?xml version="1.0" encoding="UTF-8"?>\n{drawn}\n'


def _body(chart: Chart, top: float) -> tuple[list[object], float]:
    """Return strips and the axis of days below ``top``, and where they end."""
    step = (_WIDTH - _LEFT - _RIGHT) / max(len(chart.days), 1)
    height = top + len(chart.strips) * (_STRIP + _GAP) + 16
    parts: list[object] = [
        _strip(strip, len(chart.days), top + row * (_STRIP + _GAP), step) for row, strip in enumerate(chart.strips)
    ]
    every = 1 if len(chart.days) <= 16 else 2
    parts += [
        el(
            "text",
            number,
            x=_r(_LEFT + (i + 0.5) * step),
            y=_r(height - 4),
            text_anchor="middle",
            class_="small",
            font_size="10",
            fill="#444",
        )
        for i, number in enumerate(chart.days)
        if i % every == 0
    ]
    parts.append(
        el("text", tell("day"), x=_r(_LEFT - 6), y=_r(height - 4), text_anchor="end", class_="small", font_size="10", fill="#444")
    )
    return parts, height


def _r(value: float) -> str:
    return f"{value:.1f}"


def _line(points: Iterable[tuple[float, float]]) -> str:
    return "L".join(f"{_r(x)} {_r(y)}" for x, y in points)


def _strip(strip: Strip, days: int, top: float, step: float) -> Markup:
    foot = top + _STRIP

    def at(point: tuple[float, float]) -> tuple[float, float]:
        return _LEFT + point[0] * step, top + _STRIP * (1 - strip.share(point[1]))

    out: list[object] = [
        el("rect", x=_r(_LEFT), y=_r(top), width=_r(_WIDTH - _LEFT - _RIGHT), height=_r(_STRIP), fill="none", stroke=_BOX, stroke_width=0.7),
        el("path", d="".join(f"M{_r(_LEFT + i * step)} {_r(top)}v{_r(_STRIP)}" for i in range(1, days)), stroke=_NIGHTS, stroke_width=0.7),
    ]  # fmt: skip
    points = [at(point) for point in strip.line]
    if points:
        area = f"M{_line(points)}L{_r(points[-1][0])} {_r(foot)}L{_r(points[0][0])} {_r(foot)}Z"
        out.append(el("path", d=area, fill=_AREA))
        if strip.expected:
            between = [*points, *reversed([at(point) for point in strip.expected])]
            out.append(el("path", d=f"M{_line(between)}Z", fill=_SPREAD))
            dots = f"M{_line(at(point) for point in strip.expected)}"
            out.append(el("path", d=dots, fill="none", stroke=_INK, stroke_width=1, stroke_dasharray="1 3"))
        out.append(el("path", d=f"M{_line(points)}", fill="none", stroke=_INK, stroke_width=1.5))
    if strip.limit is not None:
        y = at((0.0, strip.limit))[1]
        out.append(
            el("path", d=f"M{_r(_LEFT)} {_r(y)}H{_r(_WIDTH - _RIGHT)}", stroke=_LIMIT, stroke_width=1.3, stroke_dasharray="6 3")
        )
    out += [el("path", d=f"M{_r(_LEFT + mark.x * step - 3.5)} {_r(top - 1)}h7l-3.5 6z", fill=_INK) for mark in strip.services]
    out += [
        el("text", strip.name, x=_r(_LEFT - 6), y=_r(top + 14), text_anchor="end", font_weight="bold"),
        el("text", strip.bound, x=_r(_LEFT - 6), y=_r(top + 27), text_anchor="end", class_="small", font_size="10", fill="#444"),
    ]
    return el("g", *out)
