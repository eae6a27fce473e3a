"""tripplan from Python and in notebooks: a region, a plan, and the tables, graphs and maps that other libraries read.

The two classes here are thin: each holds the value that the rooms pass around (``value``) and says how to get at it from
outside. Nothing below imports this module; `tripplan` itself hands its names on.
"""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from tripplan.model import plan as _plan
from tripplan.model.errors import BadInputError
from tripplan.model.place import Spot
from tripplan.model.progress import Progress, silent
from tripplan.model.trip import Trip
from tripplan.region import region as _region

if TYPE_CHECKING:
    import folium
    from geopandas import GeoDataFrame
    from networkx import MultiDiGraph
    from pandas import DataFrame

__all__ = ["Plan", "Region", "plan_trip"]

AnyPath = str | os.PathLike[str]


@dataclass(frozen=True, slots=True, repr=False, eq=False)
class Region:
    """A prepared map. `Region.load`, `Region.build` and `Region.sample` make one. Two are equal when their map data are.

    Parameters
    ----------
    value
        The region as the rooms of tripplan know it: arrays, one row a way, a piece of road, a junction.
    """

    value: _region.Region

    @classmethod
    def load(cls, path: AnyPath) -> Region:
        """Open a region that `Region.save` or ``tripplan region build`` wrote.

        Raises
        ------
        BadInputError
            No such file, not a region, from another format, or damaged.
        """
        from tripplan.region.store import load

        return cls(load(Path(path)))

    @classmethod
    def build(cls, source: AnyPath, *, name: str = "", progress: Progress = silent) -> Region:
        """Prepare a map file (.osm.pbf, .osm, .osm.gz, .osm.bz2).

        Parameters
        ----------
        name
            What to call the region; the file's name when empty.
        progress
            Called now and then with a few words and the share done.

        Raises
        ------
        BadInputError
            When the file cannot be used.
        """
        from tripplan.region.build import build

        return cls(build(Path(source), name=name, progress=progress))

    @classmethod
    def sample(cls) -> Region:
        """Return the region of the invented island that comes with tripplan."""
        from tripplan.pipeline import sample_region

        return cls(sample_region())

    def save(self, path: AnyPath) -> Path:
        """Write the region to one file, whole or not at all, and return its path."""
        from tripplan.region.store import save

        save(self.value, Path(path))
        return Path(path)

    @property
    def name(self) -> str:
        """What the region is called."""
        return self.value.meta.name

    @property
    def data_date(self) -> str:
        """Date of the map data."""
        return self.value.meta.data_date

    def find(self, text: str, *, roles: Sequence[str] | None = None) -> list[Spot]:
        """Return what a person may mean by a text, best first: a name, "lat, lon", or a map identity such as n123."""
        from tripplan.region.find import find

        return find(self.value, text, roles=roles)

    def roads(self) -> GeoDataFrame:
        """Return a row for each piece of road, with the judgements and their reasons (see `tripplan.region.tables.roads_table`)."""
        from tripplan.region.tables import roads_table

        return roads_table(self.value)

    def places(self) -> GeoDataFrame:
        """Return a row for each site, service point, sight and depot (see `tripplan.region.tables.places_table`)."""
        from tripplan.region.tables import places_table

        return places_table(self.value)

    def graph(self, mode: str = "car") -> MultiDiGraph[int]:
        """Return the roads as a networkx graph in OSMnx's form (see `tripplan.region.graph.road_graph`).

        Parameters
        ----------
        mode
            ``car``, ``tow`` or ``all``: whose roads.
        """
        from tripplan.region.graph import road_graph

        return road_graph(self.value, mode)

    def __eq__(self, other: object) -> bool:
        return self.value.meta.key == other.value.meta.key if isinstance(other, Region) else NotImplemented

    def __hash__(self) -> int:
        return hash(self.value.meta.key)

    def __repr__(self) -> str:
        from tripplan.report.safe import plain

        return f"<Region {plain(self.name)!r}: {len(self.value.pieces.way):,} pieces of road, {len(self.value.places):,} places, data of {plain(self.data_date)}>"

    def _repr_html_(self) -> str:
        from tripplan.report.cards import region_card

        return region_card(self.value)


@dataclass(frozen=True, slots=True, repr=False)
class Plan:
    """A plan that has passed its audit, with the region it stands on. `plan_trip` and `Plan.load` make one.

    Parameters
    ----------
    value
        The plan as the rooms of tripplan know it: days, legs, events, levels.
    region
        The region it was planned on.
    """

    value: _plan.Plan
    region: Region

    @classmethod
    def load(cls, path: AnyPath, region: Region | AnyPath) -> Plan:
        """Read a ``plan.json`` again.

        Raises
        ------
        BadInputError
            No such file, not a plan, or one of another region.
        """
        from tripplan.model.serial import plan_from_json

        file, on = Path(path), _region_of(region)
        try:
            text = file.read_bytes()
        except OSError as error:
            raise BadInputError(
                f"cannot be read ({error.strerror or error})", where=str(file), next_step="check the path"
            ) from None
        value = plan_from_json(text, str(file))
        if value.region_key != on.value.meta.key:
            raise BadInputError(
                "was planned on other map data than this region's", where=str(file), accepted=f"a plan on {on.name}", next_step="plan the trip again"
            )  # fmt: skip
        return cls(value, on)

    def save(self, folder: AnyPath, *, online_tiles: bool = False) -> list[Path]:
        """Write every paper into a folder, all or none, and return their paths (as ``tripplan plan --out``)."""
        from tripplan.report.write import write_papers

        return write_papers(self.value, self.region.value, Path(folder), online_tiles=online_tiles)

    def map(self) -> folium.Map:
        """Return a folium map of the plan, which needs no network; a notebook shows it."""
        from tripplan.report.notebook_map import folium_map

        return folium_map(self.value, self.region.value)

    def days(self) -> DataFrame:
        """Return a row a day, with the columns of ``days.csv``, by number of the day."""
        from tripplan.report.tables import DAY_COLUMNS, day_rows

        return _frame(DAY_COLUMNS, day_rows(self.value)).set_index("day")

    def levels(self) -> DataFrame:
        """Return a row a day and store, with the columns of ``levels.csv``; ``unit`` is the unit of the row's levels."""
        from tripplan.report.tables import LEVEL_COLUMNS, level_rows

        return _frame(LEVEL_COLUMNS, level_rows(self.value)).set_index(["day", "store"])

    def __repr__(self) -> str:
        from tripplan.report.safe import plain

        trip = self.value.trip
        towed = sum(leg.length_m for day in self.value.days for leg in day.legs if leg.mode == "van")
        return f"<Plan {plain(trip.name)!r}: {trip.nights} nights from {trip.pick_up:%Y-%m-%d}, {towed / 1000:.0f} km towing>"

    def __str__(self) -> str:
        from tripplan.report.words import summary

        return "\n".join(summary(self.value))

    def _repr_html_(self) -> str:
        from tripplan.report.cards import plan_card

        return plan_card(self.value)


def plan_trip(trip: Trip | AnyPath, region: Region | AnyPath, *, progress: Progress = silent) -> Plan:
    """Plan a trip, and re-check the plan by code that shares nothing with the search.

    Parameters
    ----------
    trip
        A trip file (TOML), or a `Trip` that was made otherwise.
    region
        A region, or the file of one.
    progress
        Called now and then with a few words and the share done.

    Raises
    ------
    BadInputError
        When the trip or the region cannot be used.
    NoPlanError
        When no plan exists; its ``excesses`` say what the nearest one breaks.
    """
    from tripplan.pipeline import audited_plan
    from tripplan.request.trip_file import load_trip

    on = _region_of(region)
    if isinstance(trip, str | os.PathLike):
        trip = load_trip(Path(trip), on.value)
    elif not isinstance(trip, Trip):
        raise BadInputError(f"trip is a {type(trip).__name__}", accepted="the path of a trip file, or a Trip")
    return Plan(audited_plan(trip, on.value, progress=progress), on)


def _region_of(region: Region | _region.Region | AnyPath) -> Region:
    if isinstance(region, Region):
        return region
    if isinstance(region, _region.Region):
        return Region(region)
    if isinstance(region, str | os.PathLike):
        return Region.load(region)
    raise BadInputError(f"region is a {type(region).__name__}", accepted="a Region, or the path of one")


def _frame(columns: Sequence[str], rows: Sequence[Sequence[object]]) -> DataFrame:
    import pandas

    table = pandas.DataFrame(rows, columns=list(columns))
    table["date"] = pandas.to_datetime(table["date"])
    return table
