"""What a place is and what it has, from its tags: role, offers with their evidence, and whether a van may stay.

Presumed offers (common practice, no source) come from one small table:

====================================================  =======================================
seen on the map                                       presumed, unless the map says no
====================================================  =======================================
staffed site with showers                             grey, cassette, fresh, toilets
staffed site with its own dump station                grey
staffed site with stars                               power
``fuel:propane``, ``fuel:butane``                     gas (filled or sold: not said)
plain words of fresh water at a dump station          fresh
camp site with a name and a contact                   admits caravans
caravan site that is more than a bare point           admits caravans
====================================================  =======================================

Staffed: a phone number, reception, stars, a required booking, or two of operator, website, e-mail, charge. Words in a
description only ever take an offer back, or (fresh water) make it presumed: never a yes.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field

from tripplan.model.place import OfferFact
from tripplan.model.words import Offer, SiteKind, Source
from tripplan.rules.admits import admits_van, is_staffed
from tripplan.rules.place_text import free_text, mentions, nights_of_stay, parse_charge_cents, parse_count, quoted, refuses

__all__ = ["AUTOGAS", "SIGHTS", "PlaceFact", "judge_place"]

#: Why a pump for autogas is no place to fill a bottle.
AUTOGAS = "autogas pump (fuel:lpg): filling a leisure bottle there is unsafe and in many countries illegal"

#: Keys and values that make a named place a sight.
SIGHTS: dict[str, frozenset[str]] = {
    "tourism": frozenset({"attraction", "viewpoint", "museum", "gallery", "zoo", "aquarium", "theme_park"}),
    "historic": frozenset({"castle", "fort", "ruins", "monument", "archaeological_site", "city_gate", "lighthouse", "monastery"}),
    "natural": frozenset({"peak", "beach", "cave_entrance", "geyser", "hot_spring", "glacier", "volcano", "arch"}),
    "waterway": frozenset({"waterfall"}),
    "man_made": frozenset({"lighthouse"}),
}
#: Keys that tell how well known a sight is, or how high it lies.
_KNOWN_BY = ("wikidata", "wikipedia", "heritage", "ele", "mountain_pass")


@dataclass(frozen=True, slots=True)
class PlaceFact:
    """One place as judged: the same words as `tripplan.model.place.Place`, less where it lies and its row.

    ``admits`` of a service says whether strangers may use it at all (presumed where nothing is said); of a sight likewise.
    """

    ref: str
    role: str
    name: str = ""
    kind: SiteKind = SiteKind.OTHER
    offers: dict[str, OfferFact] = field(default_factory=dict)
    admits: Offer = Offer.UNKNOWN
    admits_why: str = ""
    only_guests: bool = False
    hours: str = ""
    season: str = ""
    longest_stay_nights: int = 0
    price_cents: int = -1
    capacity: int = -1
    pets: Offer = Offer.UNKNOWN
    fee: Offer = Offer.UNKNOWN
    phone: str = ""
    website: str = ""
    note: str = ""
    check_in: str = ""
    check_out: str = ""
    sight: str = ""


def judge_place(tags: Mapping[str, str], osm_ref: str) -> PlaceFact | None:
    """Judge one object of the map.

    Parameters
    ----------
    tags
        Its tags.
    osm_ref
        ``n``, ``w`` or ``r`` and the OSM id.

    Returns
    -------
    PlaceFact or None
        ``None``: neither site, service point nor named sight. A parking place for motorhomes is never a site.
    """
    kind = _site_kind(tags)
    if kind is not None:
        return _site(tags, osm_ref, kind)
    offers = _service_offers(tags)
    if offers:
        return _service(tags, osm_ref, offers)
    if tags.get("name") and any(tags.get(key) in values for key, values in SIGHTS.items()):
        return _sight(tags, osm_ref)
    return None


# ---------------------------------------------------------------- sites

_FARM = re.compile(r"\bfarm\b|\bbauernhof\b|\bferme\b|\bagriturismo\b|\bgranja\b", re.IGNORECASE)
_PARK = re.compile(r"\bholiday (park|village)\b|\bferienpark\b|\btouring park\b|\bcaravan park\b", re.IGNORECASE)


def _site_kind(tags: Mapping[str, str]) -> SiteKind | None:
    tourism = tags.get("tourism", "")
    welcome = tags.get("caravans") in ("yes", "designated") or tags.get("caravan") in ("yes", "designated")
    if tourism in ("caravan_site", "camp_site"):
        name = tags.get("name", "")
        if (
            tags.get("place") == "farm"
            or tags.get("landuse") == "farmyard"
            or tags.get("agritourism") == "yes"
            or _FARM.search(name)
        ):
            return SiteKind.FARM
        if tags.get("leisure") == "resort" or _PARK.search(name):
            return SiteKind.HOLIDAY_PARK
        return SiteKind.CARAVAN_SITE if tourism == "caravan_site" else SiteKind.CAMP_SITE
    if welcome and tags.get("leisure") == "resort":
        return SiteKind.HOLIDAY_PARK
    if welcome and tags.get("highway") in ("rest_area", "services"):
        return SiteKind.REST_AREA
    if welcome and tags.get("tourism") == "farm_stay":
        return SiteKind.FARM
    return None


def _site(tags: Mapping[str, str], ref: str, kind: SiteKind) -> PlaceFact:
    admits, why = admits_van(tags, kind)
    nights = nights_of_stay(tags.get("maxstay", ""))
    if nights is None and admits != Offer.NO:
        admits, why = Offer.NO, f"maxstay={tags['maxstay'].strip()}: no night"
    capacity = parse_count(tags.get("capacity:caravans", ""))
    return PlaceFact(
        ref=ref, role="site", name=tags.get("name", ""), kind=kind, offers=_site_offers(tags), admits=admits, admits_why=why,
        only_guests=tags.get("access") not in ("yes", "public"), hours=_hours(tags), season=_season(tags),
        longest_stay_nights=nights or 0, price_cents=_price(tags),
        capacity=capacity if capacity >= 0 else parse_count(tags.get("capacity", "")),
        pets=_pets(tags), fee=_fee(tags), phone=_phone(tags), website=_website(tags), note=_note(tags),
        check_in=tags.get("check_in", "").strip(), check_out=tags.get("check_out", "").strip(),
    )  # fmt: skip


def _site_offers(tags: Mapping[str, str]) -> dict[str, OfferFact]:
    text = free_text(tags)
    offers: dict[str, OfferFact] = {}
    power = _tagged(tags, "power_supply", "electricity")
    if power:
        offers["power"] = power
    fresh = _tagged(tags, "drinking_water", "water_point")
    if fresh:
        offers["fresh"] = fresh
    if tags.get("drinking_water", "").strip().lower() == "no":
        offers["fresh"] = OfferFact(Offer.NO, Source.TAGGED, "drinking_water=no")
    dump = _tagged(tags, "sanitary_dump_station")
    offers |= _dump_offers(tags, bare_yes=dump is not None and dump.answer == Offer.YES, bare=dump.evidence if dump else "")
    if dump is not None and dump.answer == Offer.NO:
        offers.setdefault("cassette", dump)
    hookup = _tagged(tags, "full_hookup")
    if hookup:
        offers["piped"] = hookup
    toilets, showers = _tagged(tags, "toilets"), _tagged(tags, "shower", "showers")
    if toilets:
        offers["toilets"] = toilets
    if showers:
        offers["showers"] = showers
    gas = _gas(tags)
    if gas:
        offers["gas"] = gas
    return _taken_back(_presumed(tags, offers), text)


def _presumed(tags: Mapping[str, str], offers: dict[str, OfferFact]) -> dict[str, OfferFact]:
    """Add what the table of the module presumes, where the map is silent."""
    staffed = is_staffed(tags)
    if not staffed:
        return offers

    def presume(word: str, why: str) -> None:
        offers.setdefault(word, OfferFact(Offer.PRESUMED, Source.PRESUMED, f"{why} (common practice): {staffed}"))

    no_dump = tags.get("sanitary_dump_station", "").strip().lower() == "no"
    if offers.get("showers", OfferFact()).answer == Offer.YES:
        for word in ("fresh", "toilets"):
            presume(word, "staffed site with showers")
        if not no_dump:
            presume("grey", "staffed site with showers")
            presume("cassette", "staffed site with showers")
    if offers.get("cassette", OfferFact()).answer == Offer.YES:
        presume("grey", "staffed site with its own dump station")
    if tags.get("stars", "").strip()[:1].isdigit():
        presume("power", "staffed site with stars")
    return offers


def _taken_back(offers: dict[str, OfferFact], text: str) -> dict[str, OfferFact]:
    """Let a description that seems to refuse win over tag and presumption."""
    for word in ("grey", "cassette", "fresh", "power"):
        if refuses(text, word):
            offers[word] = OfferFact(Offer.NO, Source.TAGGED, f"the description seems to refuse it: {quoted(text)}")
    return offers


# ---------------------------------------------------------------- services


def _service_offers(tags: Mapping[str, str]) -> dict[str, OfferFact]:
    """Return what a service point has; empty when the object is none."""
    text = free_text(tags)
    offers: dict[str, OfferFact] = {}
    if tags.get("amenity") == "sanitary_dump_station":
        offers = _dump_offers(tags, bare_yes=True, bare="amenity=sanitary_dump_station")
        water = _tagged(tags, "drinking_water", "water_point")
        if water:
            offers["fresh"] = water
        elif mentions(text, "fresh"):
            offers["fresh"] = OfferFact(Offer.PRESUMED, Source.PRESUMED, f"the description speaks of it: {quoted(text)}")
        offers.setdefault("grey", OfferFact(Offer.UNKNOWN, Source.NONE, "a dump station need not take grey water"))
    elif tags.get("sanitary_dump_station", "no").strip().lower() not in ("no", ""):
        offers = _dump_offers(tags, bare_yes=True, bare=f"sanitary_dump_station={tags['sanitary_dump_station'].strip()}")
        offers.setdefault("grey", OfferFact(Offer.UNKNOWN, Source.NONE, "a dump station need not take grey water"))
        water = _tagged(tags, "drinking_water", "water_point")
        if water:
            offers["fresh"] = water
    else:
        water = _water(tags)
        if water:
            offers["fresh"] = water
    gas = _gas(tags)
    if gas:
        offers["gas"] = gas
    return _taken_back(offers, text) if offers else offers


def _dump_offers(tags: Mapping[str, str], *, bare_yes: bool, bare: str) -> dict[str, OfferFact]:
    """Read a dump station's sub-keys. Without any, it takes a cassette by definition and nothing is known of grey."""
    sub = {
        key.removeprefix("sanitary_dump_station:"): tags[key].strip().lower()
        for key in tags
        if key.startswith("sanitary_dump_station:")
    }
    offers: dict[str, OfferFact] = {}
    kinds = {word: value for word, value in sub.items() if word in _CASSETTE_KINDS or word in _OTHER_KINDS}
    cassette = [word for word in _CASSETTE_KINDS if kinds.get(word, "no") not in ("no", "")]
    if sub.get("chemical_toilet") == "no":
        offers["cassette"] = OfferFact(Offer.NO, Source.TAGGED, "sanitary_dump_station:chemical_toilet=no")
    elif cassette:
        offers["cassette"] = OfferFact(Offer.YES, Source.TAGGED, f"sanitary_dump_station:{cassette[0]}={sub[cassette[0]]}")
    elif any(value not in ("no", "") for value in kinds.values()):
        named = ", ".join(sorted(kinds))
        offers["cassette"] = OfferFact(Offer.UNKNOWN, Source.NONE, f"only {named} named")
    elif bare_yes:
        offers["cassette"] = OfferFact(Offer.YES, Source.TAGGED, bare)
    for key in ("sanitary_dump_station:grey_water", "grey_water", "waste_water", "sanitary_dump_station:gray_water"):
        grey = _tagged(tags, key)
        if grey:
            offers["grey"] = grey
            break
    return offers


_CASSETTE_KINDS = ("chemical_toilet", "basin", "round_drain")
_OTHER_KINDS = ("grey_water", "pump-out", "suction", "gravity")


def _water(tags: Mapping[str, str]) -> OfferFact | None:
    amenity, man_made = tags.get("amenity", ""), tags.get("man_made", "")
    drinkable = tags.get("drinking_water", "").strip().lower()
    if amenity not in ("drinking_water", "water_point") and tags.get("waterway") != "water_point" and not (
        man_made in ("water_tap", "water_well") and drinkable in ("yes", "no")
    ):  # fmt: skip
        return None
    named = next(
        f"{key}={tags[key]}"
        for key in ("amenity", "waterway", "man_made")
        if tags.get(key) and (key != "amenity" or amenity in _WATERS)
    )
    for key, bad in _DRY.items():
        if tags.get(key, "").strip().lower() in bad:
            return OfferFact(Offer.NO, Source.TAGGED, f"{named}, {key}={tags[key].strip()}")
    if tags.get("waterway") == "water_point" and amenity not in _WATERS:
        return OfferFact(Offer.PRESUMED, Source.PRESUMED, "waterway=water_point: meant for boats")
    return OfferFact(Offer.YES, Source.TAGGED, named + (", drinking_water=yes" if drinkable == "yes" else ""))


_WATERS = ("drinking_water", "water_point")
#: What makes a tap no use: a bubbler fills no barrel.
_DRY: dict[str, tuple[str, ...]] = {
    "drinking_water": ("no",), "drinking_water:legal": ("no",), "fountain": ("bubbler",), "pump:status": ("broken", "missing"),
    "operational_status": ("broken", "closed", "non-operational"), "disused": ("yes",), "abandoned": ("yes",), "bottle": ("no",),
}  # fmt: skip

_BOTTLE_KEYS = ("bottled_gas", "gas_bottles", "gas_bottle", "lpg_bottles", "sells:bottled_gas", "service:gas_bottles")
_BOTTLE_VENDING = frozenset({"gas", "bottled_gas", "gas_bottles", "gas_cylinder", "gas_cylinders", "propane", "lpg"})


def _gas(tags: Mapping[str, str]) -> OfferFact | None:
    """Judge whether bottles are exchanged or sold. Autogas never counts, whatever stands beside it."""
    for key in _BOTTLE_KEYS:
        fact = _tagged(tags, key)
        if fact:
            return fact
    if "gas" in _list(tags, "shop"):
        return OfferFact(Offer.YES, Source.TAGGED, "shop=gas")
    if _BOTTLE_VENDING & set(_list(tags, "vending")):
        return OfferFact(Offer.YES, Source.TAGGED, f"vending={tags['vending'].strip()}")
    for key in ("fuel:propane", "fuel:butane"):
        if tags.get(key, "no").strip().lower() not in ("no", ""):
            return OfferFact(Offer.PRESUMED, Source.PRESUMED, f"{key}={tags[key].strip()}: filled or sold in bottles, not said")
    if tags.get("fuel:lpg", "no").strip().lower() not in ("no", ""):
        return OfferFact(Offer.NO, Source.TAGGED, AUTOGAS)
    return None


def _service(tags: Mapping[str, str], ref: str, offers: dict[str, OfferFact]) -> PlaceFact:
    access = tags.get("access", "").strip().lower()
    if access in ("private", "no", "permit", "members", "employees", "residents"):
        admits, why = Offer.NO, f"access={access}"
    elif access in ("yes", "public", "permissive", "customers", "designated"):
        admits, why = Offer.YES, f"access={access}"
    else:
        admits, why = Offer.PRESUMED, "nothing said of access"
    guests = access == "customers" or tags.get("sanitary_dump_station", "").strip().lower() == "customers"
    # Customers of a shop or a pump are those who buy there; customers of a dump station are its site's guests.
    only_guests = guests and not ({"shop"} & set(tags)) and tags.get("amenity") != "fuel"
    return PlaceFact(
        ref=ref, role="service", name=tags.get("name", ""), offers=offers, admits=admits, admits_why=why, only_guests=only_guests,
        hours=_hours(tags), season=_season(tags), price_cents=_price(tags), fee=_fee(tags), phone=_phone(tags),
        website=_website(tags), note=_note(tags),
    )  # fmt: skip


# ---------------------------------------------------------------- sights and small tags


def _sight(tags: Mapping[str, str], ref: str) -> PlaceFact | None:
    if tags.get("access", "").strip().lower() in ("private", "no") or tags.get("disused") == "yes":
        return None
    return PlaceFact(
        ref=ref, role="sight", name=tags["name"], hours=_hours(tags), season=_season(tags), price_cents=_price(tags),
        fee=_fee(tags), phone=_phone(tags), website=_website(tags), pets=_pets(tags), admits=Offer.PRESUMED,
        admits_why="nothing said of access", sight=_sight_tags(tags),
    )  # fmt: skip


def _sight_tags(tags: Mapping[str, str]) -> str:
    """Return what makes it a sight and how well known it is: the tags that say so, a value cut where it is long."""
    kinds = [f"{key}={tags[key]}" for key, values in SIGHTS.items() if tags.get(key) in values]
    known = [f"{key}={tags[key].replace(';', ',')[:40]}" for key in _KNOWN_BY if tags.get(key, "").strip()]
    return "; ".join([*kinds, *known])


def _list(tags: Mapping[str, str], key: str) -> list[str]:
    return [part.strip().lower() for part in tags.get(key, "").split(";") if part.strip()]


def _tagged(tags: Mapping[str, str], *keys: str) -> OfferFact | None:
    """Return the first of the keys that says yes or no. A socket's name, a number or ``customers`` is a yes."""
    for key in keys:
        value = tags.get(key, "").strip().lower()
        if value in ("", "unknown", "fixme", "?"):
            continue
        answer = Offer.NO if value in ("no", "none", "0") else Offer.YES
        return OfferFact(answer, Source.TAGGED, f"{key}={value}")
    return None


def _hours(tags: Mapping[str, str]) -> str:
    return tags.get("opening_hours", "").strip()


def _season(tags: Mapping[str, str]) -> str:
    seasonal = tags.get("seasonal", "").strip()
    return "" if seasonal.lower() == "no" else seasonal


def _price(tags: Mapping[str, str]) -> int:
    cents = parse_charge_cents(tags.get("charge", ""))
    return 0 if cents < 0 and tags.get("fee") == "no" and not tags.get("charge") else cents


def _fee(tags: Mapping[str, str]) -> Offer:
    fee = tags.get("fee", "").strip().lower()
    if fee in ("yes", "no"):
        return Offer.YES if fee == "yes" else Offer.NO
    return Offer.YES if parse_charge_cents(tags.get("charge", "")) > 0 else Offer.UNKNOWN


def _pets(tags: Mapping[str, str]) -> Offer:
    for key in ("dog", "dogs", "pets", "pets_allowed"):
        value = tags.get(key, "").strip().lower()
        if value:
            return (
                Offer.NO
                if value == "no"
                else Offer.YES
                if value in ("yes", "leashed", "permissive", "designated")
                else Offer.UNKNOWN
            )
    return Offer.UNKNOWN


def _phone(tags: Mapping[str, str]) -> str:
    return next((tags[key].strip() for key in ("phone", "contact:phone", "contact:mobile", "mobile") if tags.get(key)), "")


def _website(tags: Mapping[str, str]) -> str:
    return next((tags[key].strip() for key in ("website", "contact:website", "url") if tags.get(key)), "")


def _note(tags: Mapping[str, str]) -> str:
    """Gather what a person should read before going: description, charge and booking as written."""
    parts = [tags[key].strip()[:300] for key in ("description",) if tags.get(key)]
    parts += [f"{key}: {tags[key].strip()[:80]}" for key in ("charge", "reservation", "maxstay", "maxlength") if tags.get(key)]
    return "; ".join(parts)
