"""A trip as a person writes it in TOML, checked and resolved against a region."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime, time, tzinfo
from pathlib import Path
from typing import Any

from tripplan.model.errors import BadInputError
from tripplan.model.outfit import Outfit
from tripplan.model.place import Spot
from tripplan.model.trip import Booking, Firm, Sight, Trip, Weights
from tripplan.model.van import DayWeather, Levels, Party, Van
from tripplan.model.words import SiteKind, Via
from tripplan.region.region import Region
from tripplan.request.forms import Origin, checked
from tripplan.request.spots import find_spot
from tripplan.request.text_file import read_toml

__all__ = ["load_trip", "read_firm", "read_outfit"]

#: Share of its rated capacity that the battery holds at pick-up, and share of the car's mass on its heavier axle: common practice.
BATTERY_AT_PICK_UP = 0.8
CAR_AXLE_SHARE = 0.6
_FULL_WEIGHT_NOISE = 1e-9


@dataclass(frozen=True, slots=True)
class _Part:
    """A checked table and where it was written."""

    values: dict[str, Any]
    origin: Origin


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
    origin = Origin(str(path), text)
    top = checked("trip", raw, origin)
    zone = _zone(region, origin)

    van_part = _part("van", top["van"], path, origin)
    party_part = _part("party", top["party"], path, origin)
    firm_part = _part("firm", top["firm"], path, origin)
    outfit_part = _part("outfit", top["outfit"], path, origin)
    van = _made(Van, van_part)
    party = _made(Party, party_part)
    firm = _firm(firm_part, van)
    outfit, car = _outfits(outfit_part, firm)

    pick_up_part = _table("pick_up", top["pick_up"], origin)
    return_part = _table("return", top["return"], origin)
    pick_up = _moment(pick_up_part, zone)
    return_by = _moment(return_part, zone)
    _check_order(pick_up, return_by, return_part)
    _check_to_come(pick_up, pick_up_part, now)
    depot = _spot(region, pick_up_part, ("depot", "service"))
    return_depot = _spot(region, return_part, ("depot", "service")) if return_part.values["place"] else depot

    driving = _table("driving", top["driving"], origin).values
    wishes = _table("wishes", top["wishes"], origin).values
    nights = (pick_up.date(), return_by.date())
    try:
        return Trip(
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
            sights=tuple(_sight(region, entry) for entry in _entries("sights", top["sights"], origin)),
            bookings=_bookings(region, _entries("bookings", top["bookings"], origin), nights),
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
            max_one_night_stays=wishes["max_one_night_stays"],
            powered_nights_at_least=wishes["powered_nights_at_least"],
            site_kinds=tuple(SiteKind(kind) for kind in wishes["site_kinds"]),
            pets=party.pets > 0 if wishes["pets"] is None else wishes["pets"],
            budget_cents=wishes["budget_cents"],
            presumed_offers=wishes["presumed_offers"],
            confidence=top["confidence"],
            levels=_levels(_table("levels", top["levels"], origin), van),
            weights=Weights(**_table("weights", top["weights"], origin).values),
            weather=_weather(_entries("weather", top["weather"], origin)),
        )
    except BadInputError as error:
        if error.where.startswith("trip "):  # from the class itself: name the file instead
            raise BadInputError(
                error.what, where=str(path), accepted=error.accepted, next_step=error.next_step or "mend the trip"
            ) from None
        raise


def read_firm(path: Path) -> Firm:
    """Read a firm's file on its own (errors as `load_trip`)."""
    return _firm(_file_part("firm", Path(path), *read_toml(Path(path))))


def read_outfit(path: Path, firm: Firm) -> Outfit:
    """Read an outfit's file on its own: car and van together, under the lower towing limit (errors as `load_trip`)."""
    return _outfits(_file_part("outfit", Path(path), *read_toml(Path(path))), firm)[0]


# ------------------------------------------------------------------------------------------------- tables


def _table(name: str, raw: Any, origin: Origin) -> _Part:
    own = Origin(origin.file, origin.text, name)
    return _Part(checked(name, raw, own), own)


def _entries(name: str, raw: Any, origin: Origin) -> list[_Part]:
    parts = []
    for number, entry in enumerate(raw, 1):
        own = Origin(origin.file, origin.text, f"{name} {number}")
        parts.append(_Part(checked(name, entry, own), own))
    return parts


def _part(name: str, raw: Any, trip_path: Path, origin: Origin) -> _Part:
    """Return van, party, firm or outfit from a table in the trip or from the file that it names."""
    if isinstance(raw, Mapping):
        return _table(name, raw, origin)
    if not isinstance(raw, str):
        raise BadInputError(
            f"`{name}` is {raw!r}"[:80], where=origin.at(name), accepted="the path of a TOML file, or a table of keys",
            next_step=f'write `{name} = "FILE.toml"`',
        )  # fmt: skip
    if "://" in raw:
        raise BadInputError(
            f'`{name}` is "{raw[:60]}"', where=origin.at(name), accepted="the path of a file on this machine",
            next_step="save the file beside the trip and name it",
        )  # fmt: skip
    path = trip_path.parent / raw
    try:
        inside, text = read_toml(path)
    except BadInputError as error:
        raise BadInputError(
            f"`{name}`: {error.where} {error.what}", where=origin.at(name), accepted=error.accepted,
            next_step=f"{error.next_step}; paths are relative to the trip's folder",
        ) from None  # fmt: skip
    return _file_part(name, path, inside, text)


def _file_part(name: str, path: Path, inside: dict[str, Any], text: str) -> _Part:
    """Return the table that a file holds. A file with one table of that name will do as well."""
    origin = Origin(str(path), text)
    if set(inside) == {name} and isinstance(inside[name], dict):
        inside, origin = inside[name], Origin(origin.file, text, name)
    return _Part(checked(name, inside, origin), origin)


def _made(kind: Any, part: _Part) -> Any:
    try:
        return kind(**part.values)
    except BadInputError as error:
        raise BadInputError(error.what, where=part.origin.at(""), accepted=error.accepted, next_step=error.next_step) from None


def _firm(part: _Part, van: Van | None = None) -> Firm:
    areas = []
    for number, raw in enumerate(part.values["areas_off_limits"], 1):
        own = Origin(part.origin.file, part.origin.text, f"areas_off_limits {number}")
        area = checked("areas_off_limits", raw, own)
        for lon, lat in area["points"]:
            if not (-180 <= lon <= 180 and -90 <= lat <= 90):
                raise BadInputError(
                    f"`points` holds [{lon:g}, {lat:g}]", where=own.at("points"), accepted="[longitude, latitude] in degrees",
                    next_step="mind the order: longitude first",
                )  # fmt: skip
        areas.append((area["name"], tuple((lon, lat) for lon, lat in area["points"])))
    firm: Firm = _made(Firm, _Part({**part.values, "areas_off_limits": tuple(areas)}, part.origin))
    carried = van.gas_bottle_kg * van.gas_bottles if van else firm.return_gas_kg
    if firm.return_gas_kg > carried:
        raise BadInputError(
            f"`return_gas_kg` is {firm.return_gas_kg:g}", where=part.origin.at("return_gas_kg"),
            accepted=f"at most the {carried:g} kg that the van carries", next_step="mend the firm or the van",
        )  # fmt: skip
    return firm


def _outfits(part: _Part, firm: Firm) -> tuple[Outfit, Outfit]:
    """Return car and van together, and the car alone. The lower of the firm's and the outfit's towing limit holds."""
    v = part.values
    car_axle = CAR_AXLE_SHARE * v["car_mass_kg"]
    towing = {
        "name": v["name"], "towing": True, "mass_kg": v["car_mass_kg"] + v["van_mass_kg"], "van_mass_kg": v["van_mass_kg"],
        "axle_load_kg": v["axle_load_kg"] if v["axle_load_kg"] is not None else max(v["van_mass_kg"], car_axle),
        "height_m": max(v["height_m"], v["car_height_m"]), "width_m": max(v["width_m"], v["car_width_m"]), "length_m": v["length_m"],
        "towing_limit_kmh": min(firm.towing_limit_kmh, v["towing_limit_kmh"]), "height_clearance_m": v["height_clearance_m"],
        "width_clearance_m": v["width_clearance_m"], "approved_100": v["approved_100"],
    }  # fmt: skip
    alone = {
        "name": f"{v['name']}, car alone", "towing": False, "mass_kg": v["car_mass_kg"], "van_mass_kg": 0.0, "axle_load_kg": max(200.0, car_axle),
        "height_m": v["car_height_m"], "width_m": v["car_width_m"], "length_m": v["car_length_m"], "towing_limit_kmh": v["car_limit_kmh"],
        "height_clearance_m": v["height_clearance_m"], "width_clearance_m": v["width_clearance_m"],
    }  # fmt: skip
    if v["length_m"] <= v["car_length_m"]:
        raise BadInputError(
            f"`length_m` is {v['length_m']:g}", where=part.origin.at("length_m"),
            accepted=f"more than the car's own {v['car_length_m']:g} m: car and van together, drawbar included", next_step="mend the length",
        )  # fmt: skip
    return _made(Outfit, _Part(towing, part.origin)), _made(Outfit, _Part(alone, part.origin))


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


def _moment(part: _Part, zone: tzinfo) -> datetime:
    when: datetime = part.values["time"]
    return when.replace(tzinfo=zone) if when.tzinfo is None else when.astimezone(zone)


def _check_order(pick_up: datetime, return_by: datetime, part: _Part) -> None:
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


def _check_to_come(pick_up: datetime, part: _Part, now: datetime | None) -> None:
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


def _spot(region: Region, part: _Part, roles: tuple[str, ...], *, only: bool = False) -> Spot:
    return find_spot(region, part.values["place"], part.origin.at("place"), roles, only=only)


def _sight(region: Region, part: _Part) -> Sight:
    v = part.values
    if v["nights"] == 0 and v["hours"] == 0:
        raise BadInputError(
            "`hours` is 0",
            where=part.origin.at("hours"),
            accepted="more than 0 hours, or `nights` of 1 or more",
            next_step="say how long the visit is",
        )
    return Sight(
        spot=_spot(region, part, ("sight", "town", "site")), must=v["must"], value_cents=v["value_cents"], via=Via(v["via"]),
        hours=v["hours"], nights=v["nights"], near_km=v["near_km"],
    )  # fmt: skip


def _bookings(region: Region, parts: list[_Part], nights: tuple[date, date]) -> tuple[Booking, ...]:
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


def _levels(part: _Part, van: Van) -> Levels:
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


def _weather(parts: list[_Part]) -> tuple[tuple[int, DayWeather], ...]:
    out: dict[int, DayWeather] = {}
    for part in parts:
        v = dict(part.values)
        month = v.pop("month")
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
