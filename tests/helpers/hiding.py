"""Ways to find out how good presumed surfaces are: hide tags and ask, thin them out, judge an old map by a new one.

Only main roads (tertiary and above) are asked for. What is hidden is hidden in whole blocks of the map together with whole
roads, a road being a chain of touching ways of one ref or one name, so that no road lies on both sides.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

SEALED, UNSEALED, UNTAGGED = 0, 1, 2
KM_PER_DEGREE = 6371.009 * np.pi / 180
CLASSES = ("motorway", "trunk", "primary", "secondary", "tertiary")

Rule = Callable[[dict[str, Any]], np.ndarray]


@dataclass(frozen=True)
class Map:
    """A map as the rules see it, with what the protocols need besides: way ids, roads, and the points of every way."""

    name: str
    date: str
    inputs: dict[str, Any]
    way_id: np.ndarray
    road: np.ndarray
    line_way: np.ndarray
    line_ptr: np.ndarray
    lon: np.ndarray
    lat: np.ndarray

    @property
    def tagged(self) -> np.ndarray:
        return self.inputs["tagged"]

    @property
    def km(self) -> np.ndarray:
        return self.inputs["length_m"] / 1000

    @property
    def main(self) -> np.ndarray:
        return self.inputs["highway"] < 10

    @property
    def group(self) -> np.ndarray:
        return np.minimum(self.inputs["highway"] // 2, 5)

    def blocks(self, km: float, east: float = 0.0, north: float = 0.0) -> np.ndarray:
        """Number of the block of each way's middle, on a grid shifted by parts of a block."""
        lat = self.inputs["mid_lat"]
        band = np.floor(lat * KM_PER_DEGREE / km + north).astype(np.int64)
        width = np.cos(np.radians((band + 0.5 - north) * km / KM_PER_DEGREE)) * KM_PER_DEGREE
        return band * 1_000_003 + np.floor(self.inputs["mid_lon"] * width / km + east).astype(np.int64)

    def showing(self, tagged: np.ndarray) -> dict[str, Any]:
        """Return the inputs with other tags."""
        return {**self.inputs, "tagged": tagged.astype(np.uint8)}


def open_map(path: Path | str) -> Map:
    """Read a map file up to the point where surfaces are presumed."""
    from tripplan.osm.read import read_file
    from tripplan.region.build import _pieces, _shape
    from tripplan.region.judge import judge_ways
    from tripplan.region.settled import mark_towns
    from tripplan.region.split import split_ways
    from tripplan.region.strings import StringTable
    from tripplan.region.surfaces import evidence_inputs

    raw = read_file(path)
    ways = judge_ways(raw, StringTable())
    split = split_ways(raw, np.zeros(0, np.int64))
    pieces, way_m = _pieces(raw, split, ways, *_shape(raw))
    inputs = evidence_inputs(raw, split, replace(ways, flags=mark_towns(ways, pieces)), way_m)
    return Map(
        Path(path).name, raw.data_date, inputs, raw.way_id, roads_of(inputs), raw.line_way, raw.line_ptr, raw.lon_e7 / 1e7, raw.lat_e7 / 1e7
    )  # fmt: skip


def roads_of(inputs: dict[str, Any]) -> np.ndarray:
    """Number of the road of each way: main ways that touch and carry one ref or one name."""
    way, joint = inputs["joints"]
    main = inputs["highway"][way] < 10
    way, joint = way[main], joint[main]
    first, second = [], []
    for number in (inputs["ref"].astype(np.int64), inputs["name"].astype(np.int64)):
        has = number[way] >= 0
        order = np.lexsort((number[way[has]], joint[has]))
        w, j = way[has][order], joint[has][order]
        same = (j[1:] == j[:-1]) & (number[w[1:]] == number[w[:-1]])
        first.append(w[1:][same])
        second.append(w[:-1][same])
    a, b = np.concatenate(first), np.concatenate(second)
    count = len(inputs["highway"])
    return connected_components(coo_array((np.ones(len(a)), (a, b)), (count, count)), directed=False)[1]


def cut(made: Map, keep: np.ndarray) -> Map:
    """Return the ways of ``keep`` as a map of its own (without the points of its lines)."""
    number = np.cumsum(keep) - 1
    inputs: dict[str, Any] = {}
    for word, value in made.inputs.items():
        if word in ("points", "joints"):
            mine = keep[value[0]]
            inputs[word] = (number[value[0][mine]], *(column[mine] for column in value[1:]))
        elif word == "own":
            inputs[word] = {name: has[keep] for name, has in value.items()}
        else:
            inputs[word] = value[keep]
    none = np.zeros(0)
    return replace(
        made, inputs=inputs, way_id=made.way_id[keep], road=roads_of(inputs), line_way=none, line_ptr=none, lon=none, lat=none
    )


def parts_of(made: Map) -> Iterator[tuple[str, Map]]:
    """Yield the halves and quarters of a map, cut in the middle of its extent and at the median of its tagged main ways."""
    lon, lat = made.inputs["mid_lon"], made.inputs["mid_lat"]
    known = made.main & (made.tagged != UNTAGGED)
    for word, x, y in (
        ("", (lon.min() + lon.max()) / 2, (lat.min() + lat.max()) / 2),
        (" of median", np.median(lon[known]), np.median(lat[known])),
    ):
        west, south = lon < x, lat < y
        for side, keep in {
            "W": west, "E": ~west, "S": south, "N": ~south,
            "SW": west & south, "SE": ~west & south, "NW": west & ~south, "NE": ~west & ~south,
        }.items():  # fmt: skip
            if (keep & known).sum() >= 20:
                yield side + word, cut(made, keep)


# ------------------------------------------------------------------------------------------------- hide and ask


@dataclass
class Score:
    """Sums over everything that was asked, and what each seed came to in blocks: asked and presumed, contradicted, sealed, found."""

    right_km: np.ndarray
    wrong_km: np.ndarray
    sealed_km: np.ndarray
    wrong_ways: set[int]
    rounds: list[tuple[int, int, int, int, int]]
    open_sets: tuple[set[int], set[int], set[int], set[int], set[int]]

    @classmethod
    def none(cls) -> Score:
        return cls(np.zeros(6), np.zeros(6), np.zeros(6), set(), [], (set(), set(), set(), set(), set()))

    def add(self, made: Map, asked: np.ndarray, presumed: np.ndarray, truth: np.ndarray, block: np.ndarray) -> None:
        """Count what was asked of a part of the map."""
        right, wrong, sealed = (
            asked & presumed & (truth == SEALED),
            asked & presumed & (truth == UNSEALED),
            asked & (truth == SEALED),
        )
        for total, mask in ((self.right_km, right), (self.wrong_km, wrong), (self.sealed_km, sealed)):
            total += np.bincount(made.group[mask], weights=made.km[mask], minlength=6)
        self.wrong_ways |= set(made.way_id[wrong].tolist())
        for kept, values in zip(
            self.open_sets, (made.way_id[wrong], block[right | wrong], block[wrong], block[sealed], block[right]), strict=True
        ):
            kept |= set(values.tolist())

    def close(self) -> None:
        """End a seed."""
        wrong, presumed, bad, sealed, right = (len(kept) for kept in self.open_sets)
        self.rounds.append((wrong, presumed, bad, sealed, right))
        for kept in self.open_sets:
            kept.clear()

    def _mean(self, which: int) -> int:
        return round(float(np.mean([one[which] for one in self.rounds]))) if self.rounds else 0

    @property
    def most_wrong(self) -> int:
        """Wrong ways in the worst seed."""
        return max((one[0] for one in self.rounds), default=0)

    @property
    def blocks(self) -> tuple[int, int]:
        """Blocks in which something was presumed, in a seed on average, and contradicted ones, in the worst seed."""
        return self._mean(1), max((one[2] for one in self.rounds), default=0)

    @property
    def found_blocks(self) -> tuple[int, int]:
        """Blocks with something found, and blocks with something hidden that is sealed, in a seed on average."""
        return self._mean(4), self._mean(3)

    @property
    def silent(self) -> int:
        """Seeds in which nothing that was asked for was presumed."""
        return sum(one[1] == 0 for one in self.rounds)

    @property
    def right(self) -> float:
        """Share of the presumed km that is right [%], NaN when nothing was presumed."""
        total = self.right_km.sum() + self.wrong_km.sum()
        return float(100 * self.right_km.sum() / total) if total else float("nan")

    @property
    def found(self) -> float:
        """Share of the hidden sealed km that was presumed [%]."""
        return float(100 * self.right_km.sum() / self.sealed_km.sum()) if self.sealed_km.sum() else float("nan")

    def found_of(self, group: int) -> float:
        return float(100 * self.right_km[group] / self.sealed_km[group]) if self.sealed_km[group] else float("nan")


def folds(made: Map, km: float, seed: int, count: int = 5) -> Iterator[tuple[np.ndarray, np.ndarray]]:
    """Yield for each fold the ways that are asked for, and all that are hidden: these and the rest of their roads."""
    rng = np.random.default_rng(seed)
    block = made.blocks(km, *rng.random(2))
    known = made.main & (made.tagged != UNTAGGED)
    numbers, where = np.unique(block[known], return_inverse=True)
    fold = np.full(len(known), -1)
    fold[known] = (rng.permutation(len(numbers)) % count)[where]
    for k in range(count):
        asked = fold == k
        if asked.any():
            touched = np.zeros(int(made.road.max()) + 1, bool)
            touched[made.road[asked]] = True
            yield asked, known & touched[made.road]


def hide_and_ask(made: Map, rule: Rule, km: float = 5.0, seeds: range = range(4)) -> Score:
    """Ask for every tagged main way once a seed, a fifth of the blocks at a time."""
    score, block = Score.none(), made.blocks(5.0)
    for seed in seeds:
        for asked, hidden in folds(made, km, seed):
            presumed = rule(made.showing(np.where(hidden, UNTAGGED, made.tagged)))
            score.add(made, asked, presumed, made.tagged, block)
        score.close()
    return score


def thin_and_ask(made: Map, rule: Rule, share: float, km: float = 5.0, seeds: range = range(10)) -> Score:
    """Leave tags in a share of the tagged blocks only, and ask for all that lost theirs."""
    score, fixed = Score.none(), made.blocks(5.0)
    for seed in seeds:
        rng = np.random.default_rng(seed)
        block = made.blocks(km, *rng.random(2))
        known = made.main & (made.tagged != UNTAGGED)
        tagged_blocks = np.unique(block[known])
        kept = rng.choice(tagged_blocks, max(1, round(share * len(tagged_blocks))), replace=False)
        stays = np.isin(block, kept)
        asked = known & ~stays
        presumed = rule(made.showing(np.where(stays, made.tagged, UNTAGGED)))
        score.add(made, asked, presumed, made.tagged, fixed)
        score.close()
    return score


# ------------------------------------------------------------------------------------------------- an old map, a new one


def truth_by_id(old: Map, new: Map) -> np.ndarray:
    """Tags of today for the ways of the old map that still have their id."""
    today = dict(zip(new.way_id.tolist(), new.tagged.tolist(), strict=True))
    return np.array([today.get(way, UNTAGGED) for way in old.way_id.tolist()])


def truth_by_place(old: Map, new: Map, within_m: float = 12.0, share: float = 0.7) -> np.ndarray:
    """Tags of today at the place of the old main ways: of the nearest road there, whatever its class, on ``share`` of its length."""
    truth = np.full(len(old.way_id), UNTAGGED)
    points, tag = _along(new, np.ones(len(new.way_id), bool), new.tagged)
    asked, rows = _along(old, old.main, np.arange(len(old.way_id)))
    away, which = cKDTree(points).query(asked, distance_upper_bound=within_m)
    met = np.isfinite(away)
    size = len(old.way_id)
    count = np.bincount(rows, minlength=size)
    for state in (SEALED, UNSEALED):
        hit = np.zeros(len(rows), bool)
        hit[met] = tag[which[met]] == state
        truth[np.bincount(rows[hit], minlength=size) >= share * np.maximum(count, 1)] = state
    return truth


def _along(made: Map, take: np.ndarray, value: np.ndarray, step_m: float = 8.0) -> tuple[np.ndarray, np.ndarray]:
    """Points every few metres along the ways [m], and a value of the way of each."""
    way = np.repeat(made.line_way, np.diff(made.line_ptr))
    x = made.lon * KM_PER_DEGREE * 1000 * np.cos(np.radians(47.0 if abs(made.lat.mean() - 47) < 1 else made.lat.mean().round()))
    y = made.lat * KM_PER_DEGREE * 1000
    here = np.flatnonzero(take[way][:-1] & (way[1:] == way[:-1]))
    long = np.hypot(x[here + 1] - x[here], y[here + 1] - y[here])
    parts = np.maximum(np.ceil(long / step_m).astype(int), 1)
    row = np.repeat(here, parts)
    t = (np.arange(len(row)) - np.repeat(np.cumsum(parts) - parts, parts) + 0.5) / np.repeat(parts, parts)
    return np.column_stack((x[row] + t * (x[row + 1] - x[row]), y[row] + t * (y[row + 1] - y[row]))), value[way[row]]


# ------------------------------------------------------------------------------------------------- intervals


def most_bad(blocks: int, bad: int) -> float:
    """Upper end for the share of blocks that are contradicted [%]: 3/n with none (Hanley and Lippman-Hand 1983), else Clopper and Pearson's 95 %."""
    if blocks == 0:
        return float("nan")
    if bad == 0:
        return min(100.0, 300.0 / blocks)
    from scipy.stats import beta

    return float(100 * beta.ppf(0.975, bad + 1, blocks - bad)) if bad < blocks else 100.0


def wilson(good: int, of: int) -> tuple[float, float]:
    """Wilson's 95 % interval of a share [%]."""
    if of == 0:
        return float("nan"), float("nan")
    z, p = 1.959964, good / of
    centre, spread = (p + z * z / (2 * of)), z * np.sqrt(p * (1 - p) / of + z * z / (4 * of * of))
    return max(0.0, float(100 * (centre - spread) / (1 + z * z / of))), min(
        100.0, float(100 * (centre + spread) / (1 + z * z / of))
    )
