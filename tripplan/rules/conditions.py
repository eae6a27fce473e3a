"""Conditional tags: ``value @ (condition); value @ (condition)`` into parts, and what a condition speaks of."""

from __future__ import annotations

import re
from collections.abc import Mapping

__all__ = [
    "OTHER_VEHICLES", "TRAILER_WORDS", "conditionals", "for_others", "split_and", "split_top", "tagged_conditionals", "vehicle_property",
]  # fmt: skip

#: Conditions that name what we are.
TRAILER_WORDS = frozenset({"trailer", "caravan"})
#: Conditions that name others: what is for them is not for us.
OTHER_VEHICLES = frozenset(
    ("hgv", "hgv_articulated", "bus", "psv", "goods", "bicycle", "motorcycle", "moped", "mofa", "coach", "tourist_bus", "taxi",
     "agricultural", "hazmat", "motorhome", "emergency", "tram", "hov", "foot", "horse", "ski", "snowmobile", "share_taxi", "minibus")
)  # fmt: skip

_PROPERTY = re.compile(
    r"^(?P<key>weight|weightrating|gcweight|gcweightrating|emptyweight|axleload|height|width|length|axles|occupants)\s*(?P<op><=|>=|<|>|=)\s*(?P<value>.+)$"
)


def split_top(text: str, separator: str) -> list[str]:
    """Split at a one-letter separator that stands outside brackets and double quotes; parts trimmed, empty ones dropped."""
    parts: list[str] = []
    depth, quoted, start = 0, False, 0
    for i, letter in enumerate(text):
        if letter == '"':
            quoted = not quoted
        elif not quoted and letter in "([":
            depth += 1
        elif not quoted and letter in ")]":
            depth = max(0, depth - 1)
        elif letter == separator and depth == 0 and not quoted:
            parts.append(text[start:i])
            start = i + 1
    parts.append(text[start:])
    return [part.strip() for part in parts if part.strip()]


def conditionals(text: str) -> list[tuple[str, str]]:
    """Parse a conditional value.

    Returns
    -------
    list of (value, condition)
        In the order written, the later ones stronger. The condition is without its outer brackets, "" when there is none.
    """
    out: list[tuple[str, str]] = []
    for part in split_top(text, ";"):
        value, at, condition = part.partition("@")
        condition = condition.strip()
        if at and condition.startswith("(") and condition.endswith(")"):
            condition = condition[1:-1].strip()
        elif at and not condition.startswith("("):
            # "no @ Mo-Fr 08:00-09:00; Sa": without brackets a later part may belong to the same condition.
            condition = condition.strip()
        elif not at and out and not _looks_like_value(value):
            last_value, last_condition = out.pop()
            out.append((last_value, f"{last_condition}; {part}"))
            continue
        out.append((value.strip().lower(), condition))
    return out


def _looks_like_value(text: str) -> bool:
    return bool(re.fullmatch(r"\s*-?[a-z0-9_.]+\s*(mph|km/h|t|kg|m)?\s*", text.lower())) and text.strip()[:2] not in _DAYS


_DAYS = frozenset({"Mo", "Tu", "We", "Th", "Fr", "Sa", "Su", "PH", "SH"})


def split_and(condition: str) -> list[str]:
    """Split a condition at its ANDs."""
    return [part.strip() for part in re.split(r"\s+AND\s+|\s+and\s+", condition) if part.strip()]


def vehicle_property(clause: str) -> tuple[str, str, str] | None:
    """Return (key, operator, value) when a clause speaks of the vehicle's weight or size, else ``None``."""
    match = _PROPERTY.match(clause.strip().lower())
    return (match["key"], match["op"], match["value"].strip()) if match else None


def for_others(clauses: list[str]) -> bool:
    """Say whether a condition, split into its clauses, is for other vehicles alone."""
    return any(clause.strip().lower() in OTHER_VEHICLES for clause in clauses)


def tagged_conditionals(tags: Mapping[str, str], keys: tuple[str, ...]) -> list[tuple[str, str, str]]:
    """Return (key, value, condition) of ``KEY:conditional`` for each key, in the order of the keys."""
    return [(key, value, condition) for key in keys for value, condition in conditionals(tags.get(f"{key}:conditional", ""))]
