"""The catalogue page: harmless names, a map for each loop, figures, and links that lead to papers."""

from __future__ import annotations

from dataclasses import replace
from html.parser import HTMLParser

import pytest
from helpers import plans
from hostile import CORPUS

from tripplan.model.choice import LeftOut
from tripplan.report.catalogue import catalogue_page, catalogue_words
from tripplan.schedule.choices import sums_of
from tripplan.schedule.suggest import THEMES, Suggestion, sights_seen
from tripplan.schedule.suggest_sights import Picked
from tripplan.schedule.suggest_values import Valued


class _Read(HTMLParser):
    """Collects tags, attributes and text."""

    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.tags: list[str] = []
        self.words: list[tuple[str, str | None]] = []
        self.text = ""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Keep tag and attributes."""
        self.tags.append(tag)
        self.words += attrs

    def handle_data(self, data: str) -> None:
        """Keep text."""
        self.text += data


def _page(name: str) -> tuple[_Read, Suggestion]:
    """Return the page of two loops in which everything is called ``name``."""

    def rename(_: str) -> str:
        return name

    region = plans.island(rename)
    plan = plans.plan(3, rename, region)
    spot = plan.trip.depot
    valued = Valued(spot, 100, 1.0, name, 1.0, name)
    picked = Picked(((valued, 100),), ((valued, "too far for the driving limits of all days"),))
    first = Suggestion(THEMES[1], plan, plan.trip, sums_of(plan, plan.trip), picked, sights_seen(plan), ((name, name),), name)
    second = replace(first, theme=THEMES[2], own_seen=(), gave_up="")
    folders = {s.key: f"{s.key}/" for s in (first, second)}
    page = catalogue_page([first, second], [LeftOut(name, name)], plan.trip, region, folders)
    read = _Read()
    read.feed(page)
    return read, first


@pytest.mark.parametrize("name", CORPUS[::6])
def test_names_stay_text(name: str) -> None:
    """Whatever a place, a reason or a party is called, the page has the same elements and attributes as with plain names."""
    read, _ = _page(name)
    plain, _ = _page("Plain")
    assert set(read.tags) == set(plain.tags)
    assert {a for a, _ in read.words} == {a for a, _ in plain.words}
    assert "script" not in read.tags
    assert not any(a.startswith("on") for a, _ in read.words)


def test_each_loop_has_map_figures_and_papers() -> None:
    """A picture, kilometres, nights, sights, price, who it suits, what it gives up, and links for each; no script, no address outside."""
    read, found = _page("Plain")
    assert read.tags.count("svg") == 2
    for word in (
        "Suits",
        "Driving",
        "Nights",
        "Sights",
        "Price",
        "Because",
        "Gives up",
        "How sure",
        "Not shown",
        "OpenStreetMap",
    ):
        assert word in read.text
    assert f"{found.sums.towing_km:.0f} km" in read.text
    links = [value for name, value in read.words if name == "href" and value]
    assert {"coast/map.html", "coast/TRIP.toml", "hills/itinerary.html", "#coast"} <= set(links)
    assert not any("://" in link for link in links)
    assert (
        "width=device-width" in dict(v for v in read.words if v[0] == "content").get("content", "")
        or ("content", "width=device-width, initial-scale=1") in read.words
    )


def test_words_for_a_terminal() -> None:
    """A loop is told with its figures and where its papers are; a theme left out with the reason; control characters are gone."""
    _, found = _page("Pl\x1b[31main")
    lines = catalogue_words(found, "out/coast/")
    assert lines[0].startswith("Along the coast: ")
    assert any("out/coast/" in line for line in lines)
    assert not any("\x1b" in line for line in lines)
    assert catalogue_words(LeftOut("No ferries", "there are no ferries in the region"), "") == [
        "No ferries: not shown, there are no ferries in the region"
    ]
