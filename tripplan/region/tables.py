"""A region as tables with geometry, for notebooks: GeoDataFrames in WGS 84 (EPSG:4326), units in the names of columns."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from tripplan.model.place import OFFERS
from tripplan.model.words import Source, Surface
from tripplan.region.columns import HIGHWAYS, Access, Flag
from tripplan.region.region import Region

if TYPE_CHECKING:
    from geopandas import GeoDataFrame

__all__ = ["lines_of", "places_table", "roads_table", "texts_of"]

_CRS = "EPSG:4326"


def texts_of(region: Region, numbers: NDArray[np.int32]) -> NDArray[Any]:
    """Return the string of each number, each looked up once ("" for -1)."""
    known, back = np.unique(numbers, return_inverse=True)
    texts = np.array([region.string(int(number)) for number in known], dtype=object)
    return np.asarray(texts[back])


def lines_of(region: Region) -> NDArray[Any]:
    """Return the line of every piece of road as a shapely geometry, as it is drawn."""
    import shapely

    pieces = region.pieces
    points = np.column_stack((pieces.lon_e7, pieces.lat_e7)) / 1e7
    return np.asarray(shapely.linestrings(points, indices=np.repeat(np.arange(len(pieces.way)), np.diff(pieces.ptr))))


def _words(kind: Any, values: NDArray[Any]) -> NDArray[Any]:
    words = np.array([str(member.name).lower().replace("_", " ") for member in kind], dtype=object)
    return np.asarray(words[values])


def roads_table(region: Region) -> GeoDataFrame:
    """Return a row for each piece of road between two junctions, in the region's own order.

    Columns
    -------
    osm_id, from_osm_id, to_osm_id
        Of the way and of the junctions at both ends.
    highway, name, ref
        As on the map.
    surface, surface_source, surface_why, surface_p
        The judgement (``sealed``, ``presumed``, ``unknown``, ``unsealed``), where it came from, why, and how likely an untagged road is sealed.
    oneway
        0 both ways, 1 as drawn, -1 against. tow_access, car_access: ``open``, ``ends only`` or ``closed``.
    length_m, max_height_m, max_width_m, max_length_m, max_weight_kg, max_axle_kg, speed_forward_kmh, speed_backward_kmh, speed_trailer_kmh, incline_percent
        NaN: not posted. toll, ferry, ford: whether it is one.
    """
    import geopandas

    ways, pieces, junctions = region.ways, region.pieces, region.junctions
    row = pieces.way
    sources = np.array([source.value for source in Source], dtype=object)
    data: dict[str, Any] = {
        "osm_id": ways.osm_id[row],
        "from_osm_id": junctions.osm_id[pieces.a],
        "to_osm_id": junctions.osm_id[pieces.b],
        "highway": np.array(HIGHWAYS, dtype=object)[ways.highway[row]],
        "name": texts_of(region, ways.name)[row],
        "ref": texts_of(region, ways.ref)[row],
        "surface": _words(Surface, ways.surface[row]),
        "surface_source": sources[ways.surface_source[row]],
        "surface_why": texts_of(region, ways.surface_why)[row],
        "surface_p": ways.surface_p[row],
        "oneway": ways.oneway[row],
        "tow_access": _words(Access, ways.tow_access[row]),
        "car_access": _words(Access, ways.car_access[row]),
        "length_m": pieces.length_m,
        "max_height_m": ways.max_height_m[row],
        "max_width_m": ways.max_width_m[row],
        "max_length_m": ways.max_length_m[row],
        "max_weight_kg": ways.max_weight_kg[row],
        "max_axle_kg": ways.max_axle_kg[row],
        "speed_forward_kmh": ways.speed_fwd[row],
        "speed_backward_kmh": ways.speed_bwd[row],
        "speed_trailer_kmh": ways.speed_trailer[row],
        "incline_percent": ways.incline[row],
        **{flag.name.lower(): (ways.flags[row] & flag) != 0 for flag in (Flag.TOLL, Flag.FERRY, Flag.FORD)},
    }
    return geopandas.GeoDataFrame(data, geometry=lines_of(region), crs=_CRS)


def places_table(region: Region) -> GeoDataFrame:
    """Return a row for each site, service point, sight and depot, in the region's own order.

    Columns
    -------
    ref, role, kind, name, hours, season, phone, website, note, source
        As `tripplan.model.place.Place` has them.
    admits, pets, fee, and the offers power, fresh, piped, grey, cassette, gas, toilets, showers
        ``yes``, ``presumed``, ``no`` or ``unknown``. only_guests: for those who stay the night.
    longest_stay_nights, price_cents, capacity
        0, -1 and -1: not known.
    """
    import geopandas

    places = list(region.places)
    plain = (
        "ref",
        "role",
        "name",
        "hours",
        "season",
        "only_guests",
        "longest_stay_nights",
        "price_cents",
        "capacity",
        "phone",
        "website",
        "note",
        "source",
    )
    data: dict[str, list[Any]] = {name: [getattr(place, name) for place in places] for name in plain}
    data["kind"] = [place.kind.value for place in places]
    for name in ("admits", "pets", "fee"):
        data[name] = [getattr(place, name).name.lower() for place in places]
    for word in OFFERS:
        data[word] = [place.offer(word).answer.name.lower() for place in places]
    points = geopandas.points_from_xy([place.lon for place in places], [place.lat for place in places])
    return geopandas.GeoDataFrame(data, geometry=points, crs=_CRS)
