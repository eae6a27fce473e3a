"""Outfits, spots and ways on drawn maps, for tests of the roads."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from helpers.drawn import Drawing
from helpers.make import region_from_drawing

from tripplan.model.outfit import Outfit
from tripplan.model.place import Spot
from tripplan.model.plan import Leg
from tripplan.region.region import Region
from tripplan.roads.closures import ClosureSet
from tripplan.roads.join import Joined, join
from tripplan.roads.network import open_network
from tripplan.roads.terms import Terms

VAN = Outfit("car and van", True, 3200, 1500, 1400, height_m=2.6, width_m=2.3, length_m=12.0, towing_limit_kmh=80)
CAR = Outfit("car", False, 1700, 0, 950, height_m=1.6, width_m=1.9, length_m=4.7, towing_limit_kmh=130)
ROAD = "highway=secondary surface=asphalt"


@dataclass
class Map:
    """A drawn region with the ways on it."""

    region: Region
    drawing: Drawing

    def spot(self, word: str) -> Spot:
        """Return a spot at a letter, or half-way between two ("AB")."""
        points = [self.drawing.at[c] for c in word]
        lon, lat = (sum(p[i] for p in points) / len(points) for i in (0, 1))
        return Spot(word, word, lon, lat)

    def site(self, name: str) -> Spot:
        """Return the spot of a place by its name."""
        place = next(p for p in self.region.places if p.name == name)
        return Spot(name, name, place.lon, place.lat, place.index)

    def joined(self, words: Sequence[str], terms: Terms | None = None, closures: ClosureSet | None = None, **more: Any) -> Joined:
        """Join spots."""
        network = open_network(self.region, terms or Terms(VAN), closures)
        return join(network, [self.spot(w) for w in words], **more)

    def at(self, start: str, share: float, end: str) -> tuple[float, float]:
        """Return the point so far along the straight line between two letters."""
        a, b = self.drawing.at[start], self.drawing.at[end]
        return a[0] + share * (b[0] - a[0]), a[1] + share * (b[1] - a[1])

    def joined_spots(self, spots: Sequence[Spot], terms: Terms | None = None, **more: Any) -> Joined:
        """Join spots given by coordinates."""
        return join(open_network(self.region, terms or Terms(VAN)), spots, **more)

    def way(self, start: str, end: str, terms: Terms | None = None, closures: ClosureSet | None = None, **more: Any) -> str:
        """Return the junction letters passed between two spots, "" when there is no way."""
        joined = self.joined([start, end], terms, closures, **more)
        if not joined.reached.all():
            return ""
        try:
            return self.letters(joined.route(0, 1))
        except LookupError:
            return ""

    def letters(self, leg: Leg) -> str:
        """Return the junction letters that a leg passes between its ends."""
        names = {number: letter for letter, number in self.drawing.node_id.items()}
        pieces, out = self.region.pieces, []
        for piece, forward in list(zip(leg.runs.piece, leg.runs.forward, strict=True))[1:]:
            junction = int(pieces.a[piece] if forward else pieces.b[piece])
            out.append(names[int(self.region.junctions.osm_id[junction])])
        return "".join(out)


def drawn(
    ascii_map: str, ways: Mapping[str, Mapping[str, str] | str], folder: Path, *,
    nodes: Mapping[str, Mapping[str, str] | str] | None = None, relations: Iterable[Any] = (), grid_m: float = 100.0,
    origin: tuple[float, float] = (8.0, 50.0), missing: str = "", name: str = "drawn",
) -> Map:  # fmt: skip
    """Draw a map and build its region."""
    region, drawing = region_from_drawing(
        ascii_map, ways, nodes=nodes, relations=relations, folder=folder, grid_m=grid_m, origin=origin, missing=missing, name=name
    )
    return Map(region, drawing)
