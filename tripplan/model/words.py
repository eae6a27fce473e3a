"""The words of the house as closed sets: one word, one meaning (see DEVELOPERS.md)."""

from __future__ import annotations

from datetime import date
from enum import IntEnum, StrEnum

__all__ = ["STORES", "Offer", "Ruling", "SiteKind", "Source", "Store", "Surface", "Via", "day_name"]


class Surface(IntEnum):
    """How a road's surface is judged, best first: the larger, the worse."""

    SEALED = 0
    PRESUMED = 1
    UNKNOWN = 2
    UNSEALED = 3


class Offer(IntEnum):
    """Whether a place has something: the larger, the surer."""

    NO = 0
    UNKNOWN = 1
    PRESUMED = 2
    YES = 3


class Source(StrEnum):
    """Where a judgement came from."""

    TAGGED = "tagged"
    PRESUMED = "presumed"
    NATIONAL_TABLE = "national table"
    CLASS_DEFAULT = "class default"
    LOCAL_NOTE = "local note"
    NONE = "nothing known"


class Ruling(StrEnum):
    """What decided the towing speed of a piece of road."""

    OUTFIT = "outfit limit"
    NATIONAL_TABLE = "national table"
    POSTED_TRAILER = "posted for trailers"
    POSTED = "posted"
    CLASS_DEFAULT = "class default"
    CURVE = "curve"
    FERRY = "ferry"
    SURFACE = "rough surface"
    TOWN = "town"


class Store(StrEnum):
    """The six small stores of a van. `STORES` fixes their order wherever they stand in an array."""

    FRESH = "fresh"
    GREY = "grey"
    CASSETTE = "cassette"
    FLUSH = "flush"
    GAS = "gas"
    BATTERY = "battery"

    @property
    def fills(self) -> bool:
        """Whether use makes the level rise (grey, cassette) rather than fall."""
        return self in (Store.GREY, Store.CASSETTE)

    @property
    def unit(self) -> str:
        """Unit of level and limit: L, kg or Ah."""
        return {"gas": "kg", "battery": "Ah"}.get(self.value, "L")


STORES: tuple[Store, ...] = tuple(Store)


class SiteKind(StrEnum):
    """Kinds of overnight site, as the open map tells them apart."""

    CARAVAN_SITE = "caravan site"
    CAMP_SITE = "camp site"
    HOLIDAY_PARK = "holiday park"
    FARM = "farm stay"
    REST_AREA = "rest area"
    OTHER = "other"


class Via(StrEnum):
    """How a sight is to be reached."""

    VAN = "van"
    CAR_ONLY = "car only"
    EITHER = "either"


def day_name(day: date) -> str:
    """Return a day as the sentences of a plan name it: Fri 6 Feb."""
    return f"{day:%a} {day.day} {day:%b}"
