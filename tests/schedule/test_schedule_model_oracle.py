"""The whole model of a trip against trying everything, and what its tables promise."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from helpers.toytrips import REGION, brute_force, toy_trip, toy_work

from tripplan.model.van import Levels, Van
from tripplan.schedule.assemble import assemble
from tripplan.schedule.explain import excesses_of, no_plan
from tripplan.schedule.follow import bits, emptied_on_leaving, follow
from tripplan.schedule.plan import best_path, cost_of
from tripplan.schedule.solve import solve
from tripplan.schedule.timetable import clock_of
from tripplan.schedule.walk import walk
from tripplan.schedule.work import Slack


@pytest.mark.parametrize("seed", range(14))
def test_equal_to_trying_everything(seed):
    """Option tables, pruning, search and clock together find the cost that trying every way to spend every day finds."""
    work = toy_work(seed)
    solution = best_path(work)
    assert (solution.cost if solution.arcs else None) == brute_force(work)
    assert solution.status == "proven"


@pytest.mark.long
@pytest.mark.parametrize("seed", range(100, 400))
def test_equal_to_trying_everything_often(seed):
    """The same on many more trips."""
    work = toy_work(seed)
    solution = best_path(work)
    assert (solution.cost if solution.arcs else None) == brute_force(work)


@pytest.mark.parametrize("seed", range(6))
def test_cost_adds_up_and_days_keep_their_clock(seed):
    """The parts of the cost add up to what the search counted, and every day of the best path keeps its clock."""
    work = toy_work(seed, nights=5, sites=6, services=6)
    solution = best_path(work)
    if not solution.arcs:
        pytest.skip("no plan")
    assert cost_of(work, solution.arcs).total_cents == solution.cost
    assert all(clock_of(work, d, a).fault is None for d, a in enumerate(solution.arcs))


@pytest.mark.parametrize("seed", range(6))
def test_levels_follow_the_search(seed):
    """The levels shown are the ones that the search counted with, never over a limit."""
    work = toy_work(seed, nights=5, sites=6, services=6)
    solution = best_path(work)
    if not solution.arcs:
        pytest.skip("no plan")
    states = walk(work.problem, solution.arcs)
    assert states is not None
    for day, state in zip(follow(work, solution.arcs), states[1:], strict=True):
        # What is emptied on leaving the last site is left alone: the search counts a day's use of it all the same.
        alone = bits(emptied_on_leaving(work, work.problem.days - 1, solution.arcs[-1])) if state is states[-1] else False
        assert tuple(np.where(alone, state.levels, day.end).tolist()) == state.levels
        assert (np.where(alone, day.worst, 0) == 0).all()
        assert (day.road <= work.problem.cap).all()
        assert (day.worst <= work.problem.cap).all()


def test_slack_changes_nothing_where_a_plan_exists():
    """With a price on every limit the best plan stays the best, as none of the prices is worth paying."""
    found = 0
    for seed in range(14):
        work = toy_work(seed)
        solution = best_path(work)
        if not solution.arcs:
            continue
        loose = assemble(work.trip, REGION, work.cast, work.ways, Slack(20_000, 20_000, 2_000_000, 2_000_000))
        again = solve(loose.problem)
        value = sum(2_000_000 for s in work.trip.sights if s.must)
        assert again.cost + value == solution.cost
        assert excesses_of(loose, again.arcs) == ()
        found += 1
    assert found >= 4


def test_no_plan_names_amounts():
    """Where trying everything finds nothing, the nearest plan's excesses are told with their day and amount."""
    seen = 0
    for seed in range(60):
        work = toy_work(seed)
        if best_path(work).arcs:
            continue
        error = no_plan(work)
        assert error.excesses
        assert all(e.amount > 0 and e.text for e in error.excesses)  # type: ignore[attr-defined]
        seen += 1
        if seen == 4:
            break
    assert seen == 4


def test_too_far_in_a_day_is_told_in_minutes():
    """A driving limit that no day keeps is named with the minutes over it."""
    work = toy_work(3, max_drive_s=1800, first_day_drive_s=900)
    assert not best_path(work).arcs
    told = [e for e in no_plan(work).excesses if e.what == "driving"]  # type: ignore[attr-defined]
    assert told
    assert all(e.unit == "min" for e in told)  # type: ignore[attr-defined]


def test_same_trip_same_path():
    """The same trip gives the same arcs."""
    one, two = (best_path(toy_work(2, nights=5, sites=7, services=7)) for _ in range(2))
    assert one.arcs == two.arcs


def test_no_towing_and_bookings_hold():
    """On a date without towing the van stands, and a booked night is spent where it is booked."""
    trip, cast, ways = toy_trip(11, nights=4, sites=5)
    from dataclasses import replace

    work = assemble(replace(trip, no_towing=(trip.dates[2],)), REGION, replace(cast, booked=(-1, 2, -1, -1, -1)), ways)
    days = np.array([bool(int(work.options.days[a]) >> 2 & 1) for a in range(len(work.options))])
    assert work.options.car[days].all()
    solution = best_path(work)
    for d, arc in enumerate(solution.arcs):
        if d == 1:
            assert int(work.options.end[arc]) == 2 + 2
        if d == 2:
            assert work.options.car[arc]


def test_compiled_thinning_equals_arrays():
    """The compiled loop leaves the same days as the array code."""
    from dataclasses import replace

    from tripplan.schedule.options import _drop_beaten

    pytest.importorskip("numba")
    rng = np.random.default_rng(4)
    table = toy_work(5, nights=4, sites=8, services=8).options
    rows = rng.integers(0, len(table), 600)
    table = table.take(rows)
    table = replace(
        table, days=rng.integers(1, 31, 600).astype(np.uint64), money=rng.integers(0, 9, 600), use=rng.integers(0, 2, 600)
    )
    first, worth = np.repeat(np.arange(0, 600, 40), 40), rng.integers(0, 32, 600)
    for money in (False, True):
        one, two = (_drop_beaten(table, first, worth, money=money, compiled=how) for how in (True, False))
        assert (one == two).all()


@pytest.mark.parametrize("seed", [2, 8, 31, 54])
def test_days_with_a_crossing_have_classes_of_their_own_where_the_car_charges(seed):
    """The cost is that of trying everything, each day counted by whether it has a crossing; the best path has one."""
    van = Van("van", 60, 50, 18, 10, 4.5, 2, 100, solar_w=100, fridge_towing="battery", car_charge_a=8.0)
    work = toy_work(seed, nights=2, levels=Levels(60, 0, 0, 10, 9, 100), van=van)
    solution = best_path(work)
    assert solution.cost == brute_force(work)
    anew = work.use.classes_s.index(3600, 1)
    assert any(work.options.use[arc] >= anew for arc in solution.arcs if not work.options.car[arc])


@pytest.mark.parametrize(("seed", "decides"), [(7, True), (19, True), (31, True), (2, False), (4, False)])
def test_a_fridge_on_the_battery_draws_on_it_aboard_a_ferry_too(seed, decides, monkeypatch):
    """Crossings count like driving, and the cost is that of trying everything; counted by driving alone some would be let through."""
    change = {
        "nights": 2, "levels": Levels(60, 0, 0, 10, 9, 100),
        "van": Van("van", 60, 50, 18, 10, 4.5, 2, 100, solar_w=100, fridge_towing="battery"),
    }  # fmt: skip
    work = toy_work(seed, **change)
    solution = best_path(work)
    assert (solution.cost if solution.arcs else None) == brute_force(work)
    for arc in np.flatnonzero(~work.options.car).tolist():
        table, points = work.ways_of(arc).van, work.points(arc)
        taken = sum(int(table.total_s[a, b]) for a, b in pairwise(points))
        assert taken <= work.use.classes_s[int(work.options.use[arc])]
    monkeypatch.setattr("tripplan.schedule.ways.Table.afloat_s", None)
    ashore = best_path(toy_work(seed, **change))
    assert ((ashore.arcs, ashore.cost) != (solution.arcs, solution.cost)) or not decides
    if decides:
        assert ashore.arcs
        assert not solution.arcs or ashore.cost < solution.cost
