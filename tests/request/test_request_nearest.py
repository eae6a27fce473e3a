"""The key that was meant."""

from __future__ import annotations

import pytest

from tripplan.request.keys import keys_of
from tripplan.request.nearest import nearest_key


@pytest.mark.parametrize(
    ("table", "word", "meant"),
    [
        ("van", "gray_gal", "grey_l"), ("van", "grey", "grey_l"), ("van", "fresh_water_l", "fresh_l"), ("van", "Fresh_L", "fresh_l"), ("van", "casette_l", "cassette_l"),
        ("van", "battery_wh", "battery_ah"), ("van", "solar", "solar_w"), ("van", "toilet_l", "cassette_l"), ("van", "wheels", ""), ("party", "adult", "adults"),
        ("party", "kids", "children"), ("trip", "pickup", "pick_up"), ("trip", "sight", "sights"), ("firm", "towing_limit_mph", "towing_limit_kmh"), ("party", "dogs", "pets"),
        ("outfit", "car_weight_kg", "car_mass_kg"), ("outfit", "height_ft", "height_m"), ("driving", "max_hours", "max_h"), ("wishes", "budget", "budget_cents"), ("trip", "zzz", ""),
    ],
)  # fmt: skip
def test_nearest(table: str, word: str, meant: str) -> None:
    """Other spellings, other units, other words for the same thing; and no guess where nothing is near."""
    assert nearest_key(word, [key.name for key in keys_of(table)]) == meant
