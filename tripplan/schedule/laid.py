"""Days laid out by the model, kept on disk by their content: what was answered once is not asked again."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

from tripplan.model.leftovers import keep
from tripplan.schedule.day import DayTask, kept, spare

__all__ = ["LaidDay", "lay_days"]


@dataclass(frozen=True, slots=True)
class LaidDay:
    """How a day is spent: its start [min after midnight], and how much later each halt and the arrival could be [min]."""

    leave: int
    spare: tuple[int, ...]


@lru_cache(maxsize=1)
def _code() -> str:
    """Digest of the code whose answers are kept."""
    from tripplan.roads.store import digest

    here = Path(__file__).parent
    return digest(*((here / name).read_bytes() for name in ("day.py", "day_model.py", "laid.py")))


def lay_days(tasks: Sequence[DayTask], cache: Path | None = None) -> list[LaidDay | None]:
    """Lay days out; ``None`` for one that cannot be kept.

    Parameters
    ----------
    cache
        Folder of prepared files. With all days known the solver is not even loaded.
    """
    from tripplan.roads.store import digest

    file = cache / "days" / f"{digest(_code(), *tasks)}.json" if cache is not None else None
    known = _read(file, tasks) if file is not None else None
    if known is not None:
        return known
    answers = {task: _lay(task) for task in dict.fromkeys(tasks)}
    laid = [answers[task] for task in tasks]
    if file is not None:
        _write(file, laid)
    return laid


def _lay(task: DayTask) -> LaidDay | None:
    from tripplan.schedule.day_model import solve_day

    answer = solve_day(task)
    return LaidDay(answer.leave, spare(task, answer.leave)) if answer is not None else None


def _read(file: Path, tasks: Sequence[DayTask]) -> list[LaidDay | None] | None:
    """Return what a file says, if that can be."""
    try:
        rows = json.loads(file.read_text(encoding="ascii"))
        laid = [LaidDay(int(row[0]), tuple(int(n) for n in row[1])) if row is not None else None for row in rows]
    except (OSError, ValueError, TypeError, LookupError):
        return None
    whole = len(laid) == len(tasks) and all(
        day is None or (len(day.spare) == len(task.halts) + 1 and kept(task, day.leave) is not None)
        for day, task in zip(laid, tasks, strict=True)
    )
    return laid if whole else None


def _write(file: Path, laid: Sequence[LaidDay | None]) -> None:
    """Write whole or not at all; a folder that cannot be written only costs the next run its time."""
    text = json.dumps([[day.leave, list(day.spare)] if day is not None else None for day in laid])
    keep(file, lambda out: out.write(text.encode("ascii")))
