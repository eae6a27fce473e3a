"""Several plans for one trip: each best by its own measure, really different, and told with what it gives up."""

from __future__ import annotations

from dataclasses import replace
from itertools import combinations
from pathlib import Path

import pytest

from tripplan.audit.run import audit
from tripplan.model.choice import Choices
from tripplan.model.plan import Plan
from tripplan.model.trip import Trip, Weights
from tripplan.region.region import Region
from tripplan.report.choices import choice_words, choices_page
from tripplan.request.trip_file import load_trip
from tripplan.schedule.choices import MEASURES, MOST_SHARED, choices, shared_nights, sums_of
from tripplan.schedule.plan import make_plan

SAMPLE = Path(__file__).resolve().parents[2] / "data_sample"


@pytest.fixture(scope="module")
def region() -> Region:
    """The sample island."""
    from tripplan.pipeline import sample_region

    return sample_region()


@pytest.fixture(scope="module")
def trip(region: Region) -> Trip:
    """The family's trip, without its wishes for nights: room for other ways to spend it."""
    trip = load_trip(SAMPLE / "trip_family_loop.toml", region)
    return replace(trip, max_one_night_stays=-1, powered_nights_at_least=2)


@pytest.fixture(scope="module")
def best(trip: Trip, region: Region) -> dict[str, Plan]:
    """The plan that each measure makes."""
    return {m.key: make_plan(replace(trip, weights=m.weights(trip.weights)), region) for m in MEASURES}


@pytest.fixture(scope="module")
def found(trip: Trip, region: Region, best: dict[str, Plan]) -> Choices:
    """The choices, from the plans of the measures."""
    made = {m.weights(trip.weights): best[m.key] for m in MEASURES}
    return choices(trip, best["as-asked"], lambda t: made[t.weights])


def test_each_measure_is_best_at_what_it_measures(trip: Trip, best: dict[str, Plan]) -> None:
    """No plan has fewer kilometres than the one for fewest, costs less than the cheapest, or counts as more comfortable."""
    sums = {key: sums_of(plan, trip) for key, plan in best.items()}
    assert all(plan.proof.proven for plan in best.values())
    for key, other in sums.items():
        assert sums["fewest-km"].towing_km + sums["fewest-km"].car_km <= other.towing_km + other.car_km + 0.05, key
        assert sums["cheapest"].money_cents <= other.money_cents, key
    assert sums["most-comfort"].powered >= sums["as-asked"].powered
    assert sums["most-comfort"].one_night <= sums["as-asked"].one_night


def test_a_measure_costs_the_same_plan_as_the_search_does(trip: Trip, region: Region, best: dict[str, Plan]) -> None:
    """The parts of a plan's cost add up to what was proven, with what comfort counts among them, and the audit agrees."""
    for key, plan in best.items():
        c = plan.cost
        whole = c.money_cents + c.drive_cents + c.service_stop_cents + c.one_night_cents + c.comfort_cents - c.sights_value_cents
        assert c.total_cents == whole == plan.proof.bound_cents, key
        assert [f for f in audit(plan, region) if f.what == "cost"] == []
    assert best["as-asked"].cost.comfort_cents == 0
    assert best["fewest-km"].cost.comfort_cents > 0


def test_what_is_shown_really_differs(trip: Trip, found: Choices) -> None:
    """No two plans shown share more than seven nights in ten; each measure is either shown or left out with a reason."""
    assert found.shown[0].key == "as-asked"
    assert 2 <= len(found.shown) <= 4
    for one, other in combinations(found.shown, 2):
        assert shared_nights(one.plan, other.plan) <= MOST_SHARED
    assert {c.title for c in found.shown} | {x.title for x in found.left_out} == {m.title for m in MEASURES}
    for choice in found.shown[1:]:
        assert choice.gives_up  # else the first would not be best by the trip's own weights
    assert all(x.why for x in found.left_out)


def test_a_plan_that_shares_its_nights_is_left_out_and_said(trip: Trip, best: dict[str, Plan]) -> None:
    """When every measure makes the same plan, one is shown, and the words say so of the others."""
    only = choices(trip, best["as-asked"], lambda _: best["as-asked"])
    assert len(only.shown) == 1
    assert len(only.left_out) == 3
    lines = choice_words(only, trip, {"as-asked": ""})
    assert lines[0].startswith("Only one plan")
    assert sum("not shown, nothing better at it was found" in line for line in lines) == 3
    assert shared_nights(best["as-asked"], best["as-asked"]) == 1.0


def test_weights_already_asked_for_are_not_planned_twice(trip: Trip, best: dict[str, Plan]) -> None:
    """A trip that counts nothing but money has the cheapest plan already."""
    money = Weights(drive_hour_cents=0, service_stop_cents=0, one_night_cents=0)
    only = choices(replace(trip, weights=money), best["cheapest"], lambda _: best["as-asked"])
    assert any(x.title == "Cheapest" and "already" in x.why for x in only.left_out)


def test_the_page_sets_them_side_by_side_and_is_safe(trip: Trip, found: Choices) -> None:
    """Each plan has its column and a link to its papers; a hostile name of the trip stays text."""
    nasty = replace(trip, name="<script>alert(1)</script>{{7*7}}")
    folders = {c.key: "" if n == 0 else f"choice-{c.key}/" for n, c in enumerate(found.shown)}
    page = choices_page(found, nasty, folders)
    assert "<script" not in page
    assert "{{" not in page
    for choice in found.shown:
        assert f">{choice.title}</th>" in page
        assert f'href="{folders[choice.key]}map.html"' in page
    lines = "\n".join(choice_words(found, trip, folders))
    for choice in found.shown[1:]:
        assert choice.gives_up[0] in lines
