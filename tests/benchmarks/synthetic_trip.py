"""Lay a synthetic trip (sites in a square, five stores, sights that nights nearby count for) onto the search's arrays."""

from __future__ import annotations

from typing import Any

import numpy as np

from tripplan.schedule.problem import Problem


def to_problem(trip: dict[str, Any], reset: np.ndarray) -> Problem:
    """Return the Problem of a trip dict.

    Parameters
    ----------
    trip
        ``C`` (options, P, P) [cents], ``ok``, ``svc`` (R, P), ``cap`` (R), ``use`` (R, D, P), ``price`` (P) [cents], ``cov``,
        ``need``, ``home_ok``, ``home_c``; place 0 is home. A trip of N nights is N + 1 days here, the last one home.
    reset
        (options, R) stores an option serves on the way.
    """
    R, nights, P = trip["use"].shape
    D, M = nights + 1, len(trip["need"])
    o, i, j = np.nonzero(trip["ok"])
    keep = j > 0
    o, i, j = o[keep], i[keep], j[keep]
    homeward = np.flatnonzero(trip["home_ok"])
    frm = np.concatenate([i, homeward])
    to = np.concatenate([j, np.zeros(len(homeward), int)])
    cost = np.concatenate([trip["C"][o, i, j], trip["home_c"][homeward]]).astype(np.int64)
    bits = (reset.astype(np.uint32) << np.arange(R, dtype=np.uint32)).sum(1)
    served = np.concatenate([bits[o], np.zeros(len(homeward), np.uint32)]).astype(np.uint32)
    days = np.concatenate([np.full(len(o), (1 << nights) - 1), np.full(len(homeward), 1 << nights)]).astype(np.uint64)
    order = np.lexsort((served, to, frm))
    frm, to, cost, served, days = frm[order], to[order], cost[order], served[order], days[order]
    ptr = np.searchsorted(frm, np.arange(P + 1)).astype(np.int64)
    rows, night_class = np.unique(trip["use"].transpose(2, 1, 0).reshape(P, -1), axis=0, return_inverse=True)
    use = rows.reshape(len(rows), nights, R).transpose(1, 0, 2).astype(np.int32)
    night_block = np.zeros((D, len(rows), 3, R), np.int32)
    night_block[:nights, :, 0] = use
    night_block[:nights, :, 1] = use
    night_cost = np.full((D, P), -1, np.int64)
    night_cost[:nights, 1:] = trip["price"][None, 1:].astype(np.int64)
    cover = np.zeros((P, M), np.uint8)
    has = trip["cov"] >= 0
    cover[np.flatnonzero(has), trip["cov"][has]] = 1
    cap = trip["cap"].astype(np.int32)
    A = len(to)
    return Problem(
        start=0,
        goal=0,
        arc_ptr=ptr,
        arc_to=to.astype(np.int32),
        arc_cost=cost,
        arc_reset=served,
        arc_days=days,
        arc_use=np.zeros(A, np.int32),
        arc_sights=np.zeros(A, np.uint32),
        arc_count=np.zeros((A, 0), np.int32),
        day_block=np.zeros((D, 1, 3, R), np.int32),
        night_class=night_class.reshape(-1).astype(np.int32),
        night_block=night_block,
        night_cost=night_cost,
        night_count=np.zeros((D, P, 0), np.int32),
        arrive_reset=np.zeros(P, np.uint32),
        leave_reset=(trip["svc"].T.astype(np.uint32) << np.arange(R, dtype=np.uint32)).sum(1).astype(np.uint32),
        max_stay=np.zeros(P, np.int32),
        start_level=np.zeros(R, np.int32),
        cap=cap,
        goal_cap=cap.copy(),
        count_cap=np.zeros(0, np.int64),
        one_night_count=np.zeros(0, np.int32),
        one_night_cost=0,
        need=np.asarray(trip["need"], np.int32),
        must=np.ones(M, np.int32),
        value=np.zeros(M, np.int64),
        cover=cover,
        excess_weight=np.zeros(R, np.int32),
    )
