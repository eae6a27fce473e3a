"""The ways through stops in plain loops, compiled: for many places.

For each pair of places a short list holds the ways found so far that no other beats. A pair of stops is looked at only where the
least that any way to the second stop can cost still beats the list. Same ways as `chain_tables`.
"""

# mypy: disable-error-code="no-untyped-def, no-any-return, no-untyped-call"
from __future__ import annotations

import numpy as np
from numba import njit

from tripplan.schedule.chain_tables import Found, pairs_of
from tripplan.schedule.chains import SIGHT, DayTypes, StopTable
from tripplan.schedule.clock import BREAK_S, DRIVE_BETWEEN_BREAKS_S
from tripplan.schedule.need import Need
from tripplan.schedule.ways import FAR, Table

__all__ = ["LIST", "far_chains", "fitting", "uncovered", "use_class"]

#: Ways kept of a pair of places; more are given out as they are, for the last thinning to sort out.
LIST = 512


@njit(cache=True)
def _leg(at, since, total, drive):
    breaks = max(0, -(-(since + drive) // DRIVE_BETWEEN_BREAKS_S) - 1)
    return at + total + breaks * BREAK_S, since + drive - breaks * DRIVE_BETWEEN_BREAKS_S


@njit(cache=True)
def _stop(at, since, seconds, opens, closes):
    """When a stop ends, and the time at the wheel since the last break; -1 when it is not open."""
    for k in range(len(opens)):
        begin = max(at, opens[k])
        if begin + seconds <= closes[k]:
            if begin + seconds - at >= BREAK_S:
                since = 0
            return begin + seconds, since
    return -1, since


@njit(cache=True)
def fitting(allowed, type_days, leave, arrive, i, j, v, w, x, places, total, drive, seconds, opens, closes, any_time):
    """On which days a chain of up to three stops fits (-1: none)."""
    days = np.uint64(0)
    free = (v < 0 or any_time[v]) and (w < 0 or any_time[w]) and (x < 0 or any_time[x])
    took = np.int64(-1)
    for t in range(len(type_days)):
        if allowed & type_days[t] == 0:
            continue
        if free and took >= 0:
            if leave[t, i] + took <= arrive[t, j]:
                days |= allowed & type_days[t]
            continue
        at, since, here = leave[t, i], np.int64(0), i
        for stop in (v, w, x):
            if stop < 0:
                continue
            at, since = _leg(at, since, total[here, places + stop], drive[here, places + stop])
            at, since = _stop(at, since, seconds[stop], opens[t, stop], closes[t, stop])
            if at < 0:
                break
            here = places + stop
        if at < 0:
            continue
        at, since = _leg(at, since, total[here, j], drive[here, j])
        if free:
            took = at - leave[t, i]
        if at <= arrive[t, j]:
            days |= allowed & type_days[t]
    return days


@njit(cache=True)
def uncovered(days, cost, money, use, does, count, k_cost, k_money, k_use, k_does, k_days):
    """Days on which nothing kept does as much for less; equals are kept."""
    for r in range(count):
        if k_cost[r] < cost and k_money[r] <= money and k_use[r] <= use and does & ~k_does[r] == 0:
            days &= ~k_days[r]
            if days == 0:
                break
    return days


@njit(cache=True)
def use_class(drive, classes):
    """Return the class of a time at the wheel."""
    for c in range(len(classes)):
        if drive <= classes[c]:
            return c
    return len(classes)


@njit(cache=True)
def _from_place(
    i, places, total, drive, cents, km, allowed, limit, type_days, leave, arrive, seconds, stop_cents, fee, only_from, only_to,
    opens, closes, any_time, purpose, stop_bits, kind, kind_purpose, pair_ok, effect, served, classes, count_money, pairs,
    out, out_days, room,
):  # fmt: skip
    """Fill ``out`` (start, end, three stops, cost, money, drive) with the ways from one place; the count, or -1: no room."""
    stops = len(seconds)
    kinds = len(kind_purpose)
    put = 0
    # The least that the way to a second stop costs and drives, by what the first stop is for.
    to_cost = np.full((stops, kinds), FAR)
    to_drive = np.full((stops, kinds), FAR)
    to_money = np.full((stops, kinds), FAR)
    begin = np.full(stops, FAR)
    for v in range(stops):
        if (only_from[v] < 0 or only_from[v] == i) and drive[i, places + v] <= limit:
            begin[v] = cents[i, places + v] + stop_cents[v]
    if pairs:
        for v in range(stops):
            if begin[v] >= FAR or only_to[v] >= 0:
                continue
            for w in range(stops):
                if not pair_ok[v, w]:
                    continue
                cost = begin[v] + cents[places + v, places + w]
                k = kind[v]
                if cost < to_cost[w, k]:
                    to_cost[w, k] = cost
                gone = drive[i, places + v] + drive[places + v, places + w]
                if gone < to_drive[w, k]:
                    to_drive[w, k] = gone
                paid = km[i, places + v] + fee[v] + km[places + v, places + w]
                if paid < to_money[w, k]:
                    to_money[w, k] = paid
    k_cost = np.empty(LIST, np.int64)
    k_money = np.empty(LIST, np.int64)
    k_use = np.empty(LIST, np.int64)
    k_does = np.empty(LIST, np.int64)
    k_days = np.empty(LIST, np.uint64)
    tried = np.empty((kinds, 2), np.int64)
    for j in range(places):
        may = allowed[j]
        if may == 0:
            continue
        wanted = (~served[j] & (SIGHT - 1)) | SIGHT
        count = 0
        # Chains: the direct way, the cheapest stop of each kind, the other stops, the pairs.
        for k in range(kinds):
            tried[k, 0], tried[k, 1] = -1, FAR
        for v in range(stops):
            if begin[v] < FAR and purpose[v] & wanted != 0 and (only_to[v] < 0 or only_to[v] == j):
                cost = begin[v] + cents[places + v, j]
                if cost < tried[kind[v], 1]:
                    tried[kind[v], 0], tried[kind[v], 1] = v, cost
        for step in range(1 + kinds + stops):
            if step == 0:
                if i == j:
                    continue
                v = -1
                cost, gone, paid, bits = cents[i, j], drive[i, j], km[i, j], np.int64(0)
            else:
                v = tried[step - 1, 0] if step <= kinds else step - 1 - kinds
                if v < 0 or begin[v] >= FAR or (step > kinds and tried[kind[v], 0] == v):
                    continue
                if purpose[v] & wanted == 0 or (only_to[v] >= 0 and only_to[v] != j):
                    continue
                cost = begin[v] + cents[places + v, j]
                gone = drive[i, places + v] + drive[places + v, j]
                paid = km[i, places + v] + fee[v] + km[places + v, j]
                bits = stop_bits[v]
            if cost >= FAR or gone > limit:
                continue
            money = paid if count_money else np.int64(0)
            use = use_class(gone, classes)
            does = (bits >> 8 << 8) | effect[j, bits & 31]
            days = uncovered(may, cost, money, use, does, count, k_cost, k_money, k_use, k_does, k_days)
            if days == 0:
                continue
            days = fitting(may, type_days, leave, arrive, i, j, v, -1, -1, places, total, drive, seconds, opens, closes, any_time)
            if days == 0:
                continue
            if put == room:
                return -1
            out[put, 0], out[put, 1], out[put, 2], out[put, 3], out[put, 4] = i, j, v, -1, -1
            out[put, 5], out[put, 6], out[put, 7] = cost, paid, gone
            out_days[put] = days
            put += 1
            if count < LIST:
                k_cost[count], k_money[count], k_use[count], k_does[count], k_days[count] = cost, money, use, does, days
                count += 1
        if not pairs:
            continue
        for w in range(stops):
            if (only_to[w] >= 0 and only_to[w] != j) or (only_from[w] >= 0 and only_from[w] != i):
                continue
            onward = cents[places + w, j] + stop_cents[w]
            if onward >= FAR:
                continue
            for k in range(kinds):
                if to_cost[w, k] >= FAR or to_drive[w, k] + drive[places + w, j] > limit:
                    continue
                a, b = kind_purpose[k], purpose[w]
                if (a != SIGHT or b != SIGHT) and (a & ~b & wanted == 0 or b & ~a & wanted == 0):
                    continue
                if a != SIGHT:
                    bits = a | stop_bits[w]
                    does = (bits >> 8 << 8) | effect[j, bits & 31]
                    least = to_cost[w, k] + onward
                    cheap = to_money[w, k] + fee[w] + km[places + w, j] if count_money else np.int64(0)
                    quick = use_class(to_drive[w, k] + drive[places + w, j], classes)
                    if uncovered(may, least, cheap, quick, does, count, k_cost, k_money, k_use, k_does, k_days) == 0:
                        continue
                for v in range(stops):
                    if kind[v] != k or begin[v] >= FAR or not pair_ok[v, w] or only_to[v] >= 0:
                        continue
                    cost = begin[v] + cents[places + v, places + w] + onward
                    gone = drive[i, places + v] + drive[places + v, places + w] + drive[places + w, j]
                    if cost >= FAR or gone > limit:
                        continue
                    paid = km[i, places + v] + fee[v] + km[places + v, places + w] + fee[w] + km[places + w, j]
                    money = paid if count_money else np.int64(0)
                    use = use_class(gone, classes)
                    bits = stop_bits[v] | stop_bits[w]
                    does = (bits >> 8 << 8) | effect[j, bits & 31]
                    if uncovered(may, cost, money, use, does, count, k_cost, k_money, k_use, k_does, k_days) == 0:
                        continue
                    days = fitting(
                        may, type_days, leave, arrive, i, j, v, w, -1, places, total, drive, seconds, opens, closes, any_time
                    )
                    if days == 0:
                        continue
                    if put == room:
                        return -1
                    out[put, 0], out[put, 1], out[put, 2], out[put, 3], out[put, 4] = i, j, v, w, -1
                    out[put, 5], out[put, 6], out[put, 7] = cost, paid, gone
                    out_days[put] = days
                    put += 1
                    # What the new way beats leaves the list.
                    stay = 0
                    for r in range(count):
                        beaten = (
                            cost < k_cost[r] and money <= k_money[r] and use <= k_use[r]
                            and k_does[r] & ~does == 0 and k_days[r] & ~days == 0
                        )  # fmt: skip
                        if not beaten:
                            k_cost[stay], k_money[stay], k_use[stay] = k_cost[r], k_money[r], k_use[r]
                            k_does[stay], k_days[stay] = k_does[r], k_days[r]
                            stay += 1
                    count = stay
                    if count < LIST:
                        k_cost[count], k_money[count], k_use[count], k_does[count], k_days[count] = cost, money, use, does, days
                        count += 1
    return put


def far_chains(
    table: Table,
    places: int,
    stops: StopTable,
    types: DayTypes,
    allowed,
    limit,
    need: Need,
    *,
    pairs: bool,
    money: bool,
    classes_s,
):
    """Return the ways with no stop, one, two, or two services and a sight that may be the best on some day, place by place.

    Parameters
    ----------
    As of `chain_tables.near_chains`; money: whether money counts beside cost. classes_s: as in `Frame`.

    Yields
    ------
    Found
        With ``total_s`` 0: it is for the caller to fill in for what it keeps.
    """
    purpose = stops.purpose
    # Bits of what a stop does: stores from 0, the sights from 8.
    bits = np.where(stops.sight >= 0, 1 << (8 + np.maximum(stops.sight, 0)), stops.serves)
    kind_purpose, kind = np.unique(purpose, return_inverse=True)
    good = np.zeros((len(stops), len(stops)), dtype=np.bool_)
    if pairs and len(stops):
        good[pairs_of(stops)] = True
    masks = np.arange(32)
    classes = np.array(classes_s, dtype=np.int64)
    services = good & (stops.sight < 0)[:, None] & (stops.sight < 0)[None, :]
    sights = np.flatnonzero(stops.sight >= 0) if services.any() else np.zeros(0, dtype=np.int64)
    values = np.stack((table.cents, table.km_cents, table.drive_s))
    adds = np.stack((stops.cents, stops.fee, np.zeros_like(stops.fee)))
    from tripplan.schedule.triple_kernels import least_after, triples

    after_one, after_two = least_after(places, sights, kind, len(kind_purpose), services, values, adds)
    for i in range(places):
        if not (allowed[i] != 0).any():
            continue
        # What is worth serving depends on the end by what that serves of itself.
        served = need.leaving[i] | need.arriving
        kinds_of_end, which = np.unique(need.arriving, return_inverse=True)
        rows = []
        for value in kinds_of_end:
            end = int(np.flatnonzero(need.arriving == value)[0])
            rows.append(need.effect(np.full(32, i), np.full(32, end), masks))
        effect = np.stack(rows)[which]

        def few(out, out_days, room, i=i, served=served, effect=effect):
            return _from_place(
                i, places, table.total_s, table.drive_s, table.cents, table.km_cents, allowed[i], limit[i], types.days, types.leave,
                types.arrive, stops.seconds, stops.cents, stops.fee, stops.only_from, stops.only_to, stops.opens, stops.closes,
                stops.any_time, purpose, bits, kind, kind_purpose, good, effect, served, classes, money, pairs, out, out_days, room,
            )  # fmt: skip

        known, known_days = _filled(few, 64 * places)
        if not len(sights):
            yield _found(known, known_days)
            continue

        def three(out, out_days, room, i=i, served=served, effect=effect, known=known, known_days=known_days):
            return triples(
                i, places, table.total_s, table.drive_s, values, adds, allowed[i], limit[i], types.days, types.leave, types.arrive,
                stops.seconds, stops.only_from, stops.only_to, stops.opens, stops.closes, stops.any_time, bits, kind, kind_purpose,
                services, effect, served, classes, money, sights, after_one, after_two, known, known_days, out, out_days, room,
            )  # fmt: skip

        more, more_days = _filled(three, 16 * places)
        yield _found(np.concatenate((known, more)), np.concatenate((known_days, more_days)))


def _filled(fill, room):
    """Call a kernel with room enough; return its rows and their days."""
    while True:
        out, out_days = np.empty((room, 8), dtype=np.int64), np.empty(room, dtype=np.uint64)
        count = fill(out, out_days, room)
        if count >= 0:
            return out[:count], out_days[:count]
        room *= 4


def _found(rows, days):
    start, end, first, second, third, cost, money, drive = rows.T.copy()
    return Found(start, end, first, second, third, cost, money, drive, np.zeros(len(days), dtype=np.int64), days)
