"""Opening hours and public holidays against worked examples of the standard and national calendars."""

from datetime import date, datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tripplan.almanac.hours import all_open, any_open, is_holiday, is_open, is_readable, open_days, tidy_dates, windows


# OSM wiki, Key:opening_hours and its specification: examples and their meaning (published source).
@pytest.mark.parametrize(
    ("text", "moment", "expected"),
    [
        ("24/7", "2025-03-02T03:00", True),
        ("Mo-Fr 08:00-12:00,13:00-17:30", "2025-07-14T12:30", False),
        ("Mo-Fr 08:00-12:00,13:00-17:30", "2025-07-14T13:00", True),
        ("Mo-Fr 08:00-17:30; Sa 08:00-12:00", "2025-07-19T11:00", True),
        ("Mo-Fr 08:00-17:30; Sa 08:00-12:00", "2025-07-20T11:00", False),
        ("Mo-Su 18:00-02:00", "2025-07-15T01:30", True),
        ("Su[-1] 10:00-16:00", "2025-07-27T12:00", True),
        ("Su[-1] 10:00-16:00", "2025-07-20T12:00", False),
        ("Jun 15-Sep 15", "2025-09-15T23:00", True),
        ("Jun 15-Sep 15", "2025-09-16T01:00", False),
        ("Nov-Mar 09:00-15:00", "2025-01-02T10:00", True),
        ("easter +1 day off", "2025-04-21T12:00", False),
        ("Mo-Fr 09:00-17:00; PH off", "2025-02-06T12:00", False),
        ('"by appointment"', "2025-02-06T12:00", None),
        ("Mo-Fr unknown", "2025-02-06T12:00", None),
        ("ask the farmer", "2025-02-06T12:00", None),
        ("", "2025-02-06T12:00", None),
        ("off", "2025-02-06T12:00", False),
    ],
)  # fmt: skip
def test_is_open(text: str, moment: str, expected: bool | None) -> None:
    """Ranges, breaks, nights past midnight, months, nth weekdays, holidays, remarks, nonsense (New Zealand calendar)."""
    assert is_open(text, datetime.fromisoformat(moment), "NZ") is expected


# Dates of law: Waitangi Day Act 1976 (6 February); Staatsfeiertag of Liechtenstein, 15 August (Constitution, from memory);
# 25 December everywhere; Andorra's Constitution Day 14 March (from memory).
@pytest.mark.parametrize(
    ("day", "country", "expected"),
    [(date(2025, 2, 6), "NZ", True), (date(2025, 8, 15), "LI", True), (date(2025, 12, 25), "GB", True), (date(2025, 3, 14), "AD", True),
     (date(2025, 2, 7), "NZ", False), (date(2025, 8, 14), "LI", False), (date(2025, 2, 6), "GB", False), (date(2025, 2, 6), "QQ", None)],
)  # fmt: skip
def test_holidays(day: date, country: str, expected: bool | None) -> None:
    """Public holidays by country; a country that is not known has no answer."""
    assert is_holiday(day, country) is expected


def test_windows_are_cut_to_the_asked_hours() -> None:
    """Open stretches within the day, with the break in between, in minutes."""
    found = windows("Mo-Fr 08:00-12:00,14:00-18:00", date(2025, 7, 14), 600, 1000)
    assert (found.open, found.windows) == (True, ((600, 720), (840, 1000)))
    assert windows("Mo-Fr 08:00-12:00", date(2025, 7, 14), 721, 1000).open is False
    assert windows("gone fishing", date(2025, 7, 14)).open is None
    assert windows("Mo-Su 22:00-06:00", date(2025, 7, 14)).windows == ((0, 360), (1320, 1440))
    assert windows("24/7", date(2025, 7, 14)).windows == ((0, 1440),)


def test_days() -> None:
    """Each date gets its own answer, in order."""
    days = [date(2025, 9, 14), date(2025, 9, 15), date(2025, 9, 16)]
    assert [day.open for day in open_days("Jun 15-Sep 15", days)] == [True, True, False]


def test_sunset_is_on_the_local_clock() -> None:
    """London, 21 June: 04:43 to 21:21 by the NREL algorithm (computed with pvlib); two minutes' grace. So Auckland, 21 December."""
    for lon, lat, day, rise, fall in (
        (-0.12, 51.5, date(2025, 6, 21), 4 * 60 + 43, 21 * 60 + 21.5),
        (174.76, -36.85, date(2025, 12, 21), 358.6, 1239.7),
    ):
        ((low, high),) = windows("sunrise-sunset", day, lon=lon, lat=lat).windows
        assert abs(low - rise) <= 2
        assert abs(high - fall) <= 2


@pytest.mark.parametrize(
    ("text", "tidy"),
    [("15 Jun-15 Sep", "Jun 15-Sep 15"), ("Jan-Dez", "Jan-Dec"), ("1 May - 30 September", "May 01-Sep 30"), ("Nov - Apr", "Nov-Apr"),
     ("May 1st-Oct 2nd", "May 1-Oct 2"), ("Mo-Fr 08:00-12:00", "Mo-Fr 08:00-12:00"), ("Jan 10 2024-Mar 20 2024", "2024 Jan 10-2024 Mar 20"),
     ("april–october", "Apr-Oct")],
)  # fmt: skip
def test_common_spellings(text: str, tidy: str) -> None:
    """Spellings met on real maps (two of Andorra's camps) come out readable, and mean the same dates."""
    assert tidy_dates(text).replace(" 0", " ").replace(" - ", "-") == tidy.replace(" 0", " ")
    assert is_readable(text)


def test_any_and_all() -> None:
    """Some of the day against the whole of it."""
    day = date(2025, 7, 14)
    assert any_open("Mo 10:00-11:00", day) is True
    assert all_open("Mo 10:00-11:00", day, 480, 1200) is False
    assert all_open("Mo 08:00-20:00", day, 480, 1200) is True
    assert all_open("Jul", day, 0, 1440) is True
    assert all_open("snow", day, 0, 1440) is None


@given(st.text(max_size=40), st.dates(date(1990, 1, 1), date(2100, 1, 1)), st.sampled_from(["", "NZ", "ZZ", "li"]))
def test_any_text_gets_an_answer(text: str, day: date, country: str) -> None:
    """No text raises; windows are in order and within the day."""
    found = windows(text, day, country=country)
    assert found.open in (True, False, None)
    flat = [minute for window in found.windows for minute in window]
    assert flat == sorted(flat)
    assert all(0 <= minute <= 1440 for minute in flat)
