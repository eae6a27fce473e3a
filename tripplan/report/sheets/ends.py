"""The sheets before the first day and after the last: the first evening, the return, all cautions with their sources."""

from __future__ import annotations

from datetime import timedelta

from tripplan.model.cautions import LAST_WORD, caution
from tripplan.model.plan import Caution, Day, Plan
from tripplan.report import say
from tripplan.report.language import spoken
from tripplan.report.retell import retell
from tripplan.report.safe import plain
from tripplan.report.say import spot_name
from tripplan.report.sheets.blocks import Beside, Block, Heading, Item, Items, Para, Sheet, Table
from tripplan.report.sheets.common import Folder, source_words, step
from tripplan.report.sheets.tell import tell

__all__ = ["cautions_sheet", "first_evening", "return_sheet"]


def first_evening(folder: Folder) -> Sheet:
    """Return the sheet for hand-over and the first evening: what to be shown, to practise, and to do at the first site."""
    plan = folder.plan
    trip, first = plan.trip, plan.days[0]
    night = first.night
    van, figures = trip.van, spoken()
    title = tell("The first evening")
    where = spot_name(night.spot) if night is not None else spot_name(first.end)
    shown = [
        step("Papers: contract, registration, insurance, the firm's rules and numbers; who may drive.", "insurance"),
        *(
            [step("A border ahead: the firm's leave in writing, papers and insurance for that country.", "borders")]
            if folder.border
            else []
        ),
        step("Each damage that is there already: photograph it with the date."),
        step("Hitch, breakaway cable, plug, jockey wheel, handbrake: do each once yourself.", "nobody_rides"),
        step("Gas: bottles, valve, which tap is whose, how the alarm sounds; what to do on a smell of gas.", "gas_leak"),
        step("Mains: cable, where the residual current device is, how it is tried.", "mains"),
        step("Water: barrels, filling, draining against frost; cassette: taking out, emptying, fluid.", "chemicals"),
        step("Fridge, heater, water heater, battery gauge: switched on once, by you."),
        step("Spare wheel, jack, torque of the wheel nuts, tyre pressure.", "tyres"),
        step(
            "Payload {payload}, nose weight up to {nose}: weighed where there is a scale.",
            "overload",
            payload=figures.mass(van.payload_kg),
            nose=figures.mass(van.nose_weight_kg),
        ),
        step(
            "Height {height} and width {width} written where the driver sees them.",
            "clearance",
            height=figures.size(trip.outfit.height_m),
            width=figures.size(trip.outfit.width_m),
        ),
    ]
    practise = [
        step(
            "On an empty yard, with the firm looking on: hitch and unhitch twice, in the same order each time.",
        ),
        step(
            "Straight back by mirrors, slowly; hand at the bottom of the wheel: the van goes the way the hand goes.",
        ),
        step("Back round a corner with a helper outside who is always seen in a mirror; not seen: stop."),
        step("A wide turn to each side: the van cuts the corner. Kerbs and posts on the inside."),
        step("A firm stop from {speed} on a free road: feel the van push.", speed=figures.speed(40)),
        step("Mirrors: see along both sides; keep a four-second gap.", "mirrors"),
        step("Sway: ease off, hold the wheel straight, do not brake hard.", "nose_weight"),
    ]
    tonight = [
        step("Arrive by daylight: {when}.", when=_daylight(first)),
        step(
            "Level: ramps side to side while hitched, chocks, then jockey wheel front to back, steadies last.",
        ),
    ]
    if night is not None and night.powered:
        tonight.append(step("Hook-up: cable fully unwound, into the van first, then the post; alarm and fridge on.", "mains"))
    else:
        tonight.append(
            step(
                "No mains tonight: fridge on gas on level ground, lamps sparingly, watch the battery gauge.",
            )
        )
    if night is not None and any("gas" in source for what, source in night.runs_on.items() if what != "gas"):
        tonight.append(
            step("Gas on only for what the day sheet names; vents clear, carbon monoxide alarm tried.", "carbon_monoxide")
        )
    tonight += [
        step(_water_words(plan), "drinking_water"),
        step(
            "Toilet: fluid and a little water into the cassette before first use; black water only at dump points.", "black_water"
        ),
        step(
            "Bed made before dark, torch and the way out known to all, {gap} to the next van.",
            "spacing",
            gap=figures.short_way(6),
        ),
    ]
    blocks: list[Block] = [
        Heading(2, title),
        Para(tell("Hand-over at {depot}, {time}; first night at {where}.", depot=spot_name(trip.depot), time=say.clock(trip.pick_up), where=where), "way"),
        Para(tell("Take the time: what is tried at the yard is known at the site. Licensed people and the firm's own words go before this list."), "note"),
        Beside(
            (Heading(3, tell("Be shown")), Items(tuple(shown), "tick")),
            (Heading(3, tell("Practise")), Items(tuple(practise), "tick"), Heading(3, tell("Tonight")), Items(tuple(tonight), "tick")),
        ),
    ]  # fmt: skip
    return Sheet("first-evening", "ends", title, tuple(blocks), folder.foot(first.end))


def _daylight(day: Day) -> str:
    arrive = next((event.start for event in day.events if event.kind in ("arrive", "stay")), None)
    planned = tell("planned for {time}", time=say.clock(arrive)) if arrive is not None else tell("as the first day's clock says")
    return planned if day.sunset is None else tell("{planned}, sunset {sunset}", planned=planned, sunset=say.clock(day.sunset))


def _water_words(plan: Plan) -> str:
    levels = plan.trip.levels
    if levels.fresh_l < 1:
        return tell(
            "Water: the barrel is empty at pick-up; fill it by its own hose as the first day's sheet says, and rinse it first."
        )
    return tell("Water: {litres} aboard at pick-up; boil what you doubt.", litres=say.amount("fresh", levels.fresh_l))


def return_sheet(folder: Folder) -> Sheet:
    """Return the sheet for the last day: what to empty, clean, fill and photograph, by when."""
    plan = folder.plan
    trip, firm, last = plan.trip, plan.trip.firm, plan.days[-1]
    title = tell("The return")
    hand_back = trip.return_by - timedelta(minutes=firm.return_min)
    leave = next((event.start for event in last.events if event.kind == "drive"), None)
    times: list[tuple[str, str]] = [
        (
            tell("{a}–{b}", a=say.clock(event.start), b=say.clock(event.end)),
            tell("{doing}, {place}", doing=_doing(event.stores, event.text), place=spot_name(event.spot)),
        )
        for event in last.events
        if event.kind == "service" and event.spot is not None
    ]
    if leave is not None:  # what is emptied there comes before it
        before = sum(event.kind == "service" and event.spot is not None and event.end <= leave for event in last.events)
        times.insert(before, (say.clock(leave), tell("leave the last site")))
    arrive = next((event.start for event in last.events if event.kind == "return"), None)
    if arrive is not None:
        times.append((say.clock(arrive), tell("planned at {depot}", depot=spot_name(trip.return_depot))))
    times += [
        (say.clock(hand_back), tell("be there at the latest: handing back takes {min} min", min=firm.return_min)),
        (say.clock(trip.return_by), tell("handed back")),
    ]
    rows = tuple(times)
    empty = []
    if firm.return_cassette_empty:
        empty.append(step("Cassette: empty and rinsed, at a dump point only; not used after that.", "black_water"))
    if firm.return_grey_empty:
        empty.append(step("Grey barrel and pipes: empty, at a dump point or where the site takes it.", "black_water"))
    empty += [
        step("Fresh barrel, flush tank and water heater: as the firm wants them; drained if frost is about.", "frost"),
        step("Fridge: empty, wiped, door held ajar. Cupboards, drawers, lockers, under the beds: empty."),
        step("Rubbish: out, into the site's bins."),
    ]
    clean = [
        step("Inside: kitchen, washroom, floor, seats, as it was taken over."),
        step("Outside: windows and lamps; what the contract asks for."),
        step("Cassette's gloves on, hands washed; fluid out of children's reach.", "chemicals"),
    ]
    gas = next((line for line in last.levels if line.store == "gas"), None)
    fill = []
    if firm.return_gas_kg > 0:
        least = say.amount("gas", firm.return_gas_kg)
        words = tell("Gas: at least {least} left over all bottles.", least=least)
        if gas is not None:
            words = tell(
                "Gas: at least {least} left over all bottles; planned {planned}.",
                least=least,
                planned=say.amount("gas", gas.arrive),
            )
        fill.append(step(words, "autogas"))
    fill += [
        step("Gas off at the bottle, caps on.", "gas_off_driving"),
        step("Fuel of the car: as the contract says."),
    ]
    photograph = [
        step("All four sides, roof edge, both tyres, hitch, lamps."),
        step("Inside: each room, the gauges, the open cassette door."),
        step("Kilometres, time, place; the signed paper of the return. Keep all until the deposit is back.", "insurance"),
    ]
    blocks: list[Block] = [
        Heading(2, title),
        Para(
            tell("{day}, {depot}: handed back by {time}.", day=say.day_of(trip.return_by.date()), depot=spot_name(trip.return_depot), time=say.clock(trip.return_by)),
            "way",
        ),
        Table("clock", (), rows, whole=(0,)),
        *([Para(tell("The depot's hours: {hours}.", hours=firm.depot_hours), "note")] if firm.depot_hours else []),
        Beside(
            (Heading(3, tell("Empty")), Items(tuple(empty), "tick"), Heading(3, tell("Clean")), Items(tuple(clean), "tick")),
            (Heading(3, tell("Fill")), Items(tuple(fill), "tick"), Heading(3, tell("Photograph")), Items(tuple(photograph), "tick")),
        ),
        Para(tell("Late? Telephone the firm before it is late, not after."), "strong"),
    ]  # fmt: skip
    return Sheet("return", "ends", title, tuple(blocks), folder.foot(trip.return_depot))


def _doing(stores: tuple[str, ...], text: str) -> str:
    return plain(retell(text)) or say.todo_words(stores)


def cautions_sheet(folder: Folder) -> Sheet:
    """Return every caution in full, with its days and its source, and what the plan takes for granted."""
    plan = folder.plan
    keys = ("insurance", "borders") if folder.border else ("insurance",)
    general = [caution(key) for key in keys if key not in {c.key for c in plan.cautions}]
    own = [c for c in plan.cautions if c.key != LAST_WORD]
    closing = [c for c in plan.cautions if c.key == LAST_WORD]
    items = []
    for one in (*own, *general, *closing):
        words = say.days_words(plan, one.days)
        items.append(
            Item(_with_days(one, words), tell("Source: {source}", source=source_words(one.source)) if one.source else "")
        )
    blocks: list[Block] = [
        Heading(2, tell("Cautions")),
        Para(tell("Local rules and licensed people decide; they go before everything on these sheets."), "strong"),
        Items(tuple(items), columns=2),
    ]
    if plan.assumptions:
        blocks += [Heading(2, tell("Assumed")), Items(tuple(Item(retell(words)) for words in plan.assumptions))]
    return Sheet("cautions", "ends", tell("Cautions"), tuple(blocks), folder.foot(plan.trip.return_depot))


def _with_days(one: Caution, words: str) -> str:
    text = retell(one.text)
    return tell("{text} ({days})", text=text, days=words) if words else text
