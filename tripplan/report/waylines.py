"""The lines and points of a plan that every map file carries: what each day drives, and what of it is not tagged as sealed."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tripplan.model.plan import Day, Leg, Plan
from tripplan.model.words import Surface
from tripplan.region.region import Region
from tripplan.report.lines import run_points, surface_runs

__all__ = ["DayLine", "SurfaceLine", "WayLines", "way_lines"]

F64 = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class DayLine:
    """What one day drives with the ``van`` or by ``car``: its legs, and the line of each, (n, 2) lon and lat [degrees]."""

    day: Day
    mode: str
    legs: tuple[Leg, ...]
    lines: tuple[F64, ...]

    @property
    def length_m(self) -> float:
        """Length of all legs [m]."""
        return sum(leg.length_m for leg in self.legs)

    @property
    def drive_s(self) -> float:
        """Time at the wheel [s]."""
        return sum(leg.drive_s for leg in self.legs)


@dataclass(frozen=True, slots=True)
class SurfaceLine:
    """A stretch driven with the van whose surface is presumed or unknown; ``length_m`` along the road [m]."""

    day: Day
    surface: Surface
    length_m: float
    line: F64


@dataclass(frozen=True, slots=True)
class WayLines:
    """All lines of a plan, in the order of travel; lines of fewer than two points are left out."""

    days: tuple[DayLine, ...]
    surfaces: tuple[SurfaceLine, ...]


def way_lines(plan: Plan, region: Region) -> WayLines:
    """Return the lines of a plan."""
    days: list[DayLine] = []
    surfaces: list[SurfaceLine] = []
    for day in plan.days:
        for mode in ("van", "car"):
            legs = [(leg, run_points(region, leg.runs)) for leg in day.legs if leg.mode == mode]
            legs = [(leg, line) for leg, line in legs if len(line) >= 2]
            if legs:
                days.append(DayLine(day, mode, tuple(leg for leg, _ in legs), tuple(line for _, line in legs)))
        for leg in day.legs:
            if leg.mode != "van":
                continue
            for surface, run in surface_runs(region, leg.runs, frozenset({Surface.PRESUMED, Surface.UNKNOWN})):
                line = run_points(region, run)
                if len(line) >= 2:
                    length = sum(max(0.0, to_m - from_m) for from_m, to_m in zip(run.from_m, run.to_m, strict=True))
                    surfaces.append(SurfaceLine(day, surface, length, line))
    return WayLines(tuple(days), tuple(surfaces))
