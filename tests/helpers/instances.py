"""Small random problems of the search, and outside instances laid onto its arrays."""

from __future__ import annotations

import numpy as np

from tripplan.schedule.problem import Problem
from tripplan.schedule.walk import State, first_state, step

try:
    __import__("numba")
    COMPILED = "numba"
except ImportError:  # all holds without compiled loops too
    COMPILED = "auto"


def random_problem(seed: int, *, places: int = 5, days: int = 4, elastic: bool = False, couple: bool = False) -> Problem:
    """Return a small problem in which everything that the contract allows can happen."""
    rng = np.random.default_rng(seed)
    P, D = places, days
    R, K, U = int(rng.integers(1, 5)), 2, 3
    S, C = int(rng.integers(0, 4)), int(rng.integers(0, 3))
    heads: list[int] = []
    counts = np.zeros(P, np.int64)
    for p in range(P):
        for q in range(P):
            for _ in range(int(rng.integers(0, 3)) if p != q or rng.random() < 0.7 else 0):
                heads.append(q)
                counts[p] += 1
    A = len(heads)
    full = (1 << D) - 1

    def blocks(n: int) -> np.ndarray:
        parts = rng.integers(-3, 6, (D, n, 3, R))
        sums = np.cumsum(parts, axis=2)
        total = sums[:, :, 2]
        prefix = np.maximum(sums.max(2), 0)
        tail = np.maximum(np.cumsum(parts[:, :, ::-1], axis=2).max(2), 0)
        return np.stack([total, prefix, tail], axis=2).astype(np.int32)

    cap = rng.integers(5, 16, R).astype(np.int32)
    need = rng.integers(1, 3, S).astype(np.int32)
    night_cost = rng.integers(0, 40, (D, P)).astype(np.int64)
    night_cost[rng.random((D, P)) < 0.12] = -1
    rows: tuple[tuple[int, int, int, int], ...] = ()
    if couple and R >= 2:
        rows = ((0, 1, int(rng.integers(1, 4)), int(rng.integers(1, 4))),)
    sparse = lambda n, share: np.where(rng.random(n) < share, rng.integers(0, 1 << R, n), 0).astype(np.uint32)  # noqa: E731
    return Problem(
        start=0,
        goal=int(rng.choice([0, P - 1])),
        arc_ptr=np.concatenate([[0], np.cumsum(counts)]).astype(np.int64),
        arc_to=np.array(heads, np.int32),
        arc_cost=rng.integers(0, 60, A).astype(np.int64),
        arc_reset=sparse(A, 0.3),
        arc_days=np.where(rng.random(A) < 0.15, rng.integers(0, full + 1, A), full).astype(np.uint64),
        arc_use=rng.integers(0, U, A).astype(np.int32),
        arc_sights=(np.where(rng.random(A) < 0.2, rng.integers(0, 1 << S, A), 0) if S else np.zeros(A)).astype(np.uint32),
        arc_count=np.where(rng.random((A, C)) < 0.4, rng.integers(0, 4, (A, C)), 0).astype(np.int32),
        day_block=blocks(U),
        night_class=rng.integers(0, K, P).astype(np.int32),
        night_block=blocks(K),
        night_cost=night_cost,
        night_count=rng.integers(0, 3, (D, P, C)).astype(np.int32),
        arrive_reset=sparse(P, 0.3),
        leave_reset=sparse(P, 0.4),
        max_stay=rng.choice([0, 0, 1, 2, 3], P).astype(np.int32),
        start_level=(rng.integers(0, 4, R)).astype(np.int32),
        cap=cap,
        goal_cap=np.minimum(cap, rng.integers(2, 16, R)).astype(np.int32),
        count_cap=rng.integers(4, 14, C).astype(np.int64),
        one_night_count=rng.integers(0, 2, C).astype(np.int32),
        one_night_cost=int(rng.choice([0, 15])),
        need=need,
        must=(rng.random(S) < 0.3).astype(np.int32),
        value=rng.integers(0, 60, S).astype(np.int64),
        cover=(rng.random((P, S)) < 0.25).astype(np.uint8),
        excess_weight=(np.where(rng.random(R) < 0.8, rng.integers(1, 9, R), 0) if elastic else np.zeros(R)).astype(np.int32),
        couple=rows,
    )


def brute_force(problem: Problem, forbidden: frozenset[tuple[int, int]] = frozenset()) -> int | None:
    """Return the least cost over all sequences of arcs, None when none is allowed."""
    best: int | None = None

    def go(day: int, state: State) -> None:
        nonlocal best
        if day == problem.days:
            best = state.cost if best is None else min(best, state.cost)
            return
        for arc in range(int(problem.arc_ptr[state.place]), int(problem.arc_ptr[state.place + 1])):
            following = None if (day, arc) in forbidden else step(problem, day, arc, state)
            if following is not None:
                go(day + 1, following)

    go(0, first_state(problem))
    return best


def graph_problem(
    nodes: int,
    arcs: list[tuple[int, int, int, tuple[int, ...]]],
    *,
    start: int,
    goal: int,
    days: int,
    cap: list[int],
    goal_cap: list[int] | None = None,
    nights: dict[int, list[tuple[int, int, int]]] | None = None,
    leave_reset: dict[int, int] | None = None,
    arrive_reset: dict[int, int] | None = None,
    sights: list[int] | None = None,
    couple: tuple[tuple[int, int, int, int], ...] = (),
) -> Problem:
    """Lay a graph onto days: one arc a day, and a free loop at the goal for paths of fewer arcs.

    Parameters
    ----------
    nodes, arcs
        Number of nodes; (from, to, cost, use of each store).
    start, goal, days, cap, goal_cap
        As in Problem.
    nights
        Of a node, (total, prefix, tail) of each store on being there; nothing where left out.
    leave_reset, arrive_reset
        Of a node, bits of stores served.
    sights
        Nodes that must be visited.
    couple
        As in Problem.
    """
    R = len(cap)
    arcs = sorted([*arcs, (goal, goal, 0, (0,) * R)], key=lambda a: a[:3])
    frm = np.array([a[0] for a in arcs])
    uses, use = np.unique(np.array([a[3] for a in arcs]).reshape(len(arcs), R), axis=0, return_inverse=True)
    day_block = np.stack([uses, np.maximum(uses, 0), np.zeros_like(uses)], 1)[None].repeat(days, 0).astype(np.int32)
    rows = np.zeros((nodes, 3, R), np.int64)
    for node, blocks in (nights or {}).items():
        rows[node] = np.array(blocks).T
    kinds, kind = np.unique(rows.reshape(nodes, -1), axis=0, return_inverse=True)
    must = sights or []
    cover = np.zeros((nodes, len(must)), np.uint8)
    cover[must, np.arange(len(must))] = 1
    bits = lambda by: np.array([(by or {}).get(n, 0) for n in range(nodes)], np.uint32)  # noqa: E731
    A = len(arcs)
    return Problem(
        start=start,
        goal=goal,
        arc_ptr=np.searchsorted(frm, np.arange(nodes + 1)).astype(np.int64),
        arc_to=np.array([a[1] for a in arcs], np.int32),
        arc_cost=np.array([a[2] for a in arcs], np.int64),
        arc_reset=np.zeros(A, np.uint32),
        arc_days=np.full(A, (1 << days) - 1, np.uint64),
        arc_use=use.reshape(-1).astype(np.int32),
        arc_sights=np.zeros(A, np.uint32),
        arc_count=np.zeros((A, 0), np.int32),
        day_block=day_block,
        night_class=kind.reshape(-1).astype(np.int32),
        night_block=kinds.reshape(-1, 3, R)[None].repeat(days, 0).astype(np.int32),
        night_cost=np.zeros((days, nodes), np.int64),
        night_count=np.zeros((days, nodes, 0), np.int32),
        arrive_reset=bits(arrive_reset),
        leave_reset=bits(leave_reset),
        max_stay=np.zeros(nodes, np.int32),
        start_level=np.zeros(R, np.int32),
        cap=np.array(cap, np.int32),
        goal_cap=np.array(goal_cap or cap, np.int32),
        count_cap=np.zeros(0, np.int64),
        one_night_count=np.zeros(0, np.int32),
        one_night_cost=0,
        need=np.ones(len(must), np.int32),
        must=np.ones(len(must), np.int32),
        value=np.zeros(len(must), np.int64),
        cover=cover,
        excess_weight=np.zeros(R, np.int32),
        couple=couple,
    )


def read_rcsp(text: str) -> Problem:
    """Return a resource-constrained shortest path instance of the OR-Library (first node to last).

    Format: nodes, arcs, resources; lower limits (all 0); upper limits; each node's use (all 0); from, to, cost, uses.
    """
    v = [int(x) for x in text.split()]
    n, m, R = v[:3]
    cap = v[3 + R : 3 + 2 * R]
    at = 3 + 2 * R + n * R
    assert not any(v[3 : 3 + R])
    assert not any(v[3 + 2 * R : at])
    rows = [v[at + i * (3 + R) : at + (i + 1) * (3 + R)] for i in range(m)]
    arcs = [(r[0] - 1, r[1] - 1, r[2], tuple(r[3:])) for r in rows if r[0] != n]
    least = [min(r[3 + k] for r in rows) for k in range(R)]
    hops = min([cap[k] // least[k] for k in range(R) if least[k]] + [n - 1, 63])
    return graph_problem(n, arcs, start=0, goal=n - 1, days=hops, cap=cap)


SCALE = 10_000  # of distances and times: four decimals
VEHICLE = 20_000_000  # cost of one more vehicle, above any distance


def read_evrptw(text: str, *, days: int) -> Problem:
    """Return an electric vehicle routing instance with time windows, vehicles first, then distance.

    Stores are time, charge used and load. Back at the depot all three start anew (the next vehicle); a station gives a full
    charge and takes time for what is missing. Times and charge round up, distances in the cost to the nearest.
    """
    head, *rest = [line.split() for line in text.strip().splitlines() if line.strip()]
    assert head[0] == "StringID"
    rows = [r for r in rest if len(r) == 8 and r[1] in "dfc"]
    number = {r[0]: float(r[-1].strip("/")) for r in rest if r[-1].endswith("/")}
    up = lambda x: int(np.ceil(round(x * SCALE, 4)))  # noqa: E731
    horizon = up(float(rows[0][6]))
    n = len(rows)
    end = n  # the depot again, for good
    xy = [(float(r[2]), float(r[3])) for r in rows]
    xy.append(xy[0])
    customers = [i for i in range(n) if rows[i][1] == "c"]
    nights = {
        i: [(up(float(rows[i][7])), horizon - up(float(rows[i][6])), up(float(rows[i][5]) + float(rows[i][7])))]
        for i in customers
    }
    for i, blocks in nights.items():
        blocks += [(0, 0, 0), (int(float(rows[i][4])), int(float(rows[i][4])), 0)]
    arcs = []
    for i in range(n):
        for j in range(n + 1):
            if i == j or (i == 0 and j == end):
                continue
            distance = float(np.hypot(xy[i][0] - xy[j][0], xy[i][1] - xy[j][1]))
            cost = round(distance * SCALE) + (VEHICLE if i == 0 else 0)
            arcs.append((i, j, cost, (up(distance / number["v"]), up(distance * number["r"]), 0)))
    stations = {i: 0b010 for i in range(n) if rows[i][1] == "f"}
    rate = round(number["g"] * 100)
    return graph_problem(
        n + 1,
        arcs,
        start=0,
        goal=end,
        days=days,
        cap=[horizon, int(number["Q"] * SCALE + 0.5), int(number["C"])],
        nights=nights,
        leave_reset=stations,
        arrive_reset={0: 0b111},
        sights=customers,
        couple=((1, 0, rate, 100),),
    )
