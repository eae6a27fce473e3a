"""A hand-made island and plans on it, for papers: no search, no map file, any texts one likes."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np

from tripplan.model.outfit import Outfit
from tripplan.model.place import OfferFact, Place, Spot
from tripplan.model.plan import (
    Caution,
    Cost,
    Day,
    Event,
    Leg,
    LevelLine,
    Night,
    PieceRun,
    Plan,
    PresumedOffer,
    Proof,
)
from tripplan.model.trip import Firm, Sight, Trip
from tripplan.model.van import Levels, Party, Van
from tripplan.model.words import Offer, SiteKind, Source, Surface
from tripplan.region.columns import (
    BASE_LAYERS,
    HIGHWAYS,
    BaseMap,
    Flag,
    Junctions,
    Pieces,
    RegionMeta,
    Towns,
    Turns,
    Ways,
)
from tripplan.region.region import Region

ZONE = "Pacific/Auckland"
Rename = Callable[[str], str]

_TOWNS = (
    "Harbour Mole",
    "Tarn Bay",
    "Ferrin",
    "Quillan Head",
    "Osterby",
    "Long Strand",
    "Merrow",
    "Pell",
    "Vantry",
    "Old Sheeling",
    "Kessock",
    "Dunmarrow",
)
_CENTRE, _RADIUS = (170.2, -44.6), 0.42


def _same(text: str) -> str:
    return text


def _ring(n: int, scale: float = 1.0, wobble: float = 0.05) -> np.ndarray:
    """Points anticlockwise round the island, closed."""
    t = np.linspace(0, 2 * math.pi, n)
    r = _RADIUS * scale * (1 + wobble * np.sin(5 * t) + 0.6 * wobble * np.sin(11 * t + 1))
    return np.column_stack([_CENTRE[0] + 1.9 * r * np.cos(t), _CENTRE[1] + 0.7 * r * np.sin(t)])


def _metres(points: np.ndarray) -> float:
    """Length of a line on a sphere of 6,371,009 m, short steps taken for flat."""
    step = np.radians(np.diff(points, axis=0))
    return float(6_371_009 * np.hypot(step[:, 0] * np.cos(np.radians(points[:-1, 1])), step[:, 1]).sum())


def island(rename: Rename = _same, towns: int = 12) -> Region:
    """Return an island with a coast road from town to town, a gravel pass across, a lake, a river and a few side roads.

    Parameters
    ----------
    rename
        Applied to every text of the map: names, references, hours.
    """
    strings: list[str] = []

    def text(words: str) -> int:
        strings.append(rename(words))
        return len(strings) - 1

    road = _ring(towns * 24 + 1, 0.86)
    ends = [road[i * 24] for i in range(towns)]
    lines: list[tuple[np.ndarray, str, int, Surface, int, int]] = []  # points, class, way, surface, a, b
    for i in range(towns):
        kind, surface = ("primary", Surface.SEALED) if i % 4 else ("tertiary", Surface.PRESUMED)
        points = road[i * 24 : (i + 1) * 24 + 1]
        lines.append((points[:13], kind, i, surface, i, towns + i))
        lines.append((points[12:], kind, i, surface, towns + i, (i + 1) % towns))
    far = towns // 2
    across = np.linspace(ends[0], ends[far], 30) + np.column_stack([np.zeros(30), 0.03 * np.sin(np.linspace(0, 12, 30))])
    across[0], across[-1] = ends[0], ends[far]
    lines.append((across, "secondary", towns, Surface.UNSEALED, 0, far))
    spur = np.array([ends[2], ends[2] + [0.02, -0.035], ends[2] + [0.035, -0.05]])
    lines.append((spur, "service", towns + 1, Surface.UNKNOWN, 2, 2 * towns))
    inland = [0.7 * end + 0.3 * np.array(_CENTRE) for end in ends]
    lines += [
        (np.array([ends[i], inland[i]]), "residential", towns + 2, Surface.SEALED, i, 2 * towns + 1 + i // 2)
        for i in range(0, towns, 2)
    ]
    ways = towns + 3
    names = [text(f"Coast Road {i + 1}") for i in range(towns)] + [text("Saddle Pass"), -1, text("Church Lane")]
    refs = [text("A1")] * towns + [-1] * 3
    surface = np.zeros(ways, np.uint8)
    highway = np.zeros(ways, np.uint8)
    for _points, kind, way, judged, *_ in lines:
        surface[way], highway[way] = judged, HIGHWAYS.index(kind)
    nan = np.full(ways, np.nan, np.float32)
    flags = np.zeros(ways, np.uint16)
    flags[3] = Flag.TOLL
    height, incline = nan.copy(), nan.copy()
    height[5], incline[6] = 2.9, 11.0
    none, zero = np.full(ways, -1, np.int32), np.zeros(ways, np.uint8)
    table = Ways(
        osm_id=np.arange(1, ways + 1, dtype=np.int64), highway=highway, name=np.array(names, np.int32), ref=np.array(refs, np.int32),
        surface=surface, surface_source=zero, surface_why=none, oneway=zero.astype(np.int8), tow_access=zero, car_access=zero,
        access_why=none, closed_when=none, max_height_m=height, max_width_m=nan, max_length_m=nan, max_weight_kg=nan, max_axle_kg=nan,
        speed_fwd=nan, speed_bwd=nan, speed_trailer=nan, incline=incline, flags=flags, ferry_s=nan, ferry_wait_s=nan,
    )  # fmt: skip
    points = np.concatenate([line[0] for line in lines])
    ptr = np.concatenate([[0], np.cumsum([len(line[0]) for line in lines])]).astype(np.int64)
    length = np.array([_metres(p) for p, *_ in lines])
    pieces = Pieces(
        a=np.array([line[4] for line in lines], np.int32), b=np.array([line[5] for line in lines], np.int32),
        way=np.array([line[2] for line in lines], np.int32), length_m=length, ptr=ptr,
        lon_e7=np.rint(points[:, 0] * 1e7).astype(np.int32), lat_e7=np.rint(points[:, 1] * 1e7).astype(np.int32),
        curve_kmh=np.full(len(points), 255, np.uint8),
    )  # fmt: skip
    count = int(max(pieces.a.max(), pieces.b.max())) + 1
    where = np.zeros((count, 2))
    for line in lines:
        where[line[4]], where[line[5]] = line[0][0], line[0][-1]
    e7 = np.rint(where * 1e7).astype(np.int32)
    blank = np.zeros(count, np.uint8)
    junctions = Junctions(np.arange(count, dtype=np.int64), e7[:, 0], e7[:, 1], blank, blank, np.full(count, -1, np.int32))
    nothing = np.empty(0, np.int32)
    turns = Turns(
        np.empty(0, np.int64), np.zeros(1, np.int64), nothing, nothing, np.empty(0, np.uint8), np.empty(0, np.uint8), nothing
    )
    kinds = [text("town"), text("village")] if rename is _same else [-1, -1]
    if rename is not _same:
        strings += ["town", "village"]
        kinds = [len(strings) - 2, len(strings) - 1]
    town_at = np.rint(np.array(ends) * 1e7).astype(np.int32)
    town_table = Towns(
        np.array([text(_TOWNS[i % len(_TOWNS)]) for i in range(towns)], np.int32), np.array([kinds[i % 2] for i in range(towns)], np.int32),
        town_at[:, 0], town_at[:, 1], np.arange(towns, dtype=np.int32) * 100,
    )  # fmt: skip
    lake = np.array(_CENTRE) + 0.12 * (_ring(40) - _CENTRE) + [0.1, 0.05]
    source = np.array(_CENTRE) + np.array([0.1, 0.05])
    river = np.linspace(source, ends[towns // 4], 12)
    shapes = [("coast", 1, _ring(400)), ("water", 1, lake), ("river", 0, river)]
    shape_points = np.rint(np.concatenate([s[2] for s in shapes]) * 1e7).astype(np.int32)
    base = BaseMap(
        np.array([BASE_LAYERS.index(s[0]) for s in shapes], np.uint8), np.array([s[1] for s in shapes], np.uint8),
        np.concatenate([[0], np.cumsum([len(s[2]) for s in shapes])]).astype(np.int64), shape_points[:, 0], shape_points[:, 1],
    )  # fmt: skip
    places = tuple(
        Place(
            i, f"n{1000 + i}", "site", rename(f"{_TOWNS[i % len(_TOWNS)]} Caravan Site"), float(ends[i][0]), float(ends[i][1]),
            SiteKind.CARAVAN_SITE, admits=Offer.YES, hours=rename("Mo-Su 08:00-20:00"), phone=rename("+64 3 555 0100"),
        )
        for i in range(towns)
    )  # fmt: skip
    w, s = points.min(axis=0)
    e, n = points.max(axis=0)
    meta = RegionMeta(
        rename("Skerry Isle"), "0f" * 32, "2026-10-01", "skerry.osm.pbf", "NZ", "asked for", ZONE, (float(w), float(s), float(e), float(n)), {},
    )  # fmt: skip
    return Region(meta, tuple(strings), table, pieces, junctions, turns, places, town_table, base)


_OUTFIT = Outfit("car and van", True, 3300, 1500, 1400, 2.6, 2.3, 12.0, 90)
_CAR = Outfit("car", False, 1800, 0, 1000, 1.6, 1.9, 4.6, 130)


def trip(nights: int, rename: Rename = _same) -> Trip:
    """Return a request of so many nights round the island."""
    zone = ZoneInfo(ZONE)
    region = island(rename)
    depot = Spot(rename("Harbour Mole"), rename("Harbour Mole Depot"), region.places[0].lon - 0.02, region.places[0].lat)
    sight = Spot(rename("seal colony"), rename("Seal colony at Ferrin"), region.places[2].lon + 0.03, region.places[2].lat - 0.05)
    return Trip(
        name=rename("Round Skerry Isle"), tz=ZONE,
        firm=Firm(rename("Skerry Van Hire"), rename("+64 3 555 0199"), 90, return_gas_kg=1.0), outfit=_OUTFIT, car=_CAR,
        van=Van(rename("Two berth"), 80, 60, 18, 10, 4.5, 2, 95, solar_w=120), party=Party(rename("Two adults"), 2),
        depot=depot, return_depot=depot,
        pick_up=datetime(2026, 11, 30, 10, 0, tzinfo=zone), return_by=datetime(2026, 11, 30, 16, 0, tzinfo=zone) + timedelta(days=nights),
        sights=(Sight(sight),), levels=Levels(gas_kg=9.0, battery_ah=76),
    )  # fmt: skip


def _run(region: Region, start: int, end: int) -> PieceRun:
    """Pieces of the coast road from town to town, onwards."""
    towns = len(region.places)
    pieces: list[int] = []
    at = start
    while at != end:
        pieces += [2 * at, 2 * at + 1]
        at = (at + 1) % towns
    length = [float(region.pieces.length_m[p]) for p in pieces]
    return PieceRun(
        tuple(pieces), (True,) * len(pieces), (0.0,) * len(pieces), tuple(length), tuple(m / 60 * 3.6 for m in length)
    )


def _leg(region: Region, mode: str, start: Spot, end: Spot, run: PieceRun) -> Leg:
    length = np.array(run.to_m) - np.array(run.from_m)
    surface = region.ways.surface[region.pieces.way[np.array(run.piece, dtype=np.int64)]] if run.piece else np.empty(0)
    return Leg(
        mode, start, end, float(length.sum()), float(sum(run.time_s)), 0.0, float(length[surface == Surface.PRESUMED].sum()),
        float(length[surface == Surface.UNKNOWN].sum()), 20.0, 0, run,
    )  # fmt: skip


def plan(nights: int = 4, rename: Rename = _same, region: Region | None = None) -> Plan:
    """Return a plan round the island: towing days, a standing day with the car, services on the way and at the site."""
    region = region or island(rename)
    request = trip(nights, rename)
    zone = ZoneInfo(ZONE)
    towns = len(region.places)
    spots = [Spot(rename(p.ref), p.name, p.lon, p.lat, p.index) for p in region.places]
    sight = request.sights[0].spot
    days: list[Day] = []
    at, where = 0, request.depot
    stay = 1
    for number in range(1, nights + 2):
        when: date = request.dates[number - 1]
        clock = datetime(when.year, when.month, when.day, 9, 30, tzinfo=zone)

        def time(minutes: float, clock: datetime = clock) -> datetime:
            return clock + timedelta(minutes=minutes)

        last, first = number == nights + 1, number == 1
        standing = number % 5 == 3 and not last
        events: list[Event] = []
        legs: list[Leg] = []
        start = where
        if first:
            events.append(Event("handover", time(30), time(120), rename("Hand-over: the firm shows the van"), request.depot))
        if standing:
            run = PieceRun((2 * towns + 1,), (True,), (0.0,), (float(region.pieces.length_m[2 * towns + 1]),), (420.0,))
            legs.append(_leg(region, "car", where, sight, run))
            legs.append(_leg(region, "car", sight, where, replace(run, forward=(False,))))
            events.append(Event("drive", time(60), time(67), rename("By car to the seals"), where))
            events.append(Event("sight", time(70), time(160), rename("Seal colony"), sight))
            events.append(Event("service", time(400), time(420), rename("Grey water on foot"), where, ("grey",)))
            stay += 1
        else:
            to = 0 if last else (at + 1 + number % 2) % towns
            run = _run(region, at, to) if to != at else PieceRun((), (), (), (), ())
            end = request.return_depot if last else spots[to]
            legs.append(_leg(region, "van", where, end, run))
            minutes = sum(run.time_s) / 60
            events.append(Event("drive", time(130), time(130 + minutes), rename(f"Tow to {end.name}"), where))
            if number % 3 == 2:
                stop = Spot(rename("dump"), rename(f"Dump station {number}"), end.lon - 0.03, end.lat + 0.02)
                events.append(
                    Event("service", time(150), time(175), rename("Dump station"), stop, ("grey", "cassette", "fresh"), 300)
                )
            events.append(Event("return" if last else "arrive", time(140 + minutes), time(200 + minutes), rename("There"), end))
            at, where, stay = to, end, 1
        night = None
        if not last:
            offers = {
                "power": OfferFact(Offer.YES, Source.TAGGED, rename("power_supply=yes")),
                "cassette": OfferFact(Offer.PRESUMED, Source.PRESUMED, rename("staffed, with showers")),
            }
            night = Night(
                where,
                region.places[at].ref,
                "caravan site",
                number % 2 == 0,
                3200 + 100 * number,
                number % 3 != 0,
                stay,
                offers,
                {"fridge": "mains" if number % 2 == 0 else "gas", "heating": "gas"},
            )
        levels = tuple(
            LevelLine(*line)
            for line in (
                ("fresh", 60.0, 48.0, 20.0, 60.0, 8.0, "site"), ("grey", 4.0, 14.0, 41.0, 0.0, 54.0, "way+site"), ("cassette", 3.0, 5.0, 14.6, 3.0 if number % 2 else 14.6, 16.2, "site" if number % 2 else ""),
                ("flush", 9.0, 8.0, 5.0, 9.0, 1.0, "site"), ("gas", 9.0 - 0.4 * number, 8.9 - 0.4 * number, 8.6 - 0.4 * number, 8.6 - 0.4 * number, 1.0, ""), ("battery", 76.0, 70.0, 58.0, 76.0, 47.5, "site"),
            )
        )  # fmt: skip
        days.append(
            Day(
                number, when, "standing" if standing else "towing", start, where, tuple(legs), tuple(events), night, levels,
                datetime(when.year, when.month, when.day, 5, 52, tzinfo=zone), datetime(when.year, when.month, when.day, 21, 8, tzinfo=zone),
                rename("9 to 18 °C, common practice"), (rename("Grey water today: tomorrow's site has no drain."),) if number == 2 else (),
            )
        )  # fmt: skip
    presumed = (
        PresumedOffer(
            2,
            days[1].night.spot if days[1].night else where,
            "cassette",
            rename("staffed, with showers"),
            ("cassette",),
            spots[3],
            31.5,
        ),
    )
    cautions = (
        Caution("gas", rename("Turn the gas off at the bottle before moving off."), rename("a government towing handbook")),
        Caution("black", rename("Black water at dump stations only."), rename("a public health act"), (2, 3)),
    )
    return Plan(
        request, rename("Skerry Isle"), region.meta.key, "2026-10-01", tuple(days), Cost(14_000, 9_000, 600, 8_000, 500, 800, 0, 32_900),
        Proof(True, 0.0, 32_900, 512, 0, "labels"), presumed, cautions, (rename("Weather: common practice, no source."),),
    )  # fmt: skip
