"""What is carried, as mass: against payload and nose weight."""

from __future__ import annotations

from dataclasses import dataclass

from tripplan.model.van import Levels, Party, Van
from tripplan.van.facts import value

__all__ = ["Load", "load_kg", "nose_range_kg"]


@dataclass(frozen=True, slots=True)
class Load:
    """Mass carried in the van while it moves.

    Parameters
    ----------
    parts
        (what, mass [kg]).
    payload_kg, margin_kg
        What may be carried, and how much of it is left; negative: too heavy.
    cautions
        Keys into `tripplan.model.cautions.CAUTIONS`.
    """

    parts: tuple[tuple[str, float], ...]
    payload_kg: float
    margin_kg: float
    cautions: tuple[str, ...]

    @property
    def total_kg(self) -> float:
        """Sum of the parts [kg]."""
        return sum(mass for _, mass in self.parts)


def nose_range_kg(van_mass_kg: float) -> tuple[float, float]:
    """Return the nose weight to aim for, 5 to 7 % of the laden van [kg]."""
    return van_mass_kg * value("nose_low"), van_mass_kg * value("nose_high")


def load_kg(van: Van, party: Party, levels: Levels, *, van_mass_kg: float = 0.0) -> Load:
    """Return what is carried at given levels.

    Parameters
    ----------
    levels
        On leaving: full barrels count, most travel near empty.
    van_mass_kg
        Laden mass of the van, for the nose weight [kg]; 0: not judged.

    Notes
    -----
    Water, waste and gas count as payload here though some makers count part of them in the mass in running order, which
    errs to the safe side. Belongings are common practice; a weighbridge knows.
    """
    water = value("water_kg_per_l")
    goods = party.adults * value("adult_goods_kg") + party.children * value("child_goods_kg") + value("shared_goods_kg")
    parts = (
        ("fresh water", levels.fresh_l * water),
        ("grey water", levels.grey_l * water),
        ("cassette", levels.cassette_l * water),
        ("flush water", levels.flush_l * water),
        ("gas", levels.gas_kg),
        ("gas bottles", van.gas_bottles * van.gas_bottle_kg * value("bottle_tare")),
        ("belongings", goods),
    )
    margin = van.payload_kg - sum(mass for _, mass in parts)
    keys = ["loading"]
    if margin < 0:
        keys.append("overload")
    if van_mass_kg > 0 and nose_range_kg(van_mass_kg)[0] > van.nose_weight_kg:
        keys.append("nose_weight")
    return Load(parts, van.payload_kg, margin, tuple(keys))
