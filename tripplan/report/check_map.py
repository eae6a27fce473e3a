"""The map of a checked way: one page that opens offline, with the list of what was found beside it."""

from __future__ import annotations

import base64
import hashlib
import json
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tripplan.model.place import Spot
from tripplan.model.plan import PieceRun
from tripplan.region.geometry import run_line
from tripplan.region.region import Region
from tripplan.report.basemap import base_layers, frame_around, roads, towns
from tripplan.report.check_words import (
    detour_words,
    ferry_words,
    gap_words,
    grade_word,
    mark_words,
    near_words,
    over_words,
    place_words,
    size_words,
    toll_words,
)
from tripplan.report.language import spoken, tell, word
from tripplan.report.map import _asset, leaflet_css, leaflet_js
from tripplan.report.mapdata import map_words
from tripplan.report.markup import Markup, el, raw
from tripplan.report.palette import LAND, ROADS, WATER
from tripplan.report.retell import retell
from tripplan.report.safe import plain, script_json
from tripplan.report.say import upper_first
from tripplan.report.thin import pack, thin
from tripplan.roads.check import CheckResult, Stretch
from tripplan.roads.track_check import TrackCheck

__all__ = ["check_map"]

F64 = NDArray[np.float64]

_MOST_BASE, _MOST_ROADS = 26_000, 40_000


@dataclass(frozen=True, slots=True)
class _Band:
    """How stretches of one grade are drawn: colour, width and dash, so that any eye and any printer tells them apart."""

    key: str
    title: str
    colour: str
    wide: float
    dash: str
    above: bool


_BANDS = (
    _Band("presumed", word("Presumed sealed"), "#f2cf66", 13, "", False),
    _Band("unknown", word("Unknown: phone or ask first, or not seen"), "#1c1c1c", 12, "2 4", False),
    _Band("forbidden", word("Forbidden"), "#c24a00", 9, "", True),
    _Band("fast", word("Over the limit"), "#a8467c", 6, "10 5", True),
    _Band("shorter", word("Direct way, not for the van"), "#c24a00", 4, "1 7", False),
)


def _band_of(stretch: Stretch) -> str:
    if stretch.kind == "too fast":
        return "fast"
    if stretch.forbidden:
        return "forbidden"
    return "presumed" if stretch.kind == "presumed" else "unknown"


def check_map(result: CheckResult | TrackCheck, region: Region, head: str, *, name: str = "") -> str:
    """Return the map of a check as one HTML file.

    Parameters
    ----------
    head
        What was checked, for whom and when, in a sentence.
    name
        Title of the page.
    """
    runs, starts = _runs(result)
    recorded = np.column_stack((result.track.lon, result.track.lat)) if isinstance(result, TrackCheck) else np.empty((0, 2))
    lines = [run_line(region, run) for run in runs]
    points = recorded if len(recorded) else np.array([(s.lon, s.lat) for s in _spots(result)]).reshape(-1, 2)
    direct = [run_line(region, d.way.runs) for d in result.detours] if isinstance(result, CheckResult) else []
    way = np.concatenate([*lines, *direct, np.empty((0, 2))])
    frame = frame_around(way, points)
    everything = frame.line(np.concatenate([way, points]))
    (west, south), (east, north) = everything.min(axis=0), everything.max(axis=0)
    base = base_layers(region, frame, _MOST_BASE)
    numbered = {n: str(k) for k, n in enumerate((n for n, s in enumerate(result.stretches) if s.kind != "presumed"), 1)}
    parts: dict[str, list[F64]] = {band.key: [] for band in _BANDS}
    for stretch in result.stretches:
        if stretch.leg >= 0 and stretch.length_m > 0:
            at = stretch.from_m - starts[stretch.leg]
            parts[_band_of(stretch)].append(frame.line(run_line(region, _cut(runs[stretch.leg], at, at + stretch.length_m))))
    parts["shorter"] = [frame.line(line) for line in direct]
    page = {
        "credit": tell("{attribution}, data of {date}", attribution=region.meta.attribution, date=region.meta.data_date),
        "words": map_words(),
        "imperial": not spoken().metric,
        "days": [],
        "marks": [],
        "bounds": [[round(float(south), 5), round(float(west), 5)], [round(float(north), 5), round(float(east), 5)]],
        "frame": [[round(frame.south, 4), round(frame.west, 4)], [round(frame.north, 4), round(frame.east, 4)]],
        "sea": bool(base.get("land")) and not base.get("coast"),
        "base": base,
        "roads": roads(region, frame, _MOST_ROADS),
        "towns": towns(region, frame),
        "check": {
            "words": {"way": tell("The way on the roads"), "recorded": tell("As recorded"), "numbers": tell("Numbers of the list")},
            "way": _packed([frame.line(line) for line in lines], 3.0),
            "recorded": _packed([frame.line(recorded)], 3.0),
            "bands": [
                {"key": b.key, "title": tell(b.title), "colour": b.colour, "wide": b.wide, "dash": b.dash, "above": b.above,
                 "line": _packed(parts[b.key], 2.0)}
                for b in _BANDS
            ],
            "marks": [
                {"key": f"found-{n}", "label": numbered.get(n, ""), "sign": _band_of(s), "at": [round(s.lat, 5), round(float(frame.line(np.array([(s.lon, s.lat)]))[0, 0]), 5)]}
                for n, s in enumerate(result.stretches)
            ],
        },
    }  # fmt: skip
    return _page(page, region, result, head, name or tell("check"), numbered)


def _page(
    page: dict[str, object], region: Region, result: CheckResult | TrackCheck, head: str, name: str, numbered: dict[int, str]
) -> str:
    looks = json.dumps({"land": LAND, "water": WATER, "roads": ROADS})
    scripts = [leaflet_js(), f"var LOOKS={looks};\n{_asset('map.js')}", f"{_asset('check.js')}\ncheck.start();"]
    hashes = " ".join(f"'sha256-{base64.b64encode(hashlib.sha256(s.encode()).digest()).decode()}'" for s in scripts)
    policy = (
        f"default-src 'none'; script-src {hashes}; style-src 'unsafe-inline'; img-src data:; base-uri 'none'; form-action 'none'"
    )
    found = [(n, s) for n, s in enumerate(result.stretches) if s.kind != "presumed"]
    presumed = [(n, s) for n, s in enumerate(result.stretches) if s.kind == "presumed"]
    verdict = tell("Something forbidden was found.") if result.forbidden else tell("Nothing forbidden was found.")
    metres = sum(s.length_m for _, s in presumed)
    body = el(
        "body",
        el("header", el("h1", el("bdi", name)), el("p", head)),
        el(
            "main",
            el("div", id="check-map", class_="folium-map"),
            el("noscript", el("p", tell("The map needs scripts. The list says the same."))),
            id="map",
            aria_label=tell("Map of the checked way"),
        ),
        el(
            "section",
            el("p", el("strong", verdict), " ", tell("{km} in all.", km=spoken().road(result.length_m, 1))),
            _gaps(result),
            _notes(result),
            el("ol", [_entry(n, s, numbered[n]) for n, s in found]) if found else None,
            el(
                "details",
                el("summary", tell("Presumed sealed: {km}", km=spoken().road(metres, 1))),
                el("p", tell("Untagged, but the map's evidence is good. It is not proved.")),
                el("ol", [_entry(n, s, "") for n, s in presumed]),
            )
            if presumed
            else None,
            el("details", el("summary", tell("Signs")), el("ul", [_sign(b) for b in _BANDS], class_="legend"), open=True),
            el("p", tell("What cannot be told is judged neither for nor against. Signs on the road and local rules come first.")),
            el(
                "footer",
                el(
                    "p",
                    tell(
                        "{attribution}, data of {date}. Region {name}.",
                        attribution=region.meta.attribution,
                        date=region.meta.data_date,
                        name=region.meta.name,
                    ),
                ),
            ),
            id="list",
            aria_label=tell("What was found"),
        ),
        raw(f'<script type="application/json" id="map-data">{script_json(page)}</script>'),
        *[raw(f"<script>{s}</script>") for s in scripts],
    )
    top = el(
        "head",
        el("meta", charset="utf-8"),
        el("meta", http_equiv="Content-Security-Policy", content=policy),
        el("meta", name="viewport", content="width=device-width, initial-scale=1"),
        el("title", tell("{name}: check", name=name)),
        raw(f"<!-- Map drawn with Leaflet, under this licence:\n{_asset('leaflet-LICENSE.txt')}\n-->"),
        raw(f"<style>\n{leaflet_css()}\n{_asset('map.css')}\n</style>"),
    )  # fmt: skip
    return f"<!DOCTYPE html>\n{el('html', top, body, lang=spoken().tag)}\n"


def _gaps(result: CheckResult | TrackCheck) -> Markup | None:
    if isinstance(result, TrackCheck) or not result.gaps:
        return None
    names = [spot.name for spot in result.waypoints]
    return el(
        "ul",
        [
            el(
                "li",
                el("bdi", names[g.first]),
                [tell(" to "), el("bdi", names[g.second])] if g.second >= 0 else None,
                f": {plain(gap_words(g.why))}",
            )
            for g in result.gaps
        ],
    )


def _notes(result: CheckResult | TrackCheck) -> list[Markup]:
    """Return what concerns the whole way: direct ways that are not for the outfit, driving over the limit, tolls."""
    out = []
    if isinstance(result, TrackCheck):
        out += [el("p", over_words(result.over_limit))] if result.over_limit.stretches else []
    else:
        names = [spot.name for spot in result.waypoints]
        shorter = [el("li", plain(detour_words(names, detour))) for detour in result.detours]
        out += [el("p", tell("Shorter, but not for the van:")), el("ul", shorter)] if shorter else []
        boats = [el("li", f"{mark_words(b.from_m)}: {plain(ferry_words(b.crossing))}") for b in result.ferries]
        out += [el("details", el("summary", tell("Ferries: {n}", n=len(boats))), el("ul", boats))] if boats else []
    tolls = [el("li", f"{mark_words(t.from_m)}: {plain(toll_words(t))}") for t in result.tolls]
    summary = el("summary", tell("Tolls to pay: {n}", n=len(tolls)))
    return [*out, el("details", summary, el("ul", tolls))] if tolls else out


def _entry(number: int, s: Stretch, label: str) -> Markup:
    """Return the list's entry of one stretch."""
    road: list[object] = [el("bdi", part) for part in (s.ref, s.name) if part] or [
        tell("unnamed road") if s.osm_way else tell("off the roads")
    ]
    title = f"{label + '. ' if label else ''}{upper_first(grade_word(s))}, {mark_words(s.from_m)}, {size_words(s.length_m)}: "
    way = ", " + tell("way {number}", number=s.osm_way) if s.osm_way else ""
    button = el("button", title, [[part, " "] for part in road], type="button", class_="go", data_mark=f"found-{number}")
    return el(
        "li",
        button,
        [el("p", plain(retell(why))) for why in s.why],
        el("p", f"{upper_first(place_words(s))}{near_words(s)}{way}."),
        id=f"found-{number}",
    )


def _sign(band: _Band) -> Markup:
    line = el(
        "line", x1=2, y1=8, x2=46, y2=8, stroke=band.colour, stroke_width=min(band.wide, 10), stroke_dasharray=band.dash or None
    )
    return el("li", el("svg", line, width=48, height=16, viewBox="0 0 48 16", aria_hidden="true"), tell(band.title))


def _spots(result: CheckResult | TrackCheck) -> tuple[Spot, ...]:
    return () if isinstance(result, TrackCheck) else result.waypoints


def _runs(result: CheckResult | TrackCheck) -> tuple[list[PieceRun], list[float]]:
    """Return the roads of each leg or chain, and where each begins along the whole [m]."""
    if isinstance(result, TrackCheck):
        return list(result.runs), list(result.start_m)
    runs = [leg.runs if leg else PieceRun((), (), (), (), ()) for leg in result.legs]
    ends = np.cumsum([sum(run.to_m) - sum(run.from_m) for run in runs])
    return runs, [0.0, *ends.tolist()]


def _cut(runs: PieceRun, low: float, high: float) -> PieceRun:
    """Return the part of a run between two lengths along it [m]."""
    first, last = np.asarray(runs.from_m, np.float64), np.asarray(runs.to_m, np.float64)
    ends = np.concatenate(([0.0], np.cumsum(last - first)))
    rows = np.flatnonzero((ends[1:] > low) & (ends[:-1] < high))
    begin = first[rows] + np.clip(low - ends[rows], 0, None)
    end = last[rows] - np.clip(ends[rows + 1] - high, 0, None)
    piece, forward = tuple(runs.piece[i] for i in rows), tuple(runs.forward[i] for i in rows)
    return PieceRun(piece, forward, tuple(begin.tolist()), tuple(end.tolist()), (0.0,) * len(rows))


def _packed(lines: list[F64], tolerance_m: float) -> list[int]:
    """Return lines of (n, 2) degrees, thinned and packed."""
    lines = [line for line in lines if len(line) >= 2]
    if not lines:
        return []
    points = np.concatenate(lines) * 1e5
    ptr = np.concatenate([[0], np.cumsum([len(line) for line in lines])]).astype(np.int64)
    return pack(*thin(points[:, 0], points[:, 1], ptr, tolerance_m))
