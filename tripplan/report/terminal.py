"""The levels of all stores over a trip for a terminal: one line a store, a bar a day, a mark where it is served."""

from __future__ import annotations

from tripplan.model.plan import Plan
from tripplan.report import say
from tripplan.report.chart import Strip, levels_of
from tripplan.report.language import tell

__all__ = ["can_show_bars", "levels_lines"]

#: Bars from empty to full, and the mark of a service; plain letters where the terminal has no bars.
_BARS, _MARK = "▁▂▃▄▅▆▇█", "▾"
_DIGITS, _PLAIN_MARK = "01234567", "'"
#: Columns for the name of a store and for its limit.
_NAME, _LIMIT = 17, 26


def can_show_bars(encoding: str | None) -> bool:
    """Return whether text in an encoding can hold the bars."""
    try:
        (_BARS + _MARK).encode(encoding or "ascii")
    except (UnicodeEncodeError, LookupError):
        return False
    return True


def levels_lines(plan: Plan, *, bars: bool = True, width: int = 80) -> list[str]:
    """Return the lines: for each day the level that comes nearest to the limit, as a bar, and a mark where the store is served.

    Parameters
    ----------
    bars
        Whether block characters may be used; else digits, 0 empty to 7 full.
    width
        Columns of the terminal; a trip that is longer goes on below.
    """
    chart = levels_of(plan)
    if not chart.strips or not chart.days:
        return []
    name = max(_NAME - 1, *(len(strip.name) for strip in chart.strips))
    per_row = max(7, (max(width, 60) - name - 1 - _LIMIT) // 2)
    mark, shapes = (_MARK, _BARS) if bars else (_PLAIN_MARK, _DIGITS)
    scale = tell("{empty} empty, {full} full; {mark} filled, emptied or exchanged", empty=shapes[0], full=shapes[-1], mark=mark)
    lines = [tell("How full each is when it is tightest, day by day ({scale}):", scale=scale)]
    for low in range(0, len(chart.days), per_row):
        days = chart.days[low : low + per_row]
        lines.append(f"{tell('day'):>{name}} " + "".join(_number(i, days) for i in range(len(days))).rstrip())
        for strip in chart.strips:
            cells = "".join(_cell(strip, day, plan, shapes, mark) for day in days)
            bound = f" {strip.bound}" if low + per_row >= len(chart.days) else ""
            lines.append(f"{strip.name:>{name}} {cells}{bound}".rstrip())
    return lines


def _number(i: int, days: tuple[int, ...]) -> str:
    """Return two columns of the line of days: the first and every fifth; numbers of two digits fill both, so two never touch."""
    return f"{days[i]:<2}" if i == 0 or (days[i] % 5 == 0 and i > 1) else "  "


def _cell(strip: Strip, day: int, plan: Plan, shapes: str, mark: str) -> str:
    """Return bar and mark of one day."""
    line = next((line for d in plan.days if d.number == day for line in d.levels if line.store == strip.store), None)
    if line is None:
        return "  "
    # A level above empty never looks empty, one that is not full never full.
    share = strip.share(say.nearest_level(line))
    steps = len(shapes) - 1
    step = 0 if share <= 0.005 else steps if share >= 0.995 else min(steps - 1, max(1, round(share * steps)))
    return shapes[step] + (mark if line.served else " ")
