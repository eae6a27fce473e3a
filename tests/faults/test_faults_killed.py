"""`tripplan region build` ended by kill -9 at any moment: the old region or the new one, never half, and the next run clears up."""

from __future__ import annotations

import os
import random
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
MAP = ROOT / "data_sample" / "island.osm.pbf"

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="kill -9 is POSIX")


class Builds:
    """Builds of one map over one region file, each under another name so that old and new differ."""

    def __init__(self, folder: Path) -> None:
        self.out = folder / "out" / "isle.region"
        self.scratch = folder / "scratch"
        self.out.parent.mkdir()
        self.scratch.mkdir()
        self._env = {**os.environ, "PYTHONPATH": str(ROOT), "TMPDIR": str(self.scratch), "TRIPPLAN_CACHE": str(folder / "cache")}

    def start(self, name: str) -> subprocess.Popen[bytes]:
        words = [sys.executable, "-m", "tripplan", "region", "build", str(MAP), "--name", name, "--out", str(self.out)]
        return subprocess.Popen(words, env=self._env, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE)

    def whole(self, name: str) -> bytes:
        """Build to the end; nothing may be left beside the region, of this run or of killed ones."""
        child = self.start(name)
        _, told = child.communicate()
        assert child.returncode == 0, told
        assert [path.name for path in self.out.parent.iterdir()] == [self.out.name]
        assert list(self.scratch.iterdir()) == []
        return self.out.read_bytes()

    def part(self) -> bool:
        """Whether a region is being written."""
        return any(path.name.endswith(".part") for path in self.out.parent.iterdir())


def kill(child: subprocess.Popen[bytes]) -> None:
    child.send_signal(signal.SIGKILL)
    child.communicate()


def killed_builds(folder: Path, times: int, seed: str) -> dict[str, int]:
    """Kill so many builds: half at any moment of the run, half within the moments in which the file is written and renamed."""
    from tripplan.region.store import load

    rng = random.Random(seed)
    builds = Builds(folder)
    new = builds.whole("new")
    began = time.monotonic()
    old = builds.whole("old")
    lasts = time.monotonic() - began
    assert new != old
    came = {"old": 0, "new": 0, "scratch": 0, "part": 0}
    for number in range(times):
        builds.out.write_bytes(old)
        child = builds.start("new")
        if number % 2:
            time.sleep(rng.uniform(0, lasts))
        else:
            while child.poll() is None and not builds.part():
                time.sleep(0.0002)
            time.sleep(rng.choice((0.0, rng.uniform(0, 0.004), rng.uniform(0, 0.03))))
        came["part"] += builds.part()
        kill(child)
        left = builds.out.read_bytes()
        assert left in (old, new), f"neither the old region nor the new one after kill {number}: {len(left)} bytes"
        came["old" if left == old else "new"] += 1
        came["scratch"] += any(builds.scratch.iterdir())
        load(builds.out)
        if number % 10 == 9 or number == times - 1:  # the run after clears up all that was left
            assert builds.whole("new") == new  # the same map is the same bytes
    return came


def test_builds_killed_at_eight_moments(tmp_path: Path) -> None:
    """Eight kills, seeded: one file of two, whole; scratch in both folders is gone after the next run."""
    came = killed_builds(tmp_path, 8, "suite")
    assert came["old"] + came["new"] == 8
    assert came["old"] > 0


@pytest.mark.long
def test_builds_killed_at_a_hundred_moments(tmp_path: Path) -> None:
    """A hundred kills; both ends, and both kinds of scratch, were met."""
    came = killed_builds(tmp_path, 100, "long")
    assert came["old"] + came["new"] == 100
    assert min(came.values()) > 0, came


def test_scratch_of_others_is_left_alone(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Scratch of a run that is over goes; that of a living one, and what only looks like it, stays; two in one process have two folders."""
    import tempfile

    from tripplan.model.leftovers import scratch_folder

    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))
    gone = subprocess.run([sys.executable, "-c", "import os; print(os.getpid())"], capture_output=True, text=True, check=True)
    names = {
        f".tripplan.{gone.stdout.strip()}.part": False,
        f".tripplan.{os.getppid()}.part": True,
        ".tripplan.x1.part": True,
        "tripplan-abc": True,
    }
    for name in names:
        (tmp_path / name).mkdir()
        (tmp_path / name / "data.opl").write_text("x")
    with scratch_folder() as one, scratch_folder() as two:
        assert one != two
        (one / "data.opl").write_text("x")
        assert one.stat().st_mode & 0o077 == 0
        assert two.stat().st_mode & 0o077 == 0
    assert {path.name for path in tmp_path.iterdir()} == {name for name, stays in names.items() if stays}
