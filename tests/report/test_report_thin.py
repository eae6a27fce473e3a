"""Thinning and packing of lines."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tripplan.report.thin import METRES_PER_UNIT, pack, thin, unpack

POINTS = st.lists(st.tuples(st.integers(-17_900_000, 17_900_000), st.integers(-8_900_000, 8_900_000)), min_size=0, max_size=8)


def _flat(lines: list[list[tuple[int, int]]]) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    ptr = np.concatenate([[0], np.cumsum([len(line) for line in lines])]).astype(np.int64)
    points = np.array([p for line in lines for p in line], dtype=float).reshape(-1, 2)
    return points[:, 0], points[:, 1], ptr


def _undoubled(line: list[tuple[int, int]]) -> list[tuple[int, int]]:
    return [p for i, p in enumerate(line) if i == 0 or p != line[i - 1]]


@given(st.lists(POINTS, max_size=6))
def test_packed_lines_unpack_to_the_same_points(lines: list[list[tuple[int, int]]]) -> None:
    """Packing loses nothing but repeated points and lines of one point; longitudes agree but for whole turns."""
    want = [line for line in map(_undoubled, lines) if len(line) >= 2]
    got = unpack(pack(*_flat(lines)))
    assert [[y for _, y in line] for line in got] == [[y for _, y in line] for line in want]
    for line, other in zip(got, want, strict=True):
        assert all((x - w) % 36_000_000 == 0 for (x, _), (w, _) in zip(line, other, strict=True))
        assert line[0][0] == other[0][0]


def test_the_date_line_is_crossed_the_short_way() -> None:
    """A line from 179.9 to -179.9 goes on to 180.1, and the next line starts where it really is."""
    lines = [[(17_990_000, 0), (-17_990_000, 0)], [(100, 100), (200, 200)]]
    assert unpack(pack(*_flat(lines))) == [[(17_990_000, 0), (18_010_000, 0)], [(100, 100), (200, 200)]]


def test_thinning_keeps_ends_and_stays_near() -> None:
    """A wavy line keeps its ends; every dropped point stays within a few tolerances of what is left."""
    rng = np.random.default_rng(7)
    x = np.linspace(0, 2000, 3001)
    y = 300 * np.sin(x / 150) + rng.normal(0, 0.5, len(x))
    ptr = np.array([0, 1500, 3001])
    tx, ty, tp = thin(x, y, ptr, 5.0)
    assert len(tx) < len(x) / 4
    assert tp.tolist()[0] == 0
    assert (tx[0], tx[tp[1] - 1], tx[tp[1]], tx[-1]) == (x[0], x[1499], x[1500], x[-1])
    off = np.abs(np.interp(x, tx, ty) - y) * METRES_PER_UNIT
    assert off.max() < 4 * 5.0
    assert np.mean(off) < 5.0


@given(st.lists(POINTS, max_size=5), st.floats(0, 1e6))
def test_thinning_never_drops_an_end(lines: list[list[tuple[int, int]]], tolerance: float) -> None:
    """Whatever the lines and the tolerance: each line keeps its first and last point, in order."""
    x, y, ptr = _flat(lines)
    tx, ty, tp = thin(x, y, ptr, tolerance)
    assert len(tp) == len(ptr)
    for i, line in enumerate(lines):
        kept = list(zip(tx[tp[i] : tp[i + 1]].tolist(), ty[tp[i] : tp[i + 1]].tolist(), strict=True))
        assert kept[:1] == line[:1]
        assert kept[-1:] == line[-1:]


def test_a_straight_line_becomes_two_points() -> None:
    """Points on a straight line all go."""
    tx, _, tp = thin(np.arange(200.0), np.arange(200.0), np.array([0, 200]), 1.0)
    assert tp.tolist() == [0, len(tx)]
    assert len(tx) <= 3


@pytest.mark.parametrize("lines", [[], [[]], [[(1, 1)]]])
def test_nothing_packs_to_nothing(lines: list[list[tuple[int, int]]]) -> None:
    """No lines, empty lines and single points give an empty list."""
    assert pack(*_flat(lines)) == []
