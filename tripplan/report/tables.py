"""The trip as tables for a spreadsheet: CSV by RFC 4180 (lines end in CR LF, cells quoted where they must be).

The files are in UTF-8, with the mark that tells spreadsheets so. Cells of text pass `csv_cell`, so that none is taken for a formula; numbers are numbers, with their unit in the column's name.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable

from tripplan.model.plan import Day, LevelLine, Plan
from tripplan.report import say
from tripplan.report.safe import csv_cell
from tripplan.report.say import spot_name

__all__ = ["DAY_COLUMNS", "LEVEL_COLUMNS", "csv_text", "day_rows", "days_csv", "level_rows", "levels_csv"]

Cell = str | int | float | None

DAY_COLUMNS: tuple[str, ...] = (
    "day", "date", "kind", "from", "to", "towing_km", "towing_min", "car_km", "car_min", "ferry_min", "presumed_km", "unknown_km", "leave", "arrive",
    "sunset", "services", "sights", "night_at", "night_kind", "night_ref", "mains", "price", "price_known", "lat", "lon", "weather", "notes",
)  # fmt: skip
LEVEL_COLUMNS: tuple[str, ...] = (
    "day", "date", "store", "unit", "leave", "arrive", "worst", "end", "limit", "limit_is", "full", "served",
    "expected_leave", "expected_arrive", "expected_worst", "expected_end",
)  # fmt: skip


def days_csv(plan: Plan) -> str:
    """Return a table with a row a day."""
    return csv_text(DAY_COLUMNS, day_rows(plan))


def levels_csv(plan: Plan) -> str:
    """Return a table with a row a day and store."""
    return csv_text(LEVEL_COLUMNS, level_rows(plan))


def csv_text(columns: tuple[str, ...], rows: Iterable[tuple[Cell, ...]]) -> str:
    """Return a table as CSV: text made safe for spreadsheets, ``None`` an empty cell."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(columns)
    writer.writerows([csv_cell(cell) if isinstance(cell, str) else cell for cell in row] for row in rows)
    return out.getvalue()


def _sums(day: Day, mode: str) -> tuple[float, float]:
    legs = [leg for leg in day.legs if leg.mode == mode]
    return round(sum(leg.length_m for leg in legs) / 1000, 1), round(sum(leg.drive_s for leg in legs) / 60)


def day_rows(plan: Plan) -> list[tuple[Cell, ...]]:
    """Return the cells of `DAY_COLUMNS`, a row a day. Texts are foreign, as the plan holds them."""
    rows: list[tuple[Cell, ...]] = []
    for day in plan.days:
        van = [leg for leg in day.legs if leg.mode == "van"]
        on_road = [event for event in day.events if event.kind in ("drive", "ferry")]
        there = [event for event in day.events if event.kind in ("arrive", "return")]
        stores = dict.fromkeys(store for event in day.events if event.kind == "service" for store in event.stores)
        sights = [spot_name(event.spot) for event in day.events if event.kind == "sight" and event.spot is not None]
        night = day.night
        rows.append(
            (
                day.number, day.date.isoformat(), day.kind, spot_name(day.start), spot_name(day.end), *_sums(day, "van"), *_sums(day, "car"),
                round(sum(leg.ferry_s for leg in day.legs) / 60), round(sum(leg.presumed_m for leg in van) / 1000, 2),
                round(sum(leg.unknown_m for leg in van) / 1000, 2), say.clock(on_road[0].start) if on_road else None,
                say.clock(there[-1].start) if there else None, say.clock(day.sunset) if day.sunset is not None else None,
                say.todo_words(stores), "; ".join(sights), spot_name(night.spot) if night else None, night.kind if night else None,
                night.ref if night else None, ("yes" if night.powered else "no") if night else None,
                round(night.price_cents / 100, 2) if night else None, ("yes" if night.price_known else "no") if night else None,
                round(night.spot.lat, 6) if night else None, round(night.spot.lon, 6) if night else None, day.weather, " | ".join(day.notes),
            )
        )  # fmt: skip
    return rows


def _expected(line: LevelLine) -> list[Cell]:
    if len(line.expected) != 4:
        return [None] * 4
    leave, arrive, _, end = line.expected
    return [round(x, 2) for x in (leave, arrive, say.nearest_of(line.store, line.expected), end)]


def level_rows(plan: Plan) -> list[tuple[Cell, ...]]:
    """Return the cells of `LEVEL_COLUMNS`, a row a day and store that the van has."""
    stores = say.stores_of(plan.trip.van)
    units = {store: say.amount(store, 0).split()[-1] for store in stores}
    return [
        (
            day.number, day.date.isoformat(), line.store, units[line.store], *(round(x, 2) for x in (line.leave, line.arrive, say.nearest_level(line), line.end, line.limit)),
            "most" if say.fills(line.store) else "least", round(say.capacity(plan.trip.van, line.store), 2), line.served,
            *_expected(line),
        )
        for day in plan.days
        for line in day.levels
        if line.store in units
    ]  # fmt: skip
