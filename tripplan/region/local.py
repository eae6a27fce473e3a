"""Local knowledge merged into a region, named as the source wherever it decides, and taken out again.

A region keeps the notes and, where they decided something, the map's own values beside. Merging begins from the map
alone each time, so the order in which files are added does not matter.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterable, Sequence
from dataclasses import fields, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tripplan.model.errors import BadInputError
from tripplan.model.local import LocalNote, NoteSource, PlaceNote, RoadNote
from tripplan.model.place import Place
from tripplan.model.words import Source, Surface
from tripplan.region.columns import Access, Ways
from tripplan.region.local_cut import cut_pieces
from tripplan.region.local_facts import LocalFacts, note_to_data
from tripplan.region.local_parts import Interval, RoadFinder
from tripplan.region.local_places import merge_places
from tripplan.region.local_surfaces import withdraw_presumed
from tripplan.region.region import Region
from tripplan.region.strings import PackedStrings, pack

__all__ = ["add_local", "closure_text", "local_files", "without_local"]

_TABLES = ("ways", "pieces", "junctions", "turns")
_SURFACE = {"sealed": Surface.SEALED, "unsealed": Surface.UNSEALED, "unknown": Surface.UNKNOWN}
_ACCESS = {"open": Access.OPEN, "closed": Access.CLOSED, "ends only": Access.ENDS_ONLY}
_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
_WORDS = {Surface.SEALED: "sealed", Surface.PRESUMED: "presumed", Surface.UNKNOWN: "unknown", Surface.UNSEALED: "unsealed"}


def local_files(region: Region) -> tuple[str, ...]:
    """Return the names of the files of local knowledge in a region, in order."""
    return tuple(dict.fromkeys(note.source.file for note in region.local.notes)) if region.local else ()


def add_local(region: Region, notes: Sequence[LocalNote], *, without: Iterable[str] = ()) -> Region:
    """Merge notes into a region, beside those that it has; notes of a file of the same name take the place of the old ones.

    Parameters
    ----------
    without
        Files whose notes are taken out.

    Raises
    ------
    BadInputError
        A road or place that is not there or is not one alone, two notes that contradict each other, a file to take out
        that is not in the region.
    """
    here = local_files(region)
    for file in without:
        if file not in here:
            raise BadInputError(
                f"{file} is not in region {region.meta.name}", where="--without", accepted=", ".join(here) or "nothing: it has no local knowledge",
                next_step="see `tripplan region show`",
            )  # fmt: skip
    gone = {*without, *(note.source.file for note in notes)}
    kept = [note for note in region.local.notes if note.source.file not in gone] if region.local else []
    return _merged(without_local(region), [*kept, *notes])


def without_local(region: Region) -> Region:
    """Return the map's own facts alone.

    Raises
    ------
    BadInputError
        When what the region keeps of them is damaged.
    """
    facts = region.local
    if facts is None:
        return region
    try:
        told = facts.data["map"]
        tables: dict[str, Any] = {}
        for table in _TABLES:
            values = getattr(region, table)
            own = {f.name: facts.columns[f"{table}/{f.name}"] for f in fields(values) if f"{table}/{f.name}" in facts.columns}
            tables[table] = replace(values, **own)
        packed = pack(region.strings)
        ptr = packed.ptr[: told["strings"] + 1]
        strings = PackedStrings(packed.data[: ptr[-1]], ptr)
        places: Sequence[Place] = region.places
        if told["changed"] or len(region.places) != told["places"]:
            from tripplan.region.store import place_of

            own_places = list(region.places[: told["places"]])
            for row, text in told["changed"].items():
                own_places[int(row)] = place_of(text)
            places = tuple(own_places)
        return Region(
            replace(region.meta, key=told["key"]),
            strings,
            **tables,
            places=places,
            towns=region.towns,
            base=region.base,
            aids=region.aids,
            climate=region.climate,
        )
    except (KeyError, TypeError, ValueError, IndexError):
        raise BadInputError(
            "the local knowledge in the region is damaged", where=region.meta.name, next_step="build the region again with `tripplan region build`"
        ) from None  # fmt: skip


class _Strings:
    """New strings, numbered after those of the map."""

    def __init__(self, region: Region) -> None:
        self.old = pack(region.strings)
        self._new: dict[str, int] = {}

    def number(self, text: str) -> int:
        return self._new.setdefault(text, len(self.old) + len(self._new)) if text else -1

    def packed(self) -> PackedStrings:
        more = pack(list(self._new))
        return PackedStrings(
            np.concatenate((self.old.data, more.data)), np.concatenate((self.old.ptr, self.old.ptr[-1] + more.ptr[1:]))
        )


def _merged(region: Region, notes: Sequence[LocalNote]) -> Region:
    """Merge notes into the map alone."""
    if not notes:
        return region
    from tripplan.region.build import content_key
    from tripplan.region.store import place_text

    strings = _Strings(region)
    roads = [(k, note) for k, note in enumerate(notes) if isinstance(note, RoadNote)]
    cut, limits, road_effects = _merge_roads(region, [note for _, note in roads], strings)
    places, changed, place_effects = merge_places(region, [note for note in notes if isinstance(note, PlaceNote)])
    effects = [""] * len(notes)
    for (k, _), text in zip(roads, road_effects, strict=True):
        effects[k] = text
    others = iter(place_effects)
    effects = [next(others) if isinstance(note, PlaceNote) else effects[k] for k, note in enumerate(notes)]
    text = json.dumps(
        {
            "notes": [note_to_data(note) for note in notes], "effects": effects, "limits": limits,
            "map": {
                "key": region.meta.key, "strings": len(strings.old), "places": len(region.places),
                "changed": {str(row): place_text(region.places[row]) for row in sorted(changed)},
            },
        },
        separators=(",", ":"),
    )  # fmt: skip
    own: dict[str, NDArray[Any]] = {}
    for table in _TABLES:
        before, after = getattr(region, table), getattr(cut, table)
        for field in fields(before):
            column, other = getattr(before, field.name), getattr(after, field.name)
            if column is not other and not np.array_equal(column, other, equal_nan=column.dtype.kind == "f"):
                own[f"{table}/{field.name}"] = column
                other.setflags(write=False)
    made = replace(cut, strings=strings.packed(), places=places, local=LocalFacts(text, own))
    return replace(made, meta=replace(made.meta, key=content_key(made)))


# ------------------------------------------------------------------------------------------------- roads


def _merge_roads(region: Region, notes: Sequence[RoadNote], strings: _Strings) -> tuple[Region, dict[str, str], list[str]]:
    """Return the region with the notes of roads in it, the source of each limit, and what each note did."""
    finder = RoadFinder(region)
    meant = [finder.ways(note) for note in notes]
    parts = [finder.part(note, rows) if len(note.at) == 2 else [] for note, rows in zip(notes, meant, strict=True)]
    region, rows_of = _with_parts(region, meant, parts)
    setting = _Setting(region.ways, strings)
    effects = []
    length = np.bincount(region.pieces.way, weights=region.pieces.length_m, minlength=len(region.ways.osm_id))
    for note, rows, intervals in zip(notes, rows_of, parts, strict=True):
        effects.append(_effect(region, note, rows, float(length[rows].sum())))
        for row in rows:
            setting.take(note, row, narrow=bool(intervals))
    made, taken = withdraw_presumed(region.ways, setting.ways(), region.pieces, setting.doubt(), strings.number)
    for k, note in enumerate(notes):
        if metres := taken.get(note.source.label):
            effects[k] += f"; {metres / 1000:.1f} km beside are presumed sealed no longer"
    return replace(region, ways=made), setting.limits, effects


def _with_parts(
    region: Region, meant: Sequence[list[int]], parts: Sequence[list[Interval]]
) -> tuple[Region, list[list[int]]]:  # fmt: skip
    """Give each part that notes speak of ways of its own; return the rows that each note then means."""
    if not any(parts):
        return region, [list(rows) for rows in meant]
    at: dict[int, set[float]] = {}
    for piece, low, high in (interval for intervals in parts for interval in intervals):
        inside = {m for m in (low, high) if 0.0 < m < float(region.pieces.length_m[piece])}
        if inside:
            at.setdefault(piece, set()).update(inside)
    region, parent, start = cut_pieces(region, {piece: _apart(metres) for piece, metres in at.items()})
    middle = start + region.pieces.length_m / 2
    first = np.searchsorted(parent, np.arange(int(parent[-1]) + 2))
    covered: dict[int, set[int]] = {}
    for number, intervals in enumerate(parts):
        for piece, low, high in intervals:
            for row in range(int(first[piece]), int(first[piece + 1])):
                if low <= middle[row] <= high:
                    covered.setdefault(row, set()).add(number)
    way = region.pieces.way.copy()
    whole = len(region.ways.osm_id)
    order = list(range(whole))
    new_rows: dict[tuple[int, frozenset[int]], int] = {}
    for row, numbers in sorted(covered.items()):
        key = (int(way[row]), frozenset(numbers))
        if key not in new_rows:
            new_rows[key] = len(order)
            order.append(key[0])
        way[row] = new_rows[key]
    take = np.array(order)
    ways = Ways(**{field.name: getattr(region.ways, field.name)[take] for field in fields(Ways)})
    children: dict[int, list[int]] = {}
    for (row, _), made in new_rows.items():
        children.setdefault(row, []).append(made)
    rows_of = []
    for number, (rows, intervals) in enumerate(zip(meant, parts, strict=True)):
        if intervals:
            rows_of.append([made for (_, numbers), made in new_rows.items() if number in numbers])
        else:
            rows_of.append([*rows, *(made for row in rows for made in children.get(row, []))])
    return replace(region, ways=ways, pieces=replace(region.pieces, way=way)), rows_of


def _apart(metres: Iterable[float]) -> list[float]:
    """Return distances in order without such as are all but the same."""
    out: list[float] = []
    for m in sorted(metres):
        if not out or m > out[-1] + 0.01:
            out.append(m)
    return out


class _Setting:
    """Columns of the ways with what notes say; the note of a part goes before one of the whole way."""

    def __init__(self, ways: Ways, strings: _Strings) -> None:
        self._ways, self._strings = ways, strings
        self._said: dict[tuple[int, str], tuple[Any, NoteSource, bool]] = {}
        self._closures: dict[int, list[str]] = {}
        self.limits: dict[str, str] = {}

    def take(self, note: RoadNote, row: int, *, narrow: bool) -> None:
        """Note what is said of one way."""
        if note.surface:
            self._put(row, "surface", note.surface, note.source, narrow)
        if note.since or note.until:
            text = closure_text(note)
            if text not in self._closures.setdefault(row, []):
                self._closures[row].append(text)
        elif note.access:
            for mode in ("tow",) if note.van_only else ("tow", "car"):
                self._put(row, f"{mode}_access", note.access, note.source, narrow)
        for column, value in note.limits:
            self._put(row, column, value, note.source, narrow)

    def _put(self, row: int, what: str, value: Any, source: NoteSource, narrow: bool) -> None:
        old = self._said.get((row, what))
        if old is None or (narrow and not old[2]):
            self._said[row, what] = value, source, narrow
        elif old[0] != value and narrow == old[2]:
            raise BadInputError(
                f"way {int(self._ways.osm_id[row])} is {_said(what, value)}, but {_said(what, old[0])} in {old[1].where}", where=source.where,
                accepted="notes that agree", next_step="take one of the two out",
            )  # fmt: skip

    def doubt(self) -> dict[int, str]:
        """Return the label of each note that says unsealed or unknown, by row of the way."""
        said = ((row, value, source) for (row, what), (value, source, _) in self._said.items() if what == "surface")
        return {row: source.label for row, value, source in said if value != "sealed"}

    def ways(self) -> Ways:
        """Return the columns."""
        own: dict[str, NDArray[Any]] = {}

        def column(name: str) -> NDArray[Any]:
            if name not in own:
                own[name] = getattr(self._ways, name).copy()
            return own[name]

        for (row, what), (value, source, _) in self._said.items():
            label = self._strings.number(source.label)
            if what == "surface":
                column("surface")[row] = int(_SURFACE[value])
                column("surface_source")[row] = list(Source).index(Source.LOCAL_NOTE)
                column("surface_why")[row] = label
            elif what.endswith("_access"):
                column(what)[row] = int(_ACCESS[value])
                column("access_why")[row] = label
                if value == "open" and what == "tow_access":
                    column("closed_when")[row] = -1
            else:
                column(what)[row] = np.nan if value is None else value
                self.limits[f"{row} {what}"] = source.label
        for row, texts in self._closures.items():
            before = int(column("closed_when")[row])
            raw = self._raw(before)
            column("closed_when")[row] = self._strings.number("; ".join([raw, *texts] if raw else texts))
        return replace(self._ways, **own)

    def _raw(self, number: int) -> str:
        return self._strings.old[number] if number >= 0 else ""


def _said(what: str, value: Any) -> str:
    if what in ("surface", "tow_access", "car_access"):
        return str(value)
    name = what.removeprefix("max_").replace("_", " ")
    return f"without a limit of {name}" if value is None else f"limited to {name} {value:g}"


def closure_text(note: RoadNote) -> str:
    """Return a closure by date in the form that the open map writes, its source as a remark in it."""
    remark = re.sub(r'["();\s]+', " ", note.source.label)
    # The parts of a condition are joined by this word, which therefore cannot stand in a remark.
    remark = re.sub(r"\band\b", "&", remark, flags=re.IGNORECASE)
    return f'no @ ({_span(note.since, note.until)} "{remark.strip()}")'


def _span(since: str, until: str) -> str:
    if since and until:
        return _day(since) if since == until else f"{_day(since)}-{_day(until)}"
    return f"{_day(since)}-9999 Dec 31" if since else f"1900 Jan 01-{_day(until)}"


def _day(text: str) -> str:
    *year, month, day = text.split("-")
    return " ".join([*year, _MONTHS[int(month) - 1], day])


def _effect(region: Region, note: RoadNote, rows: Sequence[int], length_m: float) -> str:
    """Return what a note did, in words."""
    ways = region.ways
    ids = "; ".join(str(n) for n in dict.fromkeys(int(ways.osm_id[row]) for row in rows))
    name = region.string(int(ways.name[rows[0]])) or region.string(int(ways.ref[rows[0]]))
    what = f"way {ids}{f' {name}' if name else ''}, {length_m / 1000:.1f} km"
    told = []
    if note.surface:
        map_says = " and ".join(dict.fromkeys(_WORDS[Surface(int(ways.surface[row]))] for row in rows))
        told.append(f"{note.surface} (map: {map_says})")
    if note.access:
        dates = f" {note.since or '...'} to {note.until or '...'}" if note.since or note.until else ""
        told.append(note.access + dates + (" to the van" if note.van_only else ""))
    told += [_said(column, value) for column, value in note.limits]
    return f"{what}: {', '.join(told)}"
