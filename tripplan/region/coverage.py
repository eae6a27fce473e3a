"""What a region knows and what it does not."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from tripplan.model.outfit import Outfit
from tripplan.model.place import OFFERS
from tripplan.model.words import Offer, Surface
from tripplan.region.columns import HIGHWAYS, Access
from tripplan.region.region import Region

__all__ = ["Coverage", "OfferRow", "RoadRow", "coverage"]


@dataclass(frozen=True, slots=True)
class RoadRow:
    """Kilometres of one road class by surface; ``closed_km`` of them are closed to an outfit, ``small_km`` too small for this one."""

    road: str
    sealed_km: float
    presumed_km: float
    unknown_km: float
    unsealed_km: float
    closed_km: float
    small_km: float

    @property
    def km(self) -> float:
        """All of it."""
        return self.sealed_km + self.presumed_km + self.unknown_km + self.unsealed_km


@dataclass(frozen=True, slots=True)
class OfferRow:
    """How many places of one role and kind there are, how many admit a van, and the answers to each offer (no, unknown, presumed, yes)."""

    role: str
    kind: str
    places: int
    admit: int
    offers: dict[str, tuple[int, int, int, int]]


@dataclass(frozen=True, slots=True)
class Coverage:
    """What a region knows.

    Parameters
    ----------
    roads
        A row a class, widest first. places: a row a role and kind.
    surfaces
        For each class with roads of no surface tagged: how much of that is presumed, and why the rest is not.
    reached
        Places of each role that the outfit reaches, and how many there are; empty when that was not asked.
    why_not
        Reasons with the number of places, most frequent first.
    """

    name: str
    data_date: str
    country: str
    country_how: str
    tz: str
    attribution: str
    roads: tuple[RoadRow, ...]
    places: tuple[OfferRow, ...]
    towns: int
    turn_restrictions: int
    faults: dict[str, int]
    reached: dict[str, tuple[int, int]]
    why_not: tuple[tuple[str, int], ...]
    surfaces: dict[str, str] = field(default_factory=dict)


def coverage(region: Region, outfit: Outfit | None = None, reach: Mapping[int, str] | None = None) -> Coverage:
    """Count what a region knows.

    Parameters
    ----------
    outfit
        Count also the kilometres that are too low, narrow, short or weak for it.
    reach
        For each place that was asked for, by its row: "" when the outfit reaches it, else why not.
    """
    meta = region.meta
    reached: dict[str, tuple[int, int]] = {}
    reasons: Counter[str] = Counter()
    for row, why in (reach or {}).items():
        role = region.places[row].role
        hit, count = reached.get(role, (0, 0))
        reached[role] = (hit + (not why), count + 1)
        if why:
            reasons[why] += 1
    return Coverage(
        name=meta.name, data_date=meta.data_date, country=meta.country, country_how=meta.country_how, tz=meta.tz, attribution=meta.attribution,
        roads=_roads(region, outfit), places=_places(region), towns=len(region.towns.name), turn_restrictions=len(region.turns.osm_id),
        faults=dict(meta.faults), reached=dict(sorted(reached.items())), why_not=tuple(sorted(reasons.items(), key=lambda pair: (-pair[1], pair[0]))),
        surfaces=dict(meta.surfaces),
    )  # fmt: skip


def _roads(region: Region, outfit: Outfit | None) -> tuple[RoadRow, ...]:
    ways, pieces = region.ways, region.pieces
    km = np.bincount(pieces.way, weights=pieces.length_m, minlength=len(ways.osm_id)) / 1000
    closed = ways.tow_access == Access.CLOSED
    small = np.zeros(len(km), bool)
    if outfit is not None:
        from tripplan.rules.limits import fits_mask

        small = ~fits_mask(ways, outfit)
    rows = []
    for number, road in enumerate(HIGHWAYS):
        mine = ways.highway == number
        if not mine.any():
            continue
        sealed, presumed, unknown, unsealed = (
            float(km[mine & (ways.surface == int(surface))].sum())
            for surface in (Surface.SEALED, Surface.PRESUMED, Surface.UNKNOWN, Surface.UNSEALED)
        )
        closed_km, small_km = float(km[mine & closed].sum()), float(km[mine & small & ~closed].sum())
        rows.append(RoadRow(road, sealed, presumed, unknown, unsealed, closed_km, small_km))
    return tuple(rows)


def _places(region: Region) -> tuple[OfferRow, ...]:
    groups: dict[tuple[str, str], list[int]] = {}
    for row, place in enumerate(region.places):
        groups.setdefault((place.role, str(place.kind) if place.role == "site" else ""), []).append(row)
    rows = []
    for (role, kind), members in sorted(groups.items()):
        offers = {}
        for word in OFFERS:
            answers = Counter(region.places[row].offer(word).answer for row in members)
            offers[word] = (answers[Offer.NO], answers[Offer.UNKNOWN], answers[Offer.PRESUMED], answers[Offer.YES])
        admit = sum(region.places[row].admits >= Offer.PRESUMED for row in members)
        rows.append(OfferRow(role, kind, len(members), admit, offers))
    return tuple(rows)
