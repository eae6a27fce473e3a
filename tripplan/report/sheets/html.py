"""Sheets as one HTML page without scripts."""

from __future__ import annotations

from collections.abc import Iterable
from functools import cache
from importlib.resources import files

from tripplan.report.markup import Markup, el, raw
from tripplan.report.safe import plain, tel_link
from tripplan.report.sheets.blocks import (
    Beside,
    Block,
    Box,
    Disc,
    Drawing,
    Facts,
    Heading,
    Item,
    Items,
    Label,
    Para,
    Path,
    Phone,
    Picture,
    Sheet,
    Table,
    Text,
    inlines,
    is_halved,
)  # fmt: skip
from tripplan.report.sheets.room import density

__all__ = ["page", "svg"]

_POLICY = "default-src 'none'; style-src 'unsafe-inline'; img-src data:; base-uri 'none'; form-action 'none'"


@cache
def _style() -> str:
    return (files("tripplan.report") / "assets" / "sheet.css").read_text(encoding="utf-8")


def page(title: str, sheets: Iterable[Sheet], footer: Markup, *, lang: str = "en") -> str:
    """Return the sheets as one page: a section each, and a footer."""
    head = el(
        "head",
        el("meta", charset="utf-8"),
        el("meta", http_equiv="Content-Security-Policy", content=_POLICY),
        el("meta", name="viewport", content="width=device-width, initial-scale=1"),
        el("title", plain(title)),
        raw(f"<style>\n{_style()}\n</style>"),
    )
    whole = tuple(sheets)
    body = el("body", el("main", *[_sheet(sheet, 4.5 if sheet is whole[-1] else 0.0) for sheet in whole]), footer)
    return f"<!DOCTYPE html>\n{el('html', head, body, lang=lang)}\n"


def _sheet(sheet: Sheet, more: float) -> Markup:
    foot = el("p", _text(sheet.foot), class_="numbers")
    return el(
        "section",
        el("div", *[_block(block) for block in sheet.blocks], class_="body"),
        foot,
        class_=f"{sheet.kind} {density(sheet, more)}".strip(),
        id=sheet.key,
    )


def _text(text: Text) -> list[object]:
    return [_phone(part.number) if isinstance(part, Phone) else part for part in inlines(text)]


def _phone(number: str) -> Markup | str:
    link = tel_link(number)
    return el("a", number, href=link) if link else number


def _item(item: Item) -> Markup:
    return el("li", _text(item.text), el("small", " ", item.source) if item.source else None)


def _block(block: Block) -> Markup:
    match block:
        case Heading(level=level, text=text):
            return el(f"h{level}", _text(text))
        case Para(text=text, kind=kind):
            return el("p", _text(text), class_=kind or None)
        case Items(items=items, kind=kind, columns=columns):
            return el("ul", *map(_item, items), class_=kind + (" two" if columns == 2 else ""))
        case Table():
            return _table(block)
        case Facts(rows=rows):
            return el("dl", *[el("div", el("dt", word), el("dd", _text(value))) for word, value in rows], class_="facts")
        case Picture(drawing=drawing, kind=kind):
            # On a narrow page it scrolls: by keys too.
            return el("div", svg(drawing, kind), class_="scroll", tabindex=0, role="group", aria_label=drawing.title)
        case Box(blocks=blocks):
            return el("div", *map(_block, blocks), class_="night")
        case Beside(left=left, right=right):
            return el("div", el("div", *map(_block, left)), el("div", *map(_block, right)), class_="beside")


def _table(table: Table) -> Markup:
    rows = []
    for number, row in enumerate(table.rows):
        cells = []
        for i, cell in enumerate(row):
            words = table.head[i] if i < len(table.head) else ""
            kind = " ".join(name for name, columns in (("n", table.right), ("w", table.whole)) if i in columns) or None
            if i == table.heading:
                cells.append(el("th", _text(cell), scope="row", class_=kind, data_label=words or None))
            else:
                cells.append(el("td", _text(cell), class_=kind, data_label=words or None))
        rows.append(el("tr", *cells, class_="sum" if table.last_strong and number == len(table.rows) - 1 else None))
    head = el("thead", el("tr", *[el("th", word, scope="col") for word in table.head])) if table.head else None
    caption = el("caption", _text(table.caption)) if table.caption else None
    return el("table", caption, head, el("tbody", *rows), class_=table.kind + (" halves" if is_halved(table) else ""))


def _r(value: float) -> str:
    return f"{value:.1f}".removesuffix(".0")


def svg(drawing: Drawing, kind: str) -> Markup:
    """Return a drawing as inline SVG."""
    shapes: list[Markup] = []
    for shape in drawing.shapes:
        match shape:
            case Path():
                d = "M" + "L".join(f"{_r(x)} {_r(y)}" for x, y in shape.points) + ("Z" if shape.closed else "")
                dash = " ".join(map(_r, shape.dash)) or None
                stroked = (
                    {"stroke": shape.stroke, "stroke_width": _r(shape.width), "stroke_dasharray": dash} if shape.stroke else {}
                )
                shapes.append(el("path", d=d, fill=shape.fill or "none", **stroked))
            case Disc():
                ring = {"stroke": shape.stroke, "stroke_width": _r(shape.width)} if shape.stroke else {}
                # An ellipse of two arcs: a path like all others.
                d = f"M{_r(shape.x - shape.r)} {_r(shape.y)}a{_r(shape.r)} {_r(shape.r)} 0 1 0 {_r(2 * shape.r)} 0a{_r(shape.r)} {_r(shape.r)} 0 1 0 {_r(-2 * shape.r)} 0Z"
                shapes.append(el("path", d=d, fill=shape.fill, **ring))
            case Label():
                halo = {"stroke": shape.halo, "stroke_width": "3", "paint_order": "stroke"} if shape.halo else {}
                shapes.append(
                    el(
                        "text", shape.text, x=_r(shape.x), y=_r(shape.y), text_anchor=shape.anchor, font_size=_r(shape.size),
                        font_weight="bold" if shape.bold else None, fill=shape.fill, **halo,
                    )
                )  # fmt: skip
    return el(
        "svg", el("title", drawing.title), el("desc", drawing.words), *shapes,
        class_=kind, viewBox=f"0 0 {_r(drawing.width)} {_r(drawing.height)}", role="img", width="100%",
    )  # fmt: skip
