"""What each piece of road is to an outfit on its terms: road, last mile, ends only, or refused and why."""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntEnum

import numpy as np
from numpy.typing import NDArray

from tripplan.model.words import Surface
from tripplan.region.columns import HIGHWAYS, Access, Flag
from tripplan.region.region import Region
from tripplan.region.through import tow_access
from tripplan.roads.areas import pieces_touching
from tripplan.roads.closures import ClosureSet
from tripplan.roads.terms import Terms
from tripplan.rules.limits import fit_codes

__all__ = ["LAST_MILE_CLASSES", "Judged", "Verdict", "judge"]

#: Classes that may be the last mile when nobody knows their surface.
LAST_MILE_CLASSES: tuple[str, ...] = ("service", "residential", "unclassified")

U8 = NDArray[np.uint8]


class Verdict(IntEnum):
    """What a piece is good for; from `UNSEALED` on it is refused, the strongest reason last."""

    ROAD = 0
    ENDS_ONLY = 1
    LAST_MILE = 2
    UNKNOWN = 3
    UNSEALED = 4
    TOLL = 5
    FERRY = 6
    OFF_LIMITS = 7
    DATE = 8
    HEIGHT = 9
    WIDTH = 10
    LENGTH = 11
    WEIGHT = 12
    AXLE_LOAD = 13
    CLOSED = 14


@dataclass(frozen=True, slots=True)
class Judged:
    """Judgement of every piece.

    Parameters
    ----------
    verdict
        (pieces) `Verdict`. surface: (pieces) `Surface`; ferry: (pieces) whether it is a crossing.
    """

    verdict: U8
    surface: U8
    ferry: NDArray[np.bool_]


def judge(region: Region, terms: Terms, closures: ClosureSet) -> Judged:
    """Judge each piece for one outfit and one set of closures.

    The car alone on ``any`` surface still uses a track only where it is tagged sealed: a track is built for tractors, and
    its class says nothing of clearance (common practice, no source).
    """
    ways = region.ways
    sealed_rule = terms.surfaces == "sealed"
    ferry = (ways.flags & Flag.FERRY) != 0
    track = ways.highway == HIGHWAYS.index("track")
    surface = np.where(ferry, np.uint8(Surface.SEALED), ways.surface).astype(np.uint8)
    access = tow_access(region, terms.outfit) if terms.van and not terms.every_road else ways.car_access

    verdict = np.full(len(ways.osm_id), Verdict.ROAD, np.uint8)
    if not terms.every_road:
        verdict[access == Access.ENDS_ONLY] = Verdict.ENDS_ONLY
        small = np.isin(ways.highway, [HIGHWAYS.index(name) for name in LAST_MILE_CLASSES])
        if sealed_rule:
            unknown = surface == Surface.UNKNOWN
            verdict[unknown & small] = Verdict.LAST_MILE
            verdict[unknown & ~small] = Verdict.UNKNOWN
            verdict[surface == Surface.UNSEALED] = Verdict.UNSEALED
        else:
            verdict[track & (surface != Surface.SEALED)] = Verdict.UNSEALED
        if not terms.tolls:
            verdict[(ways.flags & Flag.TOLL) != 0] = Verdict.TOLL
        if not terms.ferries:
            verdict[ferry] = Verdict.FERRY
        verdict[np.asarray(closures.closed, np.int64)] = Verdict.DATE
        fit = fit_codes(ways, terms.outfit)
        verdict[fit > 0] = Verdict.HEIGHT + fit[fit > 0] - 1
    verdict[access == Access.CLOSED] = Verdict.CLOSED

    way = region.pieces.way
    of_piece = verdict[way]
    if terms.off_limits:
        off = pieces_touching(region.pieces, terms.off_limits) & (of_piece < Verdict.OFF_LIMITS)
        of_piece[off] = Verdict.OFF_LIMITS
    shut = np.asarray(() if terms.every_road else closures.whole(van=terms.van), np.int64)
    of_piece[shut[of_piece[shut] < Verdict.DATE]] = Verdict.DATE
    return Judged(of_piece, surface[way], ferry[way])
