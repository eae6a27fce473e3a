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

__all__ = ["Recheck", "Repair", "changed_days", "check_fit", "past_words", "recheck", "repair", "repair_proof"]

#: Findings that say that a figure on the papers is another one now; what they are about may still hold.
_FIGURES = frozenset(
    ("length", "presumed metres", "unknown metres", "driving time", "cost", "spare", "phone first", "sun", "stated level", "stated energy", "stated confidence", "holiday", "name", "stated offer")
)  # fmt: skip
#: All sets of nights are tried up to so many nights; of more, only nights in a row.
_EVERY_SET = 2
#: Of sets as small as the first that gives a plan, at most so many more are tried for the one that changes least.
_MOST_ALIKE = 4
#: A place of the plan lies where its map has it, within so much [degrees]: about 200 m.
_SAME_PLACE = 2e-3


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
        How many sets of nights gave no plan.
    least
        Whether no smaller number of nights will do: every set of fewer nights was proved to give no plan.
    moved
        How many nights are spent elsewhere than they were.
    at_least
        So many nights must be spent elsewhere in any repair, proven; the gap to it is what is not known.
    alike
        Whether every set of as many nights was tried too, so that none of them changes fewer days, or fewer km.
    """

    plan: Plan
    freed: tuple[date, ...]
    tried: int
    least: bool
    moved: int
    at_least: int
    alike: bool


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

    Raises
    ------
    BadInputError
        When it cannot be a plan of this region (`check_fit`).
    """
    from tripplan.audit.run import audit

    check_fit(plan, region)
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


def check_fit(plan: Plan, region: Region) -> None:
    """Refuse a plan that this region's map cannot have given, and one whose nights do not count up.

    Raises
    ------
    BadInputError
        A depot off the map; a place that is not the one the map has under its number; a night that is no first, second ... one.
    """
    from tripplan.region.geometry import ROAD_REACH_M
    from tripplan.request.spots import on_map, road_m

    for name, spot in (("pick_up", plan.trip.depot), ("return", plan.trip.return_depot)):
        if not on_map(region, spot.lon, spot.lat) and road_m(region, spot.lon, spot.lat) > ROAD_REACH_M:
            raise BadInputError(
                f"{spot.name!r}, {spot.lat:.4f}, {spot.lon:.4f}, lies off the map of {region.meta.name!r}", where=f"the plan's {name}",
                accepted=f"the region that the plan was made on, {plan.region_name!r}, or a newer one of it", next_step="give that region with --region",
            )  # fmt: skip
    for day in plan.days:
        if day.night is not None and day.night.stay_night < 1:
            raise BadInputError(
                f"`stay_night` is {day.night.stay_night}", where=f"day {day.number} of the plan", accepted="1 for the first night at a place, then 2, 3 ...",
                next_step="make the plan again with `tripplan plan`",
            )  # fmt: skip
    if plan.region_key != region.meta.key:
        return  # another map numbers its places otherwise: they are looked for by what they are
    for where, spot in _spots(plan):
        row = spot.place
        place = region.places[row] if 0 <= row < len(region.places) else None
        if row >= 0 and (place is None or max(abs(place.lon - spot.lon), abs(place.lat - spot.lat)) > _SAME_PLACE):
            has = f"which is {place.name or place.ref!r}" if place is not None else f"of {len(region.places)}"
            raise BadInputError(
                f"{spot.name!r} has the place number {row}, {has} on this map", where=where, accepted="a place of the map, or -1 for a point",
                next_step="make the plan again with `tripplan plan`",
            )  # fmt: skip


def _spots(plan: Plan) -> Iterator[tuple[str, Spot]]:
    """Yield every spot of a plan and of its trip with what it is."""
    trip = plan.trip
    yield "the plan's pick_up", trip.depot
    yield "the plan's return", trip.return_depot
    yield from (("a sight of the plan's trip", sight.spot) for sight in trip.sights)
    yield from (("a booked night of the plan's trip", booking.spot) for booking in trip.bookings)
    yield from (("a place of the plan to phone first", one.spot) for one in plan.presumed_offers)
    for day in plan.days:
        where = f"day {day.number} of the plan"
        yield from ((where, spot) for spot in (day.start, day.end, *(e.spot for e in day.events if e.spot is not None)))
        if day.night is not None:
            yield where, day.night.spot


def past_words(plan: Plan, today: date) -> str:
    """Say that a trip is over, or has begun, so that the answer is read rightly; "" for one that lies ahead."""
    first, last = plan.trip.pick_up.date(), plan.trip.return_by.date()
    if last < today:
        return f"This trip was over on {last.day} {last:%B %Y}: the plan is held against today's map as if it were still to come."
    if first < today:
        return f"This trip began on {first.day} {first:%B %Y}: days that are past are held against today's map too."
    return ""


def repair_proof(mended: Repair) -> str:
    """Say in a few words what is known of how small a repair is."""
    if mended.moved <= mended.at_least:
        return "proven: no repair moves fewer nights" + ("" if mended.alike else "; others that move as many may change less")
    return f"proven is only that {mended.at_least} must move: repairs that move more were tried for nights in a row alone"


def repair(checked: Recheck, region: Region, *, seconds: float = 120.0, progress: Progress = silent) -> Repair:
    """Plan again with as many nights kept as possible: none freed, then one, then two ..., those nearest to what broke first.

    Up to two nights every set is tried, so that fewer are proved not to do; of more only nights in a row. Of sets that free as few
    nights as the first that gives a plan, the one counts that moves fewest nights, then changes fewest days, then adds fewest km.

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
    tried, more, whole_size, proven = 0, 0, True, -1
    best: tuple[tuple[int, int, float], frozenset[date], Plan] | None = None
    for freed, whole in _sets(free, gone, lambda day: min(_away((day - first).days + 1, d) for d in broken)):
        late = time.monotonic() - began > seconds
        if best is not None and (len(freed) > len(best[1]) or not whole):
            break
        if best is not None and (late or more == _MOST_ALIKE):
            whole_size = False
            break
        if late:
            raise NoPlanError(
                f"a plan exists, but none was found in {seconds:g} s that keeps most nights; {tried} sets of nights were tried",
                proven=False,
            )
        more += best is not None
        progress(f"Planning again with {len(freed)} nights free", min((time.monotonic() - began) / max(seconds, 1e-9), 1.0))
        try:
            plan = audited_plan(without(freed), region)
        except (NoPlanError, BadInputError, FailedAuditError) as error:
            tried += 1
            sure = isinstance(error, BadInputError) or (isinstance(error, NoPlanError) and error.proven)
            if best is None and not sure and proven < 0:
                proven = len(freed)  # beyond sets of this size nothing is proved any more
            continue
        size = _size(checked.plan, plan)
        if best is None or size < best[0]:
            best = size, freed, plan
    if best is None:
        raise NoPlanError("no plan exists within the limits")
    (moved, _, _), freed, plan = best
    at_least = min(len(freed), len(gone) + _EVERY_SET + 1, proven if proven >= 0 else len(freed))
    # The nights kept were a way to search: nobody has booked them.
    plan = replace(plan, trip=replace(plan.trip, bookings=trip.bookings))
    return Repair(plan, tuple(sorted(freed)), tried, moved <= at_least, moved, min(at_least, moved), whole_size)


def _size(before: Plan, after: Plan) -> tuple[int, int, float]:
    """Return how much a repair changes: nights elsewhere, days that change, km added."""
    days = changed_days(before, after)
    moved = sum(one.night is not None and two.night is not None and one.night.ref != two.night.ref for one, two in days)
    metres = [sum(leg.length_m for day in plan.days for leg in day.legs) for plan in (before, after)]
    return moved, len(days), round(metres[1] - metres[0], 1)


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
