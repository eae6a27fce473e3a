"""What several sheets need: the plan with its ways as points, places of a plan's spots, sources in few words."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from tripplan.almanac.emergency import emergency_number
from tripplan.model.cautions import CAUTIONS
from tripplan.model.place import Place, Spot
from tripplan.model.plan import Day, Plan
from tripplan.model.trip import Firm
from tripplan.region.region import Region
from tripplan.report import say
from tripplan.report.safe import plain
from tripplan.report.say import spot_name
from tripplan.report.sheets.blocks import Item, Phone, Text
from tripplan.report.sheets.near import Hospital, nearest_hospital
from tripplan.report.sheets.tell import tell

__all__ = ["PRACTICE", "Folder", "emergency_of", "step"]

F64 = NDArray[np.float64]

PRACTICE = "common practice"


@dataclass(frozen=True)
class Folder:
    """A plan with its region, and what is looked up in it more than once. ``ways``: day, mode and points of each leg."""

    plan: Plan
    region: Region
    ways: tuple[tuple[int, str, F64], ...]

    def place_of(self, spot: Spot | None) -> Place | None:
        """Return the region's place that a spot is."""
        if spot is None or not 0 <= spot.place < len(self.region.places):
            return None
        return self.region.places[spot.place]

    @cached_property
    def emergency(self) -> tuple[str, str]:
        """The number to call, and how it is known."""
        return emergency_of(self.plan.trip.firm, self.region.meta.country)

    def hospital(self, spot: Spot) -> Hospital | None:
        """Return the hospital nearest to a spot."""
        return nearest_hospital(self.region, spot)

    def foot(self, spot: Spot) -> Text:
        """Return the numbers for the foot of a sheet: emergency, the firm, the hospital nearest to where the day ends."""
        firm = self.plan.trip.firm
        number, how = self.emergency
        parts: list[str | Phone] = [
            "Emergency: ", Phone(number), tell(" ({how}). Firm: ", how=how), Phone(firm.phone), tell(" ({firm}). ", firm=firm.name)
        ]  # fmt: skip
        found = self.hospital(spot)
        if found is None:
            parts.append("Nearest hospital: not on the map, ask at the site.")
        elif found.phone:
            parts += [
                tell("Nearest hospital: {name}, {km} in a straight line, ", name=found.name or "without a name on the map", km=say.km(1000 * found.km)),
                Phone(found.phone), ".",
            ]  # fmt: skip
        else:
            parts.append(
                tell(
                    "Nearest hospital: {name}, {km} in a straight line.",
                    name=found.name or "without a name on the map",
                    km=say.km(1000 * found.km),
                )
            )
        return tuple(parts)

    def from_whom(self, place: Place | None) -> str:
        """Return who says what a place's facts are: "the map", or the local note."""
        return plain(place.source) if place is not None and place.source not in ("", "map") else "the map"

    def keys_of(self, day: Day) -> frozenset[str]:
        """Return the cautions that concern a day."""
        return frozenset(c.key for c in self.plan.cautions if not c.days or day.number in c.days)


def emergency_of(firm: Firm, country: str) -> tuple[str, str]:
    """Return the emergency number and how it is known: the firm's own word first, then the country's number."""
    own = firm.emergency_number.strip()
    number, how = emergency_number(country)
    if own and own not in ("112", number):
        return own, "as the firm says"
    return number, how


def step(text: Text, caution: str = "", source: str = "") -> Item:
    """Return a thing to do, with the source of the caution behind it, else "common practice"."""
    return Item(text, source or (CAUTIONS[caution][1] if caution else PRACTICE))


def name_of(spot: Spot) -> str:
    """Return what a spot is called."""
    return spot_name(spot)
