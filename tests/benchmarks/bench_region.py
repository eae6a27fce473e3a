"""Time and memory of a whole region build against pyrosm, which reads the roads alone.

usage: python tests/benchmarks/bench_region.py [MAP.osm.pbf ...]     (default: every extract that TRIPPLAN_EXTRACTS names)
"""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

_OURS = """
import sys, time
start = time.perf_counter()
from tripplan.region.build import build
from tripplan.region.store import load, save
region = build(sys.argv[1]); built = time.perf_counter()
save(region, sys.argv[2]); saved = time.perf_counter()
load(sys.argv[2]); loaded = time.perf_counter()
print(saved - start, saved - built, loaded - saved, len(region.pieces.a))
"""
_THEIRS = """
import sys, time
start = time.perf_counter()
import pyrosm
edges = pyrosm.OSM(sys.argv[1]).get_network(network_type="driving")
print(time.perf_counter() - start, 0, 0, len(edges))
"""
_PEAK = "\nimport resource; print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6, time.process_time())"


def measure(code: str, path: Path, out: Path) -> list[float]:
    """Run in a process of its own: seconds (all, saving, loading), rows, peak memory [GB], processor seconds."""
    done = subprocess.run(
        [sys.executable, "-c", code + _PEAK, str(path), str(out)],
        capture_output=True,
        text=True,
        check=False,
        cwd=Path(__file__).parents[2],
    )
    if done.returncode:
        return [float("nan")] * 6
    return [float(word) for word in done.stdout.split()]


def main() -> None:
    """Print one line a file."""
    given = [Path(text) for text in sys.argv[1:]]
    files = given or sorted(Path(os.environ.get("TRIPPLAN_EXTRACTS", ".")).glob("*.osm.pbf"))
    out = Path(os.environ.get("TMPDIR", "/tmp")) / f"bench-{os.getpid()}.region"
    print(
        f"{'file':48} {'MB':>6} {'build+save s':>12} {'cpu s':>7} {'GB':>5} {'load ms':>8} {'region MB':>9} {'pyrosm s':>9} {'GB':>5} {'ratio':>6}"
    )
    for path in files:
        ours = measure(_OURS, path, out)
        size = out.stat().st_size / 1e6 if out.exists() else float("nan")
        out.unlink(missing_ok=True)
        theirs = measure(_THEIRS, path, out)
        print(
            f"{path.name[:48]:48} {path.stat().st_size / 1e6:6.1f} {ours[0]:12.2f} {ours[5]:7.2f} {ours[4]:5.2f} {ours[2] * 1000:8.1f} {size:9.1f} "
            f"{theirs[0]:9.2f} {theirs[4]:5.2f} {ours[0] / theirs[0]:6.2f}"
        )


if __name__ == "__main__":
    main()
