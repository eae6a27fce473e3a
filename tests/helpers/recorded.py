"""Synthetic tracks: ways over real roads, seen at intervals through noise. Nobody drove them."""

from __future__ import annotations

import random
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from tripplan.model.place import Spot
from tripplan.model.plan import PieceRun
from tripplan.model.track import Track
from tripplan.region.columns import Flag
from tripplan.region.geometry import run_line, segment_lengths_m
from tripplan.region.region import Region
from tripplan.roads.join import join
from tripplan.roads.match import Match
from tripplan.roads.match_graph import MatchGraph
from tripplan.roads.network import Network

METRES_A_DEGREE = 111_195.08


@dataclass(frozen=True)
class Recorded:
    """A track and the pieces that it really went over."""

    track: Track
    truth: PieceRun
    length_m: float


def random_legs(region: Region, network: Network, count: int, seed: int, *, least_m: float = 3000.0) -> list[PieceRun]:
    """Return the fastest ways between random points of the network, as a driver who knows the way takes them."""
    rng = random.Random(seed)
    arcs = network.arcs
    rows = np.flatnonzero(arcs.transit & (arcs.component[arcs.head] == 0) & (arcs.component[arcs.tail] == 0)).tolist()
    legs: list[PieceRun] = []
    while len(legs) < count:
        spots = []
        for _ in range(2 * count):
            at = int(region.pieces.ptr[int(arcs.piece[rng.choice(rows)])])
            spots.append(Spot("x", "x", region.pieces.lon_e7[at] / 1e7, region.pieces.lat_e7[at] / 1e7))
        joined = join(network, spots, on_road=True)
        for i in range(0, 2 * count, 2):
            if joined.reached[i] and joined.reached[i + 1] and len(legs) < count:
                try:
                    leg = joined.route(i, i + 1)
                except LookupError:
                    continue
                if leg.length_m >= least_m and not leg.ferry_s:
                    legs.append(leg.runs)
    return legs


def wander(region: Region, graph: MatchGraph, length_m: float, seed: int, kmh: float = 50.0) -> PieceRun:
    """Return a random way that is nobody's shortest: at each junction any road open to cars that it has not been on."""
    rng = random.Random(seed)
    ferry = (region.ways.flags[region.pieces.way] & Flag.FERRY) != 0
    good = (graph.open_to_cars & ~ferry)[graph.piece]
    while True:
        arc = rng.choice(np.flatnonzero(good).tolist())
        way, gone, seen = [arc], float(graph.length_m[arc]), {int(graph.piece[arc])}
        while gone < length_m:
            v = int(graph.head[way[-1]])
            onward = [
                e for e in range(int(graph.out_ptr[v]), int(graph.out_ptr[v + 1])) if e != graph.reverse[way[-1]] and good[e]
            ]
            if not onward:
                break
            way.append(rng.choice(onward))
            seen.add(int(graph.piece[way[-1]]))
            gone += float(graph.length_m[way[-1]])
        if gone >= length_m:
            length = [float(graph.length_m[e]) for e in way]
            return PieceRun(
                tuple(int(graph.piece[e]) for e in way), tuple(bool(graph.forward[e]) for e in way), (0.0,) * len(way), tuple(length),
                tuple(m * 3.6 / kmh for m in length),
            )  # fmt: skip


def record(
    region: Region,
    runs: PieceRun,
    every_s: float,
    sigma_m: float,
    seed: int,
    *,
    start_s: float = 1.8e9,
    blind_tunnels: bool = False,
) -> Recorded:
    """Drive pieces and write a point down every so many seconds, each off by a normal law in both directions."""
    rng = np.random.default_rng(seed)
    length = np.asarray(runs.to_m) - np.asarray(runs.from_m)
    time = np.asarray(runs.time_s, np.float64)
    line = run_line(region, runs)
    along = np.concatenate(([0.0], np.cumsum(segment_lengths_m(line[:, 0], line[:, 1]))))
    along *= length.sum() / along[-1]
    ends_m, ends_s = np.concatenate(([0.0], np.cumsum(length))), np.concatenate(([0.0], np.cumsum(time)))
    seconds = np.append(np.arange(0.0, ends_s[-1], every_s), ends_s[-1])
    at = np.interp(seconds, ends_s, ends_m)
    if blind_tunnels:
        tunnel = (region.ways.flags[region.pieces.way[np.asarray(runs.piece)]] & Flag.TUNNEL) != 0
        seen = ~tunnel[np.clip(np.searchsorted(ends_m, at, side="right") - 1, 0, len(tunnel) - 1)]
        seen[[0, -1]] = True
        at, seconds = at[seen], seconds[seen]
    lon, lat = np.interp(at, along, line[:, 0]), np.interp(at, along, line[:, 1])
    lat = lat + rng.normal(0, sigma_m, len(at)) / METRES_A_DEGREE
    lon = lon + rng.normal(0, sigma_m, len(at)) / METRES_A_DEGREE / np.cos(np.radians(lat))
    return Recorded(Track.of(lon, lat, start_s + seconds), runs, float(length.sum()))


def covered(
    piece: Sequence[int], forward: Sequence[bool], from_m: Sequence[float], to_m: Sequence[float]
) -> dict[tuple[int, bool], list[tuple[float, float]]]:
    """Return the parts of each piece and direction that were driven."""
    out: dict[tuple[int, bool], list[tuple[float, float]]] = {}
    for p, f, a, b in zip(piece, forward, from_m, to_m, strict=True):
        out.setdefault((int(p), bool(f)), []).append((float(a), float(b)))
    return out


def right_m(truth: PieceRun, match: Match) -> tuple[float, float]:
    """Return how much of the way was told right, piece and direction and part of it, and how much was told that is not so [m].

    A piece driven several times counts as often as it was told.
    """
    real = covered(truth.piece, truth.forward, truth.from_m, truth.to_m)
    told: dict[tuple[int, bool], list[tuple[float, float]]] = {}
    for chain in match.chains:
        for key, parts in covered(chain.piece, chain.forward, chain.from_m, chain.to_m).items():
            told.setdefault(key, []).extend(parts)
    right = 0.0
    for key, parts in real.items():
        cuts = sorted({x for a, b in (*parts, *told.get(key, [])) for x in (a, b)})
        for low, high in pairwise(cuts):
            middle = (low + high) / 2
            driven = sum(a < middle < b for a, b in parts)
            said = sum(a < middle < b for a, b in told.get(key, []))
            right += min(driven, said) * (high - low)
    return right, sum(c.length_m for c in match.chains) - right


def share_right(cases: Sequence[tuple[PieceRun, Match]], lengths: Sequence[float]) -> tuple[float, float]:
    """Return the shares of all km that were told right, and told wrong on top."""
    pairs = [right_m(truth, match) for truth, match in cases]
    whole = sum(lengths)
    return sum(r for r, _ in pairs) / whole, sum(w for _, w in pairs) / whole


def lonlat(track: Track) -> NDArray[np.float64]:
    """Return a track as (n, 2) degrees."""
    return np.column_stack((track.lon, track.lat))
