"""Closures and wind warnings held against a plan made without them: the audit must see them, and only where they bite."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest

from tripplan.audit.run import audit
from tripplan.model.closure import Closure
from tripplan.model.plan import Day, Plan
from tripplan.region.geometry import piece_line, run_line
from tripplan.region.region import Region
from tripplan.roads.shut import match_closures


def with_closure(plan: Plan, closure: Closure) -> Plan:
    """Return the plan with a closure that it was made without."""
    return replace(plan, trip=replace(plan.trip, closures=(closure,)))


def found(plan: Plan, region: Region, closure: Closure) -> set[tuple[str, int]]:
    """Return what the audit has against it: what and on which day."""
    return {(f.what, f.day) for f in audit(with_closure(plan, closure), region)}


@pytest.fixture
def tow(sample_plan: Plan) -> Day:
    """A day on which the van is towed."""
    return next(d for d in sample_plan.days if d.kind == "towing" and d.number > 1)


def along(region: Region, day: Day, *, part: slice = slice(None)) -> tuple[tuple[float, float], ...]:
    """Return the line of the longest piece that is driven whole."""
    runs = day.legs[0].runs
    whole = [k for k, p in enumerate(runs.piece) if runs.to_m[k] - runs.from_m[k] > region.pieces.length_m[p] - 0.1]
    k = max(whole, key=lambda k: region.pieces.length_m[runs.piece[k]])
    line = piece_line(region, runs.piece[k], runs.forward[k])
    return tuple((float(x), float(y)) for x, y in line[part])


def test_a_driven_road_that_is_closed_is_found(sample_plan: Plan, sample_region: Region, tow: Day) -> None:
    """On its date and on no other."""
    closure = Closure("works", "closed", "t", tow.date, tow.date, lines=(along(sample_region, tow),))
    assert found(sample_plan, sample_region, closure) == {("closed that day", tow.number)}
    later = replace(closure, first=tow.date + timedelta(days=400), last=None)
    assert found(sample_plan, sample_region, later) == set()


def test_direction_counts_where_it_is_stated(sample_plan: Plan, sample_region: Region, tow: Day) -> None:
    """A closure against the way driven leaves it open, one along it does not."""
    line = along(sample_region, tow)
    one = Closure("works", "closed", "t", tow.date, tow.date, lines=(line,), one_way=True)
    assert found(sample_plan, sample_region, one) == {("closed that day", tow.number)}
    assert found(sample_plan, sample_region, replace(one, lines=(line[::-1],))) == set()


def test_a_way_that_is_closed_is_found(sample_plan: Plan, sample_region: Region, tow: Day) -> None:
    """By its id alone."""
    way = int(sample_region.ways.osm_id[sample_region.pieces.way[tow.legs[0].runs.piece[1]]])
    assert ("closed that day", tow.number) in found(
        sample_plan, sample_region, Closure("w", "closed", "t", tow.date, tow.date, ways=(way,))
    )


def box(line: np.ndarray, margin: float = 0.02) -> tuple[tuple[float, float], ...]:
    """Return the box round a line."""
    (w, s), (e, n) = line.min(axis=0) - margin, line.max(axis=0) + margin
    return ((w, s), (e, s), (e, n), (w, n))


def test_towing_in_wind_is_found_and_the_car_is_not(sample_plan: Plan, sample_region: Region, tow: Day) -> None:
    """The van in the area is a finding, a day out by car is none, nor is a night."""
    ring = box(run_line(sample_region, tow.legs[0].runs))
    wind = Closure("gale", "wind", "t", tow.date, tow.date, rings=(ring,))
    assert found(sample_plan, sample_region, wind) == {("towing in wind", tow.number)}
    assert found(sample_plan, sample_region, replace(wind, rings=(ring, ring))) == set()
    out = next(d for d in sample_plan.days if d.kind == "standing" and d.legs)
    still = Closure("gale", "wind", "t", out.date, out.date, rings=(box(run_line(sample_region, out.legs[0].runs)),))
    assert found(sample_plan, sample_region, still) == set()


def test_what_the_audit_finds_the_roads_match_too(sample_region: Region) -> None:
    """Lines beside and across random pieces: whatever the audit would call closed, the search keeps off (two codes, one rule)."""
    from tripplan.audit.closures import _driven as driven
    from tripplan.audit.closures import _on_line

    rng = np.random.default_rng(6)
    pieces = sample_region.pieces
    for _ in range(60):
        row = int(rng.integers(len(pieces.way)))
        line = piece_line(sample_region, row)
        shift = rng.normal(0, 8, 2) / 111_195
        low, high = sorted(rng.random(2))
        cut = line[int(low * (len(line) - 1)) : int(high * (len(line) - 1)) + 2] + shift
        closure = Closure("c", "closed", "t", lines=(tuple((float(x), float(y)) for x, y in cut),))
        (match,) = match_closures(sample_region, [closure])
        near = {int(r) for r in rng.integers(len(pieces.way), size=20)} | {row}
        for piece in near:
            length = float(pieces.length_m[piece])
            at, step, heading = driven(sample_region, piece, True, 0.0, length)
            metres = float(step[_on_line(closure, at, heading)].sum())
            if metres > 60 or (metres > 0.6 * length and metres > 10):
                assert piece in match.pieces
