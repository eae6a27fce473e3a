"""`tripplan new`: asks question by question and writes a trip file."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from tripplan.cli.shared import plain, region_option

if TYPE_CHECKING:
    from tripplan.region.region import Region

__all__ = ["command"]

#: What is asked of a van of one's own, in the order in which one finds it in the papers of a van.
_VAN_KEYS = (
    "berths", "fresh_l", "grey_l", "cassette_l", "cassettes", "flush_l", "gas_bottle_kg", "gas_bottles", "battery_ah", "battery_kind", "solar_w",
    "shower_aboard", "payload_kg",
)  # fmt: skip
_OUTFIT_KEYS = ("car_mass_kg", "van_mass_kg", "height_m", "width_m", "length_m")
#: Names that a question mark brings.
_MOST_NAMES = 60
_FIRM_KEYS = ("name", "phone", "towing_limit_kmh", "return_gas_kg", "depot_hours")


@click.command("new")
@click.argument("trip_file", metavar="TRIP.toml", type=click.Path(path_type=Path))
@region_option("The map that the trip is on: places are looked up in it.")
@click.option("--force", is_flag=True, help="Write over a file that is there.")
def command(trip_file: Path, region_file: Path, force: bool) -> int:
    """Ask question by question and write a trip file.

    An answer in square brackets is taken when you only press Enter. Nothing is written before the last question.
    """
    from tripplan.cli.files import write_whole
    from tripplan.model.errors import BadInputError
    from tripplan.region.store import load
    from tripplan.request.trip_file import load_trip
    from tripplan.request.writing import trip_text

    if trip_file.exists() and not force:
        raise BadInputError(
            f"{trip_file} is there already",
            where="TRIP.toml",
            accepted="a new file",
            next_step="name another one, or add --force",
        )
    if trip_file.suffix != ".toml":
        raise BadInputError(
            f"{trip_file} is no .toml", where="TRIP.toml", accepted="a name that ends in .toml", next_step="add .toml"
        )
    if not trip_file.resolve().parent.is_dir():
        raise BadInputError(f"there is no folder {trip_file.parent}", where="TRIP.toml", next_step="make the folder first")
    region = load(region_file)
    click.echo(f"A new trip on the map of {plain(region.meta.name)}. Press Enter to take what stands in square brackets.\n")
    answers = _questions(region)
    write_whole(trip_file, trip_text(answers))
    try:
        load_trip(trip_file, region)
    except BadInputError as error:  # two answers that do not go together: the file is kept, to be mended by hand
        click.echo(f"\nWritten to {trip_file}, but one thing has to be mended in it: {error.one_line()}")
        return 1
    click.echo(f"\nWritten to {trip_file}. Look it through, then:")
    click.echo(f"  tripplan plan {trip_file} --region {region_file} --out {trip_file.stem}")
    return 0


def _ask(
    question: str, read: Callable[[str], Any], default: str | None = None, *, empty: str = "", names: Sequence[str] = ()
) -> Any:
    """Ask until an answer can be read; say in one line why one cannot, and for a question mark which names the map knows."""
    from tripplan.model.errors import BadInputError

    hints = ", ".join(filter(None, (empty, "?: names on the map" if names else "")))
    while True:
        answer = click.prompt(
            question + (f" ({hints})" if hints else ""), default=default or "", show_default=default is not None,
            prompt_suffix=" " if question.endswith("?") and default is None else ": ",
        )  # fmt: skip
        if not str(answer).strip():
            if empty:
                return None
            click.echo("  An answer is needed here. To stop without writing anything, press Ctrl-C.")
            continue
        if names and str(answer).strip() == "?":
            more = f" and {len(names) - _MOST_NAMES} more" if len(names) > _MOST_NAMES else ""
            click.echo("  " + plain(", ".join(names[:_MOST_NAMES])) + more)
            continue
        try:
            return read(str(answer))
        except BadInputError as error:
            parts = [error.what, *([f"accepted: {error.accepted}"] if error.accepted else []), error.next_step]
            click.echo("  " + plain("; ".join(part for part in parts if part)) + ".")


def _key(table: str, name: str, default: Any = None, question: str = "") -> Any:
    """Ask for one key of the trip file."""
    from tripplan.request.keys import NEEDED
    from tripplan.request.writing import key_of, parsed

    key = key_of(table, name)
    if default is None and key.default is not NEEDED and not str(key.default).startswith("<"):
        default = key.default
    shown = None if default is None else ("yes" if default else "no") if isinstance(default, bool) else f"{default:g}" if isinstance(default, int | float) else str(default)  # fmt: skip
    unit = f" [{key.unit}]" if key.unit and key.unit not in ("", "cents") else ""
    words = question or key.meaning.rstrip(".")
    if key.kind == "choice":
        words += f" ({', '.join(key.choices)})"
    if key.kind == "text" and default == "":
        return _ask(words, lambda text: parsed(key, text, name), empty="Enter: none") or ""
    return _ask(words + unit, lambda text: parsed(key, text, name), shown)


def _questions(region: Region) -> dict[str, Any]:
    from tripplan.request.spots import find_spot
    from tripplan.request.writing import key_of, parsed

    def place(
        question: str,
        roles: tuple[str, ...],
        *,
        empty: str = "",
        only: bool = False,
        default: str | None = None,
        names: Sequence[str] = (),
    ) -> Any:
        def read(text: str) -> str:
            spot = find_spot(region, text, "place", roles, only=only)
            if spot.name and spot.name.strip() != text.strip():
                click.echo(f"  taken as {plain(spot.name)}")
            return text.strip()

        return _ask(question, read, default, empty=empty, names=names or _names(region, roles))

    def moment(question: str, default: str | None = None) -> Any:
        return _ask(question, lambda text: parsed(key_of("pick_up", "time"), text, "time"), default)

    answers: dict[str, Any] = {"name": _key("trip", "name", "Our trip", "What is the trip called?")}
    click.echo("\nThe hire")
    depots = _names(region, ("depot",))
    start = place(
        "Where is the van picked up (a name on the map, or latitude, longitude)?", ("depot", "service"),
        default=depots[0] if len(depots) == 1 else None, names=_names(region, ("depot", "town")),
    )  # fmt: skip
    pick_up = moment("When is it picked up, such as 2027-02-03 10:00?")
    end = place("Where is it brought back?", ("depot", "service"), default=start, names=_names(region, ("depot", "town")))
    while True:
        back = moment(
            "When must it be back?", (pick_up + timedelta(days=7)).replace(hour=15, minute=0).strftime("%Y-%m-%d %H:%M")
        )
        if back > pick_up and 1 <= (back.date() - pick_up.date()).days <= 35:
            break
        click.echo("  that is not 1 to 35 nights after the pick-up.")
    answers["pick_up"] = {"place": start, "time": pick_up}
    answers["return"] = {"place": end, "time": back}
    click.echo("\nThe firm")
    answers["firm"] = {name: _key("firm", name, {"towing_limit_kmh": 80, "phone": ""}.get(name)) for name in _FIRM_KEYS}
    click.echo("\nWho travels")
    people = {
        "name": "party",
        "adults": _key("party", "adults", 2),
        "children": _key("party", "children"),
        "pets": _key("party", "pets"),
    }
    answers["party"] = people
    click.echo("\nThe van")
    answers["van"] = _van(people["adults"] + people["children"])
    click.echo("\nCar and van on the road (the papers of both tell)")
    usual = {"car_mass_kg": 1900, "van_mass_kg": 1300, "height_m": 2.6, "width_m": 2.3, "length_m": 11.5}
    answers["outfit"] = {"name": "car and van", **{name: _key("outfit", name, usual[name]) for name in _OUTFIT_KEYS}}
    click.echo("\nHow you like to travel")
    answers["driving"] = {
        "max_h": _key("driving", "max_h", None, "Most hours at the wheel in a day?"),
        "first_day_max_h": _key("driving", "first_day_max_h", None, "And on the first day, new to the van?"),
    }
    answers["wishes"] = {
        "powered_nights_at_least": _key("wishes", "powered_nights_at_least", None, "How many nights must have mains?")
    }
    full = _ask("Are the water barrel and the flush tank filled at the firm's yard (yes, no)?", _yes_no, "yes")
    answers["levels"] = {"fresh_l": float(answers["van"]["fresh_l"]), "flush_l": float(answers["van"]["flush_l"])} if full else {}
    click.echo("\nPlaces to see")
    answers["sights"] = []
    while len(answers["sights"]) < 20:
        name = place("A place you want to see", ("sight", "town", "site"), empty="Enter: no more")
        if name is None:
            break
        must = _ask("  Must it be seen (yes, no)?", _yes_no, "yes")
        hours = _ask("  For how many hours?", lambda text: parsed(key_of("sights", "hours"), text, "hours"), "1.5")
        answers["sights"].append({"place": name, "must": must, "hours": hours, **({} if must else {"value_cents": 2000})})
    click.echo("\nNights booked already")
    answers["bookings"] = []
    while len(answers["bookings"]) < 35:
        name = place("A site where a night is booked", ("site",), empty="Enter: no more", only=True)
        if name is None:
            break
        night = _ask("  Which night, such as 2027-02-04?", lambda text: parsed(key_of("bookings", "night"), text, "night"))
        answers["bookings"].append({"night": night, "place": name})
    return answers


def _names(region: Region, roles: Sequence[str]) -> list[str]:
    """Return the names that the map has of the first of these roles that it has any of: towns largest first, places by the alphabet."""
    import numpy as np

    for role in roles:
        names = [place.name for place in region.places if place.role == role and place.name]
        if role == "town":
            largest = np.argsort(-region.towns.population, kind="stable")
            names = [name for name in (region.string(int(number)) for number in region.towns.name[largest]) if name]
        if names:
            return names if role == "town" else sorted(set(names))
    return []


def _yes_no(text: str) -> Any:
    from tripplan.request.writing import key_of, parsed

    return parsed(key_of("wishes", "presumed_offers"), text, "answer")


def _van(people: int) -> dict[str, Any]:
    """Take one of the usual vans, or ask for one's own store by store."""
    from tripplan.model.errors import BadInputError
    from tripplan.pipeline import sample_folder
    from tripplan.request.text_file import read_toml

    usual = [read_toml(path)[0] for path in sorted((sample_folder() / "vans").glob("*.toml"))]
    usual.sort(key=lambda van: van["berths"])
    for number, van in enumerate(usual, 1):
        click.echo(
            f"  {number}. a usual {plain(str(van['name']))}: {van['berths']} berths, {van['fresh_l']:g} L fresh, {van['grey_l']:g} L grey, "
            f"{van['cassette_l']:g} L cassette, {van['gas_bottles']} bottles of {van['gas_bottle_kg']:g} kg"
        )
    own = len(usual) + 1
    click.echo(f"  {own}. another: its stores are asked one by one")

    def which(text: str) -> int:
        if not text.strip().isdigit() or not 1 <= int(text) <= own:
            raise BadInputError(f'"{text.strip()[:20]}" will not do', accepted=f"1 to {own}")
        return int(text)

    fits = next((n for n, van in enumerate(usual, 1) if van["berths"] >= people), own)
    chosen = _ask("Which one is nearest to yours?", which, str(fits))
    if chosen < own:
        return dict(usual[chosen - 1])
    base = usual[-1]
    return {"name": "our van", **{name: _key("van", name, base.get(name)) for name in _VAN_KEYS}}
