"""Posted limits of height, width, length, weight and axle load, in every unit that the tags allow, against an outfit."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from tripplan.model.outfit import Outfit
from tripplan.rules.conditions import split_and, tagged_conditionals, vehicle_property

__all__ = [
    "FIT_REASONS",
    "LimitColumns",
    "PointLimitColumns",
    "SizeLimits",
    "fit_codes",
    "fits_mask",
    "parse_length_m",
    "parse_weight_kg",
    "point_fit_codes",
    "size_limits",
]

#: From here on a figure is a slip of the pen: it is no limit to anything on a road.
_MOST_M, _MOST_KG = 1000.0, 1_000_000.0
_FOOT_M = 0.3048  # exact, international yard and pound agreement 1959
_POUND_KG = 0.45359237  # exact, same
_NUMBER = r"(\d+(?:[.,]\d+)?|[.,]\d+)"
_PLAIN = re.compile(rf"^{_NUMBER}\s*(m|metres?|meters?|cm|mm|km|ft|feet|foot|in|inch|inches|yd)?\.?$")
_FEET = re.compile(rf"^{_NUMBER}\s*(?:'|’|′|ft|feet|foot)[\s-]*(?:{_NUMBER}\s*(?:\"|”|″|''|in|inch|inches)?)?$")
_INCHES = re.compile(rf"^{_NUMBER}\s*(?:\"|”|″|'')$")
_WEIGHT = re.compile(rf"^{_NUMBER}\s*(t|tons?|tonnes?|mt|kg|lbs?|pounds?|st|short\s?tons?|lt|long\s?tons?|cwt)?\.?$")
_LENGTHS = {"": 1.0, "m": 1.0, "metre": 1.0, "meter": 1.0, "metres": 1.0, "meters": 1.0, "cm": 0.01, "mm": 0.001, "km": 1000.0,
            "ft": _FOOT_M, "feet": _FOOT_M, "foot": _FOOT_M, "in": _FOOT_M / 12, "inch": _FOOT_M / 12,
            "inches": _FOOT_M / 12, "yd": 3 * _FOOT_M}  # fmt: skip
_WEIGHTS = {"": 1000.0, "t": 1000.0, "ton": 1000.0, "tons": 1000.0, "tonne": 1000.0, "tonnes": 1000.0, "mt": 1000.0, "kg": 1.0,
            "lb": _POUND_KG, "lbs": _POUND_KG, "pound": _POUND_KG, "pounds": _POUND_KG, "st": 2000 * _POUND_KG,
            "shortton": 2000 * _POUND_KG, "shorttons": 2000 * _POUND_KG, "lt": 2240 * _POUND_KG, "longton": 2240 * _POUND_KG,
            "longtons": 2240 * _POUND_KG, "cwt": 112 * _POUND_KG}  # fmt: skip


@dataclass(frozen=True, slots=True)
class SizeLimits:
    """What may pass: height, width, length [m], weight of the whole outfit and of an axle [kg]; NaN where none is posted."""

    height_m: float = math.nan
    width_m: float = math.nan
    length_m: float = math.nan
    weight_kg: float = math.nan
    axle_kg: float = math.nan


class LimitColumns(Protocol):
    """The columns of a region's ways that hold posted limits."""

    @property
    def max_height_m(self) -> NDArray[np.float32]: ...  # noqa: D102
    @property
    def max_width_m(self) -> NDArray[np.float32]: ...  # noqa: D102
    @property
    def max_length_m(self) -> NDArray[np.float32]: ...  # noqa: D102
    @property
    def max_weight_kg(self) -> NDArray[np.float32]: ...  # noqa: D102
    @property
    def max_axle_kg(self) -> NDArray[np.float32]: ...  # noqa: D102


def parse_length_m(text: str) -> float:
    """Parse one height, width or length: metres unless a unit says otherwise; NaN when there is no number in it [m].

    Feet and inches are taken as ``6'7"``, ``6'``, ``6 ft 7 in``. A bare number over 30 can only be centimetres.
    """
    text = text.strip().lower()
    if match := _PLAIN.match(text):
        value = _number(match[1])
        unit = match[2] or ""
        metres = value * _LENGTHS[unit]
        if not unit and value > 30:
            metres = value / 100
    elif match := _FEET.match(text):
        metres = _number(match[1]) * _FOOT_M + (_number(match[2]) * _FOOT_M / 12 if match[2] else 0.0)
    elif match := _INCHES.match(text):
        metres = _number(match[1]) * _FOOT_M / 12
    else:
        return math.nan
    return metres if 0 < metres < _MOST_M else math.nan


def parse_weight_kg(text: str) -> float:
    """Parse one weight: tonnes unless a unit says otherwise; NaN when there is no number in it [kg].

    ``st`` is the short ton of 2,000 lb. A bare number over 100 can only be kilograms.
    """
    match = _WEIGHT.match(text.strip().lower())
    if not match:
        return math.nan
    value = _number(match[1])
    unit = (match[2] or "").replace(" ", "")
    kilograms = value if not unit and value > 100 else value * _WEIGHTS[unit]
    return kilograms if 0 < kilograms < _MOST_KG else math.nan


def _number(text: str) -> float:
    return float(text.replace(",", "."))


_HEIGHT_KEYS = ("maxheight", "maxheight:physical", "maxheight:trailer", "maxheight:caravan")
_WIDTH_KEYS = ("maxwidth", "maxwidth:physical", "width", "maxwidth:trailer", "maxwidth:caravan")
_LENGTH_KEYS = ("maxlength", "maxlength:trailer", "maxlength:caravan")
_WEIGHT_KEYS = (
    "maxweight", "maxweightrating", "maxgcweight", "maxgcweightrating", "maxweight:trailer", "maxweight:caravan",
    "maxweightrating:trailer", "maxweightrating:caravan",
)  # fmt: skip
_AXLE_KEYS = ("maxaxleload", "maxaxleload:trailer")
_ACCESS_KEYS = ("access", "vehicle", "motor_vehicle", "motorcar", "trailer", "caravan")
_PROPERTY_FIELD = {
    "weight": "weight_kg", "weightrating": "weight_kg", "gcweight": "weight_kg", "gcweightrating": "weight_kg",
    "axleload": "axle_kg", "height": "height_m", "width": "width_m", "length": "length_m",
}  # fmt: skip


def size_limits(tags: Mapping[str, str]) -> SizeLimits:
    """Read every posted limit of a way or a barrier.

    The lowest of all that are there counts, signed or physical, and the lowest of a ``;`` list; ``width`` of the
    carriageway is physical too, ``est_width`` a guess that is not read. ``none``, ``default``, ``below_default`` and
    ``unsigned`` are no limit known. A bound on weight is held against the whole outfit: a sign for the single vehicle is
    then kept on the safe side. Closures by size (``motor_vehicle:conditional=no @
    (weight>3.5)``) are limits too, whatever the hour that goes with them.
    """
    values = {
        "height_m": _lowest(tags, _HEIGHT_KEYS, parse_length_m),
        "width_m": _lowest(tags, _WIDTH_KEYS, parse_length_m),
        "length_m": _lowest(tags, _LENGTH_KEYS, parse_length_m),
        "weight_kg": _lowest(tags, _WEIGHT_KEYS, parse_weight_kg),
        "axle_kg": _lowest(tags, _AXLE_KEYS, parse_weight_kg),
    }
    for _, value, condition in tagged_conditionals(tags, _ACCESS_KEYS):
        if value not in ("no", "private"):
            continue
        for clause in split_and(condition):
            found = vehicle_property(clause)
            if found and found[1] in (">", ">=") and found[0] in _PROPERTY_FIELD:
                field = _PROPERTY_FIELD[found[0]]
                limit = parse_weight_kg(found[2]) if field.endswith("_kg") else parse_length_m(found[2])
                values[field] = _min_known(values[field], limit)
    return SizeLimits(**values)


def _lowest(tags: Mapping[str, str], keys: tuple[str, ...], parse: _Parser) -> float:
    lowest = math.nan
    for key in keys:
        text = tags.get(key)
        if text:
            for part in text.split(";"):
                lowest = _min_known(lowest, parse(part))
    return lowest


class _Parser(Protocol):
    def __call__(self, text: str) -> float: ...


def _min_known(a: float, b: float) -> float:
    if math.isnan(a):
        return b
    return a if math.isnan(b) else min(a, b)


#: What `fit_codes` answers: position 0 fits, the others name the first limit that does not hold.
FIT_REASONS: tuple[str, ...] = ("fits", "height", "width", "length", "weight", "axle load")


def fit_codes(ways: LimitColumns, outfit: Outfit) -> NDArray[np.uint8]:
    """Return for each way the position in `FIT_REASONS` of the first limit that the outfit breaks, 0 where it fits.

    Height and width keep the outfit's clearance to the posted figure. NaN is no limit.
    """
    codes = np.zeros(len(ways.max_height_m), np.uint8)
    checks = (
        (ways.max_height_m, outfit.height_m + outfit.height_clearance_m),
        (ways.max_width_m, outfit.width_m + outfit.width_clearance_m),
        (ways.max_length_m, outfit.length_m),
        (ways.max_weight_kg, outfit.mass_kg),
        (ways.max_axle_kg, outfit.axle_load_kg),
    )
    for code in range(len(checks), 0, -1):
        limit, own = checks[code - 1]
        # A limit stored as float32 must not turn away an outfit that equals it.
        codes[limit < np.float32(own) * np.float32(1 - 1e-6)] = code
    return codes


class PointLimitColumns(Protocol):
    """The columns of a region's junctions that hold what a bar or a gap lets pass."""

    @property
    def max_height_m(self) -> NDArray[np.float32]: ...  # noqa: D102
    @property
    def max_width_m(self) -> NDArray[np.float32]: ...  # noqa: D102
    @property
    def max_weight_kg(self) -> NDArray[np.float32]: ...  # noqa: D102


def point_fit_codes(points: PointLimitColumns, outfit: Outfit) -> NDArray[np.uint8]:
    """Return for each junction the position in `FIT_REASONS` of the first limit that the outfit breaks, 0 where it fits."""
    codes = np.zeros(len(points.max_height_m), np.uint8)
    for code, limit, own in (
        (4, points.max_weight_kg, outfit.mass_kg),
        (2, points.max_width_m, outfit.width_m + outfit.width_clearance_m),
        (1, points.max_height_m, outfit.height_m + outfit.height_clearance_m),
    ):
        codes[limit < np.float32(own) * np.float32(1 - 1e-6)] = code
    return codes


def fits_mask(ways: LimitColumns, outfit: Outfit) -> NDArray[np.bool_]:
    """Return which ways the outfit fits."""
    fits: NDArray[np.bool_] = fit_codes(ways, outfit) == 0
    return fits
