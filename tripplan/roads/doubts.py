"""What to find out first: presumed and unknown roads, presumed and unknown offers, by the routes that depend on them."""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import inf, isfinite, nan
from pathlib import Path

import numpy as np

from tripplan.model.place import Place
from tripplan.model.words import Offer, Surface
from tripplan.region.columns import HIGHWAYS, Flag
from tripplan.region.find import nearest_town
from tripplan.region.geometry import piece_line
from tripplan.region.region import Region
from tripplan.roads.join import join
from tripplan.roads.network import Say, open_network
from tripplan.roads.terms import Terms
from tripplan.roads.traffic import Traffic, count_traffic, traffic_spots

__all__ = ["DAY_S", "Doubts", "OfferDoubt", "RoadDoubt", "find_doubts", "next_known"]

#: Routes longer than this are nobody's towing day (common practice, no source) [s].
DAY_S = 4 * 3600.0
#: What a plan asks of a site and of a service point, for which it is worth to know.
_ASKED = {"site": ("power", "fresh", "grey", "cassette"), "service": ("fresh", "grey", "cassette", "gas")}
_WORDS = {Surface.PRESUMED: "presumed", Surface.UNKNOWN: "unknown"}


@dataclass(frozen=True, slots=True)
class RoadDoubt:
    """A way of the map whose surface nobody has tagged.

    Parameters
    ----------
    way
        Its identity. road: its class. length_m: of the pieces in doubt [m].
    lon, lat
        In the middle of its busiest piece [degrees]. town: the nearest.
    now
        ``presumed`` or ``unknown``; evidence: why, in words. sealed_p: how likely it is sealed by that evidence, 0 to 1; NaN
        where there is none (below tertiary).
    routes
        Routes over it as things are. if_sealed: routes that would go over it if every unknown road were sealed.
    share
        The greater of the two over all routes counted in the same way, 0 to 1.
    """

    way: int
    name: str
    ref: str
    road: str
    length_m: float
    lon: float
    lat: float
    town: str
    now: str
    evidence: str
    routes: int
    if_sealed: int
    share: float
    sealed_p: float = nan


@dataclass(frozen=True, slots=True)
class OfferDoubt:
    """An offer that the map is not sure of.

    Parameters
    ----------
    ref, name, kind
        Of the place. offer: one of `tripplan.model.place.OFFERS`, or ``admits``.
    routes
        Routes past the place; share of all routes, 0 to 1.
    next_known_m
        By road to the next place that is known to have it, infinite when there is none [m].
    """

    ref: str
    name: str
    kind: str
    offer: str
    lon: float
    lat: float
    town: str
    now: str
    evidence: str
    routes: int
    share: float
    next_known_m: float


@dataclass(frozen=True, slots=True)
class Doubts:
    """What is in doubt, what matters most first.

    Parameters
    ----------
    routes, routes_if_sealed
        Routes counted as things are, and if every unknown road were sealed.
    spots, left_out
        Spots that they go between, and places left out because there are too many.
    """

    roads: tuple[RoadDoubt, ...]
    offers: tuple[OfferDoubt, ...]
    routes: int
    routes_if_sealed: int
    spots: int
    left_out: int


def find_doubts(
    region: Region, terms: Terms, *, top: int = 50, day_s: float = DAY_S, cache: Path | None = None, progress: Say = None
) -> Doubts:
    """Rank what is in doubt by the routes that go over it.

    Parameters
    ----------
    terms
        Of the outfit that tows.
    top
        Most roads and most offers listed.
    """
    spots, left_out = traffic_spots(region)
    joined = join(open_network(region, terms, None, cache=cache, progress=progress), spots, progress=progress)
    traffic = count_traffic(joined, day_s=day_s, progress=progress)
    if_sealed = join(open_network(_sealed(region), terms, None, progress=progress), spots, progress=progress)
    more = count_traffic(if_sealed, day_s=day_s, progress=progress)
    roads = _roads(region, traffic, more, top)
    offers = _offers(region, {spot.place: n for n, spot in enumerate(spots) if spot.place >= 0}, traffic, more, top)
    return Doubts(roads, offers, traffic.routes, more.routes, len(spots), left_out)


def _sealed(region: Region) -> Region:
    """Return the region as if every road of unknown surface were sealed; tracks stay what they are."""
    ways = region.ways
    take = (ways.surface == Surface.UNKNOWN) & (ways.highway != HIGHWAYS.index("track"))
    surface = np.where(take, np.uint8(Surface.PRESUMED), ways.surface)
    return replace(region, ways=replace(ways, surface=surface), meta=replace(region.meta, key=region.meta.key + " if sealed"))


def _roads(region: Region, traffic: Traffic, more: Traffic, top: int) -> tuple[RoadDoubt, ...]:
    ways, pieces = region.ways, region.pieces
    doubtful = (ways.surface == Surface.PRESUMED) | (ways.surface == Surface.UNKNOWN)
    doubtful &= (ways.flags & Flag.FERRY) == 0
    rows = np.flatnonzero(doubtful[pieces.way] & ((traffic.over > 0) | (more.over > 0)))
    if not len(rows):
        return ()
    busy = np.maximum(traffic.over / max(traffic.routes, 1), more.over / max(more.routes, 1))
    # A way counts as its busiest piece does; the length is that of all its pieces in doubt.
    osm_id = ways.osm_id[pieces.way]
    order = np.lexsort((rows, -busy[rows], osm_id[rows]))
    rows = rows[order]
    first = rows[np.concatenate(([True], np.diff(osm_id[rows]) != 0))]
    first = first[np.lexsort((osm_id[first], -busy[first]))][:top]
    out = []
    for piece in first.tolist():
        way = int(pieces.way[piece])
        mine = (osm_id == osm_id[piece]) & doubtful[pieces.way]
        line = piece_line(region, piece, True, float(pieces.length_m[piece]) / 2)
        why = region.string(int(ways.surface_why[way]))
        out.append(
            RoadDoubt(
                int(osm_id[piece]), region.string(int(ways.name[way])), region.string(int(ways.ref[way])), HIGHWAYS[int(ways.highway[way])],
                float(pieces.length_m[mine].sum()), float(line[0, 0]), float(line[0, 1]), nearest_town(region, *line[0].tolist())[0],
                _WORDS[Surface(int(ways.surface[way]))], why or "no surface tagged", int(traffic.over[mine].max()), int(more.over[mine].max()),
                float(busy[piece]), float(ways.surface_p[way]) if isfinite(ways.surface_p[way]) else nan,
            )
        )  # fmt: skip
    return tuple(out)


def _offers(region: Region, spot_of: dict[int, int], traffic: Traffic, more: Traffic, top: int) -> tuple[OfferDoubt, ...]:
    asked = {"admits", *(word for words in _ASKED.values() for word in words)}
    known = {word: [n for place, n in spot_of.items() if _has(region.places[place], word)] for word in asked}
    found: list[tuple[float, float, int, str]] = []
    for row, spot in spot_of.items():
        place = region.places[row]
        share = max(float(traffic.past[spot]) / max(traffic.routes, 1), float(more.past[spot]) / max(more.routes, 1))
        for word in _in_doubt(place):
            lengths = np.minimum(traffic.length_m[spot], more.length_m[spot])
            away = min((float(lengths[n]) for n in known[word] if n != spot), default=inf)
            found.append((-share, -away, row, word))
    found.sort()
    out = []
    for less, minus_away, row, word in found[:top]:
        place, spot = region.places[row], spot_of[row]
        fact = place.offer(word)
        answer, evidence = (place.admits, place.admits_why) if word == "admits" else (fact.answer, fact.evidence)
        kind = str(place.kind) if place.role == "site" else place.role
        out.append(
            OfferDoubt(
                place.ref, place.name, kind, word, place.lon, place.lat, nearest_town(region, place.lon, place.lat)[0],
                answer.name.lower(), evidence or "nothing tagged", int(max(traffic.past[spot], more.past[spot])), -less, -minus_away,
            )
        )  # fmt: skip
    return tuple(out)


def _has(place: Place, word: str) -> bool:
    if word == "admits":
        return place.role == "site" and place.admits == Offer.YES
    return place.offer(word).answer == Offer.YES and (place.role != "site" or place.admits == Offer.YES)


def _in_doubt(place: Place) -> list[str]:
    """Return the offers of a place that an answer would settle. A tap that says nothing of gas raises no question."""
    words = [
        word
        for word in _ASKED.get(place.role, ())
        if place.offer(word).answer in (Offer.UNKNOWN, Offer.PRESUMED) and (place.role == "site" or word in place.offers)
    ]
    if place.role == "site" and place.admits in (Offer.UNKNOWN, Offer.PRESUMED):
        words.insert(0, "admits")
    return words


def next_known(doubt: OfferDoubt) -> str:
    """Return how far the next place is that is known to have it, in words."""
    return f"next known {doubt.next_known_m / 1000:.0f} km away" if isfinite(doubt.next_known_m) else "none known within reach"
