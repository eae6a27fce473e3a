"""Colours and dashes: told apart by eyes of any kind, and in black and white by the dash alone.

The hues stem from the published set of Okabe and Ito (Color Universal Design, 2008), darkened here until each stands 3 to 1
or more against the map's land and water (WCAG 2.2, 1.4.11 Non-text Contrast); yellow and sky blue, which cannot, are left out.
"""

from __future__ import annotations

from dataclasses import dataclass

__all__ = ["DASHES", "HUES", "LAND", "ROADS", "WATER", "DayStyle", "day_style"]

LAND = "#f6f3ec"
WATER = "#dbe7ee"

#: Blue, vermilion, purple, black, brown-orange, green: in the order in which neighbours are farthest apart for eyes of any kind.
HUES: tuple[str, ...] = ("#0068a8", "#c24a00", "#a8467c", "#1c1c1c", "#8a5f00", "#007a5a")

#: Dash patterns in px at the line's own width: solid, long, dotted, dash-dot, short, dash-dot-dot.
DASHES: tuple[str, ...] = ("", "14 7", "2 7", "16 6 2 6", "7 6", "16 6 2 6 2 6")

#: Width [px] and colour of each group of base map roads.
ROADS: dict[str, tuple[float, str]] = {
    "main": (3.2, "#b3aca0"),
    "middle": (2.2, "#c3bdb2"),
    "small": (1.2, "#d0cbc2"),
}


@dataclass(frozen=True, slots=True)
class DayStyle:
    """How one day is drawn: ``colour`` #rrggbb, ``dash`` as SVG's stroke-dasharray ("" solid)."""

    colour: str
    dash: str


def day_style(number: int) -> DayStyle:
    """Return the style of a day by its number (from 1): the colour changes daily, the dash too, and pairs repeat after 36 days."""
    i = number - 1
    return DayStyle(HUES[i % len(HUES)], DASHES[(i + i // len(HUES)) % len(DASHES)])
