"""Whether a road is closed on a date, from the raw text of a conditional closure."""

from __future__ import annotations

from datetime import date
from functools import lru_cache

from tripplan.almanac.hours import all_open, any_open
from tripplan.rules.conditions import conditionals, split_and

__all__ = ["closed_on", "is_by_date"]


def closed_on(raw: str, day: date, country: str = "", lon: float | None = None, lat: float | None = None) -> bool | None:
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

    Returns
    -------
    bool or None
        A closure by the hour counts as closed all that day, and a closed road as open only when its opening covers the
        whole of 08:00 to 20:00: the van's own hours are not known here. ``None``: a condition that no date decides ("snow", "wet"). Such a road is left open
        and belongs in the list of cautions.
    """
    if not raw:
        return False
    return _closed_on(raw, day, country, lon, lat)


@lru_cache(maxsize=65536)
def _closed_on(raw: str, day: date, country: str, lon: float | None, lat: float | None) -> bool | None:
    closed: bool | None = False
    for value, condition in conditionals(raw):
        opens = value in _OPENING
        if not condition:
            closed = not opens
            continue
        holds = _holds(condition, day, country, lon, lat, whole_day=opens)
        if holds is None:
            # An opening that nobody can date leaves a closed road closed.
            if not opens and closed is False:
                closed = None
        elif holds:
            closed = not opens
    return closed


_OPENING = frozenset({"yes", "permissive", "designated", "official", "destination", "delivery", "customers", "open"})


#: An opening has to cover this part of the day, in minutes after midnight (common practice, no source).
_VAN_DAY = (8 * 60, 20 * 60)


def _holds(condition: str, day: date, country: str, lon: float | None, lat: float | None, *, whole_day: bool) -> bool | None:
    """Say whether all clauses hold at some time of the date, or through the van's whole day."""
    answer: bool | None = True
    for clause in split_and(condition):
        at = (country, lon, lat)
        held = all_open(clause, day, *_VAN_DAY, *at) if whole_day else any_open(clause, day, *at)
        if held is False:
            return False
        if held is None:
            answer = None
    return answer


def is_by_date(clause: str) -> bool:
    """Say whether the clause is one that dates and hours decide."""
    return any_open(clause, date(2025, 1, 1)) is not None
