"""Local knowledge on the command line: added to a region, listed, and asked for where it matters most."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from tripplan.cli.files import write_whole
from tripplan.cli.shared import count, firm_option, outfit_option, plain

if TYPE_CHECKING:
    from tripplan.region.region import Region
    from tripplan.request.local_files import LocalFile
    from tripplan.roads.doubts import Doubts

__all__ = [
    "add_command", "climate_lines", "climate_option", "doubts_command", "local_lines", "local_options", "merge", "read_local", "with_climate",
]  # fmt: skip

#: Effects listed before the rest is counted.
_LISTED = 40
#: Weather stations named before the rest is counted.
_NAMED = 12


def local_options(function: Callable[..., Any]) -> Callable[..., Any]:
    """Give a command --local and --map."""
    function = click.option(
        "--map", "maps", metavar="MAPPING", multiple=True,
        help='How a --local file with other columns is read: "name=NAME,lat=Y,lon=X,role:=dump", or a .toml file. '
        'With several files begin it with the file\'s name: "stations.csv: lat=Y,...".',
    )(function)  # fmt: skip
    return click.option(
        "--local", "local", metavar="FILE", multiple=True, type=click.Path(path_type=Path),
        help="Own places or road notes, .csv or .geojson; may be given several times.",
    )(function)  # fmt: skip


def climate_option(function: Callable[..., Any]) -> Callable[..., Any]:
    """Give a command --climate."""
    return click.option(
        "--climate", "climate", metavar="FILE", default=None, type=click.Path(path_type=Path),
        help="Climate table, .csv: station, lat, lon, month, mean_c, low_c, high_c, sun_kwh_per_m2 (or cloud_share).",
    )(function)  # fmt: skip


def with_climate(region: Region, climate: Path | None) -> Region:
    """Put a climate table into a region, in the place of one that it has."""
    if climate is None:
        return region
    from dataclasses import replace

    from tripplan.request.climate_file import load_climate

    return replace(region, climate=load_climate(climate))


def climate_lines(region: Region) -> list[str]:
    """List the weather stations of a region."""
    if not region.climate:
        return ["Climate table: none, so that weather is guessed by latitude and date unless a trip has its own"]
    names = [s.name for s in region.climate]
    shown = ", ".join(names[:_NAMED]) + (f" and {len(names) - _NAMED} more" if len(names) > _NAMED else "")
    sources = ", ".join(dict.fromkeys(s.source for s in region.climate if s.source))
    return [f"Climate table: {len(names)} stations ({sources}): {shown}", *useless_climate(region)]


def useless_climate(region: Region) -> list[str]:
    """Say that no station of the climate table lies within reach of the region; nothing where one does."""
    from tripplan.almanac.normals import FARTHEST_KM, nearest_km

    west, south, east, north = region.meta.bbox
    middle, half = west + (east - west) % 360 / 2, (east - west) % 360 / 2
    by_station = (  # from each station to the point of the region's box that is nearest to it
        nearest_km([s], [(middle + min(max((s.lon - middle + 180) % 360 - 180, -half), half), min(max(s.lat, south), north))])
        for s in region.climate
    )
    km, name = min(by_station, default=(0.0, ""))
    if km <= FARTHEST_KM:
        return []
    return [
        f"The climate table is of no use here: no station lies within {FARTHEST_KM:g} km of the region, the nearest, {name}, is {km:,.0f} km away; "
        "are latitude and longitude right? Weather is guessed by latitude and date unless a trip has its own"
    ]


def read_local(local: Sequence[Path], maps: Sequence[str]) -> tuple[LocalFile, ...]:
    """Read files of local knowledge, each with its mapping."""
    if not local and not maps:
        return ()
    from tripplan.request.local_columns import read_mapping
    from tripplan.request.local_files import load_locals

    return load_locals(local, [read_mapping(text) for text in maps])


def merge(region: Region, files: Sequence[LocalFile], without: Sequence[str] = ()) -> Region:
    """Merge what was read into a region."""
    if not files and not without:
        return region
    from tripplan.region.local import add_local

    return add_local(region, [note for file in files for note in file.notes], without=without)


@click.command("add")
@click.argument("region_file", metavar="REGION", type=click.Path(path_type=Path))
@local_options
@click.option(
    "--without", metavar="NAME", multiple=True, help="Take the notes of a file of this name out; may be given several times."
)
@climate_option
@click.option("--out", metavar="REGION2", required=True, type=click.Path(path_type=Path), help="File to write.")
def add_command(
    region_file: Path, local: tuple[Path, ...], maps: tuple[str, ...], without: tuple[str, ...], climate: Path | None, out: Path
) -> int:
    """Add local knowledge or a climate table to a prepared region, or take local knowledge out again.

    A file of the same name as before takes the place of its earlier notes.
    """
    from tripplan.cli.progress import shown
    from tripplan.model.errors import BadInputError
    from tripplan.region.store import load, save

    if not local and not without and climate is None:
        raise BadInputError(
            "nothing to add",
            where="region add",
            accepted="--local FILE, --climate FILE or --without NAME",
            next_step="name a file",
        )
    check_out(out)
    files = read_local(local, maps)
    region = load(region_file)
    with shown() as progress:
        progress("Merging local knowledge", float("nan"))
        made = with_climate(merge(region, files, without), climate)
        progress("Saving", float("nan"))
        save(made, out)
    for line in told(files):
        click.echo(plain(line))
    for line in (*local_lines(made), *climate_lines(made)):
        click.echo(plain(line))
    click.echo(f"Written to {out}.")
    return 0


@click.command("doubts")
@click.argument("region_file", metavar="REGION", type=click.Path(path_type=Path))
@click.option(
    "--top", metavar="N", default=20, show_default=True, type=click.IntRange(1, 5000), help="Most roads, and most offers."
)
@click.option(
    "--out", metavar="FILE.csv", default=None, type=click.Path(path_type=Path), help="Write them to be answered, for --local."
)
@outfit_option("Whose routes count; without it, a common one's.")
@firm_option("Whose rules hold; without it, common ones.")
def doubts_command(region_file: Path, top: int, out: Path | None, outfit_file: Path | None, firm_file: Path | None) -> int:
    """List what to find out first: roads of presumed or unknown surface and offers in doubt, by the routes that depend on them."""
    from tripplan.cli.progress import shown
    from tripplan.region.store import load
    from tripplan.request.towing_file import load_towing
    from tripplan.roads.cache import cache_folder
    from tripplan.roads.doubts import find_doubts
    from tripplan.roads.terms import terms_for_firm

    if out is not None:
        check_out(out)
        _check_new(out)
    region = load(region_file)
    outfit, firm = load_towing(outfit_file, firm_file)
    with shown() as progress:
        terms = terms_for_firm(outfit, firm, region)
        found = find_doubts(region, terms, top=top, cache=cache_folder(), progress=progress)
    for line in _doubt_lines(found):
        click.echo(plain(line))
    if out is not None:
        write_whole(out, _doubts_csv(found), encoding="utf-8-sig")  # the mark tells spreadsheets that it is UTF-8
        click.echo(
            f"Written to {out}. Fill in its `answer` column where you know, then: tripplan region add {region_file} --local {out} --out ..."
        )
    return 0


def check_out(out: Path) -> None:
    """Refuse a file that cannot be written before any work is done."""
    from tripplan.model.errors import BadInputError

    if out.is_dir():
        raise BadInputError(f"{out} is a folder", where="--out", accepted="a file to write", next_step="name a file in it")
    if not out.resolve().parent.is_dir():
        raise BadInputError(
            f"{out.parent} is no folder", where="--out", accepted="a file in a folder that exists", next_step="make the folder first"
        )  # fmt: skip


def _check_new(out: Path) -> None:
    """Refuse to write a list over one that somebody may have filled in."""
    from tripplan.model.errors import BadInputError

    if out.exists():
        raise BadInputError(
            f"{out} is there already, perhaps with answers in it", where="--out", accepted="a new file", next_step="name another one"
        )  # fmt: skip


def told(files: Sequence[LocalFile]) -> list[str]:
    """Say what was read."""
    lines = []
    for file in files:
        open_rows = f", {count(file.unanswered, 'row')} without an answer passed over" if file.unanswered else ""
        lines.append(f"Read {file.name}: {count(len(file.notes), 'note')}{open_rows}.")
    return lines


def local_lines(region: Region, *, every: bool = False) -> list[str]:
    """List the local knowledge of a region: each note with its source and what it did."""
    if region.local is None:
        return ["Local knowledge: none."]
    notes, effects = region.local.notes, region.local.effects
    lines = [f"Local knowledge: {count(len(notes), 'note')}; each goes before the map"]
    for note, effect in list(zip(notes, effects, strict=True))[: None if every else _LISTED]:
        source = note.source
        who = ", ".join(part for part in (source.where, source.author, source.noted) if part)
        lines.append(f"  {effect} [{who}]")
    if len(notes) > len(lines) - 1:
        lines.append(f"  and {len(notes) - len(lines) + 1} more: `tripplan region show REGION --notes` lists all")
    return lines


# ------------------------------------------------------------------------------------------------- doubts


def _doubt_lines(found: Doubts) -> list[str]:
    from math import isfinite

    from tripplan.roads.doubts import DAY_S, next_known
    from tripplan.rules.presume import percent_likely

    left = f" ({found.left_out:,} more left out)" if found.left_out else ""
    lines = [
        f"{found.routes:,} routes of up to {DAY_S / 3600:g} h between {found.spots} places{left}; {found.routes_if_sealed:,} if every unknown road were sealed",
        "", "Roads in doubt", f"  {'share':>7}{'routes':>8}{'if sealed':>11}{'km':>7}  {'now':9} road",
    ]  # fmt: skip
    for road in found.roads:
        name = f"{road.name or road.road}{f' ({road.ref})' if road.ref else ''}, {road.road}, near {road.town or f'{road.lat:.4f}, {road.lon:.4f}'}"
        lines.append(
            f"  {road.share:7.1%}{road.routes:8,}{road.if_sealed:11,}{road.length_m / 1000:7.1f}  {road.now:9} way {road.way} {name}"
        )
        told = isfinite(road.sealed_p) and "likely sealed" not in road.evidence
        lines.append(f"{'':36}{f'{percent_likely(road.sealed_p)}% likely sealed: ' if told else ''}{road.evidence}")
    if not found.roads:
        lines.append("  none that a route depends on")
    lines += ["", "Offers in doubt", f"  {'share':>7}{'routes':>8}  {'now':9} {'offer':9} place"]
    for offer in found.offers:
        lines.append(
            f"  {offer.share:7.1%}{offer.routes:8,}  {offer.now:9} {offer.offer:9} {offer.ref} {offer.name or offer.kind} ({offer.kind}, near {offer.town})"
        )
        lines.append(f"{'':29}{offer.evidence}; {next_known(offer)}")
    if not found.offers:
        lines.append("  none that a route passes")
    return lines


_COLUMNS = (
    "what", "way", "ref", "offer", "name", "road_ref", "class", "length_m", "lat", "lon", "town", "routes", "share_percent", "now", "sealed_percent", "evidence",
    "answer", "author", "date",
)  # fmt: skip


def _doubts_csv(found: Doubts) -> str:
    """Return doubts as a file that --local takes once it is answered."""
    import csv
    import io
    from math import isfinite

    from tripplan.report.safe import csv_cell
    from tripplan.roads.doubts import next_known
    from tripplan.rules.presume import percent_likely

    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(_COLUMNS)
    for road in found.roads:
        writer.writerow(
            ["road", road.way, "", "", csv_cell(road.name), csv_cell(road.ref), road.road, round(road.length_m), f"{road.lat:.6f}", f"{road.lon:.6f}",
             csv_cell(road.town), max(road.routes, road.if_sealed), f"{100 * road.share:.1f}", road.now,
             percent_likely(road.sealed_p) if isfinite(road.sealed_p) else "", csv_cell(road.evidence), "", "", ""]
        )  # fmt: skip
    for offer in found.offers:
        writer.writerow(
            ["offer", "", offer.ref, offer.offer, csv_cell(offer.name), "", offer.kind, "", f"{offer.lat:.6f}", f"{offer.lon:.6f}",
             csv_cell(offer.town), offer.routes, f"{100 * offer.share:.1f}", offer.now, "", csv_cell(f"{offer.evidence}; {next_known(offer)}"), "", "", ""]
        )  # fmt: skip
    return out.getvalue()
