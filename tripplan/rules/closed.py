"""Whether a road is closed on a date, from the raw text of a conditional closure."""

from __future__ import annotations

import re
from datetime import date
from functools import lru_cache

from tripplan.almanac.hours import any_open
from tripplan.rules.conditions import conditionals, split_and

__all__ = ["closed_on", "is_by_date", "tidy_dates"]


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
        A closure by the hour counts as closed all that day, and an opening for part of a day as open: the van's own hours
        are not known here. ``None``: a condition that no date decides ("snow", "wet"). Such a road is left open
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
        holds = _holds(condition, day, country, lon, lat)
        if holds is None:
            # An opening that nobody can date leaves a closed road closed.
            if not opens and closed is False:
                closed = None
        elif holds:
            closed = not opens
    return closed


_OPENING = frozenset({"yes", "permissive", "designated", "official", "destination", "delivery", "customers", "open"})


def _holds(condition: str, day: date, country: str, lon: float | None, lat: float | None) -> bool | None:
    """Say whether all clauses hold at some time of the date."""
    answer: bool | None = True
    for clause in split_and(condition):
        held = any_open(tidy_dates(clause), day, country, lon, lat)
        if held is False:
            return False
        if held is None:
            answer = None
    return answer


def is_by_date(clause: str) -> bool:
    """Say whether the clause is one that dates and hours decide."""
    return any_open(tidy_dates(clause), date(2025, 1, 1)) is not None


_MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")
_LONG_MONTH = re.compile(
    r"\b(jan|feb|mar|apr|may|jun|jul|aug|sep|oct|nov|dec)(?:uary|ruary|ch|il|e|y|ust|t|tember|ober|ember)?\b\.?", re.IGNORECASE
)
_DAY_FIRST = re.compile(r"\b(\d{1,2})(?:st|nd|rd|th|\.)?\s+(Jan|Feb|Mar|Apr|May|Jun|Jul|Aug|Sep|Oct|Nov|Dec)\b(?!\s*\d{1,2}\b)")
_ORDINAL = re.compile(r"\b(Jan|Feb|Mar|Apr|May|Jun|Jul|Aug|Sep|Oct|Nov|Dec)\s+(\d{1,2})(?:st|nd|rd|th)\b")
_YEAR_LAST = re.compile(r"\b(Jan|Feb|Mar|Apr|May|Jun|Jul|Aug|Sep|Oct|Nov|Dec)\s+(\d{1,2})\s+(\d{4})\b")
_MONTH_RANGE = re.compile(r"\b(Jan|Feb|Mar|Apr|May|Jun|Jul|Aug|Sep|Oct|Nov|Dec)\s*[-–]\s*(?=[A-Z])")


def tidy_dates(text: str) -> str:
    """Bring common spellings of dates ("1 May - 30 September", "Nov - Apr") to the form of the opening-hours standard."""
    text = text.strip().replace("–", "-")
    text = _LONG_MONTH.sub(lambda m: m[1].capitalize(), text)
    text = _ORDINAL.sub(r"\1 \2", text)
    text = _DAY_FIRST.sub(lambda m: f"{m[2]} {int(m[1]):02d}", text)
    text = _YEAR_LAST.sub(r"\3 \1 \2", text)
    return _MONTH_RANGE.sub(r"\1-", text)
