"""Whom to call: emergency numbers by country, each with how it is known.

112 is the single emergency number of the European Union (Directive (EU) 2018/1972, article 109; vugd.gov.lv, "Single emergency call number 112
in Europe", names Iceland, Liechtenstein, Norway, Switzerland and Turkey beside it), and a mobile phone of the GSM family connects 112 and
911 anywhere as an emergency call (3GPP TS 22.101, clause 10, from memory). The other numbers were written down from memory and held against the open
short-number data of libphonenumber 9.0.43 (Apache-2.0, made from the countries' filings with the ITU), which lists every one of them as an emergency
number of its country; nt.gov.au, "Calling 000", has Australia's. Where a country has a number for each service, the table has that of the ambulance,
or of Brazil the police's.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

__all__ = ["ANYWHERE", "EU", "emergency_number"]

ANYWHERE = "from any mobile phone"
EU = "everywhere in the European Union"
_PLAN = "the country's number"

_EUROPEAN_UNION = "AT BE BG CY CZ DE DK EE ES FI FR GR HR HU IE IT LT LU LV MT NL PL PT RO SE SI SK"
_OTHERS: Mapping[str, str] = MappingProxyType(
    {
        "AR": "911", "AU": "000", "BR": "190", "CA": "911", "CL": "131", "CN": "120", "GB": "999", "IN": "112", "IS": "112", "JP": "119", "KR": "119",
        "LI": "112", "MX": "911", "MY": "999", "NO": "112", "NZ": "111", "TH": "1669", "TR": "112", "US": "911", "ZA": "112", "CH": "112",
    }
)  # fmt: skip


def emergency_number(country: str) -> tuple[str, str]:
    """Return the number to call in a country and how it is known; 112 where the table has none.

    Parameters
    ----------
    country
        ISO 3166-1 code, "" unknown.
    """
    if country in _EUROPEAN_UNION.split():
        return "112", EU
    if country in _OTHERS:
        return _OTHERS[country], _PLAN
    return "112", ANYWHERE
