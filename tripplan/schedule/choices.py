"""Up to four plans of a trip that really differ, each proven best for its own weights."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from itertools import groupby

from tripplan.model.choice import Choice, Choices, LeftOut, Sums
from tripplan.model.errors import NoPlanError
from tripplan.model.place import OfferFact
from tripplan.model.plan import Plan
from tripplan.model.progress import Progress, silent
from tripplan.model.trip import Trip, Weights
from tripplan.model.words import Offer

__all__ = ["MEASURES", "Measure", "choices", "counted", "shared_nights", "sums_of"]

#: A plan that spends more of its nights as an earlier one does is not shown.
MOST_SHARED = 0.7
#: Outweighs all else: money, hours and stays of any trip come to less than this for each kilometre. Own choice.
_KM_FIRST = 10_000
#: What comfort is worth to people who put it first [cents]. Common practice, no source.
_COMFORT = Weights(drive_hour_cents=2000, one_night_cents=4000, unpowered_night_cents=5000, no_shower_night_cents=3000)


@dataclass(frozen=True)
class Measure:
    """A way to say which plan is best.

    Parameters
    ----------
    weights
        The trip's own weights turned into those of the measure.
    """

    key: str
    title: str
    weights: Callable[[Weights], Weights]


def _own(weights: Weights) -> Weights:
    return weights


def _fewest_km(weights: Weights) -> Weights:
    return replace(weights, far_km_cents=_KM_FIRST)


def _cheapest(weights: Weights) -> Weights:
    return replace(
        weights, drive_hour_cents=0, service_stop_cents=0, one_night_cents=0, unpowered_night_cents=0, no_shower_night_cents=0, far_km_cents=0
    )  # fmt: skip


def _comfort(weights: Weights) -> Weights:
    names = ("drive_hour_cents", "one_night_cents", "unpowered_night_cents", "no_shower_night_cents")
    return replace(weights, **{name: max(getattr(weights, name), getattr(_COMFORT, name)) for name in names})


#: In the order in which they are tried and shown.
MEASURES: tuple[Measure, ...] = (
    Measure("as-asked", "As asked", _own),
    Measure("fewest-km", "Shortest distance", _fewest_km),
    Measure("cheapest", "Cheapest", _cheapest),
    Measure("most-comfort", "Most comfort", _comfort),
)


def choices(trip: Trip, first: Plan, solver: Callable[[Trip], Plan], *, progress: Progress = silent) -> Choices:
    """Plan a trip by each measure and keep the plans that really differ.

    Parameters
    ----------
    first
        The plan by the trip's own weights.
    solver
        Plans and audits a trip.
    """
    kept = [Choice(MEASURES[0].key, MEASURES[0].title, first, sums_of(first, trip))]
    left: list[LeftOut] = []
    for number, measure in enumerate(MEASURES[1:], 1):
        progress(f"Planning again: {measure.title.lower()}", number / len(MEASURES))
        weights = measure.weights(trip.weights)
        if weights == trip.weights:
            left.append(LeftOut(measure.title, "this is what the trip asks for already"))
            continue
        try:
            plan = solver(replace(trip, weights=weights))
        except NoPlanError as error:  # the same limits hold: only a search that was stopped comes here
            left.append(LeftOut(measure.title, str(error)))
            continue
        # Where stores must hold tighter for one plan than for another, the search may miss one that is found already.
        rival = min(kept, key=lambda choice: counted(choice.sums, weights, choice.plan))
        if counted(rival.sums, weights, rival.plan) <= counted(sums_of(plan, trip), weights, plan):
            left.append(LeftOut(measure.title, f'nothing better at it was found than "{rival.title}"'))
            continue
        same = [(shared_nights(plan, choice.plan), choice) for choice in kept]
        share, like = max(same, key=lambda pair: pair[0])
        if share > MOST_SHARED:
            nights = f"{round(share * trip.nights)} of {trip.nights} nights"
            left.append(LeftOut(measure.title, f'it spends {nights} at the same places as "{like.title}"'))
            continue
        sums = sums_of(plan, trip)
        worse, better = _against(sums, kept[0].sums, trip)
        kept.append(Choice(measure.key, measure.title, plan, sums, worse, better))
    return Choices(tuple(kept), tuple(left))


def shared_nights(plan: Plan, other: Plan) -> float:
    """Return the share of nights spent at the same place on the same date, 0 to 1."""

    def at(p: Plan) -> dict[object, object]:
        return {day.date: (day.night.ref, day.night.spot.lon, day.night.spot.lat) for day in p.days if day.night is not None}

    mine, theirs = at(plan), at(other)
    return sum(theirs.get(night) == place for night, place in mine.items()) / max(1, len(mine))


def sums_of(plan: Plan, trip: Trip) -> Sums:
    """Add up a plan by the prices of a trip."""
    least = Offer.PRESUMED if trip.presumed_offers else Offer.YES
    nights = [day.night for day in plan.days if day.night is not None]
    stays = [len(list(group)) for _, group in groupby(nights, key=lambda n: (n.ref, n.spot.lon, n.spot.lat))]
    legs = [leg for day in plan.days for leg in day.legs]
    metres = {mode: sum(leg.length_m for leg in legs if leg.mode == mode) for mode in ("van", "car")}
    services = [event for day in plan.days for event in day.events if event.kind == "service"]
    cost = plan.cost
    return Sums(
        cost.money_cents, metres["van"] / 1000, metres["car"] / 1000, sum(leg.drive_s for leg in legs),
        max((day.towing_s for day in plan.days), default=0.0), sum(n.powered for n in nights),
        sum(n.offers.get("showers", OfferFact()).answer >= least for n in nights), sum(s == 1 for s in stays), len(services),
    )  # fmt: skip


def counted(sums: Sums, weights: Weights, plan: Plan) -> float:
    """Return what a plan counts by some weights [cents]."""
    nights = plan.trip.nights
    km = (sums.towing_km + sums.car_km) * weights.far_km_cents
    lacking = (nights - sums.powered) * weights.unpowered_night_cents + (nights - sums.showers) * weights.no_shower_night_cents
    charges = sums.stops * weights.service_stop_cents + sums.one_night * weights.one_night_cents
    return (
        sums.money_cents + sums.wheel_s / 3600 * weights.drive_hour_cents + charges + lacking + km - plan.cost.sights_value_cents
    )


def _against(sums: Sums, first: Sums, trip: Trip) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Say what a plan gives up and what it gains against the first."""
    unit = f" {trip.firm.currency}".rstrip()
    # Differences of the figures as they are shown, so that whoever takes one from the other finds the same.
    towing, car = (round(mine) - round(its) for mine, its in ((sums.towing_km, first.towing_km), (sums.car_km, first.car_km)))
    wheel = round(sums.wheel_s / 60) - round(first.wheel_s / 60)
    rows = (
        ((sums.money_cents - first.money_cents) / 100, "{:.2f}" + unit + " {}", ("dearer", "cheaper"), 0.005),
        (towing, "{:.0f} km {} towing", ("more", "less"), 0.5),
        (car, "{:.0f} km {} by car alone", ("more", "less"), 0.5),
        (towing + car if towing * car < 0 else 0.0, "{:.0f} km {} in all", ("more", "less"), 0.5),
        (wheel, "{:.0f} min {} at the wheel" if abs(wheel) < 59.5 else _long(wheel) + " {1} at the wheel", ("more", "less"), 0.5),
        (first.powered - sums.powered, "{:.0f} {} with mains", ("night fewer", "night more"), 0.5),
        (first.showers - sums.showers, "{:.0f} {} with showers", ("night fewer", "night more"), 0.5),
        (sums.one_night - first.one_night, "{:.0f} {} of one night", ("more stay", "fewer stay"), 0.5),
        (sums.stops - first.stops, "{:.0f} {} for a service", ("more stop", "fewer stop"), 0.5),
    )  # fmt: skip
    worse: list[str] = []
    better: list[str] = []
    for amount, text, words, least in rows:
        if abs(amount) < least:
            continue
        word = words[amount < 0]
        if round(abs(amount)) != 1:
            word = word.replace("night", "nights").replace("stay", "stays").replace("stop", "stops")
        (worse if amount > 0 else better).append(text.format(abs(amount), word))
    return tuple(worse), tuple(better)


def _long(minutes: float) -> str:
    """Return an hour or more as ``1 h 40 min``."""
    hours, rest = divmod(round(abs(minutes)), 60)
    return f"{hours} h" + (f" {rest:02d} min" if rest else "")
