"""`tripplan van`: what a forecast stands on."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from tripplan.cli.shared import plain

if TYPE_CHECKING:
    from tripplan.van.explain import Row

__all__ = ["command"]

_HEADINGS = {
    "van": "The van", "party": "The party", "limits": "Limits of the stores", "times": "Heating water", "spreads": "How far use lies from the figures",
    "constants": "What else the forecast stands on",
}  # fmt: skip


@click.group("van")
def command() -> None:
    """Look into what the forecast of the stores stands on."""


@command.command("explain")
@click.argument("van_file", metavar="VAN.toml", type=click.Path(path_type=Path))
@click.option(
    "--party",
    "party_file",
    metavar="PARTY.toml",
    default=None,
    type=click.Path(path_type=Path),
    help="Whose habits; without it, two adults.",
)
@click.option("--json", "as_json", is_flag=True, help="Print JSON for programs.")
def explain_command(van_file: Path, party_file: Path | None, as_json: bool) -> int:
    """Print each figure of a van's forecast with its unit, its spread and where it comes from.

    A spread has two parts, one sigma each: the same on all days of a trip, and from day to day.
    """
    from tripplan.model.van import Party
    from tripplan.request.parts import read_party, read_van
    from tripplan.van.explain import explain

    party = read_party(party_file) if party_file is not None else Party("two adults", adults=2)
    rows = explain(read_van(van_file), party)
    if as_json:
        import json

        click.echo(json.dumps([_plain(row) for row in rows], ensure_ascii=False, indent=1))
        return 0
    for line in _lines(rows):
        click.echo(plain(line))
    return 0


def _plain(row: Row) -> dict[str, Any]:
    text: Any = row.value
    try:
        text = float(text)
    except ValueError:
        text = {"yes": True, "no": False, "": None}.get(text, text)
    return {
        "group": row.group, "name": row.name, "meaning": _meaning(row), "value": text, "unit": row.unit, "spread_shared": row.spread,
        "spread_daily": row.daily, "source": row.source,
    }  # fmt: skip


def _meaning(row: Row) -> str:
    """What a figure is, in the words of the reference of keys where it is one of its keys."""
    from tripplan.request.keys import keys_of

    if row.meaning or row.group not in ("van", "party"):
        return row.meaning
    return next((key.meaning.rstrip(".") for key in keys_of(row.group) if key.name == row.name), "")


def _lines(rows: Sequence[Row]) -> list[str]:
    lines: list[str] = []
    group = ""
    for row in rows:
        if row.group != group:
            group = row.group
            lines += [*([""] if lines else []), _HEADINGS[group]]
        figure = f"{row.value} {row.unit}".strip() if row.value else ""
        all_trip = " all trip" if group != "constants" else ""
        parts = [f"\u00b1{row.spread:.0%}{all_trip}"] if row.spread else []
        parts += [f"\u00b1{row.daily:.0%} by day"] if row.daily else []
        told = _meaning(row)
        lines.append(f"  {row.name:47} {figure:22} {', '.join(parts):28} {row.source}{f' [{told}]' if told else ''}".rstrip())
    return lines
