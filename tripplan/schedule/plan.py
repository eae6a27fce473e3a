"""A trip planned: candidates, ways, options, search, clock, and the plan that people read."""

from __future__ import annotations

import itertools
from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import date
from pathlib import Path

import numpy as np

from tripplan.almanac.hours import is_holiday
from tripplan.model.errors import BadInputError, NoPlanError
from tripplan.model.place import Place, Spot
from tripplan.model.plan import Cost, Day, Leg, Night, Plan, Proof
from tripplan.model.progress import Progress, silent
from tripplan.model.trip import Trip
from tripplan.region.columns import HIGHWAYS
from tripplan.region.geometry import great_circle_m
from tripplan.region.region import Region
from tripplan.schedule.again import Way, admit_others, way_of
from tripplan.schedule.arrays import comfort_cents
from tripplan.schedule.assemble import assemble, every_day_has_a_way
from tripplan.schedule.candidates import cast_of, kind_word
from tripplan.schedule.chances import Chances
from tripplan.schedule.clashes import forbidden_words
from tripplan.schedule.cold import too_warm
from tripplan.schedule.energy import day_energy
from tripplan.schedule.kept_off import day_closures, matches_of
from tripplan.schedule.laid import LaidDay, lay_days
from tripplan.schedule.levels import level_lines
from tripplan.schedule.lived import Lived
from tripplan.schedule.notes import assumptions_of, cautions_of, day_notes, presumed_of
from tripplan.schedule.orders import choose_orders
from tripplan.schedule.overdue_told import overdue_of
from tripplan.schedule.problem import Solution
from tripplan.schedule.timetable import clock_of, events_of, legs_of, task_of
from tripplan.schedule.together import Together, all_together, holds_of, no_plan_together
from tripplan.schedule.use import weather_of
from tripplan.schedule.ways import Ways, drive_cents, ways_of
from tripplan.schedule.work import Work
from tripplan.van.use import StayKind

__all__ = ["best_path", "make_plan", "plan_of", "prepare"]

#: So many days found impossible by the clock are more than any trip needs.
_MOST_FORBIDDEN = 2000
#: So many of them are told with their reasons.
_WHYS = 20
#: So many closures are named where they keep the van from the depot.
_MOST_SHUT = 4


def make_plan(
    trip: Trip,
    region: Region,
    *,
    cache: Path | None = None,
    progress: Progress | None = None,
    max_seconds: float | None = None,
    reasons: bool = True,
) -> Plan:
    """Plan a trip.

    Parameters
    ----------
    cache
        Folder for networks and tables of times; ``None``: the user's.
    max_seconds
        Where the search stops with the best plan so far and its gap; ``None``: it goes on to the proof.
    reasons
        Whether to look for the nearest plan where there is none; without it the error only says that there is none.

    Raises
    ------
    NoPlanError
        When no plan keeps to every limit; carries what the nearest one exceeds.
    BadInputError
        When the depot cannot be reached at all, or is closed, or a booked place takes no vans.
    """
    from tripplan.roads.cache import cache_folder

    tell = progress or silent
    cast, ways = prepare(trip, region, cache=cache, progress=tell)
    tell("Laying out the days that are possible", 0.0)
    work = assemble(trip, region, cast, ways)
    work.cache = cache if cache is not None else cache_folder()
    solution = best_path(work, progress=tell, max_seconds=max_seconds)
    together = Together(solution, None)
    if solution.arcs:
        together = all_together(work, solution, lambda w: best_path(w, progress=tell, max_seconds=max_seconds), progress=tell)
        solution = together.solution
    if not solution.arcs:
        if solution.status == "unknown":
            raise NoPlanError("the search was stopped before it found a plan or proved that there is none", proven=False)
        if not reasons:
            raise NoPlanError("no plan exists within the limits" if together.short is None else together.short.excess().text)
        from tripplan.schedule.explain import no_plan

        error = no_plan(work, progress=tell)
        raise error if together.short is None else no_plan_together(error, together.short)
    return plan_of(work, as_numbered_now(work, solution), together)


def prepare(trip: Trip, region: Region, *, cache: Path | None = None, progress: Progress = silent):  # type: ignore[no-untyped-def]
    """Choose the candidates of a trip and work out the ways between them; return both.

    Raises
    ------
    BadInputError
        When no road that the outfit may use leads to the depot.
    NoPlanError
        When closures or wind warnings of that day alone keep it from there.
    """
    if cache is None:
        from tripplan.roads.cache import cache_folder

        cache = cache_folder()
    progress("Choosing sites and service points", 0.0)
    cast = cast_of(trip, region, _in_reach(trip, region))
    ways = ways_of(trip, region, cast, cache=cache, progress=progress)
    unreached = _depot_unreached(trip, ways)
    if unreached is None:
        return cast, ways
    spot, word, day, why = unreached
    holding = [f"{closure.name} ({closure.dates})" for closure in trip.closures if closure.holds(day)]
    if holding:
        prepare(
            replace(trip, closures=()), region, cache=cache, progress=progress
        )  # off every road without them too: then that is said
        more = f" and {len(holding) - _MOST_SHUT} more" if len(holding) > _MOST_SHUT else ""
        raise NoPlanError(
            f"the van cannot reach {spot.name} on the day of {word}, {day.isoformat()}, for what is closed or warned of then: "
            f"{', '.join(holding[:_MOST_SHUT])}{more}; wait until it is over, and ask the firm before you set off"
        )
    raise BadInputError(
        f"{spot.name!r} cannot be reached with the van: {why}", where=f"depot of {word}",
        next_step="choose a point on a sealed road, or allow a longer last mile",
    )  # fmt: skip


def _depot_unreached(trip: Trip, ways: list[Ways]) -> tuple[Spot, str, date, str] | None:
    """Return a depot that the van cannot reach on its day, which one it is, the day and why not."""
    last = len(trip.dates) - 1
    for way in ways:
        joined = way.joined_van
        if joined is None:
            continue
        for row, (spot, word, day) in enumerate(((trip.depot, "pick-up", 0), (trip.return_depot, "return", last))):
            if not joined.reached[row] and (way.days >> day & 1 or not trip.closures):
                return spot, word, trip.dates[day], joined.why_not[row]
    return None


def _in_reach(trip: Trip, region: Region) -> Callable[[Place], bool]:
    """Return a test that drops places too far for all the days together, as the crow flies at the towing limit."""
    speed = min(trip.outfit.towing_limit_kmh, trip.firm.towing_limit_kmh) / 3.6
    days = len(trip.dates)
    metres = speed * (trip.first_day_drive_s + (days - 1) * trip.max_drive_s)
    if trip.ferries and bool((region.ways.highway == HIGHWAYS.index("ferry")).any()):
        metres = max(speed, 30.0) * 86_400 * days  # at sea the driving limit does not count
    lon = np.array([p.lon for p in region.places])
    lat = np.array([p.lat for p in region.places])
    there = great_circle_m(trip.depot.lon, trip.depot.lat, lon, lat)
    back = great_circle_m(trip.return_depot.lon, trip.return_depot.lat, lon, lat)
    row = {p.index: k for k, p in enumerate(region.places)}
    near = there + back <= metres
    return lambda place: bool(near[row[place.index]])


def best_path(work: Work, *, progress: Progress = silent, max_seconds: float | None = None) -> Solution:
    """Search, and forbid days that the clock finds impossible, until the best path keeps its clock.

    The days of a path are first tried by the exact pass, which takes no time, then laid out by the model. What is forbidden cannot be, and
    whatever it had beaten comes back (``work`` changes), so the proof of the last search holds for the trip.
    """
    from tripplan.schedule.solve import solve

    if not every_day_has_a_way(work):
        return Solution("proven", (), 0, 0, 0, 0.0)
    labels, kept = 0, set[Way]()
    while True:
        solution = solve(work.problem, forbidden=frozenset(), max_seconds=max_seconds, progress=progress)
        labels += solution.labels
        if not solution.arcs:
            return replace(solution, labels=labels)
        ways = {way_of(work, d, arc): (d, arc) for d, arc in enumerate(solution.arcs)}
        bad = {way: at for way, at in ways.items() if way not in kept and clock_of(work, *at).fault is not None}
        kept.update(way for way in ways if way not in bad)
        if not bad:
            laid = laid_days(work, solution.arcs)
            bad = {way: at for (way, at), day in zip(ways.items(), laid, strict=True) if day is None or too_warm(work, *at, day)}
        if not bad:
            choose_orders(work, solution.arcs)
            work.found[id(solution.arcs)] = solution.arcs, tuple(way_of(work, d, arc) for d, arc in enumerate(solution.arcs))
            return replace(solution, labels=labels)
        if len(work.shut) > _MOST_FORBIDDEN:
            return Solution("unknown", (), 0, solution.bound, labels, solution.seconds)
        work.forbidden_why += [forbidden_words(work, *at) for at in bad.values()][: _WHYS - len(work.forbidden_why)]
        work.shut.update(dict.fromkeys(bad))
        work.become(admit_others(work, work.shut, bad))


def as_numbered_now(work: Work, solution: Solution) -> Solution:
    """Return a path found before with its arcs as the problem numbers them now."""
    kept = work.found.get(id(solution.arcs))
    if kept is None:
        return solution
    o = work.options
    arcs = []
    for d, start, end, car, first, second, third in kept[1]:
        same = (
            (o.start == start) & (o.end == end) & (o.car == car) & (o.first == first) & (o.second == second) & (o.third == third)
        )
        arcs.append(int(np.flatnonzero(same & (o.days >> np.uint64(d) & np.uint64(1) != 0))[0]))
    return replace(solution, arcs=tuple(arcs))


def laid_days(work: Work, arcs: Sequence[int], legs: Sequence[tuple[Leg, ...]] = ()) -> list[LaidDay | None]:
    """Return the days of a path as the model lays them out."""
    tasks = [task_of(work, d, arc, legs[d] if legs else ()) for d, arc in enumerate(arcs)]
    busy = [task for task in tasks if task.legs]
    answers = iter(lay_days(busy, work.cache))
    return [next(answers) if task.legs else LaidDay(task.leave_from, ()) for task in tasks]


def _end_of(work: Work, arc: int) -> Spot:
    end = int(work.options.end[arc])
    return work.trip.return_depot if end == 1 else work.cast.sites[end - 2].spot


def plan_of(work: Work, solution: Solution, together: Together | None = None) -> Plan:
    """Put a path of arcs into words and numbers; ``together``: what it comes to, where that is known already."""
    arcs = [int(a) for a in solution.arcs]
    trip, region = work.trip, work.region
    lived = (together.lived if together is not None else None) or Lived(work, arcs)
    holds = holds_of(lived, together.least_cents if together is not None else 0)
    lines = level_lines(lived)
    days: list[Day] = []
    stay = 0
    all_legs = [legs_of(work, arc) for arc in arcs]
    all_laid = laid_days(work, arcs, all_legs)
    chances = Chances(work, arcs)
    for d, arc in enumerate(arcs):
        start, end = int(work.options.start[arc]), int(work.options.end[arc])
        if d == 0 and work.options.car[arc] and trip.under_way is not None:
            stay = trip.under_way.nights_here
            start = end
        stay = stay + 1 if start == end else 1
        legs, laid = all_legs[d], all_laid[d]
        events = events_of(work, d, arc, clock_of(work, d, arc, legs, laid), laid.spare if laid is not None else (), legs)
        events = chances.put(d, events)
        night = _night(work, d, end, stay) if end != 1 else None
        spot = _end_of(work, arc)
        begin = trip.depot if start == 0 else work.cast.sites[start - 2].spot
        sun = _sun(trip, d, spot)
        weather = weather_of(trip, d, spot.lat)
        kind = "standing" if work.options.car[arc] else "towing"
        day = Day(
            d + 1, trip.dates[d], kind, begin, spot, legs, events, night, lines[d], sun[0], sun[1],
            f"{weather.low_c:.0f} to {weather.high_c:.0f} °C, sun {weather.sun_kwh_per_m2:.1f} kWh/m² ({weather.source})",
        )  # fmt: skip
        day = replace(day, holiday="public holiday" if is_holiday(trip.dates[d], region.meta.country) else "")
        gives = work.cast.sites[end - 2].kind if end != 1 else StayKind()
        day = replace(day, energy=day_energy(trip, day, gives, weather))
        day = replace(day, closures=day_closures(work, d, day)) if trip.closures else day
        days.append(replace(day, notes=day_notes(work, arcs, day)))
    overdue = overdue_of(work, arcs, days)
    for number in sorted({1, *(o.day for o in overdue)}) if overdue else ():
        told = tuple(o.text for o in overdue if number in (1, o.day))
        days[number - 1] = replace(days[number - 1], notes=(*told, *days[number - 1].notes))
    cost = cost_of(work, arcs)
    proof = Proof(
        proven=solution.status == "proven",
        gap=0.0 if solution.status == "proven" else (solution.cost - solution.bound) / max(1, abs(solution.cost)),
        bound_cents=int(solution.bound),
        labels=solution.labels,
        forbidden_days=len(work.shut),
        method="exact search over days: options of a day, backward bound, labels with dominance, clock of each day",
        forbidden_why=tuple(work.forbidden_why),
    )
    return Plan(
        trip, region.meta.name, region.meta.key, region.meta.data_date, tuple(days), cost, proof,
        presumed_of(work, arcs), cautions_of(work, arcs, days), assumptions_of(work, arcs, holds, cost.total_cents), holds=holds,
        closures=matches_of(work), overdue=overdue,
    )  # fmt: skip


def _sun(trip: Trip, day: int, spot: Spot):  # type: ignore[no-untyped-def]
    from tripplan.almanac.sun import sun_day

    sun = sun_day(trip.dates[day], spot.lon, spot.lat, trip.tz)
    whole = [m.replace(microsecond=0) if m else None for m in (sun.sunrise, sun.sunset)]
    return whole[0], whole[1]


def _night(work: Work, day: int, place: int, stay: int) -> Night:
    from tripplan.van.energy import runs_on

    site, trip = work.cast.sites[place - 2], work.trip
    weather = weather_of(trip, day, site.spot.lat)
    return Night(
        site.spot, site.ref, kind_word(site), site.kind.powered, site.price_cents, site.price_known, stay, dict(site.offers),
        runs_on(trip.van, trip.party, weather, site.kind),
    )  # fmt: skip


def cost_of(work: Work, arcs: Sequence[int]) -> Cost:
    """Take the cost of a path apart; its parts add up to what the search counted."""
    p, o, trip = work.problem, work.options, work.trip
    nights = km = services = drive = stops = ones = comfort = 0
    run = 0
    for d, arc in enumerate(arcs):
        table = work.ways_of(arc).car if o.car[arc] else work.ways_of(arc).van
        points = work.points(arc)
        for a, b in itertools.pairwise(points):
            km += int(table.km_cents[a, b])
            at_wheel = int(drive_cents(table.drive_s[a, b], trip.weights))
            drive += at_wheel
            comfort += int(table.cents[a, b] - table.km_cents[a, b]) - at_wheel
        for stop in work.stops(arc):
            services += stop.cents
            stops += stop.charge_cents
        start, end = int(o.start[arc]), int(o.end[arc])
        if start != end:
            ones += trip.weights.one_night_cents if run == 1 else 0
            run = 0
        run += 1
        if end != 1:
            lacking = comfort_cents(trip.weights, work.cast.sites[end - 2].kind)
            nights += int(p.night_cost[d, end]) - lacking
            comfort += lacking
    value = sum(s.value_cents for n, s in enumerate(trip.sights) if not s.must and seen(work, arcs, n))
    total = nights + km + services + drive + stops + ones + comfort - value
    return Cost(nights, km, services, drive, stops, ones, value, total, comfort)


def seen(work: Work, arcs: Sequence[int], sight: int) -> bool:
    """Say whether a path sees a sight, by hours or by nights near it."""
    if any(int(work.options.sights[a]) >> sight & 1 for a in arcs):
        return True
    nights = sum(int(work.problem.cover[int(work.options.end[a]), sight]) for a in arcs[:-1])
    return bool(work.trip.sights[sight].nights) and nights >= work.trip.sights[sight].nights
