"""The search against published optimisation instances, laid onto days as one arc a day."""

from __future__ import annotations

import os
from pathlib import Path

import pytest
from helpers.instances import COMPILED, SCALE, VEHICLE, graph_problem, read_evrptw, read_rcsp

from tripplan.schedule.problem import Problem
from tripplan.schedule.solve import solve


@pytest.fixture(scope="module")
def instances() -> Path:
    """Folder of published instances; skipped, and says so, where there is none."""
    folder = os.environ.get("TRIPPLAN_INSTANCES", "")
    if not folder or not Path(folder).is_dir():
        pytest.skip("no published instances: TRIPPLAN_INSTANCES does not name a folder")
    return Path(folder)


def toy(*, windows: bool, last: int = 100) -> Problem:
    """The example of Boost's r_c_shortest_paths (boostorg/graph, example/r_c_shortest_paths_example.cpp, M. Drexl, BSL-1.0).

    Windows A 0-0, B 5-20, C 6-10, D 3-12, E 0-100; arcs with cost, time.
    """
    window = {"A": (0, 0), "B": (5, 20), "C": (6, 10), "D": (3, 12), "E": (0, last)}
    arcs = {
        "AC": (1, 5),
        "BB": (2, 5),
        "BD": (1, 2),
        "BE": (2, 7),
        "CB": (7, 3),
        "CD": (3, 8),
        "DE": (1, 3),
        "EA": (1, 5),
        "EB": (1, 4),
    }
    nights = {"ABCDE".index(n): [(0, 100 - late, early)] for n, (early, late) in window.items()} if windows else {}
    rows = [("ABCDE".index(a[0]), "ABCDE".index(a[1]), cost, (time,)) for a, (cost, time) in arcs.items()]
    cap = [100] if windows else [10_000]
    return graph_problem(5, rows, start=0, goal=4, days=8, cap=cap, goal_cap=[last] if windows else None, nights=nights)


@pytest.mark.parametrize("engine", ["numpy", COMPILED])
def test_boost_toy(engine: str) -> None:
    """Cost 5 without windows, 10 with them, at time 14 and not before (Boost's own result)."""
    assert solve(toy(windows=False), engine=engine).cost == 5
    assert solve(toy(windows=True), engine=engine).cost == 10
    assert solve(toy(windows=True, last=14), engine=engine).cost == 10
    assert not solve(toy(windows=True, last=13), engine=engine).arcs


# Beasley & Christofides, Networks 19 (1989) 379-394, OR-Library; optima 1..24, 14 has no feasible path
RCSP = [131, 131, 2, 2, 100, 100, 6, 14, 420, 420, 6, 6, 448, None, 9, 17, 652, 652, 6, 6, 858, 858, 4, 5]
QUICK = (1, 2, 3, 4, 9, 10, 11, 12, 13, 14, 17, 18, 19, 20)


def check_rcsp(folder: Path, number: int) -> None:
    solution = solve(read_rcsp((folder / "rcsp" / f"rcsp{number}.txt").read_text()))
    assert solution.status == "proven"
    assert (solution.cost if solution.arcs else None) == RCSP[number - 1]


@pytest.mark.parametrize("number", QUICK)
def test_constrained_shortest_paths(instances: Path, number: int) -> None:
    """The published optimum of a resource-constrained shortest path instance."""
    check_rcsp(instances, number)


@pytest.mark.long
@pytest.mark.parametrize("number", sorted(set(range(1, 25)) - set(QUICK)))
def test_more_constrained_shortest_paths(instances: Path, number: int) -> None:
    """The same on the slower ones."""
    check_rcsp(instances, number)


# Schneider, Stenger & Goeke, Transportation Science 48(4), 2014, 500-520: vehicles, distance (full recharge)
ELECTRIC = {
    "c101C5": (2, 257.75),
    "c103C5": (1, 176.05),
    "c206C5": (1, 242.56),
    "c208C5": (1, 158.48),
    "r104C5": (2, 136.69),
    "r105C5": (2, 156.08),
    "r202C5": (1, 128.78),
    "r203C5": (1, 179.06),
    "rc105C5": (2, 241.30),
    "rc108C5": (2, 253.93),
    "rc204C5": (1, 176.39),
    "rc208C5": (1, 167.98),
}

# two of them as numbers (INFORMSJoC/2023.0104, MIT licence, copyright 2023 Patrick Sean Klein)
C208C5 = """
StringID Type x y demand ReadyTime DueDate ServiceTime
D0 d 40 50 0 0 3390 0
S0 f 40 50 0 0 3390 0
S11 f 10 28 0 0 3390 0
S14 f 27 10 0 0 3390 0
C39 c 0 45 20 1642 2282 90
C50 c 26 32 10 255 895 90
C60 c 35 5 20 1152 1792 90
C58 c 38 5 30 1245 1885 90
C53 c 44 5 20 1431 2071 90
Q Vehicle fuel tank capacity /77.75/
C Vehicle load capacity /700.0/
r fuel consumption rate /1.0/
g inverse refueling rate /3.47/
v average Velocity /1.0/
"""
R104C5 = """
StringID Type x y demand ReadyTime DueDate ServiceTime
D0 d 35 35 0 0 230 0
S0 f 35 35 0 0 230 0
S3 f 48 60 0 0 230 0
S9 f 15 42 0 0 230 0
C71 c 57 68 15 0 180 10
C1 c 41 49 10 36 46 10
C5 c 15 30 26 0 199 10
C87 c 28 18 26 166 176 10
C99 c 20 26 9 0 202 10
Q Vehicle fuel tank capacity /60.63/
C Vehicle load capacity /200.0/
r fuel consumption rate /1.0/
g inverse refueling rate /0.49/
v average Velocity /1.0/
"""


def electric(text: str, days: int = 13) -> tuple[int, float]:
    """Return vehicles and distance of the best routes."""
    solution = solve(read_evrptw(text, days=days))
    assert solution.status == "proven"
    return solution.cost // VEHICLE, round(solution.cost % VEHICLE / SCALE, 2)


@pytest.mark.parametrize(("text", "best"), [(C208C5, (1, 158.48)), (R104C5, (2, 136.69))])
def test_electric_vehicle_instances_quoted(text: str, best: tuple[int, float]) -> None:
    """Vehicles and distance of two electric routing instances with time windows and stations, one of two vehicles."""
    assert electric(text) == best


@pytest.mark.parametrize("name", ELECTRIC)
def test_electric_vehicle_instances(instances: Path, name: str) -> None:
    """Vehicles and distance of each instance with five customers, to two decimals."""
    assert electric((instances / "evrptw" / f"{name}.txt").read_text()) == ELECTRIC[name]


@pytest.mark.long
def test_electric_vehicle_instance_of_ten_customers(instances: Path) -> None:
    """c101C10: three vehicles, 393.76."""
    assert electric((instances / "evrptw" / "c101C10.txt").read_text(), days=22) == (3, 393.76)
