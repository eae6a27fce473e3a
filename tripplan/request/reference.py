"""The reference of all keys, made from the table that checks them."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import time

from tripplan.request.keys import NEEDED, TABLES, Key, keys_of

__all__ = ["KeyDoc", "reference", "reference_text"]

_TABLE_WORDS = {
    "trip": "Trip file, top level", "pick_up": "[pick_up]", "return": "[return]", "sights": "[[sights]], one for each", "bookings": "[[bookings]], one for each",
    "driving": "[driving]", "wishes": "[wishes]", "levels": "[levels]", "weights": "[weights]", "weather": "[[weather]], one for each month (or weather = \"days.csv\" with columns date, mean_c, low_c, high_c, sun_kwh_per_m2)",
    "van": "Van file, or [van] in the trip", "party": "Party file, or [party] in the trip", "firm": "Firm file, or [firm] in the trip",
    "areas_off_limits": "[[areas_off_limits]] of a firm, one for each", "outfit": "Outfit file, or [outfit] in the trip",
    "readings_file": "File of readings, top level", "readings": "[[readings]] of a file of readings, one for each", "services": "[[services]] of a file of readings, one for each",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class KeyDoc:
    """What is to be known of one key, as texts."""

    table: str
    name: str
    unit: str
    default: str
    accepted: str
    meaning: str


def reference() -> tuple[KeyDoc, ...]:
    """Return every key of every table, in the order in which a file would be written."""
    return tuple(
        KeyDoc(
            table=_TABLE_WORDS[table],
            name=key.name,
            unit=key.unit,
            default=_default(key),
            accepted=key.accepted,
            meaning=key.meaning,
        )
        for table in TABLES
        for key in keys_of(table)
    )


def reference_text() -> str:
    """Return the reference as Markdown tables."""
    lines: list[str] = []
    heading = ""
    for doc in reference():
        if doc.table != heading:
            heading = doc.table
            lines += [
                *([""] if lines else []),
                f"### {heading}",
                "",
                "| key | meaning | accepted | default |",
                "|---|---|---|---|",
            ]
        cells = (f"`{doc.name}`", doc.meaning, doc.accepted, doc.default)
        lines.append("| " + " | ".join(cell.replace("|", "\\|") for cell in cells) + " |")
    return "\n".join(lines) + "\n"


def _default(key: Key) -> str:
    value = key.default
    if value is NEEDED:
        return "needed"
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, time):
        return value.isoformat()
    if isinstance(value, str):
        return value.strip("<>") if value.startswith("<") else f'"{value}"'
    if isinstance(value, int | float):
        return f"{value:g}"
    return "none"
