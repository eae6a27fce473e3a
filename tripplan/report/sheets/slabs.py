"""Blocks of a sheet laid out as slabs: strips as wide as the paper's text, each with what is drawn on it. Units are points, y downwards."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace

from tripplan.report.safe import plain, tel_link
from tripplan.report.sheets.blocks import (
    Beside,
    Block,
    Box,
    Drawing,
    Facts,
    Heading,
    Item,
    Items,
    Para,
    Phone,
    Picture,
    Table,
    Text,
    inlines,
    is_halved,
)  # fmt: skip
from tripplan.report.sheets.letters import drawable
from tripplan.report.sheets.lines import GREY, INK, Line, Run, Setter, Style

__all__ = ["Mark", "Rule", "Set", "Shown", "Slab", "Slabs", "moved"]

_LEADING, _DENSE_LEADING = 1.26, 1.16
#: Sizes against the sheet's own [pt at 9].
_HEADINGS = {1: 15.0, 2: 11.0, 3: 9.6}


@dataclass(frozen=True, slots=True)
class Set:
    """A line of text with its base line at (x, y)."""

    x: float
    y: float
    line: Line


@dataclass(frozen=True, slots=True)
class Rule:
    """A straight line or, with ``fill``, an area from corner to corner."""

    x0: float
    y0: float
    x1: float
    y1: float
    stroke: str = INK
    width: float = 0.5
    box: bool = False


@dataclass(frozen=True, slots=True)
class Shown:
    """A drawing with its upper left corner at (x, y), ``scale`` points a unit."""

    x: float
    y: float
    scale: float
    drawing: Drawing


Mark = Set | Rule | Shown

#: Columns are made where the room is broader than this [pt].
_BROAD = 360.0


@dataclass(frozen=True, slots=True)
class Slab:
    """A strip that stays on one page.

    Parameters
    ----------
    gap
        Room above it, none at the top of a page. keep: whether the next one must stand on the same page.
    head
        What is drawn again above it where it begins a page: a table's head.
    """

    height: float
    marks: tuple[Mark, ...]
    gap: float = 0.0
    keep: bool = False
    head: tuple[Slab, ...] = field(default=())


def moved(marks: Iterable[Mark], dx: float, dy: float) -> tuple[Mark, ...]:
    """Return marks shifted."""
    out: list[Mark] = []
    for mark in marks:
        if isinstance(mark, Set):
            out.append(Set(mark.x + dx, mark.y + dy, mark.line))
        elif isinstance(mark, Rule):
            out.append(Rule(mark.x0 + dx, mark.y0 + dy, mark.x1 + dx, mark.y1 + dy, mark.stroke, mark.width, mark.box))
        else:
            out.append(Shown(mark.x + dx, mark.y + dy, mark.scale, mark.drawing))
    return tuple(out)


def _chains(slabs: Sequence[Slab]) -> list[list[Slab]]:
    """Return slabs in groups that stay together: a heading with what follows it."""
    out: list[list[Slab]] = []
    keep = False
    for slab in slabs:
        if keep:
            out[-1].append(slab)
        else:
            out.append([slab])
        keep = slab.keep
    return out


class Slabs:
    """Lays out blocks.

    Parameters
    ----------
    size
        Of ordinary text [pt]; everything else goes with it.
    tallest
        Height of a page's text: nothing that must stay together may be higher [pt].
    dense
        Whether lines are nearer together, notes and lists stand in three columns and lists side by side share them evenly, so that
        a full day takes one sheet.
    """

    def __init__(self, setter: Setter, size: float, tallest: float, *, dense: bool = False) -> None:
        self._set = setter
        self._size = size
        self._tallest = tallest
        self._dense = dense
        self._leading = _DENSE_LEADING if dense else _LEADING

    def _pt(self, at_nine: float) -> float:
        return at_nine * self._size / 9.0

    # ------------------------------------------------------------------ text

    def runs(self, text: Text, style: Style) -> list[Run]:
        """Return a text as runs, numbers to dial with where they lead."""
        out = []
        for part in inlines(text):
            if isinstance(part, Phone):
                out.append(Run(drawable(plain(part.number)), replace(style, link=tel_link(part.number))))
            else:
                out.append(Run(drawable(plain(part)), style))
        return out

    def text(self, runs: Sequence[Run], width: float, *, x: float = 0.0, right: bool = False) -> tuple[float, list[Mark]]:
        """Return the height of set runs and their marks from (x, 0) on."""
        marks: list[Mark] = []
        y = 0.0
        for line in self._set.lines(runs, width):
            step = line.size * self._leading
            left = x + (width - line.width if right else 0.0)
            marks.append(Set(left, y + 0.78 * step, line))
            y += step
        return y, marks

    def _lines(self, runs: Sequence[Run], width: float, gap: float, *, x: float = 0.0, keep: bool = False) -> list[Slab]:
        """Return set runs as one slab, or a slab a line where that would be too high."""
        height, marks = self.text(runs, width, x=x)
        if height <= self._tallest / 3:
            return [Slab(height, tuple(marks), gap, keep)]
        out = []
        step = height / len(marks)
        for i, mark in enumerate(marks):
            out.append(Slab(step, moved([mark], 0.0, -i * step), gap if i == 0 else 0.0, i in (0, len(marks) - 2)))
        return out

    # ------------------------------------------------------------------ blocks

    def blocks(self, blocks: Iterable[Block], width: float) -> list[Slab]:
        """Return the slabs of blocks one below another."""
        out: list[Slab] = []
        headed = False
        for block in blocks:
            slabs = self.block(block, width)
            # A note under a heading belongs to what follows, as the heading does.
            if headed and slabs and isinstance(block, Para) and block.kind == "note":
                slabs[-1] = replace(slabs[-1], keep=True)
            headed = isinstance(block, Heading)
            out += slabs
        return out

    def block(self, block: Block, width: float) -> list[Slab]:
        """Return the slabs of one block."""
        match block:
            case Heading():
                return self._heading(block, width)
            case Para(text=text, kind=kind):
                style = {
                    "way": Style(self._pt(9.8), bold=True), "note": Style(self._pt(7.9), fill=GREY), "strong": Style(self._size, bold=True),
                    "source": Style(self._pt(6.6), fill=GREY),
                }.get(kind, Style(self._size))  # fmt: skip
                return self._lines(self.runs(text, style), width, self._pt(2.5))
            case Items():
                return self._items(block, width)
            case Facts():
                return self._facts(block, width)
            case Table():
                return self._table(block, width)
            case Picture(drawing=drawing):
                scale = min(width / drawing.width, 0.45 * self._tallest / drawing.height)
                shown = Shown((width - scale * drawing.width) / 2, 0.0, scale, drawing)
                return [Slab(scale * drawing.height, (shown,), self._pt(4))]
            case Box(blocks=inner):
                return self._box(inner, width)
            case Beside(left=left, right=right):
                return self._beside(left, right, width)

    def _heading(self, heading: Heading, width: float) -> list[Slab]:
        style = Style(self._pt(_HEADINGS[heading.level]), bold=True)
        height, marks = self.text(self.runs(heading.text, style), width)
        if heading.level == 2:
            marks.append(Rule(0.0, height + 1, width, height + 1, width=0.9))
            height += 2.5
        return [Slab(height, tuple(marks), self._pt((0.0, 0.0, 7.0, 3.0 if self._dense else 5.0)[heading.level]), keep=True)]

    def _items(self, items: Items, width: float) -> list[Slab]:
        out = [slab for item in items.items for slab in self._item(item, items.kind, width)]
        whole = [replace(slab, gap=self._pt(3)) if i == 0 else slab for i, slab in enumerate(out)]
        notes = self._dense and items.kind == "list" and width > _BROAD
        if len(items.items) > 1 and (items.columns == 2 or notes):
            room = self._room(width)
            shared = self._shared([self._item(item, items.kind, room) for item in items.items], room, width)
            if not notes or sum(s.height + s.gap for s in shared) < sum(s.height + s.gap for s in whole):
                return shared
        return whole

    def _item(self, item: Item, kind: str, width: float) -> list[Slab]:
        size = self._pt(8.5)
        style = Style(size, bold=kind == "why")
        indent = self._pt(9)
        runs = self.runs(item.text, style)
        if item.source:
            runs += [Run(" " + drawable(plain(item.source)), Style(self._pt(6.6), fill=GREY))]
        slabs = self._lines(runs, width - indent, self._pt(0.7 if self._dense else 1.2), x=indent)
        y = size * self._leading * 0.5
        sign: Mark
        if kind == "tick":
            edge = size * 0.62
            sign = Rule(0.5, y - edge / 2, 0.5 + edge, y + edge / 2, width=0.6, box=True)
        elif kind == "why":
            sign = Rule(1.2, 0.5, 1.2, slabs[0].height - 0.5, width=2.0)
        else:
            sign = Rule(1.5, y, 4.5, y, width=0.9)
        return [replace(slabs[0], marks=(sign, *slabs[0].marks)), *slabs[1:]] if slabs else []

    def _facts(self, facts: Facts, width: float) -> list[Slab]:
        words = [self.runs(word, Style(self._size, fill=GREY)) for word, _ in facts.rows]
        first = min(0.3 * width, max((self._set.extent(runs)[1] for runs in words), default=0.0) + self._pt(10))
        out = []
        for runs, (_, value) in zip(words, facts.rows, strict=True):
            height, marks = self.text(runs, first - self._pt(8))
            slabs = self._lines(self.runs(value, Style(self._size)), width - first, self._pt(1.5), x=first)
            out.append(replace(slabs[0], height=max(height, slabs[0].height), marks=(*marks, *slabs[0].marks)))
            out += slabs[1:]
        return out

    def _box(self, inner: Sequence[Block], width: float) -> list[Slab]:
        pad = self._pt(3.5 if self._dense else 5)
        slabs = self.blocks(inner, width - 2 * pad)
        if not slabs:
            return []
        together = sum(s.height + s.gap for s in slabs) < 0.7 * self._tallest
        out = []
        for i, slab in enumerate(slabs):
            first, last = i == 0, i == len(slabs) - 1
            above = pad * 0.7 if first else slab.gap
            height = above + slab.height + (pad * 0.8 if last else 0.0)
            marks: list[Mark] = [*moved(slab.marks, pad, above)]
            marks += [Rule(x, 0.0, x, height, width=0.9) for x in (0.0, width)]
            if first:
                marks.append(Rule(0.0, 0.0, width, 0.0, width=0.9))
            if last:
                marks.append(Rule(0.0, height, width, height, width=0.9))
            out.append(Slab(height, tuple(marks), self._pt(5) if first else 0.0, keep=together and not last))
        return out

    def _beside(self, left: Sequence[Block], right: Sequence[Block], width: float) -> list[Slab]:
        room = self._room(width)
        stacks = self.blocks(left, room), self.blocks(right, room)
        if self._dense:
            return self._shared(_chains([*stacks[0], *stacks[1]]), room, width)
        return self._side_by_side(stacks, room, width)

    def _room(self, width: float) -> float:
        """Return the width of a column: a half, or a third where what is short of a line wastes less so."""
        columns = 3 if self._dense and width > _BROAD else 2
        return (width - (columns - 1) * self._pt(12)) / columns

    def _shared(self, groups: Sequence[Sequence[Slab]], room: float, width: float) -> list[Slab]:
        """Return groups of slabs, none cut, in as many columns as there is width for, the highest as low as can be."""
        heights = [sum(s.height + s.gap for s in group) for group in groups]
        columns = min(len(groups), int(width / room + 1e-6))
        best: list[list[Slab]] = []
        # The height of every run of groups is tried as the most that a column may have, from the lowest that can do.
        for most in sorted({sum(heights[i:j]) for i in range(len(heights)) for j in range(i + 1, len(heights) + 1)}):
            best, used = [[]], 0.0
            for group, height in zip(groups, heights, strict=True):
                if best[-1] and used + height > most + 1e-6:
                    best.append([])
                    used = 0.0
                best[-1] += group
                used += height
            if len(best) <= columns and max(sum(s.height + s.gap for s in column) for column in best) <= most + 1e-6:
                break
        return self._side_by_side(best, room, width)

    def _side_by_side(self, columns: Sequence[Sequence[Slab]], room: float, width: float) -> list[Slab]:
        """Return stacks of slabs as one slab; one stack below the other where a page has no room for that."""
        stacks: list[tuple[float, list[Mark]]] = []
        count = max(2, int(width / room + 1e-6))
        step = room + (width - count * room) / (count - 1)
        for number, slabs in enumerate(columns):
            y, marks = 0.0, list[Mark]()
            for i, slab in enumerate(slabs):
                y += slab.gap if i else 0.0
                marks += moved(slab.marks, number * step, y)
                y += slab.height
            stacks.append((y, marks))
        height = max((y for y, _ in stacks), default=0.0)
        if height > 0.96 * self._tallest:
            return [slab for slabs in columns for slab in slabs]
        return [Slab(height, tuple(mark for _, marks in stacks for mark in marks), self._pt(3))]

    # ------------------------------------------------------------------ tables

    def _table(self, table: Table, width: float) -> list[Slab]:
        size, pad = self._pt(8.4), self._pt(7)
        if table.kind == "costs":
            width *= 0.45
        whole = width
        halves = is_halved(table) and width > _BROAD
        if halves:
            width = (width - self._pt(14)) / 2
        cells = [
            [
                self.runs(cell, Style(size, bold=i == table.heading or (table.last_strong and row is table.rows[-1])))
                for i, cell in enumerate(row)
            ]
            for row in table.rows
        ]
        head = [self.runs(word, Style(self._pt(7.6), fill=GREY)) for word in table.head]
        columns = max([len(head), *[len(row) for row in cells]], default=0)
        if columns == 0:
            return []
        widths = self._widths([head, *cells] if head else cells, columns, width - pad * (columns - 1), table.whole)
        out: list[Slab] = []
        if table.caption:
            out += self._lines(self.runs(table.caption, Style(size, bold=True)), whole, self._pt(4.5), keep=True)
        top = self._row(head, widths, pad, table.right, gap=0.0 if out else self._pt(4), line=0.8)[:1] if head else []
        out += [replace(slab, keep=True) for slab in top]
        if halves:
            rows = [self._row(row, widths, pad, table.right, gap=0.0, air=0.8) for row in cells]
            return [*out, *self._shared(rows, width, whole)]
        for number, row in enumerate(cells):
            first = number == 0 and not out
            slabs = self._row(
                row,
                widths,
                pad,
                table.right,
                gap=self._pt(4) if first else 0.0,
                air=0.8 if self._dense or table.kind == "leg" else 1.6,
            )
            out += [replace(slab, head=tuple(top)) for slab in slabs]
        # A small table is not cut; a large one never leaves its last row alone.
        small = sum(slab.height for slab in out) < 0.3 * self._tallest
        for i in range(len(out) - 1):
            if small or (i == len(out) - 2 and len(cells) > 2):
                out[i] = replace(out[i], keep=True)
        return out

    def _widths(self, rows: Sequence[Sequence[Sequence[Run]]], columns: int, width: float, whole: Sequence[int]) -> list[float]:
        """Return column widths: as wide as the widest cell where all fit, else shared out between widest word and widest cell."""
        least, most = [0.0] * columns, [0.0] * columns
        for row in rows:
            for i, runs in enumerate(row):
                word, line = self._set.extent(runs)
                least[i] = max(least[i], line if i in whole else word)
                most[i] = max(most[i], line)
        least = [min(w, 0.45 * width) for w in least]
        most = [max(a, min(b, 1.2 * width)) for a, b in zip(least, most, strict=True)]
        if sum(most) <= width:
            # Some air for each, the rest for the last: remarks stand there.
            spare = width - sum(most)
            air = min(spare / columns, self._pt(14))
            return [w + air + (spare - columns * air if i == columns - 1 else 0.0) for i, w in enumerate(most)]
        if sum(least) >= width:
            return [w * width / sum(least) for w in least]
        share = (width - sum(least)) / (sum(most) - sum(least))
        return [a + share * (b - a) for a, b in zip(least, most, strict=True)]

    def _row(
        self,
        cells: Sequence[Sequence[Run]],
        widths: Sequence[float],
        pad: float,
        right: Sequence[int],
        *,
        gap: float,
        line: float = 0.35,
        air: float = 1.6,
    ) -> list[Slab]:
        """Return a row as one slab, or as several where it is higher than half a page; ``air``: room over and under its text."""
        above = self._pt(air)
        marks: list[list[Mark]] = []
        x, height = 0.0, 0.0
        for i, runs in enumerate(cells):
            high, own = self.text(runs, widths[i], x=x, right=i in right)
            marks.append(own)
            height = max(height, high)
            x += widths[i] + pad
        rule = Rule(0.0, 0.0, x - pad, 0.0, stroke=INK if line > 0.5 else "#9a948a", width=line)
        if height <= self._tallest / 2:
            full = height + 2 * above
            inside = moved([mark for own in marks for mark in own], 0.0, above)
            return [Slab(full, (*inside, replace(rule, y0=full, y1=full)), gap)]
        out, step = [], self._tallest / 3
        for k in range(int(height // step) + 1):
            part = [m for own in marks for m in own if isinstance(m, Set) and k * step <= m.y < (k + 1) * step]
            out.append(Slab(step, moved(part, 0.0, above - k * step), gap if k == 0 else 0.0))
        out.append(Slab(1.0, (rule,)))
        return out
