"""How likely it is that a plan's stores run out or over somewhere on the trip: each store, and all together.

The shared error of a store is one draw a trip; given it, stretches between services err independently. So the chance that a
store holds is one integral over the shared error, done on a fixed grid. The battery, which sun refills and which takes no more
than full, is drawn hour by hour from a fixed seed. Errors of different stores count as independent: where they go together (a
thirsty party fills the grey barrel too) fewer trips fail than said, by Slepian's inequality (Bell System Technical Journal 41, 1962).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import prod, sqrt

import numpy as np
from numpy.typing import NDArray

__all__ = ["Hours", "Stretch", "all_hold", "battery_peaks", "battery_risk", "normal_cdf", "store_risk"]

F64 = NDArray[np.float64]
_GRID = np.linspace(-6.0, 6.0, 601)
_WEIGHT = np.exp(-0.5 * _GRID**2)
_WEIGHT /= _WEIGHT.sum()
#: A stretch that ends so many sigmas below its limit cannot be what fails a trip.
_FAR = 6.0
#: A charger that gives so many times the loads outdoes them on any day.
_OUTDOES = 3.0
DRAWS = 20_000
SEED = 20_260_201


@dataclass(frozen=True, slots=True)
class Stretch:
    """What a store is used for between two services, at its fullest.

    Parameters
    ----------
    mean, shared_sd, variance
        Mean of what is used, the standard deviation of its shared error, and the variance of the daily ones.
    room
        What may be used.
    """

    mean: float
    shared_sd: float
    variance: float
    room: float

    @property
    def sigmas(self) -> float:
        """How many sigmas the limit lies above the mean."""
        spread = sqrt(self.shared_sd**2 + self.variance)
        return (self.room - self.mean) / spread if spread > 0 else (np.inf if self.mean <= self.room else -np.inf)


@dataclass(frozen=True, slots=True)
class Hours:
    """The battery's hours one after another, (n) each [Ah].

    Parameters
    ----------
    loads, sun, charger
        Means of each slot, losses of the charge not yet taken off. day: number of the calendar day.
    """

    loads: F64
    sun: F64
    charger: F64
    day: NDArray[np.int64]


def normal_cdf(x: F64) -> F64:
    """Return the standard normal distribution function, to 1.5e-7 (Abramowitz & Stegun, 7.1.26)."""
    t = np.abs(x) / sqrt(2.0)
    k = 1.0 / (1.0 + 0.3275911 * t)
    tail = ((((1.061405429 * k - 1.453152027) * k + 1.421413741) * k - 0.284496736) * k + 0.254829592) * k * np.exp(-t * t)
    return np.asarray(np.where(x >= 0, 1 - 0.5 * tail, 0.5 * tail))


def store_risk(stretches: Sequence[Stretch]) -> float:
    """Return the chance that any of a store's stretches passes its limit."""
    near = [s for s in stretches if s.sigmas < _FAR]
    if not near:
        return 0.0
    holds = np.ones_like(_GRID)
    for s in near:
        # Without daily errors a stretch holds or does not: a step, one cell of the grid wide.
        noise = sqrt(max(s.variance, (s.shared_sd * 0.02) ** 2, 1e-18))
        holds *= normal_cdf((s.room - s.mean - s.shared_sd * _GRID) / noise)
    return float(1.0 - _WEIGHT @ holds)


def all_hold(risks: Sequence[float]) -> float:
    """Return the chance that all stores hold, errors of different stores being independent."""
    return prod(1.0 - r for r in risks)


def battery_risk(
    hours: Hours, shared: tuple[float, float], daily: tuple[float, float], accepts: float, start: float, room: float,
    unsure: tuple[float, float] = (0.0, 0.0),
) -> float:  # fmt: skip
    """Return the chance that the battery is ever emptied beyond its limit.

    Parameters
    ----------
    shared, daily
        Of loads and sun: relative one sigma, and variance of a day's draws over the day's mean [Ah].
    accepts
        Share of a charge that the battery keeps.
    start, room
        Used up at first, and what may be used up [Ah].
    unsure
        One sigma of ``start``, and the part of it that goes with the shared errors of loads and sun, in their worst direction [Ah].
    """
    return float((battery_peaks(hours, shared, daily, accepts, start, unsure=unsure) > room).mean())


def battery_peaks(
    hours: Hours, shared: tuple[float, float], daily: tuple[float, float], accepts: float, start: float, draws: int = DRAWS,
    *, unsure: tuple[float, float] = (0.0, 0.0),
) -> F64:  # fmt: skip
    """Return the most that is used up on each of many drawn trips, (draws) [Ah]; same hours, same draws."""
    rng = np.random.default_rng(SEED)
    days = int(hours.day.max(initial=-1)) + 1
    factors: list[F64] = []
    pull, pulls = np.zeros(draws), 0.0
    for part, sigma, noise in zip((hours.loads, hours.sun), shared, daily, strict=True):
        mean = np.bincount(hours.day, part, days)
        by_day = np.sqrt(np.divide(noise, mean, out=np.zeros(days), where=mean > 1e-9))
        common = sigma * rng.standard_normal(draws, dtype=np.float32)
        pull += common * mean.sum() * (-1 if factors else 1)
        pulls += float(sigma * mean.sum()) ** 2
        factors.append(
            np.maximum(0, 1 + common + by_day[:, None].astype(np.float32) * rng.standard_normal((days, draws), dtype=np.float32))
        )
    used = np.full(draws, start, dtype=np.float32)
    whole, tied = unsure
    if whole > 0:
        begin = start + sqrt(max(0.0, whole**2 - tied**2)) * rng.standard_normal(draws)
        used = np.maximum(0, begin + (tied / sqrt(pulls) * pull if pulls > 0 else 0.0)).astype(np.float32)
    peak = used.copy()
    for loads, sun, charger, d in _segments(hours):
        net = np.float32(loads) * factors[0][d]
        if sun > 0 or charger > 0:
            net -= np.float32(sun) * factors[1][d] + np.float32(charger)
            np.multiply(net, np.float32(accepts), out=net, where=net < 0)
        used += net
        if sun > 0 or charger > 0:
            np.maximum(used, 0, out=used)
        np.maximum(peak, used, out=peak)
    return peak.astype(np.float64)


def _segments(hours: Hours) -> list[tuple[float, float, float, int]]:
    """Put hours of one day together that only lose or, on mains, only gain: the level at their end, held at 0, is the same."""
    out: list[tuple[float, float, float, int]] = []
    way = 0
    for row in zip(hours.loads.tolist(), hours.sun.tolist(), hours.charger.tolist(), hours.day.tolist(), strict=True):
        loads, sun, charger, d = row[0], max(row[1], 0.0), max(row[2], 0.0), row[3]
        now = 1 if sun + charger == 0 else -1 if charger > _OUTDOES * loads else 0
        if out and now and now == way and out[-1][3] == d:
            out[-1] = (out[-1][0] + loads, out[-1][1] + sun, out[-1][2] + charger, d)
        else:
            out.append((loads, sun, charger, d))
        way = now
    return out
