"""`tripplan check`: does a route or a recorded track keep to sealed roads, and which way to advise instead of a route."""

from __future__ import annotations

from datetime import date, datetime
from pathlib import Path
from typing import TYPE_CHECKING

import click

from tripplan.cli.shared import firm_option, language_options, outfit_option, plain, region_option

if TYPE_CHECKING:
    from tripplan.model.track import Track
    from tripplan.request.waypoints import WayPoint
    from tripplan.roads.check import CheckResult
    from tripplan.roads.track_check import TrackCheck

__all__ = ["command"]


@click.command("check")
@click.argument("file", metavar="FILE", type=click.Path(path_type=Path))
@region_option()
@outfit_option()
@firm_option()
@click.option(
    "--date",
    "day",
    metavar="YYYY-MM-DD",
    default="",
    help="Date of travel, for roads closed by season; without it, the track's own, else today.",
)
@click.option(
    "--as",
    "kind",
    metavar="KIND",
    default="auto",
    help="Take the file as `way-points` or as a recorded `track`; without it, the file tells.",
)
@click.option(
    "--json", "json_file", metavar="FILE", default=None, type=click.Path(path_type=Path), help="Write what was found as JSON too."
)
@click.option(
    "--map", "map_file", metavar="FILE", default=None, type=click.Path(path_type=Path), help="Write a map that opens offline too."
)
@language_options
def command(
    file: Path,
    region_file: Path,
    outfit_file: Path | None,
    firm_file: Path | None,
    day: str,
    kind: str,
    json_file: Path | None,
    map_file: Path | None,
    language: str,
    units: str,
) -> int:
    """Check way-points (CSV, GeoJSON, GPX route) or a recorded track (GPX, GeoJSON, KML) against a region.

    Exit code 0: nothing forbidden. 1: something is forbidden, driving over the limit among it, or no road joins some
    way-points. 2: bad input.

    The limit is the lowest of what is posted, the national towing limit, the outfit's and the firm's; a track with times is
    over it where noise and clocks cannot explain the speed. Where a leg keeps to allowed roads and the direct way is
    closed to the outfit or not sealed, the direct way is named if it is at least 2 km and a fifth shorter.
    """
    from tripplan.cli.progress import shown
    from tripplan.region.store import load
    from tripplan.report.check_words import found_words, head_words
    from tripplan.report.language import language_named, speaking
    from tripplan.request.brought import own_date
    from tripplan.request.towing_file import load_towing
    from tripplan.roads.cache import cache_folder
    from tripplan.roads.closures import closure_sets
    from tripplan.roads.terms import terms_for_firm

    tongue = language_named(language, units)
    asked = _date(day) if day else None
    brought = _brought(file, kind)
    region = load(region_file)
    outfit, firm = load_towing(outfit_file, firm_file)
    when = asked or own_date(brought, region.meta.tz) or datetime.now().astimezone().date()
    terms = terms_for_firm(outfit, firm, region, (when,))
    closures = closure_sets(region, (when,), outfit=outfit)[0]
    cache = cache_folder()
    result: CheckResult | TrackCheck
    with shown() as progress:
        if isinstance(brought, tuple):
            from tripplan.model.place import Spot
            from tripplan.roads.check import check
            from tripplan.roads.terms import terms_every_road

            spots = [Spot(p.name, p.name or f"way-point {n}", p.lon, p.lat) for n, p in enumerate(brought, 1)]
            result = check(region, spots, terms_every_road(terms), terms, closures, cache=cache, progress=progress)
        else:
            from tripplan.roads.track_check import check_track

            result = check_track(region, brought, terms, closures, cache=cache, progress=progress)
    with speaking(tongue):
        head = head_words(outfit, when, region)
        papers: dict[Path, str] = {}
        if json_file:
            from tripplan.report.check_json import check_json

            papers[json_file] = check_json(result, region, outfit, when)
        if map_file:
            from tripplan.report.check_map import check_map

            papers[map_file] = check_map(result, region, head, name=file.stem)
        for path, text in papers.items():
            _write(path, text)
        click.echo(plain(head))
        for line in found_words(result):
            click.echo(plain(line))
    return 1 if result.forbidden else 0


def _brought(file: Path, kind: str) -> tuple[WayPoint, ...] | Track:
    """Read the file as what it is, or as what it is said to be."""
    from tripplan.model.errors import BadInputError
    from tripplan.request.brought import load_brought

    if kind not in ("auto", "track", "way-points"):
        raise BadInputError(f"{kind!r} is no kind", where="--as", accepted="track or way-points", next_step="leave it out")
    return load_brought(file, kind)


def _write(path: Path, text: str) -> None:
    from tripplan.cli.files import write_whole
    from tripplan.model.errors import BadInputError

    try:
        write_whole(path, text)
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise BadInputError(f"cannot be written ({reason})", where=str(path), next_step="name another place") from None


def _date(text: str) -> date:
    from tripplan.model.errors import BadInputError

    try:
        return date.fromisoformat(text)
    except ValueError:
        raise BadInputError(
            f"{text!r} is no date", where="--date", accepted="YYYY-MM-DD", next_step="write 2027-02-06, say"
        ) from None
