"""The rest of a trip as its papers count it: a day keeps the number that it has in the whole trip, the title says what is left, and money has a unit."""

from __future__ import annotations

from dataclasses import replace

from tripplan.model.plan import Day, Event, Plan
from tripplan.model.trip import Trip
from tripplan.report.language import spoken, tell

__all__ = ["counted", "price_words", "trip_title"]


def price_words(cents: int, currency: str) -> str:
    """Return money in the middle of a sentence: where nobody has told a currency, as that of the map's prices."""
    return spoken().money(cents, currency) if currency.strip() else tell("{money} in local money", money=spoken().money(cents))


def trip_title(trip: Trip) -> str:
    """Return what a trip is called on its papers, on the way with what is left of it. Not escaped."""
    if trip.under_way is None:
        return trip.name
    whole = trip.first_number - 1 + trip.nights
    return tell("{name}, {n} of {whole} nights left", name=trip.name, n=trip.nights, whole=whole)


def counted(plan: Plan) -> Plan:
    """Return a plan with its days numbered as the whole trip counts them, and all that names a day with them.

    A plan of a whole trip is returned as it is, and so is one that was counted already. `plan.json` is written of the plan
    itself: there, days begin with 1.
    """
    if not plan.days:
        return plan
    more = plan.trip.first_number - plan.days[0].number
    if not more:
        return plan
    return replace(
        plan,
        days=tuple(_day(day, more) for day in plan.days),
        presumed_offers=tuple(replace(one, day=one.day + more) if one.day else one for one in plan.presumed_offers),
        cautions=tuple(replace(one, days=tuple(day + more for day in one.days)) for one in plan.cautions),
        overdue=tuple(replace(one, day=one.day + more) for one in plan.overdue),
    )


def _day(day: Day, more: int) -> Day:
    return replace(day, number=day.number + more, events=tuple(_event(event, more) for event in day.events))


def _event(event: Event, more: int) -> Event:
    chance = event.next_chance
    if chance is None or not chance.planned_day:
        return event
    return replace(event, next_chance=replace(chance, planned_day=chance.planned_day + more))
