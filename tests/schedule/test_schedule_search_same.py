"""The same trip gives the same plan.json, byte for byte: in any process, with any hash seed, with compiled loops or without."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

ASK = """
import hashlib, sys
if {plain}:
    sys.modules["numba"] = None
from pathlib import Path
from tripplan.model.serial import plan_to_json
from tripplan.pipeline import sample_folder, sample_region
from tripplan.request.trip_file import load_trip
from tripplan.schedule.plan import make_plan
region = sample_region()
trip = load_trip(sample_folder() / "trip_{name}.toml", region)
print(hashlib.sha256(plan_to_json(make_plan(trip, region, cache=Path({cache!r}))).encode()).hexdigest())
"""


def digest(name: str, cache: Path, seed: str, *, plain: bool) -> str:
    """Plan a sample trip in a process of its own and return the digest of its plan.json."""
    code = ASK.format(name=name, cache=str(cache), plain=plain)
    env = {**os.environ, "PYTHONHASHSEED": seed, "PYTHONPATH": str(Path(__file__).resolve().parents[2])}
    done = subprocess.run([sys.executable, "-c", code], env=env, capture_output=True, text=True, check=True)
    return done.stdout.strip()


def test_the_same_plan_in_other_processes(tmp_path: Path) -> None:
    """Two hash seeds, two caches, compiled loops and none: one digest."""
    found = {
        digest("family_loop", tmp_path / "a", "1", plain=False),
        digest("family_loop", tmp_path / "a", "2", plain=True),
        digest("family_loop", tmp_path / "b", "3", plain=True),
    }
    assert len(found) == 1
    assert len(found.pop()) == 64


@pytest.mark.long
def test_the_same_long_plan_in_other_processes(tmp_path: Path) -> None:
    """The same for two weeks round the island, where the search takes several passes and looks at each store closely."""
    assert len({digest("round_island", tmp_path / "a", seed, plain=seed != "1") for seed in "123"}) == 1
