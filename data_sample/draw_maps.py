"""Plan the sample trips and write their maps into `maps/`, and the two pictures that the guide shows.

Run `python data_sample/draw_maps.py` in a checkout after any change of the sample, of the planning or of the papers. The same code writes
the same maps byte for byte. A trip that has no plan is left out, as it is meant to be. The pictures need a Chromium: the one that
TRIPPLAN_CHROMIUM names, else one on the path; without it they stay as they are.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import tempfile
from dataclasses import replace
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from PIL import Image

from tripplan.model.errors import NoPlanError
from tripplan.pipeline import audited_plan
from tripplan.region.build import build
from tripplan.report.itinerary import itinerary_page
from tripplan.report.map import map_page
from tripplan.request.climate_file import load_climate
from tripplan.request.trip_file import load_trip

HERE = Path(__file__).resolve().parent
#: The trip and the day that the guide shows: one with a sight and a service stop on the way.
SHOWN, SHOWN_DAY = "round_island", 13
#: Page size of the pictures [px].
MAP_SIZE, DAY_SIZE = (1180, 720), (800, 800)
#: By so much a window is lower than asked for while it lays out, and a little more [px].
_SPARE_PX = 200


def trips() -> dict[str, Path]:
    """Return the sample trips by name."""
    return {path.stem.removeprefix("trip_"): path for path in sorted(HERE.glob("trip_*.toml"))}


def one_day(page: str, day: int) -> str:
    """Return an itinerary that shows one day's sheet only."""
    rule = f"section:not(#day-{day}), footer {{ display: none !important; }}"
    return page.replace("</head>", f"<style>{rule} body {{ padding: 4px 18px !important; }}</style></head>", 1)


def picture(page: str, out: Path, size: tuple[int, int]) -> bool:
    """Photograph a page; return whether there is a browser for it."""
    names = ("chromium", "chromium-browser", "google-chrome", "chrome", "headless_shell")
    browser = os.environ.get("TRIPPLAN_CHROMIUM") or next((path for name in names if (path := shutil.which(name))), None)
    if browser is None:
        return False
    with tempfile.TemporaryDirectory() as folder:
        source = Path(folder) / "page.html"
        # A browser's window is lower while it lays out than when it is photographed: the page keeps its height, and the rest is cut off.
        fixed = f"<style>body {{ height: {size[1]}px !important; }}</style></head>"
        source.write_text(page.replace("</head>", fixed, 1), encoding="utf-8")
        shot = Path(folder) / "shot.png"
        command = [
            browser, "--headless", "--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage", "--no-first-run", "--hide-scrollbars",
            "--host-resolver-rules=MAP * ~NOTFOUND", f"--user-data-dir={folder}/profile", "--virtual-time-budget=4000",
            f"--window-size={size[0]},{size[1] + _SPARE_PX}", f"--screenshot={shot}", source.as_uri(),
        ]  # fmt: skip
        subprocess.run(command, check=True, capture_output=True, timeout=120)  # noqa: S603  a page of our own
        with Image.open(shot) as whole:
            whole.crop((0, 0, *size)).save(out, optimize=True)
    return True


def main() -> None:
    """Write `maps/NAME.html` for each trip that has a plan, `maps/map.png` and `maps/day.png`."""
    if not (HERE.parent / "pyproject.toml").is_file():
        sys.exit("draw_maps.py writes into a checkout, and this is none")
    region = build(HERE / "island.osm.pbf", name="Sample island")  # anew: the code may have changed since the last time
    region = replace(region, climate=load_climate(HERE / "sample_climate.csv"))
    out = HERE.parent / "maps"
    out.mkdir(exist_ok=True)
    for name, path in trips().items():
        try:
            plan = audited_plan(load_trip(path, region), region)
        except NoPlanError:
            print(f"{name}: no plan, no map")
            continue
        page = map_page(plan, region)
        beside = out / f".{name}.html"
        beside.write_bytes(page.encode())
        beside.replace(out / f"{name}.html")
        print(f"{name}.html: {len(page.encode()) / 1000:.0f} kB")
        if name == SHOWN:
            day = one_day(itinerary_page(plan, region), SHOWN_DAY)
            both = picture(page, out / "map.png", MAP_SIZE) and picture(day, out / "day.png", DAY_SIZE)
            print("map.png, day.png" if both else "no Chromium found: map.png and day.png stay as they are")


if __name__ == "__main__":
    main()
