"""Where a track with times was faster than the outfit may be.

A stretch is called too fast only when the distance divided by the time exceeds the limit by more than the noise explains.
"""

from __future__ import annotations

from bisect import bisect_left
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from tripplan.model.words import Ruling
from tripplan.region.columns import Flag
from tripplan.region.geometry import piece_ends_m, segment_lengths_m
from tripplan.region.region import Region
from tripplan.roads.match import Chain, Match
from tripplan.roads.terms import Terms
from tripplan.rules.speed import FLAG_ROUGH, NO_LIMIT_KMH, towing_speed

__all__ = ["TooFast", "legal_limits", "too_fast"]

F64 = NDArray[np.float64]

#: Times over which speed is averaged [s]: short for bursts, long for small excesses where no burst is.
_WINDOWS_S = (15.0, 60.0, 240.0)
#: Of an average, so much of the distance may be noise: this many times that of a point.
_NOISES = 4.2
#: And so much of the limit is not told (clocks, lengths of the map).
_SHARE = 0.03


@dataclass(frozen=True, slots=True)
class TooFast:
    """A part of a chain.

    Parameters
    ----------
    from_m, to_m
        Along the chain [m].
    kmh
        Average over it; worst_kmh: at least so much was driven for a quarter of a minute or more, noise taken off [km/h].
    limit_kmh
        What the limits allow on average there [km/h]. ruling: what rules the longest part of it.
    seconds
        How long it took [s].
    over_kmh
        The most over the limit for a quarter of a minute or more, noise taken off [km/h].
    """

    from_m: float
    to_m: float
    kmh: float
    worst_kmh: float
    limit_kmh: float
    ruling: Ruling
    seconds: float
    over_kmh: float


class _Signs:
    """Columns of some ways with nothing but limits in force: no class default, no comfort on rough ground."""

    def __init__(self, region: Region, rows: NDArray[np.int64]) -> None:
        ways = region.ways
        self.highway = ways.highway[rows]
        self.flags = (ways.flags[rows] & ~np.uint16(FLAG_ROUGH)).astype(np.uint16)
        self.speed_fwd, self.speed_bwd = (
            np.where(np.isnan(c[rows]), np.float32(NO_LIMIT_KMH), c[rows]) for c in (ways.speed_fwd, ways.speed_bwd)
        )
        self.speed_trailer = ways.speed_trailer[rows]


def legal_limits(region: Region, terms: Terms, ways: NDArray[np.int64]) -> tuple[F64, F64, NDArray[np.uint8], NDArray[np.uint8]]:
    """Return the limit of some ways forward and backward [km/h, infinite on ferries], and what rules it.

    The lowest of the outfit's limit, the national table, what is posted for trailers and what is posted.
    """
    speed = towing_speed(_Signs(region, ways), terms.outfit, terms.country)
    ferry = (region.ways.flags[ways] & Flag.FERRY) != 0
    fwd, bwd = (np.where(ferry, np.inf, c.astype(np.float64)) for c in (speed.fwd, speed.bwd))
    return fwd, bwd, speed.ruling_fwd, speed.ruling_bwd


def too_fast(region: Region, terms: Terms, chain: Chain, match: Match) -> list[TooFast]:
    """Return where a chain was driven faster than the outfit may be; nothing without times."""
    time = match.time_s[chain.point]
    known = np.flatnonzero(np.isfinite(time))
    if len(known) < 2 or not len(chain.piece):
        return []
    ways, row = np.unique(region.pieces.way[chain.piece], return_inverse=True)
    fwd, bwd, ruling_fwd, ruling_bwd = legal_limits(region, terms, ways.astype(np.int64))
    limit = np.where(chain.forward, fwd[row], bwd[row])
    ruling = np.where(chain.forward, ruling_fwd[row], ruling_bwd[row])
    ends = piece_ends_m(chain.from_m, chain.to_m)
    least = np.concatenate(([0.0], np.cumsum(np.diff(ends) * 3.6 / limit)))
    straight = np.concatenate(([0.0], np.cumsum(segment_lengths_m(match.lon[chain.point], match.lat[chain.point]))))[known]
    time, at = time[known], chain.point_m[known]
    found: list[_Window] = []
    for low, high in _rising(time):
        found += _windows(time[low:high], at[low:high], straight[low:high], ends, least, match.noise_m)
    out = []
    for begin, end, worst, over in _joined(found):
        seconds = float(np.interp(end, at, time) - np.interp(begin, at, time))
        allowed = float(np.interp(end, ends, least) - np.interp(begin, ends, least))
        inside = np.clip(np.minimum(ends[1:], end) - np.maximum(ends[:-1], begin), 0, None)
        most = list(Ruling)[int(np.bincount(ruling, weights=inside).argmax())]
        length = end - begin
        kmh, limit_kmh = length / max(seconds, 1e-3) * 3.6, length / max(allowed, 1e-3) * 3.6
        out.append(TooFast(begin, end, kmh, worst, limit_kmh, most, seconds, max(over, kmh - limit_kmh, 0.0)))
    return out


def _rising(time: F64) -> list[tuple[int, int]]:
    """Return the bounds of the parts in which time goes on."""
    cuts = [0, *(np.flatnonzero(np.diff(time) <= 0) + 1).tolist(), len(time)]
    return [(a, b) for a, b in pairwise(cuts) if b - a > 1]


#: From and to along a chain [m], speed with noise taken off, and how much over the limit that is [km/h].
_Window = tuple[float, float, float, float]


def _windows(time: F64, at: F64, straight: F64, ends: F64, least: F64, noise_m: float) -> list[_Window]:
    """Return every window that was too fast."""
    out: list[_Window] = []
    bursts: list[_Window] = []
    allowed = np.interp(at, ends, least)
    for window in _WINDOWS_S:
        last = np.searchsorted(time, time + window - 0.01)
        first = np.flatnonzero(last < len(time))
        last = last[first]
        seconds = time[last] - time[first]
        road = at[last] - at[first]
        # Where the roads were told wrong the way is too long: the straight steps between the points bound it.
        metres = np.minimum(road, straight[last] - straight[first])
        share = np.divide(metres, road, out=np.zeros_like(road), where=road > 0)
        need = (allowed[last] - allowed[first]) * share
        spare = np.divide(_NOISES * noise_m * need, metres, out=np.full_like(need, np.inf), where=metres > 0)
        over = np.flatnonzero(need > seconds * (1 + _SHARE) + spare)
        # A long window around a burst would count what was driven slowly before and after it as well.
        over = over[[not _touches(bursts, at[first[i]], at[last[i]]) for i in over.tolist()]] if bursts else over
        kmh = (metres - _NOISES * noise_m) / seconds * 3.6
        limit_kmh = np.divide(metres, need, out=np.full_like(need, np.inf), where=need > 0) * 3.6
        out += [(float(at[first[i]]), float(at[last[i]]), float(kmh[i]), float(kmh[i] - limit_kmh[i])) for i in over]
        bursts = _joined(out)
    return out


def _touches(found: list[_Window], begin: float, end: float) -> bool:
    """Whether a part lies over one of those found, which are in order and apart."""
    row = bisect_left(found, end, key=lambda one: one[0])
    return row > 0 and found[row - 1][1] > begin


def _joined(found: list[_Window]) -> list[_Window]:
    out: list[_Window] = []
    for begin, end, kmh, over in sorted(found):
        if out and begin <= out[-1][1]:
            out[-1] = (out[-1][0], max(out[-1][1], end), max(out[-1][2], kmh), max(out[-1][3], over))
        else:
            out.append((begin, end, kmh, over))
    return out
