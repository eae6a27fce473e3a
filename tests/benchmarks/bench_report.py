"""Time and size of the papers of a trip, beside folium's own import: run as a script, prints figures and ratios."""

from __future__ import annotations

import subprocess
import sys
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

from helpers import plans

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


if __name__ == "__main__":
    main()
