"""The van (its stores and appliances), the party that lives in it, and the weather of a day."""

from __future__ import annotations

from dataclasses import dataclass, field

from tripplan.model.errors import BadInputError
from tripplan.model.outfit import check_range

__all__ = ["DayWeather", "Learned", "Levels", "Party", "Van"]


@dataclass(frozen=True, slots=True)
class Van:
    """Capacities and appliances of a touring caravan. Defaults are of a common two-axle-free family van.

    Parameters
    ----------
    fresh_l, grey_l, cassette_l, flush_l
        Full volume of each [L]. ``flush_l = 0``: the toilet flushes from fresh water.
    gas_bottle_kg, gas_bottles
        Fill of one bottle [kg] and how many are carried. A gas service exchanges all that are empty.
    battery_ah, battery_kind, battery_depth
        Rated capacity over 20 h [Ah], ``flooded`` / ``agm`` / ``gel`` / ``lifepo4``, and the usable share.
    charger_a
        Mains charger [A]. solar_w: panels at standard test conditions [W].
    fridge_w, fridge_towing
        Input of the absorption fridge, gas or mains [W]; what it runs on while towing: ``none``, ``car_12v`` or ``battery``.
    heater_w, heater_efficiency, heater_mains_w, heat_loss_w_per_k
        Heat that the gas space heater gives [W] and its efficiency, heat of a mains element beside it (0: none) [W], and heat
        loss of the van [W/K].
    water_heater_l, water_heater_w, water_heater_efficiency
        Storage water heater; mains element of the same order.
    hob_w
        One burner [W].
    pump_l_per_min, pump_a, alarm_a, fan_a, lights_a
        12 V loads; alarm and fridge electronics are always on.
    shower_aboard, hob_aboard, piped_water
        Whether there is a shower, and whether a pitch's tap and drain can be joined by hose.
    payload_kg, nose_weight_kg
        What may be loaded beyond the mass in running order, and the greatest nose weight [kg].
    cassettes
        How many cassettes are carried (a spare doubles the days).
    gas_propane
        Share of propane in the bottles by mass; the rest is butane, which gives nothing in the cold.
    car_charge_a
        What the tow car gives the van's battery while towing [A].
    solar_shade
        Share of the sun that trees and buildings keep from the panels.
    water_heater_mains_w, kettle_w
        Mains element of the water heater and electric kettle aboard [W]; 0: none.
    mains_v, hook_up_a
        Mains at a powered site: volts [V] and the fuse that is planned with [A]; 6, 10 and 16 are usual.
    """

    name: str
    fresh_l: float
    grey_l: float
    cassette_l: float
    flush_l: float
    gas_bottle_kg: float
    gas_bottles: int
    battery_ah: float
    battery_kind: str = "agm"
    battery_depth: float = 0.5
    charger_a: float = 15.0
    solar_w: float = 0.0
    fridge_w: float = 150.0
    fridge_electronics_a: float = 0.15
    fridge_towing: str = "none"
    heater_w: float = 3000.0
    heater_efficiency: float = 0.95
    heat_loss_w_per_k: float = 77.0
    water_heater_l: float = 10.0
    water_heater_w: float = 1300.0
    water_heater_efficiency: float = 0.80
    hob_w: float = 1500.0
    pump_l_per_min: float = 7.0
    pump_a: float = 5.0
    alarm_a: float = 0.1
    fan_a: float = 1.0
    lights_a: float = 1.5
    shower_aboard: bool = True
    hob_aboard: bool = True
    piped_water: bool = False
    payload_kg: float = 300.0
    nose_weight_kg: float = 100.0
    berths: int = 4
    cassettes: int = 1
    heater_mains_w: float = 1000.0
    gas_propane: float = 1.0
    car_charge_a: float = 0.0
    solar_shade: float = 0.1
    water_heater_mains_w: float = 800.0
    kettle_w: float = 2000.0
    mains_v: float = 230.0
    hook_up_a: float = 10.0

    def __post_init__(self) -> None:
        where = f"van {self.name!r}"
        for name, low, high, unit in (
            ("fresh_l", 5, 400, "L"), ("grey_l", 5, 400, "L"), ("cassette_l", 5, 60, "L"), ("flush_l", 0, 40, "L"),
            ("gas_bottle_kg", 0.4, 50, "kg"), ("gas_bottles", 1, 4, ""), ("battery_ah", 20, 800, "Ah"), ("battery_depth", 0.1, 0.95, ""),
            ("charger_a", 0, 100, "A"), ("solar_w", 0, 2000, "W"), ("fridge_w", 0, 600, "W"), ("fridge_electronics_a", 0, 2, "A"), ("heater_w", 0, 10_000, "W"), ("heater_mains_w", 0, 6000, "W"),
            ("heater_efficiency", 0.3, 1, ""), ("heat_loss_w_per_k", 20, 300, "W/K"), ("water_heater_l", 0, 40, "L"),
            ("water_heater_w", 0, 6000, "W"), ("water_heater_efficiency", 0.3, 1, ""), ("hob_w", 0, 6000, "W"),
            ("pump_l_per_min", 1, 30, "L/min"), ("pump_a", 0.5, 20, "A"), ("alarm_a", 0, 2, "A"), ("fan_a", 0, 10, "A"), ("lights_a", 0, 20, "A"),
            ("payload_kg", 20, 1500, "kg"), ("nose_weight_kg", 20, 200, "kg"), ("berths", 1, 10, ""), ("cassettes", 1, 4, ""),
            ("gas_propane", 0, 1, ""), ("car_charge_a", 0, 60, "A"), ("solar_shade", 0, 1, ""), ("water_heater_mains_w", 0, 6000, "W"), ("kettle_w", 0, 3500, "W"),
            ("mains_v", 100, 250, "V"), ("hook_up_a", 2, 63, "A"),
        ):  # fmt: skip
            check_range(float(getattr(self, name)), low, high, name, unit, where)
        if self.battery_kind not in ("flooded", "agm", "gel", "lifepo4"):
            raise BadInputError(f"`battery_kind` is {self.battery_kind!r}", where=where, accepted="flooded, agm, gel, lifepo4")
        if self.fridge_towing not in ("none", "car_12v", "battery"):
            raise BadInputError(f"`fridge_towing` is {self.fridge_towing!r}", where=where, accepted="none, car_12v, battery")


@dataclass(frozen=True, slots=True)
class Learned:
    """What readings on the way have told of one part of the use: it is so many times its figure.

    Parameters
    ----------
    part
        ``fresh``, ``grey``, ``cassette``, ``flush``; of the gas ``heating``, ``fridge``, ``habits``; of the battery ``loads``, ``sun``.
    factor
        Times the figure. spread: how far it may lie from that, relative, one sigma.
    """

    part: str
    factor: float
    spread: float

    def __post_init__(self) -> None:
        check_range(self.factor, 0.05, 20, f"factor of {self.part}", "", "what was learned")
        check_range(self.spread, 0, 5, f"spread of {self.part}", "", "what was learned")


@dataclass(frozen=True, slots=True)
class Party:
    """Who travels and how they live: habits decide where physics does not.

    Parameters
    ----------
    adults, children
        Heads. A child counts as ``child_share`` of an adult's water and toilet use.
    water_l
        Tap water used aboard by an adult in a day without a shower: drinking, cooking, dishes, washing [L].
    shower_l, showers_per_day
        One shower aboard [L] and how many an adult takes in a day; taken in the site's block where it has showers.
    toilet_share_with_block
        Share of the toilet visits made aboard where the site has toilets (1 where it has none).
    waste_l, flushes, flush_l
        Urine and faeces of an adult in a day [L], flushes in a day, water of one flush [L].
    inside_c, asleep_c
        Temperature kept inside, by day and asleep [°C].
    hob_min
        Minutes of one burner a day for the whole party.
    hot_water_l
        Water heated to 60 °C a day for dishes and washing, for the whole party; showers aboard are apart [L].
    devices_ah
        Telephones, lamps and the like, for the whole party in a day [Ah].
    spread_shared
        Relative spread (one sigma) of the party's habits against these figures, the same on all days of a trip.
    learned
        What readings on the way have told since; it rules over figures and spread.
    """

    name: str
    adults: int
    children: int = 0
    child_share: float = 0.7
    water_l: float = 12.0
    drunk_l: float = 2.0
    shower_l: float = 12.0
    showers_per_day: float = 0.5
    toilet_share_with_block: float = 0.4
    waste_l: float = 1.55
    flushes: float = 5.0
    flush_l: float = 0.3
    inside_c: float = 19.0
    asleep_c: float = 15.0
    hob_min: float = 45.0
    hot_water_l: float = 15.0
    devices_ah: float = 6.0
    pets: int = 0
    spread_shared: float = 0.12
    learned: tuple[Learned, ...] = ()

    def __post_init__(self) -> None:
        where = f"party {self.name!r}"
        for name, low, high, unit in (
            ("adults", 1, 10, ""), ("children", 0, 10, ""), ("child_share", 0.2, 1.2, ""), ("water_l", 2, 60, "L"), ("drunk_l", 0.5, 8, "L"),
            ("shower_l", 0, 60, "L"), ("showers_per_day", 0, 3, ""), ("toilet_share_with_block", 0, 1, ""), ("waste_l", 0.5, 4, "L"),
            ("flushes", 0, 15, ""), ("flush_l", 0, 3, "L"), ("inside_c", 5, 28, "°C"), ("asleep_c", 5, 28, "°C"), ("hob_min", 0, 300, "min"), ("hot_water_l", 0, 80, "L"),
            ("devices_ah", 0, 100, "Ah"), ("pets", 0, 6, ""), ("spread_shared", 0, 0.6, ""),
        ):  # fmt: skip
            check_range(float(getattr(self, name)), low, high, name, unit, where)


@dataclass(frozen=True, slots=True)
class DayWeather:
    """Weather assumed for one date.

    Parameters
    ----------
    mean_c, low_c, high_c
        Air temperature, mean of the day, coldest and warmest hour [°C].
    sun_kwh_per_m2
        Global horizontal irradiation of the day [kWh/m²].
    source
        Where it comes from, shown to people.
    """

    mean_c: float
    low_c: float
    high_c: float
    sun_kwh_per_m2: float
    source: str = "common practice"


@dataclass(frozen=True, slots=True)
class Levels:
    """What is in each store, as people would read it: litres, kilograms, ampere hours."""

    fresh_l: float = 0.0
    grey_l: float = 0.0
    cassette_l: float = 0.0
    flush_l: float = 0.0
    gas_kg: float = 0.0
    battery_ah: float = 0.0
    notes: tuple[str, ...] = field(default=())

    def of(self, store: str) -> float:
        """Return the level of one store by its word."""
        suffix = {"gas": "kg", "battery": "ah"}.get(store, "l")
        return float(getattr(self, f"{store}_{suffix}"))
