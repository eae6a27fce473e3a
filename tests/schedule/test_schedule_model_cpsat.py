"""Problems of small trips, laid out by the whole model, solved again by CP-SAT from the contract of the arrays alone."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import pytest
from helpers.cpsat import cp_optimum
from helpers.toytrips import toy_work
from test_schedule_model_roads import drawn, spot, trip_of

from tripplan.model.trip import Booking, Sight
from tripplan.model.van import Levels, Van
from tripplan.model.words import Via
from tripplan.schedule.assemble import assemble
from tripplan.schedule.plan import best_path, prepare
from tripplan.schedule.work import Work

pytest.importorskip("ortools")

FRIDGE = Van("van", 45, 35, 12, 8, 4.5, 2, 80, solar_w=80, fridge_towing="battery")


def same_optimum(work: Work) -> bool:
    """Compare the two optima, days that the clock forbids left out of both; say whether there is a plan."""
    solution = best_path(work)
    assert solution.status == "proven"
    assert (solution.cost if solution.arcs else None) == cp_optimum(work.problem, seconds=60.0)
    return bool(solution.arcs)


@pytest.mark.parametrize(
    "change",
    [
        {"nights": 5}, {"max_one_night_stays": 1, "sights": 2}, {"budget_cents": 26_000}, {"levels": Levels(0, 0, 0, 0, 9, 70)},
        {"van": FRIDGE}, {"powered_nights_at_least": 2, "nights": 5},
    ],
    ids=("plain", "one-night stays", "budget", "dry barrels", "fridge on the battery", "powered nights"),
)  # fmt: skip
def test_toy_trips(change):
    """Trips in a plane: equal optimum, or no plan in either."""
    size = {"nights": 4, "sites": 4, "services": 3, "sights": 1, **change}
    assert sum(same_optimum(toy_work(seed, **size)) for seed in range(1, 9)) >= 2


def test_drawn_trip(tmp_path: Path):
    """Five nights on drawn roads, with a booking, a day without towing, sights and gas by car: equal optimum."""
    region, at = drawn(tmp_path)
    trip = trip_of(
        region, at,
        sights=(
            Sight(spot(region, "Vantage"), True, 0, Via.VAN, 1.0),
            Sight(spot(region, "Xarn"), True, 0, Via.CAR_ONLY, 1.0),
            Sight(spot(region, "Yardhouse"), False, 4000, Via.EITHER, 1.0),
        ),
        bookings=(Booking(date(2026, 2, 4), spot(region, "Tarnside")),),
        no_towing=(date(2026, 2, 6),),
    )  # fmt: skip
    cast, ways = prepare(trip, region, cache=tmp_path / "cache")
    assert same_optimum(assemble(trip, region, cast, ways))


@pytest.mark.long
@pytest.mark.parametrize("seed", range(50, 80))
def test_toy_trips_often(seed):
    """The same on many more."""
    same_optimum(toy_work(seed, nights=4, sites=5, services=4, sights=2))
