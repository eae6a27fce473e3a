"""How far a search may go, and whom it tells: labels, work, seconds, progress, a wish to stop."""

from __future__ import annotations

import math
import time
from collections.abc import Callable
from typing import Any

__all__ = ["COMPILING", "STAGES", "Budget", "StopError"]

STAGES = {"bound": "Working out what the rest of the trip costs at least", "search": "Searching for the best plan"}
COMPILING = "Compiling the search once, about 10 s, kept for the next time"
WORK_A_LABEL = 2e6  # additions in a bound that take as long as a label, dominance included


class StopError(Exception):
    """The caller asked to stop, or a limit was met."""


class Budget:
    """Limits of one search, and what it has used of them.

    Parameters
    ----------
    max_labels, max_work
        Labels kept, and additions in bounds (a label counts as ``WORK_A_LABEL``), after which it stops: the same on every machine.
    max_seconds
        Time after which it stops.
    progress
        Told the stage and its done share.
    should_stop
        Asked now and then.
    """

    def __init__(
        self,
        max_labels: int,
        max_work: float,
        max_seconds: float | None,
        progress: Callable[[str, float], None] | None,
        should_stop: Callable[[], bool] | None,
    ) -> None:
        self.begun = time.perf_counter()
        self.max_seconds = max_seconds
        self.max_labels, self.max_work = max_labels, max_work
        self.progress, self.should_stop = progress, should_stop
        self.labels, self.work = 0, 0.0
        self.kernels: Any = None

    @property
    def seconds(self) -> float:
        """Time since it began."""
        return time.perf_counter() - self.begun

    def passed(self, share: float) -> bool:
        """Tell whether a share of the time allowed is over."""
        return self.max_seconds is not None and self.seconds > share * self.max_seconds

    def check(self, stage: str, share: float, loop: str | None = None) -> None:
        """Tell the progress; raise `StopError` when it is time to stop.

        Parameters
        ----------
        stage
            One of `STAGES`.
        share
            Done of it.
        loop
            Name of the compiled loop that comes next (see ``kernels.still_to_compile``); None: by the stage.
        """
        if self.progress is not None:
            if self.kernels is not None and self.kernels.still_to_compile(loop or stage):
                self.progress(COMPILING, math.nan)
            else:
                self.progress(STAGES[stage], share)
        if (self.should_stop is not None and self.should_stop()) or self.passed(1.0):
            raise StopError

    def count_labels(self, many: int) -> None:
        """Count labels kept."""
        self.labels += many
        if self.labels > self.max_labels:
            raise StopError
        self.count_work(many * WORK_A_LABEL)

    def count_work(self, additions: float) -> None:
        """Count additions, before they are made."""
        self.work += additions
        if self.work > self.max_work:
            raise StopError
