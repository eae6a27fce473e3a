"""The map of a plan for a notebook: a folium map that one may add to, which needs no network.

Folium renders what it is handed as templates, twice: every foreign text here has passed `safe`. Its scripts and styles are
put in as data, not as links to other hosts.
"""

from __future__ import annotations

import base64
from typing import TYPE_CHECKING, Any

from tripplan.model.plan import Plan
from tripplan.region.region import Region
from tripplan.report.gpx import mark_name, mark_words
from tripplan.report.map import leaflet_css, leaflet_js
from tripplan.report.mapdata import MapData, Mark, map_data
from tripplan.report.palette import LAND, ROADS, WATER, day_style
from tripplan.report.safe import safe
from tripplan.report.thin import unpack

if TYPE_CHECKING:
    import folium

__all__ = ["folium_map"]

_AREAS = {"land": LAND, "sea": WATER, "water": WATER}
_SIGNS = {"night": "#1c1c1c", "service": "#0068a8", "sight": "#8a5f00", "depot": "#007a5a"}


def folium_map(plan: Plan, region: Region) -> folium.Map:
    """Return the map: the region's own vectors below, a layer a day, nights with their numbers, stops, presumed stretches."""
    import folium

    data = map_data(plan, region)
    (south, west), (north, east) = data.bounds
    m: Any = folium.Map(location=[(south + north) / 2, (west + east) / 2], tiles=None, max_zoom=17, control_scale=True)
    m.default_js = [("leaflet", _inline(leaflet_js(), "text/javascript"))]
    m.default_css = [("leaflet_css", _inline(leaflet_css(), "text/css"))]
    _ground(m, data)
    for key, name, colour in (
        ("off", "Unsealed, kept off", "#c24a00"),
        ("presumed", "Presumed sealed", "#007a5a"),
        ("unknown", "Unknown surface", "#1c1c1c"),
    ):
        packed: Any = data.page[key]
        if packed:
            layer = folium.FeatureGroup(name=name)
            _lines(packed, colour, 7 if key != "off" else 2, "4 6" if key == "off" else "", 0.45).add_to(layer)
            layer.add_to(m)
    for day in plan.days:
        drawn: Any = next(d for d in data.page["days"] if d["n"] == day.number)  # type: ignore[attr-defined]
        if not (drawn["van"] or drawn["car"]):
            continue
        style = day_style(day.number)
        layer = folium.FeatureGroup(name=f"Day {day.number}")
        for mode, width in (("van", 4), ("car", 2)):
            if drawn[mode]:
                _lines(drawn[mode], style.colour, width, style.dash, 0.95).add_to(layer)
        layer.add_to(m)
    stops = folium.FeatureGroup(name="Nights and stops")
    for mark in data.marks:
        _sign(mark, data).add_to(stops)
    stops.add_to(m)
    folium.LayerControl(collapsed=True).add_to(m)
    _call("addAttribution", safe(f"© OpenStreetMap contributors, data of {plan.data_date}")).add_to(m)
    _call("setPrefix", "Leaflet").add_to(m)
    if data.bounds[0] != data.bounds[1]:
        m.fit_bounds([list(corner) for corner in data.bounds])
    found: folium.Map = m
    return found


def _inline(content: str, kind: str) -> str:
    """Return an address that holds what it leads to."""
    return f"data:{kind};charset=utf-8;base64,{base64.b64encode(content.encode()).decode()}"


def _call(method: str, words: str) -> Any:
    """Return one call of the map's line of credits."""
    from branca.element import MacroElement
    from folium.template import Template

    class Credit(MacroElement):
        """Who made what the map shows."""

        _template = Template(
            "{% macro script(this, kwargs) %}{{ this._parent.get_name() }}.attributionControl.{{ this.method }}({{ this.words|tojson }});{% endmacro %}"
        )

        def __init__(self) -> None:
            super().__init__()  # type: ignore[no-untyped-call]
            self._name, self.method, self.words = "Credit", method, words

    return Credit()


def _degrees(packed: list[int]) -> list[list[list[float]]]:
    return [[[x / 1e5, y / 1e5] for x, y in line] for line in unpack(packed)]


def _feature(geometry: dict[str, Any], style: dict[str, Any], *, control: bool = True) -> Any:
    import folium

    return folium.GeoJson(
        {"type": "Feature", "properties": {}, "geometry": geometry}, style_function=lambda _: style, control=control, smooth_factor=1.0, interactive=False,
    )  # fmt: skip


def _lines(packed: list[int], colour: str, weight: float, dash: str, opacity: float, *, control: bool = True) -> Any:
    style = {"color": colour, "weight": weight, "opacity": opacity, "dashArray": dash, "fill": False}
    return _feature({"type": "MultiLineString", "coordinates": _degrees(packed)}, style, control=control)


def _ground(m: Any, data: MapData) -> None:
    """Draw land, water and roads of the region below everything else."""
    from branca.element import Element

    ground = WATER if data.page["sea"] else LAND
    m.get_root().header.add_child(Element(f"<style>div.leaflet-container {{ background: {ground} }}</style>"))
    base: Any = data.page["base"]
    for name, colour in _AREAS.items():
        if base.get(name):
            shape = {"type": "MultiPolygon", "coordinates": [[ring] for ring in _degrees(base[name])]}
            style = {"color": colour, "weight": 0.5, "fillColor": colour, "fillOpacity": 1.0}
            _feature(shape, style, control=False).add_to(m)
    for name in ("coast", "river", "border"):
        if base.get(name):
            _lines(base[name], "#8fa9b8" if name != "border" else "#9a9a9a", 1.2, "", 0.9, control=False).add_to(m)
    roads: Any = data.page["roads"]
    for name, (width, colour) in reversed(ROADS.items()):
        if roads.get(name):
            _lines(roads[name], colour, width, "", 1.0, control=False).add_to(m)


def _sign(mark: Mark, data: MapData) -> Any:
    """Return a disc with a hint and a popup; a night's hint is its number and stays open."""
    import folium
    from branca.element import MacroElement
    from folium.template import Template

    class Told(MacroElement):
        """A popup without the library that folium's own asks for."""

        _template = Template(
            "{% macro script(this, kwargs) %}{{ this._parent.get_name() }}.bindPopup({{ this.words|tojson }}, {maxWidth: 280});{% endmacro %}"
        )

        def __init__(self, words: str) -> None:
            super().__init__()  # type: ignore[no-untyped-call]
            self._name = "Told"
            self.words = words

    night = mark.sign == "night"
    hint = mark.label if night else mark_name(mark)
    disc: Any = folium.CircleMarker(
        data.at(mark), radius=8 if night else 6, color="#ffffff", weight=2, fill=True, fill_color=_SIGNS[mark.sign], fill_opacity=1.0,
        tooltip=folium.Tooltip(safe(hint), permanent=night, sticky=False),
    )  # fmt: skip
    disc.add_child(Told(f'<div style="overflow-wrap:anywhere"><b>{safe(mark_name(mark))}</b><br>{safe(mark_words(mark))}</div>'))
    return disc
