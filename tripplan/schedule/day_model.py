"""One day as a CP-SAT model in whole minutes: which start is liked best, in which order halts are made, or that none can be.

The model is written from the rules and knows nothing of the passes that also decide them, so each is a check of the other.
One worker, a fixed seed, and an objective with one best value of the start: the same day gives the same answer.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from tripplan.schedule.day import RULES, DayTask, Halt, LegTask, Windows

__all__ = ["Answer", "solve_day", "solve_order"]

#: More than any number of minutes in a score.
_STEP = 4096


@dataclass(frozen=True, slots=True)
class Answer:
    """A day that can be kept: start and arrival [min after midnight], and its halts in their order."""

    leave: int
    arrive: int
    order: tuple[int, ...]


@dataclass
class _Model:
    """A model being written: the engine, its model, the latest minute and the rules of the wheel."""

    cp: Any
    model: Any
    top: int
    rules: tuple[int, int]

    def minute(self, name: str) -> Any:
        return self.model.new_int_var(0, self.top, name)

    def within(self, begin: Any, minutes: int, windows: Windows, name: str, only: Any = None) -> None:
        """Let something lie in one of its windows, where ``only`` holds."""
        if windows is None:
            return
        inside = [self.model.new_bool_var(f"{name} in {k}") for k in range(len(windows))]
        for literal, (a, b) in zip(inside, windows, strict=True):
            self.model.add(begin >= a).only_enforce_if(literal)
            self.model.add(begin + minutes <= b).only_enforce_if(literal)
        clause = self.model.add_bool_or(inside)
        if only is not None:
            clause.only_enforce_if(only)

    def drive(self, at: Any, since: Any, minutes: Any, name: str) -> tuple[Any, Any]:
        """Drive from a time on, with as many breaks as are wanted anywhere; return the time and the time since a rest."""
        every, rest = self.rules
        breaks = self.model.new_int_var(0, self.top // max(1, rest), f"{name} breaks")
        arrive, after = self.minute(f"{name} arrive"), self.model.new_int_var(0, every, f"{name} since")
        self.model.add(arrive == at + minutes + rest * breaks)
        # What is driven fits into the rest of the first stretch, whole ones, and the last.
        self.model.add(after >= since + minutes - every * breaks)
        return arrive, after

    def rested(self, idle: Any, since: Any, name: str) -> Any:
        """Return the time at the wheel since a rest, after a pause of some length that is one if it is long enough."""
        every, rest = self.rules
        literal, after = self.model.new_bool_var(f"{name} rests"), self.model.new_int_var(0, every, f"{name} then")
        self.model.add(idle >= rest).only_enforce_if(literal)
        self.model.add(after >= since).only_enforce_if(~literal)
        return after

    def leg(self, leg: LegTask, at: Any, since: Any, name: str) -> tuple[Any, Any]:
        for number, ferry in enumerate(leg.sailings):
            at, since = self.drive(at, since, ferry.after, f"{name} to quay {number}")
            sails = self.minute(f"{name} sails {number}")
            self.model.add(sails >= at + ferry.wait)
            self.within(sails, 0, ferry.windows, f"{name} sailing {number}")
            since = self.rested(sails - at - ferry.wait, since, f"{name} quay {number}")
            at = sails + ferry.sea
        return self.drive(at, since, leg.drive, name)


def _begin(task: DayTask, rules: tuple[int, int]) -> tuple[_Model, Any]:
    from ortools.sat.python import cp_model

    model = cp_model.CpModel()
    writer = _Model(cp_model, model, max(task.arrive_by, task.last_leave, 0), rules)
    leave = model.new_int_var(task.leave_from, task.last_leave, "leave")
    return writer, leave


def _answer(writer: _Model, task: DayTask, leave: Any, at: Any, halts: int, place: Any = None) -> Answer | None:
    """Put the end of the day and the score into a model, and solve it."""
    model = writer.model
    arrive = model.new_int_var(0, max(task.arrive_by, 0), "arrive")
    model.add(arrive >= at)
    writer.within(arrive, task.end_minutes, task.end_windows, "end")
    late, off = writer.model.new_int_var(0, _STEP - 1, "late"), writer.model.new_int_var(0, _STEP - 1, "off")
    model.add_max_equality(late, [arrive, task.wish_arrive])
    model.add_abs_equality(off, leave - task.wish_leave)
    model.minimize(((late * _STEP + (arrive - leave)) * _STEP + off) * _STEP + leave)
    solver = writer.cp.CpSolver()
    solver.parameters.num_workers = 1
    solver.parameters.random_seed = 1
    # Else it takes Ctrl-C for itself and leaves none of Python's own hearing behind: the next one would end the process without a word.
    solver.parameters.catch_sigint_signal = False
    status = solver.solve(model)
    if status == writer.cp.INFEASIBLE:
        return None
    if status != writer.cp.OPTIMAL:
        raise RuntimeError(f"the day was left undecided ({solver.status_name(status)})")
    order = tuple(range(halts)) if place is None else _order(solver, place, halts)
    return Answer(int(solver.value(leave)), int(solver.value(arrive)), order)


def solve_day(task: DayTask, rules: tuple[int, int] = RULES) -> Answer | None:
    """Return the best start of a day whose halts come in their order; ``None``: the day cannot be kept.

    Parameters
    ----------
    rules
        Longest time at the wheel without a rest, and how long a rest must be [min].
    """
    if task.arrive_by < 0:
        return None
    writer, leave = _begin(task, rules)
    at, since = leave, 0
    for k, leg in enumerate(task.legs):
        at, since = writer.leg(leg, at, since, f"leg {k}")
        if k == len(task.halts):
            break
        halt = task.halts[k]
        begin, goes = writer.minute(f"halt {k} begins"), writer.minute(f"halt {k} ends")
        writer.model.add(begin >= at)
        writer.model.add(goes >= begin + halt.minutes)
        writer.within(begin, halt.minutes, halt.windows, f"halt {k}")
        since = writer.rested(goes - at, since, f"halt {k}")
        at = goes
    return _answer(writer, task, leave, at, len(task.halts))


def solve_order(
    task: DayTask, halts: Sequence[Halt], drives: Sequence[Sequence[int]], rules: tuple[int, int] = RULES
) -> Answer | None:
    """Return the best start and order of a day whose halts may come in any order.

    Parameters
    ----------
    task
        The frame of the day; its own legs and halts are not looked at.
    drives
        (n + 2, n + 2) time at the wheel from each to each [min]: the start, the halts, the end; no ferries.
    """
    if task.arrive_by < 0:
        return None
    writer, leave = _begin(task, rules)
    model, count = writer.model, len(halts)
    # here[k][i]: the place with number i is the k-th; the start is the 0th, the end the last.
    here = [[model.new_bool_var(f"{i} is {k}") for i in range(count + 2)] for k in range(count + 2)]
    for k in range(count + 2):
        model.add_exactly_one(here[k])
        model.add_exactly_one(here[j][k] for j in range(count + 2))
    model.add(here[0][0] == 1)
    model.add(here[count + 1][count + 1] == 1)
    most = max(max(row) for row in drives)
    at, since = leave, 0
    for k in range(count + 1):
        drive = model.new_int_var(0, most, f"drive {k}")
        for i in range(count + 1):
            for j in range(1, count + 2):
                if i != j:
                    model.add(drive == drives[i][j]).only_enforce_if(here[k][i], here[k + 1][j])
        at, since = writer.drive(at, since, drive, f"leg {k}")
        if k == count:
            break
        begin, goes = writer.minute(f"{k} begins"), writer.minute(f"{k} ends")
        model.add(begin >= at)
        for i, halt in enumerate(halts):
            model.add(goes >= begin + halt.minutes).only_enforce_if(here[k + 1][i + 1])
            writer.within(begin, halt.minutes, halt.windows, f"{k} at {i}", here[k + 1][i + 1])
        since = writer.rested(goes - at, since, f"halt {k}")
        at = goes
    return _answer(writer, task, leave, at, count, here)


def _order(solver: Any, here: Any, count: int) -> tuple[int, ...]:
    return tuple(next(i for i in range(count) if solver.value(here[k + 1][i + 1])) for k in range(count))
