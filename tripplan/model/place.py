"""Places: overnight sites, service points and sights, with what each offers."""

from __future__ import annotations

from dataclasses import dataclass, field

from tripplan.model.words import Offer, SiteKind, Source

__all__ = ["OFFERS", "OfferFact", "Place", "Spot"]

#: What a place may have. `grey` and `cassette`: empties it; `fresh`: drinking water to fill a barrel or flush tank with;
#: `piped`: tap and drain at the pitch; `power`: mains at the pitch; `gas`: bottles exchanged or sold.
OFFERS: tuple[str, ...] = ("power", "fresh", "piped", "grey", "cassette", "gas", "toilets", "showers")


@dataclass(frozen=True, slots=True)
class OfferFact:
    """One offer of one place: the answer and where it came from."""

    answer: Offer = Offer.UNKNOWN
    source: Source = Source.NONE
    evidence: str = ""


@dataclass(frozen=True, slots=True)
class Place:
    """One place of a region.

    Parameters
    ----------
    index
        Row in the region's table of places.
    ref
        Its map identity: ``n``, ``w`` or ``r`` and the OSM id, or ``local:NAME`` for an operator's own.
    role
        ``site``, ``service`` (dump, water or gas), ``sight`` or ``depot``.
    name
        As on the map: foreign text, escape it before it reaches a page. May be empty.
    lon, lat
        [degrees, WGS 84]
    offers
        Answer to each word of `OFFERS`; a missing one is unknown.
    admits
        Whether a van may stay (sites): ``NO`` ones are kept in the region and never offered.
    admits_why
        The tag or table row that decided it.
    only_guests
        A service for those who spend the night there.
    hours
        Opening hours as written on the map; empty when untagged.
    season
        Dates open as written, where apart from the hours.
    check_in, check_out
        Hours of arriving and leaving at a site as written ("14:00", "14:00-20:00", "-18:00").
    longest_stay_nights
        0 when no limit is known.
    price_cents
        A night for the party's pitch, or a use of the service; -1 when unknown.
    capacity
        Pitches; -1 unknown.
    pets
        Whether a dog may come (unknown is common).
    fee
        Whether something is charged at all.
    entrances
        Where one drives in, as (lon, lat), of a site that is an area [degrees]; empty: only its point is known.
    sight
        What makes it a sight, and how well known it is, as tagged ("tourism=museum; wikidata=Q42"); empty for other roles, and in
        regions built before it was kept.
    """

    index: int
    ref: str
    role: str
    name: str
    lon: float
    lat: float
    kind: SiteKind = SiteKind.OTHER
    offers: dict[str, OfferFact] = field(default_factory=dict)
    admits: Offer = Offer.UNKNOWN
    admits_why: str = ""
    only_guests: bool = False
    hours: str = ""
    season: str = ""
    longest_stay_nights: int = 0
    price_cents: int = -1
    capacity: int = -1
    pets: Offer = Offer.UNKNOWN
    fee: Offer = Offer.UNKNOWN
    phone: str = ""
    website: str = ""
    note: str = ""
    source: str = "map"
    entrances: tuple[tuple[float, float], ...] = ()
    check_in: str = ""
    check_out: str = ""
    sight: str = ""

    def offer(self, word: str) -> OfferFact:
        """Return the fact for one of `OFFERS` (unknown when the map is silent)."""
        return self.offers.get(word, OfferFact())


@dataclass(frozen=True, slots=True)
class Spot:
    """A point that a person named: where it is and, if it is one, which place of the region.

    Parameters
    ----------
    text
        As the person wrote it. name: as found.
    place
        Row in the region's table of places, or -1 for a bare point (a town, a coordinate).
    """

    text: str
    name: str
    lon: float
    lat: float
    place: int = -1
