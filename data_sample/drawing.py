"""Tools to draw an invented map: smooth roads, street grids, and the file they go into.

Positions are kilometres east (x) and north (y) of the drawing's south-west corner. Every coordinate comes out of plus, minus,
times, divide and square root only, and every choice out of an integer hash, so that a drawing is the same on every machine.
"""

from __future__ import annotations

import itertools
import math
import zlib
from collections.abc import Sequence
from pathlib import Path

Point = tuple[float, float]
Tags = dict[str, str]

#: Corner of the drawing and degrees a kilometre (sphere of 6,371.009 km; the cosine is that of 43.0 degrees).
WEST, SOUTH = -27.85, -43.55
KM_PER_DEGREE = 111.19508
COS_MID = 0.7313537

#: Sixteen directions of a circle, anticlockwise from east.
_C1, _C2, _C3 = 0.9238795325112867, 0.7071067811865476, 0.3826834323650898
CIRCLE: tuple[Point, ...] = (
    (1.0, 0.0), (_C1, _C3), (_C2, _C2), (_C3, _C1), (0.0, 1.0), (-_C3, _C1), (-_C2, _C2), (-_C1, _C3),
    (-1.0, 0.0), (-_C1, -_C3), (-_C2, -_C2), (-_C3, -_C1), (0.0, -1.0), (_C3, -_C1), (_C2, -_C2), (_C1, -_C3),
)  # fmt: skip


def chance(*key: int | str) -> float:
    """Return a number in [0, 1) that depends on the key alone."""
    state = 0x9E3779B97F4A7C15
    for part in key:
        state ^= part if isinstance(part, int) else zlib.crc32(part.encode())
        state = (state * 0xBF58476D1CE4E5B9 + 0x94D049BB133111EB) & 0xFFFFFFFFFFFFFFFF
        state ^= state >> 31
    return (state >> 11) / 9007199254740992.0


def pick(options: Sequence[str], *key: int | str) -> str:
    """Return one of the options by the key."""
    return options[int(chance(*key) * len(options))]


def add(p: Point, q: Point, scale: float = 1.0) -> Point:
    """Return p + scale * q."""
    return (p[0] + scale * q[0], p[1] + scale * q[1])


def unit(p: Point, q: Point) -> Point:
    """Return the direction from p to q."""
    dx, dy = q[0] - p[0], q[1] - p[1]
    length = math.sqrt(dx * dx + dy * dy)
    return (dx / length, dy / length)


def left(u: Point) -> Point:
    """Return the direction to the left of u."""
    return (-u[1], u[0])


def gap(p: Point, q: Point) -> float:
    """Return the distance of two points [km]."""
    dx, dy = q[0] - p[0], q[1] - p[1]
    return math.sqrt(dx * dx + dy * dy)


def curve(anchors: Sequence[Point], step: float, closed: bool = False) -> list[Point]:
    """Return a smooth line through the anchors (centripetal Catmull-Rom), a point about every step [km]."""
    pts = list(anchors)
    n = len(pts)
    if closed:
        ring = [pts[-1], *pts, pts[0], pts[1]]
    else:
        ring = [add(pts[0], (pts[0][0] - pts[1][0], pts[0][1] - pts[1][1])), *pts]
        ring.append(add(pts[-1], (pts[-1][0] - pts[-2][0], pts[-1][1] - pts[-2][1])))
    out: list[Point] = []
    for k in range(n if closed else n - 1):
        p0, p1, p2, p3 = ring[k : k + 4]
        t1 = math.sqrt(gap(p0, p1))
        t2 = t1 + math.sqrt(gap(p1, p2))
        t3 = t2 + math.sqrt(gap(p2, p3))
        count = max(2, int(gap(p1, p2) / step) + 1)
        for i in range(count):
            t = t1 + (t2 - t1) * i / count
            a1 = _between(p0, p1, 0.0, t1, t)
            a2 = _between(p1, p2, t1, t2, t)
            a3 = _between(p2, p3, t2, t3, t)
            out.append(_between(_between(a1, a2, 0.0, t2, t), _between(a2, a3, t1, t3, t), t1, t2, t))
    out.append(out[0] if closed else pts[-1])
    return out


def _between(p: Point, q: Point, a: float, b: float, t: float) -> Point:
    w = (t - a) / (b - a)
    return (p[0] * (1 - w) + q[0] * w, p[1] * (1 - w) + q[1] * w)


def evenly(line: Sequence[Point], step: float) -> list[Point]:
    """Return points every step [km] along a line, both ends included."""
    total = sum(gap(p, q) for p, q in itertools.pairwise(line))
    count = max(2, int(total / step + 0.5))
    out, walked, k = [line[0]], 0.0, 0
    for i in range(1, count):
        target = total * i / count
        while walked + gap(line[k], line[k + 1]) < target:
            walked += gap(line[k], line[k + 1])
            k += 1
        w = (target - walked) / gap(line[k], line[k + 1])
        out.append(_between(line[k], line[k + 1], 0.0, 1.0, w))
    out.append(line[-1])
    return out


def winding(line: Sequence[Point], wave: float, swing: float, key: str) -> list[Point]:
    """Bend a line from side to side: wave length and swing [km]. Least radius is about wave² / (48 swing).

    The offset is a cubic B-spline through knots that change sides, faded out over the last kilometre at both ends.
    """
    if swing == 0:
        return list(line)
    total = sum(gap(p, q) for p, q in itertools.pairwise(line))
    half = wave / 2
    knots = [3 * swing * (0.25 + 0.75 * chance(key, i)) * (1 if i % 2 else -1) for i in range(int(total / half) + 8)]
    fade = min(1.0, total / 3)
    out, walked = [line[0]], 0.0
    for p, here, q in zip(line, line[1:], line[2:], strict=False):
        walked += gap(p, here)
        i = int(walked / half)
        t = walked / half - i
        a, b, c, d = knots[i : i + 4]
        offset = (
            a * (1 - t) * (1 - t) * (1 - t) + b * (3 * t * t * t - 6 * t * t + 4)
            + c * (3 * t + 3 * t * t - 3 * t * t * t + 1) + d * t * t * t
        ) / 6  # fmt: skip
        near = min(walked, total - walked, fade) / fade
        out.append(add(here, left(unit(p, q)), offset * near * near * (3 - 2 * near)))
    out.append(line[-1])
    return out


class Drawing:
    """Nodes, ways and relations, numbered in the order in which they are drawn."""

    def __init__(self) -> None:
        self.xy: dict[int, Point] = {}
        self.node_tags: dict[int, Tags] = {}
        self.ways: list[tuple[int, list[int], Tags]] = []
        self.relations: list[tuple[int, list[tuple[str, int, str]], Tags]] = []
        self._grid: dict[tuple[int, int], list[tuple[int, int]]] = {}

    def node(self, p: Point, **tags: str) -> int:
        """Add a point; keyword names have `:` written as `__`."""
        ref = len(self.xy) + 1
        self.xy[ref] = p
        if tags:
            self.tag(ref, **tags)
        return ref

    def tag(self, ref: int, **tags: str) -> None:
        """Add tags to a node."""
        self.node_tags.setdefault(ref, {}).update(plain(tags))

    def way(self, refs: Sequence[int], tags: Tags, *, road: bool = True) -> int:
        """Add a way through nodes. Roads are remembered, so that later ones can keep clear of them."""
        ref = len(self.ways) + 1
        self.ways.append((ref, list(refs), dict(tags)))
        if road:
            for a, b in itertools.pairwise(refs):
                for cell in self._cells(self.xy[a], self.xy[b]):
                    self._grid.setdefault(cell, []).append((a, b))
        return ref

    def relation(self, members: Sequence[tuple[str, int, str]], tags: Tags) -> int:
        """Add a relation of (kind, id, role)."""
        ref = len(self.relations) + 1
        self.relations.append((ref, list(members), dict(tags)))
        return ref

    def line(self, points: Sequence[Point]) -> list[int]:
        """Add a node for each point."""
        return [self.node(p) for p in points]

    @staticmethod
    def _cells(p: Point, q: Point) -> list[tuple[int, int]]:
        xs = range(int(min(p[0], q[0]) // 1), int(max(p[0], q[0]) // 1) + 1)
        ys = range(int(min(p[1], q[1]) // 1), int(max(p[1], q[1]) // 1) + 1)
        return [(x, y) for x in xs for y in ys]

    def crossed(self, p: Point, q: Point, but: int = 0) -> tuple[int, int] | None:
        """Return a road segment that the line from p to q meets, or None; segments at the node `but` do not count."""
        for cell in self._cells(p, q):
            for a, b in self._grid.get(cell, ()):
                if but not in (a, b) and _meet(p, q, self.xy[a], self.xy[b]):
                    return a, b
        return None

    def clear(self, points: Sequence[Point], but: int = 0) -> bool:
        """Return whether a line meets no road, nor runs beside one."""
        for p, q in itertools.pairwise(points):
            u = unit(p, q)
            wide = (add(add(q, u, 0.12), left(u), 0.1), add(add(q, u, 0.12), left(u), -0.1))
            if any(self.crossed(*ends, but=but) for ends in ((p, q), (p, wide[0]), (p, wide[1]))):
                return False
        return True

    def write(self, path: Path, stamp: str) -> None:
        """Write the file; stamp is the date of the data, ISO 8601."""
        import osmium
        from osmium.osm.mutable import Node, Relation, Way

        header = osmium.io.Header()
        header.set("generator", "data_sample/island.py")
        header.set("osmosis_replication_timestamp", stamp)
        header.add_box(osmium.osm.Box(*self.degrees((-6.0, -6.0)), *self.degrees((306.0, 126.0))))
        path.unlink(missing_ok=True)
        with osmium.SimpleWriter(str(path), header=header) as out:
            for ref, p in self.xy.items():
                out.add_node(Node(id=ref, version=1, location=self.degrees(p), tags=self.node_tags.get(ref, {})))
            for ref, refs, tags in self.ways:
                out.add_way(Way(id=ref, version=1, nodes=refs, tags=tags))
            for ref, members, tags in self.relations:
                out.add_relation(Relation(id=ref, version=1, members=members, tags=tags))

    @staticmethod
    def degrees(p: Point) -> tuple[float, float]:
        """Return longitude and latitude, rounded to 1e-6 degrees (0.1 m)."""
        return (round(WEST + p[0] / (KM_PER_DEGREE * COS_MID), 6), round(SOUTH + p[1] / KM_PER_DEGREE, 6))


def plain(tags: Tags) -> Tags:
    """Return tags with `:` for `__` in their keys."""
    return {key.replace("__", ":"): value for key, value in tags.items()}


def _meet(p: Point, q: Point, a: Point, b: Point) -> bool:
    def side(u: Point, v: Point, w: Point) -> float:
        return (v[0] - u[0]) * (w[1] - u[1]) - (v[1] - u[1]) * (w[0] - u[0])

    return side(p, q, a) * side(p, q, b) < 0 and side(a, b, p) * side(a, b, q) < 0
