"""Catalogues of the papers' sentences: gathered from the code, and made ready for gettext.

``python -m tripplan.report.messages`` writes ``locale/tripplan.pot`` by Babel's extractor, brings each language's ``.po`` up to date (what is
new stands there without a text) and compiles it to ``.mo``. It names what is not translated yet.
"""

from __future__ import annotations

import io
import sys
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

from tripplan.model.cautions import CAUTIONS

if TYPE_CHECKING:
    from babel.messages.catalog import Catalog

__all__ = ["LOCALES", "compiled", "gathered", "main", "read_po"]

#: Folder of the catalogues.
LOCALES = Path(__file__).resolve().parent / "locale"
_ROOTS = (Path(__file__).resolve().parent, Path(__file__).resolve().parents[1] / "cli")
_NO_DATE = datetime(2026, 1, 1, tzinfo=UTC)
_LEFT_OUT = tuple(
    b'"' + name
    for name in (b"POT-Creation", b"PO-Revision", b"Generated-By", b"Report-Msgid", b"Last-Translator", b"Language-Team")
)
_KEYWORDS = {"tell": None, "step": None, "careful": (2,), "word": None, "tell_n": (1, 2)}


def gathered() -> Catalog:
    """Return every sentence that papers may tell: those of the code, and the cautions with their sources."""
    from babel.messages.catalog import Catalog
    from babel.messages.extract import extract_from_dir

    catalog = Catalog(project="tripplan", version="1", charset="utf-8")
    found: dict[str | tuple[str, ...], set[str]] = {}
    for root in _ROOTS:
        for name, _line, message, _comments, _context in extract_from_dir(root, [("**.py", "python")], keywords=_KEYWORDS):
            if message if isinstance(message, str) else all(message):
                found.setdefault(message, set()).add(f"{root.name}/{name}")
    for text, source in CAUTIONS.values():
        for sentence in (text, source):
            found.setdefault(sentence, set()).add("model/cautions.py")
    # A sentence that is told with a number and without is one entry: the one with a number.
    plural = {message[0] for message in found if not isinstance(message, str)}
    for message in sorted(found, key=lambda m: (sorted(found[m]), str(m))):
        if isinstance(message, str) and message in plural:
            continue
        catalog.add(message, locations=[(name, 0) for name in sorted(found[message])])
    return catalog


def read_po(code: str) -> Catalog:
    """Return the catalogue of a language."""
    from babel.messages.pofile import read_po as read

    with (LOCALES / code / "LC_MESSAGES" / "tripplan.po").open("rb") as file:
        return read(file, locale=code)


def compiled(catalog: Catalog) -> bytes:
    """Return a catalogue as gettext reads it; the same catalogue gives the same bytes."""
    from babel.messages.mofile import write_mo

    out = io.BytesIO()
    catalog.creation_date = catalog.revision_date = _NO_DATE
    write_mo(out, catalog)
    return out.getvalue()


def _text(catalog: Catalog) -> bytes:
    from babel.messages.pofile import write_po

    out = io.BytesIO()
    catalog.fuzzy = False
    catalog.header_comment = "# Sentences of the papers. Names in braces stay as they are."
    for message in catalog:
        message.flags -= {"python-format", "python-brace-format", "fuzzy"}
    write_po(out, catalog, width=0, omit_header=False, include_lineno=False, ignore_obsolete=True)
    # Dates of making would change the file each time, and who wrote it stands in the history.
    lines = out.getvalue().split(b"\n")
    return b"\n".join(line for line in lines if not line.startswith(_LEFT_OUT))


def main() -> int:
    """Bring all catalogues up to date; 1 where a language lacks a text."""
    template = gathered()
    (LOCALES / "tripplan.pot").write_bytes(_text(template))
    missing = 0
    for folder in sorted(LOCALES.glob("*/LC_MESSAGES")):
        catalog = read_po(folder.parent.name)
        catalog.update(template, no_fuzzy_matching=True)
        (folder / "tripplan.po").write_bytes(_text(catalog))
        (folder / "tripplan.mo").write_bytes(compiled(catalog))
        for message in catalog:
            if message.id and not (all(message.string or ()) if isinstance(message.id, tuple) else message.string):
                missing += 1
                sys.stdout.write(f"{folder.parent.name}: not translated: {message.id!r}\n")
    return 1 if missing else 0


if __name__ == "__main__":
    raise SystemExit(main())
