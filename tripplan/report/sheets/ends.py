"""The sheets before the first day and after the last: the first evening, the return, all cautions with their sources."""

from __future__ import annotations

from datetime import timedelta

from tripplan.model.cautions import LAST_WORD, caution
from tripplan.model.plan import Caution, Day, Plan
from tripplan.report import say
from tripplan.report.safe import plain
from tripplan.report.say import spot_name
from tripplan.report.sheets.blocks import Beside, Block, Heading, Item, Items, Para, Sheet, Table
from tripplan.report.sheets.common import Folder, step
from tripplan.report.sheets.tell import tell

__all__ = ["cautions_sheet", "first_evening", "return_sheet"]


def first_evening(folder: Folder) -> Sheet:
    """Return the sheet for hand-over and the first evening: what to be shown, to practise, and to do at the first site."""
    plan = folder.plan
    trip, first = plan.trip, plan.days[0]
    night = first.night
    van = trip.van
    title = "The first evening"
    where = spot_name(night.spot) if night is not None else spot_name(first.end)
    shown = [
        step("Papers: contract, registration, insurance, the firm's rules and numbers; who may drive.", "insurance"),
        step("A border ahead: the firm's leave in writing, papers and insurance for that country.", "borders"),
        step("Each damage that is there already: photograph it with the date.", source="common practice"),
        step("Hitch, breakaway cable, plug, jockey wheel, handbrake: do each once yourself.", "nobody_rides"),
        step("Gas: bottles, valve, which tap is whose, how the alarm sounds; what to do on a smell of gas.", "gas_leak"),
        step("Mains: cable, where the residual current device is, how it is tried.", "mains"),
        step("Water: barrels, filling, draining against frost; cassette: taking out, emptying, fluid.", "chemicals"),
        step("Fridge, heater, water heater, battery gauge: switched on once, by you.", source="common practice"),
        step("Spare wheel, jack, torque of the wheel nuts, tyre pressure.", "tyres"),
        step(
            tell(
                "Payload {kg:.0f} kg, nose weight up to {nose:.0f} kg: weighed where there is a scale.",
                kg=van.payload_kg,
                nose=van.nose_weight_kg,
            ),
            "overload",
        ),
        step(
            tell(
                "Height {h:.2f} m and width {w:.2f} m written where the driver sees them.",
                h=trip.outfit.height_m,
                w=trip.outfit.width_m,
            ),
            "clearance",
        ),
    ]
    practise = [
        step(
            "On an empty yard, with the firm looking on: hitch and unhitch twice, in the same order each time.",
            source="common practice",
        ),
        step(
            "Straight back by mirrors, slowly; hand at the bottom of the wheel: the van goes the way the hand goes.",
            source="common practice",
        ),
        step(
            "Back round a corner with a helper outside who is always seen in a mirror; not seen: stop.", source="common practice"
        ),
        step("A wide turn to each side: the van cuts the corner. Kerbs and posts on the inside.", source="common practice"),
        step("A firm stop from 40 km/h on a free road: feel the van push.", source="common practice"),
        step("Mirrors: see along both sides; keep a four-second gap.", "mirrors"),
        step("Sway: ease off, hold the wheel straight, do not brake hard.", "nose_weight"),
    ]
    tonight = [
        step(tell("Arrive by daylight: {when}.", when=_daylight(first)), source="common practice"),
        step(
            "Level: ramps side to side while hitched, chocks, then jockey wheel front to back, steadies last.",
            source="common practice",
        ),
    ]
    if night is not None and night.powered:
        tonight.append(step("Hook-up: cable fully unwound, into the van first, then the post; alarm and fridge on.", "mains"))
    else:
        tonight.append(
            step(
                "No mains tonight: fridge on gas on level ground, lamps sparingly, watch the battery gauge.",
                source="common practice",
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
        step("Bed made before dark, torch and the way out known to all, 6 m to the next van.", "spacing"),
    ]
    blocks: list[Block] = [
        Heading(2, title),
        Para(tell("Hand-over at {depot}, {time}; first night at {where}.", depot=spot_name(trip.depot), time=say.clock(trip.pick_up), where=where), "way"),
        Para("Take the time: what is tried at the yard is known at the site. Licensed people and the firm's own words go before this list.", "note"),
        Beside(
            (Heading(3, "Be shown"), Items(tuple(shown), "tick")),
            (Heading(3, "Practise"), Items(tuple(practise), "tick"), Heading(3, "Tonight"), Items(tuple(tonight), "tick")),
        ),
    ]  # fmt: skip
    return Sheet("first-evening", "ends", title, tuple(blocks), folder.foot(first.end))


def _daylight(day: Day) -> str:
    arrive = next((event.start for event in day.events if event.kind in ("arrive", "stay")), None)
    planned = tell("planned for {time}", time=say.clock(arrive)) if arrive is not None else "as the first day's clock says"
    return planned if day.sunset is None else tell("{planned}, sunset {sunset}", planned=planned, sunset=say.clock(day.sunset))


def _water_words(plan: Plan) -> str:
    levels = plan.trip.levels
    if levels.fresh_l < 1:
        return "Water: the barrel is empty at pick-up; fill it by its own hose as the first day's sheet says, and rinse it first."
    return tell("Water: {litres} aboard at pick-up; boil what you doubt.", litres=say.amount("fresh", levels.fresh_l))


def return_sheet(folder: Folder) -> Sheet:
    """Return the sheet for the last day: what to empty, clean, fill and photograph, by when."""
    plan = folder.plan
    trip, firm, last = plan.trip, plan.trip.firm, plan.days[-1]
    title = "The return"
    hand_back = trip.return_by - timedelta(minutes=firm.return_min)
    leave = next((event.start for event in last.events if event.kind == "drive"), None)
    times: list[tuple[str, str]] = []
    if leave is not None:
        times.append((say.clock(leave), "leave the last site"))
    times += [
        (
            tell("{a}–{b}", a=say.clock(event.start), b=say.clock(event.end)),
            tell("{doing}, {place}", doing=_doing(event.stores, event.text), place=spot_name(event.spot)),
        )
        for event in last.events
        if event.kind == "service" and event.spot is not None
    ]
    arrive = next((event.start for event in last.events if event.kind == "return"), None)
    if arrive is not None:
        times.append((say.clock(arrive), tell("planned at {depot}", depot=spot_name(trip.return_depot))))
    times += [
        (say.clock(hand_back), tell("be there at the latest: handing back takes {min} min", min=firm.return_min)),
        (say.clock(trip.return_by), "handed back"),
    ]
    rows = tuple(times)
    empty = []
    if firm.return_cassette_empty:
        empty.append(step("Cassette: empty and rinsed, at a dump point only; not used after that.", "black_water"))
    if firm.return_grey_empty:
        empty.append(step("Grey barrel and pipes: empty, at a dump point or where the site takes it.", "black_water"))
    empty += [
        step("Fresh barrel, flush tank and water heater: as the firm wants them; drained if frost is about.", "frost"),
        step(
            "Fridge: empty, wiped, door held ajar. Cupboards, drawers, lockers, under the beds: empty.", source="common practice"
        ),
        step("Rubbish: out, into the site's bins.", source="common practice"),
    ]
    clean = [
        step("Inside: kitchen, washroom, floor, seats, as it was taken over.", source="common practice"),
        step("Outside: windows and lamps; what the contract asks for.", source="common practice"),
        step("Cassette's gloves on, hands washed; fluid out of children's reach.", "chemicals"),
    ]
    gas = next((line for line in last.levels if line.store == "gas"), None)
    fill = []
    if firm.return_gas_kg > 0:
        words = tell("Gas: at least {kg:.1f} kg left over all bottles.", kg=firm.return_gas_kg)
        if gas is not None:
            words = tell(
                "Gas: at least {kg:.1f} kg left over all bottles; planned {planned}.",
                kg=firm.return_gas_kg,
                planned=say.amount("gas", gas.arrive),
            )
        fill.append(step(words, "autogas"))
    fill += [
        step("Gas off at the bottle, caps on.", "gas_off_driving"),
        step("Fuel of the car: as the contract says.", source="common practice"),
    ]
    photograph = [
        step("All four sides, roof edge, both tyres, hitch, lamps.", source="common practice"),
        step("Inside: each room, the gauges, the open cassette door.", source="common practice"),
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
            (Heading(3, "Empty"), Items(tuple(empty), "tick"), Heading(3, "Clean"), Items(tuple(clean), "tick")),
            (Heading(3, "Fill"), Items(tuple(fill), "tick"), Heading(3, "Photograph"), Items(tuple(photograph), "tick")),
        ),
        Para("Late? Telephone the firm before it is late, not after.", "strong"),
    ]  # fmt: skip
    return Sheet("return", "ends", title, tuple(blocks), folder.foot(trip.return_depot))


def _doing(stores: tuple[str, ...], text: str) -> str:
    return plain(text) or say.todo_words(stores)


def cautions_sheet(folder: Folder) -> Sheet:
    """Return every caution in full, with its days and its source, and what the plan takes for granted."""
    plan = folder.plan
    general = [caution(key) for key in ("insurance", "borders") if key not in {c.key for c in plan.cautions}]
    own = [c for c in plan.cautions if c.key != LAST_WORD]
    closing = [c for c in plan.cautions if c.key == LAST_WORD]
    items = []
    for one in (*own, *general, *closing):
        words = say.days_words(plan, one.days)
        items.append(Item(_with_days(one, words), tell("Source: {source}", source=one.source) if one.source else ""))
    blocks: list[Block] = [
        Heading(2, "Cautions"),
        Para("Local rules and licensed people decide; they go before everything on these sheets.", "strong"),
        Items(tuple(items), columns=2),
    ]
    if plan.assumptions:
        blocks += [Heading(2, "Assumed"), Items(tuple(Item(words) for words in plan.assumptions))]
    return Sheet("cautions", "ends", "Cautions", tuple(blocks), folder.foot(plan.trip.return_depot))


def _with_days(one: Caution, words: str) -> str:
    return tell("{text} ({days})", text=one.text, days=words) if words else one.text
