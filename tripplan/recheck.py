"""Whether a plan handed out earlier still holds on today's map, closures and forecast, and the smallest repair."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date
from itertools import combinations

from tripplan.carry import Lines, carry
from tripplan.model.errors import BadInputError, NoPlanError
from tripplan.model.place import Spot
from tripplan.model.plan import Day, Finding, Plan
from tripplan.model.progress import Progress, silent
from tripplan.model.trip import Booking, Trip
from tripplan.model.van import DayWeather
from tripplan.region.region import Region

__all__ = ["Recheck", "Repair", "changed_days", "recheck", "repair"]

#: Findings that say that a figure on the papers is another one now; what they are about may still hold.
_FIGURES = frozenset(
    ("length", "presumed metres", "unknown metres", "driving time", "cost", "spare", "phone first", "sun", "stated level", "stated energy", "stated confidence", "holiday", "name", "stated offer")
)  # fmt: skip
#: All sets of nights are tried up to so many nights; of more, only nights in a row.
_EVERY_SET = 2


@dataclass(frozen=True)
class Recheck:
    """What a plan comes to today.

    Parameters
    ----------
    plan
        The plan on today's map, with the closures and the weather known today.
    broken
        What no longer holds. figures: what is another figure now than on the papers, though it still holds.
    unknown_ways
        Legs whose line nobody knows any more: today's quickest way was checked for them.
    """

    plan: Plan
    broken: tuple[Finding, ...]
    figures: tuple[Finding, ...]
    unknown_ways: int = 0


@dataclass(frozen=True)
class Repair:
    """A plan that holds, with as many nights of an earlier one kept as could be.

    Parameters
    ----------
    freed
        Dates of the nights that were not held to be where they were.
    tried
        How many sets of nights were tried before this one, each proved to give no plan.
    least
        Whether no smaller number of nights will do: every set of fewer nights was tried.
    """

    plan: Plan
    freed: tuple[date, ...]
    tried: int
    least: bool


def recheck(
    plan: Plan,
    region: Region,
    *,
    lines: Lines | None = None,
    closures: Callable[[Trip], Trip] | None = None,
    weather: Sequence[tuple[date, DayWeather]] = (),
) -> Recheck:
    """Hold a plan against today's map, closures and forecast, by the checks of the audit.

    Parameters
    ----------
    lines
        Lines of the legs as driven (`tripplan.carry`), where the map is not the plan's own.
    closures
        Gives a trip the closures known today.
    weather
        Forecast by date; days without one keep what was planned with.
    """
    from tripplan.audit.run import audit

    trip = closures(plan.trip) if closures is not None else plan.trip
    if weather:
        days = {**dict(trip.weather_days), **{day: w for day, w in weather if day in trip.dates}}
        trip = replace(trip, weather_days=tuple(sorted(days.items())))
    carried = carry(replace(plan, trip=trip), region, lines or {})
    found = (*carried.changed, *audit(carried.plan, region))
    return Recheck(
        carried.plan,
        tuple(f for f in found if f.what not in _FIGURES),
        tuple(f for f in found if f.what in _FIGURES),
        carried.unknown_ways,
    )


def repair(checked: Recheck, region: Region, *, seconds: float = 120.0, progress: Progress = silent) -> Repair:
    """Plan again with as many nights kept as possible: none freed, then one, then two ..., those nearest to what broke first.

    Up to two nights every set is tried, so that fewer are proved not to do; of more only nights in a row.

    Raises
    ------
    NoPlanError
        When not even the free trip has a plan, or time ran out.
    """
    from tripplan.pipeline import FailedAuditError, audited_plan
    from tripplan.schedule.plan import make_plan

    began = time.monotonic()
    trip = checked.plan.trip
    booked = {booking.night for booking in trip.bookings}
    nights = {day.date: day.night.spot for day in checked.plan.days if day.night is not None and day.night.spot.place >= 0}
    free = [day.date for day in checked.plan.days[:-1] if day.date not in booked]
    broken = [f.day for f in checked.broken if f.day] or [day.number for day in checked.plan.days]
    first = trip.dates[0]
    gone = {day for day in free if day not in nights}

    def without(freed: frozenset[date]) -> Trip:
        kept = [Booking(day, spot) for day, spot in nights.items() if day not in freed and day not in booked]
        return replace(trip, bookings=tuple(sorted((*trip.bookings, *kept), key=lambda b: b.night)))

    progress("Looking whether any plan exists", 0.0)
    make_plan(trip, region, reasons=False)
    tried, every = 0, True
    for freed, whole in _sets(free, gone, lambda day: min(_away((day - first).days + 1, d) for d in broken)):
        if time.monotonic() - began > seconds:
            raise NoPlanError(
                f"a plan exists, but none was found in {seconds:g} s that keeps most nights; {tried} sets of nights were tried",
                proven=False,
            )
        every &= whole
        progress(f"Planning again with {len(freed)} nights free", min((time.monotonic() - began) / max(seconds, 1e-9), 1.0))
        try:
            plan = audited_plan(without(freed), region)
        except (NoPlanError, BadInputError, FailedAuditError):
            tried += 1
            continue
        # The nights kept were a way to search: nobody has booked them.
        return Repair(replace(plan, trip=replace(plan.trip, bookings=trip.bookings)), tuple(sorted(freed)), tried, every)
    raise NoPlanError("no plan exists within the limits")


def _away(number: int, broken: int) -> float:
    """Return how far a night is from a day that broke: the nights before and after it come first."""
    return 0.0 if number in (broken, broken - 1) else min(abs(number - broken), abs(number - broken + 1))


def _sets(free: Sequence[date], gone: set[date], away: Callable[[date], float]) -> Iterator[tuple[frozenset[date], bool]]:
    """Yield sets of nights to free, fewest first, and whether all sets so small are among them; places gone are always free."""
    rest = [day for day in free if day not in gone]
    for size in range(len(rest) + 1):
        if size <= _EVERY_SET:
            sets = sorted(combinations(rest, size), key=lambda s: (sum(map(away, s)), s))
        else:
            rows = [tuple(rest[k : k + size]) for k in range(len(rest) - size + 1)]
            sets = sorted(rows, key=lambda s: (sum(map(away, s)), s))
        for one in sets:
            yield frozenset(one) | gone, size <= _EVERY_SET + 1


def changed_days(before: Plan, after: Plan) -> list[tuple[Day, Day]]:
    """Return the days that are not as they were: another night, another road or another stop."""
    return [(one, two) for one, two in zip(before.days, after.days, strict=False) if _essence(one) != _essence(two)]


def _essence(day: Day) -> object:
    runs = tuple((leg.mode, leg.runs.piece, leg.runs.forward) for leg in day.legs if leg.runs.piece)
    stops = tuple((e.kind, *_at(e.spot), e.stores) for e in day.events if e.kind in ("service", "sight") and e.spot)
    return day.kind, *_at(day.end), runs, stops


def _at(spot: Spot) -> tuple[float, float]:
    return round(spot.lon, 5), round(spot.lat, 5)  # a plan read from a file is rounded
