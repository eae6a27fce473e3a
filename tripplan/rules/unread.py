"""What the tags say of a road's closures and limits that cannot be read, or read but not decided: listed, never passed over.

Such a road stays as open as its other tags leave it: nobody knows what was meant. It is one to ask about first.
"""

from __future__ import annotations

import math
from collections.abc import Mapping

from tripplan.rules.access import CLOSED, HIERARCHY, OUT_OF_SEASON, RECOMMENDED, access_value, closed_when
from tripplan.rules.closed import is_by_date
from tripplan.rules.conditions import TRAILER_WORDS, for_others, split_and, tagged_conditionals, vehicle_property
from tripplan.rules.limits import (
    BELOW_DEFAULT,
    NO_LIMIT,
    bound_unread,
    conditional_limits,
    limit_keys,
    limit_parts,
    parse_length_m,
    parse_limit,
)
from tripplan.rules.speed import SPEED_KEYS, parse_speed, speed_unread
from tripplan.rules.surface import four_wheels

__all__ = ["cautions", "unread_conditions", "unread_limits"]


def unread_conditions(tags: Mapping[str, str], *, closing: bool = False) -> tuple[str, ...]:
    """Return the conditional tags that no date, hour or size decides, as written.

    Parameters
    ----------
    closing
        Only those that could close or limit the road. One that could open it, or raise a limit, leaves it as it is.

    Returns
    -------
    tuple of str
        Not in it are conditions for other vehicles, openings for a purpose (``none @ (destination)``: the plain value stands),
        and what holds at all times anyhow (restrictions to destination, lower speeds, one-way). School holidays are in it: no
        calendar here knows them.
    """
    found = []
    for key, value, condition in tagged_conditionals(tags, HIERARCHY["tow"]):
        clauses = split_and(condition)
        answer = access_value(value, key)
        # Without a condition the value itself is what could not be read.
        if not for_others(clauses) and not _decided(clauses) and (answer == CLOSED or (not closing and _odd(clauses))):
            found.append(_written(f"{key}:conditional", tags))
    for key, field, _, value, clauses in conditional_limits(tags):
        if value in NO_LIMIT:
            unread = not closing and _odd(clauses)
        else:
            unread = math.isnan(parse_limit(field, value)) or (bool(clauses) and not _decided(clauses))
        if unread:
            found.append(_written(key, tags))
    for key in ("oneway", "oneway:motor_vehicle", "oneway:motorcar"):
        values = [value for _, value, _ in tagged_conditionals(tags, (key,))]
        if any(value not in _ONEWAY for value in values):
            found.append(_written(f"{key}:conditional", tags))
    for key, value, condition in tagged_conditionals(tags, ("maxspeed", "maxspeed:trailer", "maxspeed:caravan")):
        if math.isnan(parse_speed(value)) and value not in _NO_FIGURE and not for_others(split_and(condition)):
            found.append(_written(f"{key}:conditional", tags))
    if closed_when(tags).startswith(OUT_OF_SEASON):
        found.append(_written("seasonal", tags))
    return tuple(dict.fromkeys(found))


#: Speeds that a sign with lamps shows: there is nothing to read.
_NO_FIGURE = frozenset({"signals", "variable"})
#: Purposes that a condition may name. Nobody's date decides them.
_PURPOSES = frozenset(
    ("destination", "delivery", "customers", "resident", "residents", "permit", "permit_holder", "private", "employees", "loading",
     "unloading", "disabled", "charging", "guests", "visitors")
)  # fmt: skip


def _odd(clauses: list[str]) -> bool:
    """Whether a condition that opens or lifts holds something besides dates, sizes and purposes."""
    return not _decided([clause for clause in clauses if clause.lower() not in _PURPOSES] or ["24/7"])


#: Values of ``oneway`` that are understood.
_ONEWAY = frozenset({"yes", "true", "1", "-1", "reverse", "no", "false", "0", "reversible", "alternating"})


def unread_limits(tags: Mapping[str, str]) -> tuple[str, ...]:
    """Return the tags of limits, widths and posted speeds that hold no figure and no word that is known, as written."""
    found = []
    for key, field, _ in limit_keys(tags):
        parts = limit_parts(tags[key])
        if not parts or any(
            part not in NO_LIMIT and part != BELOW_DEFAULT and math.isnan(parse_limit(field, part)) for part in parts
        ):
            found.append(_written(key, tags))
    # The carriageway's own width is held against the outfit too.
    wide = [part for part in tags.get("width", "").split(";") if part.strip()]
    if "width" in tags and (not wide or any(math.isnan(parse_length_m(part)) for part in wide)):
        found.append(_written("width", tags))
    found += [_written(key, tags) for key in SPEED_KEYS if key in tags and speed_unread(tags[key])]
    return tuple(found)


def cautions(tags: Mapping[str, str]) -> tuple[str, ...]:
    """Return what to ask about before a road is used, a line each; nothing of it closes the road."""
    lines = [f"a condition that could not be read, as written: {text}" for text in unread_conditions(tags, closing=True)]
    lines += [f"a limit that could not be read, as written: {text}" for text in unread_limits(tags)]
    for key, _, _ in limit_keys(tags):
        if BELOW_DEFAULT in limit_parts(tags[key]):
            lines.append(
                f"{key.removeprefix('max')} below what the country's general rules let expect, without a figure ({_written(key, tags)})"
            )
    if four_wheels(tags) == RECOMMENDED:
        lines.append(f"signed as recommended for four-wheel drive only ({RECOMMENDED})")
    return tuple(lines)


def _decided(clauses: list[str]) -> bool:
    return bool(clauses) and all(
        clause.lower() in TRAILER_WORDS
        or (vehicle_property(clause) is not None and not bound_unread(clause))
        or is_by_date(clause)
        for clause in clauses
    )


def _written(key: str, tags: Mapping[str, str]) -> str:
    return " ".join(f"{key}={tags[key]}".split())
