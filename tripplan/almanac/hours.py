"""Opening hours and public holidays, as the open map writes them.

The reading is done by the opening-hours-py library, which carries the public holidays of many countries. What it cannot
read is ``None`` and shown raw: ask by phone.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from functools import lru_cache
from typing import Any

__all__ = [
    "OpenDay",
    "all_open",
    "any_open",
    "check_times",
    "is_holiday",
    "is_open",
    "is_readable",
    "open_days",
    "tidy_dates",
    "windows",
]

_DAY = timedelta(days=1)


@dataclass(frozen=True, slots=True)
class OpenDay:
    """One date: whether it is open at all within the asked hours, and when.

    Parameters
    ----------
    open
        ``None`` when the text says nothing that can be read, or only that it is not known.
    windows
        Open stretches (from, to) in minutes after midnight, cut to the asked hours, in order.
    """

    day: date
    open: bool | None
    windows: tuple[tuple[int, int], ...] = ()


_SUN = re.compile(r"sunrise|sunset|dawn|dusk", re.IGNORECASE)


def _parsed(text: str, country: str, lon: float | None, lat: float | None) -> Any:
    """Return the library's reading of a text, or ``None`` when it cannot read it."""
    if lon is not None and lat is not None and not (-180 <= lon <= 180 and -90 <= lat <= 90):
        return None
    # Only the sun asks where: the look-up of a place's zone costs more than all the rest.
    return _read(text, country, lon, lat) if _SUN.search(text) else _read(text, country, None, None)


@lru_cache(maxsize=4096)
def _read(text: str, country: str, lon: float | None, lat: float | None) -> Any:
    import opening_hours as library

    coords = (lat, lon) if lon is not None and lat is not None else None
    for spelled in dict.fromkeys((text, tidy_dates(text))):
        for use_country in [country, ""] if country else [""]:
            try:
                # The zone comes from the coordinates: sunset on the local clock.
                return library.OpeningHours(
                    spelled, country=use_country or None, coords=coords, auto_country=False, auto_timezone=coords is not None
                )
            except library.UnknownCountryError:  # type: ignore[attr-defined]
                continue
            except (library.ParserError, UnicodeEncodeError):  # type: ignore[attr-defined]  # half characters
                break
            except library.InvalidCoordinatesError:  # type: ignore[attr-defined]
                return None
    return None


_MONTHS = "Jan|Feb|Mar|Apr|May|Jun|Jul|Aug|Sep|Oct|Nov|Dec"
_LONG_MONTH = re.compile(
    r"\b(jan|feb|mar|apr|may|jun|jul|aug|sep|oct|nov|dec)(?:uary|ruary|ch|il|e|y|ust|t|tember|ober|ember)?\b\.?", re.IGNORECASE
)
_FOREIGN_MONTH = re.compile(r"\b(mai|okt|dez|mär|mrz|avr|août|aout|déc|ene|abr|ago|dic)\b\.?", re.IGNORECASE)
_FOREIGN = {"mai": "May", "okt": "Oct", "dez": "Dec", "mär": "Mar", "mrz": "Mar", "avr": "Apr", "août": "Aug", "aout": "Aug",
            "déc": "Dec", "ene": "Jan", "abr": "Apr", "ago": "Aug", "dic": "Dec"}  # fmt: skip
_DAY_FIRST = re.compile(rf"(?<![:\d])(\d{{1,2}})(?:st|nd|rd|th|\.)?\s+({_MONTHS})\b(?!\s*\d{{1,2}}\b)")
_ORDINAL = re.compile(rf"\b({_MONTHS})\s+(\d{{1,2}})(?:st|nd|rd|th)\b")
_YEAR_LAST = re.compile(rf"\b({_MONTHS})\s+(\d{{1,2}})\s+(\d{{4}})\b")
_MONTH_RANGE = re.compile(rf"\b({_MONTHS})\s*-\s*(?=[A-Z])")


def tidy_dates(text: str) -> str:
    """Bring common spellings of dates ("1 May - 30 September", "Jan-Dez") to the form of the opening-hours standard."""
    text = text.strip().replace("–", "-")
    text = _FOREIGN_MONTH.sub(lambda m: _FOREIGN[m[1].lower()], text)
    text = _LONG_MONTH.sub(lambda m: m[1].capitalize(), text)
    text = _ORDINAL.sub(r"\1 \2", text)
    text = _DAY_FIRST.sub(lambda m: f"{m[2]} {int(m[1]):02d}", text)
    text = _YEAR_LAST.sub(r"\3 \1 \2", text)
    return _MONTH_RANGE.sub(r"\1-", text)


def is_readable(text: str) -> bool:
    """Say whether the text is one that can be read."""
    return bool(text.strip()) and _parsed(text.strip(), "", None, None) is not None


def is_open(
    text: str, when_local: datetime, country: str = "", lon: float | None = None, lat: float | None = None
) -> bool | None:
    """Say whether a place is open at a moment.

    Parameters
    ----------
    text
        ``opening_hours`` as on the map.
    when_local
        Local time of the place; a time zone on it is dropped, the wall clock counts.
    country
        ISO 3166-1 code, for public holidays ("" or one the library lacks: none are known, and ``PH`` rules sleep).
    lon, lat
        For sunrise and sunset [degrees].

    Returns
    -------
    bool or None
        ``None``: empty, not readable, or the text itself says that it is not known.
    """
    parsed = _parsed(text.strip(), country.upper(), lon, lat) if text.strip() else None
    if parsed is None:
        return None
    moment = when_local.replace(tzinfo=None)
    if parsed.is_open(moment) and not _only_a_remark(text):
        return True
    return False if parsed.is_closed(moment) else None


def windows(
    text: str,
    day: date,
    from_min: int = 0,
    to_min: int = 1440,
    country: str = "",
    lon: float | None = None,
    lat: float | None = None,
) -> OpenDay:
    """Return when a place is open on a date.

    Parameters
    ----------
    from_min, to_min
        Hours that matter, in minutes after midnight; ``to_min`` may pass 1440 (after midnight).

    Returns
    -------
    OpenDay
        ``open`` is ``True`` when some of it is open, ``False`` when all of it is closed, else ``None``.
    """
    parsed = _parsed(text.strip(), country.upper(), lon, lat) if text.strip() else None
    if parsed is None:
        return OpenDay(day, None)
    midnight = datetime.combine(day, time())
    start, end = midnight + timedelta(minutes=from_min), midnight + timedelta(minutes=to_min)
    found: list[tuple[int, int]] = []
    unknown = False
    ask = _only_a_remark(text)
    for first, last, state, _ in parsed.intervals(start, end):
        first = max(_bare(first), start)
        last = end if last is None else min(_bare(last), end)
        if last <= first:
            continue
        word = str(state).rpartition(".")[2].lower()
        if word == "unknown" or (ask and word == "open"):
            unknown = True
        elif word == "open":
            lo, hi = int((first - midnight).total_seconds() // 60), int((last - midnight).total_seconds() // 60)
            if found and found[-1][1] >= lo:
                found[-1] = (found[-1][0], hi)
            else:
                found.append((lo, hi))
    if found:
        return OpenDay(day, True, tuple(found))
    return OpenDay(day, None if unknown else False)


def _only_a_remark(text: str) -> bool:
    """Say whether the text is a quoted remark alone ("by appointment"): the standard counts that as unknown."""
    text = text.strip()
    return len(text) > 1 and text.startswith('"') and text.endswith('"') and text.count('"') == 2


def _bare(moment: datetime) -> datetime:
    return moment.replace(tzinfo=None)


def open_days(
    text: str,
    dates: Iterable[date],
    from_min: int = 0,
    to_min: int = 1440,
    country: str = "",
    lon: float | None = None,
    lat: float | None = None,
) -> list[OpenDay]:
    """Return `windows` of every date."""
    return [windows(text, day, from_min, to_min, country, lon, lat) for day in dates]


@lru_cache(maxsize=65536)
def any_open(
    text: str,
    day: date,
    country: str = "",
    lon: float | None = None,
    lat: float | None = None,
    from_min: int = 0,
    to_min: int = 1440,
) -> bool | None:
    """Say whether a text of dates or hours holds at any time of a date; ``None`` when it is not readable."""
    return windows(text, day, from_min, to_min, country, lon, lat).open


@lru_cache(maxsize=65536)
def all_open(
    text: str, day: date, from_min: int, to_min: int, country: str = "", lon: float | None = None, lat: float | None = None
) -> bool | None:
    """Say whether a text of dates or hours holds without a gap between two times of a date; ``None`` when not readable."""
    found = windows(text, day, from_min, to_min, country, lon, lat)
    if found.open is None:
        return None
    return bool(found.windows) and found.windows[0] == (from_min, to_min)


_CLOCK = r"([01]?\d|2[0-4])[:.]([0-5]\d)"
_CHECK = re.compile(rf"(?:{_CLOCK})?\s*(-|\+)?\s*(?:{_CLOCK})?")


def check_times(text: str, day: date, *, latest: bool, country: str = "") -> tuple[int, int] | None:
    """Return from and to when one may arrive at a site, or leave it, on a date [min after midnight].

    Parameters
    ----------
    text
        ``check_in`` or ``check_out`` as on the map: "14:00", "14:00-20:00", "-18:00", or a text of opening hours.
    latest
        Whether a time alone is the latest (check-out) or the earliest (check-in), as the open map's wiki on these keys says.

    Returns
    -------
    tuple or None
        ``None``: empty, or not readable: ask first.
    """
    text = text.strip().replace("–", "-")
    found = _CHECK.fullmatch(text) if text else None
    if found is not None and (found[1] or found[4]):
        first = int(found[1]) * 60 + int(found[2]) if found[1] else 0
        last = int(found[4]) * 60 + int(found[5]) if found[4] else 1440
        if max(first, last) > 1440 or (found[1] and found[4] and not found[3]):
            return None
        if found[1] and not found[3]:
            return (0, first) if latest else (first, 1440)
        # "18:00-02:00" goes on after midnight, which is no longer that day's clock.
        return first, last if last > first else 1440
    open_day = windows(text, day, 0, 1440, country)
    return (open_day.windows[0][0], open_day.windows[-1][1]) if open_day.windows else None


@lru_cache(maxsize=4096)
def is_holiday(day: date, country: str) -> bool | None:
    """Say whether a date is a public holiday of a country; ``None`` when its holidays are not known."""
    if not country:
        return None
    import opening_hours as library

    try:
        return bool(library.OpeningHours("PH", country=country.upper()).is_open(datetime.combine(day, time(12))))
    except library.UnknownCountryError:  # type: ignore[attr-defined]
        return None
