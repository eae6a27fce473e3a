"""Turn restrictions that hold for a car with trailer or the car alone, and those that don't."""

from dataclasses import replace
from datetime import date

import pytest
from helpers.towing import CAR, VAN
from hypothesis import given
from hypothesis import strategies as st

from tripplan.rules.turns import RESTRICTIONS, TurnFact, in_force, judge_turns, spares

R = {"type": "restriction"}
ALWAYS = TurnFact(False, False)


@pytest.mark.parametrize(
    ("value", "only", "u_turn"),
    # id-tagging-schema, presets of type/restriction (published source), no_entry and no_exit among its historical ones.
    [("no_left_turn", False, False), ("no_right_turn", False, False), ("no_straight_on", False, False), ("no_u_turn", False, True),
     ("only_left_turn", True, False), ("only_right_turn", True, False), ("only_straight_on", True, False), ("only_u_turn", True, True),
     ("no_entry", False, False), ("no_exit", False, False)],
)  # fmt: skip
def test_values(value: str, only: bool, u_turn: bool) -> None:
    """Every documented value."""
    assert judge_turns({**R, "restriction": value}) == (TurnFact(only, u_turn),)
    assert value in RESTRICTIONS


@pytest.mark.parametrize(
    "tags",
    [
        {"restriction": "no_left_turn", "except": "motorcar"}, {"restriction": "no_left_turn", "except": "psv;motor_vehicle"},
        {"restriction:hgv": "no_left_turn"}, {"restriction:bicycle": "no_right_turn"}, {"restriction": "no_such_turn"}, {},
        {"restriction:conditional": "no_left_turn @ (hgv)"}, {"restriction:hgv:conditional": "no_left_turn @ (22:00-06:00)"},
        {"restriction": "no_left_turn", "restriction:motorcar": "none"}, {"restriction:conditional": "none @ (22:00-06:00)"},
    ],
)  # fmt: skip
def test_not_for_us(tags: dict[str, str]) -> None:
    """Exempt cars, restrictions on others, lifted or undocumented ones."""
    assert judge_turns({**R, **tags}) == ()


@pytest.mark.parametrize(
    ("tags", "tow", "car"),
    [
        ({"restriction:motorcar": "no_left_turn"}, True, True), ({"restriction:motor_vehicle": "no_left_turn"}, True, True),
        ({"restriction:trailer": "no_left_turn"}, True, False), ({"restriction:caravan": "no_left_turn"}, True, False),
        ({"type": "restriction:caravan", "restriction": "no_left_turn"}, True, False),
        ({"type": "restriction:motorcar", "restriction": "no_left_turn"}, True, True),
        ({"restriction": "no_left_turn", "except": "caravan"}, False, True), ({"restriction": "no_left_turn", "except": "trailer;psv"}, False, True),
        ({"restriction": "no_left_turn", "except": "psv;bicycle"}, True, True),
        ({"restriction": "no_left_turn", "restriction:caravan": "none"}, False, True),
        ({"restriction:conditional": "no_left_turn @ (trailer)"}, True, False),
        ({"restriction:conditional": "no_left_turn @ (motorcar)"}, True, True),
    ],
)  # fmt: skip
def test_for_whom(tags: dict[str, str], tow: bool, car: bool) -> None:
    """Keys, exemptions and conditions that name trailers leave the car alone out, or leave it alone in."""
    assert judge_turns({**R, **tags}) == (replace(ALWAYS, tow=tow, car=car),)


@pytest.mark.parametrize(
    ("tags", "when"),
    [
        ({"restriction:conditional": "no_left_turn @ (Mo-Fr 07:00-09:00)"}, "no @ (Mo-Fr 07:00-09:00)"),
        ({"restriction:conditional": "no_right_turn @ (length>8)"}, "no @ (length>8)"),
        ({"restriction:conditional": "no_left_turn @ (Mo-Fr 07:00-09:00); no_right_turn @ (Sa)"}, "no @ (Mo-Fr 07:00-09:00); no @ (Sa)"),
        ({"restriction": "no_left_turn", "restriction:conditional": "none @ (Sa,Su)"}, "no; yes @ (Sa,Su)"),
        ({"restriction": "no_left_turn", "restriction:conditional": "no_left_turn @ (Sa,Su)"}, ""),
        ({"restriction": "no_left_turn", "day_on": "Monday", "day_off": "Friday", "hour_on": "07:00", "hour_off": "09:00"},
         "no @ (Mo-Fr 07:00-09:00)"),
    ],
)  # fmt: skip
def test_conditions(tags: dict[str, str], when: str) -> None:
    """Dates, hours and sizes are handed on; what lifts a restriction at times too; old keys are joined."""
    assert judge_turns({**R, **tags}) == (TurnFact(False, False, when),)


def test_other_turns_at_other_times() -> None:
    """Two restrictions of different kind in one relation are two facts, the later one taking the earlier's place."""
    found = judge_turns({**R, "restriction": "no_left_turn", "restriction:conditional": "only_straight_on @ (Mo-Fr 07:00-09:00)"})
    assert found == (TurnFact(False, False, "no; yes @ (Mo-Fr 07:00-09:00)"), TurnFact(True, False, "no @ (Mo-Fr 07:00-09:00)"))
    assert judge_turns({"type": "multipolygon", "restriction": "no_left_turn"}) == ()


FRIDAY, SATURDAY = date(2026, 5, 1), date(2026, 5, 2)


@pytest.mark.parametrize(
    ("when", "friday", "saturday"),
    [
        ("", True, True), ("no @ (Mo-Fr 07:00-09:00)", True, False), ("no @ (22:00-06:00)", True, True), ("no; yes @ (Sa,Su)", True, False),
        ("no; yes @ (Sa 22:00-23:00)", True, True), ("no @ (Nov-Apr)", False, False), ("no @ (when the sheep are out)", True, True),
        ("no @ (length>8)", True, True), ("no @ (length>20)", False, False), ("no @ (length>8 AND Mo-Fr)", True, False),
        ("no @ (weight>7.5)", False, False), ("no @ (weight>3)", True, True), ("no @ (occupants>1)", True, True),
        ("no; yes @ (length<6)", True, True), ("no; yes @ (length<=12 AND Sa)", True, False),
    ],
)  # fmt: skip
def test_in_force(when: str, friday: bool, saturday: bool) -> None:
    """By date and by the outfit's size (12 m, 3.2 t): an hour counts for the day, what nobody can read or tell holds."""
    assert [in_force(when, day, outfit=VAN) for day in (FRIDAY, SATURDAY)] == [friday, saturday]


def test_in_force_within_hours() -> None:
    """Where the hours on the road are given a restriction outside them does not hold."""
    for hours, holds in (((9 * 60, 18 * 60), False), ((8 * 60, 18 * 60), True), (None, True)):
        assert in_force("no @ (Mo-Fr 07:00-09:00)", FRIDAY, hours=hours) is holds
    assert not in_force("no; yes @ (10:00-17:00)", FRIDAY, hours=(11 * 60, 16 * 60))
    assert in_force("no; yes @ (10:00-17:00)", FRIDAY)


def test_spares() -> None:
    """A restriction by size that no date can make hold for this outfit; by dates alone none is spared."""
    assert spares("no @ (length>8)", CAR)
    assert not spares("no @ (length>8)", VAN)
    assert spares("no @ (length>8 AND Mo-Fr)", CAR)
    assert not spares("no @ (Mo-Fr)", CAR)
    assert not spares("", CAR)


@given(
    st.dictionaries(
        st.sampled_from(
            ["type", "restriction", "except", "restriction:conditional", "restriction:caravan:conditional", "day_on"]
        ),
        st.one_of(
            st.text(max_size=30),
            st.from_regex(r"(no_left_turn|none|only_u_turn) @ \([a-zA-Z0-9<>=: -]{0,12}\)(; none @ \(Sa\))?"),
        ),
    )
)
def test_any_text_gets_an_answer(tags: dict[str, str]) -> None:
    """No text raises, and what comes out can be held against a date and an outfit."""
    for fact in judge_turns({**R, **tags}):
        assert fact.tow or fact.car
        assert in_force(fact.when, FRIDAY, outfit=VAN) in (True, False)
        assert spares(fact.when, CAR) in (True, False)
