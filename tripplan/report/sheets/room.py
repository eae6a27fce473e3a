"""How much room a sheet takes on paper, by its texts alone: so that a page can choose a size of type before any browser sets it. Pure."""

from __future__ import annotations

from collections.abc import Iterable
from math import ceil

from tripplan.report.sheets.blocks import (
    Beside,
    Block,
    Box,
    Facts,
    Heading,
    Items,
    Para,
    Phone,
    Picture,
    Sheet,
    Table,
    Text,
    inlines,
    is_halved,
)

__all__ = ["DENSITIES", "density", "ems"]

#: Type sizes of a sheet in print, by class [pt]; the style sheet has the same.
DENSITIES: tuple[tuple[str, float], ...] = (
    ("", 9.4),
    ("d1", 8.8),
    ("d2", 8.2),
    ("dense d3", 7.6),
    ("dense d4", 7.1),
    ("dense d5", 6.6),
)
#: Height of the text of a Letter page, the lower of the two papers, less its margins [pt]; and what the guess was above what a browser took on the
#: day sheets of three sample trips, in two languages: at least, less a little for what may not be cut; and at the smallest type, below which there is
#: nothing to fall back on.
_PAGE, _OVER, _OVER_SMALLEST = 735.0, 0.98, 1.16
#: Letters of ordinary size on a line as wide as the sheet, at the largest type; narrower type holds more.
_LETTERS = 106.0
#: How much more than in ordinary type fits on a line of a paragraph, by its kind.
_FITS = {"note": 1.12, "source": 1.3, "way": 0.92, "strong": 0.92}


def _chars(text: Text) -> int:
    return sum(len(part.number if isinstance(part, Phone) else part) for part in inlines(text))


def ems(blocks: Iterable[Block], share: float = 1.0, letters: float = _LETTERS, *, dense: bool = False) -> float:
    """Return the height of blocks in units of their type size; ``share``: of the sheet's width; ``dense``: lists in three columns."""
    room = letters * share
    total = 0.0
    lead, air = (1.16, 0.1) if dense else (1.26, 0.34)
    for block in blocks:
        match block:
            case Heading(level=level):
                total += (0.0, 2.6, 2.3, 1.7)[level]
            case Para(text=text, kind=kind):
                total += ceil(_chars(text) / (room * _FITS.get(kind, 1.0))) * lead + 0.45
            case Items(items=items, kind=kind, columns=columns):
                if dense and share > 0.9 and (columns > 1 or kind == "list"):
                    columns = 3
                small = kind in ("tick", "care")
                wide, line = room / columns * (1.1 if small else 1.0) - 4, lead * (0.9 if small else 1.0)
                lines = sum(ceil((_chars(item.text) + 0.8 * len(item.source)) / wide) * line + 0.17 for item in items)
                total += lines / columns + (0.9 if columns > 1 else 0.4)
            case Facts(rows=rows):
                total += sum(ceil(_chars(value) / (0.8 * room)) * lead + 0.42 for _, value in rows)
            case Table(rows=cells, head=head, caption=caption) if is_halved(block):
                total += 0.9 + ceil(_chars(caption) / room) * 1.25
                total += sum(max(1, ceil(sum(map(_chars, row)) / (0.42 * room))) * 0.93 * lead + air for row in cells) / 2 + 0.6
            case Table(rows=cells, head=head, caption=caption):
                total += 0.9 + (1.45 if head else 0.0) + (ceil(_chars(caption) / room) * 1.25 if caption else 0.0)
                total += sum(max(1, ceil(sum(map(_chars, row)) / (1.0 * room))) * 0.93 * lead + air for row in cells)
            case Picture(drawing=drawing):
                total += min(60.0, 55.0 * share * drawing.height / drawing.width)
            case Box(blocks=inner):
                total += (0.9 if dense else 1.6) + ems(inner, share, letters, dense=dense)
            case Beside(left=left, right=right) if dense:
                total += 1.2 + ems((*left, *right), share / 3, letters, dense=True) / 3
            case Beside(left=left, right=right):
                total += 0.5 + max(ems(left, share / 2, letters), ems(right, share / 2, letters))
    return total


def density(sheet: Sheet, more: float = 0.0) -> str:
    """Return the class of the largest type at which a sheet takes as few pages as at any.

    Parameters
    ----------
    more
        What stands below it on the same page [ems].
    """
    taken = []
    for name, size in DENSITIES:
        letters = _LETTERS * DENSITIES[0][1] / size
        foot = ceil(_chars(sheet.foot) / letters) * 1.26 + 0.9
        over = _OVER_SMALLEST if name == DENSITIES[-1][0] else _OVER
        over = over if sheet.kind == "day" else 1.0
        high = ems(sheet.blocks, 1.0, letters, dense=name.startswith("dense"))
        taken.append((ceil((high + foot + more) * size / (_PAGE * over)), name))
    fewest = min(pages for pages, _ in taken)
    return next(name for pages, name in taken if pages == fewest)
