"""Times between places on a large map, against scipy's Dijkstra on the same graph in the same run.

Usage: python tests/benchmarks/bench_roads.py REGION_OR_MAP [SPOTS [RESTRICTIONS [SOURCES]]]

RESTRICTIONS random ones are added to the map (a synthetic country has none of its own); from SOURCES spots the times are
held against scipy's on the graph of turns written out, to the millisecond.
"""

from __future__ import annotations

import os
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
from tripplan.roads.join import Joined, join
from tripplan.roads.network import Network, open_network
from tripplan.roads.terms import Terms

VAN = Outfit("car and van", True, 3200, 1500, 1400, height_m=2.6, width_m=2.3, length_m=12.0, towing_limit_kmh=80)


class Clock:
    """Prints wall and processor seconds of what happens inside, and keeps the processor's."""

    def __init__(self, text: str, times: int = 1) -> None:
        self.text, self.times, self.cpu = text, times, 0.0

    def __enter__(self) -> Clock:
        self.start, self.used = time.perf_counter(), time.process_time()
        return self

    def __exit__(self, *_: object) -> None:
        wall = (time.perf_counter() - self.start) / self.times
        self.cpu = (time.process_time() - self.used) / self.times
        print(f"{self.text:<64}{wall:9.3f} s wall{self.cpu:9.3f} s CPU", flush=True)


def region_of(path: Path) -> Region:
    """Load a region, or build one from a map."""
    from tripplan.region.build import build
    from tripplan.region.store import load

    return load(path) if path.suffix == ".region" else build(path, name=path.stem)


def main(path: Path, count: int, restrictions: int, sources: int) -> None:
    """Measure and print."""
    print(f"load {os.getloadavg()[0]:.1f} on {os.cpu_count()} cores")
    with Clock("region"):
        region = region_of(path)
    if restrictions:
        sys.path.insert(0, str(Path(__file__).parents[1] / "roads"))
        sys.path.insert(0, str(Path(__file__).parents[1]))
        from test_roads_hierarchy import with_turns

        region = with_turns(region, restrictions, seed=1)
    terms = Terms(VAN, country=region.meta.country)
    folder = Path(tempfile.mkdtemp())
    network = open_network(region, terms, cache=folder)
    with Clock("network worked out"):
        arcs = network.arcs
    print(f"    {len(region.pieces.way):,} pieces, {len(arcs.head):,} arcs, {int(arcs.transit.sum()):,} in transit,", end=" ")
    print(f"{len(arcs.special)} states at restrictions")
    rng = np.random.default_rng(1)
    rows = np.flatnonzero(arcs.transit & (arcs.component[arcs.head] == 0) & (arcs.component[arcs.tail] == 0))
    some = arcs.piece[rng.choice(rows, count)]
    at = region.pieces.ptr[some]
    spots = [
        Spot("x", "x", lon / 1e7, lat / 1e7) for lon, lat in zip(region.pieces.lon_e7[at], region.pieces.lat_e7[at], strict=True)
    ]
    with Clock(f"{count} spots joined"):
        joined = join(network, spots, on_road=True)
    compile_all()
    with Clock("network prepared (hierarchy)"):
        hierarchy = network.hierarchy
    print(f"    {len(hierarchy.up_ptr) - 1:,} nodes, {len(hierarchy.own):,} of them single states, {len(hierarchy.to):,} edges")
    with Clock(f"{count} x {count} times, prepared: ours"):
        table = joined._table(None, None)
    with Clock("the same again, hierarchy read from its file") as ours:
        again = open_network(region, terms, cache=folder)
        Joined(again, joined.spots, joined.joints, "again", "hierarchy")._table(None, None)
    print(
        f"    reached {int(joined.reached.sum())}, files",
        {p.name.split("-")[0]: f"{p.stat().st_size / 1e6:.1f} MB" for p in folder.iterdir()},
    )
    with Clock("everything read from files"):
        warm = join(open_network(region, terms, cache=folder), spots, on_road=True)
        warm.matrix()
    pairs = [(i, (i * 7 + 1) % count) for i in range(count) if table.total_ms[i, (i * 7 + 1) % count] > 0]
    warm.route(*pairs[0])
    with Clock(f"one of {len(pairs)} routes with its pieces, from the table", len(pairs)):
        legs = [warm.route(i, j) for i, j in pairs]
    alone = Joined(open_network(region, terms, cache=folder), joined.spots, joined.joints, "none kept")
    alone.route(*pairs[0])
    with Clock(f"one of {len(pairs)} routes with its pieces, searched alone", len(pairs)):
        assert [round(alone.route(i, j).drive_s) for i, j in pairs] == [round(leg.drive_s) for leg in legs]
    print(f"    pieces a route: {np.mean([len(leg.runs.piece) for leg in legs]):.0f}")

    setting = Setting(network, joined.joints)
    engine = pick_engine(setting, "numba")
    engine.row(0, joined.reached)
    few = min(count, 5)
    with Clock("search on all states, a spot", few) as plain:
        for i in range(few):
            engine.row(i, joined.reached)
    with Clock("scipy: graph of turns written out"):
        peer = pick_engine(setting, "scipy")
    different = 0
    with Clock(f"scipy on turns, a spot (of {sources})", sources) as scipy_turns:
        for i in range(sources):
            row = peer.row(i, joined.reached)
            mine = np.where(table.leaf[i] == -2, -1, table.total_ms[i])
            theirs = np.where(table.leaf[i] == -2, -1, np.where(row.leaf >= 0, row.best >> 25, -1))
            others = np.arange(count) != i
            different += int((mine[others] != theirs[others]).sum())
    print(f"    {sources} x {count} times against scipy: {different} differ")
    simple = junctions(region, network, few)
    print(f"ratio scipy on junctions, no turns ({count} spots) / ours: {simple * count / ours.cpu:.0f}")
    print(
        f"ratio scipy on turns / ours: {scipy_turns.cpu * count / ours.cpu:.0f}; search on states / ours: {plain.cpu * count / ours.cpu:.0f}"
    )
    print(f"peak memory {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6:.2f} GB")


def compile_all() -> None:
    """Compile, or load what was compiled, on a graph of three nodes."""
    from tripplan.roads.contract import contract

    a, b = np.array([0, 1, 1, 2], np.int32), np.array([1, 0, 2, 1], np.int32)
    with Clock("compiling the hierarchy, or loading what was compiled"):
        contract(3, a, b, np.ones(4, np.int64), a, a, np.zeros(4, np.int64), np.ones(4), np.full(4, -2, np.int32))


def junctions(region: Region, network: Network, few: int) -> float:
    """Time scipy on junctions, as in the table of first measurements: no turns, no U-turn rule. Return seconds a spot."""
    from scipy.sparse import csr_array
    from scipy.sparse.csgraph import dijkstra

    arcs = network.arcs
    rows = np.flatnonzero(arcs.transit)
    n = len(region.junctions.osm_id)
    graph = csr_array((arcs.ms[rows].astype(float), (arcs.tail[rows], arcs.head[rows])), shape=(n, n))
    with Clock("scipy on junctions, no turns, a spot", few) as clock:
        for v in arcs.tail[rows[:: max(1, len(rows) // few)]][:few]:
            dijkstra(graph, indices=int(v), return_predecessors=True)
    return clock.cpu


if __name__ == "__main__":
    numbers = [int(word) for word in sys.argv[2:]]
    main(Path(sys.argv[1]), *(numbers + [300, 0, 5][len(numbers) :]))
