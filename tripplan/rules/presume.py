"""Which untagged roads may be presumed sealed, how likely each is to be sealed, and why.

The rule is in `tripplan.rules.evidence`, the trial of it on the map's own tags and the probability in
`tripplan.rules.trial`. A road is presumed sealed when it passes the rule, the rule did not fail its trial for that class,
and the probability is at least `LEAST_PROBABILITY`. A motorway is presumed sealed without evidence (wiki page
Key:surface: that may safely be assumed), unless an unsealed road carries its ref or name. Below tertiary nothing is
presumed. Where tags are few the rule falls silent. Where other classes speak for one whose own tags are too few to try the rule on
(`tripplan.rules.trial.Trial.tried`), only ways are presumed whose own road goes on sealed or that lie between sealed roads.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tripplan.rules.access import ROAD_CLASSES
from tripplan.rules.evidence import (
    APART,
    CLASS_RADIUS_KM,
    MIXED,
    NEAR,
    PASSES,
    SAME,
    SEALED,
    SPUR,
    THIN,
    UNSEALED,
    UNTAGGED,
    Verdict,
    judge,
    radius_km,
    wilson_lower,
)  # fmt: skip
from tripplan.rules.layout import BLOCK_KM, CLASSES, MAIN, Layout, blocks_of, lay_out
from tripplan.rules.spurs import among_tracks
from tripplan.rules.trial import FEATURES, TRIAL_BLOCK_KM, Trial, features_of, probability, try_out

__all__ = [
    "BLOCK_KM",
    "CLASS_RADIUS_KM",
    "LEAST_PROBABILITY",
    "SurfaceEvidence",
    "presume",
    "surface_evidence",
    "tried",
    "wilson_lower",
]

LEAST_PROBABILITY = 0.8
_TRACK = ROAD_CLASSES.index("track")
#: A feature is named as a reason when it moves the odds by this much.
_TELLING = 1.25

Bools = NDArray[np.bool_]
F64 = NDArray[np.float64]
I64 = NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class SurfaceEvidence:
    """What the map's own tags say of its untagged roads.

    Parameters
    ----------
    presumed
        (W) untagged ways that may be presumed sealed.
    p
        (W) probability that an untagged way of tertiary class or above is sealed; NaN for all others.
    reasons
        Texts. why: (W) position of a way's reason in them, -1 where there is no ``p``.
    trial
        What came of hiding tags on this map.
    mixed
        Whether the map is mixed (see `tripplan.rules.evidence`).
    grade
        (W) of `tripplan.rules.evidence.GRADES`; -1 where there is no ``p``.
    """

    presumed: Bools
    p: F64
    reasons: list[str]
    why: NDArray[np.int32]
    trial: Trial
    mixed: bool
    grade: NDArray[np.int8]


def surface_evidence(
    highway: NDArray[np.uint8],
    tagged: NDArray[np.uint8],
    length_m: F64,
    mid_lon: F64,
    mid_lat: F64,
    ref: NDArray[np.int32],
    name: NDArray[np.int32],
    way_ends: I64,
    *,
    points: tuple[I64, F64, F64] | None = None,
    joints: tuple[I64, I64] | None = None,
    structure: NDArray[np.uint8] | None = None,
    own: Mapping[str, Bools] | None = None,
    noted: Bools | None = None,
) -> SurfaceEvidence:
    """Weigh the evidence for every untagged road of tertiary class and above.

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
    points
        Way, longitude and latitude [degrees] of the points along the ways, for the blocks that a way passes through; its
        middle alone without them.
    joints
        Way and junction of every piece end, for junctions between a way's ends; the ends alone without them.
    structure
        (W) 0 road, 1 bridge, 2 tunnel.
    own
        (W) what the way's own tags and place say, words of `tripplan.rules.trial.FEATURES`.
    noted
        (W) ways of which somebody has noted lanes, lamps, speed or smoothness; none without it.
    """
    roads = lay_out(highway, length_m, mid_lon, mid_lat, ref, name, way_ends, points, joints, structure)
    mine = {word: has[roads.row] for word, has in (own or {}).items()}
    told = np.zeros(len(roads.row), np.bool_) if noted is None else noted[roads.row]
    roads = replace(roads, among_tracks=among_tracks(roads, highway, way_ends, joints, told))
    tag = np.minimum(tagged[roads.row], UNTAGGED)
    asked = tag == UNTAGGED
    verdict = judge(roads, tag, asked)
    features = features_of(
        roads,
        tag,
        _joins_unsealed(roads, highway, tagged, way_ends, joints),
        mine,
    )
    trial = try_out(roads, tag, features, blocks_of(mid_lon[roads.row], mid_lat[roads.row], TRIAL_BLOCK_KM))
    p = probability(trial, roads, verdict, features)
    passes = asked & (verdict.grade == PASSES)
    motorway = passes & roads.plain_motorway
    p[motorway] = np.fmax(p[motorway], 0.99)
    own_road = features["goes_on_sealed"] | features["both_ends"]
    tried_on = trial.tried[roads.group] | own_road
    taken = motorway | (passes & ~trial.failed[roads.group] & tried_on & (p >= LEAST_PROBABILITY))
    presumed, chance = np.zeros(len(highway), np.bool_), np.full(len(highway), np.nan)
    presumed[roads.row], chance[roads.row] = taken, p
    why = np.full(len(highway), -1, np.int32)
    reasons, which = _reasons(roads, tag, verdict, trial, features, taken, p)
    why[roads.row] = which
    grade = np.full(len(highway), -1, np.int8)
    grade[roads.row] = verdict.grade
    return SurfaceEvidence(presumed, chance, reasons, why, trial, verdict.mixed, grade)


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
    """Return ``presumed``, ``reasons`` and ``why`` of `surface_evidence`, from a way's middle and ends alone."""
    found = surface_evidence(highway, tagged, length_m, mid_lon, mid_lat, ref, name, way_ends)
    return found.presumed, found.reasons, found.why


def _joins_unsealed(
    roads: Layout, highway: NDArray[np.uint8], tagged: NDArray[np.uint8], way_ends: I64, joints: tuple[I64, I64] | None
) -> Bools:
    """Return which main ways an unsealed way below tertiary joins."""
    bad = (highway >= MAIN) & (highway <= _TRACK) & (tagged == UNSEALED)
    at = way_ends[bad].ravel() if joints is None else joints[1][bad[joints[0]]]
    hit = np.zeros(roads.joints, np.bool_)
    hit[at[(at >= 0) & (at < roads.joints)]] = True
    found = np.zeros(len(roads.row), np.bool_)
    found[roads.at_way[hit[roads.at_joint]]] = True
    return found


def _reasons(
    roads: Layout, tag: NDArray[np.uint8], verdict: Verdict, trial: Trial, features: Mapping[str, Bools], taken: Bools, p: F64
) -> tuple[list[str], NDArray[np.int32]]:
    """Return one text for each distinct set of reasons, and which each asked way has (-1: not asked)."""
    which = np.full(len(tag), -1, np.int32)
    rows = np.flatnonzero(tag == UNTAGGED)
    if not len(rows):
        return [], which
    telling = {word: has for word, has in features.items() if max(trial.ratio[word], 1 / trial.ratio[word]) >= _TELLING}
    columns: list[NDArray[Any]] = [
        roads.group, verdict.grade, np.minimum(verdict.seen, 99), np.minimum(verdict.good, 99), roads.plain_motorway, roads.structure > 0, taken, verdict.helped,
        *(features[word] for word in features),
    ]  # fmt: skip
    code = np.zeros(len(rows), np.int64)
    for column in columns:
        code = code * (100 if column is columns[2] or column is columns[3] else 8) + column[rows]
    _, first, back = np.unique(code, return_index=True, return_inverse=True)
    km = np.zeros((2, len(CLASSES)))
    for state in (SEALED, UNSEALED):
        km[state] = np.bincount(roads.group[tag == state], weights=roads.km[tag == state], minlength=len(CLASSES))
    which[rows] = back
    texts = []
    for row in rows[first]:
        has = [word for word in telling if features[word][row]]
        texts.append(_text(int(row), roads, verdict, trial, has, km, taken=bool(taken[row]), p=float(p[row])))
    return texts, which


def _text(
    row: int, roads: Layout, verdict: Verdict, trial: Trial, has: list[str], km: NDArray[np.float64], *, taken: bool, p: float
) -> str:
    g, grade, seen = int(roads.group[row]), int(verdict.grade[row]), int(verdict.seen[row])
    road = CLASSES[g]
    if roads.plain_motorway[row] and grade == PASSES:
        return "a motorway may safely be assumed sealed (OSM wiki, Key:surface)"
    bad = seen - int(verdict.good[row])
    blocks = f"{seen} nearest blocks of {BLOCK_KM:g} km where "
    if verdict.helped[row]:
        blocks += "main roads are tagged: none unsealed but what ends among tracks"
    else:
        blocks += "it or lower classes are tagged: " + ("none unsealed" if bad == 0 else f"{bad} with something unsealed")
    totals = f"{road}: {km[SEALED, g]:.0f} km seen sealed, {km[UNSEALED, g]:.1f} km unsealed"
    said = {
        PASSES: f"{totals}; {blocks}",
        THIN: f"too few {road} roads here are tagged to presume: {km[SEALED, g]:.0f} km sealed, {seen} blocks"
        + (" near enough on a map with both kinds" if verdict.mixed else ""),
        APART: f"{totals}; {blocks}; but bridges and tunnels are laid apart, and too few of them are tagged",
        SPUR: f"{totals}; {blocks}; but it ends where no main road goes on, among tracks and without a street",
        MIXED: f"tagged roads like it disagree: {totals}; {blocks}",
        NEAR: f"an unsealed road lies within two junctions, or one of its class within {radius_km(mixed=verdict.mixed):g} km",
        SAME: "an unsealed road carries the same ref or name",
    }[grade]
    if grade == PASSES:
        said += "; " + tried(trial, g)
        if not taken:
            said += "; so it is not presumed"
    words = [said]
    for heading, chosen in (
        ("for", [w for w in has if trial.ratio[w] > 1]),
        ("against", [w for w in has if trial.ratio[w] < 1]),
    ):
        if chosen:
            words.append(f"{heading} it: " + ", ".join(FEATURES[word] for word in chosen))
    return f"{percent_likely(p)} % likely sealed; " + "; ".join(words)


def percent_likely(p: float) -> str:
    """Say a probability in per cent, with a decimal more where it is nearly sure, and never as 100."""
    return f"{100 * p:.0f}" if p < 0.985 else f"{min(100 * p, 99.9):.1f}"


def tried(trial: Trial, g: int) -> str:
    """What the trial said of a class that passes: a bound by blocks, never a proof."""
    good, bad = int(trial.good[g, PASSES]), int(trial.bad[g, PASSES])
    asked = good + bad
    if not trial.tried[g]:
        return UNTRIED
    if asked == 0:
        return "with a part of its tags hidden the rule says nothing of the rest, so it was neither contradicted nor confirmed"
    if bad:
        return f"tags hidden and asked for again in {asked} blocks: contradicted in {bad}"
    if asked < 3:
        return "tags hidden and asked for again: silent but for a block or two, and there not contradicted"
    return f"tags hidden and asked for again in {asked} blocks: not contradicted (up to {300 / asked:.2g} % of blocks may be)"


#: What is said of a class of which less is presumed.
UNTRIED = "of its own too little is tagged to try the rule on, so only what goes on from sealed road is presumed"
