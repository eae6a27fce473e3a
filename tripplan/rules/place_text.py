"""Numbers and refusals in what people write about a place: stay limits, charges, and free text that takes an offer back."""

from __future__ import annotations

import re
from collections.abc import Mapping

__all__ = ["free_text", "mentions", "nights_of_stay", "parse_charge_cents", "parse_count", "quoted", "refuses"]

_STAY = re.compile(r"^(?:max\.?\s*)?(\d{1,9}(?:[.,]\d+)?)\s*-?\s*([a-z]+)?\.?$")
_ISO = re.compile(r"^p(?:(\d{1,9})d)?(?:t(\d{1,9})h)?$")
_STAY_HOURS: dict[str, float] = {
    "m": 1 / 60, "min": 1 / 60, "minute": 1 / 60, "minutes": 1 / 60, "h": 1, "hr": 1, "hrs": 1, "hour": 1, "hours": 1,
    "d": 24, "day": 24, "days": 24, "night": 24, "nights": 24, "": 24, "w": 168, "week": 168, "weeks": 168,
    "month": 720, "months": 720, "year": 8760, "years": 8760,
}  # fmt: skip

#: A stay shorter than this holds no night: from evening to the morning after [h] (common practice, no source).
NIGHT_HOURS = 12.0


def nights_of_stay(text: str) -> int | None:
    """Parse ``maxstay``: nights allowed, 0 when no limit is known, ``None`` when the stay allowed holds no night.

    "24 hours" is 1 night, "7 days" 7, "PT48H" 2. A bare number counts days.
    """
    text = text.strip().lower()
    if match := _ISO.match(text):
        hours = 24.0 * int(match[1] or 0) + int(match[2] or 0)
    elif match := _STAY.match(text):
        unit = match[2] or ""
        if unit not in _STAY_HOURS:
            return 0
        hours = float(match[1].replace(",", ".")) * _STAY_HOURS[unit]
    else:
        return 0
    if hours <= 0:
        return 0
    if hours < NIGHT_HOURS:
        return None
    return max(1, min(int(hours // 24), 3650))


_MONEY = re.compile(
    r"(?:(?P<before>[a-z]{2,3}\$?|[€$£¥])\s*)?(?P<low>\d{1,5}(?:[.,]\d{1,2})?)(?:\s*[-–]\s*(?P<high>\d{1,5}(?:[.,]\d{1,2})?))?"
    r"\s*(?P<after>[a-z]{3}\b|[€$£¥]|euros?\b|dollars?\b|fr\.?\b|kr\.?\b)?\s*(?P<per>(?:/|per\b|pro\b|par\b|a\b).*)?$"
)
_PER_STAY = re.compile(
    r"^(/|per|pro|par|a)?\s*(1\s*)?(day|night|24\s*(h|hours?)?|d|tag|nacht|nuit|jour|d[ií]a|noche|pitch|place|site|stellplatz|vehicle|van|caravan|"
    r"unit|use|time|visit|dump|emptying)s?\b\.?\s*$"
)


def parse_charge_cents(text: str) -> int:
    """Parse ``charge``: a pitch for a night, or one use of a service, in hundredths of its own currency; -1 when not known.

    "15.00 CHF / day" is 1500; of a range the higher end counts. A charge by the litre, hour, metre or person, and a list of
    several charges, say nothing about a night: -1. Text without a currency is no charge.
    """
    parts = [part.strip() for part in text.lower().split(";") if part.strip()]
    if len(parts) != 1:
        return -1
    match = _MONEY.match(parts[0])
    if not match or not (match["before"] or match["after"]):
        return -1
    if match["per"] and not _PER_STAY.match(match["per"].strip()):
        return -1
    value = max(float(match[name].replace(",", ".")) for name in ("low", "high") if match[name])
    return round(value * 100)


def parse_count(text: str) -> int:
    """Parse a whole number of pitches; -1 when it is none."""
    text = text.strip()
    return int(text) if text.isascii() and text.isdigit() and len(text) <= 6 else -1


def free_text(tags: Mapping[str, str]) -> str:
    """Join what people wrote about a place in plain words, in any language."""
    keys = [key for key in tags if key.split(":", 1)[0] in ("description", "note", "comment", "inscription")]
    return " . ".join(tags[key] for key in sorted(keys))


# Words for what is refused, by offer; English, German, French, Spanish, Catalan, Italian, Dutch. They only ever take an offer
# back or make it doubtful, so a wrong hit costs a place, never a full tank on the road.
_WORDS: dict[str, str] = {
    "grey": r"gr[ae]y[\s-]?water|gr[ae]y|grauwasser|abwasser|eaux?\s+grises?|eaux?\s+us[ée]es?|aguas?\s+grises?|aig[uü]es?\s+grises|acque?\s+grigie?|grijs\s*water|waste\s?water|sullage",
    "cassette": r"cassettes?|(?:wc-?)?kassetten?|chemical\s+toilets?|chemietoiletten?|chemiewc|black[\s-]?water|schwarzwasser|eaux?\s+noires?|aguas?\s+negras?|aig[uü]es?\s+negres|acque?\s+nere",
    "fresh": r"(?:drinking|fresh|potable)[\s-]?water|(?:trink|frisch)wasser|eau\s+potable|agua\s+potable|aigua\s+potable|acqua\s+potabile|drinkwater",
    "power": r"electric(?:ity|al)?(?:\s+hook-?ups?)?|hook-?ups?|strom(?:anschluss)?|[ée]lectricit[ée]|electricidad|electricitat|elettricit[àa]",
    "caravans": r"caravans?|trailers?|towed\s+\w+|wohnw[aä]gen|wohnanh[aä]nger|gespanne?|caravanes?|caravanas|roulottes?",
}  # fmt: skip
_REFUSAL = r"(?:\bno|\bnot|\bnone|\bwithout|\bkein(?:e|en|er)?|\bohne|\bnicht|\bpas\s+d['e’]\s?|\bpas|\bsans|\bsin|\bsense|\bsenza|\bgeen|\bnon|\bniente)"
_AFTER = r"(?:\s*(?:is|are|:|=|-)?\s*(?:not\s+(?:accepted|allowed|available|possible|permitted)|no\b|nein\b|non\b|nicht\b|verboten|interdit\w*|prohibid\w*|prohibited|forbidden|unavailable|vietat\w*))"
_REFUSES = {
    word: re.compile(
        rf"{_REFUSAL}(?:\s+(?:the|de|any|or|of|für|for|pour|les?|accept\w*|dump\w*|empty\w*)){{0,3}}\s*(?:{names})|(?:{names}){_AFTER}"
    )
    for word, names in _WORDS.items()
}
_MENTIONS = {word: re.compile(names) for word, names in _WORDS.items()}


def refuses(text: str, word: str) -> bool:
    """Say whether free text (from `free_text`) seems to take an offer back: ``grey``, ``cassette``, ``fresh``, ``power``, ``caravans``."""
    return bool(text) and bool(_REFUSES[word].search(text.lower()))


def quoted(text: str) -> str:
    """Quote the beginning of a free text as evidence. It stays foreign text: escape it before it reaches a page."""
    text = " ".join(text.split())
    return f'"{text[:160]}…"' if len(text) > 160 else f'"{text}"'


def mentions(text: str, word: str) -> bool:
    """Say whether free text speaks of an offer at all."""
    return bool(text) and bool(_MENTIONS[word].search(text.lower()))
