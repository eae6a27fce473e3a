"""Posted speeds, class defaults and the towing speed of each way, with what ruled it."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from tripplan.almanac.towing import KINDS, MPH_KMH, towing_limits
from tripplan.model.outfit import Outfit
from tripplan.model.words import Ruling
from tripplan.rules.access import ROAD_CLASSES
from tripplan.rules.conditions import TRAILER_WORDS, for_others, split_and, tagged_conditionals, vehicle_property

__all__ = [
    "CLASS_KMH", "COMFORT", "FERRY_KMH", "NO_LIMIT_KMH", "PostedSpeed", "ROUGH_KMH", "SpeedColumns", "TOWN_KMH", "TowingSpeed", "WALK_KMH",
    "SPEED_KEYS", "built_up", "curve_radius", "curve_speed", "dual", "parse_speed", "posted", "speed_unread", "towing_speed",
]  # fmt: skip

#: Side friction plus superelevation that a towed van is comfortable with (common practice, no source: about half of
#: what a car alone accepts).
COMFORT = 0.16

#: Where "walk" is posted [km/h] (common practice, no source; national rules lie between 5 and 10).
WALK_KMH = 5.0
#: What "none" posts: no limit at all [km/h].
NO_LIMIT_KMH = 250.0
#: Sealed but rough (common practice, no source) [km/h].
ROUGH_KMH = 40.0
#: Where streets say that it is a town and nothing is posted [km/h]: the general limit of most countries.
TOWN_KMH = 50.0
#: A crossing without a tagged duration, by its length (common practice, no source) [km/h].
FERRY_KMH = 15.0

#: Speed by road class where nothing is posted [km/h]. Source: profile car.lua of OSRM (BSD-2) for the classes, from memory
#: for its link roads and tracks.
CLASS_KMH: dict[str, float] = {
    "motorway": 90, "motorway_link": 45, "trunk": 85, "trunk_link": 40, "primary": 65, "primary_link": 30,
    "secondary": 55, "secondary_link": 25, "tertiary": 40, "tertiary_link": 20, "unclassified": 25, "residential": 25,
    "living_street": 10, "service": 15, "track": 10, "road": 25, "ferry": FERRY_KMH,
}  # fmt: skip

#: Implicit limits by word for a car alone [km/h], from memory; the national towing table stands beside them. A country
#: that is not here has 50 in town and nothing known elsewhere.
_IMPLICIT: dict[str, dict[str, float]] = {
    "": {"urban": 50, "living_street": WALK_KMH, "bicycle_road": 30, "school": 30},
    "GB": {"urban": 30 * MPH_KMH, "nsl_restricted": 30 * MPH_KMH, "nsl_single": 60 * MPH_KMH, "nsl_dual": 70 * MPH_KMH,
           "rural": 60 * MPH_KMH, "motorway": 70 * MPH_KMH},
    "DE": {"rural": 100, "motorway": NO_LIMIT_KMH}, "AT": {"rural": 100, "trunk": 100, "motorway": 130},
    "CH": {"rural": 80, "trunk": 100, "motorway": 120}, "LI": {"rural": 80}, "FR": {"rural": 80, "trunk": 110, "motorway": 130},
    "IT": {"rural": 90, "trunk": 110, "motorway": 130}, "ES": {"rural": 90, "trunk": 90, "motorway": 120},
    "PT": {"rural": 90, "trunk": 100, "motorway": 120}, "NL": {"rural": 80, "trunk": 100, "motorway": 100},
    "BE": {"rural": 70, "trunk": 120, "motorway": 120}, "LU": {"rural": 90, "motorway": 130},
    "DK": {"rural": 80, "motorway": 130}, "SE": {"rural": 70, "trunk": 90, "motorway": 110},
    "NO": {"rural": 80, "motorway": 100}, "FI": {"rural": 80, "motorway": 120}, "IE": {"rural": 80, "trunk": 100, "motorway": 120},
    "PL": {"rural": 90, "trunk": 100, "motorway": 140}, "CZ": {"rural": 90, "trunk": 110, "motorway": 130},
    "HU": {"rural": 90, "trunk": 110, "motorway": 130}, "IS": {"rural": 90, "gravel": 80}, "NZ": {"rural": 100, "motorway": 100},
}  # fmt: skip

_MOST_KMH = 1000.0  # from here on a figure is a slip of the pen
_SPEED = re.compile(r"^(\d+(?:[.,]\d+)?)\s*(km/h|kmh|kph|km|mph|knots?)?$")
_ZONE = re.compile(r"^(?:[a-z]{2}(?:-[a-z]{2,3})?:)?(?:zone:?)?(\d{1,3})$")
_NAMED = re.compile(r"^(?P<country>[a-z]{2})(?:-[a-z]{2,3})?:(?P<word>[a-z_]+)$")


@dataclass(frozen=True, slots=True)
class PostedSpeed:
    """Posted limits [km/h], NaN where none: as drawn, against, and for a car with trailer (both directions)."""

    forward: float
    backward: float
    trailer: float


def parse_speed(text: str) -> float:
    """Parse one posted speed, or a ``;`` list of them (the lowest counts); NaN when nothing is known from it [km/h].

    Taken are ``50``, ``50 mph``, ``walk``, ``none``, and words by country such as ``DE:urban``, ``GB:nsl_single`` and
    ``DE:zone30``. ``signals`` and ``variable`` are not known.
    """
    lowest = math.nan
    for part in re.split(r"[;|]", text.strip().lower()):
        value = _one_speed(part.strip())
        lowest = value if math.isnan(lowest) or value < lowest else lowest
    return lowest


def _one_speed(text: str) -> float:
    if match := _SPEED.match(text):
        value = float(match[1].replace(",", "."))
        unit = match[2] or ""
        value *= MPH_KMH if unit == "mph" else 1.852 if unit.startswith("knot") else 1.0
        return value if 0 < value < _MOST_KMH else math.nan
    if text in ("walk", "walking_pace"):
        return WALK_KMH
    if text == "none":
        return NO_LIMIT_KMH
    if match := _ZONE.match(text):
        zone = float(match[1])
        return zone * MPH_KMH if text.startswith(("gb", "uk")) else zone
    if match := _NAMED.match(text):
        country = {"uk": "GB"}.get(match["country"], match["country"].upper())
        return _IMPLICIT.get(country, {}).get(match["word"], _IMPLICIT[""].get(match["word"], math.nan))
    return math.nan


#: Speeds that a sign with lamps shows, and words for the country's general limit: there is no figure to read.
_NO_FIGURE = frozenset({"signals", "variable", "implicit", "default", "unposted", "national"})


def speed_unread(text: str) -> bool:
    """Say whether a posted speed, or any of a list of them, is neither a figure nor a word that is known.

    A general limit by a country's word (``RO:rural``) is known, though no figure for it may be here.
    """
    parts = [part.strip() for part in re.split(r"[;|]", text.strip().lower())]
    return any(
        math.isnan(_one_speed(part)) and part not in _NO_FIGURE and not _NAMED.match(part) for part in parts if part
    ) or not any(parts)


_SOURCE_KEYS = ("maxspeed:type", "source:maxspeed", "zone:maxspeed", "zone:traffic")


def posted(tags: Mapping[str, str]) -> PostedSpeed:
    """Read a way's posted speeds.

    ``maxspeed:advisory`` and practical speeds are no limits. A limit for trailers comes from ``maxspeed:trailer``,
    ``maxspeed:caravan`` or ``maxspeed:conditional = 80 @ (trailer)``. Where a condition is of hours, season or weather the
    lower of it and the plain limit counts at all times, so that no time is too short; one that raises the limit, or speaks
    of other vehicles, is left out. ``source:maxspeed=DE:urban`` and the like speak where ``maxspeed`` is silent.
    """
    both = math.nan
    for key in _PLAIN_KEYS:
        both = _first_known(parse_speed(tags.get(key, "")), both)
    if math.isnan(both):
        named = (parse_speed(tags.get(key, "")) for key in _SOURCE_KEYS if ":" in tags.get(key, ""))
        both = next((value for value in named if not math.isnan(value)), math.nan)
    forward = _first_known(parse_speed(tags.get("maxspeed:forward", "")), both)
    backward = _first_known(parse_speed(tags.get("maxspeed:backward", "")), both)
    trailer = math.nan
    for key in _TRAILER_KEYS:
        trailer = _lower(trailer, parse_speed(tags.get(key, "")))
    for key, value, condition in tagged_conditionals(tags, SPEED_KEYS):
        clauses = [clause.lower() for clause in split_and(condition)]
        speed = parse_speed(value)
        if for_others(clauses) or any(vehicle_property(clause) for clause in clauses):
            continue
        if key in _TRAILER_KEYS or any(clause in TRAILER_WORDS for clause in clauses):
            trailer = _lower(trailer, speed)
            continue
        if not math.isnan(forward) and key != "maxspeed:backward":
            forward = _lower(forward, speed)
        if not math.isnan(backward) and key != "maxspeed:forward":
            backward = _lower(backward, speed)
    return PostedSpeed(forward, backward, trailer)


#: From the general to the particular.
_PLAIN_KEYS = ("maxspeed", "maxspeed:vehicle", "maxspeed:motor_vehicle", "maxspeed:motorcar")
_TRAILER_KEYS = ("maxspeed:trailer", "maxspeed:caravan")
#: Every key that posts a speed for us.
SPEED_KEYS: tuple[str, ...] = (*_PLAIN_KEYS, *_TRAILER_KEYS, "maxspeed:forward", "maxspeed:backward")


def _first_known(a: float, b: float) -> float:
    return b if math.isnan(a) else a


def _lower(a: float, b: float) -> float:
    if math.isnan(a):
        return b
    return a if math.isnan(b) else min(a, b)


_TOWN_KEYS = ("maxspeed", "maxspeed:type", "source:maxspeed", "zone:traffic", "zone:maxspeed")


def built_up(tags: Mapping[str, str]) -> bool:
    """Say whether a way is tagged as lying in a built-up area, or is a lit residential street."""
    for key in _TOWN_KEYS:
        text = tags.get(key, "").strip().lower()
        if text == "urban" or text.endswith((":urban", ":nsl_restricted", ":living_street")) or ":zone" in text:
            return True
    if tags.get("highway") == "living_street":
        return True
    return tags.get("highway") == "residential" and tags.get("lit", "no") not in ("no", "disused")


def dual(tags: Mapping[str, str], *, one_way: int | None = None) -> bool:
    """Say whether a way is (one side of) a dual carriageway outside a town: tagged so, a motorway, or a one-way trunk road.

    Lower one-way roads may as well be streets: they count as single, for which the tables have the lower figure.

    Parameters
    ----------
    one_way
        Direction as `tripplan.rules.access.oneway` judges it; not given: by the plain tag.
    """
    if built_up(tags) or tags.get("junction") in ("roundabout", "circular"):
        return False
    if one_way is None:
        one_way = 1 if tags.get("oneway") in ("yes", "1", "true") else -1 if tags.get("oneway") == "-1" else 0
    highway = tags.get("highway")
    return tags.get("dual_carriageway") == "yes" or highway == "motorway" or (highway == "trunk" and one_way != 0)


def curve_speed(radius_m: NDArray[np.float64] | float, comfort: float = COMFORT) -> NDArray[np.float64]:
    """Return the towing comfort speed of a curve, V = sqrt(127 R (e + f)) [km/h].

    Parameters
    ----------
    radius_m
        Radius [m]. Infinite: no bound.
    comfort
        e + f, superelevation plus side friction.

    References
    ----------
    AASHTO, A Policy on Geometric Design of Highways and Streets (2011), equation 3-8, metric form.
    """
    return np.asarray(np.sqrt(127.0 * np.asarray(radius_m, np.float64) * comfort))


def curve_radius(speed_kmh: float, comfort: float = COMFORT) -> float:
    """Return the radius that `curve_speed` allows a speed on, R = V² / (127 (e + f)) [m]."""
    return speed_kmh * speed_kmh / (127.0 * comfort)


class SpeedColumns(Protocol):
    """The columns of a region's ways that decide a speed."""

    @property
    def highway(self) -> NDArray[np.uint8]: ...  # noqa: D102
    @property
    def flags(self) -> NDArray[np.uint16]: ...  # noqa: D102
    @property
    def speed_fwd(self) -> NDArray[np.float32]: ...  # noqa: D102
    @property
    def speed_bwd(self) -> NDArray[np.float32]: ...  # noqa: D102
    @property
    def speed_trailer(self) -> NDArray[np.float32]: ...  # noqa: D102


@dataclass(frozen=True, slots=True)
class TowingSpeed:
    """Speed of each way in both directions [km/h] and what ruled it, as positions in ``list(Ruling)``. No curves yet."""

    fwd: NDArray[np.float32]
    bwd: NDArray[np.float32]
    ruling_fwd: NDArray[np.uint8]
    ruling_bwd: NDArray[np.uint8]


# Bits of the region's flags that matter here (`tripplan.region.columns.Flag`).
FLAG_FERRY, FLAG_MOTORROAD, FLAG_BUILT_UP, FLAG_DUAL, FLAG_ROUGH, FLAG_TOWN = 2, 32, 64, 256, 512, 1024

_RULINGS = {ruling: number for number, ruling in enumerate(Ruling)}


def towing_speed(ways: SpeedColumns, outfit: Outfit, country: str, region: str = "") -> TowingSpeed:
    """Return the speed of every way: the lowest of outfit limit, national table, posted for trailers, posted.

    The class default stands in only where nothing at all is posted, so a posted limit, however high, never makes a road
    slower than a lower one would; and only there does a town count that is known by its streets alone. Rough sealed road is capped at `ROUGH_KMH`. On a tie the first of `Ruling` is named.

    Parameters
    ----------
    ways
        Columns of the region.
    outfit
        With ``towing`` false the national towing table and limits for trailers are left out.
    country, region
        ISO 3166-1 code and state, for the national table.
    """
    highway = ways.highway
    count = len(highway)
    national = in_town = np.full(count, np.inf, np.float32)
    if outfit.towing:
        limits = towing_limits(
            country, region, mass_kg=outfit.mass_kg, van_mass_kg=outfit.van_mass_kg, approved=outfit.approved_100
        )
        row = np.array([value if not math.isnan(value) else np.inf for value in limits], np.float32)
        national = row[_kinds(highway, ways.flags, country)]
        in_town = np.minimum(national, row[KINDS.index("urban")])
    trailer = _known(ways.speed_trailer) if outfit.towing else np.full(count, np.inf, np.float32)
    default = np.array([CLASS_KMH[name] for name in ROAD_CLASSES], np.float32)[highway]
    own = np.float32(outfit.towing_limit_kmh)
    ferry = ((ways.flags & FLAG_FERRY) != 0) | (highway == ROAD_CLASSES.index("ferry"))
    rough = (ways.flags & FLAG_ROUGH) != 0
    town = (ways.flags & FLAG_TOWN) != 0

    def one(speed: NDArray[np.float32]) -> tuple[NDArray[np.float32], NDArray[np.uint8]]:
        said = _known(speed)
        best = np.full(count, own, np.float32)
        ruling = np.full(count, _RULINGS[Ruling.OUTFIT], np.uint8)
        silent = np.isinf(said) & np.isinf(trailer)
        for value, name in (
            (np.where(town & silent, in_town, national), Ruling.NATIONAL_TABLE),
            (trailer, Ruling.POSTED_TRAILER),
            (said, Ruling.POSTED),
            (np.where(silent, default, np.float32(np.inf)), Ruling.CLASS_DEFAULT),
            (np.where(town & silent, np.float32(TOWN_KMH), np.float32(np.inf)), Ruling.TOWN),
            (np.where(rough, np.float32(ROUGH_KMH), np.float32(np.inf)), Ruling.SURFACE),
        ):
            lower = value < best
            best = np.where(lower, value, best).astype(np.float32)
            ruling[lower] = _RULINGS[name]
        best[ferry] = FERRY_KMH
        ruling[ferry] = _RULINGS[Ruling.FERRY]
        return best, ruling

    fwd, ruling_fwd = one(ways.speed_fwd)
    bwd, ruling_bwd = one(ways.speed_bwd)
    return TowingSpeed(fwd, bwd, ruling_fwd, ruling_bwd)


def _known(speed: NDArray[np.float32]) -> NDArray[np.float32]:
    return np.where(np.isnan(speed), np.float32(np.inf), speed).astype(np.float32)


def _kinds(highway: NDArray[np.uint8], flags: NDArray[np.uint16], country: str) -> NDArray[np.uint8]:
    """Return the kind of road of each way, as a position in `KINDS`."""
    urban, rural, dual_, motorway = (np.uint8(KINDS.index(kind)) for kind in KINDS)
    kind = np.full(len(highway), rural, np.uint8)
    kind[(flags & FLAG_DUAL) != 0] = dual_
    # Germany's approval counts on motor roads (Kraftfahrstraßen) as on motorways; elsewhere they rank with duals.
    motor_road = (flags & FLAG_MOTORROAD) != 0
    kind[motor_road] = motorway if country.upper() == "DE" else dual_
    kind[np.isin(highway, (ROAD_CLASSES.index("motorway"), ROAD_CLASSES.index("motorway_link")))] = motorway
    kind[(flags & FLAG_BUILT_UP) != 0] = urban
    return kind
