"""tripplan from Python: what a notebook or a program gets, held against the libraries that read it."""

from __future__ import annotations

import os
import re
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from helpers import plans
from helpers.browser import look
from helpers.pages import Page

import tripplan
from tripplan import BadInputError, Plan, Region, plan_trip
from tripplan.model.place import OFFERS
from tripplan.model.serial import plan_to_json
from tripplan.region.columns import Access

from report.hostile import CORPUS  # isort: skip

ROOT = Path(__file__).parents[1]
ISLAND = plans.island()
REGION = Region(ISLAND)
PLAN = Plan(plans.plan(7, region=ISLAND), REGION)


@pytest.fixture(scope="module")
def sample() -> Region:
    """The region of the invented island."""
    return Region.sample()


def _fresh(code: str) -> str:
    done = subprocess.run(
        [sys.executable, "-c", code],
        capture_output=True,
        text=True,
        check=True,
        cwd=ROOT,
        env=os.environ | {"PYTHONPATH": str(ROOT)},
    )
    return done.stdout.strip()


def test_the_package_alone_loads_nothing() -> None:
    """`import tripplan` brings in no other module, the names of the front door are listed, and each comes when asked for."""
    assert _fresh("import sys; a = set(sys.modules); import tripplan; print(sorted(set(sys.modules) - a))") == "['tripplan']"
    heavy = "{'numpy', 'pandas', 'geopandas', 'folium', 'ortools', 'numba', 'osmnx', 'networkx', 'shapely', 'scipy'}"
    found = _fresh(
        f"import sys; from tripplan import BadInputError, NoPlanError, Region, plan_trip; print(sorted({heavy} & set(sys.modules)))"
    )
    assert found in ("[]", "['numpy']")
    assert set(tripplan.__all__) <= set(dir(tripplan))
    for name in tripplan.__all__:
        assert getattr(tripplan, name) is not None
    with pytest.raises(AttributeError, match="no attribute 'nosuch'"):
        _ = tripplan.nosuch  # type: ignore[attr-defined]


# ------------------------------------------------------------------------------------------------ tables


def test_roads_are_the_region_s(sample: Region) -> None:
    """A row a piece of road: EPSG:4326, lengths as the region has them and as the drawn line measures, judgements in words."""
    roads = sample.roads()
    inner = sample.value
    assert roads.crs.to_epsg() == 4326
    assert len(roads) == len(inner.pieces.way)
    assert np.array_equal(roads["length_m"], inner.pieces.length_m)
    # pyproj's ellipsoid (GRS 80 or WGS 84) against our sphere: never more than 0.6 % apart (flattening 1/298)
    measured = roads.geometry.to_crs(roads.estimate_utm_crs()).length
    long = roads["length_m"] > 200
    assert np.allclose(measured[long], roads["length_m"][long], rtol=0.02)
    assert set(roads["surface"]) <= {"sealed", "presumed", "unknown", "unsealed"}
    assert set(roads["tow_access"]) <= {"open", "ends only", "closed"}
    row = int(np.flatnonzero(inner.ways.name[inner.pieces.way] >= 0)[0])
    assert roads["name"].iloc[row] == inner.string(int(inner.ways.name[inner.pieces.way[row]]))


def test_places_are_the_region_s(sample: Region) -> None:
    """A row a place where it lies, each offer in words."""
    places = sample.places()
    assert places.crs.to_epsg() == 4326
    assert places["ref"].tolist() == [place.ref for place in sample.value.places]
    for word in OFFERS:
        assert places[word].tolist() == [place.offer(word).answer.name.lower() for place in sample.value.places]
    assert np.allclose(places.geometry.x, [place.lon for place in sample.value.places])


# ------------------------------------------------------------------------------------------------ graph


@pytest.mark.parametrize("mode", ["car", "tow", "all"])
def test_the_graph_is_one_that_osmnx_takes(sample: Region, mode: str) -> None:
    """OSMnx finds nothing wrong with it, writes it as tables and reads it back; lengths are the region's, both ways."""
    import osmnx as ox

    graph = sample.graph(mode)
    ox.convert.validate_graph(graph)
    nodes, edges = ox.graph_to_gdfs(graph)
    inner = sample.value
    way = inner.pieces.way
    access = {"car": inner.ways.car_access, "tow": inner.ways.tow_access, "all": np.zeros_like(inner.ways.car_access)}[mode]
    open_ = access[way] != Access.CLOSED
    ways_round = np.where(inner.ways.oneway[way] == 0, 2, 1)
    assert len(edges) == int(ways_round[open_].sum())
    assert edges["length"].sum() == pytest.approx(float((inner.pieces.length_m * ways_round)[open_].sum()))
    assert edges.crs.to_epsg() == 4326
    # OSMnx's own great-circle lengths along each edge's line, on the same sphere (osmnx.distance.EARTH_RADIUS_M)
    for _, edge in edges.sample(50, random_state=7).iterrows():
        x, y = np.array(edge["geometry"].coords).T
        own = ox.distance.great_circle(y[:-1], x[:-1], y[1:], x[1:]).sum()
        assert own == pytest.approx(edge["length"], rel=1e-6, abs=0.01)
    ends = edges.reset_index()
    starts = np.array([line.coords[0] for line in ends.geometry])
    assert np.allclose(starts, nodes.loc[ends["u"], ["x", "y"]].to_numpy())
    assert set(ox.graph_from_gdfs(nodes, edges).edges) == set(graph.edges)


@pytest.mark.extract
def test_the_graph_of_a_real_country(extracts: Path) -> None:
    """A real extract as a graph: OSMnx finds nothing wrong with it, and measures the length of every edge as the region does."""
    import osmnx as ox

    real = Region.build(extracts / "liechtenstein-20240304.osm.pbf")
    graph = real.graph("all")
    ox.convert.validate_graph(graph)
    _, edges = ox.graph_to_gdfs(graph)
    assert len(edges) > 15_000
    for _, edge in edges.sample(400, random_state=7).iterrows():
        x, y = np.array(edge["geometry"].coords).T
        assert ox.distance.great_circle(y[:-1], x[:-1], y[1:], x[1:]).sum() == pytest.approx(edge["length"], abs=1e-3)


def test_routes_on_the_graph(sample: Region) -> None:
    """OSMnx routes on it, and adds speeds and times."""
    import networkx as nx
    import osmnx as ox

    graph = ox.routing.add_edge_travel_times(ox.routing.add_edge_speeds(sample.graph()))
    largest = sorted(max(nx.strongly_connected_components(graph), key=len))
    route = ox.routing.shortest_path(graph, largest[0], largest[-1], weight="length")
    length = ox.routing.route_to_gdf(graph, route, weight="length")["length"].sum()
    assert length == pytest.approx(nx.shortest_path_length(graph, largest[0], largest[-1], weight="length"))


def test_one_way_roads_and_modes(tmp_path: Path) -> None:
    """A road one way is one edge, in its own direction; what is closed to the van is on the car's graph only; an unknown mode is refused."""
    from helpers.make import region_from_drawing

    ways = {
        "AB": {"highway": "primary", "oneway": "yes", "maxspeed": "80"},
        "BC": {"highway": "primary", "oneway": "-1"},
        "CD": {"highway": "primary", "trailer": "no"},
    }
    drawn = Region(region_from_drawing("A--B--C--D", ways=ways, folder=tmp_path)[0])
    graph = drawn.graph()
    by_x = sorted(graph.nodes, key=lambda n: graph.nodes[n]["x"])
    a, b, c, d = by_x
    assert set(graph.edges(keys=False)) == {(a, b), (c, b), (c, d), (d, c)}
    assert graph.edges[a, b, 0]["maxspeed"] == "80"
    assert graph.edges[a, b, 0]["oneway"] is True
    assert graph.edges[c, d, 0]["oneway"] is False
    assert [graph.edges[e]["reversed"] for e in ((a, b, 0), (c, b, 0))] == [False, True]
    assert d not in drawn.graph("tow")
    with pytest.raises(BadInputError, match="car, tow, all"):
        drawn.graph("bus")


# ------------------------------------------------------------------------------------------------ plans


def test_tables_of_a_plan() -> None:
    """Days and levels as tables, with the figures of the plan."""
    days, levels = PLAN.days(), PLAN.levels()
    assert days.index.tolist() == [day.number for day in PLAN.value.days]
    assert days["date"].dt.date.tolist() == [day.date for day in PLAN.value.days]
    assert levels.loc[(3, "gas"), "worst"] == pytest.approx(next(x.worst for x in PLAN.value.days[2].levels if x.store == "gas"))
    assert levels.loc[(3, "gas"), "unit"] == "kg"


def test_papers_and_back(tmp_path: Path) -> None:
    """What is saved reads back as the same plan; one of other map data, and what is no plan, are refused in words."""
    paths = PLAN.save(tmp_path / "trip")
    assert {"plan.json", "levels.png", "route.kml"} <= {path.name for path in paths}
    again = Plan.load(tmp_path / "trip" / "plan.json", ISLAND)  # type: ignore[arg-type]
    assert plan_to_json(again.value) == plan_to_json(PLAN.value)
    assert again.region == REGION != Region.sample()
    with pytest.raises(BadInputError, match="other map data"):
        Plan.load(tmp_path / "trip" / "plan.json", Region.sample())
    with pytest.raises(BadInputError, match="cannot be read"):
        Plan.load(tmp_path / "nosuch.json", REGION)
    for bad in (
        (3, REGION),
        (tmp_path / "trip.toml", 3),
        (tmp_path / "nosuch.toml", REGION),
        (tmp_path, tmp_path / "nosuch.region"),
    ):
        with pytest.raises(BadInputError):
            plan_trip(*bad)  # type: ignore[arg-type]


def test_what_a_notebook_shows() -> None:
    """Short in text, a table and a drawing in HTML, whole elements without script, style or link."""
    assert (
        repr(PLAN)
        == f"<Plan 'Round Skerry Isle': 7 nights from 2026-11-30, {sum(d.legs[0].length_m for d in PLAN.value.days if d.kind == 'towing') / 1000:.0f} km towing>"
    )
    assert repr(REGION).startswith("<Region 'Skerry Isle': ")
    assert "toilet cassette" in str(PLAN)
    for card in (PLAN._repr_html_(), REGION._repr_html_()):
        page = Page(card)
        assert not page.unbalanced
        assert not page.open
        assert not {"script", "style", "link", "iframe", "img"} & {tag for tag, _ in page.tags}
    assert "Ferrin Caravan Site" in Page(PLAN._repr_html_()).text
    assert "presumed" in Page(REGION._repr_html_()).text


_SEEN = """
    var d = document.querySelector('iframe') ? document.querySelector('iframe').contentDocument : document;
    d.querySelectorAll('path.leaflet-interactive').forEach(function (p) { p.dispatchEvent(new MouseEvent('click', {bubbles: true})); });
    return {pwned: window.pwned === undefined ? 0 : 1, lines: d.querySelectorAll('path.leaflet-interactive, path').length,
        discs: d.querySelectorAll('path.leaflet-interactive').length, hints: d.querySelectorAll('.leaflet-tooltip').length,
        popup: d.querySelector('.leaflet-popup-content') ? d.querySelector('.leaflet-popup-content').textContent : '',
        credit: d.querySelector('.leaflet-control-attribution').textContent, wide: document.documentElement.scrollWidth, inner: window.innerWidth};
"""


def test_the_map_draws_itself_offline(tmp_path: Path) -> None:
    """The folium map of a notebook draws lines, discs and numbers in a real browser, asks for nothing, and tells whose data it is."""
    from tripplan.report.mapdata import marks_of

    seen = look(PLAN.map().get_root().render(), _SEEN, tmp_path)
    assert "error" not in seen, seen
    assert seen["asked_for"] == []
    assert seen["discs"] == len(marks_of(PLAN.value))
    assert seen["hints"] >= len([m for m in marks_of(PLAN.value) if m.sign == "night"])
    assert seen["lines"] > seen["discs"] + len(PLAN.value.days) - 2
    assert "© OpenStreetMap contributors" in seen["credit"]


@pytest.mark.parametrize("first", [0, len(CORPUS) // 3, 2 * len(CORPUS) // 3])
def test_hostile_texts_in_a_notebook(tmp_path: Path, first: int) -> None:
    """With hostile names everywhere nothing runs, nothing is asked for, no template is rendered: on the map and on the cards."""
    from itertools import cycle

    turn = cycle(CORPUS[first:] + CORPUS[:first])
    island = plans.island(lambda _: next(turn))
    plan = Plan(plans.plan(7, lambda _: next(turn), island), Region(island))
    page = plan.map().get_root().render()
    seen = look(page, _SEEN, tmp_path, width=390, height=700)
    assert "error" not in seen, seen
    assert (seen["pwned"], seen["asked_for"]) == (0, [])
    assert seen["wide"] <= seen["inner"]
    assert "1337" not in re.sub(r"base64,[A-Za-z0-9+/=]+", "", page)  # 191 * 7, which some of the texts ask a template for
    cards = f'<!DOCTYPE html><html><head><meta charset="utf-8"></head><body>{plan._repr_html_()}{plan.region._repr_html_()}</body></html>'
    (tmp_path / "cards").mkdir()
    probe = "return {pwned: window.pwned === undefined ? 0 : 1, tables: document.querySelectorAll('table').length};"
    seen = look(cards, probe, tmp_path / "cards", width=390, height=700)
    assert (seen["pwned"], seen["asked_for"], seen["tables"]) == (0, [], 3)


# ------------------------------------------------------------------------------------------------ the tutorial


def test_the_tutorial_runs(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    """Every block of the page runs, one after another, as a reader would run them, and prints what it says it does."""
    text = (ROOT / "tripplan" / "guides" / "python.md").read_text(encoding="utf-8")
    blocks = re.findall(r"^```python\n(.*?)^```", text, re.MULTILINE | re.DOTALL)
    assert len(blocks) >= 10
    monkeypatch.chdir(tmp_path)
    names: dict[str, object] = {}
    for number, block in enumerate(blocks):
        exec(compile(block, f"python.md, block {number + 1}", "exec"), names)
    told = capsys.readouterr().out
    for words in (
        "<Region 'Sample island'",
        "presumed",
        "places empty a toilet cassette",
        "junctions can be reached",
        "proven best",
        "How full each is",
        "levels.png",
        "cassette",
    ):
        assert words in told, words
    assert (tmp_path / "our-trip" / "plan.json").is_file()
