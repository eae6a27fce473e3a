"""What papers say, and what of it is still English."""

from __future__ import annotations

import re
from html.parser import HTMLParser

from tripplan.report.messages import read_po


def pairs(code: str) -> list[tuple[str, str]]:
    """Return each sentence of a catalogue with its translation, plural forms one by one."""
    out = []
    for message in read_po(code):
        if not message.id:
            continue
        if isinstance(message.id, tuple):
            out += list(zip(message.id, message.string, strict=True))
        else:
            out.append((message.id, str(message.string)))
    return out


class _Texts(HTMLParser):
    """Collects what a page says: text nodes outside scripts and styles, and labels."""

    def __init__(self) -> None:
        super().__init__()
        self.said: list[str] = []
        self._hidden = 0

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self._hidden += tag in ("script", "style")
        self.said += [value for name, value in attrs if name in ("aria-label", "title", "data-label") and value]

    def handle_endtag(self, tag: str) -> None:
        self._hidden -= tag in ("script", "style")

    def handle_data(self, data: str) -> None:
        if not self._hidden and data.strip():
            self.said.append(data.strip())


def said_by(page: str) -> list[str]:
    """Return every text of a page."""
    reader = _Texts()
    reader.feed(page)
    return reader.said


def stretches() -> list[str]:
    """Return English sentences of the catalogue that are no German ones: their longest stretch of words between places."""
    german = " ".join(text for _, text in pairs("de"))
    out = set()
    for english, _ in pairs("de"):
        stretch = max(re.split(r"\{\w+\}", english), key=len).strip(" .,:;()")
        if len(stretch.split()) >= 2 and len(stretch) >= 9 and stretch not in german:
            out.add(stretch)
    return sorted(out)


def english_left(said: list[str], own: frozenset[str] = frozenset()) -> set[str]:
    """Return the texts in which a sentence of the catalogue still stands in English; ``own``: those that are none of ours."""
    known = [re.compile(rf"(?<!\w){re.escape(stretch)}(?!\w)") for stretch in stretches()]
    assert len(known) > 300
    return {text for text in said if text not in own and any(pattern.search(text) for pattern in known)}
