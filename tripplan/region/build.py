"""A map file, or a raw map, to a `Region`."""

from __future__ import annotations

import hashlib
from collections import Counter
from dataclasses import fields, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from tripplan.model.errors import BadInputError
from tripplan.model.progress import Progress, silent
from tripplan.osm.raw import RawMap, RawNode
from tripplan.region.aids import find_aids
from tripplan.region.columns import Junctions, Pieces, RegionMeta, Ways
from tripplan.region.curves import curvature, segment_lengths
from tripplan.region.entrances import with_entrances
from tripplan.region.gates import with_gates
from tripplan.region.judge import FERRY, judge_ways
from tripplan.region.places import find_places, find_towns
from tripplan.region.region import Region
from tripplan.region.settled import mark_towns
from tripplan.region.split import Split, split_ways
from tripplan.region.store import place_text
from tripplan.region.strings import StringTable, pack
from tripplan.region.surfaces import presume_surfaces
from tripplan.region.thin import base_map
from tripplan.region.turns import resolve_turns
from tripplan.region.where import country_of, state_of

__all__ = ["build", "content_key"]

_STRAIGHT = 255


def build(source: Path | str | RawMap, *, name: str = "", progress: Progress = silent) -> Region:
    """Build a region.

    Parameters
    ----------
    source
        A map file, or what `tripplan.osm` read.
    name
        What people call the region; the file's name without ending when empty.
    progress
        Called with a few words and the share done now and then.

    Raises
    ------
    BadInputError
        When the file cannot be used (see `tripplan.osm.read.read_file`).
    """
    if isinstance(source, RawMap):
        raw = source
    else:
        from tripplan.osm.read import read_file

        raw = read_file(source, progress=progress)
    if len(raw.way_id) == 0:
        raise BadInputError(
            "no roads in it", where=raw.source_file, next_step="take an extract with highway=* ways and their nodes"
        )
    faults: Counter[str] = Counter(raw.faults)
    strings = StringTable()
    progress("Judging roads", 0.5)
    ways = judge_ways(raw, strings, faults)
    progress("Cutting roads at junctions", 0.6)
    bars = [node for node in raw.nodes if _stands_in_the_way(node)]
    split = split_ways(raw, np.array(sorted(node.osm_id for node in bars), np.int64))
    pieces, way_m = _pieces(raw, split, ways, *_shape(raw))
    ways = replace(ways, flags=mark_towns(ways, pieces))
    junctions = _junctions(raw, bars, split, strings, faults)
    ways, junctions = with_gates(bars, ways, pieces, junctions, strings, faults)
    progress("Presuming surfaces", 0.75)
    ways, surfaces = presume_surfaces(raw, split, ways, way_m, strings)
    progress("Turn restrictions, places and names", 0.85)
    turns = resolve_turns(raw, split, ways.oneway, strings, faults)
    places = with_entrances(find_places(raw, faults), raw, ways, pieces)
    towns = find_towns(raw, strings)
    aids = find_aids(raw, strings)
    bbox = _box(raw)
    progress("Base map", 0.95)
    base = base_map(raw.lines, bbox)
    zone = _zone(raw, bbox)
    country, how = country_of(raw, zone)
    meta = RegionMeta(
        name=name or Path(raw.source_file).name.split(".")[0] or "region", key="", data_date=raw.data_date, source_file=Path(raw.source_file).name,
        country=country, country_how=how, tz=zone, bbox=bbox, faults={what: int(count) for what, count in sorted(faults.items()) if count}, state=state_of(raw),
        surfaces=surfaces,
    )  # fmt: skip
    region = Region(meta, strings.packed(), ways, pieces, junctions, turns, places, towns, base, aids=aids)
    for table in (ways, pieces, junctions, turns, towns, base, aids):
        for field in fields(table):
            getattr(table, field.name).setflags(write=False)
    return replace(region, meta=replace(meta, key=content_key(region)))


def content_key(region: Region) -> str:
    """Return the SHA-256 over all that routing and planning depend on, hexadecimal."""
    digest = hashlib.sha256()
    for table in (region.ways, region.pieces, region.junctions, region.turns):
        for field in fields(table):
            column = np.ascontiguousarray(getattr(table, field.name))
            digest.update(f"{field.name} {column.dtype.str} {len(column)}\n".encode())
            digest.update(column.data)
    packed = pack(region.strings)
    digest.update(packed.data.data)
    digest.update(packed.ptr.data)
    for place in region.places:
        digest.update(place_text(place).encode())
    digest.update(f"{region.meta.country} {region.meta.state} {region.meta.tz}".encode())
    return digest.hexdigest()


def _shape(raw: RawMap) -> tuple[NDArray[np.float64], NDArray[np.uint8]]:
    """Return how far along all lines each point is [m], and the curve speed from each to the next [km/h]."""
    from tripplan.rules.speed import curve_speed

    seg_m = segment_lengths(raw.lon_e7, raw.lat_e7)
    seg_m[raw.line_ptr[1:-1] - 1] = 0.0
    along = np.concatenate(([0.0], np.cumsum(seg_m)))
    bend = curvature(raw.lon_e7, raw.lat_e7, raw.line_ptr, seg_m)
    mean = (bend[:-1] + bend[1:]) / 2
    kmh = np.full(len(bend), _STRAIGHT, np.uint8)
    # 250 km/h and more: no van will feel it.
    curved = np.flatnonzero(mean > 1 / 3000)
    kmh[curved] = np.clip(curve_speed(1.0 / mean[curved].astype(np.float64)), 3, 254).astype(np.uint8)
    return along, kmh


def _pieces(
    raw: RawMap, split: Split, ways: Ways, along: NDArray[np.float64], kmh: NDArray[np.uint8]
) -> tuple[Pieces, NDArray[np.float64]]:
    """Return the pieces, and the length of each way [m]."""
    length = along[split.last] - along[split.first]
    rows, ptr = split.point_rows()
    curve = kmh[rows]
    curve[ptr[1:] - 1] = _STRAIGHT
    ferry = ways.highway[split.way] == FERRY
    if ferry.any():
        curve[np.repeat(ferry, np.diff(ptr))] = _STRAIGHT
    pieces = Pieces(
        a=split.a,
        b=split.b,
        way=split.way,
        length_m=length,
        ptr=ptr,
        lon_e7=raw.lon_e7[rows],
        lat_e7=raw.lat_e7[rows],
        curve_kmh=curve,
    )
    return pieces, np.bincount(split.way, weights=length, minlength=len(raw.way_id)).astype(np.float64)


def _stands_in_the_way(node: RawNode) -> bool:
    """Whether a node may bar the road to some outfit: a barrier, a ford, a bar or gap with a figure."""
    tags = node.tags
    return "barrier" in tags or "ford" in tags or tags.get("highway") == "ford" or any(key.startswith("max") for key in tags)


def _junctions(raw: RawMap, bars: list[RawNode], split: Split, strings: StringTable, faults: Counter[str]) -> Junctions:
    from tripplan.rules.access import judge_barrier
    from tripplan.rules.limits import size_limits

    count = len(split.junction_id)
    lon, lat = raw.lon_e7[split.junction_point], raw.lat_e7[split.junction_point]
    tow, car = np.zeros(count, np.uint8), np.zeros(count, np.uint8)
    height, width, weight = (np.full(count, np.nan, np.float32) for _ in range(3))
    why = np.full(count, -1, np.int32)
    for node in bars:
        at = int(np.searchsorted(split.junction_id, node.osm_id))
        if at == count or split.junction_id[at] != node.osm_id:
            continue
        for_tow, for_car = judge_barrier(node.tags, "tow"), judge_barrier(node.tags, "car")
        tow[at], car[at] = int(for_tow.access), int(for_car.access)
        limits = size_limits(node.tags)
        height[at], width[at], weight[at] = limits.height_m, limits.width_m, limits.weight_kg
        what = node.tags.get("barrier") or ("ford" if "ford" in node.tags.values() or "ford" in node.tags else "sign")
        why[at] = strings.number(for_tow.why or for_car.why or what)
    place = np.sort((lon.astype(np.int64) << 32) | (lat.astype(np.int64) & 0xFFFFFFFF))
    faults["junctions that share their position with another"] += int((place[1:] == place[:-1]).sum())
    return Junctions(
        osm_id=split.junction_id, lon_e7=lon, lat_e7=lat, blocks_tow=tow, blocks_car=car, barrier=why,
        max_height_m=height, max_width_m=width, max_weight_kg=weight,
    )  # fmt: skip


def _box(raw: RawMap) -> tuple[float, float, float, float]:
    """West, south, east, north of the roads; west is greater than east where they lie on both sides of 180 degrees."""
    south, north = float(raw.lat_e7.min()) / 1e7, float(raw.lat_e7.max()) / 1e7
    west, east = float(raw.lon_e7.min()) / 1e7, float(raw.lon_e7.max()) / 1e7
    if east - west > 180:
        turned = raw.lon_e7.astype(np.int64) % 3_600_000_000
        if float(turned.max() - turned.min()) / 1e7 < east - west:
            west, east = float(turned.min()) / 1e7, float(turned.max()) / 1e7 - 360
            west = west - 360 if west > 180 else west
    return west, south, east, north


def _zone(raw: RawMap, box: tuple[float, float, float, float]) -> str:
    """Time zone of the middle of the roads: of the road point nearest to their median."""
    from tripplan.almanac.zones import zone_of

    step = max(1, len(raw.lon_e7) // 10_001)
    lon, lat = raw.lon_e7[::step] / 1e7, raw.lat_e7[::step] / 1e7
    along = (lon - box[0]) % 360
    nearest = int(np.argmin(np.hypot(along - np.median(along), lat - np.median(lat))))
    return zone_of(float(lon[nearest]), float(lat[nearest]))
