"""What the sample plans say of their energy, and a trip with a limit on the warm hours of its fridge."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from tripplan.audit.run import audit
from tripplan.model.errors import NoPlanError
from tripplan.model.plan import Plan
from tripplan.model.van import DayWeather
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
            # The table beside it has the level at the worst: what is to be expected is called so.
            assert all("is expected to" in why for why in energy.mains_why if "battery" in why)
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


def test_a_warm_fridge_is_cautioned_by_what_it_runs_on(plans: dict[str, Plan]) -> None:
    """Off on the road, on the car's lead or on the battery: the caution says what this van's fridge does while towing."""
    words = {
        "none": "not powered while towing",
        "car_12v": "the car's 12 V while towing",
        "battery": "the van's battery while towing",
    }
    seen = set()
    for plan in plans.values():
        found = [one.text for one in plan.cautions if one.key.startswith("fridge_warm")]
        assert all(words[plan.trip.van.fridge_towing] in text for text in found)
        seen |= {plan.trip.van.fridge_towing} if found else set()
    assert {"none", "car_12v"} <= seen


def test_a_fridge_limit_changes_the_plan(region: Region) -> None:
    """With a fridge that is off while towing, half the warm hours of the best plan's warmest day: another plan keeps it, no cheaper."""
    trip = load_trip(SAMPLE / "trip_family_loop.toml", region)
    trip = replace(trip, van=replace(trip.van, fridge_towing="none"))
    before = make_plan(trip, region)
    limit = _worst(before) / 2
    assert limit > 0.5
    tight = make_plan(replace(trip, fridge_limit_h=limit), region)
    assert _worst(tight) <= limit
    assert tight.cost.total_cents >= before.cost.total_cents
    assert any("the fridge would be above 5 °C" in why for why in tight.proof.forbidden_why)
    assert audit(tight, region) == ()
    assert "fridge" in {row.what for row in audit(replace(before, trip=tight.trip), region)}


def _worst(plan: Plan) -> float:
    """Most hours above 5 °C of a day; the day of pick-up has an empty fridge."""
    return max(day.energy.fridge_above_h for day in plan.days[1:] if day.energy is not None)


def test_a_fridge_limit_that_nothing_keeps_is_named(region: Region) -> None:
    """By ferry from the isle with a fridge that is off: no plan stays under an hour, and the refusal says what breaks."""
    trip = replace(load_trip(SAMPLE / "trip_isle_weekend.toml", region), fridge_limit_h=1.0)
    assert trip.van.fridge_towing == "none"
    with pytest.raises(NoPlanError) as caught:
        make_plan(trip, region)
    assert "the fridge is above 5 °C" in str(caught.value)


def test_a_cold_trip_on_mixed_gas(region: Region) -> None:
    """At -8 °C a mix of 70 % propane leaves part of the bottles unused: the plan keeps it back, says so, says what freezes, and passes."""
    trip = load_trip(SAMPLE / "trip_family_loop.toml", region)
    cold = tuple((day, DayWeather(-2, -8, 4, 1.5, "test")) for day in trip.dates)
    plans = {
        share: make_plan(replace(trip, weather_days=cold, van=replace(trip.van, gas_propane=share)), region)
        for share in (1.0, 0.7)
    }
    for share, plan in plans.items():
        assert audit(plan, region) == ()
        limit = next(line.limit for line in plan.days[0].levels if line.store == "gas")
        energy = plan.days[0].energy
        assert energy is not None
        assert any("hoses" in text for text in energy.frost)
        assert (energy.gas_left_cold_kg > 2) == (share < 1)
        assert limit == pytest.approx(max(0.3, energy.gas_left_cold_kg), abs=0.02)
    assert any("ask for propane" in note for note in plans[0.7].days[0].notes)
    assert plans[0.7].cost.total_cents >= plans[1.0].cost.total_cents
