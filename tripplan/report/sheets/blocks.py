"""What a sheet of paper holds, whoever writes it: headings, paragraphs, lists, tables, drawings. Plain text, nothing escaped.

Both writers take the same blocks and show every text of them, so that the page and the PDF say the same.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

__all__ = [
    "Beside", "Block", "Box", "Cell", "Disc", "Drawing", "Facts", "Heading", "Item", "Items", "Label", "Para", "Path", "Phone", "Picture", "Shape", "Sheet",
    "Table", "Text", "inlines", "texts",
]  # fmt: skip


@dataclass(frozen=True, slots=True)
class Phone:
    """A telephone number as written: a link where one can dial."""

    number: str


#: Text of a cell or paragraph: one string, or strings and numbers to dial one after another.
Text = str | Phone | tuple[str | Phone, ...]
Cell = Text


@dataclass(frozen=True, slots=True)
class Heading:
    """A heading of level 1 (a sheet's own) to 3."""

    level: int
    text: Text


@dataclass(frozen=True, slots=True)
class Para:
    """A paragraph. ``kind``: "", ``way`` (large), ``note`` (small, grey), ``source`` (smaller still), ``strong``."""

    text: Text
    kind: str = ""


@dataclass(frozen=True, slots=True)
class Item:
    """One entry of a list; ``source``: who says so, in small type."""

    text: Text
    source: str = ""


@dataclass(frozen=True, slots=True)
class Items:
    """A list. ``kind``: ``list``, ``why`` (reasons, strong), ``tick`` (boxes to tick). ``columns`` on paper: 1 or 2."""

    items: tuple[Item, ...]
    kind: str = "list"
    columns: int = 1


@dataclass(frozen=True, slots=True)
class Table:
    """A table.

    Parameters
    ----------
    kind
        Its class on the page: ``days``, ``clock``, ``leg``, ``store``, ``book``, ``phone``, ``costs``.
    head
        Names of the columns; empty: none.
    heading
        Column whose cells head their row, -1: none. right: columns set to the right. whole: columns that are not broken.
    last_strong
        Whether the last row is a sum.
    """

    kind: str
    head: tuple[str, ...]
    rows: tuple[tuple[Cell, ...], ...]
    caption: Text = ""
    heading: int = -1
    right: tuple[int, ...] = ()
    whole: tuple[int, ...] = ()
    last_strong: bool = False


@dataclass(frozen=True, slots=True)
class Facts:
    """Words with what there is to say about each."""

    rows: tuple[tuple[str, Text], ...]


@dataclass(frozen=True, slots=True)
class Path:
    """A line or an area of a drawing, in its own units, y downwards. Colours are #rrggbb, "" none; ``dash`` in units."""

    points: tuple[tuple[float, float], ...]
    closed: bool = False
    fill: str = ""
    stroke: str = ""
    width: float = 1.0
    dash: tuple[float, ...] = ()


@dataclass(frozen=True, slots=True)
class Disc:
    """A filled circle."""

    x: float
    y: float
    r: float
    fill: str = "#ffffff"
    stroke: str = ""
    width: float = 1.0


@dataclass(frozen=True, slots=True)
class Label:
    """A text of a drawing at a point of its base line; ``anchor``: start, middle, end; ``halo``: colour around the letters, "" none."""

    x: float
    y: float
    text: str
    size: float
    anchor: str = "start"
    bold: bool = False
    fill: str = "#1c1c1c"
    halo: str = ""


Shape = Path | Disc | Label


@dataclass(frozen=True, slots=True)
class Drawing:
    """Shapes back to front on ``width`` by ``height`` units, with a title and what it shows in words."""

    width: float
    height: float
    shapes: tuple[Shape, ...]
    title: str
    words: str


@dataclass(frozen=True, slots=True)
class Picture:
    """A drawing as wide as the sheet."""

    drawing: Drawing
    kind: str


@dataclass(frozen=True, slots=True)
class Box:
    """Blocks in a frame, kept together."""

    blocks: tuple[Block, ...]


@dataclass(frozen=True, slots=True)
class Beside:
    """Two groups of blocks side by side on paper."""

    left: tuple[Block, ...]
    right: tuple[Block, ...]


Block = Heading | Para | Items | Table | Facts | Picture | Box | Beside


@dataclass(frozen=True, slots=True)
class Sheet:
    """One sheet: begins a page of its own.

    Parameters
    ----------
    key
        Identity on the page (``glance``, ``first-evening``, ``day-3``, ``back``, ``cautions``). kind: its class.
    title
        What it is called, also in the margin of its pages.
    foot
        Numbers to dial, at its end on the page and at the foot of each of its pages in print.
    """

    key: str
    kind: str
    title: str
    blocks: tuple[Block, ...]
    foot: Text


def is_halved(table: Table) -> bool:
    """Return whether a table stands in two columns on paper: the roads of a way, from four rows on."""
    return table.kind == "leg" and len(table.rows) >= 4


def inlines(text: Text) -> tuple[str | Phone, ...]:
    """Return the parts of a text."""
    return text if isinstance(text, tuple) else (text,)


def _said(text: Text) -> Iterator[str]:
    for part in inlines(text):
        said = part.number if isinstance(part, Phone) else part
        if said.strip():
            yield said


def _of(blocks: Iterable[Block]) -> Iterator[str]:
    for block in blocks:
        match block:
            case Heading(text=text) | Para(text=text):
                yield from _said(text)
            case Items(items=items):
                for item in items:
                    yield from _said(item.text)
                    yield from _said(item.source)
            case Table():
                yield from _said(block.caption)
                yield from filter(str.strip, block.head)
                for row in block.rows:
                    for cell in row:
                        yield from _said(cell)
            case Facts(rows=rows):
                for word, value in rows:
                    yield word
                    yield from _said(value)
            case Picture(drawing=drawing):
                yield from (shape.text for shape in drawing.shapes if isinstance(shape, Label) and shape.text.strip())
            case Box(blocks=inner):
                yield from _of(inner)
            case Beside(left=left, right=right):
                yield from _of(left)
                yield from _of(right)


def texts(sheet: Sheet) -> list[str]:
    """Return every text of a sheet, in order, as both writers must show it."""
    return [*_of(sheet.blocks), *_said(sheet.foot)]
