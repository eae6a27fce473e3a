"""The JSON Schema of `plan.json` (draft 2020-12), made from the classes of the model, so that it cannot say something else.

`plan.schema.json` beside this module holds it as published; `python -m tripplan.model.schema` writes it anew after a change of
the model, and a test compares the two.
"""

from __future__ import annotations

import inspect
import json
import re
from dataclasses import MISSING, fields, is_dataclass
from datetime import date, datetime
from enum import Enum
from pathlib import Path
from types import NoneType, UnionType
from typing import Any, Union, get_args, get_origin, get_type_hints

from tripplan.model.plan import PieceRun, Plan
from tripplan.model.serial import PLAN_FORMAT

__all__ = ["SCHEMA_FILE", "plan_schema", "schema_text"]

#: Where the published schema stands.
SCHEMA_FILE = Path(__file__).with_name("plan.schema.json")

_TIME = r"^\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(\.\d+)?(Z|[+-]\d\d:\d\d(:\d\d)?)$"
_SCALARS: dict[Any, dict[str, Any]] = {
    bool: {"type": "boolean"},
    int: {"type": "integer"},
    float: {"type": "number"},
    str: {"type": "string"},
    datetime: {"type": "string", "format": "date-time", "pattern": _TIME},
    date: {"type": "string", "format": "date", "pattern": r"^\d{4}-\d\d-\d\d$"},
}
#: What the reader checks beside the types, by class and field.
_BOUNDS: dict[tuple[str, str], dict[str, Any]] = {
    ("Spot", "lon"): {"minimum": -180, "maximum": 180},
    ("Spot", "lat"): {"minimum": -90, "maximum": 90},
    ("Spot", "place"): {"minimum": -1},
    ("Plan", "format"): {"const": PLAN_FORMAT},
    ("Plan", "days"): {"minItems": 1},
}
#: One entry of each column of road pieces; `forward` is written as 0 or 1.
_COLUMNS: dict[str, dict[str, Any]] = {
    "piece": {"type": "integer", "minimum": 0},
    "forward": {"enum": [0, 1]},
    "from_m": {"type": "number"},
    "to_m": {"type": "number"},
    "time_s": {"type": "number"},
}


def plan_schema() -> dict[str, Any]:
    """Return the schema: one definition for each class of the model that a plan holds, in the order in which they are met."""
    found: dict[str, dict[str, Any]] = {}
    root = _reference(Plan, found)
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "$id": f"urn:tripplan:plan:{PLAN_FORMAT.rsplit(' ', 1)[-1]}",
        "title": PLAN_FORMAT,
        **root,
        "$defs": found,
    }


def schema_text() -> str:
    """Return the schema as the text that is published, ending in a newline."""
    return json.dumps(plan_schema(), ensure_ascii=False, indent=1) + "\n"


def _of(kind: Any, found: dict[str, dict[str, Any]]) -> dict[str, Any]:
    """Return the schema of one type, its classes put into ``found``."""
    if isinstance(kind, type) and (is_dataclass(kind) or issubclass(kind, Enum)):
        return _reference(kind, found)
    origin, inside = get_origin(kind), get_args(kind)
    if origin is tuple and len(inside) == 2 and inside[1] is Ellipsis:
        return {"type": "array", "items": _of(inside[0], found)}
    if origin is tuple:
        return {
            "type": "array",
            "prefixItems": [_of(arm, found) for arm in inside],
            "minItems": len(inside),
            "maxItems": len(inside),
        }
    if origin is dict:
        return {"type": "object", "additionalProperties": _of(inside[1], found)}
    if origin in (UnionType, Union):
        return {"anyOf": [{"type": "null"} if arm is NoneType else _of(arm, found) for arm in inside]}
    if kind not in _SCALARS:
        raise TypeError(f"no schema for {kind!r}")
    return dict(_SCALARS[kind])


def _reference(kind: type, found: dict[str, dict[str, Any]]) -> dict[str, Any]:
    name = kind.__name__
    if name not in found:
        found[name] = {}  # keeps its place while what it holds is looked at
        if issubclass(kind, Enum):
            found[name] = {"description": _summary(kind), "enum": [member.value for member in kind]}
        else:
            found[name] = _columns(kind) if kind is PieceRun else _object(kind, found)
    return {"$ref": f"#/$defs/{name}"}


def _object(kind: type, found: dict[str, dict[str, Any]]) -> dict[str, Any]:
    hints, told = get_type_hints(kind), _told(kind)
    properties, required = {}, []
    for field in fields(kind):
        one = _of(hints[field.name], found) | _BOUNDS.get((kind.__name__, field.name), {})
        properties[field.name] = ({"description": told[field.name]} if field.name in told else {}) | one
        if field.default is MISSING and field.default_factory is MISSING:
            required.append(field.name)
    required += ["format"] if kind is Plan else []
    return {
        "description": _summary(kind),
        "type": "object",
        "properties": properties,
        "required": required,
        "additionalProperties": False,
    }


def _columns(kind: type) -> dict[str, Any]:
    told = _told(kind)
    return {
        "description": _summary(kind),
        "type": "object",
        "properties": {
            name: ({"description": told[name]} if name in told else {}) | {"type": "array", "items": one}
            for name, one in _COLUMNS.items()
        },
        "required": list(_COLUMNS),
        "additionalProperties": False,
    }


def _summary(kind: type) -> str:
    """Return what a class is, by the first paragraph of its description."""
    return " ".join((inspect.getdoc(kind) or "").split("\n\n")[0].split())


def _told(kind: type) -> dict[str, str]:
    """Return what the description of a class says about each of its fields."""
    _, _, part = (inspect.getdoc(kind) or "").partition("Parameters\n----------\n")
    out: dict[str, str] = {}
    for names, words in re.findall(r"^(\w+(?:, \w+)*)\n((?:    .*\n?|\n(?=    ))+)", part, re.MULTILINE):
        out |= dict.fromkeys(names.split(", "), " ".join(words.split()))
    return out


if __name__ == "__main__":
    SCHEMA_FILE.write_text(schema_text(), encoding="utf-8")
