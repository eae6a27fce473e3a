"""One way of a table, piece by piece."""

from __future__ import annotations

import numpy as np

from tripplan.model.place import Spot
from tripplan.model.plan import Leg, PieceRun
from tripplan.model.words import Surface
from tripplan.region.columns import Flag
from tripplan.roads.ends import Part
from tripplan.roads.engines import Row, end_keys
from tripplan.roads.hierarchy import open_shortcuts
from tripplan.roads.joints import Ends, Joints
from tripplan.roads.network import Network
from tripplan.roads.times import Table
from tripplan.roads.tolls import toll_stretches

__all__ = ["make_leg", "parts_of", "parts_of_row"]


def parts_of(network: Network, joints: Joints, table: Table, i: int, j: int) -> list[Part]:
    """Return the parts of the way from spot i to spot j in order of travel; none from a spot to itself.

    Raises
    ------
    LookupError
        When there is no way.
    """
    if i == j:
        return []
    node, way = int(table.leaf[i, j]), int(table.way[i, j])
    if node == -1:
        raise LookupError(f"no way from spot {i} to spot {j}")
    if node == -2:
        return _end_parts(joints.direct, way)
    return _state_parts(network, joints, table_states(network, table, i, j), way, i)


def table_states(network: Network, table: Table, i: int, j: int) -> list[int]:
    """Return the states of a way through the network, from the one that the source reaches to the one before the sink's arc."""
    start, node = int(table.ptr[i]), int(table.leaf[i, j])
    items = []
    while node >= 0:
        items.append(int(table.state[start + node]))
        node = int(table.parent[start + node])
    items.reverse()
    if table.back_leaf.size and table.back_leaf[i, j] >= 0:
        start, node = int(table.back_ptr[j]), int(table.back_leaf[i, j])
        while table.back_parent[start + node] >= 0:
            items.append(~int(table.back_edge[start + node]))
            node = int(table.back_parent[start + node])
    if min(items) >= 0:
        return items
    shortcuts = open_shortcuts(network)
    return [state for item in items for state in ([item] if item >= 0 else shortcuts.states([~item]))]


def parts_of_row(network: Network, joints: Joints, row: Row, i: int, j: int) -> list[Part]:
    """Return the parts of the way from spot i to spot j from the search of spot i alone."""
    if i == j:
        return []
    direct = joints.direct
    low, high = np.searchsorted(direct.spot, (i, i + 1))
    ways = low + np.flatnonzero(direct.state[low:high] == j)
    if len(ways) and end_keys(direct)[ways[0]] < row.best[j]:
        return _end_parts(direct, int(ways[0]))
    if row.leaf[j] < 0:
        raise LookupError(f"no way from spot {i} to spot {j}")
    states, node = [], int(row.leaf[j])
    while node >= 0:
        states.append(int(row.state[node]))
        node = int(row.parent[node])
    return _state_parts(network, joints, states[::-1], int(row.way[j]), i)


def _state_parts(network: Network, joints: Joints, states: list[int], sink: int, i: int) -> list[Part]:
    low, high = np.searchsorted(joints.sources.spot, (i, i + 1))
    source = int(low) + int(np.searchsorted(joints.sources.state[low:high], states[0]))
    arcs, length = network.arcs, network.region.pieces.length_m
    parts = _end_parts(joints.sources, source)
    for one in states[1:]:
        arc = arcs.arc_of_state(one)
        piece = int(arcs.piece[arc])
        parts.append((piece, bool(arcs.forward[arc]), 0.0, float(length[piece]), int(arcs.ms[arc])))
    return parts + _end_parts(joints.sinks, sink)


def make_leg(network: Network, joints: Joints, parts: list[Part], start: tuple[int, Spot], end: tuple[int, Spot]) -> Leg:
    """Make a leg of parts: its lengths by surface, its ferries and tolls."""
    region = network.region
    runs = PieceRun(
        tuple(p[0] for p in parts), tuple(p[1] for p in parts), tuple(p[2] for p in parts), tuple(p[3] for p in parts),
        tuple(p[4] / 1000 for p in parts),
    )  # fmt: skip
    piece = np.array(runs.piece, np.int64)
    way = region.pieces.way[piece]
    metres = np.array(runs.to_m) - np.array(runs.from_m)
    ferry = (region.ways.flags[way] & Flag.FERRY) != 0
    surface = region.ways.surface[way]
    ms = np.array([p[4] for p in parts], np.int64)
    off_road = 0.0 if start[0] == end[0] else float(joints.off_road_m[start[0]]) + float(joints.off_road_m[end[0]])
    return Leg(
        mode=network.terms.mode, start=start[1], end=end[1], length_m=float(metres.sum()),
        drive_s=int(ms[~ferry].sum()) / 1000, ferry_s=int(ms[ferry].sum()) / 1000,
        presumed_m=float(metres[(surface == Surface.PRESUMED) & ~ferry].sum()),
        unknown_m=float(metres[(surface == Surface.UNKNOWN) & ~ferry].sum()),
        off_road_m=off_road, tolls=toll_stretches(region, runs), runs=runs,
    )  # fmt: skip


def _end_parts(ends: Ends, way: int) -> list[Part]:
    rows = range(int(ends.ptr[way]), int(ends.ptr[way + 1]))
    return [
        (
            int(ends.part_piece[r]), bool(ends.part_forward[r]), float(ends.part_from_m[r]), float(ends.part_to_m[r]),
            int(ends.part_ms[r]),
        )
        for r in rows
    ]  # fmt: skip
