"""What commands share that take closures: the option, the trip with them, and what is told of each."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Any, TypeVar

import click

from tripplan.cli.shared import plain

if TYPE_CHECKING:
    from tripplan.model.plan import ClosureMatch
    from tripplan.model.trip import Trip
    from tripplan.region.region import Region

__all__ = ["brought_closures", "closure_words", "closures_option"]

Command = TypeVar("Command", bound=Callable[..., Any])


def closures_option() -> Callable[[Command], Command]:
    """``--closures FILE_OR_URL``, any number of times."""
    return click.option(
        "--closures",
        "closures",
        metavar="FILE_OR_URL",
        multiple=True,
        help="Closed roads and wind warnings by date: GeoJSON, or a WZDx work zone feed; may be given again.",
    )


def brought_closures(trip: Trip, given: Sequence[str], region: Region) -> Trip:
    """Return the trip with the closures of files and addresses beside its own.

    Raises
    ------
    BadInputError
        As `tripplan.request.closures.with_closures`.
    """
    if not given:
        return trip
    from tripplan.request.closures import with_closures

    return with_closures(trip, given, region)


def closure_words(matches: Sequence[ClosureMatch], left: Sequence[str] = ()) -> list[str]:
    """Say what each closure means on the map and how sure that is; what meant nothing there comes last."""
    from tripplan.report.closed import closure_lines
    from tripplan.report.language import tell

    lines = closure_lines(matches, left)
    return [
        plain(line) for line in ([tell("Closures and wind warnings:"), *(f"  {line}" for line in lines), ""] if lines else [])
    ]
