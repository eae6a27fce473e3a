"""Public holidays of a part of a country: the library that reads hours knows nations alone, and the plan says so."""

from __future__ import annotations

from datetime import date

from tripplan.almanac.hours import is_holiday


def test_a_part_of_a_country_has_no_holidays_of_its_own_here() -> None:
    """6 January is a holiday of Bavaria, not of Germany (Bavarian law on Sundays and holidays, article 1, from memory): it is not known."""
    assert is_holiday(date(2026, 1, 6), "DE") is False
    assert is_holiday(date(2026, 10, 3), "DE") is True
    assert is_holiday(date(2026, 1, 6), "DE-BY") is None
