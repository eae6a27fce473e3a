"""Time and size of the papers of a trip, beside folium's own import: run as a script, prints figures and ratios."""

from __future__ import annotations

import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

from helpers import plans

from tripplan.model.plan import Plan
from tripplan.region.region import Region

_ALONE = "import time; t = time.perf_counter(); import folium; print(time.perf_counter() - t)"
_MAP = """
import sys, time
sys.path.insert(0, {tests!r})
from helpers import plans
region = plans.island(); plan = plans.plan(14, region=region)
t = time.perf_counter()
from tripplan.report.map import map_page
page = map_page(plan, region)
print(time.perf_counter() - t)
"""


def _fastest(code: str, runs: int = 5) -> float:
    return min(
        float(subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout)
        for _ in range(runs)
    )


def main() -> None:
    """Print import of folium, a map with that import, and every paper with folium already there."""
    alone, whole = _fastest(_ALONE), _fastest(_MAP.format(tests=str(Path(__file__).parents[1])))
    print(f"import folium           {alone:.3f} s")
    print(f"map, import included    {whole:.3f} s  {whole / alone:.2f} times the import")
    from tripplan.report.write import render_papers

    region = plans.island()
    plan = plans.plan(14, region=region)
    render_papers(plan, region)
    start = time.perf_counter()
    papers = render_papers(plan, region)
    print(f"all papers, imports done {time.perf_counter() - start:.3f} s")
    for name, content in papers.items():
        print(f"  {name:15} {len(content) / 1e3:8.1f} kB")
    _files(plan, region)


def _took(call: Callable[[], object], runs: int = 5) -> float:
    """Seconds of the fastest of some calls."""
    best = float("inf")
    for _ in range(runs):
        start = time.perf_counter()
        call()
        best = min(best, time.perf_counter() - start)
    return best


def _files(plan: Plan, region: Region) -> None:
    """Print each writer's time, and that of a general-purpose library that writes the same points."""
    import io

    import geopandas
    import pyogrio
    from shapely.geometry import LineString

    from tripplan.report.geojson import geojson_text
    from tripplan.report.gpx import gpx_text
    from tripplan.report.kml import kml_text
    from tripplan.report.levels import levels_svg
    from tripplan.report.picture import levels_png
    from tripplan.report.waylines import way_lines

    lines = way_lines(plan, region)
    table = geopandas.GeoDataFrame(geometry=[LineString(line) for drawn in lines.days for line in drawn.lines], crs="EPSG:4326")
    names = table.assign(name=[f"Day {drawn.day.number}" for drawn in lines.days for _ in drawn.lines])
    print(f"lines of the days        {_took(lambda: way_lines(plan, region)) * 1e3:7.1f} ms")
    for name, own, peer, words in (
        (
            "GPX",
            lambda: gpx_text(plan, region, lines),
            lambda: pyogrio.write_dataframe(names, io.BytesIO(), driver="GPX", layer="routes"),
            "pyogrio",
        ),
        ("GeoJSON", lambda: geojson_text(plan, region, lines), table.to_json, "geopandas"),
    ):
        ours, theirs = _took(own), _took(peer)
        print(f"{name:24} {ours * 1e3:7.1f} ms  {ours / theirs:.2f} times {words}")
    for name, write in (
        ("KML", lambda: kml_text(plan, region, lines)),
        ("SVG", lambda: levels_svg(plan)),
        ("PNG", lambda: levels_png(plan)),
    ):
        print(f"{name:24} {_took(write) * 1e3:7.1f} ms")


if __name__ == "__main__":
    main()
