"""How times, lengths, money, stores and days are put in words, the same on every paper. Plain text, nothing escaped."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime

from tripplan.model.place import Place, Spot
from tripplan.model.plan import Day, Leg, LevelLine, Night, Plan, PresumedOffer
from tripplan.model.van import Van
from tripplan.model.words import STORES, Store
from tripplan.report.safe import plain

__all__ = [
    "DONE", "OFFER_NAMES", "STORE_NAMES", "TO_DO", "Ask", "amount", "asks", "capacity", "clock", "day_of", "day_span", "day_words",
    "days_words", "done_words", "fills", "hours_minutes", "km", "leg_words", "listed", "money", "night_price", "offer_name", "ranges", "room_left",
    "runs_on_words", "short_day", "spot_name", "stores_of", "todo_words",
]  # fmt: skip

_WEEKDAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
_MONTHS = (
    "January",
    "February",
    "March",
    "April",
    "May",
    "June",
    "July",
    "August",
    "September",
    "October",
    "November",
    "December",
)

STORE_NAMES: dict[str, str] = {
    "fresh": "fresh water", "grey": "grey water", "cassette": "toilet cassette", "flush": "flush water", "gas": "gas", "battery": "battery",
}  # fmt: skip
TO_DO: dict[str, str] = {
    "fresh": "fill fresh water", "grey": "empty grey water", "cassette": "empty the cassette", "flush": "fill the flush tank",
    "gas": "exchange the gas bottle", "battery": "charge the battery",
}  # fmt: skip
DONE: dict[str, str] = {
    "fresh": "fresh water filled", "grey": "grey water emptied", "cassette": "cassette emptied", "flush": "flush tank filled",
    "gas": "gas bottle exchanged", "battery": "battery charged",
}  # fmt: skip
OFFER_NAMES: dict[str, str] = {
    "power": "mains power", "fresh": "drinking water", "piped": "tap and drain at the pitch", "grey": "emptying grey water",
    "cassette": "emptying the cassette", "gas": "gas bottles", "toilets": "toilets", "showers": "showers", "stay": "staying there with a caravan",
}  # fmt: skip


def offer_name(word: str) -> str:
    """Return an offer in words."""
    return OFFER_NAMES.get(word) or plain(word)


def hours_minutes(seconds: float) -> str:
    """Return a duration as ``1 h 40 min``, to the minute."""
    minutes = round(seconds / 60)
    if minutes < 60:
        return f"{minutes} min"
    return f"{minutes // 60} h" + (f" {minutes % 60:02d} min" if minutes % 60 else "")


def km(metres: float) -> str:
    """Return a length in km, in metres below one km."""
    if metres < 995:
        return f"{round(metres, -1):.0f} m" if metres >= 5 else "0 m"
    return f"{metres / 1000:.1f} km" if metres < 9950 else f"{metres / 1000:.0f} km"


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
        return "towing days"
    return f"day{'s' if len(chosen) > 1 else ''} {ranges(chosen)}"


def runs_on_words(runs_on: Mapping[str, str]) -> str:
    """Return what runs on what at a stop."""
    return "; ".join(f"{plain(what)}: {plain(source)}" for what, source in runs_on.items())


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
    return f"{cents / 100:,.2f} {plain(currency)}".rstrip()


def night_price(night: Night, currency: str = "") -> str:
    """Return what a night costs in words; what nobody has told is said to be assumed."""
    if not night.price_known:
        return f"price not known, {money(night.price_cents, currency)} a night assumed"
    return f"{money(night.price_cents, currency)} a night" if night.price_cents else "no charge"


def clock(when: datetime) -> str:
    """Return the time of day."""
    return f"{when:%H:%M}"


def day_of(when: date) -> str:
    """Return a date as ``Sat 6 June 2026``; the same in every locale."""
    return f"{_WEEKDAYS[when.weekday()]} {when.day} {_MONTHS[when.month - 1]} {when.year}"


def short_day(when: date) -> str:
    """Return a date as ``Sat 6 Jun``."""
    return f"{_WEEKDAYS[when.weekday()]} {when.day} {_MONTHS[when.month - 1][:3]}"


def day_span(plan: Plan) -> str:
    """Return first and last date of a trip."""
    return f"{day_of(plan.trip.pick_up.date())} to {day_of(plan.trip.return_by.date())}"


def spot_name(spot: Spot, place: Place | None = None) -> str:
    """Return what a spot is called: its name, else as the person wrote it, else where it is. Clean and isolated, not escaped."""
    name = spot.name.strip() or (place.name.strip() if place else "") or spot.text.strip()
    return plain(name) or f"{spot.lat:.5f}, {spot.lon:.5f}"


def listed(words: Iterable[str]) -> str:
    """Return words as ``a, b and c``."""
    items = [word for word in words if word]
    return items[0] if len(items) == 1 else " and ".join([", ".join(items[:-1]), items[-1]]) if items else ""


def done_words(stores: Iterable[str]) -> str:
    """Return what a service did to the stores."""
    return listed(DONE.get(store) or plain(store) for store in stores)


def todo_words(stores: Iterable[str]) -> str:
    """Return what is to be done for the stores."""
    return listed(TO_DO.get(store) or plain(store) for store in stores)


def amount(store: str, value: float) -> str:
    """Return a level with its unit: whole litres and Ah, gas to 100 g."""
    if store == Store.GAS:
        return f"{value:.1f} kg"
    return f"{round(value)} {'Ah' if store == Store.BATTERY else 'L'}"


def capacity(van: Van, store: str) -> float:
    """Return the full volume of a store of the van [L, kg, Ah]."""
    return {
        "fresh": van.fresh_l, "grey": van.grey_l, "cassette": van.cassette_l * van.cassettes, "flush": van.flush_l,
        "gas": van.gas_bottle_kg * van.gas_bottles, "battery": van.battery_ah,
    }.get(store, 0.0)  # fmt: skip


def fills(store: str) -> bool:
    """Return whether use makes the level of a store rise."""
    return store in (Store.GREY, Store.CASSETTE)


def room_left(line: LevelLine) -> float:
    """Return how far a store's worst level of a day is from its limit; negative beyond it."""
    return line.limit - line.worst if fills(line.store) else line.worst - line.limit


def stores_of(van: Van) -> tuple[str, ...]:
    """Return the stores that the van really has, in their fixed order."""
    return tuple(store.value for store in STORES if capacity(van, store) > 0)


def leg_words(leg: Leg) -> str:
    """Return length, time and ferry of a leg."""
    parts = [km(leg.length_m), hours_minutes(leg.drive_s) + (" towing" if leg.mode == "van" else " by car")]
    if leg.ferry_s > 0:
        parts.append(f"ferry {hours_minutes(leg.ferry_s)}")
    if leg.presumed_m >= 5:
        parts.append(f"{km(leg.presumed_m)} presumed sealed")
    if leg.unknown_m >= 5:
        parts.append(f"{km(leg.unknown_m)} of unknown surface")
    if leg.tolls > 0:
        parts.append("toll" if leg.tolls == 1 else f"{leg.tolls} tolls")
    return ", ".join(parts)


def day_words(day: Day) -> str:
    """Return a day's length and time on the road."""
    length = sum(leg.length_m for leg in day.legs if leg.mode == "van")
    by_car = [leg for leg in day.legs if leg.mode != "van"]
    parts = [f"{km(length)}, {hours_minutes(day.towing_s)} towing"] if length > 0 else ["the van stays"]
    if by_car:
        car_m, car_s = sum(leg.length_m for leg in by_car), sum(leg.drive_s for leg in by_car)
        parts.append(f"{km(car_m)}, {hours_minutes(car_s)} by car alone")
    return "; ".join(parts)
