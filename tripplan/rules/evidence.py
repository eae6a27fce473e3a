"""What a map's own tagged roads say of its untagged ones: blocks, roads, and which untagged road passes the rule.

Rows here are the *main* ways, tertiary and above. A *block* is a square of the map of `BLOCK_KM`; a *road* is a chain of
ways of one ref or name that touch. Evidence is counted in blocks, since ways of one neighbourhood are not independent.

An untagged main way passes (grade `PASSES`) when all of these hold:

1. of its class at least `LEAST_SEALED_KM` were seen sealed, and at least `LEAST_SHARE` of its km (smoothed) are, unless
   one single road is the exception;
2. of the nearest blocks in which its class is tagged, or it together with the next lower ones, so many are all sealed
   that the Wilson lower bound of their share reaches `LEAST_BLOCK_BOUND` (eleven of eleven do). One road speaks for
   `ROAD_BLOCKS` blocks at most. On a map that is not mixed (see below) the higher classes are heard besides where the class
   and lower ones reach `LEAST_OWN_BOUND` by themselves: then the nearest blocks within `MIXED_REACH_KM` in which any main road is tagged must reach
   `LEAST_BLOCK_BOUND`, with nothing unsealed in them but roads that end among tracks;
3. no unsealed main road carries its ref or name;
4. no unsealed road of its class or a higher one lies within two hops along main roads;
5. no unsealed road of its class lies within `CLASS_RADIUS_KM` (`PURE_RADIUS_KM` on a map that is not mixed, where one
   that ends among tracks speaks for no other road: rule 7 asks of such roads);
6. a bridge or tunnel is vouched for by bridges or tunnels, as 2 asks, or by sealed roads at both ends: it is laid apart;
7. it is no road that ends among tracks (`tripplan.rules.spurs`);
8. `tripplan.rules.presume` asks besides that the rule did not fail its own trial on this map.

Where more than `MIXED_SHARE` of the blocks hold something unsealed, roads that end among tracks aside, the map is *mixed*, and
what is far away no longer counts, and what is near counts further: 2 then looks at fewer blocks, none beyond `MIXED_REACH_KM`
(`PURE_REACH_KM` for a class of which, as of the higher ones, nothing unsealed was seen), and 1 allows no exception.

References
----------
E. B. Wilson (1927), Probable inference, the law of succession, and statistical inference, J. Am. Stat. Assoc. 22:209-212.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tripplan.rules.layout import BLOCK_KM, CLASSES, Layout, distinct

__all__ = [
    "APART", "CLASS_RADIUS_KM", "GRADES", "LEAST_BLOCK_BOUND", "MIXED", "NEAR", "PASSES", "SAME", "SEALED", "SPUR", "THIN", "UNSEALED",
    "UNTAGGED", "Verdict", "judge", "radius_km", "sealed_at_both_ends", "wilson_lower",
]  # fmt: skip

LEAST_SEALED_KM = 5.0
LEAST_SHARE = 0.98
#: Km of the overall share that a class's own km are mixed with.
SMOOTHING_KM = 2.0
LEAST_BLOCK_BOUND = 0.8
#: What a class and lower ones must reach by themselves before higher ones are heard (five sealed blocks of five do).
LEAST_OWN_BOUND = 0.64
CLASS_RADIUS_KM = 8.0
#: On a map where unsealed roads are exceptions, one speaks for the blocks around it: two of them, not for a whole district.
PURE_RADIUS_KM = 2 * BLOCK_KM
#: How many of the nearest blocks are looked at, and on a mixed map.
NEAREST, NEAREST_MIXED = 30, 15
MIXED_SHARE = 0.05
MIXED_REACH_KM, PURE_REACH_KM = 50.0, 100.0
#: For how many blocks one road speaks at most, however long it is.
ROAD_BLOCKS = 6
#: One-sided 95 %: with it eleven sealed blocks out of eleven reach the bound of 0.8.
WILSON_Z = 1.6448536269514722

SEALED, UNSEALED, UNTAGGED = 0, 1, 2
#: Grades of an untagged main way: passes; a bridge or tunnel with too few of its like tagged; one that ends among tracks; too few
#: tags of its class; tags that disagree; unsealed nearby; unsealed of the same ref or name.
PASSES, APART, SPUR, THIN, MIXED, NEAR, SAME = range(7)
GRADES: tuple[str, ...] = ("passes", "apart", "spur", "thin", "mixed", "near", "same")

Bools = NDArray[np.bool_]
F64 = NDArray[np.float64]
I64 = NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Verdict:
    """Answer for each main way that was asked for.

    Parameters
    ----------
    grade
        (M) of `GRADES`; -1 not asked.
    seen, good
        (M) nearest blocks that were looked at, and those all sealed.
    mixed
        Whether the map is mixed.
    helped
        (M) whether the blocks are those of all main roads, since higher classes were heard.
    """

    grade: NDArray[np.int8]
    seen: I64
    good: I64
    mixed: bool
    helped: Bools


def wilson_lower(good: NDArray[np.int64] | int, of: NDArray[np.int64] | int, z: float = WILSON_Z) -> F64:
    """Return the lower end of the Wilson score interval for a share; 0 where nothing was seen."""
    n = np.asarray(of, np.float64)
    safe = np.maximum(n, 1.0)
    p = np.asarray(good, np.float64) / safe
    centre = p + z * z / (2 * safe)
    spread = z * np.sqrt(p * (1 - p) / safe + z * z / (4 * safe * safe))
    return np.asarray(np.where(n > 0, (centre - spread) / (1 + z * z / safe), 0.0))


def radius_km(*, mixed: bool) -> float:
    """Return how far an unsealed road speaks against others of its class [km]."""
    return CLASS_RADIUS_KM if mixed else PURE_RADIUS_KM


def judge(roads: Layout, tag: NDArray[np.uint8], asked: Bools) -> Verdict:
    """Grade the asked ways by what ``tag`` ((M) `SEALED`, `UNSEALED`, `UNTAGGED`) shows of the others."""
    count, group = len(roads.row), roads.group
    unsealed, sealed = tag == UNSEALED, tag == SEALED
    way, block, mixed = _shown_blocks(roads, tag)
    seen, good = np.zeros(count, np.int64), np.zeros(count, np.int64)
    enough, helped = np.zeros(count, np.bool_), np.zeros(count, np.bool_)
    speaks = unsealed
    if not mixed and len(roads.among_tracks):
        speaks = unsealed & ~roads.among_tracks
    little, disagree = _class_faults(roads, sealed, unsealed, strict=mixed)
    for g in range(len(CLASSES)):
        mine = np.flatnonzero(asked & (group == g))
        if len(mine):
            at, back = np.unique(roads.mid_block[mine], return_inverse=True)
            near, fine = _nearest(roads, at, group[way], tag[way], block, g, mixed=mixed)
            if not mixed:
                more = _helped(roads, at, speaks[way], block, near, fine)
                near, fine = np.where(more > 0, more, near), np.where(more > 0, more, fine)
                helped[mine] = (more > 0)[back]
            seen[mine], good[mine] = near[back], fine[back]
            enough[mine] = (wilson_lower(fine, near) >= LEAST_BLOCK_BOUND)[back]
    grade = np.full(count, PASSES, np.int8)
    grade[~enough & (good == seen)] = THIN
    grade[~enough & (good < seen)] = MIXED
    grade[little[group]] = THIN
    grade[disagree[group] & (grade != THIN)] = MIXED
    grade[(grade == PASSES) & _structure_doubtful(roads, tag, asked)] = APART
    if len(roads.among_tracks):
        grade[(grade == PASSES) & roads.among_tracks] = SPUR
    grade[_close(roads, speaks, asked, radius_km(mixed=mixed)) | _hops(roads, unsealed)] = NEAR
    motorway = roads.plain_motorway
    grade[motorway] = PASSES
    grade[_same(roads.ref, unsealed) | _same(roads.name, unsealed)] = SAME
    grade[~asked] = -1
    return Verdict(grade, seen, good, mixed, helped)


def _shown_blocks(roads: Layout, tag: NDArray[np.uint8]) -> tuple[I64, I64, bool]:
    """Return the (way, block) pairs that count, and whether the map is mixed."""
    shown = tag[roads.on_way] != UNTAGGED
    way, block = roads.on_way[shown], roads.on_block[shown]
    unsealed = tag == UNSEALED
    if unsealed.any():
        # An unsealed road shorter than a block is one exception, though it lie across a border of blocks.
        bad = np.flatnonzero(unsealed)
        bad = bad[np.argsort(roads.km[bad], kind="stable")]
        total, longest = np.zeros(int(roads.road.max()) + 1), np.full(int(roads.road.max()) + 1, -1)
        np.add.at(total, roads.road[bad], roads.km[bad])
        longest[roads.road[bad]] = bad
        short = unsealed & (total[roads.road] < BLOCK_KM)
        keep = ~short[way] | ((longest[roads.road[way]] == way) & (roads.mid_block[way] == block))
        way, block = way[keep], block[keep]
    # What ends among tracks is never presumed, and says nothing of how mixed the other roads are.
    counts = ~(unsealed & roads.among_tracks)[way] if len(roads.among_tracks) else np.ones(len(way), np.bool_)
    tagged, bad_blocks = len(np.unique(block[counts])), len(np.unique(block[counts & (tag[way] == UNSEALED)]))
    code = distinct(roads.road[way] * (len(roads.block_xyz) + 1) + block)
    road = code // (len(roads.block_xyz) + 1)
    first = np.searchsorted(road, road)
    rank, of = np.arange(len(code)) - first, np.searchsorted(road, road, side="right") - first
    # Evenly spread along the road.
    spoken = (rank == 0) | (rank * ROAD_BLOCKS // of != (rank - 1) * ROAD_BLOCKS // of) | (of <= ROAD_BLOCKS)
    keep = np.isin(roads.road[way] * (len(roads.block_xyz) + 1) + block, code[spoken]) | (tag[way] == UNSEALED)
    return way[keep], block[keep], bad_blocks > MIXED_SHARE * tagged


def _class_faults(roads: Layout, sealed: Bools, unsealed: Bools, *, strict: bool) -> tuple[Bools, Bools]:
    """Return for each class whether too little of it was seen sealed, and whether too much was seen unsealed."""
    groups = len(CLASSES)
    good = np.bincount(roads.group[sealed], weights=roads.km[sealed], minlength=groups)
    bad = np.bincount(roads.group[unsealed], weights=roads.km[unsealed], minlength=groups)
    known = good + bad
    overall = good.sum() / known.sum() if known.sum() > 0 else 0.0
    share = (good + SMOOTHING_KM * overall) / (known + SMOOTHING_KM)
    exceptions = np.array([len(np.unique(roads.road[unsealed & (roads.group == g)])) for g in range(groups)])
    return good < LEAST_SEALED_KM, (share < LEAST_SHARE) & (exceptions >= (1 if strict else 2))


def _nearest(roads: Layout, at: I64, group: I64, tag: NDArray[np.uint8], block: I64, g: int, *, mixed: bool) -> tuple[I64, I64]:
    """Return for each block in ``at`` how many of the nearest tagged blocks were looked at for class ``g``, and how many are all sealed."""
    from scipy.spatial import cKDTree

    reach = MIXED_REACH_KM if (tag[group <= g] == UNSEALED).any() else PURE_REACH_KM
    best, near, fine = np.zeros(len(at)), np.zeros(len(at), np.int64), np.zeros(len(at), np.int64)
    for last in range(g, len(CLASSES)):
        mine = (group >= g) & (group <= last)
        shown = np.unique(block[mine])
        if not len(shown):
            continue
        bad = np.isin(shown, block[mine & (tag == UNSEALED)])
        most = min(NEAREST_MIXED if mixed else NEAREST, len(shown))
        away, which = cKDTree(roads.block_xyz[shown]).query(roads.block_xyz[at], k=np.arange(1, most + 1))
        within = away < reach if mixed else np.ones(away.shape, np.bool_)
        counted, good = within.sum(axis=1), (within & ~bad[which]).sum(axis=1)
        bound = wilson_lower(good, counted)
        better = bound > best if last > g else np.ones(len(at), np.bool_)
        best, near, fine = np.where(better, bound, best), np.where(better, counted, near), np.where(better, good, fine)
    return near, fine


def _helped(roads: Layout, at: I64, unsealed: Bools, block: I64, near: I64, fine: I64) -> I64:
    """Return for each block in ``at`` how many of the nearest ones, all sealed, speak once higher classes are heard; 0: they are not."""
    from scipy.spatial import cKDTree

    own = wilson_lower(fine, near)
    asks = np.flatnonzero((own >= LEAST_OWN_BOUND) & (own < LEAST_BLOCK_BOUND))
    more = np.zeros(len(at), np.int64)
    shown = np.unique(block)
    most = min(NEAREST, len(shown))
    if len(asks) and wilson_lower(most, most) >= LEAST_BLOCK_BOUND:
        away, which = cKDTree(roads.block_xyz[shown]).query(roads.block_xyz[at[asks]], k=np.arange(1, most + 1))
        within = away < MIXED_REACH_KM
        heard = within.sum(axis=1)
        bad = (within & np.isin(shown, block[unsealed])[which]).any(axis=1)
        more[asks] = np.where(~bad & (wilson_lower(heard, heard) >= LEAST_BLOCK_BOUND), heard, 0)
    return more


def _structure_doubtful(roads: Layout, tag: NDArray[np.uint8], asked: Bools) -> Bools:
    """Return the asked bridges and tunnels for which neither their like nor the roads at both ends speak."""
    doubtful = np.zeros(len(tag), np.bool_)
    for kind in (1, 2):
        alike = (roads.structure == kind) & (tag != UNTAGGED)
        seen = np.unique(roads.mid_block[alike])
        bad = np.unique(roads.mid_block[alike & (tag == UNSEALED)])
        if wilson_lower(len(seen) - len(bad), len(seen)) < LEAST_BLOCK_BOUND:
            doubtful |= asked & (roads.structure == kind)
    if doubtful.any():
        doubtful &= ~sealed_at_both_ends(roads, tag)
    return doubtful


def sealed_at_both_ends(roads: Layout, tag: NDArray[np.uint8]) -> Bools:
    """Return the ways that have another way tagged sealed at each of their ends."""
    touch = np.zeros(roads.joints + 1, np.int64)
    sealed = tag == SEALED
    np.add.at(touch, roads.at_joint[sealed[roads.at_way]], 1)
    own = sealed.astype(np.int64)[:, None]
    both: Bools = ((touch[roads.ends] - own) > 0).all(axis=1) & (roads.ends >= 0).all(axis=1)
    return both


def _same(number: I64, unsealed: Bools) -> Bools:
    """Return which ways carry a number that an unsealed one carries."""
    hit = np.zeros(int(number.max(initial=-1)) + 2, np.bool_)
    hit[number[unsealed & (number >= 0)]] = True
    hit[-1] = False
    return hit[number]


def _hops(roads: Layout, unsealed: Bools) -> Bools:
    """Return which ways reach an unsealed road of their class or a higher one over at most one other main road."""
    found = np.zeros(len(unsealed), np.bool_)
    for g in range(len(CLASSES)):
        frontier = unsealed & (roads.group <= g)
        if not frontier.any():
            continue
        for _ in range(2):
            touched = np.zeros(roads.joints, np.bool_)
            touched[roads.at_joint[frontier[roads.at_way]]] = True
            frontier = np.zeros(len(unsealed), np.bool_)
            frontier[roads.at_way[touched[roads.at_joint]]] = True
        found |= frontier & (roads.group == g)
    return found


def _close(roads: Layout, unsealed: Bools, asked: Bools, within_km: float) -> Bools:
    """Return which asked ways have an unsealed way of their class within the radius (the way's own half length on top)."""
    from scipy.spatial import cKDTree

    close = np.zeros(len(unsealed), np.bool_)
    for g in np.unique(roads.group[unsealed]):
        mine = np.flatnonzero(asked & (roads.group == g))
        bad = unsealed & (roads.group == g)
        if len(mine):
            # Its middle, and the blocks that it passes through.
            middles = roads.block_xyz[np.unique(roads.on_block[bad[roads.on_way]])]
            away, _ = cKDTree(np.concatenate((roads.xyz[bad], middles))).query(roads.xyz[mine])
            close[mine] = away < within_km + roads.km[mine] / 2
    return close
