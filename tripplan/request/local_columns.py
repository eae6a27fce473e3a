"""Columns of files of local knowledge, and the small mapping that brings in files with columns of other names."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from tripplan.model.errors import BadInputError
from tripplan.model.local import LIMITS
from tripplan.model.place import OFFERS
from tripplan.request.nearest import nearest_key
from tripplan.request.text_file import read_toml

__all__ = ["COLUMNS", "INFORMATION", "ROAD_COLUMNS", "PLACE_COLUMNS", "Mapping", "check_columns", "read_mapping"]

_SHARED = ("lat", "lon", "answer", "author", "date", "remark")
#: Columns that speak of a road.
ROAD_COLUMNS: tuple[str, ...] = ("way", "road", "lat2", "lon2", "from", "to", "for", *(name for name, _ in LIMITS))
#: Columns that speak of a place.
PLACE_COLUMNS: tuple[str, ...] = (
    "role", "ref", "offer", "kind", *OFFERS, "admits", "guests_only", "hours", "season", "check_in", "check_out", "longest_stay_nights", "price_cents", "capacity",
    "pets", "fee", "phone", "website", "note",
)  # fmt: skip
#: Columns of `tripplan region doubts` that are there to read.
INFORMATION: tuple[str, ...] = (
    "what", "name", "road_ref", "class", "length_m", "town", "routes", "share_percent", "now", "sealed_percent", "evidence",
)  # fmt: skip
COLUMNS: tuple[str, ...] = (*_SHARED, *ROAD_COLUMNS, *PLACE_COLUMNS, *INFORMATION)

_FORM = 'our=theirs, and our:=word for one value everywhere, as in "name=NAME,lat=Y,lon=X,grey=GREY,role:=dump"'


@dataclass(frozen=True, slots=True)
class Mapping:
    """How a file with other columns is read.

    Parameters
    ----------
    file
        Name of the file that it is for; "" for the only one.
    columns
        Our column -> theirs; their other columns are not looked at.
    same
        Our column -> one value for every row.
    words
        Their word, case folded -> ours (``yes``, ``no``, ``unknown``...).
    """

    file: str = ""
    columns: dict[str, str] = field(default_factory=dict)
    same: dict[str, str] = field(default_factory=dict)
    words: dict[str, str] = field(default_factory=dict)


def check_columns(header: list[str], where: str) -> None:
    """Refuse columns that nobody knows and columns that stand twice.

    Raises
    ------
    BadInputError
        Naming the first such column and the known one that is most like it.
    """
    for number, column in enumerate(header):
        if not column:
            continue
        if column not in COLUMNS:
            near = nearest_key(column, COLUMNS)
            raise BadInputError(
                f'column `{_short(column)}` is not known', where=where, accepted=", ".join((*_SHARED, "name", *ROAD_COLUMNS, *PLACE_COLUMNS)),
                next_step=f"did you mean `{near}`? Else take it out, or give a --map" if near else "take it out, or give a --map",
            )  # fmt: skip
        if column in header[:number]:
            raise BadInputError(f"column `{column}` stands twice", where=where, accepted="each once", next_step="take one out")


def read_mapping(text: str) -> Mapping:
    """Read a mapping from the command line: ``[FILE: ]our=theirs,our:=value``, or the path of a TOML file.

    A TOML file holds ``file`` (optional) and the tables ``[columns]`` (ours = theirs), ``[same]`` (ours = one value for
    every row) and ``[words]`` (ours = list of theirs).

    Raises
    ------
    BadInputError
        Not such a text or file, or a column that nobody knows.
    """
    if text.strip().casefold().endswith(".toml"):
        return _toml(Path(text.strip()))
    where = "--map"
    file, colon, rest = text.partition(":")
    if not colon or rest.startswith("=") or "=" in file:
        file, rest = "", text
    columns: dict[str, str] = {}
    same: dict[str, str] = {}
    for part in rest.split(","):
        ours, equals, theirs = part.partition("=")
        constant = ours.rstrip().endswith(":")
        ours, theirs = ours.strip().rstrip(":").strip(), theirs.strip()
        if not equals or not ours or not theirs:
            raise BadInputError(f'"{_short(part.strip())}"', where=where, accepted=_FORM, next_step="mend the mapping")
        if ours in columns or ours in same:
            raise BadInputError(f"`{ours}` is mapped twice", where=where, accepted="each once", next_step="take one out")
        (same if constant else columns)[ours] = theirs
    return _checked(Mapping(file.strip(), columns, same), where)


def _toml(path: Path) -> Mapping:
    raw, _ = read_toml(path)
    where = str(path)
    for key in raw:
        if key not in ("file", "columns", "same", "words"):
            near = nearest_key(key, ("file", "columns", "same", "words"))
            raise BadInputError(
                f"`{_short(key)}` is not known", where=where, accepted="file, [columns], [same], [words]",
                next_step=f"did you mean `{near}`?" if near else "take it out",
            )  # fmt: skip
    file = raw.get("file", "")
    if not isinstance(file, str):
        raise BadInputError("`file` is no text", where=where, accepted="the name of a file", next_step="put it in quotes")
    words: dict[str, str] = {}
    for ours, theirs in _table(raw, "words", where).items():
        for word in theirs if isinstance(theirs, list) else [theirs]:
            said = _scalar(word, f"{where}, [words]", ours).casefold()
            if words.get(said, ours) != ours:
                raise BadInputError(
                    f'"{_short(said)}" stands for `{words[said]}` and for `{ours}`', where=f"{where}, [words]", accepted="one meaning a word",
                    next_step="take one out",
                )  # fmt: skip
            words[said] = ours
    columns = {ours: _scalar(theirs, f"{where}, [columns]", ours) for ours, theirs in _table(raw, "columns", where).items()}
    same = {ours: _scalar(value, f"{where}, [same]", ours) for ours, value in _table(raw, "same", where).items()}
    return _checked(Mapping(Path(file).name, columns, same, words), where)


def _table(raw: dict[str, Any], name: str, where: str) -> dict[str, Any]:
    table = raw.get(name, {})
    if not isinstance(table, dict):
        raise BadInputError(
            f"`{name}` is no table", where=where, accepted=f"[{name}] with key = value lines", next_step="mend it"
        )
    return table


def _scalar(value: Any, where: str, key: str) -> str:
    from datetime import date

    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, str | int | float | date):
        return str(value)
    raise BadInputError(f"`{_short(key)}` is no single value", where=where, accepted="a text or a number", next_step="mend it")


def _checked(mapping: Mapping, where: str) -> Mapping:
    if not mapping.columns:
        raise BadInputError("no column is mapped", where=where, accepted=_FORM, next_step="map at least lat and lon")
    for ours in (*mapping.columns, *mapping.same):
        if ours not in COLUMNS or (ours in INFORMATION and ours != "name"):
            near = nearest_key(ours, COLUMNS)
            raise BadInputError(
                f"`{_short(ours)}` is no column of ours", where=where, accepted=", ".join((*_SHARED, "name", *ROAD_COLUMNS, *PLACE_COLUMNS)),
                next_step=f"did you mean `{near}`?" if near else "take it out",
            )  # fmt: skip
    both = set(mapping.columns) & set(mapping.same)
    if both:
        raise BadInputError(f"`{min(both)}` is mapped twice", where=where, accepted="each once", next_step="take one out")
    return mapping


def _short(text: str) -> str:
    return text if len(text) <= 60 else text[:57] + "..."
