"""The first sheet: the trip at a glance."""

from __future__ import annotations

import math
from datetime import timedelta

from tripplan.model.plan import Day, Night, Plan
from tripplan.report import say
from tripplan.report.chart import levels_of
from tripplan.report.closed import closure_lines
from tripplan.report.counted import trip_title
from tripplan.report.language import spoken
from tripplan.report.listing import proof_words
from tripplan.report.safe import plain
from tripplan.report.say import spot_name
from tripplan.report.sheets.blocks import Block, Facts, Heading, Item, Items, Para, Phone, Picture, Sheet, Table, Text
from tripplan.report.sheets.common import Folder
from tripplan.report.sheets.drawings import levels_drawing, map_drawing
from tripplan.report.sheets.near import FUEL_REACH_M, fuel_gap
from tripplan.report.sheets.tell import tell, tell_n, word
from tripplan.report.why import services_of

__all__ = ["glance"]

#: Closures named on the first sheet; a feed of a whole country has hundreds.
_MOST_CLOSURES = 20


def glance(folder: Folder) -> Sheet:
    """Return the trip at a glance: facts, map, days, levels, what to book and to ask, costs."""
    plan = folder.plan
    blocks: list[Block] = [
        Heading(1, trip_title(plan.trip)),
        _facts(folder),
        Picture(map_drawing(plan, folder.region, folder.ways), "map"),
        Para(
            tell(
                "Numbers in rings: nights. Black square: depot. White squares: service stops. Stars: sights. Each day has a dash of its own."
            ),
            "note",
        ),
        Heading(2, tell("Days")),
        _days(folder),
        Heading(2, tell("Levels")),
        Para(_levels_words(folder), "note"),
        Picture(levels_drawing(plan), "levels"),
        Heading(2, tell("To book")),
        *_to_book(folder),
        *_phone_first(folder),
        *_closures(folder),
        Heading(2, tell("Costs")),
        *_costs(folder),
    ]
    return Sheet("glance", "glance", tell("The trip at a glance"), tuple(blocks), folder.foot(plan.trip.depot))


def _levels_words(folder: Folder) -> str:
    """Return how to read the levels, and how sure they are."""
    plan = folder.plan
    holds, share = plan.holds, 100 * plan.trip.confidence
    if holds is None:
        return tell(
            "Planned so that {share} of 100 trips like this keep every limit. Dashed: limit. Triangles: services.",
            share=spoken().number(share),
        )
    if holds.together >= 0.995:
        sure = tell("On more than 99 of 100 trips like this no store passes its limit. ")
    else:
        sure = tell("On {share} of 100 trips like this no store passes its limit. ", share=math.floor(100 * holds.together))
    if any(strip.expected for strip in levels_of(plan).strips):
        key = tell(
            "Dark line: the level planned with. Shaded from there: up to the level to expect. Dashed: limit. Triangles: services."
        )
    else:
        key = tell("Dark line: the level planned with. Dashed: limit. Triangles: services.")
    return sure + key


def _facts(folder: Folder) -> Facts:
    plan = folder.plan
    trip = plan.trip
    van = [leg for day in plan.days for leg in day.legs if leg.mode == "van"]
    length, presumed = sum(leg.length_m for leg in van), sum(leg.presumed_m for leg in van)
    by_car = sum(leg.length_m for day in plan.days for leg in day.legs if leg.mode != "van")
    towing = tell("{km}, {time}", km=say.km(length), time=say.hours_minutes(sum(day.towing_s for day in plan.days)))
    if presumed >= 5:
        towing = tell("{towing}; of it {km} presumed sealed", towing=towing, km=say.km(presumed))
    outfit, party = trip.outfit, trip.party
    number, how = folder.emergency
    figures = spoken()
    rows: list[tuple[str, Text]] = [
        (tell("From"), tell("{day}, {time}, {place}", day=say.day_of(trip.pick_up.date()), time=say.clock(trip.pick_up), place=spot_name(trip.depot))),
        (
            tell("Until"),
            tell("{day}, {time}, {place}", day=say.day_of(trip.return_by.date()), time=say.clock(trip.return_by), place=spot_name(trip.return_depot)),
        ),
        (tell("Towing"), towing),
        (tell("By car alone"), say.km(by_car) if by_car >= 5 else tell("not at all")),
        (tell("Fuel"), _fuel(folder)),
        (
            tell("Outfit"),
            tell(
                "{length} long, {width} wide, {height} high, {mass}; towing limit {limit}",
                length=figures.size(outfit.length_m, 1), width=figures.size(outfit.width_m), height=figures.size(outfit.height_m),
                mass=figures.mass(outfit.mass_kg), limit=figures.speed(outfit.towing_limit_kmh),
            ),
        ),
        (tell("Party"), tell("{name}: {heads}", name=party.name, heads=_heads(party.adults, party.children, party.pets))),
        (tell("Firm"), (tell("{name} ", name=trip.firm.name), Phone(trip.firm.phone))),
        (tell("Emergency"), (Phone(number), tell(" ({how})", how=how))),
    ]  # fmt: skip
    return Facts(tuple(rows))


def _heads(adults: int, children: int, pets: int) -> str:
    said = [tell_n("1 adult", "{n} adults", adults)]
    if children:
        said.append(tell_n("1 child", "{n} children", children))
    if pets:
        said.append(tell_n("1 pet", "{n} pets", pets))
    return say.listed(said)


def _fuel(folder: Folder) -> str:
    """Return the longest gap between fuel stations in words."""
    if folder.region.aids is None:
        return tell("fuel stations are not known: this region was prepared before they were kept, build it again")
    gap = fuel_gap(folder.region, [(day, points) for day, _, points in folder.ways])
    if gap is None or gap.metres < 5:
        return tell("nothing is driven")
    near = say.km(FUEL_REACH_M)
    if gap.stations == 0:
        return tell(
            "no fuel station of the map within {near} of the way, {km} in all: fill up before setting off",
            near=near,
            km=say.km(gap.metres),
        )
    start, end = tell("the start"), tell("the end")
    return tell(
        "longest way without a fuel station (within {near} of it): {km}, from {after} to {before}, day {day}; ferries counted, hours not looked at",
        near=near, km=say.km(gap.metres), day=gap.day, after=_station(gap.after, start), before=_station(gap.before, end),
    )  # fmt: skip


def _station(name: str | None, end: str) -> str:
    return end if name is None else name or tell("a station without a name")


def _days(folder: Folder) -> Table:
    plan = folder.plan
    with_car = any(leg.mode != "van" for day in plan.days for leg in day.legs)
    rows = []
    for day in plan.days:
        served = dict.fromkeys(store for store, _ in services_of(day))
        night = tell("return")
        if day.night is not None:
            night = spot_name(day.night.spot)
            if day.night.powered:
                night = tell("{place}, mains", place=night)
        cells: list[Text] = [str(day.number), say.short_day(day.date), night, _road(day, "van")]
        if with_car:
            cells.append(_road(day, "car"))
        rows.append((*cells, ", ".join(_short(store) for store in served)))
    head = (tell("Day"), tell("Date"), tell("Night"), tell("Towing"), *((tell("By car"),) if with_car else ()), tell("Service"))
    return Table("days", head, tuple(rows), heading=0, whole=(0, 1, 3, 4) if with_car else (0, 1, 3))


#: Stores in one word, for a narrow column.
_SHORT: dict[str, str] = {
    "fresh": word("fresh"), "grey": word("grey"), "cassette": word("cassette"), "flush": word("flush"), "gas": word("gas"), "battery": word("battery"),
}  # fmt: skip


def _short(store: str) -> str:
    return tell(_SHORT[store]) if store in _SHORT else plain(store)


def _road(day: Day, mode: str) -> str:
    legs = [leg for leg in day.legs if leg.mode == mode]
    if not legs:
        return ""
    return tell(
        "{km}, {time}", km=say.km(sum(leg.length_m for leg in legs)), time=say.hours_minutes(sum(leg.drive_s for leg in legs))
    )


def _book_by(plan: Plan, first: Day) -> str:
    """Return by when the stay that begins on a day is to be booked: the day before at the latest, a first one before setting out."""
    eve = first.date - timedelta(days=1)
    return tell("before you set out") if eve < plan.days[0].date else tell("by {day}", day=say.short_day(eve))


def _to_book(folder: Folder) -> list[Block]:
    plan = folder.plan
    trip = plan.trip
    stays: list[tuple[Night, list[Day]]] = []
    for day in plan.days:
        if day.night is None:
            continue
        if stays and stays[-1][0].ref == day.night.ref and stays[-1][0].spot == day.night.spot:
            stays[-1][1].append(day)
        else:
            stays.append((day.night, [day]))
    booked = {(booking.night, booking.spot) for booking in trip.bookings}
    rows, stands = [], ""
    for night, days in stays:
        done = any((day.date, night.spot) in booked for day in days)
        if trip.under_way is not None and days[0] is plan.days[0] and night.spot == days[0].start:
            # Nobody books where the van stands already; whether it may stay so long is asked at the desk.
            if not done:
                stands = tell_n(
                    "You are at {place} already: ask at the desk whether you may stay {n} night from now.",
                    "You are at {place} already: ask at the desk whether you may stay {n} nights from now.",
                    len(days), place=spot_name(night.spot),
                )  # fmt: skip
            continue
        place = folder.place_of(night.spot)
        count = tell_n("1 night", "{n} nights", len(days))
        reach: list[str | Phone] = [spot_name(night.spot)]
        if place is not None and place.phone:
            reach += [" ", Phone(place.phone)]
        if place is not None and place.website:
            reach.append(tell(" {website}", website=place.website))
        rows.append(
            (
                tell("{day}, {count}", day=say.short_day(days[0].date), count=count), tuple(reach), tell("mains") if night.powered else tell("no mains"),
                say.night_price(night, trip.firm.currency), tell("booked") if done else _book_by(plan, days[0]),
            )
        )  # fmt: skip
    heads = _heads(trip.party.adults, trip.party.children, trip.party.pets)
    size = tell(
        "Say when booking: car and van together {length}, {heads}. ", length=spoken().size(trip.outfit.length_m, 1), heads=heads
    )
    when = tell("How far ahead is not on the map: ask soon, in school holidays first.")
    head = (tell("From"), tell("Site"), tell("Pitch"), tell("Price"), tell("Book"))
    out: list[Block] = [Para(stands)] if stands else []
    if rows:
        out += [Para(size + when, "note"), Table("book", head, tuple(rows), right=(), whole=(0,))]
    ferries = [(day, leg) for day in plan.days for leg in day.legs if leg.ferry_s > 0]
    if ferries:
        out.append(
            Items(
                tuple(
                    Item(
                        tell(
                            "Ferry on day {day}, {date}: book {length}, or ask whether one can; the day's sheet tells what the map says of it.",
                            day=day.number, date=say.short_day(day.date), length=spoken().size((trip.outfit if leg.mode == "van" else trip.car).length_m, 1),
                        )
                    )
                    for day, leg in ferries
                )
            )
        )  # fmt: skip
    return out


def _phone_first(folder: Folder) -> list[Block]:
    plan = folder.plan
    rows = []
    for ask in say.asks(plan):
        place = folder.place_of(ask.spot)
        where: list[str | Phone] = [spot_name(ask.spot)]
        if place is not None and place.phone:
            where += [" ", Phone(place.phone)]
        if place is not None and place.website:
            where.append(tell(" {website}", website=place.website))
        other = tell("none known")
        if ask.next_known is not None:
            other = tell("{place}, {km}", place=spot_name(ask.next_known), km=spoken().road(1000 * ask.next_known_km))
        what = tell("{offers}: {evidence}", offers=say.listed(ask.offers), evidence=say.evidence_words(ask.evidence))
        rows.append((say.ranges(ask.days), tuple(where), what, other))
    unknown = [
        tell("{km} on day {day}", km=say.km(leg.unknown_m), day=day.number)
        for day in plan.days for leg in day.legs if leg.mode == "van" and leg.unknown_m >= 5
    ]  # fmt: skip
    if not rows and not unknown:
        return []
    out: list[Block] = [
        Heading(2, tell("Phone first")),
        Para(tell("The plan leans on these though nobody has said so on the map."), "note"),
    ]
    if rows:
        out.append(Table("phone", (tell("Day"), tell("Where"), tell("Ask for"), tell("Next known")), tuple(rows), whole=(0,)))
    if unknown:
        out.append(
            Para(
                tell(
                    "Roads to sites and depots whose surface nobody has told: {parts}. Ask there whether the way in is sealed.",
                    parts=say.listed(unknown),
                )
            )
        )
    return out


def _closures(folder: Folder) -> list[Block]:
    lines = closure_lines(folder.plan.closures, folder.plan.trip.closures_left)
    if not lines:
        return []
    more = len(lines) - _MOST_CLOSURES
    if more > 0:
        lines = [*lines[:_MOST_CLOSURES], tell_n("{n} more is in plan.json.", "{n} more are in plan.json.", more)]
    return [Heading(2, tell("Closures and wind warnings")), Items(tuple(map(Item, lines)))]


def _costs(folder: Folder) -> list[Block]:
    cost, currency = folder.plan.cost, folder.plan.trip.firm.currency
    rows = (
        (tell("Nights"), say.money(cost.nights_cents)), (tell("Kilometres"), say.money(cost.km_cents)), (tell("Services and gas"), say.money(cost.services_cents)),
        (tell("Money in all"), say.money(cost.money_cents, currency)),
    )  # fmt: skip
    return [
        Table("costs", (), rows, heading=0, right=(1,), whole=(0, 1), last_strong=True),
        Para(
            tell(
                "In the money of the map's prices; unknown prices are assumed. The plan is {proof}.",
                proof=proof_words(folder.plan),
            ),
            "note",
        ),
    ]
