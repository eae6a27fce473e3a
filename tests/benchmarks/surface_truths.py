"""Presumed surfaces on real road networks with an invented truth (synthetic): what hiding the tags of a real map cannot try.

usage: python tests/benchmarks/surface_truths.py [--seeds 2] [--parts 2] [MAP.osm.pbf ...]

Each map, or each of its parts, gets a truth for every main way (drawn by road, class and place) and tags that show a part
of it, evenly or with sealed roads tagged five times as readily. What is presumed of the untagged ways is held against the
truth. Kinds of truth: all sealed; a few single roads unsealed; one remote patch unsealed below primary; patches; a sealed
coast with an unsealed interior; sealed highways over unsealed minor roads; half of everything by road.
"""

from __future__ import annotations

import argparse
import os
import sys
from pathlib import Path

import numpy as np

sys.path[:0] = [str(Path(__file__).parents[1]), str(Path(__file__).parents[2])]

from helpers.hiding import KM_PER_DEGREE, UNTAGGED, Map, cut, open_map  # noqa: E402
from helpers.surface_rules import RULES  # noqa: E402

KINDS = ("sealed", "few roads", "remote patch", "patches", "coast and interior", "highways only", "half")
#: Share of ways tagged; how many times as readily sealed ones are.
TAGGING = {"30 %": (0.3, 1.0), "10 %": (0.1, 1.0), "30 %, biased": (0.3, 5.0), "10 %, biased": (0.1, 5.0)}
COMPARED = ("presume all", "rule B", "rule B + blocks (before)", "this program")


def _wave(rng: np.random.Generator, x: np.ndarray, y: np.ndarray, scale_km: float) -> np.ndarray:
    """Return a smooth random field of unit variance at places [km]: two hundred random waves."""
    k, phase = rng.normal(0, 1 / scale_km, (200, 2)), rng.random(200) * 2 * np.pi
    return np.sqrt(2 / 200) * np.cos(np.outer(x, k[:, 0]) + np.outer(y, k[:, 1]) + phase).sum(axis=1)


def truth(made: Map, rng: np.random.Generator, kind: str) -> np.ndarray:
    """Return 0 sealed or 1 unsealed for each way; a road shares its luck and its place."""
    group, (_, road) = made.group, np.unique(made.road, return_inverse=True)
    lat, lon = made.inputs["mid_lat"], made.inputs["mid_lon"]
    ways = np.bincount(road)
    x = np.bincount(road, weights=lon * KM_PER_DEGREE * np.cos(np.radians(lat.mean()))) / ways
    y = np.bincount(road, weights=lat * KM_PER_DEGREE) / ways
    luck = rng.normal(0, 1, len(ways))[road]
    by_class = {
        "sealed": (9, 9, 9, 9, 9, 9), "few roads": (9, 9, 9, 9, 9, 9), "remote patch": (9, 9, 9, 9, 9, 9), "patches": (9, 6, 4, 2.2, 1, 0),
        "coast and interior": (9, 6, 3.5, 2, 0.5, 0), "highways only": (9, 8, 6, -1, -3, -4), "half": (9, 3, 2, 0.7, 0, 0),
    }[kind]  # fmt: skip
    z = np.array(by_class, float)[group]
    if kind == "few roads":
        z[rng.random(len(ways))[road] < np.array([0, 0, 0.003, 0.01, 0.02, 0])[group]] = -9
    elif kind == "remote patch":
        main = np.unique(road[made.main])
        centre = rng.choice(main)
        away = np.hypot(x - x[centre], y - y[centre])
        z[(away < np.quantile(away[main], 0.2))[road] & (group >= 3)] = -3
        z += np.where(z < 0, luck, 0)
    elif kind == "patches":
        z += 2 * _wave(rng, x, y, 15.0)[road] + luck
    elif kind == "coast and interior":
        z += 9 * (0.45 - ((x - x.min()) / max(np.ptp(x), 1e-9)))[road] + 1.2 * luck
    elif kind == "highways only":
        z += luck + 0.7 * _wave(rng, x, y, 20.0)[road]
    elif kind == "half":
        z += 1.5 * luck
    return (z < 0).astype(np.uint8)


def shown(made: Map, rng: np.random.Generator, hidden: np.ndarray, share: float, bias: float) -> np.ndarray:
    """Return which ways are tagged: in patches, half of them road by road, unsealed ones less readily."""
    lat, lon = made.inputs["mid_lat"], made.inputs["mid_lon"]
    place = _wave(rng, lon * KM_PER_DEGREE * np.cos(np.radians(lat.mean())), lat * KM_PER_DEGREE, 25.0)
    _, road = np.unique(made.road, return_inverse=True)
    roads = int(road.max()) + 1
    luck = np.where((rng.random(roads) < 0.5)[road], rng.logistic(size=roads)[road], rng.logistic(size=len(hidden)))
    return np.log(share / (1 - share)) + place - (hidden == 1) * np.log(bias) + luck > 0


def parts(made: Map, count: int) -> list[Map]:
    """Cut a map in ``count`` by ``count``; parts with fewer than 100 main ways are left out."""
    if count == 1:
        return [made]
    lon, lat = made.inputs["mid_lon"], made.inputs["mid_lat"]
    column = np.minimum((lon - lon.min()) / np.ptp(lon) * count, count - 1).astype(int)
    line = np.minimum((lat - lat.min()) / np.ptp(lat) * count, count - 1).astype(int)
    found = [cut(made, column * count + line == n) for n in range(count * count)]
    return [part for part in found if part.main.sum() >= 100]


def main() -> None:
    """Print one line a kind of truth and way of tagging: right [% of km], found [% of km], wrong ways."""
    parser = argparse.ArgumentParser()
    parser.add_argument("maps", nargs="*", type=Path)
    parser.add_argument("--seeds", type=int, default=2)
    parser.add_argument("--parts", type=int, default=2)
    given = parser.parse_args()
    files = given.maps or sorted(Path(os.environ.get("TRIPPLAN_EXTRACTS", ".")).glob("*.osm.pbf"))
    maps = [part for path in files for part in parts(open_map(path), given.parts)]
    print(
        f"{len(maps)} maps and parts of maps, {given.seeds} seeds each; right % of presumed km / found % of sealed km / ways wrong\n"
    )
    print("| truth | tagged | " + " | ".join(COMPARED) + " |\n|---" + "|---" * (len(COMPARED) + 1) + "|")
    for kind in KINDS:
        for n, (word, (share, bias)) in enumerate(TAGGING.items()):
            sums = {rule: np.zeros(4) for rule in COMPARED}
            for m, made in enumerate(maps):
                for seed in range(given.seeds):
                    rng = np.random.default_rng((KINDS.index(kind), n, m, seed))
                    real = truth(made, rng, kind)
                    tagged = np.where(made.main, np.where(shown(made, rng, real, share, bias), real, UNTAGGED), made.tagged)
                    asked = made.main & (tagged == UNTAGGED)
                    for rule in COMPARED:
                        presumed = RULES[rule](made.showing(tagged)) & asked
                        right, wrong = presumed & (real == 0), presumed & (real == 1)
                        sums[rule] += made.km[right].sum(), made.km[wrong].sum(), made.km[asked & (real == 0)].sum(), wrong.sum()
            cells = [
                f"{100 * a / max(a + b, 1e-9):.2f} / {100 * a / max(c, 1e-9):.0f} / {d:.0f}" if a + b else "silent"
                for a, b, c, d in sums.values()
            ]
            print(f"| {kind} | {word} | " + " | ".join(cells) + " |", flush=True)


if __name__ == "__main__":
    main()
