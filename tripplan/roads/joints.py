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
from tripplan.region.geometry import ROAD_REACH_M
from tripplan.roads.ends import EndSearch, EndWay
from tripplan.roads.nearest import PieceIndex
from tripplan.roads.network import Network, Say
from tripplan.roads.store import digest, load_arrays, save_arrays
from tripplan.roads.verdict import Verdict

__all__ = ["Ends", "Joints", "find_joints", "joint_key"]

#: Rings of search around a spot [m].
_RINGS_M = (300.0, 700.0, ROAD_REACH_M)
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
        (spots) straight distance between the spot, or the entrance of its site, and its road [m], NaN where not reached.
    piece, along_m
        (spots) the road that one comes to each by, -1 none, and where on it [m from its first point].
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


def joint_key(network: Network, spots: Sequence[Spot], home: int | Spot | None, on_road: bool) -> str:
    """Return the key of these spots in this network."""
    return digest(network.key, [(s.lon, s.lat, s.place) for s in spots], home, on_road)


def find_joints(
    network: Network, spots: Sequence[Spot], *, home: int | Spot | None = None, on_road: bool = False, progress: Say = None
) -> Joints:
    """Join spots to a network, from its file when it was done before.

    Parameters
    ----------
    home
        A spot, or the number of one, whose network counts when there are several (islands); else the largest counts.
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
class _Gate:
    """A point of a piece of road by which a spot is left, come to, or both."""

    piece: int
    along_m: float
    distance_m: float
    leave: tuple[EndWay, ...]
    arrive: tuple[EndWay, ...]


@dataclass(frozen=True, slots=True)
class _Try:
    """What came out for one spot: its gates, the best first; none when it is not reached."""

    gates: tuple[_Gate, ...] = ()
    seen_leave: bool = False
    seen_arrive: bool = False

    @property
    def arrival(self) -> _Gate | None:
        """The best gate to come in by."""
        return next((gate for gate in self.gates if gate.arrive), None)

    @property
    def off_road_m(self) -> float:
        """Greatest distance of a gate from the spot."""
        return max((gate.distance_m for gate in self.gates), default=np.nan)

    def ways(self, side: str) -> list[EndWay]:
        """Return the fastest ways out (``leave``) or in (``arrive``) over all gates, one a state."""
        best: dict[int, EndWay] = {}
        for gate in self.gates:
            for way in getattr(gate, side):
                if way.state not in best or way.ms < best[way.state].ms:
                    best[way.state] = way
        return [best[state] for state in sorted(best)]


class _Joiner:
    def __init__(self, network: Network, spots: Sequence[Spot], home: int | Spot | None, on_road: bool) -> None:
        self.network, self.spots = network, spots
        self.home = spots[home] if isinstance(home, int) else home
        region, arcs = network.region, network.arcs
        way = region.pieces.way
        joinable = np.ones(len(way), bool)
        if not on_road:
            ways_ok = ~np.isin(region.ways.highway, _NOT_JOINED) & ((region.ways.flags & (Flag.TUNNEL | Flag.FERRY)) == 0)
            joinable = ways_ok[way]
        self.on_road = on_road
        self.ferry = ((region.ways.flags & Flag.FERRY) != 0)[way]
        self.usable = joinable & (arcs.verdict <= Verdict.LAST_MILE)
        self.index = PieceIndex(region.pieces, np.flatnonzero(joinable))

    def join(self) -> Joints:
        core = self.network.arcs.component == self._component()
        search = EndSearch(self.network, core)
        tries = [self._try(search, spot) for spot in self.spots]
        reached = np.array([bool(t.gates) for t in tries], bool)
        spots_on: dict[int, list[tuple[int, float]]] = {}
        for number, t in enumerate(tries):
            for gate in t.gates:
                if gate.arrive:
                    spots_on.setdefault(gate.piece, []).append((number, gate.along_m))
        direct = self._direct(EndSearch(self.network, core, spots_on), tries, spots_on)
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
        arrivals = [t.arrival for t in tries]
        return Joints(
            reached, tuple(why_not), np.array([t.off_road_m for t in tries], np.float32),
            np.array([gate.piece if gate else -1 for gate in arrivals], np.int32),
            np.array([gate.along_m if gate else 0.0 for gate in arrivals], np.float64),
            Ends.of([(n, way) for n, t in enumerate(tries) for way in t.ways("leave")]),
            Ends.of([(n, way) for n, t in enumerate(tries) for way in t.ways("arrive")]), Ends.of(direct),
        )  # fmt: skip

    @staticmethod
    def _direct(
        search: EndSearch, tries: Sequence[_Try], spots_on: dict[int, list[tuple[int, float]]]
    ) -> list[tuple[int, EndWay]]:
        """Return the fastest ways from spot to spot that do without the network."""
        best: dict[tuple[int, int], EndWay] = {}
        for n, t in enumerate(tries):
            for gate in t.gates:
                if not gate.leave or not (len(spots_on.get(gate.piece, ())) > 1 or any(len(w.parts) > 1 for w in gate.leave)):
                    continue
                for way in search.between(n, gate.piece, gate.along_m):
                    if (n, way.state) not in best or way.ms < best[n, way.state].ms:
                        best[n, way.state] = way
        return [(n, best[n, other]) for n, other in sorted(best)]

    def _component(self) -> int:
        """Return the network that counts: the home spot's, else the largest."""
        component = self.network.arcs.component
        if self.home is None or component.max(initial=-1) <= 0:
            return 0
        found = self._try(EndSearch(self.network, component >= 0), self.home)
        if not found.gates:
            return 0
        arcs = self.network.arcs
        return int(component[arcs.head[arcs.arc_of_state(found.ways("leave")[0].state)]])

    def _try(self, search: EndSearch, spot: Spot) -> _Try:
        """Join a spot at the entrances of its site where these are known, else at its point."""
        entrances = self._entrances(spot)
        if not entrances:
            return self._at_point(search, spot.lon, spot.lat, _RINGS_M)
        tries = [self._at_point(search, lon, lat, (_GROUNDS_M,)) for lon, lat in entrances]
        seen = any(t.seen_leave for t in tries), any(t.seen_arrive for t in tries)
        # All gates about as near to their road and as good as the best one are used: the way decides between them.
        gates = sorted((gate for t in tries for gate in t.gates), key=lambda g: (_unknown_m(g), g.distance_m, g.piece, g.along_m))
        both = [gate for gate in gates if gate.leave and gate.arrive] or gates
        if not both:
            return _Try((), *seen)
        nearest, least = min(g.distance_m for g in both), _unknown_m(both[0])
        kept = [g for g in both if g.distance_m <= nearest + _SAME_M and _unknown_m(g) <= least + _SAME_M] or both[:1]
        if not (any(g.leave for g in kept) and any(g.arrive for g in kept)):
            kept = both
        return _Try(tuple(kept), *seen)

    def _entrances(self, spot: Spot) -> tuple[tuple[float, float], ...]:
        if self.on_road or not 0 <= spot.place < len(self.network.region.places):
            return ()
        return self.network.region.places[spot.place].entrances

    def _at_point(self, search: EndSearch, lon: float, lat: float, rings: Sequence[float]) -> _Try:
        best: _Gate | None = None
        best_rank: tuple[bool, float, bool, float, int] | None = None
        out: _Gate | None = None
        into: _Gate | None = None
        limit, done = np.inf, set[int]()
        for ring in rings:
            near = self.index.near(lon, lat, ring)
            if not len(near.piece):
                continue
            access = float(near.distance_m[0])  # the nearest road of any kind
            for piece, distance, along in zip(near.piece.tolist(), near.distance_m.tolist(), near.along_m.tolist(), strict=True):
                if distance > limit or len(done) >= _MOST_CANDIDATES:
                    break
                if piece in done or not self.usable[piece]:
                    continue
                done.add(piece)
                if distance > (_GROUNDS_M if not self.on_road else 0) and distance > access + _NEARER_M:
                    break
                gate = _Gate(piece, along, distance, tuple(search.leave(piece, along)), tuple(search.arrive(piece, along)))
                out = gate if gate.leave and out is None else out
                into = gate if gate.arrive and into is None else into
                if gate.leave and gate.arrive:
                    limit = min(limit, distance + _SAME_M)
                    on_network = all(len(w.parts) == 1 for w in (*gate.leave, *gate.arrive))
                    # Who stands on the quay is on the road there: boarding is the way's business.
                    rank = (bool(self.ferry[piece]), _unknown_m(gate), not on_network, distance, piece)
                    if best_rank is None or rank < best_rank:
                        best_rank, best = rank, gate
            if best is not None:
                return _Try((best,), seen_leave=True, seen_arrive=True)
        if out is not None and into is not None and not self.on_road and max(out.distance_m, into.distance_m) <= _GROUNDS_M:
            # One road leads in and another out, as at a lay-by: over the grounds one gets from the one to the other.
            return _Try((into, out), seen_leave=True, seen_arrive=True)
        return _Try(seen_leave=out is not None, seen_arrive=into is not None)


def _unknown_m(gate: _Gate) -> float:
    """Return the least road of unknown surface on the ways in and out [m]."""
    return sum(min((way.unknown_m for way in side), default=0.0) for side in (gate.leave, gate.arrive))


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
