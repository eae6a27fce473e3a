"""What of a sight's nights lies behind a party that is on the way."""

from __future__ import annotations

import numpy as np

from tripplan.model.trip import Sight, UnderWay
from tripplan.region.geometry import great_circle_m

__all__ = ["nights_behind"]


def nights_behind(sight: Sight, behind: UnderWay | None) -> int:
    """Return how many nights were spent near a sight already; 0 before the trip has begun."""
    if behind is None or not behind.slept:
        return 0
    lon, lat = (np.array([getattr(spot, name) for spot in behind.slept]) for name in ("lon", "lat"))
    return int((great_circle_m(sight.spot.lon, sight.spot.lat, lon, lat) <= sight.near_km * 1000).sum())
