"""What people need on the way beside the van's own stores: fuel for the car, a hospital. Nothing is planned by it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

__all__ = ["AidFact", "judge_aid"]

_CLOSED = frozenset({"private", "no", "permit", "members", "employees"})


@dataclass(frozen=True, slots=True)
class AidFact:
    """One aid of the map: ``kind`` is ``fuel`` or ``hospital``; name and phone as written, "" when the map is silent."""

    kind: str
    name: str
    phone: str


def judge_aid(tags: Mapping[str, str]) -> AidFact | None:
    """Return the aid that an object of the map is, if any.

    A station that sells gas for motors alone, or to members only, is none; neither is a hospital that is tagged to take no emergencies.
    """
    kind = tags.get("amenity", "")
    if tags.get("disused") == "yes" or tags.get("access", "").strip().lower() in _CLOSED:
        return None
    if kind == "fuel":
        if tags.get("fuel:lpg", "").strip().lower() == "only":
            return None
    elif kind != "hospital" or tags.get("emergency", "").strip().lower() == "no":
        return None
    phone = next((tags[key].strip() for key in ("emergency:phone", "phone", "contact:phone") if tags.get(key, "").strip()), "")
    return AidFact(kind, (tags.get("name") or tags.get("brand") or "").strip(), phone)
