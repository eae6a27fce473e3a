"""Time on each piece of road in either direction, in whole milliseconds, and what ruled it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tripplan.model.words import Ruling
from tripplan.region.geometry import great_circle_m
from tripplan.region.region import Region
from tripplan.roads.terms import Terms
from tripplan.rules.speed import FERRY_KMH, towing_speed

__all__ = ["DEFAULT_FERRY_WAIT_S", "PieceTimes", "piece_times"]

#: Wait on the quay when no interval is tagged (common practice, no source) [s].
DEFAULT_FERRY_WAIT_S = 1800.0
#: A value of `Pieces.curve_kmh` that stands for a straight.
STRAIGHT = 255

F64 = NDArray[np.float64]
_CURVE = list(Ruling).index(Ruling.CURVE)
_FERRY = list(Ruling).index(Ruling.FERRY)


@dataclass(frozen=True, slots=True)
class PieceTimes:
    """Columns of shape (pieces, 2): forward, backward.

    Parameters
    ----------
    ms
        Time [ms], at least 1. ruling: position in ``list(Ruling)``.
    wait_ms
        (pieces) wait before boarding [ms]; 0 off the ferries.
    """

    ms: NDArray[np.int64]
    ruling: NDArray[np.uint8]
    wait_ms: NDArray[np.int64]


def piece_times(region: Region, terms: Terms, ferry: NDArray[np.bool_]) -> PieceTimes:
    """Work out the time on every piece.

    A piece takes its way's towing speed, slower where a curve asks for it; the curve rules the piece when more than half
    of its time is spent in such curves. A crossing takes its share of the way's tagged duration.
    """
    pieces, ways = region.pieces, region.ways
    speed = towing_speed(ways, terms.outfit, terms.country, terms.state)
    ms = np.empty((len(pieces.way), 2), np.int64)
    ruling = np.empty((len(pieces.way), 2), np.uint8)
    curves = _Curves(region)
    for side, (kmh, rule) in enumerate(((speed.fwd, speed.ruling_fwd), (speed.bwd, speed.ruling_bwd))):
        way_ms_per_m = 3600.0 / np.maximum(np.asarray(kmh, np.float64), 1.0)
        per_m = way_ms_per_m[pieces.way]
        total, slow = curves.apply(pieces.length_m * per_m, per_m)
        ms[:, side] = np.maximum(np.rint(total), 1)
        ruling[:, side] = np.where(2 * slow > total, np.uint8(_CURVE), rule[pieces.way])
    wait = np.zeros(len(pieces.way), np.int64)
    at_sea = np.flatnonzero(ferry)
    if len(at_sea):
        way = pieces.way[at_sea]
        way_length = np.bincount(pieces.way, weights=pieces.length_m, minlength=len(ways.osm_id))[way]
        tagged = ways.ferry_s[way].astype(np.float64)
        known = np.isfinite(tagged) & (tagged > 0)
        whole_s = np.where(known, tagged, way_length * 3.6 / FERRY_KMH)
        share = pieces.length_m[at_sea] / np.maximum(way_length, 1e-9)
        ms[at_sea] = np.maximum(np.rint(whole_s * share * 1000), 1)[:, None]
        ruling[at_sea] = _FERRY
        wait_s = ways.ferry_wait_s[way].astype(np.float64)
        check_in_s = np.nan_to_num(ways.ferry_check_in_s[way].astype(np.float64), nan=0.0)
        wait_s = np.where(np.isfinite(wait_s) & (wait_s >= 0), wait_s, DEFAULT_FERRY_WAIT_S)
        # To be in time for a departure one may wait a whole interval after checking in.
        wait[at_sea] = np.rint((wait_s + np.maximum(check_in_s, 0.0)) * 1000)
    return PieceTimes(ms, ruling, wait)


class _Curves:
    """The stretches between points that have a curve speed: few, so only they are measured."""

    def __init__(self, region: Region) -> None:
        pieces = region.pieces
        curved = pieces.curve_kmh < STRAIGHT
        last = pieces.ptr[1:] - 1
        curved[last[last >= 0]] = False
        start = np.flatnonzero(curved)
        lon0, lat0, lon1, lat1 = (column[start + step] / 1e7 for step in (0, 1) for column in (pieces.lon_e7, pieces.lat_e7))
        self.length_m: F64 = great_circle_m(lon0, lat0, lon1, lat1)
        self.piece = np.searchsorted(pieces.ptr, start, side="right") - 1
        self.per_m: F64 = 3600.0 / np.maximum(pieces.curve_kmh[start].astype(np.float64), 5.0)
        self.pieces = len(pieces.way)

    def apply(self, straight_ms: F64, per_m: F64) -> tuple[F64, F64]:
        """Return the time of each piece with its curves, and the part spent where a curve rules [ms]."""
        own = per_m[self.piece]
        slower = self.per_m > own
        piece, length = self.piece[slower], self.length_m[slower]
        extra = np.bincount(piece, weights=length * (self.per_m - own)[slower], minlength=self.pieces)
        slow = np.bincount(piece, weights=length * self.per_m[slower], minlength=self.pieces)
        return np.asarray(straight_ms + extra, np.float64), np.asarray(slow, np.float64)
