"""Readings taken on the way, as a person writes them in TOML, checked; and the plan followed so far, which the file names."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from tripplan.model.errors import BadInputError
from tripplan.model.plan import Plan
from tripplan.model.readings import Done, Reading, Readings
from tripplan.model.serial import plan_from_json
from tripplan.model.trip import Trip
from tripplan.model.words import STORES, Store
from tripplan.region.region import Region
from tripplan.request.forms import Origin, checked
from tripplan.request.nearest import nearest_key
from tripplan.request.parts import Part, entries
from tripplan.request.spots import find_spot
from tripplan.request.text_file import read_text, read_toml

__all__ = ["load_readings"]

#: The key of a gauge's level for each unit.
_LEVEL_KEYS = {"L": "level_l", "kg": "level_kg", "Ah": "level_ah"}
_WAYS = (*_LEVEL_KEYS.values(), "percent", "volts", "lamp")
#: A plan of five weeks holds a few megabytes [MB].
_PLAN_MB = 200
#: Stores whose lamp is known to the trade: waste.
_LAMPS = (Store.GREY, Store.CASSETTE, Store.FRESH, Store.FLUSH)


def load_readings(path: Path, region: Region, trip: Trip) -> tuple[Readings, Plan]:
    """Read a file of readings and the plan that it names.

    Parameters
    ----------
    path
        TOML file; the plan's path is relative to its folder.
    trip
        The whole trip: its sights may be told as seen.

    Raises
    ------
    BadInputError
        Whatever is wrong, as one line.
    """
    path = Path(path)
    raw, text = read_toml(path)
    origin = Origin(str(path), text)
    top = checked("readings_file", raw, origin)
    plan = _plan(top["plan"], path, origin)
    zone = ZoneInfo(region.meta.tz)
    readings = tuple(_reading(part, zone) for part in entries("readings", top["readings"], origin))
    services = tuple(_done(part, zone) for part in entries("services", top["services"], origin))
    if not readings and not services:
        raise BadInputError(
            "no readings are in it", where=str(path), accepted="one or more `[[readings]]`", next_step="write what a gauge, a lamp or the voltmeter shows"
        )  # fmt: skip
    place = (
        find_spot(region, top["place"], origin.at("place"), ("site", "service", "depot", "sight", "town"))
        if top["place"]
        else None
    )
    seen = None if top["seen"] is None else tuple(_sight(name, trip, origin) for name in top["seen"])
    return Readings(_local(top["now"], zone), readings, services, place, seen), plan


def _plan(name: str, path: Path, origin: Origin) -> Plan:
    file = path.parent / name
    try:
        return plan_from_json(read_text(file, most_mb=_PLAN_MB, accepted="a plan.json"), str(file))
    except BadInputError as error:
        raise BadInputError(
            f"`plan`: {error.where} {error.what}"[:300], where=origin.at("plan"), accepted="the plan.json of the plan followed so far",
            next_step="name it, relative to the folder of this file",
        ) from None  # fmt: skip


def _local(when: datetime, zone: ZoneInfo) -> datetime:
    return when.astimezone(zone) if when.tzinfo is not None else when.replace(tzinfo=zone)


def _reading(part: Part, zone: ZoneInfo) -> Reading:
    v, origin = part.values, part.origin
    store = Store(v["store"])
    told = [name for name in _WAYS if v[name] is not None]
    level = _LEVEL_KEYS[store.unit]
    if len(told) != 1:
        raise BadInputError(
            f"holds {' and '.join(f'`{name}`' for name in told)}" if told else "says nothing of a level", where=origin.at(told[1] if told else ""),
            accepted=f"one of `{level}`, `percent`, `volts` (battery), `lamp`", next_step="write a table for each" if told else "add one of them",
        )  # fmt: skip
    way = told[0]
    if way in _LEVEL_KEYS.values() and way != level:
        raise BadInputError(
            f"`{way}` of {store.value}", where=origin.at(way), accepted=f"`{level}`: {store.value} is told in {store.unit}",
            next_step=f"write `{level}`",
        )  # fmt: skip
    if (way == "volts") != (store is Store.BATTERY) and way == "volts":
        raise BadInputError(
            f"`volts` of {store.value}", where=origin.at(way), accepted='`store = "battery"`', next_step="mend the store"
        )
    if way == "lamp" and store not in _LAMPS:
        raise BadInputError(
            f"`lamp` of {store.value}", where=origin.at(way), accepted="lamps of " + ", ".join(s.value for s in _LAMPS), next_step="write what the gauge shows"
        )  # fmt: skip
    when = _local(v["time"], zone)
    error = -1.0 if v["error"] is None else float(v["error"])
    if way == "lamp":
        return Reading(when, store, "lamp", _lamp_share(v["lit_share"], store), error, v["lamp"] == "lit")
    return Reading(when, store, "level" if way in _LEVEL_KEYS.values() else way, float(v[way]), error)


def _lamp_share(told: float | None, store: Store) -> float:
    """Return the share at which a lamp changes: waste nearly full, water nearly empty (common practice, no source)."""
    if told is not None:
        return told
    return 0.8 if store.fills else 0.2


def _done(part: Part, zone: ZoneInfo) -> Done:
    v = part.values
    stores = tuple(store for store in STORES if store.value in v["stores"])
    if not stores:
        raise BadInputError(
            "`stores` is empty", where=part.origin.at("stores"), accepted=", ".join(f'"{s.value}"' for s in STORES[:-1]), next_step="say which were served"
        )  # fmt: skip
    return Done(_local(v["time"], zone), stores, v["done"])


def _sight(name: str, trip: Trip, origin: Origin) -> str:
    known: dict[str, Any] = {}
    for sight in trip.sights:
        known[sight.spot.name.casefold()] = known[sight.spot.text.casefold()] = sight.spot.name
    found = known.get(name.casefold())
    if found is None:
        near = nearest_key(name.casefold(), known)
        raise BadInputError(
            f'`seen` holds "{name[:60]}"', where=origin.at("seen"), accepted=", ".join(s.spot.name for s in trip.sights) or "no sight: the trip has none",
            next_step=f'did you mean "{known[near]}"?' if near else "write it as in the trip",
        )  # fmt: skip
    return str(found)
