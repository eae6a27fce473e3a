"""Posted limits in every unit, and an outfit against them."""

import math
from types import SimpleNamespace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tripplan.model.outfit import Outfit
from tripplan.rules.limits import FIT_REASONS, fit_codes, fits_mask, parse_length_m, parse_weight_kg, size_limits

nan = pytest.approx(math.nan, nan_ok=True)


# OSM wiki, Key:maxwidth, examples of values (published source): metres by default, feet and inches as 6'7".
# A foot is 0.3048 m exactly.
@pytest.mark.parametrize(
    ("text", "metres"),
    [
        ("3", 3.0), ("3.2", 3.2), ("6'7\"", 2.0066), ("8'", 2.4384), ("3,5", 3.5), ("3.5 m", 3.5), ("3.5m", 3.5), ("350 cm", 3.5), ("380", 3.8),
        ("12'6\"", 3.81), ("12' 6\"", 3.81), ("12'-6\"", 3.81), ("12 ft 6 in", 3.81), ("12 ft", 3.6576), ("150\"", 3.81), ("12’6”", 3.81),
        ("14'3''", 4.3434), ("none", nan), ("default", nan), ("below_default", nan), ("unsigned", nan), ("no_sign", nan), ("", nan), ("0", nan),
        ("-3", nan), ("abc", nan), ("3.5.2", nan), ("1e3", nan), ("3 bananas", nan), ("٣", 3.0),
    ],
)  # fmt: skip
def test_lengths(text: str, metres: float) -> None:
    """Each unit and spelling; what is no limit is NaN, never 0."""
    assert parse_length_m(text) == (metres if metres == nan else pytest.approx(metres, abs=1e-9))


# Pound: 0.45359237 kg exactly; short ton 2,000 lb, long ton 2,240 lb, hundredweight 112 lb.
@pytest.mark.parametrize(
    ("text", "kilograms"),
    [
        ("3.5", 3500), ("3.5 t", 3500), ("3.5t", 3500), ("3500 kg", 3500), ("3500kg", 3500), ("3500", 3500), ("7,5", 7500),
        ("7000 lbs", 3175.14659), ("7000 lb", 3175.14659), ("5 st", 4535.9237), ("5 short tons", 4535.9237), ("3 lt", 3048.1407264),
        ("60 cwt", 3048.1407264), ("none", nan), ("unsigned", nan), ("default", nan), ("", nan), ("0", nan), ("3,5,2", nan), ("heavy", nan),
    ],
)  # fmt: skip
def test_weights(text: str, kilograms: float) -> None:
    """Tonnes by default, and every other unit that the tag allows."""
    assert parse_weight_kg(text) == (kilograms if kilograms == nan else pytest.approx(kilograms, rel=1e-9))


def test_the_lowest_of_all_keys_counts() -> None:
    """Signed and physical limits, ratings and lists: the lowest."""
    found = size_limits(
        {"maxheight": "3.8", "maxheight:physical": "3.6", "maxwidth": "2.6;2.3", "maxweight": "7.5", "maxweightrating": "3.5", "maxaxleload": "2",
         "maxlength": "12", "maxlength:trailer": "8"}
    )  # fmt: skip
    assert (found.height_m, found.width_m, found.length_m, found.weight_kg, found.axle_kg) == (3.6, 2.3, 8.0, 3500.0, 2000.0)
    none = size_limits(
        {
            "maxheight": "default",
            "maxweight": "none",
            "maxheight:hgv": "2",
            "maxweight:hgv": "1",
            "est_width": "1.5",
            "maxspeed": "5",
        }
    )
    assert all(math.isnan(value) for value in (none.height_m, none.width_m, none.length_m, none.weight_kg, none.axle_kg))
    assert size_limits({"maxheight": "none;3.5"}).height_m == 3.5
    both = size_limits(
        {
            "maxheight:forward": "4.2",
            "maxheight:backward": "3.5",
            "maxweight:lanes": "7.5|3.5|none",
            "maxwidth:lanes:forward": "2|3",
        }
    )
    assert (both.height_m, both.weight_kg, both.width_m) == (3.5, 3500.0, 2.0)
    others = size_limits({"maxweight:signed": "no", "maxheight:source": "3", "maxweight:bus": "3", "maxheight:marine": "2"})
    assert all(math.isnan(value) for value in (others.height_m, others.weight_kg))


def test_closures_by_size_are_limits() -> None:
    """No @ (weight>3.5) is a weight limit; yes @ (weight<3.5) and conditions on others are not."""
    assert size_limits({"motor_vehicle:conditional": "no @ (weight>3.5)"}).weight_kg == 3500
    by_night = {"motor_vehicle:conditional": "no @ (length > 10 AND 22:00-06:00)", "maxlength:conditional": "9 @ (22:00-06:00)"}
    assert math.isnan(size_limits(by_night).length_m)  # a closure by date: `closed_when` has it
    assert size_limits({"maxweight:conditional": "2 @ (trailer)", "maxheight:conditional": "3"}).weight_kg == 2000
    assert size_limits({"trailer:conditional": "no @ (width>2.3)"}).width_m == 2.3
    assert math.isnan(
        size_limits({"motor_vehicle:conditional": "yes @ (weight>3.5)", "hgv:conditional": "no @ (weight>1)"}).weight_kg
    )


OUTFIT = Outfit(
    "outfit",
    towing=True,
    mass_kg=3400,
    van_mass_kg=1500,
    axle_load_kg=1400,
    height_m=2.6,
    width_m=2.3,
    length_m=11.5,
    towing_limit_kmh=90,
)


def ways(**limits: list[float]) -> SimpleNamespace:
    size = len(next(iter(limits.values())))
    names = ("max_height_m", "max_width_m", "max_length_m", "max_weight_kg", "max_axle_kg")
    return SimpleNamespace(**{name: np.array(limits.get(name, [math.nan] * size), np.float32) for name in names})


def test_an_outfit_against_the_limits() -> None:
    """Clearance counts for height and width, an equal limit lets pass, NaN is no limit, and the reason is named."""
    height = fit_codes(ways(max_height_m=[math.nan, 2.79, 2.8, 3.0, 2.5]), OUTFIT)
    assert [FIT_REASONS[code] for code in height] == ["fits", "height", "fits", "fits", "height"]
    assert [FIT_REASONS[c] for c in fit_codes(ways(max_width_m=[2.4, 2.5]), OUTFIT)] == ["width", "fits"]
    assert [FIT_REASONS[c] for c in fit_codes(ways(max_length_m=[11.4, 11.5]), OUTFIT)] == ["length", "fits"]
    assert [FIT_REASONS[c] for c in fit_codes(ways(max_weight_kg=[3399, 3400, 3500]), OUTFIT)] == ["weight", "fits", "fits"]
    assert [FIT_REASONS[c] for c in fit_codes(ways(max_axle_kg=[1399, 1400]), OUTFIT)] == ["axle load", "fits"]
    assert fits_mask(ways(max_height_m=[2.0, 4.0]), OUTFIT).tolist() == [False, True]


@given(st.text(max_size=30))
def test_any_text_gets_a_number_or_none(text: str) -> None:
    """No text raises; a number is above zero."""
    for value in (parse_length_m(text), parse_weight_kg(text), size_limits({"maxheight": text}).height_m):
        assert math.isnan(value) or value > 0


@given(st.floats(0.5, 29), st.sampled_from(["", " m", "m"]))
def test_metres_come_back(value: float, unit: str) -> None:
    """What is written in metres is read in metres."""
    assert parse_length_m(f"{value:.2f}{unit}") == pytest.approx(round(value, 2))
