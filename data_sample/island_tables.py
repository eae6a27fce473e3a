"""What stands on the invented island of Ornevay: coast, towns, roads, sites, services and sights, as tables.

Every name is made up. Positions are kilometres east and north of the drawing's south-west corner. `L` is the side to the left of the
direction in which a road is listed; the ring runs anticlockwise, so its left is inland.
"""

from __future__ import annotations

from drawing import Point, Tags

COAST: tuple[Point, ...] = (
    (4, 58), (9, 42), (16, 30), (34, 21), (52, 14), (66, 9), (84, 12), (105, 12), (118, 6), (134, 5), (150, 9), (166, 5), (182, 4), (198, 9), (214, 5),
    (228, 4), (244, 11), (258, 12), (276, 25), (290, 40), (297, 56), (291, 74), (276, 86), (262, 97), (248, 104), (232, 109), (218, 118), (203, 116),
    (188, 112), (172, 114), (158, 118), (140, 112), (126, 113), (110, 117), (94, 113), (78, 107), (64, 109), (50, 105), (38, 96), (24, 86), (12, 76),
)  # fmt: skip
ISLE: tuple[Point, ...] = ((263, 116), (268, 113.5), (274, 114), (279, 117), (280, 121), (275, 124.5), (268, 124), (263.5, 120.5))

#: name: (centre, direction of the main street, half length and half width in blocks, population, kind)
TOWNS: dict[str, tuple[Point, Point, int, int, int, str]] = {
    "Pellavik": ((24, 38), (0.6, -0.8), 3, 2, 6200, "town"),
    "Tarrowby": ((56, 23), (1, 0), 2, 2, 3900, "town"),
    "Marrendal": ((105, 20), (1, 0), 5, 4, 64000, "city"),
    "Skellhaven": ((150, 17), (1, 0), 3, 3, 11500, "town"),
    "Dunmorra": ((196, 16), (1, 0), 2, 2, 4400, "town"),
    "Quillansea": ((240, 19), (1, 0), 3, 2, 7800, "town"),
    "Fennoway": ((281, 52), (0, 1), 2, 2, 5100, "town"),
    "Ebbersund": ((247, 97), (-0.8, 0.6), 2, 2, 3300, "town"),
    "Corrahithe": ((205, 108), (-1, 0), 3, 2, 8700, "town"),
    "Wrennick": ((158, 110), (-1, 0), 2, 2, 5600, "town"),
    "Lothmere": ((112, 108), (-1, 0), 3, 2, 9900, "town"),
    "Ashgarrow": ((66, 100), (-1, 0), 2, 1, 3100, "town"),
    "Gannoway": ((24, 74), (-0.28, -0.96), 2, 1, 2700, "village"),
    "Hollumstow": ((100, 58), (-0.28, 0.96), 1, 1, 1400, "village"),
    "Brackenfirth": ((168, 62), (0, 1), 1, 1, 900, "village"),
    "Orrindale": ((222, 62), (-0.28, 0.96), 1, 1, 1200, "village"),
    "Sorrelay Quay": ((269, 117), (0.6, 0.8), 1, 1, 420, "village"),
}
#: Order of the ring, anticlockwise, and where it has a roundabout before the town.
RING: tuple[str, ...] = (
    "Pellavik", "Tarrowby", "Marrendal", "Skellhaven", "Dunmorra", "Quillansea", "Fennoway", "Ebbersund", "Corrahithe", "Wrennick", "Lothmere", "Ashgarrow", "Gannoway",
)  # fmt: skip
ROUNDABOUTS = ("Skellhaven", "Quillansea", "Lothmere")

#: Points that the ring passes between a town and the next.
RING_VIA: dict[str, tuple[Point, ...]] = {
    "Pellavik": ((36, 27),), "Tarrowby": ((70, 20), (88, 22)), "Marrendal": ((118, 16), (134, 15)), "Skellhaven": ((166, 14), (181, 13)), "Dunmorra": ((212, 14), (227, 14)),
    "Quillansea": ((256, 23), (270, 34)), "Fennoway": ((283, 66), (270, 80)), "Ebbersund": ((233, 101), (220, 108)), "Corrahithe": ((190, 104), (173, 106)),
    "Wrennick": ((143, 105), (127, 107)), "Lothmere": ((96, 106), (80, 101)), "Ashgarrow": ((52, 97), (36, 86)), "Gannoway": ((14, 62), (15, 48)),
}  # fmt: skip

TRUNK: Tags = {"highway": "trunk", "ref": "1", "name": "South Coast Road", "surface": "asphalt", "maxspeed": "100"}
NORTH: Tags = {"highway": "primary", "ref": "2", "name": "North Coast Road", "surface": "chipseal", "maxspeed": "100"}
CROSS: Tags = {"highway": "primary", "ref": "3", "name": "Hollum Cross Road", "surface": "asphalt"}

#: key: (from town and its exit, points, to town and its exit, wave and swing km, tags). Exits: `left` inland, `right` seaward.
CROSS_ROADS: dict[str, tuple[str, str, tuple[Point, ...], str, str, float, float, Tags]] = {
    "cross south": ("Marrendal", "left", ((104, 33), (96, 46)), "Hollumstow", "in", 0.9, 0.12, CROSS),
    "cross north": ("Hollumstow", "out", ((104, 76), (109, 92)), "Lothmere", "left", 0.8, 0.11, CROSS),
    "firth": ("Skellhaven", "left", ((153, 34), (163, 48)), "Brackenfirth", "in", 0.8, 0.12,
              {"highway": "secondary", "ref": "14", "name": "Firth Road", "surface": "chipseal"}),
    "sallow": ("Brackenfirth", "out", ((165, 76), (160, 92)), "Wrennick", "left", 1.2, 0.06,
               {"highway": "tertiary", "ref": "15", "name": "Sallow Pass Road", "surface": "gravel", "maxspeed": "80"}),
    "merrow south": ("Dunmorra", "left", ((204, 34), (218, 48)), "Orrindale", "in", 0.8, 0.12,
                     {"highway": "secondary", "ref": "16", "name": "Merrow Road", "surface": "asphalt"}),
    "merrow north": ("Orrindale", "out", ((216, 78), (207, 94)), "Corrahithe", "left", 0.6, 0.1,
                     {"highway": "secondary", "ref": "16", "name": "Merrow Saddle", "surface": "asphalt"}),
    "vale": ("Brackenfirth", "right", ((186, 60), (204, 65)), "Orrindale", "left", 0.9, 0.12,
             {"highway": "tertiary", "ref": "17", "name": "Vale Road", "surface": "chipseal"}),
    "long moor": ("Hollumstow", "right", ((118, 60), (140, 66), (156, 63)), "Brackenfirth", "left", 1.0, 0.13,
                  {"highway": "secondary", "ref": "18", "name": "Long Moor Road", "surface": "chipseal"}),
    "west vale": ("Pellavik", "left", ((40, 48), (60, 55), (82, 55)), "Hollumstow", "left", 1.0, 0.11,
                  {"highway": "secondary", "ref": "19", "name": "West Vale Road", "surface": "asphalt"}),
}  # fmt: skip

#: Stretches of a road with other tags: road, from km, to km, tags ("" takes a key away).
STRETCHES: tuple[tuple[str, float, float, Tags], ...] = (
    ("Dunmorra", 21.0, 21.06, {"maxheight": "2.3", "tunnel": "yes", "note": "old railway arch"}),
    ("Wrennick", 24.0, 24.12, {"maxweight": "3", "bridge": "yes"}),
    ("Tarrowby", 20.0, 20.3, {"bridge": "yes", "maxweight": "30"}),
    ("Fennoway", 26.0, 33.0, {"surface": ""}),
    ("Ashgarrow", 12.0, 17.0, {"surface": ""}),
    ("cross north", 17.0, 22.0, {"surface": ""}),
    ("firth", 20.0, 30.0, {"surface": ""}),
    ("merrow south", 14.0, 25.0, {"surface": ""}),
    ("long moor", 8.0, 24.0, {"surface": ""}),
    ("long moor", 40.0, 52.0, {"surface": ""}),
    ("west vale", 50.0, 62.0, {"surface": ""}),
    ("east head", 2.0, 7.0, {"surface": ""}),
    ("vale", 22.0, 30.0, {"surface": "asphalt", "maxspeed": "70"}),
    ("sallow", 0.0, 4.0, {"surface": "chipseal"}),
    ("merrow north", 10.0, 34.0, {"motor_vehicle:conditional": "no @ (Jun-Aug)", "incline": "9%"}),
    ("cross south", 14.0, 19.0, {"incline": "7%"}),
    ("Quillansea", 30.0, 38.0, {"toll": "yes"}),
    ("Corrahithe", 20.0, 26.0, {"maxspeed": "80", "maxspeed:trailer": "70"}),
)

#: key: (road, km, mouth side; road, km; points; wave, swing, tags): roads that join two places of others.
LOOPS: dict[str, tuple[str, float, str, float, tuple[Point, ...], float, float, Tags]] = {
    "arch detour": ("Dunmorra", 16.0, "Dunmorra", 26.0, ((214, 17), (220, 17)), 1.2, 0.06,
                    {"highway": "secondary", "ref": "20", "name": "Millrace Road", "surface": "asphalt"}),
    "bridge detour": ("Wrennick", 20.0, "Wrennick", 29.0, ((140, 102), (132, 103.5)), 1.2, 0.06,
                      {"highway": "secondary", "ref": "21", "name": "Upper Ford Road", "surface": "chipseal"}),
    "dray": ("Ashgarrow", 7.0, "west vale", 34.0, ((58, 86), (53, 70)), 1.4, 0.08,
             {"highway": "tertiary", "ref": "22", "name": "Dray Road", "surface": "gravel"}),
    "ford lane": ("Tarrowby", 14.0, "Tarrowby", 22.0, ((72, 26), (76, 27)), 1.2, 0.06,
                  {"highway": "unclassified", "name": "Watersplash Lane", "surface": "asphalt"}),
    "isle loop": ("isle road", 1.5, "isle road", 6.5, ((275, 117), (277, 120)), 1.2, 0.05,
                  {"highway": "tertiary", "name": "Round Isle Road", "surface": "asphalt", "maxspeed": "60"}),
}  # fmt: skip

#: key: (road, km, side, length km, tags): dead ends to capes and valleys, worth a name.
ENDS: dict[str, tuple[str, float, str, float, Tags]] = {
    "cape tarn": (
        "Skellhaven",
        14.0,
        "R",
        6.0,
        {"highway": "secondary", "ref": "31", "name": "Cape Tarn Road", "surface": "asphalt"},
    ),
    "gull point": (
        "Corrahithe",
        9.0,
        "R",
        5.0,
        {"highway": "secondary", "ref": "32", "name": "Gull Point Road", "surface": "chipseal"},
    ),
    "pell sands": ("Gannoway", 22.0, "R", 5.0, {"highway": "tertiary", "name": "Pell Sands Road", "surface": "asphalt"}),
    "heron lake": (
        "long moor",
        30.0,
        "L",
        7.0,
        {"highway": "secondary", "ref": "33", "name": "Heron Lake Road", "surface": "chipseal"},
    ),
    "east head": ("Fennoway", 6.0, "R", 6.0, {"highway": "tertiary", "name": "East Head Road", "surface": "asphalt"}),
    "slate valley": ("vale", 16.0, "R", 6.0, {"highway": "unclassified", "name": "Slate Valley Road", "surface": "gravel"}),
    "quarry": ("west vale", 14.0, "R", 4.0, {"highway": "tertiary", "name": "Quarry Road", "surface": "compacted"}),
    "narrow glen": (
        "merrow south",
        30.0,
        "R",
        5.0,
        {"highway": "tertiary", "name": "Narrow Glen Road", "surface": "asphalt", "trailer": "no"},
    ),
    "manor drive": (
        "Marrendal",
        12.0,
        "L",
        2.0,
        {"highway": "unclassified", "name": "Manor Drive", "surface": "asphalt", "access": "private"},
    ),
}

HAMLETS: tuple[tuple[str, str, float], ...] = (
    ("Ostwick Mill", "Pellavik", 14), ("Saltgrass", "Tarrowby", 30), ("Little Marren", "Marrendal", 24), ("Tolbridge End", "Skellhaven", 24), ("Archgate", "Dunmorra", 19),
    ("Hythe Cross", "Quillansea", 24), ("Kelder Bay", "Fennoway", 32), ("Sund Wells", "Ebbersund", 20), ("Teasel", "Corrahithe", 24), ("Upper Wren", "Wrennick", 14),
    ("Gorsefold", "Lothmere", 22), ("Dray Foot", "Ashgarrow", 24), ("Westerly", "Gannoway", 14), ("Hollum Bridge", "cross south", 26), ("Larkrigg", "cross north", 30),
    ("Firthside", "firth", 26), ("Sallowhead", "sallow", 26), ("Merrowfold", "merrow south", 26), ("Vale Cross", "vale", 26), ("Peatstow", "long moor", 36),
    ("Wester Vale", "west vale", 48), ("Saltgrass", "Quillansea", 42),
)  # fmt: skip

#: Fuel for the car, and hospitals, beside the road: (name, road, km, tags)
AIDS: tuple[tuple[str, str, float, Tags], ...] = (
    ("Marrendal Hospital", "Marrendal", 1.4, {"amenity": "hospital", "emergency": "yes", "phone": "+999 5550 900"}),
    ("Lothmere Hospital", "Lothmere", 1.0, {"amenity": "hospital", "emergency": "yes", "phone": "+999 5550 910"}),
    ("Fennoway Cottage Hospital", "Fennoway", 2.4, {"amenity": "hospital"}),
    ("Tarrow Fuel", "Tarrowby", 1.2, {"amenity": "fuel", "fuel:diesel": "yes"}), ("Gannoway Fuel", "Gannoway", 4, {"amenity": "fuel", "fuel:diesel": "yes"}),
    ("Loth Fuel", "Lothmere", 5, {"amenity": "fuel", "fuel:diesel": "yes"}), ("Moorside Fuel", "cross south", 24, {"amenity": "fuel", "fuel:diesel": "yes"}),
    ("Corra Fuel", "Corrahithe", 4, {"amenity": "fuel", "fuel:diesel": "yes"}),
)  # fmt: skip


def _site(kind: str, **more: str) -> Tags:
    return {"tourism": kind, **more}


FULL: Tags = {
    "caravans": "yes", "power_supply": "yes", "drinking_water": "yes", "toilets": "yes", "shower": "yes", "sanitary_dump_station": "yes", "sanitary_dump_station:grey_water": "yes",
    "sanitary_dump_station:chemical_toilet": "yes", "phone": "+999 5550 100",
}  # fmt: skip
STAFFED: Tags = {"power_supply": "yes", "drinking_water": "yes", "toilets": "yes", "shower": "yes", "phone": "+999 5550 200"}
PLAIN: Tags = {"power_supply": "no", "drinking_water": "yes", "toilets": "yes", "shower": "no", "sanitary_dump_station": "no"}
FIELD: Tags = {
    "power_supply": "no",
    "drinking_water": "yes",
    "waste_water": "yes",
    "toilets": "no",
    "shower": "no",
    "sanitary_dump_station": "no",
}
BARE: Tags = {"power_supply": "no", "drinking_water": "no", "toilets": "no", "shower": "no", "sanitary_dump_station": "no"}


def _fee(crowns: int) -> Tags:
    return {"fee": "yes", "charge": f"{crowns} CRN/night"} if crowns else {"fee": "no"}


#: (name, road, km, side, length of the drive [m], tags)
SITES: tuple[tuple[str, str, float, str, int, Tags], ...] = (
    # --- the south coast: plenty of everything
    ("Marren Meadows Caravan Park", "Marrendal", 5, "R", 350, _site("caravan_site", **FULL, **_fee(38), capacity="90", dog="yes")),
    ("Tollhouse Field", "Tarrowby", 40, "L", 250, _site("caravan_site", **PLAIN, **_fee(16), dog="yes")),
    ("Saltgrass Bay", "Tarrowby", 29, "R", 500, _site("caravan_site", **FULL, **_fee(34), capacity="60")),
    ("Tarrow Green", "Tarrowby", 5, "R", 300, _site("camp_site", **FULL, **_fee(30))),
    ("Rookery Camp", "Tarrowby", 11, "L", 450, _site("camp_site", scout="yes", group_only="yes", **_fee(0))),
    ("Ostwick Orchard", "Pellavik", 17, "L", 400, _site("caravan_site", **PLAIN, **_fee(14), dog="yes", maxstay="3 nights")),
    ("Ostwick Hill Tents", "Pellavik", 24, "L", 380, _site("camp_site", caravans="no", tents="yes", **_fee(9))),
    ("Pellavik Harbour Park", "Pellavik", 3, "R", 280, _site("camp_site", **FULL, **_fee(31), dog="no")),
    ("Skell Sands", "Marrendal", 36, "R", 400, _site("caravan_site", **FULL, **_fee(36), dog="no")),
    ("Little Marren Farm", "Marrendal", 23, "L", 600, _site("camp_site", caravans="yes", **PLAIN, **_fee(15), farm="yes")),
    ("Chalet Row", "Marrendal", 28, "R", 300, _site("camp_site", static_caravans="yes", caravans="no", tents="no", **_fee(60))),
    ("Cape Tarn Camp", "cape tarn", 4.5, "L", 300, _site("camp_site", caravans="yes", **STAFFED, **_fee(27))),
    ("Lantern Rocks", "Skellhaven", 20, "R", 350, _site("camp_site", tents="yes", caravans="no", **_fee(8))),
    ("Tolbridge Caravan Site", "Skellhaven", 30, "L", 320, _site("caravan_site", **PLAIN, **_fee(18), dog="yes")),
    ("Dunmorra Holiday Field", "Skellhaven", 42, "R", 300, _site("caravan_site", **STAFFED, **_fee(32), dog="yes")),
    ("Archgate Paddock", "arch detour", 5, "L", 260, _site("caravan_site", **PLAIN, **_fee(17))),
    ("Millrace Scout Ground", "arch detour", 7, "L", 300, _site("camp_site", scout="yes", **_fee(0))),
    ("Quillan Sands", "Dunmorra", 38, "R", 300, _site("caravan_site", **FULL, **_fee(37), dog="no", capacity="75")),
    ("Hythe Cross Members Field", "Quillansea", 18, "L", 400, _site("caravan_site", access="private", **PLAIN)),
    ("Hythe Water", "Quillansea", 22, "R", 450, _site("caravan_site", **STAFFED, **_fee(26), dog="no")),
    ("Longshore Car Park Nights", "Quillansea", 12, "R", 120, _site("caravan_site", caravans="no", motorhome="yes", **_fee(6))),
    ("Fennoway Lawns", "Quillansea", 48, "R", 330, _site("caravan_site", **STAFFED, sanitary_dump_station="no", **_fee(33), dog="yes")),
    ("East Head Tents", "east head", 5, "L", 400, _site("camp_site", tents="yes", caravans="no", **_fee(0))),
    ("East Head Field", "east head", 4.5, "R", 300, _site("camp_site", caravans="yes", **BARE, **_fee(5), dog="yes")),
    # --- the north-east and north: no dump station from Fennoway to Lothmere
    ("Kelder Bay", "Fennoway", 30, "R", 350, _site("caravan_site", **PLAIN, **_fee(12), dog="yes")),
    ("Kelder Wood", "Fennoway", 40, "L", 380, _site("camp_site", caravans="yes", **BARE, **_fee(0), dog="yes")),
    ("Ebber Quayside", "Fennoway", 56, "R", 250, _site("caravan_site", power_supply="yes", drinking_water="yes", toilets="yes", shower="no",
                                                         sanitary_dump_station="no", **_fee(22), dog="yes")),
    ("Isle Common", "isle road", 4.0, "L", 260, _site("camp_site", caravans="yes", power_supply="yes", drinking_water="yes", toilets="yes", shower="yes",
                                                        sanitary_dump_station="no", **_fee(20), dog="yes")),
    ("Lamb Cove", "isle loop", 3.0, "L", 240, _site("camp_site", tents="yes", caravans="no", **_fee(7), dog="yes")),
    ("Puffin Rest", "isle road", 7.5, "R", 240, _site("caravan_site", **BARE, **_fee(8), dog="no")),
    ("Sund Wells", "Ebbersund", 18, "L", 500, _site("caravan_site", **PLAIN, **_fee(13), dog="yes")),
    ("Sund Marsh", "Ebbersund", 29, "R", 300, _site("camp_site", caravans="yes", **FIELD, **_fee(4), dog="yes")),
    ("Corra Head", "Ebbersund", 40, "R", 320, _site("caravan_site", power_supply="yes", drinking_water="yes", toilets="yes", shower="no",
                                                      sanitary_dump_station="no", **_fee(24), dog="yes")),
    ("Gull Point", "gull point", 4, "R", 300, _site("camp_site", caravans="yes", **BARE, **_fee(6), dog="yes")),
    ("Teasel Common", "Corrahithe", 23, "L", 400, _site("caravan_site", **PLAIN, **_fee(11), dog="yes", maxstay="2 nights")),
    ("Corra Youth Camp", "Corrahithe", 14, "L", 350, _site("camp_site", group_only="yes", **_fee(0))),
    ("Wren Water", "Corrahithe", 40, "R", 360, _site("caravan_site", **PLAIN, **_fee(15), dog="yes")),
    ("Wrennick Green", "Wrennick", 5, "R", 280, _site("camp_site", caravans="yes", **PLAIN, **_fee(14), dog="yes")),
    ("Upper Wren Tents", "Wrennick", 15, "L", 400, _site("camp_site", caravans="no", **_fee(6))),
    ("Upper Ford Farm", "bridge detour", 4, "L", 300, _site("camp_site", caravans="yes", **PLAIN, **_fee(12), dog="yes")),
    # --- the north-west
    ("Lothmere Park", "Wrennick", 41, "R", 330, _site("caravan_site", **FULL, **_fee(35), dog="yes", capacity="80")),
    ("Loth Lido", "Lothmere", 6, "R", 300, _site("camp_site", caravans="yes", **STAFFED, **_fee(28), opening_hours="Oct 01-Apr 30 08:00-20:00", dog="no")),
    ("Gorsefold Farm", "Lothmere", 23, "L", 450, _site("camp_site", caravans="yes", **PLAIN, **_fee(13), dog="yes")),
    ("Gorse Cliff Tents", "Lothmere", 33, "R", 350, _site("camp_site", tents="yes", caravans="no", **_fee(5))),
    ("Ashgarrow Showground", "Lothmere", 42, "L", 260, _site("caravan_site", **STAFFED, **_fee(24), dog="yes")),
    ("Dray Bottom", "dray", 16, "R", 300, _site("camp_site", caravans="yes", **PLAIN, **_fee(8), dog="yes")),
    ("Dray Foot", "Ashgarrow", 25, "R", 380, _site("caravan_site", **PLAIN, **_fee(12))),
    ("Gannoway Strand", "Ashgarrow", 43, "R", 320, _site("caravan_site", **FULL, **_fee(27), dog="yes")),
    ("Westerly Winds", "Gannoway", 13, "R", 420, _site("camp_site", caravans="yes", **PLAIN, **_fee(14), dog="yes")),
    ("Pell Sands Camp", "pell sands", 4, "R", 300, _site("camp_site", **_fee(10))),
    # --- inland
    ("Hollum Bridge Inn Field", "cross south", 25, "R", 280, _site("caravan_site", **PLAIN, **_fee(16), dog="yes", maxstay="1 night")),
    ("Hollum Fold", "cross south", 38, "L", 300, _site("caravan_site", **STAFFED, sanitary_dump_station="customers", **_fee(25), dog="yes")),
    ("Larkrigg", "cross north", 29, "R", 350, _site("camp_site", caravans="yes", **PLAIN, **_fee(12), dog="yes")),
    ("Peatstow Moor", "long moor", 34, "R", 400, _site("caravan_site", **BARE, **_fee(0), dog="yes")),
    ("Heron Lake", "heron lake", 6, "L", 350, _site("camp_site", caravans="yes", **PLAIN, **_fee(15), dog="yes")),
    ("Firthside", "firth", 27, "R", 300, _site("caravan_site", **PLAIN, **_fee(17), dog="yes")),
    ("Brackenfirth Fold", "firth", 45, "L", 300, _site("caravan_site", **FULL, **_fee(29), dog="yes")),
    ("Slate Valley Camp", "slate valley", 5, "R", 250, _site("camp_site", caravans="yes", **STAFFED, **_fee(18), dog="yes")),
    ("Sallow Camp", "sallow", 20, "R", 250, _site("camp_site", caravans="yes", **PLAIN, **_fee(9), dog="yes")),
    ("Merrow Foot", "merrow south", 27, "L", 320, _site("caravan_site", **STAFFED, **_fee(26), dog="yes", opening_hours="Sep-Apr")),
    ("Orrin Bend", "vale", 48, "L", 280, _site("caravan_site", **PLAIN, **_fee(14), dog="yes")),
    ("West Vale Wild Camp", "west vale", 50, "L", 700, _site("camp_site", backcountry="yes", tents="yes", **_fee(0))),
    ("Vale Cross", "west vale", 24, "R", 340, _site("caravan_site", **STAFFED, **_fee(23), dog="yes")),
)  # fmt: skip

_DUMP: Tags = {"amenity": "sanitary_dump_station"}
_GREY: Tags = {"sanitary_dump_station:grey_water": "yes", "sanitary_dump_station:chemical_toilet": "yes"}
_NO_GREY: Tags = {"sanitary_dump_station:grey_water": "no", "sanitary_dump_station:chemical_toilet": "yes"}
_TAP: Tags = {"water_point": "yes", "drinking_water": "yes"}

#: Services, and sights with room for a van, whose lane says what it is made of; the lanes of the others say nothing, so that only the car
#: goes there.
SEALED_LANES = frozenset({
    "Marrendal Dump Station", "West Gate Dump Station", "Tarrowby Dump Station", "Skellhaven Dump Station", "Dunmorra Green",
    "Quillansea Dump Station", "Fennoway Yard", "Lothmere Dump Station", "Hollumstow Yard",
    "Ebbersund Water Point", "Corrahithe Water Point", "Brackenfirth Spout", "Kelder Tap", "Wrennick Tap",
    "Corra Gas Yard", "Loth Gas Counter",
    "South Road Fuel", "Hythe Fuel", "Wren Fuel", "Long Lee", "Quill Lee",
    "Kelder Arch", "Hollum Weir", "Westerly Bird Wall", "Gorse Cliffs", "Lothmere Glass House", "Museum of the Orne Sea",
})  # fmt: skip

#: (name, road, km, side, drive [m], tags)
SERVICES: tuple[tuple[str, str, float, str, int, Tags], ...] = (
    ("Marrendal Dump Station", "Marrendal", 2.0, "L", 90, {**_DUMP, **_GREY, **_TAP, "fee": "no"}),
    ("West Gate Dump Station", "Tarrowby", 47.0, "R", 90, {**_DUMP, **_GREY, **_TAP, "fee": "yes", "charge": "4 CRN"}),
    ("Tarrowby Dump Station", "Tarrowby", 2.0, "L", 80, {**_DUMP, **_GREY, "fee": "no", "opening_hours": "Mo-Su 07:00-21:00"}),
    ("Pellavik Depot Yard", "Pellavik", 1.8, "L", 80, {**_DUMP, **_NO_GREY, "fee": "no"}),
    ("Skellhaven Dump Station", "Skellhaven", 2.0, "L", 80, {**_DUMP, **_GREY, **_TAP, "fee": "no"}),
    ("Dunmorra Green", "Dunmorra", 2.0, "R", 80, {**_DUMP, **_NO_GREY, "fee": "no"}),
    ("Quillansea Dump Station", "Quillansea", 2.0, "L", 80, {**_DUMP, **_GREY, **_TAP, "fee": "no"}),
    ("Fennoway Yard", "Fennoway", 2.0, "L", 80, {**_DUMP, **_GREY, "access": "customers"}),
    ("Lothmere Dump Station", "Lothmere", 2.2, "L", 80, {**_DUMP, **_GREY, **_TAP, "fee": "no"}),
    ("Gannoway Green", "Gannoway", 1.8, "L", 80, {**_DUMP, **_GREY, "fee": "no"}),
    ("Hollumstow Yard", "long moor", 1.5, "L", 80, {**_DUMP, "fee": "no"}),
    ("Ebbersund Water Point", "Ebbersund", 2.0, "L", 60, {"amenity": "water_point", "fee": "no"}),
    ("Corrahithe Water Point", "Corrahithe", 2.0, "L", 60, {"amenity": "water_point", "fee": "no"}),
    ("Wrennick Tap", "Wrennick", 2.0, "L", 50, {"amenity": "drinking_water"}),
    ("Brackenfirth Spout", "vale", 1.5, "R", 50, {"amenity": "drinking_water"}),
    ("Orrindale Tap", "merrow north", 1.5, "R", 50, {"amenity": "drinking_water"}),
    ("Sallowhead Trough", "sallow", 24, "L", 40, {"amenity": "drinking_water", "drinking_water": "no"}),
    ("Kelder Tap", "Fennoway", 33, "R", 50, {"man_made": "water_tap", "drinking_water": "yes"}),
    ("Pellavik Quay Tap", "Gannoway", 33, "R", 60, {"amenity": "water_point", "fee": "yes", "charge": "2 CRN"}),
    ("Tolbridge Bottled Gas", "Skellhaven", 25.0, "L", 80, {"shop": "gas", "opening_hours": "Mo-Fr 08:00-17:30; Sa 09:00-13:00"}),
    ("Quillan Gas and Tackle", "Dunmorra", 41.0, "L", 80, {"shop": "gas", "opening_hours": "Mo-Sa 08:30-17:00"}),
    ("Corra Gas Yard", "Ebbersund", 43.0, "L", 80, {"shop": "gas", "opening_hours": "Mo-Fr 09:00-17:00"}),
    ("Loth Gas Counter", "Lothmere", 3.2, "R", 80, {"shop": "gas", "opening_hours": "Mo-Sa 08:00-18:00"}),
    ("Pell Bottled Gas", "Gannoway", 34.0, "L", 80, {"shop": "gas"}),
    ("South Road Fuel", "Marrendal", 18, "L", 60, {"amenity": "fuel", "fuel:diesel": "yes", "fuel:lpg": "yes", "opening_hours": "24/7"}),
    ("Hythe Fuel", "Quillansea", 30, "L", 60, {"amenity": "fuel", "fuel:diesel": "yes", "fuel:lpg": "yes"}),
    ("Wren Fuel", "Wrennick", 3, "L", 60, {"amenity": "fuel", "fuel:lpg": "yes"}),
    ("Brackenfirth Pumps", "firth", 47, "R", 60, {"amenity": "fuel", "fuel:diesel": "yes"}),
    ("Ash Fuel", "Ashgarrow", 3, "L", 60, {"amenity": "fuel", "fuel:octane_95": "yes", "fuel:lpg": "only"}),
    ("Long Lee", "Tarrowby", 48.5, "L", 150, {"place": "locality"}),
    ("Quill Lee", "Dunmorra", 42.2, "R", 140, {"place": "locality"}),
)  # fmt: skip

_VIEW: Tags = {"tourism": "viewpoint"}
SIGHTS: tuple[tuple[str, str, float, str, int, Tags], ...] = (
    ("Tarn Light", "cape tarn", 5.8, "R", 120, {"tourism": "attraction", "man_made": "lighthouse"}),
    ("Gull Point Stacks", "gull point", 4.8, "R", 100, _VIEW),
    ("Pell Sands", "pell sands", 4.8, "L", 90, {"tourism": "attraction"}),
    ("Heron Lake Hide", "heron lake", 6.8, "R", 90, _VIEW),
    ("East Head", "east head", 5.8, "R", 80, _VIEW),
    ("Slate Caverns", "slate valley", 5.8, "L", 100, {"tourism": "attraction", "opening_hours": "Mo-Su 10:00-16:00"}),
    ("Narrow Glen Falls", "narrow glen", 4.8, "R", 80, {"tourism": "attraction"}),
    ("Sallow Pass Summit", "sallow", 26.5, "R", 40, _VIEW),
    ("Merrow Saddle Lookout", "merrow north", 22, "L", 60, _VIEW),
    ("Museum of the Orne Sea", "Marrendal", 1.2, "R", 80, {"tourism": "museum", "opening_hours": "Tu-Su 10:00-17:00"}),
    ("Skellhaven Net Lofts", "Skellhaven", 1.2, "R", 70, {"tourism": "museum", "opening_hours": "We-Su 11:00-16:00"}),
    ("Lothmere Glass House", "Lothmere", 1.4, "R", 70, {"tourism": "attraction", "opening_hours": "Mo-Sa 09:00-17:00"}),
    ("Corrahithe Rope Walk", "Corrahithe", 1.3, "R", 70, {"tourism": "museum", "opening_hours": "Tu-Sa 10:00-16:00"}),
    ("Fennoway Tide Mill", "Fennoway", 1.3, "R", 80, {"tourism": "attraction", "opening_hours": "Mo-Su 10:00-17:00"}),
    ("Quillansea Shell Garden", "Quillansea", 1.3, "R", 70, {"tourism": "attraction"}),
    ("Peatstow Standing Stones", "long moor", 37, "L", 120, {"tourism": "attraction", "historic": "archaeological_site"}),
    ("Hollum Weir", "cross south", 27, "L", 60, _VIEW),
    ("Kelder Arch", "Fennoway", 28, "R", 90, {"tourism": "attraction"}),
    ("Isle Seal Ledge", "isle road", 8.5, "L", 60, _VIEW),
    ("Dray Quarry Face", "dray", 22, "R", 60, {"tourism": "attraction"}),
    ("Gorse Cliffs", "Lothmere", 30, "R", 150, _VIEW),
    ("Westerly Bird Wall", "Gannoway", 17, "R", 100, _VIEW),
)  # fmt: skip

LAKES: tuple[tuple[str, Point, float, float], ...] = (
    ("Heron Lake", (129, 75), 2.6, 1.2), ("Orrin Mere", (229, 70), 1.6, 1.0), ("Loth Mere", (121, 99), 2.0, 0.9), ("Vale Tarn", (70, 64), 1.2, 0.8), ("Sallow Tarn", (172, 84), 0.9, 0.7),
)  # fmt: skip
RIVERS: tuple[tuple[str, tuple[Point, ...]], ...] = (
    ("River Marren", ((112, 70), (112, 52), (109, 36), (96, 14))), ("River Skell", ((172, 80), (176, 58), (160, 40), (140, 6))), ("River Dunn", ((226, 66), (212, 40), (222, 18), (221, 4))),
    ("River Quill", ((240, 60), (248, 40), (246, 12))), ("River Wren", ((150, 74), (141, 92), (134, 113))), ("River Ash", ((60, 66), (72, 84), (74, 107))),
)  # fmt: skip
WOODS: tuple[tuple[Point, float, float], ...] = (
    ((84, 42), 6, 4), ((128, 40), 7, 3), ((186, 44), 6, 5), ((240, 80), 5, 4), ((190, 88), 6, 4), ((136, 88), 5, 3), ((84, 84), 6, 5), ((44, 70), 5, 4), ((260, 54), 5, 6), ((40, 36), 3, 2),
)  # fmt: skip
