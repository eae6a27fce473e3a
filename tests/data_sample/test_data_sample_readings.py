"""Readings on the way: the sample's file, and the rest of the sample's trips from many moments, each plan audited."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import numpy as np
import pytest

from tripplan.audit.run import audit
from tripplan.model.errors import BadInputError
from tripplan.model.place import OfferFact
from tripplan.model.plan import Plan
from tripplan.model.readings import Done, Reading, Readings
from tripplan.model.serial import plan_from_json, plan_to_json
from tripplan.model.trip import Trip
from tripplan.model.van import Levels
from tripplan.model.words import STORES, Offer, Source, Store
from tripplan.region.region import Region
from tripplan.report.calendar import calendar_text
from tripplan.report.counted import counted, trip_title
from tripplan.report.itinerary import itinerary_page, sheets_of
from tripplan.report.language import Language, speaking
from tripplan.report.sheets.walk import leaving, stands_at
from tripplan.report.words import summary
from tripplan.request.readings_file import load_readings
from tripplan.request.trip_file import load_trip
from tripplan.schedule.changes import changes_for
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
    # The levels count on the dump point that was locked twice: the first sheet says how full the cassette is, and where else to go.
    full = next(
        note for note in plan.days[0].notes if note.startswith("May be full now: cassette, 15.6 L (give or take 2.6), 16.2 L")
    )
    assert "at Loth Lido this failed on 4 Feb and 5 Feb" in full
    assert "do it first at Lothmere Dump Station, 4.2 km away" in full
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
    """A map without the place stood at, another trip, a time before or after, a reading still to come: one clear line each."""
    plan = plans["family_loop"]
    good = at(plan, 3, 9.0, (Store.GREY, 5.0))
    late = replace(good, now=plan.days[-1].events[0].start)
    early = replace(good, now=trip.pick_up - timedelta(hours=1), readings=())
    to_come = replace(good, readings=(replace(good.readings[0], time=good.now + timedelta(hours=2)),))
    bare = replace(region, places=(), meta=replace(region.meta, key="other"))
    for followed, readings, on in (
        (plan, good, bare), (plans["isle_weekend"], good, region), (plan, late, region), (plan, early, region), (plan, to_come, region),
    ):  # fmt: skip
        with pytest.raises(BadInputError) as caught:
            rest_of(trip, followed, readings, on)
        assert "\n" not in str(caught.value)
        assert "readings" in str(caught.value)


def test_readings_of_one_moment_that_contradict_each_other_are_refused(
    plans: dict[str, Plan], region: Region, trip: Trip
) -> None:
    """A barrel of 10 L and of 75 L at once, a lit lamp on an empty cassette: one line names both; what agrees within its error is taken."""
    plan = plans["family_loop"]
    far = at(plan, 3, 9.0, (Store.FRESH, 10.0), (Store.FRESH, 75.0))
    lamp = Reading(far.now, Store.CASSETTE, "lamp", 0.8, lit=True)
    empty = at(plan, 3, 9.0, (Store.CASSETTE, 1.0))
    odd = replace(empty, readings=(lamp, *empty.readings))
    for readings, said in ((far, "fresh at 10 L and fresh at 75 L"), (odd, "cassette lamp lit and cassette at 1 L")):
        with pytest.raises(BadInputError, match=said) as caught:
            rest_of(trip, plan, readings, region)
        assert "\n" not in str(caught.value)
    near = at(plan, 3, 9.0, (Store.FRESH, 60.0), (Store.FRESH, 68.0))
    apart = replace(far, readings=(replace(far.readings[0], time=far.now - timedelta(minutes=30)), far.readings[1]))
    for readings in (near, apart, replace(odd, readings=(replace(lamp, lit=False), *empty.readings))):
        assert rest_of(trip, plan, readings, region).under_way is not None


def test_a_plan_of_a_map_with_other_notes_is_followed_by_what_its_places_are(
    of_file: tuple[Readings, Trip, Plan], plans: dict[str, Plan], region: Region, trip: Trip
) -> None:
    """A map numbered otherwise, and one without the dump point that was locked: the van stands at the same place, which serves less."""
    readings, rest, _ = of_file
    plan = plans["family_loop"]
    lido = region.places[rest.depot.place]
    shut = replace(lido, offers={**lido.offers, "cassette": OfferFact(Offer.NO, Source.LOCAL_NOTE, "locked")})
    places = tuple(replace(shut if p.ref == lido.ref else p, index=p.index + 1) for p in region.places)
    first = replace(region.places[0], index=0, ref="n1", name="Elsewhere", lon=0.0, lat=0.0)
    noted = replace(region, places=(first, *places), meta=replace(region.meta, key="with other notes"))
    found = rest_of(trip, plan, readings, noted)
    assert found.depot == replace(rest.depot, place=rest.depot.place + 1)
    assert found.party == rest.party
    assert rest.levels.cassette_l == 0
    assert found.levels == replace(rest.levels, cassette_l=found.levels.cassette_l)
    assert found.levels.cassette_l > 12


def test_a_rest_is_the_same_twice(
    of_file: tuple[Readings, Trip, Plan], plans: dict[str, Plan], region: Region, trip: Trip
) -> None:
    """Same plan, same readings: the same rest, byte for byte."""
    readings, rest, plan = of_file
    again = rest_of(trip, plan_from_json(plan_to_json(plans["family_loop"])), readings, region)
    assert again == rest
    assert np.isfinite([entry.factor for entry in again.party.learned]).all()
    assert plan_to_json(make_plan(again, region)) == plan_to_json(plan)


def test_the_papers_of_a_rest_go_on_counting_and_leave_out_what_lies_behind(
    of_file: tuple[Readings, Trip, Plan], region: Region
) -> None:
    """Days keep their number of the whole trip on every paper, the title says what is left, and nothing of the first evening is left over."""
    _, rest, plan = of_file
    numbers = [4, 5, 6, 7, 8, 9, 10, 11]
    assert [day.number for day in plan.days] == [1, 2, 3, 4, 5, 6, 7, 8]
    assert rest.first_number == 4
    seen = counted(plan)
    assert [day.number for day in seen.days] == numbers
    assert counted(seen) == seen
    assert {one.day for one in seen.presumed_offers} <= set(numbers)
    assert {day for one in seen.cautions for day in one.days} <= set(numbers)
    sheets = sheets_of(seen, region)
    names = [sheet.key for sheet in sheets]
    assert names == ["glance", *(f"day-{n}" for n in numbers), "return", "cautions"]
    text = "\n".join(itinerary_page(seen, region, sheets).split("<"))
    assert "Ten nights round the west, 7 of 10 nights left" in text
    assert "Hand-over" not in text
    assert "You are at Loth Lido already: ask at the desk whether you may stay 2 nights from now." in text
    book = text[text.index(">To book") : text.index(">Phone first")]
    assert "Loth Lido" not in book.split('class="book"')[-1]
    assert "Ashgarrow Showground" in book
    calendar = calendar_text(seen).decode()
    assert "SUMMARY:Night 4: Loth Lido" in calendar
    assert "Night 3" not in calendar
    assert "Hand-over" not in calendar
    lines = summary(plan, bars=False)
    assert lines[0].startswith("Ten nights round the west, 7 of 10 nights left: ")
    assert any(line.startswith("Day  4  Fri 6 February") for line in lines)
    assert not any(line.startswith("Day  1 ") for line in lines)
    with speaking(Language("de")):
        assert trip_title(rest) == "Ten nights round the west, noch 7 von 10 Nächten"


def test_setting_out_from_a_pitch_on_the_way_begins_with_its_cable(of_file: tuple[Readings, Trip, Plan], region: Region) -> None:
    """Where the first day of a rest tows away from a pitch with mains, its list for leaving names the cable."""
    _, rest, plan = of_file
    towing = next(day for day in plan.days if day.kind == "towing" and day.number > 1)
    place = region.places[towing.start.place]
    stay = stands_at(replace(towing, number=4), rest, place, frozenset())
    assert stay is not None
    assert stay.powered
    cables = [sum("Mains cable" in str(item.text) for item in leaving(towing, before, rest.van)) for before in (stay, None)]
    assert cables == [1, 0]
    assert stands_at(towing, rest, place, frozenset()) is None
    assert stands_at(replace(towing, number=4), replace(rest, under_way=None), place, frozenset()) is None


def test_changes_on_the_way_are_those_that_can_still_be_made(
    of_file: tuple[Readings, Trip, Plan], region: Region, trip: Trip
) -> None:
    """Nothing at pick-up, nothing from the firm's store; what is written into the trip's file counts what lies behind too."""
    _, rest, _ = of_file
    thirsty = replace(rest, levels=replace(rest.levels, fresh_l=5, cassette_l=9, gas_kg=2))
    before, now = (
        {option.change.text for option in changes_for(one, region)} for one in (replace(thirsty, under_way=None), thirsty)
    )
    gone = before - now
    assert any("at pick-up" in text for text in gone)
    assert any("one more gas bottle" in text for text in gone)
    assert not any("pick-up" in text or "the firm" in text for text in now)
    how = {option.change.key: option.change.how for option in changes_for(thirsty, region)}
    assert how["fewer powered nights"] == f"[wishes] powered_nights_at_least = {trip.powered_nights_at_least - 3}"
    assert how["one-night stays"].split()[-1] == str(rest.under_way.singles + trip.nights - 3) if rest.under_way else False
    assert "first_day" not in how["longer drive"]


@pytest.mark.parametrize(("volts", "mains", "level", "word"), [
    (12.55, False, 74, ""), (10.1, False, 0, "charged or drained as the plan does not know"), (12.8, True, 100, "lifts the voltage: nothing is taken"),
    (12.55, True, 73, "look at cable, fuse and charger"), (10.1, True, 0, "look at cable, fuse and charger"),
])  # fmt: skip
def test_a_voltage_under_charge_is_no_rest_voltage(
    volts: float, mains: bool, level: float, word: str, plans: dict[str, Plan]
) -> None:
    """On mains the charger lifts the volts: a high reading says nothing, a low one that nothing charges; neither teaches a habit."""
    plan = plans["family_loop"]
    readings = at(plan, 3 if mains else 2, 6.5)
    found = corrected(plan, replace(readings, readings=(Reading(readings.now, Store.BATTERY, "volts", volts),)))
    row = STORES.index(Store.BATTERY)
    assert 100 - float(found.belief.used[row]) == pytest.approx(level, abs=2.5)
    line = next(text for text in found.told if "battery at" in text)
    assert word in line
    assert ("flat or failing" in line) == (volts < 10.5)
    if word:
        assert not {"load", "sun"} & {entry.part for entry in found.learned}


def test_a_service_still_to_come_is_refused_in_one_line(plans: dict[str, Plan], region: Region, trip: Trip) -> None:
    """What is dated after now, or before the plan, would count for nothing: it is named with its time."""
    plan = plans["family_loop"]
    good = at(plan, 3, 9.0, (Store.GREY, 5.0))
    for when in (good.now + timedelta(hours=1), trip.pick_up - timedelta(hours=1)):
        with pytest.raises(BadInputError, match="a service of grey, cassette is dated") as caught:
            rest_of(trip, plan, replace(good, services=(Done(when, (Store.GREY, Store.CASSETTE), done=True),)), region)
        assert "\n" not in str(caught.value)
