"""What days and nights use of the stores, as the blocks that the search counts in.

The day lies between the earliest leaving and the latest arrival; its hours on the road count as spent with nothing given
and, for each store, as driven or not, whichever is worse. An earlier arrival or a later start only betters that. The night lies
between the latest arrival and the next morning. What is added up is the mean, against a room that leaves so much as the errors
of what is used ask for; gas and battery count with a weight on each of their parts (`tripplan.van.spread`).

When on the way a service is done is not told by an option. So that no level comes out too low, what a towing day may use
after a service is the whole of it: it is carried into the night. A store that is not served on the way has it taken off
its day in turn, so that nothing counts twice there; the worst level of the day counts it in full. A site that serves a store on
arrival needs nothing carried. Nor does the day of pick-up for a store of which nothing is used yet: serving it on that day leaves
no more in it than the day's whole use, so that there it does not count as served.

A fresh barrel or flush tank that is dry at pick-up (at its reserve or below) is not used before it is first filled, and without
that water nothing runs into grey barrel or cassette; the first night needs it. One that holds less than the way to the first night
asks for is used down to its reserve and no further: it counts as dry, and grey barrel and cassette get what comes of so much.
A toilet without a flush tank is flushed by hand, so that the cassette fills all the same.

Likewise a grey barrel, cassette or gas that is past its limit at the start, or too near to it for the first day, is left alone until it
is served, and a flat battery gives nothing until the first night on mains (see `overdue`).
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from tripplan.model.trip import Trip
from tripplan.model.words import STORES, Store
from tripplan.schedule.candidates import Cast
from tripplan.schedule.forecast import Forecast, forecast_of, weather_of
from tripplan.schedule.hours import DayHours
from tripplan.van.limits import UNITS_PER
from tripplan.van.spread import Held
from tripplan.van.use import StayKind, use_kind

__all__ = ["PickUp", "Use", "ashore", "at_pick_up", "blocks_of", "class_of", "drive_classes", "weather_of"]

I32 = NDArray[np.int32]
#: Stores that a service on the way can reset: what a day uses of them may fall after it.
_SERVED = np.array([1, 1, 1, 1, 1, 0], dtype=np.int64)
_CAN_BE_SERVED = int(_SERVED.sum())
_FRESH, _GREY, _CASSETTE, _FLUSH = (STORES.index(s) for s in (Store.FRESH, Store.GREY, Store.CASSETTE, Store.FLUSH))
_BATTERY = STORES.index(Store.BATTERY)
_PER = np.array(UNITS_PER, dtype=np.float64)


@dataclass(frozen=True)
class PickUp:
    """The stores as the van is taken over.

    Parameters
    ----------
    room
        (R) what may be used up between two services [units]. cap: the mean that may, so that the limit holds at the confidence.
    start
        (R) used up as the search counts it, against ``cap`` [units]: a dry store stands at its limit. true: as it is.
    dry
        (R) stores that are left alone until they are served: they do not last to the first night, or were past their limit
        before. empty: those at their limit or past it. untouched: nothing is used up yet.
    flush
        Number of the store that the toilet flushes from; of the cassette itself where it is flushed by hand.
    waters
        (R) share of the way to the first night for which there is water, where it does not last: of grey barrel and cassette.
    true_sd
        (R) one sigma of ``true``, where the levels are not known for sure, and the part of it that goes with the party's habits:
        (2, R) [L, kg, Ah].
    held
        The confidence, and what to count with. forecast: what it is worked out from.
    until
        (R) day on which a dry store is first served. flat: of the battery, units past its limit at the start.
    """

    room: I32
    cap: I32
    start: I32
    true: I32
    dry: NDArray[np.bool_]
    empty: NDArray[np.bool_]
    untouched: NDArray[np.bool_]
    flush: int
    battery_c: float
    held: Held
    forecast: Forecast
    gas_c: float | None = None
    waters: tuple[float, ...] = (1.0,) * len(STORES)
    true_sd: tuple[tuple[float, ...], ...] = ((0.0,) * len(STORES),) * 2
    until: tuple[int, ...] = (0,) * len(STORES)
    flat: int = 0

    def overdue(self, day: int) -> NDArray[np.bool_]:
        """(R) stores that are left alone on a day until they are served."""
        return np.asarray(self.dry & (np.array(self.until) >= day))

    @property
    def wets(self) -> tuple[tuple[int, int], ...]:
        """Waters, and the stores that nothing runs into without them."""
        return ((_FRESH, _GREY), (self.flush, _CASSETTE)) if self.flush != _CASSETTE else ((_FRESH, _GREY),)

    def lasting(self, mask: int) -> NDArray[np.float64]:
        """(R) share of the use on the way to the first night that there is water for, when it serves the stores of a mask."""
        share = np.ones(len(STORES))
        for water, waste in self.wets:
            if not mask >> water & 1:
                share[waste] = self.waters[waste]
        return np.where(self.idle(mask), 0.0, share)

    def idle(self, mask: int) -> NDArray[np.bool_]:
        """(R) stores that the way to the first night leaves alone when it serves those of a mask."""
        idle = np.zeros(len(STORES), dtype=bool)
        for water, waste in self.wets:
            idle[waste] = self.empty[water] and not mask >> water & 1
        idle |= self.dry
        return idle

    def woken(self, road: NDArray[np.int64], serves: int) -> NDArray[np.int64]:
        """(R) what the day of pick-up may still use where the night's place gives water, early in the day, and takes no waste.

        Parameters
        ----------
        road
            (R) what the whole day uses [units].
        serves
            Mask of the stores that the place serves.
        """
        left = np.zeros(len(STORES), dtype=np.int64)
        lasting = np.where(self.dry, 1.0, self.lasting(0))
        for water, waste in self.wets:
            if serves >> water & 1 and not serves >> waste & 1:
                left[waste] = np.ceil(max(0, int(road[waste])) * (1 - lasting[waste]) - 1e-9)
        return left

    def counted(self, serves: NDArray[np.int64]) -> NDArray[np.int64]:
        """Masks of what ways from the depot serve, without stores that have no use of it on that day."""
        return serves & ~sum(1 << r for r in range(len(STORES)) if self.untouched[r])

    def spared(self, emptied: NDArray[np.int64], filled: NDArray[np.int64]) -> NDArray[np.int64]:
        """Return bits that say of ways from the depot that grey (5) and cassette (6) are spared, or emptied after all.

        Parameters
        ----------
        emptied, filled
            Masks of what is served by the first night, and on the way to it.
        """
        bits = np.zeros(len(filled), dtype=np.int64)
        for bit, (water, waste) in enumerate(self.wets):
            if self.empty[water]:
                spared = ((filled >> water & 1) == 0) | ((emptied >> waste & 1) == 1)
                bits |= spared.astype(np.int64) << (_CAN_BE_SERVED + bit)
        return bits


@dataclass(frozen=True)
class Use:
    """Blocks of the trip.

    Parameters
    ----------
    day_block, night_block
        As in `Problem`; use classes are first ``masks`` x driving classes (mask first), then one a kind of stay.
    classes_s
        Upper ends of the classes of driving time [s], as of `drive_classes`.
    kinds
        Kinds of stay told apart, and the stores that each serves. kind_of: that of each site.
    after
        (D, R) what a towing day may use after a service: carried into the night [units].
    last_day
        (R) most that the last day uses [units].
    """

    day_block: I32
    night_block: I32
    kinds: tuple[tuple[StayKind, int], ...]
    kind_of: NDArray[np.int32]
    masks: tuple[int, ...]
    classes_s: tuple[int, ...]
    after: NDArray[np.int64]
    last_day: NDArray[np.int64]
    pick_up: PickUp

    @property
    def first_stay(self) -> int:
        """Use class of the first kind of stay."""
        return len(self.masks) * self.classes

    @property
    def classes(self) -> int:
        """How many classes of driving time are told apart."""
        return len(self.classes_s)


def drive_classes(trip: Trip, most_s: int) -> tuple[int, ...]:
    """Return the upper ends of the classes of driving time [s]: one, unless driving draws on the van's battery.

    There a crossing counts like driving, and has classes beyond the most that may be driven. Where the car charges that battery while
    it drives, days with a crossing have classes of their own: the ends begin anew, and aboard nothing is charged.
    """
    if trip.van.fridge_towing != "battery":
        return (most_s,)
    driven = (*range(3600, most_s, 3600), most_s)
    afloat = (most_s + 3600, most_s + 2 * 3600, most_s + 4 * 3600, 24 * 3600) if trip.ferries else ()
    return (*driven, *driven, *afloat) if afloat and trip.van.car_charge_a > 0 else (*driven, *afloat)


def ashore(classes_s: Sequence[int]) -> int:
    """Return how many classes of driving time there are before the ends begin anew, for days with a crossing."""
    return next((c for c, (one, then) in enumerate(pairwise(classes_s), 1) if then <= one), len(classes_s))


def class_of(classes_s: Sequence[int], taken_s: NDArray[np.int64], afloat_s: NDArray[np.int64]) -> NDArray[np.int64]:
    """(n) the class of days that are under way so long, and of it aboard ferries so long [s]."""
    ends, first = np.array(classes_s, dtype=np.int64), ashore(classes_s)
    found = np.minimum(np.searchsorted(ends[:first], taken_s), first - 1)
    if first == len(ends):
        return np.asarray(found)
    aboard = np.minimum(first + np.searchsorted(ends[first:], taken_s), len(ends) - 1)
    return np.where(afloat_s > 0, aboard, found)


def at_pick_up(
    trip: Trip,
    cast: Cast,
    hours: DayHours | None = None,
    shares: NDArray[np.float64] | None = None,
    forecast: Forecast | None = None,
) -> PickUp:
    """Return the stores as the van is taken over.

    Parameters
    ----------
    hours
        Without them a barrel that holds a little counts as enough for the way to the first night.
    shares
        (R) how often each limit may fail by itself; ``None``: as often as the trip may.
    """
    from tripplan.van.blocks import to_units
    from tripplan.van.limits import battery_temperature, bottle_temperature, capacity, reserve, room_units, used_units_of_levels
    from tripplan.van.spread import hold

    van = trip.van
    forecast = forecast or forecast_of(trip, cast, hours)
    cold = battery_temperature([w for row in forecast.weathers for w in row], trip.party)
    gas_c = bottle_temperature([w for row in forecast.weathers for w in row])
    room = room_units(van, battery_c=cold, gas_c=gas_c)
    may = np.full(len(STORES), 1.0 - trip.confidence) if shares is None else shares
    held = hold(forecast.spreads, room / _PER, len(trip.dates), may)
    cap = _floor(held.mean_room(room / _PER))
    true = used_units_of_levels(van, trip.levels)
    # What is used before the first service has the room that is left: so much less on the mean.
    unsure = level_sd(trip)
    true_sd = unsure[0]
    start = cap - _floor(held.mean_room((room - true) / _PER, *unsure))
    start = np.maximum(start, (true > 0) | (true_sd > 0)).astype(np.int32)
    start[_BATTERY] = true[_BATTERY] + int(np.ceil(held.z[_BATTERY] * true_sd[_BATTERY] * _PER[_BATTERY] - 1e-9))
    first = np.zeros(len(STORES), dtype=np.int64)
    if hours is not None:
        first = to_units(forecast.road(0, drive_classes(trip, trip.first_day_drive_s)[-1], held.tilt)).astype(np.int64)[1]
    empty, dry = np.zeros(len(STORES), dtype=bool), np.zeros(len(STORES), dtype=bool)
    for r, store in enumerate(STORES):
        full = capacity(van, store)
        kept = reserve(van, store, battery_c=cold, gas_c=gas_c)
        level = trip.levels.of(store)
        empty[r] = full > 0 and (full - level if not store.fills else level) >= full - kept
        dry[r] = empty[r] or (full > 0 and true[r] > 0 and int(start[r] + first[r]) > int(cap[r]))
    # Of the battery nobody can leave anything alone: it is flat, or what it gives counts.
    dry[_BATTERY] = start[_BATTERY] > cap[_BATTERY]
    empty[_BATTERY] = dry[_BATTERY]
    flat = max(0, int(start[_BATTERY]) - int(cap[_BATTERY]))
    flush = _FLUSH if van.flush_l > 0 else _CASSETTE
    waters = np.ones(len(STORES))
    for water, waste in ((_FRESH, _GREY), (_FLUSH, _CASSETTE)):
        if dry[water] and not empty[water] and first[water] > 0:
            waters[waste] = min(1.0, max(0, int(room[water]) - int(true[water])) / int(first[water]))
    start = np.where(dry, cap, start).astype(np.int32)
    untouched = (true == 0) & (true_sd == 0)
    lasting, sds = tuple(float(w) for w in waters), tuple(tuple(row) for row in unsure.tolist())
    return PickUp(room, cap, start, true, dry, empty, untouched, flush, cold, held, forecast, gas_c, lasting, sds, flat=flat)


def level_sd(trip: Trip) -> NDArray[np.float64]:
    """(2, R) one sigma of the levels at the start, and what of it goes with the habits [L, kg, Ah]: 0 at pick-up from the firm."""
    if trip.under_way is None:
        return np.zeros((2, len(STORES)))
    return np.array([[levels.of(s) for s in STORES] for levels in (trip.under_way.level_spread, trip.under_way.level_tied)])


def _floor(amounts: NDArray[np.float64]) -> I32:
    return np.asarray(np.floor(amounts * _PER + 1e-6)).astype(np.int32)


def blocks_of(
    trip: Trip, cast: Cast, hours: DayHours, masks: Iterable[int], classes_s: Sequence[int], pick_up: PickUp | None = None
) -> Use:
    """Work out the blocks of all days and nights.

    Parameters
    ----------
    masks
        Which stores are served together on the way, 0 among them.
    """
    from tripplan.van.blocks import Block, join, to_units, worst

    pick_up = pick_up or at_pick_up(trip, cast, hours)
    room, forecast, tilt = pick_up.cap, pick_up.forecast, pick_up.held.tilt
    days = len(trip.dates)
    told = [(use_kind(s.kind), s.serves) for s in cast.sites]
    kinds = tuple(sorted(set(told) or {(StayKind(), 0)}))
    kind_of = np.array([kinds.index(t) for t in told], dtype=np.int32)
    masks = tuple(sorted(set(masks) | {0}))
    width, first_afloat = len(masks) * len(classes_s), ashore(classes_s)
    day_block = np.zeros((days, width + len(kinds), 3, len(STORES)), dtype=np.int32)
    night_block = np.zeros((days, len(kinds), 3, len(STORES)), dtype=np.int32)
    after = np.zeros((days, len(STORES)), dtype=np.int64)
    last_day = np.zeros(len(STORES), dtype=np.int64)
    for d in range(days):
        last = d == days - 1
        driven = [forecast.road(d, end, tilt) for end in classes_s[:first_afloat]]
        # A later class is never the milder, as the search takes for granted: where most of a day is aboard, it is at least as bad.
        driven += [worst(driven[-1], forecast.road(d, end, tilt, end)) for end in classes_s[first_afloat:]]
        roads = [to_units(block, room).astype(np.int64) for block in driven]
        carried = np.zeros(len(STORES), dtype=np.int64) if last else np.maximum(roads[-1][0], 0) * _SERVED
        if d == 0:
            carried = np.where(pick_up.untouched, 0, carried)
        alone, later = pick_up.overdue(d), pick_up.overdue(d + 1)  # what is served later is not used at all today
        carried = np.where(later, 0, carried)
        after[d] = carried
        for m, mask in enumerate(masks):
            kept = _unserved(mask)
            for c, road in enumerate(roads):
                way = np.ceil(road * pick_up.lasting(mask) - 1e-9).astype(np.int64) if d == 0 else road
                way = np.where(alone, 0, way)
                day_block[d, m * len(classes_s) + c] = _lighter(way, carried * kept)
        if last:
            last_day = np.maximum(roads[-1][0], 0)
            break
        used = {
            kind: (to_units(forecast.stay(d, kind, tilt), room).astype(np.int64), forecast.night(d, kind, tilt))
            for kind in dict(kinds)
        }
        for k, (kind, serves) in enumerate(kinds):
            stay, night = used[kind]
            left = carried * _unserved(serves)
            day_block[d, width + k] = _lighter(np.where(alone, 0, stay), left)
            if d == 0:
                left = left + pick_up.woken(roads[-1][0], serves)
            night_block[d, k] = np.where(later, 0, to_units(join(Block(*(tuple((left / _PER).tolist()),) * 2), night), room))
            if alone[_BATTERY] and not later[_BATTERY] and kind.powered:
                night_block[d, k, 0, _BATTERY] += pick_up.flat
    return Use(day_block, night_block, kinds, kind_of, masks, tuple(classes_s), after, last_day, pick_up)


def _unserved(mask: int) -> NDArray[np.int64]:
    return np.array([0 if mask >> r & 1 else 1 for r in range(len(STORES))], dtype=np.int64)


def _lighter(block: NDArray[np.int64], off: NDArray[np.int64]) -> NDArray[np.int64]:
    """Take off what is carried into the night; the worst of the day stays as it was."""
    out = block.copy()
    out[0] -= off
    return out
