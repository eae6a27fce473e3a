"""The clock of a day."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tripplan.schedule.clock import BREAK_S, StopTask, breaks_needed, lay_out

H = 3600


@pytest.mark.parametrize(("hours", "breaks"), [(0, 0), (2.0, 0), (2.01, 1), (4.0, 1), (5.0, 2)])
def test_breaks_after_two_hours(hours, breaks):
    """A break of 15 minutes after every two hours at the wheel (The Highway Code, rule 91)."""
    seconds = round(hours * H)
    laid = lay_out(9 * H, [(seconds, seconds, seconds)], [], 24 * H)
    assert breaks_needed(seconds) == breaks
    assert sum(r.kind == "break" for r in laid.rows) == breaks
    assert laid.arrive == 9 * H + seconds + breaks * BREAK_S


def test_stop_counts_as_break():
    """A stop of 15 minutes or more starts the two hours anew, a shorter one does not."""
    legs = [(int(1.5 * H),) * 3] * 2
    long_stop = lay_out(9 * H, legs, [StopTask(BREAK_S)], 24 * H)
    short_stop = lay_out(9 * H, legs, [StopTask(BREAK_S - 60)], 24 * H)
    assert sum(r.kind == "break" for r in long_stop.rows) == 0
    assert sum(r.kind == "break" for r in short_stop.rows) == 1


def test_waits_for_opening():
    """A stop that is shut on arrival is waited for, in the first window that is long enough."""
    laid = lay_out(9 * H, [(H, H, H), (H, H, H)], [StopTask(1200, ((8 * H, 10 * H + 600), (13 * H, 14 * H)))], 18 * H)
    assert [(r.kind, r.start) for r in laid.rows] == [
        ("drive", 9 * H),
        ("wait", 10 * H),
        ("stop", 13 * H),
        ("drive", 13 * H + 1200),
    ]
    assert laid.fault is None


def test_faults_tell_by_how_much():
    """A day that cannot be kept says what, where and by how much."""
    leg = (H, H, H)
    shut = lay_out(9 * H, [leg, leg], [StopTask(1200, ((8 * H, 10 * H),))], 18 * H).fault
    late = lay_out(17 * H, [(2 * H,) * 3], [], 18 * H).fault
    closed = lay_out(9 * H, [leg, leg], [StopTask(1200, ())], 18 * H).fault
    end = lay_out(9 * H, [leg], [], 18 * H, ((8 * H, 10 * H + 60),), 3600).fault
    assert shut is not None
    assert (shut.what, shut.number, shut.seconds) == ("opens", 0, 1200)
    assert late is not None
    assert (late.what, late.seconds) == ("arrival", H)
    assert closed is not None
    assert closed.what == "opens"
    assert end is not None
    assert (end.what, end.seconds) == ("end", 3540)


def test_ferry_is_apart():
    """Time at sea stands in the timetable where it is, and is no time at the wheel."""
    laid = lay_out(9 * H, [(3 * H, 2 * H, H)], [], 18 * H)
    assert [(r.kind, (r.end - r.start) // H) for r in laid.rows] == [("drive", 1), ("ferry", 1), ("drive", 1)]


@given(
    st.integers(6 * H, 12 * H), st.integers(0, 3 * H),
    st.lists(st.integers(0, 3 * H), min_size=2, max_size=2), st.integers(8 * H, 14 * H), st.integers(1800, 6 * H),
)  # fmt: skip
def test_earliest_start_is_best(leave, later, drives, opens, length):
    """Starting later never keeps a day that starting earliest does not, and never ends sooner."""
    legs = [(d, d, d) for d in drives]
    stop = [StopTask(1200, ((opens, opens + length),))]
    first, second = (lay_out(t, legs, stop, 17 * H) for t in (leave, leave + later))
    if second.fault is None:
        assert first.fault is None
        assert first.arrive <= second.arrive
