"""Runs of text set into lines of a width, with the widths of a font. Units are points; texts are clean, in reading order."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass

from tripplan.report.sheets.letters import visual

__all__ = ["GREY", "INK", "Line", "Piece", "Run", "Setter", "Style"]

INK, GREY = "#1c1c1c", "#555555"
#: What sums of widths may differ by [pt].
_SLACK = 0.05


@dataclass(frozen=True, slots=True)
class Style:
    """How a run looks: ``size`` [pt]; ``link``: where it leads, "" nowhere."""

    size: float
    bold: bool = False
    fill: str = INK
    link: str = ""


@dataclass(frozen=True, slots=True)
class Run:
    """Text of one style."""

    text: str
    style: Style


@dataclass(frozen=True, slots=True)
class Piece:
    """Part of a line as it is drawn: ``text`` in the order of sight, ``said`` as it is read; at ``x`` from the line's left [pt]."""

    x: float
    width: float
    text: str
    said: str
    style: Style


@dataclass(frozen=True, slots=True)
class Line:
    """One line: its pieces, their width in all, the largest size."""

    pieces: tuple[Piece, ...]
    width: float
    size: float


class Setter:
    """Sets runs into lines.

    Parameters
    ----------
    width_of
        Width of a text at one point [pt], by weight.
    seen
        What is drawn for a text: the same, but for letters that the font lacks.
    """

    def __init__(self, width_of: Callable[[str, bool], float], seen: Callable[[str], str] = str) -> None:
        self._width_of = width_of
        self._seen = seen
        self._known: dict[tuple[str, bool], float] = {}

    def width(self, text: str, style: Style) -> float:
        """Return the width of a text [pt]."""
        key = (text, style.bold)
        known = self._known.get(key)
        if known is None:
            known = self._known[key] = self._width_of(self._seen(text), style.bold)
        return known * style.size

    def extent(self, runs: Iterable[Run]) -> tuple[float, float]:
        """Return the width of the widest word and of everything on one line [pt]."""
        word, whole = 0.0, 0.0
        for run in runs:
            space = self.width(" ", run.style)
            for part in run.text.split(" "):
                width = self.width(part, run.style)
                whole += width + space
                if width > word:
                    word = width
            whole -= space
        return word, whole

    def lines(self, runs: Iterable[Run], width: float) -> list[Line]:
        """Return runs broken at spaces, and within words that are wider than a line."""
        runs = tuple(runs)
        if len(runs) == 1 and (whole := self._whole(runs[0].text, runs[0].style)) <= width + _SLACK:
            return [Line((Piece(0.0, whole, self._drawn(runs[0].text), runs[0].text, runs[0].style),), whole, runs[0].style.size)]
        lines: list[Line] = []
        row: list[tuple[str, Style]] = []
        width += _SLACK
        used = 0.0
        for run in runs:
            space = self.width(" ", run.style)
            for number, word in enumerate(run.text.split(" ")):
                gap = space if number and row else 0.0
                length = self.width(word, run.style)
                if row and used + gap + length > width:
                    lines.append(self._line(row))
                    row, used, gap = [], 0.0, 0.0
                while length > width and len(word) > 1:
                    cut = self._cut(word, run.style, width)
                    lines.append(self._line([(word[:cut], run.style)]))
                    word = word[cut:]
                    length = self.width(word, run.style)
                row.append((" " + word if gap else word, run.style))
                used += gap + length
        if row:
            lines.append(self._line(row))
        return lines

    def _whole(self, text: str, style: Style) -> float:
        """Return the width of a text on one line [pt]."""
        return sum(self.width(part, style) for part in text.split(" ")) + text.count(" ") * self.width(" ", style)

    def _drawn(self, said: str) -> str:
        """Return a text as it is drawn, word by word as it was measured, in the order of sight."""
        return visual(said if said.isascii() else " ".join(map(self._seen, said.split(" "))))

    def _cut(self, word: str, style: Style, width: float) -> int:
        """Return how many letters of a word fit, one at least."""
        used = 0.0
        for i, letter in enumerate(word):
            used += self.width(letter, style)
            if used > width and i:
                return i
        return len(word) - 1

    def _line(self, row: list[tuple[str, Style]]) -> Line:
        pieces: list[Piece] = []
        x = 0.0
        at = 0
        while at < len(row):
            end, style = at + 1, row[at][1]
            while end < len(row) and (row[end][1] is style or row[end][1] == style):
                end += 1
            said = "".join(word for word, _ in row[at:end])
            text = self._drawn(said)
            width = self._whole(text, style)
            pieces.append(Piece(x, width, text, said, style))
            x += width
            at = end
        return Line(tuple(pieces), x, max((style.size for _, style in row), default=0.0))
