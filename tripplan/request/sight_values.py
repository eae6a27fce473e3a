"""What the operator says a sight is worth: a table of names and values."""

from __future__ import annotations

from pathlib import Path

from tripplan.model.errors import BadInputError
from tripplan.model.place import Spot
from tripplan.region.region import Region
from tripplan.request.spots import find_spot
from tripplan.request.text_file import csv_table, read_text

__all__ = ["load_values"]

_COLUMNS = ("name", "value_cents")
_MOST_ROWS, _MOST_CENTS, _MOST_MB = 5000, 10_000_000, 2
_ACCEPTED = "a .csv with the columns name and value_cents"


def load_values(path: Path, region: Region) -> tuple[tuple[Spot, int], ...]:
    """Return the spots of a table with the value of each [cents], in its order; 0 says that a sight is not to be offered.

    Raises
    ------
    BadInputError
        Not such a table, a name that fits nothing or several things, or a value that cannot be.
    """
    path = Path(path)
    where = str(path)
    text = read_text(path, most_mb=_MOST_MB, accepted=_ACCEPTED)
    table = csv_table(text, where, _ACCEPTED)
    numbered = [(n, [cell.strip() for cell in row]) for n, row in enumerate(table, 1) if any(cell.strip() for cell in row)]
    header = [cell.casefold() for cell in numbered[0][1]] if numbered else []
    if any(header.count(column) != 1 for column in _COLUMNS):
        raise BadInputError(
            "has no columns name and value_cents" if header else "is empty", where=where, accepted=_ACCEPTED, next_step="name them in the first line"
        )  # fmt: skip
    if len(numbered) - 1 > _MOST_ROWS:
        raise BadInputError(
            f"holds {len(numbered) - 1} rows", where=where, accepted=f"at most {_MOST_ROWS}", next_step="keep those of the region"
        )
    name_at, value_at = (header.index(column) for column in _COLUMNS)
    out = []
    for number, cells in numbered[1:]:
        at = f"{where}, row {number}"
        if len(cells) != len(header):
            raise BadInputError(
                f"has {len(cells)} columns, the first line {len(header)}", where=at, accepted="as many columns as names", next_step="put texts with commas in double quotes"
            )  # fmt: skip
        value = cells[value_at]
        if not (value.isascii() and value.isdigit() and len(value) <= 9 and int(value) <= _MOST_CENTS):
            raise BadInputError(
                f'`value_cents` is "{value[:40]}"',
                where=at,
                accepted=f"whole numbers from 0 to {_MOST_CENTS}",
                next_step="mend the value",
            )
        out.append((find_spot(region, cells[name_at], at, ("sight", "town", "site")), int(value)))
    return tuple(out)
