"""What a check of somebody's way found, line by line, in plain words."""

from __future__ import annotations

from datetime import date

from tripplan.model.outfit import Outfit
from tripplan.region.region import Region
from tripplan.roads.check import CheckResult, Stretch
from tripplan.roads.track_check import TrackCheck

__all__ = ["found_words", "head_words"]


def head_words(outfit: Outfit, when: date, region: Region) -> str:
    """Return for whom and when a way was checked, in a sentence."""
    return (
        f"Checked for {outfit.name}, {outfit.height_m:g} m high, {outfit.mass_kg:,.0f} kg, on {when.day} {when:%B %Y}, "
        f"map data of {region.meta.data_date}."
    )


def found_words(result: CheckResult | TrackCheck) -> list[str]:
    """Return what was found: the way, each stretch that asks for attention, the verdict, and the way to advise instead."""
    return _track_lines(result) if isinstance(result, TrackCheck) else _lines(result)


def _lines(result: CheckResult) -> list[str]:
    names = [spot.name for spot in result.waypoints]
    lines = [
        f"The way as brought: {result.length_m / 1000:.1f} km, {_time(result.total_s)} at towing speed, by {len(names)} way-points."
    ]
    lines += [f"  FORBIDDEN  {_between(names, gap.first, gap.second)}: {gap.why}" for gap in result.gaps]
    lines += [_stretch_line(s) for s in result.stretches]
    forbidden = [s for s in result.stretches if s.forbidden]
    if result.forbidden:
        lines.append(f"This way must not be driven with the van{_amount(forbidden)}.")
    else:
        lines.append("Nothing forbidden." + _presumed(sum(s.length_m for s in result.stretches if s.kind == "presumed")))
    if not result.sealed_way:
        lines.append("No sealed way:")
        lines += [f"  {_between(names, gap.first, gap.second)}: {gap.why}" for gap in result.advised_gaps]
    elif result.forbidden:
        km = sum(leg.length_m for leg in result.advised) / 1000
        seconds = sum(leg.drive_s + leg.ferry_s for leg in result.advised)
        more = f", {result.more_km:+.1f} km and {result.more_min:+.0f} min" if result.more_km == result.more_km else ""
        lines.append(f"Advise instead a way on sealed roads: {km:.1f} km, {_time(seconds)}{more}.")
        lines += [f"  {_between(names, gap.first, gap.second)} is left out: {gap.why}" for gap in result.advised_gaps]
    return lines


def _amount(forbidden: list[Stretch]) -> str:
    if not forbidden:
        return ""
    return f": {len(forbidden)} forbidden {'stretch' if len(forbidden) == 1 else 'stretches'}, {sum(s.length_m for s in forbidden) / 1000:.1f} km"


def _presumed(metres: float) -> str:
    return f" {metres / 1000:.1f} km are presumed sealed: untagged, but the map's evidence is good." if metres >= 50 else ""


def _stretch_line(s: Stretch) -> str:
    grade = "FORBIDDEN" if s.forbidden else "phone first" if s.phone_first else s.kind
    road = " ".join(part for part in (s.ref, s.name) if part) or "unnamed road"
    near = f", {s.town_km:.1f} km from {s.town}" if s.town else ""
    size = f"{s.length_m:,.0f} m" if s.length_m else "at a point"
    what = f"{road} (way {s.osm_way}): " if s.osm_way else ""
    return f"  {grade:11}  km {s.from_m / 1000:7.1f}  {size:>9}  {what}{'; '.join(s.why)}; at {s.lat:.5f}, {s.lon:.5f}{near}"


def _track_lines(result: TrackCheck) -> list[str]:
    track = result.track
    name = f" {track.name}" if track.name else ""
    lines = [
        f"The track{name}: {len(track.lon):,} points, {result.length_m / 1000:.1f} km, {result.told_m / 1000:.1f} km of it matched to "
        f"roads, at a noise of {result.match.noise_m:.0f} m."
    ]
    lines += [f"  note         {remark}" for remark in track.remarks]
    if not result.timed:
        lines.append("  note         no times: speeds are not judged")
    lines += [_stretch_line(s) for s in result.stretches]
    by_kind = {
        kind: sum(s.length_m for s in result.stretches if s.kind == kind)
        for kind in ("presumed", "not seen", "off the map", "too fast")
    }
    roads = [s for s in result.stretches if s.forbidden and s.kind != "too fast"]
    if roads:
        lines.append(f"This track is not for the van{_amount(roads)}.")
    if by_kind["too fast"]:
        lines.append(f"Over the towing limit: {by_kind['too fast'] / 1000:.1f} km.")
    if not result.forbidden:
        lines.append("Nothing forbidden was found." + _presumed(by_kind["presumed"]))
    untold = by_kind["not seen"] + by_kind["off the map"]
    if untold:
        lines.append(f"{untold / 1000:.1f} km could not be told: no judgement there, for or against.")
    return lines


def _between(names: list[str], first: int, second: int) -> str:
    return f"{names[first]} to {names[second]}" if second >= 0 else names[first]


def _time(seconds: float) -> str:
    minutes = round(seconds / 60)
    return f"{minutes // 60} h {minutes % 60:02d} min"
