"""Four nights in two real countries: a plan that the audit passes, or no plan for the reason that is true of the map."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from tripplan.audit.run import audit
from tripplan.model.errors import NoPlanError
from tripplan.model.outfit import Outfit
from tripplan.model.place import OfferFact, Spot
from tripplan.model.plan import Excess
from tripplan.model.trip import Firm, Trip
from tripplan.model.van import Levels, Party, Van
from tripplan.model.words import Offer
from tripplan.region.build import build
from tripplan.region.region import Region
from tripplan.schedule.plan import make_plan, prepare

pytestmark = pytest.mark.extract

#: The one site of Liechtenstein that admits caravans, by its map identity; the one of Andorra that says so itself.
MITTAGSPITZE, CASAL = "w173914142", "w330823764"


def trip_of(region: Region, name: str, lon: float, lat: float, **change: object) -> Trip:
    """Return four nights in July of two adults with a small ordinary van, taken over with empty barrels."""
    start = datetime(int(region.meta.data_date[:4]), 7, 8, 10, tzinfo=ZoneInfo(region.meta.tz))
    depot = Spot(name, name, lon, lat)
    outfit = Outfit("hatchback and two-berth", True, 2700, 1000, 1000, 2.55, 2.2, 10.5, 80)
    van = Van("two-berth", 40, 40, 18, 8, 4.5, 2, 95, solar_w=120, heat_loss_w_per_k=55, water_heater_l=5, berths=2)
    values: dict[str, object] = {
        "name": "four nights", "tz": region.meta.tz, "firm": Firm("firm", "0", 80, return_gas_kg=1.0), "outfit": outfit,
        "car": replace(outfit, towing=False, van_mass_kg=0), "van": van,
        "party": Party("couple", 2, water_l=8, showers_per_day=0.4, shower_l=9, flushes=4, hot_water_l=8),
        "depot": depot, "return_depot": depot, "pick_up": start, "return_by": (start + timedelta(days=4)).replace(hour=16),
        "levels": Levels(0, 0, 0, 0, 9, 76),
    }  # fmt: skip
    return Trip(**{**values, **change})  # type: ignore[arg-type]


@pytest.fixture(scope="module")
def andorra(extracts: Path) -> Region:
    return build(extracts / "andorra-20250119.osm.pbf", name="Andorra")


@pytest.fixture(scope="module")
def liechtenstein(extracts: Path) -> Region:
    return build(extracts / "liechtenstein-20240304.osm.pbf", name="Liechtenstein")


@pytest.fixture(scope="module")
def cache(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("cache")


def test_four_nights_in_andorra(andorra, cache):
    """A plan, proven and audited; every presumed offer that it leans on is listed, and the empty barrel is filled first."""
    trip = trip_of(andorra, "Andorra la Vella", 1.5215, 42.5073)
    plan = make_plan(trip, andorra, cache=cache)
    assert plan.proof.proven
    assert audit(plan, andorra) == ()
    towed = sum(leg.length_m for day in plan.days for leg in day.legs if leg.mode == "van")
    assert 10_000 < towed < 60_000  # the country is 40 km across
    unknown = [leg.unknown_m for day in plan.days for leg in day.legs]
    assert max(unknown) <= trip.firm.last_mile_m * 2
    nights = {day.night.ref for day in plan.days if day.night}
    for ref in nights:
        place = next(p for p in andorra.places if p.ref == ref)
        assert place.admits in (Offer.YES, Offer.PRESUMED)
        if place.admits == Offer.PRESUMED:
            assert any(ask.spot.text == ref and ask.offer == "stay" for ask in plan.presumed_offers)
    assert "fresh" in {line.store for line in plan.days[0].levels if line.served}
    for day in plan.days:
        for line in day.levels:
            if "site" in line.served and line.store in ("grey", "cassette"):
                place = next(p for p in andorra.places if day.night and p.ref == day.night.ref)
                listed = any(ask.day == day.number and ask.offer == line.store for ask in plan.presumed_offers)
                assert listed or place.offer(line.store).answer == Offer.YES or line.store not in _needed(plan)
    assert any("empty at pick-up" in text for text in plan.assumptions)


def _needed(plan) -> set[str]:
    return {store for ask in plan.presumed_offers for store in ask.stores}


def test_no_place_without_a_word_for_caravans_is_offered(andorra, liechtenstein, cache):
    """Camps that say `caravans=no`, motorhome places and bare points never become candidates, and the reason is kept."""
    for region, lon, lat, least in ((andorra, 1.5215, 42.5073, 3), (liechtenstein, 9.5215, 47.1396, 3)):
        cast, _ = prepare(trip_of(region, "depot", lon, lat), region, cache=cache)
        offered = {site.ref for site in cast.sites}
        for place in region.places:
            if place.role == "site" and place.admits not in (Offer.YES, Offer.PRESUMED):
                assert place.ref not in offered
        assert len(cast.left_out) >= least
    assert [w for _, w in cast.left_out].count("takes no vans (caravans=no)") == 3
    assert offered == {MITTAGSPITZE}


def test_liechtenstein_lacks_a_place_for_grey_water(liechtenstein, cache):
    """No plan: the only site and the only dump for all take no grey water, and nothing else stands in the way."""
    trip = trip_of(liechtenstein, "Vaduz", 9.5215, 47.1396)
    with pytest.raises(NoPlanError) as caught:
        make_plan(trip, liechtenstein, cache=cache)
    excesses = [e for e in caught.value.excesses if isinstance(e, Excess)]
    assert {e.what for e in excesses} == {"grey", "grey at the return"}
    assert caught.value.least
    assert sum("comes back" in e.text for e in excesses) == 1
    # The reason is the reason: where the site is known to take grey water the same trip has a plan.
    known = tuple(
        replace(p, offers={**p.offers, "grey": OfferFact(Offer.YES)}) if p.ref == MITTAGSPITZE else p
        for p in liechtenstein.places
    )
    told = replace(liechtenstein, places=known)
    plan = make_plan(trip, told, cache=cache)
    assert audit(plan, told) == ()
    assert plan.proof.proven
    served = {event.spot.name for day in plan.days for event in day.events if event.kind == "service" and event.spot}
    assert served  # fresh water is fetched on the way: the map tells of no tap at the site


def test_an_old_map_says_what_it_lacks(extracts, cache):
    """On a map of 2013, with sites but neither dump nor tap, an empty barrel stays empty: no plan, and the first night says why."""
    region = build(extracts / "andorra-20130528.osm.pbf", name="Andorra 2013")
    trip = trip_of(region, "Andorra la Vella", 1.5215, 42.5073)
    with pytest.raises(NoPlanError) as caught:
        make_plan(trip, region, cache=cache)
    texts = [e.text for e in caught.value.excesses if isinstance(e, Excess)]
    assert texts
