"""What closures mean on a map, for people."""

from __future__ import annotations

from collections.abc import Sequence

from tripplan.model.closure import Closure
from tripplan.model.plan import ClosureMatch
from tripplan.region.region import Region
from tripplan.roads.shut import match_closures

__all__ = ["matches_told"]


def matches_told(region: Region, closures: Sequence[Closure]) -> tuple[ClosureMatch, ...]:
    """Say what each closure means on the map and how sure that is; those that mean nothing there have no pieces."""
    lengths = region.pieces.length_m
    return tuple(
        ClosureMatch(
            c.name, c.kind, c.dates, c.source, m.sure, m.why, len(m.pieces), round(float(lengths[list(m.pieces)].sum()), 1)
        )
        for c, m in zip(closures, match_closures(region, closures), strict=True)
    )
