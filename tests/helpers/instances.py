"""Small random problems of the search, and outside instances laid onto its arrays."""

from __future__ import annotations

import numpy as np

from tripplan.schedule.problem import Problem


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
