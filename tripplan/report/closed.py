"""Closures and wind warnings in words: all of a trip, and those in force on a day, which the day was planned around. Pure.

A closure can move a whole day or a night, and then no leg of the day goes near it; so each day names what is in force near it,
whether or not a quickest way would have gone there.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from tripplan.model.closure import WIND, Closure
from tripplan.model.plan import ClosureMatch, Day, Plan
from tripplan.report.language import spoken, tell, tell_n, word
from tripplan.report.retell import retell
from tripplan.report.safe import plain

__all__ = ["closure_lines", "closure_sentence", "in_force", "in_force_words"]

#: So many are named on a day, the nearest first, and none that lies further from the day's places than this [km].
_MOST, _NEAR_KM = 3, 50.0
#: Length of a degree of latitude on a sphere of 6,371 km [km].
_DEGREE_KM = 111.2


def closure_lines(matches: Sequence[ClosureMatch], left: Sequence[str] = ()) -> list[str]:
    """Say what each closure means on the map and how sure that is; what meant nothing there comes last."""
    sure = {"sure": word("sure"), "likely": word("likely"), "part": word("in part")}
    lines = []
    for m in sorted(matches, key=lambda m: not m.sure):
        values = {"name": m.name, "dates": retell(m.dates), "why": retell(m.why), "source": m.source}
        if not m.sure:
            lines.append(tell("{name}: NOT FOUND on this map, {dates}: {why} (says {source}); look at it yourself", **values))
            continue
        pieces, km = tell_n("{n} piece", "{n} pieces", m.pieces), spoken().road(m.length_m, 1)
        sentence = word("{name}: closed {dates}, {pieces} of road, {km} ({how}: {why}; says {source})")
        if m.kind == WIND:
            sentence = word("{name}: wind warning, no towing {dates}, {pieces} of road, {km} ({how}: {why}; says {source})")
        how = tell(sure[m.sure]) if m.sure in sure else m.sure
        lines.append(tell(sentence, pieces=pieces, km=km, how=how, **values))
    return [plain(line) for line in (*lines, *map(retell, left))]


def in_force(plan: Plan, day: Day) -> tuple[tuple[Closure, ...], int]:
    """Return what is in force on a day and is not told with its roads already, the nearest first, and how many more there are."""
    told = {(closure.name, closure.source) for closure in day.closures}
    today = [c for c in plan.trip.closures if c.holds(day.date) and (c.name, c.source) not in told]
    if not today:
        return (), 0
    spots = [day.start, *(event.spot for event in day.events if event.spot is not None), day.end]
    line = [(spot.lon, spot.lat) for spot in spots]
    far = {id(c): _apart_km(c, line) for c in today}
    near = sorted((c for c in today if far[id(c)] <= _NEAR_KM), key=lambda c: far[id(c)])[:_MOST]
    return tuple(near), len(today) - len(near)


def in_force_words(plan: Plan, day: Day) -> list[str]:
    """Return what is in force on a day, each in a sentence; none where the trip has no closures."""
    near, more = in_force(plan, day)
    lines = [closure_sentence(closure, plan) for closure in near]
    if more and lines:
        lines.append(
            tell_n(
                "{n} more closure or warning is in force today: see the first page.",
                "{n} more closures or warnings are in force today: see the first page.",
                more,
            )
        )
    return lines


def closure_sentence(closure: Closure, plan: Plan) -> str:
    """Return what one that is in force on a day means for it, in a sentence."""
    values = {"name": closure.name, "dates": retell(closure.dates), "source": closure.source}
    if not _is_found(closure, plan):
        return tell(
            "In force today, but not found on this map, so that nothing keeps off it: {name}, {dates} (says {source}). Look at it yourself.",
            **values,
        )
    if closure.kind == WIND:
        return tell(
            "In force today: wind warning {dates}, {name} (says {source}). No towing in that area: the plan keeps the van out of it.",
            **values,
        )
    return tell("In force today: closed {dates}, {name} (says {source}). The plan keeps off it.", **values)


def _is_found(closure: Closure, plan: Plan) -> bool:
    """Return whether a closure meant something on the map; where nobody looked, it is taken as found by whoever planned."""
    same = [m for m in plan.closures if (m.name, m.source, m.dates) == (closure.name, closure.source, closure.dates)]
    return not same or any(m.sure for m in same)


def _apart_km(closure: Closure, line: Sequence[tuple[float, float]]) -> float:
    """Return how far a closure lies from the straight lines between a day's places; 0 where only ids of ways are told."""
    parts = (*closure.lines, *closure.rings)
    if not parts:
        return 0.0
    return min(_to_line_km(point, line) for part in parts for point in part)


def _to_line_km(point: tuple[float, float], line: Sequence[tuple[float, float]]) -> float:
    import shapely

    across = _DEGREE_KM * max(0.02, math.cos(math.radians(point[1])))
    flat = [(((lon - point[0] + 540.0) % 360.0 - 180.0) * across, (lat - point[1]) * _DEGREE_KM) for lon, lat in line]
    return float(shapely.LineString(flat).distance(shapely.Point(0, 0)))
