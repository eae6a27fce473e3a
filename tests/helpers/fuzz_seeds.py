"""Sound files to begin from, one of each kind that people hand over."""

from __future__ import annotations

import json
from pathlib import Path

from helpers.drawn import draw
from helpers.fuzz import ROOT

SAMPLE = ROOT / "data_sample"

GPX_TRACK = """<?xml version="1.0" encoding="UTF-8"?>
<gpx version="1.1" creator="x" xmlns="http://www.topografix.com/GPX/1/1"><metadata><time>2027-02-06T10:00:00Z</time></metadata>
<wpt lat="1" lon="2"><name>A &amp; b</name></wpt><trk><name>Day one</name><trkseg>
<trkpt lat="-43.25" lon="-26.5"><ele>4</ele><time>2027-02-06T10:00:00Z</time></trkpt>
<trkpt lat="-43.24" lon="-26.5"><time>2027-02-06T10:00:05.5Z</time></trkpt></trkseg>
<trkseg><trkpt lat="-43.0" lon="-26.25"><time>2027-02-06T23:00:00+13:00</time></trkpt></trkseg></trk></gpx>"""
GPX_ROUTE = """<?xml version="1.0"?><gpx version="1.1" creator="x" xmlns="http://www.topografix.com/GPX/1/1">
<rte><name>Round</name><rtept lat="-43.25" lon="-26.5"><name>Quay</name></rtept><rtept lat="-43.0" lon="-26.25"><name>&#233;</name></rtept></rte></gpx>"""
KML = """<?xml version="1.0" encoding="UTF-8"?><kml xmlns="http://www.opengis.net/kml/2.2" xmlns:gx="http://www.google.com/kml/ext/2.2"><Document>
<name>day one</name><Placemark><Point><coordinates>1,2,0</coordinates></Point></Placemark><Placemark><gx:MultiTrack><gx:Track>
<when>2027-02-06T10:00:00Z</when><when>2027-02-06T10:00:05.5Z</when><gx:coord>-26.5 -43.25 4</gx:coord><gx:coord>-26.5 -43.24 4</gx:coord></gx:Track>
</gx:MultiTrack></Placemark><Placemark><LineString><coordinates>-26.5,-43.25,4 -26.4,-43.2</coordinates></LineString></Placemark></Document></kml>"""
TRACK_JSON = {
    "type": "FeatureCollection",
    "features": [
        {"type": "Feature", "properties": {"name": "Day", "coordTimes": ["2027-02-06T10:00:00Z", 1801908005.5]},
         "geometry": {"type": "LineString", "coordinates": [[-26.5, -43.25], [-26.5, -43.24, 7]]}},
        {"type": "Feature", "properties": {"coordinateProperties": {"times": [["2027-02-06T11:00:00Z", None]]}},
         "geometry": {"type": "MultiLineString", "coordinates": [[[-26.25, -43.0], [-26.2, -43.0]]]}},
    ],
}  # fmt: skip
POINTS_JSON = {
    "type": "FeatureCollection",
    "features": [
        {"type": "Feature", "properties": {"name": name}, "geometry": {"type": "Point", "coordinates": at}}
        for name, at in (("Quay", [-26.5, -43.25]), ("Ness", [-26.25, -43.0]))
    ],
}
LINE_JSON = {"type": "LineString", "coordinates": [[-26.5, -43.25], [-26.25, -43.0, 3]]}
POINTS_CSV = 'name,lat,lon\nQuay,-43.25,-26.5\n"Ness, old",-43.0,-26.25\n'
LOCAL_JSON = {
    "type": "FeatureCollection",
    "features": [
        {"type": "Feature", "properties": {"role": "dump", "name": "Yard", "grey": True, "price_cents": 300, "hours": "Mo-Su 07:00-19:00"},
         "geometry": {"type": "Point", "coordinates": [8.004, 49.999]}},
        {"type": "Feature", "properties": {"way": 101, "answer": "closed", "from": "11-01", "to": "04-15"}, "geometry": None},
        {"type": "Feature", "properties": {"road": "High", "answer": "sealed", "author": "me", "date": "2026-01-02"},
         "geometry": {"type": "LineString", "coordinates": [[8.001, 50.0], [8.002, 50.0]]}},
    ],
}  # fmt: skip
LOCAL_CSV = """role,name,lat,lon,power,grey,hours,price_cents,author,date,note,way,road,lat2,lon2,answer,from,to,for,max_height_m
depot,Yard,49.999,8.004,,,Mo-Sa 08:00-18:00,,me,2026-01-05,ring,,,,,,,,,
site,Wells,49.998,8.001,yes,no,,1800,me,2026-01-09,four,,,,,,,,,
,,50.0,8.001,,,,,,,,,High,50.0,8.002,sealed,,,,
,,,,,,,,,,,101,,,,closed,06-01,08-31,,
,,,,,,,,,,,102,,,,,,,,3.4
"""
CLIMATE_CSV = "station,lat,lon,month,mean_c,low_c,high_c,sun_kwh_per_m2\n" + "".join(
    f"Mill,-43.3,-26.6,{month},12,7,17,3.5\n" for month in range(1, 13)
)
DAYS_CSV = "date,mean_c,low_c,high_c,cloud_share\n2026-02-03,11,6,15,0.4\n2026-02-04,12,7,16,0.9\n"
MAPPING_TOML = """file = "stations.csv"
[columns]
lat = "Y"
lon = "X"
name = "NAME"
grey = "GREY"
[same]
role = "dump"
[words]
yes = ["ja", "oui"]
no = "nein"
"""

_MAP = """
A--B--C--D--U--V
|  |  |     |
I  E--F--J--K
|     |  P-Q
L     G  S-R
"""


def rich_map(folder: Path) -> Path:
    """Write a small OPL map with something of everything that is read."""
    return draw(
        _MAP,
        {
            "ABCDUV": "highway=primary name=High ref=A1 surface=asphalt maxspeed=80 lanes=2", "BEFC": "highway=residential name=Low",
            "CFG": {"highway": "tertiary", "motor_vehicle:conditional": "no @ (Nov-Apr)", "maxheight": "3.2", "incline": "12%"},
            "AIL": "highway=unclassified surface=gravel", "FJK": "highway=service access=destination", "KU": "highway=secondary oneway=yes surface=concrete",
            "DV": {"route": "ferry", "duration": "00:20", "interval": "01:00", "opening_hours": "Mo-Fr 07:00-19:00", "motor_vehicle": "yes"},
            "PQRSP": {"tourism": "caravan_site", "name": "Meadow", "power_supply": "yes", "sanitary_dump_station": "yes", "opening_hours": "Apr-Oct"},
            "PQ#2": "", "RSP#2": "", "EI": "natural=coastline", "LGFEL": "natural=water", "LG": "waterway=river",
        },
        nodes={
            "E": "barrier=bollard", "J": {"barrier": "height_restrictor", "maxheight": "2.5"}, "A": {"place": "village", "name": "Übersee, West", "population": "320"},
            "K": {"amenity": "sanitary_dump_station", "name": "Yard", "opening_hours": "24/7", "fee": "yes", "charge": "3 EUR"},
            "D": {"amenity": "fuel", "bottled_gas": "yes"}, "V": {"tourism": "viewpoint", "name": "Ness"}, "P": "entrance=main", "F": {"ford": "yes"},
        },
        relations=[
            ({"type": "restriction", "restriction": "no_left_turn"}, [("from", "ABCDUV"), ("via", "B"), ("to", "BEFC")]),
            ({"type": "restriction", "restriction:conditional": "only_straight_on @ (Mo-Fr 07:00-09:00)"}, [("from", "CFG"), ("via", "F"), ("to", "FJK")]),
            ({"type": "restriction", "restriction": "no_u_turn"}, [("from", "BEFC"), ("via", "FJK"), ("to", "KU")]),
            ({"type": "multipolygon", "tourism": "camp_site", "name": "Field"}, [("outer", "PQ#2"), ("outer", "RSP#2"), ("inner", "LG")]),
            ({"type": "boundary", "boundary": "administrative", "admin_level": "2", "ISO3166-1": "NZ"}, [("outer", "EI"), ("outer", "PQ#2")]),
        ],
        folder=folder, name="rich",
    ).path  # fmt: skip


def prepare(folder: Path) -> Path:
    """Write the sound files that take a program to make: maps of each kind, regions, a plan; return the folder."""
    import osmium
    from helpers import plans

    from tripplan.model.serial import plan_to_json
    from tripplan.region.build import build
    from tripplan.region.local import add_local
    from tripplan.region.store import save
    from tripplan.request.local_files import load_local

    opl = rich_map(folder)
    for name in ("rich.osm.pbf", "rich.osm"):
        with osmium.SimpleWriter(str(folder / name)) as writer:
            for thing in osmium.FileProcessor(str(opl)):
                writer.add(thing)
    region = build(opl, name="Rich")
    save(region, folder / "rich.region")
    (folder / "notes.csv").write_text(LOCAL_CSV, encoding="utf-8")
    save(add_local(region, load_local(folder / "notes.csv").notes), folder / "local.region")
    save(build(SAMPLE / "island.osm.pbf", name="Island"), folder / "island.region")
    isle = plans.island()
    save(isle, folder / "isle.region")
    (folder / "plan.json").write_text(plan_to_json(plans.plan(3, region=isle)), encoding="utf-8")
    (folder / "points.json").write_text(json.dumps(POINTS_JSON), encoding="utf-8")
    return folder
