"""What the pages show of a plan, of no plan and of several: plain values that keep as JSON. Pure functions."""

from __future__ import annotations

from typing import Any

from tripplan.model.choice import Choice, Choices
from tripplan.model.errors import NoPlanError
from tripplan.model.plan import Excess, Plan
from tripplan.model.remedy import Remedies
from tripplan.model.trip import Trip
from tripplan.report import say
from tripplan.report.listing import proof_words
from tripplan.report.safe import plain
from tripplan.report.why import services_of
from tripplan.serve.closed import closure_rows

__all__ = ["against", "choices_view", "no_plan_view", "plan_view"]

_NEAR = 0.15


def plan_view(plan: Plan) -> dict[str, Any]:
    """Return a plan as its page shows it."""
    trip = plan.trip
    length = sum(leg.length_m for day in plan.days for leg in day.legs if leg.mode == "van")
    guessed = sum(1 for day in plan.days if day.night is not None and not day.night.price_known)
    booked = {booking.night for booking in trip.bookings}
    facts = [
        ("When", plain(f"{say.day_span(plan)}, {trip.nights} night{'s' if trip.nights != 1 else ''}")),
        ("With the van", f"{say.km(length)}, {say.hours_minutes(sum(day.towing_s for day in plan.days))} towing"),
        ("Money", say.money(plan.cost.money_cents, trip.firm.currency) + (f", the price of {guessed} nights assumed" if guessed > 1 else ", the price of a night assumed" if guessed else "")),
        ("How good", plain(f"{proof_words(plan)}")),
    ]  # fmt: skip
    if plan.holds is not None:
        share = 100 * plan.holds.together
        often = f"{share:.0f} of 100" if share < 99 else "more than 99 of 100"
        facts.append(("How sure", f"on {often} trips like this no store passes its limit"))
    days = []
    for day in plan.days:
        night = day.night
        sights = [say.spot_name(e.spot) for e in day.events if e.kind == "sight" and e.spot is not None]
        served = dict.fromkeys(store for store, _ in services_of(day))
        days.append(
            {
                "n": day.number,
                "date": plain(say.short_day(day.date)),
                "iso": day.date.isoformat(),
                "way": plain(say.day_words(day)),
                "sights": [plain(s) for s in sights],
                "todo": plain(say.todo_words(served)) if served else "",
                "night": plain(say.spot_name(night.spot)) if night else "",
                "lon": round(night.spot.lon, 6) if night else 0,
                "lat": round(night.spot.lat, 6) if night else 0,
                "powered": bool(night and night.powered),
                "price": plain(say.night_price(night, trip.firm.currency)) if night else "",
                "booked": day.date in booked,
                "end": plain(say.spot_name(day.end)),
                "closures": [plain(closure.text) for closure in day.closures],
            }
        )
    return {
        "facts": facts,
        "days": days,
        "stores": [{"key": store, "name": say.STORE_NAMES[store]} for store in say.stores_of(trip.van)],
        "levels": _levels(plan),
        "phone": [
            plain(f"{say.days_words(plan, ask.days) or 'every day'}, {say.spot_name(ask.spot)}: {say.listed(ask.offers)}; presumed from: {ask.evidence}")
            for ask in say.asks(plan)
        ],
        "closures": [
            {
                **row,
                "found": plain(f"{one.length_m / 1000:.1f} km of road" if one.sure else f"not found on this map: {one.why}"),
            }
            for row, one in zip(closure_rows(plan.closures), plan.closures, strict=True)
        ],
        "cautions": [plain(caution.text) for caution in plan.cautions],
        "data": plain(f"Map data © OpenStreetMap contributors, {plan.data_date}; region {plan.region_name}."),
        "money_cents": plan.cost.money_cents,
        "currency": plain(trip.firm.currency),
        "towing_m": round(length),
    }  # fmt: skip


def _levels(plan: Plan) -> dict[str, dict[str, Any]]:
    """Return for each store its limit and, for each day, the level nearest to it, with how near that is."""
    out: dict[str, dict[str, Any]] = {}
    for store in say.stores_of(plan.trip.van):
        full = say.capacity(plan.trip.van, store)
        rows = {}
        limit = ""
        for day in plan.days:
            for line in day.levels:
                if line.store == store:
                    limit = ("at most " if say.fills(store) else "at least ") + say.amount(store, line.limit)
                    room = say.room_left(line)
                    rows[str(day.number)] = {
                        "at": say.amount(store, say.nearest_level(line)),
                        "value": round(say.nearest_level(line), 2),
                        "room": round(room, 2),
                        "near": "over" if room < -1e-6 else "near" if room < _NEAR * full else "",
                        "served": bool(line.served),
                    }
        out[store] = {"limit": limit, "days": rows, "full": full}
    return out


def against(before: dict[str, Any], after: dict[str, Any]) -> dict[str, Any]:
    """Set two plans of the same days beside each other: each level that moved, and what else did.

    Returns
    -------
    dict
        ``nights``: (day, before, after). ``money``, ``towing``: signed words. ``levels``: for each store a row of
        (before, after, better or worse or "") by day.
    """
    nights = [
        (a["n"], a["date"], b["night"], a["night"])
        for b, a in zip(before["days"], after["days"], strict=False)
        if b["night"] != a["night"]
    ]
    levels = {}
    for store in after["stores"]:
        key = store["key"]
        old, new = before["levels"].get(key, {"days": {}})["days"], after["levels"][key]["days"]
        row = {}
        for day in sorted(set(old) & set(new), key=int):
            change = new[day]["room"] - old[day]["room"]
            row[day] = {
                "before": old[day]["at"],
                "after": new[day]["at"],
                "moved": "" if abs(change) < 0.05 else "more room" if change > 0 else "less room",
            }
        levels[key] = row
    money, towing = after["money_cents"] - before["money_cents"], after["towing_m"] - before["towing_m"]
    return {
        "nights": nights,
        "levels": levels,
        "money": f"{money / 100:+,.2f} {after['currency']}".rstrip(),
        "towing": f"{towing / 1000:+.0f} km",
    }


def no_plan_view(error: NoPlanError, found: Remedies, trip: Trip) -> dict[str, Any]:
    """Return why there is no plan, and the ranked changes that give one."""
    rows = [
        {
            "day": excess.day,
            "text": plain(excess.text or excess.what),
            "clash": [plain(line) for line in excess.clash],
        }
        for excess in error.excesses
        if isinstance(excess, Excess)
    ]  # fmt: skip
    ways = []
    for remedy in found.found:
        towing = sum(leg.length_m for day in remedy.plan.days for leg in day.legs if leg.mode == "van")
        nights = remedy.plan.trip.nights
        ways.append(
            {
                "texts": [plain(change.text) for change in remedy.changes],
                "names": [change.name for change in remedy.changes],
                "gives": plain(
                    f"{nights} night{'s' if nights != 1 else ''}, {say.km(towing)} towing, {say.money(remedy.plan.cost.money_cents, trip.firm.currency)}"
                ),
                "smallest": remedy.smallest,
            }
        )
    return {
        "message": "" if rows else plain(str(error)),
        "least": error.least,
        "excesses": rows,
        "ways": ways,
        "missing": [plain(line) for line in found.missing],
        "closures": closure_rows(trip.closures),
        "whole": found.whole,
        "tried": found.tried,
    }


def choices_view(found: Choices, trip: Trip, links: dict[str, str]) -> dict[str, Any]:
    """Return several plans as columns of one table."""
    return {
        "columns": [
            {
                "title": choice.title,
                "link": links[choice.key],
                "figures": _figures(choice, trip),
                "gives_up": [plain(text) for text in choice.gives_up],
                "gains": [plain(text) for text in choice.gains],
            }
            for choice in found.shown
        ],
        "left_out": [{"title": left.title, "why": plain(left.why)} for left in found.left_out],
    }


def _figures(choice: Choice, trip: Trip) -> list[tuple[str, str]]:
    sums, nights = choice.sums, trip.nights
    return [
        ("Money", say.money(sums.money_cents, trip.firm.currency)),
        ("Towing", f"{sums.towing_km:.0f} km"),
        ("By car alone", f"{sums.car_km:.0f} km"),
        ("At the wheel", say.hours_minutes(sums.wheel_s)),
        ("Longest towing day", say.hours_minutes(sums.longest_s)),
        ("Nights with mains", f"{sums.powered} of {nights}"),
        ("Nights with showers", f"{sums.showers} of {nights}"),
        ("Stays of one night", str(sums.one_night)),
        ("Stops for a service", str(sums.stops)),
    ]
