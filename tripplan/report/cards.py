"""What a notebook shows of a plan and of a region: a few figures, a table and a drawing, without script or style of their own."""

from __future__ import annotations

from tripplan.model.plan import Plan
from tripplan.model.words import Surface
from tripplan.region.region import Region
from tripplan.report import say
from tripplan.report.counted import counted, trip_title
from tripplan.report.levels import levels_chart
from tripplan.report.listing import proof_words
from tripplan.report.markup import Markup, el
from tripplan.report.say import spot_name
from tripplan.report.why import services_of

__all__ = ["plan_card", "region_card"]

_CELL, _WHOLE = "text-align:left;vertical-align:top;overflow-wrap:anywhere", ";white-space:nowrap"


def _table(head: tuple[str, ...], rows: list[tuple[object, ...]]) -> Markup:
    return el(
        "table",
        el("thead", el("tr", *[el("th", word, scope="col", style="text-align:left") for word in head])),
        el("tbody", *[el("tr", *[el("td", cell, style=_CELL + (_WHOLE if i < 2 else "")) for i, cell in enumerate(row)]) for row in rows]),
    )  # fmt: skip


def plan_card(plan: Plan) -> str:
    """Return a plan as a piece of HTML: what it comes to, a row a day, the levels."""
    plan = counted(plan)
    towed = sum(leg.length_m for day in plan.days for leg in day.legs if leg.mode == "van")
    towing = sum(day.towing_s for day in plan.days)
    rows: list[tuple[object, ...]] = [
        (
            day.number,
            say.short_day(day.date),
            say.day_words(day),
            el("bdi", spot_name(day.night.spot if day.night else day.end)),
            say.todo_words(dict.fromkeys(store for store, _ in services_of(day))),
        )
        for day in plan.days
    ]
    money = say.money(plan.cost.money_cents, plan.trip.firm.currency)
    return str(
        el(
            "div",
            el(
                "p",
                el("b", el("bdi", trip_title(plan.trip))),
                f". {say.day_span(plan)}, {plan.trip.nights} nights. The plan is {proof_words(plan)}.",
            ),
            el("p", f"{say.km(towed)} with the van, {say.hours_minutes(towing)} towing. Money: {money}."),
            _table(("day", "date", "road", "night", "services"), rows),
            el("div", levels_chart(plan), style="max-width:46em"),
            el("p", f"© OpenStreetMap contributors, data of {plan.data_date}."),
        )
    )


def region_card(region: Region) -> str:
    """Return a region as a piece of HTML: what it is, its roads by surface, its places by role."""
    import numpy as np

    meta = region.meta
    surface = region.ways.surface[region.pieces.way]
    total = float(region.pieces.length_m.sum()) / 1000
    roads: list[tuple[object, ...]] = []
    for member in Surface:
        km = float(region.pieces.length_m[surface == member].sum()) / 1000
        roads.append((member.name.lower(), f"{km:,.0f} km", f"{km / total:.0%}" if total else ""))
    roles, counts = np.unique(np.array([place.role for place in region.places], dtype=str), return_counts=True)
    places: list[tuple[object, ...]] = [(role, f"{count:,}") for role, count in zip(roles.tolist(), counts.tolist(), strict=True)]
    return str(
        el(
            "div",
            el(
                "p",
                el("b", el("bdi", meta.name)),
                f". Map data of {meta.data_date}, country {meta.country or 'not known'}, time zone {meta.tz}.",
            ),
            _table(("surface", "length", "share"), roads),
            _table(("places", "number"), places),
            el("p", meta.attribution),
        )
    )
