"""Random trips: every plan passes its audit, and every plan spoilt on purpose is caught.

The long run asks 10,000 trips of the island and of real extracts, in chunks that can be run one by one and taken up again: ``-k chunk_7``;
TRIPPLAN_RANDOM_TRIPS="from:to" runs other seeds instead.
"""

from __future__ import annotations

import os
from collections import Counter
from pathlib import Path
from typing import Any

import pytest
from helpers.randomtrips import random_trip
from helpers.spoiling import SPOILS, spoilt

from tripplan.audit.run import audit
from tripplan.model.errors import BadInputError, NoPlanError
from tripplan.model.plan import Plan
from tripplan.region.region import Region
from tripplan.schedule.plan import make_plan

EXTRACTS = ("andorra-20250119", "liechtenstein-20240304", "malta-20180827")
CHUNK, CHUNKS, CHUNKS_ABROAD = 250, 28, 4
#: Least share of random trips that must have a plan, or the test says little.
LEAST = 0.4
SPOILS_A_PLAN = 5


@pytest.fixture(scope="module")
def random_cache(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Networks and tables of times of this module."""
    return tmp_path_factory.mktemp("random_cache")


def _abroad(extracts: Path, name: str) -> Region:
    from tripplan.region.build import build

    return build(extracts / f"{name}.osm.pbf", name=name)


def _planned(region: Region, seed: int, cache: Path, count: Counter[str], *, easy: bool = False) -> Plan | None:
    """Return the plan of a random trip, or count why there is none."""
    try:
        plan = make_plan(random_trip(region, seed, easy=easy), region, cache=cache, reasons=False, max_seconds=20)
    except NoPlanError:
        count["none"] += 1
    except BadInputError:
        count["bad"] += 1
    else:
        count["plans"] += 1
        return plan
    return None


def _all_pass(region: Region, seeds: Any, cache: Path, least: float = LEAST, *, easy: bool = False) -> None:
    count: Counter[str] = Counter()
    wrong = []
    for seed in seeds:
        plan = _planned(region, seed, cache, count, easy=easy)
        if plan is not None:
            wrong += [f"seed {seed}, day {f.day}: {f.what}: {f.text}" for f in audit(plan, region)]
    assert not wrong, "\n".join(wrong)
    assert count["plans"] >= least * len(seeds), count


def _all_caught(region: Region, seeds: Any, cache: Path, each: int) -> Counter[str]:
    tried: Counter[str] = Counter()
    missed = []
    for seed in seeds:
        plan = _planned(region, seed, cache, Counter())
        for n in range(each) if plan is not None else ():
            name, worse = spoilt(plan, region, 1000 * seed + n)
            tried[name] += 1
            if not audit(worse, region):
                missed.append(f"seed {seed}, spoil {1000 * seed + n}: {name}")
    assert not missed, "\n".join(missed)
    return tried


def _seeds(chunk: int) -> range:
    told = os.environ.get("TRIPPLAN_RANDOM_TRIPS", "")
    if told:
        start, end = (int(part) for part in told.split(":"))
        if chunk:
            pytest.skip("other seeds were asked for, and the first chunk runs them")
        return range(start, end)
    return range(chunk * CHUNK, (chunk + 1) * CHUNK)


def test_random_trips_pass(sample_region: Region, random_cache: Path) -> None:
    """A dozen random trips on the island, and one whose car charges the fridge's battery between crossings: plans pass their audit."""
    _all_pass(sample_region, (*range(2, 14), 200_079), random_cache)


def test_random_spoils_are_caught(sample_region: Region, random_cache: Path) -> None:
    """Every kind of spoil that a random plan has room for is caught, several plans over."""
    tried = _all_caught(sample_region, (4, 5, 8), random_cache, each=10)
    assert tried.total() >= 20
    assert len(tried) >= len(SPOILS) // 2


def test_same_seed_same_trip(sample_region: Region) -> None:
    """A seed that a failure names tells the same trip again."""
    assert random_trip(sample_region, 4) == random_trip(sample_region, 4)


@pytest.mark.long
@pytest.mark.parametrize("chunk", [pytest.param(n, id=f"chunk_{n}") for n in range(CHUNKS)])
def test_many_random_trips_pass(chunk: int, sample_region: Region, random_cache: Path) -> None:
    """The same on 7,000 trips on the island."""
    _all_pass(sample_region, _seeds(chunk), random_cache)


@pytest.mark.long
@pytest.mark.extract
@pytest.mark.parametrize("name", EXTRACTS)
@pytest.mark.parametrize("chunk", [pytest.param(n, id=f"chunk_{n}") for n in range(CHUNKS_ABROAD)])
def test_many_random_trips_abroad_pass(chunk: int, name: str, extracts: Path, random_cache: Path) -> None:
    """The same on 3,000 trips on real maps, where many places tell too little for a plan."""
    _all_pass(_abroad(extracts, name), _seeds(chunk), random_cache, least=0.0, easy=True)


@pytest.mark.long
@pytest.mark.parametrize("chunk", [pytest.param(n, id=f"chunk_{n}") for n in range(10)])
def test_many_random_spoils_are_caught(chunk: int, sample_region: Region, random_cache: Path) -> None:
    """A thousand plans spoilt on purpose, a hundred a chunk."""
    tried = _all_caught(sample_region, range(chunk * 50, chunk * 50 + 50), random_cache, each=SPOILS_A_PLAN)
    assert tried.total() >= 100
