"""What closures and wind warnings do to a day: what it keeps off, and why the van stays."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from tripplan.model.closure import WIND, Closure
from tripplan.model.plan import ClosureMatch, Day, DayClosure
from tripplan.schedule.work import Work

__all__ = ["day_closures", "matches_of"]


def matches_of(work: Work) -> tuple[ClosureMatch, ...]:
    """Say what each closure of the trip means on the map, and which mean nothing there."""
    if not work.trip.closures:
        return ()
    from tripplan.roads.matches import matches_told

    return matches_told(work.region, work.trip.closures)


def day_closures(work: Work, d: int, day: Day) -> tuple[DayClosure, ...]:
    """Return what bears on a day: closures on the plainly quickest ways of its legs, and wind where the van stands."""
    trip = work.trip
    today = [c for c in trip.closures if c.holds(trip.dates[d])]
    if not today:
        return ()
    from tripplan.roads.shut import match_closures

    matches = match_closures(work.region, today)
    told = []
    used = _plain_ways(work, day) if day.legs else {}
    for closure, match in zip(today, matches, strict=True):
        pieces = set(match.pieces)
        legs = [k for k, (mode, plain) in used.items() if pieces & plain and not (closure.kind == WIND and mode == "car")]
        if legs:
            first = day.legs[legs[0]]
            told.append(_kept_off(closure, first.start.name, first.end.name))
        elif closure.kind == WIND and day.kind == "standing" and _stands_in(day, closure):
            told.append(_stays(closure))
    return tuple(told)


def _plain_ways(work: Work, day: Day) -> dict[int, tuple[str, set[int]]]:
    """Return the pieces of the quickest way of each leg as if nothing brought were closed, by leg."""
    from tripplan.roads.closures import closure_sets
    from tripplan.roads.join import join
    from tripplan.roads.network import open_network
    from tripplan.roads.terms import terms_for_car, terms_for_van

    trip, region = work.trip, work.region
    own = closure_sets(region, (day.date,), hours=trip.road_hours, outfit=trip.outfit)[0]
    found: dict[int, tuple[str, set[int]]] = {}
    for mode in ("van", "car"):
        legs = [(k, leg) for k, leg in enumerate(day.legs) if leg.mode == mode]
        if not legs:
            continue
        terms = terms_for_van(trip, region) if mode == "van" else terms_for_car(trip, region)
        spots = tuple(dict.fromkeys(spot for _, leg in legs for spot in (leg.start, leg.end)))
        joined = join(open_network(region, terms, own, cache=work.cache), spots, home=trip.depot)
        for k, leg in legs:
            try:
                found[k] = mode, set(joined.route(spots.index(leg.start), spots.index(leg.end)).runs.piece)
            except LookupError:  # joined elsewhere than in the whole table: nothing is told of this leg
                continue
    return found


def _kept_off(closure: Closure, start: str, end: str) -> DayClosure:
    what = "Wind warning" if closure.kind == WIND else "Closed"
    text = (
        f"{what} {closure.dates}: {closure.name} (says {closure.source}). "
        f"The quickest way from {start} to {end} would go there: today's way keeps off it"
    )
    return DayClosure(closure.name, closure.kind, closure.dates, closure.source, "kept off", text)


def _stays(closure: Closure) -> DayClosure:
    text = (
        f"Wind warning {closure.dates}: {closure.name} (says {closure.source}). Stay put: the van is not towed in this area today. "
        "Take in the awning and close the roof lights"
    )
    return DayClosure(closure.name, closure.kind, closure.dates, closure.source, "stays", text)


def _stands_in(day: Day, closure: Closure) -> bool:
    return inside(day.start.lon, day.start.lat, closure.rings)


def inside(lon: float, lat: float, rings: Sequence[Sequence[tuple[float, float]]]) -> bool:
    """Say whether a point lies in an area, by the even-odd rule over all its rings."""
    from tripplan.roads.areas import inside_ring

    x, y = np.array([lon]), np.array([lat])
    odd = False
    for ring in rings:
        odd ^= bool(inside_ring(x, y, np.asarray(ring, np.float64))[0])
    return odd
