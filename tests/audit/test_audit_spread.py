"""The audit's own view of spread: drawn trips agree with the plan's figure, and flattered ones are caught."""

from __future__ import annotations

from dataclasses import replace
from statistics import NormalDist

import numpy as np
import pytest
from helpers.living import MILD, SHARE, plain_party, plain_van

from tripplan.audit.findings import Findings
from tripplan.audit.levels import audit_levels
from tripplan.audit.run import audit
from tripplan.audit.spread import DRAWS, SEED, TOLERANCE, Errors, Tank, drawn_failures
from tripplan.model.plan import Plan
from tripplan.model.words import STORES
from tripplan.region.region import Region
from tripplan.van.battery import acceptance


def _whats(plan: Plan, region: Region) -> set[str]:
    return {f.what for f in audit(plan, region)}


def test_the_plan_as_made_passes(sample_plan: Plan, sample_region: Region) -> None:
    """Its figure is above the one asked for, each limit is held at it or tighter, and nothing is found."""
    holds = sample_plan.holds
    assert holds is not None
    assert 0.95 <= holds.together < 0.99
    assert set(holds.each) == set(holds.by_store) == {s.value for s in STORES}
    assert min(holds.each.values()) >= 0.95
    assert _whats(sample_plan, sample_region) == set()


def test_a_flattered_confidence_is_caught(sample_plan: Plan, sample_region: Region) -> None:
    """A plan that held limits looser than asked, or for less than asked, or says that it holds more often than drawn trips do."""
    holds = sample_plan.holds
    assert holds is not None
    for spoilt in (
        replace(holds, each={**holds.each, "grey": 0.9}),
        replace(holds, asked=0.9),
    ):
        assert "stated confidence" in _whats(replace(sample_plan, holds=spoilt), sample_region)
    less_known = replace(sample_plan.trip, party=replace(sample_plan.trip.party, spread_shared=0.25))
    sure = replace(sample_plan, trip=less_known, holds=replace(holds, together=1.0))
    assert "stated confidence" in _whats(sure, sample_region)


def test_more_asked_than_held_is_caught(sample_plan: Plan, sample_region: Region) -> None:
    """The same days for a trip that asks for 99.9 % do not hold: grey goes over its limit, and too many drawn trips fail."""
    trip = replace(sample_plan.trip, confidence=0.999, party=replace(sample_plan.trip.party, spread_shared=0.2))
    assert {"level", "confidence"} <= _whats(replace(sample_plan, trip=trip), sample_region)


def test_another_party_is_caught(sample_plan: Plan, sample_region: Region) -> None:
    """A party whose habits are less known fails more often on the same days."""
    trip = replace(sample_plan.trip, party=replace(sample_plan.trip.party, spread_shared=0.5))
    assert {"level", "confidence", "stated level"} <= _whats(replace(sample_plan, trip=trip), sample_region)


def test_levels_told_on_the_mean_only_are_caught(sample_plan: Plan, sample_region: Region) -> None:
    """Expected levels shown as those at the confidence, or expected ones flattered, are told from the right ones."""
    days = list(sample_plan.days)
    for spoil in (
        lambda line: replace(line, arrive=line.expected[1], worst=line.expected[2]),
        lambda line: replace(line, expected=tuple(0.0 if line.store == "grey" else x for x in line.expected)),
    ):
        worse = tuple(replace(day, levels=tuple(spoil(line) for line in day.levels)) for day in days)
        assert "stated level" in _whats(replace(sample_plan, days=worse), sample_region)


def test_drawn_trips_agree_with_the_normal_quantile() -> None:
    """A tank raised to its room at 95 % fails on one drawn trip in twenty; laps that share an error fail less than twice that."""
    errors = Errors.of(_trip(), MILD, SHARE)
    z = NormalDist().inv_cdf(0.95)
    for row in range(5):
        tank = Tank(row, 0.0, 1.0, errors)
        tank.add((0.5, 0.3, 0.4) if row == 4 else (20.0, 0.0, 0.0))
        tank.room = tank.sure(z)
        tank.serve(1)
        one = tank.failures(np.random.default_rng(SEED)).mean()
        assert one == pytest.approx(0.05, abs=2 * TOLERANCE)
        tank.add((0.5, 0.3, 0.4) if row == 4 else (20.0, 0.0, 0.0))
        tank.serve(2)
        assert one < tank.failures(np.random.default_rng(SEED)).mean() < 2 * one


def test_a_battery_drawn_hour_by_hour() -> None:
    """Without sun its failures are those of the normal sum; with mains each night it never fails."""
    trip = _trip()
    errors = Errors.of(trip, MILD, SHARE)
    load, days = 1.0, 3
    hours = [(d, load, 0.0) for d in range(days) for _ in range(24)]
    mean = load * 24 * days
    sd = np.sqrt((errors.battery_shared[0] * mean) ** 2 + errors.battery_daily[0] * mean)
    failed = drawn_failures(hours, trip, errors, 0.0, mean + 1.6449 * sd)
    assert failed.shape == (DRAWS,)
    assert failed.mean() == pytest.approx(0.05, abs=2 * TOLERANCE)
    mains = [(d, load, -15.0) for d in range(days) for _ in range(24)]
    assert not drawn_failures(mains, trip, errors, 5.0, 20.0).any()
    assert 0 < acceptance(trip.van) < 1


def test_without_a_flush_tank_the_cassette_counts_on_the_first_day(sample_plan: Plan, sample_region: Region) -> None:
    """A toilet that flushes from the fresh barrel is used on the way to the first night: what the papers say of it is held to that."""
    trip = replace(
        sample_plan.trip, van=replace(sample_plan.trip.van, flush_l=0.0), levels=replace(sample_plan.trip.levels, flush_l=0.0)
    )
    first = sample_plan.days[0]
    lines = tuple(
        replace(line, arrive=0.0, expected=(0.0, 0.0, *line.expected[2:])) if line.store == "cassette" else line
        for line in first.levels
        if line.store != "flush"
    )
    found = Findings()
    audit_levels(
        replace(sample_plan, trip=trip, days=(replace(first, levels=lines), *sample_plan.days[1:])), sample_region, found
    )
    assert any(f.day == 1 and f.text.startswith("cassette is said to be 0.0 (arrive") for f in found.rows)


def test_gas_wanted_back_full_must_be_exchanged(sample_plan: Plan, sample_region: Region) -> None:
    """A firm that wants every bottle full finds that the sample's plan brings back less."""
    trip = replace(sample_plan.trip, firm=replace(sample_plan.trip.firm, return_gas_kg=17.0))
    assert "return" in _whats(replace(sample_plan, trip=trip), sample_region)


def _trip():  # type: ignore[no-untyped-def]
    from helpers.toytrips import toy_trip

    return replace(toy_trip(1)[0], van=plain_van(), party=plain_party())
