"""What of a region the maps show: near the way, in frames of any size."""

from __future__ import annotations

import tracemalloc

import numpy as np
import pytest

from tripplan.report.basemap import Frame


@pytest.mark.parametrize(("half_lon", "half_lat"), [(0.5, 0.3), (20.0, 8.0), (180.0, 85.0)])
def test_near_takes_little_memory_in_frames_of_any_size(half_lon: float, half_lat: float) -> None:
    """A way's own points are near it and a quarter of the frame away none is, whether the frame is a valley or the world."""
    way = np.array([(0.1, 0.2), (0.12, 0.2)])
    frame = Frame(-half_lon, -half_lat, half_lon, half_lat, way)
    tracemalloc.start()
    try:
        near = frame.near(np.array([0.1, 0.1 + half_lon / 2, 0.1]), np.array([0.2, 0.2, 0.2 - half_lat / 2]), 3.0)
        peak = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    assert near.tolist() == [True, False, False]
    assert peak < 150e6
