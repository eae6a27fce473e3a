"""Rules for untagged roads to compare with: this program's, and the simple ones that it replaces."""

from __future__ import annotations

from typing import Any

import numpy as np
from scipy.spatial import cKDTree

from tripplan.rules.evidence import wilson_lower
from tripplan.rules.presume import surface_evidence

_KM_PER_DEGREE = 6371.009 * np.pi / 180


def by_evidence(made: dict[str, Any]) -> np.ndarray:
    """Return what this program presumes."""
    return surface_evidence(**made).presumed


def presume_all(made: dict[str, Any]) -> np.ndarray:
    """Return every untagged main road."""
    return (made["highway"] < 10) & (made["tagged"] == 2)


def class_share(made: dict[str, Any]) -> np.ndarray:
    """The Wilson bound on the share of the class's tagged ways that are sealed is at least 0.90."""
    asked, group = presume_all(made), np.minimum(made["highway"] // 2, 5)
    sealed = np.bincount(group[made["tagged"] == 0], minlength=6)
    known = sealed + np.bincount(group[made["tagged"] == 1], minlength=6)
    return asked & (wilson_lower(sealed, known) >= 0.9)[group]


def rule_b(made: dict[str, Any]) -> np.ndarray:
    """No training: smoothed class share of 0.98 on 5 km, and nothing unsealed of its name, within two hops, or of its class within 8 km."""
    asked, group, km = presume_all(made), np.minimum(made["highway"] // 2, 5), made["length_m"] / 1000
    main = made["highway"] < 10
    sealed_km = np.bincount(group[main & (made["tagged"] == 0)], weights=km[main & (made["tagged"] == 0)], minlength=6)
    bad = main & (made["tagged"] == 1)
    bad_km = np.bincount(group[bad], weights=km[bad], minlength=6)
    overall = sealed_km.sum() / max((sealed_km + bad_km).sum(), 1e-9)
    share = (sealed_km + 2 * overall) / (sealed_km + bad_km + 2)
    good = asked & ((share >= 0.98) & (sealed_km >= 5))[group]
    for number in (made["ref"], made["name"]):
        good &= ~((number >= 0) & np.isin(number, number[bad & (number >= 0)]))
    reached, ends = bad.copy(), made["way_ends"]
    for _ in range(2):
        reached = main & np.isin(ends, ends[reached]).any(axis=1)
    good &= ~reached
    x, y = np.radians(made["mid_lon"]), np.radians(made["mid_lat"])
    xyz = np.column_stack((np.cos(y) * np.cos(x), np.cos(y) * np.sin(x), np.sin(y))) * 6371.009
    for g in range(5):
        near, mine = bad & (group == g), np.flatnonzero(good & (group == g))
        if near.any() and len(mine):
            good[mine] = cKDTree(xyz[near]).query(xyz[mine])[0] >= 8 + km[mine] / 2
    return good


def rule_b_and_blocks(made: dict[str, Any]) -> np.ndarray:
    """The rule that was here before: rule B, and a Wilson bound of 0.8 on the blocks of 3 km of its class, or of it and lower ones."""
    group = np.minimum(made["highway"] // 2, 5)
    band = np.floor(made["mid_lat"] * _KM_PER_DEGREE / 3)
    width = np.cos(np.radians((band + 0.5) * 3 / _KM_PER_DEGREE)) * _KM_PER_DEGREE / 3
    block = (band * 100_000 + np.floor(made["mid_lon"] * width)).astype(np.int64)
    bound = np.zeros(6)
    for first in range(5):
        for last in range(first, 5):
            within = (group >= first) & (group <= last)
            seen = np.unique(block[within & (made["tagged"] < 2)])
            bad = np.unique(block[within & (made["tagged"] == 1)])
            bound[first] = max(bound[first], float(wilson_lower(len(seen) - len(bad), len(seen))))
    motorway = (made["highway"] == 0) & (made["tagged"] == 2)
    return (rule_b(made) & (bound >= 0.8)[group]) | motorway


RULES = {
    "presume all": presume_all, "class share, Wilson >= 0.90": class_share, "rule B": rule_b, "rule B + blocks (before)": rule_b_and_blocks,
    "this program": by_evidence,
}  # fmt: skip
