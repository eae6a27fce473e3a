"""A region as a networkx graph in the form that OSMnx reads: nodes are junctions, edges the road pieces between them."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from tripplan.model.errors import BadInputError
from tripplan.model.words import Surface
from tripplan.region.columns import HIGHWAYS, Access, Flag
from tripplan.region.region import Region
from tripplan.region.tables import lines_of, texts_of

if TYPE_CHECKING:
    from networkx import MultiDiGraph

__all__ = ["MODES", "road_graph"]

#: Whose roads: those open to the car alone, those open to it with the van, or all that the region has.
MODES: tuple[str, ...] = ("car", "tow", "all")
_FLAGS = ((Flag.BRIDGE, "bridge", "yes"), (Flag.TUNNEL, "tunnel", "yes"), (Flag.ROUNDABOUT, "junction", "roundabout"))


def road_graph(region: Region, mode: str = "car") -> MultiDiGraph[int]:
    """Return a directed multigraph with OSMnx's attributes.

    Nodes are OSM node ids with ``x``, ``y`` [degrees] and ``street_count``; edges carry ``osmid``, ``length`` [m], ``highway``, ``oneway``, ``reversed``, ``geometry``,
    where known ``name``, ``ref``, ``maxspeed`` [km/h, as text] and ``maxheight``, ``maxwidth``, ``maxweight`` [m, m, t], and beside these our
    ``surface_judged``. A road both ways is two edges. Turn restrictions and closures by date are not in it: `plan_trip` keeps those.

    Parameters
    ----------
    mode
        One of `MODES`; roads closed to it are left out.

    Raises
    ------
    BadInputError
        An unknown mode.
    """
    import networkx as nx

    if mode not in MODES:
        raise BadInputError(f"mode {mode!r}", accepted=", ".join(MODES), next_step="choose one of them")
    ways, pieces, junctions = region.ways, region.pieces, region.junctions
    graph: MultiDiGraph[int] = nx.MultiDiGraph(crs="EPSG:4326", simplified=True, created_with="tripplan")
    identity, x, y = junctions.osm_id.tolist(), (junctions.lon_e7 / 1e7).tolist(), (junctions.lat_e7 / 1e7).tolist()
    row = pieces.way
    kept = np.ones(len(row), bool)
    if mode != "all":
        access = ways.car_access if mode == "car" else ways.tow_access
        kept = access[row] != Access.CLOSED
    tags = _tags(region)
    lines = lines_of(region)
    reverse = _reversed(lines)
    streets = np.bincount(np.concatenate((pieces.a[kept], pieces.b[kept])), minlength=len(identity))
    graph.add_nodes_from(
        (identity[j], {"x": x[j], "y": y[j], "street_count": int(streets[j])}) for j in np.flatnonzero(streets).tolist()
    )
    a, b, way, length, oneway = pieces.a.tolist(), pieces.b.tolist(), row.tolist(), pieces.length_m.tolist(), ways.oneway.tolist()
    speeds = _speeds(region)
    for piece in np.flatnonzero(kept).tolist():
        w = way[piece]
        one = oneway[w]
        for backward in (False, True):
            if one == (1 if backward else -1):
                continue
            u, v = (b[piece], a[piece]) if backward else (a[piece], b[piece])
            speed = speeds[backward].get(w)
            graph.add_edge(
                identity[u], identity[v], **tags[w], **({"maxspeed": speed} if speed else {}),
                oneway=one != 0, reversed=backward, length=length[piece], geometry=(reverse if backward else lines)[piece],
            )  # fmt: skip
    return graph


def _reversed(lines: Any) -> Any:
    import shapely

    return np.asarray(shapely.reverse(lines))


def _tags(region: Region) -> list[dict[str, Any]]:
    """Return what each way gives its edges."""
    ways = region.ways
    names, refs = texts_of(region, ways.name).tolist(), texts_of(region, ways.ref).tolist()
    surfaces, flags = ways.surface.tolist(), ways.flags.tolist()
    tags: list[dict[str, Any]] = []
    limits = [
        ("maxheight", ways.max_height_m.tolist(), 1.0),
        ("maxwidth", ways.max_width_m.tolist(), 1.0),
        ("maxweight", ways.max_weight_kg.tolist(), 1000.0),
    ]
    for w, (osmid, highway) in enumerate(zip(ways.osm_id.tolist(), ways.highway.tolist(), strict=True)):
        tag: dict[str, Any] = {"osmid": osmid, "highway": HIGHWAYS[highway], "surface_judged": Surface(surfaces[w]).name.lower()}
        if names[w]:
            tag["name"] = names[w]
        if refs[w]:
            tag["ref"] = refs[w]
        for key, column, unit in limits:
            if column[w] == column[w]:
                tag[key] = f"{column[w] / unit:g}"
        tag |= {key: word for flag, key, word in _FLAGS if flags[w] & flag}
        tags.append(tag)
    return tags


def _speeds(region: Region) -> tuple[dict[int, str], dict[int, str]]:
    """Return posted speeds of ways [km/h] as text, forwards and backwards."""
    return tuple(  # type: ignore[return-value]
        {w: f"{column[w]:g}" for w in np.flatnonzero(~np.isnan(column)).tolist()}
        for column in (region.ways.speed_fwd, region.ways.speed_bwd)
    )
