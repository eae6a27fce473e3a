"""How many of the routes between places go over each piece of road."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from tripplan.model.place import Spot
from tripplan.model.words import Offer
from tripplan.region.region import Region
from tripplan.roads.join import Joined
from tripplan.roads.joints import Ends
from tripplan.roads.network import Say
from tripplan.roads.times import Table, find_times, load_times

__all__ = ["MOST_SPOTS", "Traffic", "count_traffic", "traffic_spots"]

_T = TypeVar("_T")
I64 = NDArray[np.int64]

#: Most spots that routes are counted between.
MOST_SPOTS = 400
#: With fewer places than this, towns are counted too.
_FEW = 8


@dataclass(frozen=True, slots=True)
class Traffic:
    """Routes counted.

    Parameters
    ----------
    routes
        Ordered pairs of spots with a way of at most a day's drive.
    over
        (pieces) how many of them go over each piece.
    past
        (spots) how many go past each: over the junction where it meets the network.
    length_m
        (spots, spots) length of the ways, infinite where there is none [m].
    """

    routes: int
    over: I64
    past: I64
    length_m: NDArray[np.float64]


def traffic_spots(region: Region) -> tuple[list[Spot], int]:
    """Return the spots that routes are counted between, and how many places were left out for their number.

    Sites that may admit a van, services for all, and depots; where there are few, towns and villages too. Of too many, sites
    and depots go first and the rest is taken evenly.
    """
    first = [p for p in region.places if (p.role == "site" and p.admits != Offer.NO) or p.role == "depot"]
    rest = [p for p in region.places if p.role == "service" and p.admits != Offer.NO and not p.only_guests]
    taken = [*_evenly(first, MOST_SPOTS), *_evenly(rest, max(0, MOST_SPOTS - len(first)))]
    spots = [Spot(p.ref, p.name, p.lon, p.lat, p.index) for p in taken]
    if len(spots) < _FEW:
        towns = region.towns
        for row in _evenly(range(len(towns.name)), MOST_SPOTS // 4):
            name = region.string(int(towns.name[row]))
            spots.append(Spot(name, name, float(towns.lon_e7[row]) / 1e7, float(towns.lat_e7[row]) / 1e7))
    return spots, len(first) + len(rest) - len(taken)


def _evenly(items: Sequence[_T], most: int) -> list[_T]:
    if len(items) <= most:
        return list(items)
    return [items[k * len(items) // most] for k in range(most)]


def count_traffic(joined: Joined, *, day_s: float, progress: Say = None) -> Traffic:
    """Count the routes between all spots over each piece.

    Parameters
    ----------
    day_s
        Routes that take longer are not counted: nobody tows so far in a day [s].
    """
    network, joints = joined.network, joined.joints
    table = load_times(network, joined.key)
    if table is None or len(table.total_ms) != len(joined.spots):
        table = find_times(network, joints, joined.key, engine=joined.engine, progress=progress)
    counted = (table.total_ms > 0) & (table.total_ms <= day_s * 1000)
    over = np.zeros(len(network.region.pieces.way), np.int64)
    arcs = network.arcs
    from_way, to_way = np.zeros(len(joints.sources.spot), np.int64), np.zeros(len(joints.sinks.spot), np.int64)
    for i in np.flatnonzero(counted.any(axis=1)).tolist():
        through = counted[i] & (table.leaf[i] >= 0)
        if through.any():
            state, carried, roots = _tree_counts(table, i, np.flatnonzero(through))
            low, high = np.searchsorted(joints.sources.spot, (i, i + 1))
            source = low + np.searchsorted(joints.sources.state[low:high], state[roots])
            np.add.at(from_way, source, carried[roots])
            inner = np.delete(np.arange(len(state)), roots)
            arc = np.where(state < len(arcs.head), state, 0)
            extra = state >= len(arcs.head)
            arc[extra] = arcs.extra_arc[state[extra] - len(arcs.head)]
            np.add.at(over, arcs.piece[arc[inner]], carried[inner])
            np.add.at(to_way, table.way[i, through], 1)
    between = np.bincount(table.way[counted & (table.leaf == -2)], minlength=len(joints.direct.spot)).astype(np.int64)
    for ends, count in ((joints.sources, from_way), (joints.sinks, to_way), (joints.direct, between)):
        np.add.at(over, ends.part_piece, np.repeat(count, np.diff(ends.ptr)))
    length = np.where(table.total_ms < 0, np.inf, table.length_m)
    return Traffic(int(counted.sum()), over, _past(joined, over, joints.sources), length)


def _tree_counts(table: Table, i: int, to: I64) -> tuple[NDArray[np.int32], I64, I64]:
    """Return the states of a spot's tree, how many routes go over each, and the rows of its roots."""
    rows = slice(int(table.ptr[i]), int(table.ptr[i + 1]))
    parent = table.parent[rows]
    carried = np.bincount(table.leaf[i, to], minlength=len(parent)).tolist()
    up = parent.tolist()
    # Parents stand before their children.
    for node in range(len(up) - 1, -1, -1):
        if up[node] >= 0:
            carried[up[node]] += carried[node]
    return table.state[rows], np.array(carried, np.int64), np.flatnonzero(parent < 0).astype(np.int64)


def _past(joined: Joined, over: I64, sources: Ends) -> I64:
    """Return the routes over the junction where each spot meets the network; a route there has two pieces."""
    region, arcs = joined.network.region, joined.network.arcs
    meet = np.zeros(len(region.junctions.osm_id), np.int64)
    np.add.at(meet, region.pieces.a, over)
    np.add.at(meet, region.pieces.b, over)
    past = np.zeros(len(joined.spots), np.int64)
    head = arcs.place_of(np.array([arcs.head[arcs.arc_of_state(state)] for state in sources.state.tolist()], np.int64))
    np.maximum.at(past, sources.spot, meet[head] // 2 if len(head) else np.empty(0, np.int64))
    return past
