"""The catalogue: loops worth offering on one page, each with its map, figures, who it suits and the way to its papers."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from importlib.resources import files

from tripplan.model.choice import LeftOut
from tripplan.model.plan import Night
from tripplan.model.trip import Trip
from tripplan.region.region import Region
from tripplan.report import say
from tripplan.report.counted import price_words
from tripplan.report.language import spoken, tell, tell_n, word
from tripplan.report.listing import proof_words
from tripplan.report.markup import Markup, el, join, raw
from tripplan.report.retell import retell
from tripplan.report.safe import plain
from tripplan.report.sheets.drawings import map_drawing
from tripplan.report.sheets.html import svg
from tripplan.report.stale import GENERATOR
from tripplan.report.waylines import way_lines
from tripplan.schedule.suggest import Suggestion
from tripplan.schedule.suggest_values import Valued

__all__ = ["catalogue_page", "catalogue_words"]

_POLICY = "default-src 'none'; style-src 'unsafe-inline'; img-src data:; base-uri 'none'; form-action 'none'"
_CSS = """
nav ol { padding-left: 22px; }
section { margin-top: 18px; break-inside: avoid; }
section svg.map { max-height: 420px; width: 100%; }
.links a { padding: 4px 12px 4px 0; min-height: 24px; }
@media print { section + section { break-before: page; } .links, nav { display: none; } }
"""
_PAPERS = (
    ("map.html", word("Map")), ("itinerary.html", word("Day sheets")), ("itinerary.pdf", word("Day sheets as PDF")),
    ("route.gpx", word("Route for a navigation device")), ("trip.ics", word("Calendar")), ("TRIP.toml", word("Start from this: the trip file")),
)  # fmt: skip
#: Sights left out that are named; of more only the number.
_NAMED = 12


def _facts(found: Suggestion) -> list[tuple[str, str]]:
    sums, trip, road = found.sums, found.trip, spoken().road
    driven = tell(
        "{km} with the van, {time}; longest day {longest}", km=road(1000 * sums.towing_km),
        time=say.hours_minutes(sum(day.towing_s for day in found.plan.days)), longest=say.hours_minutes(sums.longest_s),
    )  # fmt: skip
    if sums.car_km >= 1:
        driven = tell("{driven}; {km} by car alone", driven=driven, km=road(1000 * sums.car_km))
    nights = tell(
        "{n}, {powered} of them with mains, {stays}", n=trip.nights, powered=sums.powered,
        stays=tell_n("{n} stay of one night", "{n} stays of one night", sums.one_night),
    )  # fmt: skip
    rows = [
        (tell("Suits"), retell(found.theme.suits)), (tell("Driving"), driven), (tell("Nights"), nights),
        (tell("Sights"), say.listed(say.spot_name(spot) for spot in found.seen) or tell("none on the way")), (tell("Price"), _price(found)),
    ]  # fmt: skip
    if found.own_seen:
        reasons = (tell("{name}: {why}", name=plain(n), why=plain(retell(w))) for n, w in found.own_seen)
        rows.append((tell("Because"), say.listed(reasons)))
    if found.gave_up:
        rows.append((tell("Gives up"), plain(retell(found.gave_up))))
    proof = proof_words(found.plan)
    rows.append(
        (tell("How sure"), tell("of {n} sights to choose from and all sites: {proof}", n=len(found.picked.taken), proof=proof))
    )
    return rows


def _price(found: Suggestion) -> str:
    cost = found.plan.cost
    unknown = sum(1 for day in found.plan.days if day.night is not None and not day.night.price_known)
    text = tell(
        "{all}: nights {nights}, distance {km}, services and gas {services}; the hire itself apart", all=price_words(cost.money_cents, found.trip.firm.currency),
        nights=say.money(cost.nights_cents), km=say.money(cost.km_cents), services=say.money(cost.services_cents),
    )  # fmt: skip
    if unknown:
        more = tell_n(
            "the price of {n} night is not known and assumed", "the price of {n} nights is not known and assumed", unknown
        )
        text = f"{text}; {more}"
    return text


def _section(found: Suggestion, region: Region, folder: str) -> Markup:
    plan = found.plan
    lines = way_lines(plan, region)
    ways = tuple((one.day.number, one.mode, line) for one in lines.days for line in one.lines)
    words = (tell("Day"), tell("Date"), tell("Night"))
    nights = [
        el("tr", el("th", str(day.number), scope="row"), el("td", say.short_day(day.date), data_label=words[1]),
           el("td", _night(day.night), data_label=words[2]))
        for day in plan.days if day.night is not None
    ]  # fmt: skip
    head = el("thead", el("tr", *(el("th", name, scope="col") for name in words)))
    left = [item for item in found.picked.left_out if item[1] != "no part of this theme"]
    links = join((el("a", tell(name), href=f"{folder}{file}") for file, name in _PAPERS), " ")
    return el(
        "section",
        el("h2", tell(found.title)),
        svg(map_drawing(plan, region, ways), "map"),
        el("dl", *(el("div", el("dt", name), el("dd", said)) for name, said in _facts(found)), class_="facts"),
        el("table", head, el("tbody", *nights), class_="days"),
        el("p", links, class_="links"),
        _left_out(left),
        id=found.key,
    )


def _night(night: Night) -> str:
    place = say.spot_name(night.spot)
    return tell("{place}, mains", place=place) if night.powered else place


def _left_out(left: Sequence[tuple[Valued, str]]) -> Markup | None:
    """Say which sights the search could not choose from, by reason."""
    if not left:
        return None
    by_why: dict[str, list[str]] = {}
    for item, why in left:
        by_why.setdefault(why, []).append(say.spot_name(item.spot))
    parts = []
    for why, names in by_why.items():
        some = ", ".join(names[:_NAMED])
        if len(names) > _NAMED:
            some = tell("{names} and {n} more", names=some, n=len(names) - _NAMED)
        parts.append(f"{some} ({plain(retell(why))})")
    return el("p", tell("Sights left out before the search: {names}.", names="; ".join(parts)), class_="note")


def catalogue_page(
    shown: Sequence[Suggestion], left_out: Sequence[LeftOut], base: Trip, region: Region, folders: Mapping[str, str]
) -> str:
    """Return the page of all loops.

    Parameters
    ----------
    base
        What was asked: depot, nights, van and party. folders: where each loop's papers lie, by its key, as a relative address.
    """
    css = files("tripplan.report").joinpath("assets/sheet.css").read_text(encoding="utf-8")
    people = base.party.adults + base.party.children
    title = tell_n(
        "Loops from {depot}: {n} night", "Loops from {depot}: {n} nights", base.nights, depot=say.spot_name(base.depot)
    )
    asked = tell(
        "{first} to {last}, {people} with {van}. Every loop keeps each limit of stores, roads and hours, and was re-checked.",
        first=say.day_of(base.pick_up.date()), last=say.day_of(base.return_by.date()),
        people=tell_n("{n} person", "{n} persons", people), van=plain(base.van.name),
    )  # fmt: skip
    index = el(
        "nav",
        el("ol", *(el("li", el("a", tell(s.title), href=f"#{s.key}"), f": {_short(s)}") for s in shown)),
        aria_label=tell("Loops"),
    )
    hidden = [el("li", f"{plain(tell(left.title))}: {plain(retell(left.why))}.") for left in left_out]
    not_shown = el("section", el("h2", tell("Not shown")), el("ul", *hidden)) if hidden else None
    data = tell("Map data {attribution}, {date}.", attribution=plain(region.meta.attribution), date=plain(region.meta.data_date))
    foot = el(
        "footer",
        el("p", data, " ", tell("Heights are not in it: where hills are named, the reason is told.")),
        el("p", tell("What a sight is worth is the operator's list or a rule by kind, not a judgement of people who were there. Ask sites before you book.")),
        el("p", tell("Road signs, the hire contract, local rules and licensed people decide, not this paper.")),
    )  # fmt: skip
    head = el(
        "head", el("meta", charset="utf-8"), el("meta", http_equiv="Content-Security-Policy", content=_POLICY),
        el("meta", name="viewport", content="width=device-width, initial-scale=1"), raw(GENERATOR), el("title", title), raw(f"<style>\n{css}{_CSS}</style>"),
    )  # fmt: skip
    sections = [_section(s, region, folders[s.key]) for s in shown]
    body = el("body", el("main", el("h1", title), el("p", asked), index, *sections, not_shown), foot)
    return f"<!DOCTYPE html>\n{el('html', head, body, lang=spoken().tag)}\n"


def _short(found: Suggestion) -> str:
    return tell(
        "{km}, {sights}, {money}", km=spoken().road(1000 * found.sums.towing_km), sights=tell_n("{n} sight", "{n} sights", len(found.seen)),
        money=price_words(found.sums.money_cents, found.trip.firm.currency),
    )  # fmt: skip


def catalogue_words(found: Suggestion | LeftOut, folder: str) -> list[str]:
    """Return lines for a terminal about one loop, or one theme that gives none."""
    if isinstance(found, LeftOut):
        return [plain(tell("{title}: not shown, {why}", title=tell(found.title), why=retell(found.why)))]
    names = say.listed(say.spot_name(spot) for spot in found.seen) or tell("no sights")
    proof = found.plan.proof
    sure = (
        tell("proven best") if proof.proven else tell("at most {gap} % above the best", gap=spoken().number(100 * proof.gap, 1))
    )
    lines = [f"{tell(found.title)}: {_short(found)} ({sure}); {names}", "  " + tell("papers: {folder}", folder=folder)]
    if found.gave_up:
        lines.insert(1, "  " + tell("gives up: {what}", what=retell(found.gave_up)))
    return [plain(line) for line in lines]
