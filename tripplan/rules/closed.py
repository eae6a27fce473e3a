"""Whether a road is closed on a date, from the raw text of a conditional closure."""

from __future__ import annotations

import re
from datetime import date
from functools import lru_cache

from tripplan.almanac.hours import all_open, any_open
from tripplan.model.outfit import Outfit
from tripplan.rules.conditions import conditionals, split_and
from tripplan.rules.sizes import OPENING, SAILS, speaks_of_vehicle, without_sizes

__all__ = ["SAILS", "closed_on", "is_by_date"]


def closed_on(
    raw: str,
    day: date,
    country: str = "",
    lon: float | None = None,
    lat: float | None = None,
    *,
    hours: tuple[int, int] | None = None,
    outfit: Outfit | None = None,
) -> bool | None:
    """Say whether a road is closed on a date.

    Parameters
    ----------
    raw
        Text in the form that `tripplan.rules.access.closed_when` gives, or a plain conditional value ("no @ (Nov-Apr)").
    day
        The date, local to the road. A season that wraps round the new year, or lies in the southern winter, is dates like
        any other.
    country
        ISO 3166-1 code for public holidays, "" unknown. lon, lat: for sunset.
    hours
        From and to in minutes after midnight: the hours in which the road would be used. ``None``: any of the day.
    outfit
        Whose weight and size the conditions are held against; ``None``: a closure of some sizes is one for all.

    Returns
    -------
    bool or None
        A closure by the hour counts as closed all that day, and a closed road as open only when its opening covers the
        whole of 08:00 to 20:00; with ``hours`` those count in both cases. A ferry (``sails @``) goes on a day on which
        it sails at all in that time. ``None``: a condition that no date decides ("snow", "wet", school holidays, which no
        calendar here knows) or that cannot be read. Such a road is left open and belongs in the list of cautions.
    """
    if not raw:
        return False
    if speaks_of_vehicle(raw):
        raw = without_sizes(raw, outfit)
    return _closed_on(raw, day, country, lon, lat, hours)


@lru_cache(maxsize=65536)
def _closed_on(
    raw: str, day: date, country: str, lon: float | None, lat: float | None, hours: tuple[int, int] | None
) -> bool | None:
    closed: bool | None = False
    for value, condition in conditionals(raw):
        opens = value in OPENING
        if not condition:
            closed = not opens
            continue
        if opens:
            holds = _holds(condition, day, (country, lon, lat), hours or _VAN_DAY, whole=value != SAILS)
        else:
            holds = _holds(condition, day, (country, lon, lat), hours or (0, 1440), whole=False)
        if holds is None:
            # An opening that nobody can date leaves a closed road closed.
            if not opens and closed is False:
                closed = None
        elif holds:
            closed = not opens
    return closed


#: An opening has to cover this part of the day, in minutes after midnight (common practice, no source).
_VAN_DAY = (8 * 60, 20 * 60)


def _holds(
    condition: str, day: date, at: tuple[str, float | None, float | None], hours: tuple[int, int], *, whole: bool
) -> bool | None:
    """Say whether all clauses hold at some time of the given hours of a date, or through the whole of them."""
    answer: bool | None = True
    for clause in split_and(condition):
        clause = _with_months(clause)
        held = all_open(clause, day, *hours, *at) if whole else any_open(clause, day, *at, *hours)
        if held is False and not _SCHOOL.search(clause):
            return False
        if not held:
            answer = None
    return answer


#: School holidays: the standard has a word for them, and nobody has the dates.
_SCHOOL = re.compile(r"\bSH\b")
_ISO = re.compile(r"\b(\d{4})-(0[1-9]|1[0-2])-(0[1-9]|[12]\d|3[01])\b")
_ISO_RANGE = re.compile(r"(?<=\d)\s*(?:--|/|\bto\b|\.\.)\s*(?=\d{4} [A-Z])")
_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


def _with_months(clause: str) -> str:
    """Bring dates of ISO 8601 ("2024-11-01--2025-03-31") to the form of the opening-hours standard."""
    named = _ISO.sub(lambda m: f"{m[1]} {_MONTHS[int(m[2]) - 1]} {m[3]}", clause)
    return _ISO_RANGE.sub("-", named) if named != clause else clause


def is_by_date(clause: str) -> bool:
    """Say whether the clause is one that dates and hours decide."""
    return not _SCHOOL.search(clause) and any_open(_with_months(clause), date(2025, 1, 1)) is not None
