"""What to do on leaving and on arriving, made for a day, in the order in which one walks round a van. Pure.

Inside from the front to the back; then outside from the door round: service side, back, far side, front, and the hitch last.
The steps without a source beside them are common practice.
"""

from __future__ import annotations

from dataclasses import dataclass

from tripplan.model.place import Place
from tripplan.model.plan import Day, Night
from tripplan.model.trip import Trip
from tripplan.model.van import Van
from tripplan.model.words import Offer
from tripplan.report import say
from tripplan.report.language import spoken
from tripplan.report.retell import retell
from tripplan.report.safe import plain
from tripplan.report.say import spot_name
from tripplan.report.sheets.blocks import Item
from tripplan.report.sheets.common import step
from tripplan.report.sheets.tell import word

__all__ = ["Stay", "arriving", "by_car", "leaving", "stands_at", "stay_before", "stay_of"]


@dataclass(frozen=True, slots=True)
class Stay:
    """How the van lives at a place.

    Parameters
    ----------
    powered
        On mains. piped: tap and drain are joined by hose. frost: it may freeze in the night.
    gas
        Whether gas is used: for what, in words; empty: off all the time.
    heating_gas
        Whether the heater burns gas.
    """

    powered: bool
    piped: bool
    frost: bool
    gas: tuple[str, ...]
    heating_gas: bool


def stay_of(night: Night, day: Day, van: Van, keys: frozenset[str]) -> Stay:
    """Return how the van lives on a night of the plan; ``keys``: the cautions of its day."""
    on_gas = tuple(plain(retell(what)) for what, source in night.runs_on.items() if what != "gas" and "gas" in source)
    piped = van.piped_water and "piped" in night.offers and night.offers["piped"].answer >= Offer.PRESUMED
    cold = "frost" in keys or bool(day.energy and day.energy.frost)
    return Stay(night.powered, piped, cold, on_gas, "gas" in night.runs_on.get("heating", ""))


def stay_before(days: tuple[Day, ...], number: int, van: Van, keys_of: dict[int, frozenset[str]]) -> Stay | None:
    """Return how the van lived in the night before a day; ``None`` on the first."""
    before = next((day for day in days if day.number == number - 1), None)
    if before is None or before.night is None:
        return None
    return stay_of(before.night, before, van, keys_of.get(before.number, frozenset()))


def stands_at(day: Day, trip: Trip, place: Place | None, keys: frozenset[str]) -> Stay | None:
    """Return how the van has stood where the rest of a trip begins: what the pitch offers is taken for used, so that no step of leaving is missed.

    ``None`` on every other day, and where the van does not stand at a site.
    """
    if trip.under_way is None or day.number != trip.first_number or place is None or place.role != "site":
        return None
    power, piped = (place.offer(word).answer >= Offer.PRESUMED for word in ("power", "piped"))
    return Stay(power, piped and trip.van.piped_water, "frost" in keys, (), heating_gas=False)


def leaving(day: Day, before: Stay | None, van: Van) -> tuple[Item, ...]:
    """Return what to do before the van moves on a towing day."""
    ferry = any(leg.ferry_s > 0 for leg in day.legs if leg.mode == "van")
    levels = {line.store: line for line in day.levels}
    fridge = {
        "none": word("Fridge off, door latched; cold packs in."), "car_12v": word("Fridge to the car's 12 V, door latched."),
        "battery": word("Fridge to the van's battery, door latched."),
    }[van.fridge_towing]  # fmt: skip
    out = [
        step("Inside: hob, heater and water heater off, windows and roof hatches shut and latched."),
        step("Loose and heavy things low and over the axle, cupboards and doors latched.", "loading"),
        step(fridge),
    ]
    if "fresh" in levels and say.capacity(van, "fresh") > 0:
        out.append(
            step(
                "Water aboard as planned: fresh {fresh}, grey {grey}; more counts against the payload.",
                "loading",
                fresh=say.amount("fresh", levels["fresh"].leave),
                grey=say.amount("grey", levels["grey"].leave if "grey" in levels else 0.0),
            )
        )  # fmt: skip
    if day.energy is not None and day.energy.payload_kg > 0 and day.energy.carried_kg > 0:
        out.append(
            step(
                "Carried: {mass} of at most {most}.",
                "overload",
                mass=spoken().mass(day.energy.carried_kg),
                most=spoken().mass(day.energy.payload_kg),
            )
        )
    if before is not None and before.frost:
        out.append(step("After frost: drain cock shut, taps shut, no ice on roof, steps and vents.", "frost"))
    out.append(step("Out of the door: lock it, step in."))
    if before is not None and before.powered:
        out.append(step("Mains cable: out of the post first, then out of the van, rolled up dry.", "mains"))
    if before is not None and before.piped:
        out.append(step("Hoses off tap and drain, drained and stowed; caps on."))
    elif before is not None:
        out.append(step("Barrels away from the van: grey emptied where the site takes it, fresh stowed empty or tied."))
    out += [
        step("Cassette shut and pushed home, its door locked."),
        step("Along the sides and the back: steadies up, vents shut, lamps clean; tyres by eye, no cracks, same pressure; wheel nuts as the firm showed.", "tyres"),
        step("At the front: gas off at the bottle, bottles upright and tied, locker shut.", "gas_off_driving"),
        step("Chocks away once the car holds the van; jockey wheel up and tight, handbrake off."),
        step("Hitch closed and checked by lifting, breakaway cable and plug on, nobody in the van.", "nobody_rides"),
        step("Nose weight within {most} and the limit of car and hitch.", "nose_weight", most=spoken().mass(van.nose_weight_kg)),
        step("Lamps and indicators tried by two, mirrors out, once round the whole outfit.", "mirrors"),
    ]  # fmt: skip
    if ferry:
        out.append(
            step(
                "Before boarding: gas off at the bottle and left off aboard; ask how many bottles the ferry takes.",
                "gas_off_ferry",
            )
        )
    return tuple(out)


def by_car(day: Day, here: Stay | None) -> tuple[Item, ...]:
    """Return what to do before the car leaves a standing van."""
    stores = dict.fromkeys(store for event in day.events if event.kind == "service" for store in event.stores)
    out = [step("Windows and hatches shut, awning tied or taken in: wind rises while nobody is there.", "wind")]
    if here is not None and here.heating_gas:
        out.append(step("Hob off; heater off or as the firm showed; fixed vents clear.", "carbon_monoxide"))
    else:
        out.append(step("Hob off, taps shut."))
    if "gas" in stores:
        out.append(
            step(
                "Empty bottle: valve shut, cap on, upright and tied in the car, a window open; straight there and back.",
                "gas_leak",
            )
        )
    if stores.keys() & {"cassette", "grey"}:
        out.append(step("Cassette and grey barrel: caps shut, upright in the car, gloves aboard.", "chemicals"))
    if "fresh" in stores:
        out.append(step("Fresh barrel and its own hose along; never the hose of the dump point.", "drinking_water"))
    return (*out, step("Door, hitch lock and lockers locked; keys and telephone with you."))


def arriving(day: Day, van: Van, keys: frozenset[str]) -> tuple[Item, ...]:
    """Return what to do on arriving at the night's place with the van."""
    night = day.night
    if night is None:
        return ()
    stay = stay_of(night, day, van, keys)
    served = {line.store for line in day.levels if "site" in line.served}
    name = spot_name(night.spot)
    out = [
        step("Ask at {place} for the pitch, the water tap, where to empty and the way out in the dark.", place=name),
        step(
            "Walk the pitch first: firm, level, branches and wires above, {gap} to the next van.",
            "spacing",
            gap=spoken().short_way(6),
        ),
        step("Level side to side on ramps while hitched; handbrake on, chocks at both wheels."),
        step("At the front: plug and breakaway cable off, hitch open, jockey wheel down, car away; level front to back."),
        step("Steadies down to the ground, not to lift; step out."),
    ]
    if stay.powered:
        out.append(
            step(
                "Mains: cable fully unwound, into the van first, then the post; try the residual current device; fridge and charger on mains.",
                "mains",
            )
        )
    else:
        out.append(step("No mains here: fridge on gas only when level, lamps and pump from the battery."))
    if stay.gas:
        out.append(
            step("Gas on at the bottle, for: {what}; smell round the locker first.", "gas_leak", what=say.listed(stay.gas))
        )
    else:
        out.append(step("Gas stays off at the bottle.", "gas_off_driving"))
    if stay.heating_gas:
        out.append(
            step(
                "Heating by gas in the night: fixed vents and flue clear, carbon monoxide alarm tried; never hob, barbecue or portable heater.",
                "carbon_monoxide",
            )
        )
    elif stay.gas:
        out.append(step("Fixed vents clear, carbon monoxide alarm tried before anything burns.", "carbon_monoxide"))
    if stay.piped:
        out.append(
            step("Tap by a hose for drinking water, pressure reduced; drain by the other hose, sloping.", "drinking_water")
        )
    elif served & {"fresh", "flush"}:
        out.append(
            step("Fill the fresh barrel by its own hose from a drinking water tap; boil what you doubt.", "drinking_water")
        )
    else:
        out.append(step("No water is taken here: what is aboard has to last."))
    if not stay.piped:
        out.append(step("Grey barrel under the drain, with its cap off."))
    if served & {"cassette", "grey"}:
        todo = say.todo_words(store for store in ("grey", "cassette") if store in served)
        out.append(step("Here: {todo}, at the dump point only, gloves on, hands washed.", "black_water", todo=todo))
    if day.kind == "towing":
        out.append(step("Water heater: fill before switching on, tap open until no air comes."))
    if stay.frost:
        out.append(
            step(
                "Frost tonight: barrels and hoses emptied, heater on low or the water heater drained, salt on the step.", "frost"
            )
        )
    return tuple(out)
