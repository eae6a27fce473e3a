"""A general-purpose matcher on the tracks of `bench_match.py`; runs in an environment of its own.

Usage: python peer_match.py TRACKS.json (leuvenmapmatching | mappymatch)

Reads roads (pieces as lines of metres, one way or both) and tracks (points in metres), writes what was told as lines of
JSON: for each track the pieces and directions, in order, and the seconds it took.
"""

from __future__ import annotations

import json
import sys
import time
from itertools import pairwise
from pathlib import Path
from typing import Any


def leuven(roads: list[dict[str, Any]], tracks: list[list[list[float]]], noise: float) -> None:
    """Hidden Markov model of LeuvenMapMatching: every bend is a node of its map, every straight an edge."""
    from leuvenmapmatching.map.inmem import InMemMap
    from leuvenmapmatching.matcher.distance import DistanceMatcher

    graph = InMemMap("roads", use_latlon=False, use_rtree=True, index_edges=True)
    owner: dict[tuple[int, int], tuple[int, bool]] = {}
    inner = 10_000_000
    for number, road in enumerate(roads):
        ids = [road["a"]]
        for _ in road["line"][1:-1]:
            ids.append(inner)
            inner += 1
        ids.append(road["b"])
        for node, (x, y) in zip(ids, road["line"], strict=True):
            graph.add_node(node, (y, x))
        for u, v in pairwise(ids):
            if road["way"] >= 0:
                graph.add_edge(u, v)
                owner[u, v] = (number, True)
            if road["way"] <= 0:
                graph.add_edge(v, u)
                owner[v, u] = (number, False)
    for points in tracks:
        start = time.perf_counter()
        matcher = DistanceMatcher(graph, max_dist=100, max_dist_init=100, obs_noise=noise, obs_noise_ne=2 * noise, min_prob_norm=0.001, non_emitting_states=True, max_lattice_width=15)  # fmt: skip
        matcher.match([(y, x) for x, y in points])
        seconds = time.perf_counter() - start
        told: list[tuple[int, bool]] = []
        nodes = matcher.path_pred_onlynodes
        for u, v in pairwise(nodes):
            if (u, v) in owner and (not told or told[-1] != owner[u, v]):
                told.append(owner[u, v])
        print(json.dumps({"seconds": seconds, "told": told}), flush=True)


def lcss(roads: list[dict[str, Any]], tracks: list[list[list[float]]], _: float) -> None:
    """Longest common subsequence of mappymatch, on networkx."""
    import geopandas as gpd
    import networkx as nx
    from mappymatch.constructs.trace import Trace
    from mappymatch.maps.nx.nx_map import NxMap
    from mappymatch.matchers.lcss.lcss import LCSSMatcher
    from pyproj import CRS
    from shapely.geometry import LineString, Point

    graph = nx.MultiDiGraph(crs=CRS("EPSG:3857"))
    owner = {}
    for number, road in enumerate(roads):
        for forward in (True, False):
            if road["way"] == (-1 if forward else 1):
                continue
            u, v = (road["a"], road["b"]) if forward else (road["b"], road["a"])
            line = LineString(road["line"] if forward else road["line"][::-1])
            key = graph.add_edge(u, v, geometry=line, kilometers=line.length / 1000, travel_time=line.length / 15)
            owner[u, v, key] = (number, forward)
    matcher = LCSSMatcher(NxMap(graph))
    for points in tracks:
        start = time.perf_counter()
        result = matcher.match_trace(Trace(gpd.GeoDataFrame(geometry=[Point(p) for p in points], crs="EPSG:3857")))
        seconds = time.perf_counter() - start
        told = [owner[r.road_id.start, r.road_id.end, r.road_id.key] for r in result.path or []]
        print(json.dumps({"seconds": seconds, "told": told}), flush=True)


if __name__ == "__main__":
    data = json.loads(Path(sys.argv[1]).read_text(encoding="utf-8"))
    {"leuvenmapmatching": leuven, "mappymatch": lcss}[sys.argv[2]](data["roads"], data["tracks"], data["noise_m"])
