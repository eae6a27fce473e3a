"""Names, coordinates and map identities as people write them, to spots of a region."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tripplan.model.errors import BadInputError
from tripplan.model.place import Spot
from tripplan.region.geometry import EARTH_RADIUS_M
from tripplan.region.region import Region

__all__ = ["describe", "find", "fold", "nearest_town"]

_SAME_M = 150.0  # one name twice within this distance is one thing drawn twice
_QUALIFIED_M = 30_000.0
_LETTERS = str.maketrans({"ø": "o", "đ": "d", "ł": "l", "ð": "d", "þ": "th", "æ": "ae", "œ": "oe", "ı": "i", "ħ": "h", "ŋ": "n"})
_COORDINATE = re.compile(
    r"^\s*([+-]?\d{1,3}(?:\.\d+)?)\s*°?\s*([NS])?\s*[,;\s]\s*([+-]?\d{1,3}(?:\.\d+)?)\s*°?\s*([EWO])?\s*$", re.IGNORECASE
)
_REF = re.compile(r"^\s*(?:(n|w|r)|(node|way|relation)/)(\d{1,19})\s*$", re.IGNORECASE)


def fold(text: str) -> str:
    """Return a name without case, accents and punctuation, words parted by one space."""
    # Styled letters (a mathematical A) have no case until they are taken apart.
    plain = unicodedata.normalize("NFKD", unicodedata.normalize("NFKD", text).casefold().translate(_LETTERS))
    return " ".join("".join(c if c.isalnum() else " " for c in plain if not unicodedata.combining(c)).split())


@dataclass(frozen=True, slots=True)
class NameIndex:
    """Every name of a region that can be looked up: as written, folded, where, and which place (-1: a town)."""

    name: tuple[str, ...]
    folded: tuple[str, ...]
    lon: NDArray[np.float64]
    lat: NDArray[np.float64]
    place: NDArray[np.int32]
    weight: NDArray[np.int64]


def name_index(region: Region) -> NameIndex:
    """Collect the names of a region (kept by `Region.names`)."""
    towns = region.towns
    named = [place for place in region.places if place.name]
    names = [region.string(int(number)) for number in towns.name] + [place.name for place in named]
    return NameIndex(
        name=tuple(names),
        folded=tuple(fold(name) for name in names),
        lon=np.concatenate((towns.lon_e7 / 1e7, [place.lon for place in named])),
        lat=np.concatenate((towns.lat_e7 / 1e7, [place.lat for place in named])),
        place=np.array([-1] * len(towns.name) + [place.index for place in named], np.int32),
        weight=np.concatenate((towns.population.astype(np.int64), np.zeros(len(named), np.int64))),
    )


def find(region: Region, text: str, *, near: tuple[float, float] | None = None, roles: Sequence[str] | None = None) -> list[Spot]:
    """Find what a person may mean by a text.

    Parameters
    ----------
    text
        A name ("Seaview", "Seaview, Northport"), "lat, lon" in degrees, or a map identity ("n123", "way/123").
    near
        (lon, lat): nearer ones first. Otherwise larger towns first.
    roles
        Only places of these roles, and ``"town"`` for towns; everything when ``None``.

    Returns
    -------
    list of Spot
        Best first: the name as written; without case and accents; beginning with the text; containing all its words.
        Whether one is taken or all are listed is for the caller (`describe` tells them apart).

    Raises
    ------
    BadInputError
        For a coordinate that is not on earth.
    """
    spot = _coordinate(text)
    if spot is not None:
        return [spot]
    own = region.place_by_ref.get(text.strip()) if text.strip().startswith("local:") else None
    if own is not None and _wanted(region, own, roles):
        place = region.places[own]
        return [Spot(text, place.name or place.ref, place.lon, place.lat, own)]
    if found := _REF.match(text):
        row = region.place_by_ref.get(f"{(found[1] or found[2])[0].lower()}{int(found[3])}")
        if row is not None and _wanted(region, row, roles):
            place = region.places[row]
            return [Spot(text, place.name or place.ref, place.lon, place.lat, row)]
        return []
    ranks = _ranks(region, text, roles)
    if not ranks and "," in text:
        head, _, tail = text.rpartition(",")
        return _qualified(region, text, find(region, head, near=near, roles=roles), find(region, tail, near=near))
    index = region.names

    def order(row: int) -> tuple[int, float, int]:
        away = _away(float(index.lon[row]), float(index.lat[row]), near) if near else -float(index.weight[row])
        return ranks[row], away, row

    return _once(
        [
            Spot(text, index.name[k], float(index.lon[k]), float(index.lat[k]), int(index.place[k]))
            for k in sorted(ranks, key=order)
        ]
    )


def _coordinate(text: str) -> Spot | None:
    found = _COORDINATE.match(text)
    if not found:
        return None
    lat = float(found[1]) * (-1 if (found[2] or "").upper() == "S" else 1)
    lon = float(found[3]) * (-1 if (found[4] or "").upper() == "W" else 1)
    if abs(lat) > 90 or abs(lon) > 180:
        raise BadInputError(
            f"position {text.strip()!r} is not on earth", accepted="latitude, longitude in degrees, as in 57.41, -6.19"
        )
    return Spot(text, f"{lat:.5f}, {lon:.5f}", lon, lat)


def _wanted(region: Region, place: int, roles: Sequence[str] | None) -> bool:
    return roles is None or ("town" if place < 0 else region.places[place].role) in roles


def _ranks(region: Region, text: str, roles: Sequence[str] | None) -> dict[int, int]:
    """Rows of the name index that match, with the rank of the match: 0 is the best."""
    index = region.names
    wish, written = fold(text), text.strip()
    words = wish.split()
    ranks: dict[int, int] = {}
    for row, folded in enumerate(index.folded):
        if not words or words[0] not in folded:
            continue
        if folded == wish:
            rank = 0 if index.name[row] == written else 1
        elif folded.startswith(wish):
            rank = 2
        elif set(words) <= set(folded.split()):
            rank = 3
        else:
            continue
        if _wanted(region, int(index.place[row]), roles):
            ranks[row] = rank
    return ranks


def _qualified(region: Region, text: str, spots: list[Spot], places: list[Spot]) -> list[Spot]:
    """Of several matches those that lie by a place named after the comma, the nearest first."""
    measured = []
    exact = [spot for spot in spots if fold(spot.name) == fold(text.rpartition(",")[0])]
    places = [place for place in places if fold(place.name) == fold(text.rpartition(",")[2])] or places
    for spot in exact or spots:
        away = min((_away(place.lon, place.lat, (spot.lon, spot.lat)) for place in places), default=np.inf)
        if away <= _QUALIFIED_M:
            measured.append((away, spot))
    measured.sort(key=lambda pair: pair[0])
    if len(measured) > 1:
        # Qualified by a town, a match is the one whose nearest town that is, if only one is.
        towns = {fold(place.name) for place in places}
        own = [pair for pair in measured if fold(nearest_town(region, pair[1].lon, pair[1].lat)[0]) in towns]
        measured = own if len(own) == 1 else measured
    return [Spot(text, spot.name, spot.lon, spot.lat, spot.place) for _, spot in measured]


def _away(lon: float, lat: float, to: tuple[float, float]) -> float:
    """Return the distance of two points, good to a percent up to some hundred kilometres [m]."""
    east = np.radians((to[0] - lon + 180) % 360 - 180) * np.cos(np.radians((lat + to[1]) / 2))
    return float(EARTH_RADIUS_M * np.hypot(east, np.radians(to[1] - lat)))


def _once(spots: list[Spot]) -> list[Spot]:
    """Drop a second drawing of the same thing: same name, a stone's throw away. A place is kept before a town."""
    kept: list[Spot] = []
    for spot in sorted(spots, key=lambda spot: spot.place < 0):
        if not any(
            fold(spot.name) == fold(other.name) and _away(spot.lon, spot.lat, (other.lon, other.lat)) < _SAME_M for other in kept
        ):
            kept.append(spot)
    return [spot for spot in spots if spot in kept]


def nearest_town(region: Region, lon: float, lat: float) -> tuple[str, float]:
    """Return the name of the nearest town, village or city and its distance [km]; ("", inf) when there is none."""
    towns = region.towns
    kinds = np.array(
        [region.string(int(number)) in ("city", "town", "village", "hamlet", "suburb") for number in towns.kind], bool
    )
    if not kinds.any():
        return "", float("inf")
    rows = np.flatnonzero(kinds)
    east = np.radians((towns.lon_e7[rows] / 1e7 - lon + 180) % 360 - 180) * np.cos(np.radians(lat))
    away = np.hypot(east, np.radians(towns.lat_e7[rows] / 1e7 - lat)) * EARTH_RADIUS_M / 1000
    best = int(np.argmin(away))
    return region.string(int(towns.name[rows[best]])), float(away[best])


def describe(region: Region, spot: Spot) -> str:
    """Return one match in words that tell it from others: name, what it is, nearest town and distance, identity."""
    kind = "place"
    ref = ""
    if spot.place >= 0:
        place = region.places[spot.place]
        kind, ref = (str(place.kind).replace("_", " ") if place.role == "site" else place.role), place.ref
    else:
        index = np.flatnonzero((region.towns.lon_e7 == round(spot.lon * 1e7)) & (region.towns.lat_e7 == round(spot.lat * 1e7)))
        if len(index):
            kind = region.string(int(region.towns.kind[index[0]]))
    town, away = nearest_town(region, spot.lon, spot.lat)
    beside = f", {away:.1f} km from {town}" if town and town != spot.name else ""
    return f"{spot.name} ({kind}{beside}; {ref or f'{spot.lat:.5f}, {spot.lon:.5f}'})"
