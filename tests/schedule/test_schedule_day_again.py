"""Days that the clock forbids, and the ways to spend them that come back."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from helpers.toytrips import REGION, brute_force, toy_trip, with_desks

from tripplan.model.place import OfferFact
from tripplan.model.words import Offer
from tripplan.schedule.again import admit_others, way_of
from tripplan.schedule.assemble import assemble
from tripplan.schedule.candidates import BIT, Cast, Stop
from tripplan.schedule.plan import best_path
from tripplan.schedule.ways import Ways, table_of
from tripplan.schedule.work import Work

H = 3600


@pytest.mark.parametrize("seed", range(16))
def test_equal_to_trying_everything_with_desks(seed):
    """Sites that take arrivals in two stretches of a day: the search that forbids and lets come back finds what trying everything finds."""
    work = with_desks(seed, sights=1)
    solution = best_path(work)
    assert (solution.cost if solution.arcs else None) == brute_force(work)
    assert solution.status == "proven"


@pytest.mark.long
@pytest.mark.parametrize("seed", range(100, 400))
def test_equal_to_trying_everything_with_desks_often(seed):
    """The same on many more trips."""
    work = with_desks(seed)
    solution = best_path(work)
    assert (solution.cost if solution.arcs else None) == brute_force(work)


def test_desks_do_forbid_days():
    """The trips above are not idle: many of them have days that only the exact clock sees to be impossible, each with its reason."""
    works = [with_desks(seed, sights=1) for seed in range(16)]
    for work in works:
        best_path(work)
    assert sum(len(work.shut) for work in works) >= 15
    why = [line for work in works for line in work.forbidden_why]
    assert any("takes arrivals" in line and "you would be there at" in line for line in why)


def two_dumps() -> Work:
    """One night; the cassette must come back empty; a free dump far off the way back, and a dear one on it; the depot shuts at noon.

    By the far one the depot is reached at 12:44, by the near one at 11:26. It takes vans back from 08:00 to 13:00, which with an hour for
    the return is 12:00 at the latest, and again in the evening.
    """
    trip, cast, _ = toy_trip(1, nights=1, sites=1, services=0, sights=0)
    firm = replace(trip.firm, return_grey_empty=False, depot_hours="08:00-13:00,18:00-20:00", return_min=60, handover_min=60)
    trip = replace(trip, firm=firm, return_by=trip.return_by.replace(hour=20), arrive_by_min=17 * 60)
    van = replace(trip.van, fresh_l=150.0, grey_l=150.0)
    trip = replace(trip, van=van, levels=replace(trip.levels, fresh_l=150.0))
    days = (None, None)
    yes = {"cassette": OfferFact(Offer.YES)}
    far, near = (Stop(cast.sites[0].spot, None, BIT["cassette"], -1, 1200, cents, 0, days, yes) for cents in (0, 5000))
    site = replace(cast.sites[0], serves=0, open=(True, True), max_stay=0)
    #        depot return site  far    near
    hours = [
        [0.0, 0.0, 1.0, 9.0, 9.0],
        [0.0, 0.0, 1.0, 9.0, 9.0],
        [2.0, 2.0, 0.0, 1.8, 1.0],
        [9.0, 1.6, 9.0, 0.0, 9.0],
        [9.0, 1.1, 9.0, 9.0, 0.0],
    ]
    drive = np.rint(np.array(hours) * H).astype(np.int32)
    table = table_of(drive, drive, drive / 60.0, trip.weights)
    none = np.zeros((1, 1), dtype=np.int32)
    car = table_of(none, none, none, trip.weights)
    return assemble(
        replace(trip, max_drive_s=4 * H), REGION, Cast((site,), (far, near), (), (-1, -1)), [Ways(3, table, car, None, None)]
    )


def test_what_a_forbidden_day_had_beaten_comes_back():
    """The dear dump is beaten by the free one and is no option; when the clock forbids the free one, it is chosen and proven."""
    work = two_dumps()
    assert 1 not in work.options.first[work.options.end == 1].tolist()
    solution = best_path(work)
    assert solution.status == "proven"
    assert int(work.options.first[solution.arcs[1]]) == 1
    assert len(work.shut) == 1
    assert "takes arrivals 08:00–13:00" in work.forbidden_why[0]
    assert "you would be there at 12:44 and need 60 min" in work.forbidden_why[0]


def test_forbidding_alone_would_lose_the_plan():
    """Without the ways that come back no plan would be left, though one exists."""
    from tripplan.schedule.solve import solve

    work = two_dumps()
    first = solve(work.problem)
    assert int(work.options.first[first.arcs[1]]) == 0
    assert not solve(work.problem, forbidden=frozenset({(1, first.arcs[1])})).arcs
    way = way_of(work, 1, first.arcs[1])
    again = admit_others(work, {way}, {way})
    assert solve(again.problem).arcs


def test_nothing_that_is_shut_comes_back():
    """Of all ways between a pair of places on a day, those known to be impossible stay out, whatever else returns."""
    work = two_dumps()
    ways = {way_of(work, 1, arc) for arc in range(len(work.options)) if work.options.end[arc] == 1}
    again = admit_others(work, ways, ways)
    back = {way_of(again, 1, arc) for arc in range(len(again.options)) if again.options.end[arc] == 1}
    assert back
    assert not back & ways


def test_the_order_of_halts_is_free_where_it_costs_the_same():
    """Two sights on an outing, the first in the table open in the afternoon: they are seen the other way round, at the same cost, with no wait."""
    from tripplan.model.trip import Sight
    from tripplan.model.words import Via

    trip, cast, _ = toy_trip(1, nights=3, sites=1, services=0, sights=2)
    van = replace(trip.van, fresh_l=200.0, grey_l=200.0, solar_w=400.0)
    sights = tuple(Sight(s.spot, True, 0, Via.CAR_ONLY, 1.0) for s in trip.sights)
    firm = replace(trip.firm, return_grey_empty=False, return_cassette_empty=False)
    trip = replace(trip, van=van, sights=sights, firm=firm, levels=replace(trip.levels, fresh_l=200.0))
    late, early = ((13 * H, 18 * H),), ((8 * H, 12 * H),)
    stops = tuple(
        Stop(s.spot, None, 0, k, H, 0, 0, (w,) * 4, {}) for k, (s, w) in enumerate(zip(sights, (late, early), strict=True))
    )
    site = replace(cast.sites[0], serves=31, open=(True,) * 4, max_stay=0)
    minutes = np.array([[0, 30, 30], [30, 0, 20], [30, 20, 0]], dtype=np.int32)
    car = table_of(minutes * 60, minutes * 60, minutes * 1.0, trip.weights)
    drive = np.full((3, 3), 3600, dtype=np.int32)
    van_table = table_of(drive, drive, drive / 60.0, trip.weights)
    work = assemble(trip, REGION, Cast((site,), (), stops, (-1,) * 4), [Ways(15, van_table, car, None, None)])
    solution = best_path(work)
    outings = [arc for arc in solution.arcs if work.options.second[arc] >= 0]
    assert len(outings) == 1
    assert [int(work.options.first[outings[0]]), int(work.options.second[outings[0]])] == [1, 0]
