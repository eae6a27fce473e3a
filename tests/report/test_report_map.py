"""The map page: one file, nothing from elsewhere, the same each time, small enough, and the list says what it shows."""

from __future__ import annotations

import base64
import hashlib
import json
import re
import subprocess
import sys
from dataclasses import replace
from itertools import cycle

import pytest
from helpers import plans
from helpers.pages import Page, shown

from tripplan.model.errors import BadInputError
from tripplan.model.plan import Plan
from tripplan.region.region import Region
from tripplan.report.chart import levels_of
from tripplan.report.map import Tiles, map_page
from tripplan.report.mapdata import marks_of
from tripplan.report.safe import plain
from tripplan.report.say import amount, figure, ranges, spot_name
from tripplan.report.thin import unpack

from hostile import CORPUS  # isort: skip

REGION = plans.island()
PLAN = plans.plan(14, region=REGION)
SOURCE = map_page(PLAN, REGION)
PAGE = Page(SOURCE)
DATA = json.loads(next(text for attributes, text in PAGE.scripts if attributes.get("type") == "application/json"))


def hostile_plan(first: int = 0, nights: int = 14) -> tuple[Plan, Region, list[str]]:
    """A plan whose every text is a hostile one in turn, and the texts used."""
    used: list[str] = []
    turn = cycle(CORPUS[first:] + CORPUS[:first])

    def rename(_: str) -> str:
        used.append(next(turn))
        return used[-1]

    region = plans.island(rename)
    plan = plans.plan(nights, rename, region)
    return plan, region, used


def assert_harmless(page: Page) -> None:
    """No element or attribute that loads, runs or leads anywhere, and only the page's own scripts, by hash."""
    allowed = {
        "html", "head", "meta", "title", "style", "body", "header", "h1", "h2", "h3", "p", "main", "div", "noscript", "section", "button", "ol", "ul", "li",
        "bdi", "b", "span", "small", "strong", "svg", "line", "path", "rect", "g", "text", "desc", "details", "summary", "footer", "script", "table", "thead",
        "tbody", "tr", "th", "td", "caption", "dl", "dt", "dd", "a", "figure", "figcaption", "circle",
    }  # fmt: skip
    policy = next(a["content"] for t, a in page.tags if t == "meta" and a.get("http-equiv") == "Content-Security-Policy")
    assert policy.startswith("default-src 'none'")
    for tag, attributes in page.tags:
        assert tag in allowed, tag
        for name, value in attributes.items():
            assert not name.startswith("on"), (tag, name)
            assert name not in ("src", "srcdoc", "action", "formaction", "background", "xlink:href"), (tag, name)
            if name == "href":
                assert re.fullmatch(r"tel:\+?[0-9]+", value), value
    for attributes, text in page.scripts:
        if attributes.get("type") == "application/json":
            json.loads(text)
            continue
        digest = base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()
        assert f"'sha256-{digest}'" in policy
    assert not page.unbalanced
    assert not page.open


def test_nothing_comes_from_elsewhere() -> None:
    """No source, link or style on the page names another host; the style sheets hold no address but inline pictures."""
    assert_harmless(PAGE)
    for address in re.findall(r"url\(([^)]*)\)", re.sub(r"<script.*?</script>", "", SOURCE, flags=re.DOTALL)):
        assert address.strip("\"'").startswith("data:") or address == "#default#VML", address
    assert not re.findall(
        r"<(?:link|iframe|img|object|embed|base)\b", re.sub(r"<script.*?</script>", "", SOURCE, flags=re.DOTALL)
    )
    assert "@import" not in SOURCE
    assert "sourceMappingURL" not in SOURCE


def test_folium_alone_would_fetch() -> None:
    """The check above can fail: a page that folium writes by itself has many scripts and styles of other hosts."""
    import folium

    tags = Page(folium.Map(tiles=None).get_root().render()).tags
    assert sum(1 for tag, a in tags if tag in ("script", "link") and a.get("src", a.get("href", "")).startswith("http")) >= 5


def test_two_weeks_stay_small() -> None:
    """Fourteen nights stay below 1.5 MB (the limit we set ourselves)."""
    assert len(PLAN.days) == 15
    assert len(SOURCE.encode()) < 1_500_000


def test_same_plan_same_page() -> None:
    """The page has none of folium's random identities: the same plan gives the same bytes."""
    assert map_page(PLAN, REGION) == SOURCE
    assert not re.search(r"_[0-9a-f]{32}\b", re.sub(r'"region_key".*', "", SOURCE))


def test_each_day_has_its_line() -> None:
    """Every day with a way has a layer and a line, and no two days look alike."""
    looks = {(day["c"], day["d"]) for day in DATA["days"]}
    assert len(looks) == len(PLAN.days)
    script = PAGE.scripts[-1][1]
    for day, drawn in zip(PLAN.days, DATA["days"], strict=True):
        towed = any(leg.runs.piece for leg in day.legs if leg.mode == "van")
        assert bool(drawn["van"]) == towed
        assert bool(drawn["car"]) == any(leg.runs.piece for leg in day.legs if leg.mode == "car")
        assert (f'tripplan.layer("day-{day.number}")' in script) == bool(day.legs)


def test_lines_follow_the_road() -> None:
    """A day's line on the map starts and ends where its road does, to 1e-5 degree."""
    leg = PLAN.days[0].legs[0]
    first, last = leg.runs.piece[0], leg.runs.piece[-1]
    (line,) = unpack(DATA["days"][0]["van"])
    start, end = REGION.pieces.ptr[first], REGION.pieces.ptr[last + 1] - 1
    for point, at in ((line[0], start), (line[-1], end)):
        assert abs(point[0] - REGION.pieces.lon_e7[at] / 100) <= 1
        assert abs(point[1] - REGION.pieces.lat_e7[at] / 100) <= 1


def test_surface_layers_are_there() -> None:
    """Presumed pieces and the unsealed pass are on the map; the pass is on no day's line and in no layer of roads to take."""
    assert DATA["presumed"]
    assert DATA["off"]
    (gravel,) = unpack(DATA["off"])
    middle = gravel[len(gravel) // 2]
    drawn = [p for day in DATA["days"] for line in unpack(day["van"]) for p in line]
    drawn += [p for packed in DATA["roads"].values() for line in unpack(packed) for p in line]
    assert middle not in drawn
    assert "Unsealed, kept off" in PAGE.scripts[-1][1]


def test_nights_are_numbered_and_services_told() -> None:
    """Each night's sign carries its numbers, and the list says what is done at each service stop."""
    labels = [m["label"] for m in DATA["marks"] if m["sign"] == "night"]
    assert ranges(tuple(day.number for day in PLAN.days if day.night)) == "1–14"
    assert sum(len(re.findall(r"\d+", label)) for label in labels) >= len(labels)
    assert "grey water emptied, cassette emptied and fresh water filled" in PAGE.text
    for mark in marks_of(PLAN):
        assert any(a.get("id") == mark.key for _, a in PAGE.tags)


def test_the_list_says_what_the_map_says() -> None:
    """Every day, night's place and stop of the map stands in the list as well, with a button to reach it."""
    buttons = {a["data-mark"] for t, a in PAGE.tags if t == "button" and "data-mark" in a}
    assert buttons == {m["key"] for m in DATA["marks"]}
    days = [a["data-day"] for t, a in PAGE.tags if t == "button" and "data-day" in a]
    assert days == [str(day.number) for day in PLAN.days]
    for day in PLAN.days:
        if day.night:
            assert day.night.spot.name in PAGE.text


def test_stores_follow_the_day() -> None:
    """For every day and store the page tells the plan's own levels, limit and services, and marks them where the chart's line runs."""
    days = DATA["stores"]["days"]
    assert set(days) == {str(day.number) for day in PLAN.days}
    charts = {a["data-store"] for t, a in PAGE.tags if t == "figure"}
    strips = {strip.store: strip for strip in levels_of(PLAN).strips}
    assert charts == {store for store, strip in strips.items() if strip.line}
    wide = 150 / len(PLAN.days)
    for i, day in enumerate(PLAN.days):
        told = days[str(day.number)]
        assert set(told["stores"]) == {line.store for line in day.levels}
        assert told["x"] == pytest.approx(i * wide, abs=0.06)
        for line in day.levels:
            own = told["stores"][line.store]
            words = own["level"].replace("\N{NO-BREAK SPACE}", " ")
            assert words == f"leaving {figure(line.store, line.leave)}, arriving {amount(line.store, line.arrive)}"
            assert bool(own["served"]) == bool(line.served)
            assert own["level"] in told["said"]
            assert strips[line.store].bound in told["said"]
            (_, leave), (at, arrive) = own["at"]
            assert told["x"] < at < told["x"] + wide
            share = strips[line.store].share
            assert [leave, arrive] == pytest.approx([6 + 34 * (1 - share(v)) for v in (line.leave, line.arrive)], abs=0.06)


def test_other_plans_are_layers_that_are_off() -> None:
    """Each other plan has a layer that is not added to the map, its line, and an entry in the list with its nights."""
    other = plans.plan(5, region=REGION)
    source = map_page(PLAN, REGION, alternatives=(("Least money", other), ("Most <b>comfort", PLAN)))
    page = Page(source)
    assert_harmless(page)
    data = json.loads(next(text for attributes, text in page.scripts if attributes.get("type") == "application/json"))
    script = page.scripts[-1][1]
    for number in range(2):
        layer = re.search(rf'var (\w+) = tripplan.layer\("other-{number}"\)', script)
        assert layer
        assert f"{layer[1]}.addTo(" not in script
    day = re.search(r'var (\w+) = tripplan.layer\("day-1"\)', script)
    assert day
    assert f"{day[1]}.addTo(" in script
    towed = [leg for day in other.days for leg in day.legs if leg.mode == "van" and leg.runs.piece]
    assert len(unpack(data["others"][0]["van"])) == len(towed)
    assert data["others"][0]["d"] != data["others"][1]["d"]
    assert [a["data-other"] for t, a in page.tags if t == "button" and "data-other" in a] == ["0", "1"]
    assert "Most <b>comfort" in page.text
    for night in (day.night for day in other.days if day.night):
        assert spot_name(night.spot) in page.text
    assert DATA["others"] == []
    assert data["days"] == DATA["days"]
    assert len(source.encode()) < 1_500_000


def test_whose_data_and_of_which_date() -> None:
    """The page names OpenStreetMap's contributors, the data date, the cautions and the licence of the map library."""
    assert "© OpenStreetMap contributors" in PAGE.text
    assert DATA["credit"] == "© OpenStreetMap contributors, data of 2026-10-01"
    assert "Turn the gas off at the bottle before moving off." in PAGE.text
    assert any("BSD 2-Clause License" in comment and "Redistribution" in comment for comment in PAGE.comments)


@pytest.mark.parametrize("first", range(0, len(CORPUS), 24))
def test_hostile_texts_change_nothing(first: int) -> None:
    """With every text hostile, the page has the same elements, runs only its own scripts and shows each text whole."""
    plan, region, used = hostile_plan(first)
    assert set(used) == set(CORPUS)
    page = Page(map_page(plan, region))
    assert_harmless(page)
    assert re.sub(r"\d+", "0", page.scripts[-1][1]) == re.sub(r"\d+", "0", PAGE.scripts[-1][1])
    text = page.text
    must = [plan.trip.name, plan.region_name, *[c.text for c in plan.cautions], *[c.source for c in plan.cautions]]
    for day in plan.days:
        must += [spot_name(day.start), spot_name(day.end), *day.notes]
    for mark in marks_of(plan):
        must.append(spot_name(mark.spot))
        must += [event.text for _, event in mark.events if not event.stores]
    assert len(must) > 40
    for words in must:
        assert shown(plain(words)) in text, words


@pytest.mark.parametrize("text", [text for text in CORPUS if text.strip()], ids=lambda s: ascii(s[:20]))
def test_layer_names_and_attribution_are_safe(text: str) -> None:
    """What folium itself is handed from outside, a tile source's attribution, runs and breaks nothing."""
    plan = replace(plans.plan(1, region=REGION), presumed_offers=())
    source = map_page(plan, REGION, tiles=Tiles("https://tiles.invalid/{z}/{x}/{y}.png", text))
    page = Page(source)
    assert_harmless(page)
    assert page.scripts[-1][1].count("L.tileLayer(") == 1


def test_online_tiles_are_off_until_asked_for() -> None:
    """Without the option there is no tile layer at all; with it, it is not added to the map, and only its host is let through."""
    assert "tileLayer" not in PAGE.scripts[-1][1]
    page = Page(map_page(PLAN, REGION, tiles=Tiles("https://tiles.invalid/{z}/{x}/{y}.png", "someone")))
    policy = next(a["content"] for t, a in page.tags if t == "meta" and "http-equiv" in a)
    assert "img-src data: https://tiles.invalid;" in policy
    name = re.search(r"var (tile_layer_\w+) = L\.tileLayer", page.scripts[-1][1])
    assert name
    assert f"{name[1]}.addTo(" not in page.scripts[-1][1]


@pytest.mark.parametrize(
    "url",
    [
        "http://tiles.invalid/{z}/{x}/{y}.png", "https://tiles.invalid/{z}.png", "//tiles.invalid/{z}/{x}/{y}.png", "https://a b/{z}/{x}/{y}", "javascript:{z}{x}{y}",
        "https://tiles.invalid/{z}/{x}/{y}.png;script-src *", "https://user@tiles.invalid/{z}/{x}/{y}.png", "https:///{z}/{x}/{y}.png", "",
    ],
)  # fmt: skip
def test_tile_addresses_are_checked(url: str) -> None:
    """Only a plain https address with all three marks is taken."""
    with pytest.raises(BadInputError):
        Tiles(url, "someone")


def test_tiles_belong_to_somebody() -> None:
    """Tiles without an attribution are refused."""
    with pytest.raises(BadInputError):
        Tiles("https://tiles.invalid/{z}/{x}/{y}.png", " ")


def test_folium_comes_late() -> None:
    """Importing the report does not import folium, numba or pandas: only drawing a map does."""
    code = "import sys, tripplan.report.map, tripplan.report.write, tripplan.report.words; print([m for m in ('folium', 'pandas', 'numba', 'shapely', 'jinja2') if m in sys.modules])"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


@pytest.mark.parametrize(
    ("numbers", "text"), [((1,), "1"), ((1, 2, 3), "1–3"), ((7, 2), "2, 7"), ((1, 2, 5, 6, 9), "1–2, 5–6, 9"), ((), "")]
)
def test_ranges(numbers: tuple[int, ...], text: str) -> None:
    """Nights at one place are named by ranges."""
    assert ranges(numbers) == text
