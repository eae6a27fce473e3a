"""What the pages draw: the palette, the base map, the levels, and why a service falls on its day."""

from __future__ import annotations

import itertools
from dataclasses import replace

import numpy as np
import pytest
from helpers import plans

from tripplan.model.plan import LevelLine
from tripplan.report import say
from tripplan.report.basemap import base_layers, frame_around, kept_off, roads, towns
from tripplan.report.chart import ARRIVE_AT, WAY_AT, levels_of
from tripplan.report.language import Language, speaking, tell
from tripplan.report.levels import levels_chart
from tripplan.report.palette import DASHES, HUES, LAND, WATER, day_style
from tripplan.report.tables import LEVEL_COLUMNS, level_rows
from tripplan.report.thin import unpack
from tripplan.report.why import needs_of, services_of

REGION = plans.island()
PLAN = plans.plan(7, region=REGION)

#: Severe protanomaly and deuteranomaly in linear RGB (Machado, Oliveira and Fernandes, IEEE TVCG 15(6), 2009, table for
#: severity 1.0; from memory), and Viénot's luminance for no colour at all.
_SIGHT = {
    "normal": np.eye(3),
    "protan": np.array([[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998]]),
    "deutan": np.array([[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.011820, 0.042940, 0.968881]]),
}


def _linear(colour: str) -> np.ndarray:
    s = np.array([int(colour[i : i + 2], 16) for i in (1, 3, 5)]) / 255
    return np.where(s <= 0.04045, s / 12.92, ((s + 0.055) / 1.055) ** 2.4)


def _lab(linear: np.ndarray) -> np.ndarray:
    """CIE L*a*b* for D65 from linear sRGB (IEC 61966-2-1, CIE 15)."""
    xyz = np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]]) @ np.clip(linear, 0, 1)
    f = np.cbrt(np.maximum(xyz / np.array([0.9505, 1.0, 1.089]), 1e-9))
    return np.array([116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])])


def _contrast(a: str, b: str) -> float:
    """Contrast ratio (WCAG 2.2, relative luminance)."""
    light = sorted(float(np.array([0.2126, 0.7152, 0.0722]) @ _linear(c)) for c in (a, b))
    return (light[1] + 0.05) / (light[0] + 0.05)


def test_hues_stand_out_from_the_ground() -> None:
    """Each day's colour has 3 to 1 or more against land and water (WCAG 2.2, 1.4.11)."""
    for hue in HUES:
        assert _contrast(hue, LAND) >= 3.0
        assert _contrast(hue, WATER) >= 3.0


@pytest.mark.parametrize("sight", _SIGHT)
def test_days_can_be_told_apart(sight: str) -> None:
    """No two of 36 days share colour and dash; days that follow each other differ in dash, and in colour for eyes of any kind."""
    styles = [day_style(n) for n in range(1, 37)]
    assert len(set(styles)) == 36
    for before, after in itertools.pairwise(styles):
        assert before.dash != after.dash
        apart = np.linalg.norm(_lab(_SIGHT[sight] @ _linear(before.colour)) - _lab(_SIGHT[sight] @ _linear(after.colour)))
        assert apart >= 30  # a just noticeable difference is about 2.3 (CIE76)
    assert len({style.dash for style in styles[: len(DASHES)]}) == len(DASHES)


def _frame() -> object:
    way = np.column_stack([REGION.pieces.lon_e7, REGION.pieces.lat_e7])[: 24 * 6] / 1e7
    return frame_around(way, np.empty((0, 2)))


def test_island_has_land_in_a_sea() -> None:
    """A closed coast that runs anticlockwise is land, also when it is not marked as closed; clockwise, the same ring is sea."""
    frame = _frame()
    layers = base_layers(REGION, frame, 10_000)
    assert set(layers) == {"land", "water", "river"}
    base = REGION.base
    unmarked = replace(REGION, base=replace(base, closed=np.zeros_like(base.closed)))
    assert "land" in base_layers(unmarked, frame, 10_000)
    turned = replace(REGION, base=replace(base, lon_e7=base.lon_e7.copy(), lat_e7=base.lat_e7.copy()))
    end = int(base.ptr[1])
    turned.base.lon_e7[:end] = base.lon_e7[:end][::-1]
    turned.base.lat_e7[:end] = base.lat_e7[:end][::-1]
    assert "sea" in base_layers(turned, frame, 10_000)


@pytest.mark.parametrize("most", [20, 60, 200])
def test_base_map_keeps_to_its_room(most: int) -> None:
    """However little room there is, no group of the base map takes more points than it was given."""
    frame = _frame()
    for layers in (base_layers(REGION, frame, most), roads(REGION, frame, most)):
        for packed in layers.values():
            assert sum(len(line) for line in unpack(packed)) <= most


def test_kept_off_are_unsealed_roads_near_the_way() -> None:
    """Only the gravel pass is kept off; far from it nothing is; a track is left out."""
    packed, metres = kept_off(REGION, _frame(), 5000)
    assert len(unpack(packed)) == 1
    assert metres == pytest.approx(float(REGION.pieces.length_m[24]))
    assert kept_off(REGION, frame_around(np.array([[170.2, -44.9]]), np.empty((0, 2))), 5000) == ([], 0.0)
    assert kept_off(REGION, frame_around(np.empty((0, 2)), np.empty((0, 2))), 5000) == ([], 0.0)


def test_towns_come_by_importance() -> None:
    """Towns first, then villages, each by population; names cleaned and cut."""
    found = towns(REGION, _frame())
    assert [rank for _, rank, _, _ in found] == sorted(rank for _, rank, _, _ in found)
    assert found[0][0] == "Merrow"
    hostile = plans.island(lambda _: "\x00" + "x" * 500)
    assert all(len(name) <= 60 and "\x00" not in name for name, *_ in towns(hostile, _frame()))


def test_levels_chart_has_every_store_and_limit() -> None:
    """One strip a store that the van has, each with its limit in words; none for a van that flushes from fresh water."""
    chart = str(levels_chart(PLAN))
    for words in (
        "fresh water",
        "grey water",
        "toilet cassette",
        "flush water",
        "gas",
        "battery",
        "at most 54 of 60 L",
        "at least 8 of 80 L",
    ):
        assert words in chart
    without = replace(PLAN, trip=replace(PLAN.trip, van=replace(PLAN.trip.van, flush_l=0)))
    assert "flush water" not in str(levels_chart(without))


def _with_lines(rows: list[tuple[float, float, float, float, str]], store: str = "grey", limit: float = 54.0) -> object:
    days = [
        replace(PLAN.days[i], levels=(LevelLine(store, leave, arrive, worst, end, limit, served),), events=())
        for i, (leave, arrive, worst, end, served) in enumerate(rows)
    ]
    return replace(PLAN, days=tuple(days))


def test_a_service_says_until_when_it_is_needed() -> None:
    """Emptied at 40 L, then 10 L a day: without it 60 L on day 3, over 54 L; with a service on day 2 it could have waited."""
    plan = _with_lines([(30, 35, 40, 0, "site"), (0, 5, 10, 10, ""), (10, 15, 20, 20, ""), (20, 25, 30, 30, "")])
    (need,) = needs_of(plan, plan.days[0])
    assert (need.until, need.level, need.again) == (3, 60, 0)
    assert need.words() == "Grey water today, otherwise 60 L on day 3 (at most 54 L)."
    plan = _with_lines([(30, 35, 40, 0, "site"), (0, 5, 10, 0, "site"), (0, 5, 40, 40, "")])
    (need,) = needs_of(plan, plan.days[0])
    assert (need.until, need.again) == (0, 2)
    plan = _with_lines([(30, 12, 40, 20, "way"), (20, 25, 35, 35, "")])  # 40 L just before it, at most 20 L after it
    (need,) = needs_of(plan, plan.days[0])
    assert (need.until, need.level) == (2, 65)
    plan = _with_lines([(0, 5, 10, 0, "site"), (0, 5, 10, 10, "")])
    assert needs_of(plan, plan.days[0])[0].words() == "Grey water: not needed to keep the limit."
    assert needs_of(plan, plan.days[1]) == []


def test_a_store_that_falls_needs_filling() -> None:
    """Filled on the way from 20 L to 80 L, then down to 30 L: without it 30 - 60 L, far below 8 L, on that very day or later."""
    plan = _with_lines([(20, 78, 60, 60, "way"), (60, 50, 30, 30, "")], "fresh", 8.0)
    (need,) = needs_of(plan, plan.days[0])
    assert (need.until, need.level) == (1, 0)
    assert services_of(plan.days[0]) == [("fresh", "way")]
    assert services_of(plan.days[1]) == []


def test_nearest_to_a_limit_is_looked_for_on_the_way_too() -> None:
    """A barrel emptied where one arrives was fullest on arriving: that is what terminal, sheets, pictures and tables tell."""
    full, low = LevelLine("grey", 46.0, 56.0, 22.0, 0.0, 57.0, "site"), LevelLine("fresh", 70.0, 9.0, 60.0, 80.0, 8.0, "site")
    assert (say.nearest_level(full), say.room_left(full)) == (56.0, 1.0)
    assert (say.nearest_level(low), say.room_left(low)) == (9.0, 1.0)
    plan = replace(PLAN, days=tuple(replace(day, levels=(full, low)) for day in PLAN.days[:2]))
    rows = {row[2]: row for row in level_rows(plan)}
    assert rows["grey"][LEVEL_COLUMNS.index("worst")] == 56.0
    assert rows["fresh"][LEVEL_COLUMNS.index("worst")] == 9.0
    grey = next(strip for strip in levels_of(plan).strips if strip.store == "grey")
    assert grey.worst == (1, 56.0)
    peak = levels_of(_with_lines([(30, 12, 40, 20, "way"), (20, 25, 35, 30, "way")])).strips[1]
    assert peak.worst == (1, 40.0)
    assert peak.line == ((0, 30), (WAY_AT, 40), (ARRIVE_AT, 12), (1, 20), (1, 20), (1 + WAY_AT, 35), (1 + ARRIVE_AT, 25), (2, 30))


@pytest.mark.parametrize(
    ("module", "size"), [("levels", 10.0), ("sheets.drawings", 8.8)], ids=["picture of the levels", "day sheets"]
)
def test_words_beside_the_levels_have_room(module: str, size: float) -> None:
    """The longest words that stand left of a strip, German ones, begin inside the drawing (widths of the bundled font)."""
    from importlib import import_module
    from importlib.resources import files

    from PIL import ImageFont

    font = ImageFont.truetype(str(files("tripplan.report") / "fonts" / "DejaVuSans.ttf"), 100)
    with speaking(Language("de")):
        words = tell("at least {limit} of {full}", limit=say.amount("gas", 10.3).split()[0], full=say.amount("gas", 27.0))
    assert words.startswith("mindestens")
    assert font.getlength(words) * size / 100 <= import_module(f"tripplan.report.{module}")._LEFT - 6
