"""Every hostile text through every kind of place on a page, and every page full of them, in a real browser at telephone width."""

from __future__ import annotations

import csv
import html
import io
import json
import re
from itertools import cycle
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from helpers import plans
from helpers.browser import look
from helpers.pages import shown

from tripplan.model.choice import Choice, Choices, Sums
from tripplan.model.serial import plan_from_json, plan_to_json
from tripplan.model.track import Track
from tripplan.report.check_map import check_map
from tripplan.report.choices import choices_page
from tripplan.report.itinerary import itinerary_page
from tripplan.report.map import map_page
from tripplan.report.markup import el, raw
from tripplan.report.safe import csv_cell, plain, script_json
from tripplan.report.say import spot_name
from tripplan.report.tables import csv_text
from tripplan.report.words import summary
from tripplan.report.write import PAPERS, render_papers

from hostile import CORPUS  # isort: skip
from test_report_map import hostile_plan  # isort: skip

_LAYOUT = "pwned: window.pwned === undefined ? 0 : 1, wide: document.documentElement.scrollWidth, inner: window.innerWidth"
_TEXT = "text: document.body.textContent"


def _harmless(seen: dict[str, Any]) -> None:
    assert "error" not in seen, seen
    assert seen["pwned"] == 0
    assert seen["asked_for"] == []
    assert seen["wide"] <= seen["inner"]


def test_every_text_in_every_context(tmp_path: Path) -> None:
    """As text, as an attribute's value, and as JSON inside a script, the browser has each text letter by letter, and none does anything."""
    rows = [el("p", el("bdi", text), title=text, aria_label=text, data_text=text) for text in CORPUS]
    data = raw(f'<script type="application/json" id="data">{script_json([plain(text) for text in CORPUS])}</script>')
    body = el("body", *rows, data, style="overflow-wrap:anywhere")
    page = f"<!DOCTYPE html>\n{el('html', el('head', el('meta', charset='utf-8')), body, lang='en')}\n"
    probe = f"""var p = Array.prototype.slice.call(document.querySelectorAll('body > p'));
        p.forEach(function (e) {{ ['mouseover', 'click', 'focus', 'load', 'error'].forEach(function (n) {{ e.dispatchEvent(new Event(n, {{bubbles: true}})); }}); }});
        return {{texts: p.map(function (e) {{ return e.textContent; }}), titles: p.map(function (e) {{ return e.title; }}),
            labels: p.map(function (e) {{ return e.getAttribute('aria-label'); }}), data: JSON.parse(document.getElementById('data').textContent),
            elements: document.body.querySelectorAll('*').length, {_LAYOUT}}};"""
    seen = look(page, probe, tmp_path, width=390, height=844)
    _harmless(seen)
    want = [plain(text) for text in CORPUS]
    assert seen["texts"] == seen["titles"] == seen["labels"] == seen["data"] == want
    assert seen["elements"] == 2 * len(CORPUS) + 2  # a paragraph and its bdi each, the data, the probe


_ORDER = """return {at: Array.prototype.map.call(document.querySelectorAll('body > p'), function (p) {
    var box = function (tag) { return p.querySelector(tag).getBoundingClientRect(); }, b = box('b'), s = box('span'), i = box('i');
    return [b.right, s.left, s.right, i.left]; })};"""


def _in_a_row(texts: list[str], tmp_path: Path) -> list[bool]:
    """Whether the browser sets each text after the word before it and before the word after it."""
    lines = [
        el("p", el("b", "start "), el("span", raw(html.escape(text))), el("i", " 12 end"), style="white-space:nowrap;font:12px sans-serif") for text in texts
    ]  # fmt: skip
    page = f"<!DOCTYPE html>\n{el('html', el('head', el('meta', charset='utf-8')), el('body', *lines))}\n"
    seen = look(page, _ORDER, tmp_path)
    assert len(seen["at"]) == len(texts)
    return [before <= left + 0.5 and right <= after + 0.5 for before, left, right, after in seen["at"]]


def test_no_text_turns_its_neighbours(tmp_path: Path) -> None:
    """Words before and after a text that runs right to left, or carries marks that turn, stay before and after it on the screen."""
    texts = [plain(text) for text in CORPUS if plain(text).strip() and len(text) < 60]
    kept = _in_a_row(texts, tmp_path)
    assert [ascii(text) for text, ok in zip(texts, kept, strict=True) if not ok] == []
    assert len(texts) > 150


def test_the_check_for_turning_can_fail(tmp_path: Path) -> None:
    """The same measure sees neighbours turned where texts are not isolated."""
    assert _in_a_row(["\u202eleft open", "\u202eemaN\u202c", "plain"], tmp_path)[::2] == [False, True]


@pytest.mark.parametrize("first", range(0, len(CORPUS), 60))
def test_pages_full_of_hostile_texts(tmp_path: Path, first: int) -> None:
    """Map, day sheets and choices of a trip whose every text is hostile: nothing runs or is asked for, nothing sticks out, each name is there."""
    plan, region, _ = hostile_plan(first)
    names = {plain(plan.trip.name), *[spot_name(day.night.spot) for day in plan.days if day.night]}
    sums = Sums(1, 1.0, 1.0, 1.0, 1.0, 1, 1, 1, 1)
    found = Choices((Choice("", "As asked", plan, sums), Choice("other", "Another", plan, sums)))
    for page in (
        map_page(plan, region),
        itinerary_page(plan, region),
        choices_page(found, plan.trip, {"": "", "other": "other/"}),
    ):
        seen = look(page, f"return {{{_LAYOUT}, {_TEXT}}};", tmp_path, width=390, height=844)
        _harmless(seen)
        text = shown(seen["text"])
        for name in names:
            assert shown(name).strip() in text, ascii(name)


@pytest.mark.parametrize("first", range(0, len(CORPUS), 80))
def test_the_page_of_a_check_full_of_hostile_texts(tmp_path: Path, first: int) -> None:
    """So with the page of a check: roads, towns, the track and its remarks."""
    from tripplan.model.outfit import Outfit
    from tripplan.roads.terms import Terms
    from tripplan.roads.track_check import check_track

    turn = cycle(CORPUS[first:] + CORPUS[:first])
    region = plans.island(lambda _: next(turn))
    rows = slice(int(region.pieces.ptr[24]), int(region.pieces.ptr[25]))  # the gravel pass
    lon, lat = region.pieces.lon_e7[rows] / 1e7, region.pieces.lat_e7[rows] / 1e7
    steps = np.linspace(0, len(lon) - 1, 300)
    along = np.arange(len(lon))
    track = Track.of(
        np.interp(steps, along, lon), np.interp(steps, along, lat), np.arange(300.0), name=next(turn), remarks=(next(turn),)
    )
    result = check_track(region, track, Terms(Outfit("outfit", True, 3300, 1500, 1400, 2.6, 2.3, 12.0, 90)))
    head = next(turn)
    seen = look(
        check_map(result, region, head, name=next(turn)), f"return {{{_LAYOUT}, {_TEXT}}};", tmp_path, width=390, height=844
    )
    _harmless(seen)


@pytest.mark.parametrize("first", range(0, len(CORPUS), 40))
def test_every_paper_and_the_terminal_take_them(first: int) -> None:
    """All papers are made of a plan of hostile texts, in UTF-8 where they are text, and the terminal is handed no control character."""
    plan, region, _ = hostile_plan(first, 7)
    papers = render_papers(plan, region)
    assert set(papers) == set(PAPERS)
    for name, content in papers.items():
        if name == "plan.json":
            assert plan_to_json(plan_from_json(content)).encode() == content  # JSON escapes what it must, and keeps the rest
        elif not name.endswith((".png", ".pdf")):
            assert not re.search("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f]", content.decode("utf-8")), name
    for line in summary(plan):
        assert not re.search(r"[\x00-\x1f\x7f-\x9f\u2028\u2029]", line)
        line.encode("utf-8")


def test_control_characters_become_one_that_can_be_seen() -> None:
    """What XML 1.0 forbids, and every other control, is U+FFFD in each paper, one for one; white space is a blank."""
    assert plain("a\x00b\x1f\x7f\x9f\ufffec") == "a\ufffdb\ufffd\ufffd\ufffd\ufffdc"
    assert plain("a\r\n\tb") == "a b"


def test_every_text_as_a_cell() -> None:
    """In a table each text is one cell that a reader has back, never a formula."""
    rows = list(csv.reader(io.StringIO(csv_text(("n", "text"), list(enumerate(CORPUS))), newline="")))
    assert [row[1] for row in rows[1:]] == [csv_cell(text) for text in CORPUS]
    assert all(plain(text) in csv_cell(text) for text in CORPUS)


def test_json_of_the_map_reads_back() -> None:
    """The data that a map carries is JSON whatever its names are, and ends where it should."""
    plan, region, _ = hostile_plan(7)
    page = map_page(plan, region)
    found = re.search(r'<script type="application/json" id="map-data">(.*?)</script>', page, re.DOTALL)
    assert found
    towns = {town[0] for town in json.loads(found[1])["towns"]}
    assert towns
    assert not any(html.escape(town, quote=False) != town and town in found[1] for town in towns)


def test_the_catalogue_full_of_hostile_texts(tmp_path: Path) -> None:
    """So with the page of suggested loops: every text as a sight's name and as the reason why it was left out, each read back."""
    from dataclasses import replace

    from tripplan.report.catalogue import catalogue_page
    from tripplan.schedule.choices import sums_of
    from tripplan.schedule.suggest import THEMES, Suggestion, sights_seen
    from tripplan.schedule.suggest_sights import Picked
    from tripplan.schedule.suggest_values import Valued

    turn = cycle(CORPUS)
    region = plans.island(lambda _: next(turn))
    plan = plans.plan(3, lambda _: next(turn), region)
    bare = Valued(plan.trip.depot, 100, 1.0, "why", 1.0, "why")
    left = tuple((replace(bare, spot=replace(bare.spot, name=text)), f"{text} {n}") for n, text in enumerate(CORPUS))
    own = tuple((text, text) for text in CORPUS)
    found = Suggestion(THEMES[1], plan, plan.trip, sums_of(plan, plan.trip), Picked((), left), sights_seen(plan), own, next(turn))
    page = catalogue_page([found], [], plan.trip, region, {found.key: "coast/"})
    seen = look(page, f"return {{{_LAYOUT}, {_TEXT}}};", tmp_path, width=390, height=844)
    _harmless(seen)
    text = shown(seen["text"])
    assert len(CORPUS) >= 200
    for name in CORPUS:
        assert shown(plain(name)).strip() in text, ascii(name)
