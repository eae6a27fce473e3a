"""The time zone of a coordinate."""

from __future__ import annotations

from math import isfinite

from tripplan.model.errors import BadInputError

__all__ = ["zone_of"]


def zone_of(lon: float, lat: float) -> str:
    """Return the IANA name of the time zone at a coordinate.

    Parameters
    ----------
    lon, lat
        [degrees]. At sea the zone is that of the ship's clock (``Etc/GMT-12`` and the like).

    Raises
    ------
    BadInputError
        When the coordinate is not on earth.
    """
    if not (isfinite(lon) and isfinite(lat) and -180 <= lon <= 180 and -90 <= lat <= 90):
        raise BadInputError(f"position {lon:g}, {lat:g} is not on earth", accepted="longitude -180 to 180, latitude -90 to 90")
    import tzfpy

    name = str(tzfpy.get_tz(lon, lat))
    if name:
        return name
    hours = round(lon / 15)
    return "Etc/GMT" if hours == 0 else f"Etc/GMT{-hours:+d}"
