"""What days and nights use of the stores, as the blocks that the search counts in.

The day lies between the earliest leaving and the latest arrival; its hours on the road count as spent with nothing given
and, for each store, as driven or not, whichever is worse. An earlier arrival or a later start only betters that. The night lies
between the latest arrival and the next morning.

When on the way a service is done is not told by an option. So that no level comes out too low, what a towing day may use
after a service is the whole of it: it is carried into the night. A store that is not served on the way has it taken off
its day in turn, so that nothing counts twice there; the worst level of the day counts it in full. A site that serves a store on
arrival needs nothing carried. Nor does the day of pick-up for a store of which nothing is used yet: serving it on that day leaves
no more in it than the day's whole use, so that there it does not count as served.

A fresh barrel or flush tank that is dry at pick-up (at its reserve or below) is not used before it is first filled, and without
that water nothing runs into grey barrel or cassette; the first night needs it.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tripplan.model.trip import Trip
from tripplan.model.van import DayWeather
from tripplan.model.words import STORES, Store
from tripplan.schedule.candidates import Cast
from tripplan.schedule.hours import DayHours
from tripplan.van.use import StayKind, use_kind

__all__ = ["PickUp", "Use", "at_pick_up", "blocks_of", "drive_classes", "weather_of"]

I32 = NDArray[np.int32]
#: Stores that a service on the way can reset: what a day uses of them may fall after it.
_SERVED = np.array([1, 1, 1, 1, 1, 0], dtype=np.int64)
_CAN_BE_SERVED = int(_SERVED.sum())
_FRESH, _GREY, _CASSETTE, _FLUSH = (STORES.index(s) for s in (Store.FRESH, Store.GREY, Store.CASSETTE, Store.FLUSH))


@dataclass(frozen=True)
class PickUp:
    """The stores as the van is taken over.

    Parameters
    ----------
    room
        (R) what may be used up between two services [units].
    start
        (R) used up as the search counts it [units]: a dry store stands at its limit. true: as it is.
    dry
        (R) fresh or flush water at its reserve or below. untouched: nothing is used up yet.
    flush
        Number of the store that the toilet flushes from.
    """

    room: I32
    start: I32
    true: I32
    dry: NDArray[np.bool_]
    untouched: NDArray[np.bool_]
    flush: int
    battery_c: float

    def idle(self, mask: int) -> NDArray[np.bool_]:
        """(R) stores that the way to the first night leaves alone when it serves those of a mask."""
        idle = np.zeros(len(STORES), dtype=bool)
        idle[_FRESH] = self.dry[_FRESH]
        idle[_GREY] = self.dry[_FRESH] and not mask >> _FRESH & 1
        idle[_FLUSH] = self.dry[_FLUSH]
        idle[_CASSETTE] = self.dry[self.flush] and not mask >> self.flush & 1
        return idle

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
        for bit, (water, waste) in enumerate(((_FRESH, _GREY), (self.flush, _CASSETTE))):
            if self.dry[water]:
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
    classes: int
    after: NDArray[np.int64]
    last_day: NDArray[np.int64]
    pick_up: PickUp

    @property
    def first_stay(self) -> int:
        """Use class of the first kind of stay."""
        return len(self.masks) * self.classes


def drive_classes(trip: Trip, most_s: int) -> tuple[int, ...]:
    """Return the upper ends of the classes of driving time [s]: one, unless driving draws on the van's battery."""
    if trip.van.fridge_towing != "battery":
        return (most_s,)
    return (*range(3600, most_s, 3600), most_s)


def weather_of(trip: Trip, day: int, lat: float) -> DayWeather:
    """Return the weather that a day is planned with."""
    from tripplan.almanac.climate import weather_for

    return weather_for(trip.dates[day], lat, trip.weather)


def at_pick_up(trip: Trip, cast: Cast) -> PickUp:
    """Return the stores as the van is taken over."""
    from tripplan.van.limits import battery_temperature, capacity, reserve, room_units, used_units_of_levels

    van = trip.van
    cold = battery_temperature([w for row in _weathers(trip, _ends(trip, cast)) for w in row], trip.party)
    room = room_units(van, battery_c=cold)
    true = used_units_of_levels(van, trip.levels)
    dry = np.zeros(len(STORES), dtype=bool)
    for r in (_FRESH, _FLUSH):
        full = capacity(van, STORES[r])
        dry[r] = full > 0 and full - trip.levels.of(STORES[r]) >= full - reserve(van, STORES[r], battery_c=cold)
    start = np.where(dry, np.minimum(true, room), true).astype(np.int32)
    return PickUp(room, start, true, dry, true == 0, _FLUSH if van.flush_l > 0 else _FRESH, cold)


def _weathers(trip: Trip, ends: Sequence[tuple[float, float]]) -> list[list[DayWeather]]:
    return [[weather_of(trip, d, lat) for d in range(len(trip.dates))] for _, lat in ends]


def blocks_of(
    trip: Trip, cast: Cast, hours: DayHours, masks: Iterable[int], classes_s: Sequence[int], pick_up: PickUp | None = None
) -> Use:
    """Work out the blocks of all days and nights.

    Parameters
    ----------
    masks
        Which stores are served together on the way, 0 among them.
    """
    from tripplan.van.blocks import Block, join, to_units

    pick_up = pick_up or at_pick_up(trip, cast)
    room = pick_up.room
    days = len(trip.dates)
    ends = _ends(trip, cast)
    weathers = _weathers(trip, ends)
    told = [(use_kind(s.kind), s.serves) for s in cast.sites]
    kinds = tuple(sorted(set(told) or {(StayKind(), 0)}))
    kind_of = np.array([kinds.index(t) for t in told], dtype=np.int32)
    clock = _Clock(trip, hours, ends, weathers)
    masks = tuple(sorted(set(masks) | {0}))
    width = len(masks) * len(classes_s)
    day_block = np.zeros((days, width + len(kinds), 3, len(STORES)), dtype=np.int32)
    night_block = np.zeros((days, len(kinds), 3, len(STORES)), dtype=np.int32)
    after = np.zeros((days, len(STORES)), dtype=np.int64)
    last_day = np.zeros(len(STORES), dtype=np.int64)
    for d in range(days):
        last = d == days - 1
        roads = [to_units(clock.road(d, end), room).astype(np.int64) for end in classes_s]
        carried = np.zeros(len(STORES), dtype=np.int64) if last else np.maximum(roads[-1][0], 0) * _SERVED
        if d == 0:
            carried = np.where(pick_up.untouched, 0, carried)
        after[d] = carried
        for m, mask in enumerate(masks):
            kept = _unserved(mask)
            for c, road in enumerate(roads):
                way = np.where(pick_up.idle(mask), 0, road) if d == 0 else road
                day_block[d, m * len(classes_s) + c] = _lighter(way, carried * kept)
        if last:
            last_day = np.maximum(roads[-1][0], 0)
            break
        used = {kind: (to_units(clock.stay(d, kind), room).astype(np.int64), clock.night(d, kind)) for kind in dict(kinds)}
        for k, (kind, serves) in enumerate(kinds):
            stay, night = used[kind]
            left = carried * _unserved(serves)
            day_block[d, width + k] = _lighter(stay, left)
            night_block[d, k] = to_units(join(Block(*(tuple((left / _PER).tolist()),) * 2), night), room)
    return Use(day_block, night_block, kinds, kind_of, masks, len(classes_s), after, last_day, pick_up)


def _unserved(mask: int) -> NDArray[np.int64]:
    return np.array([0 if mask >> r & 1 else 1 for r in range(len(STORES))], dtype=np.int64)


def _per() -> NDArray[np.float64]:
    from tripplan.van.limits import UNITS_PER

    return np.array(UNITS_PER, dtype=np.float64)


_PER = _per()


def _lighter(block: NDArray[np.int64], off: NDArray[np.int64]) -> NDArray[np.int64]:
    """Take off what is carried into the night; the worst of the day stays as it was."""
    out = block.copy()
    out[0] -= off
    return out


def _ends(trip: Trip, cast: Cast) -> tuple[tuple[float, float], ...]:
    """Two opposite corners of what the trip may see, or one point where they are near: sun and weather are taken at both."""
    spots = [trip.depot, trip.return_depot, *(s.spot for s in cast.sites)]
    lon, lat = [s.lon for s in spots], [s.lat for s in spots]
    if max(lat) - min(lat) < 0.05 and max(lon) - min(lon) < 0.1:
        return ((trip.depot.lon, trip.depot.lat),)
    return ((min(lon), min(lat)), (max(lon), max(lat)))


class _Clock:
    """Hourly use of each calendar day, cut where the day's stretches meet, once a kind of stay."""

    def __init__(
        self, trip: Trip, hours: DayHours, ends: tuple[tuple[float, float], ...], weathers: list[list[DayWeather]]
    ) -> None:
        from tripplan.almanac.sun import sun_day

        self.trip = trip
        self.weathers = weathers
        self.leave = [float(s) / 3600 for s in hours.first_leave]
        self.arrive = [min(24.0, float(s) / 3600) for s in hours.last_arrive]
        self.shares = [[sun_day(day, lon, lat, trip.tz).share for day in trip.dates] for lon, lat in ends]
        self.known: dict[tuple[int, int, StayKind | None], tuple[NDArray[np.float64], int, int]] = {}

    def _rows(self, d: int, end: int, kind: StayKind | None) -> tuple[NDArray[np.float64], int, int]:
        """Use of each slot of a calendar day, and where leaving and arriving cut it."""
        key = (d, end, kind)
        if key not in self.known:
            from tripplan.van.use import hourly, slots

            parts = [slots(0.0, self.leave[d]), slots(self.leave[d], self.arrive[d]), slots(self.arrive[d], 24.0)]
            use = hourly(
                self.trip.van, self.trip.party, self.weathers[end][d], self.shares[end][d], kind, np.concatenate(parts),
                confidence=self.trip.confidence,
            )  # fmt: skip
            self.known[key] = (use, len(parts[0]), len(parts[0]) + len(parts[1]))
        return self.known[key]

    def _worst(self, rows: list[NDArray[np.float64]]):  # type: ignore[no-untyped-def]
        from tripplan.van.blocks import block_of, worst

        block = block_of(rows[0])
        for other in rows[1:]:
            block = worst(block, block_of(other))
        return block

    def night(self, d: int, kind: StayKind):  # type: ignore[no-untyped-def]
        """From the latest arrival to the next morning's leaving."""
        rows = []
        for end in range(len(self.shares)):
            evening, _, b = self._rows(d, end, kind)
            morning, a, _ = self._rows(d + 1, end, kind)
            rows.append(np.concatenate((evening[b:], morning[:a])))
        return self._worst(rows)

    def stay(self, d: int, kind: StayKind):  # type: ignore[no-untyped-def]
        """A standing day between leaving and arriving hours."""
        return self._worst([rows[a:b] for rows, a, b in (self._rows(d, end, kind) for end in range(len(self.shares)))])

    def road(self, d: int, most_s: int):  # type: ignore[no-untyped-def]
        """A towing day: for each store, the worse of hardly driving and driving so long, first or last."""
        from tripplan.almanac.sun import SunDay
        from tripplan.van.blocks import day_block, worst

        block = None
        for end, shares in enumerate(self.shares):
            sun = SunDay(None, None, None, 0.0, "", shares[d])
            # At the wheel nothing draws more than at rest, unless the fridge runs from the van's battery.
            at_most = min(most_s / 3600, max(0.0, self.arrive[d] - self.leave[d]))
            for drive_h in (0.0, at_most) if self.trip.van.fridge_towing == "battery" else (0.0,):
                one = day_block(
                    self.trip.van, self.trip.party, self.weathers[end][d], sun, drive_h=drive_h, kind=None,
                    leave_h=self.leave[d], arrive_h=self.arrive[d], confidence=self.trip.confidence,
                )  # fmt: skip
                block = one if block is None else worst(block, one)
        return block
