"""A van taken over with empty barrels: nothing is used aboard before the first fill, and the first night needs one."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from helpers.toytrips import REGION, brute_force, toy_trip, toy_work

from tripplan.almanac.normals import Station
from tripplan.model.van import Levels, Van
from tripplan.model.words import STORES
from tripplan.schedule.assemble import assemble
from tripplan.schedule.levels import level_lines
from tripplan.schedule.lived import Lived
from tripplan.schedule.notes import assumptions_of
from tripplan.schedule.plan import best_path
from tripplan.schedule.use import at_pick_up
from tripplan.van.limits import reserve

FRESH, GREY, CASSETTE, FLUSH = range(4)
EMPTY = Levels(0, 0, 0, 0, 9, 70)
LARGE = Van("van", 80, 60, 18, 12, 4.5, 2, 80, solar_w=80)
FROM_FRESH = Van("van", 45, 35, 12, 0, 4.5, 2, 80, solar_w=80)


@pytest.mark.parametrize("seed", range(10))
@pytest.mark.parametrize(
    ("levels", "van"),
    [(EMPTY, None), (Levels(2, 0, 0, 6, 9, 70), None), (Levels(45, 0, 3, 0.5, 9, 70), None), (EMPTY, FROM_FRESH)],
)
def test_dry_trips_equal_to_trying_everything(seed, levels, van):
    """With one barrel dry or both, and with a toilet that flushes from the barrel, the cost is that of trying everything."""
    work = toy_work(seed, levels=levels, **({"van": van} if van else {}))
    solution = best_path(work)
    assert (solution.cost if solution.arcs else None) == brute_force(work)


def test_dry_is_at_the_reserve_or_below():
    """A barrel counts as dry at its reserve or below, and a hair above it does not."""
    trip, cast, _ = toy_trip(1)
    kept = reserve(trip.van, "fresh")
    assert kept > 0
    for level, dry in ((0, True), (kept, True), (kept + 0.1, False)):
        pick_up = at_pick_up(replace(trip, levels=replace(EMPTY, fresh_l=level)), cast)
        assert bool(pick_up.dry[FRESH]) is dry
        assert not pick_up.dry[[GREY, CASSETTE, 4, 5]].any()
        assert pick_up.start[FRESH] <= pick_up.room[FRESH]
        assert pick_up.true[FRESH] == np.ceil((45 - level) * 10 - 1e-6)


def test_nothing_is_used_before_the_first_fill():
    """On the way to the first night grey and cassette stay as they are, unless the way fills the water that they come from."""
    trip, cast, ways = toy_trip(3, levels=EMPTY)
    work = assemble(trip, REGION, cast, ways)
    p, o = work.problem, work.options
    for arc in np.flatnonzero(o.start == 0).tolist():
        total, prefix, _ = p.day_block[0, p.arc_use[arc]]
        filled = bool(int(o.serves[arc]) >> FRESH & 1)
        assert (prefix[GREY] > 0) == filled
        assert (prefix[CASSETTE] > 0) == filled
        assert prefix[FRESH] == prefix[FLUSH] == 0
        assert prefix[4] > 0
        assert (total <= prefix).all()
    full = assemble(replace(trip, levels=Levels(45, 0, 0, 8, 9, 70)), REGION, cast, ways)
    assert (full.problem.day_block[0, :, 1, :4] > 0)[full.problem.arc_use[full.options.start == 0]].all()


def test_first_night_is_served_and_levels_are_true():
    """Every plan fills on the way or at the first site; the levels shown begin at 0 litres, and the plan says where to fill."""
    seen = {"way": 0, "site": 0}
    for seed in range(80):
        work = toy_work(seed, levels=EMPTY)
        solution = best_path(work)
        if not solution.arcs:
            continue
        lines = level_lines(Lived(work, solution.arcs))
        fresh = next(line for line in lines[0] if line.store == "fresh")
        assert fresh.leave == 0
        assert fresh.served
        way = "way" in fresh.served
        seen["way" if way else "site"] += 1
        assert fresh.arrive > 30 if way else fresh.arrive == 0
        assert fresh.worst == 0
        assert min(fresh.arrive if way else fresh.end, fresh.end) >= fresh.limit
        assert lines[1][FRESH].leave == fresh.end > 0
        said = next(text for text in assumptions_of(work, solution.arcs) if "empty at pick-up" in text)
        where = [s.spot.name for s in work.stops(solution.arcs[0]) if s.serves & 1]
        where = where or [work.cast.sites[int(work.options.end[solution.arcs[0]]) - 2].spot.name]
        assert f"fill at {where[0]} before the first night" in said
    assert min(seen.values()) >= 3


def test_a_climate_table_out_of_reach_is_said_not_to_be_used():
    """Where weather is guessed though a table is there, its nearest station is named; a table within reach says nothing of it."""
    work = next(w for w in map(toy_work, range(20)) if best_path(w).arcs)
    arcs, depot = best_path(work).arcs, work.trip.depot
    far = Station("Far Cairn", depot.lon, -depot.lat, ((10.0, 5.0, 15.0, 3.0),) * 12, "normals.csv")
    said = {}
    for name, stations in (("far", (far,)), ("near", (far, replace(far, name="Near", lat=depot.lat)))):
        lines = assumptions_of(replace(work, region=replace(work.region, climate=stations)), arcs)
        said[name] = [line for line in lines if "climate table was not used: its nearest station, Far Cairn, is" in line]
    assert [len(said[name]) for name in ("far", "near")] == [1, 0]


def test_without_any_tap_there_is_no_plan():
    """With no water anywhere an empty barrel means no plan, where a full one has one."""
    found = 0
    for seed in range(12):
        trip, cast, ways = toy_trip(seed, nights=2, van=LARGE, levels=Levels(80, 0, 0, 12, 9, 70))
        no_tap = ~(1 << FRESH | 1 << FLUSH)
        cast = replace(
            cast,
            sites=tuple(replace(s, serves=s.serves & no_tap) for s in cast.sites),
            van_stops=tuple(replace(s, serves=s.serves & no_tap) for s in cast.van_stops),
        )
        assert not best_path(assemble(replace(trip, levels=EMPTY), REGION, cast, ways)).arcs
        found += bool(best_path(assemble(trip, REGION, cast, ways)).arcs)
    assert found >= 2
    assert [s.value for s in STORES[:4]] == ["fresh", "grey", "cassette", "flush"]


@pytest.mark.parametrize("fridge", ["none", "car_12v"])
def test_driving_draws_no_more_than_resting(fridge):
    """With a fridge that leaves the van's battery alone, hours at the wheel are nowhere worse than the same hours at rest."""
    from tripplan.almanac.sun import sun_day
    from tripplan.schedule.use import weather_of
    from tripplan.van.blocks import day_block

    trip, _, _ = toy_trip(1)
    for solar in (0.0, 200.0):
        van = replace(trip.van, fridge_towing=fridge, solar_w=solar)
        sun = sun_day(trip.dates[0], 170.2, -44.6, trip.tz)
        weather = weather_of(trip, 0, -44.6)
        blocks = [day_block(van, trip.party, weather, sun, drive_h=h, leave_h=9.0, arrive_h=18.0) for h in (0, 1, 3.5, 9)]
        for level in (0.0, 5.0, 40.0):
            ends = [np.maximum(level + np.array(b.total), np.array(b.tail)) for b in blocks]
            peaks = [np.maximum(level + np.array(b.prefix), np.array(b.inner)) for b in blocks]
            assert all((e <= ends[0] + 1e-9).all() for e in ends[1:])
            assert all((p <= peaks[0] + 1e-9).all() for p in peaks[1:])
