"""Places as people write them, found in a region: one match is taken, several are listed with how to tell them apart."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from tripplan.model.errors import BadInputError
from tripplan.model.place import Spot
from tripplan.region.geometry import ROAD_REACH_M
from tripplan.region.region import Region

__all__ = ["find_spot", "on_map", "road_m", "swapped"]

_LISTED = 4
_ACCEPTED = 'a name on the map, "name, town near it", "latitude, longitude", or a map identity such as "n123"'


def find_spot(region: Region, text: str, where: str, roles: Sequence[str] = (), *, only: bool = False) -> Spot:
    """Return the one spot that a text means.

    Parameters
    ----------
    where
        File, table and line, for messages.
    roles
        Roles of place that are meant when a name fits several things, likeliest first; ``town`` stands for a bare name.
    only
        Nothing but a place of these roles will do.

    Raises
    ------
    BadInputError
        Nothing found, several found, of another role, or off the map.
    """
    from tripplan.region.find import find

    if not text.strip():
        raise BadInputError("`place` is empty", where=where, accepted=_ACCEPTED, next_step="name a place")
    try:
        found = find(region, text, roles=roles if only else None)
    except BadInputError as error:
        raise BadInputError(
            error.what, where=where, accepted=error.accepted, next_step="mind the order: latitude first"
        ) from None
    matches = _meant(region, found, text, roles)
    if not matches:
        raise _not_found(region, text, where, roles if only else ())
    if len(matches) > 1:
        raise BadInputError(
            f'"{_short(text)}" fits {len(matches)} places: {_listed(region, matches)}', where=where, accepted="one place",
            next_step='write it as "name, town near it", as "latitude, longitude" or as its map identity',
        )  # fmt: skip
    spot = matches[0]
    _check_on_map(region, spot, where)
    if only and _role(region, spot) not in roles:  # a coordinate
        raise _wrong_role(text, "a coordinate", where, roles)
    return spot


def _role(region: Region, spot: Spot) -> str:
    return region.places[spot.place].role if spot.place >= 0 else "town"


def _meant(region: Region, found: Sequence[Spot], text: str, roles: Sequence[str]) -> list[Spot]:
    """Return the matches that are equally good: the name whole before longer ones, and among whole ones the role meant most."""
    from tripplan.region.find import fold

    wishes = [text.strip(), text.rpartition(",")[0].strip()]
    folded = {fold(wish) for wish in wishes}
    whole = next(
        (alike for alike in ([s for s in found if s.name in wishes], [s for s in found if fold(s.name) in folded]) if alike), []
    )
    if not whole:  # part of a name says too little to choose by role
        return list(found)
    found = whole
    for role in roles:
        meant = [spot for spot in found if _role(region, spot) == role]
        if meant:
            return meant
    return list(found)


def on_map(region: Region, lon: float, lat: float) -> bool:
    """Return whether a point [degrees] lies within the region's box; things at its rim may hang over it."""
    west, south, east, north = region.meta.bbox
    across = west <= lon <= east if west <= east else lon >= west or lon <= east
    return south <= lat <= north and across


def swapped(region: Region, lon: float, lat: float) -> bool:
    """Whether a point lies on the map of a region when latitude and longitude change places, and not as it is."""
    return on_map(region, lat, lon) and not on_map(region, lon, lat)


def road_m(region: Region, lon: float, lat: float) -> float:
    """Return how far the nearest road of a region is from a point in degrees, as the crow flies; infinite where there is none [m]."""
    from tripplan.region.local_parts import project

    away, _ = project(region.pieces, np.arange(len(region.pieces.way)), lon, lat)
    return float(away.min(initial=np.inf))


def _check_on_map(region: Region, spot: Spot, where: str) -> None:
    """Refuse a spot that hangs over the rim of the roads further than the roads reach."""
    if on_map(region, spot.lon, spot.lat):
        return
    away = road_m(region, spot.lon, spot.lat)
    if away <= ROAD_REACH_M:
        return
    by_name = spot.name != f"{spot.lat:.5f}, {spot.lon:.5f}"
    hint = "name a place nearer to a road" if by_name else "check the coordinates"
    hint += ", or build a region that holds " + ("its roads" if by_name else "them")
    if swapped(region, spot.lon, spot.lat):
        hint = f'did you mean "{spot.lon:g}, {spot.lat:g}"? Latitude comes first'
    far = f": the nearest road is {away:.0f} m away" if away < 9_950 else f": the nearest road is {away / 1000:.0f} km away"
    raise BadInputError(
        f'"{_short(spot.text)}" is off the map{far if np.isfinite(away) else ""}',
        where=where,
        accepted=_box(region, spot),
        next_step=hint,
    )


def _box(region: Region, spot: Spot) -> str:
    """Say the region's box with as many digits as tell its sides, and the spot from them."""
    west, south, east, north = region.meta.bbox
    shown: list[tuple[float, ...]] = [(south, north), (west, east)]
    shown[0] += () if south <= spot.lat <= north else (spot.lat,)
    shown[1] += () if on_map(region, spot.lon, south) else (spot.lon,)
    for digits in range(2, 8):
        if all(len({f"{x:.{digits}f}" for x in row}) == len(row) for row in shown):
            break
    return f"latitude {south:.{digits}f} to {north:.{digits}f}, longitude {west:.{digits}f} to {east:.{digits}f}"


def _not_found(region: Region, text: str, where: str, roles: Sequence[str]) -> BadInputError:
    from difflib import get_close_matches

    from tripplan.region.find import describe, find, fold

    if roles and (others := find(region, text)):
        return _wrong_role(text, describe(region, others[0]), where, roles)
    names = [
        name for name in (*(region.string(int(n)) for n in region.towns.name), *(place.name for place in region.places)) if name
    ]
    by_fold = {fold(name): name for name in names}
    near = [by_fold[key] for key in get_close_matches(fold(text), list(by_fold), n=2, cutoff=0.75)]
    hint = "did you mean " + " or ".join(f'"{name}"' for name in near) + "?" if near else "check the spelling on the map"
    return BadInputError(
        f'"{_short(text)}" is not on the map of {region.meta.name}', where=where, accepted=_ACCEPTED, next_step=hint
    )


def _wrong_role(text: str, what: str, where: str, roles: Sequence[str]) -> BadInputError:
    wanted = " or ".join(roles)
    return BadInputError(
        f'"{_short(text)}" is no {wanted} but {what}',
        where=where,
        accepted=f"a {wanted} of the map",
        next_step=f"name the {wanted} itself",
    )


def _listed(region: Region, spots: Sequence[Spot]) -> str:
    from tripplan.region.find import describe

    parts = [describe(region, spot) for spot in spots[:_LISTED]]
    return " / ".join([*parts, f"{len(spots) - _LISTED} more"] if len(spots) > _LISTED else parts)


def _short(text: str) -> str:
    return text if len(text) <= 60 else text[:57] + "..."
