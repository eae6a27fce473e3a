"""The itinerary on paper: the trip at a glance, then a block a day."""

from __future__ import annotations

import re
from functools import cache
from importlib.resources import files

from tripplan.model.plan import Day, Event, Leg, Night, Plan
from tripplan.model.words import Offer
from tripplan.region.region import Region
from tripplan.report import say
from tripplan.report.levels import levels_chart
from tripplan.report.lines import stretches
from tripplan.report.listing import caution_items, footer, proof_words
from tripplan.report.markup import Markup, el, join, raw
from tripplan.report.safe import plain, tel_link
from tripplan.report.say import spot_name
from tripplan.report.why import needs_of, served_words, services_of

__all__ = ["itinerary_page"]

_KINDS = {
    "handover": "Hand-over", "drive": "Drive", "break": "Break", "service": "Service", "sight": "Sight", "arrive": "Arrive",
    "stay": "Stay", "return": "Return", "ferry": "Ferry",
}  # fmt: skip


@cache
def _style() -> str:
    return (files("tripplan.report") / "assets" / "sheet.css").read_text(encoding="utf-8")


def itinerary_page(plan: Plan, region: Region) -> str:
    """Return the itinerary as one HTML file without scripts; it prints on A4 and Letter, in black and white too."""
    policy = "default-src 'none'; style-src 'unsafe-inline'; img-src data:; base-uri 'none'; form-action 'none'"
    head = el(
        "head",
        el("meta", charset="utf-8"),
        el("meta", http_equiv="Content-Security-Policy", content=policy),
        el("meta", name="viewport", content="width=device-width, initial-scale=1"),
        el("title", f"{plain(plan.trip.name)}: itinerary"),
        raw(f"<style>\n{_style()}\n</style>"),
    )
    body = el("body", _at_a_glance(plan, region), *[_day(day, plan, region) for day in plan.days], footer(plan, region))
    return f"<!DOCTYPE html>\n{el('html', head, body, lang='en')}\n"


def _phone(number: str) -> Markup | None:
    link = tel_link(number)
    return el("a", number, href=link) if link else (el("bdi", number) if number else None)


def _facts(pairs: list[tuple[str, object]]) -> Markup:
    rows = [el("div", el("dt", word), el("dd", value)) for word, value in pairs if value not in (None, "")]
    return el("dl", *rows, class_="facts")


def _at_a_glance(plan: Plan, region: Region) -> Markup:
    trip, cost = plan.trip, plan.cost
    length = sum(leg.length_m for day in plan.days for leg in day.legs if leg.mode == "van")
    towing = sum(day.towing_s for day in plan.days)
    presumed = sum(leg.presumed_m for day in plan.days for leg in day.legs if leg.mode == "van")
    by_car = sum(leg.length_m for day in plan.days for leg in day.legs if leg.mode != "van")
    facts: list[tuple[str, object]] = [
        ("From", [f"{say.day_of(trip.pick_up.date())}, {say.clock(trip.pick_up)}, ", el("bdi", spot_name(trip.depot))]),
        (
            "Until",
            [f"{say.day_of(trip.return_by.date())}, {say.clock(trip.return_by)}, ", el("bdi", spot_name(trip.return_depot))],
        ),
        (
            "Towing",
            f"{say.km(length)}, {say.hours_minutes(towing)}"
            + (f"; of it {say.km(presumed)} presumed sealed" if presumed >= 5 else ""),
        ),
        ("By car alone", say.km(by_car) if by_car >= 5 else ""),
        (
            "Outfit",
            f"{trip.outfit.length_m:.1f} m long, {trip.outfit.width_m:.2f} m wide, {trip.outfit.height_m:.2f} m high, {trip.outfit.mass_kg:.0f} kg; towing limit {trip.outfit.towing_limit_kmh:.0f} km/h",
        ),
        ("Firm", [el("bdi", trip.firm.name), " ", _phone(trip.firm.phone)]),
        ("Emergency", _phone(trip.firm.emergency_number)),
    ]
    parts: list[object] = [
        el("h1", el("bdi", trip.name)),
        _facts(facts),
        el("h2", "Days"),
        _days_table(plan),
        el("h2", "Levels"),
        el(
            "p",
            f"Planned so that {100 * trip.confidence:.0f} of 100 trips like this keep every limit. Triangles: services. Dashed: limits.",
            class_="note",
        ),
        el("div", levels_chart(plan), class_="scroll"),
    ]
    parts += _to_book(plan)
    parts += _phone_first(plan, region)
    money = [
        ("Nights", say.money(cost.nights_cents)), ("Kilometres", say.money(cost.km_cents)), ("Services and gas", say.money(cost.services_cents)),
        ("Money in all", say.money(cost.money_cents, trip.firm.currency)),
    ]  # fmt: skip
    parts += [
        el("h2", "Costs"),
        el(
            "table",
            el("tbody", *[el("tr", el("th", word, scope="row"), el("td", value, class_="n")) for word, value in money]),
            class_="costs",
        ),
        el("p", f"In the money of the map's prices; unknown prices are assumed. The plan is {proof_words(plan)}.", class_="note"),
    ]
    if plan.cautions:
        parts += [
            el("h2", "Cautions"),
            el("ul", *caution_items(plan)),
            el("p", "Local rules and licensed people decide.", class_="note"),
        ]
    if plan.assumptions:
        parts += [el("h2", "Assumed"), el("ul", *[el("li", words) for words in plan.assumptions])]
    return el("section", *parts, class_="glance")


def _days_table(plan: Plan) -> Markup:
    words = ("Day", "Date", "Night", "Towing", "By car", "Service")
    rows = []
    for day in plan.days:
        served = dict.fromkeys(store for store, _ in services_of(day))
        night: list[object] = ["return"]
        if day.night is not None:
            night = [el("bdi", spot_name(day.night.spot)), ", mains" if day.night.powered else None]
        cells: list[object] = [
            say.short_day(day.date),
            night,
            _road(day, "van"),
            _road(day, "car"),
            ", ".join(map(plain, served)),
        ]
        rows.append(
            el("tr", el("th", day.number, scope="row"), *[el("td", c, data_label=words[i + 1]) for i, c in enumerate(cells)])
        )
    head = el("tr", *[el("th", word, scope="col") for word in words])
    return el("table", el("thead", head), el("tbody", *rows), class_="days")


def _road(day: Day, mode: str) -> str:
    legs = [leg for leg in day.legs if leg.mode == mode]
    if not legs:
        return ""
    return f"{say.km(sum(leg.length_m for leg in legs))}, {say.hours_minutes(sum(leg.drive_s for leg in legs))}"


def _to_book(plan: Plan) -> list[object]:
    stays: list[tuple[Night, list[Day]]] = []
    for day in plan.days:
        if day.night is None:
            continue
        if stays and stays[-1][0].ref == day.night.ref and stays[-1][0].spot == day.night.spot:
            stays[-1][1].append(day)
        else:
            stays.append((day.night, [day]))
    rows = []
    for night, days in stays:
        nights = "1 night" if len(days) == 1 else f"{len(days)} nights"
        price = (
            "no charge" if night.price_known and not night.price_cents else say.money(night.price_cents, plan.trip.firm.currency)
        )
        price += "" if night.price_known else " assumed"
        power = "with mains" if night.powered else "without mains"
        rows.append(
            el(
                "tr",
                el("td", f"{say.short_day(days[0].date)}, {nights}"),
                el("td", el("bdi", spot_name(night.spot))),
                el("td", power),
                el("td", price, class_="n"),
            )
        )
    head = el("tr", *[el("th", word, scope="col") for word in ("From", "Site", "Pitch", "A night")])
    size = f"Say when booking: car and van together {plan.trip.outfit.length_m:.1f} m, {plan.trip.party.adults} adults" + (
        f", {plan.trip.party.children} children" if plan.trip.party.children else ""
    )
    return [
        el("h2", "To book"),
        el("p", size + ".", class_="note"),
        el("table", el("thead", head), el("tbody", *rows), class_="book"),
    ]


def _phone_first(plan: Plan, region: Region) -> list[object]:
    rows = []
    for ask in say.asks(plan):
        number = region.places[ask.spot.place].phone if 0 <= ask.spot.place < len(region.places) else ""
        other: object = "none known"
        if ask.next_known is not None:
            other = [el("bdi", spot_name(ask.next_known)), f", {ask.next_known_km:.0f} km"]
        where = [el("bdi", spot_name(ask.spot)), " ", _phone(number)]
        rows.append(
            el(
                "tr",
                el("td", say.ranges(ask.days), class_="n"),
                el("td", where),
                el("td", say.listed(ask.offers), ": ", ask.evidence),
                el("td", other),
            )
        )
    unknown = [(day, leg) for day in plan.days for leg in day.legs if leg.mode == "van" and leg.unknown_m >= 5]
    if not rows and not unknown:
        return []
    out: list[object] = [
        el("h2", "Phone first"),
        el("p", "The plan leans on these though nobody has said so on the map.", class_="note"),
    ]
    if rows:
        head = el("tr", *[el("th", word, scope="col") for word in ("Day", "Where", "Ask for", "Next known")])
        out.append(el("table", el("thead", head), el("tbody", *rows), class_="phone"))
    if unknown:
        parts = [f"{say.km(leg.unknown_m)} on day {day.number}" for day, leg in unknown]
        out.append(
            el(
                "p",
                f"Roads to sites and depots whose surface nobody has told: {say.listed(parts)}. Ask there whether the way in is sealed.",
            )
        )
    return out


def _day(day: Day, plan: Plan, region: Region) -> Markup:
    start, end = spot_name(day.start), spot_name(day.end)
    title = [el("bdi", start)] if start == end else [el("bdi", start), " to ", el("bdi", end)]
    light = []
    if day.sunrise is not None:
        light.append(f"sunrise {say.clock(day.sunrise)}")
    if day.sunset is not None:
        light.append(f"sunset {say.clock(day.sunset)}")
    parts: list[object] = [
        el("h2", f"Day {day.number} · {say.day_of(day.date)}"),
        el("p", *title, class_="way"),
        el("p", join([say.day_words(day), ", ".join(light), day.weather], " · "), class_="note"),
        _clock(day, plan.trip.firm.currency),
    ]
    last = day.number == plan.days[-1].number
    needs = [] if last else [need for need in needs_of(plan, day) if need.until]
    if needs:
        parts.append(el("ul", *[el("li", need.words()) for need in needs], class_="why"))
    if day.notes:
        parts.append(el("ul", *[el("li", note) for note in dict.fromkeys(day.notes)], class_="notes"))
    parts += [_leg(leg, plan, region) for leg in day.legs if leg.runs.piece]
    if day.levels:
        parts.append(_levels(day, plan))
    if day.night is not None:
        parts.append(_night(day.night, region, day, plan.trip.firm.currency))
    parts.append(
        el("p", "Firm ", _phone(plan.trip.firm.phone), " · Emergency ", _phone(plan.trip.firm.emergency_number), class_="numbers")
    )
    return el("section", *parts, class_="day")


def _says(text: str, what: str) -> bool:
    """Return whether a text has every word of another, little ones aside."""
    little = {"the", "and"}
    return set(re.findall(r"\w+", what.lower())) - little <= set(re.findall(r"\w+", text.lower()))


def _clock(day: Day, currency: str) -> Markup:
    def what(event: Event) -> list[object]:
        words: list[object] = [event.text]
        if event.kind == "service" and event.stores and not _says(event.text, say.todo_words(event.stores)):
            words = [say.todo_words(event.stores).capitalize(), f" ({plain(event.text)})" if event.text else None]
        if event.spot is not None and event.kind in ("service", "sight") and spot_name(event.spot) not in plain(event.text):
            words += [", ", el("bdi", spot_name(event.spot))]
        if event.cents > 0:
            words.append(f", {say.money(event.cents, currency)}")
        return words

    rows = [
        el("tr", el("td", f"{say.clock(e.start)}–{say.clock(e.end)}" if e.end > e.start else say.clock(e.start), class_="t"), el("td", _KINDS.get(e.kind, e.kind)), el("td", *what(e)))
        for e in day.events
    ]  # fmt: skip
    return el("table", el("tbody", *rows), class_="clock") if rows else el("p", "Nothing is planned on the clock.", class_="note")


def _leg(leg: Leg, plan: Plan, region: Region) -> Markup:
    outfit = plan.trip.outfit if leg.mode == "van" else plan.trip.car
    rows = []
    for part in stretches(region, leg, outfit.height_m, outfit.width_m):
        remarks = list(part.remarks)
        if part.presumed_m >= 5:
            remarks.append(f"{say.km(part.presumed_m)} presumed sealed")
        if part.unknown_m >= 5:
            remarks.append(f"{say.km(part.unknown_m)} of unknown surface")
        rows.append(
            el(
                "tr",
                el("td", el("bdi", part.road) if part.road else part.kind),
                el("td", say.km(part.length_m), class_="n"),
                el("td", say.hours_minutes(part.time_s), class_="n"),
                el("td", "; ".join(remarks)),
            )
        )
    caption = el(
        "caption",
        "With the van" if leg.mode == "van" else "By car alone",
        ": ",
        el("bdi", spot_name(leg.start)),
        " to ",
        el("bdi", spot_name(leg.end)),
        f", {say.leg_words(leg)}",
    )
    return el("table", caption, el("tbody", *rows), class_="leg")


def _levels(day: Day, plan: Plan) -> Markup:
    words = ("Leaving", "Arriving", "At the worst", "Next morning", "Limit", "Served")
    head = el("tr", *[el("th", word, scope="col") for word in ("Level", *words)])
    rows = []
    for line in day.levels:
        if line.store not in say.stores_of(plan.trip.van):
            continue
        bound = "at most " if say.fills(line.store) else "at least "
        served = served_words(line.served)
        values = (line.leave, line.arrive, line.worst, line.end)
        cells = [el("td", say.amount(line.store, value), class_="n", data_label=words[i]) for i, value in enumerate(values)]
        rows.append(
            el(
                "tr",
                el("th", say.STORE_NAMES[line.store], scope="row"),
                *cells,
                el("td", bound + say.amount(line.store, line.limit), class_="n", data_label=words[4]),
                el("td", served, data_label=words[5]),
            )
        )
    return el("table", el("thead", head), el("tbody", *rows), class_="store")


def _night(night: Night, region: Region, day: Day, currency: str) -> Markup:
    place = region.places[night.spot.place] if 0 <= night.spot.place < len(region.places) else None
    offers: list[str] = []
    for word, fact in night.offers.items():
        if fact.answer >= Offer.PRESUMED:
            offers.append(say.offer_name(word) + (" (presumed)" if fact.answer == Offer.PRESUMED else ""))
    lines: list[object] = [
        el("h3", f"Night {day.number}: ", el("bdi", spot_name(night.spot))),
        el(
            "p",
            f"{plain(night.kind)}, {'mains power' if night.powered else 'no mains power'}, {say.night_price(night, currency)}.",
        ),
    ]
    if offers:
        lines.append(el("p", "There: " + say.listed(offers) + "."))
    if night.runs_on:
        lines.append(el("p", f"Runs on: {say.runs_on_words(night.runs_on)}."))
    if place is not None and (place.hours or place.phone):
        lines.append(
            el(
                "p",
                f"Hours as on the map: {plain(place.hours)}. " if place.hours else None,
                "Phone " if place.phone else None,
                _phone(place.phone),
            )
        )
    return el("div", *lines, class_="night")
