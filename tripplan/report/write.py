"""Papers on disk, all or none: rendered first, written beside, then moved into place."""

from __future__ import annotations

import errno
import os
import shutil
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from tripplan.model.errors import BadInputError
from tripplan.model.leftovers import scratch_name, sweep
from tripplan.model.plan import Plan
from tripplan.region.region import Region

if TYPE_CHECKING:
    from tripplan.report.language import Language
    from tripplan.report.sheets.apart import ApartPdf
    from tripplan.report.sheets.blocks import Sheet
    from tripplan.report.waylines import WayLines

__all__ = ["PAPERS", "Begun", "begin_papers", "map_paper", "render_papers", "write_papers", "write_rendered"]

#: What a plan is written as, in the order in which people meet it.
PAPERS: tuple[str, ...] = (
    "map.html", "itinerary.html", "itinerary.pdf", "plan.json", "route.gpx", "route.kml", "route.geojson", "trip.ics", "days.csv", "levels.csv", "levels.svg", "levels.png",
)  # fmt: skip

_TILES = ("https://tile.openstreetmap.org/{z}/{x}/{y}.png", "© OpenStreetMap contributors")


@dataclass(frozen=True)
class Begun:
    """Papers that are on their way: the plan's lines and sheets, and the PDF that a process of its own writes meanwhile."""

    lines: WayLines
    sheets: tuple[Sheet, ...]
    pdf: ApartPdf


def begin_papers(plan: Plan, region: Region, *, language: Language | None = None) -> Begun:
    """Begin with what takes longest, in a process of its own, before whatever else is to be done: sooner done where there are two kernels."""
    from tripplan.report.counted import counted
    from tripplan.report.itinerary import pdf_parts, sheets_of
    from tripplan.report.language import language_for, speaking
    from tripplan.report.sheets.apart import ApartPdf
    from tripplan.report.waylines import way_lines

    plan = counted(plan)
    lines = way_lines(plan, region)
    with speaking(language or language_for(plan.trip)):
        sheets = sheets_of(plan, region, lines)
        return Begun(lines, sheets, ApartPdf(*pdf_parts(plan, region, sheets)))


def render_papers(
    plan: Plan,
    region: Region,
    *,
    online_tiles: bool = False,
    begun: Begun | None = None,
    language: Language | None = None,
    alternatives: Sequence[tuple[str, Plan]] = (),
) -> dict[str, bytes]:
    """Return every paper of a plan by its file name; nothing touches the disk.

    Parameters
    ----------
    begun
        Of the same plan, region and language; the same bytes without it.
    language
        What to write in; without, as the trip says. `plan.json`, the tables and the names of properties stay as they are in every language.
    alternatives
        Other plans for the same trip with a title each, for the map to show as layers.
    """
    from tripplan.report.language import language_for, speaking

    with speaking(language or language_for(plan.trip)):
        return _rendered(plan, region, online_tiles, begun, alternatives)


def map_paper(plan: Plan, region: Region, *, online_tiles: bool = False, alternatives: Sequence[tuple[str, Plan]] = ()) -> bytes:
    """Return ``map.html`` alone, in the language spoken, as `render_papers` does."""
    from tripplan.report.counted import counted
    from tripplan.report.map import Tiles, map_page

    tiles = Tiles(*_TILES) if online_tiles else None
    others = [(title, counted(other)) for title, other in alternatives]
    return map_page(counted(plan), region, tiles=tiles, alternatives=others).encode()


def _rendered(
    plan: Plan, region: Region, online_tiles: bool, begun: Begun | None, alternatives: Sequence[tuple[str, Plan]]
) -> dict[str, bytes]:
    from tripplan.model.serial import plan_to_json
    from tripplan.report.calendar import calendar_text
    from tripplan.report.counted import counted
    from tripplan.report.geojson import geojson_text
    from tripplan.report.gpx import gpx_text
    from tripplan.report.itinerary import itinerary_page, pdf_parts, sheets_of
    from tripplan.report.kml import kml_text
    from tripplan.report.language import Language, speaking
    from tripplan.report.levels import levels_svg
    from tripplan.report.picture import levels_png
    from tripplan.report.sheets.pdf import document
    from tripplan.report.tables import days_csv, levels_csv
    from tripplan.report.waylines import way_lines

    own, plan = plan, counted(plan)
    lines = begun.lines if begun is not None else way_lines(plan, region)
    sheets = begun.sheets if begun is not None else sheets_of(plan, region, lines)
    with speaking(Language()):  # tables are for programs: the same in every language
        tables = {"days.csv": days_csv(plan).encode("utf-8-sig"), "levels.csv": levels_csv(plan).encode("utf-8-sig")}
    papers = {
        "map.html": map_paper(plan, region, online_tiles=online_tiles, alternatives=alternatives),
        "itinerary.html": itinerary_page(plan, region, sheets).encode(),
        "plan.json": plan_to_json(own).encode(),
        "route.gpx": gpx_text(plan, region, lines).encode(),
        "route.kml": kml_text(plan, region, lines).encode(),
        "route.geojson": geojson_text(plan, region, lines).encode(),
        "trip.ics": calendar_text(plan),
        **tables,
        "levels.svg": levels_svg(plan).encode(),
        "levels.png": levels_png(plan),
        "itinerary.pdf": begun.pdf.result() if begun is not None else document(*pdf_parts(plan, region, sheets)),
    }
    return {name: papers[name] for name in PAPERS}


def write_papers(
    plan: Plan,
    region: Region,
    out: Path,
    *,
    online_tiles: bool = False,
    begun: Begun | None = None,
    language: Language | None = None,
    alternatives: Sequence[tuple[str, Plan]] = (),
) -> list[Path]:
    """Write the papers of a plan into a folder and return their paths.

    A folder that is not there yet appears complete, in one step. In one that is, papers of an older plan are replaced and
    every other file is left alone; when a step fails, the older papers are put back. Other choices beside an older plan
    go with it (see `tripplan.report.stale`).

    Parameters
    ----------
    begun, language, alternatives
        As in `render_papers`.

    Raises
    ------
    BadInputError
        When the folder cannot be written to: a file of its name, no permission, no room.
    """
    from tripplan.report.stale import clear_choices

    papers = render_papers(plan, region, online_tiles=online_tiles, begun=begun, language=language, alternatives=alternatives)
    written = write_rendered(papers, out)
    clear_choices(Path(out), PAPERS)
    return written


def write_rendered(papers: dict[str, bytes], out: Path) -> list[Path]:
    """Write papers that were rendered already, all or none (as `write_papers`)."""
    out = Path(out)
    if out.exists() and not out.is_dir():
        raise BadInputError(f"{out} is not a folder", accepted="a folder, new or not", next_step="name another one")
    parent = out.resolve().parent
    beside: Path | None = None
    try:
        parent.mkdir(parents=True, exist_ok=True)
        sweep(parent / out.resolve().name)
        beside = parent / scratch_name(out.resolve().name)
        beside.mkdir()
        for name, content in papers.items():
            _write_through(beside / name, content)
        if out.exists() or not _appears(beside, out):
            _replace_all(beside, out, list(papers))
        _sync(parent)
    except OSError as error:
        raise _in_words(error, out) from error
    finally:
        if beside is not None:
            shutil.rmtree(beside, ignore_errors=True)
    return [out / name for name in papers]


def _appears(beside: Path, out: Path) -> bool:
    """Let a finished folder appear under its name; False when another run was there first."""
    _sync(beside)
    try:
        beside.rename(out)
    except OSError:
        if not out.is_dir():
            raise
        return False
    return True


def _write_through(path: Path, content: bytes) -> None:
    with path.open("wb") as file:
        file.write(content)
        file.flush()
        os.fsync(file.fileno())


def _sync(folder: Path) -> None:
    """Have a folder's entries reach the disk, where the system can do that."""
    with suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


def _replace_all(beside: Path, out: Path, names: list[str]) -> None:
    """Move papers over those of a folder that exists; on a failure put the older ones back.

    Each paper is the older or the newer one at every moment, whole: whoever looks, or is killed, never meets a gap. `plan.json`
    comes last, so that it is never newer than the papers that tell it.
    """
    kept = beside / "older"
    kept.mkdir()
    older, moved = [], []
    names = sorted(names, key=lambda name: name == "plan.json")
    try:
        for name in names:
            if (out / name).is_file() or (out / name).is_symlink():
                shutil.copy2(out / name, kept / name, follow_symlinks=False)
                older.append(name)
        for name in names:
            (beside / name).replace(out / name)
            moved.append(name)
        _sync(out)
    except BaseException:
        for name in moved:
            with suppress(OSError):
                if name in older:
                    (kept / name).replace(out / name)
                else:
                    (out / name).unlink()
        raise


def _in_words(error: OSError, out: Path) -> BadInputError:
    """Say what the disk refused."""
    if error.errno in (errno.ENOSPC, errno.EDQUOT):
        return BadInputError(f"no room on disk for {out}", next_step="free some room; nothing was changed")
    if error.errno in (errno.EACCES, errno.EPERM, errno.EROFS):
        return BadInputError(f"no permission to write to {out}", next_step="name another folder; nothing was changed")
    return BadInputError(
        f"{out} cannot be written: {error.strerror or error}", next_step="name another folder; nothing was changed"
    )
