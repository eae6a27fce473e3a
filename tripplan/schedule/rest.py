"""The rest of a trip that has begun: a trip from here and now, its levels and habits corrected by what was read on the way."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import timedelta
from itertools import combinations
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tripplan.model.errors import BadInputError
from tripplan.model.place import Place, Spot
from tripplan.model.plan import Day, Plan
from tripplan.model.readings import Done, Readings
from tripplan.model.trip import Sight, Trip, UnderWay
from tripplan.model.van import Learned, Levels, Party, Van
from tripplan.model.words import STORES, Store
from tripplan.region.region import Region
from tripplan.region.same_places import SamePlaces
from tripplan.schedule.behind import nights_behind
from tripplan.schedule.candidates import offers_at, serves_on_foot
from tripplan.schedule.corrected import STORE_OF, Corrected, corrected, listed, reading_name
from tripplan.schedule.overdue_told import STORE_NAMES
from tripplan.schedule.timetable import DOING
from tripplan.van.filter import FACTORS
from tripplan.van.gauges import Told, told_of
from tripplan.van.limits import capacity, limit_level, reserve
from tripplan.van.use import LEARNED

__all__ = ["rest_of"]

#: Least driving that a day is given, however much was driven already [s].
_LEAST_DRIVE_S = 15 * 60
_SUN = LEARNED.index("sun")
_NAMES = ("fresh_l", "grey_l", "cassette_l", "flush_l", "gas_kg", "battery_ah")
_TASKS = {store: DOING[store] for store in (Store.FRESH, Store.GREY, Store.CASSETTE, Store.FLUSH)}


def rest_of(trip: Trip, plan: Plan, readings: Readings, region: Region) -> Trip:
    """Return the rest of a trip as a trip of its own.

    Parameters
    ----------
    trip
        The whole trip, as its file has it now: what is still to come of its wishes is asked for.
    plan
        The plan followed so far, made for it; it may be the rest of an earlier one. Made on another map, as before a local note was
        taken in, its places are found on this one by what they are.

    Raises
    ------
    BadInputError
        When the plan answers another trip, the place where the van stands is not on the map, two readings contradict each other, or
        there is nothing left to plan.
    """
    if plan.region_key != region.meta.key:
        plan = _on_this_map(trip, plan, readings, region)
    _check(trip, plan, readings)
    _agree(readings, plan.trip.van)
    found = corrected(plan, readings)
    past = _Past(plan, readings)
    here = readings.place or past.here()
    behind = _behind(trip, plan, past, here)
    served = _served_here(trip, readings, region, here)
    levels, spread, tied, tasks = _levels(trip, served, found)
    failed = _failed(trip, plan, readings, here, served)
    told = (
        *found.told,
        *((f"The rest is planned from {here.name}, {readings.now:%A} {readings.now.day} {readings.now:%B %H:%M}"),),
    )
    now = readings.now.replace(second=0, microsecond=0)
    first = trip.first_day_drive_s if now.date() == trip.pick_up.date() else trip.max_drive_s
    sights = tuple(s for s in (_left(sight, behind) for sight in trip.sights) if s is not None)
    slept = len(behind.slept)
    return replace(
        trip,
        party=_party(trip.party, plan.trip.party, found.learned),
        firm=replace(trip.firm, handover_min=0),
        depot=here,
        pick_up=now,
        sights=sights,
        bookings=tuple(b for b in trip.bookings if b.night >= now.date()),
        no_towing=tuple(d for d in trip.no_towing if d >= now.date()),
        first_day_drive_s=max(_LEAST_DRIVE_S, first - past.driven_s()),
        powered_nights_at_least=max(0, trip.powered_nights_at_least - behind.powered),
        max_one_night_stays=max(0, trip.max_one_night_stays - behind.singles) if trip.max_one_night_stays >= 0 else -1,
        budget_cents=max(0, trip.budget_cents - behind.spent_cents) if trip.budget_cents >= 0 else -1,
        levels=levels,
        under_way=replace(behind, level_spread=spread, level_tied=tied, tasks=tasks, told=told, failed=failed, nights_here=_nights_here(behind, here, slept)),
    )  # fmt: skip


def _on_this_map(trip: Trip, plan: Plan, readings: Readings, region: Region) -> Plan:
    """Return a plan with its places as this map has them; of roads nothing is asked but how long they were."""
    places = SamePlaces(region, plan)
    found = places.put(plan)
    days = tuple(_as_served(day, trip, region) for day in found.days)
    found = replace(found, days=days, region_key=region.meta.key, region_name=region.meta.name, data_date=region.meta.data_date)
    past = _Past(plan, readings)
    if readings.place is None and any(day.date == readings.now.date() for day in plan.days):
        stood = past.here()
        if places.put(stood).place < 0 <= stood.place:
            raise BadInputError(
                f"{stood.name!r}, where the plan of {plan.region_name!r} of {plan.data_date} has the van, is not on this map", where="readings, `plan`",
                accepted="a region with that place", next_step="name where the van is with `place`, or give the region that the plan was made on",
            )  # fmt: skip
    return found


def _as_served(day: Day, trip: Trip, region: Region) -> Day:
    """Return a day without what its night's place does not serve by this map: people tell of what was done there all the same."""
    if day.night is None or day.night.spot.place < 0:
        return day
    mask = _mask_at(trip, region.places[day.night.spot.place], region)
    lines = []
    for line in day.levels:
        kept = [at for at in line.served.split("+") if at != "site" or mask >> STORES.index(Store(line.store)) & 1]
        lines.append(replace(line, served="+".join(kept)))
    return replace(day, levels=tuple(lines))


def _mask_at(trip: Trip, place: Place, region: Region) -> int:
    """Return the stores that a site serves on foot, as bits."""
    return serves_on_foot(trip, offers_at(place, [p for p in region.places if p.role == "service" and p.only_guests]))


def _check(trip: Trip, plan: Plan, readings: Readings) -> None:
    old = plan.trip
    began = old.under_way.began if old.under_way is not None else old.pick_up
    if began != trip.pick_up or old.return_by.date() != plan.days[-1].date:
        raise BadInputError(
            f"the plan followed begins on {began:%Y-%m-%d %H:%M}, the trip on {trip.pick_up:%Y-%m-%d %H:%M}", where="readings, `plan`",
            accepted="the plan.json of this trip", next_step="name the other plan or the other trip",
        )  # fmt: skip
    now = readings.now
    if not old.pick_up <= now:
        raise BadInputError(
            f"`now` is {now:%Y-%m-%d %H:%M}, before the plan begins", where="readings", accepted=f"from {old.pick_up:%Y-%m-%d %H:%M}",
            next_step="mend `now`",
        )  # fmt: skip
    if now.date() >= min(trip.return_by.date(), plan.days[-1].date):
        raise BadInputError(
            f"`now` is {now:%Y-%m-%d %H:%M}, with no night left to plan", where="readings",
            accepted=f"before {min(trip.return_by.date(), plan.days[-1].date):%Y-%m-%d}", next_step="follow the plan home",
        )  # fmt: skip
    dated = [(f"the {one.store.value} was read on", one.time, "readings") for one in readings.readings]
    dated += [
        (f"a service of {', '.join(s.value for s in one.stores)} is dated", one.time, "readings, `[[services]]`")
        for one in readings.services
    ]
    for what, time, where in dated:
        if not old.pick_up <= time <= now:
            raise BadInputError(
                f"{what} {time:%Y-%m-%d %H:%M}", where=where,
                accepted=f"from {old.pick_up:%Y-%m-%d %H:%M} to now, {now:%Y-%m-%d %H:%M}", next_step="mend its time, or leave it out",
            )  # fmt: skip


def _agree(readings: Readings, van: Van) -> None:
    """Refuse two readings of one store at one moment that cannot both be true: neither would be known to be the right one."""
    at_once = defaultdict(list)
    for reading in readings.readings:
        at_once[reading.store, reading.time, reading.kind == "volts"].append(reading)  # volts say nothing where mains charges
    for one, other in (pair for same in at_once.values() for pair in combinations(same, 2)):
        (low, high), (low2, high2) = _within(told_of(one, van)), _within(told_of(other, van))
        if high < low2 or high2 < low:
            raise BadInputError(
                f"{reading_name(one)} and {reading_name(other)}, both on {one.time:%Y-%m-%d %H:%M}: they cannot both be true", where="readings",
                accepted="levels of one moment that agree within their errors", next_step="mend the time or the level of one, or take it out",
            )  # fmt: skip


def _within(told: Told) -> tuple[float, float]:
    """Return between which figures a reading puts what is used up, two sigma either way."""
    low, high = told.used - 2 * told.error, told.used + 2 * told.error
    return (low, high) if told.more is None else (low, np.inf) if told.more else (-np.inf, high)


@dataclass(frozen=True)
class _Past:
    """The part of a plan that lies behind."""

    plan: Plan
    readings: Readings

    @property
    def days(self) -> list[Day]:
        """Days whose night is over."""
        return [day for day in self.plan.days if day.date < self.readings.now.date()]

    @property
    def today(self) -> Day:
        """The day that it is."""
        return next(day for day in self.plan.days if day.date == self.readings.now.date())

    def here(self) -> Spot:
        """Where the plan has the van now: on the way, the last place called at."""
        day, now = self.today, self.readings.now
        moves = [e for e in day.events if e.kind in ("drive", "ferry")]
        if not any(leg.mode == "van" for leg in day.legs) or not moves or now < moves[0].start:
            return day.start
        if now >= moves[-1].end:
            return day.end
        called = [e.spot for e in day.events if e.kind == "drive" and e.spot is not None and e.end <= now]
        return called[-1] if called else day.start

    def driven_s(self) -> int:
        """Driving of today that is done [s]."""
        done = [e for e in self.today.events if e.kind == "drive"]
        return round(
            sum((min(e.end, self.readings.now) - e.start) / timedelta(seconds=1) for e in done if e.start < self.readings.now)
        )

    def seen(self) -> tuple[str, ...]:
        """Names of the sights visited."""
        events = (e for day in (*self.days, self.today) for e in day.events)
        return tuple(e.spot.name for e in events if e.kind == "sight" and e.spot is not None and e.end <= self.readings.now)

    def cents(self) -> int:
        """Money spent on nights, services and kilometres."""
        weights, now = self.plan.trip.weights, self.readings.now
        nights = sum(day.night.price_cents for day in self.days if day.night is not None)
        services = sum(e.cents for day in (*self.days, self.today) for e in day.events if e.end <= now)
        metres = sum(leg.length_m for day in self.days for leg in day.legs)
        share = min(1.0, self.driven_s() / max(1.0, sum(leg.drive_s for leg in self.today.legs)))
        metres += share * sum(leg.length_m for leg in self.today.legs)
        return round(nights + services + metres / 1000 * weights.km_cents)


def _behind(trip: Trip, plan: Plan, past: _Past, here: Spot) -> UnderWay:
    """Add up what lies behind, that of an earlier rest included."""
    before = plan.trip.under_way or UnderWay(trip.pick_up)
    nights = [day.night for day in past.days if day.night is not None]
    slept = (*before.slept, *(night.spot for night in nights))
    seen = past.readings.seen if past.readings.seen is not None else past.seen()
    return UnderWay(
        before.began, 0, Levels(), Levels(), slept,
        before.powered + sum(night.powered for night in nights), _singles(slept, here), before.spent_cents + past.cents(),
        tuple(dict.fromkeys((*before.seen, *seen))),
    )  # fmt: skip


def _same(one: Spot, other: Spot) -> bool:
    return abs(one.lon - other.lon) < 1e-6 and abs(one.lat - other.lat) < 1e-6


def _singles(slept: tuple[Spot, ...], here: Spot) -> int:
    """Count the stays of a single night that are over: one that lasts until now is not."""
    runs: list[list[Spot]] = []
    for spot in slept:
        if runs and _same(runs[-1][-1], spot):
            runs[-1].append(spot)
        else:
            runs.append([spot])
    return sum(1 for k, run in enumerate(runs) if len(run) == 1 and not (k == len(runs) - 1 and _same(run[0], here)))


def _nights_here(behind: UnderWay, here: Spot, slept: int) -> int:
    count = 0
    while count < slept and _same(behind.slept[slept - 1 - count], here):
        count += 1
    return count


def _left(sight: Sight, behind: UnderWay) -> Sight | None:
    """Return what is still to be had of a sight."""
    if not sight.nights:
        return None if sight.spot.name in behind.seen else sight
    near = nights_behind(sight, behind)
    return replace(sight, nights=sight.nights - near) if near < sight.nights and sight.spot.name not in behind.seen else None


def _party(party: Party, followed: Party, learned: Iterable[Learned]) -> Party:
    """Return the party with what was learned: this time on top of what was known when the plan was made."""
    known = {entry.part: entry for entry in followed.learned}
    for new in learned:
        old = known.get(new.part)
        known[new.part] = new if old is None else replace(new, factor=round(old.factor * new.factor, 4))
    return replace(party, learned=tuple(known.values()))


def _levels(trip: Trip, served: set[Store], found: Corrected) -> tuple[Levels, Levels, Levels, tuple[str, ...]]:
    """Return the levels to set out with, their spread and what of it goes with the habits, and what must be done first."""
    levels: dict[str, Any] = {}
    spread: dict[str, Any] = {}
    tied: dict[str, Any] = {}
    with_habits = _tied(found)
    for r, (store, name) in enumerate(zip(STORES, _NAMES, strict=True)):
        full = capacity(trip.van, store)
        used = 0.0 if store in served else min(max(float(found.belief.used[r]), 0.0), full)
        levels[name] = round(used if store.fills else full - used, 3)
        spread[name] = 0.0 if store in served or full <= 0 else round(float(found.belief.sd[FACTORS + r]) + 5e-4, 3)
        tied[name] = min(spread[name], round(float(with_habits[r]) + 5e-4, 3))
    tasks = tuple(_TASKS[s] for s in STORES if s in served and s in _TASKS and capacity(trip.van, s) > 0)
    return Levels(**levels), Levels(**spread), Levels(**tied), tasks


def _failed(trip: Trip, plan: Plan, readings: Readings, here: Spot, served: set[Store]) -> tuple[tuple[str, str], ...]:
    """Return the stores counted as served here that may be past their limit now, since that failed here before, each with its sentence."""
    stood = {
        day.date + timedelta(days=k) for day in plan.days for k in (0, 1) if day.night is not None and _same(day.night.spot, here)
    }
    missed = [(s.time.date(), s.stores) for s in readings.services if not s.done and s.time.date() in stood]
    stores = tuple(s for s in STORES if s in served and s in _TASKS and any(s in m for _, m in missed))
    if not stores:
        return ()
    # The plan counts today's service as done: what was read stands before it.
    belief = corrected(plan, replace(readings, services=(*readings.services, Done(readings.now, stores, done=False)))).belief
    out = []
    for store in stores:
        r = STORES.index(store)
        full = capacity(trip.van, store)
        used, give = min(float(belief.used[r]), full), 2 * float(belief.sd[FACTORS + r])
        if used + give < full - reserve(trip.van, store):
            continue
        level, limit = used if store.fills else full - used, limit_level(trip.van, store)
        days = listed([f"{d.day} {d:%b}" for d in sorted({d for d, m in missed if store in m})])
        what, bound = ("full", "at most") if store.fills else ("empty", "must stay")
        words = f"{STORE_NAMES[store]}, {level:.1f} {store.unit} (give or take {give:.1f}), {limit:.1f} {store.unit} {bound}"
        out.append((store.value, f"May be {what} now: {words}; at {here.name} this failed on {days}: {_TASKS[store]}"))
    return tuple(out)


def _tied(found: Corrected) -> NDArray[np.float64]:
    """(6) one sigma of each level that goes with the errors of what feeds the store; no reading makes use of a negative tie.

    Several parts' ties add up by their squares: no mixture of them can come to more (Cauchy and Schwarz).
    """
    sd, cov = found.belief.sd[:FACTORS], found.belief.cov
    out = np.zeros(len(STORES))
    for part, store in enumerate(STORE_OF):
        toward = -1.0 if part == _SUN else 1.0  # less sun empties a battery
        along = toward * float(cov[part, FACTORS + store]) / float(sd[part]) if sd[part] > 0 else 0.0
        out[store] += max(0.0, along) ** 2
    return np.asarray(np.sqrt(out))


def _served_here(trip: Trip, readings: Readings, region: Region, here: Spot) -> set[Store]:
    """Return the stores that the place serves on foot, where the van stands at a site."""
    place = region.places[here.place] if 0 <= here.place < len(region.places) else None
    if place is None or place.role != "site":
        return set()
    mask = _mask_at(trip, place, region)
    # What did not happen here today cannot be counted on before leaving.
    shut = {store for s in readings.services if not s.done and s.time.date() == readings.now.date() for store in s.stores}
    return {store for r, store in enumerate(STORES) if mask >> r & 1} - shut
