"""The catalogue: loops worth offering on one page, each with its map, figures, who it suits and the way to its papers."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from importlib.resources import files

from tripplan.model.choice import LeftOut
from tripplan.model.trip import Trip
from tripplan.region.region import Region
from tripplan.report import say
from tripplan.report.listing import proof_words
from tripplan.report.markup import Markup, el, join, raw
from tripplan.report.safe import plain
from tripplan.report.sheets.drawings import map_drawing
from tripplan.report.sheets.html import svg
from tripplan.report.sheets.tell import tell
from tripplan.report.waylines import way_lines
from tripplan.schedule.suggest import Suggestion

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
    ("map.html", "Map"), ("itinerary.html", "Day sheets"), ("itinerary.pdf", "Day sheets as PDF"), ("route.gpx", "Route for a navigation device"),
    ("trip.ics", "Calendar"), ("TRIP.toml", "Start from this: the trip file"),
)  # fmt: skip
#: Sights left out that are named; of more only the number.
_NAMED = 12


def _facts(found: Suggestion) -> list[tuple[str, str]]:
    sums, trip = found.sums, found.trip
    driven = tell(
        "{km:.0f} km with the van, {time}; longest day {longest}", km=sums.towing_km,
        time=say.hours_minutes(sum(day.towing_s for day in found.plan.days)), longest=say.hours_minutes(sums.longest_s),
    )  # fmt: skip
    if sums.car_km >= 1:
        driven += tell("; {km:.0f} km by car alone", km=sums.car_km)
    nights = tell("{n}, {powered} of them with mains, {single} {stays} of one night", n=trip.nights, powered=sums.powered, single=sums.one_night,
                  stays="stay" if sums.one_night == 1 else "stays")  # fmt: skip
    rows = [
        ("Suits", found.theme.suits), ("Driving", driven), ("Nights", nights),
        ("Sights", say.listed(say.spot_name(spot) for spot in found.seen) or "none on the way"), ("Price", _price(found)),
    ]  # fmt: skip
    if found.own_seen:
        rows.append(("Because", say.listed(tell("{name}: {why}", name=plain(n), why=plain(w)) for n, w in found.own_seen)))
    if found.gave_up:
        rows.append(("Gives up", plain(found.gave_up)))
    rows.append(
        (
            "How sure",
            tell("of {n} sights to choose from and all sites: {proof}", n=len(found.picked.taken), proof=proof_words(found.plan)),
        )
    )
    return rows


def _price(found: Suggestion) -> str:
    cost = found.plan.cost
    unknown = sum(1 for day in found.plan.days if day.night is not None and not day.night.price_known)
    text = tell(
        "{all}: nights {nights}, kilometres {km}, services and gas {services}; the hire itself apart", all=say.money(cost.money_cents, found.trip.firm.currency),
        nights=say.money(cost.nights_cents), km=say.money(cost.km_cents), services=say.money(cost.services_cents),
    )  # fmt: skip
    if unknown:
        text += tell(
            "; the price of {n} {nights} is not known and assumed", n=unknown, nights="night" if unknown == 1 else "nights"
        )
    return text


def _section(found: Suggestion, region: Region, folder: str) -> Markup:
    plan = found.plan
    lines = way_lines(plan, region)
    ways = tuple((one.day.number, one.mode, line) for one in lines.days for line in one.lines)
    nights = [
        el("tr", el("th", str(day.number), scope="row"), el("td", say.short_day(day.date), data_label="Date"),
           el("td", say.spot_name(day.night.spot) + (", mains" if day.night.powered else ""), data_label="Night"))
        for day in plan.days if day.night is not None
    ]  # fmt: skip
    head = el("thead", el("tr", *(el("th", word, scope="col") for word in ("Day", "Date", "Night"))))
    left = [item for item in found.picked.left_out if item[1] != "no part of this theme"]
    links = join((el("a", words, href=f"{folder}{name}") for name, words in _PAPERS), " ")
    return el(
        "section",
        el("h2", found.title),
        svg(map_drawing(plan, region, ways), "map"),
        el("dl", *(el("div", el("dt", name), el("dd", words)) for name, words in _facts(found)), class_="facts"),
        el("table", head, el("tbody", *nights), class_="days"),
        el("p", links, class_="links"),
        _left_out(left),
        id=found.key,
    )


def _left_out(left: Sequence[tuple[object, str]]) -> Markup | None:
    """Say which sights the search could not choose from, by reason."""
    if not left:
        return None
    by_why: dict[str, list[str]] = {}
    for item, why in left:
        by_why.setdefault(why, []).append(say.spot_name(item.spot))  # type: ignore[attr-defined]
    parts = []
    for why, names in by_why.items():
        more = f" and {len(names) - _NAMED} more" if len(names) > _NAMED else ""
        parts.append(f"{', '.join(names[:_NAMED])}{more} ({why})")
    return el("p", f"Sights left out before the search: {'; '.join(parts)}.", class_="note")


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
    title = tell(
        "Loops from {depot}: {n} {nights}",
        depot=say.spot_name(base.depot),
        n=base.nights,
        nights="night" if base.nights == 1 else "nights",
    )
    asked = tell(
        "{first} to {last}, {people} {persons} with {van}. Every loop keeps each limit of stores, roads and hours, and was re-checked.",
        first=say.day_of(base.pick_up.date()), last=say.day_of(base.return_by.date()), people=people,
        persons="person" if people == 1 else "people", van=plain(base.van.name),
    )  # fmt: skip
    index = el(
        "nav",
        el("ol", *(el("li", el("a", s.title, href=f"#{s.key}"), tell(": {words}", words=_short(s))) for s in shown)),
        aria_label="Loops",
    )
    not_shown = (
        el("section", el("h2", "Not shown"), el("ul", *(el("li", f"{left.title}: {left.why}.") for left in left_out)))
        if left_out
        else None
    )
    foot = el(
        "footer",
        el("p", f"Map data {region.meta.attribution}, {region.meta.data_date}. Heights are not in it: where hills are named, the reason is told."),
        el("p", "What a sight is worth is the operator's list or a rule by kind, not a judgement of people who were there. Ask sites before you book."),
        el("p", "Road signs, the hire contract, local rules and licensed people decide, not this paper."),
    )  # fmt: skip
    head = el(
        "head", el("meta", charset="utf-8"), el("meta", http_equiv="Content-Security-Policy", content=_POLICY),
        el("meta", name="viewport", content="width=device-width, initial-scale=1"), el("title", title), raw(f"<style>\n{css}{_CSS}</style>"),
    )  # fmt: skip
    sections = [_section(s, region, folders[s.key]) for s in shown]
    body = el("body", el("main", el("h1", title), el("p", asked), index, *sections, not_shown), foot)
    return f"<!DOCTYPE html>\n{el('html', head, body, lang='en')}\n"


def _short(found: Suggestion) -> str:
    return tell(
        "{km:.0f} km, {sights} {words}, {money}", km=found.sums.towing_km, sights=len(found.seen), words="sight" if len(found.seen) == 1 else "sights",
        money=say.money(found.sums.money_cents, found.trip.firm.currency),
    )  # fmt: skip


def catalogue_words(found: Suggestion | LeftOut, folder: str) -> list[str]:
    """Return lines for a terminal about one loop, or one theme that gives none."""
    if isinstance(found, LeftOut):
        return [plain(f"{found.title}: not shown, {found.why}")]
    names = say.listed(say.spot_name(spot) for spot in found.seen) or "no sights"
    sure = "proven best" if found.plan.proof.proven else f"at most {100 * found.plan.proof.gap:.1f} % above the best"
    lines = [f"{found.title}: {_short(found)} ({sure}); {names}", f"  papers: {folder}"]
    if found.gave_up:
        lines.insert(1, f"  gives up: {found.gave_up}")
    return [plain(line) for line in lines]
