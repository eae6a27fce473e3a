"""Many bookings by one process and by two: how much sooner a desk has its papers, and that they are the same, byte for byte.

    python tests/benchmarks/bench_batch.py [--bookings 200] [--pairs 3]

Draws up bookings on the sample island (trip, dates, adults and hours at the wheel differ), plans all of them with `tripplan batch`
by one process and by two, in turn, each with an empty cache of its own, and prints wall times, their ratio pair by pair, and how much
of the machine others had meanwhile (the ratio means little where that is much). On Linux.
"""

from __future__ import annotations

import argparse
import csv
import os
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from datetime import UTC, datetime, timedelta
from hashlib import sha256
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
SAMPLE = ROOT / "data_sample"
sys.path.insert(0, str(ROOT))
TRIPS = (("trip_isle_weekend.toml", 4, 7), ("trip_family_loop.toml", 10, 5))


def bookings(folder: Path, count: int) -> Path:
    """Write the table beside a copy of the sample's files."""
    shutil.copytree(SAMPLE, folder, ignore=shutil.ignore_patterns("*.py", "*.pbf", "__pycache__"))
    path = folder / "bookings.csv"
    with path.open("w", encoding="utf-8", newline="") as file:
        table = csv.writer(file)
        table.writerow(["booking", "trip", "pick_up.time", "return.time", "party.adults", "driving.max_h"])
        for n in range(count):
            trip, nights, hours = TRIPS[n % 2]
            out = datetime(2026, 2, 3, 10, tzinfo=UTC) + timedelta(days=7 * (n // 2 % 6))
            back = out + timedelta(days=nights, hours=hours)
            row = [
                f"B{n + 1:03}",
                trip,
                f"{out:%Y-%m-%d %H:%M}",
                f"{back:%Y-%m-%d %H:%M}",
                1 + n % 2,
                f"{3 + n // 12 % 17 * 0.1:g}",
            ]
            table.writerow(row)
    return path


def busy() -> tuple[int, int]:
    """Return the ticks that the processors worked, and all there were."""
    ticks = [int(word) for word in Path("/proc/stat").read_text().split("\n", 1)[0].split()[1:9]]
    return sum(ticks) - ticks[3] - ticks[4], sum(ticks)


def run(table: Path, region: Path, out: Path, workers: int) -> tuple[float, float, float]:
    """Plan the table; return wall [s], own processor time [s], and the share of the machine that others had."""
    cache = out.with_name(out.name + "-cache")
    command = [sys.executable, "-m", "tripplan", "batch", str(table), "--region", str(region), "--out", str(out)]
    env = {**os.environ, "PYTHONPATH": str(ROOT), "TRIPPLAN_CACHE": str(cache)}
    began, (busy_0, all_0), own_0 = time.monotonic(), busy(), os.times()
    done = subprocess.run([*command, "--workers", str(workers)], env=env, capture_output=True, check=False)
    wall, (busy_1, all_1), own_1 = time.monotonic() - began, busy(), os.times()
    assert done.returncode in (0, 1), done.stderr.decode()[-500:]
    own = own_1.children_user - own_0.children_user + own_1.children_system - own_0.children_system
    others = (busy_1 - busy_0 - own * os.sysconf("SC_CLK_TCK")) / max(all_1 - all_0, 1)
    return wall, own, max(others, 0.0)


def papers(out: Path) -> dict[str, str]:
    """Return a digest of each paper by its path."""
    return {
        str(p.relative_to(out)): sha256(p.read_bytes()).hexdigest()
        for p in sorted(out.rglob("*"))
        if p.parent != out and p.is_file()
    }


def main() -> None:
    """Run the pairs and print what came out."""
    asked = argparse.ArgumentParser()
    asked.add_argument("--bookings", type=int, default=200)
    asked.add_argument("--pairs", type=int, default=3)
    options = asked.parse_args()
    from tripplan.pipeline import sample_region
    from tripplan.region.store import save

    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        save(sample_region(), folder / "island.region")
        table = bookings(folder / "desk", options.bookings)
        ratios = []
        for pair in range(options.pairs):
            told = []
            for workers in (1, 2) if pair % 2 == 0 else (2, 1):
                wall, own, others = run(table, folder / "island.region", folder / f"out-{pair}-{workers}", workers)
                told.append((workers, wall))
                print(
                    f"{workers} process{'es' if workers > 1 else ''}: {wall:.1f} s, own processor time {own:.1f} s, others had {others:.0%} of the machine",
                    flush=True,
                )
            one, two = (papers(folder / f"out-{pair}-{n}") for n in (1, 2))
            assert one == two, "the papers differ"
            ratios.append(dict(told)[2] / dict(told)[1])
            print(f"two to one: {ratios[-1]:.3f}; {len(one)} papers are the same", flush=True)
        print(f"{options.bookings} bookings, two processes to one: {statistics.median(ratios):.3f} (median of {len(ratios)})")
        print((folder / "out-0-1" / "outcomes.csv").read_text(encoding="utf-8-sig").count(",planned,"), "planned")


if __name__ == "__main__":
    main()
