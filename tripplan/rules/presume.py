"""Which untagged roads may be presumed sealed, from what the region's own tagged roads say.

An untagged road of class tertiary or above is presumed sealed when all of these hold:

1. at least `LEAST_SEALED_KM` of its class were seen sealed, and the class's smoothed share of sealed km is at least `LEAST_SHARE`;
2. its class is tagged in enough blocks of the map: the Wilson lower bound on the share of blocks that are all sealed is at
   least `LEAST_BLOCK_BOUND` (eleven blocks, all sealed). Blocks of its class together with the next lower ones count
   too, if that bound is better: where minor roads are sealed everywhere, so are major ones;
3. no unsealed road carries its ref or its name;
4. no unsealed road of tertiary class or above lies within two hops of it along such roads;
5. no unsealed road of its class lies within `CLASS_RADIUS_KM`.

A motorway is presumed sealed without evidence (wiki page Key:surface: that may safely be assumed), unless 3 speaks
against it. Below tertiary nothing is presumed. Where tags are few the rule falls silent.

References
----------
E. B. Wilson (1927), Probable inference, the law of succession, and statistical inference, J. Am. Stat. Assoc. 22:209-212.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tripplan.rules.access import ROAD_CLASSES

__all__ = [
    "BLOCK_KM", "CLASS_RADIUS_KM", "LEAST_BLOCK_BOUND", "LEAST_SEALED_KM", "LEAST_SHARE", "ClassEvidence", "class_evidence",
    "presume", "wilson_lower",
]  # fmt: skip

LEAST_SEALED_KM = 5.0
LEAST_SHARE = 0.98
#: Km of the overall share that a class's own km are mixed with.
SMOOTHING_KM = 2.0
LEAST_BLOCK_BOUND = 0.8
BLOCK_KM = 3.0
CLASS_RADIUS_KM = 8.0
#: One-sided 95 %: with it eleven sealed blocks out of eleven reach the bound of 0.8.
WILSON_Z = 1.6448536269514722

_SEALED, _UNSEALED, _UNTAGGED = 0, 1, 2
_MAIN = ROAD_CLASSES.index("tertiary_link") + 1
_KM_PER_DEGREE = 6371.009 * np.pi / 180

Bools = NDArray[np.bool_]
F64 = NDArray[np.float64]
I64 = NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class ClassEvidence:
    """What the region says of each class from motorway to tertiary (links count with their class), 5 rows.

    Parameters
    ----------
    sealed_km, unsealed_km, untagged_km
        Length by tag [km]. share: sealed share of the tagged km, smoothed.
    blocks, sealed_blocks
        Blocks of `BLOCK_KM` in which the class (or it and lower ones, whichever bound is better) is tagged, and those
        without any unsealed. bound: Wilson lower bound of their share.
    """

    names: tuple[str, ...]
    sealed_km: F64
    unsealed_km: F64
    untagged_km: F64
    share: F64
    blocks: I64
    sealed_blocks: I64
    bound: F64

    @property
    def enough(self) -> Bools:
        """Which classes have evidence enough (rules 1 and 2)."""
        good: Bools = (self.sealed_km >= LEAST_SEALED_KM) & (self.share >= LEAST_SHARE) & (self.bound >= LEAST_BLOCK_BOUND)
        return good


def wilson_lower(good: NDArray[np.int64] | int, of: NDArray[np.int64] | int, z: float = WILSON_Z) -> F64:
    """Return the lower end of the Wilson score interval for a share; 0 where nothing was seen."""
    n = np.asarray(of, np.float64)
    safe = np.maximum(n, 1.0)
    p = np.asarray(good, np.float64) / safe
    centre = p + z * z / (2 * safe)
    spread = z * np.sqrt(p * (1 - p) / safe + z * z / (4 * safe * safe))
    return np.asarray(np.where(n > 0, (centre - spread) / (1 + z * z / safe), 0.0))


def class_evidence(
    highway: NDArray[np.uint8], tagged: NDArray[np.uint8], length_m: F64, mid_lon: F64, mid_lat: F64
) -> ClassEvidence:
    """Sum up what is tagged, by class (arguments as in `presume`)."""
    rows = np.flatnonzero(highway < _MAIN)
    group, tag, km = (highway[rows] // 2).astype(np.int64), tagged[rows], length_m[rows] / 1000
    groups = _MAIN // 2
    sums = np.zeros((3, groups))
    for code in (_SEALED, _UNSEALED, _UNTAGGED):
        mine = tag == code
        sums[code] = np.bincount(group[mine], weights=km[mine], minlength=groups)
    known = sums[_SEALED] + sums[_UNSEALED]
    overall = sums[_SEALED].sum() / known.sum() if known.sum() > 0 else 0.0
    share = (sums[_SEALED] + SMOOTHING_KM * overall) / (known + SMOOTHING_KM)
    blocks, sealed_blocks, bound = np.zeros(groups, np.int64), np.zeros(groups, np.int64), np.zeros(groups)
    seen_in, bad_in = _tagged_blocks(group, tag, _blocks(mid_lon[rows], mid_lat[rows]), groups)
    for first in range(groups):
        for last in range(first, groups):
            seen = int(seen_in[first : last + 1].any(axis=0).sum())
            good = seen - int(bad_in[first : last + 1].any(axis=0).sum())
            lower = float(wilson_lower(good, seen))
            if last == first or lower > bound[first]:
                blocks[first], sealed_blocks[first], bound[first] = seen, good, lower
    return ClassEvidence(
        ROAD_CLASSES[0:_MAIN:2], sums[_SEALED], sums[_UNSEALED], sums[_UNTAGGED], share, blocks, sealed_blocks, bound
    )


def _tagged_blocks(group: I64, tag: NDArray[np.uint8], block: I64, groups: int) -> tuple[Bools, Bools]:
    """Return (classes, blocks): whether the class is tagged there, and whether any of it is unsealed."""
    tagged = tag != _UNTAGGED
    numbers, where = np.unique(block[tagged], return_inverse=True)
    seen, bad = np.zeros((groups, len(numbers)), np.bool_), np.zeros((groups, len(numbers)), np.bool_)
    seen[group[tagged], where] = True
    unsealed = tag[tagged] == _UNSEALED
    bad[group[tagged][unsealed], where[unsealed]] = True
    return seen, bad


def _blocks(lon: F64, lat: F64) -> I64:
    """Number the blocks of the map: bands of `BLOCK_KM` by latitude, cut every `BLOCK_KM` along the band."""
    band = np.floor(lat * _KM_PER_DEGREE / BLOCK_KM).astype(np.int64)
    width = np.maximum(np.cos(np.radians((band + 0.5) * BLOCK_KM / _KM_PER_DEGREE)), 0.01) * _KM_PER_DEGREE
    along = np.floor(lon * width / BLOCK_KM).astype(np.int64)
    blocks: I64 = band * 100_000 + along
    return blocks


def presume(
    highway: NDArray[np.uint8],
    tagged: NDArray[np.uint8],
    length_m: F64,
    mid_lon: F64,
    mid_lat: F64,
    ref: NDArray[np.int32],
    name: NDArray[np.int32],
    way_ends: I64,
) -> tuple[Bools, list[str], NDArray[np.int32]]:
    """Presume untagged roads sealed where the evidence allows.

    Parameters
    ----------
    highway
        (W) road class, position in `tripplan.rules.access.ROAD_CLASSES`.
    tagged
        (W) 0 sealed, 1 unsealed, 2 untagged.
    length_m
        (W) length [m].
    mid_lon, mid_lat
        (W) a point in the middle [degrees].
    ref, name
        (W) number of the way's ref and name, negative: none.
    way_ends
        (W, 2) junctions at its two ends.

    Returns
    -------
    presumed
        (W) untagged ways that may be presumed sealed.
    templates
        Reasons in words.
    why
        (W) position in ``templates`` for each untagged way of tertiary class or above: why it is presumed, or why not;
        -1 for the others.
    """
    main = highway < _MAIN
    untagged = main & (tagged == _UNTAGGED)
    evidence = class_evidence(highway, tagged, length_m, mid_lon, mid_lat)
    unsealed = tagged == _UNSEALED
    group = np.minimum(highway // 2, _MAIN // 2).astype(np.int64)
    motorway = highway == ROAD_CLASSES.index("motorway")

    thin = untagged & ~np.append(evidence.enough, False)[group] & ~motorway
    same = untagged & (_shares(ref, unsealed & main) | _shares(name, unsealed & main))
    near = untagged & ~motorway & _within_two_hops(way_ends, main, unsealed)
    close = untagged & ~motorway & ~thin & _class_close(group, unsealed & main, mid_lon, mid_lat, length_m, untagged & ~thin)

    templates = [_words(evidence, g) for g in range(len(evidence.names))]
    why = np.full(len(highway), -1, np.int32)
    why[untagged] = group[untagged]
    for mask, words in (
        (close, f"an unsealed road of its class lies within {CLASS_RADIUS_KM:g} km"),
        (near, "an unsealed road lies within two junctions"),
        (same, "an unsealed road carries the same ref or name"),
    ):
        why[mask] = len(templates)
        templates.append(words)
    plain_motorway = untagged & motorway & ~same
    why[plain_motorway] = len(templates)
    templates.append("a motorway may safely be assumed sealed (OSM wiki, Key:surface)")
    few = np.flatnonzero(thin)
    why[few] = (len(templates) + group[few]).astype(np.int32)
    templates.extend(_too_little(evidence, g) for g in range(len(evidence.names)))
    return untagged & ~(thin | same | near | close), templates, why


def _words(evidence: ClassEvidence, g: int) -> str:
    return (
        f"{evidence.names[g]} roads here: {evidence.sealed_km[g]:.0f} km seen sealed, {evidence.unsealed_km[g]:.1f} km unsealed, evidence in "
        f"{evidence.blocks[g]} blocks of {BLOCK_KM:g} km; no unsealed one of its ref or name, within two junctions, or of its class "
        f"within {CLASS_RADIUS_KM:g} km"
    )


def _too_little(evidence: ClassEvidence, g: int) -> str:
    if evidence.unsealed_km[g] > 0 and evidence.share[g] < LEAST_SHARE:
        return f"{evidence.names[g]} roads here are {100 * evidence.share[g]:.0f} % sealed where tagged: not enough to presume"
    return (
        f"too few {evidence.names[g]} roads here are tagged: {evidence.sealed_km[g]:.0f} km sealed in {evidence.sealed_blocks[g]} of "
        f"{evidence.blocks[g]} blocks"
    )


def _shares(number: NDArray[np.int32], bad: Bools) -> Bools:
    """Return which ways carry a number that a bad way carries."""
    size = int(number.max(initial=-1)) + 1
    hit = np.zeros(size + 1, np.bool_)
    hit[number[bad & (number >= 0)]] = True
    hit[size] = False
    shared: Bools = hit[np.where(number >= 0, number, size)]
    return shared


def _within_two_hops(way_ends: I64, main: Bools, unsealed: Bools) -> Bools:
    """Return which ways reach an unsealed main road over at most one other main road."""
    size = int(way_ends.max(initial=-1)) + 1
    touched = np.zeros(size + 1, np.bool_)
    ends = np.where(way_ends >= 0, way_ends, size)
    reached = np.zeros(len(main), np.bool_)
    frontier = main & unsealed
    for _ in range(2):
        touched[ends[frontier]] = True
        touched[size] = False
        reached = main & touched[ends].any(axis=1)
        frontier = reached
    return reached


def _class_close(group: I64, bad: Bools, lon: F64, lat: F64, length_m: F64, asked: Bools) -> Bools:
    """Return which asked ways have a bad way of their class within the radius (the way's own half length on top)."""
    close = np.zeros(len(group), np.bool_)
    if not bad.any() or not asked.any():
        return close
    from scipy.spatial import cKDTree

    for g in np.unique(group[bad]):
        mine, others = np.flatnonzero(asked & (group == g)), np.flatnonzero(bad & (group == g))
        if not len(mine):
            continue
        # Chords on the unit sphere: no trouble at the date line or the poles.
        tree = cKDTree(_unit(lon[others], lat[others]))
        chord, _ = tree.query(_unit(lon[mine], lat[mine]))
        km = 2 * 6371.009 * np.arcsin(np.minimum(chord / 2, 1.0))
        close[mine] = km < CLASS_RADIUS_KM + length_m[mine] / 2000
    return close


def _unit(lon: F64, lat: F64) -> F64:
    x, y = np.radians(lon), np.radians(lat)
    return np.column_stack((np.cos(y) * np.cos(x), np.cos(y) * np.sin(x), np.sin(y)))
