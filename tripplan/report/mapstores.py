"""The stores beside the map: a small chart each of the whole trip, in which the day selected is marked and told.

The charts stand on the page as they are, without a script; what changes with the day is told here too, for the page's script
to put into text nodes. Everything comes from one model, `tripplan.report.chart`.
"""

from __future__ import annotations

from collections.abc import Iterable

from tripplan.model.plan import Day, LevelLine, Plan
from tripplan.report import say
from tripplan.report.chart import ARRIVE_AT, Strip, levels_of
from tripplan.report.language import tell
from tripplan.report.markup import Markup, el
from tripplan.report.why import served_words

__all__ = ["store_charts", "store_days"]

#: A chart's own units: as wide and high as the drawing, the sign of a service above it.
WIDE, HIGH, HEAD = 150.0, 34.0, 6.0
_INK, _LIMIT, _AREA, _SPREAD = "#1c1c1c", "#c24a00", "#dde6ec", "#b9cbd7"


def store_charts(plan: Plan) -> Markup | None:
    """Return the panel of charts, as it stands while no day is selected; ``None`` for a plan that tells no levels."""
    chart = levels_of(plan)
    strips = [strip for strip in chart.strips if strip.line]
    if not strips:
        return None
    step = WIDE / max(len(chart.days), 1)
    buttons = [
        el("button", el("span", sign, aria_hidden="true"), type="button", class_="step", data_step=move, aria_label=name)
        for sign, move, name in (("‹", "-1", tell("Day before")), ("›", "1", tell("Next day")))
    ]
    return el(
        "section",
        el("div", el("h2", tell("Stores over the trip"), id="stores-title"), *buttons, class_="bar"),
        el("div", *[_figure(strip, step) for strip in strips], class_="charts"),
        el("p", id="said", class_="unseen", role="status", aria_live="polite"),
        id="stores",
        aria_labelledby="stores-title",
    )


def store_days(plan: Plan) -> dict[str, object]:
    """Return what the panel says of each day, and where its marks stand, as the page's script wants it.

    Returns
    -------
    dict
        ``none``: the heading without a day. ``days``: by number, the heading, one sentence for screen readers, where the day begins and
        how wide it is in a chart's units, and by store its words, and the points of leaving and arriving.
    """
    chart = levels_of(plan)
    step = WIDE / max(len(chart.days), 1)
    days: dict[str, object] = {}
    for i, day in enumerate(plan.days):
        title = tell("Stores on day {day}, {date}", day=day.number, date=say.short_day(day.date))
        told: dict[str, object] = {}
        words = []
        for strip in chart.strips:
            line = next((line for line in day.levels if line.store == strip.store), None)
            if line is None or not strip.line:
                continue
            at = {round(x - i, 3): level for x, level in strip.line if i <= x < i + 1}
            points = [[round((i + x) * step, 1), _y(strip, at[round(x, 3)])] for x in (0.0, ARRIVE_AT) if round(x, 3) in at]
            told[strip.store] = {"level": _levels(line), "served": _served(line), "at": points}
            words.append(
                f"{say.upper_first(strip.name)}: {_levels(line)}, {strip.bound}{', ' + _served(line) if line.served else ''}."
            )
        days[str(day.number)] = {
            "title": title, "said": " ".join([_way(day), *words]), "x": round(i * step, 1), "wide": round(step, 1), "stores": told,
        }  # fmt: skip
    return {"none": tell("Stores over the trip"), "whole": tell("Whole trip"), "days": days}


def _way(day: Day) -> str:
    return tell("Day {day}: {way}.", day=day.number, way=say.day_words(day))


def _levels(line: LevelLine) -> str:
    # A figure and its unit stay on one line.
    arrive = say.amount(line.store, line.arrive).replace(" ", "\N{NO-BREAK SPACE}")
    return tell("leaving {leave}, arriving {arrive}", leave=say.figure(line.store, line.leave), arrive=arrive)


def _served(line: LevelLine) -> str:
    return tell("serviced {where}", where=served_words(line.served)) if line.served else ""


def _y(strip: Strip, level: float) -> float:
    return round(HEAD + HIGH * (1 - strip.share(level)), 1)


def _figure(strip: Strip, step: float) -> Markup:
    def path(points: Iterable[tuple[float, float]]) -> str:
        return "L".join(f"{x * step:.1f} {_y(strip, level):.1f}" for x, level in points)

    foot = HEAD + HIGH
    first, last = strip.line[0][0] * step, strip.line[-1][0] * step
    parts: list[object] = [
        el("rect", x=0, y=HEAD, width=WIDE, height=HIGH, fill="#fff"),
        el("path", d=f"M{path(strip.line)}L{last:.1f} {foot}L{first:.1f} {foot}Z", fill=_AREA),
    ]
    if strip.expected:
        parts.append(el("path", d=f"M{path([*strip.line, *reversed(strip.expected)])}Z", fill=_SPREAD))
    parts.append(
        el("rect", class_="day", x=0, y=0, width=0, height=foot, fill=_INK, fill_opacity="0.16", stroke=_INK, stroke_width=0.8)
    )
    parts.append(el("path", d=f"M{path(strip.line)}", fill="none", stroke=_INK, stroke_width=1.3))
    if strip.limit is not None:
        y = _y(strip, strip.limit)
        parts.append(el("path", d=f"M0 {y}H{WIDE}", fill="none", stroke=_LIMIT, stroke_width=1.3, stroke_dasharray="5 3"))
    parts += [el("path", d=f"M{mark.x * step - 2.8:.1f} 1h5.6l-2.8 5z", fill=_INK) for mark in strip.services]
    parts += [
        el("circle", class_=name, r=0, cx=0, cy=0, fill="#fff", stroke=_INK, stroke_width=1.3) for name in ("leave", "arrive")
    ]
    parts.append(el("rect", x=0, y=HEAD, width=WIDE, height=HIGH, fill="none", stroke="#777", stroke_width=0.8))
    nearest = ""
    if strip.worst is not None:
        day, level = strip.worst
        most = say.amount(strip.store, level)
        nearest = (
            tell("most {level}, day {day}", level=most, day=day)
            if strip.fills
            else tell("least {level}, day {day}", level=most, day=day)
        )
    return el(
        "figure",
        el("figcaption", el("b", say.upper_first(strip.name)), " ", el("span", strip.bound)),
        el("svg", *parts, viewBox=f"0 0 {WIDE:.0f} {foot + 1:.0f}", aria_hidden="true"),
        el("p", nearest, class_="level"),
        el("p", class_="served"),
        class_="store",
        data_store=strip.store,
        data_nearest=nearest,
    )
