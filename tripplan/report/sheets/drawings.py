"""The trip's map and the levels chart as drawings: shapes and labels, whatever draws them."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from tripplan.model.plan import Plan
from tripplan.region.region import Region
from tripplan.report.basemap import Frame, base_layers, frame_around, roads, towns
from tripplan.report.chart import Chart, Strip, levels_of
from tripplan.report.language import spoken
from tripplan.report.mapdata import marks_of
from tripplan.report.palette import LAND, ROADS, WATER, day_style
from tripplan.report.sheets.blocks import Disc, Drawing, Label, Path, Shape
from tripplan.report.sheets.tell import tell
from tripplan.report.thin import thin, unpack

__all__ = ["levels_drawing", "map_drawing"]

F64 = NDArray[np.float64]

_WIDTH = 700.0
#: Most points of base map and roads: a picture of a hand's size needs few.
_MOST_BASE, _MOST_ROADS = 2600, 2600
_INK, _LIMIT, _AREA, _SPREAD, _BOX, _NIGHTS = "#1c1c1c", "#c24a00", "#dde6ec", "#b9cbd7", "#999999", "#dddddd"


class _Chart:
    """From degrees to the drawing: flat, true to scale at the middle latitude."""

    def __init__(self, frame: Frame) -> None:
        stretch = max(0.05, float(np.cos(np.radians((frame.south + frame.north) / 2))))
        wide, high = (frame.east - frame.west) * stretch, frame.north - frame.south
        # Neither a ribbon nor a tower: the frame grows on its shorter side.
        if high < 0.42 * wide:
            high = 0.42 * wide
        if high > 0.8 * wide:
            wide = high / 0.8
        self.width, self.height = _WIDTH, _WIDTH * high / wide
        self.scale = _WIDTH / wide
        self.stretch = stretch
        self.west = (frame.west + frame.east) / 2 - wide / stretch / 2
        self.north = (frame.south + frame.north) / 2 + high / 2
        self.frame = Frame(self.west, self.north - high, self.west + wide / stretch, self.north, frame.way)

    def __call__(self, lon: F64, lat: F64) -> tuple[tuple[float, float], ...]:
        x = np.round((self.frame.unrolled(lon) - self.west) * self.stretch * self.scale, 1)
        y = np.round((self.north - lat) * self.scale, 1)
        return tuple(zip(x.tolist(), y.tolist(), strict=True))

    def packed(self, lines: list[int]) -> list[tuple[tuple[float, float], ...]]:
        """Return lines that `tripplan.report.thin.pack` packed, a point a tenth of a unit apart at least."""
        across, down = 1e-5 * self.stretch * self.scale, 1e-5 * self.scale
        west, north = self.west * 1e5, self.north * 1e5
        return [tuple((round((x - west) * across, 1), round((north - y) * down, 1)) for x, y in line) for line in unpack(lines)]


def map_drawing(plan: Plan, region: Region, ways: Sequence[tuple[int, str, F64]]) -> Drawing:
    """Return the map of a trip, from the region's own lines.

    Parameters
    ----------
    ways
        Of each leg: number of its day, mode, points (n, 2) lon and lat [degrees].
    """
    marks = marks_of(plan)
    line = np.concatenate([*(points for _, _, points in ways), np.empty((0, 2))])
    spots = np.array([(mark.spot.lon, mark.spot.lat) for mark in marks]).reshape(-1, 2)
    chart = _Chart(frame_around(line, spots))
    shapes: list[Shape] = []
    base = base_layers(region, chart.frame, _MOST_BASE)
    sea = bool(base.get("land")) and not base.get("coast")
    edge = ((0.0, 0.0), (chart.width, 0.0), (chart.width, chart.height), (0.0, chart.height))
    shapes.append(Path(edge, True, WATER if sea else LAND))
    for name, fill, stroke in (
        ("land", LAND, "#8a857b"), ("sea", WATER, "#8a857b"), ("wood", "#e6ebdd", ""), ("water", WATER, "#a9bfcc"), ("coast", "", "#8a857b"), ("river", "", "#a9bfcc"),
        ("border", "", "#777777"),
    ):  # fmt: skip
        dash = (5.0, 3.0) if name == "border" else ()
        shapes += [Path(points, bool(fill), fill, stroke, 0.6, dash) for points in chart.packed(base.get(name, []))]
    net = roads(region, chart.frame, _MOST_ROADS)
    for group in ("middle", "main"):
        width, colour = ROADS[group]
        shapes += [Path(points, stroke=colour, width=0.5 * width) for points in chart.packed(net.get(group, []))]
    shapes += _ways(chart, ways)
    taken: list[tuple[float, float, float, float]] = []
    signs: list[Shape] = []
    for mark in sorted(marks, key=lambda m: ("depot", "night", "service", "sight").index(m.sign)):
        ((x, y),) = chart(np.array([mark.spot.lon]), np.array([mark.spot.lat]))
        signs += _sign(mark.sign, mark.label, x, y)
        half = 4.0 + 2.4 * len(mark.label)
        taken.append((x - half - 2, y - 8, x + half + 2, y + 8))
    shapes += _numbers(chart, ways, taken)
    shapes += _names(chart, region, taken)
    shapes += signs
    shapes += _scale_bar(chart)
    frame = ((0.5, 0.5), (chart.width - 0.5, 0.5), (chart.width - 0.5, chart.height - 0.5), (0.5, chart.height - 0.5))
    shapes.append(Path(frame, True, "", "#777777", 0.8))
    words = tell(
        "Map of the trip: {nights} nights numbered in round signs, squares are service stops, stars are sights, the depot is a black square; each day's way has its own dash.",
        nights=sum(1 for day in plan.days if day.night is not None),
    )
    return Drawing(chart.width, round(chart.height, 1), tuple(shapes), tell("Map of the trip"), words)


def _ways(chart: _Chart, ways: Sequence[tuple[int, str, F64]]) -> list[Shape]:
    """Return the days' lines: first a white edge under all, so that they stand out from the roads, then each with its dash."""
    edges: list[Shape] = []
    lines: list[Shape] = []
    for day, mode, run in ways:
        if len(run) < 2:
            continue
        points = chart.frame.line(run)
        x, y, _ = thin(points[:, 0] * 1e5, points[:, 1] * 1e5, np.array([0, len(points)]), 0.00035 / chart.scale * 111_000 * 700)
        placed = chart(x * 1e-5, y * 1e-5)
        style = day_style(day)
        dash = tuple(0.6 * float(d) for d in style.dash.split()) if mode == "van" else (2.0, 2.6)
        edges.append(Path(placed, stroke="#ffffff", width=4.6))
        lines.append(Path(placed, stroke=style.colour, width=2.4 if mode == "van" else 1.2, dash=dash))
    return [*edges, *lines]


def _sign(sign: str, label: str, x: float, y: float) -> list[Shape]:
    if sign == "night":
        half = 3.6 + 2.3 * max(1, len(label))
        round_ended: list[Shape] = (
            [Disc(x - half + 6, y, 6.4, "#ffffff", _INK, 1.1), Disc(x + half - 6, y, 6.4, "#ffffff", _INK, 1.1)]
            if half > 7
            else []
        )
        if half > 7:
            round_ended += [
                Path(
                    ((x - half + 6, y - 6.4), (x + half - 6, y - 6.4), (x + half - 6, y + 6.4), (x - half + 6, y + 6.4)),
                    True,
                    "#ffffff",
                )
            ]
            round_ended += [
                Path(((x - half + 6, y + side), (x + half - 6, y + side)), stroke=_INK, width=1.1) for side in (-6.4, 6.4)
            ]
        else:
            round_ended = [Disc(x, y, 6.4, "#ffffff", _INK, 1.1)]
        return [*round_ended, Label(x, y + 2.9, label, 8.0, "middle", bold=True)]
    if sign == "sight":
        star = []
        for k in range(10):
            r, angle = (5.6 if k % 2 == 0 else 2.4), -np.pi / 2 + k * np.pi / 5
            star.append((round(x + r * float(np.cos(angle)), 1), round(y + r * float(np.sin(angle)), 1)))
        return [Path(tuple(star), True, "#ffffff", _INK, 0.9)]
    half = 4.4 if sign == "depot" else 3.2
    corners = ((x - half, y - half), (x + half, y - half), (x + half, y + half), (x - half, y + half))
    return [Path(corners, True, _INK if sign == "depot" else "#ffffff", "#ffffff" if sign == "depot" else _INK, 0.9)]


def _free(box: tuple[float, float, float, float], chart: _Chart, taken: list[tuple[float, float, float, float]]) -> bool:
    """Return whether a label has the room for itself."""
    within = box[0] > 3 and box[2] < chart.width - 3 and box[1] > 3 and box[3] < chart.height - 3
    return within and not any(box[0] < b[2] and box[2] > b[0] and box[1] < b[3] and box[3] > b[1] for b in taken)


def _numbers(chart: _Chart, ways: Sequence[tuple[int, str, F64]], taken: list[tuple[float, float, float, float]]) -> list[Shape]:
    """Return "day 3" beside the way of each day with the van, where there is room."""
    out: list[Shape] = []
    for day in dict.fromkeys(day for day, mode, points in ways if mode == "van" and len(points) > 1):
        points = np.concatenate([line for number, mode, line in ways if number == day and mode == "van" and len(line) > 1])
        words = tell("day {day}", day=day)
        half = 0.33 * 8.0 * len(words)
        for share in (0.5, 0.35, 0.65, 0.2, 0.8):
            ((x, y),) = chart(*points[[int(share * (len(points) - 1))]].T)
            beside = ((x + half + 7, y + 3.0), (x - half - 7, y + 3.0), (x, y - 8.0), (x, y + 14.0))
            boxes = [(a - half, b - 8, a + half, b + 2) for a, b in beside]
            found = next((i for i, box in enumerate(boxes) if _free(box, chart, taken)), -1)
            if found >= 0:
                taken.append(boxes[found])
                a, b = beside[found]
                out.append(Label(round(a, 1), round(b, 1), words, 8.0, "middle", True, day_style(day).colour, "#ffffff"))
                break
    return out


def _names(chart: _Chart, region: Region, taken: list[tuple[float, float, float, float]]) -> list[Shape]:
    """Return names of towns, most important first, each where nothing else stands."""
    out: list[Shape] = []
    for name, rank, lat, lon in towns(region, chart.frame, 80):
        if len(out) >= 22 or not name.strip():
            continue
        ((x, y),) = chart(np.array([lon]), np.array([lat]))
        size = (10.0, 9.0, 7.6)[min(rank, 2)]
        half = 0.31 * size * min(len(name), 40)
        for below in (-7.0, 12.0):
            box = (x - half, y + below - size, x + half, y + below + 2)
            if _free(box, chart, taken):
                taken.append(box)
                out.append(Label(round(x, 1), round(y + below, 1), name[:40], size, "middle", fill="#333333", halo="#ffffff"))
                break
    return out


def _scale_bar(chart: _Chart) -> list[Shape]:
    """Return a bar of a round number of kilometres or miles."""
    unit_m = 1000.0 if spoken().metric else 1609.344
    units = chart.scale / 111.2 * (unit_m / 1000.0)
    long = next((k for k in (100, 50, 20, 10, 5, 2, 1) if k * units <= 150), 1)
    x, y = 10.0, chart.height - 9
    bar = Path(((x, y - 3), (x, y), (x + long * units, y), (x + long * units, y - 3)), stroke=_INK, width=1.1)
    return [bar, Label(round(x + long * units + 5, 1), y, spoken().road(long * unit_m), 8.0, halo="#ffffff")]


# ------------------------------------------------------------------------------------------------ levels

_LEFT, _RIGHT, _TOP, _STRIP, _GAP = 152.0, 8.0, 6.0, 30.0, 9.0


def levels_drawing(plan: Plan) -> Drawing:
    """Return the levels of all stores: a strip each, its limit dashed, services as triangles, what lies up to the expected level shaded."""
    chart = levels_of(plan)
    step = (_WIDTH - _LEFT - _RIGHT) / max(len(chart.days), 1)
    height = _TOP + len(chart.strips) * (_STRIP + _GAP) + 14
    shapes: list[Shape] = []
    for row, strip in enumerate(chart.strips):
        shapes += _strip(strip, _TOP + row * (_STRIP + _GAP), step, len(chart.days))
    shapes += _axis(chart, step, height)
    return Drawing(_WIDTH, height, tuple(shapes), chart.title, chart.words)


def _axis(chart: Chart, step: float, height: float) -> list[Shape]:
    every = 1 if len(chart.days) <= 16 else 2
    days: list[Shape] = [
        Label(round(_LEFT + (i + 0.5) * step, 1), height - 3, str(day), 9.0, "middle")
        for i, day in enumerate(chart.days)
        if i % every == 0
    ]
    return [Label(_LEFT - 6, height - 3, tell("day"), 9.0, "end"), *days]


def _strip(strip: Strip, top: float, step: float, days: int) -> list[Shape]:
    bottom, right = top + _STRIP, _WIDTH - _RIGHT

    def place(points: Sequence[tuple[float, float]]) -> tuple[tuple[float, float], ...]:
        return tuple((round(_LEFT + x * step, 1), round(top + _STRIP * (1 - strip.share(level)), 1)) for x, level in points)

    line, expected = place(strip.line), place(strip.expected)
    out: list[Shape] = []
    if line:
        out.append(Path((*line, (line[-1][0], bottom), (line[0][0], bottom)), True, _AREA))
    if expected:
        out.append(Path((*line, *reversed(expected)), True, _SPREAD))
        out.append(Path(expected, stroke="#555555", width=0.7))
    out.append(Path(((_LEFT, top), (right, top), (right, bottom), (_LEFT, bottom)), True, "", _BOX, 0.7))
    out += [
        Path(((round(_LEFT + i * step, 1), top), (round(_LEFT + i * step, 1), bottom)), stroke=_NIGHTS, width=0.7)
        for i in range(1, days)
    ]
    if line:
        out.append(Path(line, stroke=_INK, width=1.5))
    if strip.limit is not None:
        at = round(top + _STRIP * (1 - strip.share(strip.limit)), 1)
        out.append(Path(((_LEFT, at), (right, at)), stroke=_LIMIT, width=1.3, dash=(6.0, 3.0)))
    for mark in strip.services:
        x = round(_LEFT + mark.x * step, 1)
        out.append(Path(((x - 3.5, top - 1), (x + 3.5, top - 1), (x, top + 5)), True, _INK))
    out += [
        Label(_LEFT - 6, top + 13, strip.name, 10.0, "end", bold=True),
        Label(_LEFT - 6, top + 25, strip.bound, 8.8, "end"),
    ]
    return out
