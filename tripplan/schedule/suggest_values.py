"""What each sight of a region is worth to people who have named none, and what kind of country it lies in."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tripplan.model.place import Place, Spot
from tripplan.region.columns import BASE_LAYERS
from tripplan.region.geometry import great_circle_m
from tripplan.region.region import Region
from tripplan.request.spots import on_map

__all__ = ["ASKED_CENTS", "COAST_KM", "Listed", "Valued", "value_sights"]

F64 = NDArray[np.float64]
#: A sight no farther from a coastline of the base map lies by the coast [km]: a quarter of an hour on the road. Own choice.
COAST_KM = 10.0
#: A viewpoint farther than this from any coast looks over hills, not over the sea [km]. Own choice.
_INLAND_KM = 12.0
#: What a sight asked for by name is worth [cents]: about nine hours of driving, its kilometres counted. Own choice.
ASKED_CENTS = 25_000
#: What seeing a sight is worth [cents] and how long it takes [h], by kind: own choices: a good one is worth some three hours of driving, its kilometres counted.
_KINDS: dict[str, tuple[int, float]] = {
    "tourism=theme_park": (9000, 4.0), "tourism=zoo": (8000, 3.0), "tourism=aquarium": (8000, 2.0), "tourism=museum": (8000, 2.0),
    "tourism=gallery": (5000, 1.5), "historic=castle": (9000, 2.0), "historic=fort": (7000, 1.5), "historic=monastery": (6000, 1.0),
    "historic=archaeological_site": (6000, 1.0), "historic=ruins": (5000, 1.0), "historic=monument": (3000, 0.5), "historic=city_gate": (3000, 0.5),
    "historic=lighthouse": (6000, 1.0), "man_made=lighthouse": (6000, 1.0), "natural=geyser": (10000, 1.5), "natural=volcano": (10000, 2.0),
    "natural=glacier": (10000, 2.0), "natural=hot_spring": (8000, 1.5), "natural=cave_entrance": (7000, 1.5), "natural=arch": (7000, 1.0),
    "natural=peak": (5000, 2.0), "natural=beach": (6000, 2.0), "waterway=waterfall": (8000, 1.0), "tourism=viewpoint": (6000, 1.0),
    "tourism=attraction": (7000, 1.5),
}  # fmt: skip
#: A sight whose kind the region did not keep.
_ANY_KIND = (6000, 1.5)
#: An operator's own sight, added as local knowledge.
_OWN_CENTS = 9000
#: Signs that others know of it: an entry in an encyclopaedia's data, protection as heritage. Own choice.
_KNOWN_SHARE, _HERITAGE_SHARE = 0.4, 0.3
_HIGH_M = 400.0
_STEEP_PERCENT, _STEEP_M = 8.0, 3000.0
_HILL_NAME = re.compile(r"\b(pass|saddle|summit|peak|mount|mountain|col|pico|monte|berg|gipfel|sattel|joch)\b", re.IGNORECASE)
_HILL_TAGS = (
    "natural=peak", "natural=volcano", "natural=glacier", "waterway=waterfall", "mountain_pass=yes",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Valued:
    """A sight and what seeing it is worth.

    Parameters
    ----------
    cents
        Before any theme. hours: length of a visit. why: what the value comes from.
    coast_km
        From the nearest coastline of the base map; infinite where it has none.
    hills
        What speaks for hills there; empty: nothing does.
    """

    spot: Spot
    cents: int
    hours: float
    why: str
    coast_km: float = float("inf")
    hills: str = ""


@dataclass(frozen=True, slots=True)
class Listed:
    """A sight that somebody gave a value: the operator by a list, or the party by asking for it."""

    spot: Spot
    cents: int
    why: str


def value_sights(region: Region, listed: Iterable[Listed] = ()) -> tuple[Valued, ...]:
    """Return every sight of a region with its value, in the order of the region's places, then spots that are no sights of the map.

    Parameters
    ----------
    listed
        These values rule over those by kind, later ones over earlier ones; a value of 0 takes the sight out.
    """
    by_place: dict[int, Listed] = {}
    bare: dict[tuple[float, float], Listed] = {}
    for item in listed:
        if item.spot.place >= 0:
            by_place[item.spot.place] = item
        else:
            bare[item.spot.lon, item.spot.lat] = item
    found: list[tuple[Spot, int, float, str, Place | None]] = []
    for place in region.places:
        told = by_place.get(place.index)
        if place.role != "sight" and told is None:
            continue
        if not on_map(region, place.lon, place.lat):  # an extract carries what hangs over its rim, but no roads there
            continue
        cents, hours, why = _by_kind(place)
        if told is not None:
            cents, why = told.cents, told.why
        if cents > 0:
            found.append((Spot(place.ref, place.name or place.ref, place.lon, place.lat, place.index), cents, hours, why, place))
    found += [(item.spot, item.cents, _ANY_KIND[1], item.why, None) for item in bare.values() if item.cents > 0]
    lon, lat = (np.array([getattr(s, n) for s, *_ in found], np.float64) for n in ("lon", "lat"))
    coast = _coast_km(region, lon, lat)
    steep = _steep_near(region, lon, lat)
    return tuple(
        Valued(spot, cents, hours, why, float(coast[k]), _hills(spot, place, float(coast[k]), float(steep[k])))
        for k, (spot, cents, hours, why, place) in enumerate(found)
    )


def _by_kind(place: Place) -> tuple[int, float, str]:
    tags = _tags(place)
    kinds = [(*_KINDS[word], word) for word in (f"{k}={v}" for k, v in tags.items()) if word in _KINDS]
    if not kinds:
        cents, hours = _ANY_KIND
        why = "a sight whose kind is not known"
    else:
        # The dearest kind, but never an "attraction" where the map says more.
        telling = [kind for kind in kinds if kind[2] != "tourism=attraction"] or kinds
        cents, hours, why = max(telling, key=lambda kind: (kind[0], kind[2]))
        if len(telling) < len(kinds):
            cents = max(cents, _KINDS["tourism=attraction"][0])
    if place.source != "map" and place.ref[:1] not in "nwr":
        return max(cents, _OWN_CENTS), hours, "the operator's own"
    share = 1.0
    if "wikidata" in tags or "wikipedia" in tags:
        share += _KNOWN_SHARE
        why += ", known beyond the map"
    if "heritage" in tags:
        share += _HERITAGE_SHARE
        why += ", protected as heritage"
    return round(cents * share), hours, why


def _tags(place: Place) -> Mapping[str, str]:
    return dict(part.split("=", 1) for part in place.sight.split("; ") if "=" in part)


def _hills(spot: Spot, place: Place | None, coast_km: float, steep: float) -> str:
    """Return the evidence for hills: no heights are in a region, so it is what the map says of the place and the roads near it."""
    tags = _tags(place) if place is not None else {}
    for word in (f"{k}={v}" for k, v in tags.items()):
        if word in _HILL_TAGS:
            return f"tagged {word}"
    high = re.match(r"\d+(\.\d+)?", tags.get("ele", ""))
    if high and float(high.group()) >= _HIGH_M:
        return f"tagged {float(high.group()):.0f} m above the sea"
    if steep >= _STEEP_PERCENT:
        return f"a road of {steep:.0f} % near it"
    if _HILL_NAME.search(spot.name):
        return "its name"
    if tags.get("tourism") == "viewpoint" and coast_km > _INLAND_KM:
        return "a viewpoint away from the coast"
    return ""


def _coast_km(region: Region, lon: F64, lat: F64) -> F64:
    """Return how far each point lies from the nearest stretch of coast [km]."""
    base = region.base
    far: F64 = np.full(len(lon), np.inf)
    if not len(base.layer) or not len(lon):
        return far
    rows = np.flatnonzero(base.layer == BASE_LAYERS.index("coast"))
    if not len(rows):
        return far
    inner = np.concatenate([np.arange(base.ptr[r], base.ptr[r + 1] - 1) for r in rows]).astype(np.int64)
    if not len(inner):
        return far
    x, y = base.lon_e7 * 1e-7, base.lat_e7 * 1e-7
    for k in range(len(lon)):
        # A plane around the point, 111.2 km a degree: true near it, and only what is near matters.
        across = 111.2 * max(0.02, float(np.cos(np.radians(lat[k]))))
        ax, ay = (x[inner] - lon[k]) * across, (y[inner] - lat[k]) * 111.2
        dx, dy = (x[inner + 1] - x[inner]) * across, (y[inner + 1] - y[inner]) * 111.2
        length = dx * dx + dy * dy
        share = np.clip(-(ax * dx + ay * dy) / np.where(length > 0, length, 1.0), 0.0, 1.0)
        far[k] = float(np.sqrt(((ax + share * dx) ** 2 + (ay + share * dy) ** 2).min()))
    return far


def _steep_near(region: Region, lon: F64, lat: F64) -> F64:
    """Return the steepest grade tagged on a road near each point [%]; 0 where none is."""
    out: F64 = np.zeros(len(lon))
    grade = region.ways.incline[region.pieces.way] if len(region.pieces.way) else np.empty(0, np.float32)
    rows = np.flatnonzero(np.nan_to_num(grade, nan=0.0) >= _STEEP_PERCENT)
    if not len(rows):
        return out
    middle = ((region.pieces.ptr[rows] + region.pieces.ptr[rows + 1]) // 2).astype(np.int64)
    x, y = (np.asarray(column[middle], np.float64) * 1e-7 for column in (region.pieces.lon_e7, region.pieces.lat_e7))
    for k in range(len(lon)):
        near = great_circle_m(float(lon[k]), float(lat[k]), x, y) <= _STEEP_M
        if near.any():
            out[k] = float(grade[rows][near].max())
    return out
