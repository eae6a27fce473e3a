"""A named place through OSMnx, against a loopback stand-in for the geocoder and the map server."""

from __future__ import annotations

import json
import threading
from collections.abc import Iterator
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from itertools import pairwise
from urllib.parse import parse_qs, unquote, urlsplit

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tripplan.model.errors import BadInputError
from tripplan.osm.live import chain, read_place

_AT = {1: (0.001, 0.001), 2: (0.002, 0.001), 3: (0.003, 0.001), 4: (0.003, 0.002), 5: (0.005, 0.002), 9: (0.0025, 0.0015)}
_NODE_TAGS = {2: {"barrier": "gate", "access": "private"}, 9: {"amenity": "drinking_water"}}
_WAYS = {
    11: ([1, 2, 3], {"highway": "primary", "name": "Quay, Road", "surface": "asphalt", "maxheight": "2.4", "wikidata": "Q1"}),
    12: ([3, 4], {"highway": "service", "oneway": "-1", "access:conditional": "no @ (Nov-Apr)"}),
    13: ([4, 5], {"route": "ferry", "duration": "00:20", "motor_vehicle": "yes"}),
}


class _Server(ThreadingHTTPServer):
    daemon_threads = True
    refuse = False
    empty = False
    queries: list[str]
    busy = 0
    most_busy = 0


class _Answers(BaseHTTPRequestHandler):
    server: _Server

    def log_message(self, *args: object) -> None:
        """Say nothing."""

    def _send(self, body: object, code: int = 200) -> None:
        data = body.encode() if isinstance(body, str) else json.dumps(body).encode()
        self.send_response(code)
        self.send_header("Content-Length", str(len(data)))
        self.end_headers()
        self.wfile.write(data)

    def do_GET(self) -> None:
        url = urlsplit(self.path)
        if url.path.endswith("/status"):
            self._send("Connected as: 1\nCurrent time: now\nAnnounced endpoint: none\nRate limit: 2\n2 slots available now.\n")
            return
        query = parse_qs(url.query)
        self.server.queries.append("geocode " + query["q"][0])
        if query["q"][0] != "Stand-in Isle":
            self._send([])
            return
        ring = [[0, 0], [0.01, 0], [0.01, 0.01], [0, 0.01], [0, 0]]
        self._send([{"place_id": 1, "osm_type": "relation", "osm_id": 77, "lat": "0.005", "lon": "0.005", "boundingbox": ["0", "0.01", "0", "0.01"],
                     "display_name": "Stand-in Isle", "class": "place", "type": "island", "importance": 0.5, "name": "Stand-in Isle", "addresstype": "island",
                     "place_rank": 17, "geojson": {"type": "Polygon", "coordinates": [ring]}}])  # fmt: skip

    def do_POST(self) -> None:
        self.server.busy += 1
        self.server.most_busy = max(self.server.most_busy, self.server.busy)
        text = unquote(self.rfile.read(int(self.headers["Content-Length"])).decode()).replace("+", " ")
        self.server.queries.append(text)
        if self.server.refuse:
            self._send("<html>no</html>", 403)
        elif self.server.empty:
            self._send({"elements": []})
        elif "amenity" in text:
            self._send({"elements": [self._node(9)]})
        else:
            kept = [
                w
                for w, (_, tags) in _WAYS.items()
                if ("highway" in tags and '"highway"' in text) or ("route" in tags and '"route"' in text)
            ]
            ways = [{"type": "way", "id": w, "nodes": _WAYS[w][0], "tags": _WAYS[w][1]} for w in kept]
            self._send({"elements": [*ways, *(self._node(n) for n in sorted({n for w in kept for n in _WAYS[w][0]}))]})
        self.server.busy -= 1

    @staticmethod
    def _node(number: int) -> dict[str, object]:
        lon, lat = _AT[number]
        return {"type": "node", "id": number, "lon": lon, "lat": lat, "tags": _NODE_TAGS.get(number, {})}


@pytest.fixture
def server(socket_enabled: None, monkeypatch: pytest.MonkeyPatch) -> Iterator[_Server]:
    """A stand-in on the loopback address; nothing else can be reached."""
    import osmnx
    import pytest_socket

    pytest_socket.socket_allow_hosts(["127.0.0.1"])
    # osmnx keeps the look-up of names that it found when it was first imported: in another test, the one that is refused.
    monkeypatch.setattr(osmnx._http, "_original_getaddrinfo", pytest_socket._true_getaddrinfo)
    stand_in = _Server(("127.0.0.1", 0), _Answers)
    stand_in.queries = []
    thread = threading.Thread(target=stand_in.serve_forever, daemon=True)
    thread.start()
    yield stand_in
    stand_in.shutdown()
    stand_in.server_close()
    pytest_socket._remove_restrictions()


def _fetch(stand_in: _Server, name: str = "Stand-in Isle"):
    url = f"http://127.0.0.1:{stand_in.server_port}"
    return read_place(name, geocoder_url=url, overpass_url=f"{url}/api", timeout_s=5)


def test_a_named_place_keeps_tags_service_roads_ferries_and_barriers(server: _Server) -> None:
    """What OSMnx drops by default is there: surface, limits, conditions, service roads, ferries, barriers, -1 as drawn."""
    import osmnx

    before = dict(vars(osmnx.settings))
    raw = _fetch(server)
    ways = {int(way): raw.tag_sets[raw.way_tags[row]] for row, way in enumerate(raw.way_id)}
    assert ways[11] == {"highway": "primary", "surface": "asphalt", "maxheight": "2.4"}
    assert ways[12] == {"highway": "service", "oneway": "-1", "access:conditional": "no @ (Nov-Apr)"}
    assert ways[13]["route"] == "ferry"
    rows = {
        int(raw.way_id[way]): raw.node_id[raw.line_ptr[k] : raw.line_ptr[k + 1]].tolist() for k, way in enumerate(raw.line_way)
    }
    assert rows == {w: nodes for w, (nodes, _) in _WAYS.items()}
    assert "Quay, Road" in raw.names
    assert {node.osm_id: node.tags for node in raw.nodes} == {2: _NODE_TAGS[2], 9: _NODE_TAGS[9]}
    assert raw.faults["turn restrictions not fetched for a live place"] == 1
    assert before == dict(vars(osmnx.settings))
    assert server.most_busy == 1


def test_a_live_place_becomes_a_region_like_a_file(server: _Server) -> None:
    """The same build takes it: three pieces and more, the ferry timed, the gate a junction."""
    from tripplan.region.build import build

    region = build(_fetch(server), name="isle")
    assert len(region.ways.osm_id) == 3
    ferry = int(np.flatnonzero(region.ways.osm_id == 13)[0])
    assert region.ways.ferry_s[ferry] == 1200
    assert 2 in region.junctions.osm_id
    assert region.places[0].ref == "n9"


@pytest.mark.parametrize(
    ("trouble", "words"), [("name", "not known"), ("refuse", "refused"), ("empty", "no roads"), ("gone", "cannot be reached")]
)
def test_each_refusal_is_one_clear_line(server: _Server, trouble: str, words: str) -> None:
    """Unknown place, a server that says no, an empty answer, no server at all: BadInputError, no traceback."""
    server.refuse, server.empty = trouble == "refuse", trouble == "empty"
    if trouble == "gone":
        with pytest.raises(BadInputError, match=words):
            read_place("x", geocoder_url="http://127.0.0.1:9", overpass_url="http://127.0.0.1:9/api", timeout_s=2)
        return
    with pytest.raises(BadInputError, match=words):
        _fetch(server, "Nowhere" if trouble == "name" else "Stand-in Isle")


@given(st.lists(st.integers(1, 9), min_size=2, max_size=12).filter(lambda line: all(a != b for a, b in pairwise(line))))
@settings(max_examples=200, deadline=None)
def test_steps_of_a_way_join_to_one_line_with_the_same_steps(line: list[int]) -> None:
    """Any walk, also one that crosses itself, comes back as one line that uses each step once."""
    pairs = list(pairwise(line))
    lines = chain(list(pairs))
    assert sorted(pair for part in lines for pair in pairwise(part)) == sorted(pairs)
    assert len(lines) == 1
