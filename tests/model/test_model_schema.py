"""The published schema of `plan.json`: current, valid itself, and of one mind with the reader."""

from __future__ import annotations

import copy
import json
from datetime import date, datetime
from typing import Any

import pytest
from helpers import plans
from helpers.anyplan import plans as any_plans
from hypothesis import HealthCheck, Phase, given, settings
from jsonschema import Draft202012Validator, FormatChecker

from tripplan.model.errors import BadInputError
from tripplan.model.schema import SCHEMA_FILE, plan_schema, schema_text
from tripplan.model.serial import PLAN_FORMAT, plan_from_json, plan_to_json

SCHEMA = json.loads(SCHEMA_FILE.read_text(encoding="utf-8"))
FORMATS = FormatChecker(())


@FORMATS.checks("date-time", ValueError)
def _is_time(text: object) -> bool:
    """RFC 3339: a time with its offset."""
    return not isinstance(text, str) or datetime.fromisoformat(text).tzinfo is not None


@FORMATS.checks("date", ValueError)
def _is_date(text: object) -> bool:
    return not isinstance(text, str) or bool(date.fromisoformat(text))


CHECK = Draft202012Validator(SCHEMA, format_checker=FORMATS)
PLAN: dict[str, Any] = json.loads(plan_to_json(plans.plan(4)))


def test_the_published_schema_is_current() -> None:
    """The file says what the classes say; if this fails after a change of the model: python -m tripplan.model.schema."""
    assert SCHEMA_FILE.read_text(encoding="utf-8") == schema_text()


def test_the_schema_is_one() -> None:
    """It keeps to its own standard, its identity needs no host, and each definition is used."""
    Draft202012Validator.check_schema(SCHEMA)
    assert SCHEMA["$id"] == f"urn:tripplan:plan:{PLAN_FORMAT.split()[-1]}"
    text = json.dumps(SCHEMA)
    assert all(f'"#/$defs/{name}"' in text for name in SCHEMA["$defs"])
    assert plan_schema()["$defs"]["LevelLine"]["properties"]["limit"]["description"].startswith("Level that must not be passed")


def test_a_plan_keeps_to_the_schema() -> None:
    """What is written is valid by an independent validator."""
    CHECK.validate(PLAN)


@settings(max_examples=40, deadline=None, suppress_health_check=list(HealthCheck), phases=[Phase.generate])
@given(any_plans())
def test_any_plan_keeps_to_the_schema(plan: Any) -> None:
    """So does a plan of any content that has a day."""
    text = json.loads(plan_to_json(plan))
    if text["days"]:
        CHECK.validate(text)


def _spoilt(path: tuple[Any, ...], value: Any) -> dict[str, Any]:
    out = copy.deepcopy(PLAN)
    at: Any = out
    for key in path[:-1]:
        at = at[key]
    if value is KeyError:
        del at[path[-1]]
    else:
        at[path[-1]] = value
    return out


@pytest.mark.parametrize(
    ("path", "value"),
    [
        (("format",), "tripplan plan 0"), (("format",), KeyError), (("days",), []), (("days", 0, "number"), "1"), (("days", 0, "date"), "2026-13-01"),
        (("days", 0, "stranger"), 1), (("days", 0, "legs", 0, "mode"), KeyError), (("days", 0, "start", "lon"), 181), (("days", 0, "start", "place"), -2),
        (("trip", "pick_up"), "2026-11-30T10:00:00"), (("trip", "sights", 0, "via"), "boat"), (("days", 0, "legs", 0, "runs", "forward", 0), 2),
        (("days", 0, "legs", 0, "runs", "piece", 0), -1), (("days", 0, "night", "offers", "power", "answer"), 9), (("days", 0, "night"), 3), (("cost",), None),
    ],
)  # fmt: skip
def test_reader_and_schema_refuse_the_same(path: tuple[Any, ...], value: Any) -> None:
    """A spoilt plan is refused by both."""
    spoilt = _spoilt(path, value)
    assert not CHECK.is_valid(spoilt)
    with pytest.raises(BadInputError):
        plan_from_json(json.dumps(spoilt))


def test_reader_and_schema_take_the_same() -> None:
    """A plan without a key that has a default is taken by both."""
    spare = _spoilt(("assumptions",), KeyError)
    assert CHECK.is_valid(spare)
    plan_from_json(json.dumps(spare))
