"""Foreign text made harmless: one function for pages, and its kin for XML, CSV and calendar files.

Every string from a map or a person passes one of these before it reaches a paper. Nothing of a text is lost but what no
reader could show: characters that XML 1.0 forbids become U+FFFD (W3C, Extensible Markup Language 1.0, fifth edition,
2.2 Characters), and text that runs right to left, or carries marks that turn its neighbours round, is held apart by
isolates (Unicode Standard Annex 9, Unicode Bidirectional Algorithm, 2.4 Explicit Directional Isolates).
"""

from __future__ import annotations

import html
import json
import re
import unicodedata

__all__ = ["csv_cell", "ics_text", "isolated", "plain", "safe", "script_json", "tel_link", "xml_text"]

_REPLACEMENT = "\N{REPLACEMENT CHARACTER}"
_FSI, _PDI = "\N{FIRST STRONG ISOLATE}", "\N{POP DIRECTIONAL ISOLATE}"
_INITIATORS = frozenset("\N{LEFT-TO-RIGHT ISOLATE}\N{RIGHT-TO-LEFT ISOLATE}\N{FIRST STRONG ISOLATE}")
#: Unicode bidirectional classes that can turn the text around them.
_TURNING = frozenset({"R", "AL", "AN", "RLE", "RLO", "LRE", "LRO", "PDF"})
_MARKS = "\u200e\u200f\u061c"

#: Controls (C0, DEL, C1), lone surrogates and non-characters. White space among them is dealt with before.
_FORBIDDEN = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\ud800-\udfff\ufdd0-\ufdef\ufffe\uffff]")
_BREAKS = re.compile("[\t\n\r\u2028\u2029]+")
#: Braces run as code where a template engine reads a page a second time; a backtick ends a script's template string.
_TEMPLATE = {ord("{"): "&#123;", ord("}"): "&#125;", ord("`"): "&#96;", ord("\\"): "&#92;"}
#: What a spreadsheet takes for the start of a formula, full-width forms with them.
_FORMULA = ("=", "+", "-", "@", "\t", "\r", "＝", "＋", "－", "＠")


def _cleaned(text: str) -> str:
    """Return ``text`` without characters that no file may carry; white space is left alone."""
    cleaned = _FORBIDDEN.sub(_REPLACEMENT, text)
    if cleaned.isascii():
        return cleaned
    # The last two code points of every plane are non-characters too.
    return "".join(_REPLACEMENT if ord(c) & 0xFFFE == 0xFFFE else c for c in cleaned)


def isolated(text: str) -> str:
    """Return ``text`` so that it cannot turn what stands beside it; unchanged when it has no such power, so once is enough.

    Isolates opened inside are closed inside, and a closing mark that belongs to nothing is shown as U+FFFD: it would end
    the isolate around it.
    """
    if text.isascii():
        return text
    depth = 0
    turning = False
    out: list[str] = []
    for c in text:
        if c in _INITIATORS:
            depth += 1
        elif c == _PDI:
            if depth == 0:
                out.append(_REPLACEMENT)
                continue
            depth -= 1
        elif depth == 0:
            turning = turning or c in _MARKS or unicodedata.bidirectional(c) in _TURNING
        out.append(c)
    whole = "".join(out) + _PDI * depth
    return _FSI + whole + _PDI if turning else whole


def plain(text: object) -> str:
    """Return ``text`` as one clean line of characters, isolated; for text nodes that somebody else escapes."""
    return isolated(_cleaned(_BREAKS.sub(" ", str(text))))


def safe(text: object) -> str:
    """Return foreign text that is harmless in HTML text, in an attribute, in a script string and in a template.

    What means something to HTML is escaped; braces, backtick and backslash become numeric entities, so that a template engine
    that reads the page once more finds nothing to run, and a script's string cannot be left. A page shows the text unchanged.
    """
    return html.escape(plain(text), quote=True).translate(_TEMPLATE)


def xml_text(text: object) -> str:
    """Return text that an XML writer may escape and carry; characters that XML 1.0 forbids become U+FFFD."""
    return plain(text)


def csv_cell(text: object) -> str:
    """Return text for one cell of a CSV file that no spreadsheet takes for a formula (quoting is the writer's)."""
    cell = plain(text)
    bare = cell.lstrip(" \u00a0" + _FSI)
    return "'" + cell if bare.startswith(_FORMULA) else cell


def ics_text(text: object) -> str:
    """Return text for a calendar property: line ends become one kind, which the calendar writer escapes.

    The writer takes U+FEFF at the very beginning for a mark of the encoding and drops it; U+2060 stands in its place, which
    Unicode names for the same use (The Unicode Standard, 23.8 Specials).
    """
    lines = re.split("\r\n|[\n\r\u2028\u2029]", str(text))
    whole = "\n".join(isolated(_cleaned(line.replace("\t", " "))) for line in lines)
    return "\N{WORD JOINER}" + whole[1:] if whole.startswith("\N{ZERO WIDTH NO-BREAK SPACE}") else whole


def script_json(value: object) -> str:
    """Return ``value`` as JSON that may stand inside a script element: no character of it can end the element.

    Strings inside must have passed `plain`; they are put on the page as text nodes, never as markup.
    """
    text = json.dumps(value, ensure_ascii=True, separators=(",", ":"), allow_nan=False)
    return (
        text.replace("<", "\\u003c")
        .replace(">", "\\u003e")
        .replace("&", "\\u0026")
        .replace("'", "\\u0027")
        .replace("`", "\\u0060")
    )


def tel_link(phone: str) -> str:
    """Return a ``tel:`` address for a telephone number as written, or "" when it has no number to dial."""
    digits = re.sub(r"[^0-9+]", "", phone.split(";")[0])
    number = digits[:1] + digits[1:].replace("+", "")
    return f"tel:{number}" if 2 < len(number) <= 20 else ""
