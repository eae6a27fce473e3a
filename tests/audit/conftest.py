"""A sample trip planned once for all tests of the audit."""

from __future__ import annotations

from pathlib import Path

import pytest

from tripplan.model.plan import Plan
from tripplan.region.region import Region

SAMPLE = Path(__file__).resolve().parents[2] / "data_sample"


@pytest.fixture(scope="session")
def sample_region(tmp_path_factory: pytest.TempPathFactory) -> Region:
    """The sample island, built."""
    from tripplan.region.build import build

    return build(SAMPLE / "island.osm.pbf", name="island")


@pytest.fixture(scope="session")
def sample_plan(sample_region: Region, tmp_path_factory: pytest.TempPathFactory) -> Plan:
    """The first sample trip, planned."""
    from tripplan.request.trip_file import load_trip
    from tripplan.schedule.plan import make_plan

    return make_plan(load_trip(SAMPLE / "trip_family_loop.toml", sample_region), sample_region)
