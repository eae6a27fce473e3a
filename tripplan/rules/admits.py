"""Whether a site takes a van at all."""

from __future__ import annotations

import re
from collections.abc import Mapping

from tripplan.model.words import Offer, SiteKind
from tripplan.rules.place_text import free_text, parse_count, refuses

__all__ = ["admits_van", "is_staffed"]

_YES = frozenset({"yes", "designated", "permissive", "official"})
_NOT_FOR_GUESTS = frozenset({"private", "no", "permit", "members", "residents", "employees", "military"})

#: Tags that make a place no site for a touring van, whatever else it says (key, values; empty: any but ``no``).
_CLOSING: tuple[tuple[str, frozenset[str], str], ...] = (
    ("refugee", frozenset(), "refugee camp"),
    ("refugees", frozenset(), "refugee camp"),
    ("social_facility", frozenset(), "social facility"),
    ("scout", frozenset(), "scout camp"),
    ("club", frozenset({"scout", "scouts"}), "scout camp"),
    ("group_only", frozenset(), "groups only"),
    ("backcountry", frozenset(), "wild camp"),
    ("impromptu", frozenset(), "wild camp"),
    ("informal", frozenset(), "wild camp"),
    ("camp_site", frozenset({"wildcamp", "pitch", "group_only", "tents_only", "permanent"}), "not for touring vans"),
    ("camp_type", frozenset({"wildcamp", "wild", "nonpermanent"}), "wild camp"),
    ("static_caravans", frozenset({"only"}), "static vans only"),
    ("static_caravan", frozenset({"only"}), "static vans only"),
    ("permanent_camping", frozenset({"only"}), "static vans only"),
    ("tents", frozenset({"only"}), "tents only"),
    ("motorhome", frozenset({"only"}), "motorhomes only"),
    ("disused", frozenset(), "disused"),
    ("abandoned", frozenset(), "abandoned"),
)

#: Names that speak against a touring van. They only ever turn a place down.
_NAME_NO = re.compile(
    r"\bwild[\s-]?camp(ing|s|site)?\b|\bcamping sauvage\b|\bbivou?ac\b|\bbiwak|\bscouts?\b|\bpfadi|\bboy scout|\brefugee|\bflüchtling",
    re.IGNORECASE,
)
#: Names that speak of motorhomes: whether a towed van may come is then open.
_NAME_MOTORHOME = re.compile(
    r"autocaravan|auto-caravan|camping[\s-]?cars?\b|wohnmobil|reisemobil|motor-?homes?\b|\bstellpl[aä]tz|area (di )?sosta|\bcamperpla|\brv park\b",
    re.IGNORECASE,
)

#: Anything that shows a caravan site to be more than a point somebody once set.
_SUBSTANCE = (
    "name", "operator", "phone", "contact:phone", "website", "contact:website", "email", "capacity", "fee", "charge", "power_supply",
    "sanitary_dump_station", "drinking_water", "water_point", "toilets", "shower", "internet_access", "opening_hours", "reservation",
)  # fmt: skip


def is_staffed(tags: Mapping[str, str]) -> str:
    """Return what shows that somebody looks after a site, "" when nothing does.

    One of phone number, reception, stars or a required booking; or two of operator, website, e-mail, charge.
    """
    for key in ("phone", "contact:phone", "contact:mobile"):
        if tags.get(key):
            return "phone number"
    if tags.get("reception", "no") not in ("no", "") or tags.get("reception_desk", "no") not in ("no", ""):
        return "reception"
    if tags.get("stars", "").strip()[:1].isdigit():
        return f"stars={tags['stars'].strip()[:8]}"
    if tags.get("reservation") in ("yes", "required", "recommended"):
        return f"reservation={tags['reservation']}"
    marks = [
        word
        for word, keys in (
            ("operator", ("operator",)), ("website", ("website", "contact:website")), ("e-mail", ("email", "contact:email")),
        )
        if any(tags.get(key) for key in keys)
    ]  # fmt: skip
    if tags.get("fee") == "yes" or tags.get("charge"):
        marks.append("charge")
    return " and ".join(marks[:2]) if len(marks) >= 2 else ""


def admits_van(tags: Mapping[str, str], kind: SiteKind) -> tuple[Offer, str]:
    """Judge whether a touring van may stay, with the tag or rule that decided.

    Order: tags or plain words that refuse caravans, access and closing tags, tags that welcome caravans, names, then the
    presumptions. An unknown answer is never offered.
    """
    said = _by_caravan_tags(tags)
    if said is not None and said[0] == Offer.NO:
        return said
    access = tags.get("access", "").strip().lower()
    if access in _NOT_FOR_GUESTS:
        return Offer.NO, f"access={access}"
    for key, values, word in _CLOSING:
        value = tags.get(key, "").strip().lower()
        if value in values or (not values and value not in ("", "no")):
            return Offer.NO, f"{key}={value}: {word}"
    if tags.get("amenity") in ("scout_hut", "refugee_site"):
        return Offer.NO, f"amenity={tags['amenity']}"
    if tags.get("opening_hours", "").strip().lower() in ("off", "closed"):
        return Offer.NO, f"opening_hours={tags['opening_hours'].strip()}"
    return said or _by_rule(tags, kind)


def _by_caravan_tags(tags: Mapping[str, str]) -> tuple[Offer, str] | None:
    said: tuple[Offer, str] | None = None
    for key in ("caravans", "caravan", "trailer", "capacity:caravans"):
        value = tags.get(key, "").strip().lower()
        if value in ("no", "0", "none", "discouraged"):
            return Offer.NO, f"{key}={value}"
        if said is None and (value in _YES or parse_count(value) > 0):
            said = Offer.YES, f"{key}={value}"
    if refuses(free_text(tags), "caravans"):
        return Offer.NO, "the description seems to refuse caravans"
    return said


def _by_rule(tags: Mapping[str, str], kind: SiteKind) -> tuple[Offer, str]:
    name = " ".join(tags[key] for key in sorted(tags) if key.split(":", 1)[0] in ("name", "alt_name", "official_name"))
    if _NAME_NO.search(name):
        return Offer.NO, "its name speaks against a touring van"
    caravan_site = tags.get("tourism") == "caravan_site"
    motorhome = tags.get("motorhome", "").strip().lower()
    if motorhome == "designated" or _NAME_MOTORHOME.search(name):
        return Offer.UNKNOWN, "meant for motorhomes; nothing said of caravans"
    if caravan_site:
        if any(tags.get(key) for key in _SUBSTANCE):
            return Offer.PRESUMED, "a caravan site by the map's definition; nothing said against caravans"
        return Offer.UNKNOWN, "a bare point tagged caravan_site"
    if tags.get("tents", "").strip().lower() in _YES and motorhome not in _YES:
        return Offer.UNKNOWN, "only tents are named"
    if kind in (SiteKind.CAMP_SITE, SiteKind.HOLIDAY_PARK, SiteKind.FARM) and tags.get("name"):
        contact = next(
            (key for key in ("phone", "contact:phone", "website", "contact:website", "email", "operator") if tags.get(key)), ""
        )
        if contact or is_staffed(tags):
            return Offer.PRESUMED, f"a camp site with a name and {contact or is_staffed(tags)}; nothing said against caravans"
    return Offer.UNKNOWN, "nothing said of caravans"
