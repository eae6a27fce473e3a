"""Which keys and values of the open map are read at all: the filters, and what decides a road."""

from __future__ import annotations

__all__ = [
    "BARRIER_KEYS", "BASE_TAGS", "BORDER_TAG", "NODE_KEYS", "NODE_TAG_SIGNS", "PLACE_TAGS", "RELATION_KEYS", "ROAD_CLASSES", "ROAD_TAGS", "road_key",
]  # fmt: skip

#: Values of `highway` that cars may use (wiki: Key:highway), same order as the region's classes.
ROAD_CLASSES: tuple[str, ...] = (
    "motorway", "motorway_link", "trunk", "trunk_link", "primary", "primary_link", "secondary", "secondary_link",
    "tertiary", "tertiary_link", "unclassified", "residential", "living_street", "service", "track", "road",
)  # fmt: skip
ROAD_TAGS: tuple[tuple[str, str], ...] = (*(("highway", value) for value in ROAD_CLASSES), ("route", "ferry"))

#: Tags of things to stay at, be served at, or see.
PLACE_TAGS: tuple[tuple[str, str], ...] = (
    ("tourism", "caravan_site"), ("tourism", "camp_site"), ("tourism", "attraction"), ("tourism", "viewpoint"), ("tourism", "museum"), ("tourism", "gallery"),
    ("tourism", "zoo"), ("tourism", "theme_park"), ("tourism", "aquarium"), ("amenity", "sanitary_dump_station"), ("amenity", "drinking_water"),
    ("amenity", "water_point"), ("waterway", "water_point"), ("man_made", "water_tap"), ("shop", "gas"), ("amenity", "fuel"), ("amenity", "vending_machine"),
    ("shop", "doityourself"), ("shop", "hardware"), ("shop", "caravan"), ("shop", "outdoor"), ("historic", "castle"), ("historic", "monument"), ("historic", "ruins"),
    ("historic", "archaeological_site"), ("natural", "beach"), ("natural", "peak"), ("natural", "cave_entrance"), ("natural", "geyser"), ("leisure", "nature_reserve"),
    ("man_made", "lighthouse"), ("waterway", "waterfall"), ("place", "island"), ("place", "islet"), ("place", "locality"), ("highway", "rest_area"), ("highway", "services"),
    ("sanitary_dump_station", "yes"), ("sanitary_dump_station", "customers"), ("natural", "hot_spring"), ("natural", "spring"), ("amenity", "parking"),
)  # fmt: skip

#: Values of `amenity` and others that are read only with a further tag (a car park is a place only if vans may stay).
BASE_TAGS: tuple[tuple[str, str], ...] = (
    ("natural", "coastline"), ("natural", "water"), ("natural", "bay"), ("waterway", "riverbank"), ("waterway", "river"), ("landuse", "reservoir"),
)  # fmt: skip
BORDER_TAG: tuple[str, str] = ("admin_level", "2")

#: Keys by which nodes are read; the text is then looked through for `NODE_TAG_SIGNS`.
NODE_KEYS: tuple[str, ...] = (
    "place", "barrier", "tourism", "amenity", "shop", "ford", "sanitary_dump_station", "historic", "man_made", "waterway", "natural", "leisure",
)  # fmt: skip
BARRIER_KEYS: tuple[str, ...] = ("barrier", "ford")
PLACES_TO_LOOK_UP: frozenset[str] = frozenset(
    ("city", "town", "village", "hamlet", "suburb", "quarter", "neighbourhood", "isolated_dwelling", "island", "islet", "locality", "borough")
)
RELATION_KEYS: tuple[str, ...] = ("type",)

#: Signs in the text of a node's tags, one of which must be there for the node to be taken.
NODE_TAG_SIGNS: tuple[str, ...] = (
    *(f"{key}={value}" for key, value in PLACE_TAGS if value not in ("parking", "spring", "locality")),
    *(f"place={value}" for value in sorted(PLACES_TO_LOOK_UP)),
    "barrier=", "ford=",
)  # fmt: skip

_ROAD_KEYS = frozenset(
    (
        "highway", "route", "surface", "tracktype", "smoothness", "access", "vehicle", "motor_vehicle", "motorcar", "trailer", "caravan", "oneway", "junction",
        "toll", "bridge", "tunnel", "motorroad", "lit", "incline", "ford", "duration", "interval", "seasonal", "dual_carriageway", "area", "service", "width",
        "maxheight", "maxwidth", "maxlength", "maxweight", "maxweightrating", "maxaxleload", "maxbogieweight", "maxspeed", "construction", "winter_road", "ice_road",
        "embedded_rails", "bicycle_road", "cyclestreet", "hazard", "4wd_only", "paved", "barrier", "est_width", "lanes", "traffic_calming", "zone", "foot", "mtb:scale",
        "opening_hours", "disused", "abandoned", "living_street", "goods", "tourist_bus", "hgv", "sac_scale", "traffic_sign", "passenger_lines", "crossing",
    )
)  # fmt: skip
_ROAD_KEY_STARTS = (
    "surface:", "access:", "vehicle:", "motor_vehicle:", "motorcar:", "trailer:", "caravan:", "oneway:", "toll:", "maxheight:", "maxwidth:", "maxlength:", "maxweight:",
    "maxaxleload:", "maxweightrating:", "maxspeed:", "zone:", "source:maxspeed", "smoothness:", "tracktype:", "seasonal:",
)  # fmt: skip
_NOT_READ = frozenset(("traffic_sign", "lanes", "foot", "hgv", "goods", "tourist_bus", "mtb:scale", "sac_scale", "est_width", "crossing", "maxspeed:variable"))


def road_key(key: str) -> bool:
    """Whether a key can decide anything about a road; all other tags are left out before combinations are counted."""
    return (key in _ROAD_KEYS or key.startswith(_ROAD_KEY_STARTS)) and key not in _NOT_READ
