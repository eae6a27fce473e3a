"""The answer: days, legs, stops, nights, levels, and how sure the search is."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime

from tripplan.model.place import OfferFact, Spot
from tripplan.model.trip import Trip

__all__ = [
    "Caution", "Cost", "Day", "Event", "Excess", "Finding", "Leg", "LevelLine", "Night", "PieceRun", "Plan", "PresumedOffer", "Proof",
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
    """

    kind: str
    start: datetime
    end: datetime
    text: str
    spot: Spot | None = None
    stores: tuple[str, ...] = ()
    cents: int = 0


@dataclass(frozen=True, slots=True)
class LevelLine:
    """One store on one day, as people read it (L, kg, Ah), planned at the trip's confidence.

    Parameters
    ----------
    leave
        On leaving in the morning. arrive: on reaching the night's place, services on the way done.
    worst
        The level nearest to the limit between arriving and the next morning's service.
    end
        Next morning after any service at the site: the next day's ``leave``.
    limit
        Level that must not be passed (upwards for grey and cassette, downwards for the others).
    served
        ``""``, ``way``, ``site``, ``car`` or several joined by ``+``.
    """

    store: str
    leave: float
    arrive: float
    worst: float
    end: float
    limit: float
    served: str = ""


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
class Day:
    """One day: where from, by which legs, what is done when, and where the night is spent."""

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

    @property
    def towing_s(self) -> float:
        """Driving with the van on [s]."""
        return sum(leg.drive_s for leg in self.legs if leg.mode == "van")


@dataclass(frozen=True, slots=True)
class Cost:
    """What the plan costs: money first, then what the weights make of the rest [cents]."""

    nights_cents: int
    km_cents: int
    services_cents: int
    drive_cents: int
    service_stop_cents: int
    one_night_cents: int
    sights_value_cents: int
    total_cents: int

    @property
    def money_cents(self) -> int:
        """What is really paid."""
        return self.nights_cents + self.km_cents + self.services_cents


@dataclass(frozen=True, slots=True)
class Proof:
    """How sure the search is: ``proven`` best, or the gap to the bound [share of the cost]."""

    proven: bool
    gap: float
    bound_cents: int
    labels: int
    forbidden_days: int
    method: str


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
    """One limit that the nearest plan breaks: what, on which day, by how much."""

    what: str
    day: int
    amount: float
    unit: str
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
