"""The list beside the map: all that the map shows, in words, for keyboards, screen readers and paper."""

from __future__ import annotations

from collections.abc import Sequence

from tripplan.model.plan import Day, Plan
from tripplan.region.region import Region
from tripplan.report import say
from tripplan.report.closed import closure_lines, in_force_words
from tripplan.report.language import spoken, tell, word
from tripplan.report.mapdata import MapData, Mark
from tripplan.report.mapothers import other_style, others_list
from tripplan.report.markup import Markup, el, join
from tripplan.report.palette import DASHES, LAND, DayStyle, day_style
from tripplan.report.retell import retell
from tripplan.report.safe import plain
from tripplan.report.say import spot_name
from tripplan.report.why import services_of

__all__ = ["caution_items", "footer", "legend", "listing", "swatch"]

_SIGN_WORDS = {"service": word("Service stop: "), "sight": word("Sight: "), "depot": word("Depot: ")}


def swatch(style: DayStyle, width: int = 34) -> Markup:
    """Return a short piece of a day's line as inline SVG."""
    line = el("line", x1=2, y1=6, x2=width - 2, y2=6, stroke=style.colour, stroke_width=4, stroke_dasharray=style.dash or None)
    return el("svg", line, class_="swatch", width=width, height=12, viewBox=f"0 0 {width} 12", aria_hidden="true")


def mark_entry(mark: Mark, plan: Plan) -> Markup:
    """Return what there is to say of one sign of the map."""
    name = spot_name(mark.spot)
    title = tell("Night {number}: ", number=mark.label) if mark.sign == "night" else tell(_SIGN_WORDS[mark.sign])
    lines: list[object] = []
    if mark.nights:
        night, currency = mark.nights[0][1], plan.trip.firm.currency
        power = tell("mains power") if night.powered else tell("no mains power")
        lines.append(
            tell("{kind}, {power}, {price}.", kind=retell(night.kind), power=power, price=say.night_price(night, currency))
        )
        if night.runs_on:
            lines.append(tell("Runs on: {what}.", what=say.runs_on_words(night.runs_on)))
    served: dict[tuple[str, ...], list[int]] = {}
    for day, _night in mark.nights:
        stores = tuple(store for store, where in services_of(day) if where == "site")
        if stores:
            served.setdefault(stores, []).append(day.number)
    for stores, numbers in served.items():
        lines.append(
            tell("In the morning after night {numbers}: {todo}.", numbers=say.ranges(numbers), todo=say.todo_words(stores))
        )
    for day, event in mark.events:
        when = tell("Day {number}, {time}: ", number=day.number, time=say.clock(event.start))
        what = say.done_words(event.stores) if event.kind == "service" and event.stores else retell(event.text)
        lines.append(when + plain(what or event.kind))
    lines += [
        tell(
            "Phone first: {offers} likely, though the map does not say so ({evidence}).",
            offers=say.listed(ask.offers),
            evidence=say.evidence_words(ask.evidence),
        )
        for ask in say.asks(plan)
        if ask.spot == mark.spot
    ]
    button = el("button", title, el("bdi", name), type="button", class_="go", data_mark=mark.key)
    return el(
        "li",
        el("div", button, *[el("p", line) for line in dict.fromkeys(map(str, lines))], id=mark.key),
        class_=f"mark {mark.sign}",
    )


def _day_entry(day: Day, plan: Plan, marks: tuple[Mark, ...]) -> Markup:
    start, end = spot_name(day.start), spot_name(day.end)
    way = el("bdi", start) if start == end else join([el("bdi", start), el("bdi", end)], tell(" to "))
    button = el(
        "button", swatch(day_style(day.number)), el("span", el("b", tell("Day {number}", number=day.number)), f" {say.day_of(day.date)}"),
        type="button", class_="go day", data_day=day.number, aria_pressed="false",
    )  # fmt: skip
    facts: list[object] = [el("p", way, ": ", say.day_words(day), ".")]
    presumed = sum(leg.presumed_m for leg in day.legs if leg.mode == "van")
    unknown = sum(leg.unknown_m for leg in day.legs if leg.mode == "van")
    if presumed >= 5:
        facts.append(el("p", tell("Presumed sealed: {km} of the way.", km=say.km(presumed))))
    if unknown >= 5:
        facts.append(el("p", tell("Unknown surface at an end of the way: {km}. Phone first.", km=say.km(unknown))))
    if day.levels:
        facts.append(_levels(day, plan))
    notes = [*map(retell, dict.fromkeys(day.notes)), *in_force_words(plan, day)]
    if notes:
        items = el("ul", *[el("li", note) for note in notes])
        facts.append(el("details", el("summary", tell("Notes ({n})", n=len(notes))), items, class_="notes"))
    entries = [mark_entry(mark, plan) for mark in marks if mark.days and mark.days[0] == day.number]
    again = [mark for mark in marks if day.number in mark.days[1:]]
    for mark in again:
        words = (
            tell("Night {number} again at ", number=day.number)
            if mark.sign == "night" and any(d.number == day.number for d, _ in mark.nights)
            else tell("Again at ")
        )
        entries.append(
            el("li", words, el("button", el("bdi", spot_name(mark.spot)), type="button", class_="go", data_mark=mark.key))
        )
    return el(
        "li", el("div", el("h3", button), *facts, id=f"day-{day.number}"), el("ul", *entries) if entries else None, class_="day-entry"
    )  # fmt: skip


def _levels(day: Day, plan: Plan) -> Markup:
    """Return the stores of a day as small bars, with the figures for those who do not see them."""
    rows = []
    for line in day.levels:
        full = say.capacity(plan.trip.van, line.store)
        if full <= 0:
            continue

        def at(level: float, full: float = full) -> str:
            return f"{100 * max(0.0, min(1.0, level / full)):.0f}"

        bar = el(
            "svg",
            el("rect", x=0, y=1, width=100, height=8, fill="#fff", stroke="#777", stroke_width=1, vector_effect="non-scaling-stroke"),
            el("rect", x=0, y=1, width=at(say.nearest_level(line)), height=8, fill="#8fb0c4"),
            el("rect", x=0, y=3.5, width=at(line.leave), height=3, fill="#1c1c1c"),
            el("line", x1=at(line.limit), x2=at(line.limit), y1=0, y2=10, stroke="#c24a00", stroke_width=2, vector_effect="non-scaling-stroke"),
            viewBox="0 0 100 10", preserveAspectRatio="none", width=64, height=10, aria_hidden="true",
        )  # fmt: skip
        figures = tell(
            "{low} to {high}", low=say.figure(line.store, line.leave), high=say.amount(line.store, say.nearest_level(line))
        )
        most = say.amount(line.store, line.limit)
        limit = tell("max {limit}", limit=most) if say.fills(line.store) else tell("min {limit}", limit=most)
        rows.append(
            el("tr", el("th", say.store_name(line.store), scope="row"), el("td", bar), el("td", figures), el("td", limit))
        )
    first, *others = (el("th", word, scope="col") for word in (tell("Store"), tell("From, to"), tell("Limit")))
    head = el("tr", first, el("td"), *others)
    return el(
        "details",
        el("summary", tell("Stores ({share} % sure)", share=say.sure_of(plan))),
        el("table", el("thead", head), el("tbody", *rows)),
        class_="stores",
    )


def legend(data: MapData) -> Markup:
    """Return what the signs and lines of the map mean."""

    def line(colour: str, width: float, dash: str = "", under: str = "") -> Markup:
        parts = [el("line", x1=2, y1=7, x2=36, y2=7, stroke=under, stroke_width=11)] if under else []
        parts.append(el("line", x1=2, y1=7, x2=36, y2=7, stroke=colour, stroke_width=width, stroke_dasharray=dash or None))
        return el("svg", *parts, width=38, height=14, viewBox="0 0 38 14", aria_hidden="true", style=f"background:{LAND}")

    def sign(kind: str, label: str = "") -> Markup:
        return el("span", label, class_=f"sign {kind}", aria_hidden="true")

    rows: list[tuple[Markup, str]] = [
        (
            line(day_style(1).colour, 4),
            tell("the way with the van; each day has its own colour and dash, arrows show the direction"),
        ),
        (line(day_style(1).colour, 2, "3 4"), tell("by car alone, the van stays")),
    ]
    if data.page["presumed"]:
        rows.append((line("#333", 2, DASHES[0], "#f2cf66"), tell("presumed sealed: the map does not say, the evidence is good")))
    if data.page["unknown"]:
        rows.append((line("#000", 9, "2 4"), tell("unknown surface, at an end of a day only")))
    if data.page["off"]:
        rows.append(
            (
                line("#7a4a1d", 2.4, "1 4"),
                tell(
                    "unsealed roads within {near} of the way, kept off ({km} in all)",
                    near=spoken().road(5000),
                    km=say.km(data.kept_off_m),
                ),
            )
        )
    rows += [
        (sign("night", "1"), tell("night, with its number")),
        (sign("service"), tell("service stop")),
        (sign("sight"), tell("sight")),
        (sign("depot"), tell("depot")),
    ]
    return el(
        "details",
        el("summary", tell("What the signs mean")),
        el("ul", *[el("li", mark, el("span", words)) for mark, words in rows], class_="legend"),
    )


def caution_items(plan: Plan) -> list[Markup]:
    """Return the cautions with their days and sources as list items."""
    items = []
    for caution in plan.cautions:
        words = say.days_words(plan, caution.days)
        days = f" ({words})" if words else None
        source = el("small", tell(" Source: "), tell(caution.source)) if caution.source else None
        items.append(el("li", retell(caution.text), days, source))
    return items


def footer(plan: Plan, region: Region) -> Markup:
    """Return the line that every page ends with: whose data, of which date, what it is not."""
    return el(
        "footer",
        el(
            "p",
            region.meta.attribution or "© OpenStreetMap contributors",
            tell(". Map data of {date}, region {region}.", date=plan.data_date, region=plan.region_name),
        ),
        el(
            "p",
            tell("Region key {key}. Made by tripplan. The plan is {proof}.", key=plan.region_key[:8], proof=proof_words(plan)),
        ),
        el("p", tell("Road signs, the hire contract, local rules and licensed people decide, not this paper.")),
    )


def proof_words(plan: Plan) -> str:
    """Return how sure the search is."""
    if plan.proof.proven:
        return tell(
            "proven best: no other costs less in money, hours at the wheel, service stops and one-night stays, all taken together"
        )
    return tell(
        "not proven best: money, hours at the wheel, service stops and one-night stays, all taken together, may come to {percent} % more than they must",
        percent=spoken().number(100 * plan.proof.gap, 1),
    )


def listing(plan: Plan, region: Region, data: MapData, alternatives: Sequence[tuple[str, Plan]] = ()) -> Markup:
    """Return the whole panel beside the map."""
    days = [_day_entry(day, plan, data.marks) for day in plan.days]
    cautions = caution_items(plan)
    closed = closure_lines(plan.closures, plan.trip.closures_left)
    return el(
        "section",
        el(
            "div",
            el("h2", tell("Day by day")),
            el("button", tell("Whole trip"), type="button", class_="go all", data_all="1"),
            class_="whole",
        ),
        el("ol", *days, class_="days"),
        others_list(alternatives, [swatch(other_style(i)) for i in range(len(alternatives))]),
        legend(data),
        el("details", el("summary", tell("Closures and wind warnings ({n})", n=len(closed))), el("ul", *[el("li", line) for line in closed]), class_="notes")
        if closed
        else None,
        el("details", el("summary", tell("Cautions ({n})", n=len(cautions))), el("ul", *cautions), class_="cautions") if cautions else None,
        footer(plan, region),
        id="list", aria_label=tell("The trip in words"),
    )  # fmt: skip
