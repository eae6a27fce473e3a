"""Cautions in general words, each with a public source. Local rules and licensed people decide; a plan never overrides them.

Keys are stable; the rooms that make a plan choose which apply to which days.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from tripplan.model.plan import Caution

__all__ = ["CAUTIONS", "LAST_WORD", "caution"]

#: Closes every list of cautions.
LAST_WORD = "local_rules"

#: Key -> (text, source). "memory": well known, not read again; "common practice": no source.
CAUTIONS: Mapping[str, tuple[str, str]] = MappingProxyType(
    {
        "gas_off_driving": (
            "Turn the gas off at the bottle before the van moves, and make sure that the bottles are secured upright.",
            "DVSA theory handbook, caravan and trailer safety",
        ),
        "gas_off_ferry": (
            "Turn the gas off at the bottle before boarding and leave it off aboard; ask the ferry how many bottles it takes (often three, 47 kg in all).",
            "Ferry operators' rules on dangerous goods",
        ),
        "carbon_monoxide": (
            "Carbon monoxide kills unnoticed: never burn a barbecue or a portable heater in the van or its awning, never block the fixed vents, "
            "keep the alarm working. Headache or nausea: everybody out, gas off, get help.",
            "Government of Northern Ireland, carbon monoxide dangers if camping, caravanning or boating; Eden District Council, barbecue safety for campers and caravanners",
        ),
        "gas_leak": (
            "Smell of gas: no flame, no switch, gas off at the bottle, doors open, everybody out; a licensed gasfitter before it is used again.",
            "Common advice of gas safety regulators (memory)",
        ),
        "mains": (
            "Use an undamaged outdoor cable, fully unwound, and the site's protected socket; plug in at the van first and at the post last. "
            "Faults are for a licensed electrician.",
            "Common practice; work on mains by licensed people: ACT Work Safety, WA Energy Safety",
        ),
        "licensed_work": (
            "Work on gas is for a licensed gasfitter and work on mains for a licensed electrician.",
            "WA Energy Safety; ACT Work Safety",
        ),
        "autogas": (
            "Never have a van's bottle filled from a motor-fuel pump: exchange it or have it filled where that is licensed.",
            "WA Energy Safety (extract)",
        ),
        "wind": (
            "High wind can turn a van over: heed warnings, slow down, stop in shelter or do not start. Gaps, bridges and passing lorries are worst.",
            "Highway Code rule 232 (memory); UK Met Office, travelling safely with a caravan",
        ),
        "descents": (
            "Before a steep descent choose a low gear; brake early and gently, and let brakes cool when they smell.",
            "UK Met Office, travelling safely with a caravan",
        ),
        "tyres": (
            "Before each trip check the pressure of both sides, age and cracks of the tyres, and the torque of the wheel nuts.",
            "UK Met Office, travelling safely with a caravan",
        ),
        "loading": (
            "Never exceed the plated masses. Heavy things low and over the axle, nothing loose; water in the barrels counts.",
            "UK Met Office; NZ Transport Agency",
        ),
        "nose_weight": (
            "Nose weight 5 to 7 % of the laden van and never above the limit of car, hitch or van. If the van sways, ease off without braking hard.",
            "UK Met Office, travelling safely with a caravan",
        ),
        "nose_limit": (
            "5 % of this van's mass is more than its nose weight limit: loading to the usual share cannot keep both. Weigh the nose, and ask the firm before leaving.",
            "UK Met Office, travelling safely with a caravan; the van's plate",
        ),
        "nobody_rides": (
            "Nobody rides in the van while it moves; steadies up, step in, hatches shut, hitch and breakaway cable checked.",
            "DVSA theory handbook; NZ Transport Agency",
        ),
        "mirrors": (
            "See along both sides of the van: extension mirrors where it is wider than the car. Keep a four-second gap.",
            "UK government advice on towing (archived); NZ Transport Agency",
        ),
        "breaks": ("Rest at least 15 minutes after every two hours at the wheel, and never drive tired.", "Highway Code rule 91; UK Met Office"),
        "black_water": (
            "Empty the cassette and waste water only at a dump station or where the site says so; anywhere else it is an offence in many countries.",
            "North Norfolk District Council, waste of motorhomes and caravans, 2022; NZ Litter Act 1979 and Freedom Camping Act 2011 (memory)",
        ),
        "chemicals": (
            "Cassette fluid harms eyes and skin: gloves, no splashing, wash hands, keep it from children.",
            "Common practice, no source",
        ),
        "drinking_water": (
            "Boil water that you doubt: a rolling boil for one minute, three minutes in the mountains.",
            "US CDC, Emerging Infectious Diseases 31(8), 2025",
        ),
        "spacing": ("Keep 6 m between units against the spread of fire, and know the way out.", "North Yorkshire Fire and Rescue Service"),
        "fridge_warm": (
            "The fridge is not powered while towing and warms above 5 °C: ice packs, a shorter tow, or shop for perishables on arrival. "
            "Perishables above 5 °C for over four hours in all are thrown away.",
            "NSW Food Authority and FSANZ Standard 3.2.2 (5 °C, two-hour/four-hour guide)",
        ),
        "fridge_warm_car": (
            "The fridge runs on the car's 12 V while towing, is off aboard a ferry and at short stops, and is above 5 °C all the same: ice packs, "
            "a shorter way, or shop for perishables on arrival. Perishables above 5 °C for over four hours in all are thrown away.",
            "NSW Food Authority and FSANZ Standard 3.2.2 (5 °C, two-hour/four-hour guide)",
        ),
        "fridge_warm_battery": (
            "The fridge runs on the van's battery while towing and is above 5 °C all the same: ice packs, a shorter way, or shop for perishables "
            "on arrival. Perishables above 5 °C for over four hours in all are thrown away.",
            "NSW Food Authority and FSANZ Standard 3.2.2 (5 °C, two-hour/four-hour guide)",
        ),
        "frost": (
            "Frost is expected: empty barrels and hoses overnight, keep the heater on low or drain the water heater, and mind ice on steps.",
            "National Association of Caravan Owners, draining down and frost damage",
        ),
        "cold_van": (
            "The heater may not hold the temperature wished on the coldest hours: warmer bedding, a powered site, or other dates.",
            "Heat loss against the heater's output, as forecast",
        ),
        "butane_cold": (
            "Butane gives no pressure near and below 0 °C: ask for propane.",
            "Vapour pressure of n-butane, 103 kPa absolute at 0 °C (reference equation of state)",
        ),
        "clearance": (
            "Know the height and width of the outfit, and obey every posted limit whatever the plan says.",
            "Common practice, no source",
        ),
        "overload": (
            "What is planned to be carried exceeds the van's payload: leave things at home or travel with less water.",
            "UK Met Office; NZ Transport Agency: overloading is illegal and dangerous",
        ),
        "presumed": (
            "Some offers and surfaces are presumed, not known: telephone first, and turn back rather than go on where a road looks wrong.",
            "Map data and its gaps",
        ),
        "borders": (
            "Before a border: the firm's leave in writing, the papers of car and van, a visa and insurance for that country; its towing limits and gas rules hold there.",
            "UN Convention on Road Traffic, Vienna 1968, articles 35 and 39 (memory)",
        ),
        "insurance": (
            "Ask the firm in writing what is insured while towing and while standing, what damage costs you, and whether the car's own insurance covers towing a hired van.",
            "Directive 2009/103/EC on motor insurance (memory); the hire contract decides",
        ),
        LAST_WORD: (
            "Signs, local rules, the hire firm and licensed people have the last word; a plan is advice and may be wrong.",
            "Common sense",
        ),
    }
)  # fmt: skip


def caution(key: str, days: tuple[int, ...] = ()) -> Caution:
    """Return one caution for the days it concerns (empty: all); `KeyError` for a key that is not in `CAUTIONS`."""
    text, source = CAUTIONS[key]
    return Caution(key, text, source, days)
