"""Random days for the clock, and the slow truth about them: every minute of the day, every choice of what to do in it."""

from __future__ import annotations

import random

from tripplan.schedule.day import DayTask, Halt, LegTask, Sailing, Windows


def random_day(seed: int, *, scale: int = 1, ferries: bool = True) -> DayTask:
    """Return a day with up to three halts; ``scale`` divides all times, for the brute force."""
    r = random.Random(seed)

    def number(low: int, high: int) -> int:
        return r.randint(low // scale, high // scale)

    def windows(low: int, high: int) -> Windows:
        if r.random() < 0.35:
            return None
        out, at = [], low // scale
        for _ in range(r.randint(1, 3)):
            if at >= high // scale - 1:
                break
            opens = r.randint(at, high // scale - 1)
            shuts = r.randint(opens + 1, high // scale)
            out.append((opens, shuts))
            at = shuts
        return tuple(out)

    def leg() -> LegTask:
        boats: tuple[Sailing, ...] = ()
        if ferries and r.random() < 0.3:
            boats = tuple(
                Sailing(number(0, 100), number(0, 40), number(5, 60), windows(450, 1200)) for _ in range(r.randint(1, 2))
            )
        return LegTask(number(0, 200), boats)

    halts = r.randint(0, 3)
    first = number(380, 640)
    return DayTask(
        first, first + number(0, 200), number(760, 1320), tuple(leg() for _ in range(halts + 1)),
        tuple(Halt(number(*r.choice([(5, 14), (15, 15), (20, 20), (60, 60), (90, 120)])), windows(400, 1200)) for _ in range(halts)),
        windows(450, 1300), number(*r.choice([(0, 0), (60, 60)])), number(600, 630), number(0, 720), number(840, 1020),
    )  # fmt: skip


def earliest_by_minutes(task: DayTask, leave: int, rules: tuple[int, int]) -> int | None:
    """Return the earliest minute at which a day that starts at a time can end, by trying what can be done in every minute.

    A state is where one is: which leg, boat or halt, how much of it is done, minutes at the wheel since the last rest, and minutes rested in
    a row, the latter two capped where more makes no difference. In a minute one drives on, does the next minute of a visit or a
    crossing, or rests.
    """
    every, rest = rules
    steps: list[tuple[str, int, Windows, int]] = []
    for k, leg in enumerate(task.legs):
        for boat in leg.sailings:
            steps += [("drive", boat.after, None, 0), ("sea", boat.wait + boat.sea, boat.windows, boat.wait)]
        steps.append(("drive", leg.drive, None, 0))
        if k < len(task.halts):
            steps.append(("halt", task.halts[k].minutes, task.halts[k].windows, 0))
    states = {(0, 0, 0, 0)}
    for now in range(leave, task.arrive_by + 1):
        seen = set()
        stack = list(states)
        while stack:  # what takes no time
            state = stack.pop()
            if state in seen:
                continue
            seen.add(state)
            step, done, since, idle = state
            if idle >= rest and since:
                stack.append((step, done, 0, idle))
            if step < len(steps) and done == steps[step][1] and (done or _may_begin(steps[step], now)):
                stack.append((step + 1, 0, since, idle if steps[step][0] == "halt" or not done else 0))
        if any(step == len(steps) for step, *_ in seen) and _open(now, task.end_minutes, task.end_windows):
            return now
        following = set()
        for step, done, since, idle in seen:
            if step == len(steps):
                following.add((step, done, since, idle))
                continue
            kind, whole, _, _ = steps[step]
            if kind == "drive":
                if done < whole and since < every:
                    following.add((step, done + 1, since + 1, 0))
                following.add((step, done, since, min(idle + 1, rest)))
            elif (done or _may_begin(steps[step], now)) and done < whole:
                following.add((step, done + 1, since, min(idle + 1, rest) if kind == "halt" else 0))
            if not done and kind != "drive":
                following.add((step, done, since, min(idle + 1, rest)))
        states = following
    return None


def _may_begin(step: tuple[str, int, Windows, int], now: int) -> bool:
    kind, whole, windows, wait = step
    if kind == "drive":
        return True
    return _open(now, whole, windows) if kind == "halt" else _open(now + wait, 0, windows)


def _open(at: int, minutes: int, windows: Windows) -> bool:
    return windows is None or any(a <= at and at + minutes <= b for a, b in windows)
