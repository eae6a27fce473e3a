"""A PDF read by an independent reader: the text of each page as it is said, the fonts, the links."""

from __future__ import annotations

import io
import re
import unicodedata
from typing import Any

from pypdf import PdfReader
from pypdf.generic import ContentStream, IndirectObject


def reader(pdf: bytes) -> PdfReader:
    """Open a file, strictly: what is odd in it is an error."""
    return PdfReader(io.BytesIO(pdf), strict=True)


def squeezed(text: str) -> str:
    """Text without white space and without what has no look, in one form: how a text is compared where lines are broken anywhere."""
    kept = (
        c
        for c in unicodedata.normalize("NFKC", text)
        if not (c.isspace() or unicodedata.category(c) == "Cf" or "\ufe00" <= c <= "\ufe0f")
    )
    return "".join(kept)


def said(pdf: bytes, *, margins: bool = False) -> list[str]:
    """Return the text of each page, squeezed: what is shown, or what the file says in its stead (ActualText, PDF 2.0, 14.9.4).

    Without ``margins``, what the file marks as no part of the text (artifacts, 14.8.2.2) is left out.
    """
    return [_page(page, page.pdf, margins) for page in reader(pdf).pages]


def _page(page: Any, pdf: Any, margins: bool) -> str:
    fonts = {name: _codes(font.get_object()) for name, font in page["/Resources"]["/Font"].items()}
    contents = page["/Contents"]
    stream = ContentStream(contents.get_object() if isinstance(contents, IndirectObject) else contents, pdf)
    out: list[str] = []
    spans: list[str | None] = []
    codes: dict[int, str] = {}
    for operands, operator in stream.operations:
        if operator in (b"BDC", b"BMC") and operands[0] == "/Artifact":
            spans.append(None if operator == b"BDC" and margins else "")
        elif operator == b"BDC":
            actual = operands[1].get("/ActualText")
            text = None if actual is None else actual if isinstance(actual, str) else bytes(actual).decode("utf-16")
            if text is not None and not any(span is not None for span in spans):
                out.append(text)
            spans.append(text)
        elif operator == b"EMC":
            spans.pop()
        elif operator == b"Tf":
            codes = fonts[operands[0]]
        elif operator == b"Tj" and not any(span is not None for span in spans):
            raw = operands[0]
            data = raw.original_bytes if isinstance(raw, str) else bytes(raw)
            out.append("".join(codes.get(code, "\ufffd") for code in data))
    assert not spans
    return squeezed("".join(out))


def _codes(font: Any) -> dict[int, str]:
    """Return what each code of a font stands for, by its own table."""
    if "/ToUnicode" not in font:
        return {}
    table = font["/ToUnicode"].get_object().get_data().decode("ascii")
    return {int(a, 16): chr(int(b, 16)) for a, b in re.findall(r"<([0-9A-F]{2})> <([0-9A-F]{4})>", table)}


def links(pdf: bytes) -> list[str]:
    """Return every address that a place on a page leads to."""
    found = []
    for page in reader(pdf).pages:
        for note in page.get("/Annots", []):
            action = note.get_object().get("/A")
            if action is not None:
                found.append(str(action["/URI"]))
    return found
