"""The map and the JSON of a checked way: one file, nothing from elsewhere, no text of a map runs, and it says what the list says."""

from __future__ import annotations

import json
from datetime import date
from itertools import cycle
from pathlib import Path

import numpy as np
import pytest
from helpers import plans
from helpers.browser import look
from helpers.pages import Page
from helpers.towing import ROAD, VAN, drawn

from tripplan.model.place import Spot
from tripplan.model.track import Track
from tripplan.region.geometry import segment_lengths_m
from tripplan.region.region import Region
from tripplan.report.check_json import check_json
from tripplan.report.check_map import check_map
from tripplan.report.safe import plain
from tripplan.report.thin import unpack
from tripplan.roads.check import CheckResult, check
from tripplan.roads.terms import Terms, terms_every_road
from tripplan.roads.track_check import TrackCheck, check_track

from hostile import CORPUS  # isort: skip
from test_report_map import assert_harmless  # isort: skip

HEAD = "Checked for an outfit."


@pytest.fixture(scope="module")
def case(tmp_path_factory: pytest.TempPathFactory) -> tuple[Region, TrackCheck, CheckResult]:
    """A road with a forbidden, a presumed-free and a fast part, checked as a track and as way-points."""
    plan = "A" + 20 * "-" + "B" + 20 * "-" + "C" + 20 * "-" + "D"
    town = drawn(
        plan,
        {"AB": ROAD, "BC": "highway=secondary surface=gravel name=Pass", "CD": "highway=service"},
        tmp_path_factory.mktemp("map"),
    )
    (x0, y), (x1, _) = town.drawing.at["A"], town.drawing.at["D"]
    track = Track.of(np.linspace(x0, x1, 150), [y] * 150, np.arange(150) * 1.2, name="drive")
    terms = Terms(VAN)
    asked = check(town.region, [town.spot(s) for s in ("A", "BC", "D")], terms_every_road(terms), terms)
    return town.region, check_track(town.region, track, terms), asked


def page_data(source: str) -> dict[str, object]:
    """Return what the page's script draws."""
    return json.loads(next(text for a, text in Page(source).scripts if a.get("type") == "application/json"))  # type: ignore[no-any-return]


def metres(packed: list[int]) -> float:
    """Return the length of packed lines."""
    return float(sum(segment_lengths_m(*(np.array(line).T / 1e5)).sum() for line in unpack(packed)))


def test_the_page_is_harmless_and_the_same_each_time(case) -> None:
    """Nothing is loaded from anywhere, only the page's own scripts may run, and the same check gives the same bytes."""
    region, track, asked = case
    for result in (track, asked):
        source = check_map(result, region, HEAD, name="drive")
        assert_harmless(Page(source))
        assert source == check_map(result, region, HEAD, name="drive")


def test_lines_are_as_long_as_the_list_says(case) -> None:
    """The way and each band on the map have the lengths of the check, for tracks and for way-points."""
    region, track, asked = case
    for result in (track, asked):
        found = page_data(check_map(result, region, HEAD))["check"]
        assert metres(found["way"]) == pytest.approx(result.length_m, rel=0.01)
        for band in found["bands"]:
            told = {
                "fast": [s for s in result.stretches if s.kind == "too fast"],
                "forbidden": [s for s in result.stretches if s.forbidden and s.kind != "too fast"],
                "presumed": [s for s in result.stretches if s.kind == "presumed"],
                "unknown": [s for s in result.stretches if s.kind == "unknown" and not s.forbidden],
                "shorter": [],
            }[band["key"]]
            assert metres(band["line"]) == pytest.approx(sum(s.length_m for s in told), abs=15)
    assert metres(page_data(check_map(track, region, HEAD))["check"]["recorded"]) == pytest.approx(track.length_m, rel=0.01)


def test_the_list_names_every_stretch(case) -> None:
    """Each stretch has an entry with its grade, kilometre, length, reasons and way; the verdict stands first."""
    region, track, _ = case
    page = Page(check_map(track, region, HEAD, name="drive"))
    assert "Something forbidden was found." in page.text
    kinds = {s.kind for s in track.stretches}
    assert {"unsealed", "too fast"} <= kinds
    for stretch in track.stretches:
        assert f"km {stretch.from_m / 1000:.1f}, {stretch.length_m:,.0f} m" in page.text
        assert all(why in page.text for why in stretch.why)
    marks = [a["data-mark"] for tag, a in page.tags if tag == "button"]
    assert marks == [f"found-{n}" for n in range(len(track.stretches))]
    assert set(marks) <= {a.get("id") for _, a in page.tags}


@pytest.mark.parametrize("first", range(0, len(CORPUS), 7))
def test_hostile_texts_stay_texts(tmp_path: Path, first: int) -> None:
    """Names of roads, towns, regions, tracks and files that try to run stay texts, on the page and in JSON."""
    turn = cycle(CORPUS[first:] + CORPUS[:first])
    region = plans.island(lambda _: next(turn))
    piece = int(np.argmax(region.pieces.length_m))
    rows = slice(int(region.pieces.ptr[piece]), int(region.pieces.ptr[piece + 1]))
    lon, lat = region.pieces.lon_e7[rows] / 1e7, region.pieces.lat_e7[rows] / 1e7
    steps = np.linspace(0, len(lon) - 1, 400)
    track = Track.of(
        np.interp(steps, np.arange(len(lon)), lon),
        np.interp(steps, np.arange(len(lat)), lat),
        np.arange(400.0),
        name=next(turn),
        remarks=(next(turn),),
    )
    terms = Terms(VAN)
    spots = [Spot(next(turn), next(turn), float(lon[k]), float(lat[k])) for k in (0, -1)]
    for result in (check_track(region, track, terms), check(region, spots, terms_every_road(terms), terms)):
        page = Page(check_map(result, region, HEAD, name=next(turn)))
        assert_harmless(page)
        text = check_json(result, region, VAN, date(2027, 2, 6))
        assert json.loads(text)["region"] == plain(region.meta.name)


def test_json_says_what_the_list_says(case) -> None:
    """The JSON has every stretch with its figures, no NaN, and the same bytes each time."""
    region, track, asked = case
    text = check_json(track, region, VAN, date(2027, 2, 6))
    assert text == check_json(track, region, VAN, date(2027, 2, 6))
    out = json.loads(text, parse_constant=pytest.fail)
    assert (out["checked"], out["forbidden"], out["track"], out["date"]) == ("track", True, "drive", "2027-02-06")
    assert len(out["stretches"]) == len(track.stretches)
    for told, stretch in zip(out["stretches"], track.stretches, strict=True):
        assert told["length_m"] == pytest.approx(stretch.length_m, abs=0.06)
        assert told["why"] == list(stretch.why)
    out = json.loads(check_json(asked, region, VAN, date(2027, 2, 6)), parse_constant=pytest.fail)
    assert out["checked"] == "way-points"
    assert out["sealed_way"] is False
    assert out["way_points"] == ["A", "BC", "D"]


_DRAWN = """
    function paths(kind) { return Array.prototype.filter.call(document.querySelectorAll('path.' + kind), function (p) { return p.getAttribute('d').length > 10; }).length; }
    document.querySelector('button.go').click();
    return {ways: paths('way'), recorded: paths('recorded'), bands: paths('band'), signs: document.querySelectorAll('.sign-box').length,
        popup: (document.querySelector('.leaflet-popup-content') || {}).textContent || '', wide: document.documentElement.scrollWidth, inner: window.innerWidth};
"""


@pytest.mark.parametrize(("width", "height"), [(1280, 900), (390, 844)])
def test_a_browser_draws_it_offline(case, tmp_path: Path, width: int, height: int) -> None:
    """Under its own policy and with no network the way, the track, the bands and the numbers are drawn, and the list opens the map."""
    region, track, _ = case
    seen = look(check_map(track, region, HEAD, name="drive"), _DRAWN, tmp_path, width=width, height=height, policy=True)
    assert "error" not in seen, seen
    assert seen["asked_for"] == []
    assert (seen["ways"], seen["recorded"]) == (1, 1)
    assert seen["bands"] == len({"fast" if s.kind == "too fast" else s.forbidden for s in track.stretches})
    assert seen["signs"] >= 1
    assert "km" in seen["popup"]
    assert seen["wide"] <= seen["inner"] == width
