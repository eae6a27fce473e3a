"""Sentences that stand in a plan, told in the language and the units spoken.

A plan holds its notes, reasons and assumptions as English sentences, so that a file of years ago can be told as well as a plan made
just now. Here each such sentence is known by its pattern: words, and named places for what differs. A place's name says
what stands there (`_KINDS`): figures are set anew with their units, sentences and words within are told in their turn, and names
go over as they are. What fits no pattern stays as it is written; English with metric units never comes this far.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import date, datetime
from functools import cache

from tripplan.model.cautions import CAUTIONS
from tripplan.model.words import STORES
from tripplan.report.check_sentences import CHECKED, LOOPS
from tripplan.report.language import Language, spoken, word
from tripplan.report.plan_sentences import SENTENCES
from tripplan.report.trouble_sentences import TROUBLES

__all__ = ["known", "retell"]

_NUMBER = r"-?[\d,]+(?:\.\d+)?"
_WEEKDAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
_DATE = rf"\d{{1,2}} (?:{'|'.join(_MONTHS)})"
_CLOCK = r"\d\d:\d\d(?: the next day)?"
#: Every sentence that may stand in a plan, a check or a loop; the first that fits rules.
_ALL = (*TROUBLES, *SENTENCES, *CHECKED, *LOOPS)
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
    weekday, number, month = said.split(" ")
    for year in range(2020, 2048):  # every weekday falls on every date within 28 years
        when = _date(year, month, number)
        if when is not None and when.weekday() == _WEEKDAYS.index(weekday[:3]):
            return language.short_day(when)
    return said


def _date(year: int, month: str, number: str) -> date | None:
    try:
        return date(year, _MONTHS.index(month[:3]) + 1, int(number))
    except ValueError:
        return None


def _dated(said: str) -> str:
    """Return ``3 Feb 2026`` as the locale has it."""
    number, month, year = said.split(" ")
    when = _date(int(year), month, number)
    return said if when is None else spoken().day(when)


def _moment(said: str) -> str:
    """Return ``Fri 6 Feb 09:00``, or with whole names, as the locale has it."""
    weekday, number, month, clock = said.split(" ")
    return f"{_day(f'{weekday[:3]} {number} {month[:3]}')}, {_clocks(clock)}"


def _readings(said: str) -> str:
    """Return days of readings, ``3 Feb, 5 Feb and 6 Feb``, whose year is not told."""
    from tripplan.report.say import listed

    out = []
    for part in re.split(r", | and ", said):
        number, month = part.split(" ")
        when = _date(2024, month, number)  # a leap year has every date
        out.append(spoken().month_day(when) if when is not None else part)
    return listed(out)


def _clocks(said: str) -> str:
    """Return times of day and ranges of them as the locale has them; 24:00 stays."""

    def one(found: re.Match[str]) -> str:
        hour, minute = found[0].split(":")
        return found[0] if hour == "24" else spoken().clock(datetime(2000, 1, 1, int(hour), int(minute)))  # noqa: DTZ001 - a time of day alone

    return re.sub(r"\d\d:\d\d", one, said).replace(" the next day", spoken().sentence(word(" the next day")))


def _either(said: str) -> str:
    """Return names with "or" between them, the last perhaps so many other places."""
    language = spoken()
    names = [
        re.sub(r"^(\d+) other places$", language.sentence(word("{n} other places")).replace("{n}", r"\1"), name)
        for name in said.split(" or ")
    ]
    return language.sentence(word(" or ")).join(names)


def _parted(said: str) -> str:
    """Return reasons with how many sites each concerns, ``reason (3 sites); reason (1 site)``."""
    language = spoken()
    out = []
    for part in re.split(r"(?<=sites\)); |(?<=site\)); ", said):
        found = re.fullmatch(r"(.+) \((\d+) sites?\)", part)
        if found is None:
            out.append(retell(part))
        else:
            count = int(found[2])
            sites = language.sentence_n("{n} site", "{n} sites", count).format(n=count)
            out.append(f"{retell(found[1])} ({sites})")
    return "; ".join(out)


def _counted(said: str) -> str:
    """Return reasons each with a number before it, ``3 takes no pets, 2 not known to take vans``."""
    return ", ".join(
        f"{number} × {retell(why)}" for number, _, why in (part.partition(" ") for part in re.split(r", (?=\d+ [a-z])", said))
    )


def _store(said: str) -> str:
    from tripplan.report.say import store_name

    return store_name(said)


def _way(said: str) -> str:
    value, unit = said.split(" ")
    language = spoken()
    return language.short_way(float(value.replace(",", ""))) if unit == "m" else _KINDS["km"][1](said)


#: What a place may hold, by its name less digits at its end: a pattern, and how it is told.
_KINDS: dict[str, tuple[str, Callable[[str], str]]] = {
    "km": (_NUMBER + " km", _figure(lambda language, value, digits: language.road(1000 * value, digits))),
    "m": (_NUMBER + " m", _figure(lambda language, value, _: language.short_way(value))),
    "size": (_NUMBER + " m", _figure(lambda language, value, digits: language.size(value, digits))),
    "litres": (_NUMBER + " L", _figure(lambda language, value, digits: language.volume(value, digits))),
    "kg": (_NUMBER + " kg", _figure(lambda language, value, digits: language.mass(value, digits))),
    "amount": (_NUMBER + " (?:L|kg|Ah|min|h)", lambda said: _amount(said)),
    "watts": (_NUMBER + " W", _with("W")),
    "speed": (_NUMBER + " km/h", _figure(lambda language, value, _: language.speed(value))),
    "amps": (_NUMBER + " A", _with("A")),
    "ah": (_NUMBER + " Ah", _with("Ah")),
    "hours": (_NUMBER + " h", _with("h")),
    "min": (_NUMBER + " min", _with("min")),
    "duration": (r"\d+ h(?: \d\d min)?", lambda said: said),  # its signs are the same in every language
    "sun": (_NUMBER + " kWh/m²", _with("kWh/m²")),
    "celsius": (_NUMBER + " °C", _figure(lambda language, value, _: language.temperature(value))),
    "span": (f"{_NUMBER} to {_NUMBER} °C", _range),
    "share": (r"\d+(?:\.\d+)?%", _figure(lambda language, value, digits: f"{language.number(value, digits)} %")),
    "n": (_NUMBER, _figure(lambda language, value, digits: language.number(value, digits))),
    "money": (r"-?\d+\.\d\d", _figure(lambda language, value, digits: language.number(value, digits, grouped=True))),
    "day": (f"(?:{'|'.join(_WEEKDAYS)}) {_DATE}", _day),
    "date": (f"{_DATE} \\d{{4}}", _dated),
    "dates": (
        f"until further notice|(?:on|until) {_DATE} \\d{{4}}|from {_DATE} \\d{{4}} (?:on|to {_DATE} \\d{{4}})",
        lambda said: retell(said),
    ),
    "moment": (rf"(?:{'|'.join(_WEEKDAYS)})[a-z]* {_DATE}[a-z]* \d\d:\d\d", _moment),
    "readings": (rf"{_DATE}(?:(?:, | and ){_DATE})*", _readings),
    "clock": (_CLOCK, _clocks),
    "clocks": (f"{_CLOCK}–{_CLOCK}(?:, {_CLOCK}–{_CLOCK})*", _clocks),
    "way": (_NUMBER + " k?m", _way),
    "store": ("|".join(store.value for store in STORES), _store),
    "either": (".+?", _either),
    "reasons": (".+", _parted),
    "counted": (".+", _counted),
    "kind": ("caravan site|camp site|holiday park|farm stay|rest area|other", lambda said: retell(said)),
    "by": (".+", lambda said: retell(said)),
    "turns": (".+", lambda said: said),
    "tag": (r"[\w:|/-]+(?:=.+?)?", lambda said: said),
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
    for sentence in _ALL:
        parts = re.split(r"\{(\w+)\}", sentence)
        pattern = "".join(re.escape(part) if i % 2 == 0 else f"(?P<{part}>{_kind(part)[0]})" for i, part in enumerate(parts))
        made.append((sentence, re.compile(pattern)))
    return tuple(made)


@cache
def _whole() -> frozenset[str]:
    """Return the sentences in which nothing differs, found at once."""
    return frozenset({text for text, _ in CAUTIONS.values()} | {sentence for sentence in _ALL if "{" not in sentence})


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
