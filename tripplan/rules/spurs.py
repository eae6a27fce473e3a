"""Main roads that end among tracks: what the tags of their class say is no word about them.

Where a map's unsealed main roads are few they are of this kind: they go on to no other main road, tracks join them, nobody lives on them, and
nobody has noted their lanes, lamps, speed or smoothness.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from tripplan.rules.access import ROAD_CLASSES
from tripplan.rules.layout import Layout, chains, distinct

__all__ = ["LEAST_TRACKS", "LEAST_TRACKS_A_KM", "among_tracks"]

LEAST_TRACKS, LEAST_TRACKS_A_KM = 2, 2.0

_TRACK = ROAD_CLASSES.index("track")
_STREETS = (ROAD_CLASSES.index("residential"), ROAD_CLASSES.index("living_street"))

Bools = NDArray[np.bool_]
I64 = NDArray[np.int64]


def among_tracks(
    roads: Layout,
    highway: NDArray[np.uint8],
    way_ends: I64,
    joints: tuple[I64, I64] | None,
    noted: Bools,
) -> Bools:
    """Return which main ways belong to a road that ends among tracks; a road here is what carries one name, else one ref.

    Parameters
    ----------
    highway, way_ends, joints
        Of all ways, as in `tripplan.rules.presume.surface_evidence`.
    noted
        (M) ways of which somebody has noted lanes, lamps, speed or smoothness.

    Returns
    -------
    ndarray of bool
        (M) where one of its ends meets no other main way, at least `LEAST_TRACKS` tracks and `LEAST_TRACKS_A_KM` a kilometre join it,
        no street does, and nothing is noted of any of its ways.
    """
    key = np.where(roads.name >= 0, roads.name, np.where(roads.ref >= 0, roads.ref + int(roads.name.max(initial=-1)) + 1, -1))
    road = chains(len(key), roads.at_way, roads.at_joint, (key,))
    size = int(road.max(initial=-1)) + 1
    km = np.bincount(road, weights=roads.km, minlength=size)
    met = np.bincount(roads.at_joint, minlength=roads.joints + 1)
    loose = np.zeros(size, np.bool_)
    end = ((met[roads.ends] == 1) & (roads.ends >= 0)).any(axis=1)
    loose[road[end]] = True
    pairs = distinct(road[roads.at_way] * (roads.joints + 1) + roads.at_joint)
    of, at = pairs // (roads.joints + 1), pairs % (roads.joints + 1)
    tracks = np.bincount(of, weights=_touching(highway == _TRACK, way_ends, joints, roads.joints)[at], minlength=size)
    streets = np.bincount(of, weights=_touching(np.isin(highway, _STREETS), way_ends, joints, roads.joints)[at], minlength=size)
    found = loose & (tracks >= LEAST_TRACKS) & (tracks >= LEAST_TRACKS_A_KM * km) & (streets == 0)
    found[road[noted]] = False
    return np.asarray(found[road])


def _touching(kind: Bools, way_ends: I64, joints: tuple[I64, I64] | None, most: int) -> I64:
    """Return how many ways of a kind touch each joint."""
    rows = np.flatnonzero(kind)
    way, joint = (np.repeat(rows, 2), way_ends[rows].ravel()) if joints is None else (joints[0], joints[1])
    mine = kind[way] & (joint >= 0) & (joint < most)
    once = distinct(joint[mine] * max(len(kind), 1) + way[mine])
    return np.bincount(once // max(len(kind), 1), minlength=most + 1)
