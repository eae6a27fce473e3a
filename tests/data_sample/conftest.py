"""The sample island and the plans of its trips, made once for all tests of the sample."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from tripplan.model.plan import Plan
from tripplan.region.build import build
from tripplan.region.region import Region
from tripplan.request.climate_file import load_climate
from tripplan.request.trip_file import load_trip
from tripplan.schedule.plan import make_plan

SAMPLE = Path(__file__).resolve().parents[2] / "data_sample"
GOOD = ("family_loop", "isle_weekend", "round_island")


@pytest.fixture(scope="session")
def region() -> Region:
    """The region of the committed island, under the name that `tripplan demo` gives it."""
    return replace(build(SAMPLE / "island.osm.pbf", name="Sample island"), climate=load_climate(SAMPLE / "sample_climate.csv"))


@pytest.fixture(scope="session")
def plans(region: Region) -> dict[str, Plan]:
    """The plans of the three trips that have one."""
    return {name: make_plan(load_trip(SAMPLE / f"trip_{name}.toml", region), region) for name in GOOD}
