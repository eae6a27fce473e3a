"""`tripplan suggest`: depot, nights, van and party in, a catalogue of loops worth offering out."""

from __future__ import annotations

from datetime import datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from tripplan.cli.shared import count, language_options, region_option

if TYPE_CHECKING:
    from tripplan.model.choice import LeftOut
    from tripplan.model.plan import Plan
    from tripplan.model.trip import Trip
    from tripplan.region.region import Region
    from tripplan.request.rewriting import Rewritten
    from tripplan.schedule.suggest import Suggestion, Theme
    from tripplan.schedule.suggest_values import Valued

__all__ = ["command"]

_FILE: Any = click.Path(path_type=Path)
#: How long one loop is searched for before the best so far is taken, with its gap [s].
_SECONDS = 120.0
#: Hours of pick-up and return where none are told.
_PICK_UP_H, _RETURN_H = 10, 15
#: A usual car and van, where no papers tell; as `tripplan new` offers.
_OUTFIT = {"name": "car and van", "car_mass_kg": 1900, "van_mass_kg": 1300, "height_m": 2.6, "width_m": 2.3, "length_m": 11.5}
_FIRM = {"name": "the hire firm", "phone": "", "towing_limit_kmh": 80}


@click.command("suggest")
@region_option()
@click.option("--out", metavar="DIR", required=True, type=_FILE, help="Folder for the catalogue and the papers of each loop.")
@click.option("--trip", "trip_file", metavar="TRIP.toml", type=_FILE, help="A trip to start from; what is told beside it rules.")
@click.option(
    "--depot", metavar="PLACE", default="", help="Where the van is picked up and brought back: a name, or latitude, longitude."
)
@click.option("--nights", type=click.IntRange(1, 35), default=None, help="Nights of each loop.")
@click.option("--date", "day", metavar="YYYY-MM-DD", default="", help="Day of pick-up: it decides season, light and weather.")
@click.option("--van", "van_file", metavar="VAN.toml", type=_FILE, help="The van; without it, a usual four-berth.")
@click.option("--party", "party_file", metavar="PARTY.toml", type=_FILE, help="Who travels; without it, two adults.")
@click.option("--firm", "firm_file", metavar="FIRM.toml", type=_FILE, help="The firm's rules; without it, common ones.")
@click.option(
    "--outfit", "outfit_file", metavar="OUTFIT.toml", type=_FILE, help="Car and van on the road; without it, common ones."
)
@click.option(
    "--sights",
    "values_file",
    metavar="SIGHTS.csv",
    type=_FILE,
    help="What sights are worth: columns name and value_cents; 0: not to be offered.",
)
@click.option("--see", "asked", metavar="PLACE", multiple=True, help="A sight asked for; may be given again.")
@click.option("--theme", "wanted", metavar="NAME", multiple=True, help="Only this theme; may be given again.")
@click.option(
    "--most-sights",
    type=click.IntRange(1, 32),
    default=None,
    help="Sights a search may choose from; more takes longer.  [default: 12]",
)
@click.option("--seconds", type=click.FloatRange(1, 86_400), default=_SECONDS, show_default=True,
              help="Longest search for one loop; then the best so far, with its gap.")  # fmt: skip
@language_options
def command(
    region_file: Path, out: Path, trip_file: Path | None, depot: str, nights: int | None, day: str, van_file: Path | None, party_file: Path | None,
    firm_file: Path | None, outfit_file: Path | None, values_file: Path | None, asked: tuple[str, ...], wanted: tuple[str, ...], most_sights: int | None, seconds: float,
    language: str, units: str,
) -> int:  # fmt: skip
    """Suggest loops for a depot, a season, a van and a party, and write a catalogue with papers for each.

    Which sights to see is part of the search. Loops that differ by theme: the best of all, coast, hills, an easy first
    trip, no ferries, mains each night. Exit code 0: at least one loop. 1: none; nothing is written. 2: bad input.
    """
    from tripplan.cli.files import check_folder
    from tripplan.model.errors import BadInputError
    from tripplan.region.store import load
    from tripplan.report.language import language_for, language_named, speaking
    from tripplan.request.forms import Origin
    from tripplan.request.trip_file import trip_of
    from tripplan.schedule.suggest import MOST_SIGHTS, THEMES

    check_folder(out)
    language_named(language, units)
    known = {theme.key: theme for theme in THEMES}
    for name in wanted:
        if name not in known:
            raise BadInputError(
                f'there is no theme "{name}"', where="--theme", accepted=", ".join(known), next_step="choose one of them"
            )
    themes = [known[name] for name in dict.fromkeys(wanted)] or list(THEMES)
    options = {"van": van_file, "party": party_file, "firm": firm_file, "outfit": outfit_file}
    raw, path, text = _asked_for(trip_file, depot, nights, day, options)
    raw.update({name: said for name, said in (("language", language), ("units", units)) if said})
    region = load(region_file)
    base = trip_of(raw, path, region, Origin(str(trip_file) if trip_file else "the options", text))
    valued = _valued(region, values_file, asked)
    with speaking(language_for(base)):
        return _catalogue(raw, path, base, region, valued, themes, out, most_sights or MOST_SIGHTS, seconds)


def _asked_for(
    trip_file: Path | None, depot: str, nights: int | None, day: str, options: dict[str, Path | None]
) -> tuple[dict[str, Any], Path, str]:
    """Return the trip that all loops start from, as a trip file would hold it, and the file that its paths are relative to."""
    from tripplan.model.errors import BadInputError
    from tripplan.request.text_file import read_toml

    parts = {name: str(file.absolute()) for name, file in options.items() if file is not None}
    if trip_file is not None:
        raw, text = read_toml(trip_file)
        path = trip_file
    else:
        missing = [name for name, value in (("--depot", depot), ("--nights", nights), ("--date", day)) if not value]
        if missing:
            raise BadInputError(
                f"{', '.join(missing)} {'is' if len(missing) == 1 else 'are'} missing", where="options",
                accepted="--trip TRIP.toml, or --depot, --nights and --date", next_step="tell it",
            )  # fmt: skip
        raw, text, path = _usual(parts), "", Path.cwd() / "options"
    raw.update(parts)
    _put_ends(raw, depot, nights, day)
    return raw, path, text


def _usual(parts: dict[str, str]) -> dict[str, Any]:
    """Return a trip of two in a usual van, with barrel and flush tank filled at the yard."""
    from tripplan.pipeline import sample_folder
    from tripplan.request.parts import read_van
    from tripplan.request.text_file import read_toml

    party: Any = parts.get("party") or {"name": "two adults", "adults": 2}
    vans = sorted(
        (read_toml(file)[0] for file in sorted((sample_folder() / "vans").glob("*.toml"))), key=lambda van: int(van["berths"])
    )
    van = vans[-1]
    fresh, flush = van["fresh_l"], van["flush_l"]
    if "van" in parts:
        own = read_van(Path(parts["van"]))
        fresh, flush = own.fresh_l, own.flush_l
    return {
        "name": "loop", "van": parts.get("van") or van, "party": party, "firm": dict(_FIRM), "outfit": dict(_OUTFIT), "pick_up": {}, "return": {},
        "levels": {"fresh_l": float(fresh), "flush_l": float(flush)},
    }  # fmt: skip


def _put_ends(raw: dict[str, Any], depot: str, nights: int | None, day: str) -> None:
    """Put depot, day and nights as told into a trip that has them already or not."""
    from tripplan.model.errors import BadInputError

    start, end = dict(raw.get("pick_up") or {}), dict(raw.get("return") or {})
    if depot:
        start["place"] = depot
        end.pop("place", None)
    was, until = start.get("time"), end.get("time")
    try:
        first = datetime.strptime(day, "%Y-%m-%d").date() if day else None  # noqa: DTZ007 - a date at the place
    except ValueError:
        raise BadInputError(
            f'"{day[:40]}" is no date', where="--date", accepted="a date such as 2027-02-03", next_step="mend it"
        ) from None
    if isinstance(was, datetime) and isinstance(until, datetime):
        length = timedelta(days=nights) if nights is not None else timedelta(days=(until.date() - was.date()).days)
        begin = datetime.combine(first or was.date(), was.timetz())
        start["time"], end["time"] = begin, datetime.combine(begin.date() + length, until.timetz())
    elif first is not None and nights is not None:
        begin = datetime.combine(first, datetime.min.time()).replace(hour=_PICK_UP_H)
        start["time"], end["time"] = begin, begin.replace(hour=_RETURN_H) + timedelta(days=nights)
    raw["pick_up"], raw["return"] = start, end


def _valued(region: Region, values_file: Path | None, asked: tuple[str, ...]) -> tuple[Valued, ...]:
    """Return the sights with their values: by kind, by the operator's list, or asked for."""
    from tripplan.request.sight_values import load_values
    from tripplan.request.spots import find_spot
    from tripplan.schedule.suggest_values import ASKED_CENTS, Listed, value_sights

    listed = [
        Listed(spot, cents, "the operator's list") for spot, cents in (load_values(values_file, region) if values_file else ())
    ]
    listed += [Listed(find_spot(region, name, "--see", ("sight", "town", "site")), ASKED_CENTS, "asked for") for name in asked]
    return value_sights(region, listed)


def _catalogue(
    raw: dict[str, Any], path: Path, base: Trip, region: Region, valued: tuple[Valued, ...], themes: list[Theme], out: Path, most_sights: int, seconds: float,
) -> int:  # fmt: skip
    """Search theme by theme; what is found stands on the disk, papers before the page that links to them, before the next is begun."""
    from tripplan.cli.files import write_whole
    from tripplan.cli.progress import shown
    from tripplan.model.choice import LeftOut
    from tripplan.model.errors import NoPlanError
    from tripplan.pipeline import FailedAuditError, audited_plan
    from tripplan.report.catalogue import catalogue_page, catalogue_words
    from tripplan.report.language import spoken, tell, tell_n
    from tripplan.report.stale import clear, listed
    from tripplan.report.write import PAPERS, render_papers, write_rendered
    from tripplan.request.rewriting import WEATHER, rewritten
    from tripplan.schedule.suggest import suggestions

    kept: list[Suggestion] = []
    left: list[LeftOut] = []
    earlier = listed(out / "index.html")
    written: dict[str, Rewritten] = {}
    with shown() as progress:

        def solver(theme: Theme, trip: Trip) -> Plan:
            again = rewritten(
                raw, path, trip, region, name=f"{theme.title}: {count(trip.nights, 'night')} from {trip.depot.name}"
            )
            written[theme.key] = again
            try:
                return audited_plan(again.trip, region, progress=progress, max_seconds=seconds)
            except FailedAuditError:
                raise NoPlanError("its plan did not pass the re-check, a fault of tripplan's own") from None

        for found in suggestions(base, region, valued, solver, themes=themes, most_sights=most_sights, progress=progress):
            folder = ""
            if isinstance(found, LeftOut):
                left.append(found)
            else:
                kept.append(found)
                folder = f"{found.key}/"
                progress(f"Writing the papers: {found.title.lower()}", float("nan"))
                file = written[found.key]
                papers = render_papers(found.plan, region, language=spoken())
                out.mkdir(parents=True, exist_ok=True)
                write_rendered({**file.beside, "TRIP.toml": file.text.encode(), **papers}, out / found.key)
                write_whole(out / "index.html", catalogue_page(kept, left, base, region, {s.key: f"{s.key}/" for s in kept}))
            for line in catalogue_words(found, str(out / folder)):
                click.echo(line)
    if not kept:
        click.echo(tell("No loop can be suggested: nothing was written."))
        return 1
    write_whole(out / "index.html", catalogue_page(kept, left, base, region, {s.key: f"{s.key}/" for s in kept}))
    gone = [name for name in earlier if name not in {s.key for s in kept}]
    clear(out, gone, ("TRIP.toml", WEATHER, *PAPERS))
    click.echo("")
    click.echo(tell_n("{n} loop. Open {file}", "{n} loops. Open {file}", len(kept), file=str(out / "index.html")))
    return 0
