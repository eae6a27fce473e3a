"""A recorded track: where somebody was, and when."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

__all__ = ["Track"]

F64 = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Track:
    """Points in the order in which they were recorded.

    Parameters
    ----------
    name
        What the file calls it, "" when it has no name.
    lon, lat
        (points) where [degrees, WGS 84].
    time_s
        (points) when, seconds since 1970-01-01 UTC, NaN where the file does not say.
    part
        (points) number of the part that a point belongs to, from 0: the recorder was switched off between two parts.
    remarks
        What was odd about the file and is no reason to refuse it.
    """

    name: str
    lon: F64
    lat: F64
    time_s: F64
    part: NDArray[np.int32]
    remarks: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        n = len(self.lon)
        if not len(self.lat) == len(self.time_s) == len(self.part) == n:
            raise ValueError(f"columns of {n}, {len(self.lat)}, {len(self.time_s)} and {len(self.part)} rows")
        if not (np.isfinite(self.lon).all() and np.isfinite(self.lat).all()):
            raise ValueError("coordinates that are not numbers")

    @classmethod
    def of(
        cls, lon: Any, lat: Any, time_s: Any = None, part: Any = None, *, name: str = "", remarks: tuple[str, ...] = ()
    ) -> Track:
        """Return a track from sequences; without times and parts there are none."""
        n = len(lon)
        times = np.full(n, np.nan) if time_s is None else np.asarray(time_s, np.float64)
        parts = np.zeros(n, np.int32) if part is None else np.asarray(part, np.int32)
        return cls(name, np.asarray(lon, np.float64), np.asarray(lat, np.float64), times, parts, remarks)
