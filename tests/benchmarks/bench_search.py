"""How long the search takes on synthetic trips, beside CP-SAT on a small one.

Run ``python tests/benchmarks/bench_search.py FOLDER [S N M]... [plain]`` where FOLDER holds ``trip_instance.py`` (``make`` and
``RESET``, see ``synthetic_trip``); S sites, N nights, M sights. Prints seconds, labels and peak memory of seeds 0-9, each in a process of its own and
stopped after a minute; after that with a cap on one-night stays and a money budget (``full``), left out with the word ``plain``.
"""

from __future__ import annotations

import resource
import sys
import time
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))
sys.path.insert(0, str(Path(__file__).parent))
from synthetic_trip import to_problem

from tripplan.schedule import solve as search
from tripplan.schedule.problem import Problem
from tripplan.schedule.solve import solve


def full(problem: Problem, *, short_stays: int, budget: int | None = None) -> Problem:
    """Return the trip with a charge for one-night stays, most ``short_stays`` of them, and a budget of nights and services.

    Standing days are in the synthetic trip already: every site has a free arc to itself.
    """
    A, (D, P) = len(problem.arc_to), problem.night_cost.shape
    night_count = np.zeros((D, P, 2), np.int32)
    night_count[:, :, 1] = np.maximum(problem.night_cost, 0)
    return replace(
        problem,
        arc_count=np.zeros((A, 2), np.int32),
        night_count=night_count,
        count_cap=np.array([short_stays, budget if budget is not None else 10**7], np.int64),
        one_night_count=np.array([1, 0], np.int32),
        one_night_cost=500,
        max_stay=np.full(P, 7, np.int32),
    )


def line(name: str, problem: Problem, **how: Any) -> tuple[float, float, float]:
    """Solve, print one line and return the seconds, those of the processor, and the peak of memory [MB]."""
    begun, cpu = time.perf_counter(), time.process_time()
    s = solve(problem, **how)
    spent, cpu = time.perf_counter() - begun, time.process_time() - cpu
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    gap = "" if s.status == "proven" else f" bound {s.bound}, gap {(s.cost - s.bound) / max(s.cost, 1):.1%}"
    print(
        f"{name:28s} {spent:7.3f} s, cpu {cpu:6.3f}  {s.status:8s} {s.cost:8d}{gap} labels {s.labels:8d}  peak {peak:.0f} MB",
        flush=True,
    )
    return spent, cpu, peak


def one(folder: str, size: tuple[int, int, int], seed: int, kind: str, max_seconds: float) -> tuple[float, float, float]:
    """Solve one trip, compiled loops made ready before."""
    sys.path.insert(0, folder)
    from trip_instance import RESET, make

    S, N, M = size
    warm = to_problem(make(30, 4, 2, 0), RESET)
    usual = search.NARROW_WORK
    for most in (usual, -1.0):  # narrowing, which only large trips need, is made ready on a small one too
        search.NARROW_WORK = most
        solve(warm, engine="numba")
        if kind:
            solve(full(warm, short_stays=4), engine="numba")
    search.NARROW_WORK = usual
    problem = to_problem(make(S, N, M, seed), RESET)
    if kind:
        problem = full(problem, short_stays=max(N // 4, 2))
    return line(f"{S}/{N}/{M} seed {seed} {kind}", problem, max_seconds=max_seconds)


def main(
    folder: str, sizes: list[tuple[int, int, int]], kinds: tuple[str, ...] = ("", "full"), max_seconds: float = 60.0
) -> None:
    """Print the table, each trip in a process of its own."""
    from concurrent.futures import ProcessPoolExecutor
    from multiprocessing import get_context

    with ProcessPoolExecutor(1, mp_context=get_context("spawn"), max_tasks_per_child=1) as pool:
        for size in sizes:
            for kind in kinds:
                found = [pool.submit(one, folder, size, seed, kind, max_seconds).result() for seed in range(10)]
                spent, cpu, peak = np.array(found).T
                print(
                    f"{'/'.join(map(str, size))} {kind}: median {np.median(spent):.3f} s (cpu {np.median(cpu):.3f}), "
                    f"most {spent.max():.3f} s (cpu {cpu.max():.3f}), peak {peak.max():.0f} MB",
                    flush=True,
                )


if __name__ == "__main__":
    words = [a for a in sys.argv[2:] if not a.isdigit()]
    numbers = [int(a) for a in sys.argv[2:] if a.isdigit()]
    asked = [(numbers[i], numbers[i + 1], numbers[i + 2]) for i in range(0, len(numbers), 3)]
    main(sys.argv[1], asked or [(300, 14, 6), (300, 28, 8), (600, 28, 12)], ("",) if "plain" in words else ("", "full"))
