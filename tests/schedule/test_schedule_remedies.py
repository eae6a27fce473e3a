"""Changes that give a trip without a plan one: found, smallest, easiest first, and said so that a person can make them."""

from __future__ import annotations

from dataclasses import replace
from itertools import combinations
from pathlib import Path

import pytest

from tripplan.audit.run import audit
from tripplan.model.errors import NoPlanError
from tripplan.model.place import OfferFact
from tripplan.model.plan import Excess, Plan
from tripplan.model.remedy import Remedies
from tripplan.model.trip import Trip
from tripplan.model.words import Offer, SiteKind
from tripplan.region.region import Region
from tripplan.report.words import remedy_words
from tripplan.request.trip_file import load_trip
from tripplan.schedule.changes import SUPPOSED, changes_for, suppose
from tripplan.schedule.plan import make_plan
from tripplan.schedule.remedies import missing_offers, remedies

SAMPLE = Path(__file__).resolve().parents[2] / "data_sample"


@pytest.fixture(scope="module")
def region() -> Region:
    """The sample island."""
    from tripplan.pipeline import sample_region

    return sample_region()


def solver(trip: Trip, region: Region) -> Plan:
    return make_plan(trip, region, reasons=False)


def has_plan(trip: Trip, region: Region) -> bool:
    try:
        solver(trip, region)
    except NoPlanError:
        return False
    return True


def found_for(trip: Trip, region: Region, seconds: float = 600.0) -> Remedies:
    with pytest.raises(NoPlanError) as none:
        make_plan(trip, region)
    return remedies(trip, region, none.value, solver, seconds=seconds)


@pytest.fixture(scope="module")
def cases(region: Region) -> dict[str, tuple[Trip, Remedies]]:
    """Two trips without a plan, each with what mends it: a cassette too small, and an hour at the wheel too little."""
    small = load_trip(SAMPLE / "trip_too_long_in_the_north.toml", region)
    slow = replace(load_trip(SAMPLE / "trip_family_loop.toml", region), max_drive_s=3600, first_day_drive_s=3600)
    return {"cassette": (small, found_for(small, region)), "driving": (slow, found_for(slow, region))}


def applied(trip: Trip, region: Region, texts: tuple[str, ...]) -> tuple[Trip, Region]:
    """The trip with named changes made, by their place in the trip's files."""
    words = set()
    for option in changes_for(trip, region):
        if (option.change.how + option.change.key) in texts:
            trip = option.apply(trip)
            words |= {option.supposes} - {""}
    return trip, suppose(region, frozenset(words))


@pytest.mark.parametrize("name", ["cassette", "driving"])
def test_each_set_works_and_no_part_of_it_does(region: Region, cases: dict[str, tuple[Trip, Remedies]], name: str) -> None:
    """Solved anew, a trip with a set's changes has a plan, and with any part of them left out it has none."""
    trip, found = cases[name]
    assert found.found
    assert [len(r.changes) for r in found.found] == sorted(len(r.changes) for r in found.found)
    singles = [r.effort for r in found.found if len(r.changes) == 1]
    assert singles == sorted(singles)
    for remedy in found.found:
        keys = tuple(c.how + c.key for c in remedy.changes)
        assert has_plan(*applied(trip, region, keys))
        if remedy.smallest:
            for size in range(len(keys)):
                for part in combinations(keys, size):
                    assert not has_plan(*applied(trip, region, part))


def test_steps_go_no_further_than_they_must(region: Region, cases: dict[str, tuple[Trip, Remedies]]) -> None:
    """With one cassette fewer, or a minute of driving less than the plan drives, there is no plan."""
    trip, found = cases["cassette"]
    cassettes = next(r for r in found.found if r.changes[0].key == "spare cassette").plan.trip.van.cassettes
    assert cassettes > 2
    for count in range(1, 5):
        assert has_plan(replace(trip, van=replace(trip.van, cassettes=count)), region) == (count >= cassettes)


def test_a_longer_drive_names_its_days(cases: dict[str, tuple[Trip, Remedies]]) -> None:
    """More driving is said as minutes on a day, and the plan drives that much more than the limit on that day."""
    _, found = cases["driving"]
    remedy = next(r for r in found.found if r.changes[0].key == "longer drive")
    over = {day.number: day.towing_s - 3600 for day in remedy.plan.days if day.towing_s > 3601}
    assert over
    for number, seconds in over.items():
        assert f"{-(-seconds // 60):.0f} min on day {number}" in remedy.changes[0].text


def without(region: Region, word: str) -> Region:
    """The island with nothing known of an offer anywhere."""
    bare = [
        replace(p, offers={w: (OfferFact() if w == word else f) for w, f in p.offers.items()}) if p.role in ("site", "service") else p
        for p in region.places
    ]  # fmt: skip
    return replace(region, places=tuple(bare))


def test_a_map_without_a_dump_station_says_so_and_what_would_settle_it(region: Region) -> None:
    """Where no place is known to empty a cassette, that is said, and the sites to ask are named and are what the plan leans on."""
    bare = without(region, "cassette")
    trip = load_trip(SAMPLE / "trip_family_loop.toml", bare)
    found = found_for(trip, bare)
    assert any("dump point" in text and "local knowledge" in text for text in found.missing)
    asked = [r for r in found.found if any(c.key == "ask cassette" for c in r.changes)]
    assert asked
    plan = asked[0].plan
    supposed = {p.spot.name for p in plan.presumed_offers if p.evidence == SUPPOSED}
    text = next(c.text for c in asked[0].changes if c.key == "ask cassette")
    assert supposed
    assert all(name in text for name in supposed)
    assert missing_offers(region) == ()


def test_what_is_supposed_is_only_what_the_map_leaves_open(region: Region) -> None:
    """A known yes or no, and a place that takes no vans, stay as they are; the region handed in is not changed."""
    before = [dict(p.offers) for p in region.places]
    after = suppose(region, frozenset(("cassette", "admits")))
    for old, new in zip(region.places, after.places, strict=True):
        if old.role != "site" or old.admits == Offer.NO:
            assert new == old
        elif old.offer("cassette").answer != Offer.UNKNOWN:
            assert new.offer("cassette") == old.offer("cassette")
        else:
            assert new.offer("cassette").answer == Offer.PRESUMED
            assert new.offer("cassette").evidence == SUPPOSED
    assert before == [dict(p.offers) for p in region.places]


def test_every_change_is_a_different_valid_trip_and_says_where_it_is_written(region: Region) -> None:
    """Each option gives another trip (or another map), with its own text and the place in the files."""
    trip = load_trip(SAMPLE / "trip_family_loop.toml", region)
    trip = replace(
        trip, site_kinds=(SiteKind.CAMP_SITE,), avoid=(trip.depot,), ferries=False, tolls=False, budget_cents=10, presumed_offers=False,
        no_towing=(trip.dates[3],), max_one_night_stays=0,
    )  # fmt: skip
    options = changes_for(trip, region)
    assert len({o.change.how + o.change.text for o in options}) == len(options)
    assert [o.change.effort for o in options] == sorted(o.change.effort for o in options)
    for option in options:
        assert option.change.how
        assert option.supposes or option.apply(trip) != trip
    stays = [o.change.text for o in options if o.family == "one-night stays"]
    assert stays[:2] == ["Accept 1 stay of one night instead of 0", "Accept 2 stays of one night instead of 0"]


def test_the_time_allowed_is_kept_and_said(region: Region) -> None:
    """With no time nothing is tried, nothing is claimed, and the words say that the time was up."""
    trip = load_trip(SAMPLE / "trip_too_long_in_the_north.toml", region)
    found = found_for(trip, region, seconds=0.0)
    assert (found.found, found.tried, found.whole) == ((), 0, False)
    assert any("in the time allowed" in line for line in remedy_words(found, trip))


def test_words_number_the_sets_and_say_how(cases: dict[str, tuple[Trip, Remedies]]) -> None:
    """Each set has a number, its text, where it is written, and what plan it gives."""
    trip, found = cases["cassette"]
    lines = "\n".join(remedy_words(found, trip))
    for number, remedy in enumerate(found.found, 1):
        assert f"{number}. {remedy.changes[0].text}" in lines
        assert remedy.changes[0].how in lines
    assert lines.count("towing") >= len(found.found)


def test_a_fridge_that_refuses_may_be_warmer_or_a_caution(region: Region) -> None:
    """Where the fridge's limit is what refuses, it is raised no further than it must be, else it becomes a caution."""
    trip = replace(load_trip(SAMPLE / "trip_isle_weekend.toml", region), fridge_limit_h=3.0)
    plan = make_plan(replace(trip, fridge_limit_h=-1.0), region, reasons=False)
    error = NoPlanError("", (Excess("fridge", 2, 1.0, "h", "the fridge is above 5 °C for 1.0 h more than the limit of 3 h"),))

    def needs(hours: float) -> Remedies:
        def solver(changed: Trip, _: Region) -> Plan:
            if 0 <= changed.fridge_limit_h < hours:
                raise NoPlanError("the fridge")
            return replace(plan, trip=changed)

        return remedies(trip, region, error, solver, seconds=60.0)

    for hours, limit in ((4.5, 5.0), (6.0, 7.0), (20.0, -1.0)):
        found = needs(hours).found
        assert [r.plan.trip.fridge_limit_h for r in found] == [limit]
        assert found[0].smallest
    assert not any(o.family == "fridge" for o in changes_for(replace(trip, fridge_limit_h=-1.0), region))


def test_a_fridge_on_the_battery_goes_on_the_car_or_off(region: Region) -> None:
    """A crossing with the fridge on the van's battery has no plan; on the car's 12 V it has one, and left off too, both asking little."""
    trip = load_trip(SAMPLE / "trip_isle_weekend.toml", region)
    trip = replace(trip, van=replace(trip.van, fridge_towing="battery"))
    assert not has_plan(trip, region)
    options = [o for o in changes_for(trip, region) if o.family == "fridge while towing"]
    assert [(o.change.effort, o.apply(trip).van.fridge_towing) for o in options] == [(1, "car_12v"), (2, "none")]
    for option in options:
        plan = solver(option.apply(trip), region)
        assert audit(plan, region) == ()
        assert option.change.how == f'in the van: fridge_towing = "{plan.trip.van.fridge_towing}"'
    assert not any(o.family == "fridge while towing" for o in changes_for(options[0].apply(trip), region))
