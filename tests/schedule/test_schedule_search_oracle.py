"""The search against CP-SAT, which reads the contract in its own way."""

from __future__ import annotations

from dataclasses import replace

import pytest
from helpers.cpsat import cp_optimum
from helpers.instances import random_problem

from tripplan.schedule.solve import solve


def check(seed: int) -> bool:
    """Compare on one problem; say whether there was a plan."""
    drawn = random_problem(seed, places=4 + seed % 4, days=3 + seed % 4)
    # somewhat laxer than drawn, so that about every second has a plan
    problem = replace(drawn, cap=drawn.cap + 5, goal_cap=drawn.goal_cap + 5, count_cap=drawn.count_cap + 5)
    solution = solve(problem, engine="numpy")
    assert solution.status == "proven"
    assert (solution.cost if solution.arcs else None) == cp_optimum(problem), seed
    return bool(solution.arcs)


def test_search_equals_cp_sat() -> None:
    """Equal optima, and equal proofs that there is no plan."""
    pytest.importorskip("ortools")
    plans = sum(check(seed) for seed in range(60))
    assert plans > 8


@pytest.mark.long
def test_search_equals_cp_sat_on_many() -> None:
    """The same on 500 problems."""
    pytest.importorskip("ortools")
    assert sum(check(seed) for seed in range(500, 1000)) > 80
