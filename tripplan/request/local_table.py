"""CSV and GeoJSON as rows of text cells, each with where it stands."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from tripplan.model.errors import BadInputError
from tripplan.request.local_columns import Mapping, check_columns
from tripplan.request.text_file import comma_of, csv_table, read_text

__all__ = ["MOST_MB", "MOST_ROWS", "Row", "read_rows"]

#: Limits on what is taken: rows, size of the file [MB], letters of a cell.
MOST_ROWS = 50_000
MOST_MB = 20.0
_MOST_LETTERS = 2000
_ACCEPTED = "a .csv with a first line of column names, or a .geojson of points, lines or areas"


@dataclass(frozen=True, slots=True)
class Row:
    """One row: its cells by column, without empty ones, and what it is called ("row 7", "feature 2")."""

    cells: dict[str, str]
    name: str


def read_rows(path: Path, mapping: Mapping | None = None) -> list[Row]:
    """Return the rows of a file of local knowledge, columns named as ours.

    Raises
    ------
    BadInputError
        Not such a file, too large, or with columns that nobody knows.
    """
    text = read_text(path, most_mb=MOST_MB, accepted=_ACCEPTED)
    kind = path.suffix.casefold()
    geo = kind in (".geojson", ".json") or (kind not in (".csv", ".tsv", ".txt") and text.lstrip()[:1] == "{")
    where = str(path)
    rows = _geojson(text, where, mapping) if geo else _csv(text, where, mapping)
    if len(rows) > MOST_ROWS:
        raise BadInputError(
            f"holds {len(rows)} rows", where=where, accepted=f"at most {MOST_ROWS} rows", next_step="keep those of the region, or split the file"
        )  # fmt: skip
    if mapping is None:
        return rows
    return [Row({**row.cells, **{k: v for k, v in mapping.same.items() if k not in row.cells}}, row.name) for row in rows]


def _csv(text: str, where: str, mapping: Mapping | None) -> list[Row]:
    comma = comma_of(text, ",;\t|")
    table = csv_table(text, where, _ACCEPTED, comma)
    start = next((k for k, row in enumerate(table) if any(cell.strip() for cell in row)), -1)
    if start < 0:
        raise BadInputError("is empty", where=where, accepted=_ACCEPTED, next_step="check the file")
    header = [cell.strip() for cell in table[start]]
    take = _taken(header, where, mapping)
    rows = []
    for number, cells in enumerate(table[start + 1 :], start + 2):
        if not any(cell.strip() for cell in cells):
            continue
        at = f"{where}, row {number}"
        if len(cells) != len(header):
            hint = " (a comma for the decimal point?)" if comma == "," and len(cells) > len(header) else ""
            raise BadInputError(
                f"has {len(cells)} columns, the first line {len(header)}{hint}", where=at, accepted="as many columns as names",
                next_step="put texts with commas in double quotes",
            )  # fmt: skip
        for column, cell in zip(header, cells, strict=True):
            if not column and cell.strip():
                raise BadInputError(
                    f'"{_short(cell)}" stands in a column without a name', where=at, accepted="a name in the first line",
                    next_step="name the column or empty it",
                )  # fmt: skip
        rows.append(Row(_cells([(ours, cells[k]) for k, ours in take], at), f"row {number}"))
    return rows


def _taken(header: list[str], where: str, mapping: Mapping | None) -> list[tuple[int, str]]:
    """Return position and our name of each column that is read."""
    if mapping is None:
        plain = [column.casefold() for column in header]
        check_columns(plain, where)
        return [(k, column) for k, column in enumerate(plain) if column]
    taken = []
    for ours, theirs in mapping.columns.items():
        at = [k for k, column in enumerate(header) if column == theirs] or [
            k for k, column in enumerate(header) if column.casefold() == theirs.casefold()
        ]
        if len(at) != 1:
            raise BadInputError(
                f"has {'no' if not at else 'more than one'} column `{_short(theirs)}`, which --map names for `{ours}`", where=where,
                accepted=f"one of {_short(', '.join(c for c in header if c), 300)}", next_step="mend the mapping",
            )  # fmt: skip
        taken.append((at[0], ours))
    return taken


def _cells(pairs: list[tuple[str, str]], where: str) -> dict[str, str]:
    out = {}
    for column, cell in pairs:
        value = " ".join(cell.split())
        if len(value) > _MOST_LETTERS:
            raise BadInputError(
                f"column `{column}` holds {len(value)} letters", where=where, accepted=f"at most {_MOST_LETTERS}", next_step="shorten it"
            )  # fmt: skip
        if value:
            out[column] = value
    return out


# ------------------------------------------------------------------------------------------------- GeoJSON


def _geojson(text: str, where: str, mapping: Mapping | None) -> list[Row]:
    try:
        raw = json.loads(text)
    except RecursionError:
        raise BadInputError("is nested too deep", where=where, accepted=_ACCEPTED, next_step="check the file") from None
    except ValueError as error:
        raise BadInputError(f"is not JSON ({error})", where=where, accepted=_ACCEPTED, next_step="check the file") from None
    items = raw.get("features") if isinstance(raw, dict) and raw.get("type") == "FeatureCollection" else [raw]
    if not isinstance(items, list) or any(not isinstance(i, dict) or i.get("type") != "Feature" for i in items):
        raise BadInputError(
            "is no GeoJSON of features", where=where, accepted='{"type": "FeatureCollection", "features": [...]}', next_step="check the file"
        )  # fmt: skip
    rows = []
    for number, item in enumerate(items, 1):
        at = f"{where}, feature {number}"
        properties = item.get("properties")
        if not isinstance(properties, dict):
            properties = {}
        if mapping is None:
            pairs = [(str(key).strip().casefold(), _text(value, str(key), at)) for key, value in properties.items()]
            check_columns([column for column, _ in pairs], at)
        else:
            pairs = [
                (ours, _text(properties[theirs], theirs, at)) for ours, theirs in mapping.columns.items() if theirs in properties
            ]
        cells = _cells(pairs, at)
        cells |= {column: value for column, value in _position(item.get("geometry"), at) if column not in cells}
        rows.append(Row(cells, f"feature {number}"))
    if mapping is not None:
        _check_mapped(items, mapping, where)
    return rows


def _check_mapped(items: list[dict[str, Any]], mapping: Mapping, where: str) -> None:
    """Refuse a mapping that names a property which no feature has."""
    have = {str(key) for item in items if isinstance(item.get("properties"), dict) for key in item["properties"]}
    for ours, theirs in mapping.columns.items():
        if items and theirs not in have:
            raise BadInputError(
                f"has no property `{_short(theirs)}`, which --map names for `{ours}`", where=where,
                accepted=f"one of {_short(', '.join(sorted(have)), 300)}", next_step="mend the mapping",
            )  # fmt: skip


def _text(value: Any, key: str, where: str) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, int):
        return str(value) if abs(value) < 10**20 else "inf"
    if isinstance(value, float):
        return f"{value:.0f}" if value.is_integer() and abs(value) < 1e15 else repr(value)
    if isinstance(value, str):
        return value
    raise BadInputError(
        f"`{_short(key)}` holds a list or an object", where=where, accepted="a text, a number, true or false", next_step="take it out"
    )  # fmt: skip


def _position(geometry: Any, where: str) -> Iterator[tuple[str, str]]:
    """Yield lat and lon of a feature; of a line, those of both ends; of an area, the middle of its corners."""
    if geometry is None:
        return
    kind = geometry.get("type") if isinstance(geometry, dict) else None
    coordinates = geometry.get("coordinates") if isinstance(geometry, dict) else None
    if kind == "Point":
        points = [coordinates]
    elif kind == "LineString" and isinstance(coordinates, list) and len(coordinates) >= 2:
        points = [coordinates[0], coordinates[-1]]
    elif kind == "Polygon" and isinstance(coordinates, list) and coordinates and isinstance(coordinates[0], list):
        ring = [_pair(corner, where) for corner in coordinates[0][:-1] or coordinates[0]]
        points = [[sum(c[k] for c in ring) / len(ring) for k in (0, 1)]] if ring else [None]
    else:
        raise BadInputError(
            f"has the geometry {_short(str(kind))}", where=where, accepted="Point, LineString or Polygon", next_step="leave others out"
        )  # fmt: skip
    for number, point in enumerate(points):
        lon, lat = _pair(point, where)
        suffix = "2" if number else ""
        yield f"lon{suffix}", repr(lon)
        yield f"lat{suffix}", repr(lat)


def _pair(raw: Any, where: str) -> tuple[float, float]:
    sound = isinstance(raw, list) and 2 <= len(raw) <= 4
    if not sound or not all(isinstance(x, int | float) and not isinstance(x, bool) and abs(x) < 1e9 for x in raw[:2]):
        raise BadInputError(
            f"position is {_short(str(raw))}", where=where, accepted="[longitude, latitude], two numbers", next_step="mend the position"
        )  # fmt: skip
    return float(raw[0]), float(raw[1])


def _short(text: str, most: int = 60) -> str:
    return text if len(text) <= most else text[: most - 3] + "..."
