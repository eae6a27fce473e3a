"""A trip as a person writes it in TOML, checked and resolved against a region."""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta, tzinfo
from pathlib import Path
from typing import Any

from tripplan.model.errors import BadInputError
from tripplan.model.place import Spot
from tripplan.model.trip import Booking, Sight, Trip, Weights
from tripplan.model.van import DayWeather, Levels, Party, Van
from tripplan.model.words import SiteKind, Via
from tripplan.region.region import Region
from tripplan.request.forms import Origin, checked
from tripplan.request.parts import Part, entries, firm_of, named_part, outfits_of, party_of, read_firm, read_outfit, table, van_of
from tripplan.request.spots import find_spot
from tripplan.request.text_file import read_toml

__all__ = ["load_trip", "read_firm", "read_outfit", "trip_of"]

#: Share of its rated capacity that the battery holds at pick-up: common practice, no source.
BATTERY_AT_PICK_UP = 0.8
_FULL_WEIGHT_NOISE = 1e-9
_MOST_MONTHS = 400
#: The search keeps the sights done as bits of one number.
_MOST_SIGHTS = 32
_MOST_CLOSURE_FILES = 20
#: Years that calendars, time zones and holidays are known for.
_YEARS = (1990, 2100)


def load_trip(path: Path, region: Region, *, now: datetime | None = None) -> Trip:
    """Read a trip file with the van, party, firm and outfit that it names.

    Parameters
    ----------
    path
        TOML file. Paths in it are relative to its folder.
    now
        When given, a pick-up before it is refused.

    Raises
    ------
    BadInputError
        Whatever is wrong, as one line: file, table, line, value, what is accepted, what to do.
    """
    path = Path(path)
    raw, text = read_toml(path)
    if not raw:
        raise BadInputError(
            "holds no trip", where=str(path), accepted="a trip file", next_step="write one with `tripplan new`, or take a sample: `tripplan demo --copy my-files`"
        )  # fmt: skip
    return trip_of(raw, path, region, Origin(str(path), text), now=now)


def trip_of(raw: dict[str, Any], path: Path, region: Region, origin: Origin, *, now: datetime | None = None) -> Trip:
    """Check and resolve a trip that has been read already (errors as `load_trip`).

    Parameters
    ----------
    raw
        What its file holds. path: paths in it are relative to the folder of this one.
    origin
        How messages name it.
    """
    top = checked("trip", raw, origin)
    zone = _zone(region, origin)

    van_part = named_part("van", top["van"], path, origin)
    party_part = named_part("party", top["party"], path, origin)
    firm_part = named_part("firm", top["firm"], path, origin)
    outfit_part = named_part("outfit", top["outfit"], path, origin)
    van = van_of(van_part)
    party = party_of(party_part)
    firm = firm_of(firm_part, van)
    outfit, car = outfits_of(outfit_part, firm)

    pick_up_part = table("pick_up", top["pick_up"], origin)
    return_part = table("return", top["return"], origin)
    pick_up = _moment(pick_up_part, zone)
    return_by = _moment(return_part, zone)
    _check_order(pick_up, return_by, return_part)
    _check_to_come(pick_up, pick_up_part, now)
    _check_berths(party, van, party_part)
    if len(top["sights"]) > _MOST_SIGHTS:
        raise BadInputError(
            f"`sights` holds {len(top['sights'])}", where=origin.at(""), accepted=f"at most {_MOST_SIGHTS} sights", next_step="leave some out"
        )  # fmt: skip
    depot = _spot(region, pick_up_part, ("depot", "service"))
    return_depot = _spot(region, return_part, ("depot", "service")) if return_part.values["place"] else depot

    driving = table("driving", top["driving"], origin).values
    wishes = table("wishes", top["wishes"], origin).values
    nights = (pick_up.date(), return_by.date())
    sights = _sights(region, entries("sights", top["sights"], origin))
    bookings = _bookings(region, entries("bookings", top["bookings"], origin), nights)
    try:
        trip = Trip(
            name=top["name"] or path.stem,
            tz=region.meta.tz,
            firm=firm,
            outfit=outfit,
            car=car,
            van=van,
            party=party,
            depot=depot,
            return_depot=return_depot,
            pick_up=pick_up,
            return_by=return_by,
            sights=sights,
            bookings=bookings,
            avoid=tuple(find_spot(region, place, origin.at("avoid"), ("site", "service", "sight")) for place in top["avoid"]),
            no_towing=_no_towing(top["no_towing"], nights, origin),
            max_drive_s=round(driving["max_h"] * 3600),
            first_day_drive_s=round(driving["first_day_max_h"] * 3600),
            drivers=driving["drivers"],
            ferries=driving["ferries"],
            tolls=driving["tolls"],
            leave_after_min=_minutes(driving["leave_after"]),
            arrive_by_min=_minutes(driving["arrive_by"]),
            sunset_margin_min=driving["sunset_margin_min"],
            hourly_closures_all_day=driving["hourly_closures_all_day"],
            max_one_night_stays=wishes["max_one_night_stays"],
            powered_nights_at_least=wishes["powered_nights_at_least"],
            site_kinds=tuple(SiteKind(kind) for kind in wishes["site_kinds"]),
            pets=party.pets > 0 if wishes["pets"] is None else wishes["pets"],
            budget_cents=wishes["budget_cents"],
            presumed_offers=wishes["presumed_offers"],
            fridge_limit_h=wishes["fridge_limit_h"],
            confidence=top["confidence"],
            language=top["language"],
            units=top["units"],
            levels=_levels(table("levels", top["levels"], origin), van),
            weights=Weights(**table("weights", top["weights"], origin).values),
            weather=() if isinstance(top["weather"], str) else _weather(_months(top["weather"], origin)),
            weather_days=_weather_days(top["weather"], path, origin, region, sights, bookings, (depot, return_depot), nights),
        )
    except BadInputError as error:
        if error.where.startswith("trip "):  # from the class itself: name the file instead
            raise BadInputError(
                error.what, where=str(path), accepted=error.accepted, next_step=error.next_step or "mend the trip"
            ) from None
        raise
    return _with_closures(trip, top["closures"], path, origin, region)


def _with_closures(trip: Trip, names: list[str], path: Path, origin: Origin, region: Region) -> Trip:
    """Return the trip with the closures of the files that it names: files alone, for a trip file may come from anybody."""
    if not names:
        return trip
    from tripplan.request.closures import is_address, with_closures

    far = next((name for name in names if is_address(name)), "")
    if far or len(names) > _MOST_CLOSURE_FILES:
        what = f"`closures` holds the address {far[:100]}" if far else f"`closures` holds {len(names)}"
        raise BadInputError(
            what, where=origin.at("closures"), accepted=f"paths of files, at most {_MOST_CLOSURE_FILES}",
            next_step="give an address with --closures",
        )  # fmt: skip
    return with_closures(trip, [path.parent / name for name in names], region)


# ------------------------------------------------------------------------------------------------- times


def _zone(region: Region, origin: Origin) -> tzinfo:
    from zoneinfo import ZoneInfo

    try:
        return ZoneInfo(region.meta.tz)
    except (ValueError, OSError, KeyError):
        raise BadInputError(
            f'region {region.meta.name} has the time zone "{region.meta.tz}"', where=origin.file, accepted="a known time zone",
            next_step="build the region again",
        ) from None  # fmt: skip


def _moment(part: Part, zone: tzinfo) -> datetime:
    """Return the time in the region's zone; one without an offset is local time there."""
    when: datetime = part.values["time"]
    if not _YEARS[0] <= when.year <= _YEARS[1]:
        raise BadInputError(
            f"`time` is in the year {when.year}", where=part.origin.at("time"), accepted=f"years {_YEARS[0]} to {_YEARS[1]}", next_step="mend the year"
        )  # fmt: skip
    if when.tzinfo is not None:
        return when.astimezone(zone)
    local = when.replace(tzinfo=zone)
    told = local.astimezone(UTC).astimezone(zone)
    if told.replace(tzinfo=None) != when:
        raise BadInputError(
            f"`time` is {when:%Y-%m-%d %H:%M}, when clocks there go forward", where=part.origin.at("time"),
            accepted="a local time that exists", next_step=f"write {told:%Y-%m-%dT%H:%M:%S}, say",
        )  # fmt: skip
    return local


def _check_berths(party: Party, van: Van, part: Part) -> None:
    people = party.adults + party.children
    if people > van.berths:
        raise BadInputError(
            f"{people} people travel in a van with {van.berths} berths", where=part.origin.at("adults"),
            accepted=f"at most {van.berths} adults and children", next_step="mend the party or `berths` of the van",
        )  # fmt: skip


def _check_order(pick_up: datetime, return_by: datetime, part: Part) -> None:
    where = part.origin.at("")
    if return_by <= pick_up:
        raise BadInputError(
            f"return {return_by:%Y-%m-%d %H:%M} is not after pick-up {pick_up:%Y-%m-%d %H:%M}", where=where,
            accepted="a return 1 to 35 nights after pick-up", next_step="mend one of the two times",
        )  # fmt: skip
    nights = (return_by.date() - pick_up.date()).days
    if not 1 <= nights <= 35:
        raise BadInputError(
            f"pick-up {pick_up:%Y-%m-%d} to return {return_by:%Y-%m-%d} are {nights} nights", where=where,
            accepted="1 to 35 nights", next_step="mend one of the two times",
        )  # fmt: skip


def _check_to_come(pick_up: datetime, part: Part, now: datetime | None) -> None:
    if now is not None and pick_up < (now if now.tzinfo else now.replace(tzinfo=pick_up.tzinfo)):
        raise BadInputError(
            f"pick-up {pick_up:%Y-%m-%d %H:%M} lies in the past",
            where=part.origin.at("time"),
            accepted="a time to come",
            next_step="mend the year",
        )


def _minutes(clock: time) -> int:
    return clock.hour * 60 + clock.minute


def _no_towing(days: list[date], nights: tuple[date, date], origin: Origin) -> tuple[date, ...]:
    for day in days:
        if not nights[0] <= day <= nights[1]:
            raise BadInputError(
                f"`no_towing` holds {day.isoformat()}, outside the trip", where=origin.at("no_towing"),
                accepted=f"dates from {nights[0].isoformat()} to {nights[1].isoformat()}", next_step="mend the date or take it out",
            )  # fmt: skip
    return tuple(sorted(set(days)))


# ------------------------------------------------------------------------------------------------- places


def _spot(region: Region, part: Part, roles: tuple[str, ...], *, only: bool = False) -> Spot:
    return find_spot(region, part.values["place"], part.origin.at("place"), roles, only=only)


def _sights(region: Region, parts: list[Part]) -> tuple[Sight, ...]:
    """Return the sights; one written twice is refused, for both would be planned."""
    out: dict[tuple[object, ...], Sight] = {}
    for part in parts:
        sight = _sight(region, part)
        visit = (sight.spot.place, sight.spot.lon, sight.spot.lat, sight.via, sight.hours, sight.nights)
        if visit in out:
            raise BadInputError(
                f"{sight.spot.name or sight.spot.text} is wished for twice, as sight {list(out).index(visit) + 1} already", where=part.origin.at("place"), accepted="each place once",
                next_step="take one of the two out, or make them differ (hours, nights)",
            )  # fmt: skip
        out[visit] = sight
    return tuple(out.values())


def _sight(region: Region, part: Part) -> Sight:
    v = part.values
    if v["nights"] == 0 and v["hours"] == 0:
        raise BadInputError(
            "`hours` is 0",
            where=part.origin.at("hours"),
            accepted="more than 0 hours, or `nights` of 1 or more",
            next_step="say how long the visit is",
        )
    if v["visiting"].strip():
        from tripplan.almanac.hours import is_readable

        if not is_readable(v["visiting"]):
            raise BadInputError(
                "`visiting` cannot be read as opening hours", where=part.origin.at("visiting"),
                accepted='hours as the open map writes them, such as "Tu-Su 10:00-17:00"', next_step="mend them, or leave them out and ask there",
            )  # fmt: skip
    return Sight(
        spot=_spot(region, part, ("sight", "town", "site")), must=v["must"], value_cents=v["value_cents"], via=Via(v["via"]),
        hours=v["hours"], nights=v["nights"], near_km=v["near_km"], visiting=v["visiting"].strip(),
    )  # fmt: skip


def _bookings(region: Region, parts: list[Part], nights: tuple[date, date]) -> tuple[Booking, ...]:
    out: dict[date, Booking] = {}
    for part in parts:
        night: date = part.values["night"]
        if not nights[0] <= night < nights[1]:
            raise BadInputError(
                f"`night` is {night.isoformat()}, outside the trip", where=part.origin.at("night"),
                accepted=f"nights that begin from {nights[0].isoformat()} to before {nights[1].isoformat()}", next_step="mend the date or the trip's times",
            )  # fmt: skip
        if night in out:
            raise BadInputError(
                f"the night of {night.isoformat()} is booked twice", where=part.origin.at("night"), accepted="one place a night",
                next_step="take one of the two out",
            )  # fmt: skip
        out[night] = Booking(night, _spot(region, part, ("site",), only=True))
    return tuple(out[night] for night in sorted(out))


# ------------------------------------------------------------------------------------------------- levels and weather


def _levels(part: Part, van: Van) -> Levels:
    full = {
        "fresh_l": van.fresh_l, "grey_l": van.grey_l, "cassette_l": van.cassette_l * van.cassettes, "flush_l": van.flush_l,
        "gas_kg": van.gas_bottle_kg * van.gas_bottles, "battery_ah": van.battery_ah,
    }  # fmt: skip
    values = dict(part.values)
    if values["gas_kg"] is None:
        values["gas_kg"] = full["gas_kg"]
    if values["battery_ah"] is None:
        values["battery_ah"] = BATTERY_AT_PICK_UP * van.battery_ah
    for name, most in full.items():
        if values[name] > most + _FULL_WEIGHT_NOISE:
            raise BadInputError(
                f"`{name}` is {values[name]:g}", where=part.origin.at(name), accepted=f"at most the {most:g} that the van holds",
                next_step="mend the level or the van",
            )  # fmt: skip
    return Levels(**values)


def _months(raw: Any, origin: Origin) -> list[Part]:
    """Return the tables of weather by month."""
    if not isinstance(raw, list | tuple) or not all(isinstance(entry, dict) for entry in raw):
        raise BadInputError(
            f"`weather` is {str(raw)[:50]!r}", where=origin.at("weather"), accepted="one or more tables of keys, or the path of a .csv file",
            next_step="write `[[weather]]` with two brackets" if isinstance(raw, dict) else "mend the value",
        )  # fmt: skip
    if len(raw) > _MOST_MONTHS:
        raise BadInputError(
            f"`weather` holds {len(raw)} tables", where=origin.at(""), accepted=f"at most {_MOST_MONTHS}", next_step="one a month"
        )
    return entries("weather", raw, origin)


def _weather_days(
    raw: Any, path: Path, origin: Origin, region: Region, sights: tuple[Sight, ...], bookings: tuple[Booking, ...], depots: tuple[Spot, Spot],
    nights: tuple[date, date],
) -> tuple[tuple[date, DayWeather], ...]:  # fmt: skip
    """Return weather by date: the trip's own file first, then the region's climate table; months in the trip rule over that table."""
    from tripplan.almanac.normals import weather_by_date

    dates = [nights[0] + timedelta(days=d) for d in range((nights[1] - nights[0]).days + 1)]
    months = set() if isinstance(raw, str) else {entry.get("month") for entry in raw if isinstance(entry, dict)}
    spots = (*depots, *(s.spot for s in sights), *(b.spot for b in bookings))
    normals = weather_by_date(region.climate, [day for day in dates if day.month not in months], ((s.lon, s.lat) for s in spots))
    own: dict[date, DayWeather] = {}
    if isinstance(raw, str):
        from tripplan.request.climate_file import load_days

        try:
            own = dict(load_days(path.parent / raw, depots[0].lon, depots[0].lat))
        except BadInputError as error:
            raise BadInputError(
                f"`weather`: {error.where} {error.what}",
                where=origin.at("weather"),
                accepted=error.accepted,
                next_step=error.next_step,
            ) from None
    return tuple(sorted({**dict(normals), **{day: own[day] for day in dates if day in own}}.items()))


def _weather(parts: list[Part]) -> tuple[tuple[int, DayWeather], ...]:
    out: dict[int, DayWeather] = {}
    for part in parts:
        v = dict(part.values)
        month = v.pop("month")
        if v["low_c"] > v["high_c"]:
            raise BadInputError(
                f"`low_c` is {v['low_c']:g} and `high_c` {v['high_c']:g}", where=part.origin.at("low_c"),
                accepted="a coldest hour below the warmest [°C]", next_step="mend the three temperatures",
            )  # fmt: skip
        if not v["low_c"] <= v["mean_c"] <= v["high_c"]:
            raise BadInputError(
                f"`mean_c` is {v['mean_c']:g}", where=part.origin.at("mean_c"), accepted=f"{v['low_c']:g} to {v['high_c']:g} °C, between `low_c` and `high_c`",
                next_step="mend the three temperatures",
            )  # fmt: skip
        if month in out:
            raise BadInputError(
                f"`month` {month} stands twice",
                where=part.origin.at("month"),
                accepted="each month once",
                next_step="take one out",
            )
        out[month] = DayWeather(**v, source="the trip file")
    return tuple(sorted(out.items()))
