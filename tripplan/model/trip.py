"""The request: what the hire firm allows and what the party wants."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date, datetime, timedelta

from tripplan.model.closure import Closure
from tripplan.model.errors import BadInputError
from tripplan.model.outfit import Outfit, check_range
from tripplan.model.place import Spot
from tripplan.model.van import DayWeather, Levels, Party, Van
from tripplan.model.words import SiteKind, Via

__all__ = ["UNTOLD", "Booking", "Firm", "Sight", "Trip", "UnderWay", "Weights"]

#: Marks a field that a file leaves out while it has its default: what says nothing of the trip itself.
UNTOLD = "untold"


@dataclass(frozen=True, slots=True)
class Firm:
    """What the hire firm allows and what it wants back.

    Parameters
    ----------
    last_mile_m
        Untagged service, residential or unclassified road allowed at either end of a day with the van [m].
    last_mile_at_stops
        Whether the same also holds at service stops and sights on the way, not only at the day's two ends.
    car_surface
        What the car alone may use on a standing day: ``sealed`` (same rule as the van) or ``any``.
    areas_off_limits
        Polygons as rings of (lon, lat), each with a name.
    depot_hours
        OSM opening-hours text of pick-up and return; empty: any time.
    return_gas_kg
        Gas that must be left over all bottles [kg].
    currency
        What a hundred cents are called on paper; empty: not said.
    """

    name: str
    phone: str
    towing_limit_kmh: float
    last_mile_m: float = 1000.0
    car_surface: str = "any"
    ferries_allowed: bool = True
    areas_off_limits: tuple[tuple[str, tuple[tuple[float, float], ...]], ...] = ()
    depot_hours: str = ""
    return_cassette_empty: bool = True
    return_grey_empty: bool = True
    return_gas_kg: float = 0.0
    handover_min: int = 90
    return_min: int = 60
    emergency_number: str = "112"
    last_mile_at_stops: bool = False
    currency: str = ""


@dataclass(frozen=True, slots=True)
class Sight:
    """A place to visit.

    Parameters
    ----------
    must
        Must-see sights are limits; nice ones are worth ``value_cents``.
    via
        With the van on a towing day, by car alone on a standing day, or either.
    hours
        Length of the visit [h]; with ``nights`` > 0 instead that many nights at a site within ``near_km``.
    visiting
        When it may be visited, as the open map writes hours; empty: what the map says.
    """

    spot: Spot
    must: bool = True
    value_cents: int = 0
    via: Via = Via.EITHER
    hours: float = 1.5
    nights: int = 0
    near_km: float = 15.0
    visiting: str = ""

    def __post_init__(self) -> None:
        where = f"sight {self.spot.name!r}"
        check_range(self.hours, 0, 24, "hours", "h", where)
        check_range(self.nights, 0, 35, "nights", "", where)
        check_range(self.near_km, 0, 500, "near_km", "km", where)
        check_range(self.value_cents, 0, 10**9, "value_cents", "", where)


@dataclass(frozen=True, slots=True)
class Booking:
    """A night already booked: ``night`` is the date on which it begins."""

    night: date
    spot: Spot


@dataclass(frozen=True, slots=True)
class UnderWay:
    """What lies behind a party that plans the rest of its trip: pick-up is here and now, the depot where the van stands.

    Parameters
    ----------
    began
        Pick-up of the whole trip. The days of a plan are numbered from 1; papers go on counting from it (`Trip.first_number`).
    nights_here
        Nights spent here already, one after another up to now.
    level_spread
        How far each level may lie from the one told, one sigma [L, kg, Ah]. level_tied: the part of it that goes with the
        party's habits: who uses more has also used more.
    slept, powered, singles
        Where the nights behind were spent, how many had mains, and how many stays were of a single night, this one not counted.
    spent_cents
        Money spent by the plan so far. seen: sights seen.
    tasks
        What to do here by the moment from which the rest is planned, so that the levels are as told.
    told
        What the readings have told, a sentence each.
    failed
        Stores that may be past their limit now, since what serves them here failed before, and the sentence that says so; the levels
        count on it all the same.
    """

    began: datetime
    nights_here: int = 0
    level_spread: Levels = field(default_factory=Levels)
    level_tied: Levels = field(default_factory=Levels)
    slept: tuple[Spot, ...] = ()
    powered: int = 0
    singles: int = 0
    spent_cents: int = 0
    seen: tuple[str, ...] = ()
    tasks: tuple[str, ...] = ()
    told: tuple[str, ...] = ()
    failed: tuple[tuple[str, str], ...] = field(default=(), metadata={UNTOLD: True})


@dataclass(frozen=True, slots=True)
class Weights:
    """What one unit of discomfort is worth in money [cents].

    Parameters
    ----------
    drive_hour_cents
        An hour at the wheel. service_stop_cents: a stop made only for a service.
    one_night_cents
        A stay of a single night. km_cents: fuel and wear of a kilometre (money).
    unknown_price_cents
        A night whose price the map does not tell. gas_bottle_cents: one exchange.
    unpowered_night_cents
        A night without mains. no_shower_night_cents: a night at a site without showers. far_km_cents: a kilometre, over
        and above its money.
    """

    drive_hour_cents: int = 1200
    service_stop_cents: int = 500
    one_night_cents: int = 800
    km_cents: int = 25
    unknown_price_cents: int = 3000
    gas_bottle_cents: int = 3000
    unpowered_night_cents: int = 0
    no_shower_night_cents: int = 0
    far_km_cents: int = 0


@dataclass(frozen=True, slots=True)
class Trip:
    """One request, resolved against a region. Times are local to ``tz``, aware.

    Parameters
    ----------
    car
        The tow car alone, for standing days.
    max_drive_s, first_day_drive_s
        Most driving a day and on the day of pick-up [s], both for all drivers together.
    max_one_night_stays
        -1: no limit.
    no_towing
        Dates on which the van must stand. leave_after_min, arrive_by_min: minutes after midnight between which
        a day on the road lies, when nothing narrower (light, depot, opening days) rules.
    hourly_closures_all_day
        Whether a road closed, or a turn barred, by the hour counts so all day; else only where that touches the hours
        of a day on the road.
    sunset_margin_min
        Arrival at least so long before sunset.
    powered_nights_at_least
        A limit. site_kinds: empty means any.
    budget_cents
        Money (nights, km, services, gas) must not exceed it; -1: no limit.
    presumed_offers
        Whether a presumed offer may hold a limit.
    confidence
        Share of trips like this whose stores all hold.
    weather
        Own figures by month (1 to 12); empty: the region's table, else the built-in climate guess.
    weather_days
        Figures by date, which rule over those by month: the trip's own weather file, or what the region's climate table gives.
    fridge_limit_h
        Most hours of a day that the fridge may be above 5 °C, cooling down again included [h]; -1: a caution, no limit.
    under_way
        Set where this is the rest of a trip that has begun.
    language, units
        How papers are written where nobody asks for something else: ``de``, ``imperial`` ...; empty: English, and the units of
        the locale.
    closures, closures_left
        Closed roads and wind warnings brought beside the map that hold on a date of the trip; what of their files was left
        out, a sentence each.
    """

    name: str
    tz: str
    firm: Firm
    outfit: Outfit
    car: Outfit
    van: Van
    party: Party
    depot: Spot
    return_depot: Spot
    pick_up: datetime
    return_by: datetime
    sights: tuple[Sight, ...] = ()
    bookings: tuple[Booking, ...] = ()
    avoid: tuple[Spot, ...] = ()
    no_towing: tuple[date, ...] = ()
    max_drive_s: int = 4 * 3600
    first_day_drive_s: int = 2 * 3600
    max_one_night_stays: int = -1
    drivers: int = 1
    powered_nights_at_least: int = 0
    site_kinds: tuple[SiteKind, ...] = ()
    pets: bool = False
    budget_cents: int = -1
    ferries: bool = True
    tolls: bool = True
    presumed_offers: bool = True
    confidence: float = 0.95
    levels: Levels = field(default_factory=Levels)
    weights: Weights = field(default_factory=Weights)
    weather: tuple[tuple[int, DayWeather], ...] = ()
    leave_after_min: int = 9 * 60
    arrive_by_min: int = 18 * 60
    sunset_margin_min: int = 45
    hourly_closures_all_day: bool = True
    weather_days: tuple[tuple[date, DayWeather], ...] = ()
    fridge_limit_h: float = -1.0
    under_way: UnderWay | None = None
    language: str = field(default="", metadata={UNTOLD: True})
    units: str = field(default="", metadata={UNTOLD: True})
    closures: tuple[Closure, ...] = field(default=(), metadata={UNTOLD: True})
    closures_left: tuple[str, ...] = field(default=(), metadata={UNTOLD: True})

    def __post_init__(self) -> None:
        where = f"trip {self.name!r}"
        if self.pick_up.tzinfo is None or self.return_by.tzinfo is None:
            raise BadInputError("pick-up and return have no time zone", where=where)
        check_range(self.pick_up.year, 1900, 2200, "year of pick-up", "", where)
        if self.return_by <= self.pick_up:
            raise BadInputError(
                f"return {self.return_by:%Y-%m-%d %H:%M} is not after pick-up {self.pick_up:%Y-%m-%d %H:%M}",
                where=where, accepted="a later return", next_step="mend `return`",
            )  # fmt: skip
        check_range(self.nights, 1, 35, "nights between pick-up and return", "", where)
        check_range(self.max_drive_s / 3600, 0.5, 12, "max_drive_h", "h", where)
        check_range(self.first_day_drive_s / 3600, 0.25, 12, "first_day_drive_h", "h", where)
        check_range(self.confidence, 0.5, 0.999, "confidence", "", where)
        check_range(self.sunset_margin_min, 0, 24 * 60, "sunset_margin_min", "min", where)
        check_range(self.leave_after_min, 0, 24 * 60, "leave_after_min", "min", where)
        check_range(self.arrive_by_min, 0, 24 * 60, "arrive_by_min", "min", where)
        check_range(self.fridge_limit_h, -1, 24, "fridge_limit_h", "h", where)

    @property
    def nights(self) -> int:
        """Number of nights; days are one more."""
        return (self.return_by.date() - self.pick_up.date()).days

    @property
    def first_number(self) -> int:
        """What the whole trip counts the first day as: 1, or of the rest of a trip that has begun so many as lie behind, and one."""
        began = self.under_way.began if self.under_way is not None else self.pick_up
        return (self.pick_up.date() - began.date()).days + 1

    @property
    def road_hours(self) -> tuple[int, int] | None:
        """From and to [minutes after midnight] within which every drive lies; ``None`` where hours are not to be looked at."""
        if self.hourly_closures_all_day:
            return None
        ready = self.pick_up.hour * 60 + self.pick_up.minute + self.firm.handover_min
        return min(self.leave_after_min, ready), max(self.arrive_by_min, self.leave_after_min + 1)

    @property
    def dates(self) -> tuple[date, ...]:
        """The date of each day, pick-up day first, return day last."""
        first = self.pick_up.date()
        return tuple(first + timedelta(days=d) for d in range(self.nights + 1))
