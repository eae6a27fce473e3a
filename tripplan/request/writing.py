"""A trip file put together from answers: every line with its unit and meaning, ready to be changed by hand."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from datetime import date, datetime, time
from typing import Any

from tripplan.model.errors import BadInputError
from tripplan.request.keys import Key, keys_of

__all__ = ["key_of", "parsed", "toml_value", "trip_text"]

_YES, _NO = frozenset(("yes", "y", "true")), frozenset(("no", "n", "false"))
_MOMENTS = ("%Y-%m-%d %H:%M", "%Y-%m-%dT%H:%M", "%Y-%m-%dT%H:%M:%S", "%Y-%m-%d %H:%M:%S")


def key_of(table: str, name: str) -> Key:
    """Return one key of one table."""
    return next(key for key in keys_of(table) if key.name == name)


def parsed(key: Key, text: str, where: str) -> Any:
    """Return the value that a typed answer stands for.

    Raises
    ------
    BadInputError
        When it is none that the key accepts; says what would be.
    """
    text = text.strip()
    refusal = BadInputError(f'"{text[:60]}" will not do', where=where, accepted=key.accepted)
    match key.kind:
        case "number" | "whole":
            try:
                value = float(text.replace(",", "."))
            except ValueError:
                raise refusal from None
            if not (key.low or 0) <= value <= (key.high or 0) or (key.kind == "whole" and value != int(value)):
                raise refusal
            return int(value) if key.kind == "whole" else value
        case "yes_no":
            if text.casefold() not in _YES | _NO:
                raise BadInputError(f'"{text[:60]}" will not do', where=where, accepted="yes or no")
            return text.casefold() in _YES
        case "choice":
            if text not in key.choices:
                raise BadInputError(f'"{text[:60]}" will not do', where=where, accepted=", ".join(key.choices))
            return text
        case "moment":
            for form in _MOMENTS:
                try:
                    return datetime.strptime(text, form)  # noqa: DTZ007 - local time of the region, as in a trip file
                except ValueError:
                    continue
            raise BadInputError(f'"{text[:60]}" will not do', where=where, accepted="a date and time such as 2027-02-03 10:00")
        case "date":
            try:
                return date.fromisoformat(text)
            except ValueError:
                raise BadInputError(f'"{text[:60]}" will not do', where=where, accepted="a date such as 2027-02-03") from None
        case _:
            if not text or len(text) > (key.high or 200):
                raise refusal
            return text


def toml_value(value: Any) -> str:
    """Write one value as TOML."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, datetime):
        return value.strftime("%Y-%m-%dT%H:%M:%S")
    if isinstance(value, date | time):
        return value.isoformat()
    if isinstance(value, Mapping):
        inside = ", ".join(f"{key} = {toml_value(item)}" for key, item in value.items())
        return f"{{ {inside} }}"
    if isinstance(value, list | tuple):
        return f"[{', '.join(map(toml_value, value))}]"
    if isinstance(value, int):
        return str(value)
    if isinstance(value, float):
        short = f"{value:.10g}"
        return short if float(short) == value else repr(value)
    # A JSON string is a TOML basic string, but for the one control character that JSON leaves as it is.
    return json.dumps(str(value), ensure_ascii=False).replace("\x7f", "\\u007f")


def _lines(table: str, values: Mapping[str, Any]) -> Iterable[str]:
    known = {key.name: key for key in keys_of(table)}
    rows = [(f"{name} = {toml_value(value)}", known[name]) for name, value in values.items()]
    wide = max((len(text) for text, _ in rows if len(text) < 44), default=0)
    for text, key in rows:
        unit = f" [{key.unit}]" if key.unit else ""
        yield f"{text.ljust(wide)}   # {key.meaning.rstrip('.')}{unit}"


def trip_text(answers: Mapping[str, Any]) -> str:
    """Return a trip file.

    Parameters
    ----------
    answers
        ``name``, and for each table its values: ``van``, ``party``, ``firm``, ``outfit``, ``pick_up``, ``return``, ``driving``,
        ``wishes``, ``levels``, ``weights`` (mappings), ``sights``, ``bookings`` and ``weather`` (sequences of mappings; the last may
        be the path of a file); ``avoid``, ``no_towing`` and ``confidence`` where they are given.
    """
    out = [
        "# A trip for tripplan. Every figure has its unit in its name: _l litres, _kg kilograms, _h hours, _m metres,",
        "# _cents hundredths of the currency. Change what you like and plan again.",
        f"name = {toml_value(answers['name'])}",
    ]
    top = [name for name in ("avoid", "no_towing", "confidence") if answers.get(name)]
    if isinstance(answers.get("weather"), str):
        top.append("weather")
    out += _lines("trip", {name: answers[name] for name in top})
    for table in ("pick_up", "return", "driving", "wishes", "levels", "weights", "party", "van", "outfit", "firm"):
        values = answers.get(table) or {}
        if values:
            out += ["", f"[{table}]", *_lines(table, values)]
    for table in ("sights", "bookings", "weather"):
        rows: Sequence[Mapping[str, Any]] = () if isinstance(answers.get(table), str) else answers.get(table) or ()
        for values in rows:
            out += ["", f"[[{table}]]", *_lines(table, values)]
    return "\n".join(out) + "\n"
