"""Judge each distinct combination of road tags once, then spread the answers over the ways."""

from __future__ import annotations

import math
import re
from collections import Counter
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tripplan.model.words import Source, Surface
from tripplan.osm.raw import RawMap
from tripplan.region.columns import HIGHWAYS, Access, Flag, Ways
from tripplan.region.strings import StringTable
from tripplan.rules.access import closed_when, judge_access, oneway
from tripplan.rules.limits import size_limits
from tripplan.rules.speed import built_up, dual, posted
from tripplan.rules.surface import judge_surface
from tripplan.rules.unread import cautions, unread_conditions, unread_limits

__all__ = ["FERRY", "duration_s", "incline_percent", "judge_ways", "name_faults"]

FERRY = HIGHWAYS.index("ferry")
#: How many of what could not be read are counted among the faults by name.
_MOST_NAMED = 12
_SOURCES = list(Source)
_CLASS = {name: number for number, name in enumerate(HIGHWAYS)}
_CLOCK = re.compile(r"^(?:(\d{1,3}):)?(\d{1,3}):(\d{2})$")
_ISO = re.compile(r"^P(?:(\d{1,6})D)?(?:T(?:(\d{1,6})H)?(?:(\d{1,6})M)?(?:(\d{1,6})S)?)?$")
_NUMBER = re.compile(r"^([+-]?\d+(?:[.,]\d+)?)\s*(%|°|deg)?$")
_RATIO = re.compile(r"^[+-]?1\s*[:/]\s*(\d+(?:\.\d+)?)$")


def duration_s(text: str) -> float:
    """Return a tagged duration or interval ("00:45", "1:30:00", "PT25M", "40" minutes, "20 min") [s], NaN when not understood."""
    text = text.strip()
    if found := _CLOCK.match(text):
        first, second, third = found.groups()
        if first is None:  # HH:MM
            return int(second) * 3600.0 + int(third) * 60.0
        return int(first) * 3600.0 + int(second) * 60.0 + int(third)
    if (found := _ISO.match(text)) and any(found.groups()):
        days, hours, minutes, seconds = (int(part or 0) for part in found.groups())
        return float(((days * 24 + hours) * 60 + minutes) * 60 + seconds)
    plain = re.fullmatch(r"(\d{1,4})\s*(min|minutes?|h|hours?)?", text)
    if plain:
        return int(plain[1]) * (3600.0 if (plain[2] or "").startswith("h") else 60.0)
    return math.nan


def incline_percent(text: str) -> float:
    """Return a tagged grade without its sign [%], NaN when there is no figure ("up") or it is no road's (over 60 %)."""
    found = _NUMBER.match(text.strip())
    if not found:
        ratio = _RATIO.match(text.strip())  # 1:8, or 1 in 8 as 1/8
        return 100 / float(ratio[1]) if ratio and float(ratio[1]) >= 100 / 60 else math.nan
    value = abs(float(found[1].replace(",", ".")))
    if found[2] in ("°", "deg"):
        value = 100 * math.tan(math.radians(value)) if value < 45 else math.inf
    return value if value <= 60 else math.nan


def _flags(tags: dict[str, str], highway: str, one_way: int | None, *, rough: bool) -> int:
    flags = 0
    toll = (tags.get("toll", ""), tags.get("toll:motorcar", ""), tags.get("toll:trailer", ""))
    if highway != "ferry" and any(value not in ("", "no") for value in toll):
        flags |= Flag.TOLL
    if highway == "ferry":
        flags |= Flag.FERRY
    if tags.get("bridge", "no") != "no":
        flags |= Flag.BRIDGE
    if tags.get("tunnel", "no") not in ("no", "building_passage"):
        flags |= Flag.TUNNEL
    if tags.get("junction") in ("roundabout", "circular"):
        flags |= Flag.ROUNDABOUT
    if tags.get("motorroad") == "yes":
        flags |= Flag.MOTORROAD
    if built_up(tags):
        flags |= Flag.BUILT_UP
    if tags.get("ford", "no") not in ("no", ""):
        flags |= Flag.FORD
    if dual(tags, one_way=one_way):
        flags |= Flag.DUAL
    if rough:
        flags |= Flag.ROUGH
    return int(flags)


def judge_ways(raw: RawMap, strings: StringTable, faults: Counter[str] | None = None) -> Ways:
    """Judge every way of the raw map.

    Parameters
    ----------
    faults
        Takes the conditions and limits that could not be read, each with its number of ways.

    Returns
    -------
    Ways
        As columns; presumed surfaces are not in it yet.
    """
    count = len(raw.tag_sets)
    wide: dict[str, NDArray[Any]] = {
        "highway": np.zeros(count, np.uint8), "surface": np.zeros(count, np.uint8), "surface_source": np.zeros(count, np.uint8),
        "surface_why": np.full(count, -1, np.int32), "oneway": np.zeros(count, np.int8), "tow_access": np.zeros(count, np.uint8),
        "car_access": np.zeros(count, np.uint8), "access_why": np.full(count, -1, np.int32), "closed_when": np.full(count, -1, np.int32),
        "flags": np.zeros(count, np.uint16), "ferry_booking": np.full(count, -1, np.int32),
        "caution": np.full(count, -1, np.int32),
    }  # fmt: skip
    figures = (
        "max_height_m", "max_width_m", "max_length_m", "max_weight_kg", "max_axle_kg", "speed_fwd", "speed_bwd", "speed_trailer",
        "incline", "ferry_s", "ferry_wait_s", "ferry_check_in_s",
    )  # fmt: skip
    ways_of = np.bincount(raw.way_tags, minlength=count)
    unread: Counter[str] = Counter()
    narrow = {name: np.full(count, np.nan, np.float32) for name in figures}
    for row, tags in enumerate(raw.tag_sets):
        highway = tags.get("highway", "")
        if highway not in _CLASS or (tags.get("route") == "ferry" and highway == ""):
            highway = "ferry"
        wide["highway"][row] = _CLASS[highway]
        surface = judge_surface(tags)
        wide["surface"][row] = int(surface.surface)
        wide["surface_source"][row] = _SOURCES.index(surface.source)
        wide["surface_why"][row] = strings.number(surface.why)
        direction = oneway(tags)
        tow, car = judge_access(tags, "tow"), judge_access(tags, "car")
        tow_access, car_access, why = int(tow.access), int(car.access), tow.why or car.why
        if highway == "ferry" and not _takes_cars(tags):
            tow_access = car_access = int(Access.CLOSED)
            why = why or "ferry not said to take cars"
        if direction is None:
            tow_access = car_access = int(Access.CLOSED)
            why = why or "one-way that changes, or closed both ways"
        wide["oneway"][row] = direction or 0
        wide["tow_access"][row], wide["car_access"][row] = tow_access, car_access
        wide["access_why"][row] = strings.number(why)
        wide["closed_when"][row] = strings.number(closed_when(tags))
        wide["flags"][row] = _flags(tags, highway, direction, rough=surface.rough)
        booking = tags.get("reservation", "").strip() if highway == "ferry" else ""
        wide["ferry_booking"][row] = strings.number(booking)
        wide["caution"][row] = strings.number("\n".join(cautions(tags)))
        for text in (*unread_conditions(tags), *unread_limits(tags)):
            unread[text] += int(ways_of[row])
        limits = size_limits(tags)
        speeds = posted(tags)
        values = (
            limits.height_m, limits.width_m, limits.length_m, limits.weight_kg, limits.axle_kg, speeds.forward, speeds.backward, speeds.trailer,
            incline_percent(tags.get("incline", "")),
            duration_s(tags.get("duration", "")) if highway == "ferry" else math.nan,
            duration_s(tags.get("interval", "")) if highway == "ferry" else math.nan,
            _check_in_s(tags) if highway == "ferry" else math.nan,
        )  # fmt: skip
        for name, value in zip(figures, values, strict=True):
            narrow[name][row] = value
    if faults is not None:
        name_faults(faults, unread)
    name_number = np.array([*strings.numbers(raw.names), -1], np.int32)
    take = raw.way_tags
    columns: dict[str, NDArray[Any]] = {name: column[take] for name, column in {**wide, **narrow}.items()}
    return Ways(osm_id=raw.way_id, name=name_number[raw.way_name], ref=name_number[raw.way_ref], **columns)


def name_faults(faults: Counter[str], unread: Counter[str]) -> None:
    """Count what could not be read among the faults: the most frequent by name, the rest together."""
    ranked = sorted(unread.items(), key=lambda pair: (-pair[1], pair[0]))
    for text, number in ranked[:_MOST_NAMED]:
        faults[f'"{text}" could not be read'] += number
    faults["other conditions and limits that could not be read"] += sum(number for _, number in ranked[_MOST_NAMED:])


def _check_in_s(tags: dict[str, str]) -> float:
    """Return how long before departure one has to be at the quay [s], NaN when nothing is said.

    No key is documented for it; these are read where they hold a length of time.
    """
    said = (duration_s(tags.get(key, "")) for key in ("check_in:duration", "check_in", "checkin", "boarding:duration"))
    return next((value for value in said if 0 < value <= 6 * 3600), math.nan)


def _takes_cars(tags: dict[str, str]) -> bool:
    """Whether a ferry takes cars: by its own word, else unless it names walkers or cyclists only (common practice, no source)."""
    for key in ("motorcar", "motor_vehicle", "vehicle"):
        if key in tags:
            return tags[key] not in ("no", "private")
    return not any(tags.get(key, "no") != "no" for key in ("foot", "bicycle", "passenger"))


def tagged_code(surface: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """Return what tags say as the presuming rule wants it: 0 sealed, 1 unsealed, 2 untagged."""
    code = np.full(len(surface), 2, np.uint8)
    code[surface == Surface.SEALED] = 0
    code[surface == Surface.UNSEALED] = 1
    return code
