"""The ways through two services and a sight in plain loops, compiled: same ways as `triple_tables`.

A pair of services is looked at only where the least that services of its kind can cost before, after or around the sight beats
what is known.
"""

# mypy: disable-error-code="no-untyped-def, no-any-return, no-untyped-call"
from __future__ import annotations

import numpy as np
from numba import njit

from tripplan.schedule.chain_kernels import LIST, fitting, uncovered, use_class
from tripplan.schedule.chains import SIGHT
from tripplan.schedule.ways import FAR

__all__ = ["least_after", "triples"]


@njit(cache=True)
def least_after(places, sights, kind, kinds, pair_ok, values, adds):
    """(M, K, P) least from a sight by one service to each place, and (M, K, K, P) by two, by what they are for; (3, ...) each."""
    stops = len(kind)
    one = np.full((3, len(sights), kinds, places), FAR)
    two = np.full((3, len(sights), kinds, kinds, places), FAR)
    for m in range(len(sights)):
        s = sights[m]
        for f in range(3):
            reach = np.full((stops, kinds), FAR)
            for v in range(stops):
                start = values[f, places + s, places + v] + adds[f, v]
                for j in range(places):
                    one[f, m, kind[v], j] = min(one[f, m, kind[v], j], start + values[f, places + v, j])
                for w in range(stops):
                    if pair_ok[v, w]:
                        reach[w, kind[v]] = min(reach[w, kind[v]], start + values[f, places + v, places + w])
            for w in range(stops):
                for k in range(kinds):
                    if reach[w, k] < FAR:
                        for j in range(places):
                            way = reach[w, k] + adds[f, w] + values[f, places + w, j]
                            two[f, m, k, kind[w], j] = min(two[f, m, k, kind[w], j], way)
    return one, two


@njit(cache=True)
def _least_before(i, places, sights, kind, kinds, pair_ok, values, adds):
    """(M, K) least from a place by one service to each sight, and (M, K, K) by two, by what they are for; (3, ...) each."""
    stops = len(kind)
    one = np.full((3, len(sights), kinds), FAR)
    two = np.full((3, len(sights), kinds, kinds), FAR)
    for f in range(3):
        reach = np.full((stops, kinds), FAR)
        for v in range(stops):
            start = values[f, i, places + v] + adds[f, v]
            for m in range(len(sights)):
                one[f, m, kind[v]] = min(one[f, m, kind[v]], start + values[f, places + v, places + sights[m]])
            for w in range(stops):
                if pair_ok[v, w]:
                    reach[w, kind[v]] = min(reach[w, kind[v]], start + values[f, places + v, places + w])
        for w in range(stops):
            for k in range(kinds):
                if reach[w, k] < FAR:
                    for m in range(len(sights)):
                        way = reach[w, k] + adds[f, w] + values[f, places + w, places + sights[m]]
                        two[f, m, k, kind[w]] = min(two[f, m, k, kind[w]], way)
    return one, two


@njit(cache=True)
def triples(
    i, places, total, drive, values, adds, allowed, limit, type_days, leave, arrive, seconds, only_from, only_to, opens, closes,
    any_time, stop_bits, kind, kind_purpose, pair_ok, effect, served, classes, count_money, sights, after_one, after_two,
    known, known_days, out, out_days, room,
):  # fmt: skip
    """Fill ``out`` with ways through two services and a sight that beat the ``known`` ones (by end); the count, or -1: no room."""
    stops, kinds = len(seconds), len(kind_purpose)
    before_one, before_two = _least_before(i, places, sights, kind, kinds, pair_ok, values, adds)
    k_cost = np.empty(LIST, np.int64)
    k_money = np.empty(LIST, np.int64)
    k_use = np.empty(LIST, np.int64)
    k_does = np.empty(LIST, np.int64)
    k_days = np.empty(LIST, np.uint64)
    least = np.empty(3, np.int64)
    put, row = 0, 0
    for j in range(places):
        count = 0
        while row < len(known) and known[row, 1] == j:
            bits = np.int64(0)
            for n in range(2, 4):
                if known[row, n] >= 0:
                    bits |= stop_bits[known[row, n]]
            if bits >> 8 != 0 and count < LIST:
                k_cost[count] = known[row, 5]
                k_money[count] = known[row, 6] if count_money else np.int64(0)
                k_use[count] = use_class(known[row, 7], classes)
                k_does[count], k_days[count] = (bits >> 8 << 8) | effect[j, bits & 31], known_days[row]
                count += 1
            row += 1
        may = allowed[j]
        if may == 0:
            continue
        wanted = ~served[j] & (SIGHT - 1)
        for m in range(len(sights)):
            s = sights[m]
            for k1 in range(kinds):
                a = kind_purpose[k1]
                if a == SIGHT:
                    continue
                for k2 in range(kinds):
                    b = kind_purpose[k2]
                    if b == SIGHT or a & ~b & wanted == 0 or b & ~a & wanted == 0:
                        continue
                    bits = stop_bits[s] | a | b
                    does = (bits >> 8 << 8) | effect[j, bits & 31]
                    for order in range(3):
                        for f in range(3):
                            if order == 0:
                                least[f] = before_two[f, m, k1, k2] + adds[f, s] + values[f, places + s, j]
                            elif order == 1:
                                least[f] = values[f, i, places + s] + adds[f, s] + after_two[f, m, k1, k2, j]
                            else:
                                least[f] = before_one[f, m, k1] + adds[f, s] + after_one[f, m, k2, j]
                        if least[0] >= FAR or least[2] > limit:
                            continue
                        cheap = least[1] if count_money else np.int64(0)
                        use = use_class(least[2], classes)
                        if uncovered(may, least[0], cheap, use, does, count, k_cost, k_money, k_use, k_does, k_days) == 0:
                            continue
                        for v in range(stops):
                            if kind[v] != k1 or (only_from[v] >= 0 and only_from[v] != i) or only_to[v] >= 0:
                                continue
                            for w in range(stops):
                                if kind[w] != k2 or not pair_ok[v, w] or (only_from[w] >= 0 and only_from[w] != i):
                                    continue
                                one, two, three = (v, w, s) if order == 0 else (s, v, w) if order == 1 else (v, s, w)
                                if only_to[two] >= 0 or (only_to[three] >= 0 and only_to[three] != j):
                                    continue
                                p, q, r = places + one, places + two, places + three
                                gone = drive[i, p] + drive[p, q] + drive[q, r] + drive[r, j]
                                if gone > limit:
                                    continue
                                cost = values[0, i, p] + values[0, p, q] + values[0, q, r] + values[0, r, j]
                                cost += adds[0, one] + adds[0, two] + adds[0, three]
                                if cost >= FAR:
                                    continue
                                paid = values[1, i, p] + values[1, p, q] + values[1, q, r] + values[1, r, j]
                                paid += adds[1, one] + adds[1, two] + adds[1, three]
                                money = paid if count_money else np.int64(0)
                                use = use_class(gone, classes)
                                if uncovered(may, cost, money, use, does, count, k_cost, k_money, k_use, k_does, k_days) == 0:
                                    continue
                                days = fitting(
                                    may, type_days, leave, arrive, i, j, one, two, three, places, total, drive, seconds, opens,
                                    closes, any_time,
                                )  # fmt: skip
                                if days == 0:
                                    continue
                                if put == room:
                                    return -1
                                out[put, 0], out[put, 1], out[put, 2], out[put, 3], out[put, 4] = i, j, one, two, three
                                out[put, 5], out[put, 6], out[put, 7] = cost, paid, gone
                                out_days[put] = days
                                put += 1
                                if count < LIST:
                                    k_cost[count], k_money[count], k_use[count] = cost, money, use
                                    k_does[count], k_days[count] = does, days
                                    count += 1
    return put
