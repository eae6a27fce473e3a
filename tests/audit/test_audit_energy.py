"""What a plan says of its energy, spoilt in one way at a time: the audit must say so."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import pytest

from tripplan.audit.run import audit
from tripplan.model.plan import DayEnergy, Plan
from tripplan.region.region import Region


def _with(plan: Plan, number: int, change: Callable[[DayEnergy], DayEnergy]) -> Plan:
    days = list(plan.days)
    energy = days[number - 1].energy
    assert energy is not None
    days[number - 1] = replace(days[number - 1], energy=change(energy))
    return replace(plan, days=tuple(days))


def _lines(energy: DayEnergy, when: str, what: str, runs_on: str) -> DayEnergy:
    return replace(
        energy, lines=tuple(replace(x, runs_on=runs_on) if (x.when, x.what) == (when, what) else x for x in energy.lines)
    )


SPOILT: dict[str, Callable[[DayEnergy], DayEnergy]] = {
    "fridge colder": lambda e: replace(e, fridge_warmest_c=e.fridge_warmest_c - 1),
    "fewer warm hours": lambda e: replace(e, fridge_above_h=e.fridge_above_h - 0.5),
    "sooner cold": lambda e: replace(e, fridge_recool_h=e.fridge_recool_h - 0.5),
    "gas on while towing": lambda e: _lines(e, "towing", "gas", "on while in use"),
    "fridge on gas while towing": lambda e: _lines(e, "towing", "fridge", "gas"),
    "lighter": lambda e: replace(e, carried_kg=e.carried_kg - 20),
    "more payload": lambda e: replace(e, payload_kg=e.payload_kg + 100),
}


@pytest.mark.parametrize("name", SPOILT)
def test_spoilt_energy_is_found(sample_plan: Plan, sample_region: Region, name: str) -> None:
    """Each change on a towing day is found on that day, as "stated energy", and nothing else is."""
    day = next(d for d in sample_plan.days if any(leg.mode == "van" for leg in d.legs))
    found = audit(_with(sample_plan, day.number, SPOILT[name]), sample_region)
    assert {(row.what, row.day) for row in found} == {("stated energy", day.number)}


def test_mains_that_are_not_there(sample_plan: Plan, sample_region: Region) -> None:
    """A night whose place has no power cannot have its fridge on mains, nor a night that counts on them."""
    day = next(d for d in sample_plan.days if d.night is not None and d.night.powered)
    assert day.night is not None
    days = list(sample_plan.days)
    days[day.number - 1] = replace(day, night=replace(day.night, powered=False))
    texts = [row.text for row in audit(replace(sample_plan, days=tuple(days)), sample_region) if row.what == "stated energy"]
    assert any("counts on mains" in text for text in texts)
    assert any("runs on mains" in text for text in texts)


def test_a_limit_on_the_fridge_is_checked(sample_plan: Plan, sample_region: Region) -> None:
    """A trip that allows less than a day's warm hours is told so, the day of pick-up left out."""
    for fridge, limit, expected in (("none", 0.0, True), ("none", 24.0, False), ("none", -1.0, False)):
        van = replace(sample_plan.trip.van, fridge_towing=fridge)
        days = tuple(replace(day, energy=None) for day in sample_plan.days)
        plan = replace(sample_plan, trip=replace(sample_plan.trip, van=van, fridge_limit_h=limit), days=days)
        found = {row.day for row in audit(plan, sample_region) if row.what == "fridge"}
        assert bool(found) == expected
        assert 1 not in found
