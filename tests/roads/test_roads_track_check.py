"""The check of a recorded track: what is told of its roads, its speeds, and of what could not be told."""

from __future__ import annotations

import json
from datetime import date

import numpy as np
import pytest
from helpers.recorded import METRES_A_DEGREE, random_legs, record
from helpers.towing import CAR, ROAD, VAN, Map, drawn
from test_roads_match import walked
from test_roads_match_real import every_road

from tripplan.model.errors import BadInputError
from tripplan.model.track import Track
from tripplan.model.words import Ruling
from tripplan.region.build import build
from tripplan.report.check_json import check_json
from tripplan.report.check_words import found_words
from tripplan.roads.check import check
from tripplan.roads.closures import ClosureSet
from tripplan.roads.match import match
from tripplan.roads.over_limit import legal_limits, too_fast
from tripplan.roads.terms import Terms, terms_every_road
from tripplan.roads.track_check import TrackCheck, check_track

PASS = "A--P------Q--B\n" + 10 * "   |      |\n" + "   R------S"
WAYS = {"AP": ROAD, "QB": ROAD, "PR": ROAD, "RS": ROAD, "SQ": ROAD}


def checked(folder, tags: str, path: str = "APQB", *, kmh: float = 50.0, nodes=None, **more) -> tuple[Map, TrackCheck]:
    """Check a track on the map with the given tags on the pass."""
    drawing = drawn(PASS, {**WAYS, "PQ": tags}, folder, nodes=nodes)
    return drawing, check_track(drawing.region, walked(drawing, path, kmh=kmh), Terms(VAN), **more)


def test_gravel_that_was_driven(tmp_path):
    """The gravel pass is one line with its place along the track, length, name and reason; the way round has none."""
    _, result = checked(tmp_path, "highway=secondary surface=gravel name=Pass ref=R7", nodes={"P": "place=village name=Upper"})
    assert result.forbidden
    (stretch,) = result.stretches
    assert (stretch.kind, stretch.name, stretch.ref, stretch.town) == ("unsealed", "Pass", "R7", "Upper")
    assert stretch.from_m == pytest.approx(300, abs=2)
    assert stretch.length_m == pytest.approx(700, abs=2)
    assert result.length_m == pytest.approx(1300, abs=2)
    assert result.told_m == pytest.approx(1300, abs=2)
    _, around = checked(tmp_path, "highway=secondary surface=gravel", "APRSQB")
    assert not around.forbidden
    assert around.stretches == ()


@pytest.mark.parametrize(
    ("tags", "kind", "forbidden", "why"),
    [
        (f"{ROAD} maxheight=2.5", "closed", True, "height limit 2.5 m"), (f"{ROAD} caravan=no", "closed", True, "closed to the outfit"),
        (f"{ROAD} motor_vehicle=no", "closed", True, "closed to the outfit"), (f"{ROAD} access=private", "closed", True, "closed to the outfit"),
        (f"{ROAD} access=destination", "closed", True, "only for those who stop there"), ("highway=secondary", "unknown", True, "surface unknown"),
        ("highway=track tracktype=grade4", "unsealed", True, "unsealed"),
    ],
)  # fmt: skip
def test_kinds(tmp_path, tags, kind, forbidden, why):
    """Each reason that bars the outfit is told, roads closed to cars among them."""
    _, result = checked(tmp_path, tags)
    (stretch,) = result.stretches
    assert (stretch.kind, stretch.forbidden) == (kind, forbidden)
    assert any(why in text for text in stretch.why)


def test_closed_on_the_day(tmp_path):
    """A closure in force on the day of the track is told; on another day it is not."""
    drawing = drawn(PASS, {**WAYS, "PQ": ROAD}, tmp_path)
    way = int(np.flatnonzero(drawing.region.ways.osm_id == drawing.drawing.way_id["PQ"])[0])
    track = walked(drawing, "APQB")
    assert check_track(drawing.region, track, Terms(VAN), ClosureSet((0,), (way,))).forbidden
    assert not check_track(drawing.region, track, Terms(VAN), ClosureSet((0,), ())).forbidden


def test_the_same_as_way_points(tmp_path):
    """Over the same way the track and its way-points give the same list."""
    ways = {**WAYS, "PQ": "highway=secondary surface=gravel", "RS": "highway=residential", "SQ": f"{ROAD} maxweight=3"}
    drawing = drawn(PASS, ways, tmp_path)
    terms = Terms(VAN)
    for path, spots in (("APQB", ["A", "PQ", "B"]), ("APRSQB", ["A", "R", "RS", "S", "B"])):
        told = check_track(drawing.region, walked(drawing, path), terms).stretches
        asked = check(drawing.region, [drawing.spot(s) for s in spots], terms_every_road(terms), terms).stretches
        assert {(s.kind, s.why, s.osm_way) for s in told} == {(s.kind, s.why, s.osm_way) for s in asked}
        assert sum(s.length_m for s in told) == pytest.approx(sum(s.length_m for s in asked), abs=3)


def test_speed_over_the_limit(tmp_path):
    """At 100 km/h where the outfit may do 80 the whole is over the limit; at 78 nothing is; without times nothing is judged."""
    fast = checked(tmp_path, ROAD, "APRSQB", kmh=100)[1]
    (stretch,) = fast.stretches
    assert (stretch.kind, stretch.forbidden) == ("too fast", True)
    assert stretch.length_m > 2800
    assert float(stretch.why[0].split()[0]) == pytest.approx(100, abs=2.5)  # straight steps cut the corners a little
    assert "80 km/h allowed (outfit limit)" in stretch.why[0]
    assert checked(tmp_path, ROAD, "APRSQB", kmh=78)[1].stretches == ()
    drawing, _ = checked(tmp_path, ROAD, "APRSQB")
    bare = walked(drawing, "APRSQB", kmh=100)
    silent = check_track(drawing.region, Track.of(bare.lon, bare.lat), Terms(VAN))
    assert not silent.timed
    assert silent.stretches == ()


def test_a_burst_of_speed(tmp_path):
    """Half a minute too fast in a slow drive is found where it was."""
    road = drawn("A" + 60 * "-" + "B", {"AB": ROAD}, tmp_path)
    track = walked(road, "AB", 20, kmh=60)
    time = track.time_s.copy()
    step = np.diff(time)
    step[120:160] *= 60 / 115
    time[1:] = time[0] + np.cumsum(step)
    result = check_track(road.region, Track.of(track.lon, track.lat, time), Terms(VAN))
    (stretch,) = result.stretches
    assert stretch.kind == "too fast"
    assert stretch.from_m == pytest.approx(120 * 20, abs=350)
    assert stretch.from_m + stretch.length_m == pytest.approx(160 * 20, abs=350)


def test_noise_is_no_speeding(tmp_path):
    """Two thousand noisy points at 95 % of the limit are never called too fast."""
    road = drawn("A" + 300 * "-" + "B", {"AB": ROAD}, tmp_path)
    for seed, sigma in enumerate((5, 10, 20)):
        rng = np.random.default_rng(seed)
        track = walked(road, "AB", 21, kmh=76)
        lon = track.lon + rng.normal(0, sigma, len(track.lon)) / METRES_A_DEGREE / np.cos(np.radians(50))
        lat = track.lat + rng.normal(0, sigma, len(track.lat)) / METRES_A_DEGREE
        assert check_track(road.region, Track.of(lon, lat, track.time_s), Terms(VAN)).stretches == ()


def test_limits_in_force(tmp_path):
    """The lowest of outfit, posted and posted for trailers counts; a class default is no limit, and a ferry has none."""
    ways = {
        "AP": f"{ROAD} maxspeed=50", "QB": f"{ROAD} maxspeed=100 maxspeed:trailer=60", "PR": "highway=living_street surface=asphalt", "RS": "route=ferry",
        "SQ": f"{ROAD} maxspeed=130",
    }  # fmt: skip
    drawing = drawn(PASS, ways, tmp_path)
    rows = [int(np.flatnonzero(drawing.region.ways.osm_id == drawing.drawing.way_id[w])[0]) for w in ways]
    fwd, bwd, ruling, _ = legal_limits(drawing.region, Terms(VAN), np.array(rows))
    assert fwd.tolist() == [50, 60, 80, np.inf, 80]
    assert bwd.tolist() == fwd.tolist()
    assert [list(Ruling)[r] for r in ruling[:3]] == [Ruling.POSTED, Ruling.POSTED_TRAILER, Ruling.OUTFIT]


def test_times_that_run_backwards(tmp_path):
    """Where times run backwards no speed is judged, and on either side it is."""
    road = drawn("A" + 60 * "-" + "B", {"AB": ROAD}, tmp_path)
    track = walked(road, "AB", 20, kmh=60)
    time = track.time_s.copy()
    time[150:] -= 500
    assert check_track(road.region, Track.of(track.lon, track.lat, time), Terms(VAN)).stretches == ()
    fast = track.time_s[0] + (time - time[0]) / 2
    result = check_track(road.region, Track.of(track.lon, track.lat, fast), Terms(VAN))
    assert [s.kind for s in result.stretches] == ["too fast", "too fast"]


def test_a_hole_in_the_record_accuses_nobody(tmp_path):
    """Gravel inside a hole of 4 km is named as not seen and not forbidden; with points on it it is forbidden."""
    plan = "A----B" + 40 * "-" + "C----D"
    town = drawn(plan, {"AB": ROAD, "BC": "highway=secondary surface=gravel", "CD": ROAD}, tmp_path)
    whole = walked(town, "ABCD")
    seen = (whole.lon < town.drawing.at["B"][0]) | (whole.lon > town.drawing.at["C"][0])
    result = check_track(town.region, Track.of(whole.lon[seen], whole.lat[seen], whole.time_s[seen]), Terms(VAN))
    (stretch,) = result.stretches
    assert (stretch.kind, stretch.forbidden) == ("not seen", False)
    assert stretch.why[0].startswith("nothing is recorded over 4.")
    assert not result.forbidden
    assert check_track(town.region, whole, Terms(VAN)).forbidden


def test_off_the_map_is_listed_and_counted(tmp_path):
    """A field that was crossed is listed with its length, and what comes after it keeps its kilometre."""
    plan = "A----B----------C----D"
    town = drawn(plan, {"AB": ROAD, "CD": "highway=secondary surface=gravel"}, tmp_path)
    result = check_track(town.region, walked(town, "ABCD"), Terms(VAN))
    off, gravel = result.stretches
    assert (off.kind, off.forbidden, off.why) == ("off the map", False, ("no road of the map runs here",))
    assert off.length_m == pytest.approx(1100, abs=100)
    assert gravel.from_m == pytest.approx(1600, abs=80)
    assert result.length_m == pytest.approx(2100, abs=80)
    assert result.told_m == pytest.approx(1000, abs=100)


def test_a_pause_of_the_recorder(tmp_path):
    """Between two parts of a record that lie apart the list says that the record stops."""
    town = drawn("A----B----------C----D", {"ABCD": ROAD}, tmp_path)
    one, two = walked(town, "AB"), walked(town, "CD")
    part = np.repeat([0, 1], [len(one.lon), len(two.lon)])
    result = check_track(town.region, Track.of(np.append(one.lon, two.lon), np.append(one.lat, two.lat), None, part), Terms(VAN))
    (gap,) = result.stretches
    assert (gap.kind, gap.why) == ("off the map", ("the record stops here and goes on further on",))
    assert gap.length_m == pytest.approx(1100, abs=20)


def test_a_track_elsewhere(tmp_path):
    """A track far from the region is bad input in one line."""
    town = drawn("A----B", {"AB": ROAD}, tmp_path)
    with pytest.raises(BadInputError, match="take the region that the track lies in"):
        check_track(town.region, Track.of([28.0, 28.1], [51.0, 51.0]), Terms(VAN))


@pytest.mark.extract
def test_noise_in_a_real_country_is_no_speeding(extracts):
    """On real roads with bends and crossings, synthetic drives at no more than 95 % of the limit have next to nothing too fast."""
    region = build(extracts / "liechtenstein-20240304.osm.pbf", name="li")
    network = every_road(region)
    metres = wrong = 0.0
    terms = Terms(VAN, country="LI")
    for seed, leg in enumerate(random_legs(region, network, 8, seed=6)):
        rows = region.pieces.way[np.asarray(leg.piece)].astype(np.int64)
        fwd, bwd, *_ = legal_limits(region, terms, rows)
        limit = np.where(np.asarray(leg.forward), fwd, bwd)
        length = np.asarray(leg.to_m) - np.asarray(leg.from_m)
        slow = type(leg)(leg.piece, leg.forward, leg.from_m, leg.to_m, tuple((length * 3.6 / (0.95 * limit)).tolist()))
        track = record(region, slow, 5, 10, seed).track
        found = match(region, track)
        wrong += sum(part.to_m - part.from_m for chain in found.chains for part in too_fast(region, terms, chain, found))
        metres += float(length.sum())
    assert wrong < 0.01 * metres


@pytest.mark.parametrize(("tags", "path", "found"), [
    ("oneway=yes", "APQB", False), ("oneway=-1", "APQB", True), ("oneway=yes", "BQPA", True), ("oneway=no", "BQPA", False),
])  # fmt: skip
def test_against_the_one_way(tmp_path, tags, path, found):
    """A one-way road driven the wrong way is told under its own word, with its length and no hole in the record; the right way is not."""
    drawing, result = checked(tmp_path, f"{ROAD} {tags} name=Pass", path)
    assert result.told_m == pytest.approx(1300, abs=5)
    if not found:
        assert result.stretches == ()
        return
    (stretch,) = result.stretches
    assert (stretch.kind, stretch.forbidden, stretch.name) == ("against the one-way", True, "Pass")
    assert stretch.length_m == pytest.approx(700, abs=40)
    assert stretch.from_m == pytest.approx(300, abs=20)
    plain = check_track(drawing.region, walked(drawing, path), Terms(VAN), engine="plain")
    assert repr(plain.stretches) == repr(result.stretches)


def test_against_a_short_one_way_is_a_caution(tmp_path):
    """Over 150 m with two points on it noise may be the reason: listed, not forbidden. 40 m of it are no matter at all."""
    for metres, step_m, kinds in ((150, 60, [("against the one-way", False)]), (40, 10, [])):
        plan = "A" + 39 * "-" + "B" + "-" * (metres // 10 - 1) + "C" + 39 * "-" + "D"
        town = drawn(plan, {"AB": ROAD, "BC": f"{ROAD} oneway=-1", "CD": ROAD}, tmp_path, grid_m=10)
        result = check_track(town.region, walked(town, "ABCD", step_m), Terms(VAN))
        assert [(s.kind, s.forbidden) for s in result.stretches if s.kind != "off the map"] == kinds
        assert all("noise of the record may explain it" in s.why[0] for s in result.stretches if kinds)


def test_slow_driving_backwards_is_seen_too(tmp_path):
    """Points a few metres apart against a one-way road are no noise of somebody who stands."""
    _, result = checked(tmp_path, f"{ROAD} oneway=-1", "APQB", kmh=12)
    assert [(s.kind, s.forbidden) for s in result.stretches] == [("against the one-way", True)]


def test_noise_beside_a_one_way_accuses_nobody(tmp_path):
    """On the right one of two one-way carriageways 15 m apart nothing is told, at any noise that recorders have."""
    plan = "A" + 99 * "-" + "B\nC" + 99 * "-" + "D"
    town = drawn(plan, {"AB": f"{ROAD} oneway=-1", "CD": f"{ROAD} oneway=yes"}, tmp_path, grid_m=15)
    for seed in range(6):
        rng = np.random.default_rng(seed)
        track = walked(town, "CD", 15, kmh=60)
        sigma = (5, 10, 20)[seed % 3]
        lon = track.lon + rng.normal(0, sigma, len(track.lon)) / METRES_A_DEGREE / np.cos(np.radians(50))
        lat = track.lat + rng.normal(0, sigma, len(track.lat)) / METRES_A_DEGREE
        assert check_track(town.region, Track.of(lon, lat, track.time_s), Terms(VAN)).stretches == ()


TURNING = "A------X------B\n" + 6 * "       |\n" + "       C"
BARRED = [({"type": "restriction", "restriction": "no_right_turn"}, [("from", "AX"), ("via", "X"), ("to", "XC")])]


@pytest.mark.parametrize(("path", "tags", "found"), [
    ("AXC", {}, [True]), ("AXB", {}, []), ("BXC", {}, []), ("CXA", {}, []), ("AXC", {"except": "motorcar"}, []),
    ("AXC", {"restriction": "only_straight_on"}, []), ("AXB", {"restriction": "only_right_turn"}, [True]),
    ("AXC", {"restriction": "", "restriction:hgv": "no_right_turn"}, []),
    ("AXC", {"restriction": "", "restriction:conditional": "no_right_turn @ (07:00-09:00)"}, [False]),
])  # fmt: skip
def test_turns_that_must_not_be_made(tmp_path, path, tags, found):
    """A turn that a restriction bars is forbidden when points on both roads show it; one that holds at times is to be looked up."""
    tags = {key: value for key, value in {**BARRED[0][0], **tags}.items() if value}
    town = drawn(TURNING, {"AX": ROAD, "XB": ROAD, "XC": ROAD}, tmp_path, relations=[(tags, BARRED[0][1])])
    result = check_track(town.region, walked(town, path), Terms(VAN))
    assert [(s.kind, s.forbidden) for s in result.stretches] == [("turn", forbidden) for forbidden in found]
    for stretch in result.stretches:
        assert (stretch.from_m, stretch.length_m) == (pytest.approx(700, abs=2), 0)
        assert f"relation {town.drawing.relation_id[0]}" in stretch.why[0]


def test_a_turn_that_noise_explains_is_a_caution(tmp_path):
    """With points no nearer to the junction than the noise the turn is listed and not forbidden; in a hole it is not listed."""
    town = drawn(TURNING, {"AX": ROAD, "XB": ROAD, "XC": ROAD}, tmp_path, relations=BARRED)
    whole = walked(town, "AXC")
    y, metre = town.drawing.at["X"][1], 1 / METRES_A_DEGREE
    near = np.abs(whole.lat - y) < 40 * metre
    some = Track.of(whole.lon[near], whole.lat[near], whole.time_s[near])  # it ends 40 m after the turn
    (stretch,) = check_track(town.region, some, Terms(VAN)).stretches
    assert (stretch.kind, stretch.forbidden) == ("turn", False)
    assert "the noise of the record may explain it" in stretch.why[0]


@pytest.mark.extract
def test_lawful_drives_in_a_real_town_break_no_turn(extracts):
    """Synthetic drives that keep every rule are never accused of a turn or a one-way road, at 5 to 20 m of noise."""
    region = build(extracts / "malta-20180827.osm.pbf", name="malta")
    network = every_road(region)
    terms = Terms(CAR, van=False, surfaces="any", country="MT")
    for seed, leg in enumerate(random_legs(region, network, 8, seed=12)):
        for sigma, every in ((5, 1), (10, 1), (10, 10), (20, 5)):
            result = check_track(region, record(region, leg, every, sigma, seed).track, terms)
            assert not any(s.forbidden for s in result.stretches if s.kind in ("turn", "against the one-way"))


def test_what_was_over_the_limit_is_summed(tmp_path):
    """Two bursts are summed in km and seconds, with the most over; a slow drive sums to nothing."""
    road = drawn("A" + 120 * "-" + "B", {"AB": ROAD}, tmp_path)
    track = walked(road, "AB", 20, kmh=60)
    step = np.diff(track.time_s)
    step[100:150] *= 60 / 100
    step[400:450] *= 60 / 120
    time = track.time_s[0] + np.concatenate(([0.0], np.cumsum(step)))
    result = check_track(road.region, Track.of(track.lon, track.lat, time), Terms(VAN))
    over = result.over_limit
    fast = [s for s in result.stretches if s.kind == "too fast"]
    assert over.stretches == len(fast) == 2
    assert over.length_m == pytest.approx(sum(s.length_m for s in fast))
    assert 1800 < over.length_m < 2700  # driven so: 2,000 m
    assert over.seconds == pytest.approx(over.length_m / 1000 / 100 * 3600, rel=0.25)
    assert over.most_kmh == pytest.approx(40, abs=6)  # 120 where 80 are allowed, noise taken off
    assert over.at_m == pytest.approx(fast[1].from_m)
    (line,) = [line for line in found_words(result) if line.startswith("Over the towing limit")]
    assert f"{over.length_m / 1000:.1f} km" in line
    assert "in 2 stretches" in line
    told = json.loads(check_json(result, road.region, VAN, date(2027, 2, 6)))["over_limit"]
    assert told["seconds"] == round(over.seconds)
    slow = check_track(road.region, track, Terms(VAN))
    assert slow.over_limit.stretches == 0
    assert not any("Over the towing limit" in line for line in found_words(slow))


def test_times_that_stand_still_judge_no_speed(tmp_path):
    """All times equal: speeds are not judged, and that is said."""
    drawing = drawn(PASS, {**WAYS, "PQ": ROAD}, tmp_path)
    track = walked(drawing, "APQB")
    result = check_track(drawing.region, Track.of(track.lon, track.lat, np.full(len(track.lon), 1.8e9)), Terms(VAN))
    assert not result.timed
    assert any("no times that go on: speeds are not judged" in line for line in found_words(result))
    assert json.loads(check_json(result, drawing.region, VAN, date(2027, 2, 6)))["over_limit"] is None


def test_tolls_of_a_track(tmp_path):
    """A toll road that was driven is told with its place; without a toll there is none, and none is a reason to forbid."""
    _, paid = checked(tmp_path, f"{ROAD} toll=yes name=Pass")
    (toll,) = paid.tolls
    assert not paid.forbidden
    assert toll.name == "Pass"
    assert (toll.from_m, toll.length_m) == (pytest.approx(300, abs=5), pytest.approx(700, abs=5))
    assert checked(tmp_path, ROAD)[1].tolls == ()


def dual(folder, apart_m: float) -> Map:
    """Draw two carriageways of 4 km, PQ leading east and SR leading west, so many metres apart, between two-way ends."""
    length = round(8000 / apart_m)
    plan = f"A--P{'-' * length}Q--B\n   |{' ' * length}|\n   R{'-' * length}S"
    ways = {
        "AP": ROAD,
        "QB": ROAD,
        "PQ": f"{ROAD} oneway=yes name=East",
        "SR": f"{ROAD} oneway=yes name=West",
        "RP": ROAD,
        "QS": ROAD,
    }
    return drawn(plan, ways, folder, grid_m=apart_m / 2)


def noisy(track: Track, sigma_m: float, seed: int) -> Track:
    """Return a track with noise added."""
    rng = np.random.default_rng(seed)
    lon = track.lon + rng.normal(0, sigma_m, len(track.lon)) / METRES_A_DEGREE / np.cos(np.radians(50))
    lat = track.lat + rng.normal(0, sigma_m, len(track.lat)) / METRES_A_DEGREE
    return Track.of(lon, lat, track.time_s)


@pytest.mark.parametrize(("apart_m", "sigma_m", "clear"), [(20, 5, True), (20, 10, True), (40, 10, True), (10, 10, False)])
def test_the_wrong_carriageway(tmp_path, apart_m, sigma_m, clear):
    """Four km along the carriageway that leads the other way are told where the two lie apart, and accuse nobody where they do not."""
    road = dual(tmp_path, apart_m)
    for seed in range(4):
        wrong = check_track(road.region, noisy(walked(road, "APRSQB", 40), sigma_m, seed), Terms(VAN))
        said = [s for s in wrong.stretches if s.kind == "against the one-way"]
        assert wrong.forbidden is clear
        assert sum(s.length_m for s in said) == pytest.approx(4000 if clear else 0, abs=500)
        assert {s.name for s in said} == ({"West"} if clear else set())
        if not clear:
            unclear = sum(s.length_m for s in wrong.stretches if s.kind == "which carriageway")
            assert unclear + wrong.twins_untold_m > 3000
        right = check_track(road.region, noisy(walked(road, "APQB", 40), sigma_m, seed), Terms(VAN))
        assert right.stretches == ()


def test_a_receiver_that_is_off_accuses_nobody(tmp_path):
    """A record that lies five metres towards the other carriageway all along is not called the wrong way."""
    road = dual(tmp_path, 20)
    for side_m in (-5, 5):
        track = noisy(walked(road, "APQB", 40, side_m=side_m), 5, 1)
        assert not check_track(road.region, track, Terms(VAN)).forbidden


def test_carriageways_nearer_than_noise_are_told_as_such(tmp_path):
    """A lawful drive along carriageways 6 m apart with 20 m of noise: nothing forbidden, and a line says what is not told."""
    road = dual(tmp_path, 6)
    result = check_track(road.region, noisy(walked(road, "APQB", 200), 20, 1), Terms(VAN))
    assert not result.forbidden
    assert result.twins_untold_m > 2000
    assert any("nearer together than the noise" in line for line in found_words(result))
    assert json.loads(check_json(result, road.region, VAN, date(2027, 2, 6)))["carriageway_untold_m"] > 2000
