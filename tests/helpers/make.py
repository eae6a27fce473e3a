"""Regions made for tests, through the real build."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path

from helpers.drawn import Drawing, draw

from tripplan.region.region import Region


def region_from_drawing(
    ascii_map: str,
    ways: Mapping[str, Mapping[str, str] | str],
    *,
    nodes: Mapping[str, Mapping[str, str] | str] | None = None,
    relations: Iterable[tuple[Mapping[str, str] | str, Sequence[tuple[str, str]]]] = (),
    folder: Path,
    grid_m: float = 100.0,
    origin: tuple[float, float] = (8.0, 50.0),
    missing: str = "",
    name: str = "drawn",
) -> tuple[Region, Drawing]:
    """Draw a map (see `helpers.drawn.draw`), read it and build its region."""
    from tripplan.region.build import build

    drawing = draw(
        ascii_map, ways, nodes=nodes, relations=relations, folder=folder, grid_m=grid_m, origin=origin, missing=missing, name=name
    )
    return build(drawing.path, name=name), drawing


def piece_of(region: Region, drawing: Drawing, letters: str) -> int:
    """Return the row of the piece that joins two letters, drawn in that order (either way round is found)."""
    ends = {drawing.node_id[letters[0]], drawing.node_id[letters[-1]]}
    for row in range(len(region.pieces.way)):
        a, b = int(region.pieces.a[row]), int(region.pieces.b[row])
        if {int(region.junctions.osm_id[a]), int(region.junctions.osm_id[b])} == ends:
            return row
    raise LookupError(f"no piece joins {letters}")


def junction_of(region: Region, drawing: Drawing, letter: str) -> int:
    """Return the row of the junction at a letter."""
    rows = (region.junctions.osm_id == drawing.node_id[letter]).nonzero()[0]
    return int(rows[0])
