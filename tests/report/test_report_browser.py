"""The pages in a real browser: they open with no network, draw what they should, run nothing foreign, and fit a telephone."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from helpers import plans
from helpers.browser import look, pages_printed

from tripplan.report.chart import levels_of
from tripplan.report.itinerary import itinerary_page
from tripplan.report.language import Language, speaking
from tripplan.report.map import map_page
from tripplan.report.say import amount

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


_PANEL = """
    function panel() {
        var s = document.getElementById('stores');
        return {title: document.getElementById('stores-title').textContent, said: document.getElementById('said').textContent,
            levels: Array.prototype.map.call(s.querySelectorAll('.level'), function (p) { return p.textContent; }),
            served: Array.prototype.map.call(s.querySelectorAll('.served'), function (p) { return p.textContent; }),
            bands: Array.prototype.map.call(s.querySelectorAll('rect.day'), function (r) { return [Number(r.getAttribute('x')), Number(r.getAttribute('width'))]; })};
    }
    function press(element, key) { element.focus(); element.dispatchEvent(new KeyboardEvent('keydown', {key: key, bubbles: true, cancelable: true})); }
    function dayLine(n) { return document.querySelectorAll('path.hit')[n]; }
"""


@SIZES
def test_the_stores_follow_the_day_selected(tmp_path: Path, width: int, height: int) -> None:
    """From the list, by the steps beside the charts, on the way's line and on a night's sign by the keyboard: charts and what is said follow."""
    probe = (
        _PANEL
        + """
        var seen = {};
        seen.before = panel();
        document.querySelector('button[data-day="5"]').click(); seen.list = panel();
        document.querySelector('button[data-step="1"]').click(); seen.next = panel();
        document.querySelector('button[data-all]').click(); seen.all = panel();
        document.querySelector('button[data-step="-1"]').click(); seen.last = panel();
        dayLine(0).dispatchEvent(new MouseEvent('click', {bubbles: true, clientX: 200, clientY: 200})); seen.line = panel();
        seen.popup = document.querySelector('.leaflet-popup-content').textContent;
        var sign = Array.prototype.filter.call(document.querySelectorAll('.sign-box'), function (s) { return s.textContent.indexOf('4') === 0; })[0];
        if (sign) { press(sign, 'Enter'); seen.sign = panel(); }
        return seen;
    """
    )
    seen = look(map_page(PLAN, REGION), probe, tmp_path, width=width, height=height, policy=True)
    assert "error" not in seen, seen
    stores = [strip for strip in levels_of(PLAN).strips if strip.line]
    assert seen["before"]["title"] == "Stores over the trip"
    assert seen["before"]["bands"] == [[0, 0]] * len(stores)
    assert seen["all"] == {**seen["before"], "said": "Whole trip"}
    for key, number in (("list", 5), ("next", 6), ("last", len(PLAN.days)), ("line", 1)):
        day, told = PLAN.days[number - 1], seen[key]
        assert told["title"].startswith(f"Stores on day {number}, ")
        assert told["said"].startswith(f"Day {number}: ")
        lines = {line.store: line for line in day.levels}
        want = [amount(strip.store, lines[strip.store].arrive) if strip.store in lines else "" for strip in stores]
        assert all(text.replace("\N{NO-BREAK SPACE}", " ").endswith(end) for text, end in zip(told["levels"], want, strict=True))
        assert [bool(text) for text in told["served"]] == [
            strip.store in lines and bool(lines[strip.store].served) for strip in stores
        ]
        for x, wide in told["bands"]:
            assert x == pytest.approx((number - 1) * 150 / len(PLAN.days), abs=0.06)
            assert wide == pytest.approx(150 / len(PLAN.days), abs=0.06)
    assert "Day 1" in seen["popup"]
    if "sign" in seen:
        assert seen["sign"]["title"].startswith("Stores on day 4")


def test_a_day_without_a_way_is_selected_too(tmp_path: Path) -> None:
    """Where the van stays and nobody drives, the day's charts are shown, its night stands out, no other day's arrow is left, nothing fails."""
    days = tuple(replace(day, legs=()) if day.number == 3 else day for day in PLAN.days)
    probe = """
        var failed = []; window.onerror = function (m) { failed.push(m); };
        document.querySelector('button[data-day="3"]').click();
        return {title: document.getElementById('stores-title').textContent, failed: failed, arrows: document.querySelectorAll('.arrow').length,
            faint: Array.prototype.filter.call(document.querySelectorAll('path.way'), function (p) { return p.getAttribute('stroke-opacity') !== '0.25'; }).length};
    """
    seen = look(map_page(replace(PLAN, days=days), REGION), probe, tmp_path, policy=True)
    assert "error" not in seen, seen
    assert seen["title"].startswith("Stores on day 3, ")
    assert (seen["failed"], seen["arrows"], seen["faint"]) == ([], 0, 0)


def test_other_plans_are_switched(tmp_path: Path) -> None:
    """The list's button and the layer control switch the same layer, and each shows what the other did; a day's layer too goes and comes."""
    probe = """
        function count(kind) { return document.querySelectorAll('path.' + kind).length; }
        var b = document.querySelector('button[data-other="0"]'), seen = [[count('other'), b.getAttribute('aria-pressed')]];
        b.click(); seen.push([count('other'), b.getAttribute('aria-pressed')]);
        var boxes = Array.prototype.filter.call(document.querySelectorAll('.leaflet-control-layers label'), function (l) { return /Least money|Day 1$/.test(l.textContent.trim()); });
        var day = boxes[0].querySelector('input'), other = boxes[1].querySelector('input'), ways = count('way');
        seen.push(other.checked);
        other.click(); seen.push([count('other'), b.getAttribute('aria-pressed')]);
        day.click(); seen.push(ways - count('way')); day.click(); seen.push(ways - count('way'));
        return {seen: seen, wide: document.documentElement.scrollWidth};
    """
    page = map_page(PLAN, REGION, alternatives=(("Least money", plans.plan(5, region=REGION)),))
    seen = look(page, probe, tmp_path, width=390, height=844, policy=True)
    assert "error" not in seen, seen
    assert seen["seen"] == [[0, "false"], [1, "true"], True, [0, "false"], 1, 0]
    assert seen["wide"] == 390
    assert seen["asked_for"] == []


def test_keys_alone_reach_everything(tmp_path: Path) -> None:
    """Everything that does something can be focused, in the order map, stores, list; what has focus is marked; nothing holds it."""
    probe = """
        var all = Array.prototype.filter.call(document.querySelectorAll('a[href], button, input, summary, [tabindex]'), function (e) { return e.tabIndex >= 0 && e.getClientRects().length; });
        var rooms = all.map(function (e) { var r = e.closest('#map, #stores, #list'); return r ? r.id : ''; });
        var bare = all.filter(function (e) { e.focus(); return document.activeElement !== e; }).map(function (e) { return e.outerHTML.slice(0, 80); });
        var step = document.querySelector('button.step'); step.focus();
        var over = all.filter(function (e) { return e.tabIndex > 0; }).length;
        return {rooms: rooms.filter(function (r, i) { return !i || r !== rooms[i - 1]; }), bare: bare, over: over,
            clickable: document.querySelectorAll('.sign-box').length, focusable: document.querySelectorAll('.sign-box[tabindex="0"][role="button"][aria-label]').length};
    """
    seen = look(map_page(PLAN, REGION), probe, tmp_path, policy=True)
    assert "error" not in seen, seen
    assert seen["rooms"] == ["map", "stores", "list"]
    assert seen["bare"] == []
    assert seen["over"] == 0
    assert seen["clickable"] == seen["focusable"] > 0


def test_fingers_find_what_they_press(tmp_path: Path) -> None:
    """On a telephone held upright every button and fold is at least 24 px either way (WCAG 2.2, 2.5.8), those used most 44 px (2.5.5)."""
    probe = """
        function size(e) { var r = e.getBoundingClientRect(); return [Math.round(r.width), Math.round(r.height), e.textContent.slice(0, 30)]; }
        function all(s) { return Array.prototype.map.call(document.querySelectorAll(s), size).filter(function (s) { return s[0] || s[1]; }); }
        return {most: all('button.step, button.go.day, button.go.all, .leaflet-bar a, .leaflet-control-layers-toggle, summary'), every: all('button, .sign-box, summary, .leaflet-bar a')};
    """
    page = map_page(PLAN, REGION, alternatives=(("Least money", plans.plan(5, region=REGION)),))
    seen = look(page, probe, tmp_path, width=390, height=844, policy=True)
    assert "error" not in seen, seen
    assert [s for s in seen["most"] if min(s[:2]) < 44] == []
    assert [s for s in seen["every"] if min(s[:2]) < 24] == []
    assert len(seen["most"]) > 20


def test_the_map_prints(tmp_path: Path) -> None:
    """On paper the map has a page of its own and the list follows, every day of it."""
    pages = pages_printed(map_page(PLAN, REGION), tmp_path)
    assert 2 <= pages <= 16


def test_the_printed_map_is_whole(tmp_path: Path) -> None:
    """Before printing the map takes the width of paper and fits the trip into it; afterwards it is as it was."""
    probe = """
        var box = document.querySelector('.folium-map');
        function size() { return [box.clientWidth, box.clientHeight]; }
        function inside() {
            var r = box.getBoundingClientRect();
            return Array.prototype.filter.call(document.querySelectorAll('.sign-box'), function (s) {
                var q = s.getBoundingClientRect(), x = q.left + q.width / 2, y = q.top + q.height / 2;
                return x < r.left || x > r.right || y < r.top || y > r.bottom;
            }).length;
        }
        function scale() { return document.querySelector('.leaflet-control-scale-line').textContent; }
        var out = {before: [size(), scale()]};
        window.dispatchEvent(new Event('beforeprint'));
        out.paper = size(); out.outside = inside();
        window.dispatchEvent(new Event('afterprint'));
        out.after = [size(), scale()];
        return out;
    """
    for width, height in ((1280, 900), (390, 844)):
        seen = look(map_page(PLAN, REGION), probe, tmp_path, width=width, height=height, policy=True)
        assert "error" not in seen, seen
        assert seen["paper"] == [688, 598]  # with its edge 690 px of CSS: A4 less 12 mm on both sides is 703 px wide
        assert seen["outside"] == 0
        assert seen["before"] == seen["after"]


def test_the_maps_own_signs_speak_its_language(tmp_path: Path) -> None:
    """What the map's library writes on its buttons is told in German on a German page."""
    probe = """
        document.querySelector('.sign-box').click();
        return {told: Array.prototype.map.call(document.querySelectorAll('.leaflet-bar a, .leaflet-control-layers-toggle, .leaflet-popup-close-button'),
            function (e) { return [e.title, e.getAttribute('aria-label')]; })};
    """
    with speaking(Language("de")):
        page = map_page(PLAN, REGION)
    seen = look(page, probe, tmp_path, policy=True)
    assert "error" not in seen, seen
    assert sorted(seen["told"]) == [[name, name] for name in ("Ebenen", "Näher heran", "Schließen", "Weiter weg")]


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
    pages = pages_printed(page, tmp_path)
    assert sheets + 1 <= pages <= sheets + 2
    # Whom to call stands on every one of them, also where a sheet takes two.
    from pypdf import PdfReader

    printed = [" ".join(part.extract_text().split()) for part in PdfReader(tmp_path / "print.pdf").pages]
    assert len(printed) == pages
    assert all("Emergency: " in text and "Nearest hospital" in text for text in printed)
