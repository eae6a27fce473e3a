"""Where a map has too few tags to presume surfaces by, said class by class."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from tripplan.rules.evidence import APART, MIXED, NEAR, PASSES, SAME, SEALED, SPUR, THIN, UNSEALED
from tripplan.rules.layout import CLASSES, MAIN
from tripplan.rules.presume import SurfaceEvidence, tried

__all__ = ["words_by_class"]

#: Why an untagged road is not presumed sealed, by grade of `tripplan.rules.evidence`, in the order in which it is said.
_WHY: dict[int, str] = {
    THIN: "too few tags",
    APART: "bridges and tunnels of which too few are tagged",
    SPUR: "roads that end among tracks",
    MIXED: "tags that disagree",
    NEAR: "an unsealed road near",
    SAME: "an unsealed road of the same ref or name",
    PASSES: "not likely enough",
}


#: A class that takes no tags of its own.
MOTORWAYS = "motorways, not their links, may safely be assumed sealed (OSM wiki, Key:surface)"


def words_by_class(
    highway: NDArray[np.uint8],
    tagged: NDArray[np.uint8],
    length_m: NDArray[np.float64],
    found: SurfaceEvidence,
    said: NDArray[np.bool_],
) -> dict[str, str]:
    """Say for each class of which some road has no surface tagged how much of that is presumed, and why the rest is not.

    Parameters
    ----------
    highway, tagged, length_m
        (W) as in `tripplan.rules.presume.surface_evidence`.
    found
        What came of it.
    said
        (W) untagged ways that the answer is used for.

    Returns
    -------
    dict
        Class (tertiary and above, links with their class) to one line.
    """
    group, km = highway // 2, length_m / 1000
    lines = {}
    for g, road in enumerate(CLASSES):
        mine = (group == g) & (highway < MAIN)
        silent = mine & said
        total = float(km[silent].sum())
        if total == 0.0:
            continue
        taken = float(km[silent & found.presumed].sum())
        seen = f"{km[mine & (tagged == SEALED)].sum():,.1f} km tagged sealed, {km[mine & (tagged == UNSEALED)].sum():,.1f} km unsealed"
        rest = {why: float(km[silent & ~found.presumed & (found.grade == grade)].sum()) for grade, why in _WHY.items()}
        if bool(found.trial.failed[g]):
            rest["the rule was contradicted on this map's own tags"] = rest.pop(_WHY[PASSES])
        elif not found.trial.tried[g]:
            rest["too few tags to try the rule on"] = rest.pop(_WHY[PASSES])
        told = sorted(((-of, why) for why, of in rest.items() if of > 0), key=lambda pair: pair[0])
        if taken == 0.0:
            head = f"{told[0][1]} to presume by" if told[0][1] == _WHY[THIN] else f"{told[0][1]}"
            line = f"nothing presumed of {total:,.1f} km: {head} ({seen})"
            told = told[1:]
        else:
            how = MOTORWAYS if road == "motorway" and not found.trial.tried[g] else tried(found.trial, g)
            line = f"{taken:,.1f} of {total:,.1f} km presumed ({seen}; {how})"
        if told:
            line += "; not presumed: " + ", ".join(f"{-of:,.1f} km ({why})" for of, why in told)
        lines[road] = line
    return lines
