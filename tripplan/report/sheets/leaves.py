"""Slabs put on pages: what must stay together does, no heading stands alone, a table's head is drawn again after a break."""

from __future__ import annotations

from collections.abc import Sequence

from tripplan.report.sheets.slabs import Mark, Slab

__all__ = ["Leaf", "leaves"]

#: One page: how far down each strip stands [pt], and its marks.
Leaf = tuple[tuple[float, tuple[Mark, ...]], ...]


def _chain(slabs: Sequence[Slab], start: int) -> int:
    """Return the end (not included) of the slabs from ``start`` on that must stand on one page."""
    end = start + 1
    while end < len(slabs) and slabs[end - 1].keep:
        end += 1
    return end


def leaves(slabs: Sequence[Slab], height: float) -> list[Leaf]:
    """Return the strips of each page, from the upper edge of its text."""
    pages: list[Leaf] = []
    marks: list[tuple[float, tuple[Mark, ...]]] = []
    y = 0.0
    at = 0
    while at < len(slabs):
        end = _chain(slabs, at)
        needed = sum(s.gap + s.height for s in slabs[at:end]) - (slabs[at].gap if y == 0.0 else 0.0)
        if y > 0.0 and y + needed > height + 0.01:
            # A chain that no page can hold is broken like anything else.
            alone = sum(s.height for s in slabs[at].head) + needed > height
            if not alone or y + slabs[at].gap + slabs[at].height > height:
                pages.append(tuple(marks))
                marks, y = [], 0.0
                for head in slabs[at].head:
                    marks.append((y, head.marks))
                    y += head.height
                if alone:
                    end = at + 1
            else:
                end = at + 1
        for slab in slabs[at:end]:
            gap = slab.gap if y > 0.0 else 0.0
            if y > 0.0 and y + gap + slab.height > height + 0.01:
                pages.append(tuple(marks))
                marks, y, gap = [], 0.0, 0.0
                for head in slab.head:
                    marks.append((y, head.marks))
                    y += head.height
            marks.append((y + gap, slab.marks))
            y += gap + slab.height
        at = end
    if marks or not pages:
        pages.append(tuple(marks))
    return pages
