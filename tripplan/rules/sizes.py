"""Conditions about the vehicle's weight and size, decided for an outfit: what is left depends on dates alone."""

from __future__ import annotations

from functools import lru_cache

from tripplan.model.outfit import Outfit
from tripplan.rules.conditions import TRAILER_WORDS, conditionals, split_and, vehicle_property
from tripplan.rules.limits import parse_length_m, parse_weight_kg

__all__ = ["OPENING", "SAILS", "spares", "speaks_of_vehicle", "without_sizes"]

#: A value that opens on days with any sailing.
SAILS = "sails"
#: Values that lift what closes or bars.
OPENING = frozenset(
    {"yes", "none", "permissive", "designated", "official", "destination", "delivery", "customers", "open", SAILS}
)

_OWN = {
    "weight": "mass_kg", "weightrating": "mass_kg", "gcweight": "mass_kg", "gcweightrating": "mass_kg", "axleload": "axle_load_kg",
    "height": "height_m", "width": "width_m", "length": "length_m",
}  # fmt: skip
#: Axles of a car with a van behind it, fewest and most; of the car alone (common practice, no source).
_AXLES_TOWING, _AXLES_ALONE = (3, 5), (2, 2)


def speaks_of_vehicle(raw: str) -> bool:
    """Say whether a condition names a weight, a size or a trailer."""
    return any(
        clause.lower() in TRAILER_WORDS or vehicle_property(clause) is not None
        for _, condition in conditionals(raw)
        for clause in split_and(condition)
    )


@lru_cache(maxsize=65536)
def without_sizes(raw: str, outfit: Outfit | None) -> str:
    """Decide the clauses about weight and size, and whether there is a trailer.

    Parameters
    ----------
    raw
        ``BASE; VALUE @ (CONDITION); ...``.
    outfit
        Whose weight and size count; ``None``: what closes is taken to be met, what opens is not.

    Returns
    -------
    str
        The same without such clauses; ``no`` or ``yes`` where nothing else is left to decide. A size that cannot be told (the weight
        of an empty vehicle, how many people are in it) is taken to be met by what closes and not to be met by what opens.
    """
    parts: list[str] = []
    for value, condition in conditionals(raw):
        opens = value in OPENING
        if not condition:
            parts = [] if opens else [value]
            continue
        left: list[str] = []
        met = True
        for clause in split_and(condition):
            found = vehicle_property(clause)
            if found is None and clause.lower() not in TRAILER_WORDS:
                left.append(clause)
                continue
            holds = None if outfit is None else outfit.towing if found is None else _holds(found, outfit, opens=opens)
            met = met and (not opens if holds is None else holds)
        if not met:
            continue
        if left:
            parts.append(f"{value} @ ({' AND '.join(left)})")
        else:
            parts = [] if opens else [value]
    if all(value in OPENING for value, _ in conditionals("; ".join(parts))):
        return "yes"
    return "; ".join(parts)


@lru_cache(maxsize=65536)
def spares(why: str, outfit: Outfit) -> bool:
    """Say whether a road that is for those who stop there, by its conditions, is a through road to an outfit after all.

    Parameters
    ----------
    why
        What `tripplan.rules.access.judge_access` says of the road (``motor_vehicle:conditional=destination @ (weight>7.5)``).

    Returns
    -------
    bool
        True where each condition bounds a size that the outfit is known to keep. A size that cannot be told spares nobody, nor does a
        condition of hours or dates alone.
    """
    if ":conditional=" not in why.partition(" ")[0]:
        return False
    for _, condition in conditionals(why):
        sizes = [found for clause in split_and(condition) if (found := vehicle_property(clause)) is not None]
        if all(_holds(found, outfit, opens=False) is not False for found in sizes):
            return False
    return True


def _holds(found: tuple[str, str, str], outfit: Outfit, *, opens: bool) -> bool | None:
    """Say whether the outfit is one that a clause such as ``length > 8`` speaks of; ``None`` when that cannot be told.

    Height and width count with the outfit's clearance, against it.
    """
    key, operator, text = found
    if key == "axles":
        least, most = _AXLES_TOWING if outfit.towing else _AXLES_ALONE
        low, high = _compared(least, operator, text), _compared(most, operator, text)
        return low if low == high and operator != "=" else None
    if key == "emptyweight":
        bound = parse_weight_kg(text)
        return False if outfit.mass_kg <= bound and operator in (">", ">=") else None
    if key not in _OWN:
        return None
    bound = parse_weight_kg(text) if _OWN[key].endswith("_kg") else parse_length_m(text)
    if bound != bound:
        return None
    own = float(getattr(outfit, _OWN[key]))
    if key in ("height", "width") and operator[0] == ("<" if opens else ">"):
        own += outfit.height_clearance_m if key == "height" else outfit.width_clearance_m
    slack = 1e-6 * bound  # a figure that was written by us in other units stays equal to itself
    return {
        ">": own > bound + slack, ">=": own >= bound - slack, "<": own < bound - slack, "<=": own <= bound + slack, "=": abs(own - bound) < 0.01,
    }[operator]  # fmt: skip


def _compared(own: int, operator: str, text: str) -> bool | None:
    if not text.isdecimal():
        return None
    bound = int(text)
    return {">": own > bound, ">=": own >= bound, "<": own < bound, "<=": own <= bound, "=": own == bound}[operator]
