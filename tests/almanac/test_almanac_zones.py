"""Time zone of a coordinate."""

from __future__ import annotations

from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tripplan.almanac.zones import zone_of
from tripplan.model.errors import BadInputError


@pytest.mark.parametrize(
    ("lon", "lat", "zone"),
    [
        (1.52, 42.51, "Europe/Andorra"),
        (9.52, 47.14, "Europe/Vaduz"),
        (172.63, -43.53, "Pacific/Auckland"),
        (-176.5, -44.0, "Pacific/Chatham"),
        (115.86, -31.95, "Australia/Perth"),
    ],
)
def test_known_towns(lon: float, lat: float, zone: str) -> None:
    """Towns lie in the zones of the IANA time zone database."""
    assert zone_of(lon, lat) == zone


@given(lon=st.floats(-180, 180), lat=st.floats(-90, 90))
@settings(max_examples=60, deadline=None)
def test_everywhere_has_a_zone_that_clocks_know(lon: float, lat: float) -> None:
    """Land, sea, poles and date line all give a name that the time zone database has."""
    assert ZoneInfo(zone_of(lon, lat)).key


@pytest.mark.parametrize(("lon", "lat"), [(181, 0), (0, -91), (float("inf"), 0), (0, float("nan"))])
def test_off_the_globe_is_refused(lon: float, lat: float) -> None:
    """A coordinate that is not on earth gives one clear line."""
    with pytest.raises(BadInputError):
        zone_of(lon, lat)
