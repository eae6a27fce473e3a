"""The rule of `tripplan.rules.evidence` tried on the map's own tags, and the probability that follows from it.

Tags are hidden in whole blocks of the map together with whole roads, a fold at a time, and asked for. How often a class
and grade came back sealed, counted in blocks and drawn towards what its grade and the whole map say where it was seen
seldom, is the probability that an untagged way of that class and grade is sealed. What else is known of the way (its
road goes on sealed, a speed is posted, ...) moves the odds by a ratio that is learned from the tagged roads too, each road
counting once; a ratio stays near one where little speaks for it, and within `MOST_RATIO`. To lack such a thing moves
nothing: whoever tags a surface tags the rest as well, so untagged roads lack it anyhow.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tripplan.rules.evidence import GRADES, MIXED, PASSES, SEALED, UNSEALED, UNTAGGED, Verdict, judge, sealed_at_both_ends
from tripplan.rules.layout import CLASSES, Layout

__all__ = ["FEATURES", "Trial", "features_of", "probability", "try_out"]

FOLDS = 4
TRIAL_BLOCK_KM = 5.0
#: Blocks' worth of what the wider group says that a group's own blocks are mixed with.
DRAWN_BLOCKS = 2.0
#: So many blocks are counted against every way, however many speak for it: nothing is certain.
LEAST_AGAINST = 0.5
MOST_RATIO = 4.0
#: The trial asks at most about so many ways; on large maps it leaves folds out.
MOST_ASKED = 40_000
#: With tags in fewer blocks the rule cannot be tried on a class, and less of it is presumed.
LEAST_TRIED = 3
#: A class whose passed blocks were contradicted in more than this share, by two roads or more, is not presumed.
MOST_CONTRADICTED = 0.05

#: What is known of a way besides its grade, and how it is said.
FEATURES: dict[str, str] = {
    "goes_on_sealed": "its road goes on sealed",
    "both_ends": "sealed at both ends",
    "joins_unsealed": "an unsealed lane or track joins it",
    "posted": "a speed is posted",
    "lanes": "its lanes are counted",
    "lit": "lit",
    "town": "in a settlement",
}

Bools = NDArray[np.bool_]
F64 = NDArray[np.float64]
I64 = NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Trial:
    """What came of hiding tags.

    Parameters
    ----------
    good, bad
        (classes, grades) blocks in which every hidden way of that class and grade was sealed, and the others.
    failed
        (classes) whether the rule was contradicted too often to be used.
    ratio
        For each feature: how much likelier a sealed road is to have it than an unsealed one.
    """

    good: I64
    bad: I64
    failed: Bools
    ratio: dict[str, float]

    @property
    def tried(self) -> Bools:
        """(classes) whether the class has tags of its own in enough blocks to hide some and ask for them."""
        enough: Bools = (self.good + self.bad).sum(axis=1) >= LEAST_TRIED
        return enough


def features_of(roads: Layout, tag: NDArray[np.uint8], joins_unsealed: Bools, own: Mapping[str, Bools]) -> dict[str, Bools]:
    """Return the features of each main way; its own tag is not looked at."""
    sealed = tag == SEALED
    size = int(roads.road.max(initial=-1)) + 1
    key = roads.at_joint * max(size, 1) + roads.road[roads.at_way]
    keys, where = np.unique(key, return_inverse=True)
    others = np.bincount(where[sealed[roads.at_way]], minlength=len(keys))[where] - sealed[roads.at_way]
    goes_on = np.zeros(len(tag), np.bool_)
    goes_on[roads.at_way[others > 0]] = True
    goes_on &= (roads.ref >= 0) | (roads.name >= 0)
    return {"goes_on_sealed": goes_on, "both_ends": sealed_at_both_ends(roads, tag), "joins_unsealed": joins_unsealed, **own}


def try_out(roads: Layout, tag: NDArray[np.uint8], features: Mapping[str, Bools], trial_block: I64) -> Trial:
    """Hide and ask.

    Parameters
    ----------
    trial_block
        (M) block of `TRIAL_BLOCK_KM` of each way's middle.
    """
    classes, grades = len(CLASSES), len(GRADES)
    good, bad = np.zeros((classes, grades), np.int64), np.zeros((classes, grades), np.int64)
    passed_bad = np.zeros(len(tag), np.bool_)
    tagged = tag != UNTAGGED
    numbers, block = np.unique(trial_block[tagged], return_inverse=True)
    fold = np.full(len(tag), -1)
    fold[tagged] = (np.random.default_rng(0).permutation(len(numbers)) % FOLDS)[block]
    folds = FOLDS if tagged.sum() <= MOST_ASKED else max(1, int(FOLDS * MOST_ASKED / tagged.sum()))
    size = int(roads.road.max(initial=-1)) + 1
    for k in range(folds if len(numbers) > 1 else 0):
        asked = fold == k
        touched = np.zeros(size, np.bool_)
        touched[roads.road[asked]] = True
        verdict = judge(roads, np.where(touched[roads.road], UNTAGGED, tag).astype(np.uint8), asked)
        rows = np.flatnonzero(asked)
        unit, of = np.unique(
            (roads.mid_block[rows] * classes + roads.group[rows]) * grades + verdict.grade[rows], return_inverse=True
        )
        contradicted = np.bincount(of, weights=tag[rows] == UNSEALED, minlength=len(unit)) > 0
        at = (unit // grades % classes, unit % grades)
        np.add.at(good, at, ~contradicted)
        np.add.at(bad, at, contradicted)
        passed_bad |= asked & (verdict.grade == PASSES) & (tag == UNSEALED)
    roads_bad = np.array([len(np.unique(roads.road[passed_bad & (roads.group == g)])) for g in range(classes)])
    share = bad[:, PASSES] / np.maximum(good[:, PASSES] + bad[:, PASSES], 1)
    return Trial(good, bad, (roads_bad >= 2) & (share > MOST_CONTRADICTED), _ratios(roads, tag, features))


def _ratios(roads: Layout, tag: NDArray[np.uint8], features: Mapping[str, Bools]) -> dict[str, float]:
    """Return the ratio of each feature; a road counts once, however many ways it has."""
    tagged = tag != UNTAGGED
    ways = np.bincount(roads.road[tagged], minlength=int(roads.road.max(initial=-1)) + 1)
    weight = np.where(tagged, 1 / np.maximum(ways[roads.road], 1), 0.0)
    sealed, unsealed = weight * (tag == SEALED), weight * (tag == UNSEALED)
    found = {}
    for word, has in features.items():
        among_sealed = (sealed[has].sum() + 1) / (sealed.sum() + 2)
        among_unsealed = (unsealed[has].sum() + 2 * among_sealed) / (unsealed.sum() + 2)
        found[word] = float(np.clip(among_sealed / among_unsealed, 1 / MOST_RATIO, MOST_RATIO))
    return found


def probability(trial: Trial, roads: Layout, verdict: Verdict, features: Mapping[str, Bools]) -> F64:
    """Return the probability that each asked way is sealed, from its class, grade, nearest blocks and features; NaN for others.

    The blocks are those of the trial, or the nearest ones where they are more and the grade rests on them.
    """
    row = np.flatnonzero(verdict.grade >= 0)
    group, grade = roads.group[row], verdict.grade[row]
    good, asked = trial.good.astype(np.float64), (trial.good + trial.bad).astype(np.float64)
    whole = (good.sum() + 1) / (asked.sum() + 2)
    by_grade = (good.sum(axis=0) + DRAWN_BLOCKS * whole) / (asked.sum(axis=0) + DRAWN_BLOCKS)
    near = (verdict.seen[row] > asked[group, grade]) & (grade <= MIXED)
    of = np.where(near, verdict.seen[row], asked[group, grade])
    fine = np.where(near, verdict.good[row], good[group, grade])
    drawn = by_grade[grade]
    against = of - fine + np.maximum(DRAWN_BLOCKS * (1 - drawn), LEAST_AGAINST)
    odds = (fine + DRAWN_BLOCKS * drawn) / against
    for word, has in features.items():
        odds = odds * np.where(has[row], trial.ratio[word], 1.0)
    p: F64 = np.full(len(verdict.grade), np.nan)
    p[row] = odds / (1 + odds)
    return p
