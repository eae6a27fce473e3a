"""Where spots leave and reach the road, or why they cannot."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass, fields
from math import nan
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tripplan.model.place import Spot
from tripplan.region.columns import HIGHWAYS, Flag
from tripplan.roads.ends import EndSearch, EndWay
from tripplan.roads.nearest import PieceIndex
from tripplan.roads.network import Network, Say
from tripplan.roads.store import digest, load_arrays, save_arrays
from tripplan.roads.verdict import Verdict

__all__ = ["Ends", "Joints", "find_joints", "joint_key"]

#: Rings of search around a spot [m].
_RINGS_M = (300.0, 700.0, 2000.0)
#: A spot so near to a usable road is on it whatever else is nearer: the grounds of a site, a lay-by [m].
_GROUNDS_M = 150.0
#: Further out, a road that the outfit may not use and that is nearer by more than this is the real access [m].
_NEARER_M = 50.0
#: Candidates no further than so much beyond the nearest good one compete: least unknown road, then the network itself [m].
_SAME_M = 30.0
_MOST_CANDIDATES = 40
_NOT_JOINED = tuple(HIGHWAYS.index(name) for name in ("motorway", "motorway_link", "ferry"))

F32 = NDArray[np.float32]
F64 = NDArray[np.float64]
I32 = NDArray[np.int32]
I64 = NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Ends:
    """Ways between spots and the network as columns, sorted by spot.

    Parameters
    ----------
    spot, state
        Spot number and see `EndWay.state`. ms: [ms]; dm: length [dm]; unknown_m: road of unknown surface [m].
    ptr
        Parts of way w are rows ``ptr[w]:ptr[w + 1]`` of part_piece, part_forward, part_from_m, part_to_m, part_ms.
    """

    spot: I32
    state: I32
    ms: I64
    dm: I64
    unknown_m: F64
    ptr: I64
    part_piece: I32
    part_forward: NDArray[np.bool_]
    part_from_m: F64
    part_to_m: F64
    part_ms: I64

    @classmethod
    def of(cls, ways: Sequence[tuple[int, EndWay]]) -> Ends:
        """Lay ways out as columns."""
        parts = [part for _, way in ways for part in way.parts]
        columns: list[list[Any]] = [list(c) for c in zip(*parts, strict=True)] or [[], [], [], [], []]
        metres = [sum(part[3] - part[2] for part in way.parts) for _, way in ways]
        return cls(
            spot=np.array([s for s, _ in ways], np.int32), state=np.array([w.state for _, w in ways], np.int32),
            ms=np.array([w.ms for _, w in ways], np.int64), dm=np.rint(np.array(metres, np.float64) * 10).astype(np.int64),
            unknown_m=np.array([w.unknown_m for _, w in ways], np.float64),
            ptr=np.concatenate(([0], np.cumsum([len(w.parts) for _, w in ways]))).astype(np.int64),
            part_piece=np.array(columns[0], np.int32), part_forward=np.array(columns[1], bool),
            part_from_m=np.array(columns[2], np.float64), part_to_m=np.array(columns[3], np.float64),
            part_ms=np.array(columns[4], np.int64),
        )  # fmt: skip


@dataclass(frozen=True, slots=True)
class Joints:
    """How each spot is joined.

    Parameters
    ----------
    reached
        (spots) whether the outfit can come and go. why_not: reason in words, "" where reached.
    off_road_m
        (spots) straight distance between the spot and its road [m], NaN where not reached.
    piece, along_m
        (spots) the road that each is joined to, -1 none, and where on it [m from its first point].
    sources, sinks, direct
        Ways into the network, out of it, and from spot to spot without it (``state`` is then the other spot).
    """

    reached: NDArray[np.bool_]
    why_not: tuple[str, ...]
    off_road_m: F32
    piece: I32
    along_m: F64
    sources: Ends
    sinks: Ends
    direct: Ends


def joint_key(network: Network, spots: Sequence[Spot], home: int | None, on_road: bool) -> str:
    """Return the key of these spots in this network."""
    return digest(network.key, [(s.lon, s.lat) for s in spots], home, on_road)


def find_joints(
    network: Network, spots: Sequence[Spot], *, home: int | None = None, on_road: bool = False, progress: Say = None
) -> Joints:
    """Join spots to a network, from its file when it was done before.

    Parameters
    ----------
    home
        A spot whose network counts when there are several (islands); else the largest counts.
    on_road
        The spots are points on the road (way-points): motorways, bridges and tunnels may be joined too.
    """
    path = network.file("joints", joint_key(network, spots, home, on_road))
    stored = _load(path)
    if stored is not None and len(stored.reached) == len(spots):
        return stored
    if progress:
        progress(f"Joining {len(spots)} places to the roads", nan)
    joints = _Joiner(network, spots, home, on_road).join()
    _save(path, joints)
    return joints


@dataclass(frozen=True, slots=True)
class _Try:
    """What came out for one spot."""

    piece: int = -1
    along_m: float = 0.0
    distance_m: float = np.nan
    leave: tuple[EndWay, ...] = ()
    arrive: tuple[EndWay, ...] = ()
    nearest_usable_m: float = np.inf
    seen_leave: bool = False
    seen_arrive: bool = False


class _Joiner:
    def __init__(self, network: Network, spots: Sequence[Spot], home: int | None, on_road: bool) -> None:
        self.network, self.spots, self.home = network, spots, home
        region, arcs = network.region, network.arcs
        way = region.pieces.way
        joinable = np.ones(len(way), bool)
        if not on_road:
            ways_ok = ~np.isin(region.ways.highway, _NOT_JOINED) & ((region.ways.flags & (Flag.TUNNEL | Flag.FERRY)) == 0)
            joinable = ways_ok[way]
        self.on_road = on_road
        self.usable = joinable & (arcs.verdict <= Verdict.LAST_MILE)
        self.index = PieceIndex(region.pieces, np.flatnonzero(joinable))

    def join(self) -> Joints:
        core = self.network.arcs.component == self._component()
        search = EndSearch(self.network, core)
        tries = [self._try(search, spot) for spot in self.spots]
        reached = np.array([t.piece >= 0 for t in tries], bool)
        spots_on: dict[int, list[tuple[int, float]]] = {}
        for number, t in enumerate(tries):
            if t.piece >= 0:
                spots_on.setdefault(t.piece, []).append((number, t.along_m))
        search = EndSearch(self.network, core, spots_on)
        direct = [
            (n, way)
            for n, t in enumerate(tries)
            if t.piece >= 0 and (len(spots_on[t.piece]) > 1 or any(len(w.parts) > 1 for w in t.leave))
            for way in search.between(n, t.piece, t.along_m)
        ]
        why_not = [""] * len(tries)
        if not reached.all():
            from tripplan.roads.diagnose import diagnose

            lost = np.flatnonzero(~reached).tolist()
            told = diagnose(
                self.network, core, [self.spots[n] for n in lost],
                came_in=[tries[n].seen_arrive for n in lost], got_out=[tries[n].seen_leave for n in lost],
            )  # fmt: skip
            for n, text in zip(lost, told, strict=True):
                why_not[n] = text
        return Joints(
            reached, tuple(why_not), np.array([t.distance_m for t in tries], np.float32),
            np.array([t.piece for t in tries], np.int32), np.array([t.along_m for t in tries], np.float64),
            Ends.of([(n, way) for n, t in enumerate(tries) for way in t.leave]),
            Ends.of([(n, way) for n, t in enumerate(tries) for way in t.arrive]), Ends.of(direct),
        )  # fmt: skip

    def _component(self) -> int:
        """Return the network that counts: the home spot's, else the largest."""
        component = self.network.arcs.component
        if self.home is None or component.max(initial=-1) <= 0:
            return 0
        found = self._try(EndSearch(self.network, component >= 0), self.spots[self.home])
        if found.piece < 0:
            return 0
        arcs = self.network.arcs
        return int(component[arcs.head[arcs.arc_of_state(found.leave[0].state)]])

    def _try(self, search: EndSearch, spot: Spot) -> _Try:
        best, nearest = _Try(), np.inf
        best_rank: tuple[float, bool, float, int] | None = None
        limit, seen_leave, seen_arrive = np.inf, False, False
        done: set[int] = set()
        for ring in _RINGS_M:
            near = self.index.near(spot.lon, spot.lat, ring)
            if not len(near.piece):
                continue
            access = float(near.distance_m[0])  # the nearest road of any kind
            for piece, distance, along in zip(near.piece.tolist(), near.distance_m.tolist(), near.along_m.tolist(), strict=True):
                if distance > limit or len(done) >= _MOST_CANDIDATES:
                    break
                if piece in done or not self.usable[piece]:
                    continue
                done.add(piece)
                nearest = min(nearest, distance)
                if distance > (_GROUNDS_M if not self.on_road else 0) and distance > access + _NEARER_M:
                    break
                leave = search.leave(piece, along)
                arrive = search.arrive(piece, along)
                seen_leave, seen_arrive = seen_leave or bool(leave), seen_arrive or bool(arrive)
                if leave and arrive:
                    limit = min(limit, distance + _SAME_M)
                    unknown = min(w.unknown_m for w in leave) + min(w.unknown_m for w in arrive)
                    on_network = all(len(w.parts) == 1 for w in (*leave, *arrive))
                    rank = (unknown, not on_network, distance, piece)
                    if best_rank is None or rank < best_rank:
                        best_rank = rank
                        best = _Try(piece, along, distance, tuple(leave), tuple(arrive))
            if best_rank is not None:
                return best
        return _Try(nearest_usable_m=nearest, seen_leave=seen_leave, seen_arrive=seen_arrive)


_PARTS = ("sources", "sinks", "direct")


def _save(path: Any, joints: Joints) -> None:
    arrays: dict[str, NDArray[Any]] = {name: getattr(joints, name) for name in ("reached", "off_road_m", "piece", "along_m")}
    arrays["why_not"] = np.frombuffer(json.dumps(joints.why_not).encode(), np.uint8)
    for part in _PARTS:
        arrays |= {f"{part}.{f.name}": getattr(getattr(joints, part), f.name) for f in fields(Ends)}
    save_arrays(path, arrays)


def _load(path: Any) -> Joints | None:
    names = ["reached", "off_road_m", "piece", "along_m", "why_not"]
    names += [f"{part}.{f.name}" for part in _PARTS for f in fields(Ends)]
    stored = load_arrays(path, tuple(names))
    if stored is None:
        return None
    try:
        why_not = tuple(str(text) for text in json.loads(stored["why_not"].tobytes()))
    except ValueError:
        return None
    ends = [Ends(**{f.name: stored[f"{part}.{f.name}"] for f in fields(Ends)}) for part in _PARTS]
    return Joints(stored["reached"], why_not, stored["off_road_m"], stored["piece"], stored["along_m"], *ends)
