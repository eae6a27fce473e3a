"""The language and the units that papers are written in: one value, and `tell` for every sentence.

English sentences in the code are the keys of gettext catalogues in ``locale/``; what a sentence tells stands in it by name.
Figures are turned into other units for reading only: plans, limits and searches stay metric. A paper's writer speaks a language
for as long as it writes (`speaking`); whatever says something meanwhile asks `spoken`. English with metric units is the tongue
that everything is written in, and costs nothing: no catalogue is opened, Babel is not imported.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from functools import cache
from gettext import GNUTranslations
from importlib.resources import files
from typing import TYPE_CHECKING

from tripplan.model.errors import BadInputError
from tripplan.report.safe import plain

if TYPE_CHECKING:
    from tripplan.model.trip import Trip

__all__ = ["CODES", "UNITS", "Language", "language_for", "language_named", "speaking", "spoken", "tell", "tell_n", "word"]

#: Languages that are complete, and systems of units; ``imperial`` alone is the one of the locale's country.
CODES: tuple[str, ...] = ("en", "de")
UNITS: tuple[str, ...] = ("metric", "imperial", "imperial-us", "imperial-uk")

#: Exact by definition: international mile and foot, avoirdupois pound (International Yard and Pound Agreement, 1959), US gallon
#: (231 cubic inches, NIST Handbook 44), imperial gallon (UK Weights and Measures Act 1985).
_MILE_M, _FOOT_M, _POUND_KG = 1609.344, 0.3048, 0.45359237
_GALLON_L = {"imperial-us": 3.785411784, "imperial-uk": 4.54609}
#: How a date is set, by locale; others as the first two letters.
_DAY = {"en": "EEE d MMMM y", "en_US": "EEE, MMMM d, y", "de": "EEE, d. MMMM y"}
_SHORT_DAY = {"en": "EEE d MMM", "en_US": "EEE, MMM d", "de": "EEE, d. MMM"}
_MONTH_DAY = {"en": "d MMM", "en_US": "MMM d", "de": "d. MMM"}
_WEEKDAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
_MONTHS = (
    "January", "February", "March", "April", "May", "June", "July", "August", "September", "October", "November", "December",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Language:
    """A language, its country's way with dates and numbers, and units.

    Parameters
    ----------
    locale
        ``en``, ``de``, or one of these with a country: ``en_US``, ``de_AT``.
    units
        ``metric``, ``imperial-us`` or ``imperial-uk``.
    """

    locale: str = "en"
    units: str = "metric"

    @property
    def code(self) -> str:
        """The language without its country."""
        return self.locale[:2]

    @property
    def tag(self) -> str:
        """The language as pages name it (BCP 47)."""
        return self.locale.replace("_", "-")

    @property
    def metric(self) -> bool:
        """Whether lengths, volumes, masses and temperatures are metric."""
        return self.units == "metric"

    # ------------------------------------------------------------------ sentences

    def sentence(self, english: str) -> str:
        """Return a sentence of the code in this language, its places still open."""
        return english if self.code == "en" else _catalogue(self.code).gettext(english)

    def sentence_n(self, one: str, many: str, n: int) -> str:
        """Return the form of a sentence that goes with a number."""
        if self.code == "en":
            return one if n == 1 else many
        return _catalogue(self.code).ngettext(one, many, n)

    # ------------------------------------------------------------------ figures

    def number(self, value: float, digits: int = 0, *, grouped: bool = False) -> str:
        """Return a number with so many decimals, rounded alike in every language."""
        if self.locale == "en":
            said = f"{value:,.{digits}f}" if grouped else f"{value:.{digits}f}"
            return said if said[0] != "-" or said.strip("-0.") else said[1:]
        from babel.numbers import format_decimal

        pattern = ("#,##0" if grouped or abs(value) >= 10_000 else "0") + ("." + "0" * digits if digits else "")
        return format_decimal(Decimal(f"{value:.{digits}f}"), format=pattern, locale=self.locale)

    def with_unit(self, value: float, digits: int, unit: str) -> str:
        """Return a number with a unit by its name in Unicode CLDR (``length-mile``), as the locale sets it."""
        from babel.units import format_unit

        said = format_unit(self.number(value, digits), unit, length="short", locale=self.locale)
        return said.replace("\u00a0", " ").replace("\u202f", " ")

    def distance(self, metres: float) -> str:
        """Return a length of road: km, or m below one; miles, or feet below a fifth of one."""
        if self.metric:
            if metres < 995:
                return f"{round(metres, -1):.0f} m" if metres >= 5 else "0 m"
            return f"{self.number(metres / 1000, 1)} km" if metres < 9950 else f"{self.number(metres / 1000)} km"
        miles = metres / _MILE_M
        if miles < 0.2:
            return (
                self.with_unit(round(metres / _FOOT_M, -1), 0, "length-foot")
                if metres >= 5
                else self.with_unit(0, 0, "length-foot")
            )
        return self.with_unit(miles, 1 if miles < 9.95 else 0, "length-mile")

    def road(self, metres: float, digits: int = 0) -> str:
        """Return a length of road in km or miles with so many decimals."""
        if self.metric:
            return f"{self.number(metres / 1000, digits)} km"
        return self.with_unit(metres / _MILE_M, digits, "length-mile")

    def short_way(self, metres: float) -> str:
        """Return a short length in whole m or feet."""
        return f"{self.number(metres)} m" if self.metric else self.with_unit(metres / _FOOT_M, 0, "length-foot")

    def size(self, metres: float, digits: int = 2, *, posted: bool = False) -> str:
        """Return a size in m, or in feet and whole inches: an outfit's own rounded up, one that is ``posted`` rounded down."""
        if self.metric:
            return f"{self.number(metres, digits)} m"
        inches = metres / (_FOOT_M / 12)
        whole = math.floor(inches + 1e-6) if posted else math.ceil(inches - 1e-6)
        return f"{whole // 12} ft {whole % 12} in"

    def volume(self, litres: float, digits: int = 0) -> str:
        """Return a volume in litres, or in gallons with one decimal."""
        if self.metric:
            return f"{self.number(litres, digits)} L"
        unit = "volume-gallon" if self.units == "imperial-us" else "volume-gallon-imperial"
        return self.with_unit(litres / _GALLON_L[self.units], max(1, digits), unit)

    def mass(self, kg: float, digits: int = 0) -> str:
        """Return a mass in kg or pounds."""
        return f"{self.number(kg, digits)} kg" if self.metric else self.with_unit(kg / _POUND_KG, digits, "mass-pound")

    def temperature(self, celsius: float) -> str:
        """Return a temperature in whole °C or °F."""
        return f"{self.number(celsius)} °C" if self.units != "imperial-us" else f"{self.number(celsius * 1.8 + 32)} °F"

    def temperatures(self, low: float, high: float) -> str:
        """Return a range of temperatures."""
        return tell("{low} to {high}", low=self.temperature(low).split()[0], high=self.temperature(high))

    def speed(self, kmh: float) -> str:
        """Return a speed in whole km/h, or miles an hour rounded down."""
        return f"{self.number(kmh)} km/h" if self.metric else f"{self.number(math.floor(kmh * 1000 / _MILE_M + 1e-6))} mph"

    def money(self, cents: int, currency: str = "") -> str:
        """Return an amount with the name of its money where that is told."""
        return f"{self.number(cents / 100, 2, grouped=True)} {plain(currency)}".rstrip()

    # ------------------------------------------------------------------ times

    def duration(self, seconds: float) -> str:
        """Return a duration as ``1 h 40 min``, to the minute; the signs are the same in every language."""
        minutes = round(seconds / 60)
        if minutes < 60:
            return f"{minutes} min"
        return f"{minutes // 60} h" + (f" {minutes % 60:02d} min" if minutes % 60 else "")

    def clock(self, when: datetime) -> str:
        """Return the time of day."""
        if self.locale == "en" or self.code == "de":
            return f"{when:%H:%M}"
        from babel.dates import format_time

        return format_time(when.replace(tzinfo=None), "short", locale=self.locale).replace("\u202f", " ")

    def day(self, when: date) -> str:
        """Return a date as ``Sat 6 June 2026``, ``Sa., 6. Juni 2026``."""
        if self.locale == "en":
            return f"{_WEEKDAYS[when.weekday()]} {when.day} {_MONTHS[when.month - 1]} {when.year}"
        return self._dated(when, _DAY)

    def short_day(self, when: date) -> str:
        """Return a date as ``Sat 6 Jun``, ``Sa., 6. Juni``."""
        if self.locale == "en":
            return f"{_WEEKDAYS[when.weekday()]} {when.day} {_MONTHS[when.month - 1][:3]}"
        return self._dated(when, _SHORT_DAY)

    def month_day(self, when: date) -> str:
        """Return a date as ``6 Jun``, ``6. Juni``."""
        return self._dated(when, _MONTH_DAY)

    def _dated(self, when: date, patterns: dict[str, str]) -> str:
        from babel.dates import format_date

        return format_date(when, patterns.get(self.locale) or patterns[self.code], locale=self.locale)


@cache
def _catalogue(code: str) -> GNUTranslations:
    with (files("tripplan.report") / "locale" / code / "LC_MESSAGES" / "tripplan.mo").open("rb") as file:
        return GNUTranslations(file)


_SPOKEN: ContextVar[Language] = ContextVar("language")
_ENGLISH = Language()


def spoken() -> Language:
    """Return the language that papers are being written in; English with metric units where nobody said."""
    return _SPOKEN.get(_ENGLISH)


@contextmanager
def speaking(language: Language) -> Iterator[Language]:
    """Write in a language for as long as the block lasts, in this thread alone."""
    token = _SPOKEN.set(language)
    try:
        yield language
    finally:
        _SPOKEN.reset(token)


def language_named(name: str = "", units: str = "", *, where: str = "") -> Language:
    """Return a language by its name (``de``, ``en-US``) and units; empty: English, and the units of the locale.

    Without a word on units the United States get imperial ones and everybody else metric ones (Unicode CLDR, measurementData;
    the United Kingdom measures roads in miles but water in litres: there too one asks for imperial).

    Raises
    ------
    BadInputError
        For a language that is not among `CODES`, a country that nobody knows, or unknown units.
    """
    code, _, country = (name.strip() or "en").replace("-", "_").partition("_")
    locale = code.lower() + (f"_{country.upper()}" if country else "")
    if code.lower() not in CODES or (country and not _is_known(locale)):
        raise BadInputError(
            f"language {name!r}", where=where or "language", accepted=f"{', '.join(CODES)}, or with a country: en-US, de-AT",
            next_step="choose one of them",
        )  # fmt: skip
    if units and units not in UNITS:
        raise BadInputError(f"units {units!r}", where=where or "units", accepted=", ".join(UNITS), next_step="choose one of them")
    if not units:
        units = "imperial-us" if locale.endswith("_US") else "metric"
    if units == "imperial":
        units = "imperial-uk" if locale.endswith("_GB") else "imperial-us"
    return Language(locale, units)


def _is_known(locale: str) -> bool:
    from babel import Locale, UnknownLocaleError

    try:
        Locale.parse(locale)
    except (UnknownLocaleError, ValueError):
        return False
    return True


def language_for(trip: Trip, name: str = "", units: str = "") -> Language:
    """Return the language of a trip's papers: as asked for, else as the trip says, else English metric.

    What a plan's file says and this version does not know counts as not said; what is asked for now is refused (`BadInputError`).
    """
    try:
        own = language_named(trip.language, trip.units)
    except BadInputError:
        return language_named(name, units)
    if not name and not units:
        return own
    return language_named(name or trip.language, units or trip.units)


def word(text: str) -> str:
    """Return a text of a table as it is: it is told by `tell` later, and marked here for the catalogue."""
    return text


def tell(sentence: str, **values: object) -> str:
    """Return a sentence in the language spoken, with its values put in.

    Text values are cleaned and isolated first, so that none turns the sentence round. A value's own braces mean nothing.
    """
    language = _SPOKEN.get(_ENGLISH)
    if language.locale[:2] != "en":
        sentence = language.sentence(sentence)
    if not values:
        return sentence
    return sentence.format(**{name: plain(value) if isinstance(value, str) else value for name, value in values.items()})


def tell_n(one: str, many: str, n: int, **values: object) -> str:
    """Return the form of a sentence that goes with a number ``n``, which may stand in it."""
    sentence = spoken().sentence_n(one, many, n)
    return sentence.format(n=n, **{name: plain(value) if isinstance(value, str) else value for name, value in values.items()})
