"""Progress on standard error, when a person is looking at it."""

from __future__ import annotations

import math
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from typing import TextIO

from tripplan.model.progress import Progress, silent

__all__ = ["shown"]

_EVERY_S = 0.1


class _Line:
    """One line of a terminal that is written over and over."""

    def __init__(self, stream: TextIO) -> None:
        self._stream = stream
        self._last = 0.0
        self._what = ""
        self._width = 0

    def __call__(self, what: str, share: float) -> None:
        now = time.monotonic()
        if what == self._what and now - self._last < _EVERY_S:
            return
        self._last, self._what = now, what
        done = "" if math.isnan(share) else f" {min(max(share, 0.0), 1.0):4.0%}"
        self._write(f"{what} ...{done}"[:78])

    def _write(self, text: str) -> None:
        self._stream.write("\r" + text.ljust(self._width))
        self._stream.flush()
        self._width = len(text)

    def clear(self) -> None:
        """Leave an empty line behind."""
        if self._width:
            self._write("")
            self._stream.write("\r")
            self._stream.flush()


@contextmanager
def shown() -> Iterator[Progress]:
    """Yield a listener that draws on standard error if that is a terminal, and one that is silent if not."""
    if not sys.stderr.isatty():
        yield silent
        return
    line = _Line(sys.stderr)
    try:
        yield line
    finally:
        line.clear()
