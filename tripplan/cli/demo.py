"""`tripplan demo`: plan a sample trip on the embedded island and say what came out."""

from __future__ import annotations

from pathlib import Path

import click

from tripplan.cli.shared import language_options

__all__ = ["command"]


@click.command("demo")
@click.option(
    "--trip", "trip_name", default="", metavar="NAME", help="Which sample trip; without it, the first. `--list` names them."
)
@click.option("--list", "list_trips", is_flag=True, help="Name the sample trips and stop.")
@click.option(
    "--out",
    type=click.Path(path_type=Path),
    default=Path("my-trip"),
    show_default=True,
    help="Folder for the papers.",
)
@click.option(
    "--copy",
    "copy_to",
    metavar="DIR",
    default=None,
    type=click.Path(path_type=Path),
    help="Copy the sample files to change them, and stop.",
)
@language_options
def command(trip_name: str, list_trips: bool, out: Path, copy_to: Path | None, language: str, units: str) -> int:
    """Plan a sample trip on an invented island: nothing to prepare, nothing to fetch."""
    from tripplan.cli.files import check_folder
    from tripplan.cli.plan import plan_and_write
    from tripplan.cli.progress import shown
    from tripplan.model.errors import BadInputError
    from tripplan.pipeline import sample_folder, sample_region
    from tripplan.report.language import language_named, speaking, tell

    trips = {path.stem.removeprefix("trip_"): path for path in sorted(sample_folder().glob("trip_*.toml"))}
    if list_trips:
        for name, path in trips.items():
            click.echo(f"{name:24} {_first_comment(path)}")
        return 0
    if copy_to is not None:
        return _copy(copy_to)
    if trip_name and trip_name not in trips:
        raise BadInputError(
            f"no sample trip {trip_name!r}", where="--trip", accepted=", ".join(trips), next_step="choose one of them"
        )
    check_folder(out)
    path = trips[trip_name] if trip_name else next(iter(trips.values()))
    tongue = language_named(language, units)
    with speaking(tongue):
        click.echo(tell("This is an invented island, an invented hire firm and invented people: a trip to try tripplan with."))
    with shown() as progress:
        region = sample_region(progress=progress)
    code = plan_and_write(path, region, out, language=language, units=units)
    with speaking(tongue):
        click.echo(
            "\n" + tell("For a trip of your own, take copies of these files and change them: tripplan demo --copy my-files")
        )
    return code


def _copy(folder: Path) -> int:
    """Copy trips, vans, parties, outfits, firm and the island into a folder that is new or empty."""
    import shutil

    from tripplan.model.errors import BadInputError
    from tripplan.pipeline import sample_folder

    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise BadInputError(
            f"{folder} is not empty", where="--copy", accepted="a new or empty folder", next_step="name another one"
        )
    shutil.copytree(sample_folder(), folder, ignore=shutil.ignore_patterns("*.py", "__pycache__"), dirs_exist_ok=True)
    click.echo(f"Copied to {folder}. Change a trip_*.toml there, then:")
    click.echo(
        f"  tripplan region build {folder / 'island.osm.pbf'} --climate {folder / 'sample_climate.csv'} --out island.region"
    )
    click.echo(f"  tripplan plan {folder / 'trip_family_loop.toml'} --region island.region --out my-trip")
    return 0


def _first_comment(path: Path) -> str:
    for line in path.read_text(encoding="utf-8").splitlines():
        if line.startswith("#"):
            return line.lstrip("# ")
    return ""
