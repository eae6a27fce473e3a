"""Other plans of the same trip on its map: how each is drawn, and what the list says of it."""

from __future__ import annotations

from collections.abc import Sequence

from tripplan.model.plan import Day, Night, Plan
from tripplan.report import say
from tripplan.report.language import tell
from tripplan.report.markup import Markup, el
from tripplan.report.palette import DayStyle

__all__ = ["other_style", "others_list"]

#: One hue that no day has (4.5 to 1 or more against land and water, WCAG 2.2, 1.4.3), a dash each.
_HUE = "#6b3fa0"
_DASHES = ("10 4", "3 3", "12 3 3 3", "6 3 1 3")


def other_style(number: int) -> DayStyle:
    """Return the line of the other plan of a number (from 0)."""
    return DayStyle(_HUE, _DASHES[number % len(_DASHES)])


def others_list(alternatives: Sequence[tuple[str, Plan]], swatches: Sequence[Markup]) -> Markup | None:
    """Return what the list says of other plans: a button that shows each on the map, its figures and its nights; ``None`` without any."""
    if not alternatives:
        return None
    entries = []
    for number, ((title, plan), swatch) in enumerate(zip(alternatives, swatches, strict=True)):
        button = el(
            "button", swatch, el("span", el("b", el("bdi", title))), type="button", class_="go day", data_other=number, aria_pressed="false",
        )  # fmt: skip
        legs = [leg for day in plan.days for leg in day.legs]
        figures = tell(
            "{towing} towing, {wheel} at the wheel, {money}.",
            towing=say.km(sum(leg.length_m for leg in legs if leg.mode == "van")),
            wheel=say.hours_minutes(sum(leg.drive_s for leg in legs)),
            money=say.money(plan.cost.money_cents, plan.trip.firm.currency),
        )
        nights = [el("li", f"{_span(stay)}: ", el("bdi", say.spot_name(stay[0][1].spot))) for stay in _stays(plan)]
        told = el("details", el("summary", tell("Nights")), el("ul", *nights), class_="notes")
        entries.append(el("li", el("h3", button), el("p", figures), told, class_="day-entry"))
    return el(
        "div",
        el("h2", tell("Other plans for this trip")),
        el("p", tell("Each is shown as a thin line while its button is pressed.")),
        el("ul", *entries),
        class_="others",
    )


def _stays(plan: Plan) -> list[list[tuple[Day, Night]]]:
    """Return the nights of a plan, those in a row at one place together."""
    stays: list[list[tuple[Day, Night]]] = []
    for day in plan.days:
        if day.night is None:
            continue
        if stays and stays[-1][-1][1].spot == day.night.spot:
            stays[-1].append((day, day.night))
        else:
            stays.append([(day, day.night)])
    return stays


def _span(stay: list[tuple[Day, Night]]) -> str:
    return tell("Night {number}", number=say.ranges(day.number for day, _ in stay))
