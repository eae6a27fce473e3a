"""How times, lengths, money, stores and days are put in words, the same on every paper. Plain text, nothing escaped."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime

from tripplan.model.place import Place, Spot
from tripplan.model.plan import Day, Leg, LevelLine, Night, Plan, PresumedOffer
from tripplan.model.van import Van
from tripplan.model.words import STORES, Store
from tripplan.report.language import spoken, tell, tell_n, word
from tripplan.report.retell import retell
from tripplan.report.safe import plain

__all__ = [
    "DONE", "OFFER_NAMES", "STORE_NAMES", "TO_DO", "Ask", "amount", "asks", "capacity", "clock", "day_of", "day_span", "day_words",
    "days_words", "done_words", "evidence_words", "figure", "fills", "hours_minutes", "km", "leg_words", "listed", "money", "night_price", "offer_name", "ranges", "room_left",
    "runs_on_words", "short_day", "spot_name", "store_name", "stores_of", "sure_of", "todo_words", "upper_first",
]  # fmt: skip

#: In English, to be told by `tell`.
STORE_NAMES: dict[str, str] = {
    "fresh": word("fresh water"), "grey": word("grey water"), "cassette": word("toilet cassette"), "flush": word("flush water"), "gas": word("gas"),
    "battery": word("battery"),
}  # fmt: skip
TO_DO: dict[str, str] = {
    "fresh": word("fill fresh water"), "grey": word("empty grey water"), "cassette": word("empty the cassette"), "flush": word("fill the flush tank"),
    "gas": word("exchange the gas bottle"), "battery": word("charge the battery"),
}  # fmt: skip
DONE: dict[str, str] = {
    "fresh": word("fresh water filled"), "grey": word("grey water emptied"), "cassette": word("cassette emptied"), "flush": word("flush tank filled"),
    "gas": word("gas bottle exchanged"), "battery": word("battery charged"),
}  # fmt: skip
OFFER_NAMES: dict[str, str] = {
    "power": word("mains power"), "fresh": word("drinking water"), "piped": word("tap and drain at the pitch"), "grey": word("emptying grey water"),
    "cassette": word("emptying the cassette"), "gas": word("gas bottles"), "toilets": word("toilets"), "showers": word("showers"),
    "stay": word("staying there with a caravan"),
}  # fmt: skip


def store_name(store: str) -> str:
    """Return what a store is called."""
    return tell(STORE_NAMES[store]) if store in STORE_NAMES else plain(store)


def offer_name(offer: str) -> str:
    """Return an offer in words."""
    return tell(OFFER_NAMES[offer]) if offer in OFFER_NAMES else plain(offer)


def upper_first(text: str) -> str:
    """Return a text that begins a sentence: its first letter large, the others as they are."""
    return text[:1].upper() + text[1:]


def hours_minutes(seconds: float) -> str:
    """Return a duration as ``1 h 40 min``, to the minute."""
    return spoken().duration(seconds)


def km(metres: float) -> str:
    """Return a length of road in km, in metres below one km; in miles or feet where those are spoken."""
    return spoken().distance(metres)


def ranges(numbers: Iterable[int]) -> str:
    """Return numbers as ``3``, ``3–4`` or ``2, 7``."""
    out: list[list[int]] = []
    for n in sorted(set(numbers)):
        if out and n == out[-1][1] + 1:
            out[-1][1] = n
        else:
            out.append([n, n])
    return ", ".join(f"{a}" if a == b else f"{a}–{b}" for a, b in out)


def days_words(plan: Plan, days: Iterable[int]) -> str:
    """Return which days something concerns: "" for all, else ``towing days``, ``day 3`` or ``days 1–2, 7``."""
    chosen = set(days)
    if not chosen or chosen >= {day.number for day in plan.days}:
        return ""
    if chosen == {day.number for day in plan.days if any(leg.mode == "van" for leg in day.legs)}:
        return tell("towing days")
    return tell_n("day {days}", "days {days}", len(chosen), days=ranges(chosen))


def runs_on_words(runs_on: Mapping[str, str]) -> str:
    """Return what runs on what at a stop."""
    return "; ".join(f"{plain(retell(what))}: {plain(retell(source))}" for what, source in runs_on.items())


def evidence_words(evidence: str) -> str:
    """Return why an offer is counted on though nobody has said so: as a sentence of people, where it is of the usual kind."""
    found = re.fullmatch(r"staffed site with (showers|its own dump station|stars) \(common practice\): (.+)", evidence)
    if found is None:
        return retell(evidence)
    what, sign = retell(found[1]), retell(found[2])
    return tell(
        "sites with {what} and somebody there usually have it (the map gives: {sign}; common practice)", what=what, sign=sign
    )


@dataclass(frozen=True, slots=True)
class Ask:
    """Presumed offers of one place to phone about together."""

    days: tuple[int, ...]
    spot: Spot
    offers: tuple[str, ...]
    evidence: str
    next_known: Spot | None
    next_known_km: float


def asks(plan: Plan) -> list[Ask]:
    """Return the presumed offers that a plan leans on, those of one place and one reason together."""
    groups: dict[tuple[Spot, str, Spot | None], list[PresumedOffer]] = {}
    for item in plan.presumed_offers:
        groups.setdefault((item.spot, item.evidence, item.next_known), []).append(item)
    return [
        Ask(
            tuple(sorted({item.day for item in items})), spot, tuple(dict.fromkeys(offer_name(item.offer) for item in items)), evidence,
            known, min(item.next_known_km for item in items),
        )
        for (spot, evidence, known), items in groups.items()
    ]  # fmt: skip


def money(cents: int, currency: str = "") -> str:
    """Return an amount in the money that the map's prices are in, with its name where the firm tells it."""
    return spoken().money(cents, currency)


def night_price(night: Night, currency: str = "") -> str:
    """Return what a night costs in words; what nobody has told is said to be assumed."""
    if not night.price_known:
        return tell("price not known, {money} a night assumed", money=money(night.price_cents, currency))
    return tell("{money} a night", money=money(night.price_cents, currency)) if night.price_cents else tell("no charge")


def clock(when: datetime) -> str:
    """Return the time of day."""
    return spoken().clock(when)


def day_of(when: date) -> str:
    """Return a date as ``Sat 6 June 2026``."""
    return spoken().day(when)


def short_day(when: date) -> str:
    """Return a date as ``Sat 6 Jun``."""
    return spoken().short_day(when)


def day_span(plan: Plan) -> str:
    """Return first and last date of a trip."""
    return tell("{first} to {last}", first=day_of(plan.trip.pick_up.date()), last=day_of(plan.trip.return_by.date()))


def spot_name(spot: Spot, place: Place | None = None) -> str:
    """Return what a spot is called: its name, else as the person wrote it, else where it is. Clean and isolated, not escaped."""
    name = spot.name.strip() or (place.name.strip() if place else "") or spot.text.strip()
    return plain(name) or f"{spot.lat:.5f}, {spot.lon:.5f}"


def listed(words: Iterable[str]) -> str:
    """Return words as ``a, b and c``."""
    items = [word for word in words if word]
    if len(items) < 2:
        return "".join(items)
    return tell("{words} and {last}", words=", ".join(items[:-1]), last=items[-1])


def done_words(stores: Iterable[str]) -> str:
    """Return what a service did to the stores."""
    return listed(tell(DONE[store]) if store in DONE else plain(store) for store in stores)


def todo_words(stores: Iterable[str]) -> str:
    """Return what is to be done for the stores."""
    return listed(tell(TO_DO[store]) if store in TO_DO else plain(store) for store in stores)


def amount(store: str, value: float) -> str:
    """Return a level with its unit: litres, to a tenth below ten where there is one; whole Ah; gas to 100 g."""
    language = spoken()
    if store == Store.GAS:
        return language.mass(value, 1)
    if store == Store.BATTERY:
        return f"{language.number(value)} Ah"
    tenths = round(10 * value)
    return language.volume(value, 1 if 0 < tenths < 100 and tenths % 10 else 0)


def sure_of(plan: Plan) -> str:
    """Return on how many of a hundred trips each level of a plan is kept to."""
    return spoken().number(math.floor(100 * plan.trip.confidence + 1e-9))


def figure(store: str, value: float) -> str:
    """Return the figure of a level as `amount` sets it, without its unit."""
    return amount(store, value).split()[0]


def capacity(van: Van, store: str) -> float:
    """Return the full volume of a store of the van [L, kg, Ah]."""
    return {
        "fresh": van.fresh_l, "grey": van.grey_l, "cassette": van.cassette_l * van.cassettes, "flush": van.flush_l,
        "gas": van.gas_bottle_kg * van.gas_bottles, "battery": van.battery_ah,
    }.get(store, 0.0)  # fmt: skip


def fills(store: str) -> bool:
    """Return whether use makes the level of a store rise."""
    return store in (Store.GREY, Store.CASSETTE)


def nearest_level(line: LevelLine) -> float:
    """Return the level of a store that comes nearest to its limit on a day, from leaving to the next morning."""
    return nearest_of(line.store, (line.leave, line.arrive, line.worst, line.end))


def nearest_of(store: str, levels: Iterable[float]) -> float:
    """Return that one of some levels of a store which comes nearest to its limit."""
    return max(levels) if fills(store) else min(levels)


def room_left(line: LevelLine) -> float:
    """Return how far the level of a store that comes nearest to its limit on a day is from it; negative beyond it."""
    return line.limit - nearest_level(line) if fills(line.store) else nearest_level(line) - line.limit


def stores_of(van: Van) -> tuple[str, ...]:
    """Return the stores that the van really has, in their fixed order."""
    return tuple(store.value for store in STORES if capacity(van, store) > 0)


def leg_words(leg: Leg) -> str:
    """Return length, time and ferry of a leg."""
    time = hours_minutes(leg.drive_s)
    parts = [km(leg.length_m), tell("{time} towing", time=time) if leg.mode == "van" else tell("{time} by car", time=time)]
    if leg.ferry_s > 0:
        parts.append(tell("ferry {time}", time=hours_minutes(leg.ferry_s)))
    if leg.presumed_m >= 5:
        parts.append(tell("{km} presumed sealed", km=km(leg.presumed_m)))
    if leg.unknown_m >= 5:
        parts.append(tell("{km} of unknown surface", km=km(leg.unknown_m)))
    if leg.tolls > 0:
        parts.append(tell_n("toll", "{n} tolls", leg.tolls))
    return ", ".join(parts)


def day_words(day: Day) -> str:
    """Return a day's length and time on the road."""
    length = sum(leg.length_m for leg in day.legs if leg.mode == "van")
    by_car = [leg for leg in day.legs if leg.mode != "van"]
    towed = tell("{km}, {time} towing", km=km(length), time=hours_minutes(day.towing_s))
    parts = [towed if length > 0 else tell("the van stays")]
    if by_car:
        car_m, car_s = sum(leg.length_m for leg in by_car), sum(leg.drive_s for leg in by_car)
        parts.append(tell("{km}, {time} by car alone", km=km(car_m), time=hours_minutes(car_s)))
    return "; ".join(parts)
