"""Closed roads and wind warnings that the operator names: read at the start, and again whenever they change."""

from __future__ import annotations

import threading
import time
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from zoneinfo import ZoneInfo

from tripplan.model.closure import Closure
from tripplan.model.errors import BadInputError
from tripplan.model.plan import ClosureMatch
from tripplan.model.trip import Trip
from tripplan.report.safe import plain
from tripplan.request.closures import ClosureFile, is_address, load_closures, with_files

__all__ = ["Closed", "closed_of", "closure_rows"]

#: An address is asked again after so long [s]; a file as soon as its time of change differs.
_AGAIN_S = 600.0


@dataclass(slots=True)
class _Known:
    file: ClosureFile
    mark: float
    looked: float
    fault: str = ""


class Closed:
    """The closures of the files and addresses that were given. Every method may be called from any thread."""

    def __init__(self, given: tuple[str, ...], zone: str) -> None:
        """Read all.

        Raises
        ------
        BadInputError
            When one of them cannot be read now. Later the last that could be read goes on to hold, and `faults` says so.
        """
        self._zone = ZoneInfo(zone)
        self._lock = threading.Lock()
        self._known = {one: _Known(load_closures(one, self._zone), _mark(one), time.monotonic()) for one in given}

    def files(self) -> tuple[ClosureFile, ...]:
        """Return what is known now."""
        with self._lock:
            for one, known in self._known.items():
                self._look(one, known)
            return tuple(known.file for known in self._known.values())

    def faults(self) -> list[str]:
        """Say of which file or address an older state holds; without its name, which may be a path of the operator's."""
        with self._lock:
            return [known.fault for known in self._known.values() if known.fault]

    def on(self, trip: Trip) -> Trip:
        """Return a trip with what holds on its dates."""
        return with_files(trip, self.files()) if self._known else trip

    def _look(self, one: str, known: _Known) -> None:
        now = time.monotonic()
        mark = _mark(one)
        if (now - known.looked < _AGAIN_S) if is_address(one) else (mark == known.mark):
            return
        known.looked, known.mark = now, mark
        try:
            known.file, known.fault = load_closures(one, self._zone), ""
        except BadInputError:
            known.fault = "A list of closures cannot be read at the moment; what it held before still counts."


def _mark(one: str) -> float:
    try:
        return 0.0 if is_address(one) else Path(one).stat().st_mtime
    except OSError:
        return -1.0


@cache
def _of_this_process(given: tuple[str, ...], zone: str) -> Closed:
    return Closed(given, zone)


def closed_of(given: tuple[str, ...], zone: str) -> Closed:
    """Return the closures of a worker: without them nothing is planned."""
    try:
        return _of_this_process(given, zone)
    except BadInputError:
        raise BadInputError(
            "the list of closed roads cannot be read at the moment", next_step="try again in a few minutes"
        ) from None


def closure_rows(closures: Sequence[Closure | ClosureMatch]) -> list[dict[str, str]]:
    """Return closures as a page lists them."""
    return [
        {
            "name": plain(one.name),
            "what": "wind warning, no towing there" if one.kind == "wind" else "closed",
            "dates": plain(one.dates),
            "source": plain(one.source),
        }
        for one in closures
    ]
