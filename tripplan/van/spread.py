"""How far a trip may lie from its figures, and how much of a store may be planned away so that it still holds.

Two kinds of error. *Shared* errors are the same on all days of a trip (a thirsty party, a windy month): they grow with what is
used. *Daily* ones differ from day to day and average out: small draws independent of one another, so that their variance grows
with what is used. A stretch in which ``M`` is used on the mean has the standard deviation ``sqrt((s M)² + v M)``, with ``s`` the
shared error and ``v`` the variance of a day's draws over the day's mean. So a limit holds at a confidence when

    M + z sqrt((s M)² + v M) <= room,

which rises with M: it is the same as ``M <= mean_room(room)``, solved in closed form. A search therefore adds up means and
nothing else, compares them with `mean_room`, and is exact: of the two numbers that a stretch needs, mean and variance, the
second follows from the first.

Days are skewed: many small draws add up to something like a gamma distribution, whose upper quantile lies above the normal one by
at most ``(z² - 1) / 3 · v`` (Cornish and Fisher's expansion, its third cumulant being ``2 v² M``). So much of the room is left out.

Gas and battery are fed by several things that err apart: heating, fridge and habits; loads and sun. Their limit is a smooth
function of the parts' means; the search goes by its tangent plane where an ordinary stretch touches the limit, a weight for each
part (`Tilt`), and adds up weighted means. At the ordinary mixture that is exact, near it nearly; what a plan really comes to is
worked out part by part afterwards (`tripplan.van.risk`).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import hypot, sqrt
from statistics import NormalDist

import numpy as np
from numpy.typing import NDArray

from tripplan.model.van import DayWeather, Party, Van
from tripplan.model.words import STORES, Store
from tripplan.van.facts import SPREADS
from tripplan.van.use import MEAN, Tilt, heads, hourly, learned, slots

__all__ = [
    "GAS_PARTS",
    "PARTS",
    "Held",
    "Spreads",
    "battery_tilt",
    "hold",
    "mean_room",
    "mean_weather",
    "parts_of",
    "raised",
    "spreads_of",
]

F64 = NDArray[np.float64]
#: What is followed apart: the four water stores, what burns gas, what the battery gives and takes.
PARTS = ("fresh", "grey", "cassette", "flush", "heating", "fridge", "habits", "loads", "sun", "charger")
GAS_PARTS = slice(4, 7)
_LOADS, _SUN, _CHARGER = 7, 8, 9
_GAS, _BATTERY = STORES.index(Store.GAS), STORES.index(Store.BATTERY)
_WHOLE_DAY = slots(0.0, 24.0)
#: A battery is low at several dawns of a stretch, of which the worst counts: its limit is touched that much less often at one.
_ALLOWED = np.array([1.0, 1.0, 1.0, 1.0, 1.0, 0.9])


@dataclass(frozen=True, slots=True)
class Spreads:
    """Errors of what feeds the stores, in the order of `PARTS` without the charger, and what an ordinary day uses.

    Parameters
    ----------
    shared
        (9) one sigma, relative, the same on all days. daily: (9) variance of a day's draws over the day's mean [L, kg, Ah].
    ordinary
        (9) mean of a day with nothing given [L, kg, Ah].
    night
        What the battery's loads take in the hours of such a day in which the sun gives less [Ah].
    """

    shared: F64
    daily: F64
    ordinary: F64
    night: float


@dataclass(frozen=True, slots=True)
class Held:
    """What to count with so that each store's limit holds at a confidence of its own.

    Parameters
    ----------
    shares
        (6) how often each limit may fail by itself. z: (6) sigmas of that. tilt: factors for `tripplan.van.use.hourly`.
    shared, daily
        (6) errors of the stores as `mean_room` takes them; 0 for the battery, whose tilted use is planned with as it is.
    skew
        (6) what is left out of the room as days are skewed [L, kg, Ah].
    """

    shares: F64
    z: F64
    tilt: Tilt
    shared: F64
    daily: F64
    skew: F64

    @property
    def confidence(self) -> float:
        """The confidence at which every limit holds by itself, the least of all."""
        return 1.0 - float(self.shares.max())

    def mean_room(self, room: F64, first: float | F64 = 0.0, tied: float | F64 = 0.0) -> F64:
        """(6) most that may be used on the mean where so much may be used; ``first``, ``tied`` as in `mean_room` [L, kg, Ah]."""
        left = np.where(room > 0, np.maximum(room - self.skew, 0.0), room)
        return mean_room(left, self.shared, self.daily, self.z, first, tied)


def raised(mean: F64, shared_sd: F64, variance: F64, z: float | F64) -> F64:
    """Return the use that is passed only with the probability beyond ``z``, from a stretch's mean and the two parts of its spread."""
    return np.asarray(mean + z * np.sqrt(shared_sd**2 + variance))


def mean_room(room: F64, shared: F64, daily: F64, z: float | F64, first: float | F64 = 0.0, tied: float | F64 = 0.0) -> F64:
    """Return the greatest mean M with ``M + z sqrt((tied + shared M)² + first² - tied² + daily M) <= room``; room below 0 comes back as it is.

    Parameters
    ----------
    first, tied
        One sigma of the level at the start, and the part of it that goes with the shared error. What exceeds the room by itself
        comes back as what is missing.
    """
    r = np.maximum(room, 0.0)
    half = 2 * r + z * z * (daily + 2 * tied * shared)
    least = np.maximum(r * r - (z * first) ** 2, 0.0)
    root = np.sqrt(np.maximum(half * half - 4 * (1 - (z * shared) ** 2) * least, 0.0))
    below = half + root
    found = np.divide(2 * least, below, out=np.zeros_like(below), where=below > 0)
    return np.asarray(np.where(room - z * first < 0, room - z * first, found))


def mean_weather(days: Sequence[DayWeather]) -> DayWeather:
    """Return the mean of some days' weather."""
    mean, low, high, sun = np.array([(d.mean_c, d.low_c, d.high_c, d.sun_kwh_per_m2) for d in days]).mean(axis=0).tolist()
    return replace(days[0], mean_c=mean, low_c=low, high_c=high, sun_kwh_per_m2=sun)


def parts_of(
    van: Van, party: Party, weather: DayWeather, sun_share: tuple[float, ...], kind: object, hours: F64, towing: float | F64 = 0.0
) -> F64:
    """Return the means of each slot of time part by part, (n, 10) in the order of `PARTS` [L, kg, Ah].

    The battery's loads stand as they weigh on it without sun (Peukert counted), sun and charger as they weigh without loads
    (what a charge loses counted): with both, the smaller of them is taken off the larger before its loss, which differs little.
    """
    calls = (Tilt(1, 0, 1, 0, 0), Tilt(0, 1, 0, 1, 0), Tilt(0, 0, 0, 0, 1))
    a, b, c = (hourly(van, party, weather, sun_share, kind, hours, towing=towing, tilt=t) for t in calls)  # type: ignore[arg-type]
    charger = -c[:, _BATTERY]
    return np.column_stack(
        (a[:, :4], a[:, _GAS], b[:, _GAS], c[:, _GAS], a[:, _BATTERY] + charger, -b[:, _BATTERY] - charger, charger)
    )


def spreads_of(van: Van, party: Party, weather: DayWeather, sun_share: tuple[float, ...]) -> Spreads:
    """Return the errors of a trip.

    Parameters
    ----------
    weather, sun_share
        Of an ordinary day of the trip, as from `mean_weather`.
    """
    day = parts_of(van, party, weather, sun_share, None, _WHOLE_DAY)
    factors = np.array(learned(party) or (1.0,) * 9)
    ordinary = np.maximum(day.sum(axis=0)[:9], 0.0)
    night = float(day[day[:, _LOADS] >= day[:, _SUN], _LOADS].sum())
    shower = heads(party) * party.shower_l * party.showers_per_day if van.shower_aboard else 0.0
    # Of what runs into the grey barrel showers are the larger share, as what is drunk does not.
    fresh, grey = (min(1.0, shower * float(f) / float(o)) if o > 0 else 0.0 for f, o in zip(factors, ordinary[:2], strict=False))
    flushed = min(1.0, party.flushes * party.flush_l / (party.waste_l + party.flushes * party.flush_l))
    names = (
        (("water", 1 - fresh), ("showers", fresh)), (("water", 1 - grey), ("showers", grey)),
        (("toilet", 1 - flushed), ("flush", flushed)), (("flush", 1.0),),
        (("heating", 1.0),), (("fridge", 1.0),), (("cooking", 0.5), ("hot water", 0.5)), (("devices", 1.0),), (("sun", 1.0),),
    )  # fmt: skip
    # What one habit shares between its parts adds up; what differs by day does not.
    shared = [sum(share * _shared(party, name) for name, share in mix) for mix in names]
    daily = [hypot(*(share * SPREADS[name].daily for name, share in mix)) for mix in names]
    told = {entry.part: entry.spread for entry in party.learned}
    apart = [told.get(part, sigma) for part, sigma in zip(PARTS, shared, strict=False)]
    return Spreads(np.array(apart), np.array(daily) ** 2 * ordinary, ordinary, night)


def _shared(party: Party, name: str) -> float:
    spread = SPREADS[name]
    return party.spread_shared if spread.habit else spread.shared


def hold(spreads: Spreads, room: F64, days: int, shares: F64) -> Held:
    """Work out what to count with.

    Parameters
    ----------
    room
        (6) what may be used up of each store [L, kg, Ah].
    days
        Of the trip: no ordinary stretch is longer.
    shares
        (6) how often each store's limit may fail by itself.
    """
    z = np.array([NormalDist().inv_cdf(1 - share) for share in (shares * _ALLOWED).tolist()])
    skew = np.maximum(z * z - 1, 0.0) / 3
    shared, daily = np.zeros(len(STORES)), np.zeros(len(STORES))
    shared[:4], daily[:4] = spreads.shared[:4], spreads.daily[:4]
    gas, sigma, noise = spreads.ordinary[GAS_PARTS], spreads.shared[GAS_PARTS], spreads.daily[GAS_PARTS]
    weights, skewed = np.ones(3), 0.0
    if gas.sum() > 0:
        mix = gas / gas.sum()
        shared[_GAS], daily[_GAS] = float(np.sqrt(((sigma * mix) ** 2).sum())), float(noise @ mix)
        touch = float(mean_room(room, shared, daily, z)[_GAS]) * mix
        skewed = float(noise**2 @ mix) / float(noise @ mix) if float(noise @ mix) > 0 else 0.0
        spread = sqrt(float(((sigma * touch) ** 2).sum() + noise @ touch))
        slope = 1 + z[_GAS] * (sigma**2 * touch + noise / 2) / spread if spread > 0 else np.ones(3)
        weights = slope / float(slope @ mix)
    loads, sun = battery_tilt(spreads, float(room[_BATTERY]), days, float(z[_BATTERY]))
    skew *= np.array([*daily[:4], skewed, 0.0])
    return Held(shares, z, Tilt(loads, sun, *(float(w) for w in weights)), shared, daily, skew)


def battery_tilt(spreads: Spreads, room: float, days: int, z: float) -> tuple[float, float]:
    """Return factors on loads and sun: the worst direction at the dawn at which a full battery is first emptied at the confidence.

    A dawn after n whole days has a night and n days of loads behind it, and n days of sun. Where none empties the battery, it
    is the last of the trip: then no stretch from full is forbidden, and what a plan comes to is told by `tripplan.van.risk`.
    """
    if z == 0:
        return MEAN.loads, MEAN.sun
    last = max(1, days - 1)
    for n in range(last + 1):
        used, both = _dawn(spreads, n)
        if used[0] - used[1] + z * both >= room or n == last:
            break
    return 1.0 + z * _slope(spreads, n, 0), max(0.0, 1.0 - z * _slope(spreads, max(n, 1), 1))


def _dawn(spreads: Spreads, n: int) -> tuple[tuple[float, float], float]:
    """Return loads and sun up to the dawn after n days from full, and the standard deviation of their difference [Ah]."""
    used = (spreads.night + n * float(spreads.ordinary[_LOADS]), n * float(spreads.ordinary[_SUN]))
    shared, daily = spreads.shared[_LOADS:_CHARGER].tolist(), spreads.daily[_LOADS:_CHARGER].tolist()
    return used, sqrt(sum((s * u) ** 2 + v * u for s, v, u in zip(shared, daily, used, strict=True)))


def _slope(spreads: Spreads, n: int, part: int) -> float:
    """Return by how much of itself loads (0) or sun (1) grow or shrink in the worst direction, for each sigma."""
    used, both = _dawn(spreads, n)
    shared, daily = float(spreads.shared[_LOADS + part]), float(spreads.daily[_LOADS + part])
    return (shared * shared * used[part] + daily) / both if both > 0 else 0.0
