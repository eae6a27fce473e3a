"""The energy that a plan tells of each day, worked out once more from its timetable: fridge, mains, gas off on the road, load."""

from __future__ import annotations

from datetime import date, datetime, time, timedelta
from math import isfinite

from tripplan.almanac.climate import weather_for
from tripplan.audit.findings import Findings
from tripplan.model.plan import Day, DayEnergy, Plan
from tripplan.model.van import Levels
from tripplan.model.words import Offer
from tripplan.region.region import Region
from tripplan.van.fridge import FridgeDay, lived_day
from tripplan.van.load import load_kg

__all__ = ["audit_energy"]

#: Rounding of what is told [°C, h, kg].
_SLACK = 0.06


def audit_energy(plan: Plan, region: Region, found: Findings) -> None:
    """Check what each day says of its energy; a plan that says nothing of it is held to its fridge limit alone."""
    for day in plan.days:
        towing = any(leg.mode == "van" for leg in day.legs)
        fridge = _fridge(plan, day) if towing else None
        limit = plan.trip.fridge_limit_h
        if fridge is not None and limit >= 0 and day.number > 1 and fridge.above_h > limit + _SLACK:
            found.add(
                "fridge",
                day.number,
                fridge.above_h - limit,
                "h",
                f"the fridge is above 5 °C for {fridge.above_h:.1f} h, the trip allows {limit:g} h",
            )
        if day.energy is not None:
            _told(plan, region, day, day.energy, fridge, found)


def _told(plan: Plan, region: Region, day: Day, energy: DayEnergy, fridge: FridgeDay | None, found: Findings) -> None:
    def say(text: str, amount: float = 1.0, unit: str = "") -> None:
        found.add("stated energy", day.number, amount, unit, text)

    towing = fridge is not None
    sails = any(leg.ferry_s > 0 for leg in day.legs if leg.mode == "van")
    off = {(line.when, line.runs_on) for line in energy.lines if line.what == "gas"}
    for when, there in (("towing", towing), ("ferry", sails)):
        if there and (when, "off at the bottle") not in off:
            say(f"does not say that gas is off at the bottle ({when})")
        if any(line.when == when and line.what != "gas" and "gas" in line.runs_on.split() for line in energy.lines):
            say(f"something runs on gas ({when})")
    mains = day.night is not None and day.night.powered and _has_power(plan, region, day)
    if not mains:
        if energy.mains in ("needed", "helps"):
            say("counts on mains that are not there")
        if any(line.when == "stay" and "mains" in line.runs_on for line in energy.lines):
            say("something runs on mains that are not there")
    if fridge is None:
        return
    if abs(fridge.warmest_c - energy.fridge_warmest_c) > _SLACK or abs(fridge.above_h - energy.fridge_above_h) > _SLACK:
        say(
            f"the fridge gets to {fridge.warmest_c:.1f} °C and is above 5 °C for {fridge.above_h:.1f} h",
            fridge.above_h - energy.fridge_above_h,
            "h",
        )
    recool = fridge.recool_h if isfinite(fridge.recool_h) else -1.0
    if abs(recool - energy.fridge_recool_h) > _SLACK:
        say("the fridge is not cold again when it is said to be", recool - energy.fridge_recool_h, "h")
    at = {line.store: line.leave for line in day.levels}
    fresh, grey, cassette, flush, gas = (at.get(store, 0.0) for store in ("fresh", "grey", "cassette", "flush", "gas"))
    load = load_kg(plan.trip.van, plan.trip.party, Levels(fresh, grey, cassette, flush, gas)).total_kg
    if abs(load - energy.carried_kg) > _SLACK or energy.payload_kg != plan.trip.van.payload_kg:
        say(f"{load:.0f} kg are carried, {plan.trip.van.payload_kg:.0f} kg may be", load - energy.carried_kg, "kg")


def _has_power(plan: Plan, region: Region, day: Day) -> bool:
    assert day.night is not None
    place = day.night.spot.place
    if not 0 <= place < len(region.places):
        return False
    return region.places[place].offer("power").answer >= (Offer.PRESUMED if plan.trip.presumed_offers else Offer.YES)


def _fridge(plan: Plan, day: Day) -> FridgeDay:
    """Live through the fridge's day: off at the wheel and aboard as the van has it, on gas at a stop that is long enough."""
    weather = weather_for(day.date, day.end.lat, plan.trip.weather, by_date=plan.trip.weather_days)
    parts: list[tuple[float, float, str]] = []
    for event in day.events:
        if event.kind not in ("drive", "ferry"):
            continue
        start, end = _hour(event.start, day.date), _hour(event.end, day.date)
        if parts and start > parts[-1][1]:
            parts.append((parts[-1][1], start, "stop"))
        parts.append((start, end, "towing" if event.kind == "drive" else "ferry"))
    return lived_day(
        plan.trip.van, weather, parts, start_c=weather.mean_c if day.number == 1 and plan.trip.under_way is None else None
    )


def _hour(moment: datetime, day: date) -> float:
    return (moment.replace(tzinfo=None) - datetime.combine(day, time())) / timedelta(hours=1)
