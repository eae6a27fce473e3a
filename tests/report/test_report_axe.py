"""No page of ours breaks a rule of axe-core (WCAG 2.2 A and AA, and good practice), wide or on a telephone held upright."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from helpers import plans
from helpers.browser import violations

from tripplan.model.choice import Choice, Choices, LeftOut, Sums
from tripplan.region.region import Region
from tripplan.report.check_map import check_map
from tripplan.report.choices import choices_page
from tripplan.report.itinerary import itinerary_page
from tripplan.report.map import map_page
from tripplan.roads.check import CheckResult
from tripplan.roads.track_check import TrackCheck

import test_report_check_map  # isort: skip

REGION = plans.island()
PLAN = plans.plan(6, region=REGION)
OTHER = replace(PLAN, days=PLAN.days[:4])
case = test_report_check_map.case
SIZES = pytest.mark.parametrize(("width", "height"), [(1280, 900), (390, 844)])


@SIZES
@pytest.mark.parametrize(
    "before",
    [
        "",
        "document.querySelector('button[data-day=\"3\"]').click()",
        "document.querySelector('button[data-mark]').click()",
        "document.querySelectorAll('details').forEach(function (d) { d.open = true; }); document.querySelector('button[data-other]').click();"
        "document.querySelector('.leaflet-control-layers').classList.add('leaflet-control-layers-expanded')",
    ],
    ids=["opened", "day", "popup", "everything open"],
)
def test_the_map(tmp_path: Path, width: int, height: int, before: str) -> None:
    """As it opens, with a day selected, with a popup, and with every fold and layer open."""
    page = map_page(PLAN, REGION, alternatives=(("Least money", OTHER),))
    assert violations(page, tmp_path, width=width, height=height, before=before) == []


@SIZES
def test_the_day_sheets(tmp_path: Path, width: int, height: int) -> None:
    """The itinerary."""
    assert violations(itinerary_page(PLAN, REGION), tmp_path, width=width, height=height) == []


@SIZES
def test_the_choices(tmp_path: Path, width: int, height: int) -> None:
    """The page that sets plans beside each other."""
    sums = Sums(84_000, 412.0, 60.0, 31_000.0, 9_000.0, 6, 5, 2, 3)
    choices = Choices(
        (
            Choice("asked", "As asked for", PLAN, sums),
            Choice("money", "Least money", OTHER, sums, ("12 km more",), ("8.00 less",)),
        ),
        (LeftOut("Most comfort", "it is the plan asked for"),),
    )
    page = choices_page(choices, PLAN.trip, {"asked": "", "money": "choice-money/"})
    assert violations(page, tmp_path, width=width, height=height) == []


@SIZES
def test_a_checked_way(case: tuple[Region, TrackCheck, CheckResult], tmp_path: Path, width: int, height: int) -> None:
    """The map of a recorded drive, and of way-points."""
    region, track, asked = case
    for result in (track, asked):
        page = check_map(result, region, "Checked for an outfit.", name="drive")
        before = "document.querySelectorAll('details').forEach(function (d) { d.open = true; }); document.querySelector('button[data-mark]').click()"
        assert violations(page, tmp_path, width=width, height=height, before=before) == []


def test_the_checker_can_find_something(tmp_path: Path) -> None:
    """A page with a button without a name, pale text and no language is told so."""
    page = "<!DOCTYPE html><html><head><title>x</title></head><body><main><h1>x</h1><button></button><p style='color:#bbb'>pale</p></main></body></html>"
    found = {line.split()[0] for line in violations(page.replace("<main>", "<main>" + "<ul><li>x</li></ul>"), tmp_path)}
    assert {"button-name", "color-contrast", "html-has-lang"} <= found
