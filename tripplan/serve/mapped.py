"""The region as a map to choose places on: its own lines and towns, and the sights and depots that can be chosen."""

from __future__ import annotations

import json
from typing import Any

import numpy as np

from tripplan.region.region import Region
from tripplan.report.basemap import Frame, base_layers, roads, towns
from tripplan.report.palette import LAND, ROADS, WATER
from tripplan.report.safe import plain
from tripplan.schedule.suggest_values import Valued

__all__ = ["MOST_LISTED", "listed_sights", "region_script"]

#: Sights that stand on the list, best known first; sights on the map; points of its lines.
MOST_LISTED, _MOST_SIGHTS, _MOST_BASE, _MOST_ROADS = 40, 1500, 20_000, 20_000
_ROOM_DEG = 0.05


def listed_sights(valued: tuple[Valued, ...]) -> list[Valued]:
    """Return the sights that stand on the list: those worth most, ties as on the map."""
    return _ranked(valued)[:MOST_LISTED]


def _ranked(valued: tuple[Valued, ...]) -> list[Valued]:
    return sorted((sight for sight in valued if sight.spot.place >= 0), key=lambda sight: -sight.cents)


def region_script(region: Region, valued: tuple[Valued, ...]) -> bytes:
    """Return a script that lays the map's data down where `map.js` looks for them. Nothing in it is run but that.

    What can be chosen stands under ``places``: rows of kind (``sight``, ``depot`` or ``town``), number of the place (-1: a town),
    latitude, longitude, name and identity.
    """
    west, south, east, north = region.meta.bbox
    if west > east:  # it lies across 180 degrees
        east += 360.0
    own = region.places
    at = np.array([(p.lon, p.lat) for p in own]).reshape(-1, 2)
    dwell = np.column_stack((region.towns.lon_e7 * 1e-7, region.towns.lat_e7 * 1e-7))
    bare = Frame(west - _ROOM_DEG, south - _ROOM_DEG, east + _ROOM_DEG, north + _ROOM_DEG, np.empty((0, 2)))
    # Small roads and villages are drawn near what people go to.
    frame = Frame(bare.west, bare.south, bare.east, bare.north, bare.line(np.concatenate((at, dwell))))
    base = base_layers(region, frame, _MOST_BASE)
    names = towns(region, frame)

    def row(kind: str, number: int, lat: float, lon: float, name: str, ref: str) -> list[Any]:
        return [kind, number, round(lat, 5), round(float(frame.unrolled(np.array([lon]))[0]), 5), plain(name)[:80], plain(ref)]

    spots = [sight.spot for sight in _ranked(valued)[:_MOST_SIGHTS]]
    rows = [row("sight", spot.place, spot.lat, spot.lon, spot.name, own[spot.place].ref) for spot in spots]
    rows += [row("depot", p.index, p.lat, p.lon, p.name or p.ref, p.ref) for p in own if p.role == "depot"]
    rows += [["town", -1, lat, lon, name, f"{lat:.6f}, {lon:.6f}"] for name, _, lat, lon in names]
    data = {
        "credit": plain(f"{region.meta.attribution}, data of {region.meta.data_date}"),
        "days": [],
        "marks": [],
        "bounds": [[round(south, 5), round(west, 5)], [round(north, 5), round(east, 5)]],
        "frame": [[round(frame.south, 4), round(frame.west, 4)], [round(frame.north, 4), round(frame.east, 4)]],
        "sea": bool(base.get("land")) and not base.get("coast"),
        "base": base,
        "roads": roads(region, frame, _MOST_ROADS),
        "towns": names,
        "places": rows,
    }
    text = json.dumps(json.dumps(data, ensure_ascii=True, separators=(",", ":")))
    looks = json.dumps({"land": LAND, "water": WATER, "roads": ROADS})
    return (
        f'"use strict";var LOOKS={looks};(function(){{var e=document.createElement("script");e.type="application/json";'
        f'e.id="map-data";e.textContent={text};document.body.appendChild(e);}})();\n'
    ).encode()
