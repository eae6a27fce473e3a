"""Why a spot cannot be reached, in numbers: a search over every road from the network outwards."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tripplan.model.place import Spot
from tripplan.region.columns import HIGHWAYS, Access
from tripplan.region.region import Region
from tripplan.roads.nearest import PieceIndex
from tripplan.roads.network import Network
from tripplan.roads.tolls import BOOTH
from tripplan.roads.verdict import Verdict

__all__ = ["barrier_words", "diagnose", "metres"]

_FAR_M = (2_000.0, 10_000.0, 50_000.0, 500_000.0)
#: A barrier on the way weighs as much as so much refused road [m].
_BARRIER_M = 300.0


def metres(value: float) -> str:
    """Write a length as people say it: ``850 m``, ``3.1 km``, ``45 km``."""
    if value < 995:
        return f"{value:.0f} m"
    return f"{value / 1000:.1f} km" if value < 9950 else f"{value / 1000:.0f} km"


def diagnose(
    network: Network, core: NDArray[np.bool_], spots: Sequence[Spot], *, came_in: Sequence[bool], got_out: Sequence[bool],
) -> list[str]:  # fmt: skip
    """Say for each spot why it is not joined to the network.

    Parameters
    ----------
    core
        (junctions) the network that counts.
    came_in, got_out
        Whether a way to the spot, or one back, was found.
    """
    region, arcs = network.region, network.arcs
    who = "a car" if network.terms.every_road else "a van" if network.terms.van else "the car"
    if not core.any():
        return [f"the region has no connected roads that {who} may use"] * len(spots)
    every = PieceIndex(region.pieces, np.arange(len(region.pieces.way)))
    ends = core[region.pieces.a] | core[region.pieces.b]
    usable = PieceIndex(region.pieces, np.flatnonzero((arcs.verdict == Verdict.ROAD) & ends))
    outward = _Outward(network, core)
    told = []
    for spot, way_in, way_out in zip(spots, came_in, got_out, strict=True):
        points = _points(region, spot)
        nearest = _nearest(usable, points)
        any_road = _nearest(every, points)
        if way_in != way_out:
            lack = "a way in, but no way back" if way_in else "a way out, but no way in"
            far = f"; the nearest road with both is {metres(nearest[1])} away" if nearest else ""
            told.append(f"{lack} on roads that {who} may use{far}")
            continue
        far = f"the nearest road {who} may use is {metres(nearest[1])} away" if nearest else f"no road that {who} may use is near"
        if any_road is None or any_road[1] > _FAR_M[0]:
            told.append(far)
            continue
        trouble = outward.trouble(any_road[0])
        told.append(f"{trouble}; {far}" if trouble else far)
    return told


def _points(region: Region, spot: Spot) -> tuple[tuple[float, float], ...]:
    """Return the entrances of a spot's site where they are known, else its point."""
    entrances = region.places[spot.place].entrances if 0 <= spot.place < len(region.places) else ()
    return entrances or ((spot.lon, spot.lat),)


def _nearest(index: PieceIndex, points: Sequence[tuple[float, float]]) -> tuple[int, float] | None:
    """Return the piece nearest to any of some points, and how far it is [m]."""
    found = [near for lon, lat in points if (near := _first(index, lon, lat)) is not None]
    return min(found, key=lambda near: near[1], default=None)


def _first(index: PieceIndex, lon: float, lat: float) -> tuple[int, float] | None:
    for radius in _FAR_M:
        near = index.near(lon, lat, radius)
        if len(near.piece):
            return int(near.piece[0]), float(near.distance_m[0])
    return None


class _Outward:
    """Ways from the network to every other junction with the least refused road, directions disregarded."""

    def __init__(self, network: Network, core: NDArray[np.bool_]) -> None:
        from scipy.sparse import csr_array
        from scipy.sparse.csgraph import dijkstra

        self.network = network
        region, arcs = network.region, network.arcs
        pieces, n = region.pieces, len(core)
        roads = np.arange(len(pieces.way))
        self.node = np.where(core, 0, np.cumsum(~core)).astype(np.int64)
        size = int((~core).sum()) + 1
        self.cost = np.where(arcs.verdict > Verdict.LAST_MILE, pieces.length_m, pieces.length_m * 1e-3) + 1e-3
        barred = arcs.barred == Access.CLOSED
        a, b = pieces.a[roads], pieces.b[roads]
        weight = self.cost[roads] + _BARRIER_M * (barred[a].astype(float) + barred[b])
        u, v = np.minimum(self.node[a], self.node[b]), np.maximum(self.node[a], self.node[b])
        order = np.lexsort((roads, weight, v, u))
        order = order[u[order] != v[order]]
        if len(order):
            first = np.concatenate(([True], (np.diff(u[order]) != 0) | (np.diff(v[order]) != 0)))
            order = order[first]
        graph: Any = csr_array((weight[order], (u[order], v[order])), shape=(size, size))
        self.distance, self.before = dijkstra(graph, directed=False, indices=0, return_predecessors=True)
        self.code = u[order] * size + v[order]
        self.piece = roads[order]
        self.size, self.n = size, n
        junction = np.zeros(size, np.int64)
        junction[self.node] = np.arange(n)
        self.junction = junction
        self.label: Any = None

    def _alone_m(self, piece: int) -> float:
        """Return the length of all roads joined to a piece [m]."""
        from scipy.sparse import csr_array
        from scipy.sparse.csgraph import connected_components

        pieces = self.network.region.pieces
        if self.label is None:
            graph: Any = csr_array((np.ones(len(pieces.a), np.int8), (pieces.a, pieces.b)), shape=(self.n, self.n))
            self.label = connected_components(graph, directed=False)[1]
        return float(pieces.length_m[self.label[pieces.a] == self.label[pieces.a[piece]]].sum())

    def trouble(self, piece: int) -> str:
        """Say what stands between the network and a piece."""
        pieces, arcs = self.network.region.pieces, self.network.arcs
        a, b = int(self.node[pieces.a[piece]]), int(self.node[pieces.b[piece]])
        at = min((a, b), key=lambda node: (self.distance[node], node))
        if not np.isfinite(self.distance[at]):
            return f"its roads, {metres(self._alone_m(piece))} in all, are not joined to the rest of the roads"
        path = [piece]
        barrier = -1
        while at != 0:
            if arcs.barred[self.junction[at]] == Access.CLOSED:
                barrier = int(self.junction[at])
            before = int(self.before[at])
            low, high = min(at, before), max(at, before)
            path.append(int(self.piece[np.searchsorted(self.code, low * self.size + high)]))
            at = before
        return _words(self.network, path, barrier)


def _words(network: Network, path: list[int], barrier: int) -> str:
    region, verdict = network.region, network.arcs.verdict
    refused: dict[Verdict, list[int]] = {}
    for piece in path:
        code = Verdict(int(verdict[piece]))
        if code > Verdict.ENDS_ONLY:
            refused.setdefault(code, []).append(piece)
    over = refused.pop(Verdict.LAST_MILE, [])
    parts = [_SAY[code](network, rows, _length(region, rows)) for code, rows in sorted(refused.items(), reverse=True)]
    unknown_m = _length(region, over)
    if unknown_m > network.terms.last_mile_m:
        parts.append(f"{metres(unknown_m)} of road of unknown surface, where {metres(network.terms.last_mile_m)} is allowed")
    if barrier >= 0:
        parts.append(barrier_words(network, barrier))
    if not parts:
        along = " along the one-way roads and turns" if network.terms.van else ""
        return f"no way there and back{along} of its last {metres(_length(region, path))}"
    return "the way in has " + " and ".join(parts)


def barrier_words(network: Network, junction: int) -> str:
    """Name what stands at a junction, with its figure and the outfit's."""
    junctions, outfit = network.region.junctions, network.terms.outfit
    limits = ((junctions.max_height_m, outfit.height_m + outfit.height_clearance_m, "height"),
              (junctions.max_width_m, outfit.width_m + outfit.width_clearance_m, "width"))  # fmt: skip
    for limit, need, word in limits:
        if limit[junction] < need:
            return f"a point with a limit of {float(limit[junction]):g} m {word}, where {need:g} m are needed"
    if junctions.max_weight_kg[junction] < outfit.mass_kg:
        return f"a point with a limit of {float(junctions.max_weight_kg[junction]) / 1000:g} t"
    what = network.region.string(int(junctions.barrier[junction]))
    if what.startswith(BOOTH) and not network.terms.tolls:
        return "a toll booth, and tolls are ruled out"
    return f"a barrier ({what})" if what else "a barrier"


def _length(region: Region, rows: list[int]) -> float:
    return float(region.pieces.length_m[rows].sum())


def _surface(network: Network, rows: list[int], length_m: float) -> str:
    region = network.region
    longest = max(rows, key=lambda p: (region.pieces.length_m[p], -p))
    why = region.string(int(region.ways.surface_why[region.pieces.way[longest]]))
    return f"{metres(length_m)} of unsealed road" + (f" ({why})" if why else "")


def _unknown(network: Network, rows: list[int], length_m: float) -> str:
    region = network.region
    name = HIGHWAYS[int(region.ways.highway[region.pieces.way[rows[0]]])]
    return f"{metres(length_m)} of {name} road of unknown surface"


def _closed(network: Network, rows: list[int], length_m: float) -> str:
    region = network.region
    why = region.string(int(region.ways.access_why[region.pieces.way[rows[0]]]))
    return f"{metres(length_m)} of road closed to the outfit" + (f" ({why})" if why else "")


def _size(column: str, word: str, unit: str) -> Callable[[Network, list[int], float], str]:
    def say(network: Network, rows: list[int], _length_m: float) -> str:
        region = network.region
        limit = float(np.nanmin(getattr(region.ways, column)[region.pieces.way[rows]]))
        value = f"{limit / 1000:g} t" if unit == "t" else f"{round(limit, 2):g} m"
        return f"a limit of {value} {word}"

    return say


def _plain(text: str) -> Callable[[Network, list[int], float], str]:
    return lambda _network, _rows, length_m: f"{metres(length_m)} of {text}"


_SAY: dict[Verdict, Callable[[Network, list[int], float], str]] = {
    Verdict.UNKNOWN: _unknown,
    Verdict.UNSEALED: _surface,
    Verdict.TOLL: _plain("toll road"),
    Verdict.FERRY: _plain("ferry, not allowed"),
    Verdict.OFF_LIMITS: _plain("road in an area off limits"),
    Verdict.DATE: _plain("road closed on these dates"),
    Verdict.HEIGHT: _size("max_height_m", "height", "m"),
    Verdict.WIDTH: _size("max_width_m", "width", "m"),
    Verdict.LENGTH: _size("max_length_m", "length", "m"),
    Verdict.WEIGHT: _size("max_weight_kg", "weight", "t"),
    Verdict.AXLE_LOAD: _size("max_axle_kg", "axle load", "t"),
    Verdict.CLOSED: _closed,
}
