"""A plan made on an older map, put on today's: places by their identity, roads by the line that was driven."""

from __future__ import annotations

import json
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from tripplan.model.errors import BadInputError
from tripplan.model.plan import Finding, Leg, PieceRun, Plan
from tripplan.model.words import Surface
from tripplan.region.columns import Flag
from tripplan.region.geometry import great_circle_m, piece_line, run_line
from tripplan.region.region import Region
from tripplan.region.same_places import SamePlaces

if TYPE_CHECKING:
    from tripplan.model.trip import Trip

__all__ = ["Carried", "Lines", "carry", "lines_of_papers", "lines_of_region"]

F64 = NDArray[np.float64]
#: Line of each leg by day and place in the day.
Lines = Mapping[tuple[int, int], F64]

#: Points are the same where they agree to so many degrees; a point lies on a road within so much of it [m].
_GRID, _ON_M = 1e-6, 2.0
#: New points between two old ones on the same road: at most so many.
_BETWEEN = 25


@dataclass(frozen=True)
class Carried:
    """A plan on today's map.

    Parameters
    ----------
    changed
        What of it is not as it was: places gone or moved, roads drawn otherwise.
    unknown_ways
        Legs whose driven line nobody knows any more: today's quickest way stands for them.
    """

    plan: Plan
    changed: tuple[Finding, ...] = ()
    unknown_ways: int = 0


def lines_of_region(plan: Plan, region: Region) -> Lines:
    """Return the line of each leg on the map that the plan was made on.

    Raises
    ------
    BadInputError
        When it is another map.
    """
    if plan.region_key != region.meta.key:
        raise BadInputError(
            f"is {region.meta.name!r} of {region.meta.data_date}", where="--planned-on",
            accepted=f"the region that the plan was made on, {plan.region_name!r} of {plan.data_date}", next_step="leave it out",
        )  # fmt: skip
    count = len(region.pieces.way)
    legs = {(day.number, k): leg for day in plan.days for k, leg in enumerate(day.legs)}
    return {at: run_line(region, leg.runs) for at, leg in legs.items() if leg.runs.piece and max(leg.runs.piece) < count}


def lines_of_papers(plan: Plan, text: str) -> Lines:
    """Return the line of each leg from the route.geojson that was handed out with a plan; empty where it does not fit the plan."""
    try:
        raw = json.loads(text)
        features = [f for f in raw["features"] if f["properties"]["kind"] == "day"]
        found: dict[tuple[int, str], list[Any]] = {}
        for f in features:
            shape, parts = f["geometry"]["type"], f["geometry"]["coordinates"]
            found[int(f["properties"]["day"]), str(f["properties"]["mode"])] = [parts] if shape == "LineString" else parts
        lines: dict[tuple[int, int], F64] = {}
        for day in plan.days:
            for mode in ("van", "car"):
                legs = [k for k, leg in enumerate(day.legs) if leg.mode == mode and leg.runs.piece]
                drawn = found.get((day.number, mode), [])
                if len(drawn) == len(legs):
                    lines |= {(day.number, k): np.asarray(part, np.float64)[:, :2] for k, part in zip(legs, drawn, strict=True)}
    except (ValueError, TypeError, KeyError, IndexError, AttributeError, RecursionError):
        return {}
    return {at: line for at, line in lines.items() if line.ndim == 2 and len(line) > 1 and np.isfinite(line).all()}


def carry(plan: Plan, region: Region, lines: Lines) -> Carried:
    """Put a plan on another map.

    Parameters
    ----------
    lines
        What is known of the lines driven. A leg without one, or whose road is drawn otherwise now, goes today's quickest way.
    """
    if plan.region_key == region.meta.key:
        return Carried(plan)
    places = SamePlaces(region, plan)
    plan = places.put(plan)
    changed = list(places.changed)
    roads = _Roads(region, plan.trip, lines)
    days, unknown = [], 0
    for day in plan.days:
        legs = []
        for k, leg in enumerate(day.legs):
            if not leg.runs.piece:
                legs.append(leg)
                continue
            line = lines.get((day.number, k))
            runs = roads.runs(line) if line is not None else None
            if runs is not None:
                legs.append(roads.leg(leg, *runs))
                continue
            unknown += line is None
            other = roads.quickest(leg, day.date)
            where = f"{leg.start.name} to {leg.end.name}"
            if other is None:
                changed.append(Finding("no way", day.number, leg.length_m, "m", f"no way is left that may be used, {where}"))
                legs.append(replace(leg, runs=PieceRun((), (), (), (), ())))
                continue
            if line is not None:
                text = f"the road is not as it was ({roads.lost}), {where}: today's way is {other.length_m / 1000:.1f} km"
                changed.append(Finding("road changed", day.number, other.length_m - leg.length_m, "m", text))
            legs.append(other)
        days.append(replace(day, legs=tuple(legs)))
    plan = replace(
        plan, days=tuple(days), region_key=region.meta.key, region_name=region.meta.name, data_date=region.meta.data_date
    )
    return Carried(plan, tuple(changed), unknown)


class _Roads:
    """Lines driven, found on the roads of today's map."""

    def __init__(self, region: Region, trip: Trip, lines: Lines) -> None:
        self.region, self.trip = region, trip
        self.lost = ""
        self._at = self._points(lines)
        self._ms: dict[str, NDArray[np.int64]] = {}

    def _points(self, lines: Lines) -> dict[tuple[int, int], list[tuple[int, int]]]:
        """Return (piece, number of the point) at each point that a line passes."""
        pieces = self.region.pieces
        table: dict[tuple[int, int], list[tuple[int, int]]] = defaultdict(list)
        if not lines:
            return table
        keys = np.vstack([np.rint(line / _GRID).astype(np.int64) for line in lines.values()])
        wanted = np.unique(_one_number(keys))
        x, y = np.rint(pieces.lon_e7 / 10).astype(np.int64), np.rint(pieces.lat_e7 / 10).astype(np.int64)
        hit = np.flatnonzero(np.isin(_one_number(np.column_stack((x, y))), wanted))
        piece = np.searchsorted(pieces.ptr, hit, side="right") - 1
        for row, p in zip(hit.tolist(), piece.tolist(), strict=True):
            table[int(x[row]), int(y[row])].append((p, row - int(pieces.ptr[p])))
        return table

    def runs(self, line: F64) -> tuple[list[int], list[bool], list[float], list[float]] | None:
        """Return the pieces of a line driven; ``None``, and `lost` says where, when the map has no such road now."""
        keys = [tuple(k) for k in np.rint(line / _GRID).astype(np.int64).tolist()]
        steps: list[tuple[int, bool, float, float]] = []
        for i in range(len(line) - 1):
            found = self._step(line[i], line[i + 1], self._at.get(keys[i], []), self._at.get(keys[i + 1], []), steps)
            if found is None:
                self.lost = f"near {line[i][1]:.5f}, {line[i][0]:.5f}"
                return None
            steps.append(found)
        return _joined(steps)

    def _step(
        self,
        p: F64,
        q: F64,
        at_p: list[tuple[int, int]],
        at_q: list[tuple[int, int]],
        before: Sequence[tuple[int, bool, float, float]],
    ) -> tuple[int, bool, float, float] | None:
        """Return the part of one piece that goes from a point to the next: the piece driven already before others."""
        last = before[-1][0] if before else -1
        both = [(a, i, j) for a, i in at_p for b, j in at_q if a == b and i != j and abs(i - j) <= _BETWEEN]
        straight = float(great_circle_m(p[0], p[1], np.array(q[0]), np.array(q[1])))
        best: tuple[float, tuple[int, bool, float, float]] | None = None
        for piece, i, j in sorted(both, key=lambda one: (abs(one[1] - one[2]), one[0] != last)):
            along = self._along(piece)
            size = abs(float(along[j] - along[i]))
            if size <= straight * 1.05 + _ON_M:
                forward = j > i
                low = along[i] if forward else along[-1] - along[i]
                return piece, forward, float(low), float(low + size)
        for piece in dict.fromkeys([a for a, _ in (*at_p, *at_q)] + ([last] if last >= 0 else [])):
            # The ends of a leg lie between points of the road.
            one, two = self._project(piece, p), self._project(piece, q)
            off = max(one[1], two[1])
            size = abs(one[0] - two[0])
            if off <= _ON_M and abs(size - straight) <= 0.05 * straight + _ON_M and (best is None or off < best[0]):
                whole, forward = float(self._along(piece)[-1]), two[0] >= one[0]
                low = one[0] if forward else whole - one[0]
                best = off, (piece, forward, low, low + size)
        return best[1] if best else None

    def _along(self, piece: int) -> F64:
        line = piece_line(self.region, piece)
        along = np.concatenate(([0.0], np.cumsum(great_circle_m(line[:-1, 0], line[:-1, 1], line[1:, 0], line[1:, 1]))))
        length = float(self.region.pieces.length_m[piece])
        return np.asarray(along * (length / along[-1]) if along[-1] > 0 else along, np.float64)

    def _project(self, piece: int, point: F64) -> tuple[float, float]:
        """Return how far along a piece a point lies, and how far off it [m]."""
        line = piece_line(self.region, piece)
        scale = np.array([111_195.0 * np.cos(np.radians(point[1])), 111_195.0])
        flat = (line - point) * scale
        ahead = np.diff(flat, axis=0)
        size = np.maximum((ahead**2).sum(axis=1), 1e-12)
        t = np.clip(-(flat[:-1] * ahead).sum(axis=1) / size, 0, 1)
        off = np.hypot(*(flat[:-1] + ahead * t[:, None]).T)
        k = int(off.argmin())
        along = self._along(piece)
        return float(along[k] + t[k] * (along[k + 1] - along[k])), float(off[k])

    def leg(self, leg: Leg, piece: list[int], forward: list[bool], from_m: list[float], to_m: list[float]) -> Leg:
        """Return a leg with its road as today's map has it: lengths, surfaces and times."""
        region = self.region
        rows = np.array(piece, np.int64)
        way = region.pieces.way[rows]
        metres = np.array(to_m) - np.array(from_m)
        ferry = (region.ways.flags[way] & int(Flag.FERRY)) != 0
        ms = self._piece_ms(leg.mode)[rows, np.where(forward, 0, 1)]
        whole = np.maximum(region.pieces.length_m[rows], 0.01)
        time_s = np.round(ms * np.minimum(metres / whole, 1.0) / 1000, 3)
        surface = region.ways.surface[way]
        return replace(
            leg, runs=PieceRun(tuple(piece), tuple(forward), tuple(from_m), tuple(to_m), tuple(time_s.tolist())),
            length_m=float(metres.sum()), drive_s=float(time_s[~ferry].sum()), ferry_s=max(leg.ferry_s, float(time_s[ferry].sum())),
            presumed_m=float(metres[(surface == Surface.PRESUMED) & ~ferry].sum()),
            unknown_m=float(metres[(surface == Surface.UNKNOWN) & ~ferry].sum()),
        )  # fmt: skip

    def _piece_ms(self, mode: str) -> NDArray[np.int64]:
        if mode not in self._ms:
            from tripplan.roads.speeds import piece_times

            ferry = (self.region.ways.flags[self.region.pieces.way] & int(Flag.FERRY)) != 0
            self._ms[mode] = piece_times(self.region, self._terms(mode), ferry).ms
        return self._ms[mode]

    def _terms(self, mode: str):  # type: ignore[no-untyped-def]
        from tripplan.roads.terms import terms_for_car, terms_for_van

        return terms_for_van(self.trip, self.region) if mode == "van" else terms_for_car(self.trip, self.region)

    def quickest(self, leg: Leg, day: Any) -> Leg | None:
        """Return today's quickest way between the ends of a leg, closures kept off; ``None``: there is none."""
        from tripplan.roads.cache import cache_folder
        from tripplan.roads.closures import closure_sets
        from tripplan.roads.join import join
        from tripplan.roads.network import open_network

        closures = closure_sets(
            self.region, (day,), hours=self.trip.road_hours, closures=self.trip.closures, outfit=self.trip.outfit
        )[0]
        network = open_network(self.region, self._terms(leg.mode), closures, cache=cache_folder())
        joined = join(network, (leg.start, leg.end), home=self.trip.depot)
        try:
            return joined.route(0, 1)
        except LookupError:
            return None


def _one_number(keys: NDArray[np.int64]) -> NDArray[np.int64]:
    """Return one number for a pair of rounded degrees."""
    return (keys[:, 0] + 200_000_000) * 400_000_000 + keys[:, 1] + 100_000_000


def _joined(steps: list[tuple[int, bool, float, float]]) -> tuple[list[int], list[bool], list[float], list[float]]:
    """Join steps on the same piece to one part of it."""
    piece: list[int] = []
    forward: list[bool] = []
    low: list[float] = []
    high: list[float] = []
    for p, f, a, b in steps:
        if piece and piece[-1] == p and forward[-1] == f and abs(high[-1] - a) <= _ON_M:
            high[-1] = b
        elif b - a > 1e-6:
            piece.append(p)
            forward.append(f)
            low.append(a)
            high.append(b)
    return piece, forward, low, high
