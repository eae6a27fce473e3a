"""How far a trip may lie from its figures, worked out anew: levels at a confidence, and drawn trips on which every store is lived through.

What a party uses differs from the figures by an error that is the same on all days and by one that each day draws anew, its
variance in proportion to the mean. `tripplan.van.facts.SPREADS` says how large both are; all else here is the audit's own.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from tripplan.model.trip import Trip
from tripplan.model.van import DayWeather
from tripplan.model.words import STORES, Store
from tripplan.van.battery import acceptance
from tripplan.van.facts import FACTS, SPREADS
from tripplan.van.use import Tilt, heads, hourly, slots

__all__ = ["DRAWS", "SEED", "TOLERANCE", "Errors", "Lap", "Tank", "drawn_failures"]

F64 = NDArray[np.float64]
DRAWS = 20_000
SEED = 4_711
#: What chance may add to the failures of so many drawn trips: two standard errors at one failure in twenty.
TOLERANCE = 0.003
#: A limit so many sigmas away fails on no drawn trip that counts.
_FAR = 5.0
_GAS = STORES.index(Store.GAS)
#: What burns gas: heating, fridge, and what the party cooks and heats.
_ONE_BY_ONE = (Tilt(1, 0, 1, 0, 0), Tilt(0, 1, 0, 1, 0), Tilt(0, 0, 0, 0, 1))


def _mixed(parts: Sequence[tuple[str, float]]) -> float:
    """Variance over mean of a day fed by several habits, litres a day each."""
    total = sum(amount for _, amount in parts)
    return sum((SPREADS[name].daily * amount) ** 2 for name, amount in parts) / total if total > 0 else 0.0


@dataclass(frozen=True)
class Errors:
    """Errors of one trip.

    Parameters
    ----------
    shared
        (4) relative, one sigma, of fresh, grey, cassette and flush. daily: (4) variance over mean [L].
    gas_shared, gas_daily
        (3) of heating, fridge and habits [kg].
    battery_shared, battery_daily
        Of loads and sun [Ah].
    """

    shared: F64
    daily: F64
    gas_shared: F64
    gas_daily: F64
    battery_shared: F64
    battery_daily: F64

    @staticmethod
    def of(trip: Trip, weather: DayWeather, sun_share: tuple[float, ...]) -> Errors:
        """Return the errors of a trip with an ordinary day's weather and sun."""
        van, party = trip.van, trip.party
        people, own = heads(party), party.spread_shared
        tap = people * party.water_l + party.pets * FACTS["pet_water_l"].value
        drunk = people * min(party.drunk_l, party.water_l) + party.pets * FACTS["pet_water_l"].value
        shower = people * party.shower_l * party.showers_per_day if van.shower_aboard else 0.0
        flush = people * party.flushes * party.flush_l
        waste = people * party.waste_l
        from_fresh = 0.0 if van.flush_l > 0 else flush
        daily = (
            _mixed((("water", tap + from_fresh), ("showers", shower))),
            _mixed((("water", tap - drunk), ("showers", shower))),
            _mixed((("toilet", waste), ("flush", flush))),
            _mixed((("flush", flush),)),
        )
        day = slots(0.0, 24.0)
        sums = [hourly(van, party, weather, sun_share, None, day, tilt=t).sum(axis=0) for t in _ONE_BY_ONE]
        burnt = np.array([s[_GAS] for s in sums])
        warm = 0.5 * np.hypot(SPREADS["cooking"].daily, SPREADS["hot water"].daily)
        by_day = np.array([SPREADS["heating"].daily, SPREADS["fridge"].daily, float(warm)])
        charge = np.array([max(sums[0][-1], 0.0), max(-sums[1][-1], 0.0)])
        return Errors(
            np.full(4, own),
            np.array(daily),
            np.array([SPREADS["heating"].shared, SPREADS["fridge"].shared, own]),
            by_day**2 * burnt,
            np.array([own, SPREADS["sun"].shared]),
            np.array([SPREADS["devices"].daily, SPREADS["sun"].daily]) ** 2 * charge,
        )


@dataclass(frozen=True)
class Lap:
    """A store from one service to the next: three parts of what is used (the first alone but for gas), and what may be."""

    use: F64
    room: float
    day: int


@dataclass
class Tank:
    """One store as the plan is lived through: what was in it at pick-up counts until it is first served.

    Parameters
    ----------
    begin
        Used up at pick-up [L, kg]. room: what may be used up.
    """

    row: int
    begin: float
    room: float
    errors: Errors
    use: F64 = field(default_factory=lambda: np.zeros(3))
    laps: list[Lap] = field(default_factory=list)

    def add(self, use: F64) -> None:
        """Use some more."""
        self.use = self.use + use

    def serve(self, day: int, *, counts: bool = True) -> None:
        """Fill or empty it; ``counts``: whether what was used before is held against its room."""
        if counts:
            self.laps.append(Lap(self.use, self.room - self.begin, day))
        self.use, self.begin = np.zeros(3), 0.0

    def _spread(self, use: F64) -> tuple[F64, F64]:
        """Standard deviations of the shared errors by parts, and the variance of the daily ones."""
        if self.row == _GAS:
            return self.errors.gas_shared * use, self.errors.gas_daily * use
        return np.array([self.errors.shared[self.row] * use[0], 0, 0]), np.array([self.errors.daily[self.row] * use[0], 0, 0])

    def sure(self, z: float) -> float:
        """Return what is used up at so many sigmas [L, kg]."""
        apart, variance = self._spread(self.use)
        return float(self.begin + self.use.sum() + z * np.sqrt((apart**2).sum() + variance.sum()))

    def failures(self, rng: np.random.Generator) -> NDArray[np.bool_]:
        """(draws) on which any lap passes its room; one shared error a part for all of them."""
        near = []
        for lap in self.laps:
            apart, variance = self._spread(lap.use)
            if lap.use.sum() + _FAR * np.sqrt((apart**2).sum() + variance.sum()) > lap.room:
                near.append((lap, apart, float(np.sqrt(variance.sum()))))
        out = np.zeros(DRAWS, dtype=bool)
        if not near:
            return out
        common = rng.standard_normal((3 if self.row == _GAS else 1, DRAWS))
        for lap, apart, each_day in near:
            drawn = lap.use.sum() + apart[: len(common)] @ common + each_day * rng.standard_normal(DRAWS)
            out |= drawn > lap.room
        return out


def drawn_failures(
    hours: Sequence[tuple[int, float, float]], trip: Trip, errors: Errors, begin: float, room: float
) -> NDArray[np.bool_]:
    """(draws) on which the battery is emptied beyond its room, lived through hour by hour.

    Parameters
    ----------
    hours
        Day, loads, and what sun gives less what the charger must (below 0: the charger's), each on the mean [Ah].
    """
    rng = np.random.default_rng(SEED + 1)
    keeps = acceptance(trip.van)
    days = max((h[0] for h in hours), default=0) + 1
    mean = np.zeros((2, days))
    for d, load, sun in hours:
        mean[:, d] += load, max(sun, 0.0)
    factor = np.empty((2, days, DRAWS), dtype=np.float32)
    for part in range(2):
        common = rng.standard_normal(DRAWS) * errors.battery_shared[part]
        for d in range(days):
            sd = np.sqrt(errors.battery_daily[part] / mean[part, d]) if mean[part, d] > 0 else 0.0
            factor[part, d] = np.maximum(1 + common + sd * rng.standard_normal(DRAWS), 0)
    used = np.full(DRAWS, begin, dtype=np.float32)
    failed = used > room
    waiting, at = 0.0, -1  # dark hours of a day together: nothing is lowest before their end
    for d, load, sun in (*hours, (-1, 0.0, 1.0)):
        if waiting > 0 and (sun != 0.0 or d != at):
            used += np.float32(waiting) * factor[0, at]
            failed |= used > room
            waiting = 0.0
        if d < 0:
            break
        at = d
        if sun == 0.0:
            waiting += load
            continue
        if sun < 0:  # mains
            net = np.float32(load) * factor[0, d] + np.float32(sun)
        else:
            net = np.float32(load) * factor[0, d] - np.float32(sun) * factor[1, d]
        used = np.maximum(used + np.where(net < 0, net * np.float32(keeps), net), 0)
        failed |= used > room
    return failed
