"""Invented parties that live through a plan: habits of their own for the whole trip, and every day drawn anew.

Written apart from the program's own forecast of risk: here nothing is an integral and nothing is a quantile, every trip is lived.
"""

from __future__ import annotations

import numpy as np

from tripplan.model.words import STORES
from tripplan.schedule.work import Work
from tripplan.van.battery import acceptance
from tripplan.van.limits import capacity, reserve
from tripplan.van.use import StayKind, Tilt, hourly, slots

DRAWS = 20_000


def drawn(rng: np.random.Generator, mean, variance, kind: str = "gamma"):  # type: ignore[no-untyped-def]
    """Return draws with a mean and a variance, never negative but for ``normal``."""
    shape = np.broadcast_shapes(np.shape(mean), np.shape(variance), (DRAWS,))
    if kind == "normal":
        return mean + np.sqrt(variance) * rng.standard_normal(shape)
    mean, variance = np.maximum(mean, 1e-12), np.maximum(variance, 1e-18)
    if kind == "gamma":
        return rng.gamma(mean**2 / variance, variance / mean, shape)
    sigma2 = np.log1p(variance / mean**2)
    return np.exp(np.log(mean) - sigma2 / 2 + np.sqrt(sigma2) * rng.standard_normal(shape))


def whole_trips_that_fail(work: Work, arcs, seed: int, kind: str = "gamma") -> tuple[float, dict[str, float]]:  # type: ignore[no-untyped-def]
    """Return the share of drawn parties for which any store passes its limit on a path, and of each store.

    A day's use comes partly before a service on the way and partly after it, by chance. On a day's hours nothing is given.
    """
    rng = np.random.default_rng(seed)
    trip, pick_up = work.trip, work.use.pick_up
    van, spreads, forecast = trip.van, pick_up.forecast.spreads, pick_up.forecast
    full = np.array([capacity(van, s) for s in STORES])
    room = full - np.array([reserve(van, s, battery_c=pick_up.battery_c, gas_c=pick_up.gas_c) for s in STORES])
    begin = np.array([trip.levels.of(s) if s.fills else full[r] - trip.levels.of(s) for r, s in enumerate(STORES)])
    common = rng.standard_normal((9, DRAWS))
    level = np.repeat(begin[:, None], DRAWS, axis=1)
    failed = np.zeros((6, DRAWS), dtype=bool)
    dry = pick_up.dry.copy()
    end = len(forecast.ends) - 1  # one corner is as good as the other

    def rows(d: int, kind_of: StayKind | None, a: float, b: float):  # type: ignore[no-untyped-def]
        given = (van, trip.party, forecast.weathers[end][d], forecast.shares[end][d], kind_of, slots(a, b))
        return [hourly(*given, tilt=t) for t in (Tilt(1, 0, 1, 0, 0), Tilt(0, 1, 0, 1, 0), Tilt(0, 0, 0, 0, 1))]

    def amounts(parts):  # type: ignore[no-untyped-def]
        mean = np.array([*parts[0][:, :4].sum(axis=0), *(p[:, 4].sum() for p in parts)])
        each = drawn(rng, mean[:, None], (spreads.daily[:7] * mean)[:, None], kind)
        each = np.maximum(each + spreads.shared[:7, None] * mean[:, None] * common[:7], 0)
        return np.vstack((each[:4], each[4:].sum(axis=0)))

    def battery(parts, factor) -> None:  # type: ignore[no-untyped-def]
        charger = -parts[2][:, 5]
        for load, sun, given in zip(parts[0][:, 5] + charger, -parts[1][:, 5] - charger, charger, strict=True):
            net = load * factor[0] - (sun * factor[1] + given) / acceptance(van)
            level[5] = np.maximum(level[5] + np.where(net < 0, net * acceptance(van), net), 0)
            failed[5] |= level[5] > room[5] + 1e-9

    for d, arc in enumerate(arcs):
        last = d == len(arcs) - 1
        to = int(work.options.end[arc])
        here = None if last else work.use.kinds[int(work.use.kind_of[to - 2])][0]
        stay = here if work.options.car[arc] else None
        day = rows(d, stay, forecast.leave[d], forecast.arrive[d])
        ordinary = np.maximum(spreads.ordinary[7:9], 1e-9)
        # One draw a calendar day for loads and sun, at an ordinary day's size.
        factor = np.maximum(0, 1 + spreads.shared[7:9, None] * common[7:9] + drawn(rng, ordinary[:, None], (spreads.daily[7:9] * ordinary)[:, None], kind) / ordinary[:, None] - 1)  # fmt: skip
        use = amounts(day)
        if d == 0:
            use[[r for r in range(4) if dry[r]]] = 0
        battery(day, factor)
        before = rng.uniform(0, 1, DRAWS)
        for r in range(5):
            if int(work.options.serves[arc]) >> r & 1:
                level[r] += use[r] * before
                failed[r] |= (level[r] > room[r] + 1e-9) & (not dry[r])
                level[r] = use[r] * (1 - before)
                dry[r] = False
            else:
                level[r] += use[r]
            if not dry[r]:
                failed[r] |= level[r] > room[r] + 1e-9
        if last:
            mark = full[4] - trip.firm.return_gas_kg
            failed[4] |= level[4] > mark + 1e-9
            break
        site = int(work.problem.leave_reset[to])
        level[[bool(site >> r & 1) for r in range(6)]] = 0
        dry[[bool(site >> r & 1) for r in range(6)]] = False
        evening, morning = rows(d, here, forecast.arrive[d], 24.0), rows(d + 1, here, 0.0, forecast.leave[d + 1])
        night = [np.concatenate(both) for both in zip(evening, morning, strict=True)]
        level[:5] += amounts(night)
        battery(night, factor)
        failed[:5] |= level[:5] > room[:5, None] + 1e-9
        level[[bool(site >> r & 1) for r in range(6)]] = 0
    real = full > 0
    return float(failed[real].any(axis=0).mean()), {s.value: float(failed[r].mean()) for r, s in enumerate(STORES) if real[r]}


__all__ = ["DRAWS", "drawn", "whole_trips_that_fail"]
