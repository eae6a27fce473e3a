"""What a path of days comes to: means part by part, levels at the confidence, and the chance that all stores hold.

The search adds up one number a store. Here the chosen path is gone through once more: what burns gas is kept apart by parts, the
battery is followed on the mean and hour by hour, and each stretch from one service to the next is set against its room.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from tripplan.model.words import STORES, Store
from tripplan.schedule.follow import Along, DayLevels, bits, follow, follow_along
from tripplan.schedule.work import Work
from tripplan.van.battery import acceptance
from tripplan.van.limits import UNITS_PER, capacity
from tripplan.van.risk import Hours, Stretch, all_hold, battery_risk, store_risk
from tripplan.van.spread import GAS_PARTS, battery_tilt, raised
from tripplan.van.use import MEAN, StayKind, Tilt

__all__ = ["MOMENTS", "Lived"]

F64 = NDArray[np.float64]
#: The moments of a day at which levels are told.
MOMENTS = ("leave", "road", "arrive", "worst", "end")
_WORST = MOMENTS.index("worst")
_PER = np.array(UNITS_PER, dtype=np.float64)
_GAS, _BATTERY = STORES.index(Store.GAS), STORES.index(Store.BATTERY)
_WATERS = range(4)
#: Columns that are followed beside those of the search: three parts of the gas, the battery on the mean.
_COLUMNS = np.array([_GAS, _GAS, _GAS, _BATTERY])
_LOADS, _SUN, _CHARGER = 7, 8, 9
#: A battery that would hold at so many sigmas is not drawn.
_SURE_Z = 4.5
#: A level that is known.
_SURE = (0.0, 0.0)


@dataclass(frozen=True)
class Lived:
    """A path of arcs through a problem.

    Parameters
    ----------
    work, arcs
        The problem and one arc a day.
    """

    work: Work
    arcs: Sequence[int]

    @cached_property
    def counted(self) -> list[DayLevels]:
        """Levels as the search counts them, day by day [units]."""
        return follow(self.work, self.arcs)

    @cached_property
    def parts(self) -> list[DayLevels]:
        """Means of heating, fridge and habits in the gas [kg], and of the battery [Ah], day by day."""
        start = np.array([0.0, 0.0, 0.0, self.work.use.pick_up.true[_BATTERY] / UNITS_PER[_BATTERY]])
        return follow_along(self.work, self.arcs, self._along(), start)

    @cached_property
    def first(self) -> NDArray[np.bool_]:
        """(days, moments, R) whether a store has not been served since pick-up."""
        p = self.work.problem
        out = np.zeros((len(self.arcs), len(MOMENTS), len(STORES)), dtype=bool)
        since = np.ones(len(STORES), dtype=bool)
        for d, arc in enumerate(self.arcs):
            out[d, :2] = since
            since = since & ~bits(int(p.arc_reset[arc]))
            out[d, 2] = since
            if d < p.days - 1:
                since = since & ~bits(int(p.leave_reset[p.arc_to[arc]]))
            out[d, 3:] = since
        return out

    def used(self) -> tuple[F64, F64]:
        """(days, moments, R) used up at the confidence, and on the mean [L, kg, Ah]."""
        pick_up = self.work.use.pick_up
        held, spreads = pick_up.held, pick_up.forecast.spreads
        at_first = pick_up.true / _PER
        whole, tied = np.array(pick_up.true_sd)
        sure = np.zeros((len(self.arcs), len(MOMENTS), len(STORES)))
        mean = np.zeros_like(sure)
        for d, (day, parts) in enumerate(zip(self.counted, self.parts, strict=True)):
            evening, of_gas = self._evening(d)
            for m, name in enumerate(MOMENTS):
                first = self.first[d, m]
                label = getattr(day, name) - np.where(first, pick_up.start, 0)
                use = np.maximum(label, 0) / _PER
                part = getattr(parts, name)
                if m == _WORST:  # where there is no room for it, it is seen to later
                    more = np.minimum(evening, np.maximum(pick_up.cap - label, 0) / _PER)
                    use = use + more
                    part = part + np.append(of_gas * (more[_GAS] / evening[_GAS] if evening[_GAS] > 0 else 0.0), 0.0)
                sd, variance = held.shared * use, held.daily * use
                use[_GAS] = part[:3].sum()
                sd[_GAS] = np.sqrt(((spreads.shared[GAS_PARTS] * part[:3]) ** 2).sum())
                variance[_GAS] = spreads.daily[GAS_PARTS] @ part[:3]
                sd += np.where(first, tied, 0.0)
                variance += np.where(first, whole**2 - tied**2, 0.0)
                begin = np.where(first, at_first, 0.0)
                mean[d, m], sure[d, m] = begin + use, begin + raised(use, sd, variance, held.z)
                mean[d, m, _BATTERY] = part[3]
                flat = pick_up.flat if pick_up.overdue(d + (name == "end"))[_BATTERY] else 0
                sure[d, m, _BATTERY] = (getattr(day, name)[_BATTERY] + flat) / UNITS_PER[_BATTERY]
                if name == "worst" and not pick_up.overdue(d)[_BATTERY]:
                    mean[d, m, _BATTERY] = max(mean[d, m, _BATTERY], self._within(d, MEAN))
                    sure[d, m, _BATTERY] = max(sure[d, m, _BATTERY], self._within(d, held.tilt))
            # The worst of a day is that of all its moments, what comes just before a service on the way among them.
            sure[d, _WORST], mean[d, _WORST] = sure[d].max(axis=0), mean[d].max(axis=0)
        return sure, mean

    def _evening(self, d: int) -> tuple[F64, F64]:
        """What a site's stores take between the last time they are seen to by day and the latest arrival: (6) as counted, (3) gas by parts."""
        forecast, arc = self.work.use.pick_up.forecast, self.arcs[d]
        if d == len(self.arcs) - 1:
            return np.zeros(len(STORES)), np.zeros(3)
        served = bits(int(self.work.problem.leave_reset[self.work.problem.arc_to[arc]]))
        kind, tilt = self._kind(arc), self.work.use.pick_up.held.tilt
        used = np.max([forecast.evening_rows(d, e, kind, tilt).sum(axis=0) for e in range(len(self._ends))], axis=0)
        gas = max((forecast.evening_rows(d, e, kind, None)[:, GAS_PARTS].sum(axis=0) for e in range(len(self._ends))), key=_sum)
        return np.where(served, np.maximum(used, 0.0), 0.0), np.where(served[_GAS], gas, 0.0)

    def _within(self, d: int, tilt: Tilt) -> float:
        """Return the most that a battery filled by the sun comes down within a day and its night, whatever it began with [Ah]."""
        work, forecast, arc = self.work, self.work.use.pick_up.forecast, self.arcs[d]
        if work.options.car[arc]:
            day = forecast.stay(d, self._kind(arc), tilt)
        else:
            day = forecast.road(d, self._drive_s(arc) + self._afloat_s(arc), tilt, self._afloat_s(arc))
        night = forecast.night(d, self._kind(arc), tilt).inner[_BATTERY] if d < len(self.arcs) - 1 else 0.0
        return max(day.inner[_BATTERY], night)

    # ------------------------------------------------------------------------------------------- risk

    @cached_property
    def stretches(self) -> dict[Store, tuple[Stretch, ...]]:
        """The stretches of each store but the battery, from pick-up or a service to the next service or the return."""
        return {STORES[r]: tuple(self._stretches(r)) for r in (*_WATERS, _GAS) if capacity(self.work.trip.van, STORES[r]) > 0}

    def _stretches(self, r: int) -> Iterator[Stretch]:
        work, p = self.work, self.work.problem
        pick_up, last = work.use.pick_up, p.days - 1
        room, given = float(pick_up.room[r]) / UNITS_PER[r], float(pick_up.true[r]) / UNITS_PER[r]
        peak: F64 = np.zeros(3)
        for d, arc in enumerate(self.arcs):
            peak = max(peak, self._use(r, d, 1), key=_sum)
            left = room - (given if self.first[d, 1, r] else 0.0)
            unsure = (pick_up.true_sd[0][r], pick_up.true_sd[1][r]) if self.first[d, 1, r] else _SURE
            skip = bool(self.first[d, 1, r] and pick_up.dry[r])
            if int(p.arc_reset[arc]) >> r & 1:
                if not skip:
                    yield self._stretch(r, peak, left, unsure)
                peak, left, skip, unsure = np.zeros(3), room, False, _SURE
            if d == last:
                peak = max(peak, self._use(r, d, 3), key=_sum)
                if r == _GAS:
                    left -= room - min(room, capacity(work.trip.van, STORES[r]) - work.trip.firm.return_gas_kg)
                yield self._stretch(r, peak, left, unsure)
                return
            if int(p.leave_reset[p.arc_to[arc]]) >> r & 1:
                if not skip:
                    yield self._stretch(r, peak, left, unsure)
                yield self._stretch(r, self._use(r, d, 3), room)
                peak = np.zeros(3)
            else:
                peak = max(peak, self._use(r, d, 3), key=_sum)

    def _use(self, r: int, d: int, moment: int) -> F64:
        """Mean used since the last service, in three parts for the gas [L, kg]."""
        if r == _GAS:
            return np.asarray(getattr(self.parts[d], MOMENTS[moment])[:3])
        pick_up = self.work.use.pick_up
        label = float(getattr(self.counted[d], MOMENTS[moment])[r]) - (pick_up.start[r] if self.first[d, moment, r] else 0)
        return np.array([max(label, 0.0) / UNITS_PER[r], 0.0, 0.0])

    def _stretch(self, r: int, use: F64, room: float, unsure: tuple[float, float] = _SURE) -> Stretch:
        """Return a stretch; ``unsure``: one sigma of the level that it begins with, and what of it goes with the habits."""
        spreads, held = self.work.use.pick_up.forecast.spreads, self.work.use.pick_up.held
        mean, room = float(use.sum()), room - float(held.skew[r])
        tied, apart = unsure[1], unsure[0] ** 2 - unsure[1] ** 2
        if r != _GAS:
            return Stretch(mean, tied + float(held.shared[r]) * mean, apart + float(held.daily[r]) * mean, room)
        sd = float(np.sqrt(((spreads.shared[GAS_PARTS] * use) ** 2).sum()))
        return Stretch(mean, tied + sd, apart + float(spreads.daily[GAS_PARTS] @ use), room)

    @cached_property
    def risks(self) -> dict[Store, float]:
        """The chance of each store to pass its limit anywhere on the trip."""
        return {**{store: store_risk(rows) for store, rows in self.stretches.items()}, Store.BATTERY: self._battery()}

    @property
    def together(self) -> float:
        """The chance that no store passes its limit anywhere."""
        return all_hold(tuple(self.risks.values()))

    @cached_property
    def tightest(self) -> F64:
        """(R) the greatest chance of any one limit of each store to be passed; of the battery, as the search counts it."""
        out = np.zeros(len(STORES))
        for store, rows in self.stretches.items():
            out[STORES.index(store)] = _beyond(min((s.sigmas for s in rows), default=np.inf))
        out[_BATTERY] = _beyond(self._touching())
        return out

    def _touching(self) -> float:
        """Return the sigmas at which the battery, as the search counts it, is just emptied."""
        low, high = 0.0, _SURE_Z
        for _ in range(16):
            middle = (low + high) / 2
            low, high = (middle, high) if self._lowest(middle) <= self._room(_BATTERY) else (low, middle)
        return low

    def _room(self, r: int) -> float:
        return float(self.work.use.pick_up.room[r]) / UNITS_PER[r]

    @property
    def _battery_start(self) -> tuple[float, tuple[float, float]]:
        """What is used up of the battery where its hours begin [Ah], and one sigma of it: a flat one's, after its first mains."""
        pick_up = self.work.use.pick_up
        if pick_up.dry[_BATTERY]:
            first = min(pick_up.until[_BATTERY], len(self.arcs) - 1)
            return float(self.counted[first].end[_BATTERY]) / UNITS_PER[_BATTERY], _SURE
        sds = pick_up.true_sd
        return float(pick_up.true[_BATTERY]) / UNITS_PER[_BATTERY], (sds[0][_BATTERY], sds[1][_BATTERY])

    def _lowest(self, z: float) -> float:
        """Return the most that is used up of the battery, loads and sun tilted by so many sigmas [Ah]."""
        pick_up, hours = self.work.use.pick_up, self._battery_hours
        loads, sun = battery_tilt(pick_up.forecast.spreads, self._room(_BATTERY), len(self.arcs), z)
        net = hours.loads * loads - hours.sun * sun - hours.charger
        start, (unsure, _) = self._battery_start
        used = most = start + z * unsure
        for more in np.where(net < 0, net * acceptance(self.work.trip.van), net).tolist():
            used = max(0.0, used + more)
            most = max(most, used)
        return most

    def _battery(self) -> float:
        if self._lowest(_SURE_Z) <= self._room(_BATTERY):
            return 0.0
        spreads, (start, unsure) = self.work.use.pick_up.forecast.spreads, self._battery_start
        shared, daily = spreads.shared[[_LOADS, _SUN]].tolist(), spreads.daily[[_LOADS, _SUN]].tolist()
        return battery_risk(
            self._battery_hours, (shared[0], shared[1]), (daily[0], daily[1]), acceptance(self.work.trip.van), start, self._room(_BATTERY),
            unsure,
        )  # fmt: skip

    # ----------------------------------------------------------------------------- what days and nights use

    def _kind(self, arc: int) -> StayKind:
        use = self.work.use
        return use.kinds[int(use.kind_of[int(self.work.options.end[arc]) - 2])][0]

    def _drive_s(self, arc: int) -> int:
        """Return the most that a towing day is driven, by its class, which counts crossings too [s]."""
        use, work = self.work.use, self.work
        most_s = work.use.classes_s[int(work.problem.arc_use[arc]) % use.classes]
        return most_s if use.classes == 1 else max(int(work.options.drive_s[arc]), most_s - self._afloat_s(arc))

    def _afloat_s(self, arc: int) -> int:
        """Return how long a towing day is aboard ferries [s]."""
        table = self.work.ways_of(arc).van
        return sum(int(table.total_s[a, b] - table.drive_s[a, b]) for a, b in pairwise(self.work.points(arc)))

    def _rows(self, d: int, end: int, *, night: bool) -> F64:
        """Parts of a day's hours or its night's, (n, 10)."""
        forecast, arc = self.work.use.pick_up.forecast, self.arcs[d]
        if night:
            return forecast.night_rows(d, end, self._kind(arc), None)
        if self.work.options.car[arc]:
            return forecast.day_rows(d, end, self._kind(arc), None)
        return forecast.road_parts(d, end, self._drive_s(arc), self._afloat_s(arc))

    def _gas(self, d: int, *, night: bool) -> F64:
        """Heating, fridge and habits of a day or its night [kg]; the worse of the corners."""
        towing = not night and not self.work.options.car[self.arcs[d]]
        forecast = self.work.use.pick_up.forecast
        rows = (
            # Gas is off at the wheel, and one may drive less than the class of the day holds: that is the worse.
            forecast.day_rows(d, end, None, None) if towing else self._rows(d, end, night=night)
            for end in range(len(self._ends))
        )
        return max((row[:, GAS_PARTS].sum(axis=0) for row in rows), key=_sum)

    @property
    def _ends(self) -> tuple[tuple[float, float], ...]:
        return self.work.use.pick_up.forecast.ends

    def _along(self) -> Along:
        """Blocks of the columns beside those of the search [kg, Ah]."""
        work, forecast = self.work, self.work.use.pick_up.forecast
        days = len(self.arcs)
        day, night = np.zeros((days, 3, 4)), np.zeros((days, 3, 4))
        after, last_day = np.zeros((days, 4)), np.zeros(4)
        for d, arc in enumerate(self.arcs):
            car, last = bool(work.options.car[arc]), d == days - 1
            used = self._gas(d, night=False)
            road = max(
                (forecast.day_rows(d, end, None, None)[:, GAS_PARTS].sum(axis=0) for end in range(len(self._ends))), key=_sum
            )
            alone, later = work.use.pick_up.overdue(d), work.use.pick_up.overdue(d + 1)
            if not alone[_GAS]:
                day[d, :2, :3] = used
            if last:
                last_day[:3] = road
            elif not (d == 0 and work.use.pick_up.untouched[_GAS]) and not later[_GAS]:
                after[d, :3] = road
            afloat_s = 0 if car else self._afloat_s(arc)
            block = (
                forecast.stay(d, self._kind(arc), MEAN)
                if car
                else forecast.road(d, self._drive_s(arc) + afloat_s, MEAN, afloat_s)
            )
            if not alone[_BATTERY]:
                day[d, :, 3] = block.total[_BATTERY], block.prefix[_BATTERY], block.tail[_BATTERY]
            if last:
                break
            served = bool(int(work.problem.arrive_reset[work.problem.arc_to[arc]]) >> _GAS & 1)
            if not served:
                if not int(work.problem.arc_reset[arc]) >> _GAS & 1:
                    day[d, 0, :3] -= after[d, :3]
                night[d, :2, :3] = after[d, :3]
            if not later[_GAS]:
                night[d, :2, :3] += self._gas(d, night=True)
            block = forecast.night(d, self._kind(arc), MEAN)
            if not later[_BATTERY]:
                night[d, :, 3] = block.total[_BATTERY], block.prefix[_BATTERY], block.tail[_BATTERY]
        return Along(day, night, after, last_day, _COLUMNS)

    @cached_property
    def _battery_hours(self) -> Hours:
        """The battery's hours one after another."""
        parts, days = [], []
        pick_up = self.work.use.pick_up
        for d in range(len(self.arcs)):
            if pick_up.overdue(d)[_BATTERY]:
                continue
            for night in (False, True)[: 1 if d == len(self.arcs) - 1 else 2]:
                rows = max((self._rows(d, end, night=night) for end in range(len(self._ends))), key=_net)
                parts.append(rows)
                days.append(np.full(len(rows), d))
                if night:  # each calendar day has an error of its own
                    forecast = self.work.use.pick_up.forecast
                    morning = forecast.rows(d + 1, 0, self._kind(self.arcs[d]), None)[1]
                    days[-1][len(rows) - morning :] = d + 1
        rows, day = (np.concatenate(parts), np.concatenate(days)) if parts else (np.zeros((0, 10)), np.zeros(0, dtype=np.int64))
        return Hours(
            rows[:, _LOADS],
            rows[:, _SUN] / acceptance(self.work.trip.van),
            rows[:, _CHARGER] / acceptance(self.work.trip.van),
            day,
        )


def _sum(use: F64) -> float:
    return float(use.sum())


def _net(rows: F64) -> float:
    return float(rows[:, _LOADS].sum() - rows[:, _SUN].sum() - rows[:, _CHARGER].sum())


def _beyond(sigmas: float) -> float:
    """Chance of a normal error beyond so many sigmas."""
    from statistics import NormalDist

    return 1.0 - NormalDist().cdf(sigmas)
