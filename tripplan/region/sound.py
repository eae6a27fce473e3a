"""Whether the columns of a region file can be what they say: kinds, lengths, and that no number points out of its table.

A file whose sums are right may still have been written by another hand; code that indexes by these numbers (some of it
compiled) relies on this check.
"""

from __future__ import annotations

from dataclasses import fields
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tripplan.model.words import Source, Surface
from tripplan.region.columns import AID_KINDS, BASE_LAYERS, HIGHWAYS, RegionMeta

__all__ = ["bad_column", "bad_meta", "bad_number", "bad_strings"]

_KINDS = {"F32": "<f4", "F64": "<f8", "I8": "|i1", "I32": "<i4", "I64": "<i8", "U8": "|u1", "U16": "<u2"}
#: Columns beside `ptr` that hold points or members rather than rows.
_FLAT = {"pieces": ("lon_e7", "lat_e7", "curve_kmh"), "turns": ("pieces",), "base": ("lon_e7", "lat_e7")}
_STRINGS = {
    "ways": ("name", "ref", "surface_why", "access_why", "closed_when", "ferry_booking", "caution"), "junctions": ("barrier",), "turns": ("when",),
    "towns": ("name", "kind"), "aids": ("name", "phone"),
}  # fmt: skip
#: Most that a column may hold; 0 is the least.
_MOST: dict[tuple[str, str], int] = {
    ("ways", "highway"): len(HIGHWAYS) - 1, ("ways", "surface"): max(Surface), ("ways", "surface_source"): len(Source) - 1,
    ("ways", "tow_access"): 2, ("ways", "car_access"): 2, ("junctions", "blocks_tow"): 2, ("junctions", "blocks_car"): 2,
    ("turns", "only"): 1, ("turns", "u_turn"): 1, ("turns", "holds_for"): 3, ("base", "layer"): len(BASE_LAYERS) - 1, ("base", "closed"): 1,
    ("aids", "kind"): len(AID_KINDS) - 1,
}  # fmt: skip
_ROWS_OF = {
    ("pieces", "a"): "junctions", ("pieces", "b"): "junctions", ("pieces", "way"): "ways", ("turns", "pieces"): "pieces", ("turns", "via"): "junctions",
}  # fmt: skip
_FEWEST_POINTS = {"pieces": 2, "turns": 2, "base": 1}


def _rows(name: str, table: Any) -> int:
    return len(table.way) if name == "pieces" else len(getattr(table, fields(table)[0].name))


def bad_column(tables: dict[str, Any]) -> str:
    """Return the first column of another kind or length than its table asks for, "" when there is none. Reads no data but ends."""
    for name, table in tables.items():
        for field in fields(table):
            column = getattr(table, field.name)
            if column.ndim != 1 or column.dtype.str != _KINDS[str(field.type)]:
                return f"{name}.{field.name}"
        ptr = getattr(table, "ptr", None)
        rows = _rows(name, table)
        if ptr is not None and len(ptr) != rows + 1:
            return f"{name}.ptr"
        for field in fields(table):
            flat = ptr is not None and field.name in _FLAT[name]
            expected = rows + 1 if field.name == "ptr" else int(ptr[-1]) if flat and ptr is not None else rows
            if len(getattr(table, field.name)) != expected:
                return f"{name}.{field.name}"
    return ""


def bad_number(tables: dict[str, Any], strings: int) -> str:
    """Return the first column with a number that points nowhere or cannot be, "" when there is none. Reads all of them.

    Parameters
    ----------
    strings
        How many strings the region has.
    """
    for name, table in tables.items():
        for column in _STRINGS.get(name, ()):
            if not _within(getattr(table, column), -1, strings - 1):
                return f"{name}.{column}"
        for field in fields(table):
            values = getattr(table, field.name)
            if field.name in ("lon_e7", "lat_e7"):
                most = 1_800_000_000 if field.name == "lon_e7" else 900_000_000
                sound = _within(values, -most, most)
            elif field.name == "ptr":
                sound = _runs(values, _FEWEST_POINTS[name])
            elif (name, field.name) in _ROWS_OF:
                of = _ROWS_OF[name, field.name]
                sound = _within(values, 0, _rows(of, tables[of]) - 1)
            else:
                most = _MOST.get((name, field.name), -1)
                sound = most < 0 or _within(values, 0, most)
            if not sound:
                return f"{name}.{field.name}"
    if not _within(tables["ways"].oneway, -1, 1):
        return "ways.oneway"
    length = tables["pieces"].length_m
    return "" if len(length) == 0 or (float(length.min()) >= 0 and float(length.max()) < 1e8) else "pieces.length_m"


def bad_strings(data: NDArray[Any], ptr: NDArray[Any], *, check: bool) -> bool:
    """Say whether packed strings are not of the right kinds, or (with ``check``) reach out of their data."""
    if data.ndim != 1 or ptr.ndim != 1 or data.dtype.str != "|u1" or ptr.dtype.str != "<i8" or len(ptr) == 0:
        return True
    return check and not (int(ptr[-1]) == len(data) and _runs(ptr, 0))


def bad_meta(meta: RegionMeta) -> bool:
    """Say whether what a region says of itself is of other kinds than it should be."""
    texts = (
        meta.name,
        meta.key,
        meta.data_date,
        meta.source_file,
        meta.country,
        meta.country_how,
        meta.tz,
        meta.attribution,
        meta.state,
    )
    box = meta.bbox
    return not (
        all(isinstance(text, str) for text in texts)
        and isinstance(meta.faults, dict)
        and all(isinstance(count, int) for count in meta.faults.values())
        and isinstance(meta.surfaces, dict)
        and all(isinstance(text, str) for text in meta.surfaces.values())
        and len(box) == 4
        and all(isinstance(x, int | float) and -360 <= x <= 360 for x in box)
    )


def _within(values: NDArray[Any], least: int, most: int) -> bool:
    return len(values) == 0 or (int(values.min()) >= least and int(values.max()) <= most)


def _runs(ptr: NDArray[Any], fewest: int) -> bool:
    """Whether offsets begin at 0 and every row has so many at least."""
    return int(ptr[0]) == 0 and (len(ptr) == 1 or int(np.diff(ptr).min()) >= fewest)
