"""What several commands share: their options, and text made fit for a terminal."""

from __future__ import annotations

import shutil
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar

import click

__all__ = ["count", "firm_option", "language_options", "outfit_option", "plain", "region_option", "terminal_look"]

Command = TypeVar("Command", bound=Callable[..., Any])
_FILE: Any = click.Path(path_type=Path)


def region_option(told: str = "A region made by `tripplan region build`.") -> Callable[[Command], Command]:
    """``--region REGION``, always needed."""
    return click.option("--region", "region_file", metavar="REGION", required=True, type=_FILE, help=told)


def outfit_option(told: str = "The outfit; without it, a common one.") -> Callable[[Command], Command]:
    """``--outfit OUTFIT.toml``."""
    return click.option("--outfit", "outfit_file", metavar="OUTFIT.toml", default=None, type=_FILE, help=told)


def firm_option(told: str = "The firm's rules; without it, common ones.") -> Callable[[Command], Command]:
    """``--firm FIRM.toml``."""
    return click.option("--firm", "firm_file", metavar="FIRM.toml", default=None, type=_FILE, help=told)


def language_options(command: Command) -> Command:
    """``--language`` and ``--units`` of what is written; both empty where nobody asks."""
    units = click.option(
        "--units", metavar="UNITS", default="", help="Units of the papers: metric, imperial, imperial-us or imperial-uk; without it, the trip's own, else the language's."
    )  # fmt: skip
    language = click.option(
        "--language", metavar="NAME", default="", help="Language of the papers: en or de, or with a country's dates: en-US, de-AT; without it, the trip's own, else English."
    )  # fmt: skip
    return language(units(command))


def plain(text: str) -> str:
    """Return text without control characters: names on a map may hold anything."""
    return "".join(c if c.isprintable() else "\ufffd" for c in text)


def terminal_look() -> tuple[bool, int]:
    """Return whether standard output can show block characters, and how many columns it has."""
    from tripplan.report.terminal import can_show_bars

    return can_show_bars(sys.stdout.encoding), shutil.get_terminal_size().columns


def count(number: int, one: str, many: str = "") -> str:
    """Return a number with its word: 1 night, 2 nights."""
    return f"{number:,} {one if number == 1 else many or one + 's'}"
