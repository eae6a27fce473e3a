"""What to know before boarding: each crossing of a way, with what the map tells of its times, booking and days."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from tripplan.model.outfit import Outfit
from tripplan.model.plan import Leg
from tripplan.region.columns import Flag
from tripplan.region.region import Region
from tripplan.roads.speeds import DEFAULT_FERRY_WAIT_S
from tripplan.rules.speed import FERRY_KMH

__all__ = ["Crossing", "crossings", "sailing_time_s", "waiting_s"]


@dataclass(frozen=True, slots=True)
class Crossing:
    """One ferry from quay to quay.

    Parameters
    ----------
    osm_way
        First way of the map. name: as on the map, foreign text; may be empty.
    sailing_s, wait_s
        Time at sea and on the quay as counted in the plan [s]. sailing_tagged: whether the map tells the former.
    interval_s, check_in_s
        Time between departures, and how long before departure one has to be there [s]; NaN: the map is silent.
    booking
        What is tagged about reservations (``yes``, ``required`` ...); "" silent.
    booking_length_m
        Length to book: car and van together [m].
    sails
        When it sails, as tagged; "" silent.
    """

    osm_way: int
    name: str
    length_m: float
    sailing_s: float
    wait_s: float
    sailing_tagged: bool
    interval_s: float
    check_in_s: float
    booking: str
    booking_length_m: float
    sails: str

    def words(self) -> str:
        """Return one line for a day sheet."""
        parts = [f"{self.sailing_s / 60:.0f} min at sea" + ("" if self.sailing_tagged else " (by its length: ask)")]
        parts.append(f"{self.wait_s / 60:.0f} min on the quay counted")
        if math.isfinite(self.check_in_s):
            parts.append(f"be there {self.check_in_s / 60:.0f} min before departure")
        if self.booking.lower() not in ("no", "none"):
            asked = {"required": "booking required", "members_only": "booking for members only"}.get(self.booking.lower(), "")
            asked = asked or ("booking taken" if self.booking else "ask whether to book")
            parts.append(f"{asked}, for {self.booking_length_m:.1f} m of length")
        parts.append(f"sails {self.sails}" if self.sails else "ask on which days it sails")
        return f"Ferry{f' {self.name}' if self.name else ''}: " + "; ".join(parts)


def crossings(region: Region, leg: Leg, outfit: Outfit) -> tuple[Crossing, ...]:
    """Return the crossings of a leg in order of travel.

    Parameters
    ----------
    outfit
        What boards: the car alone or with the van.
    """
    ways, out = region.ways, []
    runs = leg.runs
    rows = [int(way) for way in region.pieces.way[np.array(runs.piece, np.int64)]]
    at = 0
    while at < len(rows):
        if not ways.flags[rows[at]] & Flag.FERRY:
            at += 1
            continue
        first = at
        at += 1
        # A pier on the way ends no crossing; where the plan counts another wait one changes boats.
        while at < len(rows) and ways.flags[rows[at]] & Flag.FERRY and not _boards(region, leg, at):
            at += 1
        way = rows[first]
        wait_s = waiting_s(float(ways.ferry_wait_s[way]), float(ways.ferry_check_in_s[way]))
        closed_when = region.string(int(ways.closed_when[way]))
        out.append(
            Crossing(
                osm_way=int(ways.osm_id[way]), name=region.string(int(ways.name[way])),
                length_m=sum(end - start for start, end in zip(runs.from_m[first:at], runs.to_m[first:at], strict=True)),
                sailing_s=max(0.0, sum(runs.time_s[first:at]) - wait_s), wait_s=wait_s,
                sailing_tagged=all(math.isfinite(float(ways.ferry_s[row])) for row in rows[first:at]),
                interval_s=float(ways.ferry_wait_s[way]), check_in_s=float(ways.ferry_check_in_s[way]),
                booking=region.string(int(ways.ferry_booking[way])), booking_length_m=outfit.length_m,
                sails=closed_when.partition("sails @ (")[2].rstrip(")") if "sails @ (" in closed_when else "",
            )
        )  # fmt: skip
    return tuple(out)


def _boards(region: Region, leg: Leg, row: int) -> bool:
    """Whether the time of a piece of ferry holds a wait on the quay: more than half of it stands beyond the time at sea."""
    ways, way = region.ways, int(region.pieces.way[leg.runs.piece[row]])
    wait_s = waiting_s(float(ways.ferry_wait_s[way]), float(ways.ferry_check_in_s[way]))
    whole_m = float(region.pieces.length_m[region.pieces.way == way].sum())
    sailing_s = (
        sailing_time_s(float(ways.ferry_s[way]), whole_m) * (leg.runs.to_m[row] - leg.runs.from_m[row]) / max(whole_m, 1e-9)
    )
    return wait_s > 0 and leg.runs.time_s[row] > sailing_s + wait_s / 2


def sailing_time_s(tagged_s: float, length_m: float) -> float:
    """Return the time at sea of a whole way [s]: as tagged, else by its length."""
    return tagged_s if math.isfinite(tagged_s) and tagged_s > 0 else length_m * 3.6 / FERRY_KMH


def waiting_s(interval_s: float, check_in_s: float) -> float:
    """Return the time counted on the quay [s]: the whole interval, or half an hour, and the check-in before it."""
    if not (math.isfinite(interval_s) and interval_s >= 0):
        interval_s = DEFAULT_FERRY_WAIT_S
    return interval_s + (check_in_s if math.isfinite(check_in_s) and check_in_s > 0 else 0.0)
