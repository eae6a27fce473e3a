"""The interactive map as one file that opens from disk: folium inside, nothing fetched from anywhere.

Folium builds the map, its layers and its control; this module wraps all of it. Folium renders texts as templates, twice,
so the only foreign strings that it is handed (none but layer names and a tile source's attribution) have passed `safe`;
all others stand in the list, built apart, or as JSON that the page's script puts into text nodes. The page is put together
here, so that no link of folium's to other hosts gets in, and a content security policy forbids every request and every
script but those written here.
"""

from __future__ import annotations

import base64
import hashlib
import json
import re
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any
from urllib.parse import urlsplit

from tripplan.model.errors import BadInputError
from tripplan.model.plan import Plan
from tripplan.region.region import Region
from tripplan.report import say
from tripplan.report.counted import trip_title
from tripplan.report.language import spoken, tell, tell_n, word
from tripplan.report.listing import listing, swatch
from tripplan.report.mapdata import MapData, map_data
from tripplan.report.mapothers import other_style
from tripplan.report.mapstores import store_charts
from tripplan.report.markup import Markup, el, raw
from tripplan.report.palette import LAND, ROADS, WATER, day_style
from tripplan.report.safe import safe, script_json

__all__ = ["Tiles", "leaflet_css", "leaflet_js", "map_page"]


@dataclass(frozen=True, slots=True)
class Tiles:
    """An online tile source that a person asked for; off unless given.

    Parameters
    ----------
    url
        Address with ``{z}``, ``{x}`` and ``{y}``, https only. attribution: whose they are.
    """

    url: str
    attribution: str

    def __post_init__(self) -> None:
        parts = urlsplit(self.url)
        if (
            parts.scheme != "https"
            or not parts.hostname
            or not re.fullmatch(r"[A-Za-z0-9.-]+", parts.netloc)
            or re.search(r"[^\x21-\x7e]|[;,'\"<>`\\]", self.url)
        ):
            raise BadInputError(
                f"tile address {self.url!r}",
                accepted="https://HOST/.../{z}/{x}/{y}.png",
                next_step="mend the address or leave tiles out",
            )
        if not all(mark in self.url for mark in ("{z}", "{x}", "{y}")):
            raise BadInputError(
                f"tile address {self.url!r} lacks {{z}}, {{x}} or {{y}}", accepted="https://HOST/.../{z}/{x}/{y}.png"
            )

        if not self.attribution.strip():
            raise BadInputError("tiles without attribution", accepted="the words that their owner asks for")

    @property
    def host(self) -> str:
        """Where requests go."""
        return urlsplit(self.url).netloc


@cache
def _asset(name: str) -> str:
    return (files("tripplan.report") / "assets" / name).read_text(encoding="utf-8")


def leaflet_css() -> str:
    """Return Leaflet's style sheet without its picture files: the layers sign is drawn here, its marker pictures are not used."""
    stack = (
        "data:image/svg+xml,%3Csvg xmlns='http://www.w3.org/2000/svg' width='26' height='26' viewBox='0 0 26 26'%3E"
        "%3Cpath d='M13 3L24 9L13 15L2 9Z' fill='%23555'/%3E%3Cpath d='M4.500 12.500L2 14L13 20L24 14L21.500 12.500L13 17.200Z' fill='%23888'/%3E%3C/svg%3E"
    )
    css = re.sub(r"url\(images/layers(-2x)?\.png\)", f'url("{stack}")', _asset("leaflet.css"))
    css = re.sub(r"url\(images/[^)]*\)", "none", css)
    return css.replace("behavior: url(#default#VML);", "")


def leaflet_js() -> str:
    """Return Leaflet's script without the address of a file that is not carried."""
    return re.sub(r"\n//# sourceMappingURL=\S+\s*$", "\n", _asset("leaflet.js"))


def map_page(plan: Plan, region: Region, *, tiles: Tiles | None = None, alternatives: Sequence[tuple[str, Plan]] = ()) -> str:
    """Return the map of a plan as one HTML file.

    Parameters
    ----------
    tiles
        Online tiles as one more layer, switched off until somebody asks for it on the page. Without, the page can make no
        request at all.
    alternatives
        Other plans for the same trip with a title each: layers that are off until somebody asks for one.
    """
    data = map_data(plan, region, alternatives)
    body, script = _folium_parts(plan, data, tiles, [title for title, _ in alternatives])
    looks = json.dumps({"land": LAND, "water": WATER, "roads": ROADS})
    scripts = [leaflet_js(), f"var LOOKS={looks};\n{_asset('map.js')}", f"{script}\ntripplan.start();"]
    hashes = " ".join(f"'sha256-{base64.b64encode(hashlib.sha256(s.encode()).digest()).decode()}'" for s in scripts)
    pictures = f"data: https://{tiles.host}" if tiles else "data:"
    policy = f"default-src 'none'; script-src {hashes}; style-src 'unsafe-inline'; img-src {pictures}; base-uri 'none'; form-action 'none'"
    head = el(
        "head",
        el("meta", charset="utf-8"),
        el("meta", http_equiv="Content-Security-Policy", content=policy),
        el("meta", name="viewport", content="width=device-width, initial-scale=1"),
        el("title", tell("{name}: map", name=trip_title(plan.trip))),
        raw(f"<!-- Map drawn with Leaflet, under this licence:\n{_asset('leaflet-LICENSE.txt')}\n-->"),
        raw(f"<style>\n{leaflet_css()}\n{_asset('map.css')}\n</style>"),
    )
    nights = plan.trip.nights
    page = el(
        "body",
        el(
            "header",
            el("h1", el("bdi", trip_title(plan.trip))),
            el(
                "p",
                tell_n("{span}, {n} night. Region ", "{span}, {n} nights. Region ", nights, span=say.day_span(plan)),
                el("bdi", plan.region_name),
                tell(", map data of {date}.", date=plan.data_date),
            ),
        ),
        el(
            "main",
            body,
            el("noscript", el("p", tell("The map needs scripts. The list says the same."))),
            id="map",
            aria_label=tell("Map of the trip"),
        ),
        store_charts(plan),
        listing(plan, region, data, alternatives),
        raw(f'<script type="application/json" id="map-data">{script_json(data.page)}</script>'),
        *[raw(f"<script>{s}</script>") for s in scripts],
    )
    return f"<!DOCTYPE html>\n{el('html', head, page, lang=spoken().tag)}\n"


def _folium_parts(plan: Plan, data: MapData, tiles: Tiles | None, others: Sequence[str]) -> tuple[Markup, str]:
    """Return the map's element and its script, as folium writes them."""
    import folium
    from branca.element import MacroElement
    from folium.map import Layer
    from folium.template import Template

    class Call(MacroElement):
        """One call of the page's own script with the map."""

        _template = Template("{% macro script(this, kwargs) %}{{ this.call }}({{ this._parent.get_name() }});{% endmacro %}")

        def __init__(self, call: str) -> None:
            super().__init__()  # type: ignore[no-untyped-call]
            self._name = "Call"
            self.call = call

    class OwnLayer(Layer):
        """A layer that the page's own script draws; ``key`` is one of its own words."""

        _template = Template(
            "{% macro script(this, kwargs) %}var {{ this.get_name() }} = tripplan.layer({{ this.key|tojson }});{% endmacro %}"
        )

        def __init__(self, key: str, name: str, *, control: bool = True, show: bool = True) -> None:
            super().__init__(name=name, overlay=True, control=control, show=show)
            self._name = "OwnLayer"
            self.key = key

    (south, west), (north, east) = data.bounds
    m: Any = folium.Map(
        location=[(south + north) / 2, (west + east) / 2], tiles=None, zoom_start=9, max_zoom=17, zoom_snap=0.25,
    )  # fmt: skip
    # Folium would link to scripts and styles on other hosts; the page carries its own.
    m.default_js, m.default_css = [], []
    m.add_child(Call("tripplan.panes"))
    m.add_child(OwnLayer("base", tell("Base map"), control=False))
    if tiles:
        folium.TileLayer(
            tiles.url, attr=safe(tiles.attribution), name=tell("Online tiles"), overlay=True, show=False, max_zoom=17
        ).add_to(m)
    for key, name in (
        ("off", word("Unsealed, kept off")),
        ("presumed", word("Presumed sealed")),
        ("unknown", word("Unknown surface")),
    ):
        if data.page[key]:
            m.add_child(OwnLayer(key, tell(name)))
    for day in plan.days:
        if day.legs:
            m.add_child(
                OwnLayer(f"day-{day.number}", f"{swatch(day_style(day.number))} {tell('Day {number}', number=day.number)}")
            )
    for number, title in enumerate(others):
        m.add_child(OwnLayer(f"other-{number}", f"{swatch(other_style(number))} {safe(title)}", show=False))
    m.add_child(OwnLayer("stops", tell("Stops")))
    m.add_child(OwnLayer("nights", tell("Nights")))
    folium.LayerControl(collapsed=True).add_to(m)
    m.render()
    figure: Any = m.get_root()
    # Of folium's page only the map's element and its script are taken: its head is nothing but links and sizes.
    ids = _ids(figure)
    return raw(_renumbered(figure.html.render(), ids)), _renumbered(figure.script.render(), ids)


def _ids(element: Any) -> list[str]:
    """Return the random identities of folium's elements, in the order of the tree."""
    found = [element._id]
    for child in element._children.values():
        found += _ids(child)
    return list(dict.fromkeys(found))


def _renumbered(text: str, ids: list[str]) -> str:
    """Return folium's output with numbers for its random identities: the same plan gives the same page."""
    for i, identity in enumerate(ids):
        text = text.replace(identity, f"{i:04d}")
    return text
