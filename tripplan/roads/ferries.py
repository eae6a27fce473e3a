"""What to know before boarding: each crossing of a way, with what the map tells of its times, booking and days."""

from __future__ import annotations

import math
from dataclasses import dataclass

from tripplan.model.outfit import Outfit
from tripplan.model.plan import Leg
from tripplan.region.columns import Flag
from tripplan.region.region import Region
from tripplan.roads.speeds import DEFAULT_FERRY_WAIT_S

__all__ = ["Crossing", "crossings"]


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
    at = 0
    while at < len(runs.piece):
        if not ways.flags[region.pieces.way[runs.piece[at]]] & Flag.FERRY:
            at += 1
            continue
        first = at
        while at < len(runs.piece) and ways.flags[region.pieces.way[runs.piece[at]]] & Flag.FERRY:
            at += 1
        rows = [int(region.pieces.way[piece]) for piece in runs.piece[first:at]]
        way = rows[0]
        wait_s = waiting_s(float(ways.ferry_wait_s[way]), float(ways.ferry_check_in_s[way]))
        closed_when = region.string(int(ways.closed_when[way]))
        out.append(
            Crossing(
                osm_way=int(ways.osm_id[way]), name=region.string(int(ways.name[way])),
                length_m=sum(end - start for start, end in zip(runs.from_m[first:at], runs.to_m[first:at], strict=True)),
                sailing_s=max(0.0, sum(runs.time_s[first:at]) - wait_s), wait_s=wait_s,
                sailing_tagged=all(math.isfinite(float(ways.ferry_s[row])) for row in rows),
                interval_s=float(ways.ferry_wait_s[way]), check_in_s=float(ways.ferry_check_in_s[way]),
                booking=region.string(int(ways.ferry_booking[way])), booking_length_m=outfit.length_m,
                sails=closed_when.partition("sails @ (")[2].rstrip(")") if "sails @ (" in closed_when else "",
            )
        )  # fmt: skip
    return tuple(out)


def waiting_s(interval_s: float, check_in_s: float) -> float:
    """Return the time counted on the quay [s]: the whole interval, or half an hour, and the check-in before it."""
    if not (math.isfinite(interval_s) and interval_s >= 0):
        interval_s = DEFAULT_FERRY_WAIT_S
    return interval_s + (check_in_s if math.isfinite(check_in_s) and check_in_s > 0 else 0.0)
