"""`tripplan batch`: a table of bookings in, a folder of papers for each and a table of outcomes out."""

from __future__ import annotations

import json
import os
from collections import Counter
from pathlib import Path
from typing import TYPE_CHECKING

import click

from tripplan.cli.shared import count, region_option

if TYPE_CHECKING:
    from tripplan.batch import Outcome

__all__ = ["command"]

_JOURNAL, _TABLE = "outcomes.jsonl", "outcomes.csv"
_COLUMNS = ("booking", "row", "outcome", "nights", "towing_km", "towing_h", "money", "currency", "proven", "phone_first", "folder", "words", "seconds")  # fmt: skip
_OF_PLAN = ("nights", "towing_km", "towing_h", "money", "currency", "proven", "phone_first", "folder")


@click.command("batch")
@click.argument("bookings_file", metavar="BOOKINGS.csv", type=click.Path(path_type=Path))
@region_option()
@click.option("--out", metavar="DIR", required=True, type=click.Path(path_type=Path), help="Folder for papers and outcomes.")
@click.option(
    "--trip",
    "trip_file",
    metavar="TRIP.toml",
    type=click.Path(path_type=Path),
    help="Trip file that rows without one start from.",
)
@click.option("--workers", type=click.IntRange(1, 256), default=None, help="Processes; without it, one for each core.")
@click.option(
    "--scheduler", metavar="ADDRESS", default="", help="Use the machines of a Dask scheduler instead (tcp://host:8786)."
)
@click.option("--again", is_flag=True, help="Plan every row anew, also those that are done.")
def command(
    bookings_file: Path, region_file: Path, out: Path, trip_file: Path | None, workers: int | None, scheduler: str, again: bool
) -> int:
    """Plan many bookings; what is done already is not done twice.

    Each row is a trip file with some values replaced: columns are named as there (party.adults, pick_up.time, van). A row that
    is wrong never stops the rest. Exit code 0: all planned. 1: some are not; outcomes.csv says why. 2: the table cannot be used.
    """
    from tripplan.batch import plan_bookings, row_key
    from tripplan.cli.files import check_folder, write_whole
    from tripplan.cli.progress import shown
    from tripplan.region.store import load
    from tripplan.request.bookings import load_bookings

    check_folder(out)
    rows = load_bookings(bookings_file, trip_file)
    key = load(region_file).meta.key
    keyed = [(row, row_key(row, key)) for row in rows]
    out.mkdir(parents=True, exist_ok=True)
    done = {} if again else _done(out)
    kept = {k: done[k] for _, k in keyed if k in done and _whole(done[k], out)}
    todo = [(row, k) for row, k in keyed if k not in kept]
    found = dict(kept)
    if kept:
        click.echo(f"{count(len(kept), 'booking')} done before, {len(todo)} to do.")
    processes = min(workers or os.cpu_count() or 1, max(1, len(todo)))
    try:
        with shown() as progress, (out / _JOURNAL).open("a", encoding="utf-8") as journal:
            for outcome in plan_bookings(todo, region_file, out, workers=processes, scheduler=scheduler):
                found[outcome.key] = outcome
                if outcome.outcome != "failed":
                    journal.write(json.dumps(outcome.values(), ensure_ascii=True) + "\n")
                    journal.flush()
                    os.fsync(journal.fileno())
                progress("Planning bookings", len(found) / len(keyed))
    finally:  # also when it is stopped: the table tells how far it came
        write_whole(out / _TABLE, _table([found[k] for _, k in keyed if k in found]), encoding="utf-8-sig")
    outcomes = Counter(found[k].outcome for _, k in keyed)
    words = ", ".join(f"{number} {word}" for word, number in outcomes.most_common())
    click.echo(f"{count(len(keyed), 'booking')}: {words}. The table: {out / _TABLE}")
    return 0 if set(outcomes) <= {"planned"} else 1


def _done(out: Path) -> dict[str, Outcome]:
    """Read what earlier runs kept; a last line cut off by a kill is passed over."""
    from tripplan.batch import Outcome

    found = {}
    try:
        lines = (out / _JOURNAL).read_text(encoding="utf-8", errors="replace").splitlines()
    except FileNotFoundError:
        return {}
    for line in lines:
        try:
            values = json.loads(line)
        except ValueError:
            continue
        outcome = Outcome.of(values) if isinstance(values, dict) else None
        if outcome is not None:
            found[outcome.key] = outcome
    return found


def _whole(outcome: Outcome, out: Path) -> bool:
    """Say whether the papers of an outcome are still there."""
    return outcome.outcome != "planned" or (out / outcome.folder / "plan.json").is_file()


def _table(outcomes: list[Outcome]) -> str:
    import csv
    import io

    from tripplan.report.safe import csv_cell

    text = io.StringIO(newline="")
    table = csv.writer(text)
    table.writerow(_COLUMNS)
    for outcome in sorted(outcomes, key=lambda o: o.row):
        values = outcome.values()
        if outcome.outcome != "planned":  # no plan, so no figures of one
            values.update(dict.fromkeys(_OF_PLAN, ""))
        table.writerow([csv_cell(v) if isinstance(v := values[name], str) else ("yes" if v else "no") if isinstance(v, bool) else v for name in _COLUMNS])  # fmt: skip
    return text.getvalue()
