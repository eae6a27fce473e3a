"""What is known of a party's habits and of its stores, carried along hour by hour and corrected by what is read on the way.

The state holds nine factors, how far each part of the use (`tripplan.van.spread.PARTS` without the charger) lies from its figure,
1 on the mean, and what is used up of the six stores. Both are normal. An hour adds its means times the factors, and the noise of
days, whose variance grows with what is used; a service sets a store to 0; a battery that is full takes no more: its level is that
of ``max(0, x)``, by its moments, exact for one hour. A gauge is a linear observation with an error (Kalman 1960), a lamp cuts the level off at a
threshold that is itself uncertain; the moments of what is left are exact, and what goes with them follows by regression.

All functions take any number of parties at once: mean (..., 15), covariance (..., 15, 15).
"""

from __future__ import annotations

from dataclasses import dataclass
from math import pi, sqrt

import numpy as np
from numpy.typing import NDArray

from tripplan.model.words import STORES, Store
from tripplan.van.risk import normal_cdf

__all__ = ["FACTORS", "Belief", "lamp", "observe", "passed", "prior", "served", "surprise"]

F64 = NDArray[np.float64]
B1 = NDArray[np.bool_]
#: How many factors stand before the stores.
FACTORS = 9
_GAS, _BATTERY = STORES.index(Store.GAS), STORES.index(Store.BATTERY)
#: Beyond so many sigmas a battery is not full.
_FAR = 6.0
_ROOT = sqrt(2 * pi)


@dataclass(frozen=True, slots=True)
class Belief:
    """What is held of factors and stores.

    Parameters
    ----------
    mean
        (..., 15) nine factors, then used up of each store [L, L, L, L, kg, Ah]. cov: (..., 15, 15).
    """

    mean: F64
    cov: F64

    @property
    def factors(self) -> F64:
        """(..., 9) of the parts."""
        return self.mean[..., :FACTORS]

    @property
    def used(self) -> F64:
        """(..., 6) used up [L, kg, Ah]."""
        return self.mean[..., FACTORS:]

    @property
    def sd(self) -> F64:
        """(..., 15) standard deviations."""
        return np.sqrt(np.maximum(np.diagonal(self.cov, axis1=-2, axis2=-1), 0.0))


def prior(shared: F64, used: F64, used_sd: F64) -> Belief:
    """Return what is held at first: factors around 1, stores as told, all independent.

    Parameters
    ----------
    shared
        (9) one sigma of each factor. used, used_sd: (6) used up, and one sigma of it.
    """
    mean = np.concatenate((np.ones(FACTORS), used))
    return Belief(mean, np.diag(np.concatenate((shared, used_sd)) ** 2))


def passed(belief: Belief, parts: F64, daily: F64) -> Belief:
    """Let a stretch of time pass, a full battery taking no more at its end.

    Parameters
    ----------
    parts
        (10) means of what the stretch uses, as from `tripplan.van.spread.parts_of`.
    daily
        (9) variance of a day's draws over the day's mean.
    """
    add = np.zeros((len(STORES), FACTORS))
    add[range(4), range(4)] = parts[:4]
    add[_GAS, 4:7] = parts[4:7]
    add[_BATTERY, 7:9] = parts[7], -parts[8]
    noise = daily * np.maximum(parts[:FACTORS], 0.0)
    grow = np.array([*noise[:4], noise[4:7].sum(), noise[7:9].sum()])
    mean, cov = belief.mean.copy(), belief.cov.copy()
    mean[..., FACTORS:] += belief.factors @ add.T
    mean[..., FACTORS + _BATTERY] -= parts[9]
    here, there = slice(None, FACTORS), slice(FACTORS, None)
    moved = add @ cov[..., here, here]
    crossed = add @ cov[..., here, there]
    cov[..., there, there] += moved @ add.T + crossed + np.swapaxes(crossed, -1, -2) + np.diag(grow)
    cov[..., there, here] += moved
    cov[..., here, there] = np.swapaxes(cov[..., there, here], -1, -2)
    return _not_over_full(Belief(mean, cov))


def _not_over_full(belief: Belief) -> Belief:
    """Replace the battery's level by ``max(0, x)``: mean, variance, and covariances (by Stein's lemma), all exact."""
    at = FACTORS + _BATTERY
    mu, sd = belief.mean[..., at], belief.sd[..., at]
    if not (mu < _FAR * sd).any() and not (mu < 0).any():
        return belief
    z = np.divide(mu, sd, out=np.where(mu < 0, -40.0, 40.0), where=sd > 1e-12)
    z = np.clip(z, -40.0, 40.0)
    above, density = _cdf(z), np.exp(-0.5 * z * z) / _ROOT
    first = mu * above + sd * density
    second = (mu * mu + sd * sd) * above + mu * sd * density
    mean, cov = belief.mean.copy(), belief.cov.copy()
    mean[..., at] = np.maximum(first, 0.0)
    variance = np.maximum(second - first * first, 0.0)
    cov[..., at, :] *= above[..., None]
    cov[..., :, at] = cov[..., at, :]
    cov[..., at, at] = variance
    return Belief(mean, cov)


def _cdf(z: F64) -> F64:
    return normal_cdf(np.asarray(z))


def served(belief: Belief, stores: B1) -> Belief:
    """Fill or empty some stores: nothing is used up, for sure.

    Parameters
    ----------
    stores
        (6) which.
    """
    mean, cov = belief.mean.copy(), belief.cov.copy()
    rows = FACTORS + np.flatnonzero(stores)
    mean[..., rows] = 0.0
    cov[..., rows, :] = 0.0
    cov[..., :, rows] = 0.0
    return Belief(mean, cov)


def surprise(belief: Belief, store: int, used: float | F64, error: float) -> F64:
    """Return how many sigmas what is read lies from what was expected."""
    at = FACTORS + store
    return np.asarray((used - belief.mean[..., at]) / np.sqrt(belief.cov[..., at, at] + error * error))


def observe(belief: Belief, store: int, used: float | F64, error: float) -> Belief:
    """Take in a level that was read.

    Parameters
    ----------
    used
        What is used up according to it, one for all parties or one each [L, kg, Ah]. error: its one sigma, above 0.
    """
    at = FACTORS + store
    total = belief.cov[..., at, at] + error * error
    gain = belief.cov[..., :, at] / total[..., None]
    mean = belief.mean + gain * (np.asarray(used) - belief.mean[..., at])[..., None]
    return Belief(mean, _even(belief.cov - gain[..., :, None] * gain[..., None, :] * total[..., None, None]))


def lamp(belief: Belief, store: int, threshold: float, error: float, *, lit: bool | B1) -> Belief:
    """Take in whether a lamp is lit that lights where more than ``threshold`` is used up, itself uncertain by ``error``."""
    at = FACTORS + store
    total = belief.cov[..., at, at] + error * error
    sd = np.sqrt(total)
    sign = np.where(lit, 1.0, -1.0)
    z = np.clip(sign * (belief.mean[..., at] - threshold) / sd, -30.0, 30.0)
    hazard = _hazard(z)
    shift = sign * hazard * sd
    shrink = np.clip(hazard * (hazard + z), 0.0, 1.0)
    gain = belief.cov[..., :, at] / total[..., None]
    cov = belief.cov - gain[..., :, None] * gain[..., None, :] * (total * shrink)[..., None, None]
    return Belief(belief.mean + gain * shift[..., None], _even(cov))


def _hazard(z: F64) -> F64:
    """Return density over distribution function of the standard normal, in its far tail by its expansion."""
    far = np.minimum(z, -4.0)
    tail = 1 - 1 / far**2 + 3 / far**4 - 15 / far**6 + 105 / far**8
    near = np.maximum(z, -4.0)
    return np.asarray(np.where(z < -4.0, -far / tail, np.exp(-0.5 * near * near) / _ROOT / np.maximum(_cdf(near), 1e-300)))


def _even(cov: F64) -> F64:
    return np.asarray(0.5 * (cov + np.swapaxes(cov, -1, -2)))
