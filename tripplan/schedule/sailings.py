"""The ferries of a leg for the clock: where on the leg each lies, what waiting and sailing take, and when it departs."""

from __future__ import annotations

from datetime import date

import numpy as np

from tripplan.model.outfit import Outfit
from tripplan.model.plan import Leg
from tripplan.region.columns import Flag
from tripplan.region.region import Region
from tripplan.schedule.day import LegTask, Sailing, Windows

__all__ = ["leg_task", "minutes_up"]


def minutes_up(seconds: float) -> int:
    """Return seconds as whole minutes, rounded up; what a rounding error adds is not counted."""
    return int(-(-round(seconds, 3) // 60))


def leg_task(region: Region, day: date, drive_s: int, total_s: int, leg: Leg | None, outfit: Outfit) -> LegTask:
    """Return a leg for the clock.

    Parameters
    ----------
    day
        Its date.
    drive_s, total_s
        As the table of times says [s].
    leg
        The way itself, for legs with a ferry; ``None``: where the ferry lies is not known, it is taken for the end.
    outfit
        What boards.
    """
    if total_s <= drive_s:
        return LegTask(minutes_up(drive_s))
    if leg is None:
        return LegTask(0, (Sailing(minutes_up(drive_s), 0, minutes_up(total_s - drive_s)),))
    from tripplan.roads.ferries import crossings

    found = crossings(region, leg, outfit)
    if not found:
        return LegTask(0, (Sailing(minutes_up(drive_s), 0, minutes_up(total_s - drive_s)),))
    before = _before_each(region, leg, [c.sailing_s + c.wait_s for c in found])
    sailings = [
        Sailing(minutes_up(ahead), minutes_up(c.wait_s), minutes_up(c.sailing_s), departures(region, c.sails, day))
        for c, ahead in zip(found, before, strict=True)
    ]
    rest = max(0.0, drive_s - sum(before))
    return LegTask(minutes_up(rest), tuple(sailings))


def _before_each(region: Region, leg: Leg, afloat_s: list[float]) -> list[float]:
    """Return the time at the wheel before each crossing, since the one before [s]."""
    ferry = (region.ways.flags[region.pieces.way[np.array(leg.runs.piece, dtype=np.int64)]] & int(Flag.FERRY)) != 0
    out: list[float] = []
    driven = at_sea = 0.0
    for is_ferry, seconds in zip(ferry.tolist(), leg.runs.time_s, strict=True):
        if not is_ferry:
            driven += seconds
            continue
        # A new crossing begins where those before are over.
        if at_sea >= sum(afloat_s[: len(out)]) - 1 and len(out) < len(afloat_s):
            out.append(driven)
            driven = 0.0
        at_sea += seconds
    return out + [0.0] * (len(afloat_s) - len(out))


def departures(region: Region, text: str, day: date) -> Windows:
    """Return from when to when a ferry departs on a date [min after midnight]; ``None``: not told, or not readable."""
    if not text.strip():
        return None
    from tripplan.almanac.hours import windows

    west, south, east, north = region.meta.bbox
    lon = (west + (east - west) % 360 / 2 + 180) % 360 - 180
    found = windows(text, day, 0, 1440, region.meta.country, lon, (south + north) / 2)
    if found.open is None or found.windows == ((0, 1440),):
        return None
    return found.windows
