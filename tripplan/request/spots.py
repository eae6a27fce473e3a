"""Places as people write them, found in a region: one match is taken, several are listed with how to tell them apart."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable, Sequence
from math import cos, hypot, radians

from tripplan.model.errors import BadInputError
from tripplan.model.place import Spot
from tripplan.region.region import Region

__all__ = ["Finder", "find_spot", "kilometres"]

Finder = Callable[[Region, str], Sequence[Spot]]

_NUMBER_PAIR = re.compile(r"\s*([-+]?\d+(?:\.\d+)?)\s*[,;/ ]\s*([-+]?\d+(?:\.\d+)?)\s*$")
_MAP_REF = re.compile(r"\s*[nwr]\d+\s*$")
#: How far "name, town" reaches [km].
_NEAR_KM = 60.0
_LISTED = 4


def find_spot(
    region: Region, text: str, where: str, roles: Sequence[str] = (), *, only: bool = False, finder: Finder | None = None
) -> Spot:
    """Return the one spot that a text means.

    Parameters
    ----------
    where
        File, table and line, for messages.
    roles
        Roles of place that are meant when a name fits several things, most likely first; ``town`` stands for a bare name.
    only
        Nothing but a place of these roles will do.

    Raises
    ------
    BadInputError
        Nothing found, several found, or off the map.
    """
    from tripplan.region.find import find

    look = finder or find
    if not text.strip():
        raise BadInputError("`place` is empty", where=where, accepted=_accepted(), next_step="name a place")
    point = _NUMBER_PAIR.match(text)
    if point:
        return _bare_point(region, text, float(point[1]), float(point[2]), where)
    if _MAP_REF.match(text):
        spots = list(look(region, text.strip()))
        if not spots:
            raise BadInputError(
                f'no place has the map identity "{_short(text)}"',
                where=where,
                accepted=_accepted(),
                next_step="check it on the map",
            )
        return spots[0]
    matches = _matches(region, text, roles, only, look)
    if not matches and "," in text:
        matches = _near_town(region, text, roles, only, look, where)
    if not matches:
        raise _not_found(region, text, roles, only, look, where)
    if len(matches) > 1:
        raise BadInputError(
            f'"{_short(text)}" fits {len(matches)} places: {_listed(region, matches)}', where=where, accepted="one place",
            next_step='write it as "name, town near it", as "latitude, longitude" or as its map identity',
        )  # fmt: skip
    return Spot(text=text, name=matches[0].name, lon=matches[0].lon, lat=matches[0].lat, place=matches[0].place)


def kilometres(a: Spot, b: Spot) -> float:
    """Return a fair straight distance [km]."""
    east = ((a.lon - b.lon + 180) % 360 - 180) * cos(radians((a.lat + b.lat) / 2))
    return 111.195 * hypot(east, a.lat - b.lat)


def _bare_point(region: Region, text: str, lat: float, lon: float, where: str) -> Spot:
    west, south, east, north = region.meta.bbox

    def inside(y: float, x: float) -> bool:
        across = west <= x <= east if west <= east else x >= west or x <= east
        return south <= y <= north and across

    if not inside(lat, lon):
        box = f"latitude {south:.2f} to {north:.2f}, longitude {west:.2f} to {east:.2f}"
        hint = (
            f'did you mean "{lon:g}, {lat:g}"? Latitude comes first'
            if inside(lon, lat)
            else "check the coordinates, or build a region that holds them"
        )
        raise BadInputError(f'"{_short(text)}" is off the map', where=where, accepted=box, next_step=hint)
    return Spot(text=text, name=f"{lat:.5f}, {lon:.5f}", lon=lon, lat=lat)


def _role(region: Region, spot: Spot) -> str:
    return region.places[spot.place].role if spot.place >= 0 else "town"


def _matches(region: Region, text: str, roles: Sequence[str], only: bool, look: Finder) -> list[Spot]:
    """Return the matches that are equally good: exact names before longer ones, then the role meant most."""
    found = _distinct(look(region, text))
    if only:
        found = [spot for spot in found if _role(region, spot) in roles]
    exact = [spot for spot in found if _folded(spot.name) == _folded(text)]
    found = exact or found
    for role in roles:
        meant = [spot for spot in found if _role(region, spot) == role]
        if meant:
            return meant
    return found


def _near_town(region: Region, text: str, roles: Sequence[str], only: bool, look: Finder, where: str) -> list[Spot]:
    name, _, town_name = text.rpartition(",")
    towns = _matches(region, town_name, ("town",), False, look)
    matches = _matches(region, name, roles, only, look)
    if not towns or not matches:
        return []
    pairs = sorted((min(kilometres(spot, town) for town in towns), i) for i, spot in enumerate(matches))
    near = [matches[i] for km, i in pairs if km <= _NEAR_KM]
    if not near:
        km = pairs[0][0]
        raise BadInputError(
            f'no "{_short(name.strip())}" within {_NEAR_KM:g} km of {_short(town_name.strip())}; the nearest is {km:.0f} km away',
            where=where, accepted=_accepted(), next_step="name a town nearer to it",
        )  # fmt: skip
    clearly = len(pairs) < 2 or pairs[0][0] < 0.5 * pairs[1][0] or pairs[1][0] > _NEAR_KM
    return near[:1] if clearly else near


def _distinct(spots: Sequence[Spot]) -> list[Spot]:
    """Return spots without the second of two that stand within 300 m under one name (a town drawn twice)."""
    out: list[Spot] = []
    for spot in spots:
        if not any(s.name == spot.name and s.place < 0 and spot.place < 0 and kilometres(s, spot) < 0.3 for s in out):
            out.append(spot)
    return out


def _not_found(region: Region, text: str, roles: Sequence[str], only: bool, look: Finder, where: str) -> BadInputError:
    others = _distinct(look(region, text)) if only else []
    if others:
        return BadInputError(
            f'"{_short(text)}" is no {" or ".join(roles)} but {_listed(region, others[:1])}',
            where=where, accepted=f"the name of a {' or '.join(roles)}", next_step="name the place itself",
        )  # fmt: skip
    near = _closest_names(region, text)
    hint = "did you mean " + " or ".join(f'"{name}"' for name in near) + "?" if near else "check the spelling on the map"
    return BadInputError(
        f'"{_short(text)}" is not on the map of {region.meta.name}', where=where, accepted=_accepted(), next_step=hint
    )


def _closest_names(region: Region, text: str) -> list[str]:
    from difflib import get_close_matches

    towns = (region.string(int(number)) for number in region.towns.name)
    names = {_folded(name): name for name in (*towns, *(place.name for place in region.places)) if name}
    return [names[key] for key in get_close_matches(_folded(text), list(names), n=2, cutoff=0.75)]


def _listed(region: Region, spots: Sequence[Spot]) -> str:
    parts = []
    for spot in spots[:_LISTED]:
        ref = f", {region.places[spot.place].ref}" if spot.place >= 0 else ""
        kind = _role(region, spot)
        parts.append(f"{_short(spot.name)} ({kind}{_town_beside(region, spot)}; {spot.lat:.4f}, {spot.lon:.4f}{ref})")
    if len(spots) > _LISTED:
        parts.append(f"{len(spots) - _LISTED} more")
    return " / ".join(parts)


def _town_beside(region: Region, spot: Spot) -> str:
    """Return the nearest town of another name, with the distance."""
    best, best_km = "", 1e9
    towns = region.towns
    for name, lon, lat in zip(towns.name, towns.lon_e7, towns.lat_e7, strict=True):
        label = region.string(int(name))
        km = kilometres(spot, Spot("", "", float(lon) / 1e7, float(lat) / 1e7))
        if label and _folded(label) != _folded(spot.name) and km < best_km:
            best, best_km = label, km
    return f", {best_km:.0f} km from {_short(best)}" if best else ""


def _folded(name: str) -> str:
    plain = unicodedata.normalize("NFKD", name)
    return " ".join("".join(c for c in plain if not unicodedata.combining(c)).casefold().split())


def _short(text: str) -> str:
    return text if len(text) <= 60 else text[:57] + "..."


def _accepted() -> str:
    return 'a name on the map, "name, town near it", "latitude, longitude", or a map identity such as "n123"'
