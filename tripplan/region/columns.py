"""The columns of a region: arrays, one row a way, a piece of road, a junction or a turn.

A *way* is a way of the map with its judged facts. A *piece* is the part of a way between two junctions, the unit of
routing. Strings are numbers into one table; -1 is none. NaN is "not posted".
"""

from __future__ import annotations

from dataclasses import dataclass, field, fields
from enum import IntEnum

import numpy as np
from numpy.typing import NDArray

__all__ = [
    "AID_KINDS",
    "BASE_LAYERS",
    "HIGHWAYS",
    "HOLDS_CAR",
    "HOLDS_TOW",
    "Access",
    "Aids",
    "BaseMap",
    "Flag",
    "Junctions",
    "Pieces",
    "RegionMeta",
    "Towns",
    "Turns",
    "Ways",
]

F32 = NDArray[np.float32]
F64 = NDArray[np.float64]
I8 = NDArray[np.int8]
I32 = NDArray[np.int32]
I64 = NDArray[np.int64]
U8 = NDArray[np.uint8]
U16 = NDArray[np.uint16]

#: Road classes by number, widest first; `ferry` stands for route=ferry.
HIGHWAYS: tuple[str, ...] = (
    "motorway", "motorway_link", "trunk", "trunk_link", "primary", "primary_link", "secondary", "secondary_link",
    "tertiary", "tertiary_link", "unclassified", "residential", "living_street", "service", "track", "road", "ferry",
)  # fmt: skip

#: Kinds of aid, by number.
AID_KINDS: tuple[str, ...] = ("fuel", "hospital")

#: Layers of the own base map.
BASE_LAYERS: tuple[str, ...] = ("coast", "water", "river", "wood", "border")


class Access(IntEnum):
    """Whether a mode of travel may use a way."""

    OPEN = 0
    ENDS_ONLY = 1  # destination, customers, delivery: first or last piece of a day only
    CLOSED = 2


class Flag(IntEnum):
    """Bits of `Ways.flags`."""

    TOLL = 1
    FERRY = 2
    BRIDGE = 4
    TUNNEL = 8
    ROUNDABOUT = 16
    MOTORROAD = 32
    BUILT_UP = 64  # tagged so (maxspeed/zone:traffic/source:maxspeed urban), or lit residential
    FORD = 128
    DUAL = 256  # dual carriageway or one-way road outside a town
    ROUGH = 512  # sealed but rough (sett, bad smoothness): slow, with a caution
    TOWN = 1024  # not tagged built-up, but streets where people live lie all around: counts where no speed is posted


#: Bits of `Turns.holds_for`.
HOLDS_TOW, HOLDS_CAR = 1, 2


def _none_f32() -> F32:
    return np.empty(0, np.float32)


def _none_i32() -> I32:
    return np.empty(0, np.int32)


def _none_u8() -> U8:
    return np.empty(0, np.uint8)


def _fill(table: Ways | Junctions | Turns, rows: int, neutral: dict[str, float]) -> None:
    """Give columns that were left out their neutral value in every row."""
    for name in neutral.keys() & {f.name for f in fields(table)}:
        column = getattr(table, name)
        if len(column) == 0 and rows:
            object.__setattr__(table, name, np.full(rows, neutral[name], column.dtype))


@dataclass(frozen=True, slots=True)
class Ways:
    """One row a way of the map that cars may use.

    ``surface`` holds `Surface`, ``surface_source`` the position in ``list(Source)``, ``surface_why`` a string number.
    ``tow_access`` / ``car_access`` hold `Access`. ``closed_when`` is a string number of a raw conditional closure
    ("no @ (Nov-Apr)"), -1 none. ``max_*``: posted limits [m, kg]. ``speed_fwd`` / ``speed_bwd`` / ``speed_trailer``:
    posted [km/h]. ``incline``: greatest tagged grade, absolute [%]. ``ferry_s``: tagged crossing time of the whole way
    [s]; ``ferry_wait_s``: from interval; ``ferry_check_in_s``: how long before departure one has to be there [s];
    ``ferry_booking``: string number of what is tagged about reservations. ``oneway``: 0 both, 1 as drawn, -1 against.
    ``caution``: string number of what to ask about before the road is used, a line each, -1 none (`tripplan.rules.unread`).
    ``surface_p``: how likely a road of tertiary class or above without a sealed or unsealed tag is sealed; NaN for others.
    """

    osm_id: I64
    highway: U8
    name: I32
    ref: I32
    surface: U8
    surface_source: U8
    surface_why: I32
    oneway: I8
    tow_access: U8
    car_access: U8
    access_why: I32
    closed_when: I32
    max_height_m: F32
    max_width_m: F32
    max_length_m: F32
    max_weight_kg: F32
    max_axle_kg: F32
    speed_fwd: F32
    speed_bwd: F32
    speed_trailer: F32
    incline: F32
    flags: U16
    ferry_s: F32
    ferry_wait_s: F32
    ferry_check_in_s: F32 = field(default_factory=_none_f32)
    ferry_booking: I32 = field(default_factory=_none_i32)
    surface_p: F32 = field(default_factory=_none_f32)
    caution: I32 = field(default_factory=_none_i32)

    def __post_init__(self) -> None:
        _fill(self, len(self.osm_id), {"ferry_check_in_s": np.nan, "ferry_booking": -1, "surface_p": np.nan, "caution": -1})


@dataclass(frozen=True, slots=True)
class Pieces:
    """One row a piece of road.

    ``a``, ``b``: junction rows of the first and last point. ``way``: row in `Ways`. ``length_m``: great-circle length
    on a sphere of 6,371,009 m (as OSMnx). ``ptr``: where the piece's points start in ``lon_e7`` / ``lat_e7`` (1e-7
    degrees; both end points included). ``curve_kmh``: per point, greatest towing comfort speed of the stretch from that
    point to the next (255: straight); meaningless at a piece's last point.
    """

    a: I32
    b: I32
    way: I32
    length_m: F64
    ptr: I64
    lon_e7: I32
    lat_e7: I32
    curve_kmh: U8


@dataclass(frozen=True, slots=True)
class Junctions:
    """One row a junction (or dead end, or barrier): ``blocks_tow`` / ``blocks_car`` hold `Access` of a barrier there.

    ``max_height_m``, ``max_width_m``, ``max_weight_kg``: what a bar, a gap or a bridge at this point lets pass; NaN: no figure.
    """

    osm_id: I64
    lon_e7: I32
    lat_e7: I32
    blocks_tow: U8
    blocks_car: U8
    barrier: I32
    max_height_m: F32 = field(default_factory=_none_f32)
    max_width_m: F32 = field(default_factory=_none_f32)
    max_weight_kg: F32 = field(default_factory=_none_f32)

    def __post_init__(self) -> None:
        _fill(self, len(self.osm_id), dict.fromkeys(("max_height_m", "max_width_m", "max_weight_kg"), np.nan))


@dataclass(frozen=True, slots=True)
class Turns:
    """One row a turn restriction that holds for a car with trailer or for the car alone.

    ``pieces[ptr[i]:ptr[i + 1]]``: the pieces in order of travel, from first to last, two or more (more: via ways).
    ``via``: junction row between the first two. ``only``: 1 for only_*, 0 for no_*. ``when``: string number of when it
    holds, in the form that `tripplan.rules.turns.in_force` reads, -1 always. ``osm_id``: of the relation. ``u_turn``: 1
    when it speaks of turning round. ``holds_for``: bits `HOLDS_TOW` and `HOLDS_CAR`.
    """

    osm_id: I64
    ptr: I64
    pieces: I32
    via: I32
    only: U8
    u_turn: U8
    when: I32
    holds_for: U8 = field(default_factory=_none_u8)

    def __post_init__(self) -> None:
        _fill(self, len(self.osm_id), {"holds_for": HOLDS_TOW | HOLDS_CAR})


@dataclass(frozen=True, slots=True)
class Towns:
    """Names to look things up by: string number, kind string number (city, town, village ...), place, population (-1 unknown)."""

    name: I32
    kind: I32
    lon_e7: I32
    lat_e7: I32
    population: I32


@dataclass(frozen=True, slots=True)
class Aids:
    """Fuel stations and hospitals. ``kind``: position in `AID_KINDS`; ``name``, ``phone``: string numbers; where [1e-7 degrees]."""

    kind: U8
    name: I32
    phone: I32
    lon_e7: I32
    lat_e7: I32


@dataclass(frozen=True, slots=True)
class BaseMap:
    """Vectors of the own base map, thinned. ``layer``: position in `BASE_LAYERS`; ``closed``: 1 for an area."""

    layer: U8
    closed: U8
    ptr: I64
    lon_e7: I32
    lat_e7: I32


@dataclass(frozen=True, slots=True)
class RegionMeta:
    """What a region says of itself.

    Parameters
    ----------
    key
        SHA-256 over all content that routing depends on, hexadecimal.
    country
        ISO 3166-1 code, "" when not known; ``country_how`` says how it is known.
    state
        ISO 3166-2 code of the state that holds all of the roads, where its boundary is on the map; else "".
    faults
        What was met in the file and how often ("clipped ways kept", "broken turn restrictions", ...).
    bbox
        west, south, east, north [degrees].
    surfaces
        For each class with roads of no surface tagged: how much of that is presumed, and why the rest is not.
    """

    name: str
    key: str
    data_date: str
    source_file: str
    country: str
    country_how: str
    tz: str
    bbox: tuple[float, float, float, float]
    faults: dict[str, int]
    attribution: str = "© OpenStreetMap contributors, ODbL 1.0"
    format: str = "tripplan region 3"
    state: str = ""
    surfaces: dict[str, str] = field(default_factory=dict)
