"""Lines of pieces and of runs of pieces."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from helpers.make import piece_of, region_from_drawing
from hypothesis import given, settings
from hypothesis import strategies as st

from tripplan.model.plan import PieceRun
from tripplan.region.geometry import piece_line, run_line, segment_lengths_m
from tripplan.region.region import Region


@pytest.fixture(scope="module")
def bent(tmp_path_factory: pytest.TempPathFactory) -> Region:
    """One piece of five points, then another."""
    region, _ = region_from_drawing(
        "A-B   E-F\n  |   |\n  C---D", {"ABCDE": "highway=service", "EF": "highway=service", "E": "highway=service"},
        folder=tmp_path_factory.mktemp("geometry"), grid_m=150,
    )  # fmt: skip
    return region


def _length(line: np.ndarray) -> float:
    return float(segment_lengths_m(line[:, 0], line[:, 1]).sum())


@given(st.floats(0, 1), st.floats(0, 1), st.booleans())
@settings(deadline=None)
def test_a_part_of_a_piece_is_as_long_as_it_says(bent: Region, a: float, b: float, forward: bool) -> None:
    """Any part, either way round, has the length of the part."""
    length = float(bent.pieces.length_m[0])
    low, high = sorted((a * length, b * length))
    assert _length(piece_line(bent, 0, forward, low, high)) == pytest.approx(high - low, abs=0.02)


def test_a_run_is_one_line_without_repeats(bent: Region, tmp_path: Path) -> None:
    """Pieces driven one after another join; forth and back ends where it began; nothing is nothing."""
    lengths = tuple(float(m) for m in bent.pieces.length_m[:2])
    run = PieceRun(
        piece=(0, 1, 1, 0),
        forward=(True, True, False, False),
        from_m=(0.0, 0.0, 0.0, 0.0),
        to_m=(*lengths, *lengths[::-1]),
        time_s=(1.0,) * 4,
    )
    line = run_line(bent, run)
    assert _length(line) == pytest.approx(2 * sum(lengths))
    assert (line[0] == line[-1]).all()
    assert (np.abs(np.diff(line, axis=0)).sum(axis=1) > 0).all()
    assert run_line(bent, PieceRun((), (), (), (), ())).shape == (0, 2)


def test_helpers_find_pieces_by_letters(tmp_path: Path) -> None:
    """The drawing's letters name pieces for every other room's tests."""
    region, drawn = region_from_drawing("A-B-C", {"AB": "highway=service", "BC": "highway=track"}, folder=tmp_path)
    assert region.ways.osm_id[region.pieces.way[piece_of(region, drawn, "CB")]] == drawn.way_id["BC"]
    with pytest.raises(LookupError):
        piece_of(region, drawn, "AC")
