"""Times between places on a large map, against scipy's Dijkstra on the same graph in the same run.

Usage: python tests/benchmarks/bench_roads.py REGION_OR_MAP [SPOTS]
"""

from __future__ import annotations

import resource
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

from tripplan.model.outfit import Outfit
from tripplan.model.place import Spot
from tripplan.region.region import Region
from tripplan.roads.engines import Setting, pick_engine
from tripplan.roads.join import join
from tripplan.roads.network import open_network
from tripplan.roads.terms import Terms

VAN = Outfit("car and van", True, 3200, 1500, 1400, height_m=2.6, width_m=2.3, length_m=12.0, towing_limit_kmh=80)


def timed(text: str, start: float) -> float:
    """Print the seconds since a start and return them."""
    seconds = time.perf_counter() - start
    print(f"{text:<58}{seconds:9.3f} s")
    return seconds


def region_of(path: Path) -> Region:
    """Load a region, or build one from a map."""
    from tripplan.region.build import build
    from tripplan.region.store import load

    return load(path) if path.suffix == ".region" else build(path, name=path.stem)


def main(path: Path, count: int) -> None:
    """Measure and print."""
    start = time.perf_counter()
    region = region_of(path)
    timed(f"region ({len(region.pieces.way):,} pieces)", start)
    terms = Terms(VAN, country=region.meta.country)
    folder = Path(tempfile.mkdtemp())

    start = time.perf_counter()
    network = open_network(region, terms, cache=folder)
    arcs = network.arcs
    timed(f"network worked out ({len(arcs.head):,} arcs, {len(arcs.extra_arc)} extra states)", start)

    rng = np.random.default_rng(1)
    rows = np.flatnonzero(arcs.transit & (arcs.component[arcs.head] == 0) & (arcs.component[arcs.tail] == 0))
    some = arcs.piece[rng.choice(rows, count)]
    at = region.pieces.ptr[some]
    spots = [Spot("x", "x", lon / 1e7, lat / 1e7) for lon, lat in zip(region.pieces.lon_e7[at], region.pieces.lat_e7[at], strict=True)]
    start = time.perf_counter()
    joined = join(network, spots, on_road=True)
    timed(f"{count} spots joined", start)

    start = time.perf_counter()
    pick_engine(Setting(network, joined.joints), "numba").row(0, joined.reached & (np.arange(count) == 1))
    timed("first search, compiling or loading what was compiled", start)

    start = time.perf_counter()
    joined.matrix()
    whole = timed(f"{count} x {count} times with trees", start)
    print(f"{'':4}reached {int(joined.reached.sum())}, file {sum(p.stat().st_size for p in folder.iterdir()) / 1e6:.0f} MB")

    start = time.perf_counter()
    warm = join(open_network(region, terms, cache=folder), spots, on_road=True)
    warm.matrix()
    timed("the same, everything prepared", start)
    pairs = [(i, (i * 7 + 1) % count) for i in range(count) if warm.reached[i] and warm.reached[(i * 7 + 1) % count]][:20]
    start = time.perf_counter()
    for i, j in pairs:
        warm.route(i, j)
    timed("20 routes with their pieces", start)
    bare = join(open_network(region, terms, cache=folder), spots, on_road=True)
    object.__setattr__(bare, "key", "none")
    bare.route(*pairs[0])
    start = time.perf_counter()
    for i, j in pairs[1:11]:
        bare.route(i, j)
    print(f"{'one route searched alone':<58}{(time.perf_counter() - start) / 10:9.3f} s")

    few = min(count, 10)
    start = time.perf_counter()
    peer = pick_engine(Setting(network, joined.joints), "scipy")
    timed("scipy: graph of turns written out", start)
    start = time.perf_counter()
    for i in range(few):
        peer.row(i, joined.reached)
    each = (time.perf_counter() - start) / few
    print(f"{f'scipy: {count} x {count} from {few} sources':<58}{each * count:9.3f} s")
    junctions(region, network, count, few)
    print(f"ratio scipy on turns / ours: {each * count / whole:.2f}")
    print(f"peak memory {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6:.2f} GB")


def junctions(region: Region, network: object, count: int, few: int) -> None:
    """Time scipy on junctions, as in the table of first measurements: no turns, no U-turn rule."""
    from scipy.sparse import csr_array
    from scipy.sparse.csgraph import dijkstra

    arcs = network.arcs  # type: ignore[attr-defined]
    rows = np.flatnonzero(arcs.transit)
    n = len(region.junctions.osm_id)
    graph = csr_array((arcs.ms[rows].astype(float), (arcs.tail[rows], arcs.head[rows])), shape=(n, n))
    start = time.perf_counter()
    for v in arcs.tail[rows[:: max(1, len(rows) // few)]][:few]:
        dijkstra(graph, indices=int(v), return_predecessors=True)
    print(f"{f'scipy on junctions without turns: {count} x {count}':<58}{(time.perf_counter() - start) / few * count:9.3f} s")


if __name__ == "__main__":
    main(Path(sys.argv[1]), int(sys.argv[2]) if len(sys.argv) > 2 else 300)
