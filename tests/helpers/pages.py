"""Pages read as a browser would read their source: elements, attributes and text."""

from __future__ import annotations

import re
from html.parser import HTMLParser

#: Elements whose content is not markup.
_RAW = ("script", "style")


class Page(HTMLParser):
    """What an HTML parser makes of a page: ``tags`` with attributes, ``text`` outside of scripts, ``scripts`` themselves."""

    def __init__(self, source: str) -> None:
        super().__init__(convert_charrefs=True)
        self.tags: list[tuple[str, dict[str, str]]] = []
        self.scripts: list[tuple[dict[str, str], str]] = []
        self.comments: list[str] = []
        self.open: list[str] = []
        self.unbalanced: list[str] = []
        self._text: list[str] = []
        self.feed(source)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, {k: v or "" for k, v in attrs}))
        if tag not in ("meta", "br", "hr", "img", "input", "link"):
            self.open.append(tag)
        if tag == "script":
            self.scripts.append((self.tags[-1][1], ""))

    def handle_endtag(self, tag: str) -> None:
        if self.open and self.open[-1] == tag:
            self.open.pop()
        else:
            self.unbalanced.append(tag)

    def handle_data(self, data: str) -> None:
        if self.open and self.open[-1] == "script":
            self.scripts[-1] = (self.scripts[-1][0], self.scripts[-1][1] + data)
        elif not self.open or self.open[-1] not in _RAW:
            self._text.append(data)

    def handle_comment(self, data: str) -> None:
        self.comments.append(data)

    @property
    def text(self) -> str:
        """All text that a reader may see, white space as one blank."""
        return shown("".join(self._text))


def shown(text: str) -> str:
    """Text as a page shows it: white space of HTML collapsed."""
    return re.sub(r"[ \t\n\r\f]+", " ", text).strip(" ")
