"""What was planned, in plain words for a terminal."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

from tripplan.model.errors import NoPlanError
from tripplan.model.plan import Day, Excess, Plan
from tripplan.model.remedy import Remedies
from tripplan.model.trip import Trip
from tripplan.report import say
from tripplan.report.counted import counted, price_words, trip_title
from tripplan.report.language import tell, tell_n, word
from tripplan.report.listing import proof_words
from tripplan.report.retell import retell
from tripplan.report.safe import plain
from tripplan.report.say import STORE_NAMES, spot_name
from tripplan.report.terminal import levels_lines
from tripplan.report.why import services_of

__all__ = ["no_plan_words", "remedy_words", "summary"]

_OPEN = {
    "map.html": word("the map; opens in any browser, needs no network"),
    "itinerary.html": word("day sheets to print or read on a telephone"),
    "itinerary.pdf": word("the same sheets as one file to print or to send"),
    "plan.json": word("the whole plan, for `tripplan audit`"),
    "route.gpx": word("waypoints, routes and tracks for a navigation device"),
    "route.kml": word("the same for a map program"),
    "route.geojson": word("the same for a program of maps and tables"),
    "trip.ics": word("the days for a calendar"),
    "days.csv": word("a row a day, for a spreadsheet"),
    "levels.csv": word("a row a day and store, for a spreadsheet"),
    "levels.svg": word("the levels of all stores as a drawing"),
    "levels.png": word("the same as a picture"),
}
#: Where a day's services are done, in the order of the day.
_PLACES = {"way": word("on the way: {todo}"), "car": word("by car: {todo}"), "site": word("at the site: {todo}")}
#: What a service did to a store, where somebody has to do it.
_FILLED = (word("never filled"), word("filled once"), word("filled on {n} days"))
_EMPTIED = (word("never emptied"), word("emptied once"), word("emptied on {n} days"))
_EXCHANGED = (word("never exchanged"), word("exchanged once"), word("exchanged on {n} days"))
_SERVED = {"fresh": _FILLED, "grey": _EMPTIED, "cassette": _EMPTIED, "flush": _FILLED, "gas": _EXCHANGED}


def summary(plan: Plan, papers: Iterable[Path] = (), *, bars: bool = True, width: int = 80) -> list[str]:
    """Return lines that say what was planned, what each store does, what to phone about and which files to open.

    Parameters
    ----------
    bars, width
        Whether the terminal can show block characters, and its columns (see `levels_lines`).
    """
    plan = counted(plan)
    trip = plan.trip
    length = sum(leg.length_m for day in plan.days for leg in day.legs if leg.mode == "van")
    towing = sum(day.towing_s for day in plan.days)
    nights = trip.nights
    lines = [
        tell_n(
            "{name}: {span}, {n} night.", "{name}: {span}, {n} nights.", nights, name=trip_title(trip), span=say.day_span(plan)
        ),
        tell(
            "{km} with the van, {time} towing; {surface}.",
            km=say.km(length),
            time=say.hours_minutes(towing),
            surface=_surface_words(plan),
        ),
        tell(
            "Money: {money}{assumed}.", money=price_words(plan.cost.money_cents, trip.firm.currency), assumed=_assumed_words(plan)
        ),
        tell("The plan is {proof}.", proof=proof_words(plan)),
        "",
    ]
    for day in plan.days:
        where = (
            (tell("{place}, mains", place=spot_name(day.night.spot)) if day.night.powered else spot_name(day.night.spot))
            if day.night
            else tell("back to {place}", place=spot_name(day.end))
        )
        name = tell("Day {number}", number=str(day.number).rjust(2))
        lines.append(f"{name}  {say.day_of(day.date)}: {say.day_words(day)}; {where}{_sights_words(day)}")
        lines += [f"{' ' * len(name)}  {todo}" for todo in _service_words(day)]
    lines += ["", tell("Stores (cautious figures, each kept to on {share} of 100 trips like this):", share=say.sure_of(plan))]
    lines += [_store_words(plan, store) for store in say.stores_of(trip.van)]
    lines += ["", *levels_lines(plan, bars=bars, width=width)]
    if plan.presumed_offers:
        lines += ["", tell("Telephone first, the map does not say that this is there:")]
        lines += [
            "  "
            + tell(
                "{days}, {place}: {offers}. Counted on, because: {evidence}",
                days=say.days_words(plan, ask.days) or tell("every day"),
                place=spot_name(ask.spot),
                offers=say.listed(ask.offers),
                evidence=say.evidence_words(ask.evidence),
            )
            for ask in say.asks(plan)
        ]
    unknown: dict[str, set[int]] = {}
    for day in plan.days:
        for leg in day.legs:
            if leg.mode == "van" and leg.unknown_m >= 5:
                unknown.setdefault(say.km(leg.unknown_m), set()).add(day.number)
    if unknown:
        parts = [
            tell_n("{km} on day {days}", "{km} on days {days}", len(numbers), km=km, days=say.ranges(numbers))
            for km, numbers in unknown.items()
        ]
        sentence = word("Nobody says on the map what the last stretch to a site or depot is paved with: {parts}. Ask there.")
        lines += ["", tell(sentence, parts=", ".join(parts))]
    files = list(papers)
    if files:
        lines += ["", tell("Open:")]
        lines += [f"  {plain(path)}  {tell(_OPEN[path.name]) if path.name in _OPEN else ''}".rstrip() for path in files]
    return [plain(line) for line in lines]


def _service_words(day: Day) -> list[str]:
    """Return what is to be done for the stores on a day, a line for each kind of place."""
    by_place: dict[str, list[str]] = {}
    for store, where in services_of(day):
        by_place.setdefault(where, []).append(store)
    return [tell(_PLACES[where], todo=say.todo_words(by_place[where])) for where in _PLACES if where in by_place]


def _sights_words(day: Day) -> str:
    """Return the sights of a day."""
    names = [spot_name(event.spot) for event in day.events if event.kind == "sight" and event.spot is not None]
    return tell("; see {names}", names=say.listed(names)) if names else ""


def _surface_words(plan: Plan) -> str:
    """Return how much of the way with the van is sealed by the map's own word, presumed, or of unknown surface."""
    legs = [leg for day in plan.days for leg in day.legs if leg.mode == "van"]
    presumed, unknown = sum(leg.presumed_m for leg in legs), sum(leg.unknown_m for leg in legs)
    parts = [tell("{km} that are very likely sealed", km=say.km(presumed))] if presumed >= 5 else []
    if unknown >= 5:
        parts.append(tell("{km} at the ends of days whose surface nobody tells", km=say.km(unknown)))
    return tell("sealed by the map but for {parts}", parts=say.listed(parts)) if parts else tell("all of it sealed by the map")


def _assumed_words(plan: Plan) -> str:
    """Say for how many nights the price is a guess."""
    guessed = sum(1 for day in plan.days if day.night is not None and not day.night.price_known)
    return tell_n(", the price of {n} night assumed", ", the price of {n} nights assumed", guessed) if guessed else ""


def _store_words(plan: Plan, store: str) -> str:
    """Return how often a store is served and how near it comes to its limit."""
    lines = [(day.number, line) for day in plan.days for line in day.levels if line.store == store]
    name = say.store_name(store)
    if not lines:
        return "  " + tell("{store}: not followed", store=name)
    times = sum(1 for _, line in lines if line.served)
    number, nearest = min(lines, key=lambda item: say.room_left(item[1]))
    # Sun and mains charge a battery unasked.
    never, once, often = _SERVED.get(store, ("", "", ""))
    how_often = tell(never if times == 0 else once if times == 1 else often, n=times) if never else ""
    level, limit = say.amount(store, say.nearest_level(nearest)), say.amount(store, nearest.limit)
    near = word("fullest on day {day}, with {level} in it; {limit} at most")
    if not say.fills(store):
        near = word("lowest on day {day}, with {level} left; {limit} must stay")
    parts = [how_often] if how_often else []
    return f"  {name}: {'; '.join([*parts, tell(near, day=number, level=level, limit=limit)])}"


def no_plan_words(error: NoPlanError) -> list[str]:
    """Return lines that say why there is no plan: each limit that the nearest one breaks, on which day and by how much."""
    groups: dict[str, list[Excess]] = {}
    for excess in error.excesses:
        if isinstance(excess, Excess):
            groups.setdefault(excess.what, []).append(excess)
    if not groups:
        cut = [tell("Not looked through to the end: {what}.", what="; ".join(map(retell, error.cut)))] if error.cut else []
        return [tell("No plan keeps all limits: {why}.", why=str(error)), *cut, tell("Nothing was written.")]
    least = tell("and none comes nearer") if error.least else tell("though that it is the nearest is not proven")
    lines = [tell("No plan keeps all limits. The nearest one, {least}, would break these:", least=least)]
    for what, rows in groups.items():
        if len(rows) > 1:
            whole = _amount(sum(e.amount for e in rows), rows[0].unit)
            lines.append(
                "  "
                + tell(
                    "{what}, {amount} in all", what=tell(STORE_NAMES[what]) if what in STORE_NAMES else retell(what), amount=whole
                )
            )
        margin = "    " if len(rows) > 1 else "  "
        for excess in rows:
            lines.append(f"{margin}{_excess_words(excess)}")
            lines += [f"{margin}  {retell(clash)}" for clash in excess.clash]
    if error.cut:
        lines.append(tell("Not looked through to the end: {what}.", what="; ".join(map(retell, error.cut))))
    lines.append(tell("Nothing was written."))
    return [plain(line) for line in lines]


def _amount(amount: float, unit: str) -> str:
    """Return by how much a limit is passed, with its unit."""
    if unit in ("night", "nights"):
        return tell_n("{n} night", "{n} nights", round(amount))
    if unit == "day":
        return tell_n("{n} day", "{n} days", round(amount))
    return retell(f"{amount:.4g} {unit}")


def remedy_words(found: Remedies, trip: Trip) -> list[str]:
    """Return lines that name the smallest sets of changes that give a plan, easiest first, each with where it is written."""
    lines = list(map(retell, found.missing))
    if not found.found:
        end = (
            tell("No set of up to three changes that tripplan knows gives a plan")
            if found.whole
            else tell("No changes that give a plan were found in the time allowed")
        )
        return [
            "",
            *(
                plain(line)
                for line in [
                    *lines,
                    tell(
                        "{end} ({sets} tried). Take fewer sights, other places or other dates.", end=end, sets=_sets(found.tried)
                    ),
                ]
            ),
        ]
    lines.append(
        tell("Any one of these changes gives a plan, easiest first ({sets} tried, each solved again):", sets=_sets(found.tried))
    )
    for number, remedy in enumerate(found.found, 1):
        for part, change in enumerate(remedy.changes):
            text = retell(change.text)
            lines.append(
                f"  {number}. {text}" if not part else "     " + tell("and {change}", change=f"{text[:1].lower()}{text[1:]}")
            )
            if change.how:
                lines.append(f"       ({retell(change.how)})")
        plan = remedy.plan
        towing = sum(leg.length_m for day in plan.days for leg in day.legs if leg.mode == "van")
        nights = plan.trip.nights
        gives = tell_n(
            "gives {n} night, {km} towing, {money}", "gives {n} nights, {km} towing, {money}", nights,
            km=say.km(towing), money=price_words(plan.cost.money_cents, trip.firm.currency),
        )  # fmt: skip
        lines.append(f"     {gives}" + ("" if remedy.smallest else tell("; that nothing less would do is not proven")))
    if not found.whole:
        lines.append(tell("There may be others: the time was up before every set was tried."))
    return ["", *(plain(line) for line in lines)]


def _sets(tried: int) -> str:
    return tell_n("{n} set", "{n} sets", tried)


def _excess_words(excess: Excess) -> str:
    """Return what is broken, with the number of its day as the other papers count them."""
    return (tell("day {day}, ", day=excess.day) if excess.day > 0 else "") + retell(excess.text or excess.what)
