"""Every store, hour by hour, from pick-up to return: the plan's timetable lived through once more.

A barrel that is dry at pick-up is not used until it is first filled, or until the first night, which needs it.

The search adds blocks of a day; here the clock runs. Each stretch between two events of the timetable is cut at the full
hours and what it uses is taken from the van's hourly rates, at the trip's confidence, where the timetable says the party is.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from itertools import pairwise
from typing import Final

import numpy as np
from numpy.typing import NDArray

from tripplan.almanac.climate import weather_for
from tripplan.almanac.sun import sun_day
from tripplan.audit.findings import Findings
from tripplan.model.plan import Day, Event, Plan
from tripplan.model.van import DayWeather
from tripplan.model.words import STORES, Offer, Store
from tripplan.region.region import Region
from tripplan.van.limits import UNITS_PER, battery_temperature, bottle_temperature, capacity, reserve
from tripplan.van.use import StayKind, hourly, slots

__all__ = ["audit_levels"]

F64 = NDArray[np.float64]
#: What rounding to the search's units may hide in a day, each block rounded up once [units].
_SLACK_UNITS = 2.0
_WATER = (Store.FRESH, Store.FLUSH)
#: Stands in a day's timeline where the night's place is reached, or in the morning of a standing day.
SETTLED: Final[tuple[str, ...]] = ("",)


@dataclass(frozen=True)
class _Stretch:
    """A stretch of local wall clock in one state: ``kind`` None on the road, ``wheel`` 1 at the wheel with the van on."""

    start_h: float
    end_h: float
    kind: StayKind | None
    wheel: float
    ferry: bool = False


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
    weather = {day.date: _weather(plan, day) for day in plan.days}
    cold = battery_temperature(weather.values(), trip.party)
    full = np.array([capacity(van, s) for s in STORES])
    room = full - np.array([reserve(van, s, battery_c=cold, gas_c=bottle_temperature(weather.values())) for s in STORES])
    slack = _SLACK_UNITS / np.array(UNITS_PER)
    start = np.array([trip.levels.of(s) for s in STORES])
    for row, kept in enumerate(STORES):
        if not -1e-6 <= start[row] <= full[row] + 1e-6:
            text = f"{kept.value} starts at {start[row]:g} of {full[row]:g} {kept.unit}"
            found.add("pick-up level", 0, start[row], kept.unit, text)
    used = np.where([s.fills for s in STORES], start, full - start)
    used = np.maximum(used, 0.0)
    dry = np.array([s in _WATER and used[i] >= room[i] for i, s in enumerate(STORES)])
    used = np.where(dry, np.minimum(used, room), used)

    evening: StayKind | None = None
    for day in plan.days:
        share = sun_day(day.date, day.start.lon, day.start.lat, trip.tz).share
        said = _Said(day, full, room, found)
        worst = used.copy()
        late = np.zeros(len(STORES))
        settled = standing = not any(leg.mode == "van" for leg in day.legs)
        left_alone = np.zeros(len(STORES), dtype=np.bool_)
        for item in _timeline(plan, region, day, evening):
            if item is SETTLED:
                settled, late = True, np.zeros(len(STORES))
                if not standing:
                    said.not_better("arrive", used, slack, without=(Store.BATTERY, *said.on_the_way(last=day is plan.days[-1])))
            elif isinstance(item, _Stretch):
                cut = slots(item.start_h, item.end_h)
                use = hourly(
                    van, trip.party, weather[day.date], share, item.kind, cut, towing=item.wheel, confidence=trip.confidence,
                    ferry=item.ferry,
                )  # fmt: skip
                unused = left_alone | (_unused_while(dry) if day is plan.days[0] and item.kind is None else False)
                for row in use:
                    used = np.maximum(used + np.where(unused, 0.0, row), 0.0)
                    worst = np.maximum(worst, used)
                    late = np.maximum(late, used) if settled else late
            else:
                for store in item:
                    if store in STORES:
                        used[STORES.index(Store(store))] = late[STORES.index(Store(store))] = 0.0
                        dry[STORES.index(Store(store))] = False
                        left_alone[STORES.index(Store(store))] = day is plan.days[-1] and store in _to_be_empty(plan)
        _limits(day, worst, room, slack, found)
        if day is not plan.days[-1]:
            said.not_better("worst", late, slack, without=said.served_here())
        evening = _kind(plan, region, day)
    _chain(plan, found)
    _return(plan, used, slack, found)


class _Said:
    """The levels that a day's papers show, as what is used up: they may be worse than what comes, never better."""

    def __init__(self, day: Day, full: F64, room: F64, found: Findings) -> None:
        self.day, self.full, self.found = day, full, found
        self.lines = {line.store: line for line in day.levels}
        for row, store in enumerate(STORES):
            line = self.lines.get(store)
            if line is None:
                found.add("stated level", day.number, 1, "", f"{store.value} has no levels on this day")
            elif self._used(row, line.limit) > room[row] + 1.0 / UNITS_PER[row] + 1e-6:  # a stricter one harms nobody
                limit = room[row] if store.fills else full[row] - room[row]
                found.add(
                    "stated level", day.number, line.limit - limit, store.unit, f"the limit of {store.value} is {limit:.2f}"
                )

    def _used(self, row: int, level: float) -> float:
        return level if STORES[row].fills else float(self.full[row]) - level

    def served_here(self) -> tuple[Store, ...]:
        """Stores that the place serves: whenever one likes while there, so that no hour can be held against them."""
        return tuple(Store(s) for s, line in self.lines.items() if s in STORES and "site" in line.served.split("+"))

    def on_the_way(self, *, last: bool) -> tuple[Store, ...]:
        """Stores served on the way of the return day: stated as they are after it, as nobody lives in the van any more."""
        return tuple(Store(s) for s, line in self.lines.items() if last and s in STORES and "way" in line.served.split("+"))

    def not_better(self, when: str, used: F64, slack: F64, *, without: tuple[Store, ...] = ()) -> None:
        """Put a finding where a stated level is better than what the hours come to.

        On arrival the battery is stated as it will be at the day's latest hour of arrival, sun till then put in: left out.
        """
        for row, store in enumerate(STORES):
            line = self.lines.get(store)
            if line is None or store in without:
                continue
            short = used[row] - self._used(row, getattr(line, when))
            if short > slack[row]:
                self.found.add(
                    "stated level",
                    self.day.number,
                    short,
                    store.unit,
                    f"{store.value} is said to be {getattr(line, when):.1f} ({when})",
                )


def _chain(plan: Plan, found: Findings) -> None:
    """A day begins with the levels that the night before ended with."""
    for before, after in pairwise(plan.days):
        ended = {line.store: line.end for line in before.levels}
        for line in after.levels:
            if abs(line.leave - ended.get(line.store, line.leave)) > 0.051:
                found.add("stated level", after.number, line.leave - ended[line.store], "", f"{line.store} jumps overnight")


def _unused_while(dry: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Stores that see no use on the way to the first night: no water aboard, no sink; no flush water, no toilet."""
    fresh, flush = dry[STORES.index(Store.FRESH)], dry[STORES.index(Store.FLUSH)]
    by = {Store.FRESH: fresh, Store.GREY: fresh, Store.FLUSH: flush, Store.CASSETTE: flush}
    return np.array([bool(by.get(s, False)) for s in STORES])


def _weather(plan: Plan, day: Day) -> DayWeather:
    return weather_for(day.date, day.end.lat, plan.trip.weather, by_date=plan.trip.weather_days)


def _limits(day: Day, worst: F64, room: F64, slack: F64, found: Findings) -> None:
    for row, store in enumerate(STORES):
        over = worst[row] - room[row]
        if over > slack[row]:
            verb = "over its limit" if store.fills else "under its reserve"
            found.add("level", day.number, over, store.unit, f"{store.value} is {over:.1f} {store.unit} {verb}")


def _to_be_empty(plan: Plan) -> tuple[Store, ...]:
    """Stores that the firm wants back empty: once emptied on the last day they are left alone, as the plan says."""
    firm = plan.trip.firm
    asked = ((Store.CASSETTE, firm.return_cassette_empty), (Store.GREY, firm.return_grey_empty))
    return tuple(store for store, wanted in asked if wanted)


def _return(plan: Plan, used: F64, slack: F64, found: Findings) -> None:
    firm, last = plan.trip.firm, plan.days[-1].number
    for store in _to_be_empty(plan):
        left = used[STORES.index(store)]
        if left > slack[STORES.index(store)]:
            found.add("return", last, left, "L", f"{store.value} comes back with {left:.1f} L in it, the firm wants it empty")
    gas = capacity(plan.trip.van, Store.GAS) - used[STORES.index(Store.GAS)]
    if gas < firm.return_gas_kg - slack[STORES.index(Store.GAS)]:
        short = firm.return_gas_kg - gas
        found.add("return", last, short, "kg", f"gas comes back at {gas:.2f} kg, the firm wants {firm.return_gas_kg:.2f} kg")


def _kind(plan: Plan, region: Region, day: Day) -> StayKind | None:
    """What the night's place gives, as far as the trip lets it be leaned on."""
    if day.night is None:
        return None
    if not 0 <= day.night.spot.place < len(region.places):
        return StayKind()
    place = region.places[day.night.spot.place]
    least = Offer.PRESUMED if plan.trip.presumed_offers else Offer.YES
    has = {
        word: place.offer(word).answer >= least for word in ("power", "fresh", "piped", "grey", "cassette", "toilets", "showers")
    }
    return StayKind(
        powered=has["power"] and day.night.powered,
        fresh=has["fresh"],
        piped=has["piped"],
        grey=has["grey"],
        cassette=has["cassette"],
        toilets=has["toilets"],
        showers=has["showers"],
    )


def _timeline(plan: Plan, region: Region, day: Day, evening: StayKind | None) -> Iterator[_Stretch | tuple[str, ...]]:
    """Yield the stretches of one calendar day in order, between them the stores that a service resets, and `SETTLED`."""
    first, last = day is plan.days[0], day is plan.days[-1]
    begin = _hour(plan.trip.pick_up, day.date) if first else 0.0
    finish = _hour(plan.trip.return_by, day.date) if last else 24.0
    standing = not any(leg.mode == "van" for leg in day.legs)
    here = evening
    there = _kind(plan, region, day)
    served = tuple(line.store for line in day.levels if "site" in line.served.split("+"))
    moves = [e for e in day.events if e.kind in ("drive", "ferry")]
    clock = begin
    if standing:
        morning = max(clock, plan.trip.leave_after_min / 60)
        yield _Stretch(clock, morning, here, 0.0)
        yield SETTLED
        clock = morning
        if not first:
            yield _before(plan, day)
        for event in day.events:
            if event.kind == "service" and event.stores and not _at(event, day):
                yield _Stretch(clock, _hour(event.end, day.date), here, 0.0)
                clock = max(clock, _hour(event.end, day.date))
                yield event.stores
        yield _Stretch(clock, finish, here, 0.0)
        return
    leave = _hour(moves[0].start, day.date) if moves else begin
    if clock < leave:
        yield _Stretch(clock, leave, here, 0.0)
        clock = leave
    if not first:
        yield _before(plan, day)
    for event in day.events:
        start, end = _hour(event.start, day.date), _hour(event.end, day.date)
        if start < leave or event.kind in ("stay", "arrive", "return"):
            continue
        if start > clock:
            yield _Stretch(clock, start, None, 0.0)
        under_way = 1.0 if event.kind in ("drive", "ferry") else 0.0
        yield _Stretch(max(start, clock), end, None, under_way, event.kind == "ferry")
        clock = max(clock, end)
        if event.kind == "service" and not _at(event, day):
            yield event.stores
        if event.kind == "drive" and moves and event is moves[-1]:
            break
    yield SETTLED
    if served and not last:
        yield served
    if clock < finish:
        yield _Stretch(clock, finish, there, 0.0)


def _before(plan: Plan, day: Day) -> tuple[str, ...]:
    """Stores that the last night's place serves in the morning before leaving."""
    previous = plan.days[day.number - 2]
    return tuple(line.store for line in previous.levels if "site" in line.served.split("+"))


def _at(event: Event, day: Day) -> bool:
    """Whether a service is done at the night's place itself."""
    spot = day.night.spot if day.night is not None else None
    return (
        spot is not None
        and event.spot is not None
        and abs(event.spot.lon - spot.lon) < 1e-9
        and abs(event.spot.lat - spot.lat) < 1e-9
    )


def _hour(moment: datetime, day: date) -> float:
    """Local wall-clock hours since midnight of a date."""
    midnight = datetime.combine(day, time())
    return (moment.replace(tzinfo=None) - midnight) / timedelta(hours=1)
