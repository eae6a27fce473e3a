"""What a check of somebody's way found, line by line, in plain words of the language spoken."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from math import isfinite

from tripplan.model.outfit import Outfit
from tripplan.region.region import Region
from tripplan.report.language import spoken, tell, tell_n, word
from tripplan.report.retell import retell
from tripplan.roads.check import CheckResult, Detour, Stretch, Toll
from tripplan.roads.ferries import Crossing
from tripplan.roads.track_check import OverLimit, TrackCheck

__all__ = [
    "detour_words", "ferry_words", "found_words", "gap_words", "grade_word", "head_words", "mark_words", "near_words", "over_words",
    "place_words", "road_words", "size_words", "toll_words", "why_words",
]  # fmt: skip

#: Longer than this, miles say more than feet [m].
_IN_FEET_M = 300.0
#: What a stretch is, as words of the list.
_GRADES = {
    "closed": word("closed"), "unsealed": word("unsealed"), "unknown": word("unknown"), "ask first": word("ask first"), "presumed": word("presumed"),
    "against the one-way": word("against the one-way"), "which carriageway": word("which carriageway"), "turn": word("turn"), "too fast": word("too fast"),
    "off the map": word("off the map"), "not seen": word("not seen"),
}  # fmt: skip


def head_words(outfit: Outfit, when: date, region: Region) -> str:
    """Return for whom and when a way was checked, in a sentence."""
    language = spoken()
    digits = len(f"{outfit.height_m:g}".partition(".")[2])
    day = f"{when.day} {when:%B %Y}" if language.locale == "en" else language.day(when)
    mass = f"{outfit.mass_kg:,.0f} kg" if language.locale == "en" and language.metric else language.mass(outfit.mass_kg)
    return tell(
        "Checked for {name}, {height} high, {mass}, on {day}, map data of {date}.", name=outfit.name, height=language.size(outfit.height_m, digits),
        mass=mass, day=day, date=region.meta.data_date,
    )  # fmt: skip


def found_words(result: CheckResult | TrackCheck) -> list[str]:
    """Return what was found: the way, each stretch that asks for attention, the verdict, and the way to advise instead."""
    return _track_lines(result) if isinstance(result, TrackCheck) else _lines(result)


def _row(grade: str, text: str) -> str:
    """Return a line of the list: what it is, in a column of its own, then where and what."""
    width = 11 if spoken().code == "en" else 15
    return f"  {grade:{width}}  {text}"


def _lines(result: CheckResult) -> list[str]:
    names = [spot.name for spot in result.waypoints]
    joined = sum(leg is not None for leg in result.legs)
    sentence = (
        word("The way as brought: {km}, {time} at towing speed and by ferry, by {n} way-points.")
        if result.ferries
        else word("The way as brought: {km}, {time} at towing speed, by {n} way-points.")
    )
    lines = [
        tell(sentence, km=spoken().road(result.length_m, 1), time=_time(result.total_s), n=len(names))
        if joined
        else tell("The way as brought: no road joins its {n} way-points.", n=len(names))
    ]
    lines += [_row(tell("NO WAY"), f"{_between(names, gap.first, gap.second)}: {gap_words(gap.why)}") for gap in result.gaps]
    lines += _stretch_lines(result.stretches)
    lines += [_row(tell("shorter"), detour_words(names, detour)) for detour in result.detours]
    lines += [_row(tell("ferry"), f"{_where(b.from_m, b.crossing.length_m)}  {ferry_words(b.crossing)}") for b in result.ferries]
    lines += _toll_lines(result.tolls)
    forbidden = [s for s in result.stretches if s.forbidden]
    if result.gaps and joined:
        legs = tell_n("{n} leg", "{n} legs", len(result.gaps))
        lines.append(tell("No road for {legs} of {all}; the others were judged.", legs=legs, all=len(result.legs)))
    if forbidden:
        lines.append(tell("This way must not be driven with the van: {amount}.", amount=_amount(forbidden)))
    elif joined:
        clear = tell("Nothing forbidden on the legs that have a road.") if result.gaps else tell("Nothing forbidden.")
        lines.append(clear + _presumed(sum(s.length_m for s in result.stretches if s.kind == "presumed")))
    lines += _ask(result.stretches)
    if not result.sealed_way:
        lines.append(tell("There is no sealed way from the first way-point to the last:"))
        lines += [f"  {_between(names, gap.first, gap.second)}: {retell(gap.why)}" for gap in result.advised_gaps]
    elif result.forbidden:
        km = spoken().road(sum(leg.length_m for leg in result.advised), 1)
        time = _time(sum(leg.drive_s + leg.ferry_s for leg in result.advised))
        if result.more_km == result.more_km:
            more = {"far": _more_way(1000 * result.more_km), "long": _more_time(result.more_min)}
            lines.append(tell("Advise instead a way on sealed roads: {km}, {time}, {far} and {long}.", km=km, time=time, **more))
        else:
            lines.append(tell("Advise instead a way on sealed roads: {km}, {time}.", km=km, time=time))
        lines += [
            "  " + tell("{spot} is left out: {why}", spot=_between(names, gap.first, gap.second), why=retell(gap.why))
            for gap in result.advised_gaps
        ]
    return lines


def gap_words(why: str) -> str:
    """Return what a leg without a road is told by: that there is none, and why."""
    return tell("no way on any road of this map that a car may use: {why}", why=retell(why))


def why_words(why: tuple[str, ...]) -> str:
    """Return the reasons about a stretch in one line."""
    return "; ".join(map(retell, why))


def detour_words(names: list[str], detour: Detour) -> str:
    """Return in a sentence which direct way of a leg is not for the outfit, and how much longer the sealed one is."""
    way, worst = detour.way, detour.worst
    road = road_words(worst) if worst.ref or worst.name else tell("an unnamed road (way {number})", number=worst.osm_way)
    is_what = {"unsealed": word("unsealed"), "unknown": word("of unknown surface")}.get(worst.kind, word("closed to the outfit"))
    what = tell(is_what)
    if worst.length_m:
        what = tell("{what}, {km} of it", what=what, km=spoken().road(worst.length_m, 1))
    return tell(
        "{between}: the direct way by {road}, {km}, is {what} ({why}); the way above is {more} longer: do not let navigation shorten it",
        between=_between(names, way.leg, way.leg + 1), road=road, km=spoken().road(way.length_m, 1), what=what, why=why_words(worst.why),
        more=spoken().road(way.longer_m, 1),
    )  # fmt: skip


def ferry_words(boat: Crossing) -> str:
    """Return what a crossing is and what to ask."""
    return retell(boat.words())


def toll_words(toll: Toll) -> str:
    """Return in a few words where a toll is paid."""
    way = tell("way {number}", number=toll.osm_way)
    return f"{road_words(toll)} ({way}); {place_words(toll)}{near_words(toll)}"


def place_words(at: Stretch | Toll) -> str:
    """Return where on the earth something is, as numbers to copy: a point stays the decimal sign in every language."""
    return tell("at {lat}, {lon}", lat=f"{at.lat:.5f}", lon=f"{at.lon:.5f}")


def near_words(at: Stretch | Toll) -> str:
    """Return which town is near, with a comma before it; "" where none is known."""
    if not at.town:
        return ""
    return ", " + tell("{km} from {place}", km=spoken().road(1000 * at.town_km, 1), place=at.town)


def over_words(over: OverLimit) -> str:
    """Return what was driven over the limit, summed, in a sentence."""
    return tell(
        "Over the towing limit: {km}, {time}, in {parts}; the most was {speed} over, from {mark}.", km=spoken().road(over.length_m, 1),
        time=_minutes(over.seconds), parts=tell_n("{n} stretch", "{n} stretches", over.stretches), speed=spoken().speed(over.most_kmh),
        mark=mark_words(over.at_m),
    )  # fmt: skip


def mark_words(from_m: float, width: int = 0) -> str:
    """Return a place along the way by its distance from the start: ``km 12.3``."""
    length = spoken().road(from_m, 1).split(" ")[0]
    return tell("km {n}", n=f"{length:>{width}}") if spoken().metric else tell("mile {n}", n=f"{length:>{width}}")


def size_words(length_m: float) -> str:
    """Return the length of a stretch in whole m or feet."""
    if not length_m:
        return tell("at a point")
    if length_m < 1:
        return tell("under {length}", length=spoken().short_way(1))
    if spoken().metric:
        return f"{spoken().number(length_m, grouped=True)} m"
    return spoken().short_way(length_m) if length_m < _IN_FEET_M else spoken().road(length_m, 1)


def grade_word(s: Stretch) -> str:
    """Return what a stretch is: forbidden, to be phoned about, or its kind."""
    if s.forbidden:
        return tell("forbidden")
    return tell("phone first") if s.phone_first else tell(_GRADES[s.kind]) if s.kind in _GRADES else s.kind


def road_words(road: Stretch | Toll) -> str:
    """Return number and name of a road, once where both are the same."""
    return " ".join(dict.fromkeys(part for part in (road.ref, road.name) if part)) or tell("unnamed road")


def _toll_lines(tolls: tuple[Toll, ...]) -> list[str]:
    if not tolls:
        return []
    lines = [_row(tell("toll"), f"{_where(t.from_m, t.length_m)}  {toll_words(t)}") for t in tolls]
    return [
        *lines,
        tell_n(
            "{n} toll to pay, as the map has it; what it costs is not in the map.",
            "{n} tolls to pay, as the map has it; what it costs is not in the map.",
            len(tolls),
        ),
    ]


def _ask(stretches: tuple[Stretch, ...]) -> list[str]:
    asked = sum(s.kind == "ask first" for s in stretches)
    phone = sum(s.phone_first for s in stretches)
    out = []
    if asked:
        out.append(
            tell_n(
                "Ask first about {n} stretch: a sign there could not be read.",
                "Ask first about {n} stretches: a sign there could not be read.",
                asked,
            )
        )
    if phone:
        out.append(
            tell_n(
                "Phone first about {n} stretch at the ends: nobody has mapped the surface.",
                "Phone first about {n} stretches at the ends: nobody has mapped the surface.",
                phone,
            )
        )
    return out


def _more_way(metres: float) -> str:
    said = spoken().road(abs(metres), 1)
    return tell("{km} longer", km=said) if metres > -50 else tell("{km} shorter", km=said)


def _more_time(minutes: float) -> str:
    said = f"{abs(minutes):.0f} min"
    return tell("{min} longer", min=said) if round(minutes) >= 0 else tell("{min} shorter", min=said)


def _minutes(seconds: float) -> str:
    return f"{seconds / 60:.0f} min" if seconds >= 90 else f"{seconds:.0f} s"


def _where(from_m: float, length_m: float) -> str:
    return f"{mark_words(from_m, 7)}  {size_words(length_m):>10}"


def _amount(forbidden: list[Stretch]) -> str:
    stretches = tell_n("{n} forbidden stretch", "{n} forbidden stretches", len(forbidden))
    return f"{stretches}, {spoken().road(sum(s.length_m for s in forbidden), 1)}"


def _presumed(metres: float) -> str:
    if metres < 50:
        return ""
    return " " + tell("{km} are presumed sealed: untagged, but the map's evidence is good.", km=spoken().road(metres, 1))


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
    grade = grade_word(s)
    what = ""
    if s.osm_way:
        way = tell("way {number}", number=s.osm_way)
        if pieces > 1:
            way = tell("way {number} and {n} more", number=s.osm_way, n=pieces - 1)
        what = f"{road_words(s)} ({way}): "
    why = why_words(s.why)
    if s.kind == "presumed":
        why = tell("untagged, presumed sealed")
        if isfinite(s.sealed_p):
            why = tell("untagged, presumed sealed ({percent} % likely)", percent=_percent(s.sealed_p))
    where = _where(s.from_m, s.length_m)
    return _row(grade.upper() if s.forbidden else grade, f"{where}  {what}{why}; {place_words(s)}{near_words(s)}")


def _percent(p: float) -> str:
    """Return how likely something is, with a decimal where it is nearly sure, and never as 100."""
    return spoken().number(100 * p) if p < 0.985 else spoken().number(min(100 * p, 99.9), 1)


def _track_lines(result: TrackCheck) -> list[str]:
    track, language = result.track, spoken()
    figures = {
        "points": language.number(len(track.lon), grouped=True), "km": language.road(result.length_m, 1), "told": language.road(result.told_m, 1),
        "noise": language.short_way(result.match.noise_m),
    }  # fmt: skip
    lines = [
        tell(
            "The track {name}: {points} points, {km}, {told} of it matched to roads, at a noise of {noise}.",
            name=track.name,
            **figures,
        )
        if track.name
        else tell("The track: {points} points, {km}, {told} of it matched to roads, at a noise of {noise}.", **figures)
    ]
    lines += [_row(tell("note"), retell(remark)) for remark in track.remarks]
    if not result.timed:
        none = not any(time == time for time in track.time_s.tolist())
        lines.append(
            _row(
                tell("note"),
                tell("no times: speeds are not judged") if none else tell("no times that go on: speeds are not judged"),
            )
        )
    lines += _stretch_lines(result.stretches)
    lines += _toll_lines(result.tolls)
    by_kind = {
        kind: sum(s.length_m for s in result.stretches if s.kind == kind) for kind in ("presumed", "not seen", "off the map")
    }
    roads = [s for s in result.stretches if s.forbidden and s.kind != "too fast"]
    if roads:
        lines.append(tell("This track is not for the van: {amount}.", amount=_amount(roads)))
    if result.over_limit.stretches:
        lines.append(over_words(result.over_limit))
    if not result.forbidden:
        lines.append(tell("Nothing forbidden was found.") + _presumed(by_kind["presumed"]))
    lines += _ask(result.stretches)
    if result.twins_untold_m >= 100:
        lines.append(
            tell(
                "{km} run along two one-way carriageways nearer together than the noise: the one in the direction of travel is taken, "
                "the other not ruled out.",
                km=language.road(result.twins_untold_m, 1),
            )
        )
    untold = by_kind["not seen"] + by_kind["off the map"]
    if untold:
        lines.append(tell("{km} could not be told: no judgement there, for or against.", km=language.road(untold, 1)))
    return lines


def _between(names: list[str], first: int, second: int) -> str:
    return tell("{start} to {end}", start=names[first], end=names[second]) if second >= 0 else names[first]


def _time(seconds: float) -> str:
    minutes = round(seconds / 60)
    return f"{minutes // 60} h {minutes % 60:02d} min"
