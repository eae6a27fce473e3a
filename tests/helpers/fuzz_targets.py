"""What is shot at: each target makes one input from its random generator and hands it to the program as a person would."""

from __future__ import annotations

import bz2
import gzip
import io
import json
import math
import random
import re
import sys
import zipfile
import zlib
from collections.abc import Callable
from datetime import date, datetime
from pathlib import Path
from typing import Any

from helpers import fuzz_seeds as seeds
from helpers.fuzz import ODD_NUMBERS, Shot, fire, odd_text, odd_value, places_in, spoil_json, spoilt

from tripplan.model.outfit import Outfit

#: Targets and how many of a thousand inputs each gets: the cheap ones many, those that read whole maps few.
SHARES = {
    "tags": 400, "hours": 130, "waypoints": 110, "track": 110, "local": 80, "climate": 10, "mapping": 30, "trip": 60, "plan": 25, "region": 15, "merge": 5,
    "map_text": 10, "map_pbf": 10, "map_xml": 5,
}  # fmt: skip

# ------------------------------------------------------------------------------------------------- tags

_KEYS = (
    "highway", "route", "surface", "tracktype", "smoothness", "access", "vehicle", "motor_vehicle", "motorcar", "trailer", "caravan", "oneway", "junction",
    "toll", "bridge", "tunnel", "motorroad", "lit", "incline", "ford", "duration", "interval", "seasonal", "service", "maxheight", "maxwidth", "maxlength",
    "maxweight", "maxweightrating", "maxgcweight", "maxaxleload", "maxspeed", "maxspeed:trailer", "maxspeed:forward", "maxspeed:conditional", "zone:traffic",
    "source:maxspeed", "opening_hours", "motor_vehicle:conditional", "access:conditional", "maxweight:conditional", "trailer:conditional", "oneway:conditional",
    "maxheight:physical", "barrier", "locked", "restriction", "restriction:caravan", "restriction:conditional", "except", "type", "day_on", "day_off", "hour_on",
    "hour_off", "tourism", "amenity", "sanitary_dump_station", "name", "charge", "fee", "maxstay", "capacity", "capacity:caravans", "power_supply", "drinking_water",
    "toilets", "shower", "description", "note", "dog", "phone", "website", "shop", "vending", "bottled_gas", "waterway", "man_made", "natural", "historic",
    "place", "caravans", "tents", "reservation", "check_in", "impassable", "winter_road", "lanes", "dual_carriageway", "addr:country", "temporary:access",
    "4wd_only", "surface:lanes", "surface:forward", "surface:conditional", "smoothness:lanes", "maxheight:conditional", "maxwidth:conditional",
    "maxlength:conditional", "maxweightrating:conditional", "maxaxleload:conditional", "maxweight:backward", "maxheight:lanes",
)  # fmt: skip
_VALUES = (
    "yes", "no", "primary", "secondary", "tertiary", "residential", "service", "track", "motorway", "trunk_link", "ferry", "asphalt", "gravel", "paved",
    "unpaved", "concrete:plates", "compacted;asphalt", "grade1", "grade5", "bad", "very_bad", "private", "destination", "customers", "permit", "discouraged",
    "-1", "reversible", "roundabout", "3.5", "3.5 t", "12'6\"", "7.5 st", "3500 kg", "5000 lbs", "2,5", "default", "none", "below_default", "50", "30 mph",
    "AU:urban", "NZ:rural", "walk", "signals", "12%", "up", "10°", "1:8", "00:45", "PT1H30M", "90", "no @ (Nov-Apr)", "yes @ (Mo-Fr 07:00-09:00; PH off)",
    "no @ (weight>3.5 AND trailer)", "80 @ (trailer)", "no @ (snow)", "Apr-Oct", "Mo-Su 08:00-20:00", "24/7", "sunrise-sunset", "no_left_turn", "only_straight_on",
    "psv;motorcar", "restriction", "caravan_site", "camp_site", "drinking_water", "fuel", "gas", "gate", "bollard", "height_restrictor", "winter", "summer",
    "1 night", "48 hours", "3 EUR", "$5.50", "12", "no grey water", "kein Grauwasser", "motor_vehicle", "2026 Jan 1-2026 Mar 3", "easter -2 days-easter +1 day",
    "no @ winter", "no @ 2024-11-01--2025-03-31", "2.5 @ (Nov-Mar AND axles>3)", "3 @ (hgv)", "asphalt|gravel|", "recommended", "no @ (SH)",
)  # fmt: skip


def _value(rng: random.Random) -> str:
    kind = rng.random()
    if kind < 0.6:
        return rng.choice(_VALUES)
    if kind < 0.75:
        return odd_text(rng)
    if kind < 0.9:
        return spoilt(rng, rng.choice(_VALUES).encode()).decode("utf-8", "replace")
    return rng.choice((";", " ", " AND ", "@", "-", ", ")).join(
        rng.choice(_VALUES + ODD_NUMBERS[:14]) for _ in range(rng.randrange(2, 9))
    )


def any_tags(rng: random.Random) -> dict[str, str]:
    """Return tags: known keys with known and odd values, now and then a key that nobody knows."""
    tags = {(rng.choice(_KEYS) if rng.random() < 0.97 else odd_text(rng)): _value(rng) for _ in range(rng.randrange(1, 8))}
    if rng.random() < 0.5:
        tags["highway"] = rng.choice(("primary", "service", "residential", "track", "ford"))
    elif rng.random() < 0.6:
        tags[rng.choice(("tourism", "amenity", "barrier"))] = rng.choice(
            ("caravan_site", "sanitary_dump_station", "fuel", "gate", "drinking_water", "museum")
        )
    return tags


def _tags(rng: random.Random, _: Path) -> str:
    from tripplan.region.judge import duration_s, incline_percent
    from tripplan.rules.access import closed_when, judge_access, judge_barrier, oneway
    from tripplan.rules.limits import size_limits
    from tripplan.rules.offers import judge_place
    from tripplan.rules.speed import built_up, dual, posted
    from tripplan.rules.surface import judge_surface
    from tripplan.rules.turns import judge_turns
    from tripplan.rules.unread import cautions

    tags = any_tags(rng)
    before = dict(tags)
    int(judge_surface(tags).surface)
    for mode in ("tow", "car"):
        assert judge_access(tags, mode).access in (0, 1, 2)
        assert judge_barrier(tags, mode).access in (0, 1, 2)
    way = oneway(tags)
    assert way in (-1, 0, 1, None)
    when = closed_when(tags)
    limits, speeds = size_limits(tags), posted(tags)
    for figure in (
        limits.height_m,
        limits.width_m,
        limits.length_m,
        limits.weight_kg,
        limits.axle_kg,
        speeds.forward,
        speeds.backward,
        speeds.trailer,
    ):
        assert math.isnan(figure) or 0 <= figure < math.inf, figure
    built_up(tags), dual(tags, one_way=way)
    assert all(line and "\n" not in line for line in cautions(tags))
    place = judge_place(tags, "n1")
    if place is not None:
        assert place.price_cents is None or abs(place.price_cents) < 2**31, place.price_cents
        assert place.longest_stay_nights is None or abs(place.longest_stay_nights) < 2**31
    judge_turns({"type": "restriction", **tags})
    for value in tags.values():
        for figure in (duration_s(value), incline_percent(value)):
            assert math.isnan(figure) or 0 <= figure < 1e9, figure
    assert tags == before
    assert isinstance(when, str)
    return "taken"


_OUTFIT = Outfit("car and van", True, 3200, 1500, 1400, height_m=2.6, width_m=2.3, length_m=12.0, towing_limit_kmh=80)


def _hours(rng: random.Random, _: Path) -> str:
    from tripplan.almanac.hours import is_open, is_readable, windows
    from tripplan.rules.access import closed_when
    from tripplan.rules.closed import closed_on
    from tripplan.rules.turns import in_force, judge_turns

    text = _value(rng)
    day = date.fromordinal(rng.choice((date(2026, 1, 1).toordinal(), rng.randrange(700_000, 760_000))))
    country = rng.choice(("", "NZ", "DE", "XX", "nz"))
    at = rng.choice(((None, None), (-26.5, -43.2), (25.0, 89.0), (180.0, 0.0)))
    is_readable(text)
    found = windows(text, day, 0, rng.choice((1440, 2880, 1)), country, *at)
    assert found.open in (True, False, None)
    assert all(a < b for a, b in found.windows)
    is_open(text, datetime(day.year, day.month, day.day, 12, 30), country, *at)  # noqa: DTZ001 - wall clock
    keys = ("motor_vehicle:conditional", "opening_hours", "seasonal", "maxheight:conditional", "maxweight:conditional")
    when = closed_when({"highway": "primary", rng.choice(keys): text})
    for outfit in (None, _OUTFIT):
        assert closed_on(when, day, country, *at, hours=rng.choice((None, (480, 1200))), outfit=outfit) in (True, False, None)
    for fact in judge_turns(
        {"type": "restriction", "restriction": "no_left_turn", "restriction:conditional": f"no_u_turn @ ({text})"}
    ):
        assert in_force(fact.when, day, country, *at) in (True, False)
    return "taken"


# ------------------------------------------------------------------------------------------------- small files


def _bytes(rng: random.Random, sound: str | dict[str, Any], words: tuple[bytes, ...]) -> bytes:
    """Spoil a text byte by byte, or a JSON value by its structure."""
    if isinstance(sound, dict) and rng.random() < 0.7:
        value = json.loads(json.dumps(sound))
        return json.dumps(spoil_json(rng, value, places_in(value)), ensure_ascii=rng.random() < 0.5).encode(
            "utf-8", "surrogatepass"
        )
    text = json.dumps(sound) if isinstance(sound, dict) else sound
    return spoilt(rng, text.encode(), words)


_XML = (b"<", b">", b"</trk>", b"<trkseg>", b"<trkpt lat='1' lon='1'/>", b"<!DOCTYPE x [<!ENTITY a 'b'>]>", b"&a;", b"&#0;", b"&#xD800;", b"<![CDATA[", b"]]>", b"<?x?>",
        b"<!--", b"xmlns=''", b"<a>" * 300, b"<time>", b"nan", b"lat=\"1e400\"", b"<gx:coord>", b"<coordinates>1,2 3,4</coordinates>", b"\x00", b"\xff\xfe")  # fmt: skip
_CSV = (
    b",",
    b'"',
    b"\n",
    b"\r",
    b"\r\n",
    b";",
    b"\t",
    b"lat",
    b"lon",
    b"way",
    b"answer",
    b"closed",
    b"sealed",
    b"yes",
    b"1e400",
    b"43,2",
    b"\x00",
    b"'",
    b"=1+1",
    b'""',
    b"\xef\xbb\xbf",
)
_JSON = (
    b"{",
    b"}",
    b"[" * 5000,
    b"]",
    b"null",
    b"NaN",
    b"1e999",
    b"-",
    b'"',
    b"\\ud800",
    b'{"type":"FeatureCollection","features":' * 40,
    b"\x00",
    b"1" * 5000,
)


def _written(rng: random.Random, scratch: Path, name: str, data: bytes) -> Path:
    path = scratch / name
    path.write_bytes(data)
    return path


def _waypoints(rng: random.Random, scratch: Path) -> str:
    from tripplan.request.waypoints import load_waypoints

    sound, name, words = rng.choice(
        (
            (seeds.POINTS_CSV, "p.csv", _CSV),
            (seeds.POINTS_JSON, "p.geojson", _JSON),
            (seeds.LINE_JSON, "p.json", _JSON),
            (seeds.GPX_ROUTE, "p.gpx", _XML),
        )
    )
    name = name if rng.random() < 0.9 else rng.choice(("p", "p.txt", "p.gpx", "p.csv", "p.kml"))
    for point in load_waypoints(_written(rng, scratch, name, _bytes(rng, sound, words))):
        assert -180 <= point.lon <= 180
        assert -90 <= point.lat <= 90
    return "taken"


def _track(rng: random.Random, scratch: Path) -> str:
    from tripplan.request.tracks import is_track, load_track

    sound, name, words = rng.choice(
        ((seeds.GPX_TRACK, "t.gpx", _XML), (seeds.KML, "t.kml", _XML), (seeds.TRACK_JSON, "t.geojson", _JSON))
    )
    name = name if rng.random() < 0.9 else rng.choice(("t", "t.gpx", "t.kml", "t.json"))
    path = _written(rng, scratch, name, _bytes(rng, sound, words))
    is_track(path)
    track = load_track(path)
    assert len(track.lon) >= 2
    assert abs(track.lat).max() <= 90
    return "taken"


def _local(rng: random.Random, scratch: Path) -> str:
    from tripplan.request.local_files import load_local

    sound, name, words = rng.choice(((seeds.LOCAL_CSV, "n.csv", _CSV), (seeds.LOCAL_JSON, "n.geojson", _JSON)))
    load_local(_written(rng, scratch, name, _bytes(rng, sound, words)), _mapped(rng, scratch) if rng.random() < 0.1 else None)
    return "taken"


def _climate(rng: random.Random, scratch: Path) -> str:
    from tripplan.almanac.normals import stations_from, stations_text
    from tripplan.request.climate_file import load_climate, load_days

    if rng.random() < 0.5:
        stations = load_climate(_written(rng, scratch, "c.csv", _bytes(rng, seeds.CLIMATE_CSV, _CSV)))
        assert stations_from(stations_text(stations)) == stations
    else:
        for _, day in load_days(_written(rng, scratch, "d.csv", _bytes(rng, seeds.DAYS_CSV, _CSV)), -26.6, -43.3):
            assert day.low_c <= day.mean_c <= day.high_c
            assert 0 <= day.sun_kwh_per_m2 <= 12
    return "taken"


def _mapped(rng: random.Random, scratch: Path) -> Any:
    from tripplan.request.local_columns import read_mapping

    if rng.random() < 0.5:
        words = (b",", b"=", b":", b":=", b"lat", b"lon", b"role", b"'", b".toml", b"\n")
        return read_mapping(
            spoilt(rng, b"n.csv: lat=lat,lon=lon,name=name,grey=grey,role:=dump", words).decode("utf-8", "replace")
        )
    return read_mapping(str(_written(rng, scratch, "m.toml", _bytes(rng, seeds.MAPPING_TOML, _TOML))))


def _mapping(rng: random.Random, scratch: Path) -> str:
    _mapped(rng, scratch)
    return "taken"


_TOML = (b"=", b"[", b"]", b"[[", b"]]", b'"', b"'''", b"\n", b"{", b"}", b"nan", b"inf", b"1979-05-27", b"07:32:00", b"2026-02-30", b"0xff", b"1_0", b"a.b.c=1", b"\\u0000", b"\x00",
         b"true", b"9" * 5000, b"[" * 2000, b"{a=" * 400, b"x = 1\nx = 2\n", b"[van]\n", b"[driving]\n")  # fmt: skip
_ASSIGN = re.compile(r"^(\s*[\w.]+\s*=\s*)(.*)$")


def _toml_value(rng: random.Random) -> str:
    value = odd_value(rng)
    if isinstance(value, str):
        return json.dumps(value) if rng.random() < 0.8 else value
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, dict) or value is None:
        return rng.choice(
            (
                "{}",
                "{a = 1}",
                "2026-03-05",
                "2026-03-05T10:00:00Z",
                "23:59:60",
                "9999-12-31T23:59:59+14:00",
                "0001-01-01T00:00:00",
                "",
            )
        )
    return str(value)


def _trip(scratch: Path, folder: Path) -> Shot:
    from tripplan.region.store import load

    texts = [path.read_text(encoding="utf-8") for path in sorted(seeds.SAMPLE.glob("trip_*.toml"))]
    for name in ("vans", "parties", "outfits"):
        texts += [path.read_text(encoding="utf-8") for path in sorted((seeds.SAMPLE / name).glob("*.toml"))]
    region = load(folder / "island.region")
    inline = _whole_trip()

    def shot(rng: random.Random, scratch: Path) -> str:
        from tripplan.request.trip_file import load_trip

        text = inline if rng.random() < 0.5 else rng.choice(texts)
        if rng.random() < 0.7:
            lines = text.splitlines()
            for _ in range(rng.randrange(1, 5)):
                at = rng.randrange(len(lines))
                found = _ASSIGN.match(lines[at])
                if found and rng.random() < 0.8:
                    lines[at] = found[1] + _toml_value(rng)
                else:
                    lines[at : at + 1] = rng.choice(([], [lines[at]] * 2, [rng.choice(lines)], [lines[at] + odd_text(rng)]))
                if not lines:
                    break
            data = "\n".join(lines).encode("utf-8", "replace")
        else:
            data = spoilt(rng, text.encode(), _TOML)
        load_trip(_written(rng, scratch, "trip.toml", data), region)
        return "taken"

    return shot


def _whole_trip() -> str:
    """Return a sample trip with its parts written into it."""
    import tomllib

    text = (seeds.SAMPLE / "trip_isle_weekend.toml").read_text(encoding="utf-8")
    parts = tomllib.loads(text)
    top, _, rest = text.partition("\n[")
    for name in ("van", "party", "firm", "outfit"):
        top = re.sub(rf"(?m)^{name} = .*$", "", top)
        inside = (seeds.SAMPLE / parts[name]).read_text(encoding="utf-8")
        rest += f"\n[{name}]\n" + re.sub(r"(?m)^\[\[areas_off_limits\]\]", "[[firm.areas_off_limits]]", inside) + "\n"
    return f"{top}\n[{rest}"


# ------------------------------------------------------------------------------------------------- plans and regions


def _plan(folder: Path) -> Shot:
    from tripplan.audit.run import audit
    from tripplan.model.serial import plan_from_json, plan_to_json
    from tripplan.region.store import load

    text = (folder / "plan.json").read_text(encoding="utf-8")
    region = load(folder / "isle.region")
    paths = places_in(json.loads(text))
    # Values deep in one of many alike are drawn less often than those at the top.
    paths += [path for path in paths if len(path) < 4] * 8

    def shot(rng: random.Random, scratch: Path) -> str:
        if rng.random() < 0.85:
            data = json.dumps(spoil_json(rng, json.loads(text), paths)).encode("utf-8", "surrogatepass")
        else:
            data = spoilt(rng, text.encode(), _JSON)
        plan = plan_from_json(data, where="plan.json")
        for finding in audit(plan, region):
            assert math.isfinite(finding.amount), finding
        plan_to_json(plan)
        return "taken"

    return shot


def _region(folder: Path) -> Shot:
    import numpy as np

    sound = [(folder / name).read_bytes() for name in ("rich.region", "local.region")]
    parts = []
    for data in sound:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            parts.append({info.filename: archive.read(info) for info in archive.infolist()})

    def mended(rng: random.Random) -> bytes:
        """One or two members changed, and everything around them right: headers, sums, directory."""
        members = dict(rng.choice(parts))
        for _ in range(rng.randrange(1, 3)):
            name = rng.choice(list(members))
            data = members[name]
            if name.endswith(".json"):
                value = json.loads(data)
                members[name] = (
                    json.dumps(spoil_json(rng, value, places_in(value))).encode()
                    if rng.random() < 0.7
                    else spoilt(rng, data, _JSON)
                )
            elif rng.random() < 0.3:
                members[name] = spoilt(
                    rng, data, (b"'descr': '|O'", b"'shape': (-1,)", b"(9" + b"9" * 30 + b",)", b"<f8", b"<i8", b"(")
                )
            elif rng.random() < 0.1:
                del members[name]
            else:
                try:
                    column = np.lib.format.read_array(io.BytesIO(data)).copy()
                except Exception:  # noqa: BLE001 - spoilt already
                    continue
                if len(column):
                    at = rng.randrange(len(column))
                    info = np.iinfo(column.dtype) if column.dtype.kind in "iu" else None
                    odd = (
                        [int(info.min), int(info.max), 0, min(len(column), int(info.max)), min(int(info.max), 255)]
                        if info
                        else [math.nan, math.inf, -math.inf, -1.0, 1e30]
                    )
                    column[at] = rng.choice((*odd, column[rng.randrange(len(column))]))
                if rng.random() < 0.2:
                    column = rng.choice(
                        (column[:-1], np.concatenate((column, column[:1])), column.astype(np.float32), column.reshape(-1, 1))
                    )
                out = io.BytesIO()
                np.lib.format.write_array(out, column, version=(1, 0))
                members[name] = out.getvalue()
        out = io.BytesIO()
        with zipfile.ZipFile(out, "w", zipfile.ZIP_STORED if rng.random() < 0.95 else zipfile.ZIP_DEFLATED) as archive:
            for name, data in members.items():
                archive.writestr(name, data)
        return out.getvalue()

    def shot(rng: random.Random, scratch: Path) -> str:
        data = mended(rng) if rng.random() < 0.7 else spoilt(rng, rng.choice(sound))
        _use(_written(rng, scratch, "x.region", data))
        return "taken"

    return shot


def _use(path: Path) -> None:
    """Open a region and look at all of it as the commands do: what is known, names, roads, places on the roads."""
    from helpers.towing import VAN

    from tripplan.model.place import Spot
    from tripplan.region.coverage import coverage
    from tripplan.region.find import find
    from tripplan.region.store import load
    from tripplan.roads.join import join
    from tripplan.roads.network import open_network
    from tripplan.roads.terms import Terms

    region = load(path)
    coverage(region)
    find(region, "Yard")
    spots = [Spot(place.ref, place.name, place.lon, place.lat, place.index) for place in region.places]
    network = open_network(region, Terms(VAN))
    if len(spots) > 1:
        join(network, spots).matrix()


def _merge(folder: Path) -> Shot:
    from tripplan.region.store import load

    region = load(folder / "rich.region")

    def shot(rng: random.Random, scratch: Path) -> str:
        from tripplan.region.local import add_local
        from tripplan.request.local_files import load_local

        lines = seeds.LOCAL_CSV.splitlines()
        for _ in range(rng.randrange(1, 4)):
            at = rng.randrange(1, len(lines))
            cells = lines[at].split(",")
            cells[rng.randrange(len(cells))] = rng.choice(
                (
                    "",
                    "1",
                    "8.002",
                    "50.0",
                    "49.999",
                    "0",
                    "180",
                    "-90",
                    "sealed",
                    "open",
                    "High",
                    "101",
                    "103;104",
                    "new",
                    "n1",
                    "Meadow",
                    "yes",
                    "site",
                )
            )
            lines[at] = ",".join(cells)
        path = _written(rng, scratch, "n.csv", "\n".join(lines).encode())
        made = add_local(region, load_local(path).notes)
        assert len(made.pieces.way) >= len(region.pieces.way)
        return "taken"

    return shot


# ------------------------------------------------------------------------------------------------- maps


def _build(path: Path) -> str:
    from tripplan.region.build import build

    region = build(path)
    assert (region.pieces.length_m >= 0).all()
    return "taken"


def _map_text(folder: Path) -> Shot:
    text = (folder / "rich.osm.opl").read_text(encoding="utf-8")
    lines = text.splitlines()

    def shot(rng: random.Random, scratch: Path) -> str:
        from helpers.drawn import opl_text

        if rng.random() < 0.4:
            data = spoilt(
                rng,
                text.encode(),
                (
                    b" ",
                    b"\n",
                    b"T",
                    b"N",
                    b"M",
                    b"n1",
                    b"w101",
                    b"r1001",
                    b",",
                    b"@",
                    b"=",
                    b"%",
                    b"x181",
                    b"y-91",
                    b"x8.1y50",
                    b"v99999999999",
                ),
            )
        else:
            out = list(lines)
            for _ in range(rng.randrange(1, 6)):
                at = rng.randrange(len(out))
                fields = out[at].split(" ")
                for k, part in enumerate(fields):
                    if part[:1] == "T" and rng.random() < 0.7:
                        tags = any_tags(rng)
                        fields[k] = (
                            part
                            + ("," if len(part) > 1 else "")
                            + ",".join(f"{opl_text(a[:255])}={opl_text(b[:255])}" for a, b in tags.items())
                        )
                    elif part[:1] in "xy" and rng.random() < 0.5:
                        fields[k] = part[0] + rng.choice(
                            ("0", "180", "-180", "90", "-90", "179.9999999", "1e2", "", "8.0000001", "-0.0000001")
                        )
                    elif part[:1] in "NM" and rng.random() < 0.5:
                        refs = part[1:].split(",")
                        rng.shuffle(refs)
                        fields[k] = part[0] + ",".join((refs * rng.choice((1, 1, 2, 60)))[: rng.randrange(1, 200)])
                    elif k == 0 and rng.random() < 0.2:
                        fields[k] = part[0] + rng.choice(("0", "-5", "1", "101", "9223372036854775807", "99999999999999999999"))
                out[at] = " ".join(fields)
                if rng.random() < 0.2:
                    out.insert(rng.randrange(len(out)), out.pop(at))
            data = ("\n".join(out) + "\n").encode("utf-8", "replace")
        return _build(_written(rng, scratch, "x.osm.opl", data))

    return shot


def _varint(number: int) -> bytes:
    out = bytearray()
    while number > 127:
        out.append(number & 127 | 128)
        number >>= 7
    return bytes((*out, number))


def _read_varint(data: bytes, at: int) -> tuple[int, int]:
    number = shift = 0
    while True:
        number |= (data[at] & 127) << shift
        shift += 7
        at += 1
        if data[at - 1] < 128:
            return number, at


def _fields(data: bytes) -> list[tuple[int, Any]]:
    """Return (field number, value) of a protobuf message that holds whole numbers and bytes only."""
    at, out = 0, []
    while at < len(data):
        key, at = _read_varint(data, at)
        number, at = _read_varint(data, at)
        if key & 7 == 2:
            out.append((key >> 3, data[at : at + number]))
            at += number
        else:
            out.append((key >> 3, number))
    return out


def _blobs(data: bytes) -> list[tuple[bytes, bytes]]:
    """Return (type, contents unpacked) of every block of a pbf file."""
    at, out = 0, []
    while at < len(data):
        size = int.from_bytes(data[at : at + 4], "big")
        head = dict(_fields(data[at + 4 : at + 4 + size]))
        at += 4 + size
        blob = dict(_fields(data[at : at + head[3]]))
        at += head[3]
        out.append((head[1], zlib.decompress(blob[3]) if 3 in blob else blob[1]))
    return out


def _pbf(blobs: list[tuple[bytes, bytes]], rng: random.Random) -> bytes:
    out = b""
    for kind, data in blobs:
        size = len(data) if rng.random() < 0.98 else rng.choice((0, 1, 2**31 - 1, 33 << 20, len(data) - 1))
        raw = b"\x0a" + _varint(len(data)) + data
        blob = (
            raw
            if rng.random() < 0.5
            else b"\x10" + _varint(size) + b"\x1a" + _varint(len(packed := zlib.compress(data))) + packed
        )
        head = b"\x0a" + _varint(len(kind)) + kind + b"\x18" + _varint(len(blob))
        out += len(head).to_bytes(4, "big") + head + blob
    return out


def _map_pbf(folder: Path) -> Shot:
    data = (folder / "rich.osm.pbf").read_bytes()
    blobs = _blobs(data)

    def shot(rng: random.Random, scratch: Path) -> str:
        if rng.random() < 0.4:
            out = spoilt(rng, data)
        else:  # spoilt inside its compressed blocks, so that what is read is wrong and not its packing
            at = rng.randrange(len(blobs))
            out = _pbf([(kind, spoilt(rng, block) if k == at else block) for k, (kind, block) in enumerate(blobs)], rng)
        return _build(_written(rng, scratch, "x.osm.pbf", out))

    return shot


def _map_xml(folder: Path) -> Shot:
    text = (folder / "rich.osm").read_bytes()
    words = (
        *_XML,
        b'lat="91"',
        b'lon="-181"',
        b'id="-7"',
        b'id="99999999999999999999"',
        b'<nd ref="1"/>',
        b'<member type="way" ref="101" role=""/>',
        b"<tag k='' v=''/>",
        b"<osmChange>",
    )

    def shot(rng: random.Random, scratch: Path) -> str:
        data = spoilt(rng, text, words)
        kind = rng.random()
        if kind < 0.6:
            return _build(_written(rng, scratch, "x.osm", data))
        packed, name = (gzip.compress(data, 1), "x.osm.gz") if kind < 0.8 else (bz2.compress(data, 1), "x.osm.bz2")
        return _build(_written(rng, scratch, name, packed if rng.random() < 0.5 else spoilt(rng, packed)))

    return shot


# ------------------------------------------------------------------------------------------------- all together

_MADE: dict[str, Callable[[Path], Shot]] = {
    "tags": lambda _: _tags, "hours": lambda _: _hours, "waypoints": lambda _: _waypoints, "track": lambda _: _track, "local": lambda _: _local,
    "climate": lambda _: _climate,
    "mapping": lambda _: _mapping, "trip": lambda folder: _trip(folder, folder), "plan": _plan, "region": _region, "merge": _merge,
    "map_text": _map_text, "map_pbf": _map_pbf, "map_xml": _map_xml,
}  # fmt: skip


def work(words: dict[str, Any]) -> None:
    """Do what a worker process was told (see `helpers.fuzz.run`), without numba: a number that points nowhere is an error in plain loops."""
    sys.modules["numba"] = None  # type: ignore[assignment]
    plan = [(str(run), str(name), int(first), int(stop)) for run, name, first, stop in words["plan"]]
    targets = {name: _MADE[name](Path(words["seeds"])) for name in {row[1] for row in plan}}
    fire(targets, plan, Path(words["scratch"]), Path(words["told"]), Path(words["now"]))
