"""Readings taken into account: habits and levels as they are likely to be now, and in words what each reading told."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

import numpy as np
from numpy.typing import NDArray

from tripplan.model.plan import Plan
from tripplan.model.readings import Reading, Readings
from tripplan.model.van import Learned
from tripplan.model.words import STORES, Store, day_name
from tripplan.schedule.passed import Served, Stretch, errors_of, parts_between, services_of, stretches_of
from tripplan.van.filter import FACTORS, Belief, lamp, observe, passed, prior, served, surprise
from tripplan.van.gauges import Told, told_of
from tripplan.van.limits import capacity
from tripplan.van.use import LEARNED

__all__ = ["STORE_OF", "Corrected", "corrected", "listed", "reading_name"]

F64 = NDArray[np.float64]
#: A reading so many sigmas off is no habit but a service missed or made, or a mistake: only the level is taken from it.
_STRANGE = 4.0
#: How far the battery's charge at pick-up may lie from what is told, as a share of it, one sigma (common practice, no source).
_CHARGE_TOLD = 0.05
#: Below this a battery of 12 V is empty or has failed [V]: 1.75 V a cell, where capacity tests of lead batteries end (from memory);
#: the electronics of a lithium battery switch off about there.
_FLAT_V = 10.5
#: What is said of a reading that is not simply taken.
_ODD = "so far off that a service was probably missed or made: only the level is taken from it"
_ODD_VOLTS = "so far off that the battery was charged or drained as the plan does not know: only the level is taken from it"
_UNDER_CHARGE = "read on mains, where the charger lifts the voltage: nothing is taken from it"
_NOT_CHARGED = (
    "read on mains, where a charger that works holds it higher: only the level is taken, look at cable, fuse and charger"
)
_FLAT = "a battery that shows so little is flat or failing, have it looked at"
#: A habit that lies less than this from its figure is as planned.
_AS_PLANNED = 0.03
_SURER = 0.9
_BATTERY = STORES.index(Store.BATTERY)
_WATERS = (STORES.index(Store.FRESH), STORES.index(Store.FLUSH))
#: The store that each part of the use goes into, or comes out of.
STORE_OF = (0, 1, 2, 3, 4, 4, 4, 5, 5)
_HABIT = (
    "fresh water", "waste water", "toilet cassette", "flush water", "gas for heating", "gas for the fridge", "gas for cooking and hot water",
    "12 V current", "sun on the panels",
)  # fmt: skip


@dataclass(frozen=True)
class Corrected:
    """What is held now.

    Parameters
    ----------
    belief
        Factors and what is used up. forecast: what was held without any reading.
    learned
        Of the parts that readings told of, relative to the figures of the plan followed.
    told
        What was learned and what each reading did, a sentence each.
    """

    belief: Belief
    forecast: Belief
    learned: tuple[Learned, ...]
    told: tuple[str, ...]


def corrected(plan: Plan, readings: Readings) -> Corrected:
    """Follow a plan up to now and take in what was read."""
    services = services_of(plan, readings.services)
    ordered = sorted(readings.readings, key=lambda r: r.time)
    van, now = plan.trip.van, readings.now.replace(tzinfo=None)
    belief, said = _follow(plan, services, ordered, now)
    forecast, _ = _follow(plan, services, (), now)
    start, _ = _start(plan)
    learned = []
    lines = []
    for k, part in enumerate(LEARNED):
        mean, sd = float(belief.factors[k]), float(belief.sd[k])
        if abs(mean - 1) < 1e-9 and abs(sd - float(start.sd[k])) < 1e-9:
            continue
        factor = min(max(mean, 0.1), 10.0)
        learned.append(Learned(part, round(factor, 4), float(np.ceil(sd / factor * 1e4) / 1e4)))
        # What hardly moved and is hardly surer than before is not worth a line.
        if capacity(van, STORES[STORE_OF[k]]) > 0 and (abs(mean - 1) >= _AS_PLANNED or sd < _SURER * float(start.sd[k])):
            days = sorted({r.time.date() for r in ordered if STORES.index(r.store) == STORE_OF[k]})
            lines.append(_habit_words(k, mean, sd, [f"{d.day} {d:%b}" for d in days]))
    return Corrected(belief, forecast, tuple(learned), (*lines, *said))


def _habit_words(part: int, mean: float, sd: float, days: Sequence[str]) -> str:
    name, percent = _HABIT[part], round(100 * abs(mean - 1))
    by = f"reading{'s' if len(days) != 1 else ''} of {listed(days)}" if days else "other readings"
    sure = f"give or take {max(1, round(200 * sd))} %"
    if abs(mean - 1) < _AS_PLANNED:
        return f"Your {name} goes as planned, {sure}: {by}" if part < 8 else f"The {name} is as planned, {sure}: {by}"
    way = "more" if mean > 1 else "less"
    if part == 8:
        return f"The {name} gives about {percent} % {way} than planned ({sure}): {by}"
    if part == 2:
        return f"The toilet cassette fills about {percent} % {'faster' if mean > 1 else 'slower'} than planned ({sure}): {by}"
    verb = "make" if part == 1 else "use"
    return f"You {verb} about {percent} % {way} {name} than planned ({sure}): {by}"


def listed(words: Sequence[str]) -> str:
    """Return words in a row, "and" before the last."""
    return words[0] if len(words) == 1 else ", ".join(words[:-1]) + " and " + words[-1]


def _start(plan: Plan) -> tuple[Belief, NDArray[np.bool_]]:
    """Return what is held at pick-up, and which waters are dry."""
    trip = plan.trip
    spreads, room = errors_of(plan)
    full = np.array([capacity(trip.van, s) for s in STORES])
    level = np.array([trip.levels.of(s) for s in STORES])
    used = np.where([s.fills for s in STORES], level, full - level)
    sd = np.zeros(len(STORES))
    if trip.under_way is None:
        sd[_BATTERY] = _CHARGE_TOLD * full[_BATTERY]
    else:
        sd = np.array([trip.under_way.level_spread.of(s) for s in STORES])
    dry = np.zeros(len(STORES), dtype=bool)
    for r in _WATERS:
        dry[r] = full[r] > 0 and used[r] >= room[r] - 1e-9
    return prior(spreads.shared, used, sd), dry


@dataclass
class _Walk:
    """The belief on its way through the plan."""

    plan: Plan
    belief: Belief
    daily: F64
    dry: NDArray[np.bool_]

    def serve(self, service: Served) -> None:
        rows = np.array([s in service.stores for s in STORES])
        rows[_BATTERY] = False
        self.belief = served(self.belief, rows)
        self.dry = self.dry & ~rows

    def pass_by(self, stretch: Stretch, start: datetime, end: datetime) -> None:
        idle = self._idle() if not stretch.settled else np.zeros(4, dtype=bool)
        if stretch.settled:
            self.dry = np.zeros(len(STORES), dtype=bool)
        for row in parts_between(self.plan, stretch, start, end):
            row[:4] = np.where(idle, 0.0, row[:4])
            self.belief = passed(self.belief, row, self.daily)

    def _idle(self) -> NDArray[np.bool_]:
        """(4) waters not used before they are filled, and what would run off from them."""
        fresh = bool(self.dry[0])
        flush = self.plan.trip.van.flush_l > 0 and bool(self.dry[3])
        return np.array([fresh, fresh, flush, flush])

    def read(self, reading: Reading, *, mains: bool) -> str:
        told = told_of(reading, self.plan.trip.van)
        if reading.kind == "volts" and mains:
            return self._read_on_mains(reading, told)
        before = self.belief
        off = float(surprise(before, told.row, told.used, told.error))
        strange = abs(off) > _STRANGE if told.more is None else (off > _STRANGE) if told.more else (off < -_STRANGE)
        if strange:
            self.belief = _level_only(before, told)
        elif told.more is None:
            self.belief = observe(before, told.row, told.used, told.error)
        else:
            self.belief = lamp(before, told.row, told.used, told.error, lit=told.more)
        doubt = (_ODD_VOLTS if reading.kind == "volts" else _ODD) if strange else ""
        return _reading_words(reading, self.plan, before, self.belief, doubt)

    def _read_on_mains(self, reading: Reading, told: Told) -> str:
        """Take a voltage under charge: it is no rest voltage, so a high one says nothing, and a low one that the charger gives nothing."""
        before = self.belief
        low = float(surprise(before, told.row, told.used, told.error)) > _STRANGE
        if low:
            self.belief = _level_only(before, told)
        return _reading_words(reading, self.plan, before, self.belief, _NOT_CHARGED if low else _UNDER_CHARGE)


def _level_only(belief: Belief, told: Told) -> Belief:
    """Take a level as read, apart from all else that is held."""
    at = FACTORS + told.row
    rows = np.zeros(len(STORES), dtype=bool)
    rows[told.row] = True
    out = served(belief, rows)
    mean, cov = out.mean.copy(), out.cov.copy()
    beyond = 0.0 if told.more is None else told.error if told.more else -told.error
    mean[at], cov[at, at] = max(0.0, told.used + beyond), told.error**2
    return Belief(mean, cov)


def _follow(plan: Plan, services: Sequence[Served], readings: Sequence[Reading], now: datetime) -> tuple[Belief, list[str]]:
    """Walk through the plan up to now."""
    start, dry = _start(plan)
    spreads, _ = errors_of(plan)
    walk = _Walk(plan, start, spreads.daily, dry)
    told: list[str] = []
    # At one moment a service comes before a reading: a gauge is looked at when the work is done.
    marks = [(s.time, 0, n) for n, s in enumerate(services)] + [
        (r.time.replace(tzinfo=None), 1, n) for n, r in enumerate(readings)
    ]
    marks = sorted(m for m in marks if m[0] <= now)
    at = 0
    for stretch in stretches_of(plan):
        clock, until = stretch.start, min(stretch.end, now)
        while at < len(marks) and marks[at][0] <= until:
            when, kind, n = marks[at]
            if when > clock:
                walk.pass_by(stretch, clock, when)
                clock = when
            if kind == 0:
                walk.serve(services[n])
            else:
                told.append(walk.read(readings[n], mains=stretch.kind is not None and stretch.kind.powered))
            at += 1
        if clock < until:
            walk.pass_by(stretch, clock, until)
        if stretch.end >= now:
            break
    return walk.belief, told


def reading_name(reading: Reading) -> str:
    """Return what was read in a few words."""
    store = reading.store
    return {
        "lamp": f"{store.value} lamp {'lit' if reading.lit else 'dark'}",
        "volts": f"battery at {reading.value:.2f} V",
        "percent": f"{store.value} at {reading.value:g} %",
        "level": f"{store.value} at {reading.value:g} {store.unit}",
    }[reading.kind]


def _reading_words(reading: Reading, plan: Plan, before: Belief, after: Belief, doubt: str) -> str:
    store, row = reading.store, STORES.index(reading.store)
    full = capacity(plan.trip.van, store)
    what = reading_name(reading)
    levels = []
    for belief in (before, after):
        used, sd = float(belief.used[row]), float(belief.sd[FACTORS + row])
        level = min(max(used if store.fills else full - used, 0.0), full)
        levels.append(f"{level:.1f} {store.unit} (give or take {2 * sd:.1f})")
    words = f"{day_name(reading.time)} {reading.time:%H:%M}, {what}: {levels[0]} were expected, now {levels[1]}"
    flat = _FLAT if reading.kind == "volts" and reading.value < _FLAT_V else ""
    return "; ".join(filter(None, (words, doubt, flat)))
