"""Van, party, firm and outfit as people write them, each a table of the trip or a TOML file of its own."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from tripplan.model.errors import BadInputError
from tripplan.model.outfit import Outfit
from tripplan.model.trip import Firm
from tripplan.model.van import Party, Van
from tripplan.request.forms import Origin, checked
from tripplan.request.text_file import read_toml

__all__ = [
    "Part",
    "entries",
    "firm_of",
    "named_part",
    "outfits_of",
    "party_of",
    "read_firm",
    "read_outfit",
    "read_party",
    "read_van",
    "table",
    "van_of",
]

#: Share of the car's mass on its heavier axle: common practice, no source.
CAR_AXLE_SHARE = 0.6


@dataclass(frozen=True, slots=True)
class Part:
    """A checked table and where it was written."""

    values: dict[str, Any]
    origin: Origin


def read_firm(path: Path) -> Firm:
    """Read a firm's file on its own (errors as `load_trip`)."""
    return firm_of(_file_part("firm", Path(path), *read_toml(Path(path))))


def read_van(path: Path) -> Van:
    """Read a van's file on its own (errors as `load_trip`)."""
    return van_of(_file_part("van", Path(path), *read_toml(Path(path))))


def read_party(path: Path) -> Party:
    """Read a party's file on its own (errors as `load_trip`)."""
    return party_of(_file_part("party", Path(path), *read_toml(Path(path))))


def read_outfit(path: Path, firm: Firm) -> Outfit:
    """Read an outfit's file on its own: car and van together, under the lower towing limit (errors as `load_trip`)."""
    return outfits_of(_file_part("outfit", Path(path), *read_toml(Path(path))), firm)[0]


def table(name: str, raw: Any, origin: Origin) -> Part:
    """Return one table of a file, checked."""
    own = Origin(origin.file, origin.text, name)
    return Part(checked(name, raw, own), own)


def entries(name: str, raw: Any, origin: Origin) -> list[Part]:
    """Return each entry of a list of tables, checked and numbered from 1 in messages."""
    parts = []
    for number, entry in enumerate(raw, 1):
        own = Origin(origin.file, origin.text, f"{name} {number}")
        parts.append(Part(checked(name, entry, own), own))
    return parts


def named_part(name: str, raw: Any, trip_path: Path, origin: Origin) -> Part:
    """Return van, party, firm or outfit from a table in the trip or from the file that it names."""
    if isinstance(raw, Mapping):
        return table(name, raw, origin)
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


def _file_part(name: str, path: Path, inside: dict[str, Any], text: str) -> Part:
    """Return the table that a file holds. A file with one table of that name will do as well."""
    origin = Origin(str(path), text)
    if set(inside) == {name} and isinstance(inside[name], dict):
        inside, origin = inside[name], Origin(origin.file, text, name)
    return Part(checked(name, inside, origin), origin)


def van_of(part: Part) -> Van:
    """Return the van of a checked table."""
    van: Van = _made(Van, part)
    return van


def party_of(part: Part) -> Party:
    """Return the party of a checked table."""
    party: Party = _made(Party, part)
    return party


def _made(kind: Any, part: Part) -> Any:
    try:
        return kind(**part.values)
    except BadInputError as error:
        raise BadInputError(error.what, where=part.origin.at(""), accepted=error.accepted, next_step=error.next_step) from None


def firm_of(part: Part, van: Van | None = None) -> Firm:
    """Return the firm of a checked table; with a van, what it wants back must be what the van can carry."""
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
    firm: Firm = _made(Firm, Part({**part.values, "areas_off_limits": tuple(areas)}, part.origin))
    carried = van.gas_bottle_kg * van.gas_bottles if van else firm.return_gas_kg
    if firm.return_gas_kg > carried:
        raise BadInputError(
            f"`return_gas_kg` is {firm.return_gas_kg:g}", where=part.origin.at("return_gas_kg"),
            accepted=f"at most the {carried:g} kg that the van carries", next_step="mend the firm or the van",
        )  # fmt: skip
    return firm


def outfits_of(part: Part, firm: Firm) -> tuple[Outfit, Outfit]:
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
    return _made(Outfit, Part(towing, part.origin)), _made(Outfit, Part(alone, part.origin))
