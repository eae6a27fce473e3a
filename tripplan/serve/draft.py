"""The trip that somebody is putting together: from a draft of plain JSON to the tables of a trip file. Pure functions."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import date, datetime
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from tripplan.model.errors import BadInputError
from tripplan.model.trip import Booking, Trip
from tripplan.model.words import day_name
from tripplan.region.region import Region
from tripplan.report.safe import plain

__all__ = ["raw_of", "stepped", "trip_in", "weather_rows"]


def raw_of(draft: dict[str, Any], firm: dict[str, Any]) -> dict[str, Any]:
    """Return the tables of a trip file, as TOML would give them. Only known keys pass."""
    van = draft["van"]
    wishes = {k: v for k, v in draft.get("wishes", {}).items() if v is not None}
    driving = {k: v for k, v in draft.get("driving", {}).items() if v is not None}
    levels = {"fresh_l": float(van["fresh_l"]), "flush_l": float(van["flush_l"])} if draft.get("full_water", True) else {}
    sights = [
        {
            "place": sight["place"],
            "must": bool(sight["must"]),
            "via": sight["via"],
            **(
                {"nights": sight["nights"], "near_km": float(sight["near_km"])}
                if sight["nights"]
                else {"hours": float(sight["hours"])}
            ),
            **({} if sight["must"] else {"value_cents": int(sight["value_cents"])}),
        }
        for sight in draft.get("sights", ())
    ]
    return {
        "name": draft.get("name") or "Our trip",
        "van": van,
        "party": draft["party"],
        "firm": firm,
        "outfit": draft["outfit"],
        "pick_up": {"place": draft["pick_up"]["place"], "time": datetime.fromisoformat(draft["pick_up"]["time"])},
        "return": {"place": draft["return"]["place"], "time": datetime.fromisoformat(draft["return"]["time"])},
        "sights": sights,
        "bookings": [
            {"night": date.fromisoformat(entry["night"]), "place": entry["place"]} for entry in draft.get("bookings", ())
        ],
        "driving": driving,
        "wishes": wishes,
        "levels": levels,
        **({"weights": draft["weights"]} if draft.get("weights") else {}),
    }


def trip_in(draft: dict[str, Any], firm: dict[str, Any], region: Region) -> Trip:
    """Return the trip of a draft, with the names that people chose.

    Raises
    ------
    BadInputError
        As `tripplan.request.trip_file.load_trip` does.
    """
    from tripplan.request.closures import closures_of, with_files
    from tripplan.request.forms import Origin
    from tripplan.request.trip_file import trip_of

    trip = trip_of(raw_of(draft, firm), Path("trip"), region, Origin("the trip", ""))

    def named(spot: Any, label: str) -> Any:
        return replace(spot, name=label) if label and spot.place < 0 else spot

    sights = tuple(
        replace(sight, spot=named(sight.spot, entry.get("label", "")))
        for sight, entry in zip(trip.sights, draft.get("sights", ()), strict=True)
    )
    trip = with_files(trip, [closures_of(draft["closures"], "Your file", ZoneInfo(trip.tz))]) if draft.get("closures") else trip
    if draft.get("weather"):
        from tripplan.serve.forms import weather_of

        spots = (trip.depot, trip.return_depot, *(s.spot for s in trip.sights), *(b.spot for b in trip.bookings))
        own = weather_of(draft["weather"], trip.dates, [(s.lon, s.lat) for s in spots])
        trip = replace(trip, weather_days=tuple(sorted({**dict(trip.weather_days), **own}.items())))
    return replace(
        trip, sights=sights, depot=named(trip.depot, draft["pick_up"].get("label", "")),
        return_depot=named(trip.return_depot, draft["return"].get("label", "")),
    )  # fmt: skip


def weather_rows(trip: Trip) -> list[dict[str, str]]:
    """Return the weather that a trip is planned with, days of one source together, as a page lists it."""
    from itertools import groupby

    from tripplan.almanac.climate import weather_for

    known = [(day, weather_for(day, trip.depot.lat, trip.weather, by_date=trip.weather_days)) for day in trip.dates]
    rows = []
    for source, group in groupby(known, key=lambda one: one[1].source):
        days, weather = zip(*group, strict=True)
        first, last = (f"{day_name(day)} {day:%Y}" for day in (days[0], days[-1]))
        suns = sorted(w.sun_kwh_per_m2 for w in weather)
        rows.append({
            "dates": first if first == last else f"{first} to {last}", "source": plain(source),
            "figures": f"{min(w.low_c for w in weather):.0f} to {max(w.high_c for w in weather):.0f} °C, sun {suns[0]:.1f} to {suns[-1]:.1f} kWh/m² a day",
        })  # fmt: skip
    return rows


def stepped(trip: Trip, region: Region, steps: Sequence[dict[str, Any]]) -> tuple[Trip, Region]:
    """Return a trip with steps made, one after another, and the region with what they suppose.

    Parameters
    ----------
    steps
        Each either ``{"changes": names}``, changes that were found for what the steps before gave (see `Change.name`), or
        ``{"night": date, "place": place}``, a night to be spent at a place (empty: wherever is best).

    Raises
    ------
    BadInputError
        When a step does not fit the trip.
    """
    for step in steps:
        if "changes" in step:
            trip, region = _changed(trip, region, step["changes"])
        else:
            trip = _booked(trip, region, date.fromisoformat(step["night"]), step["place"])
    return trip, region


def _changed(trip: Trip, region: Region, names: Sequence[str]) -> tuple[Trip, Region]:
    from tripplan.schedule.changes import changes_for, suppose

    known = {option.change.text: option for option in changes_for(trip, region)}
    words = set[str]()
    for name in names:
        if name not in known:
            raise BadInputError("that change does not fit the trip any more", next_step="plan again and choose anew")
        trip = known[name].apply(trip)
        if known[name].supposes:
            words.add(known[name].supposes)
    return trip, suppose(region, frozenset(words))


def _booked(trip: Trip, region: Region, night: date, place: str) -> Trip:
    from tripplan.request.spots import find_spot

    others = [booking for booking in trip.bookings if booking.night != night]
    if place:
        if not trip.pick_up.date() <= night < trip.return_by.date():
            raise BadInputError("that night lies outside the trip", next_step="choose another night")
        others.append(Booking(night, find_spot(region, place, "the night", ("site",), only=True)))
    return replace(trip, bookings=tuple(sorted(others, key=lambda booking: booking.night)))
