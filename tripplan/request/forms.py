"""Tables from people, checked: strict types, ranges, unknown keys with the nearest known one, units where they do not belong."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import date, datetime, time
from functools import cache
from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field, StringConstraints, ValidationError, create_model

from tripplan.model.errors import BadInputError
from tripplan.request.keys import NEEDED, Key, keys_of
from tripplan.request.nearest import nearest_key

__all__ = ["Origin", "checked"]

_UNIT_WORDS = {"L": "litres", "kg": "kilograms", "m": "metres", "Ah": "ampere hours", "km/h": "kilometres an hour", "h": "hours", "min": "minutes", "°C": "degrees Celsius"}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Origin:
    """Where a table was written: the file, its text, and the table's name in it ("" at top level)."""

    file: str
    text: str
    table: str = ""

    def at(self, key: str) -> str:
        """Return file, table and, where it can be told, the line of a key."""
        parts = [self.file]
        if self.table:
            parts.append(f"[{self.table}]")
        lines = [n for n, line in enumerate(self.text.splitlines(), 1) if re.match(rf"\s*\"?{re.escape(key)}\"?\s*=", line)]
        if key and len(lines) == 1:
            parts.append(f"line {lines[0]}")
        return ", ".join(parts)


def checked(table: str, raw: Any, origin: Origin) -> dict[str, Any]:
    """Return a table's values with defaults filled in.

    Defaults in angle brackets (they follow from other values) come back as None.

    Raises
    ------
    BadInputError
        For the first thing that is wrong, and how many more there are.
    """
    if not isinstance(raw, dict):
        raise BadInputError(
            f"is {_show(raw)}", where=origin.at(""), accepted="a table of keys", next_step="give its keys one by one"
        )
    try:
        form = _form(table).model_validate(raw)
        return {key.name: getattr(form, key.name) for key in keys_of(table)}
    except ValidationError as error:
        faults = error.errors(include_url=False, include_context=False)
    faults.sort(
        key=lambda fault: (fault["type"] != "extra_forbidden", fault["type"] == "missing")
    )  # a misspelt key explains a missing one
    raise _told(table, faults[0], len(faults) - 1, raw, origin)


@cache
def _form(table: str) -> type[BaseModel]:
    slots: dict[str, Any] = {}
    for key in keys_of(table):
        default = key.default
        if default is NEEDED:
            default = ...
        elif isinstance(default, str) and default.startswith("<"):
            default = None
        slots[key.name] = (_type(key), default)
    return create_model(f"{table}_form", __config__=ConfigDict(strict=True, extra="forbid", hide_input_in_errors=True), **slots)


def _type(key: Key) -> Any:
    match key.kind:
        case "number":
            return Annotated[float, Field(ge=key.low, le=key.high, allow_inf_nan=False)]
        case "whole":
            return Annotated[int, Field(ge=key.low, le=key.high)]
        case "yes_no":
            return bool
        case "text":
            return Annotated[str, StringConstraints(max_length=int(key.high or 200), strip_whitespace=True)]
        case "choice":
            return _word_of(key)
        case "choices":
            words: Any = _word_of(key)
            return list[words]
        case "texts":
            return list[Annotated[str, StringConstraints(max_length=200, strip_whitespace=True)]]
        case "moment":
            return datetime
        case "date":
            return date
        case "dates":
            return list[date]
        case "clock":
            return time
        case "points":
            return Annotated[
                list[Annotated[list[float], Field(min_length=2, max_length=2)]], Field(min_length=3, max_length=1000)
            ]
        case "tables":
            return Annotated[list[dict[str, Any]], Field(max_length=400)]
        case "tables_or_file":
            return Any
        case "table":
            return dict[str, Any]
        case _:  # part
            return Any


def _word_of(key: Key) -> Any:
    return Literal.__getitem__(tuple(str(choice) for choice in key.choices))


def _told(table: str, fault: Any, more: int, raw: dict[str, Any], origin: Origin) -> BadInputError:
    """Return one fault in our own words."""
    name = str(fault["loc"][0])
    known = {key.name: key for key in keys_of(table)}
    rest = f" (and {more} more)" if more else ""
    if fault["type"] == "extra_forbidden":
        near = known.get(nearest_key(name, known))
        hint = f"did you mean `{near.name}`{_in_unit(near)}?" if near else "take it out"
        return BadInputError(f"key `{name}` is unknown{rest}", where=origin.at(name), accepted=", ".join(known), next_step=hint)
    key = known[name]
    if fault["type"] == "missing":
        return BadInputError(
            f"key `{name}` is missing{rest}", where=origin.at(""), accepted=key.accepted, next_step=f"add `{name}`: {key.meaning}"
        )
    value = raw[name]
    for step in fault["loc"][1:]:
        value = _inside(value, step)
    return BadInputError(
        f"`{name}` is {_show(value)}{rest}", where=origin.at(name), accepted=key.accepted, next_step=_next(key, value)
    )


def _inside(value: Any, step: Any) -> Any:
    """Return the part of a value that a fault is about; the value itself where it has no such part."""
    try:
        return value[step] if isinstance(value, dict | list) else value
    except (KeyError, IndexError, TypeError):
        return value


def _next(key: Key, value: Any) -> str:
    if key.kind in ("number", "whole") and isinstance(value, str):
        figure = re.match(r"\s*([-+]?\d+(?:[.,]\d+)?)\s*(.*)$", value)
        if figure and figure[2].casefold() in ("", key.unit.casefold(), key.unit[:1].casefold()):
            return f"write `{key.name} = {figure[1].replace(',', '.')}`, a plain number{_in_unit(key)}"
        return f"write a plain number{_in_unit(key)}, without quotes"
    if key.kind == "moment":
        if isinstance(value, date) and not isinstance(value, datetime):
            return f"add the time of day, such as {value.isoformat()}T10:00:00"
        return "write it without quotes" if isinstance(value, str) else "mend the value"
    if key.kind in ("date", "dates", "clock", "yes_no") and isinstance(value, str):
        return "write it without quotes"
    if key.kind == "tables" and isinstance(value, dict):
        return f"write `[[{key.name}]]` with two brackets"
    if isinstance(value, str) and key.choices:
        near = nearest_key(value, key.choices)
        return f'did you mean "{near}"?' if near else "choose one of them"
    return "mend the value"


def _in_unit(key: Key) -> str:
    return f" in {_UNIT_WORDS.get(key.unit, key.unit)}" if key.unit else ""


def _show(value: Any) -> str:
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, date | time):
        return value.isoformat()
    text = f'"{value}"' if isinstance(value, str) else repr(value)
    return text if len(text) <= 60 else text[:57] + "..."
