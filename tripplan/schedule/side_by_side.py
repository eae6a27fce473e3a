"""Parts of one piece of work on two cores: compiled loops that write to different places of the same arrays.

Each part writes what it would write alone, so the result is the same whatever runs first, and the same as with one core.
A second thread takes parts from the end as long as there are any; where the other core is busy, it takes none and nobody waits for it.
"""

from __future__ import annotations

import _thread
import contextlib
import functools
import os
from collections import deque
from collections.abc import Callable, Sequence
from itertools import pairwise

__all__ = ["in_parts", "middles"]

WORTH = 500_000  # additions from which a thread is worth its start
PARTS = 6  # more of them even out what each takes, fewer have less to set up


@functools.cache
def cores() -> int:
    """Return how many cores this process may use."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


def spare() -> bool:
    """Tell whether a second thread would find a core: on a busy machine it is held up, and the first waits for it."""
    if cores() < 2:
        return False
    try:
        return os.getloadavg()[0] <= cores()
    except (AttributeError, OSError):  # not told here
        return True


def middles(count: int, parts: int = PARTS) -> tuple[int, ...]:
    """Return where to part ``count`` things that all take the same."""
    return tuple(count * i // parts for i in range(parts + 1))


def in_parts(work: float, cuts: Sequence[int], loop: Callable[[int, int, int], object]) -> None:
    """Call ``loop`` on what lies between the cuts, one part after the other, or all at once where it is little.

    Parameters
    ----------
    work
        A guess of the additions.
    cuts
        Ascending, the first and the last the ends of it all.
    loop
        Begin, end, and which of the two threads it is in, 0 or 1; it must let go of the interpreter's lock, and its calls must not write to the same places.
    """
    if work < WORTH or len(cuts) < 3 or not spare():
        loop(cuts[0], cuts[-1], 0)
        return
    parts = deque(pairwise(cuts))
    busy = _thread.allocate_lock()
    failed: list[Exception] = []

    def second() -> None:
        while True:
            with busy:  # held from taking a part until it is done
                try:
                    begin, end = parts.pop()
                except IndexError:
                    return
                try:
                    loop(begin, end, 1)
                except Exception as e:  # noqa: BLE001 - raised again by the thread that waits
                    failed.append(e)
                    parts.clear()

    with contextlib.suppress(RuntimeError):  # no thread to be had: alone
        _thread.start_new_thread(second, ())
    try:
        while parts:
            try:
                begin, end = parts.popleft()
            except IndexError:  # taken by the other just now
                break
            loop(begin, end, 0)
    finally:
        parts.clear()
        with busy:
            pass
    if failed:
        raise failed[0]
