"""Times and money between the places of a trip, once for each set of road closures in force on its dates."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from tripplan.model.place import Spot
from tripplan.model.progress import Progress, silent
from tripplan.model.trip import Trip, Weights
from tripplan.region.region import Region
from tripplan.schedule.candidates import Cast

if TYPE_CHECKING:
    from tripplan.roads.join import Joined

__all__ = ["FAR", "Table", "Ways", "table_of", "ways_of"]

I64 = NDArray[np.int64]
#: More than any way costs or takes.
FAR = 10**12


@dataclass(frozen=True)
class Table:
    """What going from each point to each other takes, (n, n): time and time at the wheel [s], money and all cost [cents].

    Unreachable is `FAR`. Money of a leg is rounded to a cent, as it is shown.
    """

    total_s: I64
    drive_s: I64
    km_cents: I64
    cents: I64

    @property
    def afloat_s(self) -> I64 | None:
        """(n, n) time aboard ferries of each way [s]; ``None`` where none takes one."""
        afloat = np.where(self.cents < FAR, self.total_s - self.drive_s, 0)
        return afloat if bool((afloat > 0).any()) else None

    def take(self, rows: I64, cols: I64) -> Table:
        """Return the part for some starts and ends."""
        at = np.ix_(rows, cols)
        return Table(self.total_s[at], self.drive_s[at], self.km_cents[at], self.cents[at])


@dataclass(frozen=True)
class Ways:
    """The ways on some days of the trip.

    Parameters
    ----------
    days
        Bit d set: these ways hold on day d.
    van, car
        Points of the van's table: depot, return, sites, then the van's stops. Of the car's: sites, then its stops.
    doubtful
        Rows of ways with a closure that could not be read.
    """

    days: int
    van: Table
    car: Table
    joined_van: Joined | None
    joined_car: Joined | None
    doubtful: tuple[int, ...] = ()


def drive_cents(drive_s: I64, weights: Weights) -> I64:
    """Return what time at the wheel is worth [cents]."""
    return np.asarray(np.rint(drive_s / 3600 * weights.drive_hour_cents), dtype=np.int64)


def far_cents(length_m: NDArray[np.floating], weights: Weights) -> I64:
    """Return what a way counts over and above its money [cents]."""
    return np.asarray(np.rint(np.asarray(length_m, np.float64) / 1000 * weights.far_km_cents), dtype=np.int64)


def km_cents(length_m: NDArray[np.floating], weights: Weights) -> I64:
    """Return what a way costs in fuel and wear [cents]."""
    return np.asarray(np.rint(np.asarray(length_m, np.float64) / 1000 * weights.km_cents), dtype=np.int64)


def table_of(
    total_s: NDArray[np.integer], drive_s: NDArray[np.integer], length_m: NDArray[np.floating], weights: Weights
) -> Table:
    """Return the table of a matrix of times and lengths; 10**9 s and more is unreachable."""
    total, drive = total_s.astype(np.int64), drive_s.astype(np.int64)
    far = total >= 10**9
    money = km_cents(np.where(far, 0, length_m), weights)
    cost = money + drive_cents(np.where(far, 0, drive), weights) + far_cents(np.where(far, 0, length_m), weights)
    for part in (total, drive, money, cost):
        part[far] = FAR
    return Table(total, drive, money, cost)


def van_spots(trip: Trip, cast: Cast) -> tuple[Spot, ...]:
    """Return the points of the van's table in order."""
    return (trip.depot, trip.return_depot, *(s.spot for s in cast.sites), *(s.spot for s in cast.van_stops))


def car_spots(cast: Cast) -> tuple[Spot, ...]:
    """Return the points of the car's table in order."""
    return (*(s.spot for s in cast.sites), *(s.spot for s in cast.car_stops))


def _unknown_ends(joined: Joined, first: int) -> NDArray[np.bool_]:
    """Pairs of points whose way may begin or end at a stop (rows from ``first``) by road of unknown surface."""
    joints, count = joined.joints, len(joined.spots)
    shut = np.zeros((count, count), dtype=bool)
    for ends, row in ((joints.sources, True), (joints.sinks, False)):
        bad = np.unique(ends.spot[(ends.unknown_m > 0) & (ends.spot >= first)])
        if row:
            shut[bad, :] = True
        else:
            shut[:, bad] = True
    direct = joints.direct
    near = (direct.unknown_m > 0) & ((direct.spot >= first) | (direct.state >= first))
    shut[direct.spot[near], direct.state[near]] = True
    np.fill_diagonal(shut, val=False)
    return shut


def ways_of(trip: Trip, region: Region, cast: Cast, *, cache: Path | None = None, progress: Progress = silent) -> list[Ways]:
    """Work out, or read from the cache, the ways on each set of days with the same roads closed."""
    from tripplan.roads.closures import closure_sets
    from tripplan.roads.join import join
    from tripplan.roads.network import open_network
    from tripplan.roads.terms import terms_for_car, terms_for_van

    def table(spots: tuple[Spot, ...], *, van: bool) -> tuple[Table, Joined | None]:
        if not spots or not (van or cast.car_stops):
            empty = np.full((len(spots), len(spots)), FAR, dtype=np.int64)
            return Table(empty, empty, empty, empty), None
        terms = terms_for_van(trip, region) if van else terms_for_car(trip, region)
        network = open_network(region, terms, closures, cache=cache, progress=progress)
        joined = join(network, spots, home=trip.depot)
        matrix = joined.matrix(progress=progress, cache=cache)
        total = matrix.total_s
        if van and not trip.firm.last_mile_at_stops:
            total = total.copy()
            total[_unknown_ends(joined, 2 + len(cast.sites))] = 10**9
        return table_of(total, matrix.drive_s, matrix.length_m, trip.weights), joined

    found = []
    for closures in closure_sets(region, trip.dates, hours=trip.road_hours, closures=trip.closures, outfit=trip.outfit):
        van, joined_van = table(van_spots(trip, cast), van=True)
        car, joined_car = table(car_spots(cast), van=False)
        days = sum(1 << d for d in closures.days)
        found.append(Ways(days, van, car, joined_van, joined_car, closures.doubtful))
    return found
