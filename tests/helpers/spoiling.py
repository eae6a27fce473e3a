"""Random ways to spoil any plan, each of which makes it wrong for certain; ``None`` where a plan has nothing to spoil so."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import timedelta
from typing import Any

import numpy as np

from tripplan.model.place import OFFERS, OfferFact
from tripplan.model.plan import Day, Plan
from tripplan.model.words import Offer, Surface
from tripplan.region.geometry import great_circle_m
from tripplan.region.region import Region

Rng = np.random.Generator
Spoil = Callable[[Plan, Region, Rng], Plan | None]


def _pick(rng: Rng, rows: list[Any]) -> Any:
    return rows[int(rng.integers(len(rows)))]


def _day(plan: Plan, day: Day, **changes: Any) -> Plan:
    days = list(plan.days)
    days[day.number - 1] = replace(day, **changes)
    return replace(plan, days=tuple(days))


def _trip(plan: Plan, **changes: Any) -> Plan:
    return replace(plan, trip=replace(plan.trip, **changes))


def _stop_removed(plan: Plan, region: Region, rng: Rng) -> Plan | None:
    served = [
        (d, e)
        for d in plan.days
        for e in d.events
        if e.kind == "service" and e.stores and (d.night is None or e.spot != d.night.spot)
    ]
    if not served:
        return None
    day, event = _pick(rng, served)
    return _day(plan, day, events=tuple(e for e in day.events if e is not event))


def _legs_removed(plan: Plan, region: Region, rng: Rng) -> Plan | None:
    days = [d for d in plan.days if len(d.legs) >= 2]
    if not days:
        return None
    day = _pick(rng, days)
    return _day(plan, day, legs=day.legs[:-1])


def _night_moved(plan: Plan, region: Region, rng: Rng) -> Plan | None:
    day = _pick(rng, [d for d in plan.days if d.night is not None])
    far = [
        p for p in region.places if p.role == "site" and p.admits >= Offer.PRESUMED
        and float(great_circle_m(p.lon, p.lat, np.array([day.end.lon]), np.array([day.end.lat]))[0]) > 2000
    ]  # fmt: skip
    if not far:
        return None
    place = _pick(rng, far)
    spot = replace(day.end, place=place.index, name=place.name, lon=place.lon, lat=place.lat)
    return _day(plan, day, night=replace(day.night, spot=spot, ref=place.ref), end=spot)


def _halved(plan: Plan, region: Region, rng: Rng) -> Plan | None:
    name = _pick(rng, ["grey_l", "cassette_l", "gas_bottle_kg"])
    return _trip(plan, van=replace(plan.trip.van, **{name: getattr(plan.trip.van, name) / 2}))


def _swapped(plan: Plan, region: Region, rng: Rng) -> Plan | None:
    days = [d for d in plan.days if len(d.legs) >= 2]
    if not days:
        return None
    day = _pick(rng, days)
    return _day(plan, day, legs=(day.legs[1], day.legs[0], *day.legs[2:]))


def _level(plan: Plan, region: Region, rng: Rng) -> Plan | None:
    day = _pick(rng, list(plan.days[:-1]))
    line = _pick(rng, list(day.levels))
    return _day(plan, day, levels=tuple(replace(x, end=x.end + 1.0) if x is line else x for x in day.levels))


def _limit(plan: Plan, region: Region, rng: Rng) -> Plan | None:
    day = _pick(rng, list(plan.days))
    line = _pick(rng, [x for x in day.levels if x.store in ("grey", "cassette")])
    return _day(plan, day, levels=tuple(replace(x, limit=x.limit * 1.5) if x is line else x for x in day.levels))


def _late(plan: Plan, region: Region, rng: Rng) -> Plan | None:
    day, later = plan.days[-1], timedelta(hours=int(rng.integers(9, 12)))
    return _day(plan, day, events=tuple(replace(e, start=e.start + later, end=e.end + later) for e in day.events))


def _early(plan: Plan, region: Region, rng: Rng) -> Plan | None:
    day, by = plan.days[0], timedelta(hours=int(rng.integers(2, 5)))
    if not day.legs:
        return None
    events = tuple(replace(e, start=e.start - by, end=e.end - by) if e.kind != "handover" else e for e in day.events)
    return _day(plan, day, events=events)


def _column(plan: Plan, rng: Rng, name: str, change: Callable[[list[Any]], list[Any]]) -> Plan | None:
    long = [
        (d, n)
        for d in plan.days
        for n, g in enumerate(d.legs)
        if g.mode == "van" and len(g.runs.piece) >= 3 and g.length_m > 2000
    ]
    if not long:
        return None
    day, n = _pick(rng, long)
    leg = day.legs[n]
    runs = replace(leg.runs, **{name: tuple(change(list(getattr(leg.runs, name))))})
    return _day(plan, day, legs=(*day.legs[:n], replace(leg, runs=runs), *day.legs[n + 1 :]))


def _unsealed(plan: Plan, region: Region, rng: Rng) -> Plan | None:
    rows = (region.ways.surface[region.pieces.way] == Surface.UNSEALED).nonzero()[0].tolist()
    return _column(plan, rng, "piece", lambda c: [c[0], _pick(rng, rows), *c[2:]]) if rows else None


def _faster(plan: Plan, region: Region, rng: Rng) -> Plan | None:
    return _column(plan, rng, "time_s", lambda c: [t / 3 for t in c])


def _shorter(plan: Plan, region: Region, rng: Rng) -> Plan | None:
    legs = [(d, n) for d in plan.days for n, g in enumerate(d.legs) if g.length_m > 2000]
    if not legs:
        return None
    day, n = _pick(rng, legs)
    leg = replace(day.legs[n], length_m=day.legs[n].length_m * 0.8)
    return _day(plan, day, legs=(*day.legs[:n], leg, *day.legs[n + 1 :]))


def _price(plan: Plan, region: Region, rng: Rng) -> Plan | None:
    day = _pick(rng, [d for d in plan.days if d.night is not None])
    return _day(plan, day, night=replace(day.night, price_cents=day.night.price_cents + int(rng.integers(10, 5000))))


def _total(plan: Plan, region: Region, rng: Rng) -> Plan | None:
    return replace(plan, cost=replace(plan.cost, total_cents=plan.cost.total_cents - int(rng.integers(10, 5000))))


def _driving(plan: Plan, region: Region, rng: Rng) -> Plan | None:
    most = int(max(d.towing_s for d in plan.days)) // 2
    return _trip(plan, max_drive_s=most, first_day_drive_s=most) if most >= 1800 else None


def _powered(plan: Plan, region: Region, rng: Rng) -> Plan | None:
    return _trip(plan, powered_nights_at_least=sum(d.night is not None and d.night.powered for d in plan.days) + 1)


def _budget(plan: Plan, region: Region, rng: Rng) -> Plan | None:
    return _trip(plan, budget_cents=plan.cost.money_cents // 2) if plan.cost.money_cents > 100 else None


def _avoided(plan: Plan, region: Region, rng: Rng) -> Plan | None:
    free = [d for d in plan.days if d.night is not None and all(b.night != d.date for b in plan.trip.bookings)]
    return _trip(plan, avoid=(_pick(rng, free).night.spot,)) if free else None


def _dropped(plan: Plan, region: Region, rng: Rng) -> Plan | None:
    gone = int(rng.integers(len(plan.days)))
    return replace(plan, days=plan.days[:gone] + plan.days[gone + 1 :])


def _sunset(plan: Plan, region: Region, rng: Rng) -> Plan | None:
    day = _pick(rng, [d for d in plan.days if d.sunset is not None])
    return _day(plan, day, sunset=day.sunset + timedelta(hours=2))


def _surer(plan: Plan, region: Region, rng: Rng) -> Plan | None:
    return _trip(plan, confidence=0.995)


def _standing(plan: Plan, region: Region, rng: Rng) -> Plan | None:
    towed = [d.date for d in plan.days if any(g.mode == "van" for g in d.legs)]
    return _trip(plan, no_towing=(_pick(rng, towed),))


def _renamed(plan: Plan, region: Region, rng: Rng) -> Plan | None:
    day = _pick(rng, [d for d in plan.days if d.night is not None and d.night.spot.place >= 0])
    spot = replace(day.night.spot, name=day.night.spot.name + " East")
    return _day(plan, day, night=replace(day.night, spot=spot))


def _offered(plan: Plan, region: Region, rng: Rng) -> Plan | None:
    day = _pick(rng, [d for d in plan.days if d.night is not None and d.night.spot.place >= 0])
    word = _pick(rng, sorted(OFFERS))
    fact = day.night.offers.get(word, OfferFact())
    other = _pick(rng, [answer for answer in Offer if answer != fact.answer])
    return _day(plan, day, night=replace(day.night, offers={**day.night.offers, word: replace(fact, answer=other)}))


SPOILS: dict[str, Spoil] = {
    "service stop removed": _stop_removed, "last leg removed": _legs_removed, "night moved": _night_moved, "capacity halved": _halved,
    "legs swapped": _swapped, "level jumps": _level, "limit moved": _limit, "late return": _late, "leaves before it may": _early,
    "over an unsealed piece": _unsealed, "too fast": _faster, "leg shortened": _shorter, "price of a night": _price, "sum": _total,
    "driving limit halved": _driving, "one powered night more": _powered, "budget halved": _budget, "night at a place to avoid": _avoided,
    "day dropped": _dropped, "sunset moved": _sunset, "confidence raised": _surer, "day without towing": _standing,
    "night's place renamed": _renamed, "offer changed": _offered,
}  # fmt: skip


def spoilt(plan: Plan, region: Region, seed: int) -> tuple[str, Plan]:
    """Return a plan spoilt in one way, and its name; the same for the same seed."""
    rng = np.random.default_rng((4, seed))
    for name in rng.permutation(sorted(SPOILS)).tolist():
        worse = SPOILS[name](plan, region, rng)
        if worse is not None:
            return name, worse
    raise AssertionError("nothing to spoil")
