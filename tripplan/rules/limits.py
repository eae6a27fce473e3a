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
from tripplan.rules.conditions import TRAILER_WORDS, conditionals, for_others, split_and, tagged_conditionals, vehicle_property

__all__ = [
    "BELOW_DEFAULT",
    "FIT_REASONS",
    "NO_LIMIT",
    "LimitColumns",
    "PointLimitColumns",
    "SizeLimits",
    "bound_unread",
    "conditional_limits",
    "fit_codes",
    "fits_mask",
    "is_size_limit",
    "limit_keys",
    "limit_parts",
    "limits_by_date",
    "parse_length_m",
    "parse_limit",
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


#: Keys of limits: the field they fill, the word that a condition has for it, and how a figure is read.
_KEYS: dict[str, tuple[str, str]] = {
    "maxheight": ("height_m", "height"), "maxwidth": ("width_m", "width"), "maxlength": ("length_m", "length"),
    "maxweight": ("weight_kg", "weight"), "maxweightrating": ("weight_kg", "weightrating"), "maxgcweight": ("weight_kg", "gcweight"),
    "maxgcweightrating": ("weight_kg", "gcweightrating"), "maxaxleload": ("axle_kg", "axleload"),
}  # fmt: skip
#: What may follow such a key and still speak of us: how it is meant, for whom, in which direction or lane.
_ENDINGS = frozenset(
    ("physical", "legal", "trailer", "caravan", "motorcar", "motor_vehicle", "vehicle", "forward", "backward", "both_ways", "lanes")
)  # fmt: skip
_ACCESS_KEYS = ("access", "vehicle", "motor_vehicle", "motorcar", "trailer", "caravan")
_FIELD_OF = {word: field for field, word in _KEYS.values()}

#: Words for a place without a limit of its own. ``default``: no sign, and no more than the general rules of the country hold there
#: (OSM wiki, Tag:maxheight=default). The others from memory of Key:maxheight: no limit, or no sign.
NO_LIMIT: frozenset[str] = frozenset({"none", "no", "default", "unsigned", "no_sign", "no_indications", "unlimited"})
#: Not signed, but lower than the general rules of the country (from memory of the same page): no figure, so ask.
BELOW_DEFAULT = "below_default"


def limit_keys(tags: Mapping[str, str]) -> list[tuple[str, str, str]]:
    """Return (key, field of `SizeLimits`, word of conditions) of every tag that posts a limit for us, without the conditional ones."""
    found = []
    for key in tags:
        if key.startswith("max"):
            base, _, rest = key.partition(":")
            if base in _KEYS and (not rest or all(part in _ENDINGS for part in rest.split(":"))):
                found.append((key, *_KEYS[base]))
    return found


def parse_limit(field: str, text: str) -> float:
    """Return one limit in the unit of its field of `SizeLimits`; NaN when it is none or cannot be read."""
    return parse_weight_kg(text) if field.endswith("_kg") else parse_length_m(text)


def limit_parts(text: str) -> list[str]:
    """Split what a limit says for several lanes or signs (``3.5|none``, ``3;2.5``), trimmed and in lower case."""
    return [part.strip().lower() for part in re.split(r"[;|]", text) if part.strip()]


def size_limits(tags: Mapping[str, str]) -> SizeLimits:
    """Read every posted limit of a way or a barrier that holds at all times.

    The lowest of all that are there counts, signed or physical, of either direction and any lane, and the lowest of a ``;`` list;
    ``width`` of the carriageway is physical too, ``est_width`` a guess that is not read. The words of `NO_LIMIT` and what
    cannot be read are no limit known (`tripplan.rules.unread` lists the latter). A bound on weight is held against the whole
    outfit: a sign for the single vehicle is then kept on the safe side. Limits under the condition that a trailer is there, and closures by
    size alone (``motor_vehicle:conditional=no @ (weight>3.5)``), are limits too; those that hold at some times only are closures
    by date (`limits_by_date`, `tripplan.rules.access.closed_when`).
    """
    values = dict.fromkeys(("height_m", "width_m", "length_m", "weight_kg", "axle_kg"), math.nan)
    for key, field, _ in limit_keys(tags):
        for part in limit_parts(tags[key]):
            values[field] = _min_known(values[field], parse_limit(field, part))
    for part in tags.get("width", "").split(";"):
        values["width_m"] = _min_known(values["width_m"], parse_length_m(part))
    for _, field, _, value, clauses in conditional_limits(tags):
        if all(clause.lower() in TRAILER_WORDS for clause in clauses):
            values[field] = _min_known(values[field], parse_limit(field, value))
    for _, value, condition in tagged_conditionals(tags, _ACCESS_KEYS):
        bounds = _only_sizes(condition) if value in ("no", "private") else []
        for field, bound in bounds:
            values[field] = _min_known(values[field], parse_limit(field, bound))
    return SizeLimits(**values)


def conditional_limits(tags: Mapping[str, str]) -> list[tuple[str, str, str, str, list[str]]]:
    """Return (key, field, word of conditions, value, clauses) of every conditional limit that is not for other vehicles."""
    ending = ":conditional"
    plain = {key.removesuffix(ending): text for key, text in tags.items() if key.startswith("max") and key.endswith(ending)}
    found = []
    for key, field, word in limit_keys(plain):
        for value, condition in conditionals(plain[key]):
            clauses = split_and(condition)
            if not for_others(clauses):
                found += [(f"{key}{ending}", field, word, part, clauses) for part in limit_parts(value)]
    return found


def limits_by_date(tags: Mapping[str, str]) -> list[str]:
    """Return the limits that hold at some times only, as conditions under which the road is closed (``height>3.5 m AND Nov-Mar``).

    A limit that a condition raises or lifts (``none @ (destination)``) stays: its plain value counts at all times.
    """
    found = []
    for _, field, word, value, clauses in conditional_limits(tags):
        limit = parse_limit(field, value)
        dated = any(clause.lower() not in TRAILER_WORDS for clause in clauses)
        if dated and not math.isnan(limit):
            found.append(" AND ".join((f"{word}>{limit:.10g} {'kg' if field.endswith('_kg') else 'm'}", *clauses)))
    return found


def _only_sizes(condition: str) -> list[tuple[str, str]]:
    """Return (field, bound) where a condition speaks of upper bounds of size alone, and of trailers; else nothing."""
    bounds = []
    for clause in split_and(condition):
        found = vehicle_property(clause)
        if found and found[1] in (">", ">=") and found[0] in _FIELD_OF:
            bounds.append((_FIELD_OF[found[0]], found[2]))
        elif clause.lower() not in TRAILER_WORDS:
            return []
    return bounds if len(bounds) == 1 and not math.isnan(parse_limit(*bounds[0])) else []


def bound_unread(clause: str) -> bool:
    """Say whether a clause bounds a size by something that is no figure (``weight>heavy``)."""
    found = vehicle_property(clause)
    return found is not None and found[0] in _FIELD_OF and math.isnan(parse_limit(_FIELD_OF[found[0]], found[2]))


def is_size_limit(condition: str) -> bool:
    """Say whether a closing condition is a plain bound of size, which `size_limits` holds."""
    return bool(_only_sizes(condition))


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
