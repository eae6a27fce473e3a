"""The levels of all stores over a trip as one drawing: a strip a store, with its limit and its services."""

from __future__ import annotations

from tripplan.model.plan import Plan
from tripplan.report import say
from tripplan.report.markup import Markup, el

__all__ = ["levels_chart"]

_LEFT, _RIGHT, _TOP, _STRIP, _GAP = 122.0, 8.0, 8.0, 32.0, 10.0
_WIDTH = 700.0


def levels_chart(plan: Plan) -> Markup:
    """Return an inline SVG: for every store its level from day to day, the limit dashed, services as arrows; no colour needed."""
    stores = say.stores_of(plan.trip.van)
    n = len(plan.days)
    step = (_WIDTH - _LEFT - _RIGHT) / max(n, 1)
    height = _TOP + len(stores) * (_STRIP + _GAP) + 16
    parts: list[object] = [el("title", "Levels of all stores over the trip"), el("desc", _in_words(plan, stores))]
    for row, store in enumerate(stores):
        parts.append(_strip(plan, store, _TOP + row * (_STRIP + _GAP), step))
    every = 1 if n <= 16 else 2
    parts += [
        el("text", day.number, x=_r(_LEFT + (i + 0.5) * step), y=_r(height - 4), text_anchor="middle", class_="small")
        for i, day in enumerate(plan.days)
        if i % every == 0
    ]
    parts.append(el("text", "day", x=_r(_LEFT - 6), y=_r(height - 4), text_anchor="end", class_="small"))
    return el("svg", *parts, class_="levels", viewBox=f"0 0 {_WIDTH:.0f} {height:.0f}", role="img", width="100%")


def _r(value: float) -> str:
    return f"{value:.1f}"


def _in_words(plan: Plan, stores: tuple[str, ...]) -> str:
    nearest = []
    for store in stores:
        lines = [(day.number, line) for day in plan.days for line in day.levels if line.store == store]
        if lines:
            day, line = min(lines, key=lambda item: say.room_left(item[1]))
            nearest.append(
                f"{say.STORE_NAMES[store]} comes nearest to its limit of {say.amount(store, line.limit)} on day {day}, "
                f"with {say.amount(store, line.worst)}"
            )
    return "; ".join(nearest) + "."


def _strip(plan: Plan, store: str, top: float, step: float) -> Markup:
    full = max(say.capacity(plan.trip.van, store), 1e-9)
    points: list[tuple[float, float]] = []
    marks: list[Markup] = []
    limit: float | None = None

    def y(level: float) -> float:
        return top + _STRIP * (1 - max(0.0, min(1.0, level / full)))

    for i, day in enumerate(plan.days):
        for line in day.levels:
            if line.store != store:
                continue
            x = _LEFT + i * step
            limit = line.limit
            points += [
                (x, y(line.leave)),
                (x + 0.45 * step, y(line.arrive)),
                (x + 0.95 * step, y(line.worst)),
                (x + step, y(line.end)),
            ]
            if line.served:
                at = x + (0.4 if line.served.startswith("way") else 0.95) * step
                marks.append(el("path", d=f"M{_r(at - 3.5)} {_r(top - 1)}h7l-3.5 6z", fill="#1c1c1c"))
    box = el(
        "rect",
        x=_r(_LEFT),
        y=_r(top),
        width=_r(_WIDTH - _LEFT - _RIGHT),
        height=_r(_STRIP),
        fill="none",
        stroke="#999",
        stroke_width=0.7,
    )
    nights = el(
        "path",
        d="".join(f"M{_r(_LEFT + i * step)} {_r(top)}v{_r(_STRIP)}" for i in range(1, len(plan.days))),
        stroke="#ddd",
        stroke_width=0.7,
    )
    out: list[object] = [box, nights]
    if points:
        area = (
            "M"
            + "L".join(f"{_r(px)} {_r(py)}" for px, py in points)
            + f"L{_r(points[-1][0])} {_r(top + _STRIP)}L{_r(points[0][0])} {_r(top + _STRIP)}Z"
        )
        out.append(el("path", d=area, fill="#dde6ec"))
        out.append(
            el(
                "path",
                d="M" + "L".join(f"{_r(px)} {_r(py)}" for px, py in points),
                fill="none",
                stroke="#1c1c1c",
                stroke_width=1.5,
            )
        )
    if limit is not None:
        out.append(
            el(
                "path",
                d=f"M{_r(_LEFT)} {_r(y(limit))}H{_r(_WIDTH - _RIGHT)}",
                stroke="#c24a00",
                stroke_width=1.3,
                stroke_dasharray="6 3",
            )
        )
    bound = f"holds {say.amount(store, full)}"
    if limit is not None:
        bound = (
            f"{'at most' if say.fills(store) else 'at least'} {say.amount(store, limit).split()[0]} of {say.amount(store, full)}"
        )
    out += [
        *marks,
        el("text", say.STORE_NAMES[store], x=_r(_LEFT - 6), y=_r(top + 14), text_anchor="end", font_weight="bold"),
        el("text", bound, x=_r(_LEFT - 6), y=_r(top + 27), text_anchor="end", class_="small"),
    ]
    return el("g", *out)
