"""Several plans for one trip, each the best by its own measure."""

from __future__ import annotations

from dataclasses import dataclass

from tripplan.model.plan import Plan

__all__ = ["Choice", "Choices", "LeftOut", "Sums"]


@dataclass(frozen=True, slots=True)
class Sums:
    """A plan in figures, by the trip's own prices whatever the plan was best for.

    Parameters
    ----------
    money_cents
        Nights, kilometres and services. towing_km: with the van on; car_km: the car alone.
    wheel_s
        At the wheel, van and car [s]. longest_s: towing on the longest day [s].
    powered, showers
        Nights with mains, and at a site with showers. one_night: stays of a single night.
    stops
        Stops made only for a service.
    """

    money_cents: int
    towing_km: float
    car_km: float
    wheel_s: float
    longest_s: float
    powered: int
    showers: int
    one_night: int
    stops: int


@dataclass(frozen=True, slots=True)
class Choice:
    """One of the plans.

    Parameters
    ----------
    key
        Word for files and links ("fewest-km"). title: for people.
    gives_up
        What it gives up, and gains, against the first, as clauses.
    """

    key: str
    title: str
    plan: Plan
    sums: Sums
    gives_up: tuple[str, ...] = ()
    gains: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class LeftOut:
    """A measure whose best plan is not shown, and why."""

    title: str
    why: str


@dataclass(frozen=True, slots=True)
class Choices:
    """The plans that really differ, the one asked for first, and what was left out."""

    shown: tuple[Choice, ...]
    left_out: tuple[LeftOut, ...] = ()
