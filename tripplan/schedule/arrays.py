"""Ways to spend a day, nights and limits put into the arrays of a `Problem`."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from tripplan.model.trip import Trip, Weights
from tripplan.model.words import STORES
from tripplan.region.geometry import great_circle_m
from tripplan.schedule.candidates import Cast, pitch_of
from tripplan.schedule.day_options import serves_of
from tripplan.schedule.options import Options
from tripplan.schedule.problem import Problem
from tripplan.schedule.use import Use
from tripplan.schedule.work import Slack
from tripplan.van.use import StayKind

__all__ = ["COUNTERS", "comfort_cents", "fill"]

I64 = NDArray[np.int64]
#: Names of the counters that a trip may limit.
COUNTERS: tuple[str, ...] = ("money", "unpowered nights", "one-night stays")


def comfort_cents(weights: Weights, kind: StayKind) -> int:
    """Return what a night counts for what its place lacks [cents]."""
    return weights.unpowered_night_cents * (not kind.powered) + weights.no_shower_night_cents * (not kind.showers)


def fill(
    trip: Trip, cast: Cast, use: Use, o: Options, counted: I64, rules: Slack, places: int, days: int
) -> tuple[Problem, tuple[str, ...]]:
    """Return the problem, and the names of its counters in order."""
    limits = {
        "money": trip.budget_cents if trip.budget_cents >= 0 else None,
        "unpowered nights": trip.nights - trip.powered_nights_at_least if trip.powered_nights_at_least else None,
        "one-night stays": trip.max_one_night_stays if trip.max_one_night_stays >= 0 else None,
    }
    stands, nights_here = pitch_of(trip, cast.sites), trip.under_way.nights_here if trip.under_way is not None else 0
    # The search counts nights from the first of the rest on. One stay of a single night more is allowed, and taken up by all who do
    # not leave the pitch on the second day, whose stay is longer than it looks.
    goes_on = stands >= 0 and nights_here > 0
    if goes_on and limits["one-night stays"] is not None:
        limits["one-night stays"] += 1
    counters = tuple(name for name in COUNTERS if limits[name] is not None and rules.counters)
    arc_count = np.zeros((len(o), len(counters)), dtype=np.int32)
    night_count = np.zeros((days, places, len(counters)), dtype=np.int32)
    price = np.array([0, 0, *(s.price_cents for s in cast.sites)], dtype=np.int64)
    powered = np.array([True, True, *(s.kind.powered for s in cast.sites)])
    for c, name in enumerate(counters):
        if name == "money":
            arc_count[:, c] = o.money
            night_count[:, :, c] = price
        elif name == "one-night stays":
            leaves = (o.start == 0) & ((o.end != 2 + stands) | (stands < 0))
            arc_count[leaves, c] = int(goes_on) + (nights_here == 1)
            if goes_on:
                arc_count[(o.start == 2 + stands) & (o.end == 2 + stands) & (o.days == np.uint64(2)), c] = 1
        elif name == "unpowered nights":
            night_count[:, :, c] = ~powered
    night_cost = np.full((days, places), -1, dtype=np.int64)
    for s, site in enumerate(cast.sites):
        for d in range(days - 1):
            if site.open[d] and cast.booked[d] in (-1, s):
                night_cost[d, 2 + s] = price[2 + s] + comfort_cents(trip.weights, site.kind)
    kind_of = np.concatenate((np.zeros(2, dtype=np.int32), use.kind_of)).astype(np.int32)
    serve = serves_of(cast).astype(np.uint32)
    arc_use = np.zeros(len(o), dtype=np.int32)
    for mask in use.masks:
        rows = ~o.car & (counted == mask)
        arc_use[rows] = use.masks.index(mask) * use.classes + o.use[rows]
    arc_use[o.car] = use.first_stay + kind_of[o.end[o.car]]
    need = np.array([max(1, s.nights) for s in trip.sights], dtype=np.int32)
    must = np.array([s.must for s in trip.sights], dtype=np.int32)
    value = np.array([0 if s.must else s.value_cents for s in trip.sights], dtype=np.int64)
    if rules.sight:
        value = np.where(must == 1, rules.sight, value)
        must = np.zeros_like(must)
    cap = use.pick_up.cap.astype(np.int32)
    goal = _goal_caps(trip, use)
    weight = np.zeros(len(STORES), dtype=np.int32)
    if rules.store:
        weight = np.maximum(1, rules.store * 100 // np.maximum(1, cap)).astype(np.int32)
    problem = Problem(
        start=0,
        goal=1,
        arc_ptr=np.searchsorted(o.start, np.arange(places + 1)).astype(np.int64),
        arc_to=o.end.astype(np.int32),
        arc_cost=o.cost.astype(np.int64),
        arc_reset=counted.astype(np.uint32),
        arc_days=o.days,
        arc_use=arc_use,
        arc_sights=o.sights.astype(np.uint32),
        arc_count=arc_count,
        day_block=use.day_block,
        night_class=kind_of,
        night_block=use.night_block,
        night_cost=night_cost,
        night_count=night_count,
        arrive_reset=serve,
        leave_reset=serve,
        max_stay=np.array([0, 0, *(s.max_stay for s in cast.sites)], dtype=np.int32),
        start_level=use.pick_up.start,
        cap=cap,
        goal_cap=goal,
        count_cap=np.array([limits[name] for name in counters], dtype=np.int64),
        one_night_count=np.array([name == "one-night stays" for name in counters], dtype=np.int32),
        one_night_cost=trip.weights.one_night_cents,
        need=need,
        must=must,
        value=value,
        cover=_cover(trip, cast, places),
        excess_weight=weight,
    )
    return problem, counters


def _goal_caps(trip: Trip, use: Use) -> NDArray[np.int32]:
    """Limits at the return: cassette and grey emptied on the last day, and gas above the firm's mark at the confidence."""
    from tripplan.van.limits import UNITS_PER, capacity

    goal = use.pick_up.cap.astype(np.int64).copy()
    names = [s.value for s in STORES]
    for name, asked in (("cassette", trip.firm.return_cassette_empty), ("grey", trip.firm.return_grey_empty)):
        if asked:
            goal[names.index(name)] = min(goal[names.index(name)], use.last_day[names.index(name)])
    gas = names.index("gas")
    room = use.pick_up.room / np.array(UNITS_PER)
    room[gas] = capacity(trip.van, "gas") - trip.firm.return_gas_kg
    mark = int(np.floor(use.pick_up.held.mean_room(room)[gas] * UNITS_PER[gas] + 1e-6))
    goal[gas] = min(goal[gas], mark)
    return goal.astype(np.int32)


def _cover(trip: Trip, cast: Cast, places: int) -> NDArray[np.uint8]:
    """Where a night counts for a sight that asks for nights near it."""
    cover = np.zeros((places, len(trip.sights)), dtype=np.uint8)
    if cast.sites:
        lon = np.array([s.spot.lon for s in cast.sites])
        lat = np.array([s.spot.lat for s in cast.sites])
        for s, sight in enumerate(trip.sights):
            if sight.nights:
                cover[2:, s] = great_circle_m(sight.spot.lon, sight.spot.lat, lon, lat) <= sight.near_km * 1000
    return cover
