"""Surfaces of untagged roads, from the evidence of the whole map."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tripplan.model.words import Source, Surface
from tripplan.osm.raw import RawMap
from tripplan.region.columns import Flag, Ways
from tripplan.region.judge import tagged_code
from tripplan.region.split import Split
from tripplan.region.strings import StringTable
from tripplan.rules.surface import NO_SURFACE_TAG

__all__ = ["evidence_inputs", "presume_surfaces"]


def presume_surfaces(
    raw: RawMap, split: Split, ways: Ways, way_m: NDArray[np.float64], strings: StringTable
) -> tuple[Ways, dict[str, str]]:
    """Return the ways with what the evidence says of the untagged ones: how likely sealed, why, and presumed where it is enough.

    The second value says for each class how much of it is presumed and why the rest is not (`tripplan.rules.silence`).

    A way whose tags speak of its surface without settling it (a value that is not known, tags against each other) gets a
    probability, but is never presumed.
    """
    from tripplan.rules.layout import MAIN
    from tripplan.rules.presume import surface_evidence
    from tripplan.rules.silence import words_by_class

    if not (ways.highway < MAIN).any():
        return ways, {}
    inputs = evidence_inputs(raw, split, ways, way_m)
    found = surface_evidence(**inputs)
    silent = ways.surface_why == strings.number(NO_SURFACE_TAG)
    told = silent & (found.why >= 0)
    take = found.presumed & told
    surface, source, why = ways.surface.copy(), ways.surface_source.copy(), ways.surface_why.copy()
    surface[take] = int(Surface.PRESUMED)
    source[take] = list(Source).index(Source.PRESUMED)
    numbers = np.array([strings.number(f"{NO_SURFACE_TAG}; {text}") for text in found.reasons] + [-1], np.int32)
    why[told] = numbers[found.why[told]]
    told_by_class = words_by_class(ways.highway, inputs["tagged"], way_m, found, told)
    return replace(
        ways, surface=surface, surface_source=source, surface_why=why, surface_p=found.p.astype(np.float32)
    ), told_by_class


_NOTED = frozenset(("lanes", "lit", "maxspeed", "maxspeed:forward", "maxspeed:backward", "smoothness"))


def evidence_inputs(raw: RawMap, split: Split, ways: Ways, way_m: NDArray[np.float64]) -> dict[str, Any]:
    """Return the arguments of `tripplan.rules.presume.surface_evidence` for a map."""
    from tripplan.rules.layout import MAIN

    count = len(raw.way_id)
    first_line = np.searchsorted(raw.line_way, np.arange(count))
    middle = (raw.line_ptr[first_line] + raw.line_ptr[first_line + 1]) // 2
    first_piece = np.searchsorted(split.way, np.arange(count))
    last_piece = np.searchsorted(split.way, np.arange(count), side="right") - 1
    main_point = np.flatnonzero(np.repeat((ways.highway < MAIN)[raw.line_way], np.diff(raw.line_ptr)))
    line = np.searchsorted(raw.line_ptr, main_point, side="right") - 1
    return {
        "highway": ways.highway, "tagged": tagged_code(ways.surface), "length_m": way_m, "mid_lon": raw.lon_e7[middle] / 1e7,
        "mid_lat": raw.lat_e7[middle] / 1e7, "ref": ways.ref, "name": ways.name,
        "way_ends": np.column_stack((split.a[first_piece], split.b[last_piece])).astype(np.int64),
        "points": (raw.line_way[line].astype(np.int64), raw.lon_e7[main_point] / 1e7, raw.lat_e7[main_point] / 1e7),
        "joints": (np.concatenate((split.way, split.way)).astype(np.int64), np.concatenate((split.a, split.b)).astype(np.int64)),
        "noted": np.array([not _NOTED.isdisjoint(tags) for tags in raw.tag_sets], np.bool_)[raw.way_tags],
        "structure": np.where(ways.flags & Flag.TUNNEL, 2, np.where(ways.flags & Flag.BRIDGE, 1, 0)).astype(np.uint8),
        "own": {
            "posted": ~np.isnan(ways.speed_fwd) | ~np.isnan(ways.speed_bwd),
            "lanes": np.array(["lanes" in tags for tags in raw.tag_sets])[raw.way_tags],
            "lit": np.array([tags.get("lit", "no") not in ("no", "disused") for tags in raw.tag_sets])[raw.way_tags],
            "town": (ways.flags & (Flag.BUILT_UP | Flag.TOWN)) > 0,
        },
    }  # fmt: skip
