"""Does a way that somebody brings keep to sealed roads? And which way to advise instead.

The way-points are routed twice: over every road that a car may use, to see what they lead over, and over the roads
that the outfit may use. Where a leg keeps to these and is much longer for it, the direct way is told as well (`direct`).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from math import isfinite, nan
from pathlib import Path

import numpy as np

from tripplan.model.errors import BadInputError
from tripplan.model.place import Spot
from tripplan.model.plan import Leg, PieceRun
from tripplan.model.words import Surface
from tripplan.region.columns import Flag
from tripplan.region.geometry import piece_ends_m, piece_line
from tripplan.region.region import Region
from tripplan.request.spots import swapped
from tripplan.roads.check_legs import Brought, Gap, advise, consecutive
from tripplan.roads.closures import ClosureSet
from tripplan.roads.direct import DirectWay, direct_ways
from tripplan.roads.ferries import Crossing, crossings
from tripplan.roads.grounds import Grounds, barrier_ground, piece_grounds
from tripplan.roads.network import Network, Say, open_network
from tripplan.roads.terms import Terms
from tripplan.roads.tolls import toll_parts
from tripplan.roads.verdict import Verdict

__all__ = ["Boat", "CheckResult", "Detour", "Gap", "Places", "Stretch", "Toll", "check", "stretches_along", "tolls_along"]


@dataclass(frozen=True, slots=True)
class Stretch:
    """A part of the way that asks for attention: pieces of one way of the map, one after another, for the same reasons.

    Parameters
    ----------
    kind
        ``closed``, ``unsealed``, ``unknown``, ``ask first`` (what is signed could not be read) or ``presumed``: the gravest
        reason. why: all of them in words.
    forbidden
        Whether the outfit may not use it. phone_first: unknown surface inside the allowance at an end of the way.
    leg
        Number of the leg that it lies on, from 0.
    from_m, length_m
        Where it begins, from the start of the whole way, and its length [m]; a barrier has length 0.
    lon, lat
        Its middle [degrees]. town, town_km: nearest town or village and how far it is.
    sealed_p
        How likely it is sealed, by the evidence of the map's own tags (0 to 1; see `Ways.surface_p`), where no tag tells; NaN
        elsewhere. The reasons are among ``why``.
    """

    kind: str
    why: tuple[str, ...]
    forbidden: bool
    phone_first: bool
    leg: int
    from_m: float
    length_m: float
    osm_way: int
    name: str
    ref: str
    lon: float
    lat: float
    town: str
    town_km: float
    sealed_p: float = nan


@dataclass(frozen=True, slots=True)
class Toll:
    """One toll to pay: a road that is tagged so, or a booth (length 0), one after another counting as one.

    Parameters
    ----------
    from_m, length_m
        Where it begins, from the start of the whole way, and its length [m].
    osm_way
        The road paid for, with its name and ref. lon, lat: where it begins [degrees]. town, town_km: nearest town or village.
    """

    from_m: float
    length_m: float
    osm_way: int
    name: str
    ref: str
    lon: float
    lat: float
    town: str
    town_km: float


@dataclass(frozen=True, slots=True)
class Boat:
    """One ferry of the way, and where it begins, from the start of the whole way [m]."""

    from_m: float
    crossing: Crossing


@dataclass(frozen=True, slots=True)
class Detour:
    """A leg that keeps to the outfit's roads and is much longer than the direct way, which the outfit may not take.

    Parameters
    ----------
    way
        The direct way. stretches: what forbids it, in order of travel, lengths from its own start.
    """

    way: DirectWay
    stretches: tuple[Stretch, ...]

    @property
    def worst(self) -> Stretch:
        """The longest stretch that forbids it."""
        return max(self.stretches, key=lambda s: (s.length_m, -s.from_m))


@dataclass(frozen=True, slots=True)
class CheckResult:
    """What came out.

    Parameters
    ----------
    legs
        The way as brought, from each way-point to the next, over every road that a car may use; ``None`` where there is none.
    gaps
        Way-points that no road joins.
    stretches
        What asks for attention, in order of travel.
    advised
        The way over roads that the outfit may use: legs between the way-points that it can reach; empty when there is none.
    advised_gaps
        Way-points that the outfit cannot reach, or between which there is no sealed way.
    sealed_way
        Whether the outfit can go from the first way-point to the last.
    detours
        Legs with nothing forbidden whose direct way is closed to the outfit or not sealed.
    tolls, ferries
        Tolls and ferries of the way as brought.
    """

    waypoints: tuple[Spot, ...]
    legs: tuple[Leg | None, ...]
    gaps: tuple[Gap, ...]
    stretches: tuple[Stretch, ...]
    advised: tuple[Leg, ...]
    advised_gaps: tuple[Gap, ...]
    sealed_way: bool
    detours: tuple[Detour, ...] = ()
    tolls: tuple[Toll, ...] = ()
    ferries: tuple[Boat, ...] = ()

    @property
    def forbidden(self) -> bool:
        """Whether the way as brought must not be driven."""
        return any(s.forbidden for s in self.stretches) or bool(self.gaps)

    @property
    def length_m(self) -> float:
        """Length of the way as brought [m]."""
        return sum(leg.length_m for leg in self.legs if leg)

    @property
    def total_s(self) -> float:
        """Time of the way as brought at the outfit's speeds, ferries included [s]."""
        return sum(leg.drive_s + leg.ferry_s for leg in self.legs if leg)

    @property
    def more_km(self) -> float:
        """How much longer the advised way is [km]; NaN without one."""
        if not self.sealed_way or self.gaps:
            return float("nan")
        return (sum(leg.length_m for leg in self.advised) - self.length_m) / 1000

    @property
    def more_min(self) -> float:
        """How much longer the advised way takes [min]; NaN without one."""
        if not self.sealed_way or self.gaps:
            return float("nan")
        return (sum(leg.drive_s + leg.ferry_s for leg in self.advised) - self.total_s) / 60


def check(
    region: Region,
    waypoints: Sequence[Spot],
    terms_all_roads: Terms,
    terms_tow: Terms,
    closures: ClosureSet | None = None,
    *,
    cache: Path | None = None,
    progress: Say = None,
) -> CheckResult:
    """Check a way given by its way-points.

    Parameters
    ----------
    waypoints
        Two or more, in order of travel.
    terms_all_roads
        See `terms.terms_every_road`.
    terms_tow
        What the outfit may use.
    closures
        Closures by date in force; ``None``: none.

    Raises
    ------
    BadInputError
        With fewer than two way-points, or where none of them is near any road of the map.
    """
    if len(waypoints) < 2:
        raise BadInputError(f"{len(waypoints)} way-points", accepted="two or more", next_step="give the way's start and end")
    every = open_network(region, terms_all_roads, None, cache=cache, progress=progress)
    tow = open_network(region, terms_tow, closures, cache=cache, progress=progress)
    brought = Brought(every, waypoints, alone=True, progress=progress)
    if not brought.reached.any() and brought.off_the_map():
        turned = swapped(region, waypoints[0].lon, waypoints[0].lat)
        raise BadInputError(
            f"no way-point is near a road ({brought.why_not[0]})", where=region.meta.name,
            next_step="are latitude and longitude swapped?" if turned else "check the coordinates, and take the region that they lie in",
        )  # fmt: skip
    legs, gaps = consecutive(brought)
    runs = [leg.runs if leg else None for leg in legs]
    stretches = stretches_along(region, tow, runs)
    bad = {s.leg for s in stretches if s.forbidden}
    clear = [leg is not None and k not in bad for k, leg in enumerate(legs)]
    advised, advised_gaps, sealed = advise(Brought(tow, waypoints, alone=False, progress=progress), legs, clear)
    detours = _detours(region, tow, direct_ways(brought, tow, legs, clear))
    tolls = tolls_along(region, _together(runs))
    return CheckResult(
        tuple(waypoints), tuple(legs), tuple(gaps), tuple(stretches), advised, advised_gaps, sealed, detours, tuple(tolls),
        tuple(_ferries(region, legs, terms_tow)),
    )  # fmt: skip


def _together(legs: Sequence[PieceRun | None]) -> PieceRun:
    """Return all legs as one run, so that a toll paid across a way-point is one."""
    runs = [run for run in legs if run]
    columns = [tuple(x for run in runs for x in getattr(run, name)) for name in ("piece", "forward", "from_m", "to_m", "time_s")]
    return PieceRun(*columns)


def _ferries(region: Region, legs: Sequence[Leg | None], terms: Terms) -> list[Boat]:
    """List the ferries of the way in order of travel."""
    out, start = [], 0.0
    for leg in legs:
        if leg is None:
            continue
        runs = leg.runs
        ends = piece_ends_m(runs.from_m, runs.to_m)
        boat = (region.ways.flags[region.pieces.way[np.array(runs.piece, np.int64)]] & Flag.FERRY) != 0
        for crossing in crossings(region, leg, terms.outfit):
            row = int(boat.argmax())
            out.append(Boat(start + float(ends[row]), crossing))
            boat &= ends[1:] > ends[row] + crossing.length_m + 0.01
        start += float(ends[-1])
    return out


def _detours(region: Region, tow: Network, ways: Sequence[DirectWay]) -> tuple[Detour, ...]:
    out = []
    for way in ways:
        bad = tuple(s for s in stretches_along(region, tow, [way.runs]) if s.forbidden)
        if bad:
            out.append(Detour(way, bad))
    return tuple(out)


def tolls_along(region: Region, runs: PieceRun, start_m: float = 0.0) -> list[Toll]:
    """List the tolls of a way that begins so far along the whole [m]."""
    ends = piece_ends_m(runs.from_m, runs.to_m)
    place, out = Places(region), []
    for begin, end in toll_parts(region, runs):
        row = min(max(int(np.searchsorted(ends, begin, side="right")) - 1, 0), len(runs.piece) - 1)
        piece, way = runs.piece[row], int(region.pieces.way[runs.piece[row]])
        line = piece_line(region, piece, runs.forward[row], runs.from_m[row], max(runs.to_m[row], runs.from_m[row] + 0.5))
        lon, lat = float(line[0, 0]), float(line[0, 1])
        out.append(Toll(start_m + begin, end - begin, *_road(region, way), lon, lat, *place.near(lon, lat)))
    return out


def stretches_along(region: Region, tow: Network, legs: Sequence[PieceRun | None]) -> list[Stretch]:
    """List what asks for attention along the legs, ``None`` for one that has no way."""
    rows = [
        (number, piece, forward, start, end)
        for number, runs in enumerate(legs)
        if runs
        for piece, forward, start, end in zip(runs.piece, runs.forward, runs.from_m, runs.to_m, strict=True)
    ]
    at_end = _at_ends(tow, rows, [runs is None for runs in legs])
    out: list[Stretch] = []
    place = Places(region)
    known: dict[tuple[int, int, str], Grounds | None] = {}
    travelled, held = 0.0, None
    before = -1
    for row, (leg, piece, forward, start, end) in enumerate(rows):
        junction = int(region.pieces.a[piece] if forward else region.pieces.b[piece])
        if start <= 0 and before == junction and (barrier := barrier_ground(region, tow, junction)):
            lon, lat = region.junctions.lon_e7[junction] / 1e7, region.junctions.lat_e7[junction] / 1e7
            out.append(_stretch(region, barrier, leg, piece, travelled, 0.0, (lon, lat), place))
            held = None
        before = int(region.pieces.b[piece] if forward else region.pieces.a[piece])
        length = end - start
        way = int(region.pieces.way[piece])
        same = (way, int(tow.arcs.verdict[piece]), at_end[row])
        if same not in known:
            known[same] = piece_grounds(region, tow, piece, at_end[row])
        ground = known[same]
        if ground is None:
            held = None
        elif held == (leg, way, ground) and out:
            out[-1] = _longer(out[-1], length)
        else:
            line = piece_line(region, piece, forward, (start + end) / 2, end)
            out.append(_stretch(region, ground, leg, piece, travelled, length, (line[0, 0], line[0, 1]), place))
            held = (leg, way, ground)
        travelled += length
    return out


def _at_ends(tow: Network, rows: Sequence[tuple[int, int, bool, float, float]], missing: Sequence[bool]) -> list[str]:
    """Say for each piece how it stands to the ends of the way: "" in transit, ``within`` or ``beyond`` the allowance.

    An end goes on until the way reaches the outfit's connected network, and unknown road may be used there up to the
    firm's allowance. Where a leg is missing one way ends and another begins.
    """
    broken = np.cumsum(missing)[[row[0] for row in rows]] if rows else np.empty(0)
    cuts = [0, *(np.flatnonzero(np.diff(broken)) + 1).tolist(), len(rows)]
    out: list[str] = []
    for low, high in pairwise(cuts):
        out += _at_ends_of(tow, [row[1:] for row in rows[low:high]])
    return out


def _at_ends_of(tow: Network, rows: Sequence[tuple[int, bool, float, float]]) -> list[str]:
    arcs, pieces = tow.arcs, tow.region.pieces
    if not rows:
        return []
    number = np.array([row[0] for row in rows], np.int64)
    on = np.where(arcs.component[pieces.a[number]] == arcs.component[pieces.b[number]], arcs.component[pieces.a[number]], -1)
    on[arcs.verdict[number] != Verdict.ROAD] = -1
    # The largest network that the way is on: another one when it keeps to an island.
    home = int(on[on >= 0].min(initial=np.iinfo(np.int32).max))
    out = [""] * len(rows)
    for order in (range(len(rows)), range(len(rows) - 1, -1, -1)):
        unknown, end = 0.0, []
        for row in order:
            if on[row] == home:
                break
            _, _, start, stop = rows[row]
            end.append(row)
            unknown += stop - start if arcs.verdict[number[row]] == Verdict.LAST_MILE else 0.0
        for row in end:
            out[row] = "within" if unknown <= tow.terms.last_mile_m or out[row] == "within" else "beyond"
    return out


def _stretch(
    region: Region, ground: Grounds, leg: int, piece: int, from_m: float, length_m: float, at: tuple[float, float], place: Places
) -> Stretch:
    way = int(region.pieces.way[piece])
    return Stretch(
        ground.kind, ground.why, ground.forbidden, ground.phone_first, leg, from_m, length_m, *_road(region, way), float(at[0]), float(at[1]),
        *place.near(*at), _sealed_p(region, way) if length_m else nan,
    )  # fmt: skip


def _road(region: Region, way: int) -> tuple[int, str, str]:
    """Return OSM id, name and ref of a way."""
    return int(region.ways.osm_id[way]), region.string(int(region.ways.name[way])), region.string(int(region.ways.ref[way]))


def _sealed_p(region: Region, way: int) -> float:
    p = float(region.ways.surface_p[way])
    untold = region.ways.surface[way] in (Surface.PRESUMED, Surface.UNKNOWN)
    return p if untold and isfinite(p) else nan


def _longer(stretch: Stretch, length_m: float) -> Stretch:
    return replace(stretch, length_m=stretch.length_m + length_m)


class Places:
    """The nearest town or village."""

    def __init__(self, region: Region) -> None:
        self._region = region
        self._lon = region.towns.lon_e7 / 1e7
        self._lat = region.towns.lat_e7 / 1e7

    def near(self, lon: float, lat: float) -> tuple[str, float]:
        """Return its name and how far it is [km]; "" and NaN where the region has none."""
        if not len(self._lon):
            return "", float("nan")
        dx = ((self._lon - lon + 180) % 360 - 180) * np.cos(np.radians(lat))
        km = np.hypot(dx, self._lat - lat) * 111.195
        row = int(km.argmin())
        return self._region.string(int(self._region.towns.name[row])), float(km[row])
