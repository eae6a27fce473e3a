"""A named place, live: OSMnx asks the map's servers, one request at a time, and the answer takes the form of a file."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from datetime import UTC, datetime
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tripplan.model.errors import BadInputError
from tripplan.model.progress import Progress, silent
from tripplan.osm.keys import BASE_LAYER_OF, LIVE_NODE_TAGS, LIVE_WAY_TAGS, PLACE_TAGS, PLACES_TO_LOOK_UP, ROAD_CLASSES
from tripplan.osm.opl import escape
from tripplan.osm.raw import RawArea, RawLine, RawMap, RawNode
from tripplan.osm.rings import Assembler
from tripplan.osm.ways import WayTable

__all__ = ["USER_AGENT", "read_place"]

USER_AGENT = "tripplan (plans a touring caravan hire; uses OSMnx)"
_FILTERS = [f'["highway"~"^({"|".join(ROAD_CLASSES)})$"]', '["route"="ferry"]']
_REVERSED = frozenset(("-1", "reverse", "T"))  # OSMnx turns these round


def read_place(
    name: str, *, geocoder_url: str = "", overpass_url: str = "", timeout_s: float = 180.0, progress: Progress = silent
) -> RawMap:
    """Fetch roads, places and base map of a named place through OSMnx.

    OSMnx by default drops the tags that decide surface and access, service roads and ferries; here all of them are asked
    for. Turn restrictions are relations, which OSMnx does not fetch: that they are missing is counted in ``faults``.

    Parameters
    ----------
    name
        As the geocoder knows it ("Isle of Man").
    geocoder_url, overpass_url
        Other servers than OSMnx's own settings name.
    timeout_s
        Longest wait for one answer [s].

    Raises
    ------
    BadInputError
        The place is not known or has no outline, a server cannot be reached or refuses, there are no roads.
    """
    import osmnx

    where = f"place {name!r}"
    with _settings(osmnx, geocoder_url, overpass_url, timeout_s):
        progress("Looking the place up", 0.0)
        outline = _asked(lambda: osmnx.geocoder.geocode_to_gdf(name), where, "the place is not known, or has no outline")
        polygon = outline.geometry.iloc[0]
        progress("Fetching roads", 0.1)
        graph = _asked(
            lambda: osmnx.graph_from_polygon(polygon, custom_filter=_FILTERS, simplify=False, retain_all=True, truncate_by_edge=True),
            where, "there are no roads in it",
        )  # fmt: skip
        progress("Fetching places", 0.6)
        try:
            features = osmnx.features_from_polygon(polygon, _feature_tags())
        except osmnx._errors.InsufficientResponseError:
            features = None
        except Exception as error:  # noqa: BLE001  whatever a server or its reply sets off
            raise _refused(error, where) from None
    return _raw(graph, features, name)


@contextmanager
def _settings(osmnx: Any, geocoder_url: str, overpass_url: str, timeout_s: float) -> Iterator[None]:
    """Set OSMnx's settings for these requests and put them back."""
    wanted = {
        "useful_tags_way": list(LIVE_WAY_TAGS), "useful_tags_node": list(LIVE_NODE_TAGS), "all_oneway": True, "use_cache": False,
        "overpass_rate_limit": True, "requests_timeout": timeout_s, "doh_url_template": None, "http_user_agent": USER_AGENT,
    }  # fmt: skip
    if geocoder_url:
        wanted["nominatim_url"] = geocoder_url
    if overpass_url:
        wanted["overpass_url"] = overpass_url
    before = {key: getattr(osmnx.settings, key) for key in wanted}
    try:
        for key, value in wanted.items():
            setattr(osmnx.settings, key, value)
        yield
    finally:
        for key, value in before.items():
            setattr(osmnx.settings, key, value)


def _asked(question: Any, where: str, nothing: str) -> Any:
    import osmnx

    try:
        return question()
    except (osmnx._errors.InsufficientResponseError, TypeError):
        raise BadInputError(nothing, where=where, next_step="write it as the map does, with its country") from None
    except Exception as error:  # noqa: BLE001  whatever a server or its reply sets off
        raise _refused(error, where) from None


def _refused(error: Exception, where: str) -> BadInputError:
    from requests.exceptions import ConnectionError as NoConnectionError
    from requests.exceptions import Timeout

    if isinstance(error, Timeout):
        what = "the map server did not answer in time"
    elif isinstance(error, NoConnectionError):
        what = "the map server cannot be reached"
    else:
        what = f"the map server refused or gave no sound answer ({str(error)[:120] or type(error).__name__})"
    return BadInputError(what, where=where, next_step="try again later, or build from a file with `tripplan region build FILE`")


def _feature_tags() -> dict[str, bool | str | list[str]]:
    tags: dict[str, list[str]] = {}
    for key, value in (*PLACE_TAGS, *BASE_LAYER_OF, *(("place", value) for value in sorted(PLACES_TO_LOOK_UP))):
        if value not in tags.setdefault(key, []):
            tags[key].append(value)
    return dict(tags)


def _raw(graph: Any, features: Any, name: str) -> RawMap:
    faults: Counter[str] = Counter({"turn restrictions not fetched for a live place": 1})
    ways: list[tuple[int, bytes, bytes]] = []
    for way, (tags, lines_of_way) in sorted(_ways(graph).items()):
        for number, line in enumerate(lines_of_way):
            if number:
                faults["stretches of a way cut by the place's outline"] += 1
            points = ",".join(f"n{node}x{graph.nodes[node]['x']:.7f}y{graph.nodes[node]['y']:.7f}" for node in line)
            text = ",".join(f"{escape(key)}={escape(value)}" for key, value in tags.items())
            ways.append((way if not number else -(way * 1000 + number), f"T{text}".encode(), f"N{points}".encode()))
    table = WayTable(faults)
    table.add([way[0] for way in ways], [way[1] for way in ways], [way[2] for way in ways])
    nodes, areas, lines = _features(features) if features is not None else ([], [], [])
    known = {node.osm_id for node in nodes}
    for number, data in graph.nodes(data=True):
        tags = {key: str(data[key]) for key in LIVE_NODE_TAGS if key in data}
        if ("barrier" in tags or "ford" in tags) and number not in known:
            nodes.append(RawNode(int(number), float(data["x"]), float(data["y"]), tags))
    today = datetime.now(tz=UTC).date().isoformat()
    raw = table.finish(f"live: {name}", f"{today} (fetched live)", nodes, Assembler([], faults), [], faults)
    raw = replace(raw, way_id=np.where(raw.way_id < 0, -raw.way_id // 1000, raw.way_id), areas=areas, lines=lines)
    if len(raw.way_id) == 0:
        raise BadInputError("there are no roads in it", where=f"place {name!r}", next_step="name a larger place")
    return raw


def _ways(graph: Any) -> dict[int, tuple[dict[str, str], list[list[int]]]]:
    """Put the graph's edges, one each as drawn, back into ways: tags, and chains of nodes."""
    edges: dict[int, list[tuple[int, int]]] = {}
    tags: dict[int, dict[str, str]] = {}
    for u, v, data in graph.edges(data=True):
        way = int(data["osmid"])
        edges.setdefault(way, []).append((u, v))
        if way not in tags:
            tags[way] = {key: str(data[key]) for key in LIVE_WAY_TAGS if key in data}
    found = {}
    for way, pairs in edges.items():
        chains = chain(pairs)
        if tags[way].get("oneway") in _REVERSED:
            chains = [line[::-1] for line in chains]
        found[way] = (tags[way], chains)
    return found


def chain(pairs: list[tuple[int, int]]) -> list[list[int]]:
    """Join directed steps to as few lines as can be; each step is used once (a way may cross itself)."""
    following: dict[int, list[int]] = {}
    balance: Counter[int] = Counter()
    for u, v in pairs:
        following.setdefault(u, []).append(v)
        balance[u] += 1
        balance[v] -= 1
    starts = [node for node, extra in balance.items() for _ in range(max(extra, 0))]
    lines: list[list[int]] = []
    for start in [*starts, *following]:
        if not following.get(start):
            continue
        # Hierholzer: run until stuck, then let rings met on the way in.
        stack, line = [start], []
        while stack:
            if following.get(stack[-1]):
                stack.append(following[stack[-1]].pop(0))
            else:
                line.append(stack.pop())
        line.reverse()
        lines += _unbroken(line, pairs)
    return lines


def _unbroken(line: list[int], pairs: list[tuple[int, int]]) -> list[list[int]]:
    """Cut a line where two of its nodes are no step of the way."""
    steps = set(pairs)
    parts = [[line[0]]]
    for u, v in pairwise(line):
        if (u, v) in steps:
            parts[-1].append(v)
        else:
            parts.append([v])
    return [part for part in parts if len(part) > 1]


def _features(table: Any) -> tuple[list[RawNode], list[RawArea], list[RawLine]]:
    nodes: list[RawNode] = []
    areas: list[RawArea] = []
    lines: list[RawLine] = []
    columns = [column for column in table.columns if column != "geometry"]
    for (element, number), row in zip(table.index, table.to_dict("records"), strict=True):
        tags = {key: row[key] for key in columns if isinstance(row[key], str)}
        shape = row["geometry"]
        if shape.geom_type == "Point":
            nodes.append(RawNode(int(number), float(shape.x), float(shape.y), tags))
            continue
        outer, inner, open_ = _rings(shape)
        if any(tags.get(key) == value for key, value in PLACE_TAGS) or tags.get("place") in PLACES_TO_LOOK_UP:
            areas.append(RawArea(f"{str(element)[0]}{number}", tags, tuple(outer or open_), tuple(inner)))
        layer = next((layer for (key, value), layer in BASE_LAYER_OF.items() if tags.get(key) == value), "")
        if layer == "water":
            lines += [RawLine("water", True, ring) for ring in outer]
        elif layer:
            lines += [RawLine(layer, False, ring) for ring in (*outer, *open_)]
    return nodes, areas, lines


def _rings(shape: Any) -> tuple[list[NDArray[np.int32]], list[NDArray[np.int32]], list[NDArray[np.int32]]]:
    import shapely

    def whole(part: Any) -> NDArray[np.int32]:
        return np.rint(shapely.get_coordinates(part) * 1e7).astype(np.int32)

    outer, inner, open_ = [], [], []
    for part in getattr(shape, "geoms", [shape]):
        if part.geom_type == "Polygon":
            outer.append(whole(part.exterior))
            inner += [whole(ring) for ring in part.interiors]
        else:
            open_.append(whole(part))
    return outer, inner, open_
