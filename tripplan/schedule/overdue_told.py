"""What a plan says of stores that are overdue when it begins: what to do first, where, how far, and until when it is open."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from tripplan.model.place import Spot
from tripplan.model.plan import Day, Overdue
from tripplan.model.words import STORES, Store, day_name
from tripplan.schedule.timetable import DOING
from tripplan.schedule.work import Work
from tripplan.van.limits import capacity, level_of_used, limit_level

__all__ = ["STORE_NAMES", "overdue_of"]

_BATTERY = STORES.index(Store.BATTERY)
_WATERS = (Store.FRESH, Store.FLUSH)
_TASK = {**DOING, Store.GAS: "exchange the gas bottles", Store.BATTERY: "charge the battery on mains"}
STORE_NAMES = {
    Store.FRESH: "fresh water", Store.GREY: "grey water", Store.CASSETTE: "cassette", Store.FLUSH: "flush water",
    Store.GAS: "gas", Store.BATTERY: "battery",
}  # fmt: skip


def overdue_of(work: Work, arcs: Sequence[int], days: Sequence[Day]) -> tuple[Overdue, ...]:
    """Return what to do first on a path, store by store; a barrel that comes dry from the firm is told among the day's notes."""
    return tuple(_overdue(work, arcs, days))


def _overdue(work: Work, arcs: Sequence[int], days: Sequence[Day]) -> Iterator[Overdue]:
    trip, pick_up = work.trip, work.use.pick_up
    for r, store in enumerate(STORES):
        if not pick_up.dry[r] or (trip.under_way is None and store in _WATERS) or capacity(trip.van, store) <= 0:
            continue
        d = _served_on(work, arcs, r)
        if d is None:
            continue
        level = level_of_used(trip.van, store, float(pick_up.true[r]))
        limit = limit_level(trip.van, store, battery_c=pick_up.battery_c, gas_c=pick_up.gas_c)
        yield _told(work, days[d], store, float(level), float(limit), past=bool(pick_up.empty[r]))


def _served_on(work: Work, arcs: Sequence[int], r: int) -> int | None:
    """Return the day on which a path first serves a store."""
    for d, arc in enumerate(arcs):
        end = int(work.options.end[arc])
        if r == _BATTERY:
            if end != 1 and work.cast.sites[end - 2].kind.powered:
                return d
        elif int(work.options.serves[arc]) >> r & 1 or (end != 1 and work.cast.sites[end - 2].serves >> r & 1):
            return d
    return None


def _told(work: Work, day: Day, store: Store, level: float, limit: float, *, past: bool) -> Overdue:
    """Put into words where, how far and until when an overdue store is served on its day."""
    metres, spot, open_until, first = 0.0, day.end, "", True
    legs = iter(day.legs)
    for event in day.events:
        if event.kind in ("service", "sight") and event.spot is not None:
            if store.value in event.stores:
                spot, open_until = event.spot, _open_until(work, day, event.spot)
                break
            first = False
        if event.kind == "drive":
            leg = next(legs, None)
            metres += leg.length_m if leg is not None else 0.0
    else:
        metres = sum(leg.length_m for leg in day.legs if leg.mode == "van")
    unit = store.unit
    at = f"{spot.name}, {metres / 1000:.1f} km from where the day begins" if metres else spot.name
    hours = f", open until {open_until}" if open_until else ""
    if store is Store.BATTERY:
        state = f"the battery is down to {level:.1f} {unit}, {limit:.1f} {unit} should stay in it: switch off what you can until then (sun may help, but a flat battery is not left to it)"
    elif past:
        state = f"{STORE_NAMES[store]} is at {level:.1f} {unit}, past its limit of {limit:.1f} {unit}: do not use it before"
    else:
        to = "up to" if store.fills else "down to"
        state = f"{STORE_NAMES[store]} is at {level:.1f} {unit} and will not last: use it {to} {limit:.1f} {unit} and no further before"
    now = day.number == 1
    when = (
        ("Do this first, today" if first else "Do this today")
        if now
        else f"Do this as soon as it can be done, on {day_name(day.date)}"
    )
    text = f"{when}: {_TASK[store]} at {at}{hours}; {state}"
    return Overdue(store.value, round(level, 2), round(limit, 2), day.number, spot, round(metres / 1000, 1), open_until, text)


def _open_until(work: Work, day: Day, spot: Spot) -> str:
    """Return when a stop closes on a day, "" where it does not or nobody says."""
    d = day.number - 1
    for stop in work.cast.van_stops + work.cast.car_stops:
        if stop.spot == spot and stop.windows[d]:
            closes = max(b for _, b in stop.windows[d] or ())
            return f"{closes // 3600:02d}:{closes % 3600 // 60:02d}" if closes < 86_400 else ""
    return ""
