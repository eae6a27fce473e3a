"""Times between all spots, and the trees that routes are read from, kept on disk."""

from __future__ import annotations

import os
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, fields
from math import nan

import numpy as np
from numpy.typing import NDArray

from tripplan.region.columns import Flag
from tripplan.region.region import Region
from tripplan.roads.engines import Row, Setting, end_keys, pick_engine
from tripplan.roads.joints import Ends, Joints
from tripplan.roads.kernels import INFINITE
from tripplan.roads.network import Network, Say
from tripplan.roads.store import load_arrays, save_arrays

__all__ = ["UNREACHABLE_S", "Matrix", "Table", "find_times", "load_times"]

#: Stands in a matrix where there is no way.
UNREACHABLE_S = 10**9

F32 = NDArray[np.float32]
F64 = NDArray[np.float64]
I32 = NDArray[np.int32]
I64 = NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Matrix:
    """Fastest ways between n spots, row: from, column: to.

    Parameters
    ----------
    total_s
        (n, n) time, ferries and waits included, rounded up [s]; `UNREACHABLE_S` where there is no way, 0 to itself.
    drive_s
        (n, n) the part at the wheel, rounded up [s].
    length_m
        (n, n) length along the fastest way, ferries included [m]; infinite where there is none.
    """

    total_s: I32
    drive_s: I32
    length_m: F32


@dataclass(frozen=True, slots=True)
class Table:
    """Matrix with the trees of its ways.

    Parameters
    ----------
    total_ms, drive_ms
        (n, n) [ms]; -1 where there is no way. length_m: (n, n) [m].
    ptr
        Nodes of spot i's tree are rows ``ptr[i]:ptr[i + 1]`` of state and parent (number within the tree, -1 at its root).
    leaf
        (n, n) node before the sink's arc; -1 no way, -2 a way from spot to spot that does without the network.
    way
        (n, n) row of the sinks, or of the direct ways.
    """

    total_ms: I64
    drive_ms: I64
    length_m: F64
    ptr: I64
    state: I32
    parent: I32
    leaf: I32
    way: I32

    def matrix(self) -> Matrix:
        """Return the times in whole seconds."""
        none = self.total_ms < 0
        total = np.where(none, UNREACHABLE_S, -(-self.total_ms // 1000)).astype(np.int32)
        drive = np.where(none, UNREACHABLE_S, -(-self.drive_ms // 1000)).astype(np.int32)
        return Matrix(total, drive, np.where(none, np.inf, self.length_m).astype(np.float32))


def load_times(network: Network, key: str) -> Table | None:
    """Read a table from its file; ``None`` when it was not made yet."""
    stored = load_arrays(network.file("times", key), tuple(f.name for f in fields(Table)))
    return Table(**stored) if stored is not None else None


def find_times(network: Network, joints: Joints, key: str, *, engine: str = "auto", progress: Say = None) -> Table:
    """Search from every spot that is joined, and keep the answer."""
    setting = Setting(network, joints)
    picked = pick_engine(setting, engine)
    n = len(joints.reached)
    spots = np.flatnonzero(joints.reached).tolist()

    def one(spot: int) -> Row:
        wanted = joints.reached.copy()
        wanted[spot] = False
        return picked.row(spot, wanted)

    if progress:
        progress(f"Working out times between {len(spots)} places", nan)
    with ThreadPoolExecutor(max(1, min(8, os.cpu_count() or 1))) as pool:
        rows = list(pool.map(one, spots)) if spots else []
    table = lay_out(network.region, joints, n, dict(zip(spots, rows, strict=True)))
    save_arrays(network.file("times", key), {f.name: getattr(table, f.name) for f in fields(Table)})
    return table


def lay_out(region: Region, joints: Joints, n: int, rows: dict[int, Row]) -> Table:
    """Lay the rows of a search out as one table; spots without a row get no ways but direct ones."""
    total = np.full((n, n), -1, np.int64)
    drive = np.full((n, n), -1, np.int64)
    length = np.full((n, n), np.inf)
    leaf = np.full((n, n), -1, np.int32)
    way = np.full((n, n), -1, np.int32)
    best = np.full((n, n), INFINITE, np.int64)
    sizes = np.zeros(n, np.int64)
    sea_out, sea_in, sea_direct = (ferry_part(region, ends) for ends in (joints.sources, joints.sinks, joints.direct))
    for i, row in rows.items():
        sizes[i] = len(row.state)
        found = np.flatnonzero(row.leaf >= 0)
        if not len(found):
            continue
        root = _roots(row)[row.leaf[found]]
        low, high = np.searchsorted(joints.sources.spot, (i, i + 1))
        source = low + np.searchsorted(joints.sources.state[low:high], row.state[root])
        sink = row.way[found]
        node = row.leaf[found]
        best[i, found] = row.best[found]
        leaf[i, found], way[i, found] = node, sink
        total[i, found] = joints.sources.ms[source] + row.ms[node] + joints.sinks.ms[sink]
        drive[i, found] = total[i, found] - (sea_out[source] + row.ferry_ms[node] + sea_in[sink])
        length[i, found] = (joints.sources.dm[source] + joints.sinks.dm[sink]) / 10 + row.length_m[node]
    direct = joints.direct
    keys = end_keys(direct)
    for d, (i, j) in enumerate(zip(direct.spot.tolist(), direct.state.tolist(), strict=True)):
        if keys[d] < best[i, j]:
            total[i, j], drive[i, j] = direct.ms[d], direct.ms[d] - sea_direct[d]
            length[i, j], leaf[i, j], way[i, j] = direct.dm[d] / 10, -2, d
    own = np.arange(n)
    total[own, own] = drive[own, own] = np.where(joints.reached, 0, -1)
    length[own, own] = np.where(joints.reached, 0.0, np.inf)
    order = sorted(rows)
    return Table(
        total, drive, length, np.concatenate(([0], np.cumsum(sizes))),
        np.concatenate([rows[i].state for i in order] or [np.empty(0, np.int32)]),
        np.concatenate([rows[i].parent for i in order] or [np.empty(0, np.int32)]), leaf, way,
    )  # fmt: skip


def _roots(row: Row) -> I32:
    """Return the root of each node of a tree."""
    roots: list[int] = []
    for node, up in enumerate(row.parent.tolist()):
        roots.append(node if up < 0 else roots[up])
    return np.array(roots, np.int32)


def ferry_part(region: Region, ends: Ends) -> I64:
    """Return the part of each way that is at sea [ms]."""
    at_sea = (region.ways.flags[region.pieces.way[ends.part_piece]] & Flag.FERRY) != 0
    gathered = np.concatenate(([0], np.cumsum(np.where(at_sea, ends.part_ms, 0))))
    return np.asarray(gathered[ends.ptr[1:]] - gathered[ends.ptr[:-1]], np.int64)
