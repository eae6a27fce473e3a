"""Turn restrictions that hold for a car with trailer or for the car alone, from the tags of their relations."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from math import inf

from tripplan.model.outfit import Outfit
from tripplan.rules.closed import closed_on
from tripplan.rules.conditions import OTHER_VEHICLES, TRAILER_WORDS, conditionals, split_and
from tripplan.rules.sizes import without_sizes

__all__ = ["RESTRICTIONS", "TurnFact", "in_force", "judge_turns", "spares", "turn_sides"]

#: Documented restrictions: whether only this turn is allowed, and whether it speaks of turning round.
RESTRICTIONS: dict[str, tuple[bool, bool]] = {
    "no_left_turn": (False, False), "no_right_turn": (False, False), "no_straight_on": (False, False),
    "no_u_turn": (False, True), "no_entry": (False, False), "no_exit": (False, False),
    "only_left_turn": (True, False), "only_right_turn": (True, False), "only_straight_on": (True, False),
    "only_u_turn": (True, True),
}  # fmt: skip

#: Keys from the general to the particular, by mode.
_KEYS: dict[str, tuple[str, ...]] = {
    "car": ("restriction", "restriction:vehicle", "restriction:motor_vehicle", "restriction:motorcar"),
    "tow": (
        "restriction", "restriction:vehicle", "restriction:motor_vehicle", "restriction:motorcar", "restriction:trailer",
        "restriction:caravan",
    ),
}  # fmt: skip
_EXEMPT: dict[str, frozenset[str]] = {"car": frozenset({"motorcar", "motor_vehicle", "vehicle"})}
_EXEMPT["tow"] = _EXEMPT["car"] | TRAILER_WORDS
#: Old way of writing for whom a restriction is.
_TYPES: dict[str, tuple[str, ...]] = {
    "car": ("restriction", "restriction:motorcar", "restriction:motor_vehicle", "restriction:vehicle")
}
_TYPES["tow"] = (*_TYPES["car"], "restriction:trailer", "restriction:caravan")
#: Values that lift a restriction.
_LIFTS = frozenset({"none", "no", "yes"})


@dataclass(frozen=True, slots=True)
class TurnFact:
    """One restriction.

    Parameters
    ----------
    only
        ``only`` this turn, or ``no`` such turn. u_turn: whether it is about turning round.
    when
        "" always, else text for `in_force`. tow, car: for whom it holds.
    """

    only: bool
    u_turn: bool
    when: str = ""
    tow: bool = True
    car: bool = True


def judge_turns(tags: Mapping[str, str]) -> tuple[TurnFact, ...]:
    """Judge a restriction relation.

    Returns
    -------
    tuple of TurnFact
        None when it is no restriction, is for others (``restriction:hgv``), exempts cars (``except=motorcar``) or has
        a value that is not documented. Several when it bars different turns at different times. A key nearer to us
        (``restriction:caravan``) decides over a general one, also when it lifts it (``none``). A restriction that
        exempts trailers or caravans holds for the car alone.
    """
    by_mode = {mode: _for_mode(tags, mode) for mode in ("tow", "car")}
    facts: list[TurnFact] = []
    for only, u_turn, when in dict.fromkeys((*by_mode["tow"], *by_mode["car"])):
        row = (only, u_turn, when)
        facts.append(TurnFact(only, u_turn, when, tow=row in by_mode["tow"], car=row in by_mode["car"]))
    return tuple(facts)


def turn_sides(tags: Mapping[str, str]) -> tuple[float, float] | None:
    """Return between which angles the turn that a relation speaks of lies [degrees, left is positive].

    Returns
    -------
    tuple of float
        Least and greatest angle; a turn back is beyond 180 on either side. ``(-inf, inf)`` for ``no_entry`` and ``no_exit``,
        which mean every turn between their ways. ``None`` where its values name different turns, or none.
    """
    named = {
        value.strip().lower() for key, value in tags.items() if key.startswith("restriction") and not key.endswith(":conditional")
    }
    named |= {value for key, text in tags.items() if key.endswith(":conditional") for value, _ in conditionals(text)}
    sides = {value.partition("_")[2] for value in named if value in RESTRICTIONS}
    return _SIDES.get(sides.pop()) if len(sides) == 1 else None


#: Angles are wide, as drawn crossings are: a bend of up to 45 degrees may be straight on or a turn.
_SIDES: dict[str, tuple[float, float]] = {
    "left_turn": (15.0, 175.0), "right_turn": (-175.0, -15.0), "straight_on": (-45.0, 45.0), "u_turn": (120.0, 240.0),
    "entry": (-inf, inf), "exit": (-inf, inf),
}  # fmt: skip


def _for_mode(tags: Mapping[str, str], mode: str) -> list[tuple[bool, bool, str]]:
    """Return (only, u_turn, when) of all that hold for one mode."""
    if tags.get("type", "restriction") not in _TYPES[mode]:
        return []
    exempt = {part.strip().lower() for part in tags.get("except", "").replace(",", ";").split(";")}
    if exempt & _EXEMPT[mode]:
        return []
    base = ""
    for key in _KEYS[mode]:
        base = tags.get(key, "").strip().lower() or base
    parts: list[tuple[str, str]] = []
    for key in _KEYS[mode]:
        for value, condition in conditionals(tags.get(f"{key}:conditional", "")):
            kept = _clauses(condition, mode)
            if kept is not None and (value in RESTRICTIONS or value in _LIFTS):
                parts.append((value, " AND ".join(kept)))
    kinds = [(RESTRICTIONS.get(value), condition) for value, condition in parts]
    own = RESTRICTIONS.get(base)
    old_times = _old_times(tags)
    found: list[tuple[bool, bool, str]] = []
    for kind in dict.fromkeys((own, *(kind for kind, _ in kinds))):
        if kind is None:
            continue
        begins = kind == own and not old_times
        when = f"no @ ({old_times})" if kind == own and old_times else ""
        for other, condition in kinds:
            # A later condition with another value takes the place of an earlier one while it holds.
            bars = other == kind
            if not condition:
                begins, when = bars, ""
            elif when or begins != bars:
                when += f"{'; ' if when else 'no; ' if begins else ''}{'no' if bars else 'yes'} @ ({condition})"
        if begins or when:
            found.append((*kind, when))
    return found


def _clauses(condition: str, mode: str) -> list[str] | None:
    """Return the clauses that dates or the outfit's size decide; ``None`` when the condition is for others."""
    kept: list[str] = []
    for clause in split_and(condition):
        word = clause.strip().lower()
        if word in TRAILER_WORDS:
            if mode != "tow":
                return None
        elif word in OTHER_VEHICLES:
            return None
        elif word not in _EXEMPT["car"]:
            kept.append(clause)
    return kept


def _old_times(tags: Mapping[str, str]) -> str:
    """Join the old keys day_on, day_off, hour_on, hour_off to one condition."""
    days = "-".join(tags[key].strip()[:2] for key in ("day_on", "day_off") if tags.get(key, "").strip())
    hours = "-".join(tags[key].strip() for key in ("hour_on", "hour_off") if tags.get(key, "").strip())
    return " ".join(part for part in (days, hours) if part)


def in_force(
    when: str,
    day: date,
    country: str = "",
    lon: float | None = None,
    lat: float | None = None,
    *,
    outfit: Outfit | None = None,
    hours: tuple[int, int] | None = None,
) -> bool:
    """Say whether a restriction holds on a date.

    Parameters
    ----------
    when
        As `TurnFact.when` has it.
    outfit
        Whose weight and size its conditions are held against; ``None``: they are taken to be met.
    hours
        See `tripplan.rules.closed.closed_on`: a restriction by the hour holds all day unless these are given.

    Returns
    -------
    bool
        ``True`` also where nobody can read the condition.
    """
    if not when:
        return True
    dated = without_sizes(when, outfit)
    if dated in ("no", "yes"):
        return dated == "no"
    return closed_on(dated, day, country, lon, lat, hours=hours) is not False


def spares(when: str, outfit: Outfit) -> bool:
    """Say whether a restriction can at no time hold for this outfit, by the size or weight that it names."""
    return bool(when) and without_sizes(when, outfit) == "yes"
