"""Which pieces of road a closure or a wind warning means: by way, by running along a line, by lying in an area."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tripplan.model.closure import Closure
from tripplan.region.columns import Pieces
from tripplan.region.region import Region
from tripplan.request.spots import swapped
from tripplan.roads.areas import inside_ring

__all__ = ["Match", "PieceFinder", "match_closures"]

F64 = NDArray[np.float64]
Mask = NDArray[np.bool_]

#: So near a line a road must run, and so nearly the same way [m, degrees].
_NEAR_M, _ANGLE = 20.0, 25.0
#: A piece is meant where the line runs along this share of it, or along so much of it: nobody passes either way [m].
_SHARE, _LEAST_M = 0.5, 50.0
#: Of roads side by side only those that are so much farther from the line than the nearest one [m].
_BESIDE_M = 6.0
#: A road is in an area with so much of it [m], or half of it.
_INSIDE_M = 20.0
#: Step at which roads are looked at [m].
_STEP_M = 5.0
_METRES = 111_195.0
#: At most so many distances at once.
_BLOCK = 2_000_000


@dataclass(frozen=True, slots=True)
class Match:
    """What one closure means on this map.

    Parameters
    ----------
    pieces
        Rows of pieces. sides: for each, 0 as drawn, 1 against, 2 both directions are closed.
    sure
        ``sure``: by way, or all along and near; ``likely``: most of it; ``part``: it closes only part of a piece, whose rest
        counts as closed too; ``""``: nothing matched.
    why
        In words.
    """

    pieces: tuple[int, ...] = ()
    sides: tuple[int, ...] = ()
    sure: str = ""
    why: str = ""


def match_closures(region: Region, closures: Sequence[Closure]) -> tuple[Match, ...]:
    """Match each closure to the pieces of a region."""
    if not closures or not len(region.pieces.way):
        return tuple(Match(why="the region has no roads") for _ in closures)
    finder = PieceFinder(region)
    return tuple(finder.match(closure) for closure in closures)


class PieceFinder:
    """The pieces of a region with their boxes, ready to be searched."""

    def __init__(self, region: Region) -> None:
        self.region = region
        pieces: Pieces = region.pieces
        first = pieces.ptr[:-1]
        self.west, self.east = (f.reduceat(pieces.lon_e7, first) for f in (np.minimum, np.maximum))
        self.south, self.north = (f.reduceat(pieces.lat_e7, first) for f in (np.minimum, np.maximum))

    def match(self, closure: Closure) -> Match:
        """Match one closure."""
        if closure.ways:
            return self._by_way(closure)
        found = self._along(closure) if closure.lines else self._inside(closure)
        points = [point for part in closure.lines or closure.rings for point in part]
        if not found.pieces and all(swapped(self.region, lon, lat) for lon, lat in points):
            return Match(
                why="there are roads where it lies with latitude and longitude changed over: GeoJSON gives longitude first"
            )
        return found

    def _boxed(self, parts: Iterable[Sequence[tuple[float, float]]], pad_m: float) -> NDArray[np.intp]:
        """Rows whose box meets the box of any part."""
        hit = np.zeros(len(self.west), bool)
        for part in parts:
            line = np.asarray(part, np.float64)
            lat = float(np.abs(line[:, 1]).max())
            pad = np.array([pad_m / (_METRES * max(np.cos(np.radians(min(lat, 89.0))), 0.01)), pad_m / _METRES])
            (w, s), (e, n) = (line.min(axis=0) - pad) * 1e7, (line.max(axis=0) + pad) * 1e7
            hit |= (self.east >= w) & (self.west <= e) & (self.north >= s) & (self.south <= n)
        return np.flatnonzero(hit)

    # ---------------------------------------------------------------------------------------------- by way

    def _by_way(self, closure: Closure) -> Match:
        ways = self.region.ways
        of_way = np.flatnonzero(np.isin(ways.osm_id, np.asarray(closure.ways, np.int64)))
        rows = np.flatnonzero(np.isin(self.region.pieces.way, of_way))
        if not len(rows):
            return Match(why="the map has no such way")
        if closure.lines:
            found = self._along(closure, rows, least_m=_INSIDE_M)
            if found.pieces:
                return Match(found.pieces, found.sides, "sure", "by its way, where the line runs along it")
        elif closure.rings:
            found = self._inside(closure, rows)
            if found.pieces:
                return Match(found.pieces, found.sides, "sure", "by its way, inside the area")
        where = " as a whole: its line lies elsewhere" if closure.lines or closure.rings else ""
        return Match(tuple(rows.tolist()), (2,) * len(rows), "sure", f"by its way{where}")

    # ---------------------------------------------------------------------------------------------- along a line

    def _along(self, closure: Closure, among: NDArray[np.intp] | None = None, least_m: float = _LEAST_M) -> Match:
        lines = [np.asarray(line, np.float64) for line in closure.lines if len(line) >= 2]
        rows = self._boxed(closure.lines, _NEAR_M)
        if among is not None:
            rows = np.intersect1d(rows, among)
        if not len(rows):
            return Match(why="no road of the map is near")
        scale = _scale(lines[0][:, 1])
        origin = lines[0][0]
        start = np.vstack([(line[:-1] - origin) * scale for line in lines])
        end = np.vstack([(line[1:] - origin) * scale for line in lines])
        moved = np.hypot(*(end - start).T) > 0.01
        start, end = start[moved], end[moved]
        if not len(start):
            return Match(why="its line has no length")
        looks = [_look(self._line(int(row), origin, scale), start, end) for row in rows]
        # Where several roads run side by side the nearest one is meant, and who is hardly farther.
        step_of = np.concatenate([look.stretch[look.along] for look in looks])
        best = np.full(int(step_of.max(initial=0)) + 1, np.inf)
        for look in looks:
            np.minimum.at(best, look.stretch[look.along], look.off_m[look.along])
        pieces, sides, words, most = [], [], [], 0.0
        for row, look in zip(rows.tolist(), looks, strict=True):
            mine = look.along.copy()
            mine[look.along] = look.off_m[look.along] <= best[look.stretch[look.along]] + _BESIDE_M
            metres, share = float(look.length_m[mine].sum()), float(look.length_m[mine].sum() / max(look.length_m.sum(), 0.01))
            most = max(most, metres)
            if share < _SHARE and metres < least_m:
                continue
            off = float(look.off_m[mine].mean())
            against = float(look.length_m[mine & look.against].sum()) > metres / 2
            pieces.append(row)
            sides.append(int(against) if closure.one_way else 2)
            words.append("part" if share < _SHARE else "sure" if share >= 0.8 and off <= 8 else "likely")
        if not pieces:
            return Match(why=f"no road runs along it (the nearest for {most:.0f} m)" if most else "no road runs along it")
        sure = "likely" if "likely" in words else "part" if set(words) == {"part"} else "sure"
        told = {
            "sure": "the line runs along it",
            "likely": "the line runs along most of it, or at some distance",
            "part": "the line runs along part of it: the whole piece between junctions counts as closed",
        }
        return Match(tuple(pieces), tuple(sides), sure, told[sure])

    def _line(self, row: int, origin: F64, scale: F64) -> F64:
        pieces = self.region.pieces
        a, b = int(pieces.ptr[row]), int(pieces.ptr[row + 1])
        return (np.column_stack((pieces.lon_e7[a:b], pieces.lat_e7[a:b])) / 1e7 - origin) * scale

    # ---------------------------------------------------------------------------------------------- in an area

    def _inside(self, closure: Closure, among: NDArray[np.intp] | None = None) -> Match:
        rows = self._boxed(closure.rings, 0.0)
        if among is not None:
            rows = np.intersect1d(rows, among)
        rings = [np.asarray(ring, np.float64) for ring in closure.rings]
        origin, scale = rings[0][0], _scale(rings[0][:, 1])
        shut, part = [], False
        for row in rows.tolist():
            at, length_m, _ = _steps(self._line(row, origin, scale))
            lonlat = at / scale + origin
            within = np.zeros(len(at), bool)
            for ring in rings:
                within ^= inside_ring(lonlat[:, 0], lonlat[:, 1], ring)
            metres = float(length_m[within].sum())
            if metres >= min(_INSIDE_M, length_m.sum() / 2) and within.any():
                shut.append(row)
                part |= metres < length_m.sum() * 0.8
        if not shut:
            return Match(why="no road of the map lies in it")
        return Match(
            tuple(shut), (2,) * len(shut), "likely" if part else "sure",
            "inside the area" + (", some in part: whole pieces between junctions count as inside" if part else ""),
        )  # fmt: skip


@dataclass(frozen=True, slots=True)
class _Look:
    """Steps of one piece held against the segments of a line."""

    length_m: F64
    along: Mask
    off_m: F64
    against: Mask
    stretch: NDArray[np.int64]


def _scale(lat: F64) -> F64:
    """Return metres for a degree of longitude and of latitude where the line is."""
    return np.array([_METRES * max(float(np.cos(np.radians(lat.mean()))), 1e-3), _METRES])


def _steps(line: F64) -> tuple[F64, F64, F64]:
    """Cut a line into steps: their middles, lengths and headings (unit vectors)."""
    ahead = np.diff(line, axis=0)
    size = np.hypot(ahead[:, 0], ahead[:, 1])
    count = np.maximum(1, np.ceil(size / _STEP_M)).astype(np.int64)
    of = np.repeat(np.arange(len(size)), count)
    inner = np.arange(len(of)) - np.repeat(np.cumsum(count) - count, count)
    at = line[of] + ahead[of] * ((inner + 0.5) / count[of])[:, None]
    return at, size[of] / count[of], ahead[of] / np.maximum(size[of], 1e-9)[:, None]


def _look(line: F64, start: F64, end: F64) -> _Look:
    at, length_m, heading = _steps(line)
    ahead = end - start
    size = np.hypot(ahead[:, 0], ahead[:, 1])
    way = ahead / size[:, None]
    begin_m = np.concatenate(([0.0], np.cumsum(size)[:-1]))
    off, nearest, along_m = np.full(len(at), np.inf), np.zeros(len(at), np.int64), np.zeros(len(at))
    chunk = max(1, _BLOCK // len(start))
    for low in range(0, len(at), chunk):
        part = slice(low, low + chunk)
        gap = at[part, None, :] - start[None]
        t = np.clip((gap * way[None]).sum(axis=2), 0.0, size[None])
        distance = np.hypot(gap[..., 0] - t * way[None, :, 0], gap[..., 1] - t * way[None, :, 1])
        # A segment across the road is no way along it, however near.
        cosine = np.abs((heading[part, None, :] * way[None]).sum(axis=2))
        distance[cosine < np.cos(np.radians(_ANGLE))] = np.inf
        # Beyond the ends of the line is not along it.
        over = (gap * way[None]).sum(axis=2)
        outside = ((over < -_STEP_M) & (np.arange(len(start)) == 0)) | (
            (over > size + _STEP_M) & (np.arange(len(start)) == len(start) - 1)
        )
        distance[outside] = np.inf
        k = distance.argmin(axis=1)
        rows = np.arange(len(k))
        off[part], nearest[part], along_m[part] = distance[rows, k], k, begin_m[k] + t[rows, k]
    along = off <= _NEAR_M
    against = (heading * way[nearest]).sum(axis=1) < 0
    return _Look(length_m, along, off, against, (along_m / 10.0).astype(np.int64))
