"""Fuel stations and hospitals of a region: shown on papers, never planned by."""

from __future__ import annotations

import numpy as np

from tripplan.osm.raw import RawArea, RawMap
from tripplan.region.columns import AID_KINDS, Aids
from tripplan.region.places import area_point
from tripplan.region.strings import StringTable
from tripplan.rules.aids import AidFact, judge_aid

__all__ = ["find_aids"]


def find_aids(raw: RawMap, strings: StringTable) -> Aids:
    """Return the aids of a raw map, by kind and then as the map numbers them; areas by a point inside."""
    things: list[tuple[str, int, dict[str, str], tuple[float, float] | RawArea]] = [
        ("n", node.osm_id, node.tags, (node.lon, node.lat)) for node in raw.nodes
    ]
    things += [(area.ref[0], int(area.ref[1:]), area.tags, area) for area in raw.areas if "amenity" in area.tags]
    found: list[tuple[int, str, int, AidFact, float, float]] = []
    for letter, number, tags, where in things:
        fact = judge_aid(tags)
        if fact is not None:
            lon, lat = area_point(where) if isinstance(where, RawArea) else where
            found.append((AID_KINDS.index(fact.kind), letter, number, fact, lon, lat))
    found.sort(key=lambda row: row[:3])
    return Aids(
        kind=np.array([row[0] for row in found], np.uint8),
        name=np.array([strings.number(row[3].name) for row in found], np.int32),
        phone=np.array([strings.number(row[3].phone) for row in found], np.int32),
        lon_e7=np.array([round(row[4] * 1e7) for row in found], np.int32),
        lat_e7=np.array([round(row[5] * 1e7) for row in found], np.int32),
    )
