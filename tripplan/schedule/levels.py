"""The level of each store along a path of arcs, day by day, in people's units: on the mean, and at the confidence."""

from __future__ import annotations

import numpy as np

from tripplan.model.plan import LevelLine
from tripplan.model.words import STORES, Store
from tripplan.schedule.follow import DayLevels, follow
from tripplan.schedule.lived import MOMENTS, Lived

__all__ = ["DayLevels", "follow", "level_lines"]

_SHOWN = [MOMENTS.index(name) for name in ("leave", "arrive", "worst", "end")]
_ARRIVE = MOMENTS.index("arrive")


def level_lines(lived: Lived) -> list[tuple[LevelLine, ...]]:
    """Return the lines of each day of a path."""
    from tripplan.van.limits import UNITS_PER, capacity, level_of_used, limit_level

    work, arcs = lived.work, lived.arcs
    van, p, pick_up = work.trip.van, work.problem, work.use.pick_up
    at_confidence, on_mean = lived.used()
    last = p.days - 1
    limits = [round(limit_level(van, s, battery_c=pick_up.battery_c, gas_c=pick_up.gas_c), 2) for s in STORES]
    out = []
    for d, arc in enumerate(arcs):
        lines = []
        for r, store in enumerate(STORES):
            if capacity(van, store) <= 0:
                continue
            served = []
            way = int(work.options.serves[arc]) >> r & 1
            if way:
                served.append("car" if work.options.car[arc] else "way")
            if d < last and int(p.leave_reset[p.arc_to[arc]]) >> r & 1:
                served.append("site")
            shown = []
            for used in (at_confidence, on_mean):
                row = used[d, [*_SHOWN[:3], _SHOWN[3] if d < last else _ARRIVE], r] * UNITS_PER[r]
                if store is not Store.BATTERY and lived.first[d, 0, r] and pick_up.overdue(d)[r]:
                    # Left alone before it is served, or used to its limit and no further.
                    begin = float(used[0, _SHOWN[0], r]) * UNITS_PER[r]
                    stays = max(begin, 0.0 if pick_up.empty[r] else float(pick_up.room[r]))
                    row[0] = stays if d else row[0]
                    row[1] = row[1] if way else stays
                    row[2:] = [stays, stays] if pick_up.overdue(d + 1)[r] else row[2:]
                    row[2] = max(row[2], row[0], stays)
                if d <= pick_up.until[r] and pick_up.dry[r]:  # a level past its limit, however unsure, is none past the brim
                    row = np.clip(row, 0.0, capacity(van, store) * UNITS_PER[r])
                shown.append(tuple(round(level_of_used(van, store, round(float(u), 6)), 2) for u in row))
            leave, arrive, worst, end = shown[0]
            lines.append(LevelLine(store.value, leave, arrive, worst, end, limits[r], "+".join(served), shown[1]))
        out.append(tuple(lines))
    return out
