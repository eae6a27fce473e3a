"""The maps in `maps/`: those of the three trips that have a plan, as the program writes them today, and small."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from tripplan.model.plan import Plan
from tripplan.region.region import Region
from tripplan.report.map import map_page

ROOT = Path(__file__).resolve().parents[2]
MAPS = ROOT / "maps"
TRIPS = ("family_loop", "isle_weekend", "round_island")
AGAIN = "run `python data_sample/draw_maps.py`"


def own(page: str) -> str:
    """Return a page without what the map library's version decides: the script that it writes and the hashes of scripts."""
    page = re.sub(r"'sha256-[^']*'|&#x27;sha256-[^;]*&#x27;|&#39;sha256-[^;]*&#39;", "", page)
    begin = page.rindex("<script>")
    return page[:begin] + page[page.index("</script>", begin) :]


@pytest.mark.parametrize("name", TRIPS)
def test_the_map_is_what_the_program_writes(plans: dict[str, Plan], region: Region, name: str) -> None:
    """Byte for byte, or at least in everything that another version of the map library could not change."""
    kept = (MAPS / f"{name}.html").read_text(encoding="utf-8")
    page = map_page(plans[name], region)
    if kept != page:
        ours = own(page)
        assert "map-data" in ours
        assert "tripplan.start" not in ours
        assert own(kept) == ours, f"maps/{name}.html is out of date: {AGAIN}"


def test_nothing_else_and_nothing_large() -> None:
    """Maps under 0.5 MB and pictures under 250 kB; no map of the trip that has no plan."""
    assert {path.stem for path in MAPS.glob("*.html")} == set(TRIPS)
    assert all(path.stat().st_size < 500_000 for path in MAPS.glob("*.html"))
    pictures = sorted(MAPS.glob("*.png"))
    assert [path.name for path in pictures] == ["day.png", "map.png", "page_places.png", "page_plan.png"]
    assert all(path.stat().st_size < 250_000 and path.read_bytes().startswith(b"\x89PNG\r\n") for path in pictures)


def test_the_guide_shows_the_pictures() -> None:
    """README has all pictures, with words for those who do not see them, and links to no picture that is not there."""
    shown = dict(re.findall(r"!\[([^\]]+)\]\(([^)]+)\)", (ROOT / "README.md").read_text(encoding="utf-8")))
    assert {path.relative_to(ROOT).as_posix() for path in MAPS.glob("*.png")} <= set(shown.values())
    assert all(len(words) > 20 for words in shown)
    assert all((ROOT / path).is_file() for path in shown.values())
