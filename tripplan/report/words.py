"""What was planned, in plain words for a terminal."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

from tripplan.model.errors import NoPlanError
from tripplan.model.plan import Day, Excess, Plan
from tripplan.model.remedy import Remedies
from tripplan.model.trip import Trip
from tripplan.report import say
from tripplan.report.listing import proof_words
from tripplan.report.safe import plain
from tripplan.report.say import STORE_NAMES, spot_name
from tripplan.report.terminal import levels_lines
from tripplan.report.why import services_of

__all__ = ["no_plan_words", "remedy_words", "summary"]

_OPEN = {
    "map.html": "the map; opens in any browser, needs no network",
    "itinerary.html": "day sheets to print or read on a telephone",
    "itinerary.pdf": "the same sheets as one file to print or to send",
    "plan.json": "the whole plan, for `tripplan audit`",
    "route.gpx": "waypoints, routes and tracks for a navigation device",
    "route.kml": "the same for a map program",
    "route.geojson": "the same for a program of maps and tables",
    "trip.ics": "the days for a calendar",
    "days.csv": "a row a day, for a spreadsheet",
    "levels.csv": "a row a day and store, for a spreadsheet",
    "levels.svg": "the levels of all stores as a drawing",
    "levels.png": "the same as a picture",
}
#: What a service did to a store, where somebody has to do it.
_SERVED = {"fresh": "filled", "grey": "emptied", "cassette": "emptied", "flush": "filled", "gas": "exchanged"}


def summary(plan: Plan, papers: Iterable[Path] = (), *, bars: bool = True, width: int = 80) -> list[str]:
    """Return lines that say what was planned, what each store does, what to phone about and which files to open.

    Parameters
    ----------
    bars, width
        Whether the terminal can show block characters, and its columns (see `levels_lines`).
    """
    trip = plan.trip
    length = sum(leg.length_m for day in plan.days for leg in day.legs if leg.mode == "van")
    towing = sum(day.towing_s for day in plan.days)
    nights = trip.nights
    lines = [
        f"{plain(trip.name)}: {say.day_span(plan)}, {nights} night{'s' if nights != 1 else ''}.",
        f"{say.km(length)} with the van, {say.hours_minutes(towing)} towing; {_surface_words(plan)}.",
        f"Money: {say.money(plan.cost.money_cents, trip.firm.currency)}{_assumed_words(plan)}.",
        f"The plan is {proof_words(plan)}.",
        "",
    ]
    for day in plan.days:
        where = (
            spot_name(day.night.spot) + (", mains" if day.night.powered else "") if day.night else f"back to {spot_name(day.end)}"
        )
        served = dict.fromkeys(store for store, _ in services_of(day))
        service = f"; {say.todo_words(served)}" if served else ""
        lines.append(f"Day {day.number:>2}  {say.day_of(day.date)}: {say.day_words(day)}; {where}{_sights_words(day)}{service}")
    lines += ["", "Stores:"]
    lines += [_store_words(plan, store) for store in say.stores_of(trip.van)]
    lines += ["", *levels_lines(plan, bars=bars, width=width)]
    if plan.presumed_offers:
        lines += ["", "Phone first, the map does not say so:"]
        lines += [
            f"  {say.days_words(plan, ask.days) or 'every day'}, {spot_name(ask.spot)}: {say.listed(ask.offers)}; presumed from: {plain(ask.evidence)}"
            for ask in say.asks(plan)
        ]
    unknown = [(day.number, leg.unknown_m) for day in plan.days for leg in day.legs if leg.mode == "van" and leg.unknown_m >= 5]
    if unknown:
        lines += [
            "",
            "Last stretches of unknown surface: "
            + ", ".join(f"{say.km(metres)} on day {number}" for number, metres in unknown)
            + ".",
        ]
    files = list(papers)
    if files:
        lines += ["", "Open:"]
        lines += [f"  {plain(path)}  {_OPEN.get(path.name, '')}".rstrip() for path in files]
    return [plain(line) for line in lines]


def _sights_words(day: Day) -> str:
    """Return the sights of a day."""
    names = [spot_name(event.spot) for event in day.events if event.kind == "sight" and event.spot is not None]
    return f"; see {say.listed(names)}" if names else ""


def _surface_words(plan: Plan) -> str:
    """Return how much of the way with the van is sealed by the map's own word, presumed, or of unknown surface."""
    legs = [leg for day in plan.days for leg in day.legs if leg.mode == "van"]
    presumed, unknown = sum(leg.presumed_m for leg in legs), sum(leg.unknown_m for leg in legs)
    parts = [f"{say.km(presumed)} of it presumed sealed"] if presumed >= 5 else []
    if unknown >= 5:
        parts.append(f"{say.km(unknown)} of unknown surface at the ends of days")
    return f"{say.listed(parts)}, the rest tagged as sealed" if parts else "all of it tagged as sealed"


def _assumed_words(plan: Plan) -> str:
    """Say for how many nights the price is a guess."""
    guessed = sum(1 for day in plan.days if day.night is not None and not day.night.price_known)
    return f", the price of {guessed} night{'s' if guessed != 1 else ''} assumed" if guessed else ""


def _store_words(plan: Plan, store: str) -> str:
    """Return how often a store is served and how near it comes to its limit."""
    lines = [(day.number, line) for day in plan.days for line in day.levels if line.store == store]
    name = say.STORE_NAMES[store]
    if not lines:
        return f"  {name}: not followed"
    times = sum(1 for _, line in lines if line.served)
    number, nearest = min(lines, key=lambda item: say.room_left(item[1]))
    done = _SERVED.get(store, "")  # sun and mains charge a battery unasked
    how_often = {0: f"never {done}", 1: f"{done} once"}.get(times, f"{done} on {times} days")
    served = f"{how_often}; " if done else ""
    bound = "at most" if say.fills(store) else "at least"
    level, limit = say.amount(store, nearest.worst), say.amount(store, nearest.limit)
    return f"  {name}: {served}nearest to its limit on day {number}: {level} ({bound} {limit})"


def no_plan_words(error: NoPlanError) -> list[str]:
    """Return lines that say why there is no plan: each limit that the nearest one breaks, on which day and by how much."""
    groups: dict[str, list[Excess]] = {}
    for excess in error.excesses:
        if isinstance(excess, Excess):
            groups.setdefault(excess.what, []).append(excess)
    if not groups:
        return [plain(f"No plan keeps all limits: {error}."), "Nothing was written."]
    least = "and none comes nearer" if error.least else "though that it is the nearest is not proven"
    lines = [f"No plan keeps all limits. The nearest one, {least}, would break these:"]
    for what, rows in groups.items():
        if len(rows) > 1:
            lines.append(f"  {STORE_NAMES.get(what, what)}, {sum(e.amount for e in rows):.4g} {rows[0].unit} in all")
        lines += [f"{'    ' if len(rows) > 1 else '  '}{_excess_words(excess)}" for excess in rows]
    lines.append("Nothing was written.")
    return [plain(line) for line in lines]


def remedy_words(found: Remedies, trip: Trip) -> list[str]:
    """Return lines that name the smallest sets of changes that give a plan, easiest first, each with where it is written."""
    lines = list(found.missing)
    if not found.found:
        end = (
            "No set of up to three changes that tripplan knows gives a plan"
            if found.whole
            else "No changes that give a plan were found in the time allowed"
        )
        return [
            "",
            *(
                plain(line)
                for line in [*lines, f"{end} ({_sets(found.tried)} tried). Take fewer sights, other places or other dates."]
            ),
        ]
    lines.append(f"Any one of these changes gives a plan, easiest first ({_sets(found.tried)} tried, each solved again):")
    for number, remedy in enumerate(found.found, 1):
        for part, change in enumerate(remedy.changes):
            lines.append(f"  {number}. {change.text}" if not part else f"     and {change.text[:1].lower()}{change.text[1:]}")
            if change.how:
                lines.append(f"       ({change.how})")
        plan = remedy.plan
        towing = sum(leg.length_m for day in plan.days for leg in day.legs if leg.mode == "van")
        nights = plan.trip.nights
        gives = f"     gives {nights} night{'s' if nights != 1 else ''}, {say.km(towing)} towing, {say.money(plan.cost.money_cents, trip.firm.currency)}"
        lines.append(gives + ("" if remedy.smallest else "; that nothing less would do is not proven"))
    if not found.whole:
        lines.append("There may be others: the time was up before every set was tried.")
    return ["", *(plain(line) for line in lines)]


def _sets(tried: int) -> str:
    return f"{tried} set{'s' if tried != 1 else ''}"


def _excess_words(excess: Excess) -> str:
    """Return what is broken, with the number of its day as the other papers count them."""
    return (f"day {excess.day}, " if excess.day > 0 else "") + (excess.text or excess.what)
