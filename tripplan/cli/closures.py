"""What commands share that take closures: the option, the trip with them, and what is told of each."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Any, TypeVar

import click

from tripplan.cli.shared import count, plain

if TYPE_CHECKING:
    from tripplan.model.plan import ClosureMatch
    from tripplan.model.trip import Trip

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


def brought_closures(trip: Trip, given: Sequence[str]) -> Trip:
    """Return the trip with the closures of files and addresses beside its own.

    Raises
    ------
    BadInputError
        As `tripplan.request.closures.load_closures`.
    """
    if not given:
        return trip
    from tripplan.request.closures import with_closures

    return with_closures(trip, given)


def closure_words(matches: Sequence[ClosureMatch], left: Sequence[str] = ()) -> list[str]:
    """Say what each closure means on the map and how sure that is; what meant nothing there comes last."""
    lines = []
    for m in sorted(matches, key=lambda m: not m.sure):
        if m.sure:
            how = {"sure": "sure", "likely": "likely", "part": "in part"}[m.sure]
            what = "wind warning, no towing" if m.kind == "wind" else "closed"
            lines.append(
                f"  {m.name}: {what} {m.dates}, {count(m.pieces, 'piece')} of road, {m.length_m / 1000:.1f} km "
                f"({how}: {m.why}; says {m.source})"
            )
        else:
            lines.append(f"  {m.name}: NOT FOUND on this map, {m.dates}: {m.why} (says {m.source}); look at it yourself")
    lines += [f"  {text}" for text in left]
    return [plain(line) for line in (["Closures and wind warnings:", *lines, ""] if lines else [])]
