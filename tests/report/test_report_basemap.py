"""What of a region the maps show: near the way, in frames of any size."""

from __future__ import annotations

import tracemalloc

import numpy as np
import pytest

from tripplan.report.basemap import Frame, frame_around


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


def test_a_trip_across_180_degrees_has_a_narrow_frame() -> None:
    """The frame holds the way in one piece, counts on beyond 180 degrees or back beyond -180, and every point of it goes into it."""
    for west, east in ((179.8, -179.9), (179.95, -179.7)):
        way = np.array([(west, -17.0), (180.0, -17.05), (east, -17.1)])
        frame = frame_around(way, np.array([(east, -17.2)]))
        span = east + 360.0 - west
        assert frame.turned
        assert frame.east - frame.west == pytest.approx(span + 2 * max(0.1, 0.15 * span))
        assert -180.0 <= (frame.west + frame.east) / 2 < 180.0
        assert np.diff(frame.way[:, 0]) == pytest.approx([180.0 - west, east + 180.0])
        assert frame.line(way)[:, 0] == pytest.approx(frame.way[:, 0])
        assert frame.holds(way[:, 0], way[:, 1]).all()
        assert not frame.holds(np.array([0.0, 178.0, -178.0]), np.full(3, -17.0)).any()
        assert frame.near(way[:, 0], way[:, 1], 3.0).all()


@pytest.mark.parametrize("box", [(-10.0, 20.0), (-179.0, -178.0), (-170.0, 175.0)])
def test_other_frames_are_as_they_were(box: tuple[float, float]) -> None:
    """A trip that does not cross keeps its longitudes, on whichever side and however wide: one round the world is not cut short."""
    way = np.column_stack([np.linspace(*box, 60), np.zeros(60)])
    frame = frame_around(way, np.empty((0, 2)))
    room = max(0.1, 0.15 * (box[1] - box[0]))
    assert (frame.west, frame.east) == pytest.approx((box[0] - room, box[1] + room))
    assert frame.line(way)[:, 0] == pytest.approx(way[:, 0])
