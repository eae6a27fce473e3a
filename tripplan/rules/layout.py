"""The main roads of a map laid out for the evidence of surfaces: blocks that they pass through, joints, chains.

The *main* ways are those of tertiary class and above. A *block* is a square of the map; a *road* is a chain of main ways of
one ref or name that touch.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from tripplan.rules.access import ROAD_CLASSES

__all__ = ["BLOCK_KM", "CLASSES", "MAIN", "Layout", "blocks_of", "chains", "distinct", "lay_out"]

BLOCK_KM = 3.0
#: Classes below this number are main.
MAIN = ROAD_CLASSES.index("tertiary_link") + 1
CLASSES: tuple[str, ...] = ROAD_CLASSES[0:MAIN:2]
_EARTH_KM = 6371.009
_KM_PER_DEGREE = _EARTH_KM * np.pi / 180

Bools = NDArray[np.bool_]
F64 = NDArray[np.float64]
I64 = NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Layout:
    """The main ways of a map, M of them, as the evidence sees them; tags are not in it.

    Parameters
    ----------
    row
        (M) row of the caller. group: (M) class, position in `CLASSES`. plain_motorway: (M) a motorway, not its links.
    km, xyz
        (M) length [km], (M, 3) middle on a sphere [km].
    ref, name, road
        (M) numbers, negative: none; the chain that it belongs to.
    structure
        (M) 0 road, 1 bridge, 2 tunnel.
    on_way, on_block
        (N) the blocks each way passes through. block_xyz: (B, 3) middle of each. mid_block: (M) block of the way's middle.
    at_way, at_joint
        (J) the joints each way has. ends: (M, 2) joints at its ends.
    among_tracks
        (M) roads that end among tracks (`tripplan.rules.spurs`); empty: not looked at.
    """

    row: I64
    group: I64
    plain_motorway: Bools
    km: F64
    xyz: F64
    ref: I64
    name: I64
    road: I64
    structure: NDArray[np.uint8]
    on_way: I64
    on_block: I64
    block_xyz: F64
    mid_block: I64
    at_way: I64
    at_joint: I64
    ends: I64
    among_tracks: Bools = field(default_factory=lambda: np.zeros(0, np.bool_))

    @property
    def joints(self) -> int:
        """How many joint numbers there are."""
        return int(self.at_joint.max(initial=-1)) + 1


def blocks_of(lon: F64, lat: F64, km: float = BLOCK_KM) -> I64:
    """Number the blocks of the map: bands of ``km`` by latitude, cut every ``km`` along the band."""
    band = np.floor(lat * (_KM_PER_DEGREE / km)).astype(np.int64)
    low = int(band.min(initial=0))
    middles = (np.arange(low, int(band.max(initial=0)) + 1) + 0.5) * km / _KM_PER_DEGREE
    width = np.maximum(np.cos(np.radians(middles)), 0.01) * (_KM_PER_DEGREE / km)
    along = np.floor(lon * width[band - low]).astype(np.int64)
    blocks: I64 = band * 100_000 + along
    return blocks


def lay_out(
    highway: NDArray[np.uint8],
    length_m: F64,
    mid_lon: F64,
    mid_lat: F64,
    ref: NDArray[np.int32],
    name: NDArray[np.int32],
    way_ends: I64,
    points: tuple[I64, F64, F64] | None = None,
    joints: tuple[I64, I64] | None = None,
    structure: NDArray[np.uint8] | None = None,
) -> Layout:
    """Lay out the main ways of a map; arguments as in `tripplan.rules.presume.surface_evidence`."""
    row = np.flatnonzero(highway < MAIN)
    number = np.full(len(highway) + 1, -1, np.int64)
    number[row] = np.arange(len(row))
    lon, lat = mid_lon[row], mid_lat[row]
    mid = blocks_of(lon, lat)
    way, block = np.arange(len(row)), mid
    if points is not None:
        of = number[points[0]]
        mine = of >= 0
        way, block = np.concatenate((way, of[mine])), np.concatenate((block, blocks_of(points[1][mine], points[2][mine])))
    changed = np.append(True, (way[1:] != way[:-1]) | (block[1:] != block[:-1])) if len(way) else np.zeros(0, np.bool_)
    way, block = way[changed], block[changed]
    blocks, on_block = np.unique(block, return_inverse=True)
    pairs = distinct(way * max(len(blocks), 1) + on_block)
    ends = way_ends[row]
    at_way, at_joint = np.repeat(np.arange(len(row)), 2), ends.ravel()
    if joints is not None:
        of = number[joints[0]]
        at_way, at_joint = np.concatenate((at_way, of[of >= 0])), np.concatenate((at_joint, joints[1][of >= 0]))
    size = int(at_joint.max(initial=-1)) + 1
    at = distinct(at_way[at_joint >= 0] * max(size, 1) + at_joint[at_joint >= 0])
    at_way, at_joint = at // max(size, 1), at % max(size, 1)
    refs, names = ref[row].astype(np.int64), name[row].astype(np.int64)
    return Layout(
        row=row, group=(highway[row] // 2).astype(np.int64), plain_motorway=highway[row] == ROAD_CLASSES.index("motorway"), km=length_m[row] / 1000,
        xyz=_sphere(lon, lat), ref=refs, name=names, road=chains(len(row), at_way, at_joint, (refs, names)),
        structure=np.zeros(len(row), np.uint8) if structure is None else structure[row], on_way=pairs // max(len(blocks), 1),
        on_block=pairs % max(len(blocks), 1), block_xyz=_middles(blocks), mid_block=np.searchsorted(blocks, mid), at_way=at_way, at_joint=at_joint, ends=ends,
    )  # fmt: skip


def distinct(values: I64) -> I64:
    """Return the values sorted, each once."""
    # Sorting and comparing is many times as fast as np.unique on millions of values.
    ordered = np.sort(values)
    return ordered[np.append(True, ordered[1:] != ordered[:-1])] if len(ordered) else ordered


def _middles(blocks: I64) -> F64:
    band = np.floor_divide(blocks + 50_000, 100_000)
    lat = (band + 0.5) * BLOCK_KM / _KM_PER_DEGREE
    width = np.maximum(np.cos(np.radians(lat)), 0.01) * (_KM_PER_DEGREE / BLOCK_KM)
    return _sphere((blocks - band * 100_000 + 0.5) / width, lat)


def _sphere(lon: F64, lat: F64) -> F64:
    """Return points on a sphere [km]: chords serve as distances, and the date line is no wall."""
    x, y = np.radians(lon), np.radians(lat)
    return np.column_stack((np.cos(y) * np.cos(x), np.cos(y) * np.sin(x), np.sin(y))) * _EARTH_KM


def chains(ways: int, at_way: I64, at_joint: I64, carried: tuple[I64, ...]) -> I64:
    """Number the chains of ways that touch and carry one number (ref, name; negative: none) of any of the given kinds."""
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components

    first, second = [], []
    for number in carried:
        mine = np.flatnonzero(number[at_way] >= 0)
        key = at_joint[mine] * (int(number.max(initial=-1)) + 2) + number[at_way[mine]]
        order = np.argsort(key, kind="stable")
        same = np.flatnonzero(key[order][1:] == key[order][:-1])
        first.append(at_way[mine[order[same + 1]]])
        second.append(at_way[mine[order[same]]])
    a, b = np.concatenate(first), np.concatenate(second)
    joined: I64 = connected_components(coo_array((np.ones(len(a), np.int8), (a, b)), (ways, ways)), directed=False)[1].astype(
        np.int64
    )
    return joined
