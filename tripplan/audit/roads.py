"""Every metre of road of a plan, held against the region: surface, access, size, closures, turns, length, speed.

Written from the rules alone. It shares no code with the search for ways: it takes the pieces that the plan names and
asks of each whether this outfit may be there, on that date, in that direction.
"""

from __future__ import annotations

from collections import defaultdict
from datetime import date

import numpy as np
from numpy.typing import NDArray

from tripplan.audit.findings import Findings
from tripplan.audit.spots import apart, great_circle, metres
from tripplan.model.outfit import Outfit
from tripplan.model.place import Spot
from tripplan.model.plan import Day, Leg, Plan
from tripplan.model.words import Surface
from tripplan.region.columns import HIGHWAYS, HOLDS_CAR, HOLDS_TOW, Access, Flag
from tripplan.region.region import Region
from tripplan.region.through import tow_access

__all__ = ["audit_roads"]

#: Classes of untagged road that may be a last mile.
_LAST_MILE = tuple(HIGHWAYS.index(h) for h in ("service", "residential", "unclassified"))
_JOIN_SLACK_M = 25.0
_FARTHEST_JOIN_M = 2_500.0
_LENGTH_SLACK = 0.002

B1 = NDArray[np.bool_]
F64 = NDArray[np.float64]
I64 = NDArray[np.int64]


def audit_roads(plan: Plan, region: Region, found: Findings) -> None:
    """Check each leg of each day and how the legs hang together.

    Parameters
    ----------
    plan, region
        The plan and the map it was made on.
    found
        Findings are added here.
    """
    turns = _turn_table(region)
    for day in plan.days:
        vans = [leg for leg in day.legs if leg.mode == "van"]
        for leg in day.legs:
            _Leg(plan, region, day, leg, found).check(
                turns,
                first=not vans or leg is vans[0] or leg.mode == "car",
                last=not vans or leg is vans[-1] or leg.mode == "car",
            )
        _chain(day, found)


def _chain(day: Day, found: Findings) -> None:
    """Legs follow one another from where the day starts to where it ends."""
    at = day.start
    for leg in day.legs:
        found.unless(
            not apart(leg.start, at),
            "broken chain",
            day.number,
            f"a leg starts at {leg.start.name!r} but the party is at {at.name!r}",
        )
        at = leg.end
    found.unless(
        not apart(at, day.end), "broken chain", day.number, f"the day ends at {day.end.name!r} but the legs end at {at.name!r}"
    )


def _turn_table(region: Region) -> dict[int, list[int]]:
    """Rows of `Turns` by the piece they begin on."""
    table: dict[int, list[int]] = defaultdict(list)
    turns = region.turns
    for row in range(len(turns.osm_id)):
        table[int(turns.pieces[turns.ptr[row]])].append(row)
    return table


class _Leg:
    """One leg with its pieces as arrays, ready to be questioned."""

    def __init__(self, plan: Plan, region: Region, day: Day, leg: Leg, found: Findings) -> None:
        self.trip = plan.trip
        self.region = region
        self.day = day
        self.leg = leg
        self.found = found
        self.van = leg.mode == "van"
        self.outfit: Outfit = plan.trip.outfit if self.van else plan.trip.car
        runs = leg.runs
        self.piece: I64 = np.array(runs.piece, dtype=np.int64)
        self.forward: B1 = np.array(runs.forward, dtype=np.bool_)
        self.start_m: F64 = np.array(runs.from_m, dtype=np.float64)
        self.end_m: F64 = np.array(runs.to_m, dtype=np.float64)
        self.time_s: F64 = np.array(runs.time_s, dtype=np.float64)

    def add(self, what: str, amount: float, unit: str, text: str) -> None:
        where = f"{self.leg.start.name} to {self.leg.end.name}"
        self.found.add(what, self.day.number, amount, unit, f"{text} ({self.leg.mode}, {where})")

    def check(self, turns: dict[int, list[int]], *, first: bool, last: bool) -> None:
        columns = {len(c) for c in (self.piece, self.forward, self.start_m, self.end_m, self.time_s)}
        pieces = self.region.pieces
        if len(columns) != 1:
            self.add("broken columns", 1, "", "the columns of the road pieces differ in length")
            return
        if not len(self.piece):
            if apart(self.leg.start, self.leg.end) and self.leg.length_m > 0:
                self.add("no road", self.leg.length_m, "m", "a leg names no road")
            elif apart(self.leg.start, self.leg.end):
                gap = metres(self.leg.start, self.leg.end)
                if gap > 300:
                    self.add("no road", gap, "m", "a leg names no road though its ends lie apart")
            return
        if (self.piece < 0).any() or (self.piece >= len(pieces.way)).any():
            self.add("no such road", 1, "", "a road piece that the region does not have")
            return
        if self.leg.mode not in ("van", "car"):
            self.add("mode", 1, "", f"unknown mode {self.leg.mode!r}")
            return
        self.way = pieces.way[self.piece].astype(np.int64)
        self.whole = pieces.length_m[self.piece]
        self.driven = self.end_m - self.start_m
        self.ferry = (self.region.ways.flags[self.way] & int(Flag.FERRY)) != 0
        self._lengths()
        self._hangs_together()
        self._direction()
        self._surface(first=first, last=last)
        self._access()
        self._size()
        self._closures()
        self._barriers()
        self._turns(turns)
        self._off_limits()
        self._speed()
        self._ends()

    def _name(self, row: int) -> str:
        ways = self.region.ways
        way = int(self.way[row])
        name = (
            self.region.string(int(ways.name[way])) or self.region.string(int(ways.ref[way])) or HIGHWAYS[int(ways.highway[way])]
        )
        return f"{name} (way {int(ways.osm_id[way])})"

    def _list(self, bad: B1, what: str, words: str) -> None:
        """One finding for all bad pieces of a kind: total length and the first of them by name."""
        if bad.any():
            first = int(np.flatnonzero(bad)[0])
            metres = float(self.driven[bad].sum())
            self.add(what, metres, "m", f"{metres:.0f} m {words}, first on {self._name(first)}")

    def _lengths(self) -> None:
        bad = (self.start_m < -0.5) | (self.end_m > self.whole + 0.5) | (self.driven < -0.01)
        self._list(bad, "outside the piece", "outside the piece of road they are said to be on")
        pieces = self.region.pieces
        true = 0.0
        for row in range(len(self.piece)):
            a, b = int(pieces.ptr[self.piece[row]]), int(pieces.ptr[self.piece[row] + 1])
            line = np.column_stack([pieces.lon_e7[a:b], pieces.lat_e7[a:b]]) / 1e7
            length = float(great_circle(line).sum())
            share = self.driven[row] / self.whole[row] if self.whole[row] > 0 else 0.0
            true += length * share
        if abs(true - self.leg.length_m) > _LENGTH_SLACK * true + 5:
            self.add("length", self.leg.length_m - true, "m", f"the plan says {self.leg.length_m:.0f} m, the map {true:.0f} m")

    def _hangs_together(self) -> None:
        pieces = self.region.pieces
        enter = np.where(self.forward, pieces.a[self.piece], pieces.b[self.piece])
        leave = np.where(self.forward, pieces.b[self.piece], pieces.a[self.piece])
        self.passed = leave[:-1].astype(np.int64)
        gap = leave[:-1] != enter[1:]
        short = (np.abs(self.end_m[:-1] - self.whole[:-1]) > 0.5) | (np.abs(self.start_m[1:]) > 0.5)
        if gap.any() or short.any():
            row = int(np.flatnonzero(gap | short)[0])
            self.add("broken way", float((gap | short).sum()), "places", f"the road does not go on after {self._name(row)}")

    def _direction(self) -> None:
        oneway = self.region.ways.oneway[self.way]
        self._list(((oneway == 1) & ~self.forward) | ((oneway == -1) & self.forward), "against one-way", "against a one-way road")

    def _surface(self, *, first: bool, last: bool) -> None:
        surface = self.region.ways.surface[self.way]
        presumed = float(self.driven[(surface == Surface.PRESUMED) & ~self.ferry].sum())
        unknown = float(self.driven[(surface == Surface.UNKNOWN) & ~self.ferry].sum())
        for said, true, word in ((self.leg.presumed_m, presumed, "presumed"), (self.leg.unknown_m, unknown, "unknown")):
            if abs(said - true) > 0.01 * true + 5:
                self.add(
                    f"{word} metres", said - true, "m", f"the plan says {said:.0f} m of {word} surface, the map {true:.0f} m"
                )
        if not self.van and self.trip.firm.car_surface == "any":
            return
        self._list((surface == Surface.UNSEALED) & ~self.ferry, "unsealed", "of unsealed road")
        bad = (surface == Surface.UNKNOWN) & ~self.ferry
        if not bad.any():
            return
        highway = self.region.ways.highway[self.way]
        self._list(
            bad & ~np.isin(highway, _LAST_MILE), "unknown surface", "of unknown surface on a road that may not be a last mile"
        )
        at_stops = self.trip.firm.last_mile_at_stops
        allowed = self.trip.firm.last_mile_m + 1.0
        # A last mile hangs on an end: everything from the end up to its last unknown metre counts by its unknown metres.
        split = self._middle(bad)
        head, tail = float(self.driven[:split][bad[:split]].sum()), float(self.driven[split:][bad[split:]].sum())
        for driven, is_end, word in ((head, first, "start"), (tail, last, "end")):
            limit = allowed if (is_end or at_stops) else 0.0
            if driven > limit:
                self.add(
                    "unknown surface",
                    driven - limit,
                    "m",
                    f"{driven:.0f} m of unknown surface at the {word}, {limit:.0f} m allowed",
                )

    def _middle(self, bad: B1) -> int:
        """Row at which the head of a leg ends and its tail begins: the longest run of good road, whole leg otherwise halved."""
        good_m = np.where(bad, 0.0, self.driven)
        edges = np.flatnonzero(np.diff(np.concatenate(([True], bad, [True])).astype(np.int8)))
        best, at = -1.0, len(bad) if bad[0] else 0
        for begin, end in zip(edges[0::2], edges[1::2], strict=True):
            total = float(good_m[begin:end].sum())
            if total > best:
                best, at = total, int(begin)
        return at

    def _access(self) -> None:
        ways = self.region.ways
        access = (tow_access(self.region, self.outfit) if self.van else ways.car_access)[self.way]
        self._list(access == Access.CLOSED, "closed", "of road closed to " + ("a car with a van" if self.van else "cars"))
        ends = access == Access.ENDS_ONLY
        inner = ~ends
        if ends.any() and inner.any():
            begin, end = int(np.argmax(inner)), len(inner) - int(np.argmax(inner[::-1]))
            self._list(
                ends & (np.arange(len(ends)) >= begin) & (np.arange(len(ends)) < end),
                "through traffic",
                "of road that is no through road for us",
            )

    def _size(self) -> None:
        if not self.van:
            return
        ways, o = self.region.ways, self.outfit
        for limit, need, what in (
            (ways.max_height_m, o.height_m + o.height_clearance_m, "height"),
            (ways.max_width_m, o.width_m + o.width_clearance_m, "width"),
            (ways.max_length_m, o.length_m, "length"),
            (ways.max_weight_kg, o.mass_kg, "weight"),
            (ways.max_axle_kg, o.axle_load_kg, "axle load"),
        ):
            with np.errstate(invalid="ignore"):
                self._list(limit[self.way] < need - 1e-4, what, f"past a {what} limit below {need:g}")

    def _closures(self) -> None:
        from tripplan.rules.closed import closed_on

        closed_when = self.region.ways.closed_when[self.way]
        for number in np.unique(closed_when[closed_when >= 0]):
            raw = self.region.string(int(number))
            if self._shut(closed_on(raw, self._date(), hours=self.trip.road_hours, outfit=self.outfit)):
                self._list(closed_when == number, "closed that day", f"of road closed on {self._date():%d %b}")

    @staticmethod
    def _shut(answer: bool | None) -> bool:
        return bool(answer)

    def _date(self) -> date:
        return self.day.date

    def _barriers(self) -> None:
        junctions = self.region.junctions
        blocks = (junctions.blocks_tow if self.van else junctions.blocks_car)[self.passed]
        shut = np.flatnonzero(blocks == Access.CLOSED)
        if len(shut):
            what = self.region.string(int(junctions.barrier[self.passed[shut[0]]])) or "barrier"
            self.add("barrier", float(len(shut)), "places", f"a {what} after {self._name(int(shut[0]))} lets the outfit not pass")
        o = self.outfit
        for limit, need, what in (
            (junctions.max_height_m, o.height_m + o.height_clearance_m, "height"),
            (junctions.max_width_m, o.width_m + o.width_clearance_m, "width"),
            (junctions.max_weight_kg, o.mass_kg, "weight"),
        ):
            with np.errstate(invalid="ignore"):
                low = np.flatnonzero(limit[self.passed] < need - 1e-4)
            if len(low):
                where = self._name(int(low[0]))
                self.add(what, float(len(low)), "places", f"past a {what} limit below {need:g} at a point after {where}")

    def _turns(self, table: dict[int, list[int]]) -> None:
        # A car alone may turn round on a road; where it may not, the turn restrictions below say so.
        back = (self.piece[1:] == self.piece[:-1]) & (self.forward[1:] != self.forward[:-1])
        if self.van and back.any():
            self.add(
                "turning round",
                float(back.sum()),
                "places",
                f"turns round on the road, on {self._name(int(np.flatnonzero(back)[0]))}",
            )
        turns = self.region.turns
        path = self.piece.tolist()
        for row in range(len(path) - 1):
            for turn in table.get(path[row], ()):
                if turns.via[turn] != self.passed[row] or not turns.holds_for[turn] & (HOLDS_TOW if self.van else HOLDS_CAR):
                    continue
                if turns.when[turn] >= 0 and not self._holds(self.region.string(int(turns.when[turn]))):
                    continue
                rule = turns.pieces[turns.ptr[turn] : turns.ptr[turn + 1]].tolist()
                ahead = path[row : row + len(rule)]
                if turns.only[turn]:
                    broken = len(ahead) == len(rule) and ahead[:-1] == rule[:-1] and ahead[-1] != rule[-1]
                else:
                    broken = ahead == rule
                if broken:
                    self.add("turn", 1, "", f"breaks turn restriction {int(turns.osm_id[turn])} after {self._name(row)}")

    def _holds(self, when: str) -> bool:
        """Whether a turn restriction with a condition holds for this outfit on this date."""
        from tripplan.rules.turns import in_force

        return in_force(when, self._date(), self.region.meta.country, outfit=self.outfit, hours=self.trip.road_hours)

    def _off_limits(self) -> None:
        for name, ring in self.trip.firm.areas_off_limits:
            hit = np.array([self._touches(int(p), ring) for p in self.piece], dtype=np.bool_)
            self._list(hit, "off limits", f"inside {name!r}, which the hire firm has put off limits")

    def _touches(self, piece: int, ring: tuple[tuple[float, float], ...]) -> bool:
        pieces = self.region.pieces
        a, b = int(pieces.ptr[piece]), int(pieces.ptr[piece + 1])
        x, y = pieces.lon_e7[a:b] / 1e7, pieces.lat_e7[a:b] / 1e7
        inside = np.zeros(len(x), dtype=np.bool_)
        corner = np.array(ring, dtype=np.float64)
        for (x1, y1), (x2, y2) in zip(corner, np.roll(corner, -1, axis=0), strict=True):
            crosses = (y1 > y) != (y2 > y)
            with np.errstate(divide="ignore", invalid="ignore"):
                inside ^= crosses & (x < (x2 - x1) * (y - y1) / (y2 - y1) + x1)
        return bool(inside.any())

    def _speed(self) -> None:
        """No piece is driven faster than the outfit, the sign, or the sign for trailers allows."""
        ways = self.region.ways
        posted = np.where(self.forward, ways.speed_fwd[self.way], ways.speed_bwd[self.way]).astype(np.float64)
        top = np.fmin(posted, self.outfit.towing_limit_kmh)
        if self.van:
            top = np.fmin(top, ways.speed_trailer[self.way])
            top = np.fmin(top, self.trip.firm.towing_limit_kmh)
        least = self.driven / (top / 3.6)
        fast = (self.time_s < least * 0.995 - 0.2) & ~self.ferry
        self._list(fast, "too fast", "driven faster than is allowed")
        drive, ferry = float(self.time_s[~self.ferry].sum()), float(self.time_s[self.ferry].sum())
        if abs(drive - self.leg.drive_s) > 2 + 0.001 * drive:
            self.add(
                "driving time",
                self.leg.drive_s - drive,
                "s",
                f"the plan says {self.leg.drive_s:.0f} s at the wheel, its pieces {drive:.0f} s",
            )
        if ferry > self.leg.ferry_s + 2:
            self.add("ferry time", ferry - self.leg.ferry_s, "s", "the ferry takes longer than the plan says")
        if self.ferry.any() and not (self.trip.ferries and self.trip.firm.ferries_allowed):
            self._list(self.ferry, "ferry", "by ferry, which the trip or the firm rules out")
        toll = (ways.flags[self.way] & int(Flag.TOLL)) != 0
        if not self.trip.tolls:
            self._list(toll, "toll", "of toll road, which the trip rules out")
            what = self.region.junctions.barrier[self.passed]
            booths = sum(self.region.string(number).startswith("toll_booth") for number in what[what >= 0].tolist())
            if booths:
                self.add("toll", float(booths), "places", "past a toll booth, though the trip rules tolls out")

    def _ends(self) -> None:
        """The road begins and ends at the places it is said to join."""
        for at_end, spot in ((False, self.leg.start), (True, self.leg.end)):
            lon, lat = self._point(-1 if at_end else 0, at_end=at_end)
            gap = min(metres(Spot("", "", lon, lat), Spot("", "", *point)) for point in self._points_of(spot))
            if gap > min(self.leg.off_road_m, _FARTHEST_JOIN_M) + _JOIN_SLACK_M:
                self.add("not at the place", gap, "m", f"the road ends {gap:.0f} m from {spot.name!r}")

    def _points_of(self, spot: Spot) -> list[tuple[float, float]]:
        """Where one may say to be at a spot: its point, and the entrances of a site that is an area."""
        known = 0 <= spot.place < len(self.region.places)
        return [(spot.lon, spot.lat), *(self.region.places[spot.place].entrances if known else ())]

    def _point(self, row: int, *, at_end: bool) -> tuple[float, float]:
        pieces = self.region.pieces
        a, b = int(pieces.ptr[self.piece[row]]), int(pieces.ptr[self.piece[row] + 1])
        line = np.column_stack([pieces.lon_e7[a:b], pieces.lat_e7[a:b]]) / 1e7
        if not self.forward[row]:
            line = line[::-1]
        along = np.concatenate(([0.0], np.cumsum(great_circle(line))))
        at = (self.end_m if at_end else self.start_m)[row]
        if self.whole[row] > 0:
            at *= along[-1] / self.whole[row]
        return float(np.interp(at, along, line[:, 0])), float(np.interp(at, along, line[:, 1]))
