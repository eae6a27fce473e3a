"""Draw the invented island of Ornevay and write `island.osm.pbf` beside this file.

Run `python data_sample/island.py`. The drawing has no input but the tables beside it, so ids, tags and coordinates are the same every
time. Traffic keeps to the left.
"""

from __future__ import annotations

import sys
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent))

import itertools

import island_tables as tables
from drawing import CIRCLE, Drawing, Point, Tags, add, chance, curve, evenly, gap, left, pick, unit, winding

STAMP = "2026-01-15T00:00:00Z"
STREETS = (
    "Rope Street", "Net Street", "Kiln Street", "Tern Street", "Lantern Street", "Cooper Street", "Orchard Street", "Fold Street", "Weir Street",
    "Linen Street", "Gull Street", "Chapel Street", "Barrel Street", "Thrift Street", "Hazel Street", "Slate Street", "Meadow Street", "Anchor Street",
)  # fmt: skip
DEAD_END_NAMES = (
    "Fold Lane",
    "Moor Lane",
    "Peat Lane",
    "Cliff Lane",
    "Brook Lane",
    "Sheep Lane",
    "Stone Lane",
    "Thorn Lane",
    "Marsh Lane",
    "Ridge Lane",
)


@dataclass
class Road:
    """A road laid: its nodes in order and the distance of each from its start [km]."""

    refs: list[int]
    km: list[float]

    def index(self, km: float) -> int:
        """Return the position of the node nearest to a distance, never an end."""
        return min(range(1, len(self.km) - 1), key=lambda i: abs(self.km[i] - km))


class Island:
    """The drawing in the making: towns, then roads between them, then what stands along the roads."""

    def __init__(self) -> None:
        self.d = Drawing()
        self.exits: dict[tuple[str, str], tuple[int, Point]] = {}
        self.roads: dict[str, Road] = {}
        self.ends_used: set[int] = set()
        self.notes: list[str] = []

    # ------------------------------------------------------------------------------------------ towns

    def town(self, name: str) -> None:
        """Draw the street grid of a town with its exits, one-way streets and turn restrictions."""
        d = self.d
        centre, u, a, b, population, kind = tables.TOWNS[name]
        u = unit((0, 0), u)
        v = left(u)
        block = 0.15
        grid = {
            (i, j): d.node(
                add(
                    add(centre, u, block * (i + 0.2 * chance(name, "x", i, j) - 0.1)),
                    v,
                    block * (j + 0.2 * chance(name, "y", i, j) - 0.1),
                )
            )
            for i in range(-a, a + 1)
            for j in range(-b, b + 1)
        }
        d.node(add(centre, v, 0.03), place=kind, name=name, population=str(population))
        main: Tags = {"highway": "primary", "name": "High Street", "surface": "asphalt", "maxspeed": "50", "lit": "yes"}
        second: Tags = {"highway": "secondary", "name": "Station Street", "surface": "asphalt", "maxspeed": "50", "lit": "yes"}
        row_ways: dict[tuple[int, int], int] = {}  # each block of a row: the way from (i, j) to (i + 1, j)
        column_ways: dict[tuple[int, int], int] = {}
        for j in range(-b, b + 1):
            tags = main if j == 0 else self._street(name, "row", j)
            if a >= 2 and abs(j) == 1:
                tags["oneway"] = "yes" if j == 1 else "-1"
            for i in range(-a, a):
                row_ways[i, j] = d.way([grid[i, j], grid[i + 1, j]], tags)
        for i in range(-a, a + 1):
            tags = second if i == 0 else self._street(name, "column", i)
            for j in range(-b, b):
                column_ways[i, j] = d.way([grid[i, j], grid[i, j + 1]], tags)
        self.exits[name, "in"] = (grid[-a, 0], (-u[0], -u[1]))
        self.exits[name, "out"] = (grid[a, 0], u)
        self.exits[name, "left"] = (grid[0, b], v)
        self.exits[name, "right"] = (grid[0, -b], (-v[0], -v[1]))
        if a >= 2:  # no turn to the right across the traffic of the high street, either way
            self._no_turn("no_right_turn", row_ways[0, 0], grid[1, 0], column_ways[1, -1])
            self._no_turn("no_right_turn", row_ways[-1, 0], grid[-1, 0], column_ways[-1, 0])
        if name == "Marrendal":
            self._no_turn("no_left_turn", row_ways[2, 0], grid[3, 0], column_ways[3, 0])
            self._no_turn("only_straight_on", column_ways[-2, -1], grid[-2, 0], column_ways[-2, 0])
            self._no_turn("no_straight_on", column_ways[4, -1], grid[4, 0], column_ways[4, 0], except_="bus;bicycle")
            d.relation(  # round the block and back: forbidden by way of a street
                [("w", column_ways[-3, 1], "from"), ("w", row_ways[-3, 2], "via"), ("w", column_ways[-2, 1], "to")],
                {"type": "restriction", "restriction": "no_u_turn"},
            )
            d.way(
                [grid[-1, 3], grid[-1, 4]],
                {"highway": "residential", "name": "Quiet Yard", "surface": "asphalt", "motor_vehicle": "destination"},
            )

    @staticmethod
    def _street(name: str, kind: str, number: int) -> Tags:
        tags: Tags = {"highway": "residential", "name": pick(STREETS, name, kind, number), "lit": "yes", "maxspeed": "50"}
        if chance(name, kind, number, "tagged") < 0.65:
            tags["surface"] = "asphalt"
        return tags

    def _no_turn(self, word: str, start: int, via: int, end: int, except_: str = "") -> None:
        tags = {"type": "restriction", "restriction": word}
        if except_:
            tags["except"] = except_
        self.d.relation([("w", start, "from"), ("n", via, "via"), ("w", end, "to")], tags)

    def roundabout(self, name: str) -> None:
        """Put a roundabout before a town's entrance; the ring arrives at its far side. Traffic runs clockwise."""
        d = self.d
        town_node, out = self.exits[name, "in"]
        centre = add(d.xy[town_node], out, 0.3)
        ring = [d.node(add(centre, c, 0.03)) for c in CIRCLE]
        d.way([*ring[::-1], ring[-1]], {"highway": "primary", "junction": "roundabout", "surface": "asphalt", "maxspeed": "50"})

        def nearest(direction: Point) -> int:
            return ring[max(range(16), key=lambda k: CIRCLE[k][0] * direction[0] + CIRCLE[k][1] * direction[1])]

        inner = nearest((-out[0], -out[1]))
        d.way([inner, town_node], {"highway": "primary", "name": "High Street", "surface": "asphalt", "maxspeed": "50"})
        for direction in (left(out), left((-out[0], -out[1]))):
            start = nearest(direction)
            refs = [start, *d.line([add(d.xy[start], direction, 0.1 * k) for k in range(1, 4)])]
            d.way(refs, {"highway": "residential", "name": pick(STREETS, name, "spoke", start), "surface": "asphalt"})
        self.exits[name, "in"] = (nearest(out), out)

    # ------------------------------------------------------------------------------------------ roads

    def between(
        self, key: str, start: tuple[int, Point], via: Sequence[Point], end: tuple[int, Point], wave: float, swing: float
    ) -> list[int]:
        """Return nodes of a smooth road from one exit to another."""
        d = self.d
        p, q = d.xy[start[0]], d.xy[end[0]]
        line = curve([p, add(p, start[1], 0.6), *via, add(q, end[1], 0.6), q], 0.05)
        step = min(0.12, wave / 14)
        points = evenly(winding(evenly(line, 0.05), wave, swing, key), step)
        return [start[0], *d.line(points[1:-1]), end[0]]

    def lay(self, key: str, refs: list[int], tags: Tags) -> None:
        """Make ways of a road's nodes, with the stretches that differ, none longer than about 4 km."""
        km = [0.0]
        for a, b in itertools.pairwise(refs):
            km.append(km[-1] + gap(self.d.xy[a], self.d.xy[b]))
        self.roads[key] = Road(refs, km)
        marks = {0, len(refs) - 1}
        special: list[tuple[int, int, Tags]] = []
        for road, start, end, more in tables.STRETCHES:
            if road == key:
                i = min(range(len(km)), key=lambda k: abs(km[k] - start))
                j = max(i + 1, min(range(len(km)), key=lambda k: abs(km[k] - end)))
                special.append((i, j, more))
                marks |= {i, j}
        last = 0.0
        for i, at in enumerate(km):
            if i in marks:
                last = at
            elif at - last > 4.0:
                marks.add(i)
                last = at
        ordered = sorted(marks)
        for i, j in itertools.pairwise(ordered):
            own = dict(tags)
            for first, until, more in special:
                if first <= i and j <= until:
                    own.update(more)
            self.d.way(refs[i : j + 1], {k: v for k, v in own.items() if v})

    def ring(self) -> None:
        """Draw the ring: a trunk road on the south coast, a primary road in the north."""
        for k, name in enumerate(tables.RING):
            following = tables.RING[(k + 1) % len(tables.RING)]
            refs = self.between(name, self.exits[name, "out"], tables.RING_VIA[name], self.exits[following, "in"], 1.2, 0.11)
            self.lay(name, refs, tables.TRUNK if k < 7 else tables.NORTH)

    def motorway(self) -> None:
        """Draw a dual carriageway inland of the trunk road from the capital to the next town, with one interchange on the way."""
        d = self.d
        trunk = self.roads["Marrendal"]
        first, last = trunk.index(3.5), trunk.index(trunk.km[-1] - 4.0)
        ends = [d.xy[trunk.refs[first]], d.xy[trunk.refs[last]]]
        axis = evenly(curve([add(ends[0], (0.9, 1.2)), (116, 22), (128, 21.5), (138, 21), add(ends[1], (-0.9, 1.2))], 0.1), 0.25)
        mid = len(axis) // 2
        tags: Tags = {
            "highway": "motorway",
            "ref": "M1",
            "name": "Marren Motorway",
            "surface": "asphalt",
            "oneway": "yes",
            "maxspeed": "110",
            "toll": "yes",
        }
        link: Tags = {"highway": "motorway_link", "surface": "asphalt", "oneway": "yes", "maxspeed": "60"}
        side: dict[str, list[int]] = {}
        for word, sign in (("east", 1.0), ("west", -1.0)):  # driving on the left: eastbound lies to the north
            points = [
                add(p, left(unit(axis[max(0, k - 1)], axis[min(len(axis) - 1, k + 1)])), 0.018 * sign) for k, p in enumerate(axis)
            ]
            side[word] = d.line(points)
            order = side[word] if word == "east" else side[word][::-1]
            half = order.index(side[word][mid])
            for refs in (order[: half + 1], order[half:]):
                d.way(refs, tags)
        for at, word, inward in ((0, "east", True), (-1, "east", False), (-1, "west", True), (0, "west", False)):
            trunk_node = trunk.refs[first if at == 0 else last]
            lane = side[word][at]
            bend = d.node(
                add(d.xy[lane], unit(d.xy[lane], d.xy[trunk_node]), gap(d.xy[lane], d.xy[trunk_node]) * (0.4 if inward else 0.6))
            )
            d.way([trunk_node, bend, lane] if inward else [lane, bend, trunk_node], link)
        # the interchange: a secondary road from the trunk road passes over, with four links
        stem_start = trunk.refs[trunk.index(trunk.km[first] + (trunk.km[last] - trunk.km[first]) * 0.5)]
        over = axis[mid]
        stem = curve([d.xy[stem_start], add(over, (0.0, -0.5)), add(over, (0.0, 0.5)), add(over, (0.4, 4.0))], 0.1)
        south = min(range(len(stem)), key=lambda k: gap(stem[k], add(over, (0.0, -0.3))))
        north = min(range(len(stem)), key=lambda k: gap(stem[k], add(over, (0.0, 0.3))))
        refs = [stem_start, *d.line(stem[1:])]
        road: Tags = {"highway": "secondary", "ref": "41", "name": "Interchange Road", "surface": "asphalt"}
        d.way(refs[: south + 1], road)
        d.way(refs[south : north + 1], {**road, "bridge": "yes", "layer": "1"})
        d.way(refs[north:], road)
        self.roads["interchange"] = Road(refs, [0.1 * k for k in range(len(refs))])
        for word, near, sign in (("east", north, 1), ("west", south, -1)):
            off, on = side[word][mid - 2 * sign], side[word][mid + 2 * sign]
            d.way([off, d.node(add(d.xy[off], unit(d.xy[off], stem[near]), 0.2)), refs[near]], link)
            d.way([refs[near], d.node(add(stem[near], unit(stem[near], d.xy[on]), 0.2)), on], link)

    def cross_roads(self) -> None:
        """Draw the roads over and along the hills."""
        for key, (start, exit_, via, end, entry, wave, swing, tags) in tables.CROSS_ROADS.items():
            self.lay(key, self.between(key, self.exits[start, exit_], via, self.exits[end, entry], wave, swing), tags)

    def loops(self) -> None:
        """Draw roads that leave a road and come back to it or another."""
        for key, (start, km, end, km_end, via, wave, swing, tags) in tables.LOOPS.items():
            refs = []
            for road, at, toward in ((start, km, via[0]), (end, km_end, via[-1])):
                ref = self.roads[road].refs[self.roads[road].index(at)]
                refs.append((ref, unit(self.d.xy[ref], toward)))
            self.lay(key, self.between(key, refs[0], via, refs[1], wave, swing), tags)
            if key == "ford lane":
                self.d.tag(self.roads[key].refs[len(self.roads[key].refs) // 2], ford="yes")

    def ends(self) -> None:
        """Draw the named dead ends."""
        for key, (road, km, side, length, tags) in tables.ENDS.items():
            start, out = self._leave(road, km, side)
            p = self.d.xy[start]
            turn = left(out)
            via = [add(p, out, length * 0.35), add(add(p, out, length * 0.7), turn, length * 0.12)]
            end = add(add(p, out, length), turn, length * 0.05)
            line = winding(evenly(curve([p, *via, end], 0.05), 0.05), 1.0, 0.05, key)
            points = evenly(line, 0.07)
            self.lay(key, [start, *self.d.line(points[1:])], tags)
            if key == "manor drive":
                self.d.tag(self.roads[key].refs[3], barrier="gate", access="private")

    def isle(self) -> None:
        """Draw the ferry, the landing on the isle, and its road."""
        d = self.d
        start, out = self.exits["Ebbersund", "right"]
        pier = add(add(d.xy[start], out, 1.6), (0.4, 1.2))
        walk = evenly(curve([d.xy[start], add(d.xy[start], out, 0.7), pier], 0.05), 0.1)
        refs = [start, *d.line(walk[1:])]
        d.way(refs[:-3], {"highway": "tertiary", "name": "Harbour Road", "surface": "asphalt", "maxspeed": "50"})
        d.way(refs[-4:], {"highway": "service", "surface": "asphalt", "name": "Ferry Lanes"})
        quay, quay_out = self.exits["Sorrelay Quay", "in"]
        landing = add(d.xy[quay], quay_out, 1.7)
        land = [d.node(landing), *d.line(evenly([landing, d.xy[quay]], 0.12)[1:-1]), quay]
        d.way(land, {"highway": "tertiary", "name": "Quay Road", "surface": "asphalt", "maxspeed": "50"})
        water = evenly(curve([pier, add(pier, (6.0, 5.0)), add(landing, (-5.0, -1.2)), landing], 0.2), 0.8)
        d.way(
            [refs[-1], *d.line(water[1:-1]), land[0]],
            {"route": "ferry", "name": "Sorrelay Ferry", "motor_vehicle": "yes", "duration": "00:40", "interval": "01:00", "fee": "yes",
             "opening_hours": "Mo-Su 07:00-19:00"},
            road=False,
        )  # fmt: skip
        top, direction = self.exits["Sorrelay Quay", "right"]
        points = evenly(
            winding(
                evenly(
                    curve(
                        [d.xy[top], add(d.xy[top], direction, 0.6), (273, 115.6), (276.5, 117.5), (277.6, 120.3), (273.5, 122.8)],
                        0.05,
                    ),
                    0.05,
                ),
                1.0,
                0.04,
                "isle",
            ),
            0.08,
        )
        self.lay(
            "isle road",
            [top, *d.line(points[1:])],
            {"highway": "tertiary", "name": "Isle Road", "surface": "asphalt", "maxspeed": "60"},
        )

    # ------------------------------------------------------------------------------------------ along the roads

    def _leave(self, road: str, km: float, side: str, tries: int = 1) -> tuple[int, Point]:
        """Return a road's node near a distance and the direction away from it to one side."""
        r = self.roads[road]
        i = r.index(km + (tries // 2) * (0.15 if tries % 2 else -0.15))
        u = unit(self.d.xy[r.refs[i - 1]], self.d.xy[r.refs[i + 1]])
        out = left(u) if side == "L" else left((-u[0], -u[1]))
        return r.refs[i], out

    def drive(self, name: str, road: str, km: float, side: str, metres: int, tags: Tags) -> list[int]:
        """Draw a drive away from a road where there is room for it; return its nodes."""
        d = self.d
        length = metres / 1000
        for attempt in range(1, 60):
            start, out = self._leave(road, km, side if attempt % 4 < 3 else {"L": "R", "R": "L"}[side], attempt)
            p = d.xy[start]
            bend = left(out)
            points = [
                p,
                add(add(p, out, length * 0.45), bend, length * 0.06),
                add(add(p, out, length * 0.8), bend, -length * 0.04),
                add(p, out, length),
            ]
            ahead = add(p, out, length + 0.15)
            if start not in self.ends_used and d.clear([*points, ahead], but=start):
                self.ends_used.add(start)
                smooth = evenly(curve(points, 0.03), 0.04)
                refs = [start, *d.line(smooth[1:])]
                d.way(refs, tags)
                return refs
        raise ValueError(f"no room for {name} on {road} at {km} km")

    def places(self) -> None:
        """Put sites, services and sights at the ends of drives. Every fourth site is an area with its drive leading in."""
        d = self.d
        for number, (name, road, km, side, metres, tags) in enumerate(tables.SITES):
            refs = self.drive(name, road, km, side, metres, {"highway": "service", "service": "driveway"})
            tags = {"name": name, **tags}
            if number % 4 == 3 and len(refs) > 6:
                entrance = refs[-3]
                u = unit(d.xy[entrance], d.xy[refs[-1]])
                v = left(u)
                base = d.xy[entrance]
                corners = [
                    add(base, v, 0.06),
                    add(add(base, v, 0.06), u, 0.14),
                    add(add(base, v, -0.06), u, 0.14),
                    add(base, v, -0.06),
                ]
                ring = d.line(corners)
                d.way([entrance, *ring, entrance], tags, road=False)
                if number % 8 == 7:
                    d.tag(entrance, barrier="gate", access="yes")
            else:
                self._beside(refs, tags)
        for name, road, km, side, metres, tags in (*tables.SERVICES, *tables.SIGHTS):
            lane: Tags = {"highway": "service"}
            if name in tables.SEALED_LANES:
                lane["surface"] = "asphalt"
            self._beside(self.drive(name, road, km, side, metres, lane), {"name": name, **tags})
        for name, road, km in tables.HAMLETS:
            r = self.roads[road]
            i = r.index(km)
            p = add(d.xy[r.refs[i]], left(unit(d.xy[r.refs[i - 1]], d.xy[r.refs[i + 1]])), 0.05)
            d.node(p, place="hamlet", name=name, population=str(20 + int(200 * chance(name, road))))

    def aids(self) -> None:
        """Put fuel stations and hospitals beside their roads."""
        d = self.d
        for name, road, km, tags in tables.AIDS:
            r = self.roads[road]
            i = r.index(km)
            p = add(d.xy[r.refs[i]], left(unit(d.xy[r.refs[i - 1]], d.xy[r.refs[i + 1]])), -0.05)
            d.node(p, name=name, **tags)

    def _beside(self, refs: Sequence[int], tags: Tags) -> None:
        end = self.d.xy[refs[-1]]
        ref = self.d.node(add(end, unit(self.d.xy[refs[-2]], end), 0.015))
        self.d.node_tags[ref] = dict(tags)

    def lanes(self) -> None:
        """Draw farm roads, tracks and lanes off every road of the country, where there is room."""
        d = self.d
        for key in [k for k in self.roads if k not in ("interchange", "manor drive")]:
            road = self.roads[key]
            km = 1.5
            while km < road.km[-1] - 1.0:
                number = int(km * 10)
                i = road.index(km)
                start = road.refs[i]
                u = unit(d.xy[road.refs[i - 1]], d.xy[road.refs[i + 1]])
                out = left(u) if chance(key, number, "side") < 0.5 else left((-u[0], -u[1]))
                length = 0.5 + 2.2 * chance(key, number, "length")
                bend = left(out)
                p = d.xy[start]
                sway = length * (0.25 * chance(key, number, "sway") - 0.12)
                coarse = [
                    p,
                    add(add(p, out, length * 0.4), bend, sway),
                    add(add(p, out, length * 0.75), bend, -sway),
                    add(add(p, out, length), bend, sway),
                ]
                line = evenly(curve(coarse, 0.05), 0.11)
                if start not in self.ends_used and self._on_land(line) and d.clear(line, but=start):
                    self.ends_used.add(start)
                    refs = [start, *d.line(line[1:])]
                    d.way(refs, self._lane_tags(key, number))
                    if chance(key, number, "fork") < 0.5 and len(refs) > 6:
                        self._fork(refs, key, number)
                km += 1.6 + 2.2 * chance(key, number, "next")

    @staticmethod
    def _lane_tags(key: str, number: int) -> Tags:
        kind = chance(key, number, "kind")
        if kind < 0.28:
            return {"highway": "track", "tracktype": pick(("grade2", "grade3", "grade4"), key, number, "grade")}
        tags: Tags = {
            "highway": "unclassified" if kind < 0.8 else "residential",
            "name": pick(DEAD_END_NAMES, key, number, "name"),
        }
        surface = chance(key, number, "surface")
        if surface < 0.30:
            tags["surface"] = "asphalt"
        elif surface < 0.60:
            tags["surface"] = pick(("gravel", "compacted", "fine_gravel"), key, number, "loose")
        return tags

    def _fork(self, refs: Sequence[int], key: str, number: int) -> None:
        d = self.d
        i = len(refs) // 2
        u = unit(d.xy[refs[i - 1]], d.xy[refs[i + 1]])
        out = left(u) if chance(key, number, "fork side") < 0.5 else left((-u[0], -u[1]))
        length = 0.3 + 0.6 * chance(key, number, "fork length")
        p = d.xy[refs[i]]
        line = evenly(curve([p, add(p, out, length * 0.5), add(add(p, out, length), u, length * 0.2)], 0.05), 0.1)
        if self._on_land(line) and d.clear(line, but=refs[i]):
            d.way(
                [refs[i], *d.line(line[1:])],
                {"highway": "service"} if chance(key, number, "fork kind") < 0.5 else {"highway": "track"},
            )

    # ------------------------------------------------------------------------------------------ land and water

    def land(self) -> None:
        """Draw coast (land on its left), border, lakes, rivers and woods."""
        d = self.d
        self.shores = [
            winding(evenly(curve(ring, 0.3, closed=True), 0.4), 3.0, 0.22, name)
            for name, ring in (("coast", tables.COAST), ("isle", tables.ISLE))
        ]
        for shore, name in zip(self.shores, ("Ornevay", "Sorrelay"), strict=True):
            refs = d.line(shore[:-1])
            refs.append(refs[0])
            for k in range(0, len(refs) - 1, 400):
                d.way(refs[k : k + 401], {"natural": "coastline"}, road=False)
            d.node(shore[0] if name == "Sorrelay" else (150.0, 60.0), place="island", name=name)
        box = d.line([(-4, -4), (304, -4), (304, 124), (288, 130), (150, 126), (-4, 124)])
        edge = d.way([*box, box[0]], {"boundary": "administrative", "admin_level": "2", "name": "Ornevay"}, road=False)
        d.relation(
            [("w", edge, "outer")], {"type": "boundary", "boundary": "administrative", "admin_level": "2", "name": "Ornevay"}
        )
        for name, centre, wide, high in tables.LAKES:
            self._area(centre, wide / 2, high / 2, {"natural": "water", "water": "lake", "name": name})
        for name, points in tables.RIVERS:
            line = evenly(winding(evenly(curve(points, 0.1), 0.1), 2.5, 0.25, name), 0.35)
            d.way(d.line(line), {"waterway": "river", "name": name}, road=False)
        for k, (centre, wide, high) in enumerate(tables.WOODS):
            self._area(centre, wide / 2, high / 2, {"natural": "wood"} if k % 2 else {"landuse": "forest"})

    def _area(self, centre: Point, wide: float, high: float, tags: Tags) -> None:
        ring = [
            (
                centre[0] + wide * c[0] * (0.75 + 0.4 * chance(str(centre), k)),
                centre[1] + high * c[1] * (0.75 + 0.4 * chance(str(centre), k)),
            )
            for k, c in enumerate(CIRCLE)
        ]
        refs = self.d.line(evenly(curve(ring, 0.1, closed=True), 0.3)[:-1])
        self.d.way([*refs, refs[0]], tags, road=False)

    def _on_land(self, line: Sequence[Point]) -> bool:
        return any(all(_inside(p, shore) for p in (line[len(line) // 2], line[-1])) for shore in self.shores)


def _inside(p: Point, ring: Sequence[Point]) -> bool:
    odd = False
    for a, b in itertools.pairwise(ring):
        if (a[1] > p[1]) != (b[1] > p[1]) and p[0] < a[0] + (p[1] - a[1]) / (b[1] - a[1]) * (b[0] - a[0]):
            odd = not odd
    return odd


def draw() -> Island:
    """Return the whole island, drawn."""
    island = Island()
    island.land()
    for name in tables.TOWNS:
        island.town(name)
    for name in tables.ROUNDABOUTS:
        island.roundabout(name)
    island.ring()
    island.motorway()
    island.cross_roads()
    island.isle()
    island.loops()
    island.ends()
    island.places()
    island.lanes()
    island.aids()
    return island


def main() -> None:
    """Write the island beside this file."""
    island = draw()
    out = Path(__file__).resolve().parent / "island.osm.pbf"
    island.d.write(out, STAMP)
    print(
        f"{out.name}: {len(island.d.xy)} nodes, {len(island.d.ways)} ways, {len(island.d.relations)} relations, {out.stat().st_size / 1e6:.2f} MB"
    )


if __name__ == "__main__":
    main()
