"""Where the nights are spent and what is bought there: admission, season, wishes, offers leaned on, money."""

from __future__ import annotations

from itertools import groupby

from tripplan.audit.findings import Findings
from tripplan.audit.spots import apart
from tripplan.model.place import OfferFact, Place
from tripplan.model.plan import Day, Plan
from tripplan.model.words import STORES, Offer
from tripplan.region.region import Region

__all__ = ["audit_nights"]

#: Which offer of a place serves which store.
SERVES = {
    "fresh": ("fresh", "piped"),
    "flush": ("fresh", "piped"),
    "grey": ("grey", "piped"),
    "cassette": ("cassette",),
    "gas": ("gas",),
    "battery": ("power",),
}


def audit_nights(plan: Plan, region: Region, found: Findings) -> None:
    """Check each night's place, each service, the wishes and the sums of money."""
    for day in plan.days:
        if day.night is not None:
            _site(plan, region, day, found)
        _services(plan, region, day, found)
    _stays(plan, region, found)
    _wishes(plan, found)
    _money(plan, found)


def _site(plan: Plan, region: Region, day: Day, found: Findings) -> None:
    trip, night = plan.trip, day.night
    assert night is not None
    if night.spot.place < 0:
        if not any(not apart(b.spot, night.spot) and b.night == day.date for b in trip.bookings):
            found.add("night", day.number, 1, "", f"{night.spot.name!r} is no site of the region")
        return
    if night.spot.place >= len(region.places):
        found.add("night", day.number, 1, "", "a night at a place that the region does not have")
        return
    place = region.places[night.spot.place]
    booked = any(b.spot.place == place.index and b.night == day.date for b in trip.bookings)
    found.unless(place.ref == night.ref, "night", day.number, f"{place.ref} is not {night.ref}")
    found.unless(place.role == "site" or booked, "night", day.number, f"{place.name!r} is not an overnight site")
    least = Offer.PRESUMED if trip.presumed_offers else Offer.YES
    found.unless(
        place.admits >= least or booked, "not admitted", day.number, f"{place.name!r} does not admit a van ({place.admits_why})"
    )
    if place.admits == Offer.PRESUMED and not booked:
        leaned = any(p.day == day.number and p.spot.place == place.index for p in plan.presumed_offers)
        found.unless(
            leaned,
            "phone first",
            day.number,
            f"{place.name!r} is only presumed to admit a van and is not listed under phone first",
        )
    if trip.site_kinds and place.kind not in trip.site_kinds and not booked:
        found.add("kind of site", day.number, 1, "", f"{place.name!r} is a {place.kind.value}, not among the kinds wished for")
    if (trip.pets or trip.party.pets) and place.pets == Offer.NO and not booked:
        found.add("pets", day.number, 1, "", f"{place.name!r} takes no pets")
    if any(not apart(a, night.spot) for a in trip.avoid) and not booked:
        found.add("avoided", day.number, 1, "", f"{place.name!r} is a place to avoid")
    if night.powered and place.offer("power").answer < least:
        found.add("power", day.number, 1, "", f"{place.name!r} has no mains at the pitch that may be leaned on")
    if not booked:  # what is agreed with the site stands over what the map tells
        _season(region, place, day, found)


def _season(region: Region, place: Place, day: Day, found: Findings) -> None:
    from datetime import datetime, time

    from tripplan.almanac.hours import is_open

    for text in (place.season, place.hours):
        if not text:
            continue
        noons = [datetime.combine(day.date, time(hour)) for hour in range(8, 21)]
        answers = [is_open(text, moment, region.meta.country, place.lon, place.lat) for moment in noons]
        if all(answer is False for answer in answers):
            found.add("season", day.number, 1, "", f"{place.name!r} is closed on {day.date:%d %b} ({text})")
            return


def _services(plan: Plan, region: Region, day: Day, found: Findings) -> None:
    """Each store served is served by a place that the day really calls at, and that is known to serve it."""
    done: set[str] = set()
    for event in day.events:
        if event.kind != "service":
            continue
        if event.spot is None or not 0 <= event.spot.place < len(region.places):
            found.add("service", day.number, 1, "", f"{event.text!r} is at no place of the region")
            continue
        place = region.places[event.spot.place]
        here = day.night is not None and not apart(day.night.spot, event.spot)
        called = any(not apart(leg.end, event.spot) for leg in day.legs)
        found.unless(
            here or called or not apart(day.start, event.spot),
            "service",
            day.number,
            f"no leg calls at {place.name or place.ref!r}",
        )
        done.update(event.stores)
        for store in event.stores:
            _served(plan, place, store, day, found)
    for line in day.levels:
        for how in filter(None, line.served.split("+")):
            if how == "site" and day.night is not None and 0 <= day.night.spot.place < len(region.places):
                _served(plan, region.places[day.night.spot.place], line.store, day, found)
            elif how in ("way", "car") and line.store not in done:
                found.add(
                    "service", day.number, 1, "", f"{line.store} is said to be served ({how}), but no stop of the day does it"
                )


def _served(plan: Plan, place: Place, store: str, day: Day, found: Findings) -> None:
    name = place.name or place.ref
    if store not in STORES:
        found.add("store", day.number, 1, "", f"unknown store {store!r}")
        return
    guest = any(
        d.night is not None and d.night.spot.place == place.index for d in plan.days if d.number in (day.number, day.number - 1)
    )
    if place.only_guests and not guest:
        found.add("guests only", day.number, 1, "", f"{name!r} serves its guests only")
    if place.role == "service" and place.admits == Offer.NO:
        found.add("not admitted", day.number, 1, "", f"{name!r} is not open to strangers ({place.admits_why})")
    best = max((place.offer(word).answer for word in SERVES[store]), default=Offer.NO)
    if best < (Offer.PRESUMED if plan.trip.presumed_offers else Offer.YES):
        found.add("offer", day.number, 1, "", f"{name!r} is not known to serve {store}")
    elif best == Offer.PRESUMED and not any(
        # Of a pitch that is left in the morning the day before has said so.
        p.day in (day.number, day.number - (day.start.place == place.index)) and p.spot.place == place.index and store in p.stores
        for p in plan.presumed_offers
    ):
        found.add("phone first", day.number, 1, "", f"{store} at {name!r} is presumed and not listed under phone first")


def _stays(plan: Plan, region: Region, found: Findings) -> None:
    """Longest stays, one-night stays."""
    nights = [day for day in plan.days if day.night is not None]
    stays = [list(group) for _, group in groupby(nights, key=lambda d: (d.night.spot.lon, d.night.spot.lat) if d.night else None)]
    before = plan.trip.under_way
    for stay in stays:
        spot = stay[0].night.spot if stay[0].night else None
        if spot is None or not 0 <= spot.place < len(region.places):
            continue
        most = region.places[spot.place].longest_stay_nights
        agreed = sum(any(b.night == day.date and not apart(b.spot, spot) for b in plan.trip.bookings) for day in stay)
        most = max(most, agreed) if most else 0
        here = before.nights_here if before is not None and stay is stays[0] and not apart(spot, plan.trip.depot) else 0
        if most and len(stay) + here > most and not (here and any(not apart(b.spot, spot) for b in plan.trip.bookings)):
            found.add(
                "longest stay",
                stay[-1].number,
                len(stay) + here - most,
                "nights",
                f"{len(stay) + here} nights at {spot.name!r}, {most} allowed",
            )
    single = sum(1 for stay in stays if len(stay) == 1)
    if before is not None and before.nights_here and stays:
        spot = stays[0][0].night.spot if stays[0][0].night else None
        stayed = spot is not None and not apart(spot, plan.trip.depot)
        # A stay that goes on has more nights than those of the rest; one that ends now may have been of a single night.
        single += -1 if stayed and len(stays[0]) == 1 else 1 if not stayed and before.nights_here == 1 else 0
    most = plan.trip.max_one_night_stays
    if 0 <= most < single:
        found.add("one-night stays", 0, single - most, "stays", f"{single} stays of one night, {most} allowed")


def _wishes(plan: Plan, found: Findings) -> None:
    powered = sum(1 for day in plan.days if day.night is not None and day.night.powered)
    wanted = plan.trip.powered_nights_at_least
    if powered < wanted:
        found.add("powered nights", 0, wanted - powered, "nights", f"{powered} powered nights, {wanted} wished for")


def _showers(plan: Plan, day: Day) -> bool:
    least = Offer.PRESUMED if plan.trip.presumed_offers else Offer.YES
    return day.night is not None and day.night.offers.get("showers", OfferFact()).answer >= least


def _money(plan: Plan, found: Findings) -> None:
    trip, cost, weights = plan.trip, plan.cost, plan.trip.weights
    nights = sum(day.night.price_cents for day in plan.days if day.night is not None)
    metres = sum(leg.length_m for day in plan.days for leg in day.legs if leg.runs.piece or leg.length_m)
    drive = sum(leg.drive_s for day in plan.days for leg in day.legs)
    services = sum(event.cents for day in plan.days for event in day.events if event.kind == "service")
    for said, true, slack, what in (
        (cost.nights_cents, nights, 1, "nights"),
        (cost.km_cents, metres / 1000 * weights.km_cents, 50 + 2 * len(plan.days), "kilometres"),
        (cost.services_cents, services, 1, "services"),
        (cost.drive_cents, drive / 3600 * weights.drive_hour_cents, 50 + 20 * len(plan.days), "driving time"),
    ):
        if abs(said - true) > slack:
            found.add(
                "cost", 0, (said - true) / 100, "money", f"the plan counts {said / 100:.2f} for {what}, its days {true / 100:.2f}"
            )
    lacking = sum(
        weights.unpowered_night_cents * (not day.night.powered) + weights.no_shower_night_cents * (not _showers(plan, day))
        for day in plan.days
        if day.night is not None
    )
    comfort = lacking + metres / 1000 * weights.far_km_cents
    if abs(cost.comfort_cents - comfort) > 50 + 0.002 * comfort:
        text = f"the plan counts {cost.comfort_cents / 100:.2f} for comfort, its days {comfort / 100:.2f}"
        found.add("cost", 0, (cost.comfort_cents - comfort) / 100, "money", text)
    charges = cost.drive_cents + cost.service_stop_cents + cost.one_night_cents + cost.comfort_cents
    parts = cost.money_cents + charges - cost.sights_value_cents
    if abs(parts - cost.total_cents) > 1:
        found.add("cost", 0, (cost.total_cents - parts) / 100, "money", "the total is not the sum of its parts")
    if 0 <= trip.budget_cents < cost.money_cents:
        over = (cost.money_cents - trip.budget_cents) / 100
        found.add("budget", 0, over, "money", f"{over:.2f} over the budget of {trip.budget_cents / 100:.2f}")
