"""The papers in other languages and units: catalogues whole, figures right, names untouched."""

from __future__ import annotations

import ast
import math
import re
from dataclasses import replace
from datetime import date, datetime
from pathlib import Path

import pytest
from helpers import plans
from helpers.tongues import english_left, pairs, said_by
from hypothesis import given, settings
from hypothesis import strategies as st

import tripplan
from tripplan.model.cautions import CAUTIONS
from tripplan.model.errors import BadInputError
from tripplan.report import say
from tripplan.report.itinerary import itinerary_page, sheets_of
from tripplan.report.language import CODES, Language, language_for, language_named, speaking, spoken, tell, tell_n
from tripplan.report.map import map_page
from tripplan.report.messages import LOCALES, compiled, gathered, read_po
from tripplan.report.plan_sentences import SENTENCES
from tripplan.report.retell import _fits, known, retell
from tripplan.report.sheets.blocks import texts
from tripplan.report.trouble_sentences import TROUBLES
from tripplan.report.words import summary
from tripplan.report.write import render_papers

GERMAN = Language("de")
US, UK = Language("en_US", "imperial-us"), Language("en", "imperial-uk")
OTHERS = [code for code in CODES if code != "en"]
#: A value for each kind of place in a plan's sentence.
_SAMPLE = {
    "km": "5.0 km", "m": "359 m", "size": "11.9 m", "litres": "3.6 L", "kg": "0.44 kg", "amount": "3.2 L", "watts": "1,380 W", "amps": "5.2 A",
    "ah": "84 Ah", "hours": "5.6 h", "min": "29 min", "sun": "4.8 kWh/m²", "celsius": "-3 °C", "span": "12 to 23 °C", "share": "95.6%", "n": "7",
    "money": "30.00", "duration": "7 h 07 min", "day": "Sun 8 Feb", "said": "gas is off", "things": "fridge, charger and water heater", "actions": "empty the cassette",
    "clock": "07:00", "currency": "crowns", "clocks": "08:00–12:00, 13:00–17:30", "date": "3 Feb 2026", "dates": "from 3 Feb 2026 to 9 Feb 2026", "moment": "Fri 6 Feb 09:00",
    "readings": "3 Feb and 5 Feb", "way": "2.4 km", "store": "grey", "either": "Sund Wells or 3 other places", "reasons": "a barrier (1 site)",
    "counted": "3 takes no pets, 2 not known to take vans", "kind": "farm stay", "by": "reading of 5 Feb",
}  # fmt: skip


def _placeholders(text: str) -> set[str]:
    return set(re.findall(r"\{(\w+)", text))


def _filled(sentence: str) -> str:
    return re.sub(r"\{(\w+)\}", lambda m: _SAMPLE.get(m[1].rstrip("0123456789"), f"Sund Wells {m[1]}"), sentence)


# ---------------------------------------------------------------------------------------------- catalogues


def test_the_template_holds_what_the_code_says() -> None:
    """The published template names exactly the sentences that the extractor finds in the code now."""
    from babel.messages.pofile import read_po as read

    with (LOCALES / "tripplan.pot").open("rb") as file:
        published = {message.id for message in read(file) if message.id}
    assert published == {message.id for message in gathered() if message.id}, "run python -m tripplan.report.messages"


def test_no_sentence_escapes_the_extractor() -> None:
    """Every literal that is told anywhere in the papers' code, inside other strings too, is in the template (read by Python's own parser)."""
    found = {message.id[0] if isinstance(message.id, tuple) else message.id for message in gathered() if message.id}
    package = Path(tripplan.__file__).parent
    missing = []
    for path in [*(package / "report").rglob("*.py"), *(package / "cli").glob("*.py")]:
        if path.name == "catalogue.py":  # an operator's page, in English only
            continue
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            called = (
                isinstance(node, ast.Call)
                and isinstance(node.func, ast.Name)
                and node.func.id in ("tell", "tell_n", "word", "step")
            )
            if called and node.args and isinstance(node.args[0], ast.Constant) and isinstance(node.args[0].value, str):
                sentence = node.args[0].value
                if sentence and sentence not in found:
                    missing.append(f"{path.name}: {sentence}")
    assert not missing


@pytest.mark.parametrize("code", OTHERS)
def test_a_catalogue_is_complete(code: str) -> None:
    """Every sentence of the template has a text in the language, and the catalogue has nothing beside."""
    ids = {message.id for message in gathered() if message.id}
    catalog = read_po(code)
    assert {message.id for message in catalog if message.id} == ids
    assert [english for english, text in pairs(code) if not text.strip()] == []
    assert not [message.id for message in catalog if message.fuzzy and message.id]


@pytest.mark.parametrize("code", OTHERS)
def test_the_compiled_catalogue_is_the_written_one(code: str) -> None:
    """What gettext reads holds what the translator wrote, byte for byte."""
    assert (LOCALES / code / "LC_MESSAGES" / "tripplan.mo").read_bytes() == compiled(read_po(code)), (
        "run python -m tripplan.report.messages"
    )


@pytest.mark.parametrize("code", OTHERS)
def test_places_keep_their_names(code: str) -> None:
    """A translation names exactly the places that its sentence names, and keeps blanks at both ends."""
    for english, text in pairs(code):
        assert _placeholders(english) == _placeholders(text), english
        assert english[:1].isspace() == text[:1].isspace(), english
        assert english[-1:].isspace() == text[-1:].isspace(), english


def test_german_speaks_the_trades_words() -> None:
    """The words of the trade are the usual German ones."""
    with speaking(GERMAN):
        assert [say.store_name(store) for store in ("fresh", "grey", "cassette")] == [
            "Frischwasser",
            "Grauwasser",
            "Toilettenkassette",
        ]
        assert say.todo_words(["gas"]) == "Gasflasche tauschen"
        assert say.listed(["a", "b", "c"]) == "a, b und c"
        assert tell("mains power") == "Stromanschluss"
    everything = " ".join(text for _, text in pairs("de"))
    for trade in ("Wohnwagen", "Entsorgungsstation", "Stützlast", "Gasflasche", "Abreißseil", "FI-Schutzschalter"):
        assert trade in everything


def test_plural_forms_go_with_the_number() -> None:
    """One and many differ, in English and in German."""
    for n, english, german in ((1, "1 night", "1 Nacht"), (0, "0 nights", "0 Nächte"), (5, "5 nights", "5 Nächte")):
        assert tell_n("1 night", "{n} nights", n) == english
        with speaking(GERMAN):
            assert tell_n("1 night", "{n} nights", n) == german


# ---------------------------------------------------------------------------------------------- figures


def test_units_by_hand() -> None:
    """Miles, feet, gallons, pounds and degrees against values worked out by hand from their definitions.

    International mile 1609.344 m, foot 0.3048 m, pound 0.45359237 kg, US gallon 231 in³ = 3.785411784 L, imperial gallon 4.54609 L
    (NIST Handbook 44, appendix C; UK Weights and Measures Act 1985, schedule 1).
    """
    with speaking(US):
        assert say.km(100_000) == "62 mi"  # 62.137
        assert say.km(5000) == "3.1 mi"  # 3.107
        assert say.km(100) == "330 ft"  # 328.08
        assert say.amount("fresh", 60) == "15.9 gal"  # 15.850
        assert say.amount("gas", 10) == "22.0 lb"  # 22.046
        assert say.amount("battery", 80) == "80 Ah"
        assert spoken().temperature(20) == "68 °F"
        assert spoken().temperature(-40) == "-40 °F"
        assert spoken().speed(80) == "49 mph"  # 49.71, rounded down: a limit
        assert spoken().size(2.62) == "8 ft 8 in"  # 103.15 in, an outfit rounded up
        assert spoken().size(2.62, posted=True) == "8 ft 7 in"  # and a posted height down
    with speaking(UK):
        assert say.amount("fresh", 60).startswith("13.2 ")  # 13.198
        assert spoken().temperature(20) == "20 °C"
        assert say.km(100_000) == "62 mi"


@given(st.floats(0.5, 20, allow_nan=False))
def test_sizes_err_on_the_safe_side(metres: float) -> None:
    """In feet and inches an outfit is never smaller than it is, and a posted limit never larger."""

    def inches(said: str) -> int:
        feet, whole = re.fullmatch(r"(\d+) ft (\d+) in", said).groups()  # type: ignore[union-attr]
        return 12 * int(feet) + int(whole)

    own, posted = US.size(metres), US.size(metres, posted=True)
    assert inches(own) * 0.0254 >= metres - 1e-6
    assert inches(posted) * 0.0254 <= metres + 1e-6
    assert inches(own) - inches(posted) <= 1


def test_dates_and_numbers_by_locale() -> None:
    """Dates, decimal signs and clocks as Unicode CLDR has them (read by Babel); 3 February 2026 is a Tuesday."""
    when, moment = date(2026, 2, 3), datetime(2026, 2, 3, 14, 5)  # noqa: DTZ001 - a time of day alone
    assert Language().day(when) == "Tue 3 February 2026"
    assert GERMAN.day(when) == "Di., 3. Februar 2026"
    assert Language("de_AT").day(date(2026, 1, 6)) == "Di., 6. Jänner 2026"
    assert US.day(when) == "Tue, February 3, 2026"
    assert GERMAN.money(123_456, "EUR") == "1.234,56 EUR"
    # CLDR has had both signs between thousands of Swiss amounts.
    assert Language("de_CH").money(123_456, "CHF").replace("'", "’") == "1’234.56 CHF"
    assert GERMAN.clock(moment) == "14:05"
    assert US.clock(moment) == "2:05 PM"
    assert GERMAN.distance(5040) == "5,0 km"


@given(st.floats(-1e6, 1e6, allow_nan=False), st.integers(0, 3))
@settings(max_examples=60)
def test_a_number_is_rounded_alike(value: float, digits: int) -> None:
    """German and English show the same digits."""
    said = GERMAN.number(value, digits, grouped=True).replace(".", "").replace(",", ".")
    assert said.replace("-", "") == Language().number(value, digits).replace("-", "")
    assert math.isclose(float(said), float(Language().number(value, digits)))


def test_a_language_is_asked_for_by_name() -> None:
    """Names as people write them are understood, others refused with what is accepted."""
    assert language_named() == Language()
    assert language_named("de-AT") == Language("de_AT")
    assert language_named("en-US") == Language("en_US", "imperial-us")
    assert language_named("en-US", "metric") == Language("en_US")
    assert language_named("de", "imperial") == Language("de", "imperial-us")
    assert language_named("en-GB", "imperial") == Language("en_GB", "imperial-uk")
    for name, units in (("fr", ""), ("de-XX_bad", ""), ("en", "cubits"), ("../de", "")):
        with pytest.raises(BadInputError):
            language_named(name, units)
    trip = replace(plans.plan().trip, language="de", units="imperial")
    assert language_for(trip) == Language("de", "imperial-us")
    assert language_for(trip, "en", "metric") == Language()


def test_a_language_ends_with_its_block() -> None:
    """After writing in German, or failing at it, English is spoken again."""
    with pytest.raises(KeyError), speaking(GERMAN):
        raise KeyError
    assert spoken() == Language()


# ---------------------------------------------------------------------------------------------- sentences of plans


@pytest.mark.parametrize("sentence", dict.fromkeys((*TROUBLES, *SENTENCES)))
def test_each_sentence_of_a_plan_is_found_again(sentence: str) -> None:
    """A sentence filled with figures and names is known by its own pattern, and told without its English words."""
    text = _filled(sentence)
    if "{" in sentence:
        found = _fits(text)
        assert found is not None
        assert found[0] == sentence
    assert known(text)
    with speaking(GERMAN):
        told = retell(text)
    words = [w for part in re.split(r"\{\w+\}", sentence) for w in re.findall(r"[a-z]{5,}", part)]
    german = dict(pairs("de"))[sentence]
    assert not [w for w in words if re.search(rf"\b{w}\b", told) and not re.search(rf"\b{w}\b", german)]


def test_figures_within_sentences_are_set_anew() -> None:
    """A plan's note in German and in miles, by hand: 5.0 km are 3.1 mi, 359 m are 1178 ft, 12 to 23 °C are 54 to 73 °F."""
    note = "5.0 km of road only presumed to be sealed, Hollum to Larkrigg"
    with speaking(GERMAN):
        assert retell(note) == "5,0 km Straße nur als befestigt angenommen, Hollum bis Larkrigg"
        assert (
            retell("Tue 3 Feb: the cassette is 3.2 L over its limit on the way")
            == "Di., 3. Feb.: die Toilettenkassette liegt 3,2 L über ihrer Grenze unterwegs"
        )
    with speaking(US):
        assert retell(note) == "3.1 mi of road only presumed to be sealed, Hollum to Larkrigg"
        assert retell("Phone first: 359 m of road whose surface the map does not tell, A to B").startswith(
            "Phone first: 1178 ft of road"
        )
        assert retell("12 to 23 °C, sun 4.8 kWh/m² (guess by latitude and date (common practice, no source))").startswith(
            "54 to 73 °F, sun 4.8"
        )


def test_every_caution_is_told() -> None:
    """Each caution has a German text of its own."""
    with speaking(GERMAN):
        assert all(retell(text) != text for text, _ in CAUTIONS.values())


@given(st.text(max_size=60))
@settings(max_examples=80)
def test_foreign_words_go_over_as_they_are(name: str) -> None:
    """Whatever a place is called stands in the told sentence unchanged, a name like a sentence too."""
    if "\n" in name or not name:
        return
    with speaking(GERMAN):
        for odd in (name, f"{name} gas", "fresh water", "{m}", "Break", "Tow to Tow to"):
            assert retell(f"Ask {odd} whether pets may come") == f"In {odd} fragen, ob Haustiere mitkommen dürfen"


def test_english_metric_is_left_alone() -> None:
    """In the tongue that plans are written in, no sentence is looked at."""
    for text in ("Tow to X", "", "anything; at all", "Break"):
        assert retell(text) is text


# ---------------------------------------------------------------------------------------------- papers


def test_a_german_paper_has_no_english_sentence() -> None:
    """No sentence of the catalogue stands in English on the German sheets, on the map's list or in the summary."""
    drawn, region = plans.plan(5), plans.island()
    weather = "9 to 18 °C, sun 4.8 kWh/m² (guess by latitude and date (common practice, no source))"
    plan = replace(drawn, days=tuple(replace(day, weather=weather) for day in drawn.days), assumptions=())
    with speaking(GERMAN):
        said = [text for sheet in sheets_of(plan, region) for text in texts(sheet)]
        said += said_by(itinerary_page(plan, region)) + said_by(map_page(plan, region)) + summary(plan)
    # What the drawn plan of the tests says in words of its own is no sentence of ours.
    own = {"Turn the gas off at the bottle before moving off."}
    assert not english_left(said, frozenset(own))


def test_pages_name_their_language() -> None:
    """The pages' language attribute is that of their words (WCAG 2.2, 3.1.1)."""
    plan, region = plans.plan(2), plans.island()
    with speaking(Language("de_AT")):
        assert '<html lang="de-AT">' in itinerary_page(plan, region)
        assert '<html lang="de-AT">' in map_page(plan, region)
    assert '<html lang="en">' in itinerary_page(plan, region)


def test_english_stays_and_the_plan_is_the_same_in_every_language() -> None:
    """Asked for or not, English metric papers are the same bytes; German and imperial ones hold the same plan, tables and lines."""
    plan, region = plans.plan(2), plans.island()
    usual = render_papers(plan, region)
    assert render_papers(plan, region, language=Language()) == usual
    for language in (GERMAN, US):
        other = render_papers(plan, region, language=language)
        assert {name for name in usual if usual[name] == other[name]} >= {"plan.json", "days.csv", "levels.csv"}
        assert other["itinerary.html"] != usual["itinerary.html"]
        assert re.findall(rb"<trkpt[^>]*>", other["route.gpx"]) == re.findall(rb"<trkpt[^>]*>", usual["route.gpx"])


def test_a_trip_may_name_its_language() -> None:
    """Without a word from anybody else, papers are written as the trip says, and its file carries that."""
    plan, region = plans.plan(2), plans.island()
    german = replace(plan, trip=replace(plan.trip, language="de"))
    papers = render_papers(german, region)
    assert b'<html lang="de">' in papers["itinerary.html"]
    assert b'"language": "de"' in papers["plan.json"]
    assert b'"language"' not in render_papers(plan, region)["plan.json"]


def test_imperial_papers_say_no_kilometres() -> None:
    """In miles and gallons, nothing that is told on the sheets or in the summary keeps kilometres, litres or kilograms."""
    plan, region = plans.plan(4), plans.island()
    with speaking(US):
        said = [text for sheet in sheets_of(plan, region) for text in texts(sheet)] + summary(plan)
    cautions = {text for text, _ in CAUTIONS.values()}
    assert not [text for text in said if re.search(r"\d (?:km|L|kg)\b", text) and not any(text.startswith(c) for c in cautions)]
    assert any(" mi" in text for text in said)
    assert any(" gal" in text for text in said)


@pytest.mark.parametrize("language", [GERMAN, US, UK])
def test_hostile_and_right_to_left_names_are_told_alike(language: Language) -> None:
    """Names with markup, braces and Hebrew stand on the sheets as in English, isolated and with nothing lost."""
    names = ["<b>Møte</b> {0}", "{{7*7}} %s", "מקום אחד", "a\u202eb"]
    for name in names:
        region = plans.island(lambda text, name=name: f"{name} {text}")
        plan = plans.plan(2, lambda text, name=name: f"{name} {text}", region)
        english = {say.spot_name(day.night.spot) for day in plan.days if day.night is not None}
        with speaking(language):
            said = " ".join(text for sheet in sheets_of(plan, region) for text in texts(sheet))
        assert english
        assert all(place in said for place in english)
