"""The levels over a trip: one model, and what page, picture, drawing and terminal make of it."""

from __future__ import annotations

import io
import os
import subprocess
import sys
from dataclasses import replace
from pathlib import Path
from xml.etree import ElementTree

import numpy as np
import pytest
from helpers import plans
from helpers.browser import look
from PIL import Image

from tripplan.model.plan import LevelLine, Plan
from tripplan.report.chart import NIGHT_AT, WAY_AT, levels_of
from tripplan.report.levels import levels_chart, levels_svg
from tripplan.report.picture import _font, _title, levels_image, levels_png
from tripplan.report.safe import plain
from tripplan.report.terminal import can_show_bars, levels_lines

from hostile import CORPUS  # isort: skip

PLAN = plans.plan(7)
SVG = "{http://www.w3.org/2000/svg}"


def _named(text: str) -> Plan:
    return replace(PLAN, trip=replace(PLAN.trip, name=text))


def _picture(plan: Plan) -> np.ndarray:
    """Return the picture before its colours become few: the palette goes by the whole picture, so one strip would change the next."""
    return np.asarray(levels_image(plan)).astype(int)


def test_the_model_holds_every_level_limit_and_service() -> None:
    """A strip a store; each day's four levels in order of time; a mark for each service where it is done; the worst named."""
    chart = levels_of(PLAN)
    assert [strip.store for strip in chart.strips] == ["fresh", "grey", "cassette", "flush", "gas", "battery"]
    for strip in chart.strips:
        lines = [line for day in PLAN.days for line in day.levels if line.store == strip.store]
        assert [level for _, level in strip.line] == [
            x for line in lines for x in (line.leave, line.arrive, line.worst, line.end)
        ]
        assert [x for x, _ in strip.line] == sorted(x for x, _ in strip.line)
        assert strip.limit == lines[-1].limit
        assert len(strip.services) == sum(len(line.served.split("+")) for line in lines if line.served)
    grey = chart.strips[1]
    assert [mark.x for mark in grey.services[:2]] == [WAY_AT, NIGHT_AT]
    assert grey.worst == (1, 41.0)
    assert grey.bound == "at most 54 of 60 L"
    assert chart.strips[4].bound == "at least 1.0 of 9.0 kg"


def _spread(plan: Plan) -> Plan:
    """The same plan with an expected level halfway between each level and its best."""

    def halfway(line: LevelLine) -> LevelLine:
        best = 0.0 if line.store in ("grey", "cassette") else 80.0
        return replace(line, expected=tuple((x + best) / 2 for x in (line.leave, line.arrive, line.worst, line.end)))

    return replace(plan, days=tuple(replace(day, levels=tuple(map(halfway, day.levels))) for day in plan.days))


def test_the_spread_is_shown() -> None:
    """Where the plan tells what is to be expected, page, drawing and picture dot it and shade what lies between."""
    plan = _spread(PLAN)
    chart = levels_of(plan)
    assert all([x for x, _ in strip.expected] == [x for x, _ in strip.line] for strip in chart.strips)
    assert chart.strips[1].expected[2][1] == pytest.approx(41.0 / 2)
    assert levels_svg(plan).count("Z") == levels_svg(PLAN).count("Z") + len(chart.strips)
    assert levels_svg(plan).count('stroke-dasharray="1 3"') == len(chart.strips)
    assert "to be expected" in levels_svg(plan)
    assert "to be expected" not in levels_svg(PLAN)
    band = np.array([0xA9, 0xBF, 0xCD])
    assert (np.abs(_picture(plan) - band).sum(axis=2) < 12).sum() > 5000
    assert (np.abs(_picture(PLAN) - band).sum(axis=2) < 12).sum() < 200
    days = (replace(plan.days[0], levels=PLAN.days[0].levels), *plan.days[1:])
    assert not any(strip.expected for strip in levels_of(replace(plan, days=days)).strips)  # a day does not tell it


def test_the_drawing_is_a_file_of_its_own() -> None:
    """SVG 1.1 that any XML reader opens: a strip a store, a dashed limit in each, an arrow for each service, words for ears."""
    root = ElementTree.fromstring(levels_svg(PLAN))
    assert root.tag == f"{SVG}svg"
    assert {e.tag.removeprefix(SVG) for e in root.iter()} <= {"svg", "title", "desc", "style", "rect", "text", "path", "g"}
    paths = root.findall(f".//{SVG}path")
    chart = levels_of(PLAN)
    assert sum("stroke-dasharray" in p.attrib for p in paths) == len(chart.strips)
    assert sum(p.attrib["d"].endswith("h7l-3.5 6z") for p in paths) == sum(len(strip.services) for strip in chart.strips)
    assert "comes nearest to its limit" in (root.find(f"{SVG}desc").text or "")  # type: ignore[union-attr]
    assert (root.find(f"{SVG}title").text or "").startswith("Round Skerry Isle")  # type: ignore[union-attr]
    assert str(levels_chart(PLAN)).count("stroke-dasharray") == len(chart.strips)


def test_the_picture_shows_what_the_model_holds() -> None:
    """The same bytes for the same plan; ink of the line, of the limit and of the arrows is there, and moves with the level."""
    assert levels_png(PLAN) == levels_png(plans.plan(7))
    pixels = _picture(PLAN)
    assert pixels.shape[1] == 1400
    written = np.asarray(Image.open(io.BytesIO(levels_png(PLAN))).convert("RGB")).astype(int)
    assert written.shape == pixels.shape
    assert np.abs(written - pixels).max() < 64  # few colours, none far from what was drawn
    limit = (np.abs(pixels - [0xC2, 0x4A, 0x00]).sum(axis=2) < 60).any(axis=1)
    rows = np.flatnonzero(limit)
    assert 1 + int((np.diff(rows) > 3).sum()) == len(levels_of(PLAN).strips)  # a dashed line a strip
    days = tuple(
        replace(day, levels=tuple(replace(line, worst=line.leave) if line.store == "gas" else line for line in day.levels))
        for day in PLAN.days
    )
    other = _picture(replace(PLAN, days=days))
    changed = np.flatnonzero((pixels != other).any(axis=(1, 2)))
    gas = 92 + 4 * (76 + 22)
    assert len(changed)
    assert gas - 4 <= changed[0] <= changed[-1] <= gas + 76 + 20


@pytest.mark.parametrize("first", range(0, len(CORPUS), 24))
def test_any_name_may_stand_over_the_picture(first: int) -> None:
    """No name of a trip breaks picture or drawing: the size stays, the drawing's title holds the whole name."""
    for text in CORPUS[first : first + 24]:
        root = ElementTree.fromstring(levels_svg(_named(text)))
        assert (root.find(f"{SVG}title").text or "") == f"{plain(text)}: Levels of all stores over the trip"  # type: ignore[union-attr]
        assert not any(a.startswith("on") or a in ("href", "src") for e in root.iter() for a in e.attrib)
    assert _picture(_named(CORPUS[first])).shape == _picture(PLAN).shape


def test_no_text_runs_in_the_drawing(tmp_path: Path) -> None:
    """All texts of the corpus, each as the name over a drawing put on a page: nothing runs, nothing is asked for, nothing sticks out."""
    drawings = "".join(levels_svg(_named(text)).split("\n", 1)[1] for text in CORPUS)
    page = f'<!DOCTYPE html><html><head><meta charset="utf-8"><style>svg{{max-width:100%}}</style></head><body>{drawings}</body></html>'
    probe = """return {pwned: window.pwned === undefined ? 0 : 1, drawn: document.querySelectorAll('svg').length,
        titles: Array.prototype.map.call(document.querySelectorAll('svg > title'), function (t) { return t.textContent; }),
        wide: document.documentElement.scrollWidth, inner: window.innerWidth};"""
    seen = look(page, probe, tmp_path, width=390, height=844)
    assert "error" not in seen, seen
    assert (seen["pwned"], seen["asked_for"], seen["drawn"]) == (0, [], len(CORPUS))
    assert seen["wide"] <= seen["inner"]
    assert seen["titles"] == [f"{plain(text)}: Levels of all stores over the trip" for text in CORPUS]


def test_the_terminal_has_a_line_a_store() -> None:
    """One line a store with a bar a day, a mark on each day of a service and the limit at the end; no line beyond the width."""
    lines = levels_lines(PLAN)
    assert len(lines) == 2 + 6
    grey = next(line for line in lines if "grey water" in line)
    assert grey.endswith("at most 54 of 60 L")
    assert grey.count("▾") == len(PLAN.days)
    battery = next(line for line in lines if "battery" in line)
    assert battery.split()[1][0] == "▅"  # 58 of 95 Ah
    for count, width in ((7, 80), (28, 80), (28, 200), (34, 60)):
        lines = levels_lines(plans.plan(count), width=width)
        assert all(len(line) <= width for line in lines[1:]), (count, width)
        assert sum(line.count("▾") for line in lines[1:] if "fresh water" in line) == count + 1
    assert levels_lines(plans.plan(28), width=200)[1].split() == ["day", "1", "5", "10", "15", "20", "25"]


def test_the_terminal_without_blocks() -> None:
    """Where the encoding has no bars, digits and an apostrophe stand for them; never a colour or a control."""
    assert [can_show_bars(name) for name in ("utf-8", "UTF-16", "ascii", "latin-1", "cp1252", None, "nosuch")] == [True, True] + [
        False
    ] * 5
    lines = levels_lines(PLAN, bars=False)
    assert all(line.isascii() and line.isprintable() for line in lines)
    assert all(line.isprintable() for line in levels_lines(PLAN))


def test_levels_never_look_empty_or_full_when_they_are_not() -> None:
    """A level just above empty has a bar, one just below full is not full."""

    def first(level: float) -> str:
        line = replace(PLAN.days[0].levels[0], leave=level, arrive=level, worst=level, end=level, served="")
        days = tuple(replace(d, levels=(line,)) for d in PLAN.days[:1])
        return next(line for line in levels_lines(replace(PLAN, days=days)) if "fresh water" in line).split()[2]

    assert [first(x) for x in (0, 1, 40, 79, 80)] == ["▁", "▂", "▅", "▇", "█"]


@pytest.mark.parametrize(("encoding", "shown"), [("utf-8", True), ("ascii", False)])
def test_the_command_asks_its_terminal(encoding: str, shown: bool) -> None:
    """The command line looks at the encoding of its own standard output, and heeds COLUMNS."""
    code = "from tripplan.cli.shared import terminal_look; print(terminal_look())"
    environment = {**os.environ, "PYTHONIOENCODING": encoding, "COLUMNS": "132"}
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True, env=environment, cwd=Path(__file__).parents[2]
    )
    assert done.stdout.strip() == str((shown, 132))


def test_a_name_without_letters_in_the_font_is_no_row_of_boxes() -> None:
    """Arabic and Hebrew names are drawn joined and from right to left; one that the font cannot write is said to be missing."""
    font = _font("DejaVuSans-Bold.ttf", 24)
    assert _title("Ten nights", font) == "Ten nights"
    assert _title("Øy ẞ Rēzekne", font) == "Øy ẞ Rēzekne"
    assert _title("עשר", font) == "רשע"
    # Beh and teh joined, in presentation forms (Unicode Standard, chapter 9.2), drawn from the right: final teh stands first.
    assert _title("بت", font) == "\ufe96\ufe91"
    for name in ("यात्रा", "北島 week", "🚐"):
        assert "letters that this picture's font lacks" in _title(name, font)
    picture = levels_png(replace(plans.plan(2), trip=replace(plans.plan(2).trip, name="यात्रा")))
    assert Image.open(io.BytesIO(picture)).size[0] == 1400
