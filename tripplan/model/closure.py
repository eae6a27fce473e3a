"""What somebody says of roads by date: a road closed, or an area with a wind warning."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from tripplan.model.errors import BadInputError

__all__ = ["CLOSED", "KINDS", "WIND", "Closure"]

#: Closed to all; and a wind warning: no towing, the car alone may go.
CLOSED, WIND = "closed", "wind"
KINDS = (CLOSED, WIND)

Points = tuple[tuple[float, float], ...]


@dataclass(frozen=True, slots=True)
class Closure:
    """One closure or wind warning.

    Parameters
    ----------
    name, source
        What it is called and who says so: foreign text.
    kind
        ``closed`` or ``wind``.
    first, last
        First and last date on which it holds; ``None``: without beginning, without end.
    lines
        Lines of (lon, lat) that run along the roads meant.
    rings
        Outlines of areas and of holes in them, as (lon, lat); a point lies inside by the even-odd rule.
    ways
        OSM ids of the ways meant; empty: not told.
    one_way
        Whether only travel in the direction of the lines is meant.
    """

    name: str
    kind: str
    source: str
    first: date | None = None
    last: date | None = None
    lines: tuple[Points, ...] = ()
    rings: tuple[Points, ...] = ()
    ways: tuple[int, ...] = ()
    one_way: bool = False

    def __post_init__(self) -> None:
        where = f"closure {self.name!r}"
        if self.kind not in KINDS:
            raise BadInputError(f"`kind` is {self.kind!r}", where=where, accepted=" or ".join(KINDS))
        if self.first is not None and self.last is not None and self.last < self.first:
            raise BadInputError(f"ends {self.last} before it begins {self.first}", where=where, accepted="a later end")
        if not (self.lines or self.rings or self.ways):
            raise BadInputError("has neither line, area nor way", where=where, accepted="a geometry or the ids of ways")
        if any(len(line) < 2 for line in self.lines) or any(len(ring) < 3 for ring in self.rings):
            raise BadInputError("has too few points", where=where, accepted="2 or more in a line, 3 or more round an area")
        for part in (*self.lines, *self.rings):
            if not all(-180 <= lon <= 180 and -90 <= lat <= 90 for lon, lat in part):
                raise BadInputError("has a point that cannot be", where=where, accepted="-180 to 180, -90 to 90 degrees")

    def holds(self, day: date) -> bool:
        """Say whether it holds on a date: any part of a day counts for the whole day."""
        return (self.first is None or self.first <= day) and (self.last is None or day <= self.last)

    @property
    def dates(self) -> str:
        """When it holds, in words."""
        if self.first is None and self.last is None:
            return "until further notice"
        if self.first is None:
            return f"until {_words(self.last)}"
        if self.last is None:
            return f"from {_words(self.first)} on"
        return f"on {_words(self.first)}" if self.first == self.last else f"from {_words(self.first)} to {_words(self.last)}"


def _words(day: date | None) -> str:
    return f"{day.day} {day:%b %Y}" if day is not None else ""
