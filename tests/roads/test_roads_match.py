"""Telling the roads of a track on drawn maps: every behaviour with the case where it must not bite."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from helpers.likeliest import Likeliest
from helpers.recorded import METRES_A_DEGREE, record, right_m, wander
from helpers.towing import ROAD, Map, drawn
from hypothesis import given, settings
from hypothesis import strategies as st

from tripplan.model.errors import BadInputError
from tripplan.model.track import Track
from tripplan.region.build import build
from tripplan.region.geometry import segment_lengths_m
from tripplan.roads.match import Match, Model, match, set_up, thin_points
from tripplan.roads.match_graph import derive_graph, open_graph
from tripplan.roads.match_kernel import compiled, decode
from tripplan.roads.match_near import RoadGrid
from tripplan.roads.nearest import PieceIndex

EXACT = Model(noise_m=5)


def walked(drawing: Map, path: str, every_m: float = 40.0, *, side_m: float = 0.0, kmh: float = 50.0) -> Track:
    """Return a track along straight lines between letters, with so much room between points, beside the line by so much."""
    lon, lat = [], []
    scale = np.cos(np.radians(drawing.drawing.at[path[0]][1]))
    for a, b in pairwise(path):
        (x0, y0), (x1, y1) = drawing.drawing.at[a], drawing.drawing.at[b]
        metres = np.hypot((x1 - x0) * scale, y1 - y0) * METRES_A_DEGREE
        nx, ny = -(y1 - y0) * METRES_A_DEGREE / metres, (x1 - x0) * scale * METRES_A_DEGREE / metres
        for m in np.arange(0 if not lon else every_m, metres, every_m):
            lon.append(x0 + (x1 - x0) * m / metres + side_m * nx / METRES_A_DEGREE / scale)
            lat.append(y0 + (y1 - y0) * m / metres + side_m * ny / METRES_A_DEGREE)
    lon.append(drawing.drawing.at[path[-1]][0])
    lat.append(drawing.drawing.at[path[-1]][1])
    seconds = np.concatenate(([0.0], np.cumsum(segment_lengths_m(np.array(lon), np.array(lat))))) * 3.6 / kmh
    return Track.of((np.array(lon) + 180) % 360 - 180, lat, 1.8e9 + seconds)


def letters(drawing: Map, found: Match) -> list[str]:
    """Return the junctions that each chain passes, both ends of its first and last road among them."""
    names = {number: letter for letter, number in drawing.drawing.node_id.items()}
    pieces, ids = drawing.region.pieces, drawing.region.junctions.osm_id
    out = []
    for chain in found.chains:
        word = ""
        for piece, forward in zip(chain.piece.tolist(), chain.forward.tolist(), strict=True):
            a, b = (int(pieces.a[piece]), int(pieces.b[piece])) if forward else (int(pieces.b[piece]), int(pieces.a[piece]))
            word += (names[int(ids[a])] if not word or word[-1] != names[int(ids[a])] else "") + names[int(ids[b])]
        out.append(word)
    return out


TOWN = """
A----B----C----D
     |    |
     E----F----G
     |
     H
"""
STREETS = {"ABCD": ROAD, "BE": ROAD, "CF": ROAD, "EFG": ROAD, "EH": ROAD}


def test_a_track_without_noise_gives_its_roads(tmp_path):
    """Points on the road give its pieces in order, from the first point to the last, to the metre."""
    town = drawn(TOWN, STREETS, tmp_path)
    found = match(town.region, walked(town, "ABEFG"), EXACT)
    assert letters(town, found) == ["ABEFG"]
    assert found.chains[0].length_m == pytest.approx(1700, abs=2)
    assert found.on_road.all()
    assert np.all(np.diff(found.chains[0].point_m) > 0)


@pytest.mark.parametrize("engine", ["auto", "plain"])
def test_both_engines(tmp_path, engine):
    """The compiled kernel and the same in plain Python give the same roads."""
    town = drawn(TOWN, STREETS, tmp_path)
    assert letters(town, match(town.region, walked(town, "HEFCD"), EXACT, engine=engine)) == ["HEFCD"]


def test_a_track_beside_the_road(tmp_path):
    """A record that runs 20 m beside the road all the way is taken for that road, not for the parallel one 200 m away."""
    town = drawn(TOWN, STREETS, tmp_path)
    found = match(town.region, walked(town, "EFG", side_m=20))
    assert letters(town, found) == ["EFG"]
    assert found.noise_m > 15


def test_turning_round_in_a_dead_end(tmp_path):
    """Out to the end of a dead end and back is told with both ways; standing still is not taken for turning round."""
    town = drawn(TOWN, STREETS, tmp_path)
    found = match(town.region, walked(town, "FEHEB"), EXACT)
    assert letters(town, found) == ["FEHEB"]
    assert found.chains[0].length_m == pytest.approx(500 + 100 * 2 + 200 + 100 * 0, abs=220)
    rng = np.random.default_rng(1)
    still = walked(town, "EF")
    stop = 6
    lon = np.concatenate((still.lon[:stop], still.lon[stop] + rng.normal(0, 5, 60) / 71_000, still.lon[stop:]))
    lat = np.concatenate((still.lat[:stop], still.lat[stop] + rng.normal(0, 5, 60) / 111_000, still.lat[stop:]))
    found = match(town.region, Track.of(lon, lat), EXACT)
    assert letters(town, found) == ["EF"]
    assert found.chains[0].length_m == pytest.approx(500, abs=12)


def test_one_way_roads(tmp_path):
    """A one-way road is told in its direction; driven against it, it is not told at all."""
    ways = {**STREETS, "EFG": f"{ROAD} oneway=yes"}
    town = drawn(TOWN, ways, tmp_path)
    assert letters(town, match(town.region, walked(town, "BEFG"), EXACT)) == ["BEFG"]
    against = match(town.region, walked(town, "GFEH"), EXACT)
    assert all("FE" not in word for word in letters(town, against))


def test_two_carriageways_side_by_side(tmp_path):
    """Of two one-way carriageways 15 m apart the one whose direction is driven is told, though the points are nearer the other."""
    plan = "A-------------------------------B\nC-------------------------------D"
    town = drawn(plan, {"AB": f"{ROAD} oneway=-1", "CD": f"{ROAD} oneway=yes"}, tmp_path, grid_m=15)
    found = match(town.region, walked(town, "AB", side_m=1), Model(noise_m=10))
    assert letters(town, found) == ["CD"]
    assert letters(town, match(town.region, walked(town, "BA"), Model(noise_m=10))) == ["BA"]


def test_a_tunnel_without_points(tmp_path):
    """Points stop on one side and go on on the other: the road between is told, and a hole is noted where it is long."""
    plan = "A----B" + 40 * "-" + "C----D"
    town = drawn(plan, {"AB": ROAD, "BC": f"{ROAD} tunnel=yes", "CD": ROAD}, tmp_path)
    whole = walked(town, "ABCD")
    seen = (whole.lon < town.drawing.at["B"][0]) | (whole.lon > town.drawing.at["C"][0])
    found = match(town.region, Track.of(whole.lon[seen], whole.lat[seen], whole.time_s[seen]), EXACT)
    assert letters(town, found) == ["ABCD"]
    ((low, high),) = found.chains[0].hole_m.tolist()
    assert (low, high) == (pytest.approx(480, abs=45), pytest.approx(4600, abs=45))
    assert match(town.region, whole, EXACT).chains[0].hole_m.size == 0


def test_one_outlier_is_skipped(tmp_path):
    """A point that jumps 200 m away to another road does not break the chain; three in a row do."""
    town = drawn(TOWN, STREETS, tmp_path)
    for jumps, chains in ((1, 1), (4, 3)):
        track = walked(town, "ABCD", 60)
        lat = track.lat.copy()
        lat[9 : 9 + jumps] -= 200 / METRES_A_DEGREE
        found = match(town.region, Track.of(track.lon, lat, track.time_s), EXACT)
        if jumps == 1:
            assert letters(town, found) == ["ABCD"]
            assert not found.on_road[9]
        else:
            assert 2 <= len(found.chains) <= chains


def test_off_the_map(tmp_path):
    """A track that leaves the roads across a field and comes back gives two chains, with nothing made up between."""
    plan = "A----B----------C----D\n" + 6 * "\n" + "     E----------F"
    town = drawn(plan, {"AB": ROAD, "CD": ROAD}, tmp_path)
    found = match(town.region, walked(town, "ABCD"), EXACT)
    assert letters(town, found) == ["AB", "CD"]
    assert (~found.on_road).sum() > 15
    bypass = drawn(plan, {"AB": ROAD, "CD": ROAD, "BE": ROAD, "EF": ROAD, "FC": ROAD}, tmp_path)
    assert letters(bypass, match(bypass.region, walked(bypass, "ABCD"), EXACT)) == ["AB", "CD"]


def test_faster_than_anybody(tmp_path):
    """A way round of 2 km in ten seconds is no way: the chain breaks; in two minutes it is one."""
    plan = "A----B  C----D\n" + 9 * "     |  |\n" + "     E--F"
    town = drawn(plan, {"AB": ROAD, "BE": ROAD, "EF": ROAD, "FC": ROAD, "CD": ROAD}, tmp_path)
    loose = Model(noise_m=5, detour_m=300)
    lon = np.linspace(town.drawing.at["A"][0], town.drawing.at["B"][0], 9).tolist()
    lon += np.linspace(town.drawing.at["C"][0], town.drawing.at["D"][0], 9).tolist()
    lat = [town.drawing.at["A"][1]] * 18
    for gap, word in ((10.0, ["AB", "CD"]), (130.0, ["ABEFCD"])):
        seconds = np.concatenate((np.arange(9) * 5.0, 40 + gap + np.arange(9) * 5.0))
        assert letters(town, match(town.region, Track.of(lon, lat, seconds), loose)) == word


def test_a_slow_street_is_not_taken_at_speed(tmp_path):
    """Points midway between a trunk road and a lane beside it are on the trunk road at 100 km/h; at 20 km/h nobody can tell."""
    plan = "A" + 60 * "-" + "B\n\nC" + 60 * "-" + "D"
    town = drawn(plan, {"AB": "highway=trunk", "CD": "highway=living_street", "AC": ROAD, "BD": ROAD}, tmp_path, grid_m=20)
    track = walked(town, "AB", 150, side_m=-24, kmh=100)
    (word,) = letters(town, match(town.region, track, Model(noise_m=10)))
    assert "AB" in word
    (word,) = letters(town, match(town.region, walked(town, "AB", 150, side_m=-24, kmh=20), Model(noise_m=10)))
    assert "CD" in word


def test_both_legs_of_a_hairpin(tmp_path):
    """Where one piece of road passes a point twice both passages are candidates, and the climb is told whole."""
    plan = "A" + 20 * "-" + "b\n" + "d" + 20 * "-" + "c\n" + "e" + 20 * "-" + "F"
    town = drawn(plan, {"AbcdeF": ROAD}, tmp_path, grid_m=30)
    graph = derive_graph(town.region)
    lon, lat = town.at("A", 0.5, "b")
    grid = RoadGrid(town.region.pieces, graph, np.array([lon]), np.array([lat]), 100)
    near = grid.near(np.array([lon]), np.array([lat]), 80, 16)
    assert len(near.piece) == 3
    assert near.distance_m.tolist() == pytest.approx([0, 30, 60], abs=0.5)
    assert near.along_m.tolist() == pytest.approx([315, 975, 1635], abs=3)
    found = match(town.region, walked(town, "AbcdeF", 25), Model(noise_m=8))
    assert found.chains[0].length_m == pytest.approx(3 * 630 + 2 * 30, rel=0.02)


@pytest.mark.parametrize("west", [-25.0, 179.95, 179.99, -179.97])
def test_across_the_date_line(tmp_path, west):
    """Roads and tracks that cross 180 degrees, in a piece or at a junction, are told as anywhere else."""
    at = [(west + k * 0.01 + 180) % 360 - 180 for k in range(7)]
    text = "".join(f"n{k + 1} x{lon:.7f} y-17.0\n" for k, lon in enumerate(at))
    text += "w1 Thighway=secondary,surface=asphalt Nn1,n2,n3,n4\nw2 Thighway=secondary,surface=asphalt Nn4,n5,n6,n7\n"
    path = tmp_path / "line.osm.opl"
    path.write_text(text)
    region = build(path, name="line")
    lon = (west + np.arange(0, 0.0601, 0.0005) + 180) % 360 - 180
    found = match(region, Track.of(lon, np.full(len(lon), -17.0)), EXACT)
    assert len(found.chains) == 1
    assert found.chains[0].length_m == pytest.approx(0.06 * METRES_A_DEGREE * np.cos(np.radians(17)), rel=0.01)


def test_a_road_that_winds(tmp_path):
    """Between two points half a minute apart a pass road may be four times as long as the straight line: it is told."""
    plan = "A---------B--c\n          d--e\n          C---------D"
    town = drawn(plan, {"AB": ROAD, "BcedC": ROAD, "CD": ROAD}, tmp_path)
    first, last = walked(town, "AB", 50), walked(town, "CD", 50)
    gap = last.time_s - last.time_s[0] + first.time_s[-1] + 60
    track = Track.of(np.append(first.lon, last.lon), np.append(first.lat, last.lat), np.append(first.time_s, gap))
    found = match(town.region, track, EXACT)
    assert letters(town, found) == ["ABCD"]
    assert found.chains[0].length_m == pytest.approx(1000 + 800 + 1000, rel=0.03)


def test_parts_far_apart_are_not_joined(tmp_path):
    """Between two parts of a record nothing is made up where they lie apart; where they meet the track goes on."""
    town = drawn(TOWN, STREETS, tmp_path)
    one, two, three = walked(town, "AB"), walked(town, "FG"), walked(town, "BC")
    for second, word in ((two, ["AB", "FG"]), (three, ["ABC"])):
        part = np.repeat([0, 1], [len(one.lon), len(second.lon)])
        track = Track.of(np.concatenate((one.lon, second.lon)), np.concatenate((one.lat, second.lat)), None, part)
        assert letters(town, match(town.region, track, EXACT)) == word


def test_a_road_closed_to_cars_is_told(tmp_path):
    """Who drove over a road closed to cars is told so; beside an open road as near as it the open one is told."""
    town = drawn(TOWN, {**STREETS, "EFG": "highway=track motor_vehicle=no"}, tmp_path)
    assert letters(town, match(town.region, walked(town, "BEFG"), EXACT)) == ["BEFG"]
    plan = "A" + 40 * "-" + "B\n\nC" + 40 * "-" + "D"
    town = drawn(plan, {"AB": ROAD, "CD": f"{ROAD} motor_vehicle=no"}, tmp_path, grid_m=10)
    assert letters(town, match(town.region, walked(town, "AB", side_m=-10), Model(noise_m=10))) == ["AB"]


BAD = [
    (Track.of([8.0], [50.0]), "the track has 1 point"),
    (Track.of([], []), "the track has 0 points"),
    (Track.of([8.001] * 50, [50.0] * 50), "does not move"),
    (Track.of([28.0, 28.01], [50.0, 50.0]), "no point of the track is within"),
    (Track.of([-172.0, -172.01], [-50.0, -50.0]), "no point of the track is within"),
    (Track.of([8.0, 8.0], [90.0, -90.0]), "no point of the track is within"),
]


@pytest.mark.parametrize(("track", "says"), BAD)
def test_tracks_that_cannot_be_matched(tmp_path, track, says):
    """One point, points all equal, tracks far from any road, poles: one clear line."""
    town = drawn(TOWN, STREETS, tmp_path)
    with pytest.raises(BadInputError, match=says):
        match(town.region, track)


@settings(max_examples=60, deadline=None)
@given(st.data())
def test_any_points_give_a_sound_answer(tmp_path_factory, data):
    """Whatever the points and times, chains hang together, keep to their pieces, and order their points."""
    town = TOWNS.setdefault("town", drawn(TOWN, STREETS, tmp_path_factory.mktemp("town")))
    n = data.draw(st.integers(2, 25))
    near = st.tuples(st.floats(7.998, 8.024), st.floats(49.995, 50.002))
    anywhere = st.tuples(st.floats(-180, 180), st.floats(-90, 90))
    points = data.draw(st.lists(st.one_of(near, near, near, anywhere), min_size=n, max_size=n))
    seconds = data.draw(st.lists(st.one_of(st.floats(-1e9, 1e10), st.just(float("nan"))), min_size=n, max_size=n))
    part = np.cumsum(data.draw(st.lists(st.booleans(), min_size=n, max_size=n)))
    track = Track.of([p[0] for p in points], [p[1] for p in points], seconds, part)
    try:
        found = match(town.region, track)
    except BadInputError:
        return
    sound(town, found)


TOWNS: dict[str, Map] = {}


def sound(town: Map, found: Match) -> None:
    """Check what holds of every answer."""
    pieces = town.region.pieces
    for chain in found.chains:
        assert (chain.from_m >= -1e-6).all()
        assert (chain.to_m <= pieces.length_m[chain.piece] + 1e-6).all()
        assert (chain.to_m > chain.from_m).all()
        assert np.all(np.diff(chain.point_m) >= 0)
        assert chain.point_m[-1] == pytest.approx(chain.length_m, abs=1.0)
        for k in range(len(chain.piece) - 1):
            p, q = int(chain.piece[k]), int(chain.piece[k + 1])
            end = int(pieces.b[p] if chain.forward[k] else pieces.a[p])
            begin = int(pieces.a[q] if chain.forward[k + 1] else pieces.b[q])
            turned = p == q and chain.forward[k] != chain.forward[k + 1]
            assert end == begin or turned


@pytest.mark.parametrize("seed", range(12))
def test_the_answer_is_the_likeliest(tmp_path, seed):
    """The kernel's sequence costs exactly as much as the best that a plain search over every step finds with networkx.

    The ways on a drawn town of blocks, with noise of 15 m, an outlier, a wide gap and a part that begins anew.
    """
    if "blocks" not in TOWNS:
        plan = "A---B---C---D\n|   |   |   |\nE---F---G---H\n|   |   |   |\nI---J---K---L"
        ways = {
            "ABCD": ROAD,
            "EFGH": ROAD,
            "IJKL": ROAD,
            "AEI": ROAD,
            "BFJ": f"{ROAD} oneway=yes",
            "CGK": ROAD,
            "DHL": f"{ROAD} oneway=-1",
        }
        TOWNS["blocks"] = drawn(plan, ways, tmp_path, grid_m=60)
    town = TOWNS["blocks"]
    graph = derive_graph(town.region)
    rng = np.random.default_rng(seed)
    way = wander(town.region, graph, 1200, seed)
    track = record(town.region, way, 4.0, 15.0, seed).track
    lat = track.lat.copy()
    lat[5] += 120 / METRES_A_DEGREE
    keep = np.ones(len(lat), bool)
    keep[9:13] = False
    part = (np.arange(len(lat)) > 15).astype(int)
    noisy = Track.of(track.lon[keep], lat[keep], track.time_s[keep] if rng.random() < 0.7 else None, part[keep])
    model = Model(noise_m=12, thin_noises=float(rng.choice([0.5, 2.0])))
    setup = set_up(town.region, noisy, model, graph)
    for kernel in filter(None, (decode, compiled())):
        _, chosen, how, before, *_ = kernel(*setup.inputs)
        reference = Likeliest(graph, setup.inputs)
        assert reference.price(chosen, how, before) == pytest.approx(reference.least(), abs=1e-6)


def test_candidates_are_those_of_the_index_of_pieces(tmp_path):
    """Distances and places along the piece agree with the index that joins spots to the roads, an independent piece of code."""
    town = drawn(TOWN, STREETS, tmp_path)
    rng = np.random.default_rng(3)
    lon, lat = rng.uniform(7.999, 8.023, 200), rng.uniform(49.996, 50.001, 200)
    grid = RoadGrid(town.region.pieces, derive_graph(town.region), lon, lat, 120)
    near = grid.near(lon, lat, 120, 16)
    index = PieceIndex(town.region.pieces, np.arange(len(town.region.pieces.way)))
    for k in range(200):
        rows = slice(int(near.ptr[k]), int(near.ptr[k + 1]))
        other = index.near(float(lon[k]), float(lat[k]), 120)
        ours, theirs = np.argsort(near.piece[rows]), np.argsort(other.piece)
        assert near.piece[rows][ours].tolist() == other.piece[theirs].tolist()
        assert near.distance_m[rows][ours] == pytest.approx(other.distance_m[theirs], abs=0.05)
        assert near.along_m[rows][ours] == pytest.approx(other.along_m[theirs], abs=0.2)


def test_points_of_a_standing_recorder_are_averaged():
    """A cloud of points becomes its mean, in place and time; points further apart stay."""
    track = Track.of([8.0, 8.0001, 8.00005, 8.01, 8.02], [50.0] * 5, [0, 10, 20, 30, 40])
    lon, lat, time_s, weight, part = thin_points(track, 30)
    assert weight.tolist() == [3, 1, 1]
    assert lon.tolist() == pytest.approx([8.00005, 8.01, 8.02])
    assert time_s.tolist() == pytest.approx([10, 30, 40])
    assert lat.tolist() == pytest.approx([50.0] * 3)
    assert part.tolist() == [0, 0, 0]
    assert len(thin_points(track, 0.0)[0]) == 5


def test_too_many_gaps_are_not_followed(tmp_path, monkeypatch):
    """A record that would take an endless search is given up with one line."""
    from tripplan.roads import match as module

    town = drawn(TOWN, STREETS, tmp_path)
    monkeypatch.setattr(module, "_WORK", 0)
    monkeypatch.setattr(module, "_WORK_A_POINT", 0)
    with pytest.raises(BadInputError, match="too many gaps"):
        match(town.region, walked(town, "ABEFG"), EXACT)
    with pytest.raises(BadInputError, match="5 of 5 steps are longer than 2 km"):
        match(town.region, Track.of([8.0, 8.2, 8.0, 8.2, 8.0, 8.2], [50.0] * 6))


def test_a_prepared_graph_is_the_same(tmp_path):
    """The graph that is read from its file gives the same roads; a spoilt file is made anew."""
    town = drawn(TOWN, STREETS, tmp_path)
    cache = tmp_path / "cache"
    first = match(town.region, walked(town, "ABEFG"), EXACT, cache=cache)
    (file,) = cache.iterdir()
    again = match(town.region, walked(town, "ABEFG"), EXACT, cache=cache)
    assert letters(town, again) == letters(town, first)
    file.write_bytes(b"spoilt")
    assert np.array_equal(open_graph(town.region, cache=cache).head, derive_graph(town.region).head)
    assert right_m(again.chains[0].runs(), first)[0] == pytest.approx(first.chains[0].length_m)
