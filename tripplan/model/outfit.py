"""The outfit: tow car and van as one thing on the road."""

from __future__ import annotations

from dataclasses import dataclass

from tripplan.model.errors import BadInputError

__all__ = ["Outfit", "check_range"]


def check_range(value: float, low: float, high: float, name: str, unit: str, where: str) -> None:
    """Raise `BadInputError` unless ``low <= value <= high`` (NaN is refused)."""
    if not low <= value <= high:
        raise BadInputError(
            f"`{name}` is {value:g}", where=where, accepted=f"{low:g} to {high:g} {unit}".strip(), next_step="mend the value"
        )


@dataclass(frozen=True, slots=True)
class Outfit:
    """Size, weight and limit of what is on the road.

    Parameters
    ----------
    name
        What people call it.
    towing
        Whether the van is on. ``False`` is the car alone on a standing day.
    mass_kg
        Laden mass of car and van together [kg].
    van_mass_kg
        Laden mass of the van [kg]; 0 without it.
    axle_load_kg
        Heaviest axle [kg].
    height_m, width_m, length_m
        Overall size; the length is that of car and van together [m].
    towing_limit_kmh
        The hire firm's towing limit, or the car's own ceiling when not towing [km/h].
    height_clearance_m, width_clearance_m
        Margin kept to a posted limit (common practice, no source) [m].
    approved_100
        Whether papers for 100 km/h where a national table knows such an approval are aboard.
    """

    name: str
    towing: bool
    mass_kg: float
    van_mass_kg: float
    axle_load_kg: float
    height_m: float
    width_m: float
    length_m: float
    towing_limit_kmh: float
    height_clearance_m: float = 0.2
    width_clearance_m: float = 0.2
    approved_100: bool = False

    def __post_init__(self) -> None:
        where = f"outfit {self.name!r}"
        check_range(self.mass_kg, 500, 12_000, "mass_kg", "kg", where)
        check_range(self.van_mass_kg, 0, 4_500, "van_mass_kg", "kg", where)
        check_range(self.axle_load_kg, 200, 6_000, "axle_load_kg", "kg", where)
        check_range(self.height_m, 1.0, 4.5, "height_m", "m", where)
        check_range(self.width_m, 1.0, 2.6, "width_m", "m", where)
        check_range(self.length_m, 2.5, 22.0, "length_m", "m", where)
        check_range(self.towing_limit_kmh, 20, 130, "towing_limit_kmh", "km/h", where)
        check_range(self.height_clearance_m, 0, 1, "height_clearance_m", "m", where)
        check_range(self.width_clearance_m, 0, 1, "width_clearance_m", "m", where)
