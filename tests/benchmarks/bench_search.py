"""How long the search takes on synthetic trips, beside CP-SAT on a small one.

Run ``python tests/benchmarks/bench_search.py FOLDER [S N M]...`` where FOLDER holds ``trip_instance.py`` (``make`` and
``RESET``, see ``synthetic_trip``). Prints seconds, labels and peak memory of seeds 0-9; with standing days, a cap on one-night
stays and a money budget in it after that (``full``).
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


def line(name: str, problem: Problem, **how: Any) -> float:
    """Solve, print one line and return the seconds."""
    begun, cpu = time.perf_counter(), time.process_time()
    s = solve(problem, **how)
    spent, cpu = time.perf_counter() - begun, time.process_time() - cpu
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024
    gap = "" if s.status == "proven" else f" bound {s.bound}"
    print(
        f"{name:28s} {spent:7.3f} s, cpu {cpu:6.3f}  {s.status:8s} {s.cost:8d}{gap} labels {s.labels:8d}  peak {peak} MB",
        flush=True,
    )
    return spent


def main(folder: str, sizes: list[tuple[int, int, int]]) -> None:
    """Print the table."""
    sys.path.insert(0, folder)
    from trip_instance import RESET, make

    warm = to_problem(make(30, 4, 1, 0), RESET)
    solve(warm, engine="numba")
    solve(full(warm, short_stays=4), engine="numba")
    for S, N, M in sizes:
        spent = [line(f"{S}/{N}/{M} seed {seed}", to_problem(make(S, N, M, seed), RESET)) for seed in range(10)]
        print(f"{S}/{N}/{M}: median {np.median(spent):.3f} s, most {max(spent):.3f} s")
        spent = []
        for seed in range(10):
            problem = full(to_problem(make(S, N, M, seed), RESET), short_stays=max(N // 4, 2))
            spent.append(line(f"{S}/{N}/{M} seed {seed} full", problem, max_seconds=60))
        print(f"{S}/{N}/{M} full: median {np.median(spent):.3f} s, most {max(spent):.3f} s")


if __name__ == "__main__":
    numbers = [int(a) for a in sys.argv[2:]]
    main(sys.argv[1], [tuple(numbers[i : i + 3]) for i in range(0, len(numbers), 3)] or [(300, 14, 6), (300, 21, 8)])
