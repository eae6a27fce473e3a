"""Local knowledge: what an operator knows of roads and places, each note with its source."""

from __future__ import annotations

from dataclasses import dataclass

__all__ = ["LIMITS", "LocalNote", "NoteSource", "PlaceNote", "RoadNote"]

#: Posted limits that a note may give: column of `tripplan.region.columns.Ways` and unit.
LIMITS: tuple[tuple[str, str], ...] = (
    ("max_height_m", "m"), ("max_width_m", "m"), ("max_length_m", "m"), ("max_weight_kg", "kg"), ("max_axle_kg", "kg"),
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class NoteSource:
    """Where a note comes from.

    Parameters
    ----------
    file
        The file's name without its folder. row: "row 7" or "feature 2" in it.
    author, noted
        Who says so and on which date (ISO 8601); "" when the file does not tell.
    """

    file: str
    row: str
    author: str = ""
    noted: str = ""

    @property
    def label(self) -> str:
        """How the note is named wherever it decides."""
        return "local note: " + ", ".join(part for part in (self.file, self.row, self.author, self.noted) if part)

    @property
    def where(self) -> str:
        """File and row, for messages."""
        return f"{self.file}, {self.row}"


@dataclass(frozen=True, slots=True)
class RoadNote:
    """What is known of a road.

    Parameters
    ----------
    ways
        Identities of the ways meant; empty when the road is meant by ``road`` (its name or ref) and a point.
    at
        Points (lon, lat) [degrees]: none or one (where the road is), or two: only the part between them is meant.
    surface
        ``sealed``, ``unsealed``, ``unknown`` (the map's claim is not believed) or "".
    access
        ``open``, ``closed``, ``ends only`` or "". van_only: holds for the van, the car alone is not spoken of.
    since, until
        First and last date of a closure: "2026-01-05", or "11-01" for every year; "" without end.
    limits
        (column of `LIMITS`, value) with ``None`` for "no limit there".
    """

    source: NoteSource
    ways: tuple[int, ...] = ()
    road: str = ""
    at: tuple[tuple[float, float], ...] = ()
    surface: str = ""
    access: str = ""
    van_only: bool = False
    since: str = ""
    until: str = ""
    limits: tuple[tuple[str, float | None], ...] = ()


@dataclass(frozen=True, slots=True)
class PlaceNote:
    """What is known of a place.

    Parameters
    ----------
    role
        As in `tripplan.model.place.Place`; "" when ``ref`` says which place is meant.
    ref
        A map identity ("n123"), ``local:NAME``, ``new`` for a place that is not on the map, or "": found by position.
    offers
        (word, ``yes`` / ``no`` / ``presumed`` / ``unknown``); ``admits`` likewise, "" when nothing is said.
    values
        (field of `Place`, value) for what is said beside: hours, season, price_cents, phone and so on.
    inside_only
        Brought in from data of a larger area: left out, and not a mistake, when it lies off the map.
    """

    source: NoteSource
    role: str = ""
    name: str = ""
    ref: str = ""
    at: tuple[float, float] | None = None
    offers: tuple[tuple[str, str], ...] = ()
    admits: str = ""
    values: tuple[tuple[str, str | int | bool], ...] = ()
    inside_only: bool = False


LocalNote = RoadNote | PlaceNote
