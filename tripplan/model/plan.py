"""The answer: days, legs, stops, nights, levels, and how sure the search is."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date, datetime

from tripplan.model.place import OfferFact, Spot
from tripplan.model.trip import UNTOLD, Trip

__all__ = [
    "Caution", "ClosureMatch", "Cost", "Day", "DayClosure", "DayEnergy", "EnergyLine", "Event", "Excess", "Finding", "Holds", "Leg", "LevelLine", "NextChance", "Night", "Overdue", "PieceRun", "Plan", "PresumedOffer", "Proof",
]  # fmt: skip


@dataclass(frozen=True, slots=True)
class PieceRun:
    """Road pieces driven one after another, as columns of equal length.

    Parameters
    ----------
    piece
        Row of each piece in the region. forward: driven in the direction it is drawn.
    from_m, to_m
        Part of the piece that is driven, measured along the direction of travel [m].
    time_s
        Driving time of each [s].
    """

    piece: tuple[int, ...]
    forward: tuple[bool, ...]
    from_m: tuple[float, ...]
    to_m: tuple[float, ...]
    time_s: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class Leg:
    """The way from one stop to the next.

    Parameters
    ----------
    mode
        ``van`` (towing) or ``car`` (alone, from a standing van).
    drive_s
        Time at the wheel [s]; ``ferry_s`` is apart.
    off_road_m
        Straight distance between the road and the place at both ends [m].
    """

    mode: str
    start: Spot
    end: Spot
    length_m: float
    drive_s: float
    ferry_s: float
    presumed_m: float
    unknown_m: float
    off_road_m: float
    tolls: int
    runs: PieceRun


@dataclass(frozen=True, slots=True)
class Event:
    """One line of a day's timetable.

    Parameters
    ----------
    kind
        ``handover``, ``drive``, ``break``, ``service``, ``sight``, ``arrive``, ``stay``, ``return``, ``ferry``.
    stores
        The stores that a service resets. cents: what it costs.
    spare_min
        So much later it could begin and the day still be kept [min]; -1: not told.
    next_chance
        Of a service: where it can be done if this place turns out to be closed.
    """

    kind: str
    start: datetime
    end: datetime
    text: str
    spot: Spot | None = None
    stores: tuple[str, ...] = ()
    cents: int = 0
    spare_min: int = -1
    next_chance: NextChance | None = None


@dataclass(frozen=True, slots=True)
class NextChance:
    """Where a service can be done if the place planned turns out to be closed.

    Parameters
    ----------
    planned, planned_day
        The next stop or night of the plan that serves all of it, and its day; ``None`` and 0: none does.
    lasts
        Whether every store would last until then.
    nearest, nearest_km, nearest_min
        The nearest other place by road that offers all of it, and how far it is [km, min of driving]; ``None``: none is known.
    known
        Whether that place is known to offer it; else it is presumed.
    """

    planned: Spot | None = None
    planned_day: int = 0
    lasts: bool = False
    nearest: Spot | None = None
    nearest_km: float = 0.0
    nearest_min: int = 0
    known: bool = False


@dataclass(frozen=True, slots=True)
class LevelLine:
    """One store on one day, as people read it (L, kg, Ah), at the confidence that each limit is held at.

    Parameters
    ----------
    leave
        On leaving in the morning. arrive: on reaching the night's place, services on the way done.
    worst
        The level nearest to the limit from leaving to the next morning's service, what comes just before a service on the way with it.
    end
        Next morning after any service at the site: the next day's ``leave``.
    limit
        Level that must not be passed (upwards for grey and cassette, downwards for the others).
    served
        ``""``, ``way``, ``site``, ``car`` or several joined by ``+``.
    expected
        ``leave``, ``arrive``, ``worst`` and ``end`` on the mean: half of such trips do better.
    """

    store: str
    leave: float
    arrive: float
    worst: float
    end: float
    limit: float
    served: str = ""
    expected: tuple[float, ...] = ()


@dataclass(frozen=True, slots=True)
class Night:
    """The night's place and what it gives."""

    spot: Spot
    ref: str
    kind: str
    powered: bool
    price_cents: int
    price_known: bool
    stay_night: int
    offers: dict[str, OfferFact]
    runs_on: dict[str, str]


@dataclass(frozen=True, slots=True)
class EnergyLine:
    """What one thing runs on for a part of a day, and why.

    Parameters
    ----------
    when
        ``towing``, ``ferry`` or ``stay`` (at the night's place, or all day where the van stands).
    what
        ``fridge``, ``heating``, ``hot water``, ``cooking``, ``12 V`` or ``gas``.
    runs_on, why
        Plain words; ``why`` may be empty.
    """

    when: str
    what: str
    runs_on: str
    why: str = ""


@dataclass(frozen=True, slots=True)
class DayEnergy:
    """The energy of one day, for people: what runs on what, when gas is off, whether mains is needed, and what to expect.

    Parameters
    ----------
    lines
        What runs on what, in the order of the day.
    mains, mains_why
        ``needed`` (without it a store or the heating fails), ``helps``, ``none`` (not there) or empty (no night); why, a
        sentence each.
    hook_up_a, hook_up
        Fuse planned with [A], and what may run together on 6, 10 and 16 A, a sentence each; empty off mains.
    hot_water_ideal_min, hot_water_min, shower_l
        To heat the water heater from cold [min], ideally and in practice, and what that makes at the shower head [L].
    fridge_warmest_c, fridge_above_h, fridge_recool_h
        Warmest inside [°C], hours above 5 °C [h], and hours from power on until 5 °C [h]; -1: it does not get there that day.
    volts_evening, volts_morning
        What a display of the rested battery would show [V], at the level planned; -1: not told.
    gas_left_cold_kg
        What of the gas aboard gives nothing in the coldest hour [kg].
    frost
        What freezes and what to drain, a sentence each.
    carried_kg, payload_kg
        Mass of water, gas and belongings on leaving, and what may be carried [kg]; 0 on a standing day.
    """

    lines: tuple[EnergyLine, ...] = ()
    mains: str = ""
    mains_why: tuple[str, ...] = ()
    hook_up_a: float = 0.0
    hook_up: tuple[str, ...] = ()
    hot_water_ideal_min: float = 0.0
    hot_water_min: float = 0.0
    shower_l: float = 0.0
    fridge_warmest_c: float = 0.0
    fridge_above_h: float = 0.0
    fridge_recool_h: float = 0.0
    volts_evening: float = -1.0
    volts_morning: float = -1.0
    gas_left_cold_kg: float = 0.0
    frost: tuple[str, ...] = ()
    carried_kg: float = 0.0
    payload_kg: float = 0.0


@dataclass(frozen=True, slots=True)
class DayClosure:
    """A closure or wind warning that bears on a day.

    Parameters
    ----------
    kind
        ``closed`` or ``wind``.
    dates, source
        When it holds, in words, and who says so.
    effect
        ``kept off``: the plainly quickest way would go through it; ``stays``: the van stands inside a wind area.
    text
        The same as a sentence.
    """

    name: str
    kind: str
    dates: str
    source: str
    effect: str
    text: str


@dataclass(frozen=True, slots=True)
class ClosureMatch:
    """What a closure or wind warning brought beside the map means on it.

    Parameters
    ----------
    sure
        ``sure``, ``likely``, ``part``, or empty: nothing of the map matches. why: in words.
    pieces, length_m
        How many pieces of road between junctions count as closed, and their length [m].
    """

    name: str
    kind: str
    dates: str
    source: str
    sure: str
    why: str
    pieces: int
    length_m: float


@dataclass(frozen=True, slots=True)
class Day:
    """One day: where from, by which legs, what is done when, and where the night is spent.

    Parameters
    ----------
    holiday
        "public holiday" where the day is one in the region's country; empty: it is none, or its holidays are not known.
    closures
        Closures and wind warnings that bear on the day.
    """

    number: int
    date: date
    kind: str
    start: Spot
    end: Spot
    legs: tuple[Leg, ...]
    events: tuple[Event, ...]
    night: Night | None
    levels: tuple[LevelLine, ...]
    sunrise: datetime | None
    sunset: datetime | None
    weather: str = ""
    notes: tuple[str, ...] = ()
    energy: DayEnergy | None = None
    holiday: str = ""
    closures: tuple[DayClosure, ...] = field(default=(), metadata={UNTOLD: True})

    @property
    def towing_s(self) -> float:
        """Driving with the van on [s]."""
        return sum(leg.drive_s for leg in self.legs if leg.mode == "van")


@dataclass(frozen=True, slots=True)
class Cost:
    """What the plan costs: money first, then what the weights make of the rest [cents].

    ``comfort_cents`` holds nights without mains or showers and what kilometres count over and above their money.
    """

    nights_cents: int
    km_cents: int
    services_cents: int
    drive_cents: int
    service_stop_cents: int
    one_night_cents: int
    sights_value_cents: int
    total_cents: int
    comfort_cents: int = 0

    @property
    def money_cents(self) -> int:
        """What is really paid."""
        return self.nights_cents + self.km_cents + self.services_cents


@dataclass(frozen=True, slots=True)
class Proof:
    """How sure the search is: ``proven`` best, or the gap to the bound [share of the cost].

    Parameters
    ----------
    forbidden_days
        Ways to spend a day that the search chose and the clock then found impossible. forbidden_why: why, the first few.
    """

    proven: bool
    gap: float
    bound_cents: int
    labels: int
    forbidden_days: int
    method: str
    forbidden_why: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Holds:
    """How sure the forecast of the stores is.

    Parameters
    ----------
    asked
        Share of trips like this on which all stores hold, as the trip asks for.
    each
        For each store of the van, the confidence at which the search held its limit by itself: the plan is the best among those
        that keep to it.
    together
        The share of trips like this on which no store passes its limit anywhere on the plan.
    by_store
        For each store of the van, the share on which it alone holds.
    least_cents
        What the best plan costs whose limits each hold by itself as asked for, as the search counts use: whatever holds all
        together costs no less, and the difference to this plan's total is the most that holding them together can have cost.
    """

    asked: float
    each: dict[str, float]
    together: float
    by_store: dict[str, float]
    least_cents: int = 0


@dataclass(frozen=True, slots=True)
class PresumedOffer:
    """An offer that the plan leans on though nobody has said it is there: phone first."""

    day: int
    spot: Spot
    offer: str
    evidence: str
    stores: tuple[str, ...]
    next_known: Spot | None
    next_known_km: float


@dataclass(frozen=True, slots=True)
class Caution:
    """Something to be careful about, with its public source and the days it concerns (empty: all)."""

    key: str
    text: str
    source: str
    days: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True)
class Excess:
    """One limit that the nearest plan breaks: what, on which day, by how much.

    Parameters
    ----------
    clash
        What stands in each other's way, a sentence each; empty where the limit says it all.
    """

    what: str
    day: int
    amount: float
    unit: str
    text: str
    clash: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Overdue:
    """A store past its limit, or too near to it to last, when the plan begins: it is left alone until it is served.

    Parameters
    ----------
    level, limit
        At the start, and the level that must not be passed [L, kg, Ah].
    day
        Number of the day on which it is served first. spot: where. km: how far that is from where the day begins.
    open_until
        Local clock, "" where it does not close or nobody says.
    """

    store: str
    level: float
    limit: float
    day: int
    spot: Spot
    km: float
    open_until: str
    text: str


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing that the audit holds against a plan."""

    what: str
    day: int
    amount: float
    unit: str
    text: str


@dataclass(frozen=True, slots=True)
class Plan:
    """A whole plan with the trip it answers and the map data it stands on."""

    trip: Trip
    region_name: str
    region_key: str
    data_date: str
    days: tuple[Day, ...]
    cost: Cost
    proof: Proof
    presumed_offers: tuple[PresumedOffer, ...] = ()
    cautions: tuple[Caution, ...] = ()
    assumptions: tuple[str, ...] = ()
    format: str = "tripplan plan 1"
    holds: Holds | None = None
    closures: tuple[ClosureMatch, ...] = field(default=(), metadata={UNTOLD: True})
    overdue: tuple[Overdue, ...] = field(default=(), metadata={UNTOLD: True})
