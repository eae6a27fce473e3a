"""The known key that an unknown one was meant to be."""

from __future__ import annotations

from collections.abc import Iterable
from difflib import SequenceMatcher

__all__ = ["nearest_key"]

#: Other spellings and everyday words, by part of a key.
_SAME: dict[str, str] = {
    "gray": "grey", "waste": "grey", "sullage": "grey", "black": "cassette", "toilet": "cassette", "water": "fresh", "clean": "fresh", "lpg": "gas",
    "propane": "gas", "butane": "gas", "refrigerator": "fridge", "weight": "mass", "speed": "limit", "kids": "children", "dogs": "pets", "persons": "adults",
    "people": "adults", "start": "pick", "pickup": "pick", "end": "return", "drop": "return", "caravan": "van", "dropoff": "return", "hob": "hob", "stove": "hob",
    "must_see": "must", "company": "firm", "when": "time", "at": "time", "where": "place", "location": "place", "site": "place",
}  # fmt: skip
#: Parts that are units, in keys of ours or of someone used to others.
_UNITS = frozenset(
    ("l", "ml", "dl", "litre", "litres", "liter", "liters", "gal", "gallon", "gallons", "kg", "g", "lb", "lbs", "t", "m", "cm", "mm", "ft", "in", "km", "mi",
     "miles", "kmh", "mph", "h", "hours", "min", "minutes", "s", "ah", "wh", "w", "a", "c", "f", "cents", "kwh")
)  # fmt: skip


def nearest_key(word: str, known: Iterable[str]) -> str:
    """Return the known key most like a word, or "" when none is."""
    best, best_score = "", 0.0
    for key in known:
        stem = _stem(word)
        score = SequenceMatcher(None, word.casefold(), key).ratio()
        if stem and stem == _stem(key):
            score = max(score, 0.95)
        elif stem and _stem(key):
            score = max(score, 0.9 * SequenceMatcher(None, stem, _stem(key)).ratio())
        if score > best_score + 1e-9:
            best, best_score = key, score
    return best if best_score >= 0.62 else ""


def _stem(key: str) -> str:
    parts = [part for part in key.casefold().replace("-", "_").replace(" ", "_").split("_") if part]
    while len(parts) > 1 and parts[-1] in _UNITS:
        parts.pop()
    return "_".join(_SAME.get(part, part) for part in parts)
