"""Loops worth offering: values of sights, the choice of candidates, themes, and the search against trying everything."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from itertools import combinations
from math import ceil
from pathlib import Path

import pytest
from helpers.toytrips import REGION, brute_force, toy_trip

from tripplan.model.choice import LeftOut
from tripplan.model.errors import NoPlanError
from tripplan.model.place import Spot
from tripplan.model.plan import Plan
from tripplan.model.trip import Trip
from tripplan.region.region import Region
from tripplan.request.trip_file import load_trip
from tripplan.schedule.assemble import assemble
from tripplan.schedule.choices import MOST_SHARED, shared_nights
from tripplan.schedule.plan import best_path, make_plan
from tripplan.schedule.suggest import THEMES, Suggestion, Theme, suggestions
from tripplan.schedule.suggest_sights import MOST_BITS, pick, with_sights
from tripplan.schedule.suggest_values import ASKED_CENTS, Listed, Valued, value_sights
from tripplan.schedule.work import Work

SAMPLE = Path(__file__).resolve().parents[2] / "data_sample"
BY_KEY = {theme.key: theme for theme in THEMES}


# ------------------------------------------------------------------------------------------ against trying everything


def _toy(seed: int) -> tuple[Trip, Work]:
    """Return a toy trip whose sights are all to choose from, turned by a theme, and its problem."""
    trip, cast, ways = toy_trip(seed, nights=2, sites=3, services=2, sights=3)
    theme = THEMES[seed % len(THEMES)]
    turn = theme.steps[-1][1]
    worth = [
        theme.worth(Valued(s.spot, s.value_cents, s.hours, "", float(k), "its name" if k else ""))
        for k, s in enumerate(trip.sights)
    ]
    sights = tuple(replace(s, must=False, value_cents=w) for s, w in zip(trip.sights, worth, strict=True))
    turned = turn(replace(trip, sights=sights))
    return turned, assemble(turned, REGION, cast, ways)


def _subsets(work: Work) -> int | None:
    """Return the least cost over every set of sights: each set must be seen, worth what its sights are worth, by every sequence of days."""
    trip = work.trip
    best: int | None = None
    numbers = range(len(trip.sights))
    for size in range(len(trip.sights) + 1):
        for chosen in combinations(numbers, size):
            sights = tuple(replace(s, must=k in chosen, value_cents=0) for k, s in enumerate(trip.sights))
            must = assemble(replace(trip, sights=sights), REGION, work.cast, work.ways)
            if int(must.problem.value.sum()) != 0:
                raise AssertionError("values are to be counted by the test alone")
            cost = _cheapest(must)
            if cost is None:
                continue
            cost -= sum(trip.sights[k].value_cents for k in chosen)
            best = cost if best is None else min(best, cost)
    return best


def _cheapest(work: Work) -> int | None:
    short = work.trip.powered_nights_at_least
    if short <= 0 and work.trip.max_one_night_stays < 0:
        best = brute_force(work)
        return None if best is None else int(best)
    return _within_counts(work)


def _within_counts(work: Work) -> int | None:
    """Trying everything knows money alone of what is counted: where nights with mains or short stays are limited, sites are tried set by set."""
    trip = work.trip
    sites = [k for k, site in enumerate(work.cast.sites) if site.kind.powered]
    if trip.powered_nights_at_least >= trip.nights and trip.max_one_night_stays < 0:
        cast = replace(
            work.cast,
            sites=tuple(s if k in sites else replace(s, open=(False,) * len(s.open)) for k, s in enumerate(work.cast.sites)),
        )
        free = replace(trip, powered_nights_at_least=0)
        best = brute_force(assemble(free, REGION, cast, work.ways))
        return None if best is None else int(best)
    raise AssertionError("no toy theme comes here")


def _case(seed: int) -> tuple[int | None, int | None, str]:
    trip, work = _toy(seed)
    if trip.max_one_night_stays >= 0 or 0 < trip.powered_nights_at_least < trip.nights:  # counted limits: without them here
        trip = replace(trip, max_one_night_stays=-1, powered_nights_at_least=trip.nights if seed % 2 else 0)
        work = assemble(trip, REGION, work.cast, work.ways)
    solution = best_path(work)
    return (solution.cost if solution.arcs else None), _subsets(work), solution.status


@pytest.mark.parametrize("seed", range(40))
def test_equal_to_trying_every_set_of_sights(seed: int) -> None:
    """The search's choice of sights and days costs what the best of all sets of sights by all sequences of days costs."""
    found, tried, status = _case(seed)
    assert found == tried
    assert status == "proven"


@pytest.mark.long
@pytest.mark.parametrize("seed", range(1000, 1300))
def test_equal_to_trying_every_set_of_sights_often(seed: int) -> None:
    """The same on three hundred more."""
    found, tried, status = _case(seed)
    assert found == tried
    assert status == "proven"


def test_toy_cases_are_no_empty_promise() -> None:
    """Among the cases are trips with a plan that sees some sights and leaves others, so that choosing is tried at all."""
    some = none = 0
    for seed in range(40):
        trip, work = _toy(seed)
        solution = best_path(work)
        if not solution.arcs:
            none += 1
            continue
        seen = 0
        for arc in solution.arcs:
            seen |= int(work.options.sights[arc])
        some += 0 < (seen).bit_count() < len(trip.sights)
    assert some >= 8
    assert none < 30


# ------------------------------------------------------------------------------------------ values and candidates


@pytest.fixture(scope="module")
def region() -> Region:
    """The sample island."""
    from tripplan.pipeline import sample_region

    return sample_region()


@pytest.fixture(scope="module")
def trip(region: Region) -> Trip:
    """Four nights of the couple, nothing else asked for."""
    from datetime import timedelta

    trip = load_trip(SAMPLE / "trip_round_island.toml", region)
    back = trip.pick_up.replace(hour=15) + timedelta(days=4)
    return replace(trip, sights=(), bookings=(), return_by=back)


def _with(region: Region, *changes: dict[str, object]) -> Region:
    places = list(region.places)
    rows = [p.index for p in places if p.role == "sight"]
    for row, change in zip(rows, changes, strict=False):
        places[row] = replace(places[row], **change)  # type: ignore[arg-type]
    return replace(region, places=tuple(places))


def test_kinds_and_fame_make_the_value(region: Region) -> None:
    """A better kind is worth more, one known beyond the map more still, and each says why."""
    plain = {v.spot.name: v for v in value_sights(region)}
    assert plain["Museum of the Orne Sea"].cents > plain["East Head"].cents
    assert plain["Museum of the Orne Sea"].why == "tourism=museum"
    first = next(p for p in region.places if p.role == "sight")
    known = value_sights(_with(region, {"sight": first.sight + "; wikidata=Q1; heritage=2"}))
    told = next(v for v in known if v.spot.name == first.name)
    assert told.cents > plain[first.name].cents
    assert "heritage" in told.why
    assert (
        next(v for v in value_sights(_with(region, {"sight": ""})) if v.spot.name == first.name).why
        == "a sight whose kind is not known"
    )


def test_sights_that_hang_over_the_rim_of_the_map_are_not_offered(region: Region) -> None:
    """An extract carries things beyond its box, without the roads there: they are no sights of the region."""
    first, second, *_ = [p for p in region.places if p.role == "sight"]
    west, _, _, north = region.meta.bbox
    found = {v.spot.name for v in value_sights(_with(region, {"lat": north + 0.01}, {"lon": west - 0.01}))}
    assert not found & {first.name, second.name}
    assert len(found) == len(value_sights(region)) - 2


def test_lists_rule_over_kinds(region: Region) -> None:
    """A value of the operator's list, or of asking, replaces that of the kind; nought takes the sight out; a town can be listed."""
    spots = [v.spot for v in value_sights(region)]
    town = Spot("Gannoway", "Gannoway", -27.4, -42.9)
    listed = [Listed(spots[0], 777, "the operator's list"), Listed(spots[1], 0, "the operator's list"), Listed(town, 1234, "asked for"),
              Listed(spots[2], 1, "the operator's list"), Listed(spots[2], ASKED_CENTS, "asked for")]  # fmt: skip
    found = {v.spot.name: v for v in value_sights(region, listed)}
    assert found[spots[0].name].cents == 777
    assert spots[1].name not in found
    assert found[spots[2].name].cents == ASKED_CENTS
    assert found["Gannoway"].cents == 1234


def test_coast_and_hills_come_with_evidence(region: Region) -> None:
    """What lies by the coast is measured on the base map; hills are told from tags, names and grades, and never from nothing."""
    found = {v.spot.name: v for v in value_sights(region)}
    assert found["Isle Seal Ledge"].coast_km < 5 < found["Slate Caverns"].coast_km
    assert found["Sallow Pass Summit"].hills == "its name"
    assert found["Merrow Saddle Lookout"].hills.endswith("% near it")
    assert found["Museum of the Orne Sea"].hills == ""
    high = _with(region, {"sight": "natural=peak"}, {"sight": "tourism=attraction; ele=812 m"})
    told = [v.hills for v in value_sights(high)][:2]
    assert told == ["tagged natural=peak", "tagged 812 m above the sea"]


def test_coast_distance_is_that_of_the_nearest_segment(region: Region) -> None:
    """The distance to the coast agrees with a computation of its own, on the ellipsoid, by dense points along the line."""
    import numpy as np
    from pyproj import Geod

    geod = Geod(ellps="WGS84")
    base = region.base
    rows = np.flatnonzero(base.layer == 0)
    lon = np.concatenate([np.interp(np.linspace(0, 1, 6000), np.linspace(0, 1, base.ptr[r + 1] - base.ptr[r]), base.lon_e7[base.ptr[r] : base.ptr[r + 1]] * 1e-7) for r in rows])  # fmt: skip
    lat = np.concatenate([np.interp(np.linspace(0, 1, 6000), np.linspace(0, 1, base.ptr[r + 1] - base.ptr[r]), base.lat_e7[base.ptr[r] : base.ptr[r + 1]] * 1e-7) for r in rows])  # fmt: skip
    for sight in value_sights(region)[:6]:
        _, _, apart = geod.inv(np.full(len(lon), sight.spot.lon), np.full(len(lon), sight.spot.lat), lon, lat)
        assert sight.coast_km == pytest.approx(apart.min() / 1000, rel=0.01, abs=0.15)


def test_candidates_are_few_spread_and_the_rest_is_told(region: Region, trip: Trip) -> None:
    """The best come first, neighbours count for less, none is lost without a reason, and there are never more than bits."""
    valued = value_sights(region)
    picked = pick(trip, valued, lambda v: v.cents, 6)
    assert len(picked.taken) == 6
    assert {v.spot for v, _ in picked.taken} | {v.spot for v, _ in picked.left_out} == {v.spot for v in valued}
    assert all(why for _, why in picked.left_out)
    assert picked.taken[0][1] == max(v.cents for v in valued if v.spot in {t.spot for t, _ in picked.taken})
    near = replace(valued[0], spot=replace(valued[0].spot, lon=valued[0].spot.lon + 0.02, place=-1), cents=valued[0].cents)
    same = replace(near, spot=replace(near.spot, lon=valued[0].spot.lon + 0.001))
    far = replace(valued[1], cents=valued[0].cents - 400)
    two = pick(trip, [valued[0], near, same, far], lambda v: v.cents, 2)
    assert [v for v, _ in two.taken] == [valued[0], far]
    assert any("the same as" in why for _, why in two.left_out)
    many = [replace(valued[0], spot=replace(valued[0].spot, lon=-26 + 0.01 * k, place=-1)) for k in range(60)]
    assert len(pick(trip, many, lambda v: v.cents, 60).taken) == MOST_BITS
    assert pick(trip, valued, lambda v: v.cents, 6) == picked


def test_what_is_out_of_reach_or_in_the_trip_is_no_candidate(region: Region, trip: Trip) -> None:
    """Sights beyond the driving of all days, or to be avoided, are left out with the reason; the trip's own are not doubled."""
    valued = value_sights(region)
    short = replace(trip, max_drive_s=1800, first_day_drive_s=1800)
    left = {v.spot.name: why for v, why in pick(short, valued, lambda v: v.cents, 30).left_out}
    assert "too far" in left["Westerly Bird Wall"] or "too far" in left["East Head"]
    own = with_sights(trip, [(valued[0], 100)])
    assert valued[0].spot.name not in {v.spot.name for v, _ in pick(own, valued, lambda v: v.cents, 30).taken}
    assert {v.spot.name: w for v, w in pick(replace(trip, avoid=(valued[3].spot,)), valued, lambda v: v.cents, 30).left_out} == {
        valued[3].spot.name: "to be avoided"
    }


# ------------------------------------------------------------------------------------------ themes


def test_themes_turn_the_trip_and_the_values(region: Region, trip: Trip) -> None:
    """Each theme changes what it says and nothing else."""
    seen = {v.spot.name: v for v in value_sights(region)}
    coast, hills = BY_KEY["coast"], BY_KEY["hills"]
    assert coast.worth(seen["Isle Seal Ledge"]) == 2 * seen["Isle Seal Ledge"].cents
    assert coast.worth(seen["Slate Caverns"]) < seen["Slate Caverns"].cents
    assert hills.worth(seen["Sallow Pass Summit"]) == 2 * seen["Sallow Pass Summit"].cents
    easy = BY_KEY["easy"].steps[0][1](trip)
    assert (easy.max_drive_s, easy.first_day_drive_s, easy.powered_nights_at_least, easy.max_one_night_stays) == (
        7200,
        5400,
        trip.nights,
        0,
    )
    assert replace(easy, max_drive_s=trip.max_drive_s, first_day_drive_s=trip.first_day_drive_s, powered_nights_at_least=trip.powered_nights_at_least,
                   max_one_night_stays=trip.max_one_night_stays) == trip  # fmt: skip
    assert BY_KEY["dry"].steps[0][1](trip) == replace(trip, ferries=False)
    assert BY_KEY["mains"].steps[0][1](trip) == replace(trip, powered_nights_at_least=trip.nights)
    assert BY_KEY["easy"].steps[0][1](replace(trip, max_drive_s=3600, first_day_drive_s=1800)).max_drive_s == 3600


def test_an_easy_trip_tows_no_longer_a_day_than_the_best(region: Region, trip: Trip, plans: dict[str, Plan]) -> None:
    """Its limit is the best loop's longest day where that is shorter than its own; a step that comes to the same is not tried twice."""
    asked: list[Trip] = []

    def solver(theme: Theme, turned: Trip) -> Plan:
        if theme.key == "best":
            return plans["best"]
        asked.append(turned)
        raise NoPlanError("no plan")

    told = _told(trip, region, solver, [BY_KEY["best"], BY_KEY["easy"]], most_sights=4)
    assert [type(one) for one in told] == [Suggestion, LeftOut]
    longest = max(sum(leg.drive_s for leg in day.legs if leg.mode == "van") for day in plans["best"].days)
    assert longest < 7200, "else the case says nothing"
    assert [(t.max_drive_s, t.max_one_night_stays, t.powered_nights_at_least) for t in asked] == [
        (ceil(longest), 0, trip.nights), (ceil(longest), 1, trip.nights), (ceil(longest), 1, trip.powered_nights_at_least),
    ]  # fmt: skip


def test_a_region_without_coast_ferries_or_hills_says_so(region: Region, trip: Trip) -> None:
    """A theme that the region has nothing for is told with the reason, and not searched."""
    import numpy as np

    base = region.base
    none = replace(base, layer=np.where(base.layer == 0, 1, base.layer).astype(base.layer.dtype))
    flat = replace(region, base=none, ways=replace(region.ways, flags=np.zeros_like(region.ways.flags), incline=np.full_like(region.ways.incline, np.nan)),
                   places=tuple(replace(p, sight="", name=f"S{p.index}") if p.role == "sight" else p for p in region.places))  # fmt: skip

    def solver(theme: Theme, trip: Trip) -> Plan:
        raise AssertionError("not to be searched")

    told = list(suggestions(trip, flat, value_sights(flat), solver, themes=[BY_KEY[k] for k in ("coast", "hills", "dry")]))
    assert [type(t) for t in told] == [LeftOut] * 3
    assert "no coast" in str(told[0])
    assert "hills" in str(told[1])
    assert "no ferries" in str(told[2])


@pytest.fixture(scope="module")
def plans(region: Region, trip: Trip) -> dict[str, Plan]:
    """Two plans of the trip that differ."""
    sights = pick(trip, value_sights(region), lambda v: v.cents, 4).taken
    best = make_plan(with_sights(trip, sights), region)
    nights = tuple(day.night.spot for day in best.days if day.night is not None)
    return {"best": best, "other": make_plan(replace(trip, avoid=nights), region)}


def _told(trip: Trip, region: Region, solver: object, themes: list[Theme], **more: object) -> Iterator[Suggestion | LeftOut]:
    return suggestions(trip, region, value_sights(region), solver, themes=themes, **more)  # type: ignore[arg-type]


def test_loops_too_like_an_earlier_one_are_not_shown(region: Region, trip: Trip, plans: dict[str, Plan]) -> None:
    """A loop with more than seven tenths of its nights where an earlier one has them is told, not shown; one that differs is shown."""
    same = [BY_KEY["best"], BY_KEY["dry"], BY_KEY["mains"]]
    answers = {"best": plans["best"], "dry": plans["best"], "mains": plans["other"]}
    told = list(_told(trip, region, lambda theme, _: answers[theme.key], same))
    assert shared_nights(plans["other"], plans["best"]) <= MOST_SHARED
    assert [isinstance(t, Suggestion) for t in told] == [True, False, True]
    assert "same places" in str(told[1])


def test_steps_are_eased_and_a_stopped_search_takes_fewer_sights(region: Region, trip: Trip, plans: dict[str, Plan]) -> None:
    """Where the strictest form of a theme has no plan the next counts and is told; a search stopped without a plan halves its sights."""
    asked: list[tuple[int, int]] = []

    def solver(theme: Theme, turned: Trip) -> Plan:
        asked.append((turned.max_one_night_stays, len(turned.sights)))
        if turned.max_one_night_stays == 0:
            raise NoPlanError("no plan")
        if len(turned.sights) > 3:
            raise NoPlanError("stopped", proven=False)
        return plans["other"]

    (found,) = _told(trip, region, solver, [BY_KEY["easy"]], most_sights=8)
    assert isinstance(found, Suggestion)
    assert asked == [(0, 8), (1, 8), (1, 4), (1, 2)]
    assert found.gave_up == "one stay of a single night"
    assert len(found.picked.taken) == 2

    def never(theme: Theme, turned: Trip) -> Plan:
        raise NoPlanError("nothing at all", proven=len(turned.sights) == 0)

    (left,) = _told(trip, region, never, [BY_KEY["best"]], most_sights=3)
    assert isinstance(left, LeftOut)
    assert left.why == "nothing at all"


def test_a_theme_that_sees_none_of_its_own_is_not_shown(region: Region, trip: Trip, plans: dict[str, Plan]) -> None:
    """A loop along the coast that sees nothing by the coast is none."""
    (told,) = _told(trip, region, lambda *_: plans["other"], [BY_KEY["hills"]])
    assert isinstance(told, LeftOut)
    assert "worth the way" in told.why


def test_no_plan_beats_one_that_chooses_itself(region: Region, trip: Trip, plans: dict[str, Plan]) -> None:
    """The loop of the best is at least as good, its sights' value counted, as the plan without any sight to choose."""
    without = make_plan(trip, region)
    assert plans["best"].cost.total_cents <= without.cost.total_cents
    assert plans["best"].proof.proven
