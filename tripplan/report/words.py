"""What was planned, in plain words for a terminal."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

from tripplan.model.errors import NoPlanError
from tripplan.model.plan import Excess, Plan
from tripplan.report import say
from tripplan.report.listing import proof_words
from tripplan.report.safe import plain
from tripplan.report.say import STORE_NAMES, spot_name
from tripplan.report.why import services_of

__all__ = ["no_plan_words", "summary"]

_OPEN = {
    "map.html": "the map; opens in any browser, needs no network",
    "itinerary.html": "day sheets to print or read on a telephone",
    "plan.json": "the whole plan, for `tripplan audit`",
    "route.gpx": "waypoints, routes and tracks for a navigation device",
    "trip.ics": "the days for a calendar",
}


def summary(plan: Plan, papers: Iterable[Path] = ()) -> list[str]:
    """Return lines that say what was planned, what each store does, what to phone about and which files to open."""
    trip = plan.trip
    length = sum(leg.length_m for day in plan.days for leg in day.legs if leg.mode == "van")
    towing = sum(day.towing_s for day in plan.days)
    presumed = sum(leg.presumed_m for day in plan.days for leg in day.legs if leg.mode == "van")
    nights = trip.nights
    lines = [
        f"{plain(trip.name)}: {say.day_span(plan)}, {nights} night{'s' if nights != 1 else ''}.",
        f"{say.km(length)} with the van, {say.hours_minutes(towing)} at the wheel; "
        + (f"{say.km(presumed)} of it presumed sealed, the rest tagged so." if presumed >= 5 else "all of it tagged as sealed."),
        f"Money {say.money(plan.cost.money_cents)}; the plan is {proof_words(plan)}.",
        "",
    ]
    for day in plan.days:
        where = (
            spot_name(day.night.spot) + (", mains" if day.night.powered else "") if day.night else f"back to {spot_name(day.end)}"
        )
        served = dict.fromkeys(store for store, _ in services_of(day))
        names = ", ".join(say.STORE_NAMES.get(store) or plain(store) for store in served)
        service = f" [{names}]" if names else ""
        lines.append(f"Day {day.number:>2}  {say.day_of(day.date)}: {say.day_words(day)}; {where}{service}")
    lines += ["", "Stores:"]
    lines += [_store_words(plan, store) for store in say.stores_of(trip.van)]
    if plan.presumed_offers:
        lines += ["", "Phone first, the map does not say so:"]
        lines += [
            f"  {say.days_words(plan, ask.days) or 'every day'}, {spot_name(ask.spot)}: {say.listed(ask.offers)} ({plain(ask.evidence)})"
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


def _store_words(plan: Plan, store: str) -> str:
    """Return how often a store is served and how near it comes to its limit."""
    lines = [(day.number, line) for day in plan.days for line in day.levels if line.store == store]
    name = say.STORE_NAMES[store]
    if not lines:
        return f"  {name}: not followed"
    times = sum(1 for _, line in lines if line.served)
    number, nearest = min(lines, key=lambda item: say.room_left(item[1]))
    served = {0: "never served", 1: "served once"}.get(times, f"served on {times} days")
    bound = "at most" if say.fills(store) else "at least"
    level, limit = say.amount(store, nearest.worst), say.amount(store, nearest.limit)
    return f"  {name}: {served}; nearest to its limit on day {number}: {level} ({bound} {limit})"


def no_plan_words(error: NoPlanError) -> list[str]:
    """Return lines that say why there is no plan: each limit that the nearest one breaks, on which day and by how much."""
    groups: dict[str, list[Excess]] = {}
    for excess in error.excesses:
        if isinstance(excess, Excess):
            groups.setdefault(excess.what, []).append(excess)
    if not groups:
        return [plain(f"No plan keeps all limits: {error}."), "Nothing was written."]
    least = "No plan breaks less:" if error.least else "It is not proven that none breaks less:"
    lines = [f"No plan keeps all limits. The nearest one breaks these. {least}"]
    for what, rows in groups.items():
        if len(rows) > 1:
            lines.append(f"  {STORE_NAMES.get(what, what)}, {sum(e.amount for e in rows):.4g} {rows[0].unit} in all")
        lines += [f"{'    ' if len(rows) > 1 else '  '}{excess.text or what}" for excess in rows]
    lines.append("Nothing was written.")
    return [plain(line) for line in lines]
