"""The three sample trips lived through by 20,000 drawn parties, and by the audit's own."""

from __future__ import annotations

from pathlib import Path

import pytest
from helpers.parties import whole_trips_that_fail

from tripplan.audit.run import audit
from tripplan.model.plan import Plan
from tripplan.region.region import Region
from tripplan.request.trip_file import load_trip
from tripplan.schedule.assemble import assemble
from tripplan.schedule.plan import best_path, prepare
from tripplan.schedule.together import all_together

SAMPLE = Path(__file__).resolve().parents[2] / "data_sample"
GOOD = ("family_loop", "isle_weekend", "round_island")
#: Of drawn parties, at a confidence of 95 %: what is asked of whole plans.
MOST = 0.053


@pytest.mark.parametrize("name", GOOD)
def test_whole_sample_plans_hold(region: Region, plans: dict[str, Plan], name: str) -> None:
    """No more than 5.3 % of parties see any store pass its limit, whether their days are normal or skewed, and the audit agrees."""
    trip = load_trip(SAMPLE / f"trip_{name}.toml", region)
    work = assemble(trip, region, *prepare(trip, region))
    together = all_together(work, best_path(work), best_path)
    assert together.lived is not None
    assert together.solution.cost == plans[name].cost.total_cents
    for number, kind in enumerate(("gamma", "normal", "lognormal")):
        assert whole_trips_that_fail(work, together.solution.arcs, number, kind)[0] <= MOST
    assert not audit(plans[name], region)
