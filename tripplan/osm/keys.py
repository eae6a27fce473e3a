"""Which keys and values of the open map are read at all: what libosmium filters by, and what can decide a road."""

from __future__ import annotations

__all__ = [
    "BASE_LAYER_OF", "BORDER_TAG", "ENTRANCE_VALUES", "FERRY_KEYS", "FORD_TAG", "LIVE_NODE_TAGS", "LIVE_WAY_TAGS", "NODE_KEYS", "NODE_KEYS_OF_ANY_VALUE", "PLACES_TO_LOOK_UP", "PLACE_TAGS", "ROAD_CLASSES", "ROAD_TAGS", "STATES_OF", "road_key",
]  # fmt: skip

#: Values of `highway` that cars may use (wiki: Key:highway), same order as the region's classes.
ROAD_CLASSES: tuple[str, ...] = (
    "motorway", "motorway_link", "trunk", "trunk_link", "primary", "primary_link", "secondary", "secondary_link",
    "tertiary", "tertiary_link", "unclassified", "residential", "living_street", "service", "track", "road",
)  # fmt: skip
ROAD_TAGS: tuple[tuple[str, str], ...] = (*(("highway", value) for value in ROAD_CLASSES), ("route", "ferry"))

#: Values of `place` that people look up.
PLACES_TO_LOOK_UP: frozenset[str] = frozenset(
    (
        "city",
        "town",
        "village",
        "hamlet",
        "suburb",
        "quarter",
        "neighbourhood",
        "isolated_dwelling",
        "island",
        "islet",
        "borough",
        "locality",
    )
)

_PLACE_VALUES: dict[str, tuple[str, ...]] = {
    "tourism": (
        "caravan_site", "camp_site", "farm_stay", "attraction", "viewpoint", "museum", "gallery", "zoo", "theme_park", "aquarium",
    ),
    "amenity": ("sanitary_dump_station", "drinking_water", "water_point", "fuel", "toilets", "shower", "hospital"),
    "sanitary_dump_station": ("yes", "customers", "public"),
    "waterway": ("water_point", "waterfall"),
    "man_made": ("water_tap", "water_well", "lighthouse"),
    "shop": ("gas",),
    "bottled_gas": ("yes",), "gas_bottles": ("yes",), "gas_bottle": ("yes",), "lpg_bottles": ("yes",),
    "sells:bottled_gas": ("yes",), "service:gas_bottles": ("yes",),
    "vending": ("gas", "bottled_gas", "gas_bottles", "gas_cylinder", "gas_cylinders", "propane"),
    "caravans": ("yes", "designated"), "caravan": ("yes", "designated"),
    "historic": ("castle", "fort", "ruins", "monument", "archaeological_site", "city_gate", "lighthouse", "monastery"),
    "natural": ("beach", "peak", "cave_entrance", "geyser", "hot_spring", "glacier", "volcano", "arch"),
    "place": ("island", "islet"),
}  # fmt: skip
#: Tags of things to stay at, be served at, see, need or look up; `tripplan.rules.offers` and `tripplan.rules.aids` judge them.
PLACE_TAGS: tuple[tuple[str, str], ...] = tuple((key, value) for key, values in _PLACE_VALUES.items() for value in values)

#: Vectors of the own base map.
BASE_LAYER_OF: dict[tuple[str, str], str] = {
    ("natural", "coastline"): "coast", ("natural", "water"): "water", ("waterway", "riverbank"): "water", ("landuse", "reservoir"): "water",
    ("waterway", "river"): "river",
}  # fmt: skip
BORDER_TAG: tuple[str, str] = ("admin_level", "2")
#: Beginnings of ISO 3166-2 codes of countries whose towing limits differ by state: the boundaries are worth reading.
STATES_OF: tuple[str, ...] = ("AU-", "US-")

#: Keys of nodes that are taken whatever the value: what may stand in the way of an outfit.
NODE_KEYS_OF_ANY_VALUE: tuple[str, ...] = (
    "barrier", "ford", "maxheight", "maxheight:physical", "maxwidth", "maxwidth:physical", "maxweight",
)  # fmt: skip
#: Old way of writing a ford at a point.
FORD_TAG: tuple[str, str] = ("highway", "ford")
#: Entrances of areas, by value: not those for walkers, staff or the fire brigade.
ENTRANCE_VALUES: frozenset[str] = frozenset(("yes", "main", "entrance", "gate", "secondary", "customers", "guest"))
#: Keys by which libosmium lets nodes pass.
NODE_KEYS: tuple[str, ...] = (*NODE_KEYS_OF_ANY_VALUE, FORD_TAG[0], "entrance", *_PLACE_VALUES)

_ROAD_KEYS = frozenset(
    (
        "highway", "route", "surface", "tracktype", "smoothness", "access", "vehicle", "motor_vehicle", "motorcar", "trailer", "caravan", "oneway",
        "junction", "toll", "bridge", "tunnel", "motorroad", "lit", "incline", "ford", "duration", "interval", "seasonal", "dual_carriageway", "area",
        "service", "maxheight", "maxwidth", "maxlength", "maxweight", "maxweightrating", "maxgcweight", "maxgcweightrating", "maxaxleload", "maxspeed",
        "lanes", "winter_road", "ice_road", "tidal", "impassable", "disused", "abandoned", "opening_hours", "construction", "4wd_only",
    )
)  # fmt: skip
_ROAD_KEY_STARTS = (
    "access:", "vehicle:", "motor_vehicle:", "motorcar:", "trailer:", "caravan:", "oneway:", "toll:", "maxheight:", "maxwidth:", "maxlength:",
    "maxweight", "maxgcweight", "maxaxleload:", "maxspeed:", "zone:", "source:maxspeed", "surface:", "smoothness:",
)  # fmt: skip

#: Keys that say for whom a ferry is and how to board it, read on ferries only.
FERRY_KEYS: tuple[bytes, ...] = (
    b"foot", b"bicycle", b"passenger", b"reservation", b"check_in", b"check_in:duration", b"checkin", b"boarding:duration",
)  # fmt: skip


def road_key(key: str) -> bool:
    """Whether a key can decide anything about a road; all other tags are left out before combinations are counted."""
    return key in _ROAD_KEYS or (key.startswith(_ROAD_KEY_STARTS) and key != "maxspeed:variable")


_HIERARCHY = ("access", "vehicle", "motor_vehicle", "motorcar", "trailer", "caravan")
_SIZES = ("maxheight", "maxwidth", "maxlength", "maxweight", "maxweightrating", "maxgcweight", "maxgcweightrating", "maxaxleload")
_WAYS = ("forward", "backward")
#: What a live request asks for by name, since prefixes cannot be asked for.
LIVE_WAY_TAGS: tuple[str, ...] = tuple(
    sorted(
        {
            "name", "ref", *_ROAD_KEYS, *(f"{key}:conditional" for key in (*_HIERARCHY, *_SIZES, "maxspeed", "oneway")),
            *(f"{key}:{way}" for key in (*_HIERARCHY, *_SIZES, "maxspeed", "surface", "smoothness") for way in _WAYS),
            *(f"{key}:physical" for key in _SIZES[:2]), *(f"{key}:lanes{way}" for key in ("surface", "smoothness") for way in ("", ":forward", ":backward")),
            "surface:middle", "surface:left", "surface:right", "surface:both_ways",
            *(f"{key}:{mode}" for key in (*_SIZES, "maxspeed") for mode in ("trailer", "caravan")), "source:maxspeed", "maxspeed:type", "zone:traffic",
            "zone:maxspeed", "oneway:vehicle", "oneway:motor_vehicle", "oneway:motorcar", "toll:motorcar", "toll:trailer", "maxspeed:motorcar",
            *(key.decode() for key in FERRY_KEYS),
        }
    )
)  # fmt: skip
LIVE_NODE_TAGS: tuple[str, ...] = (
    "barrier", "ford", "locked", "highway", "entrance", *_HIERARCHY, *(f"{key}:conditional" for key in _HIERARCHY), *_SIZES[:2],
    "maxheight:physical", "maxwidth:physical", "maxweight",
)  # fmt: skip
