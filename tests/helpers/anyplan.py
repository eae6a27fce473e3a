"""Plans of any content, made by Hypothesis: for what must hold of every plan."""

from __future__ import annotations

from dataclasses import MISSING, fields, is_dataclass, replace
from datetime import date, datetime, timedelta
from enum import Enum
from functools import cache
from types import NoneType, UnionType
from typing import Any, get_args, get_origin, get_type_hints
from zoneinfo import ZoneInfo

from hypothesis import strategies as st

from tripplan.model.closure import KINDS, Closure
from tripplan.model.outfit import Outfit
from tripplan.model.place import Spot
from tripplan.model.plan import Event, PieceRun, Plan
from tripplan.model.trip import Sight, Trip
from tripplan.model.van import Party, Van
from tripplan.model.words import Via

ZONE = ZoneInfo("Pacific/Auckland")  # has summer time and an hour that comes twice
TIMES = st.integers(1_577_836_800, 2_051_222_400).map(lambda s: datetime.fromtimestamp(s, tz=ZONE))
DATES = st.dates(date(2020, 1, 1), date(2035, 1, 1))
REALS = st.floats(-1e6, 1e6).map(lambda x: round(x, 7) + 0.0)
TEXTS = st.text(st.characters(exclude_categories=["Cs"]), max_size=12)
SPOTS = st.builds(
    Spot,
    text=TEXTS,
    name=TEXTS,
    lon=st.floats(-180, 180).map(lambda x: round(x, 7) + 0.0),
    lat=st.floats(-90, 90).map(lambda x: round(x, 7) + 0.0),
    place=st.integers(-1, 9999),
)


@st.composite
def runs(draw: st.DrawFn) -> PieceRun:
    """Columns of equal length."""
    n = draw(st.integers(0, 6))
    metres = st.lists(st.floats(0, 1e5).map(lambda x: round(x, 3) + 0.0), min_size=n, max_size=n).map(tuple)
    return PieceRun(
        piece=draw(st.lists(st.integers(0, 2**31 - 1), min_size=n, max_size=n).map(tuple)),
        forward=draw(st.lists(st.booleans(), min_size=n, max_size=n).map(tuple)),
        from_m=draw(metres), to_m=draw(metres), time_s=draw(metres),
    )  # fmt: skip


@st.composite
def events(draw: st.DrawFn) -> Event:
    """One event that ends no sooner than it starts."""
    start, length = draw(TIMES), draw(st.integers(0, 400))
    end = (start.astimezone(ZoneInfo("UTC")) + timedelta(minutes=length)).astimezone(ZONE)
    stores = tuple(draw(st.lists(TEXTS, max_size=2)))
    return Event(draw(TEXTS), start, end, draw(TEXTS), draw(st.none() | SPOTS), stores, draw(st.integers(0, 9999)))


#: Fields of a trip that hold minutes of a day.
_MINUTES = ("sunset_margin_min", "leave_after_min", "arrive_by_min")


@st.composite
def trips(draw: st.DrawFn) -> Trip:
    """A sound trip: the fields with ranges of their own keep to them, all others are anything."""
    hints = get_type_hints(Trip)
    start = draw(TIMES)
    values = {
        f.name: draw(of(hints[f.name]))
        for f in fields(Trip)
        if f.name
        not in (
            "tz",
            "pick_up",
            "return_by",
            "max_drive_s",
            "first_day_drive_s",
            "confidence",
            "outfit",
            "car",
            "fridge_limit_h",
            *_MINUTES,
        )
    }
    values |= {"fridge_limit_h": draw(st.sampled_from([-1.0, 0.0, 2.5]))}
    values |= {name: draw(st.integers(0, 24 * 60)) for name in _MINUTES}
    return Trip(
        tz=str(ZONE), pick_up=start, return_by=start + timedelta(days=draw(st.integers(1, 30))),
        max_drive_s=draw(st.integers(1800, 43200)), first_day_drive_s=draw(st.integers(900, 43200)),
        confidence=draw(st.sampled_from([0.5, 0.95, 0.99])), outfit=draw(outfits(True)), car=draw(outfits(False)), **values,
    )  # fmt: skip


def outfits(towing: bool) -> st.SearchStrategy[Outfit]:
    """Outfits within the ranges of their class."""
    return st.builds(
        Outfit, name=TEXTS, towing=st.just(towing), mass_kg=st.integers(900, 5000).map(float),
        van_mass_kg=st.integers(0, 3000).map(float), axle_load_kg=st.integers(400, 2000).map(float),
        height_m=st.sampled_from([1.6, 2.61, 2.95]), width_m=st.sampled_from([1.9, 2.28]), length_m=st.sampled_from([4.6, 12.25]),
        towing_limit_kmh=st.sampled_from([80.0, 90.0, 100.0]), approved_100=st.booleans(),
    )  # fmt: skip


def sights() -> st.SearchStrategy[Sight]:
    """Sights within the ranges of their class."""
    return st.builds(
        Sight, spot=SPOTS, must=st.booleans(), value_cents=st.integers(0, 10**6), via=st.sampled_from(list(Via)),
        hours=st.floats(0, 24).map(lambda x: round(x, 3) + 0.0), nights=st.integers(0, 30), near_km=st.floats(0, 400).map(lambda x: round(x, 3) + 0.0),
    )  # fmt: skip


def vans() -> st.SearchStrategy[Van]:
    """Vans within the ranges of their class."""
    return st.builds(
        Van, name=TEXTS, fresh_l=st.sampled_from([40.0, 120.5]), grey_l=st.sampled_from([25.0, 90.0]), cassette_l=st.just(17.5),
        flush_l=st.sampled_from([0.0, 10.0]), gas_bottle_kg=st.just(8.5), gas_bottles=st.integers(1, 2),
        battery_ah=st.just(95.0), battery_kind=st.sampled_from(["agm", "lifepo4"]),
    )  # fmt: skip


def closures() -> st.SearchStrategy[Closure]:
    """Closures that their class takes: lines of two points or more, areas of three or more, dates in order."""
    points = st.tuples(st.floats(-180, 180), st.floats(-90, 90)).map(lambda p: (round(p[0], 7) + 0.0, round(p[1], 7) + 0.0))
    return st.builds(
        Closure, name=TEXTS, kind=st.sampled_from(KINDS), source=TEXTS, first=st.none() | st.dates(date(2020, 1, 1), date(2026, 1, 1)),
        last=st.none() | st.dates(date(2026, 1, 1), date(2035, 1, 1)), lines=st.lists(st.lists(points, min_size=2, max_size=3).map(tuple), max_size=2).map(tuple),
        rings=st.lists(st.lists(points, min_size=3, max_size=4).map(tuple), max_size=2).map(tuple), ways=st.just((17,)), one_way=st.booleans(),
    )  # fmt: skip


@cache
def of(kind: Any) -> st.SearchStrategy[Any]:
    """Values of one type of the model; built once for each, as building costs far more than drawing."""
    special = {
        Spot: SPOTS, PieceRun: runs(), Event: events(), Sight: sights(), Trip: trips(), Van: vans(), Closure: closures(),
        Party: st.builds(Party, name=TEXTS, adults=st.integers(1, 4), children=st.integers(0, 3)),
        int: st.integers(-(10**9), 10**9), float: REALS, bool: st.booleans(), str: TEXTS, datetime: TIMES, date: DATES,
    }  # fmt: skip
    if kind in special:
        return special[kind]
    if isinstance(kind, type) and issubclass(kind, Enum):
        return st.sampled_from(list(kind))
    origin, inside = get_origin(kind), get_args(kind)
    if origin is tuple:
        if inside[-1] is Ellipsis:
            return st.lists(of(inside[0]), max_size=2).map(tuple)
        return st.tuples(*map(of, inside))
    if origin is dict:
        return st.dictionaries(TEXTS, of(inside[1]), max_size=2)
    if origin is UnionType:
        return st.one_of(*(st.none() if arm is NoneType else of(arm) for arm in inside))
    if is_dataclass(kind):
        hints = get_type_hints(kind)
        return st.builds(kind, **{f.name: of(hints[f.name]) for f in fields(kind)})
    raise TypeError(kind)


@st.composite
def plans(draw: st.DrawFn) -> Plan:
    """A whole plan with one or two days."""
    hints = get_type_hints(Plan)
    values = {f.name: draw(of(hints[f.name])) for f in fields(Plan) if f.default is MISSING and f.name != "days"}
    optional = {f.name: draw(of(hints[f.name])) for f in fields(Plan) if f.name in ("presumed_offers", "cautions", "assumptions")}
    days = draw(st.lists(of(get_args(hints["days"])[0]), min_size=1, max_size=2).map(tuple))
    days = tuple(replace(day, number=number) for number, day in enumerate(days, 1))
    return Plan(days=days, **values, **optional)
