"""Who may play a part in a trip: sites to sleep at, service points and sights to stop at, with the days and hours of each.

Presumed offers count where the trip allows it, unknown ones never. A service for guests only counts for the night's site
next to it. Hours that the map does not tell, or that cannot be read, hold nothing up: they are listed to be asked for.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date
from itertools import groupby

import numpy as np

from tripplan.model.errors import BadInputError
from tripplan.model.place import OfferFact, Place, Spot
from tripplan.model.trip import Trip
from tripplan.model.words import STORES, Offer, SiteKind, Via
from tripplan.region.geometry import great_circle_m
from tripplan.region.region import Region
from tripplan.van.use import StayKind

__all__ = [
    "AT_ONCE_M",
    "AVOID_KM",
    "BIT",
    "SERVES",
    "Cast",
    "Site",
    "Stop",
    "cast_of",
    "holds",
    "kind_word",
    "offers_at",
    "pitch_of",
    "serves_on_foot",
    "spot_of",
    "stay_kind",
]

#: Bit of each store in a mask of services.
BIT: dict[str, int] = {store.value: 1 << r for r, store in enumerate(STORES)}
#: Which stores an offer serves.
SERVES: dict[str, int] = {
    "fresh": BIT["fresh"] | BIT["flush"],
    "grey": BIT["grey"],
    "cassette": BIT["cassette"],
    "gas": BIT["gas"],
}
#: Service points so near each other count as one stop; a guests' service belongs to a site so near (common practice) [m].
AT_ONCE_M = 150.0
GUEST_M = 400.0
#: How far around a bare point that is to be avoided nothing is used [km].
AVOID_KM = 2.0
#: Time that a service stop takes (common practice, no source) [s].
DUMP_S, WATER_S, GAS_S = 20 * 60, 15 * 60, 15 * 60
#: No stop is shorter, so each counts as a break.
LEAST_S = 15 * 60

DayWindows = tuple[tuple[tuple[int, int], ...] | None, ...]


@dataclass(frozen=True)
class Site:
    """A place to spend nights at.

    Parameters
    ----------
    kind
        What it gives, as far as that may be counted on.
    serves
        Mask of the stores that the site serves on foot.
    open
        Whether it takes guests on each day's night. hours: when on each day they may arrive, check-in regarded [s after
        midnight].
    check_out
        Until when on each day one must have left [s after midnight], -1 not told; empty: on no day.
    ask
        Hours that cannot be read, as written.
    """

    spot: Spot
    place: Place | None
    offers: dict[str, OfferFact]
    kind: StayKind
    serves: int
    price_cents: int
    price_known: bool
    open: tuple[bool, ...]
    hours: DayWindows
    max_stay: int
    hours_unknown: bool = False
    check_out: tuple[int, ...] = ()
    ask: tuple[str, ...] = ()

    @property
    def ref(self) -> str:
        """Map identity, "" for a bare point."""
        return self.place.ref if self.place else ""


@dataclass(frozen=True)
class Stop:
    """Something to stop at on the way: a service point or a sight.

    Parameters
    ----------
    serves
        Mask of the stores served. sight: number of the sight, -1 for a service.
    cents
        Money for one use. charge_cents: what the weights make of the stop.
    windows
        Open stretches on each day [s after midnight]; ``None``: any time.
    givers
        Which place gives each offer, where several side by side are one stop.
    only_from, only_to
        Number of the only site whose leaving or arriving guests may use it; -1: anybody.
    """

    spot: Spot
    place: Place | None
    serves: int
    sight: int
    seconds: int
    cents: int
    charge_cents: int
    windows: DayWindows
    offers: dict[str, OfferFact]
    only_from: int = -1
    only_to: int = -1
    hours_unknown: bool = False
    givers: tuple[tuple[str, Place], ...] = ()


@dataclass(frozen=True)
class Cast:
    """Everything that may play a part, and why some may not.

    Parameters
    ----------
    booked
        Site number of each day's night, -1 free.
    left_out
        What was left out and why, for words.
    """

    sites: tuple[Site, ...]
    van_stops: tuple[Stop, ...]
    car_stops: tuple[Stop, ...]
    booked: tuple[int, ...]
    left_out: tuple[tuple[str, str], ...] = ()


def holds(fact: OfferFact, presumed: bool) -> bool:
    """Say whether an offer may hold a limit."""
    return fact.answer == Offer.YES or (presumed and fact.answer == Offer.PRESUMED)


@dataclass
class _Hours:
    """Reads each text once a date."""

    dates: Sequence[date]
    country: str

    def __post_init__(self) -> None:
        self.known: dict[tuple[str, float, float], tuple[DayWindows, bool]] = {}

    def read(self, text: str, lon: float, lat: float) -> tuple[DayWindows, bool]:
        """Return the windows of each date and whether any of it is unknown; an empty text is unknown on all dates."""
        if not text.strip():
            return (None,) * len(self.dates), True
        sunny = any(word in text for word in ("sunrise", "sunset", "dawn", "dusk"))
        key = (text, lon, lat) if sunny else (text, 0.0, 0.0)
        if key not in self.known:
            self.known[key] = self._read(text, (lon, lat) if sunny else (None, None))
        return self.known[key]

    def _read(self, text: str, at: tuple[float | None, float | None]) -> tuple[DayWindows, bool]:
        from tripplan.almanac.hours import open_days

        if text.strip() == "24/7":
            return (None,) * len(self.dates), False
        days = open_days(text, self.dates, 0, 1440, self.country, *at)
        found: list[tuple[tuple[int, int], ...] | None] = []
        for day in days:
            whole = day.open is None or day.windows == ((0, 1440),)
            found.append(None if whole else tuple((a * 60, b * 60) for a, b in day.windows))
        return tuple(found), any(day.open is None for day in days)


def cast_of(trip: Trip, region: Region, may_be: Callable[[Place], bool] = lambda _: True) -> Cast:
    """Choose who may play a part.

    Parameters
    ----------
    may_be
        A quick test whether a place can lie on the way of any such trip at all.

    Raises
    ------
    BadInputError
        When a booked place takes no vans.
    """
    hours = _Hours(trip.dates, region.meta.country)
    left: list[tuple[str, str]] = []
    near = _near_avoided(trip, region)
    places = [
        p for p in region.places if p.index not in near and may_be(p) and not (p.role == "service" and p.admits == Offer.NO)
    ]
    guests = [p for p in places if p.role == "service" and p.only_guests]
    sites = [s for p in places if p.role == "site" and (s := _site(trip, p, guests, hours, left)) is not None]
    booked = _book(trip, region, sites, guests, hours)
    sites = _stayed(trip, sites, booked)
    van_stops, car_stops = [], []
    for stop in _services(trip, [p for p in places if p.role == "service" and not p.only_guests], hours):
        van_stops.append(stop)
        if stop.serves & BIT["gas"]:
            car_stops.append(replace(stop, serves=BIT["gas"], seconds=GAS_S))
    for number, site in enumerate(sites):
        if site.place is not None and holds(site.offers.get("gas", OfferFact()), trip.presumed_offers):
            stop = _stop(trip, site.place, {"gas": site.offers["gas"]}, hours)
            van_stops += [replace(stop, only_from=number), replace(stop, only_to=number)]
            car_stops.append(replace(stop, only_from=number))
    for number, sight in enumerate(trip.sights):
        if sight.nights:
            continue
        stop = _sight(trip, region, number, hours)
        if sight.via in (Via.VAN, Via.EITHER):
            van_stops.append(stop)
        if sight.via in (Via.CAR_ONLY, Via.EITHER):
            car_stops.append(stop)
    return Cast(tuple(sites), tuple(van_stops), tuple(car_stops), booked, tuple(left))


def pitch_of(trip: Trip, sites: Sequence[Site]) -> int:
    """Return the number of the site where the van stands as the rest of a trip begins; -1: it stands at none."""
    if trip.under_way is None:
        return -1
    return next((n for n, site in enumerate(sites) if _same(site.spot, trip.depot)), -1)


def _stayed(trip: Trip, sites: list[Site], booked: tuple[int, ...]) -> list[Site]:
    """Count the nights already spent where the van stands towards the longest stay there."""
    here = pitch_of(trip, sites)
    if here < 0 or trip.under_way is None or not sites[here].max_stay or here in booked:
        return sites
    site, left = sites[here], sites[here].max_stay - trip.under_way.nights_here
    if left < 1:
        site = replace(site, open=(False, *site.open[1:]))
    return [*sites[:here], replace(site, max_stay=max(1, left)), *sites[here + 1 :]]


def _near_avoided(trip: Trip, region: Region) -> set[int]:
    avoided = {spot.place for spot in trip.avoid if spot.place >= 0}
    bare = [spot for spot in trip.avoid if spot.place < 0]
    if bare:
        lon, lat = (np.array([getattr(p, n) for p in region.places]) for n in ("lon", "lat"))
        for spot in bare:
            avoided.update(int(i) for i in np.flatnonzero(great_circle_m(spot.lon, spot.lat, lon, lat) <= AVOID_KM * 1000))
    return avoided


def spot_of(place: Place) -> Spot:
    """Return the point of a place, under its name or, without one, its kind."""
    name = place.name or (str(place.kind) if place.role == "site" else place.role) + f" {place.ref}"
    return Spot(place.ref, name, place.lon, place.lat, place.index)


def _site(trip: Trip, place: Place, guests: list[Place], hours: _Hours, left: list[tuple[str, str]]) -> Site | None:
    """Return a site that may be offered, else say why not."""
    name = place.name or place.ref
    if place.admits not in (Offer.YES, Offer.PRESUMED):
        left.append((name, f"takes no vans ({place.admits_why})" if place.admits == Offer.NO else "not known to take vans"))
        return None
    if place.admits == Offer.PRESUMED and not trip.presumed_offers:
        left.append((name, "only presumed to take vans"))
        return None
    if trip.site_kinds and place.kind not in trip.site_kinds:
        left.append((name, f"{place.kind}, not a kind wished for"))
        return None
    if (trip.pets or trip.party.pets) and place.pets == Offer.NO:
        left.append((name, "takes no pets"))
        return None
    site = _site_facts(trip, place, spot_of(place), guests, hours)
    if not any(site.open):
        left.append((name, f"closed on the dates of the trip ({place.season or place.hours})"))
        return None
    return site


def offers_at(place: Place, guests: Iterable[Place]) -> dict[str, OfferFact]:
    """Return what a site has for its guests: its own offers, and those of service points for guests only that lie at it."""
    offers = dict(place.offers)
    for other in guests:
        if abs(other.lat - place.lat) < 0.01 and abs(other.lon - place.lon) < 0.02:
            apart = float(great_circle_m(place.lon, place.lat, np.array([other.lon]), np.array([other.lat]))[0])
            for word, fact in other.offers.items() if apart <= GUEST_M else ():
                if fact.answer > offers.get(word, OfferFact()).answer:
                    offers[word] = fact
    return offers


def _site_facts(trip: Trip, place: Place, spot: Spot, guests: Iterable[Place], hours: _Hours) -> Site:
    offers = offers_at(place, guests)
    season, _ = hours.read(place.season, place.lon, place.lat)
    arrive, unknown = hours.read(place.hours, place.lon, place.lat)
    nights = tuple(s is None or bool(s) for s in season)
    nights = tuple(n and (w is None or bool(w)) for n, w in zip(nights, arrive, strict=True))
    arrive, leave, unread = _check_times(trip, place, arrive, hours.country)
    ask = (*((place.hours,) if unknown and place.hours.strip() else ()), *unread)
    kind = stay_kind(trip, offers)
    known = place.price_cents >= 0 or place.fee == Offer.NO
    price = max(0, place.price_cents) if known else trip.weights.unknown_price_cents
    return Site(
        spot, place, offers, kind, serves_on_foot(trip, offers), price, known, nights, arrive, place.longest_stay_nights,
        unknown and bool(place.hours), leave, ask,
    )  # fmt: skip


def _check_times(
    trip: Trip, place: Place, hours: DayWindows, country: str
) -> tuple[DayWindows, tuple[int, ...], tuple[str, ...]]:
    """Return when one may arrive, check-in regarded, until when one must leave, and what of it cannot be read."""
    if not (place.check_in or place.check_out):
        return hours, (), ()
    from tripplan.almanac.hours import check_times

    unread = []
    for name, text, latest in (("check-in", place.check_in, False), ("check-out", place.check_out, True)):
        if text and check_times(text, trip.dates[0], latest=latest, country=country) is None:
            unread.append(f"{name} {text}")
    arrive: list[tuple[tuple[int, int], ...] | None] = []
    leave = []
    for day, windows in zip(trip.dates, hours, strict=True):
        times = check_times(place.check_in, day, latest=False, country=country)
        first, last = (times[0] * 60, times[1] * 60) if times else (0, 86_400)
        cut = tuple((max(a, first), min(b, last)) for a, b in windows or ((0, 86_400),) if min(b, last) > max(a, first))
        # Hours that the times of check-in miss altogether are those of something else at the site.
        arrive.append(windows if times is None or windows == () else cut or ((first, last),))
        out = check_times(place.check_out, day, latest=True, country=country)
        leave.append(out[1] * 60 if out else -1)
    return tuple(arrive), tuple(leave), tuple(unread)


def stay_kind(trip: Trip, offers: dict[str, OfferFact]) -> StayKind:
    """Return what a site gives, as far as the trip may count on it."""
    yes = {word: holds(fact, trip.presumed_offers) for word, fact in offers.items()}
    words = ("powered", "fresh", "piped", "grey", "cassette", "toilets", "showers")
    return StayKind(*(yes.get({"powered": "power"}.get(word, word), False) for word in words))


def serves_on_foot(trip: Trip, offers: dict[str, OfferFact]) -> int:
    """Mask of what a site serves on foot: gas is bought, so it is a stop of its own."""
    mask = 0
    for word in ("fresh", "grey", "cassette"):
        if holds(offers.get(word, OfferFact()), trip.presumed_offers):
            mask |= SERVES[word]
    if holds(offers.get("piped", OfferFact()), trip.presumed_offers):
        mask |= SERVES["fresh"] | SERVES["grey"]
    return mask


def _book(trip: Trip, region: Region, sites: list[Site], guests: list[Place], hours: _Hours) -> tuple[int, ...]:
    """Put the booked nights in; a booked place that is no candidate joins the sites."""
    booked = [-1] * (trip.nights + 1)
    never = (False,) * (trip.nights + 1)  # one that the trip's own wishes leave out is open to it on the nights booked alone
    for booking in trip.bookings:
        day = (booking.night - trip.pick_up.date()).days
        where = f"booking of {booking.night:%Y-%m-%d}"
        if not 0 <= day < trip.nights:
            raise BadInputError(f"the night of {booking.night:%Y-%m-%d} is not in the trip", where=where)
        number = next((i for i, s in enumerate(sites) if _same(s.spot, booking.spot)), -1)
        if number < 0:
            place = region.places[booking.spot.place] if booking.spot.place >= 0 else None
            if place is not None and place.role == "site" and place.admits == Offer.NO:
                raise BadInputError(
                    f"{place.name or place.ref!r} takes no vans ({place.admits_why})",
                    where=where,
                    next_step="ask there, and put the answer into a file of local places",
                )
            if place is not None:
                site = replace(_site_facts(trip, place, booking.spot, guests, hours), open=never)
            else:
                days: DayWindows = (None,) * (trip.nights + 1)
                price = trip.weights.unknown_price_cents
                site = Site(booking.spot, None, {}, StayKind(), 0, price, False, never, days, 0, True)
            number = len(sites)
            sites.append(replace(site, max_stay=0))
        booked[day] = number
    for number in {b for b in booked if b >= 0}:
        # What is agreed with the site stands over the hours and longest stay that the map tells.
        nights = tuple(o or booked[d] == number for d, o in enumerate(sites[number].open))
        run = max(len(list(same)) for booking, same in groupby(booked) if booking == number)
        stay = sites[number].max_stay
        sites[number] = replace(sites[number], open=nights, max_stay=max(stay, run) if stay else 0)
    return tuple(booked)


def _same(one: Spot, other: Spot) -> bool:
    return one.place == other.place if one.place >= 0 or other.place >= 0 else (one.lon, one.lat) == (other.lon, other.lat)


def _usable(trip: Trip, offers: dict[str, OfferFact]) -> dict[str, OfferFact]:
    return {w: f for w, f in offers.items() if w in SERVES and holds(f, trip.presumed_offers)}


def _services(trip: Trip, places: list[Place], hours: _Hours) -> list[Stop]:
    """Service points; those beside each other with the same hours are one stop."""
    useful = [(p, o) for p in places if (o := _usable(trip, p.offers))]
    if not useful:
        return []
    lon = np.array([p.lon for p, _ in useful])
    lat = np.array([p.lat for p, _ in useful])
    stops: list[tuple[Stop, frozenset[int]]] = []
    for row, (place, offers) in enumerate(useful):
        beside = np.flatnonzero((np.abs(lat - place.lat) < 0.003) & (np.abs(lon - place.lon) < 0.02))
        group = {row}
        for other in beside[great_circle_m(place.lon, place.lat, lon[beside], lat[beside]) <= AT_ONCE_M]:
            if useful[other][0].hours == place.hours and useful[other][0].season == place.season:
                group.add(int(other))
        both, givers = dict(offers), dict.fromkeys(offers, place)
        for other in sorted(group):
            for word, fact in useful[other][1].items():
                if word not in both or fact.answer > both[word].answer:
                    both[word] = fact
                    givers[word] = useful[other][0]
        if len(both) > len(offers) and any(len(useful[o][1]) > len(offers) or o < row for o in group - {row}):
            continue  # a neighbour stands for the group
        stop = replace(_stop(trip, place, both, hours), givers=tuple(givers.items()))
        if any(w is None or w for w in stop.windows):
            stops.append((stop, frozenset(group)))
    return [stop for stop, _ in stops]


def _stop(trip: Trip, place: Place, offers: dict[str, OfferFact], hours: _Hours) -> Stop:
    serves = 0
    for word in offers:
        serves |= SERVES[word]
    windows, unknown = hours.read(place.hours, place.lon, place.lat)
    season, _ = hours.read(place.season, place.lon, place.lat)
    windows = tuple(() if s is not None and not s else w for s, w in zip(season, windows, strict=True))
    seconds = DUMP_S if serves & (BIT["grey"] | BIT["cassette"]) else WATER_S if serves & BIT["fresh"] else 0
    cents = place.price_cents if place.role == "service" and place.price_cents > 0 else 0
    if serves & BIT["gas"]:
        seconds += GAS_S
        cents += trip.weights.gas_bottle_cents * trip.van.gas_bottles
    return Stop(
        spot_of(place), place, serves, -1, seconds, cents, trip.weights.service_stop_cents, windows, offers,
        hours_unknown=unknown, givers=tuple((word, place) for word in offers),
    )  # fmt: skip


def _sight(trip: Trip, region: Region, number: int, hours: _Hours) -> Stop:
    sight = trip.sights[number]
    place = region.places[sight.spot.place] if sight.spot.place >= 0 else None
    text = sight.visiting or (place.hours if place is not None else "")
    windows, unknown = hours.read(text, sight.spot.lon, sight.spot.lat)
    # Parking with a van and walking there and back is a rest from the wheel even where the look is short (common practice, no source).
    seconds = max(round(sight.hours * 3600), LEAST_S)
    return Stop(sight.spot, place, 0, number, seconds, 0, 0, windows, {}, hours_unknown=unknown and bool(text))


def kind_word(site: Site) -> str:
    """Return the kind of a site in words."""
    return str(site.place.kind) if site.place is not None else str(SiteKind.OTHER)
