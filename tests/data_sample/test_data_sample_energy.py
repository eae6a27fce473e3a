"""What the sample plans say of their energy, and a trip with a limit on the warm hours of its fridge."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from tripplan.audit.run import audit
from tripplan.model.errors import NoPlanError
from tripplan.model.plan import Plan
from tripplan.region.region import Region
from tripplan.request.trip_file import load_trip
from tripplan.schedule.plan import make_plan

SAMPLE = Path(__file__).resolve().parents[2] / "data_sample"
SIX = {"fridge", "heating", "hot water", "cooking", "12 V", "gas"}


def test_every_day_tells_what_runs_on_what(plans: dict[str, Plan]) -> None:
    """Six things while towing, aboard a ferry and at the night's place; gas off on the road; fuses and mains only where there are any."""
    for plan in plans.values():
        for day in plan.days:
            energy = day.energy
            assert energy is not None
            towing = any(leg.mode == "van" for leg in day.legs)
            sails = any(leg.ferry_s > 0 for leg in day.legs if leg.mode == "van")
            for when, there in (("towing", towing), ("ferry", sails), ("stay", day.night is not None)):
                assert {line.what for line in energy.lines if line.when == when} == (SIX if there else set())
            assert all(line.runs_on == "off at the bottle" for line in energy.lines if line.what == "gas" and line.when != "stay")
            powered = day.night is not None and day.night.powered
            assert (energy.mains in ("needed", "helps")) == powered
            assert bool(energy.hook_up) == powered == (energy.hook_up_a > 0)
            assert bool(energy.mains_why) == (day.night is not None)
            assert (energy.carried_kg > 100) == towing
            assert energy.fridge_above_h >= 0
            assert energy.frost == ()  # a southern summer


def test_the_climate_of_the_region_is_told(plans: dict[str, Plan]) -> None:
    """The sample's table stands in the assumptions, with what it comes to."""
    for plan in plans.values():
        (line,) = [text for text in plan.assumptions if text.startswith("Weather")]
        assert "sample_climate.csv" in line
        assert "°C" in line
        assert "kWh/m²" in line


def test_a_fridge_limit_changes_the_plan_or_is_named(region: Region, plans: dict[str, Plan]) -> None:
    """Half an hour less than the best plan's warmest day gives another plan that keeps it; far less gives none, and the fridge is named."""
    trip = load_trip(SAMPLE / "trip_isle_weekend.toml", region)
    before = plans["isle_weekend"]
    worst = max(day.energy.fridge_above_h for day in before.days[1:] if day.energy is not None)
    assert worst > 4
    tight = make_plan(replace(trip, fridge_limit_h=worst - 0.3), region)
    assert max(day.energy.fridge_above_h for day in tight.days[1:] if day.energy is not None) <= worst - 0.3
    assert tight.cost.total_cents >= before.cost.total_cents
    assert any("fridge" in why for why in tight.proof.forbidden_why)
    assert audit(tight, region) == ()
    assert "fridge" in {row.what for row in audit(replace(before, trip=tight.trip), region)}
    with pytest.raises(NoPlanError) as caught:
        make_plan(replace(trip, fridge_limit_h=1.0), region)
    assert "the fridge is above 5 °C" in str(caught.value)
