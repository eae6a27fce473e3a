"""Text for a writer that knows glyphs only: what cannot be seen goes, what runs right to left is put in the order of sight.

A PDF holds glyphs where they stand. So lines are put in visual order here, by the part of the Unicode Bidirectional
Algorithm (Unicode Standard Annex 9) that plain names need: strong letters, numbers and neutrals between them in a paragraph
that runs left to right, isolates as bounds, no explicit embeddings. Arabic letters take the joined forms that Unicode has as
characters of their own (Arabic Presentation Forms-B).
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable
from functools import cache

__all__ = ["drawable", "is_turned", "latin", "needs_latin", "visual"]

_ISOLATES = frozenset("\u2066\u2067\u2068\u2069")
_STRONG_RIGHT = frozenset({"R", "AL"})
_NUMBERS = frozenset({"EN", "AN"})
_PAIRS = "()[]{}<>«»‹›"
_MIRRORED = {c: _PAIRS[i ^ 1] for i, c in enumerate(_PAIRS)}
#: Forms of a letter by what it joins: neither, the one before, the one after, both.
_FORMS = ("isolated", "final", "initial", "medial")


def drawable(text: str) -> str:
    """Return text without what has no look: format characters (isolates stay as bounds), variation selectors; spaces are one kind.

    What no font of ours holds stays: the writer shows it in Latin letters (`latin`).
    """
    if text.isascii():
        return text
    return "".join(
        c if c in _ISOLATES else " " if unicodedata.category(c) == "Zs" else c
        for c in text
        if c in _ISOLATES or not (unicodedata.category(c) == "Cf" or "\ufe00" <= c <= "\ufe0f")
    )


#: Scripts of which the bundled font has no letters: those of India, Thailand, Laos, Tibet, Burma, Cambodia, Ethiopia, China, Japan and Korea (Unicode blocks).
_FAR = re.compile(
    "[\u0900-\u0dff\u0e00-\u0eff\u0f00-\u109f\u1100-\u139f\u1780-\u17ff\u2e80-\ua4cf\uac00-\ud7ff\uf900-\ufaff\U00020000-\U0003134f]"
)


def needs_latin(text: str) -> bool:
    """Return whether a text holds letters of a script that the bundled font lacks."""
    return not text.isascii() and _FAR.search(text) is not None


def latin(text: str, is_missing: Callable[[str], bool]) -> str:
    """Return a text with each stretch of letters that a font lacks in Latin ones, in square brackets; what has none stays.

    Letter by letter, by the tables of AnyAscii: a Thai or Korean name comes near to how it is said, a Japanese one in Chinese
    characters does not.
    """
    if text.isascii() or not any(map(is_missing, text)):
        return text
    from anyascii import anyascii

    out, at = "", 0
    while at < len(text):
        end = at
        while end < len(text) and is_missing(text[end]):
            end += 1
        if end > at:
            said = " ".join(anyascii(text[at:end]).replace(":", " ").split())
            out += f"[{said}]" if said else text[at:end]
            at = end
        else:
            out += text[at]
            at += 1
    return out


def is_turned(text: str) -> bool:
    """Return whether anything in a text runs right to left."""
    return not text.isascii() and any(unicodedata.bidirectional(c) in _STRONG_RIGHT for c in text)


def visual(line: str) -> str:
    """Return one line in the order of sight, isolates taken out."""
    if not is_turned(line):
        return line if line.isascii() else "".join(c for c in line if c not in _ISOLATES)
    text = _joined(line)
    levels = _levels(text)
    out: list[str] = []
    at = 0
    while at < len(text):
        end = at + 1
        while end < len(text) and (levels[end] > 0) == (levels[at] > 0):
            end += 1
        out.append(_reversed(text[at:end], levels[at:end]) if levels[at] else text[at:end])
        at = end
    return "".join(c for c in "".join(out) if c not in _ISOLATES)


def _levels(text: str) -> list[int]:
    """Return 0 for what runs left to right, 1 for right to left, 2 for numbers among the latter."""
    kinds = [unicodedata.bidirectional(c) for c in text]
    levels: list[int] = []
    right = False
    for c, kind in zip(text, kinds, strict=True):
        if c in _ISOLATES or kind == "L":
            right = False
        elif kind in _STRONG_RIGHT:
            right = True
        levels.append((2 if kind in _NUMBERS else 1 if kind in _STRONG_RIGHT or kind == "NSM" else -1) if right else 0)
    # Neutrals go with what is right to left on both sides, else with the line.
    at = 0
    while at < len(levels):
        if levels[at] != -1:
            at += 1
            continue
        end = at
        while end < len(levels) and levels[end] == -1:
            end += 1
        level = 1 if end < len(levels) and levels[end] > 0 else 0
        levels[at:end] = [level] * (end - at)
        at = end
    return levels


def _reversed(text: str, levels: list[int]) -> str:
    """Return a stretch that runs right to left as it is seen; numbers and marks on a letter keep their order."""
    units: list[str] = []
    for i, c in enumerate(text):
        number = levels[i] == 2 and i > 0 and levels[i - 1] == 2
        if units and (number or unicodedata.combining(c)):
            units[-1] += c
        else:
            units.append(_MIRRORED.get(c, c) if levels[i] == 1 else c)
    return "".join(reversed(units))


@cache
def _shapes() -> dict[str, dict[str, str]]:
    """Return the joined forms of every Arabic letter that has them, by Unicode's own decompositions."""
    forms: dict[str, dict[str, str]] = {}
    for code in (*range(0xFB50, 0xFC00), *range(0xFE80, 0xFEFD)):
        parts = unicodedata.decomposition(chr(code)).split()
        if len(parts) >= 2 and parts[0].strip("<>") in _FORMS:
            letters = "".join(chr(int(part, 16)) for part in parts[1:])
            forms.setdefault(letters, {}).setdefault(parts[0].strip("<>"), chr(code))
    return forms


def _joined(text: str) -> str:
    """Return Arabic letters in their joined forms, lam with alef as one."""
    if not any("\u0600" <= c <= "\u06ff" for c in text):
        return text
    forms = _shapes()
    units: list[str] = []
    for c in text:
        if units and units[-1] == "\u0644" and "\u0644" + c in forms:
            units[-1] += c
        else:
            units.append(c)
    bare = [i for i, unit in enumerate(units) if not unicodedata.combining(unit[0])]
    out = list(units)
    for k, i in enumerate(bare):
        own = forms.get(units[i])
        if own is None:
            continue
        before = forms.get(units[bare[k - 1]], {}) if k else {}
        after = forms.get(units[bare[k + 1]], {}) if k + 1 < len(bare) else {}
        from_before = "initial" in before and "final" in own
        to_after = "initial" in own and "final" in after
        out[i] = own.get(_FORMS[from_before + 2 * to_after], units[i])
    return "".join(out)
