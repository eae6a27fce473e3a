"""Times between all spots, and the trees that routes are read from, kept on disk."""

from __future__ import annotations

import os
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, fields
from math import nan
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tripplan.region.columns import Flag
from tripplan.region.region import Region
from tripplan.roads.engines import Row, Setting, end_keys, pick_engine
from tripplan.roads.hierarchy import Meetings, find_meetings, is_prepared, is_worthwhile
from tripplan.roads.joints import Ends, Joints
from tripplan.roads.kernels import INFINITE, compiled
from tripplan.roads.network import KEY_SHIFT, Network, Say
from tripplan.roads.store import load_arrays, save_arrays

__all__ = ["UNREACHABLE_S", "Matrix", "Table", "find_table", "find_times", "load_times", "pick_spots"]

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
    back_ptr, back_edge, back_parent, back_leaf
        The same for the second half of ways found in a prepared network, which leads to the spot; (0, 0) without. There
        ``~state`` is an edge of the hierarchy where ``state`` is negative, and ``back_edge`` always is (-1 at the root).
    """

    total_ms: I64
    drive_ms: I64
    length_m: F64
    ptr: I64
    state: I32
    parent: I32
    leaf: I32
    way: I32
    back_ptr: I64
    back_edge: I32
    back_parent: I32
    back_leaf: I32

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
    """Find the fastest ways between all spots that are joined, and keep the answer.

    Parameters
    ----------
    engine
        ``hierarchy``: prepare the network first; ``numba``, ``scipy``: search from every spot; ``auto``: what is sooner done.
    """
    setting = Setting(network, joints)
    n = len(joints.reached)
    spots = np.flatnonzero(joints.reached).tolist()
    if _prepares(network, engine, len(spots)):
        _ = network.hierarchy  # says so when it has to be made
        if progress:
            progress(f"Working out times between {len(spots)} places", nan)
        table = find_table(network, joints)
    else:
        picked = pick_engine(setting, engine)

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


def find_table(network: Network, joints: Joints) -> Table:
    """Find the fastest ways between all spots in the prepared network."""
    setting = Setting(network, joints)
    return lay_out_meetings(network.region, joints, find_meetings(setting, lambda: pick_engine(setting)))


def pick_spots(joints: Joints, spots: Sequence[int]) -> Joints:
    """Return the joints of some spots alone, numbered anew."""
    number = {spot: n for n, spot in enumerate(spots)}

    def some(ends: Ends, *, both: bool = False) -> Ends:
        rows = [r for s in spots for r in range(*np.searchsorted(ends.spot, (s, s + 1)).tolist())]
        rows = [r for r in rows if not both or int(ends.state[r]) in number]
        parts = np.array([p for r in rows for p in range(int(ends.ptr[r]), int(ends.ptr[r + 1]))], np.int64)
        state = [number[int(ends.state[r])] if both else int(ends.state[r]) for r in rows]
        return Ends(
            np.array([number[int(ends.spot[r])] for r in rows], np.int32), np.array(state, np.int32), ends.ms[rows], ends.dm[rows],
            ends.unknown_m[rows], np.concatenate(([0], np.cumsum([ends.ptr[r + 1] - ends.ptr[r] for r in rows]))).astype(np.int64),
            ends.part_piece[parts], ends.part_forward[parts], ends.part_from_m[parts], ends.part_to_m[parts], ends.part_ms[parts],
        )  # fmt: skip

    at = list(spots)
    return Joints(
        joints.reached[at], tuple(joints.why_not[s] for s in at), joints.off_road_m[at], joints.piece[at], joints.along_m[at],
        some(joints.sources), some(joints.sinks), some(joints.direct, both=True),
    )  # fmt: skip


def _prepares(network: Network, engine: str, spots: int) -> bool:
    if engine == "auto":
        return compiled() is not None and spots > 1 and (is_prepared(network) or is_worthwhile(network, spots))
    return engine == "hierarchy"


class _Cells:
    """The cells of a table while it is filled."""

    def __init__(self, region: Region, joints: Joints) -> None:
        n = len(joints.reached)
        self.joints = joints
        self.total, self.drive = np.full((n, n), -1, np.int64), np.full((n, n), -1, np.int64)
        self.length = np.full((n, n), np.inf)
        self.leaf, self.way = np.full((n, n), -1, np.int32), np.full((n, n), -1, np.int32)
        self.back_leaf = np.full((n, n), -1, np.int32)
        self.best = np.full((n, n), INFINITE, np.int64)
        self.sea = tuple(ferry_part(region, ends) for ends in (joints.sources, joints.sinks, joints.direct))

    def fill(self, i: int, row: Row) -> None:
        """Take over what a search from spot i found."""
        joints, found = self.joints, np.flatnonzero(row.leaf >= 0)
        if not len(found):
            return
        root = _roots(row)[row.leaf[found]]
        low, high = np.searchsorted(joints.sources.spot, (i, i + 1))
        source = low + np.searchsorted(joints.sources.state[low:high], row.state[root])
        sink, node = row.way[found], row.leaf[found]
        self.best[i, found], self.leaf[i, found], self.way[i, found] = row.best[found], node, sink
        self.put((i, found), source, sink, row.ms[node], row.ferry_ms[node], row.length_m[node])

    def put(self, at: Any, source: Any, sink: Any, ms: Any, ferry_ms: Any, length_m: Any) -> None:
        """Put down ways by the rows of their ends and what lies between."""
        sources, sinks = self.joints.sources, self.joints.sinks
        self.total[at] = sources.ms[source] + ms + sinks.ms[sink]
        self.drive[at] = self.total[at] - (self.sea[0][source] + ferry_ms + self.sea[1][sink])
        self.length[at] = (sources.dm[source] + sinks.dm[sink]) / 10 + length_m

    def finish(self) -> None:
        """Add the ways that do without the network, and those from a spot to itself."""
        direct, reached = self.joints.direct, self.joints.reached
        keys = end_keys(direct)
        for d, (i, j) in enumerate(zip(direct.spot.tolist(), direct.state.tolist(), strict=True)):
            if keys[d] < self.best[i, j]:
                self.best[i, j] = keys[d]
                self.total[i, j], self.drive[i, j] = direct.ms[d], direct.ms[d] - self.sea[2][d]
                self.length[i, j], self.leaf[i, j], self.back_leaf[i, j], self.way[i, j] = direct.dm[d] / 10, -2, -1, d
        own = np.arange(len(reached))
        self.total[own, own] = self.drive[own, own] = np.where(reached, 0, -1)
        self.length[own, own] = np.where(reached, 0.0, np.inf)


def lay_out(region: Region, joints: Joints, n: int, rows: dict[int, Row]) -> Table:
    """Lay the rows of a search out as one table; spots without a row get no ways but direct ones."""
    cells = _Cells(region, joints)
    sizes = np.zeros(n, np.int64)
    for i, row in rows.items():
        sizes[i] = len(row.state)
        cells.fill(i, row)
    cells.finish()
    order, none = sorted(rows), np.empty(0, np.int32)
    return Table(
        cells.total, cells.drive, cells.length, np.concatenate(([0], np.cumsum(sizes))),
        np.concatenate([rows[i].state for i in order] or [none]), np.concatenate([rows[i].parent for i in order] or [none]),
        cells.leaf, cells.way, np.zeros(1, np.int64), none, none, none.reshape(0, 0),
    )  # fmt: skip


def lay_out_meetings(region: Region, joints: Joints, meetings: Meetings) -> Table:
    """Lay out what was found in the prepared network."""
    cells = _Cells(region, joints)
    out, into = meetings.out, meetings.into
    i, j = np.nonzero(meetings.leaf >= 0)
    node, back = out.ptr[i] + meetings.leaf[i, j], into.ptr[j] + meetings.back_leaf[i, j]
    source, sink = out.root[node], into.root[back]
    between = meetings.best[i, j] - end_keys(joints.sources)[source] - end_keys(joints.sinks)[sink]
    cells.best[i, j], cells.leaf[i, j], cells.way[i, j] = meetings.best[i, j], meetings.leaf[i, j], sink
    cells.back_leaf[i, j] = meetings.back_leaf[i, j]
    cells.put(
        (i, j), source, sink, between >> KEY_SHIFT, out.ferry_ms[node] + into.ferry_ms[back], out.length_m[node] + into.length_m[back]
    )  # fmt: skip
    roots = out.parent < 0
    item = np.where(roots, joints.sources.state[out.root], ~out.edge).astype(np.int32)
    items, parents = np.split(item, out.ptr[1:-1]), np.split(out.parent, out.ptr[1:-1])
    for spot, row in meetings.again.items():
        cells.fill(spot, row)
        found = np.flatnonzero(row.leaf >= 0)
        size = len(items[spot])
        cells.leaf[spot, found] += size
        items[spot] = np.concatenate((items[spot], row.state))
        parents[spot] = np.concatenate((parents[spot], np.where(row.parent < 0, -1, row.parent + size))).astype(np.int32)
    cells.finish()
    return Table(
        cells.total, cells.drive, cells.length, np.concatenate(([0], np.cumsum([len(one) for one in items]))),
        np.concatenate(items), np.concatenate(parents), cells.leaf, cells.way,
        into.ptr, np.where(into.parent < 0, -1, into.edge).astype(np.int32), into.parent, cells.back_leaf,
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
