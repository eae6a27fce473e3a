"""The pages in a real browser: they open with no network, draw what they should, run nothing foreign, and fit a telephone."""

from __future__ import annotations

from pathlib import Path

import pytest
from helpers import plans
from helpers.browser import look, pages_printed

from tripplan.report.itinerary import itinerary_page
from tripplan.report.map import map_page

from hostile import CORPUS  # isort: skip
from test_report_map import hostile_plan  # isort: skip

REGION = plans.island()
PLAN = plans.plan(14, region=REGION)
SIZES = pytest.mark.parametrize(("width", "height"), [(1280, 900), (390, 844)])

_DRAWN = """
    var canvas = document.querySelector('canvas'), seen = {}, bits = canvas ? canvas.getContext('2d').getImageData(0, 0, canvas.width, canvas.height).data : [];
    for (var i = 0; i < bits.length; i += 4 * 97) { if (bits[i + 3] > 250) { seen[bits[i] + ',' + bits[i + 1] + ',' + bits[i + 2]] = 1; } }
    var map = document.getElementById('map').getBoundingClientRect(), list = document.getElementById('list').getBoundingClientRect();
    function shownPaths(kind) { return Array.prototype.filter.call(document.querySelectorAll('path.' + kind), function (p) { return p.getAttribute('d').length > 10; }).length; }
    return {
        pwned: window.pwned === undefined ? 0 : 1, ways: shownPaths('way'), bands: shownPaths('band'), off: shownPaths('off'),
        signs: document.querySelectorAll('.sign-box').length, towns: document.querySelectorAll('.town').length, arrows: document.querySelectorAll('.arrow').length,
        colours: Object.keys(seen).length, layers: document.querySelectorAll('.leaflet-control-layers-overlays label').length,
        credit: document.querySelector('.leaflet-control-attribution').textContent, wide: document.documentElement.scrollWidth, inner: window.innerWidth,
        map: [map.width, map.height, map.bottom], list: [list.width, list.top], hidden: getComputedStyle(document.body).display
    };
"""


@SIZES
def test_map_draws_itself_offline(tmp_path: Path, width: int, height: int) -> None:
    """Under its own policy and with no network: every line, sign, band and name is drawn, nothing is asked for, nothing sticks out."""
    seen = look(map_page(PLAN, REGION), _DRAWN, tmp_path, width=width, height=height, policy=True)
    assert "error" not in seen, seen
    assert seen["asked_for"] == []
    days = [day for day in PLAN.days if any(leg.runs.piece for leg in day.legs)]
    assert seen["ways"] == len(days)
    assert seen["bands"] >= 1
    assert seen["off"] == 1
    assert seen["signs"] == len({m.key for m in _marks()})
    assert seen["arrows"] >= 4
    assert seen["towns"] >= 2
    assert seen["colours"] >= 3
    assert seen["layers"] == len(PLAN.days) + 4
    assert seen["credit"] == "© OpenStreetMap contributors, data of 2026-10-01"
    assert seen["wide"] <= seen["inner"] == width
    assert seen["map"][0] >= 0.65 * width
    assert seen["map"][1] >= 0.5 * height
    if width < 800:
        assert seen["list"][1] >= seen["map"][2] - 1
        assert seen["list"][0] == width


def _marks() -> tuple[object, ...]:
    from tripplan.report.mapdata import marks_of

    return marks_of(PLAN)


@SIZES
@pytest.mark.parametrize("first", [0, len(CORPUS) // 2])
def test_hostile_texts_do_not_run_on_the_map(tmp_path: Path, width: int, height: int, first: int) -> None:
    """With the policy taken away and every popup opened: no script of a text runs, nothing is asked for, the layout stands."""
    plan, region, _ = hostile_plan(first)
    opened = "document.querySelectorAll('button.go').forEach(function (b) { b.click(); });"
    opened += "document.querySelectorAll('.sign-box').forEach(function (s) { s.click(); s.dispatchEvent(new MouseEvent('mouseover', {bubbles: true})); });"
    opened += "document.querySelector('button[data-all]').click();"
    seen = look(map_page(plan, region), opened + _DRAWN, tmp_path, width=width, height=height)
    assert "error" not in seen, seen
    assert seen["pwned"] == 0
    assert seen["asked_for"] == []
    assert seen["ways"] >= 10
    assert seen["signs"] == len(_marks())
    assert seen["wide"] <= seen["inner"]
    assert seen["hidden"] != "none"


def test_the_check_for_scripts_can_fail(tmp_path: Path) -> None:
    """The same browser and probe do see a script that runs and a request that leaves when a page lets them."""
    page = "<!DOCTYPE html><body><img src=x onerror='window.pwned=1'><img src='http://attacker.invalid/x.png'></body>"
    seen = look(page, "return {pwned: window.pwned};", tmp_path)
    assert seen["pwned"] == 1
    assert seen["asked_for"] == ["http://attacker.invalid/x.png"]


def test_choosing_a_day(tmp_path: Path) -> None:
    """A day's button moves the map there, marks itself pressed, fades the others; a place's button opens what the list says."""
    probe = """
        var b = document.querySelector('button[data-day="5"]'), before = document.querySelector('.leaflet-map-pane').innerHTML.length;
        b.focus(); b.click();
        var pressed = b.getAttribute('aria-pressed'), others = Array.prototype.map.call(document.querySelectorAll('path.way'), function (p) {
            return p.getAttribute('stroke-opacity'); });
        document.querySelector('button[data-mark]').click();
        var popup = document.querySelector('.leaflet-popup-content'), entry = document.getElementById(document.querySelector('button[data-mark]').getAttribute('data-mark'));
        return {pressed: pressed, full: others.filter(function (o) { return o === '1'; }).length, popup: popup.textContent, entry: entry.textContent,
            labels: Array.prototype.map.call(document.querySelectorAll('.sign-box'), function (s) { return [s.getAttribute('aria-label'), s.tabIndex]; })};
    """
    seen = look(map_page(PLAN, REGION), probe, tmp_path, policy=True)
    assert "error" not in seen, seen
    assert seen["pressed"] == "true"
    assert seen["full"] == 1
    assert seen["popup"] == seen["entry"]
    assert all(label and index == 0 for label, index in seen["labels"])


@SIZES
def test_itinerary_fits(tmp_path: Path, width: int, height: int) -> None:
    """The itinerary is no wider than the window, with ordinary and with hostile texts; nothing runs or loads."""
    probe = "return {pwned: window.pwned === undefined ? 0 : 1, wide: document.documentElement.scrollWidth, inner: window.innerWidth};"
    for plan, region in ((PLAN, REGION), hostile_plan(40)[:2]):
        seen = look(itinerary_page(plan, region), probe, tmp_path, width=width, height=height)
        assert seen["wide"] <= seen["inner"]
        assert seen["pwned"] == 0
        assert seen["asked_for"] == []


@pytest.mark.parametrize("paper", ["A4", "letter"])
def test_itinerary_prints(tmp_path: Path, paper: str) -> None:
    """Printed, each sheet starts a page of its own and takes one; only the trip at a glance takes two or three for two weeks."""
    page = itinerary_page(PLAN, REGION).replace("</head>", f"<style>@page {{ size: {paper}; }}</style></head>")
    sheets = len(PLAN.days) + 4
    assert sheets + 1 <= pages_printed(page, tmp_path) <= sheets + 2
