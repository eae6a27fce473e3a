"""Ways through stops: both engines find the same, and what is left out is never missed."""

from __future__ import annotations

from dataclasses import fields, replace
from itertools import pairwise

import numpy as np
import pytest
from helpers.toytrips import REGION, brute_force, toy_trip, toy_work

from tripplan.model.van import Levels, Van
from tripplan.schedule import assemble as assembly
from tripplan.schedule import day_options
from tripplan.schedule.chains import day_types, stop_table
from tripplan.schedule.clock import StopTask, lay_out
from tripplan.schedule.need import Need
from tripplan.schedule.options import Frame, tow_options
from tripplan.schedule.plan import best_path, cost_of
from tripplan.schedule.ways import table_of

FRIDGE = Van("van", 45, 35, 12, 8, 4.5, 2, 80, solar_w=80, fridge_towing="battery")
CHANGES = ({}, {"budget_cents": 50_000}, {"van": FRIDGE}, {"levels": Levels(0, 0, 0, 0, 9, 70)})


@pytest.mark.parametrize("change", CHANGES, ids=("plain", "budget", "fridge", "dry"))
def test_engines_find_the_same_ways(monkeypatch, change):
    """Whole arrays and compiled loops leave the same rows, with a budget, with classes of driving time, with dry barrels."""
    pytest.importorskip("numba")
    rows = threes = 0

    def both(*args, **how):
        nonlocal rows, threes
        one, two = (tow_options(*args, **how, compiled=engine) for engine in (False, True))
        for field in fields(one):
            assert np.array_equal(getattr(one, field.name), getattr(two, field.name)), field.name
        rows += len(one)
        threes += int((one.third >= 0).sum())
        return one

    monkeypatch.setattr(day_options, "tow_options", both)
    for seed in range(6):
        toy_work(seed, nights=5, sites=9, services=9, sights=3, **change)
    assert rows > 3000
    assert threes > 20


@pytest.mark.parametrize("seed", [2, 3, 6, 7, 8, 10, 12, 13, 15])
def test_budget_equal_to_trying_everything(seed):
    """Under a budget that bites, the best path costs what trying everything finds among the plans within it."""
    size = {"nights": 3, "sites": 3, "services": 3, "sights": 1}
    work = toy_work(seed, **size)
    free = best_path(work)
    assert free.arcs
    most = cost_of(work, free.arcs).money_cents
    for budget in (most, most - 1, most - 800):
        trip, cast, ways = toy_trip(seed, budget_cents=budget, **size)
        tight = assembly.assemble(trip, REGION, cast, ways)
        solution = best_path(tight)
        assert (solution.cost if solution.arcs else None) == brute_force(tight)
        assert not solution.arcs or cost_of(tight, solution.arcs).money_cents <= budget


def test_days_fit_as_the_clock_says():
    """A way stands on exactly the days on which the clock of one day keeps it."""
    for seed in range(4):
        work = toy_work(seed, nights=4, sites=5, services=6)
        o, hours, places = work.options, work.hours, 2 + len(work.cast.sites)
        table = work.ways[0].van
        for arc in np.flatnonzero(~o.car)[:: max(1, len(o) // 300)].tolist():
            stops = work.stops(arc)
            points = work.points(arc)
            legs = [(int(table.total_s[a, b]), int(table.drive_s[a, b])) for a, b in pairwise(points)]
            assert sum(d for _, d in legs) == int(o.drive_s[arc])
            assert places > int(o.end[arc])
            for d in range(len(work.trip.dates)):
                if int(o.days[arc]) >> d & 1:
                    tasks = [StopTask(s.seconds, s.windows[d]) for s in stops]
                    spans = [(t, x, x) for t, x in legs]
                    laid = lay_out(int(hours.leave[d, o.start[arc]]), spans, tasks, int(hours.arrive[d, o.end[arc]]))
                    assert laid.fault is None


def test_nothing_is_served_that_a_site_serves():
    """Between two sites no way stops for a store that one of them serves, unless the stop also serves what neither does."""
    seen = 0
    for seed in range(6):
        work = toy_work(seed, nights=4, sites=6, services=8)
        p, o = work.problem, work.options
        at = p.leave_reset.astype(np.int64)
        for arc in np.flatnonzero((o.first >= 0) & ~o.car & (o.start >= 2) & (o.sights == 0)).tolist():
            assert int(o.serves[arc]) & ~int(at[o.start[arc]] | at[o.end[arc]])
            seen += 1
    assert seen > 100


def test_days_alike_are_tried_once():
    """Days with the same hours everywhere are one type, and a window that differs parts them."""
    trip, cast, _ = toy_trip(1, nights=6)
    stops = [replace(cast.van_stops[0], windows=(None,) * 5 + (((36_000, 40_000),), ()))]
    leave, arrive = np.full((7, 3), 32_400), np.full((7, 3), 64_800)
    arrive[0] -= 600
    types = day_types(leave, arrive, stops)
    assert sorted(int(m) for m in types.days) == [0b1, 0b11110, 0b100000, 0b1000000]
    table = stop_table(stops, types)
    assert not table.any_time[0]
    assert trip.nights == 6


def test_cheapest_way_is_kept_though_it_is_shut_on_some_days():
    """Where the cheapest stop is shut on a day, the next one stands on that day and only there."""
    trip, cast, _ = toy_trip(1, nights=2)
    at = np.array([0, 0, 10, 12, 14, 20], dtype=float)  # two depots, two sites, two stops on a line
    seconds = np.rint(np.abs(at[:, None] - at[None]) * 60).astype(np.int32)
    table = table_of(seconds, seconds, seconds * 10.0, trip.weights)
    shut = replace(cast.van_stops[0], serves=4, windows=(None, (), None), only_from=-1, only_to=-1)
    stops = [shut, replace(shut, windows=(None, None, None))]
    days = np.full((4, 4), 7, dtype=np.uint64)
    frame = Frame(
        np.full((3, 4), 32_400),
        np.full((3, 4), 64_800),
        days,
        np.full(4, 7200),
        (7200,),
        Need(np.zeros(4, int), np.zeros(4, int)),
    )
    for compiled in (False, True):
        o = tow_options(table, 4, stops, frame, compiled=compiled)
        rows = np.flatnonzero((o.start == 2) & (o.end == 3) & (o.serves == 4))
        assert [(int(o.first[r]), int(o.days[r])) for r in rows] == [(0, 0b101), (1, 0b010)]
