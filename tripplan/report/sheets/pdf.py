"""Sheets as a PDF with an open font inside, by reportlab's canvas: the same sheets, the same bytes."""

from __future__ import annotations

import io
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from importlib.resources import files
from typing import Any

from tripplan.report.safe import plain
from tripplan.report.sheets.blocks import Disc, Drawing, Label, Para, Path, Sheet, Text
from tripplan.report.sheets.leaves import Leaf, leaves
from tripplan.report.sheets.letters import drawable, latin, visual
from tripplan.report.sheets.lines import GREY, Piece, Run, Setter, Style
from tripplan.report.sheets.slabs import Mark, Rule, Set, Shown, Slabs

__all__ = ["A4", "LETTER", "Paper", "document", "paper_of"]


@dataclass(frozen=True, slots=True)
class Paper:
    """A size of paper [pt]."""

    name: str
    width: float
    height: float


#: ISO 216 A4 (210 by 297 mm), and ANSI/ASME Y14.1 size A (8.5 by 11 in).
A4, LETTER = Paper("A4", 595.28, 841.89), Paper("Letter", 612.0, 792.0)
#: Countries whose printers hold Letter (Unicode CLDR, measurementData, paperSize US-Letter; memory).
_LETTER_COUNTRIES = frozenset(["BZ", "CA", "CL", "CO", "CR", "GT", "MX", "NI", "PA", "PH", "PR", "SV", "US", "VE"])

_SIDE, _TOP, _BOTTOM = 28.0, 35.0, 41.0
#: Sizes of ordinary type. At the smallest, lists stand at 6.2 pt, whose x-height in DejaVu Sans (0.547 em) is 1.2 mm: the least that Regulation (EU)
#: No 1169/2011, article 13(2), allows on labels (memory).
_SIZE, _SMALLEST = 9.0, 6.6
#: Below this size lists share their columns [pt]; and so much of a page that can spare at most.
_DENSE_BELOW, _MOST_SAVED = 8.2, 1.25
#: Marks that bound a name and are never drawn (isolates), and the space.
_BOUNDS = frozenset("\u2066\u2067\u2068\u2069 ")
#: How the numbers to dial look at the foot of a page, and how many lines there are for them; what is longer stands at the sheet's end too.
_FOOT, _FOOT_LINES = Style(7.8, bold=True), 2
_REGULAR, _BOLD = "DejaVuSans", "DejaVuSans-Bold"


def paper_of(country: str) -> Paper:
    """Return the paper that printers of a country hold."""
    return LETTER if country in _LETTER_COUNTRIES else A4


def document(title: str, sheets: Sequence[Sheet], credit: str, paper: Paper = A4) -> bytes:
    """Return the sheets as a PDF file.

    Parameters
    ----------
    title
        Of the whole: in the file's properties and in every page's margin.
    credit
        Whose data, at the foot of the last page's margin and of every other.
    """
    from reportlab.pdfgen.canvas import Canvas

    out = io.BytesIO()
    canvas = Canvas(out, pagesize=(paper.width, paper.height), invariant=1, pageCompression=1)
    pen = _Pen(canvas, paper)
    canvas.setTitle(drawable(plain(title)))
    canvas.setCreator("tripplan")
    canvas.setProducer("tripplan")
    laid = [(sheet, _fitted(sheet, pen.setter, paper)) for sheet in sheets]
    count, number = sum(len(pages) for _, pages in laid), 0
    for sheet, pages in laid:
        canvas.bookmarkPage(sheet.key)
        canvas.addOutlineEntry(drawable(plain(sheet.title)), sheet.key, 0)
        for leaf in pages:
            number += 1
            pen.margins(sheet, title, f"{number} / {count}", credit)
            for down, marks in leaf:
                for mark in marks:
                    pen.draw(mark, _SIDE, _TOP + down)
            pen.turn()
    with _bytes_as_they_are():
        canvas.save()
    return out.getvalue()


@contextmanager
def _bytes_as_they_are() -> Iterator[None]:
    """Have reportlab leave out its coding of streams as ASCII: a quarter smaller, and sooner written."""
    from reportlab import rl_config

    usual = rl_config.useA85
    rl_config.useA85 = 0
    try:
        yield
    finally:
        rl_config.useA85 = usual


def _fitted(sheet: Sheet, setter: Setter, paper: Paper) -> list[Leaf]:
    """Lay a sheet out, a little smaller where that spares a page, and denser before it gets hard to read."""
    width, height = paper.width - 2 * _SIDE, paper.height - _TOP - _BOTTOM
    blocks = sheet.blocks
    if len(setter.lines(Slabs(setter, _SIZE, height).runs(sheet.foot, _FOOT), width)) > _FOOT_LINES:
        blocks = (*blocks, Para(sheet.foot, "strong"))
    size, best = _SIZE, None
    while True:
        slabs = Slabs(setter, size, height, dense=size < _DENSE_BELOW).blocks(blocks, width)
        pages = leaves(slabs, height)
        if best is None or len(pages) < len(best):
            best = pages
        total = sum(slab.height + slab.gap for slab in slabs)
        if len(pages) == 1 or len(pages) > 3 or size <= _SMALLEST:
            return best
        # What spills over by a little is set smaller at once; a sheet that is far from fitting stays as it is.
        wanted = size * min(0.97, (height / total) ** 0.75)
        if wanted < _SMALLEST and total > height * _MOST_SAVED * (size / _SMALLEST) ** 1.6:
            return best
        size = max(_SMALLEST, wanted)


class _Pen:
    """Draws marks on a canvas of reportlab. Colours and fonts are set when they change."""

    def __init__(self, canvas: Any, paper: Paper) -> None:
        from reportlab.pdfbase import pdfmetrics
        from reportlab.pdfbase.ttfonts import TTFont

        folder = files("tripplan.report") / "fonts"
        for name in (_REGULAR, _BOLD):
            pdfmetrics.registerFont(TTFont(name, io.BytesIO((folder / f"{name}.ttf").read_bytes())))
        self._fonts = {bold: pdfmetrics.getFont(_BOLD if bold else _REGULAR) for bold in (False, True)}
        self._canvas = canvas
        self._paper = paper
        self._inks: dict[str, str] = {}
        self._codes: dict[tuple[str, bool], list[tuple[int, bytes]]] = {}
        self.setter = Setter(self._width, self._seen)

    def _width(self, text: str, bold: bool) -> float:
        face = self._fonts[bold].face
        widths, other = face.charWidths, face.defaultWidth
        return float(sum(widths.get(ord(letter), other) for letter in text)) / 1000.0

    def _missing(self, text: str, bold: bool) -> bool:
        glyphs = self._fonts[bold].face.charToGlyph
        return not text.isascii() and any(ord(letter) not in glyphs for letter in text)

    def _seen(self, text: str) -> str:
        glyphs = self._fonts[False].face.charToGlyph
        return latin(text, lambda letter: ord(letter) not in glyphs and letter not in _BOUNDS)

    def _runs(self, text: Text, style: Style) -> list[Run]:
        return Slabs(self.setter, _SIZE, self._paper.height).runs(text, style)

    def margins(self, sheet: Sheet, title: str, page: str, credit: str) -> None:
        """Draw what stands around a page's text: title and page above, numbers to dial and whose data below."""
        paper = self._paper
        small = Style(7.2, fill=GREY)
        right = paper.width - _SIDE
        self._canvas.addLiteral("/Artifact <</Type /Pagination>> BDC")
        self._text(right - self.setter.width(page, small), _TOP - 16, page, small)
        words = f"{drawable(plain(title))} · {drawable(plain(sheet.title))}"
        self._pieces(self.setter.lines(self._runs(words, small), right - _SIDE - 60)[0].pieces, _SIDE, _TOP - 16)
        self._rule(Rule(_SIDE, _TOP - 11, right, _TOP - 11, width=0.4), 0.0, 0.0)
        foot = paper.height - _BOTTOM + 13
        self._rule(Rule(_SIDE, foot - 9, right, foot - 9, width=0.9), 0.0, 0.0)
        for line in self.setter.lines(self._runs(sheet.foot, _FOOT), right - _SIDE)[:_FOOT_LINES]:
            self._pieces(line.pieces, _SIDE, foot)
            foot += 9.5
        self._pieces(self.setter.lines(self._runs(credit, Style(6.4, fill=GREY)), right - _SIDE)[0].pieces, _SIDE, foot)
        self._canvas.addLiteral("EMC")

    def draw(self, mark: Mark, dx: float, dy: float) -> None:
        """Draw one mark, its origin at (dx, dy) from the paper's upper left corner."""
        match mark:
            case Set(x=x, y=y, line=line):
                self._pieces(line.pieces, x + dx, y + dy)
            case Rule():
                self._rule(mark, dx, dy)
            case Shown(x=x, y=y, scale=scale, drawing=drawing):
                self._drawing(drawing, x + dx, y + dy, scale)

    # ------------------------------------------------------------------ primitives

    def turn(self) -> None:
        """End a page."""
        self._canvas.showPage()
        self._inks.clear()

    def _colour(self, fill: str = "", stroke: str = "") -> None:
        for colour, operator in ((fill, "rg"), (stroke, "RG")):
            if colour and self._inks.get(operator) != colour:
                self._inks[operator] = colour
                red, green, blue = (int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5))
                self._canvas.addLiteral(f"{red:.3g} {green:.3g} {blue:.3g} {operator}")

    def _pieces(self, pieces: Sequence[Piece], x: float, y: float) -> None:
        for piece in pieces:
            self._text(x + piece.x, y, piece.text, piece.style, said=piece.said)
            if piece.style.link:
                size = piece.style.size
                box = (x + piece.x, self._up(y + 0.25 * size), x + piece.x + piece.width, self._up(y - 0.8 * size))
                self._canvas.linkURL(piece.style.link, box, relative=0)

    def _up(self, y: float) -> float:
        return self._paper.height - y

    def _text(self, x: float, y: float, text: str, style: Style, *, said: str = "", stroke: str = "") -> None:
        """Show a text; where what is seen is not what is read, the file carries both."""
        if not text.strip():
            return
        canvas, font = self._canvas, self._fonts[style.bold]
        read = said or text
        differs = read != text or self._missing(text, style.bold)
        if differs:
            read = "".join(c for c in read if c not in "\u2066\u2067\u2068\u2069")
            canvas.addLiteral(f"/Span <</ActualText <FEFF{read.encode('utf-16-be', 'replace').hex()}>>> BDC")
        self._colour(style.fill, stroke)
        shown = []
        for subset, codes in self._encoded(text, style.bold):
            name = font.getSubsetInternalName(subset, canvas._doc)
            shown.append(f"{name} {style.size:.2f} Tf <{codes.hex()}> Tj")
        outline = "2 w 1 j 2 Tr " if stroke else ""
        canvas.addLiteral(f"BT {outline}1 0 0 1 {x:.2f} {self._up(y):.2f} Tm {' '.join(shown)} {'0 Tr ' if stroke else ''}ET")
        if differs:
            canvas.addLiteral("EMC")

    def _encoded(self, text: str, bold: bool) -> list[tuple[int, bytes]]:
        """Return a text as the codes of the font's subsets, word by word: words come again. A space has the same code in each."""
        font, out = self._fonts[bold], list[tuple[int, bytes]]()
        for number, word in enumerate(text.split(" ")):
            known = self._codes.get((word, bold))
            if known is None:
                known = self._codes[word, bold] = font.splitString(word, self._canvas._doc)
            if number:
                subset, codes = out.pop() if out else (known[0][0] if known else 0, b"")
                out.append((subset, codes + b" "))
            for subset, codes in known:
                if out and out[-1][0] == subset:
                    out[-1] = (subset, out[-1][1] + codes)
                else:
                    out.append((subset, codes))
        return out

    def _rule(self, rule: Rule, dx: float, dy: float) -> None:
        self._colour(stroke=rule.stroke)
        x0, y0, x1, y1 = rule.x0 + dx, self._up(rule.y0 + dy), rule.x1 + dx, self._up(rule.y1 + dy)
        box = f"{x0:.2f} {y1:.2f} {x1 - x0:.2f} {y0 - y1:.2f} re"
        path = box if rule.box else f"{x0:.2f} {y0:.2f} m {x1:.2f} {y1:.2f} l"
        self._canvas.addLiteral(f"[] 0 d {rule.width:.2f} w {path} S")

    def _drawing(self, drawing: Drawing, dx: float, dy: float, scale: float) -> None:
        """Draw shapes, cut off at the drawing's edges."""
        canvas = self._canvas
        canvas.addLiteral(
            f"q {dx:.2f} {self._up(dy + scale * drawing.height):.2f} {scale * drawing.width:.2f} {scale * drawing.height:.2f} re W n 1 j"
        )
        for shape in drawing.shapes:
            match shape:
                case Path():
                    self._path(shape, dx, dy, scale)
                case Disc():
                    self._disc(shape, dx, dy, scale)
                case Label():
                    style = Style(shape.size * scale, shape.bold, shape.fill)
                    said = drawable(plain(shape.text))
                    text = visual(self._seen(said))
                    width = self.setter.width(text, style)
                    x = dx + scale * shape.x - {"start": 0.0, "middle": 0.5, "end": 1.0}[shape.anchor] * width
                    y = dy + scale * shape.y
                    if shape.halo:
                        self._halo(x, y, text, style, shape.halo)
                    self._text(x, y, text, style, said=said)
        canvas.addLiteral("Q")
        self._inks.clear()

    def _halo(self, x: float, y: float, text: str, style: Style, colour: str) -> None:
        """Draw the edge around a label: an artifact, nothing to read."""
        self._canvas.addLiteral("/Artifact BMC")
        self._text(x, y, text, Style(style.size, style.bold, colour), stroke=colour)
        self._canvas.addLiteral("EMC")

    def _path(self, path: Path, dx: float, dy: float, scale: float) -> None:
        top = self._up(dy)
        points = [f"{dx + scale * x:.1f} {top - scale * y:.1f}" for x, y in path.points]
        if not points:
            return
        self._colour(path.fill, path.stroke)
        if path.stroke:
            dash = " ".join(f"{scale * d:.2f}" for d in path.dash)
            self._canvas.addLiteral(f"[{dash}] 0 d {scale * path.width:.2f} w")
        paint = ("b" if path.stroke else "h f") if path.fill else ("s" if path.closed else "S") if path.stroke else "n"
        self._canvas.addLiteral(f"{points[0]} m {' l '.join(points[1:])} l {paint}" if len(points) > 1 else "n")

    def _disc(self, disc: Disc, dx: float, dy: float, scale: float) -> None:
        self._colour(disc.fill, disc.stroke)
        x, y, r = dx + scale * disc.x, self._up(dy + scale * disc.y), scale * disc.r
        k = 0.5523 * r  # four cubic curves make a circle
        curve = (
            f"{x + r:.2f} {y:.2f} m {x + r:.2f} {y + k:.2f} {x + k:.2f} {y + r:.2f} {x:.2f} {y + r:.2f} c "
            f"{x - k:.2f} {y + r:.2f} {x - r:.2f} {y + k:.2f} {x - r:.2f} {y:.2f} c {x - r:.2f} {y - k:.2f} {x - k:.2f} {y - r:.2f} {x:.2f} {y - r:.2f} c "
            f"{x + k:.2f} {y - r:.2f} {x + r:.2f} {y - k:.2f} {x + r:.2f} {y:.2f} c"
        )
        width = f"[] 0 d {scale * disc.width:.2f} w " if disc.stroke else ""
        self._canvas.addLiteral(f"{width}{curve} {'b' if disc.stroke else 'f'}")
