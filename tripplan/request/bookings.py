"""Many bookings in one table: each row is a trip file with some of its values replaced."""

from __future__ import annotations

import re
from copy import deepcopy
from dataclasses import dataclass, replace
from hashlib import sha256
from pathlib import Path
from typing import Any

from tripplan.model.errors import BadInputError
from tripplan.request.forms import Origin
from tripplan.request.keys import Key, keys_of
from tripplan.request.nearest import nearest_key
from tripplan.request.text_file import csv_table, read_text, read_toml
from tripplan.request.writing import parsed

__all__ = ["MOST_ROWS", "BookingRow", "load_bookings", "row_origin"]

MOST_ROWS = 20_000
#: Names that a system keeps for devices.
_RESERVED = frozenset(("con", "prn", "aux", "nul", *(f"{port}{n}" for port in ("com", "lpt") for n in range(10))))
_MOST_MB = 20.0
_PARTS = ("van", "party", "firm", "outfit")
_TABLES = ("pick_up", "return", "driving", "wishes", "levels", "weights", *_PARTS)
_KINDS = ("number", "whole", "yes_no", "choice", "text", "moment", "date")
_ACCEPTED = "a .csv with the column booking, and columns named as in a trip file (party.adults, pick_up.time, van)"


@dataclass(frozen=True)
class BookingRow:
    """One booking.

    Parameters
    ----------
    number
        Its row in the table, heading and blank ones counted. booking: its name there. folder: where its papers go.
    raw
        What its trip file would hold. path: paths in it are relative to the folder of this one.
    fault
        Why it cannot be planned, in one line; empty when it can.
    """

    number: int
    booking: str
    folder: str
    raw: dict[str, Any]
    path: Path
    table: str
    fault: str = ""


def row_origin(row: BookingRow) -> Origin:
    """Return how messages name a row."""
    return Origin(f"{row.table}, row {row.number}", "")


def load_bookings(path: Path, trip: Path | None = None) -> tuple[BookingRow, ...]:
    """Read a table of bookings. A row that is wrong comes back with its fault: it never stops the rest.

    Parameters
    ----------
    trip
        The trip file that rows without one of their own start from.

    Raises
    ------
    BadInputError
        No such table, a column that is unknown, no column ``booking``, no rows or too many.
    """
    text = read_text(path, most_mb=_MOST_MB, accepted=_ACCEPTED)
    table = csv_table(text, str(path), _ACCEPTED)
    start = next((k for k, cells in enumerate(table) if any(cell.strip() for cell in cells)), -1)
    if start < 0:
        raise BadInputError("is empty", where=str(path), accepted=_ACCEPTED, next_step="add a heading and a row for each booking")
    heads = [cell.strip() for cell in table[start]]
    columns = [_column(name, heads, str(path)) for name in heads]
    if "booking" not in heads:
        raise BadInputError(
            "has no column booking", where=str(path), accepted=_ACCEPTED, next_step="add one: a name for each row"
        )
    rows = [(n, cells) for n, cells in enumerate(table[start + 1 :], start + 2) if any(cell.strip() for cell in cells)]
    if not 0 < len(rows) <= MOST_ROWS:
        raise BadInputError(
            f"holds {len(rows)} bookings", where=str(path), accepted=f"1 to {MOST_ROWS}", next_step="add rows, or part the table"
        )
    seen: dict[str, int] = {}
    folders = set(_RESERVED)
    found = []
    files: dict[Path, dict[str, Any]] = {}
    for number, cells in rows:
        row = _row(number, heads, columns, cells, Path(path), trip, files)
        if row.booking in seen and not row.fault:
            row = _faulty(row, f"`booking` is {row.booking!r} as in row {seen[row.booking]}; give each its own name")
        seen.setdefault(row.booking, number)
        if row.folder.casefold() in folders:
            row = replace(row, folder=f"{row.folder}-{_mark(row.booking)}")
        folders.add(row.folder.casefold())
        found.append(row)
    return tuple(found)


#: A column: table and key ("" table: the top level), or one of the words of a row.
_Column = tuple[str, Key | None]


def _column(name: str, heads: list[str], where: str) -> _Column:
    known = {"booking": "", "trip": "", "name": "", "sights": "", **dict.fromkeys(_PARTS, "")}
    dotted = {f"{t}.{k.name}": (t, k) for t in _TABLES for k in keys_of(t) if k.kind in _KINDS}
    if heads.count(name) > 1:
        raise BadInputError(f"column {name!r} stands twice", where=where, accepted="each column once", next_step="take one out")
    if name in known:
        return (name, None)
    if name in dotted:
        return dotted[name]
    near = nearest_key(name, {**known, **dotted})
    hint = f"did you mean {near}?" if near else "take it out"
    raise BadInputError(f"column {name[:60]!r} is unknown", where=where, accepted=_ACCEPTED, next_step=hint)


def _row(
    number: int,
    heads: list[str],
    columns: list[_Column],
    cells: list[str],
    path: Path,
    trip: Path | None,
    files: dict[Path, dict[str, Any]],
) -> BookingRow:
    values = {head: cell.strip() for head, cell in zip(heads, cells, strict=False)}
    booking = values.get("booking", "")
    start = path.parent / values["trip"] if values.get("trip") else trip
    row = BookingRow(number, booking, _folder(booking, number), {}, start or path, str(path))
    if len(cells) > len(heads):
        return _faulty(row, f"{len(cells)} cells under {len(heads)} columns")
    if not booking or len(booking) > 80:
        return _faulty(row, "`booking` is empty" if not booking else "`booking` is longer than 80 characters")
    if start is None:
        return _faulty(row, "no trip file to start from; fill in `trip`, or name one with --trip")
    try:
        raw = deepcopy(_read(start, files))
        for head, (table, key) in zip(heads, columns, strict=True):
            text = values.get(head, "")
            if text and head not in ("booking", "trip"):
                _replace(raw, head, table, key, text, start, path, files)
    except BadInputError as error:
        return _faulty(row, error.one_line())
    raw.setdefault("name", booking)
    return BookingRow(number, booking, row.folder, raw, start, str(path))


def _replace(
    raw: dict[str, Any],
    head: str,
    table: str,
    key: Key | None,
    text: str,
    start: Path,
    path: Path,
    files: dict[Path, dict[str, Any]],
) -> None:
    """Put one cell into a trip. Files named in the table are relative to the table's folder."""
    if head == "name":
        raw["name"] = text
    elif head == "sights":
        raw["sights"] = [{"place": part.strip()} for part in text.split(";") if part.strip()]
    elif key is None:
        raw[head] = deepcopy(_part(path.parent / text, head, files))
    else:
        value = parsed(key, text, head)
        inside = raw.get(table, {})
        if isinstance(inside, str) and table in _PARTS:
            inside = deepcopy(_part(start.parent / inside, table, files))
        if not isinstance(inside, dict):
            raise BadInputError(
                f"`{table}` is no table in {start}", where=head, accepted="a table of keys", next_step="mend the trip file"
            )
        raw[table] = {**inside, key.name: value}


def _read(path: Path, files: dict[Path, dict[str, Any]]) -> dict[str, Any]:
    if path not in files:
        files[path] = read_toml(path)[0]
    return files[path]


def _part(path: Path, name: str, files: dict[Path, dict[str, Any]]) -> dict[str, Any]:
    """Return a van, party, firm or outfit file; one with a single table of that name will do as well."""
    inside = _read(path, files)
    return inside[name] if set(inside) == {name} and isinstance(inside[name], dict) else inside


def _folder(booking: str, number: int) -> str:
    """Return a folder name that every system takes and no other booking has."""
    plain = re.sub(r"[^A-Za-z0-9_-]+", "-", booking).strip("-")[:40]
    return (plain or f"row-{number}") + ("" if plain == booking else "-" + _mark(booking))


def _mark(booking: str) -> str:
    return sha256(f"{booking}\n".encode("utf-8", "surrogatepass")).hexdigest()[:8]


def _faulty(row: BookingRow, fault: str) -> BookingRow:
    return replace(row, fault=fault)
