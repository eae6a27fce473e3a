"""`tripplan recheck`: does a plan handed out earlier still hold today, and what is the smallest repair."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

import click

from tripplan.cli.closures import brought_closures, closure_words, closures_option
from tripplan.cli.shared import count, plain, region_option

if TYPE_CHECKING:
    from tripplan.carry import Lines
    from tripplan.model.plan import Day, Finding, Plan
    from tripplan.recheck import Repair
    from tripplan.region.region import Region

__all__ = ["command"]


@click.command("recheck")
@click.argument("plan_file", metavar="PLAN.json", type=click.Path(path_type=Path))
@region_option("Today's region.")
@closures_option()
@click.option("--weather", "weather_file", metavar="DAYS.csv", type=click.Path(path_type=Path), help="Forecast, a row a day.")
@click.option(
    "--planned-on",
    "old_file",
    metavar="REGION",
    type=click.Path(path_type=Path),
    help="The region that the plan was made on; without it, the route.geojson beside the plan tells what was driven.",
)
@click.option("--out", metavar="DIR", type=click.Path(path_type=Path), help="Folder for the papers of the repaired plan.")
@click.option(
    "--seconds",
    type=click.FloatRange(0, 3600),
    default=120.0,
    show_default=True,
    help="How long to look for a repair; 0: not at all.",
)
def command(
    plan_file: Path,
    region_file: Path,
    closures: tuple[str, ...],
    weather_file: Path | None,
    old_file: Path | None,
    out: Path | None,
    seconds: float,
) -> int:
    """Say whether a plan still holds on today's map, closures and forecast, and what the smallest repair is.

    Exit code 0: it holds. 1: it does not; what no longer holds, and the repair, are told. 2: bad input.
    """
    from tripplan.cli.files import check_folder
    from tripplan.model.serial import MOST_PLAN_MB, plan_from_json
    from tripplan.recheck import past_words, recheck
    from tripplan.region.store import load
    from tripplan.request.climate_file import load_days
    from tripplan.request.text_file import read_text
    from tripplan.roads.matches import matches_told

    if out is not None:
        check_folder(out)
    plan = plan_from_json(read_text(plan_file, most_mb=MOST_PLAN_MB, accepted="a plan.json"), where=str(plan_file))
    region = load(region_file)
    lines = _lines(plan, plan_file, old_file, region)
    weather = load_days(weather_file, plan.trip.depot.lon, plan.trip.depot.lat) if weather_file else ()
    checked = recheck(plan, region, lines=lines, closures=lambda trip: brought_closures(trip, closures, region), weather=weather)
    trip = checked.plan.trip
    for line in closure_words(matches_told(region, trip.closures), trip.closures_left):
        click.echo(line)
    if over := past_words(plan, datetime.now().astimezone().date()):
        click.echo(plain(over))
    if checked.unknown_ways:
        click.echo(
            f"The lines of {count(checked.unknown_ways, 'leg')} are not known any more: today's quickest way was checked instead. "
            "Give the plan's own region with --planned-on, or keep route.geojson beside the plan."
        )
    for line in _figures(checked.figures):
        click.echo(line)
    if not checked.broken:
        click.echo(
            f"The plan holds on {plain(region.meta.name)} of {plain(region.meta.data_date)}: {count(len(plan.days), 'day')}, "
            f"{count(len(trip.closures), 'closure')} and wind warnings looked at." + (" Nothing is written." if out else "")
        )
        return 0
    click.echo(f"The plan no longer holds: {count(len(checked.broken), 'finding')}.")
    for f in checked.broken:
        click.echo(plain(f"  {f'day {f.day}' if f.day else 'whole trip':10}  {f.what}: {f.text}"))
    if seconds > 0:
        _mend(checked, region, out, seconds)
    return 1


def _lines(plan: Plan, plan_file: Path, old_file: Path | None, region: Region) -> Lines:
    """Return what is known of the lines driven, where the map is another one."""
    from tripplan.carry import lines_of_papers, lines_of_region
    from tripplan.model.errors import BadInputError
    from tripplan.model.serial import MOST_PLAN_MB
    from tripplan.region.store import load
    from tripplan.request.text_file import read_text

    if old_file is not None:
        return lines_of_region(plan, load(old_file))
    beside = plan_file.with_name("route.geojson")
    if plan.region_key == region.meta.key or not beside.is_file():
        return {}
    try:
        return lines_of_papers(plan, read_text(beside, most_mb=MOST_PLAN_MB, accepted="a route.geojson"))
    except (BadInputError, OSError):
        return {}


def _figures(found: tuple[Finding, ...]) -> list[str]:
    if not found:
        return []
    return [
        "Other figures than on the papers, which hold none the less:",
        *(plain(f"  {f'day {f.day}' if f.day else 'whole trip':10}  {f.text}") for f in found[:10]),
        *([f"  and {len(found) - 10} more"] if len(found) > 10 else []),
    ]


def _mend(checked, region: Region, out: Path | None, seconds: float) -> None:  # type: ignore[no-untyped-def]
    """Look for the smallest repair, tell it, and write its papers where they are wanted."""
    from tripplan.cli.hasten import folium_alone
    from tripplan.cli.progress import shown
    from tripplan.model.errors import NoPlanError
    from tripplan.recheck import repair
    from tripplan.report.write import write_papers

    try:
        with shown() as progress:
            mended = repair(checked, region, seconds=seconds, progress=progress)
    except NoPlanError as error:
        click.echo(plain(f"No repair: {error}"))
        return
    for line in _repair_words(checked.plan, mended):
        click.echo(plain(line))
    if out is not None:
        with shown() as progress:
            progress("Writing the papers", float("nan"))
            folium_alone()
            write_papers(mended.plan, region, out)
        click.echo(f"Papers of the repaired plan: {out}")


def _repair_words(before: Plan, mended: Repair) -> list[str]:
    from tripplan.model.words import day_name
    from tripplan.recheck import changed_days, repair_proof

    after, days = mended.plan, changed_days(before, mended.plan)
    kept = sum(1 for day in after.days if day.night is not None) - mended.moved
    lines = [
        f"The smallest repair: {count(kept, 'night')} of {kept + mended.moved} where they were, {mended.moved} elsewhere "
        f"({repair_proof(mended)}; {count(mended.tried, 'try', 'tries')} without a plan); {count(len(days), 'day')} "
        f"{'changes' if len(days) == 1 else 'change'}."
    ]
    for one, two in days:
        lines += [f"  Day {two.number}, {day_name(two.date)}: was {_day(one)}", f"      now {_day(two)}"]
        lines += [f"      {closure.text}" for closure in two.closures]
    return lines


def _day(day: Day) -> str:
    km = sum(leg.length_m for leg in day.legs) / 1000
    where = f"{day.start.name} to {day.end.name}" if day.kind == "towing" else f"the van stays at {day.end.name}"
    stops = [e.spot.name for e in day.events if e.kind in ("service", "sight") and e.spot is not None]
    return where + (f", {km:.0f} km" if km else "") + (f", by {', '.join(dict.fromkeys(stops))}" if stops else "")
