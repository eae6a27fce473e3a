"""Why there is no plan: the nearest one, and each limit that it breaks, on which day and by how much.

Limits on stores, driving, arrival, days without towing and must sights get a price so high that the plan of least cost is
the one of least excess. A hundredth of a store's limit, a minute at the wheel and a minute of lateness weigh the same; a must
sight missed weighs as much as a hundred of them, and so does towing on a day without towing. Counted limits (budget, powered nights, one-night
stays) stay hard at first and are dropped when nothing works with them. What is over a store's limit counts once: what a later day adds
before the store is served again counts as so much more.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from tripplan.model.errors import NoPlanError
from tripplan.model.plan import Excess
from tripplan.model.progress import Progress, silent
from tripplan.model.words import STORES, day_name
from tripplan.schedule.assemble import assemble, every_day_has_a_way
from tripplan.schedule.clashes import missed_services, reasons_of
from tripplan.schedule.cold import fridge_excess_h
from tripplan.schedule.solve import solve
from tripplan.schedule.timetable import clock_of
from tripplan.schedule.walk import walk
from tripplan.schedule.ways import FAR, Ways
from tripplan.schedule.work import Slack, Work

__all__ = ["excesses_of", "no_plan"]

#: Cents that one point of excess costs: far more than it could save.
_POINT = 20_000
#: How far the nearest plan is looked for in all, in additions: some 10 s compiled, and the same plan on every machine.
MOST_WORK = 1e11
#: What one search may use at most of the work that is left, the last all of it: each way to look gets its turn.
_SHARE = 0.6
#: How many times the driving limits are tried: more where nothing less works, or a longer drive could come to less in all.
FACTORS = (2.0, 6.0)


#: What was looked for and not to the end, by whether the limits on budget, powered nights and short stays were kept.
_LOOKED = {
    True: "days of up to {:g} times the driving limit",
    False: "days of up to {:g} times the driving limit, with budget, powered nights and short stays left open",
}


def no_plan(work: Work, *, progress: Progress = silent) -> NoPlanError:
    """Return the error that names the nearest plan's excesses.

    All searches for it share one bound of work, `MOST_WORK`; what was not looked through to the end is named in the error.
    """
    certain, left = _certain(work), MOST_WORK
    cut: list[str] = []
    for counters in (True, False):
        best: tuple[int, tuple[Excess, ...]] | None = None
        for factor in FACTORS:
            last = not counters and factor == FACTORS[-1]
            progress("Looking for the nearest plan", float("nan"))
            slack = Slack(_POINT, _POINT, 100 * _POINT, 100 * _POINT, factor, counters)
            loose = assemble(work.trip, work.region, work.cast, work.ways, slack, work.hours, work.use.pick_up.held.shares)
            if not every_day_has_a_way(loose):
                continue
            solution = solve(loose.problem, max_work=left if last else _SHARE * left)
            left = max(0.0, left - solution.notes["work"])
            if solution.status != "proven":
                cut.append(_LOOKED[counters].format(factor))
            if not solution.arcs:
                continue
            if best is None or solution.cost < best[0]:
                found = (*certain, *excesses_of(loose, solution.arcs, counters=counters))
                best = solution.cost, tuple(dict.fromkeys(found))
            if best[1] and counters and solution.status == "proven" and solution.cost <= _farther(work, factor):
                # The nearest plan is looked for without the fridge, which only a whole day tells.
                return NoPlanError(_message(best[1]), best[1], least=all(e.what != "fridge" for e in best[1]))
        if best is not None and best[1]:
            return NoPlanError(_message(best[1]), best[1], least=False, cut=tuple(cut))
    found = certain or _stranded(work)
    why = _message(found) if found else "no plan exists within the limits"
    return NoPlanError(why, found, least=not cut, cut=tuple(cut))


def _stranded(work: Work) -> tuple[Excess, ...]:
    """Name the day on which the van can go nowhere, however long it may drive, and why."""
    trip, problem, sites = work.trip, work.problem, work.cast.sites
    at = np.zeros(2 + len(sites), dtype=bool)
    at[0] = True
    for d in range(problem.days):
        ways = next(w for w in work.ways if w.days >> d & 1)
        rows = 2 + len(sites)
        joined = ways.van.total_s[:rows, :rows] < FAR
        reached = (joined[at].any(axis=0) | at) if at.any() else at
        if d == problem.days - 1:
            if not joined[at, 1].any():
                text = (
                    f"{_day(work, d)}: no way leads back to {trip.return_depot.name}{_shut_on(work, d) or _apart(ways, at, [1])}"
                )
                return (Excess("way", trip.first_number + d, 1, "day", text),)
            break
        reached[:2] = False
        after = reached & (problem.night_cost[d, :rows] >= 0)
        if not after.any():
            why = (_site_whys(ways, len(sites)) if d == 0 else _shut_on(work, d)) or _apart(ways, at, range(2, 2 + len(sites)))
            text = f"{_day(work, d)}: no site for the night can be reached with the van from {_from(work, at)}{why}"
            return (Excess("way", trip.first_number + d, 1, "day", text),)
        at = after
    return ()


def _from(work: Work, at: NDArray[np.bool_]) -> str:
    names = [work.trip.depot.name, work.trip.return_depot.name, *(s.spot.name for s in work.cast.sites)]
    here = [name for name, is_there in zip(names, at, strict=True) if is_there and name]
    return " or ".join(here[:3]) + (f" or {len(here) - 3} other places" if len(here) > 3 else "")


def _site_whys(ways: Ways, sites: int) -> str:
    """Say why sites are not joined to the roads of the depot, the most frequent reasons first."""
    if ways.joined_van is None or not sites:
        return ""
    counts = Counter(why for why in ways.joined_van.why_not[2 : 2 + sites] if why)
    parts = [
        f"{why} ({n} {'site' if n == 1 else 'sites'})" for why, n in sorted(counts.items(), key=lambda item: (-item[1], item[0]))
    ]
    return f": {'; '.join(parts[:3])}" if parts else ""


def _apart(ways: Ways, at: NDArray[np.bool_], ends: Sequence[int]) -> str:
    """Say what stands between two places of the road network that no way joins, "" where there is no such pair."""
    joined = ways.joined_van
    if joined is None:
        return ""
    from tripplan.roads.apart import why_apart

    pairs = ((i, j) for i in np.flatnonzero(at).tolist() for j in ends if i != j and joined.reached[i] and joined.reached[j])
    why = next((text for i, j in pairs if (text := why_apart(joined, i, j))), "")
    return f" ({why})" if why else ""


def _shut_on(work: Work, d: int) -> str:
    """Name roads that are closed by date on a day."""
    from tripplan.roads.closures import closure_sets

    region, trip = work.region, work.trip
    day = trip.dates[d]
    closed = closure_sets(region, (day,), hours=trip.road_hours, outfit=trip.outfit)[0].closed
    names = sorted({region.string(int(region.ways.name[row])) or f"way {int(region.ways.osm_id[row])}" for row in closed})
    names += [f"{c.name}{' (wind warning)' if c.kind == 'wind' else ''}" for c in trip.closures if c.holds(day)]
    return f" (closed that day: {', '.join(names[:4])}{' and others' if len(names) > 4 else ''})" if names else ""


def _farther(work: Work, factor: float) -> int:
    """Return the least that a plan costs which drives longer on a day than was tried: what costs less is the nearest of all."""
    trip = work.trip
    limit = min(trip.first_day_drive_s, trip.max_drive_s)
    return round(_POINT * (factor - 1) * limit / 60) - 100 * _POINT * sum(s.must for s in trip.sights)


def _message(found: Sequence[Excess]) -> str:
    """One line: each limit once, where it is first broken, and how much it is in all."""
    groups: dict[str, list[Excess]] = {}
    for e in found:
        groups.setdefault(e.what, []).append(e)
    parts = [
        rows[0].text + (f" ({sum(e.amount for e in rows):.4g} {rows[0].unit} in all)" if len(rows) > 1 else "")
        for rows in groups.values()
    ]
    return "no plan keeps to every limit; the nearest one breaks these: " + "; ".join(parts)


def _day(work: Work, d: int) -> str:
    return day_name(work.trip.dates[d])


def _certain(work: Work) -> tuple[Excess, ...]:
    """Name what no search could mend: sights without a road, nights without a site."""
    trip, cast = work.trip, work.cast
    found = []
    for s, sight in enumerate(trip.sights):
        if not sight.must or int(work.problem.cover[:, s].any()):
            continue
        if sight.nights:
            text = f"no site that may be offered lies within {sight.near_km:g} km of {sight.spot.name}"
            found.append(Excess("sight", 0, sight.nights, "nights", text))
            continue
        whys = _whys(work, s)
        if whys:
            found.append(Excess("sight", 0, sight.hours, "h", f"{sight.spot.name} cannot be reached: {'; '.join(whys)}"))
    for d in range(trip.nights):
        if not (work.problem.night_cost[d] >= 0).any():
            left = f" ({len(cast.left_out)} sites of the map are left out: {_reasons(cast.left_out)})" if cast.left_out else ""
            found.append(Excess("night", trip.first_number + d, 1, "night", f"{_day(work, d)}: no site for the night{left}"))
    return tuple(found)


def _reasons(left: Sequence[tuple[str, str]]) -> str:
    counts: dict[str, int] = {}
    for _, why in left:
        counts[why] = counts.get(why, 0) + 1
    return ", ".join(f"{n} {why}" for why, n in sorted(counts.items(), key=lambda item: (-item[1], item[0]))[:4])


def _whys(work: Work, sight: int) -> list[str]:
    """Return why a sight is reached neither with the van nor by car; empty when it is reached in some way."""
    whys: list[str] = []
    ways = work.ways[0]
    pools = ((ways.joined_van, work.cast.van_stops, 2 + len(work.cast.sites), "with the van"),
             (ways.joined_car, work.cast.car_stops, len(work.cast.sites), "by car"))  # fmt: skip
    for joined, stops, first, how in pools:
        for row, stop in enumerate(stops):
            if stop.sight != sight:
                continue
            if joined is None or joined.reached[first + row]:
                return []
            whys.append(f"{how}: {joined.why_not[first + row]}")
    return whys


#: What a store is called, and how to say that it is past its limit, first and then by so much more.
_PAST = {
    "fresh": ("the fresh water is {} short", "{} more of fresh water"),
    "grey": ("the grey barrel is {} over its limit", "{} more of grey water"),
    "cassette": ("the cassette is {} over its limit", "{} more in the cassette"),
    "flush": ("the flush water is {} short", "{} more of flush water"),
    "gas": ("the gas is {} short", "{} more of gas"),
    "battery": ("the battery is {} below its limit", "{} more from the battery"),
}
_BACK = {
    "grey": "the grey barrel comes back {} too full", "cassette": "the cassette comes back {} too full",
    "gas": "the gas comes back {} below the firm's mark",
}  # fmt: skip


def _stores(work: Work, arcs: Sequence[int]) -> list[Excess]:
    """Name what each day adds to what is over the limit of a store, day and night after it taken together."""
    p = work.problem
    states = walk(p, arcs)
    rows: dict[tuple[int, int, str], int] = {}
    order: list[tuple[int, int, str]] = []
    since: dict[int, tuple[int, int, str]] = {}
    for over in states[-1].excesses if states else ():
        r, d = over.store, over.day
        before = since.get(r)
        served_now = over.when != "day" and bool((int(p.arc_reset[arcs[d]]) | int(p.arrive_reset[p.arc_to[arcs[d]]])) >> r & 1)
        if over.when == "night" and before == (d, r, "day") and not served_now:
            rows[d, r, "night"] = rows.pop(before) + over.units
            order[order.index(before)] = since[r] = (d, r, "night")
            continue
        key = (d, r, over.when)
        rows[key] = over.units
        order.append(key)
        since[r] = key
    found, last = [], dict[int, int]()
    for d, r, when in order:
        store, amount = STORES[r], _more(work, r, rows[d, r, when], goal=when == "goal")
        said = f"{amount:.2f} kg" if store.unit == "kg" else f"{amount:.1f} {store.unit}"
        again = r in last and not _served_between(work, arcs, r, last[r], d, when)
        last[r] = d
        if when == "goal":
            text = _BACK.get(store.value, _PAST[store.value][0] + " at the return").format(said)
        else:
            standing = bool(work.options.car[arcs[d]])
            until = {"day": "by the evening" if standing else "on the way", "night": "by the next morning"}[when]
            text = f"{_PAST[store.value][again].format(said)} {until}"
        if d == 0 and when == "night" and work.use.pick_up.dry[r]:
            dry_when = "at pick-up" if work.trip.under_way is None else "now"
            text += f" (it is empty {dry_when}, and nothing fills it before the first night)"
        what = f"{store.value} at the return" if when == "goal" else store.value
        why = missed_services(work, d, arcs[d], r)
        found.append(Excess(what, work.trip.first_number + d, amount, store.unit, f"{_day(work, d)}: {text}", why))
    return found


def _more(work: Work, r: int, units: int, *, goal: bool) -> float:
    """What is used beyond a limit at the confidence, of which the search counts the mean [L, kg, Ah]."""
    from tripplan.van.limits import UNITS_PER
    from tripplan.van.spread import raised

    held, p = work.use.pick_up.held, work.problem
    limit = int(p.goal_cap[r] if goal else p.cap[r])
    mean = np.array([limit, limit + units]) / UNITS_PER[r]
    at, beyond = raised(mean, held.shared[r] * mean, held.daily[r] * mean, float(held.z[r])).tolist()
    return float(beyond - at)


def _served_between(work: Work, arcs: Sequence[int], r: int, before: int, d: int, when: str) -> bool:
    """Say whether a store is served after the excess of one day and before that of another."""
    p = work.problem
    at_sites = any(int(p.leave_reset[p.arc_to[arcs[k]]]) >> r & 1 for k in range(before, d))
    on_the_way = any(int(p.arc_reset[arcs[k]]) >> r & 1 for k in range(before + 1, d + (when != "day")))
    here = when == "night" and before == d and bool((int(p.arc_reset[arcs[d]]) | int(p.arrive_reset[p.arc_to[arcs[d]]])) >> r & 1)
    return at_sites or on_the_way or here


def excesses_of(work: Work, arcs: Sequence[int], *, counters: bool = True) -> tuple[Excess, ...]:
    """Return every limit that a path of a problem with slack breaks, in the order of its days."""
    trip, o = work.trip, work.options
    found = _stores(work, arcs)
    for d, arc in enumerate(arcs):
        limit = min(trip.first_day_drive_s, trip.max_drive_s) if d == 0 else trip.max_drive_s
        more = (int(o.drive_s[arc]) - limit) / 60
        if more > 0:
            where = f"{_name(work, int(o.start[arc]))} to {_name(work, int(o.end[arc]))}"
            text = f"{_day(work, d)}: {more:.0f} min more at the wheel than the limit of {limit / 3600:g} h ({where})"
            found.append(Excess("driving", trip.first_number + d, round(more, 1), "min", text))
        fault = clock_of(work, d, arc).fault
        if fault is not None:
            late = fault.seconds / 60
            what = {
                "arrival": "late return" if d == len(arcs) - 1 else "arrival",
                "opens": "opening hours",
                "end": "opening hours",
            }[fault.what]
            where = f"at {work.stops(arc)[fault.number].spot.name if fault.number >= 0 else _name(work, int(o.end[arc]))}"
            if fault.what == "opens" and fault.number < 0:
                where = "for the ferry"
            text = f"{_day(work, d)}: {late:.0f} min too late {where}"
            found.append(Excess(what, trip.first_number + d, round(late, 1), "min", text, reasons_of(work, d, arc)))
        warm_h = fridge_excess_h(work, d, arc) if fault is None else 0.0
        if warm_h > 0:
            text = (
                f"{_day(work, d)}: the fridge is above 5 °C for {warm_h:.1f} h more than the limit of {trip.fridge_limit_h:g} h"
            )
            found.append(Excess("fridge", trip.first_number + d, round(warm_h, 1), "h", text))
        if trip.dates[d] in trip.no_towing and not o.car[arc]:
            found.append(Excess("no towing", trip.first_number + d, 1, "day", f"{_day(work, d)}: towing on a day without towing"))
    found += _missed(work, arcs)
    if not counters:
        found += _counted(work, arcs)
    return tuple(found)


def _missed(work: Work, arcs: Sequence[int]) -> list[Excess]:
    from tripplan.schedule.plan import seen

    found = []
    for s, sight in enumerate(work.trip.sights):
        if sight.must and not seen(work, arcs, s):
            amount, unit = (sight.nights, "nights") if sight.nights else (sight.hours, "h")
            text = f"no time for {sight.spot.name}, which must be seen"
            if sight.nights:
                wish = f"{sight.nights} nights" if sight.nights > 1 else "one night"
                text = f"no room for {wish} within {sight.near_km:g} km of {sight.spot.name}, as wished"
            found.append(Excess("sight", 0, amount, unit, text))
    return found


def _counted(work: Work, arcs: Sequence[int]) -> list[Excess]:
    """Limits over the whole trip that a path found without them breaks."""
    from tripplan.schedule.plan import cost_of

    trip, o = work.trip, work.options
    found = []
    money = cost_of(work, arcs).money_cents
    if 0 <= trip.budget_cents < money:
        over = (money - trip.budget_cents) / 100
        text = f"{over:.2f} more than the budget of {trip.budget_cents / 100:.2f} {trip.firm.currency}".rstrip()
        found.append(Excess("budget", 0, over, "money", text))
    nights = [int(o.end[a]) for a in arcs[:-1]]
    powered = sum(work.cast.sites[n - 2].kind.powered for n in nights)
    if powered < trip.powered_nights_at_least:
        short = trip.powered_nights_at_least - powered
        found.append(Excess("powered nights", 0, short, "nights", f"{short} powered nights too few"))
    edges = np.flatnonzero(np.concatenate(([1], np.diff(nights), [1])))
    single = int((np.diff(edges) == 1).sum())
    if 0 <= trip.max_one_night_stays < single:
        over_stays = single - trip.max_one_night_stays
        found.append(Excess("one-night stays", 0, over_stays, "stays", f"{over_stays} one-night stays too many"))
    return found


def _name(work: Work, place: int) -> str:
    return (work.trip.depot, work.trip.return_depot)[place].name if place < 2 else work.cast.sites[place - 2].spot.name
