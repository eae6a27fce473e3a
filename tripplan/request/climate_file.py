"""Weather from people: a climate table of monthly normals by station, and a trip's own weather by day. CSV, checked row by row."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from math import isfinite
from pathlib import Path

from tripplan.almanac.normals import MOST_STATIONS, Station, under_cloud
from tripplan.model.errors import BadInputError
from tripplan.model.van import DayWeather
from tripplan.request.nearest import nearest_key
from tripplan.request.text_file import csv_table, read_text

__all__ = ["climate_of", "days_of", "load_climate", "load_days"]

_MOST_MB = 10.0
_CLIMATE = ("station", "lat", "lon", "month", "mean_c", "low_c", "high_c")
_DAYS = ("date", "mean_c", "low_c", "high_c")
_CLIMATE_COLUMNS = "station, lat, lon, month, mean_c, low_c, high_c, sun_kwh_per_m2"
_DAYS_COLUMNS = "date, mean_c, low_c, high_c, sun_kwh_per_m2"
#: One of them must be there: energy on the level, or the share of the sky under cloud.
_SUN = ("sun_kwh_per_m2", "cloud_share")
_UNITS = {
    "mean_c": "°C",
    "low_c": "°C",
    "high_c": "°C",
    "sun_kwh_per_m2": "kWh/m² a day",
    "cloud_share": "",
    "lat": "degrees",
    "lon": "degrees",
}
_RANGES = {
    "mean_c": (-60.0, 45.0), "low_c": (-70.0, 45.0), "high_c": (-60.0, 55.0), "sun_kwh_per_m2": (0.0, 12.0), "cloud_share": (0.0, 1.0), "lat": (-90.0, 90.0),
    "lon": (-180.0, 180.0),
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class _Row:
    cells: dict[str, str]
    where: str

    def number(self, column: str) -> float:
        low, high = _RANGES[column]
        text = self.cells.get(column, "")
        try:
            value = float(text) if len(text) < 40 else float("nan")
        except ValueError:
            value = float("nan")
        if not (isfinite(value) and low <= value <= high):
            raise BadInputError(
                f"`{column}` is {text[:40]!r}", where=self.where, accepted=f"{low:g} to {high:g} {_UNITS[column]}".strip(),
                next_step="write a plain number with a decimal point",
            )  # fmt: skip
        return value

    def weather(self, clear_kwh: float) -> tuple[float, float, float, float]:
        """Mean, low, high and sun; the sun from clouds where the row tells only those."""
        mean, low, high = (self.number(c) for c in ("mean_c", "low_c", "high_c"))
        if not low <= mean <= high:
            raise BadInputError(
                f"low, mean and high are {low:g}, {mean:g} and {high:g}", where=self.where, accepted="low <= mean <= high [°C]",
                next_step="mend the three temperatures",
            )  # fmt: skip
        if self.cells.get("sun_kwh_per_m2", ""):
            return mean, low, high, self.number("sun_kwh_per_m2")
        return mean, low, high, round(under_cloud(clear_kwh, self.number("cloud_share")), 2)


def load_climate(path: Path) -> tuple[Station, ...]:
    """Read a climate table (errors as `climate_of`)."""
    path = Path(path)
    return climate_of(_text(path, _CLIMATE_COLUMNS), str(path), path.name)


def climate_of(text: str, where: str, source: str) -> tuple[Station, ...]:
    """Return a climate table: columns station, lat, lon, month (1 to 12), mean_c, low_c, high_c, and sun_kwh_per_m2 or cloud_share.

    Parameters
    ----------
    where
        What the text is called in messages. source: what the stations are said to come from.

    Raises
    ------
    BadInputError
        With file and row, for the first thing that is wrong.
    """
    from tripplan.almanac.sun import clear_sky_kwh

    found: dict[str, dict[int, tuple[float, float, float, float]]] = {}
    at: dict[str, tuple[float, float]] = {}
    for row in _rows(text, where, _CLIMATE, _CLIMATE_COLUMNS):
        name = row.cells["station"]
        if not name or len(name) > 100:
            raise BadInputError(
                "`station` is empty" if not name else "`station` is too long", where=row.where, accepted="a name of 1 to 100 letters",
                next_step="name the station",
            )  # fmt: skip
        month = _month(row)
        place = row.number("lon"), row.number("lat")
        if at.setdefault(name, place) != place:
            raise BadInputError(
                f"{name!r} stands at two places",
                where=row.where,
                accepted="one place for each name",
                next_step="name one of them otherwise",
            )
        if month in found.setdefault(name, {}):
            raise BadInputError(
                f"{name!r} has month {month} twice", where=row.where, accepted="each month once", next_step="take one out"
            )
        found[name][month] = row.weather(clear_sky_kwh(date(2025, month, 15), place[1], place[0]))
        if len(found) > MOST_STATIONS:
            raise BadInputError(
                "holds too many stations",
                where=where,
                accepted=f"at most {MOST_STATIONS} stations",
                next_step="keep those of the region",
            )
    if not found:
        raise BadInputError(
            "holds no stations", where=where, accepted="rows below the names of the columns", next_step="check the file"
        )
    stations = []
    for name, months in found.items():
        missing = [str(m) for m in range(1, 13) if m not in months]
        if missing:
            raise BadInputError(
                f"{name!r} lacks month {', '.join(missing)}",
                where=where,
                accepted="each of the 12 months once",
                next_step="add what is missing",
            )
        stations.append(Station(name, *at[name], tuple(months[m] for m in range(1, 13)), source))
    return tuple(stations)


def load_days(path: Path, lon: float, lat: float) -> tuple[tuple[date, DayWeather], ...]:
    """Read a trip's own weather (arguments and errors as `days_of`)."""
    path = Path(path)
    return days_of(_text(path, _DAYS_COLUMNS), str(path), f"the trip's weather file {path.name}", lon, lat)


def days_of(text: str, where: str, source: str, lon: float, lat: float) -> tuple[tuple[date, DayWeather], ...]:
    """Return a trip's own weather: columns date (2026-02-03), mean_c, low_c, high_c, and sun_kwh_per_m2 or cloud_share.

    Parameters
    ----------
    where
        What the text is called in messages. source: what the weather is said to come from.
    lon, lat
        Where the trip is, for the clear sky above the clouds [degrees].

    Raises
    ------
    BadInputError
        With file and row, for the first thing that is wrong.
    """
    from tripplan.almanac.sun import clear_sky_kwh

    out: dict[date, DayWeather] = {}
    for row in _rows(text, where, _DAYS, _DAYS_COLUMNS):
        try:
            day = date.fromisoformat(row.cells["date"]) if len(row.cells["date"]) == 10 else None
        except ValueError:
            day = None
        if day is None:
            raise BadInputError(
                f"`date` is {row.cells['date'][:40]!r}",
                where=row.where,
                accepted="a date such as 2026-02-03",
                next_step="mend the date",
            )
        if day in out:
            raise BadInputError(
                f"{day.isoformat()} stands twice", where=row.where, accepted="each date once", next_step="take one out"
            )
        out[day] = DayWeather(*row.weather(clear_sky_kwh(day, lat, lon)), source)
    if not out:
        raise BadInputError(
            "holds no days", where=where, accepted="rows below the names of the columns", next_step="check the file"
        )
    return tuple(sorted(out.items()))


def _month(row: _Row) -> int:
    text = row.cells["month"]
    if text.isascii() and text.isdigit() and len(text) <= 2 and 1 <= int(text) <= 12:
        return int(text)
    raise BadInputError(f"`month` is {text[:40]!r}", where=row.where, accepted="1 to 12", next_step="write the month as a number")


def _text(path: Path, columns: str) -> str:
    return read_text(path, most_mb=_MOST_MB, accepted=f"a .csv with the columns {columns}")


def _rows(text: str, file: str, needed: tuple[str, ...], columns: str) -> Iterator[_Row]:
    """Yield the rows of a CSV file with the columns needed."""
    accepted = f"a .csv with the columns {columns}"
    table = csv_table(text, file, accepted)
    start = next((k for k, cells in enumerate(table) if any(cell.strip() for cell in cells)), -1)
    if start < 0:
        raise BadInputError("is empty", where=file, accepted=accepted, next_step="check the file")
    header = [cell.strip().casefold() for cell in table[start]]
    known = {*needed, *_SUN}
    for column in header:
        if column not in known or header.count(column) > 1:
            near = nearest_key(column, known)
            raise BadInputError(
                f"has a column `{column[:40]}`" if column not in known else f"has two columns `{column}`", where=file, accepted=accepted,
                next_step=f"did you mean `{near}`?" if column not in known and near else "take it out",
            )  # fmt: skip
    missing = [column for column in needed if column not in header]
    if not any(column in header for column in _SUN):
        missing.append("sun_kwh_per_m2` or `cloud_share")
    if missing:
        raise BadInputError(f"has no column `{missing[0]}`", where=file, accepted=accepted, next_step="add it")
    for number, cells in enumerate(table[start + 1 :], start + 2):
        if not any(cell.strip() for cell in cells):
            continue
        where = f"{file}, row {number}"
        if len(cells) != len(header):
            raise BadInputError(
                f"has {len(cells)} columns, the first line {len(header)}", where=where, accepted="as many columns as names",
                next_step="write a decimal point, not a comma",
            )  # fmt: skip
        yield _Row({column: cell.strip() for column, cell in zip(header, cells, strict=True)}, where)
