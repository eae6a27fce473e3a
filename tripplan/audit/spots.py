"""Where spots lie to each other, and whether they are the places they say."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from tripplan.audit.findings import Findings
from tripplan.model.place import OfferFact, Spot
from tripplan.model.plan import Day, Plan
from tripplan.region.region import Region

__all__ = ["apart", "audit_offers", "audit_spots", "great_circle", "metres"]

EARTH_M = 6_371_009.0
#: What is for guests belongs to a site so near (common practice, no source) [m].
_GUEST_M = 400.0
F64 = NDArray[np.float64]


def great_circle(line: F64) -> F64:
    """Return the length of each step of a line of (lon, lat) degrees, haversine [m]."""
    rad = np.radians(line)
    d = np.diff(rad, axis=0)
    d[:, 0] = (d[:, 0] + np.pi) % (2 * np.pi) - np.pi
    h = np.sin(d[:, 1] / 2) ** 2 + np.cos(rad[:-1, 1]) * np.cos(rad[1:, 1]) * np.sin(d[:, 0] / 2) ** 2
    return np.asarray(2 * EARTH_M * np.arcsin(np.sqrt(h)), dtype=np.float64)


def metres(one: Spot, other: Spot) -> float:
    """Return the distance of two spots [m]."""
    return float(great_circle(np.array([[one.lon, one.lat], [other.lon, other.lat]]))[0])


def apart(one: Spot, other: Spot) -> bool:
    """Say whether two spots are different points."""
    return abs(one.lon - other.lon) > 1e-6 or abs(one.lat - other.lat) > 1e-6


def audit_spots(plan: Plan, region: Region, found: Findings) -> None:
    """Each spot that says it is a place of the region lies where that place lies and has its name; nights state what the map offers there."""
    for day in plan.days:
        for spot in dict.fromkeys(_spots(day)):
            if spot.place < len(region.places):
                _name(plan, region, day, spot, found)
            if spot.place < 0:
                continue
            if spot.place >= len(region.places):
                found.add("no such place", day.number, 1, "", f"{spot.name!r} is no place of the region")
                continue
            place = region.places[spot.place]
            gap = metres(spot, Spot("", "", place.lon, place.lat))
            if gap > 1.0:
                found.add(
                    "not the place", day.number, gap, "m", f"{spot.name!r} lies {gap:.0f} m from {place.name or place.ref!r}"
                )


def _name(plan: Plan, region: Region, day: Day, spot: Spot, found: Findings) -> None:
    """Put a finding where a spot bears neither the name of its place nor one that the trip gives it."""
    trip = plan.trip
    given = (trip.depot, trip.return_depot, *(s.spot for s in trip.sights), *(b.spot for b in trip.bookings))
    names = {one.name for one in given if not apart(one, spot)}
    if spot.place >= 0:
        place = region.places[spot.place]
        names |= {place.name} if place.name else {place.ref, f"{place.role} {place.ref}", f"{place.kind} {place.ref}"}
    if names and spot.name not in names:
        text = f"{spot.name!r} is not the name of what is there, {min(names)!r}"
        found.add("name", day.number, 1, "", text)


def audit_offers(plan: Plan, region: Region, found: Findings) -> None:
    """Each night's place is stated with what the map says it offers, and with what places for its guests beside it do better."""
    guests = [place for place in region.places if place.only_guests]
    for day in plan.days:
        if day.night is None or not 0 <= day.night.spot.place < len(region.places):
            continue
        own = region.places[day.night.spot.place]
        here = Spot("", "", own.lon, own.lat)
        beside = [
            own,
            *(g for g in guests if abs(g.lat - own.lat) < 0.01 and metres(Spot("", "", g.lon, g.lat), here) <= _GUEST_M),
        ]
        for word in sorted({*day.night.offers, *(w for place in beside for w in place.offers)}):
            facts = [place.offer(word) for place in beside]
            best = max(fact.answer for fact in facts)
            said = day.night.offers.get(word, OfferFact())
            # Of two places beside each other that say the same either may be named.
            if said not in [fact for fact in facts if fact.answer == best]:
                text = f"{own.name or own.ref!r} is said to offer {word}: {said.answer.name.lower()}, the map says {best.name.lower()}"
                found.add("stated offer", day.number, 1, "", text)


def _spots(day: Day) -> Iterator[Spot]:
    yield day.start
    yield day.end
    if day.night is not None:
        yield day.night.spot
    for leg in day.legs:
        yield leg.start
        yield leg.end
    yield from (event.spot for event in day.events if event.spot is not None)
