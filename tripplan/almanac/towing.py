"""The national table of towing limits: what the law of a country allows a car of up to 3.5 t with a caravan.

Each row names its source and how sure the figure is: ``P`` a published source was read, ``P*`` a published source
quoted from memory. Where sources conflict the lower figure stands. The lower of this and what is posted holds.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

__all__ = ["KINDS", "MPH_KMH", "TABLE", "TowingRow", "has_towing_table", "towing_limit", "towing_limits", "towing_source"]

#: Kinds of road, in the order of the figures.
KINDS: tuple[str, ...] = ("urban", "rural", "dual", "motorway")

MPH_KMH = 1.609344  # exact
_NONE = math.nan

Limits = tuple[float, float, float, float]
_Change = Callable[[Limits, float, float, bool], Limits]


@dataclass(frozen=True, slots=True)
class TowingRow:
    """One country or state: limits in built-up areas, on rural roads, dual carriageways and motorways [km/h].

    NaN: only what is posted. ``change`` alters them by mass of the outfit [kg], mass of the van [kg] and papers for
    100 km/h; ``None`` when nothing does.
    """

    limits: Limits
    source: str
    confidence: str
    change: _Change | None = None
    note: str = ""


def _approved(urban: float, rural: float, dual: float, motorway: float) -> _Change:
    better = (urban, rural, dual, motorway)
    return lambda limits, _mass, _van, approved: better if approved else limits


def _heavier(than_kg: float, urban: float, rural: float, dual: float, motorway: float) -> _Change:
    heavy = (urban, rural, dual, motorway)
    return lambda limits, mass, _van, _approved: heavy if mass > than_kg else limits


def _austria(limits: Limits, mass: float, van: float, approved: bool) -> Limits:  # noqa: ARG001
    return (50.0, 100.0, 100.0, 100.0) if van <= 750 else limits


def _mph(*limits: float) -> Limits:
    urban, rural, dual, motorway = (value * MPH_KMH for value in limits)
    return (urban, rural, dual, motorway)


_EC = "European Commission, Going abroad: 31-country table of speed limits for cars towing"
_LDS = "OSM wiki, Default speed limits, revision 2607051 (2023-10-21), as machine-readable in osm-legal-default-speeds"
_ARR = "Australian Road Rules r. 21 (100 km/h only over 12 t GVM)"
_US = _LDS + "; the statute was not read"

#: Rows by ISO 3166-1 code, or 3166-2 code of a state.
TABLE: dict[str, TowingRow] = {
    "NZ": TowingRow((_NONE, 90, 90, 90), "NZ Transport Agency road code, light vehicle with trailer; Land Transport (Road User) Rule 2004 part 5", "P"),
    "GB": TowingRow(_mph(30, 50, 60, 60), "Highway Code rule 124 table; Road Traffic Regulation Act 1984 sch. 6", "P"),
    "IE": TowingRow((50, 80, 80, 80), "S.I. 9/2005 Road Traffic (Ordinary Speed Limits - Certain Vehicles) Regulations", "P"),
    "DE": TowingRow((50, 80, 80, 80), "StVO § 3 (3) 2 a bb, § 18 (5) 1; 100 with approval: 9. Ausnahmeverordnung zur StVO", "P",
                    _approved(50, 80, 80, 100), "with approval 100 on motorways and motor roads"),
    "FR": TowingRow((50, 80, 110, 130), "Code de la route R. 413-8; Assemblée nationale, question 12581 (15e législature)", "P motorway, P* others",
                    _heavier(3500, 50, 80, 80, 90), "over 3.5 t together 90 on motorways, 80 to 90 elsewhere: the lower"),
    "SE": TowingRow((_NONE, 80, 80, 80), "Transportstyrelsen, car with braked trailer", "P secondary"),
    "NO": TowingRow((50, 80, 80, 80), "Statens vegvesen, car with trailer", "P", _approved(50, 80, 80, 100), "100 on motorways for approved vans"),
    "DK": TowingRow((50, 70, 80, 80), _EC, "P, conflict", _approved(50, 70, 80, 100),
                    "rural 70 (European Commission) or 80 (OSM table): the lower; 100 on motorways under the Tempo-100 scheme"),
    "FI": TowingRow((50, 80, 80, 80), _EC, "P"),
    "AT": TowingRow((50, 70, 80, 80), _EC, "P", _austria, "van over 750 kg: 70 to 80 rural, 80 or 100 on motorways: the lower"),
    "CH": TowingRow((50, 80, 80, 80), "VRV; Bundesrat 2020-05-20: 100 on motorways since 2021-01-01 for approved vans up to 3.5 t", "P, conflict",
                    lambda limits, _mass, van, approved: (50.0, 80.0, 80.0, 100.0) if approved and van <= 3500 else limits),
    "NL": TowingRow((50, 80, 90, 90), "RVV 1990 art. 22", "P*", _heavier(3500, 50, 80, 80, 80)),
    "BE": TowingRow((50, 90, 120, 120), _EC, "P", _heavier(3500, 50, 90, 90, 90), "the figure over 3.5 t is from memory"),
    "LU": TowingRow((50, 75, 90, 90), _LDS, "P"),
    "ES": TowingRow((50, 70, 80, 80), _EC + "; " + _LDS, "P, variants", note="70 to 80 rural, 80 to 90 elsewhere: the lower"),
    "IT": TowingRow((50, 70, 70, 80), "Codice della strada art. 142; " + _EC, "P* and P"),
    "PT": TowingRow((50, 70, 80, 100), _LDS, "P"),
    "PL": TowingRow((50, 70, 80, 80), _LDS, "P"),
    "CZ": TowingRow((50, 80, 80, 80), _EC, "P"),
    "HU": TowingRow((50, 70, 80, 80), _EC, "P"),
    "IS": TowingRow((50, 80, 80, 80), "Icelandic traffic act, car with trailer", "P*"),
    "AU-WA": TowingRow((_NONE, 100, 100, 100), "Road Traffic Code 2000 (WA)", "P secondary"),
    "AU-NSW": TowingRow((_NONE, _NONE, _NONE, _NONE), "Road Rules 2014 (NSW) r. 21 (2), 25 (3); Road Transport (General) Regulation 2021 s. 4", "P",
                        _heavier(4500, _NONE, 100, 100, 100), "100 over 4.5 t gross combination mass"),
    **{f"AU-{state}": TowingRow((_NONE, _NONE, _NONE, _NONE), _ARR, "P") for state in ("VIC", "QLD", "SA", "TAS", "ACT", "NT")},
    "US-CA": TowingRow(_mph(55, 55, 55, 55), "California Vehicle Code § 22406 (b)", "P"),
    **{f"US-{state}": TowingRow(_mph(45, 45, 45, 45), _US, "weak") for state in ("AK", "NH", "SC")},
    "US-SD": TowingRow(_mph(45, 45, 45, 55), _US, "weak"),
    "US-NE": TowingRow(_mph(50, 50, 50, 50), _US, "weak"),
    "US-AR": TowingRow(_mph(55, 55, 55, 55), _US, "weak"),
    "US-KS": TowingRow(_mph(55, 55, 55, 55), _US, "weak"),
    "US-WA": TowingRow(_mph(60, 60, 60, 60), _US, "weak"),
}  # fmt: skip

#: Countries whose states differ: without a state the lowest figure of any of them holds.
_FEDERAL = ("AU", "US")
_ALIASES = {"UK": "GB", "EL": "GR"}


def _rows(country: str, region: str) -> list[TowingRow]:
    country = _ALIASES.get(country.upper(), country.upper())
    state = region.upper() if "-" in region else f"{country}-{region.upper()}" if region else ""
    if state in TABLE:
        return [TABLE[state]]
    if country in TABLE:
        return [TABLE[country]]
    if country in _FEDERAL and not (state and country == "US"):
        return [row for code, row in TABLE.items() if code.startswith(f"{country}-")]
    return []


def towing_limits(
    country: str, region: str = "", *, mass_kg: float = math.inf, van_mass_kg: float = math.inf, approved: bool = False
) -> Limits:
    """Return the four limits of `KINDS`; NaN where only what is posted counts or the table has no row [km/h].

    Parameters
    ----------
    country
        ISO 3166-1 code.
    region
        State, as "WA" or "AU-WA". Where states differ and none is given the lowest figure of any state holds; a US state
        that the table lacks has no limit for vans of its own.
    mass_kg, van_mass_kg
        Laden mass of car and van together, and of the van [kg]; not given: the heavier, stricter case.
    approved
        Papers for 100 km/h are aboard.
    """
    rows = [
        row.change(row.limits, mass_kg, van_mass_kg, approved) if row.change else row.limits for row in _rows(country, region)
    ]
    lowest = [min((row[k] for row in rows if not math.isnan(row[k])), default=_NONE) for k in range(4)]
    return (lowest[0], lowest[1], lowest[2], lowest[3])


def towing_limit(
    country: str,
    kind: str,
    region: str = "",
    *,
    mass_kg: float = math.inf,
    van_mass_kg: float = math.inf,
    approved: bool = False,
) -> float:
    """Return the towing limit on one of `KINDS`; NaN where only what is posted counts [km/h]."""
    limits = towing_limits(country, region, mass_kg=mass_kg, van_mass_kg=van_mass_kg, approved=approved)
    return limits[KINDS.index(kind)]


def towing_source(country: str, region: str = "") -> str:
    """Return the source of a country's figures in words, "" when the table has none."""
    return "; ".join(dict.fromkeys(f"{row.source} [{row.confidence}]" for row in _rows(country, region)))


def has_towing_table(country: str, region: str = "") -> bool:
    """Say whether the table has a row for a country. Without one only the outfit's own and the posted limits hold: ask."""
    return bool(_rows(country, region))
