"""Work in parts on two cores: each part is done once, and what goes wrong in either thread is told."""

from __future__ import annotations

import threading
import time

import pytest

from tripplan.schedule import side_by_side
from tripplan.schedule.side_by_side import in_parts, middles


@pytest.fixture(autouse=True)
def two_cores(monkeypatch: pytest.MonkeyPatch) -> None:
    """Work as on two cores, whatever the machine has."""
    monkeypatch.setattr(side_by_side, "spare", lambda: True)


def test_each_part_is_done_once_and_all_are_done_on_return() -> None:
    """Two threads share the parts, each in a lane of its own."""
    for _ in range(50):
        done: list[tuple[int, int, int, int]] = []

        def loop(begin: int, end: int, lane: int, done: list[tuple[int, int, int, int]] = done) -> None:
            time.sleep(1e-5)
            done.append((begin, end, lane, threading.get_ident()))

        in_parts(1e9, middles(100), loop)
        assert sorted((b, e) for b, e, *_ in done) == [(0, 16), (16, 33), (33, 50), (50, 66), (66, 83), (83, 100)]
        assert {lane for *_, lane, thread in done if thread == threading.get_ident()} <= {0}
        assert {lane for *_, lane, thread in done if thread != threading.get_ident()} <= {1}


def test_little_work_is_not_parted() -> None:
    """Where a thread is not worth its start, one call does it all."""
    done = []
    in_parts(1.0, middles(100), lambda begin, end, lane: done.append((begin, end, lane)))
    assert done == [(0, 100, 0)]


@pytest.mark.parametrize("lane_that_fails", [0, 1])
def test_a_failure_of_either_thread_is_raised_once_the_other_is_done(lane_that_fails: int) -> None:
    """No part is still being done when the failure is told."""
    both = threading.Barrier(2, timeout=20)
    busy = []

    def loop(begin: int, end: int, lane: int) -> None:
        if not both.broken and lane + 1 not in busy:
            busy.append(lane + 1)
            both.wait()
        if lane == lane_that_fails:
            raise ZeroDivisionError
        time.sleep(0.01)
        busy.append(0)

    with pytest.raises(ZeroDivisionError):
        in_parts(1e9, middles(100), loop)
    assert 0 in busy
