"""`tripplan plan`: a trip file and a region in, a folder of papers out."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from tripplan.cli.closures import brought_closures, closure_words, closures_option
from tripplan.cli.shared import language_options, region_option, terminal_look

if TYPE_CHECKING:
    from tripplan.model.plan import Plan
    from tripplan.model.trip import Trip
    from tripplan.region.region import Region
    from tripplan.report.language import Language

__all__ = ["command", "plan_and_write"]

#: How long changes are looked for where no plan exists [s].
CHANGES_S = 30.0


@click.command("plan")
@click.argument("trip_file", metavar="TRIP.toml", type=click.Path(path_type=Path))
@region_option()
@click.option(
    "--out",
    metavar="DIR",
    required=True,
    type=click.Path(path_type=Path),
    help="Folder for the papers: map, day sheets, plan, files for maps, calendar and spreadsheet, pictures.",
)
@click.option(
    "--online-tiles", is_flag=True, help="Let the map also load street tiles when there is a network (off: it needs none)."
)
@click.option(
    "--changes",
    "changes_s",
    metavar="SECONDS",
    type=click.FloatRange(0, 3600),
    default=CHANGES_S,
    show_default=True,
    help="Where no plan exists: how long to look for the changes that would give one; 0: not at all.",
)
@click.option(
    "--choices",
    "with_choices",
    is_flag=True,
    help="Also plan for the shortest distance, least money and most comfort; each that really differs gets a folder of its own.",
)
@click.option(
    "--readings",
    "readings_file",
    metavar="FILE",
    type=click.Path(path_type=Path),
    help="On the way: levels read so far, and the plan followed. Habits and levels are corrected, and the rest is planned anew.",
)
@closures_option()
@language_options
def command(
    trip_file: Path,
    region_file: Path,
    out: Path,
    online_tiles: bool,
    changes_s: float,
    with_choices: bool,
    readings_file: Path | None,
    closures: tuple[str, ...],
    language: str,
    units: str,
) -> int:
    """Plan a trip, tell what was planned, and write map, day sheets and files for car, telephone and spreadsheet.

    Exit code 0: planned and audited. 1: no plan exists; the nearest is described, with the smallest changes
    that would give a plan, and nothing is written. 2: bad input.
    """
    from tripplan.cli.hasten import no_collections

    with no_collections():
        from tripplan.cli.files import check_folder
        from tripplan.region.store import load

        check_folder(out)
        return plan_and_write(
            trip_file, load(region_file), out, online_tiles=online_tiles, changes_s=changes_s, with_choices=with_choices,
            readings_file=readings_file, closures=closures, language=language, units=units,
        )  # fmt: skip


def plan_and_write(
    trip_file: Path,
    region: Region,
    out: Path,
    *,
    online_tiles: bool = False,
    changes_s: float = CHANGES_S,
    with_choices: bool = False,
    readings_file: Path | None = None,
    closures: tuple[str, ...] = (),
    language: str = "",
    units: str = "",
) -> int:
    """Plan, audit, write, and say what came out, in a language; without, as the trip says. Returns the exit code."""
    from tripplan.report.language import language_for, speaking
    from tripplan.request.trip_file import load_trip

    trip = load_trip(trip_file, region)
    if readings_file is not None:
        trip = _rest(readings_file, trip, region)
    trip = brought_closures(trip, closures, region)
    with speaking(language_for(trip, language, units)) as tongue:
        return _planned(trip, region, out, tongue, online_tiles=online_tiles, changes_s=changes_s, with_choices=with_choices)


def _planned(
    trip: Trip, region: Region, out: Path, tongue: Language, *, online_tiles: bool, changes_s: float, with_choices: bool
) -> int:
    """Plan, audit, write, and say what came out, in the language spoken."""
    from tripplan.cli.hasten import folium_alone
    from tripplan.cli.progress import shown
    from tripplan.model.errors import NoPlanError
    from tripplan.pipeline import audited_plan, ways_out
    from tripplan.report.words import no_plan_words, remedy_words, summary
    from tripplan.report.write import begin_papers, write_papers

    try:
        with shown() as progress:
            plan = audited_plan(trip, region, progress=progress)
    except NoPlanError as error:
        for line in no_plan_words(error):
            click.echo(line)
        if changes_s > 0:
            with shown() as progress:
                found = ways_out(trip, region, error, seconds=changes_s, progress=progress)
            for line in remedy_words(found, trip):
                click.echo(line)
        return 1
    with shown() as progress:
        progress("Writing the papers", float("nan"))
        begun = begin_papers(plan, region, language=tongue)
        folium_alone()
        papers = write_papers(plan, region, out, online_tiles=online_tiles, begun=begun, language=tongue)
    bars, width = terminal_look()
    for line in (*closure_words(plan.closures, trip.closures_left), *_learned(trip, plan), *_first_of_all(plan)):
        click.echo(line)
    for line in summary(plan, papers, bars=bars, width=width):
        click.echo(line)
    if with_choices:
        for line in _choices(trip, region, plan, out, tongue, online_tiles=online_tiles):
            click.echo(line)
    return 0


def _rest(path: Path, trip: Trip, region: Region) -> Trip:
    """Return the rest of a trip, corrected by what was read."""
    from tripplan.request.readings_file import load_readings
    from tripplan.schedule.rest import rest_of

    readings, followed = load_readings(path, region, trip)
    return rest_of(trip, followed, readings, region)


def _learned(trip: Trip, plan: Plan) -> list[str]:
    """Return what the readings have told, in lines; none where nothing was read."""
    from tripplan.report.language import tell
    from tripplan.report.retell import retell
    from tripplan.report.safe import plain

    under_way = trip.under_way
    if under_way is None:
        return []
    tasks = [f"Now, by {trip.pick_up:%H:%M}, at {trip.depot.name}: {', '.join(under_way.tasks)}"] if under_way.tasks else []
    # What failed before comes last, nearest to the plan: its note of the first day names where else to go.
    failed = [note for note in plan.days[0].notes if any(note.startswith(text) for _, text in under_way.failed)]
    return [tell("From your readings:"), *(f"  {plain(retell(line))}" for line in (*under_way.told, *tasks, *failed)), ""]


def _first_of_all(plan: Plan) -> list[str]:
    """Return what must be done first where a store is past its limit already, in lines."""
    from tripplan.report.retell import retell
    from tripplan.report.safe import plain

    return [*(plain(retell(one.text)) for one in plan.overdue), ""] if plan.overdue else []


def _choices(trip: Trip, region: Region, first: Plan, out: Path, tongue: Language, *, online_tiles: bool) -> list[str]:
    """Plan by the other measures, write the papers of each plan that really differs and a page that compares them."""
    from tripplan.cli.files import write_whole
    from tripplan.cli.progress import shown
    from tripplan.pipeline import other_plans
    from tripplan.report.choices import choice_words, choices_page
    from tripplan.report.language import tell
    from tripplan.report.write import map_paper, write_papers, write_rendered

    with shown() as progress:
        found = other_plans(trip, region, first, progress=progress)
        folders = {choice.key: f"choice-{choice.key}/" for choice in found.shown[1:]}
        for choice in found.shown[1:]:
            progress(f"Writing the papers: {choice.title.lower()}", float("nan"))
            write_papers(choice.plan, region, out / folders[choice.key], online_tiles=online_tiles, language=tongue)
        if found.shown[1:]:
            progress("Writing the map with the other plans", float("nan"))
            others = [(tell(choice.title), choice.plan) for choice in found.shown[1:]]
            write_rendered({"map.html": map_paper(first, region, online_tiles=online_tiles, alternatives=others)}, out)
    folders[found.shown[0].key] = ""
    write_whole(out / "choices.html", choices_page(found, trip, folders))
    named = {key: str(out / folder) for key, folder in folders.items()}
    return ["", *choice_words(found, trip, named), f"  {out / 'choices.html'}  " + tell("the plans beside each other")]
