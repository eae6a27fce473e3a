"""Turn restrictions that hold for a car with trailer, from the tags of their relations."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from tripplan.rules.conditions import TRAILER_WORDS, conditionals, split_and, vehicle_property
from tripplan.rules.limits import parse_weight_kg

__all__ = ["RESTRICTIONS", "TurnFact", "judge_turn"]

#: Documented restrictions: whether only this turn is allowed, and whether it speaks of turning round.
RESTRICTIONS: dict[str, tuple[bool, bool]] = {
    "no_left_turn": (False, False), "no_right_turn": (False, False), "no_straight_on": (False, False),
    "no_u_turn": (False, True), "no_entry": (False, False), "no_exit": (False, False),
    "only_left_turn": (True, False), "only_right_turn": (True, False), "only_straight_on": (True, False),
    "only_u_turn": (True, True),
}  # fmt: skip

_KEYS = (
    "restriction",
    "restriction:vehicle",
    "restriction:motor_vehicle",
    "restriction:motorcar",
    "restriction:trailer",
    "restriction:caravan",
)
_EXEMPT = frozenset({"motorcar", "motor_vehicle", "vehicle"})

#: Weight above which a condition speaks of heavy vehicles only [kg]: no car with a van reaches it.
_HEAVY_KG = 7500.0


@dataclass(frozen=True, slots=True)
class TurnFact:
    """One restriction: ``only`` this turn or ``no`` such turn, whether it is about turning round, and its raw condition."""

    only: bool
    u_turn: bool
    when: str = ""


def judge_turn(tags: Mapping[str, str]) -> TurnFact | None:
    """Judge a restriction relation.

    Returns
    -------
    TurnFact or None
        ``None`` when it is none, is for others (``restriction:hgv``), exempts cars (``except=motorcar``) or has a value that is
        not documented. One that exempts only trailers or caravans stays: the car alone has to keep it. ``when`` is the
        raw condition of a restriction that holds at times (also from day_on, hour_on); a planner that does not read
        the clock keeps it always.
    """
    if tags.get("type", "restriction") not in (
        "restriction",
        "restriction:motorcar",
        "restriction:trailer",
        "restriction:caravan",
    ):
        return None
    exempt = {part.strip().lower() for part in tags.get("except", "").replace(",", ";").split(";")}
    if exempt & _EXEMPT:
        return None
    for key in reversed(_KEYS):
        value = tags.get(key, "").strip().lower()
        if value in RESTRICTIONS:
            only, u_turn = RESTRICTIONS[value]
            return TurnFact(only, u_turn, _old_times(tags))
    for key in reversed(_KEYS):
        for value, condition in conditionals(tags.get(f"{key}:conditional", "")):
            if value not in RESTRICTIONS or not _for_us(condition):
                continue
            only, u_turn = RESTRICTIONS[value]
            clauses = [c for c in split_and(condition) if c.lower() not in TRAILER_WORDS and vehicle_property(c) is None]
            return TurnFact(only, u_turn, " AND ".join(clauses))
    return None


def _for_us(condition: str) -> bool:
    for clause in split_and(condition):
        found = vehicle_property(clause)
        if (
            found
            and found[0].endswith(("weight", "rating"))
            and found[1] in (">", ">=")
            and parse_weight_kg(found[2]) >= _HEAVY_KG
        ):
            return False
        if clause.strip().lower() in ("hgv", "bus", "psv", "goods", "bicycle", "motorcycle", "moped"):
            return False
    return True


def _old_times(tags: Mapping[str, str]) -> str:
    """Join the old keys day_on, day_off, hour_on, hour_off to one condition."""
    days = "-".join(tags[key].strip()[:2] for key in ("day_on", "day_off") if tags.get(key, "").strip())
    hours = "-".join(tags[key].strip() for key in ("hour_on", "hour_off") if tags.get(key, "").strip())
    return " ".join(part for part in (days, hours) if part)
