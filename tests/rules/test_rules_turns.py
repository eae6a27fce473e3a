"""Turn restrictions that hold for a car with trailer, and those that don't."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tripplan.rules.turns import RESTRICTIONS, TurnFact, judge_turn

R = {"type": "restriction"}


@pytest.mark.parametrize(
    ("value", "only", "u_turn"),
    # id-tagging-schema, presets of type/restriction (published source), no_entry and no_exit among its historical ones.
    [("no_left_turn", False, False), ("no_right_turn", False, False), ("no_straight_on", False, False), ("no_u_turn", False, True),
     ("only_left_turn", True, False), ("only_right_turn", True, False), ("only_straight_on", True, False), ("only_u_turn", True, True),
     ("no_entry", False, False), ("no_exit", False, False)],
)  # fmt: skip
def test_values(value: str, only: bool, u_turn: bool) -> None:
    """Every documented value."""
    assert judge_turn({**R, "restriction": value}) == TurnFact(only, u_turn)
    assert value in RESTRICTIONS


@pytest.mark.parametrize(
    "tags",
    [
        {"restriction": "no_left_turn", "except": "motorcar"}, {"restriction": "no_left_turn", "except": "psv;motor_vehicle"},
        {"restriction:hgv": "no_left_turn"}, {"restriction:bicycle": "no_right_turn"}, {"restriction": "no_such_turn"}, {},
        {"restriction:conditional": "no_left_turn @ (weight>7.5)"}, {"restriction:conditional": "no_left_turn @ (hgv)"},
        {"restriction:hgv:conditional": "no_left_turn @ (22:00-06:00)"},
    ],
)  # fmt: skip
def test_not_for_us(tags: dict[str, str]) -> None:
    """Exempt cars, restrictions on others, heavy vehicles, undocumented values."""
    assert judge_turn({**R, **tags}) is None


@pytest.mark.parametrize(
    "key", ["restriction:motorcar", "restriction:motor_vehicle", "restriction:trailer", "restriction:caravan"]
)
def test_for_us_by_key(key: str) -> None:
    """Restrictions written for cars, motor vehicles, trailers, caravans."""
    assert judge_turn({**R, key: "no_left_turn"}) == TurnFact(False, False)


def test_exemptions_that_stay() -> None:
    """Exempt buses and bicycles leave it in force; exempt caravans too, for the car alone has to keep it."""
    for text in ("psv", "bicycle;psv", "caravan", "trailer", ""):
        assert judge_turn({**R, "restriction": "no_u_turn", "except": text}) == TurnFact(False, True)


def test_conditions() -> None:
    """Hours are handed on raw, vehicle clauses that hold for us leave no condition, old keys are joined."""
    assert judge_turn({**R, "restriction:conditional": "no_left_turn @ (Mo-Fr 07:00-09:00)"}) == TurnFact(
        False, False, "Mo-Fr 07:00-09:00"
    )
    assert judge_turn({**R, "restriction:conditional": "no_right_turn @ (trailer)"}) == TurnFact(False, False, "")
    assert judge_turn({**R, "restriction:conditional": "no_right_turn @ (length>8)"}) == TurnFact(False, False, "")
    old = {**R, "restriction": "no_left_turn", "day_on": "Monday", "day_off": "Friday", "hour_on": "07:00", "hour_off": "09:00"}
    assert judge_turn(old) == TurnFact(False, False, "Mo-Fr 07:00-09:00")
    assert judge_turn({"type": "multipolygon", "restriction": "no_left_turn"}) is None


@given(
    st.dictionaries(st.sampled_from(["type", "restriction", "except", "restriction:conditional", "day_on"]), st.text(max_size=30))
)
def test_any_text_gets_an_answer(tags: dict[str, str]) -> None:
    """No text raises."""
    fact = judge_turn(tags)
    assert fact is None or isinstance(fact, TurnFact)
