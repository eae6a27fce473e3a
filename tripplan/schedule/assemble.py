"""Trip, region and ways between places put into the arrays of a `Problem`, with what is needed to read its answer."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from tripplan.model.trip import Trip, Weights
from tripplan.model.words import STORES
from tripplan.region.geometry import great_circle_m
from tripplan.region.region import Region
from tripplan.schedule.candidates import Cast, Stop, pitch_of
from tripplan.schedule.hours import DayHours, hours_of
from tripplan.schedule.need import Need
from tripplan.schedule.options import Frame, Options, stand_options, tow_options
from tripplan.schedule.overdue import with_first_chances
from tripplan.schedule.problem import Problem
from tripplan.schedule.use import PickUp, Use, at_pick_up, blocks_of, drive_classes
from tripplan.schedule.ways import FAR, Table, Ways
from tripplan.van.use import StayKind

__all__ = ["COUNTERS", "Slack", "Work", "assemble", "classes_of", "every_day_has_a_way", "need_of", "tow_days", "work_of"]

I64 = NDArray[np.int64]
#: Names of the counters that a trip may limit.
COUNTERS: tuple[str, ...] = ("money", "unpowered nights", "one-night stays")


@dataclass(frozen=True)
class Slack:
    """Limits that may be passed for a price, to find the nearest plan when there is none.

    Parameters
    ----------
    store
        Cents for a hundredth of a store's limit. minute: for a minute of driving or lateness too much. sight: for a must
        sight missed. tow: for towing on a day without towing.
    factor
        How many times the driving limit is tried.
    counters
        Whether counters hold.
    """

    store: int = 0
    minute: int = 0
    sight: int = 0
    tow: int = 0
    factor: float = 1.0
    counters: bool = True


@dataclass
class Work:
    """A problem and how to read it: place 0 is pick-up, 1 the return, 2 + s site s.

    Parameters
    ----------
    options
        Row a of them is arc a of the problem. set_of: which of ``ways`` each holds on.
    penalty
        (A) cents of an arc that are a price for passing a limit.
    counters
        Names of the problem's counters in order.
    shut, forbidden_why
        Ways to spend a day (see `again`) that the clock found impossible, and why, the first few.
    found
        Paths found, by the identity of their arcs, with what each arc is: arcs are numbered anew when ways are forbidden.
    cache
        Folder of prepared files, for days laid out; ``None``: nothing is kept.
    """

    trip: Trip
    region: Region
    cast: Cast
    ways: list[Ways]
    hours: DayHours
    use: Use
    options: Options
    set_of: NDArray[np.int64]
    problem: Problem
    counters: tuple[str, ...]
    penalty: I64
    shut: dict[tuple[int, int, int, bool, int, int, int], None] = field(default_factory=dict)
    forbidden_why: list[str] = field(default_factory=list)
    found: dict[int, tuple[tuple[int, ...], tuple[tuple[int, int, int, bool, int, int, int], ...]]] = field(default_factory=dict)
    cache: Path | None = None

    def become(self, other: Work) -> None:
        """Take over the options and the problem of the same trip with other days allowed."""
        self.use, self.options, self.set_of, self.problem = other.use, other.options, other.set_of, other.problem
        self.counters, self.penalty = other.counters, other.penalty

    def stops(self, arc: int) -> tuple[Stop, ...]:
        """Return the stops of an arc in order."""
        o = self.options
        pool = self.cast.car_stops if o.car[arc] else self.cast.van_stops
        return tuple(pool[int(n)] for n in (o.first[arc], o.second[arc], o.third[arc]) if n >= 0)

    def ways_of(self, arc: int) -> Ways:
        """Return the ways that an arc goes by."""
        return self.ways[int(self.set_of[arc])]

    def points(self, arc: int) -> tuple[int, ...]:
        """Return the rows of an arc's points in the table of its mode."""
        o = self.options
        stops = [int(n) for n in (o.first[arc], o.second[arc], o.third[arc]) if n >= 0]
        if o.car[arc]:
            sites = len(self.cast.sites)
            home = int(o.end[arc]) - 2
            return (home, *(sites + n for n in stops), home) if stops else ()
        places = 2 + len(self.cast.sites)
        return (int(o.start[arc]), *(places + n for n in stops), int(o.end[arc]))


def assemble(
    trip: Trip,
    region: Region,
    cast: Cast,
    ways: list[Ways],
    slack: Slack | None = None,
    hours: DayHours | None = None,
    shares: NDArray[np.float64] | None = None,
) -> Work:
    """Build the problem of a trip.

    Parameters
    ----------
    slack
        Without it every limit is hard.
    shares
        (R) how often each store's limit may fail by itself; ``None``: as often as the trip may.
    """
    hours = hours or hours_of(trip, region, cast)
    rules = slack or Slack()
    classes_s = classes_of(trip, rules)
    pick_up = at_pick_up(trip, cast, hours, shares)
    reach = _reach(trip, cast, ways, rules)
    parts, sets = [], []
    for number, way in enumerate(ways):
        options = _options(trip, cast, way, hours, classes_s, reach, rules, pick_up)
        parts.append(options)
        sets.append(np.full(len(options), number, dtype=np.int64))
    options = Options.join(parts)
    set_of = np.concatenate(sets)
    options, set_of, penalty = _priced(trip, options, set_of, hours, rules)
    pick_up = with_first_chances(pick_up, trip, cast, options)
    return work_of(trip, region, cast, ways, hours, options, set_of, penalty, rules, pick_up)


def work_of(
    trip: Trip,
    region: Region,
    cast: Cast,
    ways: list[Ways],
    hours: DayHours,
    options: Options,
    set_of: I64,
    penalty: I64,
    rules: Slack,
    pick_up: PickUp,
) -> Work:
    """Put options in any order into the arrays of a problem."""
    places, days = 2 + len(cast.sites), len(trip.dates)
    classes_s = classes_of(trip, rules)
    order = np.argsort(options.start, kind="stable")
    options, set_of, penalty = options.take(order), set_of[order], penalty[order]
    served = options.serves.astype(np.int64)
    counted = np.where(options.start == 0, pick_up.counted(served), served)
    use = blocks_of(trip, cast, hours, np.unique(counted[~options.car]).tolist(), classes_s, pick_up)
    problem, counters = _problem(trip, cast, use, options, counted, rules, places, days)
    return Work(trip, region, cast, ways, hours, use, options, set_of, problem, counters, penalty)


def classes_of(trip: Trip, rules: Slack) -> tuple[int, ...]:
    """Return the upper ends of the classes of driving time [s]."""
    return drive_classes(trip, min(int(max(trip.max_drive_s, trip.first_day_drive_s) * rules.factor), 16 * 3600))


def tow_days(trip: Trip) -> int:
    """Bits of the days on which the van may be towed."""
    return sum(1 << d for d, date in enumerate(trip.dates) if date not in trip.no_towing)


@dataclass(frozen=True)
class _Reach:
    """Places that lie on some chain of days from pick-up to return, by driving alone; both depots first.

    Parameters
    ----------
    alive
        Their numbers. out, back: (P) least days from pick-up and to the return.
    """

    alive: I64
    out: I64
    back: I64

    def days(self, count: int) -> NDArray[np.uint64]:
        """(P, P) of the living: days of ``count`` on which one may go from one to another with regard to the days before and after."""
        early = [(1 << int(n)) - 1 for n in self.out[self.alive]]
        late = [(1 << max(0, count - int(n))) - 1 for n in self.back[self.alive]]
        return ~np.array(early, dtype=np.uint64)[:, None] & np.array(late, dtype=np.uint64)[None, :]


def _reach(trip: Trip, cast: Cast, ways: list[Ways], rules: Slack) -> _Reach:
    """Count the days, over the quickest way with at most two stops, as a stop can shorten a way (the van may turn there)."""
    places = 2 + len(cast.sites)
    most = int(trip.max_drive_s * rules.factor)
    first = min(int(trip.first_day_drive_s * rules.factor), most)
    time = np.full((places, places), FAR, dtype=np.int64)
    for way in ways:
        drive = way.van.drive_s
        time = np.minimum(time, drive[:places, :places])
        to_stop = drive[:places, places:].copy()
        for v in range(places, len(drive)):
            np.minimum(to_stop, drive[:places, v, None] + drive[None, v, places:], out=to_stop)
        for v in range(places, len(drive)):
            np.minimum(time, to_stop[:, v - places, None] + drive[None, v, :places], out=time)
    near = time <= most
    days = len(trip.dates)
    site = np.arange(places) >= 2
    out = _steps((time[0] <= first) & site, near, site, days)
    back = _steps(near[:, 1] & site, near.T, site, days)
    out[0] = back[1] = 0
    lives = out + back <= days
    lives[:2] = True
    return _Reach(np.flatnonzero(lives), out, back)


def _steps(front: NDArray[np.bool_], near: NDArray[np.bool_], site: NDArray[np.bool_], days: int) -> I64:
    """(P) least days to each place; ``days`` where it takes longer."""
    out = np.full(len(front), days, dtype=np.int64)
    steps = 1
    while front.any() and steps < days:
        out[front] = steps
        front = near[front].any(axis=0) & (out == days) & site
        steps += 1
    return out


def _options(
    trip: Trip, cast: Cast, way: Ways, hours: DayHours, classes_s: tuple[int, ...], reach: _Reach, rules: Slack, pick_up: PickUp
) -> Options:
    """Options on the days of one set of closures, with places numbered as in the problem."""
    alive = reach.alive
    days, count = len(trip.dates), len(alive)
    full = 2 + len(cast.sites)
    stops_at = np.arange(full, len(way.van.cents))
    rows = np.concatenate((alive, stops_at))
    number = {int(p): k for k, p in enumerate(alive.tolist())}
    stops = [
        replace(s, only_from=number.get(2 + s.only_from, count), only_to=-1) if s.only_from >= 0
        else replace(s, only_to=number.get(2 + s.only_to, count)) if s.only_to >= 0 else s
        for s in cast.van_stops
    ]  # fmt: skip
    reached = reach.days(days)
    mask = _day_masks(trip, cast, way, alive, rules) & reached
    limit = np.full(count, int(trip.max_drive_s * rules.factor), dtype=np.int64)
    limit[0] = min(int(trip.first_day_drive_s * rules.factor), limit[0])
    arrive = hours.arrive[:, alive]
    if rules.minute:
        arrive = np.where(arrive >= 0, 86_400, arrive)
    need = need_of(cast, pick_up, alive)
    serves = need.arriving
    money = trip.budget_cents >= 0 and rules.counters
    table = way.van.take(rows, rows)
    afloat_s = table.afloat_s if len(classes_s) > 1 else None
    frame = Frame(hours.leave[:, alive], arrive, mask, limit, classes_s, need, money, afloat_s)
    tow = tow_options(table, count, stops, frame)
    stands = pitch_of(trip, cast.sites)
    pitch = number.get(2 + stands, -1) if stands >= 0 else -1
    if pitch >= 0:  # to stay is no drive of no length
        tow = tow.take(~((tow.start == 0) & (tow.end == pitch) & (tow.first < 0)))
    tow = replace(tow, start=alive[tow.start].astype(np.int32), end=alive[tow.end].astype(np.int32))
    here = alive[2:]
    if not len(here) or (days < 3 and pitch < 0):
        return tow
    car_rows = np.concatenate((here - 2, np.arange(len(cast.sites), len(way.car.cents))))
    car_stops = [
        replace(s, only_from=number.get(2 + s.only_from, count + 2) - 2) if s.only_from >= 0 else s for s in cast.car_stops
    ]
    if way.joined_car is None and not cast.car_stops:
        empty = np.zeros((len(here), len(here)), dtype=np.int64)
        table = Table(empty, empty, empty, empty)
    else:
        table = way.car.take(car_rows, car_rows)
    between = np.uint64(((1 << (days - 1)) - 2) & way.days)
    stay_frame = Frame(
        hours.leave[:, here], np.where(hours.arrive[:, here] >= 0, hours.back[:, here], 86_400),
        np.full((len(here), len(here)), between) & reached[2:, 2:], limit[2:], classes_s, Need(serves[2:], serves[2:]), money,
    )  # fmt: skip
    stand = stand_options(table, len(here), car_stops, stay_frame, int(trip.max_drive_s))
    stand = replace(stand, start=here[stand.start].astype(np.int32), end=here[stand.end].astype(np.int32))
    parts = [tow, stand] if days >= 3 else [tow]
    if pitch >= 0:
        parts = [_second_day_apart(part, 2 + stands) for part in parts]
    if pitch >= 0 and way.days & 1 and bool(reached[0, pitch] & np.uint64(1)):
        # The rest of a trip begins at a pitch: its first day may be spent there too, by car.
        first = _first_day(hours, pitch - 2, stay_frame)
        limit_s = min(trip.first_day_drive_s, trip.max_drive_s)
        stay = stand_options(table, len(here), car_stops, first, limit_s)
        parts.append(replace(stay, start=np.zeros_like(stay.start), end=here[stay.end].astype(np.int32)))
    return Options.join(parts)


def _second_day_apart(options: Options, pitch: int) -> Options:
    """Set apart what may be done on the second day by those still at the pitch: it counts towards no new stay (`_problem`)."""
    second = np.uint64(2)
    both = (options.start == pitch) & (options.end == pitch) & ((options.days & second) != 0)
    rest = replace(options, days=np.where(both, options.days & ~second, options.days))
    return Options.join([rest.take(rest.days != 0), replace(options, days=np.full_like(options.days, second)).take(both)])


def _first_day(hours: DayHours, pitch: int, frame: Frame) -> Frame:
    """Return the frame of a first day spent at the pitch where the van stands; who comes late to stay needs no time."""
    days = np.zeros_like(frame.days)
    days[pitch, pitch] = np.uint64(1)
    leave = frame.leave.copy()
    leave[0] = hours.leave[0, 0]
    return replace(frame, leave=leave, arrive=np.maximum(frame.arrive, leave), days=days)


def need_of(cast: Cast, pick_up: PickUp, alive: I64) -> Need:
    """Return what is worth serving between some places, both depots first."""
    serves = _serves(cast)
    leaving = serves.copy()
    leaving[0] = ~pick_up.counted(np.array([-1]))[0] & 31
    return Need(leaving[alive], serves[alive], pick_up if pick_up.dry.any() else None)


def comfort_cents(weights: Weights, kind: StayKind) -> int:
    """Return what a night counts for what its place lacks [cents]."""
    return weights.unpowered_night_cents * (not kind.powered) + weights.no_shower_night_cents * (not kind.showers)


def _serves(cast: Cast) -> I64:
    """(P) masks of the stores that places serve."""
    return np.array([0, 0, *(s.serves for s in cast.sites)], dtype=np.int64)


def _day_masks(trip: Trip, cast: Cast, way: Ways, alive: I64, rules: Slack) -> NDArray[np.uint64]:
    """(P, P) days on which the van may go from one place to another."""
    days, count = len(trip.dates), len(alive)
    allowed = way.days if rules.tow else way.days & tow_days(trip)
    between = allowed & (((1 << (days - 1)) - 1) & ~1)
    mask = np.full((count, count), np.uint64(between))
    mask[0, :] = np.uint64(allowed & 1)
    mask[:, 1] = np.uint64(allowed & (1 << (days - 1)))
    mask[0, 1] = np.uint64(0)
    mask[1, :] = np.uint64(0)
    mask[:, 0] = np.uint64(0)
    for d in range(days - 1):
        bit = np.uint64(1 << d)
        for site in np.flatnonzero([not s.open[d] for s in cast.sites]).tolist():
            mask[:, alive == 2 + site] &= ~bit
        booked = cast.booked[d]
        if booked >= 0:
            mask[:, alive != 2 + booked] &= ~bit
        if d and cast.booked[d - 1] >= 0:
            mask[alive != 2 + cast.booked[d - 1], :] &= ~bit
    if cast.booked[days - 2] >= 0:
        mask[alive != 2 + cast.booked[days - 2], 1] = np.uint64(0)
    return mask


def _priced(trip: Trip, options: Options, set_of: I64, hours: DayHours, rules: Slack) -> tuple[Options, I64, I64]:
    """With slack, split arcs by what they exceed on each day and put a price on it."""
    penalty = np.zeros(len(options), dtype=np.int64)
    if not rules.minute and not rules.tow:
        return options, set_of, penalty
    o = options
    limit = np.where(o.start == 0, min(trip.first_day_drive_s, trip.max_drive_s), trip.max_drive_s)
    driven = np.maximum(o.drive_s - limit, 0)
    driven = np.where(o.car, 0, driven)
    allowed = tow_days(trip)
    parts, sets, prices = [], [], []
    free = o.days.copy()
    for d in range(len(trip.dates)):
        bit = np.uint64(1 << d)
        rows = np.flatnonzero((o.days & bit) != 0)
        late = np.maximum(hours.leave[d, o.start[rows]] + o.total_s[rows] - hours.arrive[d, o.end[rows]], 0)
        late = np.where(o.car[rows], 0, late)
        price = -(-(driven[rows] + late) // 60) * rules.minute
        if not allowed >> d & 1:
            price = price + np.where(o.car[rows], 0, rules.tow)
        dear = price > 0
        rows, price = rows[dear], price[dear]
        free[rows] &= ~bit
        part = o.take(rows)
        parts.append(replace(part, days=np.full(len(rows), bit), cost=(part.cost + price).astype(np.int32)))
        sets.append(set_of[rows])
        prices.append(price)
    rest = np.flatnonzero(free != 0)
    parts.append(replace(o, days=free).take(rest))
    sets.append(set_of[rest])
    prices.append(np.zeros(len(rest), dtype=np.int64))
    return Options.join(parts), np.concatenate(sets), np.concatenate(prices)


def _problem(
    trip: Trip, cast: Cast, use: Use, o: Options, counted: I64, rules: Slack, places: int, days: int
) -> tuple[Problem, tuple[str, ...]]:
    """Fill the arrays."""
    limits = {
        "money": trip.budget_cents if trip.budget_cents >= 0 else None,
        "unpowered nights": trip.nights - trip.powered_nights_at_least if trip.powered_nights_at_least else None,
        "one-night stays": trip.max_one_night_stays if trip.max_one_night_stays >= 0 else None,
    }
    stands, nights_here = pitch_of(trip, cast.sites), trip.under_way.nights_here if trip.under_way is not None else 0
    # The search counts nights from the first of the rest on. One stay of a single night more is allowed, and taken up by all who do
    # not leave the pitch on the second day, whose stay is longer than it looks.
    goes_on = stands >= 0 and nights_here > 0
    if goes_on and limits["one-night stays"] is not None:
        limits["one-night stays"] += 1
    counters = tuple(name for name in COUNTERS if limits[name] is not None and rules.counters)
    arc_count = np.zeros((len(o), len(counters)), dtype=np.int32)
    night_count = np.zeros((days, places, len(counters)), dtype=np.int32)
    price = np.array([0, 0, *(s.price_cents for s in cast.sites)], dtype=np.int64)
    powered = np.array([True, True, *(s.kind.powered for s in cast.sites)])
    for c, name in enumerate(counters):
        if name == "money":
            arc_count[:, c] = o.money
            night_count[:, :, c] = price
        elif name == "one-night stays":
            leaves = (o.start == 0) & ((o.end != 2 + stands) | (stands < 0))
            arc_count[leaves, c] = int(goes_on) + (nights_here == 1)
            if goes_on:
                arc_count[(o.start == 2 + stands) & (o.end == 2 + stands) & (o.days == np.uint64(2)), c] = 1
        elif name == "unpowered nights":
            night_count[:, :, c] = ~powered
    night_cost = np.full((days, places), -1, dtype=np.int64)
    for s, site in enumerate(cast.sites):
        for d in range(days - 1):
            if site.open[d] and cast.booked[d] in (-1, s):
                night_cost[d, 2 + s] = price[2 + s] + comfort_cents(trip.weights, site.kind)
    kind_of = np.concatenate((np.zeros(2, dtype=np.int32), use.kind_of)).astype(np.int32)
    serve = _serves(cast).astype(np.uint32)
    arc_use = np.zeros(len(o), dtype=np.int32)
    for mask in use.masks:
        rows = ~o.car & (counted == mask)
        arc_use[rows] = use.masks.index(mask) * use.classes + o.use[rows]
    arc_use[o.car] = use.first_stay + kind_of[o.end[o.car]]
    need = np.array([max(1, s.nights) for s in trip.sights], dtype=np.int32)
    must = np.array([s.must for s in trip.sights], dtype=np.int32)
    value = np.array([0 if s.must else s.value_cents for s in trip.sights], dtype=np.int64)
    if rules.sight:
        value = np.where(must == 1, rules.sight, value)
        must = np.zeros_like(must)
    cap = use.pick_up.cap.astype(np.int32)
    goal = _goal_caps(trip, use)
    weight = np.zeros(len(STORES), dtype=np.int32)
    if rules.store:
        weight = np.maximum(1, rules.store * 100 // np.maximum(1, cap)).astype(np.int32)
    problem = Problem(
        start=0,
        goal=1,
        arc_ptr=np.searchsorted(o.start, np.arange(places + 1)).astype(np.int64),
        arc_to=o.end.astype(np.int32),
        arc_cost=o.cost.astype(np.int64),
        arc_reset=counted.astype(np.uint32),
        arc_days=o.days,
        arc_use=arc_use,
        arc_sights=o.sights.astype(np.uint32),
        arc_count=arc_count,
        day_block=use.day_block,
        night_class=kind_of,
        night_block=use.night_block,
        night_cost=night_cost,
        night_count=night_count,
        arrive_reset=serve,
        leave_reset=serve,
        max_stay=np.array([0, 0, *(s.max_stay for s in cast.sites)], dtype=np.int32),
        start_level=use.pick_up.start,
        cap=cap,
        goal_cap=goal,
        count_cap=np.array([limits[name] for name in counters], dtype=np.int64),
        one_night_count=np.array([name == "one-night stays" for name in counters], dtype=np.int32),
        one_night_cost=trip.weights.one_night_cents,
        need=need,
        must=must,
        value=value,
        cover=_cover(trip, cast, places),
        excess_weight=weight,
    )
    return problem, counters


def _goal_caps(trip: Trip, use: Use) -> NDArray[np.int32]:
    """Limits at the return: cassette and grey emptied on the last day, and gas above the firm's mark at the confidence."""
    from tripplan.van.limits import UNITS_PER, capacity

    goal = use.pick_up.cap.astype(np.int64).copy()
    names = [s.value for s in STORES]
    for name, asked in (("cassette", trip.firm.return_cassette_empty), ("grey", trip.firm.return_grey_empty)):
        if asked:
            goal[names.index(name)] = min(goal[names.index(name)], use.last_day[names.index(name)])
    gas = names.index("gas")
    room = use.pick_up.room / np.array(UNITS_PER)
    room[gas] = capacity(trip.van, "gas") - trip.firm.return_gas_kg
    mark = int(np.floor(use.pick_up.held.mean_room(room)[gas] * UNITS_PER[gas] + 1e-6))
    goal[gas] = min(goal[gas], mark)
    return goal.astype(np.int32)


def _cover(trip: Trip, cast: Cast, places: int) -> NDArray[np.uint8]:
    """Where a night counts for a sight that asks for nights near it."""
    cover = np.zeros((places, len(trip.sights)), dtype=np.uint8)
    if cast.sites:
        lon = np.array([s.spot.lon for s in cast.sites])
        lat = np.array([s.spot.lat for s in cast.sites])
        for s, sight in enumerate(trip.sights):
            if sight.nights:
                cover[2:, s] = great_circle_m(sight.spot.lon, sight.spot.lat, lon, lat) <= sight.near_km * 1000
    return cover


def every_day_has_a_way(work: Work) -> bool:
    """Say whether on each day of the trip there is anything at all that can be done."""
    days = int(np.bitwise_or.reduce(work.problem.arc_days)) if len(work.options) else 0
    return days == (1 << work.problem.days) - 1
