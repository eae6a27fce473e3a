"""Places and towns of a region: points and areas judged, what stands on a site lent to it."""

from __future__ import annotations

import dataclasses
from collections import Counter

import numpy as np
from numpy.typing import NDArray

from tripplan.model.place import OfferFact, Place
from tripplan.model.words import Offer, Source
from tripplan.osm.keys import PLACES_TO_LOOK_UP
from tripplan.osm.raw import RawArea, RawMap
from tripplan.region.columns import Towns
from tripplan.region.strings import StringTable

__all__ = ["area_point", "find_places", "find_towns"]

_ROLES = {"site": 0, "service": 1, "sight": 2, "depot": 3}
_FIELDS = frozenset(f.name for f in dataclasses.fields(Place)) - {"index", "ref", "name", "lon", "lat"}
#: Things that are no places of their own and yet tell what a site has, by tag.
_FACILITIES = {
    ("amenity", "toilets"): "toilets",
    ("amenity", "shower"): "showers",
    ("amenity", "drinking_water"): "fresh",
    ("man_made", "water_tap"): "fresh",
}


def area_point(area: RawArea) -> tuple[float, float]:
    """Return a point inside an area (its centroid where that is inside) in degrees."""
    ring = max(area.outer, key=len).astype(np.float64) / 1e7
    if np.ptp(ring[:, 0]) > 180:  # across the date line
        ring[:, 0] %= 360
        lon, lat = _point_in(ring)
        return (lon + 180) % 360 - 180, lat
    return _point_in(ring)


def _point_in(ring: NDArray[np.float64]) -> tuple[float, float]:
    if len(ring) < 4 or not np.array_equal(ring[0], ring[-1]):
        lon, lat = ring.mean(axis=0)
        return float(lon), float(lat)
    import shapely

    shape = shapely.Polygon(ring)
    point = shape.centroid
    if shape.area == 0 or not shape.contains(point):
        try:
            point = shape.representative_point()
        except shapely.errors.GEOSException:  # a ring that crosses itself
            point = shape.envelope.centroid
    if point.is_empty:
        return float(ring[0, 0]), float(ring[0, 1])
    return float(point.x), float(point.y)


def find_places(raw: RawMap, faults: Counter[str]) -> tuple[Place, ...]:
    """Judge every candidate of the raw map and lend sites what stands on them."""
    from tripplan.rules.offers import judge_place

    found: list[Place] = []
    outlines: dict[str, RawArea] = {}
    facilities: list[tuple[float, float, str, str]] = []
    candidates: list[tuple[str, dict[str, str], float, float, RawArea | None]] = [
        (f"n{node.osm_id}", node.tags, node.lon, node.lat, None) for node in raw.nodes
    ]
    candidates += [(area.ref, area.tags, *area_point(area), area) for area in raw.areas]
    for ref, tags, lon, lat, area in candidates:
        word = next((offer for pair, offer in _FACILITIES.items() if tags.get(pair[0]) == pair[1]), "")
        if (
            word
            and tags.get("access", "yes") not in ("no", "private")
            and not (word == "fresh" and tags.get("drinking_water") == "no")
        ):
            facilities.append((lon, lat, word, ref))
        fact = judge_place(tags, ref)
        if fact is None:
            continue
        known = {name: getattr(fact, name) for name in _FIELDS if hasattr(fact, name)}
        found.append(Place(index=0, ref=ref, name=tags.get("name", ""), lon=lon, lat=lat, **known))
        if area is not None:
            outlines[ref] = area
    found = _lend(found, outlines, facilities, faults)
    found.sort(key=lambda place: (_ROLES.get(place.role, 9), place.ref[0], int(place.ref[1:])))
    return tuple(dataclasses.replace(place, index=row) for row, place in enumerate(found))


def _lend(
    places: list[Place], outlines: dict[str, RawArea], facilities: list[tuple[float, float, str, str]], faults: Counter[str]
) -> list[Place]:
    """Give each site that is an area the offers of what lies within, and drop its second drawing as a node."""
    sites = [row for row, place in enumerate(places) if place.role == "site" and place.ref in outlines]
    if not sites:
        return places
    import shapely

    shapes = []
    for row in sites:
        rings = [ring / 1e7 for ring in outlines[places[row].ref].outer if len(ring) >= 4]
        shapes.append(
            shapely.union_all([shapely.make_valid(shapely.Polygon(ring)) for ring in rings]) if rings else shapely.Polygon()
        )
    tree = shapely.STRtree(shapes)

    def within(lon: NDArray[np.float64], lat: NDArray[np.float64]) -> list[tuple[int, int]]:
        pairs = tree.query(shapely.points(lon, lat), predicate="intersects")
        return [(int(a), sites[int(b)]) for a, b in pairs.T]

    gone: set[int] = set()
    out = list(places)
    lon, lat = np.array([p.lon for p in places]), np.array([p.lat for p in places])
    for row, site in within(lon, lat):
        guest = places[row]
        if row == site:
            continue
        if guest.role == "site" and guest.ref.startswith("n") and guest.name in ("", places[site].name):
            gone.add(row)
            faults["sites drawn twice (node within area)"] += 1
        elif guest.role == "service":
            offers = {word: _on_site(fact, guest.ref) for word, fact in guest.offers.items() if fact.answer >= Offer.PRESUMED}
            out[site] = _with_offers(out[site], offers)
    if facilities:
        points = np.array([(x, y) for x, y, _, _ in facilities])
        for row, site in within(points[:, 0], points[:, 1]):
            _, _, word, ref = facilities[row]
            out[site] = _with_offers(out[site], {word: OfferFact(Offer.YES, Source.TAGGED, f"{ref} on the site")})
    return [place for row, place in enumerate(out) if row not in gone]


def _on_site(fact: OfferFact, ref: str) -> OfferFact:
    return OfferFact(fact.answer, fact.source, f"{fact.evidence} ({ref} on the site)" if fact.evidence else f"{ref} on the site")


def _with_offers(site: Place, offers: dict[str, OfferFact]) -> Place:
    """Return the site with better answers where its own tags are silent; its own NO stands."""
    better = {
        word: fact
        for word, fact in offers.items()
        if fact.answer > site.offer(word).answer and site.offer(word).answer != Offer.NO
    }
    return dataclasses.replace(site, offers={**site.offers, **better}) if better else site


def _population(text: str) -> int:
    digits = "".join(c for c in text.split(";")[0] if c.isdecimal() and c.isascii())
    return int(digits) if digits and len(digits) <= 9 else -1


def find_towns(raw: RawMap, strings: StringTable) -> Towns:
    """Return the names to look things up by: cities to hamlets, islands, largest first."""
    rows: list[tuple[int, str, str, float, float]] = []
    points = [(node.tags, node.lon, node.lat) for node in raw.nodes]
    points += [(area.tags, *area_point(area)) for area in raw.areas if area.tags.get("place") in PLACES_TO_LOOK_UP]
    for tags, lon, lat in points:
        kind, name = tags.get("place", ""), tags.get("name", "")
        if name and kind in PLACES_TO_LOOK_UP:
            rows.append((_population(tags.get("population", "")), kind, name, lon, lat))
    rows.sort(key=lambda row: (-row[0], row[2], row[3], row[4]))
    return Towns(
        name=np.array([strings.number(row[2]) for row in rows], np.int32), kind=np.array([strings.number(row[1]) for row in rows], np.int32),
        lon_e7=np.array([round(row[3] * 1e7) for row in rows], np.int32), lat_e7=np.array([round(row[4] * 1e7) for row in rows], np.int32),
        population=np.array([row[0] for row in rows], np.int32),
    )  # fmt: skip
