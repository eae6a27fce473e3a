"""Where a leg runs: its points, and the stretches of it that share a surface or a road name."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tripplan.model.plan import Leg, PieceRun
from tripplan.model.words import Surface
from tripplan.region.columns import HIGHWAYS, Flag
from tripplan.region.region import Region
from tripplan.report.language import spoken, tell, word

__all__ = ["Stretch", "part_of", "run_points", "stretches", "surface_runs"]

F64 = NDArray[np.float64]


def run_points(region: Region, runs: PieceRun) -> F64:
    """Return the points of a leg in the order of travel, (n, 2) lon and lat [degrees]; empty for no pieces."""
    if not runs.piece:
        return np.empty((0, 2))
    from tripplan.region.geometry import run_line

    return np.asarray(run_line(region, runs), dtype=np.float64).reshape(-1, 2)


def part_of(runs: PieceRun, low: int, high: int) -> PieceRun:
    """Return pieces ``low`` to ``high`` (not included) of a run."""
    return PieceRun(
        runs.piece[low:high], runs.forward[low:high], runs.from_m[low:high], runs.to_m[low:high], runs.time_s[low:high]
    )


def _groups(values: list[object]) -> Iterator[tuple[int, int]]:
    low = 0
    for i in range(1, len(values) + 1):
        if i == len(values) or values[i] != values[low]:
            yield low, i
            low = i


def surface_runs(region: Region, runs: PieceRun, wanted: frozenset[Surface]) -> list[tuple[Surface, PieceRun]]:
    """Return the parts of a run whose surface is one of ``wanted``, each as long as it goes on."""
    if not runs.piece:
        return []
    surfaces: list[object] = region.ways.surface[region.pieces.way[np.asarray(runs.piece)]].tolist()
    parts = ((Surface(int(str(surfaces[low]))), low, high) for low, high in _groups(surfaces))
    return [(surface, part_of(runs, low, high)) for surface, low, high in parts if surface in wanted]


@dataclass(frozen=True, slots=True)
class Stretch:
    """Part of a leg along one road, as people read it.

    Parameters
    ----------
    road
        Name and number as on the map, foreign text; "" for a road without either.
    kind
        Class of the road in words, for roads without a name; in English, to be told by `tell`.
    remarks
        What to mind there: ferry, toll, presumed surface, steep, low, narrow, rough.
    """

    road: str
    kind: str
    length_m: float
    time_s: float
    presumed_m: float
    unknown_m: float
    remarks: tuple[str, ...]


_KINDS = {
    "motorway": word("motorway"), "motorway_link": word("slip road"), "trunk": word("trunk road"), "trunk_link": word("slip road"),
    "primary": word("main road"), "primary_link": word("slip road"), "secondary": word("secondary road"), "secondary_link": word("slip road"),
    "tertiary": word("minor road"), "tertiary_link": word("slip road"), "service": word("access road"), "residential": word("street"),
    "living_street": word("street"), "ferry": word("ferry"),
}  # fmt: skip


def stretches(region: Region, leg: Leg, height_m: float, width_m: float, steep_percent: float = 8.0) -> list[Stretch]:
    """Return a leg road by road.

    Parameters
    ----------
    height_m, width_m
        Of the outfit: a posted limit within 0.5 m of it is remarked on (common practice, no source).
    steep_percent
        A tagged grade from here on is remarked on (common practice, no source).
    """
    runs = leg.runs
    if not runs.piece:
        return []
    ways = region.ways
    rows = region.pieces.way[np.asarray(runs.piece)]
    keys: list[object] = list(
        zip(ways.name[rows].tolist(), ways.ref[rows].tolist(), (ways.flags[rows] & Flag.FERRY).tolist(), strict=True)
    )
    length = np.maximum(np.asarray(runs.to_m) - np.asarray(runs.from_m), 0.0)
    time = np.asarray(runs.time_s)
    out: list[Stretch] = []
    for low, high in _groups(keys):
        part, way = slice(low, high), rows[low:high]
        name, ref = region.string(int(ways.name[way[0]])).strip(), region.string(int(ways.ref[way[0]])).strip()
        longest = int(way[int(np.argmax(length[part]))])
        surface = ways.surface[way]
        out.append(
            Stretch(
                road=f"{name} ({ref})" if name and ref else name or ref,
                kind=_KINDS.get(HIGHWAYS[int(ways.highway[longest])], word("road")),
                length_m=float(length[part].sum()),
                time_s=float(time[part].sum()),
                presumed_m=float(length[part][surface == Surface.PRESUMED].sum()),
                unknown_m=float(length[part][surface == Surface.UNKNOWN].sum()),
                remarks=_remarks(region, way, height_m, width_m, steep_percent),
            )
        )
    return _tidy(out)


def _remarks(region: Region, way: NDArray[np.int32], height_m: float, width_m: float, steep_percent: float) -> tuple[str, ...]:
    ways = region.ways
    flags = int(np.bitwise_or.reduce(ways.flags[way]))
    words = [
        tell(remark)
        for flag, remark in ((Flag.FERRY, word("ferry")), (Flag.TOLL, word("toll")), (Flag.ROUGH, word("rough, go slowly")))
        if flags & flag
    ]
    low, narrow = word("low: posted {posted}, the outfit is {own}"), word("narrow: posted {posted}, the outfit is {own}")
    for column, own, sentence in ((ways.max_height_m, height_m, low), (ways.max_width_m, width_m, narrow)):
        limits = column[way]
        limits = limits[~np.isnan(limits)]
        if len(limits) and float(limits.min()) <= own + 0.5:
            posted = spoken().size(float(limits.min()), 1, posted=True)
            words.append(tell(sentence, posted=posted, own=spoken().size(own)))
    inclines = ways.incline[way]
    inclines = inclines[~np.isnan(inclines)]
    if len(inclines) and float(inclines.max()) >= steep_percent:
        words.append(tell("steep: {percent} % tagged", percent=spoken().number(float(inclines.max()))))
    return tuple(words)


def _tidy(parts: list[Stretch]) -> list[Stretch]:
    """Join what a reader would take for one: nameless bits below 150 m (junctions, slips) go to the road before them."""
    out: list[Stretch] = []
    for part in parts:
        before = out[-1] if out else None
        short = part.length_m < 150 and not part.road and tell("ferry") not in part.remarks
        if before is not None and (
            part.road == before.road != "" or short or (not part.road and not before.road and part.kind == before.kind)
        ):
            remarks = tuple(dict.fromkeys(before.remarks + part.remarks))
            out[-1] = Stretch(
                before.road, before.kind, before.length_m + part.length_m, before.time_s + part.time_s,
                before.presumed_m + part.presumed_m, before.unknown_m + part.unknown_m, remarks,
            )  # fmt: skip
        else:
            out.append(part)
    return out
