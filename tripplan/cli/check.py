"""`tripplan check`: does a route that somebody brings keep to sealed roads, and which way to advise instead."""

from __future__ import annotations

from datetime import date, datetime
from pathlib import Path
from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from tripplan.roads.check import CheckResult

__all__ = ["command"]


@click.command("check")
@click.argument("file", metavar="FILE", type=click.Path(path_type=Path))
@click.option(
    "--region",
    "region_file",
    metavar="REGION",
    required=True,
    type=click.Path(path_type=Path),
    help="A region made by `tripplan region build`.",
)
@click.option(
    "--outfit",
    "outfit_file",
    metavar="OUTFIT.toml",
    default=None,
    type=click.Path(path_type=Path),
    help="The outfit; without it, a common one.",
)
@click.option(
    "--firm",
    "firm_file",
    metavar="FIRM.toml",
    default=None,
    type=click.Path(path_type=Path),
    help="The firm's rules; without it, common ones.",
)
@click.option(
    "--date", "day", metavar="YYYY-MM-DD", default="", help="Date of travel, for roads closed by season; without it, today."
)
def command(file: Path, region_file: Path, outfit_file: Path | None, firm_file: Path | None, day: str) -> int:
    """Check way-points (CSV, GeoJSON, GPX route) against a region.

    Exit code 0: nothing forbidden. 1: something is forbidden, or the way-points cannot be joined. 2: bad input.
    """
    from tripplan.cli.progress import shown
    from tripplan.model.place import Spot
    from tripplan.region.store import load
    from tripplan.request.towing_file import load_towing
    from tripplan.request.waypoints import load_waypoints
    from tripplan.roads.cache import cache_folder
    from tripplan.roads.check import check
    from tripplan.roads.closures import closure_sets
    from tripplan.roads.terms import terms_every_road, terms_for_firm

    when = _date(day)
    points = load_waypoints(file)
    region = load(region_file)
    outfit, firm = load_towing(outfit_file, firm_file)
    terms = terms_for_firm(outfit, firm, region, (when,))
    closures = closure_sets(region, (when,))[0]
    spots = [Spot(p.name, p.name or f"way-point {n}", p.lon, p.lat) for n, p in enumerate(points, 1)]
    with shown() as progress:
        result = check(region, spots, terms_every_road(terms), terms, closures, cache=cache_folder(), progress=progress)
    click.echo(
        _plain(
            f"Checked for {outfit.name}, {outfit.height_m:g} m high, {outfit.mass_kg:,.0f} kg, on {when:%d %B %Y}, map data of {region.meta.data_date}."
        )
    )
    for line in _lines(result):
        click.echo(_plain(line))
    return 1 if result.forbidden else 0


def _date(text: str) -> date:
    from tripplan.model.errors import BadInputError

    if not text:
        return datetime.now().astimezone().date()
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise BadInputError(
            f"{text!r} is no date", where="--date", accepted="YYYY-MM-DD", next_step="write 2027-02-06, say"
        ) from None


def _lines(result: CheckResult) -> list[str]:
    names = [spot.name for spot in result.waypoints]
    lines = [
        f"The way as brought: {result.length_m / 1000:.1f} km, {_time(result.total_s)} at towing speed, by {len(names)} way-points."
    ]
    for gap in result.gaps:
        lines.append(f"  FORBIDDEN  {_between(names, gap.first, gap.second)}: {gap.why}")
    for s in result.stretches:
        grade = "FORBIDDEN" if s.forbidden else "phone first" if s.phone_first else s.kind
        road = " ".join(part for part in (s.ref, s.name) if part) or "unnamed road"
        near = f", {s.town_km:.1f} km from {s.town}" if s.town else ""
        size = f"{s.length_m:,.0f} m" if s.length_m else "at a point"
        lines.append(
            f"  {grade:11}  km {s.from_m / 1000:7.1f}  {size:>9}  {road} (way {s.osm_way}): {'; '.join(s.why)}; at {s.lat:.5f}, {s.lon:.5f}{near}"
        )
    forbidden = [s for s in result.stretches if s.forbidden]
    if result.forbidden:
        metres = sum(s.length_m for s in forbidden)
        lines.append(f"This way must not be driven with the van: {len(forbidden)} forbidden stretches, {metres / 1000:.1f} km.")
    else:
        presumed = sum(s.length_m for s in result.stretches if s.kind == "presumed")
        lines.append(
            f"Nothing forbidden. {presumed / 1000:.1f} km are presumed sealed: untagged, but the map's evidence is good."
        )
    if not result.sealed_way:
        lines.append("No sealed way:")
        lines += [f"  {_between(names, gap.first, gap.second)}: {gap.why}" for gap in result.advised_gaps]
    elif result.forbidden:
        km = sum(leg.length_m for leg in result.advised) / 1000
        seconds = sum(leg.drive_s + leg.ferry_s for leg in result.advised)
        more = f", {result.more_km:+.1f} km and {result.more_min:+.0f} min" if result.more_km == result.more_km else ""
        lines.append(f"Advise instead a way on sealed roads: {km:.1f} km, {_time(seconds)}{more}.")
        lines += [f"  {_between(names, gap.first, gap.second)} is left out: {gap.why}" for gap in result.advised_gaps]
    return lines


def _between(names: list[str], first: int, second: int) -> str:
    return f"{names[first]} to {names[second]}" if second >= 0 else names[first]


def _time(seconds: float) -> str:
    minutes = round(seconds / 60)
    return f"{minutes // 60} h {minutes % 60:02d} min"


def _plain(text: str) -> str:
    return "".join(c if c.isprintable() else "\ufffd" for c in text)
