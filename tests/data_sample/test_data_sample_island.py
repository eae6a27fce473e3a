"""The invented island: drawn the same every time, sound as a map, and showing what it is there to show."""

from __future__ import annotations

import itertools
import sys
from collections import Counter
from collections.abc import Iterator
from datetime import date
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from tripplan.model.place import Spot
from tripplan.model.words import Offer, Surface
from tripplan.region.columns import HIGHWAYS
from tripplan.region.region import Region
from tripplan.request.trip_file import read_firm, read_outfit
from tripplan.roads.closures import closure_sets
from tripplan.roads.join import Joined, join
from tripplan.roads.network import open_network
from tripplan.roads.terms import terms_for_firm

SAMPLE = Path(__file__).resolve().parents[2] / "data_sample"
FILE = SAMPLE / "island.osm.pbf"


@pytest.fixture(scope="module")
def script() -> Iterator[Any]:
    """The script that draws the island."""
    before = list(sys.path)
    sys.path.insert(0, str(SAMPLE))
    import island

    yield island
    sys.path[:] = before


@pytest.fixture(scope="module")
def drawn(script: Any) -> Any:
    """The island, drawn anew."""
    return script.draw()


def content(path: Path) -> list[tuple[Any, ...]]:
    """Return everything that a map file holds, in order."""
    import osmium

    rows: list[tuple[Any, ...]] = []
    for thing in osmium.FileProcessor(str(path)):
        tags = dict(thing.tags)
        if thing.is_node():
            rows.append(("n", thing.id, round(thing.lon, 7), round(thing.lat, 7), tags))
        elif thing.is_way():
            rows.append(("w", thing.id, [node.ref for node in thing.nodes], tags))
        else:
            rows.append(("r", thing.id, [(m.type, m.ref, m.role) for m in thing.members], tags))
    return rows


# ------------------------------------------------------------------------------------------------- the file


def test_the_script_draws_the_committed_file(drawn: Any, script: Any, tmp_path: Path) -> None:
    """Ids, tags and coordinates of a new drawing are those of the file in the repository."""
    drawn.d.write(tmp_path / "again.osm.pbf", script.STAMP)
    assert content(tmp_path / "again.osm.pbf") == content(FILE)


def test_the_drawing_depends_on_nothing(drawn: Any, script: Any) -> None:
    """Drawn twice, it is the same to the last bit."""
    again = script.draw()
    assert again.d.xy == drawn.d.xy
    assert again.d.ways == drawn.d.ways
    assert again.d.relations == drawn.d.relations
    assert again.d.node_tags == drawn.d.node_tags


def test_the_file_is_small() -> None:
    """It travels inside the package."""
    assert FILE.stat().st_size < 3_000_000


def test_size_and_place(region: Region) -> None:
    """About 300 km by 120 km, in open ocean, of no country, in a zone that resolves."""
    west, south, east, north = region.meta.bbox
    assert 270 < (east - west) * 111.195 * np.cos(np.radians(43)) < 320
    assert 110 < (north - south) * 111.195 < 130
    assert -44 < south < north < -42
    assert (region.meta.country, region.meta.tz, region.meta.data_date) == ("", "Etc/GMT+2", "2026-01-15")
    assert region.meta.faults == {}


# ------------------------------------------------------------------------------------------------- sound as a map


def test_coast_has_land_on_its_left(drawn: Any) -> None:
    """Coastlines run anticlockwise round land, as the map's definition wants (wiki: Tag:natural=coastline)."""
    for shore in drawn.shores:
        area = sum(a[0] * b[1] - b[0] * a[1] for a, b in itertools.pairwise(shore))
        assert area > 0


def test_roads_meet_only_where_they_share_a_point(drawn: Any, script: Any) -> None:
    """No road crosses another without a junction, but for the bridge over the motorway; none lies in the sea."""
    import drawing

    d = drawn.d
    grid: dict[tuple[int, int], list[tuple[int, int, int]]] = {}
    crossings = []
    tags_of = {ref: tags for ref, _, tags in d.ways}
    for ref, refs, tags in d.ways:
        if "highway" not in tags:
            continue
        assert all(any(script._inside(d.xy[n], shore) for shore in drawn.shores) for n in refs), f"way {ref} is in the sea"
        for a, b in itertools.pairwise(refs):
            for cell in d._cells(d.xy[a], d.xy[b]):
                for c, e, other in grid.get(cell, ()):
                    if other != ref and not {a, b} & {c, e} and drawing._meet(d.xy[a], d.xy[b], d.xy[c], d.xy[e]):
                        crossings.append((ref, other))
                grid.setdefault(cell, []).append((a, b, ref))
    for pair in crossings:
        assert "yes" in {tags_of[ref].get("bridge") for ref in pair}, pair


def test_every_node_is_used_once_and_ways_are_lines(drawn: Any) -> None:
    """No way has two equal points in a row, and nothing points to a node that is not there."""
    for ref, refs, _ in drawn.d.ways:
        assert len(refs) >= 2
        assert all(a != b and drawn.d.xy[a] != drawn.d.xy[b] for a, b in itertools.pairwise(refs)), ref


def speeds(region: Region, classes: set[str]) -> tuple[np.ndarray[Any, Any], np.ndarray[Any, Any]]:
    """Return curve speeds [km/h] of every stretch of some classes, with its length."""
    values, lengths = [], []
    for row, way in enumerate(region.pieces.way):
        if HIGHWAYS[int(region.ways.highway[way])] in classes:
            start, end = int(region.pieces.ptr[row]), int(region.pieces.ptr[row + 1])
            values.append(region.pieces.curve_kmh[start : end - 1].astype(float))
            x = region.pieces.lon_e7[start:end] / 1e7 * np.cos(np.radians(43)) * 111.195
            y = region.pieces.lat_e7[start:end] / 1e7 * 111.195
            lengths.append(np.hypot(np.diff(x), np.diff(y)))
    return np.concatenate(values), np.concatenate(lengths)


def test_bends_are_those_of_real_roads(region: Region) -> None:
    """Coast roads can be towed at 85 nearly everywhere, hill roads are winding, and no main road has a hairpin below 30 km/h."""
    coast, coast_km = speeds(region, {"motorway", "trunk"})
    hills, hills_km = speeds(region, {"secondary"})
    assert coast_km[coast >= 85].sum() > 0.95 * coast_km.sum()
    assert 0.15 * hills_km.sum() < hills_km[hills < 80].sum() < 0.7 * hills_km.sum()
    assert hills_km[hills < 40].sum() < 0.01 * hills_km.sum()


# ------------------------------------------------------------------------------------------------- what it shows


def km_by(region: Region) -> Counter[tuple[str, Surface]]:
    """Return km of road by class and surface."""
    out: Counter[tuple[str, Surface]] = Counter()
    for row, way in enumerate(region.pieces.way):
        out[HIGHWAYS[int(region.ways.highway[way])], Surface(int(region.ways.surface[way]))] += region.pieces.length_m[row] / 1000
    return out


def test_surface_evidence_speaks_where_it_can(region: Region) -> None:
    """Untagged coast and hill roads are presumed sealed; tertiary ones are not, since gravel is among their class."""
    km = km_by(region)
    for name in ("trunk", "primary", "secondary"):
        assert km[name, Surface.PRESUMED] > 5
        assert km[name, Surface.UNKNOWN] == km[name, Surface.UNSEALED] == 0
    assert km["tertiary", Surface.UNSEALED] > 80
    assert km["tertiary", Surface.UNKNOWN] > 3
    assert km["tertiary", Surface.PRESUMED] == 0
    assert km["service", Surface.UNKNOWN] > 50
    assert sum(v for (name, _), v in km.items() if name != "ferry") > 1900


def test_places_of_all_kinds(region: Region) -> None:
    """Some sixty sites, of which some admit no van; dump stations with and without grey; gas, autogas, water, sights."""
    sites = [p for p in region.places if p.role == "site"]
    services = [p for p in region.places if p.role == "service"]
    admits = Counter(p.admits for p in sites)
    assert 55 <= len(sites) <= 70
    assert admits[Offer.NO] >= 10
    assert admits[Offer.UNKNOWN] >= 1
    assert admits[Offer.YES] >= 15
    assert admits[Offer.PRESUMED] >= 15
    dumps = [p for p in services if p.offer("cassette").answer == Offer.YES]
    assert Counter(p.offer("grey").answer for p in dumps) == {Offer.YES: 8, Offer.NO: 2, Offer.UNKNOWN: 1}
    assert sum(p.only_guests for p in dumps) == 1
    gas = [p for p in services if p.offer("gas").answer == Offer.YES]
    assert len(gas) == 5
    assert sum(bool(p.hours) for p in gas) == 4
    assert sum(p.offer("gas").answer == Offer.NO for p in services) == 4  # pumps for autogas
    assert sum(p.offer("fresh").answer == Offer.YES for p in services) >= 10
    assert sum(p.role == "sight" for p in region.places) >= 20
    assert any(p.longest_stay_nights for p in sites)
    assert any(p.hours for p in sites)
    assert {p.pets for p in sites} == set(Offer) - {Offer.PRESUMED}
    assert len(region.turns.osm_id) >= 25
    assert any(len(region.turns.pieces[a:b]) > 2 for a, b in zip(region.turns.ptr, region.turns.ptr[1:], strict=False))


def test_names_are_unique_but_for_one(region: Region) -> None:
    """One name is there twice, to show how two places are told apart; every place and town has a name."""
    towns = Counter(region.string(int(n)) for n in region.towns.name)
    assert {name for name, count in towns.items() if count > 1} == {"Saltgrass"}
    assert all(p.name for p in region.places)
    assert max(Counter(p.name for p in region.places).values()) == 1
    kinds = Counter(region.string(int(k)) for k in region.towns.kind)
    assert kinds["city"] + kinds["town"] + kinds["village"] >= 15


def joined(region: Region, day: date, van: bool = True) -> tuple[Joined, dict[str, int]]:
    """Return all places joined to the network of the sample outfit, or of the car alone."""
    from dataclasses import replace

    firm = read_firm(SAMPLE / "firm.toml")
    outfit = read_outfit(SAMPLE / "outfits" / "estate_and_four_berth.toml", firm)
    terms = terms_for_firm(outfit, firm, region, (day,))
    if not van:
        car = replace(outfit, towing=False, mass_kg=2050.0, van_mass_kg=0.0, height_m=1.7, width_m=1.9, length_m=4.7)
        terms = replace(terms, outfit=car, van=False, surfaces="any")
    spots = [Spot(p.name, p.name, p.lon, p.lat, p.index) for p in region.places]
    return join(open_network(region, terms, closure_sets(region, (day,))[0]), spots), {s.name: i for i, s in enumerate(spots)}


@pytest.fixture(scope="module")
def summer(region: Region) -> tuple[Joined, dict[str, int]]:
    """Towing in February."""
    return joined(region, date(2026, 2, 3))


def test_two_thirds_of_the_services_stand_on_sealed_lanes(region: Region, script: Any) -> None:
    """Those a van may stop at; the lanes of the others say nothing of their surface, so that a plan leaves them to the car."""
    useful = [p.name for p in region.places if p.role == "service" and any(f.answer == Offer.YES for f in p.offers.values())]
    sealed = [name for name in useful if name in script.tables.SEALED_LANES]
    assert 0.6 <= len(sealed) / len(useful) <= 0.75
    every = {row[0] for row in (*script.tables.SERVICES, *script.tables.SIGHTS)}
    assert every >= script.tables.SEALED_LANES


@pytest.fixture(scope="module")
def by_car(region: Region) -> tuple[Joined, dict[str, int]]:
    """The car alone in February."""
    return joined(region, date(2026, 2, 3), van=False)


def km_and_tags(region: Region, way: tuple[Joined, dict[str, int]], start: str, end: str) -> tuple[float, set[str]]:
    """Return the length of a way [km] and the names of the roads it takes."""
    leg = way[0].route(way[1][start], way[1][end])
    return leg.length_m / 1000, {region.string(int(region.ways.name[region.pieces.way[p]])) for p in leg.runs.piece}


def test_the_gravel_pass_tempts_and_is_not_taken(region: Region, summer: Any, by_car: Any) -> None:
    """By car the pass is the way; with the van it is three times as far, round by sealed roads."""
    short, over = km_and_tags(region, by_car, "Brackenfirth Fold", "Wrennick Green")
    long, round_ = km_and_tags(region, summer, "Brackenfirth Fold", "Wrennick Green")
    assert "Sallow Pass Road" in over
    assert "Sallow Pass Road" not in round_
    assert 2.5 * short < long < 4 * short


@pytest.mark.parametrize(
    ("start", "end", "way_round"),
    [("Dunmorra Green", "Quillan Sands", "Millrace Road"), ("Wrennick Green", "Lothmere Park", "Upper Ford Road")],
    ids=["low arch", "weak bridge"],
)
def test_low_and_weak_bridges_are_driven_round(
    region: Region, summer: Any, by_car: Any, start: str, end: str, way_round: str
) -> None:
    """The car passes the arch (2.3 m) and the bridge (3 t); the outfit takes the road that avoids them."""
    direct, by = km_and_tags(region, by_car, start, end)
    round_, taken = km_and_tags(region, summer, start, end)
    assert way_round in taken
    assert way_round not in by
    assert direct < round_ < direct + 12


def test_the_saddle_is_closed_in_winter(region: Region, summer: Any) -> None:
    """The same drive is four times as far in July, when the pass is shut."""
    open_km, taken = km_and_tags(region, summer, "Orrin Bend", "Corra Head")
    shut_km, others = km_and_tags(region, joined(region, date(2026, 7, 3)), "Orrin Bend", "Corra Head")
    assert "Merrow Saddle" in taken
    assert "Merrow Saddle" not in others
    assert shut_km > 3.5 * open_km


def test_the_ferry_is_the_only_way_to_the_isle(summer: Any) -> None:
    """Forty minutes of crossing and the wait before it."""
    way, row = summer
    leg = way.route(row["Ebber Quayside"], row["Isle Common"])
    assert leg.ferry_s >= 40 * 60
    assert leg.drive_s < 3600


def test_what_the_van_cannot_reach_says_why(summer: Any, by_car: Any) -> None:
    """Behind gravel, behind an unknown surface, behind a sign: each says which. The car reaches them all."""
    way, row = summer
    reasons = {name: way.why_not[i] for name, i in row.items() if not way.reached[i]}
    assert "surface=gravel" in reasons["Sallow Camp"]
    assert "surface=gravel" in reasons["Dray Bottom"]
    assert "surface=gravel" in reasons["Slate Valley Camp"]
    assert "unknown surface" in reasons["East Head Field"]
    assert "trailer=no" in reasons["Narrow Glen Falls"]
    assert 8 <= len(reasons) <= 14
    assert by_car[0].reached.all()


def test_a_stretch_without_a_dump_station(region: Region, summer: Any) -> None:
    """From Kelder to Wrennick every dump station is more than an hour's tow away."""
    way, row = summer
    dumps = [row[p.name] for p in region.places if p.offer("cassette").answer >= Offer.PRESUMED and way.reached[row[p.name]]]
    hours = way.matrix().total_s / 3600
    for name in ("Kelder Wood", "Ebber Quayside", "Sund Marsh", "Corra Head", "Gull Point", "Teasel Common", "Isle Common"):
        nearest = min(
            float(hours[row[name], dump])
            for dump in dumps
            if not region.places[dump].only_guests or region.places[dump].role == "site"
        )
        assert nearest > 0.8, f"{name}: {nearest:.2f} h"


def test_tolls(summer: Any) -> None:
    """The motorway takes a toll where it is driven."""
    way, row = summer
    assert way.route(row["Marrendal Dump Station"], row["Cape Tarn Camp"]).tolls in (0, 1)
    from_town = way.route(row["Hythe Water"], row["Fennoway Lawns"])
    assert from_town.tolls == 1
