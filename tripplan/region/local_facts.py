"""What a region keeps of local knowledge beside the facts it decided: the notes, and the map's own values."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from functools import cached_property
from typing import Any

from numpy.typing import NDArray

from tripplan.model.local import LocalNote, NoteSource, PlaceNote, RoadNote

__all__ = ["LocalFacts", "note_to_data"]


@dataclass(frozen=True)
class LocalFacts:
    """Local knowledge merged into a region.

    Parameters
    ----------
    text
        JSON: ``notes`` as given and in order; ``effects``, what each did, in words; ``limits``, the source of each limit by
        row of the way and column; ``map``, the region's key, number of strings and of places before, and the places changed.
    columns
        The map's own columns where they differ, by "table/column".
    """

    text: str
    columns: Mapping[str, NDArray[Any]]

    @cached_property
    def data(self) -> dict[str, Any]:
        """The text, read."""
        data: dict[str, Any] = json.loads(self.text)
        return data

    @cached_property
    def notes(self) -> tuple[LocalNote, ...]:
        """Every note, in the order given."""
        return tuple(_note(entry) for entry in self.data["notes"])

    def check(self) -> None:
        """Read everything once; raise `ValueError`, `TypeError` or `LookupError` where it is not what it should be."""
        kinds = {"notes": list, "effects": list, "limits": dict, "map": dict}
        if not isinstance(self.data, dict) or not all(isinstance(self.data[key], kind) for key, kind in kinds.items()):
            raise ValueError("no notes")
        if len(self.notes) != len(self.effects) or not all(isinstance(effect, str) for effect in self.effects):
            raise ValueError("notes without effects")

    @property
    def effects(self) -> tuple[str, ...]:
        """What each note did, in words."""
        return tuple(self.data["effects"])

    def limit_source(self, way: int, column: str) -> str:
        """Return the note that a way's limit comes from, "" when it is the map's."""
        return str(self.data["limits"].get(f"{way} {column}", ""))

    def __eq__(self, other: object) -> bool:
        if not isinstance(other, LocalFacts):
            return NotImplemented
        same = self.columns.keys() == other.columns.keys()
        return (
            self.text == other.text and same and all(_equal(column, other.columns[name]) for name, column in self.columns.items())
        )

    def __hash__(self) -> int:
        return hash(self.text)


def _equal(one: NDArray[Any], other: NDArray[Any]) -> bool:
    return one.dtype == other.dtype and one.tobytes() == other.tobytes()


def note_to_data(note: LocalNote) -> dict[str, Any]:
    """Return a note as JSON can carry it."""
    return {"of": "road" if isinstance(note, RoadNote) else "place", **asdict(note)}


def _note(entry: dict[str, Any]) -> LocalNote:
    values = {name: _tuples(value) for name, value in entry.items() if name not in ("of", "source")}
    kind = RoadNote if entry["of"] == "road" else PlaceNote
    return kind(source=NoteSource(**entry["source"]), **values)


def _tuples(value: Any) -> Any:
    return tuple(_tuples(item) for item in value) if isinstance(value, list) else value
