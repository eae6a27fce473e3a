"""A trip as somebody wrote it, written again with other limits, weights and sights: one file that stands alone."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, fields
from pathlib import Path
from typing import Any

from tripplan.model.errors import BadInputError
from tripplan.model.place import Spot
from tripplan.model.trip import Sight, Trip, Weights
from tripplan.region.region import Region
from tripplan.request.forms import Origin
from tripplan.request.spots import find_spot
from tripplan.request.text_file import read_toml
from tripplan.request.trip_file import trip_of
from tripplan.request.writing import trip_text

__all__ = ["Rewritten", "rewritten"]

_PARTS = ("van", "party", "firm", "outfit")
_SIGHT_ROLES = ("sight", "town", "site")
#: Weather by day lies beside the trip under this name.
WEATHER = "weather.csv"


@dataclass(frozen=True, slots=True)
class Rewritten:
    """A trip, and the file that says so. ``beside``: what has to lie beside it, by name."""

    trip: Trip
    text: str
    beside: Mapping[str, bytes]


def rewritten(raw: Mapping[str, Any], path: Path, trip: Trip, region: Region, *, name: str) -> Rewritten:
    """Write a trip again.

    Parameters
    ----------
    raw
        What the file that it began as holds. path: that file; paths in it are relative to its folder.
    trip
        What shall hold instead: its driving limits, wishes, ferries, weights, and the sights after those of ``raw``.

    Returns
    -------
    Rewritten
        The trip is what the text says, read again: whoever starts from the file gets the same plan.
    """
    made: dict[str, Any] = {key: value for key, value in raw.items() if key not in _PARTS}
    made["name"] = name
    for part in _PARTS:
        made[part] = _part(part, raw[part], path)
    when = {"pick_up": trip.pick_up, "return": trip.return_by}
    for end, moment in when.items():
        made[end] = {**raw[end], "time": moment.replace(tzinfo=None)}
    made["driving"] = {
        **raw.get("driving", {}), "max_h": trip.max_drive_s / 3600, "first_day_max_h": trip.first_day_drive_s / 3600, "ferries": trip.ferries,
    }  # fmt: skip
    made["wishes"] = {
        **raw.get("wishes", {}), "powered_nights_at_least": trip.powered_nights_at_least, "max_one_night_stays": trip.max_one_night_stays,
    }  # fmt: skip
    plain = Weights()
    changed = {
        f.name: getattr(trip.weights, f.name) for f in fields(Weights) if getattr(trip.weights, f.name) != getattr(plain, f.name)
    }
    made["weights"] = {**raw.get("weights", {}), **changed}
    own = list(raw.get("sights", ()))
    made["sights"] = own + [_sight(sight, region) for sight in trip.sights[len(own) :]]
    weather = made.get("weather")
    beside: dict[str, bytes] = {}
    told = dict(made)
    if isinstance(weather, str):
        beside[WEATHER] = (path.parent / weather).read_bytes()
        told["weather"] = WEATHER
    text = trip_text(told)
    again = tomllib.loads(text)
    if isinstance(weather, str):
        again["weather"] = weather
    return Rewritten(trip_of(again, path, region, Origin(f"{name}, as written", text)), text, beside)


def _part(name: str, raw: Any, path: Path) -> dict[str, Any]:
    if isinstance(raw, Mapping):
        return dict(raw)
    inside, _ = read_toml(path.parent / str(raw))
    return dict(inside[name]) if set(inside) == {name} and isinstance(inside[name], dict) else inside


def _sight(sight: Sight, region: Region) -> dict[str, Any]:
    return {
        "place": _words(sight.spot, region), "must": sight.must, "value_cents": sight.value_cents, "via": str(sight.via.value), "hours": sight.hours,
    }  # fmt: skip


def _words(spot: Spot, region: Region) -> str:
    """Return the name of a spot where that is enough to find it, else its map identity or its position."""
    for text in (spot.name, region.places[spot.place].ref if spot.place >= 0 else ""):
        if text.strip() and len(text) <= 200:
            try:
                found = find_spot(region, text, "", _SIGHT_ROLES)
            except BadInputError:
                continue
            if (found.place, found.lon, found.lat) == (spot.place, spot.lon, spot.lat):
                return text
    return f"{spot.lat!r}, {spot.lon!r}"
