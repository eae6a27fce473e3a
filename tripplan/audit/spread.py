"""How far a trip may lie from its figures, worked out anew: levels at a confidence, and drawn trips on which every store is lived through.

What a party uses differs from the figures by an error that is the same on all days and by one that each day draws anew, its
variance in proportion to the mean. `tripplan.van.facts.SPREADS` says how large both are; all else here is the audit's own.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from math import sqrt

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
#: Mains that give so many times the loads outdo them on any day.
_MAINS = 4.0
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
        Of loads and sun [Ah]. battery_day: what an ordinary day takes and gives [Ah].
    """

    shared: F64
    daily: F64
    gas_shared: F64
    gas_daily: F64
    battery_shared: F64
    battery_daily: F64
    battery_day: F64 | None = None

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
        # What was read on the way says both how much and how sure, part by part.
        read = {entry.part: entry for entry in party.learned}

        def apart(*usual: tuple[str, float]) -> F64:
            return np.array([read[name].spread if name in read else sigma for name, sigma in usual])

        waters = ("fresh", "grey", "cassette", "flush")
        return Errors(
            apart(*((name, own) for name in waters)),
            np.array(daily) * [read[name].factor if name in read else 1.0 for name in waters],
            apart(("heating", SPREADS["heating"].shared), ("fridge", SPREADS["fridge"].shared), ("habits", own)),
            by_day**2 * burnt,
            apart(("loads", own), ("sun", SPREADS["sun"].shared)),
            np.array([SPREADS["devices"].daily, SPREADS["sun"].daily]) ** 2 * charge,
            charge,
        )


@dataclass(frozen=True)
class Lap:
    """A store from one service to the next: three parts of what is used (the first alone but for gas), and what may be.

    ``begin_sd``: one sigma of what is used up at its beginning, in two: what goes with the habits and adds up with their errors,
    and what is by itself.
    """

    use: tuple[float, float, float]
    room: float
    day: int
    begin_sd: tuple[float, float] = (0.0, 0.0)


def _whole(apart: Sequence[float], begin_sd: tuple[float, float]) -> float:
    """Return one sigma of the shared errors of all parts, that of the beginning which goes with them."""
    return sqrt(sum(a * a for a in apart)) + begin_sd[0]


def _longer(apart: Sequence[float], begin_sd: tuple[float, float]) -> F64:
    """Return the parts' sigmas, each longer in the same proportion so that the whole takes in the beginning."""
    length = sqrt(sum(a * a for a in apart))
    return np.array(apart) * (1 + begin_sd[0] / length) if length > 0 else np.array([begin_sd[0], 0.0, 0.0])


@dataclass
class Tank:
    """One store as the plan is lived through: what was in it at pick-up counts until it is first served.

    Parameters
    ----------
    begin
        Used up at pick-up [L, kg]. room: what may be used up. begin_sd: as in `Lap`.
    """

    row: int
    begin: float
    room: float
    errors: Errors
    begin_sd: tuple[float, float] = (0.0, 0.0)
    use: tuple[float, float, float] = (0.0, 0.0, 0.0)
    laps: list[Lap] = field(default_factory=list)

    def __post_init__(self) -> None:
        if self.row == _GAS:
            self.shared = tuple(self.errors.gas_shared.tolist())
            self.daily = tuple(self.errors.gas_daily.tolist())
        else:
            self.shared = (float(self.errors.shared[self.row]), 0.0, 0.0)
            self.daily = (float(self.errors.daily[self.row]), 0.0, 0.0)

    @property
    def mean(self) -> float:
        """What was used since the last service [L, kg]."""
        return sum(self.use)

    def add(self, use: tuple[float, float, float]) -> None:
        """Use some more."""
        self.use = (self.use[0] + use[0], self.use[1] + use[1], self.use[2] + use[2])

    def serve(self, day: int, *, counts: bool = True) -> None:
        """Fill or empty it; ``counts``: whether what was used before is held against its room."""
        if counts:
            self.laps.append(Lap(self.use, self.room - self.begin, day, self.begin_sd))
        self.use, self.begin, self.begin_sd = (0.0, 0.0, 0.0), 0.0, (0.0, 0.0)

    def _spread(self, use: tuple[float, float, float]) -> tuple[list[float], float]:
        """Standard deviations of the shared errors by parts, and the variance of the daily ones."""
        apart = [s * u for s, u in zip(self.shared, use, strict=True)]
        return apart, sum(v * u for v, u in zip(self.daily, use, strict=True))

    def sure(self, z: float) -> float:
        """Return what is used up at so many sigmas [L, kg]."""
        if z == 0:
            return self.begin + self.mean
        apart, variance = self._spread(self.use)
        return self.begin + self.mean + z * sqrt(max(0.0, _whole(apart, self.begin_sd) ** 2 + self.begin_sd[1] ** 2 + variance))

    def failures(self, rng: np.random.Generator) -> NDArray[np.bool_]:
        """(draws) on which any lap passes its room; one shared error a part for all of them."""
        near = []
        for lap in self.laps:
            apart, variance = self._spread(lap.use)
            variance += lap.begin_sd[1] ** 2
            if sum(lap.use) + _FAR * sqrt(max(0.0, _whole(apart, lap.begin_sd) ** 2 + variance)) > lap.room:
                near.append((lap, _longer(apart, lap.begin_sd), sqrt(max(0.0, variance))))
        out = np.zeros(DRAWS, dtype=bool)
        if not near:
            return out
        common = rng.standard_normal((3 if self.row == _GAS else 1, DRAWS))
        for lap, parts, each_day in near:
            drawn = sum(lap.use) + parts[: len(common)] @ common + each_day * rng.standard_normal(DRAWS)
            out |= drawn > lap.room
        return out


def drawn_failures(
    hours: Sequence[tuple[int, float, float]], trip: Trip, errors: Errors, begin: float, room: float,
    begin_sd: tuple[float, float] = (0.0, 0.0),
) -> NDArray[np.bool_]:  # fmt: skip
    """(draws) on which the battery is emptied beyond its room, lived through hour by hour.

    Parameters
    ----------
    hours
        Day, loads, and what sun gives less what the charger must (below 0: the charger's), each on the mean [Ah].
    begin_sd
        One sigma of ``begin``, in two: what goes with more loads and less sun, and what is by itself [Ah].
    """
    rng = np.random.default_rng(SEED + 1)
    keeps = acceptance(trip.van)
    days = max((h[0] for h in hours), default=0) + 1
    mean = np.zeros((2, days))
    for d, load, sun in hours:
        mean[:, d] += load, max(sun, 0.0)
    factor = np.empty((2, days, DRAWS), dtype=np.float32)
    worse, most = np.zeros(DRAWS), 0.0
    for part in range(2):
        common = rng.standard_normal(DRAWS) * errors.battery_shared[part]
        worse += common * mean[part].sum() * (1 - 2 * part)
        most += (errors.battery_shared[part] * mean[part].sum()) ** 2
        for d in range(days):
            # A day errs as a whole, also where it draws on the battery for a part of it only, on mains for the rest.
            whole = max(float(mean[part, d]), float(errors.battery_day[part]) if errors.battery_day is not None else 0.0)
            sd = np.sqrt(errors.battery_daily[part] / whole) if mean[part, d] > 0 else 0.0
            factor[part, d] = np.maximum(1 + common + sd * rng.standard_normal(DRAWS), 0)
    used = np.full(DRAWS, begin, dtype=np.float32)
    if max(begin_sd) > 0:
        tied = begin_sd[0] * worse / sqrt(most) if most > 0 else np.zeros(DRAWS)
        used = np.maximum(begin + tied + begin_sd[1] * rng.standard_normal(DRAWS), 0).astype(np.float32)
    failed = used > room
    # Hours of a day that only lose, or that mains fill whatever the loads, are taken together: their end tells as much.
    together: list[tuple[int, float, float, int]] = []
    for d, load, sun in hours:
        way = 1 if sun == 0 else -1 if -sun > _MAINS * max(load, 0.05) else 0
        if together and way and together[-1][3] == way and together[-1][0] == d:
            together[-1] = (d, together[-1][1] + load, together[-1][2] + sun, way)
        else:
            together.append((d, load, sun, way))
    for d, load, sun, _ in together:
        net = np.float32(load) * factor[0, d] + (np.float32(sun) if sun < 0 else -np.float32(sun) * factor[1, d])
        used = np.maximum(used + np.where(net < 0, net * np.float32(keeps), net), 0)
        failed |= used > room
    return failed
