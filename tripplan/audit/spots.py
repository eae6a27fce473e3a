"""Where spots lie to each other, and whether they are the places they say."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from tripplan.audit.findings import Findings
from tripplan.model.place import Spot
from tripplan.model.plan import Day, Plan
from tripplan.region.region import Region

__all__ = ["apart", "audit_spots", "great_circle", "metres"]

EARTH_M = 6_371_009.0
F64 = NDArray[np.float64]


def great_circle(line: F64) -> F64:
    """Return the length of each step of a line of (lon, lat) degrees, haversine [m]."""
    rad = np.radians(line)
    d = np.diff(rad, axis=0)
    d[:, 0] = (d[:, 0] + np.pi) % (2 * np.pi) - np.pi
    h = np.sin(d[:, 1] / 2) ** 2 + np.cos(rad[:-1, 1]) * np.cos(rad[1:, 1]) * np.sin(d[:, 0] / 2) ** 2
    return np.asarray(2 * EARTH_M * np.arcsin(np.sqrt(h)), dtype=np.float64)


def metres(one: Spot, other: Spot) -> float:
    """Return the distance of two spots [m]."""
    return float(great_circle(np.array([[one.lon, one.lat], [other.lon, other.lat]]))[0])


def apart(one: Spot, other: Spot) -> bool:
    """Say whether two spots are different points."""
    return abs(one.lon - other.lon) > 1e-6 or abs(one.lat - other.lat) > 1e-6


def audit_spots(plan: Plan, region: Region, found: Findings) -> None:
    """Each spot that says it is a place of the region lies where that place lies."""
    for day in plan.days:
        for spot in _spots(day):
            if spot.place < 0:
                continue
            if spot.place >= len(region.places):
                found.add("no such place", day.number, 1, "", f"{spot.name!r} is no place of the region")
                continue
            place = region.places[spot.place]
            gap = metres(spot, Spot("", "", place.lon, place.lat))
            if gap > 1.0:
                found.add(
                    "not the place", day.number, gap, "m", f"{spot.name!r} lies {gap:.0f} m from {place.name or place.ref!r}"
                )


def _spots(day: Day) -> Iterator[Spot]:
    yield day.start
    yield day.end
    if day.night is not None:
        yield day.night.spot
    for leg in day.legs:
        yield leg.start
        yield leg.end
    yield from (event.spot for event in day.events if event.spot is not None)
