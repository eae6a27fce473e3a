"""Sentences that stand in a plan, told in the language and the units spoken.

A plan holds its notes, reasons and assumptions as English sentences, so that a file of years ago can be told as well as a plan made
just now. Here each such sentence is known by its pattern: words, and named places for what differs. A place's name says
what stands there (`_KINDS`): figures are set anew with their units, sentences and words within are told in their turn, and names
go over as they are. What fits no pattern stays as it is written; English with metric units never comes this far.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from functools import cache

from tripplan.model.cautions import CAUTIONS
from tripplan.report.language import Language, spoken
from tripplan.report.plan_sentences import SENTENCES

__all__ = ["known", "retell"]

_NUMBER = r"-?[\d,]+(?:\.\d+)?"
#: Texts longer than this are no sentence of ours [characters].
_LONGEST = 2000


def _value(said: str) -> tuple[float, int]:
    """Return a figure as it was said and its decimals."""
    bare = said.replace(",", "")
    return float(bare), len(bare.partition(".")[2])


def _figure(make: Callable[[Language, float, int], str]) -> Callable[[str], str]:
    def told(said: str) -> str:
        found = re.match(_NUMBER, said)
        assert found is not None
        return make(spoken(), *_value(found[0]))

    return told


def _with(unit: str) -> Callable[[str], str]:
    """Return how a figure is told whose unit is the same everywhere."""
    return _figure(lambda language, value, digits: f"{language.number(value, digits, grouped=abs(value) >= 1000)} {unit}")


def _range(said: str) -> str:
    low, _, high = said.removesuffix(" °C").partition(" to ")
    return spoken().temperatures(float(low), float(high))


def _things(said: str) -> str:
    from tripplan.report.say import listed

    return listed(retell(part) for part in re.split(r", | and ", said))


def _names(said: str) -> str:
    """Return names in a row; a name alone, or two, may have an "and" of its own and stay."""
    from tripplan.report.say import listed

    rest, _, last = said.rpartition(" and ")
    return listed([rest, last]) if ", " in rest else said


def _actions(said: str) -> str:
    return ", ".join(retell(part) for part in said.split(", "))


def _day(said: str) -> str:
    """Return ``Sat 6 Jun``, which tells no year, as the locale has it."""
    language = spoken()
    if language.locale == "en":
        return said
    from datetime import date

    weekday, number, month = said.split(" ")
    months = ["Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"].index(month) + 1
    weekdays = ["Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun"].index(weekday)
    for year in range(2020, 2048):  # every weekday falls on every date within 28 years
        try:
            when = date(year, months, int(number))
        except ValueError:
            continue
        if when.weekday() == weekdays:
            return language.short_day(when)
    return said


#: What a place may hold, by its name less digits at its end: a pattern, and how it is told.
_KINDS: dict[str, tuple[str, Callable[[str], str]]] = {
    "km": (_NUMBER + " km", _figure(lambda language, value, digits: language.road(1000 * value, digits))),
    "m": (_NUMBER + " m", _figure(lambda language, value, _: language.short_way(value))),
    "size": (_NUMBER + " m", _figure(lambda language, value, digits: language.size(value, digits))),
    "litres": (_NUMBER + " L", _figure(lambda language, value, digits: language.volume(value, digits))),
    "kg": (_NUMBER + " kg", _figure(lambda language, value, digits: language.mass(value, digits))),
    "amount": (_NUMBER + " (?:L|kg|Ah|min|h)", lambda said: _amount(said)),
    "watts": (_NUMBER + " W", _with("W")),
    "amps": (_NUMBER + " A", _with("A")),
    "ah": (_NUMBER + " Ah", _with("Ah")),
    "hours": (_NUMBER + " h", _with("h")),
    "min": (_NUMBER + " min", _with("min")),
    "sun": (_NUMBER + " kWh/m²", _with("kWh/m²")),
    "celsius": (_NUMBER + " °C", _figure(lambda language, value, _: language.temperature(value))),
    "span": (f"{_NUMBER} to {_NUMBER} °C", _range),
    "share": (r"\d+(?:\.\d+)?%", _figure(lambda language, value, digits: f"{language.number(value, digits)} %")),
    "n": (_NUMBER, _figure(lambda language, value, digits: language.number(value, digits))),
    "money": (r"-?\d+\.\d\d", _figure(lambda language, value, digits: language.number(value, digits, grouped=True))),
    "day": ("(?:Mon|Tue|Wed|Thu|Fri|Sat|Sun) [0-9]{1,2} (?:Jan|Feb|Mar|Apr|May|Jun|Jul|Aug|Sep|Oct|Nov|Dec)", _day),
    "said": (".+", lambda said: retell(said)),
    "things": (".+?", _things),
    "actions": (".+", _actions),
    "names": (".+?", _names),
}
#: Names, addresses, hours as written: whatever it is, it stays.
_FOREIGN: tuple[str, Callable[[str], str]] = (".+?", lambda said: said)


def _amount(said: str) -> str:
    unit = said.rsplit(" ", 1)[1]
    return _KINDS[{"L": "litres", "kg": "kg", "Ah": "ah", "min": "min", "h": "hours"}[unit]][1](said)


def _kind(name: str) -> tuple[str, Callable[[str], str]]:
    return _KINDS.get(name.rstrip("0123456789"), _FOREIGN)


@cache
def _patterns() -> tuple[tuple[str, re.Pattern[str]], ...]:
    """Return each sentence with its pattern; the first that fits rules."""
    made = []
    for sentence in SENTENCES:
        parts = re.split(r"\{(\w+)\}", sentence)
        pattern = "".join(re.escape(part) if i % 2 == 0 else f"(?P<{part}>{_kind(part)[0]})" for i, part in enumerate(parts))
        made.append((sentence, re.compile(pattern)))
    return tuple(made)


@cache
def _whole() -> frozenset[str]:
    """Return the sentences in which nothing differs, found at once."""
    return frozenset({text for text, _ in CAUTIONS.values()} | {sentence for sentence in SENTENCES if "{" not in sentence})


def _fits(text: str) -> tuple[str, dict[str, str]] | None:
    for sentence, pattern in _patterns():
        found = pattern.fullmatch(text)
        if found is not None:
            return sentence, found.groupdict()
    return None


def known(text: str) -> bool:
    """Return whether a sentence of a plan has a pattern here, as a whole or in each of its parts."""
    if text in _whole() or _fits(text) is not None:
        return True
    parts = text.split("; ")
    return len(parts) > 1 and all(map(known, parts))


def retell(text: str) -> str:
    """Return a sentence of a plan in the language and the units spoken; as it is where no pattern fits."""
    language = spoken()
    if (language.code == "en" and language.metric) or not text or len(text) > _LONGEST:
        return text
    if text in _whole():
        return language.sentence(text)
    found = _fits(text)
    if found is not None:
        sentence, values = found
        return language.sentence(sentence).format(**{name: _kind(name)[1](value) for name, value in values.items()})
    if "; " in text:
        return "; ".join(map(retell, text.split("; ")))
    return text
