"""Spots joined to a network: times between them and the ways themselves."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from tripplan.model.place import Spot
from tripplan.model.plan import Leg
from tripplan.roads.engines import Engine, Row, Setting, pick_engine
from tripplan.roads.hierarchy import is_prepared
from tripplan.roads.joints import Joints, find_joints, joint_key
from tripplan.roads.kernels import compiled
from tripplan.roads.network import Network, Say
from tripplan.roads.route import make_leg, parts_of, parts_of_row
from tripplan.roads.times import Matrix, Table, find_table, find_times, load_times, pick_spots

__all__ = ["Joined", "join"]


@dataclass(frozen=True)
class Joined:
    """Spots in a network.

    Parameters
    ----------
    joints
        How each is joined: ``reached``, ``why_not`` and ``off_road_m`` are repeated here.
    """

    network: Network
    spots: tuple[Spot, ...]
    joints: Joints
    key: str
    engine: str = "auto"

    @property
    def reached(self) -> NDArray[np.bool_]:
        """(spots) whether the outfit can come and go."""
        return self.joints.reached

    @property
    def why_not(self) -> tuple[str, ...]:
        """(spots) why one cannot be reached, in numbers; "" where it can."""
        return self.joints.why_not

    @property
    def off_road_m(self) -> NDArray[np.float32]:
        """(spots) straight distance from the road [m]."""
        return self.joints.off_road_m

    def matrix(self, progress: Say = None, cache: Path | None = None) -> Matrix:
        """Return the times between all spots.

        Parameters
        ----------
        cache
            Folder for the table when the network was opened without one.
        """
        return self._table(progress, cache).matrix()

    def route(self, i: int, j: int) -> Leg:
        """Return the fastest way from spot i to spot j; its times add up to what `matrix` says.

        Raises
        ------
        LookupError
            When there is no way.
        """
        table = self.__dict__.get("_kept") or load_times(self.network, self.key)
        if table is not None:
            self.__dict__["_kept"] = table
            parts = parts_of(self.__dict__.get("_prepared", self.network), self.joints, table, i, j)
        elif self.engine in ("auto", "hierarchy") and is_prepared(self.network) and compiled() is not None:
            two = pick_spots(self.joints, (i, j))
            parts = parts_of(self.network, two, find_table(self.network, two), 0, 1) if i != j else []
        else:
            parts = parts_of_row(self.network, self.joints, self._row(i, j), i, j)
        return make_leg(self.network, self.joints, parts, (i, self.spots[i]), (j, self.spots[j]))

    def _table(self, progress: Say, cache: Path | None) -> Table:
        table: Table | None = self.__dict__.get("_kept")
        if table is None:
            network = self.network
            if network.cache is None and cache is not None:
                network = Network(network.region, network.terms, network.closures, network.key, cache, network.progress)
                self.__dict__["_prepared"] = network
            table = load_times(network, self.key)
            if table is None or len(table.total_ms) != len(self.spots):
                table = find_times(network, self.joints, self.key, engine=self.engine, progress=progress)
            self.__dict__["_kept"] = table
        return table

    @cached_property
    def _engine(self) -> Engine:
        return pick_engine(Setting(self.network, self.joints), "auto" if self.engine == "hierarchy" else self.engine)

    def _row(self, i: int, j: int) -> Row:
        """Search one way only, when nobody asked for the whole matrix."""
        wanted = np.zeros(len(self.spots), bool)
        wanted[j] = bool(self.reached[j]) and i != j
        return self._engine.row(i, wanted)


def join(
    network: Network,
    spots: Sequence[Spot],
    *,
    home: int | Spot | None = None,
    on_road: bool = False,
    engine: str = "auto",
    progress: Say = None,
) -> Joined:
    """Join spots to a network.

    A spot is joined to the nearest road that it can be driven to and from; where several are about as near, to the one
    with the least road of unknown surface. Its distance to that road is told, and why it is not reached.

    Parameters
    ----------
    home
        A spot (the depot), or the number of one, whose network counts when there are several, on islands; else the
        largest counts.
    on_road
        The spots are points on the road (way-points), not places beside it.
    engine
        ``auto``, ``hierarchy``, ``numba`` or ``scipy``: all give the same answer.
    """
    joints = find_joints(network, spots, home=home, on_road=on_road, progress=progress)
    return Joined(network, tuple(spots), joints, joint_key(network, spots, home, on_road), engine)
