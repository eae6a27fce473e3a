"""Places as people type them on the page, sites to change a night to, and what is reached from the depot."""

from __future__ import annotations

import hashlib
import json
import threading
from collections import OrderedDict
from dataclasses import dataclass
from typing import Any

from tripplan.model.errors import BadInputError
from tripplan.model.place import Place, Spot
from tripplan.model.words import Offer
from tripplan.region.region import Region
from tripplan.report.safe import plain

__all__ = ["Match", "Reach", "look_up", "sites_near"]

_LISTED = 8
_KEPT = 256
#: What matters most when a night's place is chosen.
_TOLD = (("power", "mains"), ("fresh", "water"), ("grey", "a drain for grey water"), ("cassette", "a place to empty the cassette"), ("showers", "showers"))  # fmt: skip


@dataclass(frozen=True, slots=True)
class Match:
    """A place that a text may mean: ``place`` finds it again for sure, ``label`` is its name, ``told`` tells it from others."""

    place: str
    label: str
    told: str


def look_up(region: Region, text: str, roles: tuple[str, ...], *, only: bool = False) -> list[Match]:
    """Return what a text may mean: one match, or several to choose from, best first.

    Raises
    ------
    BadInputError
        When nothing is found.
    """
    from tripplan.region.find import find
    from tripplan.request.spots import find_spot

    try:
        return [match_of(region, find_spot(region, text, "", roles, only=only))]
    except BadInputError:
        found = find(region, text[:200], roles=roles if only else None) if text.strip() else []
        if len(found) < 2:
            raise
        return [match_of(region, spot) for spot in found[:_LISTED]]


def match_of(region: Region, spot: Spot) -> Match:
    """Return a spot as a choice."""
    from tripplan.region.find import describe

    place = region.places[spot.place].ref if spot.place >= 0 else f"{spot.lat:.6f}, {spot.lon:.6f}"
    return Match(place, plain(spot.name)[:120], plain(describe(region, spot).rpartition("; ")[0] + ")"))


def sites_near(region: Region, lon: float, lat: float, most: int = 12) -> list[Match]:
    """Return the sites that may take a van, nearest first by straight distance."""
    import numpy as np

    sites = [p for p in region.places if p.role == "site" and p.admits in (Offer.YES, Offer.PRESUMED)]
    if not sites:
        return []
    east = ((np.array([p.lon for p in sites]) - lon + 180) % 360 - 180) * np.cos(np.radians(lat))
    away = np.hypot(east, np.array([p.lat for p in sites]) - lat) * 111.195
    return [
        Match(sites[k].ref, plain(sites[k].name or sites[k].ref)[:120], _site_words(sites[k], float(away[k])))
        for k in np.argsort(away, kind="stable")[:most].tolist()
    ]


def _site_words(site: Place, away_km: float) -> str:
    """Return a site with how far it is and what it has, so that people can choose."""
    from tripplan.report.say import listed

    has = [words for word, words in _TOLD if site.offer(word).answer == Offer.YES]
    perhaps = [words for word, words in _TOLD if site.offer(word).answer == Offer.PRESUMED]
    away = f"{away_km:.0f} km away" if away_km >= 0.5 else "here"
    told = [f"has {listed(has)}" if has else "", f"presumably {listed(perhaps)}" if perhaps else ""]
    kind = str(site.kind).replace("_", " ")
    return plain("; ".join(text for text in (f"{site.name or 'site without a name'} ({kind}, {away})", *told) if text))


class Reach:
    """Times from the depot to each sight, with the van and by car; worked out once for each question."""

    def __init__(self, region: Region, firm: dict[str, Any]) -> None:
        self._region = region
        self._firm = firm
        self._lock = threading.Lock()
        self._known: OrderedDict[str, list[str]] = OrderedDict()

    def words(self, draft: dict[str, Any]) -> list[str]:
        """Return for each sight of a draft how far it is from the depot, or why it is not reached."""
        if not draft.get("sights"):
            return []
        asked = {key: draft.get(key) for key in ("pick_up", "return", "outfit", "sights", "driving")}
        key = hashlib.sha256(json.dumps(asked, sort_keys=True).encode()).hexdigest()
        with self._lock:
            if key not in self._known:
                self._known[key] = self._worked_out(draft)
                while len(self._known) > _KEPT:
                    self._known.popitem(last=False)
            return self._known[key]

    def _worked_out(self, draft: dict[str, Any]) -> list[str]:
        from tripplan.report import say
        from tripplan.roads.cache import cache_folder
        from tripplan.roads.closures import closure_sets
        from tripplan.roads.join import join
        from tripplan.roads.network import open_network
        from tripplan.roads.terms import terms_for_car, terms_for_van
        from tripplan.serve.draft import trip_in

        trip = trip_in({**draft, "bookings": []}, self._firm, self._region)
        closures = closure_sets(self._region, trip.dates[:1])[0]
        spots = [trip.depot, *(sight.spot for sight in trip.sights)]
        out = [""] * len(trip.sights)
        for word, terms in (
            ("with the van", terms_for_van(trip, self._region)),
            ("by car alone", terms_for_car(trip, self._region)),
        ):
            joined = join(open_network(self._region, terms, closures, cache=cache_folder()), spots, home=0)
            table = joined.matrix()
            for n in range(len(trip.sights)):
                via = str(trip.sights[n].via)
                if (via == "van" and word != "with the van") or (via == "car only" and word != "by car alone"):
                    continue
                if not joined.reached[n + 1] or table.drive_s[0, n + 1] >= 10**9:
                    told = f"{word}: not reached ({plain(joined.why_not[n + 1]) or 'no way there'})"
                else:
                    told = (
                        f"{word}: {say.km(float(table.length_m[0, n + 1]))}, {say.hours_minutes(float(table.drive_s[0, n + 1]))}"
                    )
                out[n] += ("; " if out[n] else "") + told
        return out
