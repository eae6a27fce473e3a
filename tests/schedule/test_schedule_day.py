"""The clock of a day: exact pass, CP-SAT model and trying every minute against each other, spare time, clashes, kept answers."""

from __future__ import annotations

import itertools
import json
import random
import signal
import subprocess
import sys
from dataclasses import replace

import pytest
from helpers.dayclock import earliest_by_minutes, random_day
from hypothesis import given, settings
from hypothesis import strategies as st

from tripplan.schedule.clock import StopTask, lay_out
from tripplan.schedule.day import (
    DAY_END,
    DayTask,
    Halt,
    LegTask,
    Sailing,
    best_leave,
    clash,
    kept,
    score,
    spare,
    without,
)
from tripplan.schedule.day_model import solve_day, solve_order
from tripplan.schedule.laid import LaidDay, lay_days

#: A tenth of the real times, for the brute force: two hours at the wheel and a rest of 20 minutes.
SMALL = (12, 2)


def plain(drives, halts=(), **change) -> DayTask:
    """Return a day from 09:00 to 18:00 with legs of so many minutes."""
    task = DayTask(540, 540, 1080, tuple(LegTask(d) for d in drives), tuple(halts), None, 0, 540, 540, 0)
    return replace(task, **change)


# ------------------------------------------------------------------------------------------------- against each other


def model_and_pass(seed: int) -> bool:
    """Compare the model with the pass on one random day; return whether it can be kept."""
    task = random_day(seed)
    by_pass, by_model = best_leave(task), solve_day(task)
    assert (by_pass is None) == (by_model is None), task
    if by_model is None:
        return False
    laid = kept(task, by_pass)
    assert laid is not None
    assert (by_model.leave, by_model.arrive) == (by_pass, laid[0]), task
    return True


@pytest.mark.parametrize("part", range(4))
def test_model_and_pass_agree(part):
    """CP-SAT and the exact pass give the same start and arrival, or both none, on 200 random days with ferries and short halts."""
    found = [model_and_pass(seed) for seed in range(50 * part, 50 * part + 50)]
    assert 5 < sum(found) < 45


@pytest.mark.long
def test_model_and_pass_agree_often():
    """The same on 1,000 more."""
    assert sum(model_and_pass(seed) for seed in range(1000, 2000)) > 150


def pass_and_minutes(seed: int) -> bool:
    """Compare the pass, and the model's feasibility, with trying every minute on one small day."""
    task = random_day(seed, scale=10)
    found = False
    for leave in {task.leave_from, task.last_leave}:
        laid, slow = kept(task, leave, SMALL), earliest_by_minutes(task, leave, SMALL)
        assert (laid[0] if laid is not None else None) == slow, (task, leave)
        one = replace(task, leave_from=leave, leave_by=leave, wish_last=leave)
        by_model = solve_day(one, SMALL)
        assert (by_model.arrive if by_model is not None else None) == slow, (task, leave)
        found |= slow is not None
    return found


@pytest.mark.parametrize("part", range(4))
def test_agree_with_trying_every_minute(part):
    """On 200 small days the earliest arrival is the one that trying every choice in every minute finds."""
    found = [pass_and_minutes(seed) for seed in range(50 * part, 50 * part + 50)]
    assert 5 < sum(found) < 45


@pytest.mark.long
def test_agree_with_trying_every_minute_often():
    """The same on 1,000 more."""
    assert sum(pass_and_minutes(seed) for seed in range(1000, 2000)) > 150


@pytest.mark.parametrize("seed", range(40))
def test_free_order_is_the_best_of_all_orders(seed):
    """Where the order is free the model finds what the best of all orders scores."""
    r = random.Random(seed)
    task = random_day(seed, ferries=False)
    count = r.randint(2, 3)
    halts = [
        Halt(r.choice([15, 30, 60]), None if r.random() < 0.3 else ((opens := r.randint(500, 900), opens + r.randint(60, 300)),))
        for _ in range(count)
    ]
    drives = [[0 if i == j else r.randint(5, 130) for j in range(count + 2)] for i in range(count + 2)]
    best = None
    for order in itertools.permutations(range(count)):
        stops = [0, *(i + 1 for i in order), count + 1]
        one = replace(
            task, legs=tuple(LegTask(drives[a][b]) for a, b in itertools.pairwise(stops)), halts=tuple(halts[i] for i in order)
        )
        leave = best_leave(one)
        if leave is not None:
            value = score(one, leave, kept(one, leave)[0])
            best = value if best is None else min(best, value)
    found = solve_order(task, halts, drives)
    assert (score(task, found.leave, found.arrive) if found is not None else None) == best


@given(st.integers(0, 10**6))
@settings(max_examples=150, deadline=None)
def test_the_plain_pass_turns_no_day_away(seed):
    """A day kept in whole minutes is kept, no later, by the plain pass in seconds when its times are anything that rounds to them.

    Halts are as long as a rest, as all in trips are.
    """
    task = random_day(seed)
    task = replace(
        task, halts=tuple(replace(h, minutes=max(15, h.minutes)) for h in task.halts),
        legs=tuple(LegTask(leg.drive, tuple(replace(s, windows=None) for s in leg.sailings[:1])) for leg in task.legs),
    )  # fmt: skip
    exact = kept(task, task.leave_from)
    if exact is None:
        return
    r = random.Random(seed)

    def less(minutes: int) -> int:
        return max(0, 60 * minutes - r.randint(0, 59))

    legs = []
    for leg in task.legs:
        boat = leg.sailings[0] if leg.sailings else None
        before, after = (less(boat.after) if boat else 0), less(leg.drive)
        sea = less(boat.wait) + less(boat.sea) if boat else 0
        legs.append((before + after + sea, before + after, before if sea else before + after))
    stops = [
        StopTask(less(h.minutes - 15) + 900, None if h.windows is None else tuple((60 * a, 60 * b) for a, b in h.windows))
        for h in task.halts
    ]
    end = None if task.end_windows is None else tuple((60 * a, 60 * b) for a, b in task.end_windows)
    quick = lay_out(
        60 * task.leave_from - r.randint(0, 59), legs, stops, 60 * task.arrive_by + r.randint(0, 59), end, 60 * task.end_minutes
    )
    assert quick.fault is None
    assert quick.arrive <= 60 * exact[0]


# ------------------------------------------------------------------------------------------------- rules one by one


@pytest.mark.parametrize(("minutes", "breaks"), [(120, 0), (121, 1), (240, 1), (300, 2)])
def test_a_break_after_every_two_hours(minutes, breaks):
    """At least 15 minutes after every two hours at the wheel (The Highway Code, rule 91): five hours need two breaks."""
    arrive, lines = kept(plain([minutes]), 540)
    assert sum(kind == "break" for kind, *_ in lines) == breaks
    assert arrive == 540 + minutes + 15 * breaks
    assert solve_day(plain([minutes])).arrive == arrive


@pytest.mark.parametrize(("halt", "breaks"), [(14, 0), (15, 0), (20, 0)])
def test_a_service_as_long_counts_as_a_break(halt, breaks):
    """A halt of 15 minutes is a rest; a shorter one is drawn out to one where that saves a break."""
    arrive, lines = kept(plain([110, 110], [Halt(halt)]), 540)
    assert arrive == 540 + 220 + max(15, halt)
    assert sum(kind == "break" and b - a >= 15 for kind, _, a, b in lines) == breaks


def test_time_at_sea_is_no_rest():
    """A boat of an hour between two drives of 90 minutes does not save the break; half an hour's wait for the first boat does."""
    boat = LegTask(90, (Sailing(90, 10, 60),))
    assert kept(plain([0], legs=(boat,)), 540)[0] == 540 + 90 + 70 + 15 + 90
    late = LegTask(90, (Sailing(90, 10, 60, ((670, 700),)),))
    arrive, lines = kept(plain([0], legs=(late,)), 540)
    assert arrive == 670 + 60 + 90
    assert ("quay", 0, 630, 660) in lines


def test_the_last_boat_is_missed():
    """Who is ready to sail after the last departure does not sail; the day says so."""
    boat = LegTask(30, (Sailing(90, 30, 60, ((480, 650),)),))
    task = plain([0], legs=(boat,))
    assert kept(task, 540) is None
    assert solve_day(task) is None
    assert clash(task) == (("leave", 0), ("sail", 0))
    assert kept(replace(task, leave_from=530), 530) is not None


def test_several_windows_and_one_over_midnight():
    """A place open 20:00 to 02:00 has two stretches on a date; a halt fits into one of them whole."""
    hours = ((0, 120), (1200, 1440))
    task = plain([30, 30], [Halt(20, hours)], arrive_by=1439)
    arrive, lines = kept(task, 540)
    assert ("stop", 0, 1200, 1220) in lines
    assert arrive == 1250
    assert kept(replace(task, halts=(Halt(20, ((0, 120), (560, 585))),)), 540) is None


def test_no_one_waits_at_a_gate_who_could_have_had_breakfast():
    """With check-in from 14:00 and check-out at 10:30, a drive of one hour starts at 10:30, one of four hours so as to come at 14:00."""
    task = plain([60], leave_by=630, end_windows=((840, 1200),), wish_leave=630, wish_last=630, wish_arrive=840)
    assert best_leave(task) == 630
    assert solve_day(task).arrive == 840
    four = replace(task, legs=(LegTask(225),))  # with its break, four hours
    assert solve_day(four).leave == 600
    assert best_leave(replace(task, leave_by=580)) == 580


def test_ties_go_to_the_start_liked_best():
    """With nothing to wait for, the day starts when it is liked best."""
    task = plain([20, 20], [Halt(60)], leave_by=DAY_END, wish_leave=600, wish_last=720, wish_arrive=1020)
    assert solve_day(task).leave == best_leave(task) == 600


# ------------------------------------------------------------------------------------------------- spare time and clashes


@pytest.mark.parametrize("part", range(4))
def test_spare_time_is_all_there_is(part):
    """Held up on the way by the minutes that a halt or the end has to spare, the day is kept; by one minute more it is not."""
    seen = 0
    for seed in range(60 * part, 60 * part + 60):
        task = random_day(seed)
        task = replace(task, halts=tuple(replace(h, minutes=max(15, h.minutes)) for h in task.halts))
        leave = best_leave(task)
        if leave is None:
            continue
        arrive, lines = kept(task, leave)
        begins = [*(next(a for kind, n, a, _ in lines if kind == "stop" and n == k) for k in range(len(task.halts))), arrive]
        waits = {n: b - a for kind, n, a, b in lines if kind == "wait"}
        assert all(later >= 0 for later in spare(task, leave))
        assert len(begins) == len(spare(task, leave))
        for k, minutes in enumerate(later + waits.get(k, 0) for k, later in enumerate(spare(task, leave))):
            for more, holds in ((minutes, True), (minutes + 1, False)):
                # A boat without hours at the end of the leg: it takes time and is no rest.
                leg = task.legs[k]
                held = LegTask(0, (*leg.sailings, Sailing(leg.drive, 0, more)))
                late = replace(task, legs=(*task.legs[:k], held, *task.legs[k + 1 :]))
                assert (kept(late, leave) is not None) is holds, (seed, k, minutes)
            seen += 1
    assert seen > 20


@pytest.mark.parametrize("part", range(3))
def test_clashes_are_as_small_as_can_be(part):
    """The rules named cannot all be kept; without any one of them the day can be."""
    seen = 0
    for seed in range(60 * part, 60 * part + 60):
        task = random_day(seed)
        rules = clash(task)
        assert (not rules) is (kept(task, task.leave_from) is not None)
        if not rules:
            continue
        loose, every = without(task, list(rules))
        assert kept(loose, loose.leave_from, (every, 15)) is None
        for rule in rules:
            loose, every = without(task, [r for r in rules if r != rule])
            assert kept(loose, loose.leave_from, (every, 15)) is not None
        seen += 1
    assert seen > 15


def test_a_clash_is_about_what_clashes():
    """A dump that shuts at 16:00 and is reached at 16:40 clashes with the earliest start, not with sunset or the site's desk."""
    task = plain([200, 60], [Halt(20, ((480, 960),))], leave_from=785, end_windows=((600, 1300),), arrive_by=1300)
    assert clash(task) == (("leave", 0), ("halt", 0))


# ------------------------------------------------------------------------------------------------- kept answers


def test_answers_are_kept_and_read_again(tmp_path):
    """The second time the same days are read from their file, the same; damaged or alien files are made anew."""
    tasks = [random_day(seed) for seed in range(12)]
    first = lay_days(tasks, tmp_path)
    assert any(day is None for day in first)
    assert any(day is not None for day in first)
    (file,) = (tmp_path / "days").iterdir()
    whole = file.read_bytes()
    assert lay_days(tasks, tmp_path) == first
    for damage in (b"", b"[]", whole[:-3], whole.replace(b"[[", b"[[1", 1), json.dumps([[0, []]] * 12).encode(), b"\xff" * 9):
        file.write_bytes(damage)
        assert lay_days(tasks, tmp_path) == first
        assert file.read_bytes() == whole


def test_a_folder_that_cannot_be_written_costs_only_time(tmp_path):
    """Where the folder is a file the days are laid out all the same."""
    blocked = tmp_path / "blocked"
    blocked.write_text("")
    task = plain([60])
    assert lay_days([task], blocked) == [LaidDay(540, (480,))]


ASK = """
import sys
sys.path.insert(0, {tests!r})
from pathlib import Path
from helpers.dayclock import random_day
from tripplan.schedule.laid import lay_days
print(lay_days([random_day(s) for s in range(20)], Path({folder!r})))
print("ortools" in sys.modules)
"""


def test_prepared_days_load_no_solver_and_are_the_same_everywhere(tmp_path):
    """Two processes with different hash seeds give the same days; the second one does not load the solver."""
    from pathlib import Path

    tests = str(Path(__file__).resolve().parents[1])

    def run(folder: Path, seed: str) -> list[str]:
        code = ASK.format(tests=tests, folder=str(folder))
        import os

        env = {**os.environ, "PYTHONHASHSEED": seed, "PYTHONPATH": str(Path(tests).parent)}
        done = subprocess.run([sys.executable, "-c", code], env=env, capture_output=True, text=True, check=True)
        return done.stdout.splitlines()

    one, other, again = run(tmp_path / "a", "1"), run(tmp_path / "b", "2"), run(tmp_path / "a", "3")
    assert one[0] == other[0] == again[0]
    assert (one[1], other[1], again[1]) == ("True", "True", "False")


@pytest.mark.skipif(sys.platform == "win32", reason="sends a signal as Unix does")
def test_ctrl_c_is_still_heard_after_a_day_was_solved():
    """The solver leaves Ctrl-C to Python: afterwards it still raises where it is looked for."""
    code = (
        "import os, signal, sys, time\nfrom tripplan.schedule.day import DayTask, LegTask\nfrom tripplan.schedule.day_model import solve_day\n"
        "task = DayTask(540, 540, 1080, (LegTask(60),), (), None, 0, 540, 540, 0)\nassert solve_day(task) is not None\n"
        "try:\n    os.kill(os.getpid(), signal.SIGINT)\n    time.sleep(5)\nexcept KeyboardInterrupt:\n    sys.exit(7)\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], check=False, preexec_fn=lambda: signal.signal(signal.SIGINT, signal.SIG_DFL)
    )
    assert done.returncode == 7
