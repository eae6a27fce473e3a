"""Readings on the way: the sample's file, and the rest of the sample's trips from many moments, each plan audited."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import numpy as np
import pytest

from tripplan.audit.run import audit
from tripplan.model.errors import BadInputError
from tripplan.model.plan import Plan
from tripplan.model.readings import Done, Reading, Readings
from tripplan.model.serial import plan_from_json, plan_to_json
from tripplan.model.trip import Trip
from tripplan.model.van import Levels
from tripplan.model.words import STORES, Store
from tripplan.region.region import Region
from tripplan.request.readings_file import load_readings
from tripplan.request.trip_file import load_trip
from tripplan.schedule.corrected import corrected
from tripplan.schedule.plan import make_plan
from tripplan.schedule.rest import rest_of
from tripplan.van.limits import capacity

SAMPLE = Path(__file__).resolve().parents[2] / "data_sample"


@pytest.fixture(scope="module")
def trip(region: Region) -> Trip:
    """The family's trip."""
    return load_trip(SAMPLE / "trip_family_loop.toml", region)


@pytest.fixture(scope="module")
def of_file(
    region: Region, plans: dict[str, Plan], trip: Trip, tmp_path_factory: pytest.TempPathFactory
) -> tuple[Readings, Trip, Plan]:
    """The sample's readings, the rest of the trip, and its plan."""
    folder = tmp_path_factory.mktemp("readings")
    (folder / "my-trip").mkdir()
    (folder / "my-trip" / "plan.json").write_text(plan_to_json(plans["family_loop"]), encoding="utf-8")
    text = (SAMPLE / "readings_family_loop.toml").read_text(encoding="utf-8")
    (folder / "readings.toml").write_text(text, encoding="utf-8")
    readings, followed = load_readings(folder / "readings.toml", region, trip)
    rest = rest_of(trip, followed, readings, region)
    return readings, rest, make_plan(rest, region)


def at(plan: Plan, day: int, hour: float, *read: tuple[Store, float], services: tuple[Done, ...] = ()) -> Readings:
    """Return levels read at an hour of a day of a plan."""
    now = plan.days[day - 1].events[0].start.replace(hour=0, minute=0) + timedelta(hours=hour)
    return Readings(now, tuple(Reading(now, store, "level", value) for store, value in read), services)


def test_the_sample_of_readings_plans_the_rest(
    of_file: tuple[Readings, Trip, Plan], plans: dict[str, Plan], region: Region, trip: Trip
) -> None:
    """From the sample's file: the rest begins where and when it says, passes its audit, and its papers say what was learned."""
    readings, rest, plan = of_file
    assert audit(plan, region) == ()
    assert rest.pick_up == readings.now
    assert rest.depot.name == plans["family_loop"].days[3].start.name
    assert plan.days[0].date == readings.now.date()
    assert plan.days[-1].date == trip.return_by.date()
    learned = {entry.part: entry for entry in rest.party.learned}
    assert learned["fresh"].factor > 1.02
    assert learned["fresh"].spread < trip.party.spread_shared
    assert learned["cassette"].factor > 1.02
    text = "\n".join(plan.assumptions)
    assert "% more fresh water than planned" in text
    assert "cassette lamp lit" in text
    assert "battery at 12.55 V" in text
    assert len(rest.under_way.told) >= len(readings.readings) if rest.under_way is not None else False
    # One night without mains lies behind, two with; three nights near Lothmere are wanted, two are spent.
    assert rest.powered_nights_at_least == trip.powered_nights_at_least - 2
    assert next(s for s in rest.sights if s.spot.name == "Lothmere").nights == 1
    assert plan_to_json(plan_from_json(plan_to_json(plan))) == plan_to_json(plan)


def test_what_was_learned_is_used_and_nothing_else_is_changed(of_file: tuple[Readings, Trip, Plan]) -> None:
    """An hour's mean use is that of the figures times the factor, part by part."""
    from tripplan.van.spread import PARTS, parts_of
    from tripplan.van.use import StayKind, slots

    _, rest, plan = of_file
    day = (rest.van, replace(rest.party, learned=()), rest.weather_days[5][1] if rest.weather_days else None)
    if day[2] is None:
        from tripplan.almanac.climate import weather_for

        day = (day[0], day[1], weather_for(plan.days[0].date, plan.days[0].end.lat, rest.weather))
    share = tuple(1 / 24 for _ in range(24))
    given = (day[2], share, StayKind(), slots(0.0, 24.0))
    plain = parts_of(day[0], day[1], *given).sum(axis=0)
    told = parts_of(rest.van, rest.party, *given).sum(axis=0)
    factor = {entry.part: entry.factor for entry in rest.party.learned}
    for k, part in enumerate(PARTS[:8]):
        assert told[k] == pytest.approx(plain[k] * factor.get(part, 1.0), rel=0.03), part


@pytest.mark.parametrize(
    ("name", "day", "hour"),
    [
        ("family_loop", 1, 12.7), ("family_loop", 2, 8.5), ("family_loop", 2, 19.0), ("family_loop", 4, 12.7), ("family_loop", 8, 8.5), ("family_loop", 10, 19.0),
        ("isle_weekend", 2, 12.7), ("isle_weekend", 3, 8.5), ("isle_weekend", 4, 19.0), ("round_island", 9, 8.5), ("round_island", 12, 12.7),
    ],
)  # fmt: skip
def test_the_rest_from_any_moment_passes_its_audit(
    name: str, day: int, hour: float, plans: dict[str, Plan], region: Region
) -> None:
    """Morning, evening, at noon on the road: with levels read as expected, a rest is found, audited, and may begin by standing."""
    plan = plans[name]
    whole = load_trip(SAMPLE / f"trip_{name}.toml", region)
    seen = corrected(plan, at(plan, day, hour)).forecast
    some = [(s, float(seen.used[r])) for r, s in enumerate(STORES) if capacity(plan.trip.van, s) > 0 and s is not Store.BATTERY]
    read = [(s, used if s.fills else capacity(plan.trip.van, s) - used) for s, used in some]
    rest = rest_of(whole, plan, at(plan, day, hour, *read), region)
    found = make_plan(rest, region, reasons=False)
    assert audit(found, region) == ()
    assert all(0.97 <= entry.factor <= 1.03 for entry in rest.party.learned)
    if hour > 18:
        assert found.days[0].kind == "standing"
        assert found.days[0].night is not None
        assert found.days[0].night.spot.name == rest.depot.name


def test_what_the_plan_expects_is_never_better_than_the_hours_lived(plans: dict[str, Plan]) -> None:
    """Followed without a reading, the levels each morning are at least as good as the plan's own expected ones."""
    plan = plans["family_loop"]
    for day in plan.days[1:]:
        # The plan's morning is 9:00, after what is done at the site; the timetable leaves later, and does it then.
        moves = [e.start for e in day.events if e.kind == "drive" and any(leg.mode == "van" for leg in day.legs)]
        hours = (9.0, moves[0].hour + moves[0].minute / 60 if moves else 9.0)
        used = np.minimum(*(corrected(plan, at(plan, day.number, hour)).forecast.used for hour in hours))
        for line in day.levels:
            store = Store(line.store)
            r = STORES.index(store)
            expected = line.expected[0] if store.fills else capacity(plan.trip.van, store) - line.expected[0]
            assert used[r] <= expected + 0.35 if store is not Store.BATTERY else used[r] <= expected + 3, (day.number, store)


def test_a_thirsty_reading_tightens_the_rest_and_a_second_one_goes_on_from_it(
    plans: dict[str, Plan], region: Region, trip: Trip
) -> None:
    """More used than expected raises the habit; readings on the rest's own plan go on from what was learned."""
    plan = plans["family_loop"]
    full = capacity(plan.trip.van, Store.FRESH)
    seen = corrected(plan, at(plan, 2, 8.5)).forecast
    first = rest_of(trip, plan, at(plan, 2, 8.5, (Store.FRESH, full - 1.15 * float(seen.used[0]))), region)
    one = {entry.part: entry for entry in first.party.learned}["fresh"]
    assert one.factor > 1.02
    second_plan = make_plan(first, region, reasons=False)
    again = at(second_plan, 2, 19.0)
    used = float(corrected(second_plan, again).forecast.used[0])
    second = rest_of(trip, second_plan, at(second_plan, 2, 19.0, (Store.FRESH, full - used)), region)
    two = {entry.part: entry for entry in second.party.learned}["fresh"]
    assert two.factor == pytest.approx(one.factor, rel=0.02)
    assert two.spread <= one.spread + 1e-4
    assert second.under_way is not None
    assert first.under_way is not None
    assert len(second.under_way.slept) == len(first.under_way.slept) + 1
    assert second.under_way.spent_cents > first.under_way.spent_cents
    assert second.under_way.began == trip.pick_up


def test_a_reading_far_off_is_taken_for_a_missed_service(plans: dict[str, Plan], region: Region, trip: Trip) -> None:
    """A barrel that is nearly full where it should be fresh teaches no habit: its level is taken, and the words say why."""
    plan = plans["family_loop"]
    rest = rest_of(trip, plan, at(plan, 3, 20.0, (Store.GREY, 55.0)), region)
    assert "grey" not in {entry.part for entry in rest.party.learned}
    assert rest.under_way is not None
    assert any("service was probably missed" in line for line in rest.under_way.told)
    told = corrected(
        plan, at(plan, 3, 20.0, (Store.GREY, 55.0), services=(Done(at(plan, 2, 12).now, (Store.GREY,), done=False),))
    )
    assert float(told.belief.used[1]) > 40


def test_the_audit_holds_a_rest_to_what_was_read(of_file: tuple[Readings, Trip, Plan], region: Region) -> None:
    """With habits, or the error of a level, larger than the plan counted with, its audit fails."""
    _, rest, plan = of_file
    thirsty = tuple(replace(e, factor=3.0) if e.part in ("cassette", "grey") else e for e in rest.party.learned)
    worse = replace(plan, trip=replace(rest, party=replace(rest.party, learned=thirsty)))
    assert {"level", "stated level"} & {f.what for f in audit(worse, region)}
    assert rest.under_way is not None
    unsure = replace(rest.under_way, level_spread=Levels(gas_kg=9.0), level_tied=Levels())
    assert {"level", "confidence", "stated level"} & {
        f.what for f in audit(replace(plan, trip=replace(rest, under_way=unsure)), region)
    }


def test_what_does_not_fit_the_plan_is_refused_in_one_line(plans: dict[str, Plan], region: Region, trip: Trip) -> None:
    """Another map, another trip, a time before or after, a reading still to come: one clear line each."""
    plan = plans["family_loop"]
    good = at(plan, 3, 9.0, (Store.GREY, 5.0))
    late = replace(good, now=plan.days[-1].events[0].start)
    early = replace(good, now=trip.pick_up - timedelta(hours=1), readings=())
    to_come = replace(good, readings=(replace(good.readings[0], time=good.now + timedelta(hours=2)),))
    for whole, followed, readings in (
        (trip, replace(plan, region_key="other"), good), (trip, plans["isle_weekend"], good), (trip, plan, late), (trip, plan, early), (trip, plan, to_come),
    ):  # fmt: skip
        with pytest.raises(BadInputError) as caught:
            rest_of(whole, followed, readings, region)
        assert "\n" not in str(caught.value)
        assert "readings" in str(caught.value)


def test_a_rest_is_the_same_twice(
    of_file: tuple[Readings, Trip, Plan], plans: dict[str, Plan], region: Region, trip: Trip
) -> None:
    """Same plan, same readings: the same rest, byte for byte."""
    readings, rest, plan = of_file
    again = rest_of(trip, plan_from_json(plan_to_json(plans["family_loop"])), readings, region)
    assert again == rest
    assert np.isfinite([entry.factor for entry in again.party.learned]).all()
    assert plan_to_json(make_plan(again, region)) == plan_to_json(plan)
