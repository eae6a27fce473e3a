"""Whatever a plan of the sample tells, its German papers tell in German: closures, choices, and why there is no plan too."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

import pytest
from helpers.tongues import english_left, said_by

from tripplan.cli.closures import closure_words
from tripplan.model.choice import LeftOut
from tripplan.model.closure import WIND, Closure
from tripplan.model.errors import NoPlanError
from tripplan.model.place import Spot
from tripplan.model.plan import Excess, Plan
from tripplan.model.track import Track
from tripplan.model.trip import Trip
from tripplan.region.geometry import run_line
from tripplan.region.region import Region
from tripplan.report import retell as retelling
from tripplan.report.catalogue import catalogue_page, catalogue_words
from tripplan.report.check_map import check_map
from tripplan.report.check_words import found_words, head_words
from tripplan.report.choices import choice_words, choices_page
from tripplan.report.language import Language, speaking
from tripplan.report.retell import known, retell
from tripplan.report.sheets.blocks import texts
from tripplan.report.words import no_plan_words, summary
from tripplan.request.trip_file import load_trip
from tripplan.roads.check import check
from tripplan.roads.terms import terms_every_road, terms_for_firm
from tripplan.roads.track_check import check_track
from tripplan.rules.trial import FEATURES
from tripplan.schedule.changes import changes_for
from tripplan.schedule.choices import choices, sums_of
from tripplan.schedule.kept_off import _kept_off
from tripplan.schedule.plan import make_plan
from tripplan.schedule.remedies import missing_offers
from tripplan.schedule.suggest import THEMES, Suggestion, sights_seen
from tripplan.schedule.suggest_sights import pick
from tripplan.schedule.suggest_values import value_sights

SAMPLE = Path(__file__).resolve().parents[2] / "data_sample"
GERMAN = Language("de")


class Heard:
    """Texts of plans that were to be told and that no pattern fits."""

    def __init__(self) -> None:
        self.texts: set[str] = set()

    def left(self) -> set[str]:
        """Return those that are no key of a file and no tag of the map either: these stand as they are written there."""
        return {text for text in self.texts if not known(text) and not re.match(r"\[|avoid = |[a-z:_]+=[a-z_0-9]+$", text)}


@pytest.fixture
def heard(monkeypatch: pytest.MonkeyPatch) -> Heard:
    """What `retell` meets and does not know, while a test runs."""
    heard, fits = Heard(), retelling._fits

    def listening(text: str) -> tuple[str, dict[str, str]] | None:
        found = fits(text)
        if found is None:
            heard.texts.add(text)
        return found

    monkeypatch.setattr(retelling, "_fits", listening)
    return heard


def told_in_german(plan: Plan, region: Region) -> list[str]:
    """Return every text of the sheets, the map and the summary, in German."""
    from tripplan.report.itinerary import sheets_of
    from tripplan.report.map import map_page

    with speaking(GERMAN):
        said = [text for sheet in sheets_of(plan, region) for text in texts(sheet)]
        return said + said_by(map_page(plan, region)) + summary(plan) + closure_words(plan.closures, plan.trip.closures_left)


@pytest.mark.parametrize("name", ["family_loop", "isle_weekend", "round_island"])
def test_a_sample_trip_is_told_in_german(plans: dict[str, Plan], region: Region, heard: Heard, name: str) -> None:
    """No text of the plan goes over untold, and no sentence of the catalogue stands in English on any paper."""
    said = told_in_german(plans[name], region)
    assert not heard.left()
    assert not english_left(said)
    assert len(said) > 500


@pytest.fixture(scope="module")
def closed(plans: dict[str, Plan], region: Region) -> Plan:
    """The family's trip with a gale over a standing day's site, a bridge closed for good that no map has, and a feed of which some is left out."""
    plan = plans["family_loop"]
    standing = next(day for day in plan.days if day.kind == "standing" and not day.legs)
    lon, lat = standing.start.lon, standing.start.lat
    area = (
        (lon - 0.02, lat - 0.02),
        (lon + 0.02, lat - 0.02),
        (lon + 0.02, lat + 0.02),
        (lon - 0.02, lat + 0.02),
        (lon - 0.02, lat - 0.02),
    )
    trip = replace(
        plan.trip,
        closures=(
            Closure("Bridge works", "closed", "Roads office", plan.days[0].date, None, (), (), (999_999,)),
            Closure("Gale", WIND, "Weather office", standing.date, standing.date, (), (area,)),
        ),
        closures_left=("1 feature left out: over, or called off", "2 features left out: vehicle impact not told: look at it yourself"),
    )  # fmt: skip
    return make_plan(trip, region)


def test_closures_are_told_in_german(closed: Plan, region: Region, heard: Heard) -> None:
    """Roads kept off, a van that stays for the wind, and what was left out of a feed."""
    assert [c.effect for day in closed.days for c in day.closures] == ["stays"]
    # What a road kept off is told as, on the first day.
    text = _kept_off(closed.trip.closures[0], "Long Lee", "Larkrigg").text
    first = replace(closed.days[0], notes=(*closed.days[0].notes, text))
    said = told_in_german(replace(closed, days=(first, *closed.days[1:])), region)
    assert not heard.left()
    assert not english_left(said)
    everything = " ".join(said)
    for words in (
        "Windwarnung am Do., 5. Februar 2026",
        "Bleiben Sie stehen",
        "Gesperrt ab",
        "NICHT GEFUNDEN",
        "1 Eintrag weggelassen: vorbei oder abgesagt",
    ):
        assert words in everything, words


def _none(trip: Trip, region: Region) -> NoPlanError:
    with pytest.raises(NoPlanError) as none:
        make_plan(trip, region)
    return none.value


def test_no_plan_is_told_in_german(region: Region, heard: Heard) -> None:
    """What the nearest plan breaks and why, each change that is tried, and what a map lacks."""
    north = load_trip(SAMPLE / "trip_too_long_in_the_north.toml", region)
    weekend = load_trip(SAMPLE / "trip_isle_weekend.toml", region)
    hurried = replace(weekend, arrive_by_min=11 * 60)
    fenced = replace(weekend, site_kinds=("other",))
    said = []
    with speaking(GERMAN):
        for trip in (north, hurried, fenced):
            error = _none(trip, region)
            assert all(isinstance(e, Excess) for e in error.excesses)
            said += no_plan_words(error)
            said += [retell(text) for option in changes_for(trip, region) for text in (option.change.text, option.change.how)]
        bare = replace(region, places=())
        said += [retell(text) for text in missing_offers(bare)]
    assert not heard.left()
    assert not english_left(said)


def test_choices_are_told_in_german(plans: dict[str, Plan], region: Region, heard: Heard) -> None:
    """Several plans beside each other, and why others are not shown."""
    plan, others = plans["family_loop"], iter(("isle_weekend", "round_island", "isle_weekend"))
    found = choices(plan.trip, plan, lambda trip: replace(plans[next(others)], trip=trip))
    folders = {choice.key: "" for choice in found.shown}
    with speaking(GERMAN):
        said = choice_words(found, plan.trip, folders) + said_by(choices_page(found, plan.trip, folders))
    assert not heard.left()
    assert not english_left(said)


def test_a_check_is_told_in_german(plans: dict[str, Plan], region: Region, heard: Heard) -> None:
    """Way-points and a track, for a van and for one that is too high, the list and the map; and every reason that the region holds."""
    trip = plans["round_island"].trip
    when = trip.pick_up.date()
    spots = [Spot(p.ref, p.name, p.lon, p.lat, p.index) for p in region.places if p.name][::9][:6]
    line = run_line(region, plans["round_island"].days[0].legs[0].runs)[::-1]
    said = []
    for outfit in (trip.outfit, replace(trip.outfit, height_m=4.4, mass_kg=9000.0)):
        terms = terms_for_firm(outfit, trip.firm, region, (when,))
        times = [10.0 * n for n in range(len(line))]
        track = Track.of(line[:, 0], line[:, 1], times, name="Drive", remarks=("3 of 9 points have no time",))
        for result in (check(region, spots, terms_every_road(terms), terms), check_track(region, track, terms)):
            with speaking(GERMAN):
                head = head_words(outfit, when, region)
                said += [head, *found_words(result), *said_by(check_map(result, region, head, name="Weg"))]
    with speaking(GERMAN):
        for column in (region.ways.surface_why, region.ways.access_why, region.ways.caution):
            said += [retell(line) for n in set(column.tolist()) if n >= 0 for line in region.string(n).split("\n")]
        said += [retell(text) for text in FEATURES.values()]
    assert not heard.left()
    assert not english_left(said)
    assert sum("Gespann gesperrt" in text or "Höhe beschränkt" in text for text in said) > 0


def test_suggested_loops_are_told_in_german(plans: dict[str, Plan], region: Region, heard: Heard) -> None:
    """The catalogue with every theme, what each gives up, why sights are its own or left out, and why loops are not shown."""
    plan = plans["isle_weekend"]
    valued = value_sights(region)
    picked = pick(plan.trip, valued, lambda sight: sight.cents, 3)
    own = tuple((v.spot.name, v.hills or f"{v.coast_km:.1f} km from the coast") for v in valued)
    shown, left = [], [LeftOut(THEMES[0].title, 'it spends 3 of 4 nights at the same places as "Along the coast"')]
    for theme in THEMES:
        base = Suggestion(theme, plan, plan.trip, sums_of(plan, plan.trip), picked, sights_seen(plan), own)
        shown += [replace(base, gave_up=gave_up) for gave_up, _ in theme.steps]
        if theme.lacks is not None:
            bare = theme.lacks(replace(plan.trip, ferries=False), replace(region, places=()), ())
            left.append(LeftOut(theme.title, bare))
    with speaking(GERMAN):
        page = catalogue_page(shown, left, plan.trip, region, {theme.key: f"{theme.key}/" for theme in THEMES})
        said = said_by(page) + [line for found in (*shown, *left) for line in catalogue_words(found, "folder")]
    assert not heard.left()
    assert not english_left(said)
    assert '<html lang="de">' in page
