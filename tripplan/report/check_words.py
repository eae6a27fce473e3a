"""What a check of somebody's way found, line by line, in plain words."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from math import isfinite

from tripplan.model.outfit import Outfit
from tripplan.region.region import Region
from tripplan.roads.check import CheckResult, Detour, Stretch, Toll
from tripplan.roads.track_check import OverLimit, TrackCheck

__all__ = ["detour_words", "found_words", "gap_words", "head_words", "over_words", "road_words", "toll_words"]


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
    joined = sum(leg is not None for leg in result.legs)
    at_sea = " and by ferry" if result.ferries else ""
    found = f"{result.length_m / 1000:.1f} km, {_time(result.total_s)} at towing speed{at_sea}, by {len(names)} way-points"
    lines = [f"The way as brought: {found}." if joined else f"The way as brought: no road joins its {len(names)} way-points."]
    lines += [f"  NO WAY       {_between(names, gap.first, gap.second)}: {gap_words(gap.why)}" for gap in result.gaps]
    lines += _stretch_lines(result.stretches)
    lines += [f"  shorter      {detour_words(names, detour)}" for detour in result.detours]
    lines += [f"  ferry        {_where(b.from_m, b.crossing.length_m)}  {b.crossing.words()}" for b in result.ferries]
    lines += _toll_lines(result.tolls)
    forbidden = [s for s in result.stretches if s.forbidden]
    if result.gaps and joined:
        lines.append(f"No road for {_count(len(result.gaps), 'leg')} of {len(result.legs)}; the others were judged.")
    if forbidden:
        lines.append(f"This way must not be driven with the van{_amount(forbidden)}.")
    elif joined:
        here = " on the legs that have a road" if result.gaps else ""
        lines.append(f"Nothing forbidden{here}." + _presumed(sum(s.length_m for s in result.stretches if s.kind == "presumed")))
    lines += _ask(result.stretches)
    if not result.sealed_way:
        lines.append("There is no sealed way from the first way-point to the last:")
        lines += [f"  {_between(names, gap.first, gap.second)}: {gap.why}" for gap in result.advised_gaps]
    elif result.forbidden:
        km = sum(leg.length_m for leg in result.advised) / 1000
        seconds = sum(leg.drive_s + leg.ferry_s for leg in result.advised)
        more = (
            f", {_more(result.more_km, 'km', 1)} and {_more(result.more_min, 'min', 0)}"
            if result.more_km == result.more_km
            else ""
        )
        lines.append(f"Advise instead a way on sealed roads: {km:.1f} km, {_time(seconds)}{more}.")
        lines += [f"  {_between(names, gap.first, gap.second)} is left out: {gap.why}" for gap in result.advised_gaps]
    return lines


def gap_words(why: str) -> str:
    """Return what a leg without a road is told by: that there is none, and why."""
    return f"no way on any road of this map that a car may use: {why}"


def detour_words(names: list[str], detour: Detour) -> str:
    """Return in a sentence which direct way of a leg is not for the outfit, and how much longer the sealed one is."""
    way, worst = detour.way, detour.worst
    road = road_words(worst) if worst.ref or worst.name else f"an unnamed road (way {worst.osm_way})"
    is_what = {"unsealed": "unsealed", "unknown": "of unknown surface"}.get(worst.kind, "closed to the outfit")
    size = f", {worst.length_m / 1000:.1f} km of it" if worst.length_m else ""
    return (
        f"{_between(names, way.leg, way.leg + 1)}: the direct way by {road}, {way.length_m / 1000:.1f} km, is {is_what}{size} "
        f"({'; '.join(worst.why)}); the way above is {way.longer_m / 1000:.1f} km longer: do not let navigation shorten it"
    )


def toll_words(toll: Toll) -> str:
    """Return in a few words where a toll is paid."""
    near = f", {toll.town_km:.1f} km from {toll.town}" if toll.town else ""
    return f"{road_words(toll)} (way {toll.osm_way}); at {toll.lat:.5f}, {toll.lon:.5f}{near}"


def over_words(over: OverLimit) -> str:
    """Return what was driven over the limit, summed, in a sentence."""
    return (
        f"Over the towing limit: {over.length_m / 1000:.1f} km, {_minutes(over.seconds)}, in {_count(over.stretches, 'stretch', 'stretches')}; "
        f"the most was {over.most_kmh:.0f} km/h over, from km {over.at_m / 1000:.1f}."
    )


def _toll_lines(tolls: tuple[Toll, ...]) -> list[str]:
    lines = [f"  toll         {_where(t.from_m, t.length_m)}  {toll_words(t)}" for t in tolls]
    return [*lines, f"{_count(len(tolls), 'toll')} to pay, as the map has it; what it costs is not in the map."] if tolls else []


def _ask(stretches: tuple[Stretch, ...]) -> list[str]:
    asked = sum(s.kind == "ask first" for s in stretches)
    phone = sum(s.phone_first for s in stretches)
    out = []
    if asked:
        out.append(f"Ask first about {_count(asked, 'stretch', 'stretches')}: a sign there could not be read.")
    if phone:
        out.append(f"Phone first about {_count(phone, 'stretch', 'stretches')} at the ends: nobody has mapped the surface.")
    return out


def _count(number: int, one: str, many: str = "") -> str:
    return f"{number} {one if number == 1 else many or one + 's'}"


def _more(value: float, unit: str, digits: int) -> str:
    value = round(value, digits)
    return f"{abs(value):.{digits}f} {unit} {'longer' if value >= 0 else 'shorter'}"


def _minutes(seconds: float) -> str:
    return f"{seconds / 60:.0f} min" if seconds >= 90 else f"{seconds:.0f} s"


def _where(from_m: float, length_m: float) -> str:
    size = "at a point" if not length_m else f"{length_m:,.0f} m" if length_m >= 1 else "under 1 m"
    return f"km {from_m / 1000:7.1f}  {size:>10}"


def _amount(forbidden: list[Stretch]) -> str:
    if not forbidden:
        return ""
    return f": {len(forbidden)} forbidden {'stretch' if len(forbidden) == 1 else 'stretches'}, {sum(s.length_m for s in forbidden) / 1000:.1f} km"


def _presumed(metres: float) -> str:
    return f" {metres / 1000:.1f} km are presumed sealed: untagged, but the map's evidence is good." if metres >= 50 else ""


def _stretch_lines(stretches: tuple[Stretch, ...]) -> list[str]:
    """Return a line for each stretch; pieces of one road one after another with the same to say share one.

    The evidence for presumed ones is left to JSON and map.
    """
    out, row = [], 0
    while row < len(stretches):
        first, after = stretches[row], row + 1
        end = first.from_m + first.length_m
        while after < len(stretches) and _goes_on(first, end, stretches[after]):
            end = stretches[after].from_m + stretches[after].length_m
            after += 1
        out.append(_stretch_line(replace(first, length_m=end - first.from_m), after - row))
        row = after
    return out


def _goes_on(first: Stretch, end_m: float, then: Stretch) -> bool:
    near = (
        abs(then.from_m - end_m) < 1.0
        and then.leg == first.leg
        and first.osm_way > 0
        and first.length_m > 0
        and then.length_m > 0
    )
    same = (then.kind, then.forbidden, then.phone_first) == (first.kind, first.forbidden, first.phone_first)
    return near and same and road_words(then) == road_words(first) and (first.kind == "presumed" or then.why == first.why)


def _stretch_line(s: Stretch, pieces: int) -> str:
    grade = "FORBIDDEN" if s.forbidden else "phone first" if s.phone_first else s.kind
    near = f", {s.town_km:.1f} km from {s.town}" if s.town else ""
    way = f" (way {s.osm_way}" + (f" and {pieces - 1} more" if pieces > 1 else "") + ")"
    what = f"{road_words(s)}{way}: " if s.osm_way else ""
    why = "; ".join(s.why)
    if s.kind == "presumed":
        why = "untagged, presumed sealed" + (f" ({s.sealed_p * 100:.0f} % likely)" if isfinite(s.sealed_p) else "")
    return f"  {grade:11}  {_where(s.from_m, s.length_m)}  {what}{why}; at {s.lat:.5f}, {s.lon:.5f}{near}"


def road_words(road: Stretch | Toll) -> str:
    """Return number and name of a road, once where both are the same."""
    return " ".join(dict.fromkeys(part for part in (road.ref, road.name) if part)) or "unnamed road"


def _track_lines(result: TrackCheck) -> list[str]:
    track = result.track
    name = f" {track.name}" if track.name else ""
    lines = [
        f"The track{name}: {len(track.lon):,} points, {result.length_m / 1000:.1f} km, {result.told_m / 1000:.1f} km of it matched to "
        f"roads, at a noise of {result.match.noise_m:.0f} m."
    ]
    lines += [f"  note         {remark}" for remark in track.remarks]
    if not result.timed:
        none = not any(time == time for time in track.time_s.tolist())
        lines.append(f"  note         no times{'' if none else ' that go on'}: speeds are not judged")
    lines += _stretch_lines(result.stretches)
    lines += _toll_lines(result.tolls)
    by_kind = {
        kind: sum(s.length_m for s in result.stretches if s.kind == kind) for kind in ("presumed", "not seen", "off the map")
    }
    roads = [s for s in result.stretches if s.forbidden and s.kind != "too fast"]
    if roads:
        lines.append(f"This track is not for the van{_amount(roads)}.")
    if result.over_limit.stretches:
        lines.append(over_words(result.over_limit))
    if not result.forbidden:
        lines.append("Nothing forbidden was found." + _presumed(by_kind["presumed"]))
    lines += _ask(result.stretches)
    if result.twins_untold_m >= 100:
        lines.append(
            f"{result.twins_untold_m / 1000:.1f} km run along two one-way carriageways nearer together than the noise: the one in the "
            "direction of travel is taken, the other not ruled out."
        )
    untold = by_kind["not seen"] + by_kind["off the map"]
    if untold:
        lines.append(f"{untold / 1000:.1f} km could not be told: no judgement there, for or against.")
    return lines


def _between(names: list[str], first: int, second: int) -> str:
    return f"{names[first]} to {names[second]}" if second >= 0 else names[first]


def _time(seconds: float) -> str:
    minutes = round(seconds / 60)
    return f"{minutes // 60} h {minutes % 60:02d} min"
