"""Places of an older map found on today's by what they are: their identity, else their name and where they lie."""

from __future__ import annotations

from dataclasses import fields, is_dataclass, replace
from typing import TypeVar

import numpy as np

from tripplan.model.place import Spot
from tripplan.model.plan import Finding, PieceRun, Plan
from tripplan.region.geometry import great_circle_m
from tripplan.region.region import Region

__all__ = ["SamePlaces"]

T = TypeVar("T")

#: A place is the same one if it lies within so much of where it was [m].
_MOVED_M = 250.0


class SamePlaces:
    """Places of a plan made on another map, found on this one.

    Parameters
    ----------
    region
        This map. plan: the one made on the other; of its nights it tells the identity.

    Attributes
    ----------
    changed
        What is gone or has moved, of what was put so far. seen: each spot of the other map as this one has it; its ``place`` is -1
        where it is gone.
    """

    def __init__(self, region: Region, plan: Plan) -> None:
        self.region = region
        self.lon = np.array([place.lon for place in region.places], np.float64)
        self.lat = np.array([place.lat for place in region.places], np.float64)
        nights = [day.night for day in plan.days if day.night is not None]
        self.refs = {(night.spot.lon, night.spot.lat): night.ref for night in nights}
        self.seen: dict[Spot, Spot] = {}
        self.changed: list[Finding] = []

    def put(self, value: T) -> T:
        """Return a value with every spot in it as today's map has it."""
        if isinstance(value, Spot):
            return self._spot(value)  # type: ignore[return-value]
        if isinstance(value, tuple):
            return tuple(self.put(item) for item in value)  # type: ignore[return-value]
        if is_dataclass(value) and not isinstance(value, type | PieceRun):
            new = {f.name: self.put(getattr(value, f.name)) for f in fields(value)}
            return replace(value, **{name: item for name, item in new.items() if item is not getattr(value, name)})
        return value

    def _spot(self, spot: Spot) -> Spot:
        if spot.place < 0:
            return spot
        if spot not in self.seen:
            self.seen[spot] = self._found(spot)
        return self.seen[spot]

    def _found(self, spot: Spot) -> Spot:
        """Return the place by its identity where the plan tells it, else the one of that name, or of no name, that is nearest."""
        row = self.region.place_by_ref.get(self.refs.get((spot.lon, spot.lat), ""), -1)
        gap = great_circle_m(spot.lon, spot.lat, self.lon, self.lat)
        if row < 0:
            near = [int(k) for k in gap.argsort()[:20] if gap[k] <= _MOVED_M]
            names = [k for k in near if self.region.places[k].name == spot.name]
            row = next((k for k in (*names, *near) if gap[k] <= 1.0), names[0] if names else -1)
        if row < 0:
            self.changed.append(Finding("place gone", 0, 1, "", f"{spot.name!r} is not on today's map"))
            return replace(spot, place=-1)
        place = self.region.places[row]
        if gap[row] > _MOVED_M:
            self.changed.append(
                Finding("place moved", 0, gap[row], "m", f"{spot.name!r} lies {gap[row]:.0f} m from where it was")
            )
        return replace(spot, place=row, lon=place.lon, lat=place.lat)
