"""Every key that a person may write in a trip, van, party, firm or outfit file: unit, range, default, meaning.

One table serves the checks, the messages, the nearest-key hints and the reference. Defaults are those of the model's classes.
"""

from __future__ import annotations

from dataclasses import MISSING, dataclass, fields
from functools import cache
from typing import Any

from tripplan.model.trip import Firm, Trip, Weights
from tripplan.model.van import Party, Van
from tripplan.model.words import STORES, SiteKind, Via

__all__ = ["NEEDED", "TABLES", "Key", "keys_of"]

#: Stands where a key has no default.
NEEDED: Any = object()


@dataclass(frozen=True, slots=True)
class Key:
    """One key of one table.

    Parameters
    ----------
    kind
        ``number``, ``whole``, ``yes_no``, ``text``, ``choice``, ``moment`` (date and time), ``date``, ``clock`` (time of day),
        ``dates``, ``texts``, ``choices``, ``points``, ``table``, ``tables`` or ``part`` (a table, or the path of a file that is one).
    low, high
        Accepted range of a number (both are always given); length of a text. choices: accepted words.
    default
        `NEEDED`, or what holds when the key is left out; a text in angle brackets says how it follows from others.
    """

    name: str
    kind: str
    meaning: str
    unit: str = ""
    low: float | None = None
    high: float | None = None
    choices: tuple[str, ...] = ()
    default: Any = NEEDED

    @property
    def accepted(self) -> str:
        """What may stand there, in words."""
        if self.kind in ("number", "whole"):
            low, high = self.low or 0, self.high or 0
            words = f"whole numbers from {low:.0f} to {high:.0f}" if self.kind == "whole" else f"{low:g} to {high:g}"
            return f"{words} {self.unit}".strip()
        return {
            "yes_no": "true or false",
            "text": f"text in quotes, at most {self.high or 200:g} characters",
            "choice": ", ".join(f'"{c}"' for c in self.choices),
            "choices": "a list of " + ", ".join(f'"{c}"' for c in self.choices),
            "moment": "a date and time without quotes, such as 2026-02-03T10:00:00",
            "date": "a date without quotes, such as 2026-02-03",
            "dates": "a list of dates without quotes, such as [2026-02-03, 2026-02-04]",
            "clock": "a time of day without quotes, such as 09:00:00",
            "texts": 'a list of texts, such as ["Town", "-43.2, -26.1"]',
            "points": "a list of at least three [longitude, latitude] pairs",
            "table": "a table of keys",
            "tables": "one or more tables of keys",
            "tables_or_file": "one or more tables of keys, or the path of a .csv file",
            "part": "the path of a TOML file, or a table of keys",
        }[self.kind]


def _number(name: str, low: float, high: float, unit: str, meaning: str, default: Any = NEEDED) -> Key:
    return Key(name, "number", meaning, unit, low, high, default=default)


def _whole(name: str, low: int, high: int, unit: str, meaning: str, default: Any = NEEDED) -> Key:
    return Key(name, "whole", meaning, unit, low, high, default=default)


def _yes_no(name: str, meaning: str, default: Any = NEEDED) -> Key:
    return Key(name, "yes_no", meaning, default=default)


def _text(name: str, meaning: str, default: Any = NEEDED, high: int = 200) -> Key:
    return Key(name, "text", meaning, high=high, default=default)


_VAN = (
    _text("name", "What the van is called."),
    _number("fresh_l", 5, 400, "L", "Fresh water barrel or tank, full volume."),
    _number("grey_l", 5, 400, "L", "Grey water barrel or tank, full volume."),
    _number("cassette_l", 5, 60, "L", "One toilet cassette, full volume."),
    _number("flush_l", 0, 40, "L", "Flush tank of the toilet; 0: it flushes from fresh water."),
    _number("gas_bottle_kg", 0.4, 50, "kg", "Gas in one full bottle."),
    _whole("gas_bottles", 1, 4, "", "Bottles carried."),
    _number("battery_ah", 20, 800, "Ah", "Rated capacity of the 12 V battery over 20 hours."),
    Key("battery_kind", "choice", "Kind of battery.", choices=("flooded", "agm", "gel", "lifepo4")),
    _number("battery_depth", 0.1, 0.95, "", "Share of the battery that may be used."),
    _number("charger_a", 0, 100, "A", "Charger on mains."),
    _number("solar_w", 0, 2000, "W", "Solar panels at standard test conditions."),
    _number("fridge_w", 0, 600, "W", "Input of the absorption fridge, gas or mains."),
    _number("fridge_electronics_a", 0, 2, "A", "What the fridge draws from 12 V while it runs on gas."),
    Key("fridge_towing", "choice", "What the fridge runs on while towing.", choices=("none", "car_12v", "battery")),
    _number("heater_w", 0, 10_000, "W", "Gas space heater, rated input."),
    _number("heater_efficiency", 0.3, 1, "", "Its useful share."),
    _number("heater_mains_w", 0, 6000, "W", "Mains element of the space heater; 0: none."),
    _number("heat_loss_w_per_k", 20, 300, "W/K", "Heat that the van loses for each degree between inside and outside."),
    _number("water_heater_l", 0, 40, "L", "Storage water heater, volume."),
    _number("water_heater_w", 0, 6000, "W", "Its gas input."),
    _number("water_heater_efficiency", 0.3, 1, "", "Its useful share."),
    _number("hob_w", 0, 6000, "W", "One burner of the hob."),
    _number("pump_l_per_min", 1, 30, "L/min", "Water pump, flow."),
    _number("pump_a", 0.5, 20, "A", "Water pump, current while it runs."),
    _number("alarm_a", 0, 2, "A", "Gas and carbon monoxide alarm, always on."),
    _number("fan_a", 0, 10, "A", "Fan of the space heater."),
    _number("lights_a", 0, 20, "A", "Lights of an evening."),
    _yes_no("shower_aboard", "Whether there is a shower aboard."),
    _yes_no("hob_aboard", "Whether there is a hob aboard."),
    _yes_no("piped_water", "Whether a pitch's own tap and drain can be joined by hose."),
    _number("payload_kg", 20, 1500, "kg", "What may be loaded beyond the mass in running order."),
    _number("nose_weight_kg", 20, 200, "kg", "Greatest nose weight."),
    _whole("berths", 1, 10, "", "Beds."),
    _whole("cassettes", 1, 4, "", "Cassettes carried: a spare doubles the days."),
    _number("gas_propane", 0, 1, "", "Share of propane in the bottles by mass; the rest is butane."),
    _number("car_charge_a", 0, 60, "A", "What the tow car gives the van's battery while towing."),
    _number("solar_shade", 0, 1, "", "Share of the sun that trees and buildings keep from the panels."),
    _number("water_heater_mains_w", 0, 6000, "W", "Mains element of the water heater; 0: none."),
    _number("kettle_w", 0, 3500, "W", "Electric kettle aboard; 0: none."),
    _number("mains_v", 100, 250, "V", "Mains voltage of the country."),
    _number("hook_up_a", 2, 63, "A", "Fuse of a powered pitch to plan with; 6, 10 and 16 are usual."),
)

_PARTY = (
    _text("name", "What the party is called."),
    _whole("adults", 1, 10, "", "Adults."),
    _whole("children", 0, 10, "", "Children."),
    _number("child_share", 0.2, 1.2, "", "A child's use of water and toilet against an adult's."),
    _number("water_l", 2, 60, "L", "Tap water an adult uses aboard in a day, showers apart."),
    _number("drunk_l", 0.5, 8, "L", "Part of it that is drunk or boiled away and never reaches the grey barrel."),
    _number("shower_l", 0, 60, "L", "One shower aboard."),
    _number("showers_per_day", 0, 3, "", "Showers an adult takes in a day; in the site's block where it has showers."),
    _number("toilet_share_with_block", 0, 1, "", "Share of toilet visits made aboard where the site has toilets."),
    _number("waste_l", 0.5, 4, "L", "Urine and faeces of an adult in a day."),
    _number("flushes", 0, 15, "", "Flushes of an adult in a day."),
    _number("flush_l", 0, 3, "L", "Water of one flush."),
    _number("inside_c", 5, 28, "°C", "Temperature kept inside by day."),
    _number("asleep_c", 5, 28, "°C", "Temperature kept inside while asleep."),
    _number("hob_min", 0, 300, "min", "Minutes of one burner a day, whole party."),
    _number("hot_water_l", 0, 80, "L", "Hot water drawn aboard in a day, whole party."),
    _number("devices_ah", 0, 100, "Ah", "Telephones, lamps and the like in a day, whole party."),
    _whole("pets", 0, 6, "", "Dogs that come along."),
    _number("spread_shared", 0, 0.6, "", "How far the party's habits may lie from these figures (one sigma, relative)."),
)

_FIRM = (
    _text("name", "Name of the hire firm."),
    _text("phone", "Telephone for breakdowns and questions.", high=40),
    _number("towing_limit_kmh", 20, 130, "km/h", "Fastest that the firm lets the van be towed."),
    _number("last_mile_m", 0, 5000, "m", "Untagged service, residential or unclassified road allowed at either end of a day."),
    _yes_no(
        "last_mile_at_stops",
        "Whether so much is also allowed at service stops and sights on the way, not only at a day's two ends.",
    ),
    Key("car_surface", "choice", "Roads that the car may use alone.", choices=("any", "sealed")),
    _yes_no("ferries_allowed", "Whether the van may go aboard a ferry."),
    Key("areas_off_limits", "tables", "Areas where the van may not go.", default=()),
    _text("depot_hours", 'Hours for pick-up and return, as the open map writes them ("Mo-Sa 08:00-18:00"); empty: any time.'),
    _yes_no("return_cassette_empty", "Whether the cassette must come back empty."),
    _yes_no("return_grey_empty", "Whether the grey barrel must come back empty."),
    _number("return_gas_kg", 0, 100, "kg", "Gas that must be left, all bottles together."),
    _whole("handover_min", 0, 480, "min", "Time that pick-up takes."),
    _whole("return_min", 0, 480, "min", "Time that return takes."),
    _text("emergency_number", "Emergency number of the country.", high=20),
    _text("currency", "What a hundred cents are called.", high=20),
)

_AREA = (
    _text("name", "What the area is called."),
    Key("points", "points", "Its outline, longitude before latitude as in GeoJSON."),
)

_OUTFIT = (
    _text("name", "What car and van together are called."),
    _number("car_mass_kg", 500, 5000, "kg", "The tow car, laden."),
    _number("van_mass_kg", 200, 4500, "kg", "The van, laden."),
    _number(
        "axle_load_kg", 200, 6000, "kg", "Heaviest axle of both.", "<the van's mass, as if on one axle, or 60 % of the car's>"
    ),
    _number("height_m", 1, 4.5, "m", "Greatest height of both."),
    _number("width_m", 1, 2.6, "m", "Greatest width of both, mirrors apart."),
    _number("length_m", 4, 22, "m", "Length of car and van together, drawbar included."),
    _number("towing_limit_kmh", 20, 130, "km/h", "The car's or the van's own towing limit, where lower than the firm's.", 130.0),
    _number("height_clearance_m", 0, 1, "m", "Margin kept to a posted height.", 0.2),
    _number("width_clearance_m", 0, 1, "m", "Margin kept to a posted width.", 0.2),
    _yes_no("approved_100", "Whether papers for 100 km/h are aboard, where a country knows such an approval.", default=False),
    _number("car_height_m", 1, 3.5, "m", "Height of the car alone.", 1.7),
    _number("car_width_m", 1, 2.6, "m", "Width of the car alone.", 1.9),
    _number("car_length_m", 2.5, 7, "m", "Length of the car alone.", 4.7),
    _number("car_limit_kmh", 20, 130, "km/h", "Fastest that the car is driven alone.", 110.0),
)

_END = (
    _text("place", 'A name on the map, "name, town near it", "latitude, longitude", or a map identity such as "n123".'),
    Key("time", "moment", "Local date and time."),
)
_RETURN = (
    _text("place", "As for the pick-up.", "<place of the pick-up>"),
    _END[1],
)
_SIGHT = (
    _text("place", "As for the pick-up."),
    _yes_no("must", "Whether it must be seen; else it is worth `value_cents`.", default=True),
    _whole("value_cents", 0, 10_000_000, "cents", "What seeing it is worth, where it need not be seen.", 0),
    Key("via", "choice", "With the van on the way, by car alone, or either.", choices=tuple(Via), default=Via.EITHER.value),
    _number("hours", 0, 12, "h", "Length of the visit.", 1.5),
    _whole("nights", 0, 14, "", "Instead of hours: nights at a site near it.", 0),
    _number("near_km", 0.1, 100, "km", "How near such a site must be.", 15.0),
    _text(
        "visiting", 'When it may be visited, as the open map writes hours ("Tu-Su 10:00-17:00"); empty: what the map says.', ""
    ),
)
_BOOKING = (
    Key("night", "date", "Date on which the night begins."),
    _text("place", "The site, written as for the pick-up."),
)
_DRIVING = (
    _number("max_h", 0.5, 12, "h", "Most driving a day, all drivers together."),
    _number("first_day_max_h", 0.25, 12, "h", "Most driving on the day of pick-up."),
    _whole("drivers", 1, 6, "", "Drivers."),
    _yes_no("ferries", "Whether ferries may be used."),
    _yes_no("tolls", "Whether toll roads may be used."),
    Key("leave_after", "clock", "Earliest start of a day on the road."),
    Key("arrive_by", "clock", "Latest arrival."),
    _yes_no(
        "hourly_closures_all_day",
        "Whether a road closed by the hour counts as closed all day; false: only between leave_after and arrive_by.",
    ),
    _whole("sunset_margin_min", 0, 240, "min", "Arrival at least so long before sunset."),
)
_WISHES = (
    _whole("powered_nights_at_least", 0, 35, "", "Nights that must have mains."),
    Key("site_kinds", "choices", "Kinds of site wanted; empty: any.", choices=tuple(SiteKind)),
    _yes_no("pets", "Whether sites must take a dog.", "<true where the party has pets>"),
    _whole("budget_cents", -1, 100_000_000, "cents", "Most money for nights, kilometres, services and gas; -1: no limit."),
    _whole("max_one_night_stays", -1, 35, "", "Most stays of a single night; -1: no limit."),
    _yes_no("presumed_offers", "Whether an offer that is only presumed may hold a limit (listed to phone first)."),
    _number("fridge_limit_h", -1, 24, "h", "Most hours a day that the fridge may be above 5 °C; -1: a caution, no limit."),
)
_LEVELS = (
    _number("fresh_l", 0, 400, "L", "Fresh water aboard at pick-up.", 0.0),
    _number("grey_l", 0, 400, "L", "Grey water aboard at pick-up.", 0.0),
    _number("cassette_l", 0, 240, "L", "In the cassettes at pick-up.", 0.0),
    _number("flush_l", 0, 40, "L", "Flush water aboard at pick-up.", 0.0),
    _number("gas_kg", 0, 200, "kg", "Gas aboard at pick-up.", "<all bottles full>"),
    _number("battery_ah", 0, 800, "Ah", "Charge in the battery at pick-up.", "<80 % of the rated capacity>"),
)
_WEIGHTS = (
    _whole("drive_hour_cents", 0, 100_000, "cents", "An hour at the wheel."),
    _whole("service_stop_cents", 0, 100_000, "cents", "A stop made only for a service."),
    _whole("one_night_cents", 0, 100_000, "cents", "A stay of a single night."),
    _whole("km_cents", 0, 10_000, "cents", "Fuel and wear of a kilometre (money)."),
    _whole("unknown_price_cents", 0, 100_000, "cents", "A night whose price the map does not tell."),
    _whole("gas_bottle_cents", 0, 100_000, "cents", "One exchange of a gas bottle."),
    _whole("unpowered_night_cents", 0, 100_000, "cents", "A night without mains."),
    _whole("no_shower_night_cents", 0, 100_000, "cents", "A night at a site without showers."),
    _whole("far_km_cents", 0, 10_000, "cents", "A kilometre, over and above its money."),
)
_WEATHER = (
    _whole("month", 1, 12, "", "Month that the figures are for."),
    _number("mean_c", -40, 45, "°C", "Mean air temperature."),
    _number("low_c", -50, 45, "°C", "Coldest hour of a day."),
    _number("high_c", -40, 55, "°C", "Warmest hour of a day."),
    _number("sun_kwh_per_m2", 0, 12, "kWh/m²", "Sun on a level square metre in a day."),
)
#: Languages and units that papers are written in.
LANGUAGES: tuple[str, ...] = ("en", "en-GB", "en-US", "de", "de-AT", "de-CH")
UNITS: tuple[str, ...] = ("metric", "imperial", "imperial-us", "imperial-uk")
_TRIP = (
    _text("name", "What the trip is called.", "<name of the file>"),
    Key("van", "part", "The van: its stores and appliances."),
    Key("party", "part", "Who travels and how they live."),
    Key("firm", "part", "What the hire firm allows and wants back."),
    Key("outfit", "part", "Tow car and van as one thing on the road."),
    Key("pick_up", "table", "Where and when the van is picked up."),
    Key("return", "table", "Where and when it must be back."),
    Key("sights", "tables", "Places to visit.", default=()),
    Key("bookings", "tables", "Nights already booked.", default=()),
    Key("avoid", "texts", "Places never to stay or stop at.", default=()),
    Key("no_towing", "dates", "Dates on which the van must stand.", default=()),
    Key("driving", "table", "Limits of a day on the road.", default={}),
    Key("wishes", "table", "What the party would like.", default={}),
    Key("levels", "table", "What is in each store at pick-up.", default={}),
    Key("weights", "table", "What discomfort is worth in money.", default={}),
    Key(
        "weather",
        "tables_or_file",
        "Own weather: figures by month, or a .csv by day; without: the region's climate table, else the built-in ones.",
        default=(),
    ),
    Key(
        "closures",
        "texts",
        "Files of closed roads and wind warnings by date: GeoJSON or a WZDx work zone feed; paths are relative to this file.",
        default=(),
    ),
    _number("confidence", 0.5, 0.999, "", "Share of trips like this in which no store runs out.", 0.95),
    Key(
        "language",
        "choice",
        "Language of the papers, with the country's dates where one is named; without: English.",
        choices=LANGUAGES,
        default="",
    ),
    Key(
        "units",
        "choice",
        "Units of the papers; without: imperial for en-US, else metric. All figures of this file stay metric.",
        choices=UNITS,
        default="",
    ),
)
_READINGS_FILE = (
    _text("plan", "The plan.json followed so far; its path is relative to the folder of this file.", high=1000),
    Key("now", "moment", "Local date and time from which the rest is planned."),
    _text("place", "Where the van is, written as for the pick-up.", "<where the plan has it>"),
    Key("seen", "texts", "Sights seen so far.", default="<those of the plan's days behind>"),
    Key("readings", "tables", "What gauges, lamps and the voltmeter showed.", default=()),
    Key("services", "tables", "Services that happened though the plan has none, or did not though it has.", default=()),
)
_READING = (
    Key("time", "moment", "Local date and time of the reading."),
    Key("store", "choice", "What was read.", choices=tuple(store.value for store in STORES)),
    _number("level_l", 0, 400, "L", "In a barrel, cassette or flush tank.", "<not read>"),
    _number("level_kg", 0, 200, "kg", "Gas left, bottles not counted.", "<not read>"),
    _number("level_ah", 0, 800, "Ah", "Charge left in the battery.", "<not read>"),
    _number("percent", 0, 100, "%", "What a gauge shows of what the store holds.", "<not read>"),
    _number("volts", 9, 16, "V", "Battery at rest, neither charged nor loaded for half an hour.", "<not read>"),
    Key("lamp", "choice", "A lamp of a waste store that is nearly full, or a water store that is nearly empty.", choices=("lit", "dark"), default="<not read>"),
    _number("lit_share", 0.05, 0.99, "", "Share of the store at which the lamp changes.", "<0.8 of a store that fills, 0.2 of one that empties>"),
    _number("error", 0.001, 200, "", "How far the reading may be off, one sigma, in its own unit (a lamp: share of the store).", "<by the kind of gauge>"),
)  # fmt: skip
_SERVICES = (
    Key("time", "moment", "Local date and time; where it did not happen, any time on that date."),
    Key("stores", "choices", "Stores filled or emptied.", choices=tuple(store.value for store in STORES if store.value != "battery")),
    _yes_no("done", "Whether it happened.", default=True),
)  # fmt: skip

#: Name of each table in messages and in the reference, with its keys.
TABLES: dict[str, tuple[Key, ...]] = {
    "trip": _TRIP, "pick_up": _END, "return": _RETURN, "sights": _SIGHT, "bookings": _BOOKING, "driving": _DRIVING, "wishes": _WISHES,
    "levels": _LEVELS, "weights": _WEIGHTS, "weather": _WEATHER, "van": _VAN, "party": _PARTY, "firm": _FIRM, "areas_off_limits": _AREA, "outfit": _OUTFIT,
    "readings_file": _READINGS_FILE, "readings": _READING, "services": _SERVICES,
}  # fmt: skip

#: Where a key's default comes from when its table does not say: class, and the field's name where it differs.
_CLASSES: dict[str, tuple[Any, dict[str, str]]] = {
    "van": (Van, {}), "party": (Party, {}), "firm": (Firm, {}), "weights": (Weights, {}), "wishes": (Trip, {}),
    "driving": (Trip, {"max_h": "max_drive_s", "first_day_max_h": "first_day_drive_s", "leave_after": "leave_after_min", "arrive_by": "arrive_by_min"}),
}  # fmt: skip


@cache
def keys_of(table: str) -> tuple[Key, ...]:
    """Return the keys of a table, defaults filled in from the model's classes."""
    from dataclasses import replace
    from datetime import time

    kind, renamed = _CLASSES.get(table, (None, {}))
    if kind is None:
        return TABLES[table]
    defaults = {f.name: f.default for f in fields(kind) if f.default is not MISSING}
    out = []
    for key in TABLES[table]:
        value = defaults.get(renamed.get(key.name, key.name), NEEDED) if key.default is NEEDED else key.default
        if value is not NEEDED and key.name in ("max_h", "first_day_max_h"):
            value = value / 3600
        elif value is not NEEDED and key.kind == "clock":
            value = time(value // 60, value % 60)
        out.append(replace(key, default=value))
    return tuple(out)
