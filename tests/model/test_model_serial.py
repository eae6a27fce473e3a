"""plan.json: the same bytes for the same plan, and nothing half-sound comes back in."""

from __future__ import annotations

import contextlib
import json
import re
from dataclasses import replace

import pytest
from helpers import plans as made_plans
from helpers.anyplan import plans
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tripplan.model.errors import BadInputError
from tripplan.model.plan import Plan
from tripplan.model.serial import plan_from_json, plan_to_json

SLOW = settings(
    max_examples=40, deadline=None, derandomize=True, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large]
)


@pytest.fixture(scope="module")
def plan() -> Plan:
    """One plan, always the same, with a leg of road in it."""
    found: list[Plan] = []

    @given(plans())
    @settings(max_examples=60, deadline=None, derandomize=True, database=None, suppress_health_check=list(HealthCheck))
    def look(made: Plan) -> None:
        if any(leg.runs.piece for day in made.days for leg in day.legs) and made.days[0].events and made.trip.sights:
            found.append(made)

    look()
    return max(found, key=lambda p: len(plan_to_json(p)))


@SLOW
@given(plans())
def test_round_trip(made: Plan) -> None:
    """A plan read back equals the plan written, and writing it again gives the same bytes."""
    text = plan_to_json(made)
    back = plan_from_json(text)
    assert back == made
    assert plan_to_json(back) == text
    assert back.trip.pick_up.utcoffset() == made.trip.pick_up.utcoffset()
    text.encode("utf-8")


def test_numbers_are_rounded(plan: Plan) -> None:
    """Noise beyond the stated decimals does not change a byte."""
    day = plan.days[0]
    noisy = replace(
        plan, cost=plan.cost, days=(replace(day, start=replace(day.start, lon=round(day.start.lon, 7) + 2e-9)), *plan.days[1:])
    )
    assert plan_to_json(noisy) == plan_to_json(plan)


def test_lone_surrogates_do_not_break_writing(plan: Plan) -> None:
    """A name that UTF-8 cannot hold is written with U+FFFD, and the text can be encoded."""
    text = plan_to_json(replace(plan, region_name="a\ud800b"))
    assert json.loads(text.encode("utf-8"))["region_name"] == "a�b"


def test_not_finite_is_refused(plan: Plan) -> None:
    """NaN never reaches a file."""
    with pytest.raises(ValueError, match=r"proof\.gap is nan"):
        plan_to_json(replace(plan, proof=replace(plan.proof, gap=float("nan"))))


def mended(plan: Plan, path: str, value: object) -> str:
    """Return the plan's text with one value changed; `...` takes the key away."""
    raw = json.loads(plan_to_json(plan))
    node = raw
    *way, last = [int(p) if p.isdigit() else p for p in path.split(".")]
    for step in way:
        node = node[step]
    if value is ...:
        del node[last]
    else:
        node[last] = value
    return json.dumps(raw)


@pytest.mark.parametrize(
    ("path", "value", "says"),
    [
        ("format", "tripplan plan 0", "`format` is \"tripplan plan 0\"; accepted: tripplan plan 1"),
        ("format", ..., "is not a plan: it has no `format`"),
        ("days", [], "`days` is empty; accepted: at least one day"),
        ("trip.van.fresh_l", -5, "plan.trip.van: `fresh_l` is -5; accepted: 5 to 400 L"),
        ("trip.van.fresh_l", "60 L", "plan.trip.van.fresh_l: is \"60 L\"; accepted: a number"),
        ("trip.van.fresh_l", True, "plan.trip.van.fresh_l: is true; accepted: a number"),
        ("trip.van.gas_bottles", 1.5, "plan.trip.van.gas_bottles: is 1.5; accepted: a whole number"),
        ("trip.ferries", 1, "plan.trip.ferries: is 1; accepted: true or false"),
        ("trip.tz", "Nowhere/Land", "plan.trip: `tz` is \"Nowhere/Land\""),
        ("trip.tz", "../../etc/passwd", "plan.trip: `tz` is"),
        ("trip.pick_up", "2026-02-03T10:00:00", "plan.trip.pick_up: is \"2026-02-03T10:00:00\"; accepted: a time with its offset"),
        ("trip.return_by", "2001-02-03T10:00:00+00:00", "plan.trip: return 2001-02-03"),
        ("trip.van.berth", 4, "plan.trip.van: key 'berth' is unknown; accepted: name, fresh_l"),
        ("cost.total_cents", ..., "plan.cost: key 'total_cents' is missing"),
        ("days.0.start.lat", 91, "accepted: -180 to 180, -90 to 90 degrees"),
        ("days.0.start.place", -7, "`place` is -7"),
        ("days.0.date", "20260203", "plan.days[0].date: is \"20260203\"; accepted: a date such as 2026-02-03"),
        ("trip.sights.0.via", "boat", "plan.trip.sights[0].via: is \"boat\"; accepted: van, car only, either"),
        ("days", {}, "plan.days: is {}; accepted: a list"),
        ("proof", 3, "plan.proof: is 3; accepted: a table"),
    ],
)  # fmt: skip
def test_what_cannot_be_is_refused(plan: Plan, path: str, value: object, says: str) -> None:
    """Each wrong value gets one line that says where it stands and what is accepted."""
    with pytest.raises(BadInputError) as caught:
        plan_from_json(mended(plan, path, value), "plan.json")
    assert str(caught.value).startswith("plan.json")
    assert says in str(caught.value)
    assert "make the plan again" in str(caught.value)


@pytest.mark.parametrize("column", ["piece", "forward", "time_s"])
def test_broken_columns_are_refused(plan: Plan, column: str) -> None:
    """Road pieces are columns of one length and of numbers that can be."""
    raw = json.loads(plan_to_json(plan))
    run = next(leg["runs"] for day in raw["days"] for leg in day["legs"] if leg["runs"]["piece"])
    run[column][0] = -1
    with pytest.raises(BadInputError, match=rf"runs\.{column}"):
        plan_from_json(json.dumps(raw))
    run[column].pop()
    with pytest.raises(BadInputError, match="columns of equal length"):
        plan_from_json(json.dumps(raw))


@pytest.mark.parametrize(
    "text",
    ["", "{", "[" * 100_000, b"\xff\xfe", '{"format": NaN}', '{"a": 1, "a": 2}', "[]", "null", '{"format": ' + "9" * 5000 + "}"],
)
def test_not_json_is_one_line(text: str | bytes) -> None:
    """Whatever is handed in as a plan ends in a plan or in one line."""
    with pytest.raises(BadInputError) as caught:
        plan_from_json(text, "x.json")
    assert "\n" not in str(caught.value)
    assert str(caught.value).startswith("x.json")


@settings(max_examples=150, deadline=None, derandomize=True)
@given(st.data())
def test_any_change_of_a_value_is_caught_or_sound(plan: Plan, data: st.DataObject) -> None:
    """Putting anything anywhere never ends in another error than the one for bad input."""
    raw = json.loads(plan_to_json(plan))
    node = raw
    while True:
        keys = list(node) if isinstance(node, dict) else list(range(len(node)))
        key = data.draw(st.sampled_from(keys))
        if not isinstance(node[key], dict | list) or not node[key] or data.draw(st.integers(0, 5)) == 0:
            break
        node = node[key]
    node[key] = data.draw(st.sampled_from([None, True, -1, 2.5, 1e308, "", "x", [], {}, [[]], {"a": 1}, 10**30]))
    with contextlib.suppress(BadInputError):
        plan_from_json(json.dumps(raw))


@pytest.mark.parametrize("name", ["sunset_margin_min", "leave_after_min", "arrive_by_min"])
def test_minutes_of_a_day_are_no_more_than_a_day_has(name: str) -> None:
    """A plan whose trip holds minutes beyond any day is refused in one line, instead of running out of the calendar later."""
    text = plan_to_json(made_plans.plan(2))
    spoilt = re.sub(rf'("{name}": ?)-?\d+', r"\g<1>2147483648", text)
    assert spoilt != text
    with pytest.raises(BadInputError, match=name):
        plan_from_json(spoilt)
