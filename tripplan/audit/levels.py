"""Every store, hour by hour, from pick-up to return: the plan's timetable lived through once more.

A barrel that is dry at pick-up is not used until it is first filled, or until the first night, which needs it; one that holds a
little is used down to its reserve and no further. A toilet without a flush tank is flushed by hand all the same.

A store past its limit when the plan begins was so before: where the plan states it, and serves it on the day that it says, what is
over the limit until then is no finding, and the store is left alone; later excess is one, and so is one that nobody states.

The search adds blocks of a day; here the clock runs. Each stretch between two events of the timetable is cut at the full
hours and what it uses is taken from the van's hourly rates, on the mean, where the timetable says the party is. Each limit must hold
at the trip's confidence, and all together on drawn trips (`tripplan.audit.spread`).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from datetime import date
from functools import cached_property
from itertools import pairwise
from math import sqrt
from statistics import NormalDist

import numpy as np
from numpy.typing import NDArray

from tripplan.almanac.climate import weather_for
from tripplan.almanac.sun import sun_day
from tripplan.audit.findings import Findings
from tripplan.audit.spread import SEED, TOLERANCE, Errors, Tank, drawn_failures
from tripplan.audit.timeline import MORNING, SETTLED, Stretch, kind_of, timeline
from tripplan.model.plan import Day, LevelLine, Plan
from tripplan.model.van import DayWeather, Levels
from tripplan.model.words import STORES, Store
from tripplan.region.region import Region
from tripplan.van.battery import acceptance
from tripplan.van.limits import UNITS_PER, battery_temperature, bottle_temperature, capacity, reserve
from tripplan.van.use import StayKind, Tilt, hourly, slots

__all__ = ["audit_levels"]

F64 = NDArray[np.float64]
#: What rounding to the search's units may hide in a day, each block rounded up once [units].
_SLACK: F64 = 2.0 / np.array(UNITS_PER)
_GAS, _BATTERY = STORES.index(Store.GAS), STORES.index(Store.BATTERY)
#: Where a line's expected levels stand.
_EXPECTED = {"leave": 0, "arrive": 1, "worst": 2, "end": 3}
_WATER = (Store.FRESH, Store.FLUSH)


def audit_levels(plan: Plan, region: Region, found: Findings) -> None:
    """Live through the plan and hold every hour's levels against the limits, and the last against the return conditions.

    Parameters
    ----------
    plan, region
        The plan and the map it was made on.
    found
        Findings are added here.
    """
    trip, van = plan.trip, plan.trip.van
    seen = [_weather(plan, day.date, lat) for day in plan.days for lat in (day.start.lat, day.end.lat)]
    full = np.array([capacity(van, s) for s in STORES])
    kept_back = (battery_temperature(seen, trip.party), bottle_temperature(seen))
    room = full - np.array([reserve(van, s, battery_c=kept_back[0], gas_c=kept_back[1]) for s in STORES])
    start = np.array([trip.levels.of(s) for s in STORES])
    for row, kept in enumerate(STORES):
        if not -1e-6 <= start[row] <= full[row] + 1e-6:
            text = f"{kept.value} starts at {start[row]:g} of {full[row]:g} {kept.unit}"
            found.add("pick-up level", 0, start[row], kept.unit, text)
    used = np.maximum(np.where([s.fills for s in STORES], start, full - start), 0.0)
    life = _Life(plan, region, full, room, used, found)
    evening: StayKind | None = None
    for day in plan.days:
        life.day(day, evening)
        evening = kind_of(plan, region, day)
    _chain(plan, found)
    _return(plan, life, found)
    _together(plan, life, found)


class _Life:
    """The stores as the plan is lived through, on the mean and at the confidence."""

    def __init__(self, plan: Plan, region: Region, full: F64, room: F64, used: F64, found: Findings) -> None:
        self.plan, self.region, self.found = plan, region, found
        self.full, self.room = full, room
        trip = plan.trip
        middle = plan.days[len(plan.days) // 2]
        every = [_weather(plan, day.date, day.end.lat) for day in plan.days]
        mean = np.array([(w.mean_c, w.low_c, w.high_c, w.sun_kwh_per_m2) for w in every]).mean(axis=0).tolist()
        ordinary = replace(every[0], mean_c=mean[0], low_c=mean[1], high_c=mean[2], sun_kwh_per_m2=mean[3])
        errors = Errors.of(trip, ordinary, sun_day(middle.date, middle.end.lon, middle.end.lat, trip.tz).share)
        waters = np.array([s in _WATER for s in STORES]) & (full > 0)
        self.dry = waters & (used >= room - 1e-9)
        #: Water that was there but may not last until it is first filled.
        self.little = waters & (used > 0) & ~self.dry
        begin = np.where(self.dry, np.minimum(used, room), used)
        unsure, tied = (
            (trip.under_way.level_spread, trip.under_way.level_tied) if trip.under_way is not None else (Levels(), Levels())
        )
        self.z = NormalDist().inv_cdf(trip.confidence)
        #: Stores that the plan says are overdue, with the number of the day that serves them; until then they are left alone.
        self.due = _due(plan, full, room, used, found)
        self.waiting = np.array([s in self.due for s in STORES])
        for r, store in enumerate(STORES):
            if self.waiting[r]:
                self.dry[r] = used[r] + self.z * max(0.0, unsure.of(store)) >= room[r] - _SLACK[r]
                self.little[r], begin[r] = not self.dry[r], used[r]
        self.begin_sd = [(max(0.0, tied.of(s)), sqrt(max(0.0, unsure.of(s) ** 2 - tied.of(s) ** 2))) for s in STORES]
        self.tanks = [Tank(r, float(begin[r]), float(room[r]), errors, self.begin_sd[r]) for r in range(len(STORES) - 1)]
        self.battery = float(used[_BATTERY])
        self.first_battery = self.battery
        self.hours: list[tuple[int, float, float]] = []
        #: What the day that is open says, and the worst since its leaving: at the plan's confidence and on the mean.
        self.said: _Said | None = None
        self.late = np.zeros((2, len(STORES)))
        self.errors = errors
        self.exchanged = False

    def levels(self, z: float | list[float]) -> F64:
        """(6) used up at so many sigmas, of each store or of all; the battery on the mean."""
        sigmas = [z] * len(self.tanks) if isinstance(z, float) else z
        used = np.array([*(tank.sure(s) for tank, s in zip(self.tanks, sigmas, strict=True)), self.battery])
        # A store past its limit from the start is, however unsure, not past its brim.
        return np.where(self.waiting, np.minimum(used, self.full), used)

    def day(self, day: Day, evening: StayKind | None) -> None:
        """Live through one day and hold it against what the plan says of it."""
        plan, trip = self.plan, self.plan.trip
        first, last = day is plan.days[0], day is plan.days[-1]
        share = sun_day(day.date, day.start.lon, day.start.lat, trip.tz).share
        said = _Said(plan, day, self.full, self.room, self.found)
        worst = np.where(self.waiting, 0.0, self.levels(self.z))
        self.said = said if first else self.said
        pending = np.zeros(len(STORES))
        settled = standing = not any(leg.mode == "van" for leg in day.legs)
        left_alone = np.zeros(len(STORES), dtype=np.bool_)
        emptied = {store for event in day.events if event.kind == "service" for store in event.stores}
        for item in timeline(plan, self.region, day, evening):
            if item is MORNING:
                self._close()
                self.said = said
            elif item is SETTLED:
                settled = True
                if not standing:
                    here = (Store.BATTERY, *said.on_the_way(last=last), *self._short(first))
                    said.not_better("arrive", self.levels(said.z), self.levels(0.0), without=here)
            elif isinstance(item, Stretch):
                if first and settled:
                    worst, self.little[:] = np.maximum(worst, pending), self.little & self.waiting
                road = first and not settled
                unused = left_alone | (_unused_while(self.dry, trip.van.flush_l > 0) if road and item.kind is None else False)
                mains = item.kind is not None and item.kind.powered
                for use, parts in self._slots(day, item, share):
                    if self.waiting[_BATTERY] and mains:
                        self._charge(float(use[_BATTERY]))
                        use[_BATTERY] = 0.0
                    idle = unused | (self.waiting & self.dry)
                    self._use(
                        np.where(idle, 0.0, use), [0.0] * 3 if idle[_GAS] else parts,
                        spare=self.little if road else self.little & self.waiting,
                    )  # fmt: skip
                    now = np.where(self.waiting, 0.0, self.levels(self.z))
                    if road:
                        pending = np.maximum(pending, np.where(self.little & ~self.waiting, now, 0.0))
                        now = np.where(self.little, 0.0, now)
                    worst = np.maximum(worst, now)
                    self._note()
            else:
                for store in (Store(word) for word in item if word in STORES):
                    r = STORES.index(store)
                    if r == _BATTERY:
                        continue
                    self.tanks[r].serve(day.number, counts=not (self.dry[r] or self.waiting[r] or (first and self.little[r])))
                    pending[r] = 0.0
                    self.dry[r] = self.little[r] = self.waiting[r] = False
                    alone = store in _to_be_empty(plan) or (store is Store.GAS and trip.firm.return_gas_kg > 0)
                    left_alone[r] = last and alone and store.value in emptied
                    self.exchanged = self.exchanged or (last and store is Store.GAS)
        _limits(day, worst, self.room, self.found)
        self._still_waiting(day)
        if last:
            self._close()

    def _note(self) -> None:
        """Keep the worst of the open day; water that may not last is used down to its reserve and no further."""
        assert self.said is not None
        now = np.array((self.levels(self.said.z), self.levels(0.0)))
        self.late = np.maximum(self.late, np.where(self.little, np.minimum(now, self.room), now))

    def _close(self) -> None:
        """Hold the worst that a day states against all its hours, from leaving to the next morning."""
        if self.said is not None:
            self.said.not_better("worst", self.late[0], self.late[1])
        self.late = np.zeros((2, len(STORES)))

    def _charge(self, use: float) -> None:
        """Let mains fill a flat battery; from where it is back within its limit it counts like any other."""
        self.battery = max(0.0, self.battery + min(use, 0.0))
        self.hours.clear()
        if self.battery <= self.room[_BATTERY]:
            self.waiting[_BATTERY] = self.dry[_BATTERY] = False
            self.first_battery, self.begin_sd[_BATTERY] = self.battery, (0.0, 0.0)

    def _still_waiting(self, day: Day) -> None:
        """Put a finding where a store is not served by the end of the day that the plan says, or by the return."""
        for r, store in enumerate(STORES):
            due = self.due.get(store, 0)
            # A battery is charged until the morning after.
            if self.waiting[r] and day.number >= min(due + (store is Store.BATTERY), len(self.plan.days)):
                over = float(self.levels(0.0)[r] - self.room[r])
                text = f"{store.value} is overdue since the plan began and is not served on day {due}"
                self.found.add("level", day.number, max(over, _SLACK[r]), store.unit, text)
                self.waiting[r] = False

    def _short(self, first: bool) -> tuple[Store, ...]:
        return tuple(s for r, s in enumerate(STORES) if first and self.little[r])

    def _use(self, use: F64, parts: list[float], *, spare: NDArray[np.bool_] | None) -> None:
        share = np.ones(len(STORES))
        if spare is not None and spare.any():  # water goes no further than its reserve, and what it makes goes with it
            for water, waste in ((Store.FRESH, Store.GREY), (Store.FLUSH, Store.CASSETTE)):
                w = STORES.index(water)
                if spare[w] and use[w] > 0:
                    share[w] = share[STORES.index(waste)] = self._lasts(w, float(use[w]))
            for r in (STORES.index(s) for s in (Store.GREY, Store.CASSETTE, Store.GAS)):
                if spare[r] and use[r] > 0:  # and a barrel no further than its limit
                    share[r] = min(float(share[r]), self._lasts(r, float(use[r])))
        for r, tank in enumerate(self.tanks):
            gas = (parts[0] * float(share[r]), parts[1] * float(share[r]), parts[2] * float(share[r]))
            tank.add(gas if r == _GAS else (float(use[r] * share[r]), 0.0, 0.0))
        self.battery = max(0.0, self.battery + float(use[_BATTERY]))

    def _lasts(self, r: int, use: float) -> float:
        """Share of a use that a store still has room for."""
        return min(1.0, max(0.0, self.tanks[r].room - self.tanks[r].begin - self.tanks[r].mean) / use)

    def _slots(self, day: Day, item: Stretch, share: tuple[float, ...]) -> Iterator[tuple[F64, list[float]]]:
        """Yield what each slot of a stretch uses, and the parts of its gas; keep the battery's loads and sun apart."""
        trip, cut = self.plan.trip, slots(item.start_h, item.end_h)
        given = (trip.van, trip.party, _weather(self.plan, day.date, day.end.lat), share, item.kind, cut)
        use = hourly(*given, towing=item.wheel, ferry=item.ferry)
        dark = hourly(*given, towing=item.wheel, ferry=item.ferry, tilt=Tilt(1, 0, 1, 0, 0))
        parts = np.zeros((len(use), 3))
        parts[:, 0] = dark[:, _GAS]
        if item.kind is None or not item.kind.powered:
            parts[:, 1] = hourly(*given, towing=item.wheel, ferry=item.ferry, tilt=Tilt(1, 1, 0, 1, 0))[:, _GAS]
        parts[:, 2] = use[:, _GAS] - parts[:, 0] - parts[:, 1]
        keeps = acceptance(trip.van)
        for row, loads, part in zip(use, dark[:, _BATTERY].tolist(), parts.tolist(), strict=True):
            net = float(row[_BATTERY])
            if loads <= 0:  # the charger, or the car's: what comes and goes together
                self.hours.append((day.number - 1, 0.0, min(net, 0.0) / keeps))
            else:
                self.hours.append((day.number - 1, loads, max(0.0, loads - (net if net > 0 else net / keeps))))
            yield row, part


class _Said:
    """The levels that a day's papers show, as what is used up: they may be worse than what comes, never better."""

    def __init__(self, plan: Plan, day: Day, full: F64, room: F64, found: Findings) -> None:
        self.day, self.full, self.found = day, full, found
        each = plan.holds.each if plan.holds is not None else {}
        self.each = {s.value: min(max(each.get(s.value, 0.0), plan.trip.confidence), 1 - 1e-9) for s in STORES}
        self.lines = {line.store: line for line in day.levels}
        for row, store in enumerate(STORES):
            line = self.lines.get(store)
            if line is not None and full[row] > 0:
                self._fits(row, line)
            if full[row] <= 0:  # a store that the van does not have
                found.unless(line is None, "stated level", day.number, f"{store.value} has levels, and the van has none of it")
            elif line is None:
                found.add("stated level", day.number, 1, "", f"{store.value} has no levels on this day")
            elif self._used(row, line.limit) > room[row] + 1.0 / UNITS_PER[row] + 1e-6:  # a stricter one harms nobody
                limit = room[row] if store.fills else full[row] - room[row]
                found.add(
                    "stated level", day.number, line.limit - limit, store.unit, f"the limit of {store.value} is {limit:.2f}"
                )

    def _fits(self, row: int, line: LevelLine) -> None:
        """Put a finding where a level is stated that the store cannot hold."""
        for level in (line.leave, line.arrive, line.worst, line.end, line.limit, *line.expected):
            if not -_SLACK[row] <= level <= self.full[row] + _SLACK[row]:
                text = f"{line.store} is said to be {level:.1f} of {self.full[row]:.1f}"
                self.found.add("stated level", self.day.number, level - float(self.full[row]), STORES[row].unit, text)
                return
        for told, how in (((line.leave, line.arrive, line.worst, line.end), ""), (line.expected, ", expected")):
            short = max((self._used(row, x) for x in told), default=0.0) - (self._used(row, told[2]) if len(told) == 4 else 0.0)
            if told and short > 0.02:
                text = f"the worst that is said of {line.store}{how} is not the worst of its own levels"
                self.found.add("stated level", self.day.number, short, STORES[row].unit, text)

    def _used(self, row: int, level: float) -> float:
        return level if STORES[row].fills else float(self.full[row]) - level

    def on_the_way(self, *, last: bool) -> tuple[Store, ...]:
        """Stores served on the way of the return day: stated as they are after it, as nobody lives in the van any more."""
        return tuple(Store(s) for s, line in self.lines.items() if last and s in STORES and "way" in line.served.split("+"))

    @cached_property
    def z(self) -> list[float]:
        """(5) sigmas at which the plan tells the levels of each store but the battery."""
        return [NormalDist().inv_cdf(self.each[s.value]) for s in STORES[:-1]]

    def not_better(self, when: str, sure: F64, mean: F64, *, without: tuple[Store, ...] = ()) -> None:
        """Put a finding where a stated level is better than what the hours come to, at its confidence or on the mean.

        On arrival the battery is stated as it will be at the day's latest hour of arrival, sun till then put in: left out. What is
        expected at the worst may come on another hour than the worst itself: not held against each other.
        """
        for row, store in enumerate(STORES):
            line = self.lines.get(store)
            if line is None or store in without:
                continue
            told = [(getattr(line, when), sure[row], "")]
            if line.expected and store is not Store.BATTERY:
                told.append((line.expected[_EXPECTED[when]], mean[row], ", expected"))
            for level, used, how in told:
                short = used - self._used(row, level)
                if short > _SLACK[row]:
                    text = f"{store.value} is said to be {level:.1f} ({when}{how})"
                    self.found.add("stated level", self.day.number, short, store.unit, text)


def _due(plan: Plan, full: F64, room: F64, used: F64, found: Findings) -> dict[Store, int]:
    """Return the stores that the plan says are overdue at its beginning, with the day that serves them; check what it says of them."""
    due: dict[Store, int] = {}
    for one in plan.overdue:
        row = next((r for r, s in enumerate(STORES) if s.value == one.store), -1)
        if row < 0 or full[row] <= 0:
            found.add("stated level", 1, 1, "", f"{one.store} is said to be overdue, and the van has none of it")
            continue
        store = STORES[row]
        level, limit = (x if store.fills else full[row] - x for x in (used[row], room[row]))
        off = max(abs(one.level - level), abs(one.limit - limit))
        if off > _SLACK[row] + 0.01:
            text = f"{store.value} is said to begin at {one.level:.1f} with a limit of {one.limit:.1f}: it is {level:.1f} and {limit:.1f}"
            found.add("stated level", 1, off, store.unit, text)
        if not 1 <= one.day <= len(plan.days) or (one.day > 1 and plan.trip.under_way is None):
            found.add("level", 1, one.day - 1, "days", f"{store.value} is overdue and is left so until day {one.day}")
            continue
        due[store] = one.day
    return due


def _chain(plan: Plan, found: Findings) -> None:
    """A day begins with the levels that the night before ended with."""
    for before, after in pairwise(plan.days):
        ended = {line.store: line.end for line in before.levels}
        for line in after.levels:
            if abs(line.leave - ended.get(line.store, line.leave)) > 0.051:
                found.add("stated level", after.number, line.leave - ended[line.store], "", f"{line.store} jumps overnight")


def _unused_while(dry: NDArray[np.bool_], has_flush_tank: bool) -> NDArray[np.bool_]:
    """Stores that see no use on the way to the first night: no water aboard, no sink; no water in its flush tank, no toilet."""
    fresh = bool(dry[STORES.index(Store.FRESH)])
    flush = has_flush_tank and bool(dry[STORES.index(Store.FLUSH)])
    by = {Store.FRESH: fresh, Store.GREY: fresh, Store.FLUSH: flush, Store.CASSETTE: flush}
    return np.array([by.get(s, False) for s in STORES])


def _weather(plan: Plan, on: date, lat: float) -> DayWeather:
    return weather_for(on, lat, plan.trip.weather, by_date=plan.trip.weather_days)


def _limits(day: Day, worst: F64, room: F64, found: Findings) -> None:
    for row, store in enumerate(STORES):
        over = worst[row] - room[row]
        if over > _SLACK[row]:
            verb = "over its limit" if store.fills else "under its reserve"
            found.add("level", day.number, over, store.unit, f"{store.value} is {over:.1f} {store.unit} {verb}")


def _to_be_empty(plan: Plan) -> tuple[Store, ...]:
    """Stores that the firm wants back empty: once emptied on the last day they are left alone, as the plan says."""
    firm = plan.trip.firm
    asked = ((Store.CASSETTE, firm.return_cassette_empty), (Store.GREY, firm.return_grey_empty))
    return tuple(store for store, wanted in asked if wanted)


def _return(plan: Plan, life: _Life, found: Findings) -> None:
    firm, last = plan.trip.firm, plan.days[-1].number
    used = life.levels(life.z)
    for store in _to_be_empty(plan):
        left = used[STORES.index(store)]
        if left > _SLACK[STORES.index(store)]:
            found.add("return", last, left, "L", f"{store.value} comes back with {left:.1f} L in it, the firm wants it empty")
    gas = capacity(plan.trip.van, Store.GAS) - used[_GAS]
    if gas < firm.return_gas_kg - _SLACK[_GAS]:
        short = firm.return_gas_kg - gas
        found.add("return", last, short, "kg", f"gas comes back at {gas:.2f} kg, the firm wants {firm.return_gas_kg:.2f} kg")


def _together(plan: Plan, life: _Life, found: Findings) -> None:
    """Hold all stores together on drawn trips against the confidence asked for, and against the one that the plan tells."""
    trip, last = plan.trip, plan.days[-1].number
    life.tanks[_GAS].room = min(life.room[_GAS], capacity(trip.van, Store.GAS) - trip.firm.return_gas_kg)
    for tank in life.tanks:
        tank.serve(last)
    rng = np.random.default_rng(SEED)
    failed = drawn_failures(
        life.hours, trip, life.errors, life.first_battery, float(life.room[_BATTERY]), life.begin_sd[_BATTERY]
    )
    for tank in life.tanks:
        failed |= tank.failures(rng)
    holds, asked = 1.0 - float(failed.mean()), trip.confidence
    if holds < asked - TOLERANCE:
        text = f"all stores together hold on {holds:.1%} of drawn trips, {asked:.1%} is asked for"
        found.add("confidence", 0, 100 * (asked - holds), "points", text)
    if plan.holds is None:
        return
    told = plan.holds.together
    if told > holds + 0.01 or plan.holds.asked != asked or min(plan.holds.each.values(), default=0.0) < asked - 1e-6:
        text = f"the plan says that all stores hold on {told:.1%} of trips, drawn trips on {holds:.1%}"
        found.add("stated confidence", 0, 100 * (told - holds), "points", text)
