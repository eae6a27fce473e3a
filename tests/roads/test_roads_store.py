"""Prepared files: same answers, rebuilt when spoilt, quick when there, and no heavy library on the way."""

from __future__ import annotations

import os
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from helpers.towing import ROAD, VAN, drawn

from tripplan.model.leftovers import scratch_name
from tripplan.roads.cache import cache_folder
from tripplan.roads.join import join
from tripplan.roads.network import open_network
from tripplan.roads.store import load_arrays, save_arrays
from tripplan.roads.terms import Terms

PLAIN = "A--B--C\n|     |\nD-----E"
WAYS = {"AB": ROAD, "BC": ROAD, "AD": "highway=service", "DE": ROAD, "EC": ROAD}


def prepared(folder: Path, cache: Path | None):
    """Return the matrix and a leg on a small map."""
    drawing = drawn(PLAIN, WAYS, folder)
    joined = join(open_network(drawing.region, Terms(VAN), cache=cache), [drawing.spot(w) for w in ("AB", "BC", "DE")])
    return joined.matrix(), joined.route(0, 2)


def same(a, b) -> bool:
    """Return whether two answers are equal."""
    return all(np.array_equal(getattr(a[0], f), getattr(b[0], f)) for f in ("total_s", "drive_s", "length_m")) and a[1] == b[1]


def test_cold_warm_and_without_cache_agree(tmp_path):
    """The answer is the same worked out, kept, and read back."""
    plain = prepared(tmp_path, None)
    assert same(plain, prepared(tmp_path, tmp_path / "cache"))
    assert sorted(p.name.split("-")[0] for p in (tmp_path / "cache").iterdir()) == ["joints", "network", "times"]
    assert same(plain, prepared(tmp_path, tmp_path / "cache"))


@pytest.mark.parametrize(
    "spoil", [lambda b: b"", lambda b: b[: len(b) // 2], lambda b: b"not a file", lambda b: b[:200] + b"\xff" * 64 + b[264:]]
)
def test_spoilt_files_are_made_again(tmp_path, spoil):
    """An empty, cut, foreign or bit-rotten file is silently worked out anew."""
    plain = prepared(tmp_path, tmp_path / "cache")
    for path in (tmp_path / "cache").iterdir():
        path.write_bytes(spoil(path.read_bytes()))
    assert same(plain, prepared(tmp_path, tmp_path / "cache"))


def test_folder_that_cannot_be_written(tmp_path):
    """A cache that cannot be written costs time, never the answer."""
    blocked = tmp_path / "file"
    blocked.write_text("in the way")
    assert same(prepared(tmp_path, None), prepared(tmp_path, blocked))


def test_nothing_half_written(tmp_path):
    """A file is there whole or not at all, and no scraps stay behind."""
    save_arrays(tmp_path / "x.npz", {"a": np.arange(3)})
    stored = load_arrays(tmp_path / "x.npz", ("a",))
    assert stored is not None
    assert stored["a"].tolist() == [0, 1, 2]
    assert load_arrays(tmp_path / "x.npz", ("a", "b")) is None
    assert [p.name for p in tmp_path.iterdir()] == ["x.npz"]


KILLED = """
import os, signal, sys
from pathlib import Path
import numpy as np
os.fsync = lambda _: os.kill(os.getpid(), signal.SIGKILL)
from tripplan.roads.store import save_arrays
save_arrays(Path(sys.argv[1]), {"a": np.arange(9)})
"""


@pytest.mark.skipif(sys.platform == "win32", reason="kill -9 is POSIX")
def test_scratch_of_a_killed_run_is_taken_away_by_the_next(tmp_path):
    """A run killed while it writes leaves scratch and no file; the next to write any file there takes that away, and nothing else."""
    words = [sys.executable, "-c", KILLED, str(tmp_path / "network-1.npz")]
    ended = subprocess.run(words, check=False, env={**os.environ, "PYTHONPATH": str(Path(__file__).parents[2])})
    assert ended.returncode == -9
    (scratch,) = tmp_path.iterdir()
    assert scratch.name.startswith(".network-1.npz.")
    gone = scratch.name.split(".")[-2]
    others = (
        f".network-1.npz.{os.getppid()}.part",
        ".network-1.npz.part",
        f".note.txt.{gone}.part",
        f"network-1.npz.{gone}.part",
    )
    for name in others:
        (tmp_path / name).write_bytes(b"x")
    save_arrays(tmp_path / "times-2.npz", {"a": np.arange(3)})
    assert {path.name for path in tmp_path.iterdir()} == {"times-2.npz", *others}


def test_two_threads_writing_one_file_do_not_mix(tmp_path):
    """While a file of this process is being written, a second writer of it leaves it alone."""
    path = tmp_path / "times-1.npz"
    being_written = path.with_name(scratch_name(path.name))
    being_written.write_bytes(b"half")
    save_arrays(path, {"a": np.arange(3)})
    assert being_written.read_bytes() == b"half"
    assert not path.exists()


def test_each_term_has_its_own_network(tmp_path):
    """Every term that changes the roads changes the key; names and dates do not."""
    region = drawn(PLAIN, WAYS, tmp_path).region
    terms = Terms(VAN)
    others = [
        replace(terms, outfit=replace(VAN, height_m=2.7)), replace(terms, van=False), replace(terms, surfaces="any"), replace(terms, last_mile_m=5),
        replace(terms, ferries=False), replace(terms, tolls=False), replace(terms, country="NZ"), replace(terms, every_road=True),
        replace(terms, off_limits=(("a", ((0, 0), (1, 0), (1, 1))),)),
    ]  # fmt: skip
    keys = {open_network(region, t).key for t in (terms, *others)}
    assert len(keys) == 10
    assert open_network(region, replace(terms, outfit=replace(VAN, name="other"))).key == open_network(region, terms).key


def test_cache_folder(monkeypatch, tmp_path):
    """TRIPPLAN_CACHE wins, then XDG_CACHE_HOME."""
    monkeypatch.setenv("TRIPPLAN_CACHE", str(tmp_path / "own"))
    assert cache_folder() == tmp_path / "own"
    monkeypatch.delenv("TRIPPLAN_CACHE")
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))
    assert cache_folder() == tmp_path / "tripplan"


WARM = """
import sys
from pathlib import Path
from tripplan.model.outfit import Outfit
from tripplan.model.place import Spot
from tripplan.region.store import load
from tripplan.roads.join import join
from tripplan.roads.network import open_network
from tripplan.roads.terms import Terms
region = load(Path(sys.argv[1]) / "drawn.region")
outfit = Outfit("v", True, 3200, 1500, 1400, 2.6, 2.3, 12.0, 80)
spots = [Spot(str(x), str(x), x, 50.0) for x in (8.001, 8.005)]
joined = join(open_network(region, Terms(outfit), cache=Path(sys.argv[1]) / "cache"), spots)
matrix = joined.matrix()
leg = joined.route(0, 1)
heavy = {"scipy", "numba", "shapely", "pandas", "networkx"} & set(sys.modules)
print(int(matrix.total_s[0, 1]), round(leg.length_m), sorted(heavy))
"""


def test_warm_answers_need_no_heavy_library(tmp_path):
    """With everything prepared neither scipy nor numba is imported, in a process of its own."""
    from tripplan.region.store import save

    save(drawn(PLAIN, WAYS, tmp_path, grid_m=100).region, tmp_path / "drawn.region")
    run = [
        subprocess.run(
            [sys.executable, "-c", WARM, str(tmp_path)], capture_output=True, text=True, check=True, cwd=tmp_path,
            env={**os.environ, "PYTHONPATH": str(Path(__file__).parents[2])},
        ).stdout.rsplit("[", 1)
        for _ in range(2)
    ]  # fmt: skip
    assert run[0][0] == run[1][0]
    assert run[1][1].strip() == "]"
