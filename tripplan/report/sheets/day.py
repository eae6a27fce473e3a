"""A sheet a day: clock, why, roads, levels, the night, and what to do on leaving and arriving."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import replace

from tripplan.model.cautions import CAUTIONS
from tripplan.model.plan import Day, Event, Leg, Night
from tripplan.model.words import Offer
from tripplan.report import say
from tripplan.report.closed import in_force_words
from tripplan.report.language import spoken
from tripplan.report.lines import Stretch, stretches
from tripplan.report.retell import retell
from tripplan.report.safe import plain
from tripplan.report.say import spot_name
from tripplan.report.sheets.blocks import Beside, Block, Box, Cell, Heading, Item, Items, Para, Phone, Sheet, Table
from tripplan.report.sheets.common import PRACTICE, Folder, careful, source_words, sourced
from tripplan.report.sheets.tell import tell, word
from tripplan.report.sheets.walk import Stay, arriving, by_car, leaving, stands_at, stay_before, stay_of
from tripplan.report.why import needs_of, served_words

__all__ = ["day_sheet"]

_KINDS = {
    "handover": word("Hand-over"), "drive": word("Drive"), "break": word("Break"), "service": word("Service"), "sight": word("Sight"),
    "arrive": word("Arrive"), "stay": word("Stay"), "return": word("Return"), "ferry": word("Ferry"),
}  # fmt: skip
#: Notes that the table of a leg and its caption tell word for word.
_IN_TABLE = re.compile(r"^(?:\d[\d.,]* km of road only presumed to be sealed, |Toll road, )")
#: Cautions of the road that stand with the roads rather than in a list of things to do.
_ON_THE_ROAD = ("wind", "descents", "breaks", "clearance", "fridge_warm", "fridge_warm_car", "fridge_warm_battery")
#: And those of the night beyond what the lists say.
_AT_NIGHT = ("cold_van", "butane_cold", "autogas", "chemicals")


def day_sheet(day: Day, folder: Folder, keys: Mapping[int, frozenset[str]]) -> Sheet:
    """Return the sheet of a day; ``keys``: the cautions of every day."""
    plan = folder.plan
    van, own = plan.trip.van, keys.get(day.number, frozenset())
    start, end = spot_name(day.start), spot_name(day.end)
    way = start if start == end else tell("{start} to {end}", start=start, end=end)
    title = tell("Day {number} · {date}", number=day.number, date=say.day_of(day.date))
    blocks: list[Block] = [Heading(2, title), Para(way, "way"), Para(_light(day), "note"), _clock(day, folder)]
    last = day.number == plan.days[-1].number
    needs = [] if last else [need for need in needs_of(plan, day) if need.until]
    if needs:
        blocks.append(Items(tuple(Item(need.words()) for need in needs), "why"))
    chances = _chances(day, folder)
    if chances:
        blocks.append(Items(tuple(map(Item, chances))))
    own_words = [note for note in dict.fromkeys(day.notes) if not _IN_TABLE.search(note)]
    notes = [*map(retell, own_words), *in_force_words(plan, day)]
    if notes:
        blocks.append(Items(tuple(map(Item, notes))))
    legs = [leg for leg in day.legs if leg.runs.piece]
    blocks += [_leg(leg, folder) for leg in legs]
    if any(leg.mode == "van" for leg in legs):
        blocks += _careful(own, _ON_THE_ROAD)
    blocks += _levels(day, folder)
    if day.night is not None:
        blocks.append(_night(day.night, day, folder))
        blocks += _careful(own, _AT_NIGHT)
    before = stay_before(plan.days, day.number, van, dict(keys)) or stands_at(day, plan.trip, folder.place_of(day.start), own)
    blocks += _lists(day, before, folder, own)
    return Sheet(f"day-{day.number}", "day", title, tuple(sourced(blocks)), folder.foot(day.end))


def _light(day: Day) -> str:
    parts = [say.day_words(day)]
    if day.sunrise is not None:
        parts.append(tell("sunrise {time}", time=say.clock(day.sunrise)))
    if day.sunset is not None:
        parts.append(tell("sunset {time}", time=say.clock(day.sunset)))
    parts += [retell(part) for part in (day.weather, day.holiday) if part]
    return " · ".join(map(plain, parts))


def _says(text: str, what: str) -> bool:
    """Return whether a text has every word of another, little ones aside."""
    little = {"the", "and", "und"}
    return set(re.findall(r"\w+", what.lower())) - little <= set(re.findall(r"\w+", text.lower()))


def _clock(day: Day, folder: Folder) -> Block:
    if not day.events:
        return Para(tell("Nothing is planned on the clock."), "note")
    rows = []
    for event in day.events:
        time = (
            say.clock(event.start)
            if event.end <= event.start
            else tell("{a}–{b}", a=say.clock(event.start), b=say.clock(event.end))
        )
        rows.append((time, tell(_KINDS[event.kind]) if event.kind in _KINDS else event.kind, _doing(event, folder)))
    return Table("clock", (), tuple(rows), whole=(0, 1))


def _doing(event: Event, folder: Folder) -> Cell:
    """Return what is done: the text, with what it leaves out: stores, place, money, hours, how much later one may come."""
    text = plain(retell(event.text))
    if event.kind == "service" and event.stores and not _says(text, say.todo_words(event.stores)):
        doing = say.upper_first(say.todo_words(event.stores))
        text = tell("{doing} ({text})", doing=doing, text=text) if text else doing
    parts: list[str | Phone] = []
    if event.spot is not None and event.kind in ("service", "sight") and spot_name(event.spot) not in text:
        text = tell("{text}, {place}", text=text, place=spot_name(event.spot))
    if event.cents > 0:
        text = tell("{text}, {money}", text=text, money=say.money(event.cents, folder.plan.trip.firm.currency))
    parts.append(text)
    place = folder.place_of(event.spot) if event.kind in ("service", "sight") else None
    if place is not None and place.hours:
        parts.append(tell(". Hours by {source}: {hours}", source=folder.from_whom(place), hours=place.hours))
    if place is not None and place.phone:
        parts += [tell(". Phone "), Phone(place.phone)]
    if event.spare_min > 0:
        parts.append(tell(". Up to {time} later still keeps the day", time=say.hours_minutes(60 * event.spare_min)))
    return tuple(parts)


def _chances(day: Day, folder: Folder) -> list[str]:
    """Return where each service of the day can be done if its place is closed."""
    out = []
    told: set[str] = set()
    for event in day.events:
        chance = event.next_chance
        if event.kind != "service" or chance is None:
            continue
        here = spot_name(event.spot) if event.spot is not None else tell("this place")
        told.add(here)
        if chance.nearest is not None:
            sure = tell("known to offer it") if chance.known else tell("presumed to offer it, phone first")
            out.append(
                tell(
                    "If {here} is closed: nearest other place {place}, {km}, {time} ({sure}).",
                    here=here, place=spot_name(chance.nearest), km=spoken().road(1000 * chance.nearest_km), time=say.hours_minutes(60 * chance.nearest_min), sure=sure,
                )
            )  # fmt: skip
        if chance.planned is not None:
            lasts = tell("the stores last until then") if chance.lasts else tell("the stores do not last until then")
            out.append(
                tell(
                    "If {here} is closed: next planned {place} on day {day}; {lasts}.",
                    here=here, place=spot_name(chance.planned), day=chance.planned_day, lasts=lasts,
                )
            )  # fmt: skip
        elif chance.nearest is not None:
            without = (
                word("No other stop of this plan does it; the stores last to the end without it.")
                if chance.lasts
                else word("No other stop of this plan does it; the stores do not last without it.")
            )
            out[-1] += " " + tell(without)
        if chance.nearest is None and chance.planned is None:
            out.append(tell("If {here} is closed: no other place is known; phone before setting off.", here=here))
    for ask in say.asks(folder.plan):
        if day.number not in ask.days or spot_name(ask.spot) in told:
            continue
        if ask.next_known is not None:
            out.append(
                tell(
                    "If {place} has not got it ({offers}): next known {other}, {km}.",
                    place=spot_name(ask.spot), offers=say.listed(ask.offers), other=spot_name(ask.next_known), km=spoken().road(1000 * ask.next_known_km),
                )
            )  # fmt: skip
    return list(dict.fromkeys(out))


def _leg(leg: Leg, folder: Folder) -> Table:
    outfit = folder.plan.trip.outfit if leg.mode == "van" else folder.plan.trip.car
    rows = []
    for part in _gathered(stretches(folder.region, leg, outfit.height_m, outfit.width_m)):
        remarks = list(part.remarks)
        if part.presumed_m >= 5:
            remarks.append(tell("{km} presumed sealed", km=say.km(part.presumed_m)))
        if part.unknown_m >= 5:
            remarks.append(tell("{km} of unknown surface", km=say.km(part.unknown_m)))
        rows.append(
            (
                part.road or tell(part.kind),
                say.km(part.length_m),
                say.hours_minutes(part.time_s) if part.time_s >= 30 else tell("< 1 min"),
                "; ".join(map(plain, remarks)),
            )
        )
    sentence = (
        word("With the van: {start} to {end}, {words}") if leg.mode == "van" else word("By car alone: {start} to {end}, {words}")
    )
    caption = tell(sentence, start=spot_name(leg.start), end=spot_name(leg.end), words=say.leg_words(leg))
    return Table("leg", (), tuple(rows), caption, right=(1, 2), whole=(1, 2))


#: Roads shorter than this that nothing is to be said about stand in one row with their like before and after them [m].
_SHORT_M = 1000.0


def _gathered(parts: Iterable[Stretch]) -> list[Stretch]:
    """Return the stretches of a way, short roads one after another in one row: the names in order, length and time in all."""
    out: list[Stretch] = []
    open_row = False
    for part in parts:
        short = part.length_m < _SHORT_M and not part.remarks and part.presumed_m < 5 and part.unknown_m < 5
        if short and open_row:
            before = out[-1]
            out[-1] = replace(
                before,
                road=tell("{road}, then {next}", road=before.road or tell(before.kind), next=part.road or tell(part.kind)),
                length_m=before.length_m + part.length_m,
                time_s=before.time_s + part.time_s,
            )
        else:
            out.append(part)
        open_row = short
    return out


def _careful(own: frozenset[str], which: tuple[str, ...]) -> list[Block]:
    keys = [key for key in which if key in own and key in CAUTIONS]
    return [Items(tuple(careful(key) for key in keys), "care", columns=min(2, len(keys)))] if keys else []


def _levels(day: Day, folder: Folder) -> list[Block]:
    rows = []
    for line in day.levels:
        if line.store not in say.stores_of(folder.plan.trip.van):
            continue
        values = tuple(say.amount(line.store, value) for value in (line.leave, line.arrive, say.nearest_level(line), line.end))
        limit = say.amount(line.store, line.limit)
        bound = tell("at most {limit}", limit=limit) if say.fills(line.store) else tell("at least {limit}", limit=limit)
        rows.append((say.store_name(line.store), *values, bound, served_words(line.served)))
    if not rows:
        return []
    head = (
        tell("Level ({share} % sure)", share=say.sure_of(folder.plan)),
        tell("Leaving"),
        tell("Arriving"),
        tell("At the worst"),
        tell("Next morning"),
        tell("Limit"),
        tell("Served"),
    )
    return [Table("store", head, tuple(rows), heading=0, whole=(0, 1, 2, 3, 4, 5))]


def _night(night: Night, day: Day, folder: Folder) -> Box:
    place = folder.place_of(night.spot)
    currency = folder.plan.trip.firm.currency
    power = tell("mains power") if night.powered else tell("no mains power")
    kind = tell("{kind}, {power}, {price}.", kind=retell(night.kind), power=power, price=say.night_price(night, currency))
    offers = []
    for offer, fact in night.offers.items():
        if fact.answer >= Offer.PRESUMED:
            presumed = fact.answer == Offer.PRESUMED
            offers.append(tell("{offer} (presumed)", offer=say.offer_name(offer)) if presumed else say.offer_name(offer))
    if offers:
        kind = tell("{first} {then}", first=kind, then=tell("There: {offers}.", offers=say.listed(offers)))
    reach: list[str | Phone] = [f"{kind} "]
    if place is not None:
        source = folder.from_whom(place)
        if place.hours:
            reach.append(tell("Hours by {source}: {hours}. ", source=source, hours=place.hours))
        if place.season:
            reach.append(tell("Season: {season}. ", season=place.season))
        if place.check_in or place.check_out:
            reach.append(
                tell(
                    "Arrive {a}; leave {b}. ",
                    a=place.check_in or tell("at any hour told"),
                    b=place.check_out or tell("at any hour told"),
                )
            )
        if place.phone:
            reach += [tell("Phone "), Phone(place.phone), ". "]
        if place.website:
            reach.append(tell("Website {website}. ", website=place.website))
        if place.note:
            reach.append(tell("Note: {note}. ", note=place.note))
        if source != tell("the map"):
            reach.append(tell("Price, hours and offers: {source}. ", source=source))
        noted = [fact for fact in night.offers.values() if fact.evidence.startswith("local note")]
        if noted and source == tell("the map"):
            reach.append(tell("Known by {evidence}. ", evidence=say.listed(dict.fromkeys(fact.evidence for fact in noted))))
    blocks: list[Block] = [
        Heading(3, tell("Night {number}: {place}", number=day.number, place=spot_name(night.spot))),
        Para(tuple(reach)),
    ]
    blocks += _runs_on(night, day)
    return Box(tuple(blocks))


def _runs_on(night: Night, day: Day) -> list[Block]:
    """Return what runs on what, and what follows from it."""
    energy = day.energy
    out: list[Block] = []
    if energy is None or not energy.lines:
        return [Para(tell("Runs on: {what}.", what=say.runs_on_words(night.runs_on)))] if night.runs_on else []
    for when, sentence in (
        ("towing", word("Towing: {what}.")),
        ("ferry", word("Aboard the ferry: {what}.")),
        ("stay", word("At the site: {what}.")),
    ):
        lines = [line for line in energy.lines if line.when == when]
        if lines:
            out.append(Para(tell(sentence, what=say.runs_on_words({line.what: line.runs_on for line in lines}))))
    words = [_mains(energy.mains, energy.mains_why)] if energy.mains_why else []
    if night.stay_night <= 1:
        words += map(retell, energy.hook_up)
    if energy.hot_water_min > 0:
        words.append(
            tell(
                "Hot water from cold in about {min} min, enough for {shower} at the shower head.",
                min=spoken().number(energy.hot_water_min),
                shower=spoken().volume(energy.shower_l),
            )
        )
    if energy.fridge_above_h > 0:
        words.append(
            tell(
                "Fridge: up to {warmest}, {hours} h above {limit}.",
                warmest=spoken().temperature(energy.fridge_warmest_c),
                hours=spoken().number(energy.fridge_above_h, 1),
                limit=spoken().temperature(5),
            )
        )
    if energy.volts_evening > 0:
        words.append(
            tell(
                "Battery, rested: {a} V in the evening, {b} V in the morning at the level planned.",
                a=spoken().number(energy.volts_evening, 1),
                b=spoken().number(energy.volts_morning, 1),
            )
        )
    words += map(retell, energy.frost)
    if words:
        items = tuple(map(Item, dict.fromkeys(words)))
        out.append(Items(items, columns=2 if len(items) > 2 else 1))
    return out


def _mains(need: str, why: tuple[str, ...]) -> str:
    """Return whether mains is needed, and why."""
    reasons = "; ".join(plain(retell(reason)) for reason in why)
    if need == "needed":
        return tell("Mains is needed: {reasons}.", reasons=reasons)
    if need == "helps":
        return tell("Mains helps: {reasons}.", reasons=reasons)
    return tell("No mains: {reasons}.", reasons=reasons)


def _lists(day: Day, before: Stay | None, folder: Folder, own: frozenset[str]) -> list[Block]:
    """Return the lists for leaving and arriving."""
    van = folder.plan.trip.van
    tows = any(leg.mode == "van" for leg in day.legs)
    drives = any(leg.mode != "van" for leg in day.legs)
    left: list[Block] = []
    if tows:
        left = [Heading(3, tell("On leaving, once round the van")), Items(leaving(day, before, van), "tick")]
    elif drives:
        here = stay_of(day.night, day, van, own) if day.night is not None else before
        left = [Heading(3, tell("Before the car leaves")), Items(by_car(day, here), "tick")]
    right: list[Block] = []
    if tows and day.night is not None:
        right = [Heading(3, tell("On arriving, once round the van")), Items(arriving(day, van, own), "tick")]
    elif day.night is not None:
        right = [Heading(3, tell("The van stays")), Items(_staying(day, own), "tick")]
    if left and right:
        return [Beside(tuple(left), tuple(right))]
    return [*left, *right]


def _staying(day: Day, own: frozenset[str]) -> tuple[Item, ...]:
    """Return what a standing day asks for."""
    served = {line.store for line in day.levels if "site" in line.served}
    out = [Item(tell("Look at the gauges and at what the table says for the morning."), source_words(PRACTICE))]
    if served & {"cassette", "grey"}:
        todo = say.todo_words(store for store in ("grey", "cassette") if store in served)
        out.append(
            Item(
                tell("Here: {todo}, at the dump point only, gloves on, hands washed.", todo=todo),
                source_words(CAUTIONS["black_water"][1]),
            )
        )
    if served & {"fresh", "flush"}:
        out.append(
            Item(tell("Fill fresh water by its own hose; boil what you doubt."), source_words(CAUTIONS["drinking_water"][1]))
        )
    if "carbon_monoxide" in own:
        out.append(
            Item(
                tell("Fixed vents clear, carbon monoxide alarm tried; never heat by hob, barbecue or portable heater."),
                source_words(CAUTIONS["carbon_monoxide"][1]),
            )
        )
    if "wind" in own or day.kind == "standing":
        out.append(Item(tell("Wind warning: awning in, steadies down, everything tied."), source_words(CAUTIONS["wind"][1])))
    if "frost" in own:
        out.append(
            Item(
                tell("Frost tonight: barrels and hoses emptied, heater on low or the water heater drained."),
                source_words(CAUTIONS["frost"][1]),
            )
        )
    return tuple(out)
