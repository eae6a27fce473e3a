"""The search against CP-SAT, which reads the contract in its own way."""

from __future__ import annotations

from dataclasses import replace

import pytest
from helpers.cpsat import cp_optimum
from helpers.instances import random_problem

from tripplan.schedule.solve import solve


def check(seed: int, days: int = 0) -> bool:
    """Compare on one problem of 3 to 6 days, or of so many; say whether there was a plan."""
    drawn = random_problem(seed, places=4 + seed % 4, days=days or 3 + seed % 4)
    # somewhat laxer than drawn, and the more so the longer, so that about every second has a plan
    room = 5 if not days else 2 * days
    problem = replace(drawn, cap=drawn.cap + room, goal_cap=drawn.goal_cap + room, count_cap=drawn.count_cap + room)
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


@pytest.mark.parametrize("days", [7, 8])
def test_search_equals_cp_sat_on_a_week(days: int) -> None:
    """The same on trips of six and seven nights."""
    pytest.importorskip("ortools")
    assert sum(check(seed, days) for seed in range(8)) > 2


@pytest.mark.long
@pytest.mark.parametrize("days", [7, 8])
def test_search_equals_cp_sat_on_many_weeks(days: int) -> None:
    """The same on 100 trips of each length."""
    pytest.importorskip("ortools")
    assert sum(check(seed, days) for seed in range(100, 200)) > 25
