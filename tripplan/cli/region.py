"""`tripplan region`: prepare a map once, and see what it knows."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from tripplan.cli.region_local import (
    add_command,
    check_out,
    climate_lines,
    climate_option,
    doubts_command,
    local_lines,
    local_options,
    merge,
    read_local,
    told,
    useless_climate,
    with_climate,
)
from tripplan.cli.shared import count, firm_option, outfit_option, plain

if TYPE_CHECKING:
    from tripplan.model.trip import Firm
    from tripplan.region.coverage import Coverage
    from tripplan.region.region import Region

__all__ = ["command"]

#: Places out of reach that are named before the rest is counted.
_NAMED = 20


@click.group("region")
def command() -> None:
    """Prepare a map, and show what it knows."""


command.add_command(add_command)
command.add_command(doubts_command)


@command.command("build")
@click.argument("file", metavar="[FILE]", required=False, type=click.Path(path_type=Path))
@click.option("--place", metavar="NAME", default="", help="Fetch a named place live instead of reading a file.")
@click.option("--out", metavar="REGION", required=True, type=click.Path(path_type=Path), help="File to write.")
@click.option("--name", default="", help="What to call the region; without it, the file's or the place's name.")
@local_options
@climate_option
def build_command(
    file: Path | None, place: str, out: Path, name: str, local: tuple[Path, ...], maps: tuple[str, ...], climate: Path | None
) -> int:
    """Prepare a region from FILE (.osm.pbf, .osm, .osm.gz, .osm.bz2), or live with --place."""
    from tripplan.cli.hasten import no_collections
    from tripplan.cli.progress import shown
    from tripplan.model.errors import BadInputError
    from tripplan.model.leftovers import sweep
    from tripplan.region.build import build
    from tripplan.region.coverage import coverage
    from tripplan.region.store import save

    if (file is None) == (not place):
        raise BadInputError(
            "needs a FILE or --place NAME, one of them", where="region build", next_step="see `tripplan region build --help`"
        )
    check_out(out)
    notes = read_local(local, maps)
    with no_collections(), shown() as progress:
        if file is not None:
            region = build(file, name=name, progress=progress)
        else:
            from tripplan.osm.live import read_place

            region = build(read_place(place, progress=progress), name=name or place, progress=progress)
        region = with_climate(merge(region, notes), climate)
        progress("Saving", float("nan"))
        sweep(out)
        save(region, out)
    for line in told(notes):
        click.echo(plain(line))
    for line in useless_climate(region):
        click.echo(plain(line))
    found = coverage(region)
    km = sum(row.km for row in found.roads)
    click.echo(
        plain(
            f"Prepared {region.meta.name or out.stem}: {km:,.0f} km of road, {len(region.places):,} places, data of {found.data_date}."
        )
    )
    if found.faults:
        click.echo(
            plain("Met in the map: " + "; ".join(f"{what} {count:,}" for what, count in sorted(found.faults.items())) + ".")
        )
    click.echo(f"Written to {out}. See what it knows with: tripplan region show {out}")
    return 0


@command.command("show")
@click.argument("region_file", metavar="REGION", type=click.Path(path_type=Path))
@outfit_option("Whose reach to count; without it, a common one.")
@firm_option("Whose rules hold; without it, common ones.")
@click.option("--notes", is_flag=True, help="List all local knowledge, not only the first of it.")
def show_command(region_file: Path, outfit_file: Path | None, firm_file: Path | None, notes: bool) -> int:
    """Print what a region knows and what it does not."""
    from tripplan.cli.progress import shown
    from tripplan.region.coverage import coverage
    from tripplan.region.store import load
    from tripplan.request.towing_file import load_towing

    region = load(region_file)
    outfit, firm = load_towing(outfit_file, firm_file)
    with shown() as progress:
        reach = _reach(region, outfit, firm, progress)
    for line in _lines(region, coverage(region, outfit, reach), outfit.name, reach):
        click.echo(plain(line))
    for line in ("", *local_lines(region, every=notes), *climate_lines(region)):
        click.echo(plain(line))
    return 0


def _reach(region: Region, outfit: object, firm: Firm, progress: object) -> dict[int, str]:
    """Say for each place whether the outfit reaches it: "" or why not."""
    from tripplan.model.place import Spot
    from tripplan.roads.cache import cache_folder
    from tripplan.roads.join import join
    from tripplan.roads.network import open_network
    from tripplan.roads.terms import terms_for_firm

    network = open_network(region, terms_for_firm(outfit, firm, region), None, cache=cache_folder(), progress=progress)  # type: ignore[arg-type]
    spots = [Spot(p.ref, p.name, p.lon, p.lat, p.index) for p in region.places if p.role != "sight"]
    joined = join(network, spots, progress=progress)  # type: ignore[arg-type]
    return {spot.place: why for spot, why in zip(spots, joined.why_not, strict=True)}


def _lines(region: Region, found: Coverage, outfit_name: str, reach: dict[int, str]) -> list[str]:
    how = "" if found.country_how in ("", "not known") else f" ({found.country_how})"
    country = f"{found.country or 'not known'}{how}"
    lines = [
        f"{found.name}: data of {found.data_date}; country {country}; time zone {found.tz}",
        "",
        "Kilometres of road by surface",
    ]
    lines.append(
        f"  {'class':16}{'sealed':>9}{'presumed':>10}{'unknown':>9}{'unsealed':>10}{'closed to a van':>17}{'too small':>11}"
    )
    lines += [
        f"  {row.road:16}{row.sealed_km:9,.1f}{row.presumed_km:10,.1f}{row.unknown_km:9,.1f}{row.unsealed_km:10,.1f}"
        f"{row.closed_km:17,.1f}{row.small_km:11,.1f}"
        for row in found.roads
    ]
    sums = [
        sum(getattr(row, k) for row in found.roads)
        for k in ("sealed_km", "presumed_km", "unknown_km", "unsealed_km", "closed_km", "small_km")
    ]
    lines.append(f"  {'all':16}{sums[0]:9,.1f}{sums[1]:10,.1f}{sums[2]:9,.1f}{sums[3]:10,.1f}{sums[4]:17,.1f}{sums[5]:11,.1f}")
    if found.surfaces:
        lines += ["", "Roads whose surface the map does not tell"]
        lines += [f"  {road}: {text}" for road, text in found.surfaces.items()]
    lines += ["", "Places, and what they offer as the map tells; of the places not counted it tells nothing"]
    for offer_row in found.places:
        if offer_row.role == "sight":
            lines.append(f"  sights: {offer_row.places}")
            continue
        admit = f", {offer_row.admit} admit a van" if offer_row.role == "site" else ""
        lines.append(f"  {offer_row.kind or offer_row.role}: {offer_row.places}{admit}")
        told = [f"{word}: {_answers(*answers)}" for word, answers in offer_row.offers.items() if any(answers[:1] + answers[2:])]
        lines += [f"      {line}" for line in told or ["nothing tagged"]]
    if found.reached:
        lines += ["", f"Reached by {outfit_name} on sealed and presumed roads"]
        lines += [f"  {role}: {hit} of {count}" for role, (hit, count) in found.reached.items()]
        lines += _unreached(region, reach)
    lines += ["", f"Named towns and villages: {found.towns}. Turn restrictions: {found.turn_restrictions}."]
    faults = "; ".join(f"{what} {count:,}" for what, count in sorted(found.faults.items()))
    lines.append(f"Faults met in the map: {faults or 'none'}.")
    lines.append(found.attribution)
    return lines


def _answers(no: int, _unknown: int, presumed: int, yes: int) -> str:
    told = ((yes, "yes"), (presumed, "presumed"), (no, "no"))
    return ", ".join(f"{number} {word}" for number, word in told if number)


def _unreached(region: Region, reach: dict[int, str]) -> list[str]:
    """Name the places that the outfit does not reach, sites first, each with its reason."""
    rows = sorted((region.places[row].role != "site", row) for row, why in reach.items() if why)
    lines = []
    for _, row in rows[:_NAMED]:
        place = region.places[row]
        lines.append(f"      not {place.name or place.ref} ({place.role}): {reach[row]}")
    if len(rows) > _NAMED:
        lines.append(f"      and {count(len(rows) - _NAMED, 'more place')}")
    return lines
