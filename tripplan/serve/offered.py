"""Loops to start from: those that the operator had `tripplan suggest` write, and those worked out for a visitor."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import Any

from tripplan.model.errors import BadInputError
from tripplan.model.place import Spot
from tripplan.model.plan import Plan
from tripplan.model.trip import Sight, Trip
from tripplan.region.region import Region
from tripplan.report.safe import plain
from tripplan.schedule.suggest import Suggestion, sights_seen
from tripplan.serve.forms import USUAL_OUTFIT
from tripplan.serve.view import plan_view

__all__ = ["Loop", "draft_of_suggestion", "load_loops", "loop_picture", "loop_view", "moved"]

_MOST_LOOPS = 60


@dataclass(frozen=True, slots=True)
class Loop:
    """A loop that the operator offers: what its entry shows, its picture (SVG), and the draft that it starts."""

    key: str
    view: dict[str, Any]
    picture: bytes
    draft: dict[str, Any]


def load_loops(folder: Path, firm: dict[str, Any], region: Region) -> tuple[Loop, ...]:
    """Read the folder that `tripplan suggest` wrote; once, at the start: no request leads to the disk.

    Raises
    ------
    BadInputError
        When it holds no loops, or one that does not fit the region.
    """
    from tripplan.model.serial import MOST_PLAN_MB, plan_from_json
    from tripplan.request.text_file import read_text, read_toml
    from tripplan.serve.draft import trip_in

    found = sorted(path.parent for path in folder.glob("*/TRIP.toml"))[:_MOST_LOOPS]
    if not found:
        raise BadInputError(
            f"{plain(str(folder))} holds no suggestions", where="--suggestions", accepted="a folder that `tripplan suggest` wrote",
            next_step="run it first",
        )  # fmt: skip
    loops = []
    for one in found:
        path = one / "plan.json"
        plan = plan_from_json(read_text(path, most_mb=MOST_PLAN_MB, accepted="a plan.json"), where=str(path))
        if plan.region_key != region.meta.key:
            raise BadInputError(
                "was made on another map", where=str(path), accepted="suggestions made on this region", next_step="run `tripplan suggest` again"
            )  # fmt: skip
        draft = _draft_of_file(read_toml(one / "TRIP.toml")[0], plan, region)
        trip_in(draft, firm, region)
        loops.append(Loop(one.name, loop_view(plan), loop_picture(plan, region), draft))
    return tuple(loops)


def loop_picture(plan: Plan, region: Region) -> bytes:
    """Return the map of a plan as an SVG file."""
    from tripplan.report.sheets.drawings import map_drawing
    from tripplan.report.sheets.html import svg
    from tripplan.report.waylines import way_lines

    ways = tuple((one.day.number, one.mode, line) for one in way_lines(plan, region).days for line in one.lines)
    text = str(svg(map_drawing(plan, region, ways), "map"))
    if "xmlns=" not in text[:300]:
        text = text.replace("<svg ", '<svg xmlns="http://www.w3.org/2000/svg" ', 1)
    return text.encode()


def loop_view(plan: Plan, suits: str = "", gave_up: str = "") -> dict[str, Any]:
    """Return what the entry of a loop shows."""
    view = plan_view(plan)
    return {
        "title": plain(plan.trip.name),
        "suits": suits,
        "gave_up": plain(gave_up),
        "facts": view["facts"],
        "sights": [plain(spot.name) for spot in sights_seen(plan)],
        "nights": [
            {"date": day["date"], "night": day["night"], "powered": day["powered"]} for day in view["days"] if day["night"]
        ],
    }


def draft_of_suggestion(draft: Mapping[str, Any], found: Suggestion, region: Region) -> dict[str, Any]:
    """Return a visitor's draft with the limits of a theme, and the sights that its loop sees."""
    trip = found.trip
    own = len(draft["sights"])
    seen = _seen(found.plan)
    return {
        **draft,
        "name": plain(trip.name)[:80],
        "sights": [*draft["sights"], *(_entry(s, region) for s in trip.sights[own:] if (s.spot.lon, s.spot.lat) in seen)],
        "wishes": {**draft.get("wishes", {}), **_wishes(trip)},
        "driving": {**draft.get("driving", {}), **_driving(trip)},
    }


def moved(draft: dict[str, Any], today: date) -> dict[str, Any]:
    """Return a draft whose pick-up does not lie behind: by whole years of 52 weeks, so that weekdays stay."""
    times = {end: datetime.fromisoformat(draft[end]["time"]) for end in ("pick_up", "return")}
    years = max(0, -((times["pick_up"].date() - today).days // 364))
    if not years:
        return draft
    ends = {
        end: {**draft[end], "time": (when + timedelta(days=364 * years)).isoformat(timespec="minutes")}
        for end, when in times.items()
    }
    return {**draft, **ends}


def _seen(plan: Plan) -> set[tuple[float, float]]:
    return {(round(spot.lon, 6), round(spot.lat, 6)) for spot in sights_seen(plan)} | {(s.lon, s.lat) for s in sights_seen(plan)}


def _entry(sight: Sight, region: Region) -> dict[str, Any]:
    return {
        **_named(sight.spot, region),
        "must": True,
        "via": str(sight.via.value),
        "hours": sight.hours,
        "nights": sight.nights,
        "near_km": sight.near_km,
        "value_cents": 0,
    }


def _named(spot: Spot, region: Region) -> dict[str, str]:
    """Return how a draft names a spot, and what it is called on the page."""
    place = region.places[spot.place].ref if spot.place >= 0 else f"{spot.lat:.6f}, {spot.lon:.6f}"
    return {"place": place, "label": plain(spot.name)[:120]}


def _wishes(trip: Trip) -> dict[str, Any]:
    return {
        "powered_nights_at_least": trip.powered_nights_at_least,
        "max_one_night_stays": trip.max_one_night_stays,
        "presumed_offers": trip.presumed_offers,
        "budget_cents": trip.budget_cents,
    }


def _driving(trip: Trip) -> dict[str, Any]:
    return {
        "max_h": trip.max_drive_s / 3600,
        "first_day_max_h": trip.first_day_drive_s / 3600,
        "ferries": trip.ferries,
        "tolls": trip.tolls,
    }


def _draft_of_file(raw: dict[str, Any], plan: Plan, region: Region) -> dict[str, Any]:
    """Return the draft of a loop's own trip file; its van, party and outfit are tables there."""
    trip = plan.trip
    seen = _seen(plan)
    ends: Sequence[tuple[str, Any, Any]] = (("pick_up", trip.depot, trip.pick_up), ("return", trip.return_depot, trip.return_by))
    return {
        "name": plain(trip.name)[:80],
        "van": dict(raw["van"]),
        "party": {"name": "party", "adults": 2, "children": 0, "pets": 0, **raw["party"]},
        "outfit": {"name": "car and van", **USUAL_OUTFIT, **raw["outfit"]},
        **{
            end: {**_named(spot, region), "time": when.replace(tzinfo=None).isoformat(timespec="minutes")}
            for end, spot, when in ends
        },
        "full_water": bool(raw.get("levels")),
        "sights": [_entry(s, region) for s in trip.sights if (round(s.spot.lon, 6), round(s.spot.lat, 6)) in seen],
        "bookings": [],
        "wishes": _wishes(trip),
        "driving": _driving(trip),
    }
