"""The four trips: three plans and one that cannot be, each for the reason that its file tells."""

from __future__ import annotations

import itertools
from pathlib import Path

import pytest

from tripplan.model.errors import NoPlanError
from tripplan.model.plan import Plan
from tripplan.model.serial import plan_from_json, plan_to_json
from tripplan.model.words import Offer
from tripplan.region.region import Region
from tripplan.request.trip_file import load_trip
from tripplan.schedule.plan import make_plan

SAMPLE = Path(__file__).resolve().parents[2] / "data_sample"
GOOD = ("family_loop", "isle_weekend", "round_island")
TRIPS = (*GOOD, "too_long_in_the_north")


def roads(plan: Plan, region: Region) -> set[str]:
    """Return the names of the roads that the van takes."""
    return {
        region.string(int(region.ways.name[region.pieces.way[piece]]))
        for day in plan.days
        for leg in day.legs
        if leg.mode == "van"
        for piece in leg.runs.piece
    }


def test_the_folder_holds_what_is_told() -> None:
    """Two vans, three parties, an outfit for each van, a firm and four trips; the first by name is the easy one."""
    assert sorted(path.stem for path in SAMPLE.glob("trip_*.toml")) == [f"trip_{name}" for name in TRIPS]
    assert [len(list((SAMPLE / folder).glob("*.toml"))) for folder in ("vans", "parties", "outfits")] == [2, 3, 2]
    assert (SAMPLE / "firm.toml").is_file()


@pytest.mark.parametrize("name", TRIPS)
def test_every_file_speaks_to_a_hirer(name: str) -> None:
    """The first line of each trip says in words what it is."""
    first = (SAMPLE / f"trip_{name}.toml").read_text(encoding="utf-8").splitlines()[0]
    assert first.startswith("# ")
    assert len(first) > 40


@pytest.mark.parametrize("name", GOOD)
def test_good_trips_have_a_proven_plan(plans: dict[str, Plan], name: str) -> None:
    """Each has a best plan, proven, that reads back from its own text."""
    plan = plans[name]
    assert plan.proof.proven
    assert len(plan.days) == plan.trip.nights + 1
    assert plan_from_json(plan_to_json(plan)) == plan_from_json(plan_to_json(plan_from_json(plan_to_json(plan))))
    assert "overload" not in {caution.key for caution in plan.cautions}
    for day in plan.days:
        assert all(leg.unknown_m <= 2 * plan.trip.firm.last_mile_m for leg in day.legs if leg.mode == "van")


def services(plan: Plan, where: str) -> list[tuple[int, str, frozenset[str]]]:
    """Return day, name and stores of each service stop made with the ``van`` on the way, or by ``car`` from a standing day."""
    return [
        (day.number, event.spot.name, frozenset(event.stores))
        for day in plan.days
        for event in day.events
        if event.kind == "service" and event.spot is not None and where == ("van" if any(leg.mode == "van" for leg in day.legs) else "car")
        and any(leg.end == event.spot for leg in day.legs)
    ]  # fmt: skip


def stays(plan: Plan) -> list[tuple[str, int, bool]]:
    """Return name, nights and whether there is mains power of each stay in order."""
    nights = [day.night for day in plan.days if day.night]
    return [
        (name, len(run), run[0].powered)
        for name, run in ((name, list(group)) for name, group in itertools.groupby(nights, key=lambda night: night.spot.name))
    ]


def test_family_loop_is_easy(plans: dict[str, Plan]) -> None:
    """Short tows, nights with mains, one stay of a single night, all must-see sights, and no service but at sites."""
    plan = plans["family_loop"]
    assert len(plan.days) == 11
    assert max(day.towing_s for day in plan.days) <= 2 * 3600
    assert sum(day.night.powered for day in plan.days if day.night) >= 5
    assert sum(nights == 1 for _, nights, _ in stays(plan)) <= 1
    assert services(plan, "van") == services(plan, "car") == []
    seen = " ".join(event.text for day in plan.days for event in day.events if event.kind == "sight")
    assert "Pell Sands" in seen
    assert "Lothmere Glass House" in seen


def test_isle_weekend_takes_the_ferry_and_empties_on_the_way(plans: dict[str, Plan], region: Region) -> None:
    """The van goes aboard twice, two nights are spent on the isle, no site serves the cassette: a dump station on the way does."""
    plan = plans["isle_weekend"]
    assert [sum(leg.ferry_s > 0 for leg in day.legs if leg.mode == "van") for day in plan.days].count(1) == 2
    assert sum(day.night.spot.lat > -42.53 and day.night.spot.lon > -24.65 for day in plan.days if day.night) == 2
    assert all(nights == 2 for _, nights, _ in stays(plan))
    assert not any("site" in line.served for day in plan.days for line in day.levels if line.store == "cassette")
    back = max(day.number for day in plan.days if any(leg.ferry_s > 0 for leg in day.legs))
    assert any(day >= back and {"grey", "cassette"} <= stores for day, _, stores in services(plan, "van"))
    assert all(region.places[day.night.spot.place].pets != Offer.NO for day in plan.days if day.night)  # the dog


def test_round_island_goes_round_gravel_and_weak_bridge(plans: dict[str, Plan], region: Region) -> None:
    """The van never takes the gravel pass though it stays at its foot, and drives round the bridge of 3 t."""
    plan = plans["round_island"]
    taken = roads(plan, region)
    assert [day.end.name for day in plan.days].count("Brackenfirth Fold") == 2
    assert "Sallow Pass Road" not in taken or all(  # its first kilometres are sealed
        region.string(int(region.ways.surface_why[region.pieces.way[p]])) != "surface=gravel"
        for day in plan.days
        for leg in day.legs
        if leg.mode == "van"
        for p in leg.runs.piece
    )
    assert "Upper Ford Road" in taken


def test_round_island_serves_on_the_way_and_by_car(plans: dict[str, Plan]) -> None:
    """One cassette: emptied and water filled on the way, before and after nights with neither; gas fetched by the car alone."""
    plan = plans["round_island"]
    assert plan.trip.van.cassettes == 1
    on_the_way = services(plan, "van")
    assert sum({"grey", "cassette", "fresh"} <= stores for _, _, stores in on_the_way) >= 1
    assert sum({"grey", "cassette"} <= stores for _, _, stores in on_the_way) >= 2
    assert [stores for _, _, stores in services(plan, "car")] == [{"gas"}]
    assert not any("gas" in stores for _, _, stores in on_the_way)


def test_round_island_stays_without_mains(plans: dict[str, Plan]) -> None:
    """Stays of two nights where the battery carries lights, pump and heater; the field at the cape has neither tap nor toilet."""
    off_mains = {name: nights for name, nights, powered in stays(plans["round_island"]) if not powered}
    assert off_mains["Gull Point"] == 2
    assert sum(nights >= 2 for nights in off_mains.values()) >= 3
    for day in plans["round_island"].days:
        if day.night and day.night.spot.name == "Gull Point":
            assert not any("site" in line.served for line in day.levels)


def test_too_long_in_the_north_fails_for_the_cassette(region: Region) -> None:
    """No plan, and the nearest one breaks nothing but the cassette's limit, from the third night on."""
    with pytest.raises(NoPlanError) as caught:
        make_plan(load_trip(SAMPLE / "trip_too_long_in_the_north.toml", region), region)
    texts = [excess.text for excess in caught.value.excesses]  # type: ignore[attr-defined]
    assert texts
    assert all("cassette" in text for text in texts)
    assert "Sun 8 Feb" in texts[0]


def test_a_spare_cassette_makes_it_possible(region: Region, tmp_path: Path) -> None:
    """The reason named is the reason: with cassettes enough for the stay the same trip has a plan."""
    van = (SAMPLE / "vans" / "two_berth.toml").read_text(encoding="utf-8")
    text = (SAMPLE / "trip_too_long_in_the_north.toml").read_text(encoding="utf-8")
    for folder in ("parties", "outfits"):
        text = text.replace(f'"{folder}/', f'"{SAMPLE / folder}/')
    text = text.replace('"firm.toml"', f'"{SAMPLE / "firm.toml"}"').replace('van = "vans/two_berth.toml"', 'van = "van.toml"')
    (tmp_path / "van.toml").write_text(van + "cassettes = 4\n", encoding="utf-8")
    (tmp_path / "trip.toml").write_text(text, encoding="utf-8")
    assert make_plan(load_trip(tmp_path / "trip.toml", region), region).proof.proven
