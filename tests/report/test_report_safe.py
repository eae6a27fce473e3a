"""`safe` and its kin: nothing runs, nothing is lost."""

from __future__ import annotations

import csv
import html
import io
import json
import unicodedata
from xml.etree import ElementTree

import pytest
from hypothesis import given
from hypothesis import strategies as st
from jinja2 import Environment, StrictUndefined

from tripplan.report.safe import csv_cell, ics_text, isolated, plain, safe, script_json, tel_link, xml_text

from hostile import CORPUS  # isort: skip

ANY_TEXT = st.one_of(
    st.sampled_from(CORPUS), st.text(), st.text(st.sampled_from("<>&\"'`{}%#\\/ \n\u202e\u2067\u2069אa=\x00\ud800"))
)


def test_corpus_is_large() -> None:
    """The corpus covers every context with at least two hundred strings, each once."""
    assert len(CORPUS) >= 200
    assert len(set(CORPUS)) == len(CORPUS)


@given(ANY_TEXT)
def test_safe_leaves_no_character_that_means_something(text: str) -> None:
    """What comes out has none of the characters that HTML, scripts or templates act on, save in entities."""
    out = safe(text)
    bare = out
    for entity in ("&lt;", "&gt;", "&amp;", "&quot;", "&#x27;", "&#123;", "&#125;", "&#96;", "&#92;"):
        bare = bare.replace(entity, "")
    assert not set(bare) & set("<>&\"'{}`\\")
    out.encode("utf-8")


@given(ANY_TEXT)
def test_safe_shows_the_text_that_was_given(text: str) -> None:
    """A reader of HTML sees exactly the cleaned text: nothing is lost, nothing is escaped twice."""
    assert html.unescape(safe(text)) == plain(text)


@given(st.text(st.characters(exclude_categories=["Cs", "Cc", "Cf", "Cn", "Zl", "Zp"])))
def test_ordinary_text_is_whole(text: str) -> None:
    """Text without controls comes through letter by letter, with at most an isolate around it."""
    assert plain(text).strip("\u2068\u2069") == text


@given(ANY_TEXT)
def test_templates_run_nothing_even_twice(text: str) -> None:
    """A template engine that reads the page's source twice gives the same text back: no brace opens anything."""
    engine = Environment(undefined=StrictUndefined, autoescape=False)  # as folium does, on purpose
    out = safe(text)
    once = engine.from_string(out).render()
    assert engine.from_string(once).render() == out


def test_plain_escaping_would_not_do() -> None:
    """The check above can fail: escaped for HTML alone, a template in a name runs (the reason for `safe`)."""
    engine = Environment(autoescape=False)
    assert engine.from_string(html.escape("{{7*7}}")).render() == "49"
    assert html.unescape(engine.from_string(safe("{{7*7}}")).render()) == "{{7*7}}"


@given(ANY_TEXT)
def test_xml_reads_back(text: str) -> None:
    """An XML reader takes what the writer made of any text, and reads the cleaned text."""
    element = ElementTree.Element("a", {"b": xml_text(text)})
    element.text = xml_text(text)
    again = ElementTree.fromstring(ElementTree.tostring(element, encoding="unicode"))
    assert (again.text or "") == xml_text(text)
    assert again.get("b") == xml_text(text)


@pytest.mark.parametrize("bad", ["\x00", "\x0b", "\x1f", "\x7f", "\x85", "\ufffe", "\uffff", "\ud800", "\ufdd0", "\U0001ffff"])
def test_forbidden_characters_are_replaced_not_dropped(bad: str) -> None:
    """Each character that XML 1.0 forbids or discourages becomes U+FFFD (W3C, XML 1.0 5th ed., 2.2)."""
    assert plain(f"a{bad}b") == "a\ufffdb"


@given(ANY_TEXT)
def test_a_cell_is_no_formula(text: str) -> None:
    """No cell starts with what a spreadsheet takes for a formula, and a CSV reader gets it whole."""
    cell = csv_cell(text)
    assert not cell.lstrip(" \u00a0\u2068").startswith(("=", "+", "-", "@", "\t", "\r", "＝", "＋", "－", "＠"))
    file = io.StringIO(newline="")
    csv.writer(file).writerow([cell, "next"])
    assert next(csv.reader(io.StringIO(file.getvalue(), newline=""))) == [cell, "next"]


@given(ANY_TEXT)
def test_calendar_text_has_one_kind_of_line_end(text: str) -> None:
    """Text for a calendar holds no carriage return, tab or control that could end its line early."""
    out = ics_text(text)
    assert not any(unicodedata.category(c) in ("Cc", "Cs") and c != "\n" for c in out)


@given(ANY_TEXT)
def test_json_cannot_end_its_script(text: str) -> None:
    """JSON inside a script element has no character that HTML acts on there, and reads back the same."""
    out = script_json({"name": plain(text)})
    assert not set(out) & set("<>&'`\u2028\u2029")
    assert json.loads(out) == {"name": plain(text)}


@given(st.text(st.sampled_from("ab\u202a\u202b\u202d\u202e\u202c\u2066\u2067\u2068\u2069אب "), max_size=20))
def test_isolates_are_balanced(text: str) -> None:
    """Every isolate that opens closes, none closes too much, and what can turn its neighbours stands inside one; once is enough."""
    out = isolated(text)
    depth = 0
    for c in out:
        depth += (c in "\u2066\u2067\u2068") - (c == "\u2069")
        assert depth >= 0
        assert depth > 0 or unicodedata.bidirectional(c) not in ("R", "AL", "AN", "RLE", "RLO", "LRE", "LRO", "PDF")
    assert depth == 0
    assert isolated(out) == out


def test_plain_text_is_not_wrapped() -> None:
    """Text that can turn nothing gets no marks: names stay searchable."""
    assert isolated("Te Ānau – façade 日本") == "Te Ānau – façade 日本"
    assert isolated("שלום") == "\u2068שלום\u2069"


@pytest.mark.parametrize(
    ("written", "link"),
    [
        ("+64 3 555 0100", "tel:+6435550100"), ("03 555 0100; 03 555 0101", "tel:035550100"), ("112", "tel:112"), ("", ""), ("ask", ""),
        ("javascript:window.pwned=1", ""), ("+4+2+1+7", "tel:+4217"), ("1" * 40, ""),
    ],
)  # fmt: skip
def test_telephone_links_hold_digits_only(written: str, link: str) -> None:
    """A telephone link is made of digits and one plus at the start, or is none."""
    assert tel_link(written) == link
