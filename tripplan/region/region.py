"""The prepared map: road facts, places with their offers, names."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

from tripplan.model.place import Place
from tripplan.region.columns import Aids, BaseMap, Junctions, Pieces, RegionMeta, Towns, Turns, Ways

if TYPE_CHECKING:
    from tripplan.almanac.normals import Station
    from tripplan.region.find import NameIndex
    from tripplan.region.local_facts import LocalFacts

__all__ = ["Region"]


@dataclass(frozen=True)
class Region:
    """Everything known of one stretch of country, for every outfit. Read-only.

    Parameters
    ----------
    strings
        The table that string numbers point into; decoded on demand, like ``places``, when the region comes from a file.
    local
        Local knowledge that was merged, with the map's own values where it decided; ``None``: the map alone.
    aids
        Fuel stations and hospitals; ``None``: the region was built before they were kept, nothing is known.
    climate
        Weather stations with their monthly normals; empty: none were given.
    """

    meta: RegionMeta
    strings: Sequence[str]
    ways: Ways
    pieces: Pieces
    junctions: Junctions
    turns: Turns
    places: Sequence[Place]
    towns: Towns
    base: BaseMap
    local: LocalFacts | None = None
    aids: Aids | None = None
    climate: tuple[Station, ...] = ()

    def string(self, number: int) -> str:
        """Return a string by its number ("" for -1)."""
        return self.strings[number] if number >= 0 else ""

    @cached_property
    def place_by_ref(self) -> dict[str, int]:
        """Row of each place by its map identity."""
        return {place.ref: place.index for place in self.places}

    @cached_property
    def names(self) -> NameIndex:
        """Every name that can be looked up, collected once."""
        from tripplan.region.find import name_index

        return name_index(self)
