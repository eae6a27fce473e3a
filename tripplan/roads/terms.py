"""On what terms an outfit uses the roads: everything that a network depends on beside the region."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import asdict, dataclass, replace
from datetime import date

from tripplan.model.errors import BadInputError
from tripplan.model.outfit import Outfit
from tripplan.model.trip import Firm, Trip
from tripplan.region.region import Region

__all__ = ["Area", "Terms", "terms_every_road", "terms_for_car", "terms_for_firm", "terms_for_van"]

#: A ring of (lon, lat) with a name.
Area = tuple[str, tuple[tuple[float, float], ...]]


@dataclass(frozen=True, slots=True)
class Terms:
    """What one outfit may use.

    Parameters
    ----------
    outfit
        What is on the road: its size and weight, its limit.
    van
        Whether the van is on: access is then judged for a car with trailer, and the road is no place to turn round.
    surfaces
        ``sealed``: tagged or presumed sealed in transit, unknown only as the last mile, unsealed nowhere.
        ``any``: any surface; tracks only where tagged sealed.
    last_mile_m
        Most road of unknown surface at one end of a leg [m].
    ferries, tolls
        Whether they may be used.
    off_limits
        Named rings of (lon, lat) that no road used may touch.
    country
        ISO 3166-1 code for the national towing table. state: ISO 3166-2 code where the whole region lies in one state;
        else the strictest of a country's states holds.
    dates
        Dates of the trip; which closures are in force is told by a `ClosureSet`.
    every_road
        For checking a way that somebody brings: every road that a car may use, of any surface, sizes, closures, firm's
        areas and destination-only signs disregarded, at the outfit's speeds.
    """

    outfit: Outfit
    van: bool = True
    surfaces: str = "sealed"
    last_mile_m: float = 1000.0
    ferries: bool = True
    tolls: bool = True
    off_limits: tuple[Area, ...] = ()
    country: str = ""
    dates: tuple[date, ...] = ()
    every_road: bool = False
    state: str = ""

    def __post_init__(self) -> None:
        if self.surfaces not in ("sealed", "any"):
            raise BadInputError(f"surface rule is {self.surfaces!r}", where="firm", accepted="sealed or any")
        if not 0 <= self.last_mile_m <= 20_000:
            raise BadInputError(f"`last_mile_m` is {self.last_mile_m:g}", where="firm", accepted="0 to 20000 m")
        for name, ring in self.off_limits:
            if len(ring) < 3:
                raise BadInputError(f"area {name!r} has {len(ring)} corners", where="firm", accepted="3 or more")

    @property
    def mode(self) -> str:
        """How legs on these terms are marked: ``van`` or ``car``."""
        return "van" if self.van else "car"

    def fingerprint(self) -> str:
        """Return a hexadecimal digest of everything that a network depends on (names and dates do not count)."""
        values = asdict(replace(self, dates=()))
        values["outfit"].pop("name")
        return hashlib.sha256(repr(sorted(values.items())).encode()).hexdigest()


def terms_for_van(trip: Trip, region: Region) -> Terms:
    """Return the terms of a towing day: sealed and presumed roads, the last mile as the firm allows it."""
    return replace(terms_for_firm(trip.outfit, trip.firm, region, trip.dates), ferries=_ferries(trip), tolls=trip.tolls)


def terms_for_car(trip: Trip, region: Region) -> Terms:
    """Return the terms of the car alone on a standing day: the firm's surface rule for it."""
    terms = terms_for_firm(trip.car, trip.firm, region, trip.dates)
    return replace(terms, van=False, surfaces=trip.firm.car_surface, ferries=_ferries(trip), tolls=trip.tolls)


def terms_for_firm(outfit: Outfit, firm: Firm, region: Region, dates: Sequence[date] = ()) -> Terms:
    """Return the terms for towing with this firm when there is no trip yet."""
    if outfit.towing:
        outfit = replace(outfit, towing_limit_kmh=min(outfit.towing_limit_kmh, firm.towing_limit_kmh))
    return Terms(
        outfit, van=outfit.towing, last_mile_m=firm.last_mile_m, ferries=firm.ferries_allowed,
        off_limits=firm.areas_off_limits, country=region.meta.country, dates=tuple(dates),
        state=region.meta.state,
    )  # fmt: skip


def terms_every_road(terms: Terms) -> Terms:
    """Return terms over every road that a car may use, at the speeds of the same outfit (see `Terms.every_road`)."""
    return replace(terms, surfaces="any", ferries=True, tolls=True, off_limits=(), every_road=True)


def _ferries(trip: Trip) -> bool:
    return trip.ferries and trip.firm.ferries_allowed
