"""Places as people type them on the page, sites to change a night to, and what is reached from the depot."""

from __future__ import annotations

import hashlib
import json
import re
import threading
from collections import OrderedDict
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

from tripplan.model.errors import BadInputError
from tripplan.model.place import Place, Spot
from tripplan.model.trip import Trip
from tripplan.model.words import Offer
from tripplan.region.region import Region
from tripplan.report.safe import plain
from tripplan.schedule.suggest_values import Valued
from tripplan.serve.closed import Closed

__all__ = ["Match", "Reach", "Reached", "look_up", "sites_near"]

_LISTED = 8
_KEPT = 256
#: What a table holds where there is no way [s].
_NEVER_S = 10**9
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


@dataclass(frozen=True, slots=True)
class Reached:
    """How far a place is from the depot: in words, what there and back comes to by itself, and whether it is reached at all."""

    words: str
    alone: str
    reached: bool


class Reach:
    """Ways from the depot to places, with the van and by car; worked out once for each question."""

    def __init__(self, region: Region, firm: dict[str, Any], closed: Closed) -> None:
        self._region = region
        self._firm = firm
        self._closed = closed
        self._lock = threading.Lock()
        self._known: OrderedDict[str, list[Reached]] = OrderedDict()

    def chosen(self, draft: dict[str, Any]) -> list[Reached]:
        """Return for each sight of a draft how far it is from the depot, or why it is not reached."""
        if not draft["sights"]:
            return []
        return self._of(draft, draft["sights"], lambda trip: [(s.spot, str(s.via)) for s in trip.sights])

    def listed(self, draft: dict[str, Any], sights: Sequence[Valued]) -> list[Reached]:
        """Return the same for sights to choose from."""
        if not sights:
            return []
        spots = [(sight.spot, "either") for sight in sights]
        return self._of({**draft, "sights": []}, [sight.spot.text for sight in sights], lambda _trip: spots)

    def _of(self, draft: dict[str, Any], what: Any, spots: Callable[[Trip], list[tuple[Spot, str]]]) -> list[Reached]:
        from tripplan.serve.draft import trip_in

        trip = self._closed.on(trip_in({**draft, "bookings": []}, self._firm, self._region))
        asked = {key: draft.get(key) for key in ("pick_up", "return", "outfit", "driving")}
        shut = [repr(closure) for closure in trip.closures]
        key = hashlib.sha256(json.dumps([asked, what, shut], sort_keys=True).encode()).hexdigest()
        with self._lock:  # one at a time: many who ask the same wait for one answer
            if key not in self._known:
                self._known[key] = self._worked_out(trip, spots(trip))
                while len(self._known) > _KEPT:
                    self._known.popitem(last=False)
            self._known.move_to_end(key)
            return self._known[key]

    def _worked_out(self, trip: Trip, spots: list[tuple[Spot, str]]) -> list[Reached]:
        from tripplan.report import say
        from tripplan.roads.cache import cache_folder
        from tripplan.roads.closures import closure_sets
        from tripplan.roads.join import join
        from tripplan.roads.network import open_network
        from tripplan.roads.terms import terms_for_car, terms_for_van

        shut = closure_sets(self._region, trip.dates[:1], hours=trip.road_hours, closures=trip.closures, outfit=trip.outfit)[0]
        words: list[list[str]] = [[] for _ in spots]
        alone = [""] * len(spots)
        for via, how, terms in (
            ("van", "with the van", terms_for_van(trip, self._region)),
            ("car only", "by car alone", terms_for_car(trip, self._region)),
        ):
            net = open_network(self._region, terms, shut, cache=cache_folder())
            joined = join(net, [trip.depot, *(spot for spot, _ in spots)], home=0)
            table = joined.matrix()
            for n, (_, wanted) in enumerate(spots, 1):
                if wanted not in ("either", via):
                    continue
                there, back = float(table.drive_s[0, n]), float(table.drive_s[n, 0])
                if not joined.reached[n] or max(there, back) >= _NEVER_S:
                    words[n - 1].append(f"{how}: not reached ({plain(joined.why_not[n]) or 'no way there'})")
                    continue
                words[n - 1].append(f"{how}: {say.km(float(table.length_m[0, n]))}, {say.hours_minutes(there)}")
                if not alone[n - 1]:
                    metres = float(table.length_m[0, n] + table.length_m[n, 0])
                    money = say.money(round(metres / 1000 * trip.weights.km_cents), trip.firm.currency)
                    alone[n - 1] = f"{say.km(metres)}, {say.hours_minutes(there + back)}, {money}"
        return [Reached(_unbroken("; ".join(told)), _unbroken(one), bool(one)) for told, one in zip(words, alone, strict=True)]


def _unbroken(text: str) -> str:
    """Return a text whose figures stay on one line with their units."""
    return re.sub(r"(?<=\d) (?=(?:km|m|h|min)\b)", "\N{NO-BREAK SPACE}", text)
