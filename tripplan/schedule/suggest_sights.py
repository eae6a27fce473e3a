"""Which of a region's sights a search for a loop may take: the best within reach, spread out, as many as it can hold."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from tripplan.model.trip import Sight, Trip
from tripplan.model.words import Via
from tripplan.region.geometry import great_circle_m
from tripplan.schedule.suggest_values import Valued

__all__ = ["MOST_BITS", "Picked", "pick", "with_sights"]

#: The search keeps the sights done as bits of one number.
MOST_BITS = 32
#: A sight so near one that is taken already counts for less: half at once, all of it this far off [km]. Own choice.
_APART_KM, _BESIDE_SHARE = 20.0, 0.5
#: Two entries so near each other are one sight [m].
_SAME_M = 300.0
#: A road is so much longer than the crow flies. Common practice, no source.
_DETOUR = 1.25


@dataclass(frozen=True, slots=True)
class Picked:
    """The sights that a search may choose from, each with its value under a theme [cents], and those left out with the reason."""

    taken: tuple[tuple[Valued, int], ...]
    left_out: tuple[tuple[Valued, str], ...]


def pick(trip: Trip, valued: Sequence[Valued], worth: Callable[[Valued], int], most: int) -> Picked:
    """Choose the candidates of a search, best first.

    One after another the sight of the highest value is taken; near those taken a value counts for less, so that the choice is
    spread over the country. Ties go to the order given. What the search may take, it weighs exactly; this choice is a rule
    of thumb, and what it leaves out is told.

    Parameters
    ----------
    worth
        Value under a theme [cents]; nothing for what it does not want.
    most
        As many at most; together with the trip's own no more than `MOST_BITS`.
    """
    left: list[tuple[Valued, str]] = []
    pool: list[tuple[Valued, int]] = []
    avoided = {spot.place for spot in trip.avoid if spot.place >= 0}
    own = [(s.spot.lon, s.spot.lat) for s in trip.sights]
    reach = _reach_m(trip)
    for item in valued:
        there = _metres((trip.depot.lon, trip.depot.lat), item) + _metres((trip.return_depot.lon, trip.return_depot.lat), item)
        cents = worth(item)
        if any(_metres(at, item) <= _SAME_M for at in own):
            continue  # in the trip already, with its own wish
        if item.spot.place in avoided:
            left.append((item, "to be avoided"))
        elif there * _DETOUR > reach:
            left.append((item, "too far for the driving limits of all days"))
        elif cents <= 0:
            left.append((item, "no part of this theme"))
        else:
            pool.append((item, cents))
    room = max(0, min(most, MOST_BITS - len(trip.sights)))
    taken: list[tuple[Valued, int]] = []
    share = np.ones(len(pool))
    free = np.ones(len(pool), bool)
    lon, lat = (np.array([getattr(v.spot, n) for v, _ in pool]) for n in ("lon", "lat"))
    cents_of = np.array([c for _, c in pool], np.float64)
    while len(taken) < room and free.any():
        best = int(np.argmax(np.where(free, cents_of * share, -1.0)))
        taken.append(pool[best])
        free[best] = False
        apart = great_circle_m(float(lon[best]), float(lat[best]), lon, lat)
        for k in np.flatnonzero(free & (apart <= _SAME_M)):
            left.append((pool[int(k)][0], f"the same as {pool[best][0].spot.name}"))
            free[k] = False
        share *= 1 - (1 - _BESIDE_SHARE) * np.clip(1 - apart / (_APART_KM * 1000), 0.0, 1.0)
    left += [(pool[int(k)][0], f"not among the {len(taken)} that the search may choose from") for k in np.flatnonzero(free)]
    return Picked(tuple(taken), tuple(left))


def with_sights(trip: Trip, taken: Sequence[tuple[Valued, int]]) -> Trip:
    """Return the trip with sights to choose from added to its own."""
    more = tuple(Sight(v.spot, must=False, value_cents=cents, via=Via.EITHER, hours=v.hours) for v, cents in taken)
    return replace(trip, sights=trip.sights + more)


def _reach_m(trip: Trip) -> float:
    speed = min(trip.outfit.towing_limit_kmh, trip.firm.towing_limit_kmh) / 3.6
    return speed * (min(trip.first_day_drive_s, trip.max_drive_s) + trip.nights * trip.max_drive_s)


def _metres(at: tuple[float, float], item: Valued) -> float:
    return float(great_circle_m(at[0], at[1], np.array([item.spot.lon]), np.array([item.spot.lat]))[0])
