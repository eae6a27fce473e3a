"""How long each stage of a plan takes: the sample trips, and trips in a synthetic region with more and more places.

Run ``python tests/benchmarks/bench_plan.py [SITES STOPS NIGHTS]...``. The environment variable TRIPPLAN_COUNTRY names an
.osm.pbf of the synthetic region; without it only the sample trips are planned. Of its places a fixed choice is kept, so many
sites and service points. Stages: ``times`` (candidates, network, times between places: cached on disk, so the second run is
the warm one), ``lay out`` (options and arrays), ``search``, ``words``. Seconds of the wall and of the processor, arcs, labels, peak
memory of the whole process.
"""

from __future__ import annotations

import os
import resource
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from tripplan.model.outfit import Outfit
from tripplan.model.place import OfferFact, Place, Spot
from tripplan.model.trip import Firm, Sight, Trip
from tripplan.model.van import Levels, Party, Van
from tripplan.model.words import Offer, Surface, Via
from tripplan.pipeline import sample_folder, sample_region
from tripplan.region.columns import HIGHWAYS
from tripplan.region.region import Region
from tripplan.request.trip_file import load_trip
from tripplan.schedule.assemble import assemble
from tripplan.schedule.explain import no_plan
from tripplan.schedule.plan import best_path, plan_of, prepare

OUTFIT = Outfit("car and van", True, 3400, 1400, 1300, 2.6, 2.3, 12, 90)


@contextmanager
def stage(name: str) -> Iterator[Callable[[str], None]]:
    """Print one line with the time spent and what the caller tells about it."""
    said: list[str] = []
    begun, cpu = time.perf_counter(), time.process_time()
    yield said.append
    spent, cpu = time.perf_counter() - begun, time.process_time() - cpu
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024
    print(f"  {name:8s} {spent:8.3f} s, cpu {cpu:8.3f}  {' '.join(said):60s} peak {peak} MB", flush=True)


def planned(name: str, trip: Trip, region: Region, max_seconds: float | None = None) -> None:
    """Plan one trip and print its stages."""
    print(name)
    with stage("times") as tell:
        cast, ways = prepare(trip, region)
        tell(f"{len(cast.sites)} sites, {len(cast.van_stops)} and {len(cast.car_stops)} stops")
    with stage("lay out") as tell:
        work = assemble(trip, region, cast, ways)
        tell(f"{len(work.options)} arcs")
    with stage("search") as tell:
        solution = best_path(work, max_seconds=max_seconds)
        tell(f"{solution.status} {solution.cost}, {solution.labels} labels, {len(work.forbidden_why)} days forbidden")
    with stage("words"):
        if solution.arcs:
            plan_of(work, solution)
    if not solution.arcs:
        with stage("why not") as tell:
            tell(str(no_plan(work))[:160])


def thinned(region: Region, sites: int, stops: int) -> Region:
    """Return the region with so many sites that take vans, and service points; which ones is fixed."""
    rng = np.random.default_rng(5)

    def some(places: list[Place], count: int) -> list[Place]:
        return [places[k] for k in np.sort(rng.permutation(len(places))[:count])]

    may = [p for p in region.places if p.role == "site" and p.admits in (Offer.YES, Offer.PRESUMED)]
    services = [p for p in region.places if p.role == "service"]
    seen = [p for p in region.places if p.role == "sight"][:40]
    kept = [
        *(replace(p, offers=_has(_SITE_HAS[k % 4]), price_cents=1500 + 700 * (k % 5)) for k, p in enumerate(some(may, sites))),
        *(p if p.offer("gas").answer == Offer.YES else replace(p, offers=_has(_STOP_HAS[k % 3])) for k, p in enumerate(some(services, stops))),
        *seen,
    ]  # fmt: skip
    return replace(region, places=tuple(replace(p, index=k) for k, p in enumerate(kept)))


#: The synthetic map says nothing of what places have: it is dealt out in turn.
_SITE_HAS = ("power fresh grey cassette toilets showers", "power toilets", "fresh toilets", "")
_STOP_HAS = ("grey cassette", "fresh", "fresh grey cassette")


def _has(words: str) -> dict[str, OfferFact]:
    return {word: OfferFact(Offer.YES) for word in words.split()}


def _yard(region: Region) -> Spot:
    """Return a point on a main road tagged as sealed, nearest to the middle of the region."""
    pieces, ways = region.pieces, region.ways
    main = np.isin(ways.highway, [HIGHWAYS.index(h) for h in ("primary", "secondary")]) & (ways.surface == Surface.SEALED)
    lon, lat = pieces.lon_e7[pieces.ptr[:-1]] / 1e7, pieces.lat_e7[pieces.ptr[:-1]] / 1e7
    off = np.abs(lon - np.median(lon)) + np.abs(lat - np.median(lat)) + np.where(main[pieces.way], 0, 1e3)
    best = int(off.argmin())
    return Spot("yard", "yard", float(lon[best]), float(lat[best]))


def synthetic_trip(region: Region, nights: int, sights: int = 4) -> Trip:
    """Return a trip of two adults from the middle of the region, with a few sights."""
    zone = ZoneInfo(region.meta.tz)
    start = datetime(2026, 6, 1, 10, tzinfo=zone)
    depot = _yard(region)
    seen = [p for p in region.places if p.role == "sight"][:sights]
    return Trip(
        "synthetic", region.meta.tz, Firm("firm", "0", 90, last_mile_at_stops=True), OUTFIT,
        replace(OUTFIT, towing=False, van_mass_kg=0), Van("van", 80, 60, 18, 12, 8.5, 2, 100, solar_w=160), Party("pair", 2, water_l=8),
        depot, depot, start, (start + timedelta(days=nights)).replace(hour=16),
        tuple(Sight(Spot(p.ref, p.name or p.ref, p.lon, p.lat, p.index), k % 2 == 0, 1500, Via.EITHER, 1.5) for k, p in enumerate(seen)),
        levels=Levels(80, 0, 0, 12, 17, 80),
    )  # fmt: skip


def main(sizes: list[tuple[int, int, int]]) -> None:
    """Print the stages of the sample trips, and of trips in the synthetic region where there is one."""
    island = sample_region()
    for name in ("family_loop", "isle_weekend", "round_island"):
        planned(name, load_trip(sample_folder() / f"trip_{name}.toml", island), island)
    country = os.environ.get("TRIPPLAN_COUNTRY")
    if not country:
        print("no synthetic region: TRIPPLAN_COUNTRY names no file")
        return
    from tripplan.region.build import build

    region = build(Path(country), name="synthetic")
    for sites, stops, nights in sizes:
        part = thinned(region, sites, stops)
        planned(f"{sites} sites, {stops} service points, {nights} nights", synthetic_trip(part, nights), part, max_seconds=60.0)


if __name__ == "__main__":
    numbers = [int(word) for word in sys.argv[1:]] or [150, 100, 14, 300, 150, 14, 600, 300, 28]
    main([(a, b, c) for a, b, c in zip(numbers[::3], numbers[1::3], numbers[2::3], strict=True)])
