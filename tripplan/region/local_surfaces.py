"""What a note of a road's surface says of the roads beside it: it may take a presumption away, never give one.

A note of ``unsealed`` is an unsealed road like any other: roads of its ref or name, roads a junction or two away and roads of its
class nearby are then presumed no longer. So is a note of ``unknown`` a sealed tag less. A note of ``sealed`` gives its neighbours
nothing: an operator notes the roads that are driven, which says nothing of those that are not, and the trial that presuming rests
on asks tags, which are laid by others. What was presumed without it stays presumed.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tripplan.model.words import Source, Surface
from tripplan.region.columns import Flag, Pieces, Ways
from tripplan.region.judge import tagged_code

__all__ = ["withdraw_presumed"]


def withdraw_presumed(
    before: Ways, after: Ways, pieces: Pieces, doubt: Mapping[int, str], number: Callable[[str], int]
) -> tuple[Ways, Mapping[str, float]]:  # fmt: skip
    """Take presumptions away that no longer hold with the notes in.

    Parameters
    ----------
    before, after
        Ways without and with the notes; the same rows.
    doubt
        Label of the note that says ``unsealed`` or ``unknown``, by row of the way.
    number
        Gives the number of a string.

    Returns
    -------
    Ways
        With what was presumed and is no longer as unknown, its reason naming the nearest of these notes; it has no
        probability any more.
    dict
        Length that each note took away [m], by label.
    """
    from tripplan.rules.evidence import GRADES, NEAR, PASSES, SAME, UNTAGGED, judge
    from tripplan.rules.layout import MAIN, lay_out

    main = [row for row in doubt if after.highway[row] < MAIN]
    if not main or not (after.surface == Surface.PRESUMED).any():
        return after, {}
    roads = lay_out(**_inputs(after, pieces))
    asked = (after.surface == Surface.PRESUMED)[roads.row]
    tags = [tagged_code(ways.surface)[roads.row] for ways in (before, after)]
    # What is sealed by a note counts for nothing here: see above.
    own = tags[1] != tags[0]
    tags[1] = np.where(own & (tags[1] == 0), tags[0], tags[1])
    grades = [judge(roads, np.minimum(tag, UNTAGGED), asked).grade for tag in tags]
    lost = np.flatnonzero(asked & (grades[1] != PASSES) & (grades[1] != grades[0]))
    if not len(lost):
        return after, {}
    said = np.flatnonzero(np.isin(roads.row, main))
    surface, source, why, p = after.surface.copy(), after.surface_source.copy(), after.surface_why.copy(), after.surface_p.copy()
    taken: dict[str, float] = {}
    for row in lost.tolist():
        nearest = said[np.linalg.norm(roads.xyz[said] - roads.xyz[row], axis=1).argmin()]
        label = doubt[int(roads.row[nearest])]
        way, grade = int(roads.row[row]), int(grades[1][row])
        words = {NEAR: "near an unsealed road", SAME: "of one ref or name with an unsealed road"}.get(
            grade, f"evidence now {GRADES[grade]}"
        )
        surface[way], source[way] = int(Surface.UNKNOWN), list(Source).index(Source.LOCAL_NOTE)
        why[way], p[way] = number(f"no surface tagged; presumed no longer: {words} ({label})"), np.nan
        taken[label] = taken.get(label, 0.0) + float(roads.km[row]) * 1000
    return replace(after, surface=surface, surface_source=source, surface_why=why, surface_p=p), taken


def _inputs(ways: Ways, pieces: Pieces) -> dict[str, Any]:
    """Return the arguments of `tripplan.rules.layout.lay_out` as the pieces of a region give them."""
    count = len(ways.osm_id)
    order = np.argsort(pieces.way, kind="stable")
    first, last = (
        np.searchsorted(pieces.way[order], np.arange(count)),
        np.searchsorted(pieces.way[order], np.arange(count), side="right"),
    )
    empty = first == last
    first, last = np.where(empty, 0, first), np.where(empty, 0, last - 1)
    middle = order[(first + last) // 2]
    at = (pieces.ptr[middle] + pieces.ptr[middle + 1]) // 2
    point_way = np.repeat(pieces.way, np.diff(pieces.ptr)).astype(np.int64)
    ends = np.column_stack((pieces.a[order[first]], pieces.b[order[last]])).astype(np.int64)
    ends[empty] = -1
    return {
        "highway": ways.highway, "length_m": np.bincount(pieces.way, weights=pieces.length_m, minlength=count).astype(np.float64),
        "mid_lon": pieces.lon_e7[at] / 1e7, "mid_lat": pieces.lat_e7[at] / 1e7, "ref": ways.ref, "name": ways.name, "way_ends": ends,
        "points": (point_way, pieces.lon_e7 / 1e7, pieces.lat_e7 / 1e7),
        "joints": (np.concatenate((pieces.way, pieces.way)).astype(np.int64), np.concatenate((pieces.a, pieces.b)).astype(np.int64)),
        "structure": _structure(ways.flags),
    }  # fmt: skip


def _structure(flags: NDArray[np.uint16]) -> NDArray[np.uint8]:
    return np.where(flags & Flag.TUNNEL, 2, np.where(flags & Flag.BRIDGE, 1, 0)).astype(np.uint8)
