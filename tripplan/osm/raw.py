"""A map file as arrays, not yet judged."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

__all__ = ["RawArea", "RawLine", "RawMap", "RawNode", "RawRelation"]

I32 = NDArray[np.int32]
I64 = NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class RawNode:
    """A node with tags that matter. ``lon``, ``lat`` in degrees."""

    osm_id: int
    lon: float
    lat: float
    tags: dict[str, str]


@dataclass(frozen=True, slots=True)
class RawArea:
    """A closed way or a multipolygon with tags that matter. ``outer``, ``inner``: closed rings I32[n, 2], 1e-7 degrees."""

    ref: str
    tags: dict[str, str]
    outer: tuple[I32, ...]
    inner: tuple[I32, ...] = ()


@dataclass(frozen=True, slots=True)
class RawLine:
    """A line or ring of the base map. ``layer``: coast, water, river, border; ``points`` I32[n, 2], 1e-7 degrees."""

    layer: str
    closed: bool
    points: I32


@dataclass(frozen=True, slots=True)
class RawRelation:
    """A relation: members as (type letter, id, role)."""

    osm_id: int
    tags: dict[str, str]
    members: tuple[tuple[str, int, str], ...]


@dataclass(frozen=True)
class RawMap:
    """What a map says about roads and places, before any judgement.

    Parameters
    ----------
    way_id, way_tags, way_name, way_ref
        One row a way that cars may use: OSM id, row in ``tag_sets``, rows in ``names`` (-1: none).
    tag_sets
        Distinct combinations of the tags that matter for a road, without names.
    line_way, line_ptr
        One row an unbroken stretch of a way: a clipped way has its sound stretches only. ``line_ptr`` [L + 1] counts
        into ``node_id``, ``lon_e7`` and ``lat_e7``.
    areas
        Places that are areas. lines: vectors of the base map.
    country_areas
        Boundaries of admin_level 2 that close, with their tags. state_areas: those of admin_level 4.
    entrances
        Nodes tagged as entrances, I32[n, 2], 1e-7 degrees.
    faults
        What was met and how often.
    """

    source_file: str
    data_date: str
    way_id: I64
    way_tags: I32
    way_name: I32
    way_ref: I32
    tag_sets: list[dict[str, str]]
    names: list[str]
    line_way: I32
    line_ptr: I64
    node_id: I64
    lon_e7: I32
    lat_e7: I32
    nodes: list[RawNode]
    areas: list[RawArea]
    lines: list[RawLine]
    restrictions: list[RawRelation]
    country_areas: list[RawArea]
    faults: dict[str, int] = field(default_factory=dict)
    entrances: I32 = field(default_factory=lambda: np.empty((0, 2), np.int32))
    state_areas: list[RawArea] = field(default_factory=list)
