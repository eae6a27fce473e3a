"""A way that staff hand in: read as a file is read, judged, and the sealed way to advise instead."""

from __future__ import annotations

from contextlib import suppress
from dataclasses import replace
from datetime import UTC, date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

import numpy as np

from tripplan.model.errors import BadInputError
from tripplan.model.place import Spot
from tripplan.model.progress import Progress
from tripplan.region.region import Region
from tripplan.report.safe import plain
from tripplan.serve.closed import Closed
from tripplan.serve.kept import Job, Made
from tripplan.serve.settings import Settings

if TYPE_CHECKING:
    from tripplan.roads.check import CheckResult
    from tripplan.roads.track_check import TrackCheck

__all__ = ["check_of", "today_in", "via_points"]

#: Points of a track that the sealed way has to touch lie so far apart, and so far from what is forbidden [m]; at most so many.
_APART_M, _CLEAR_M, _MOST_VIA = 8000.0, 60.0, 40


def check_of(job: Job, upload: bytes, region: Region, settings: Settings, closed: Closed, progress: Progress) -> Made:
    """Return what is to be kept of a check: verdict, findings, the map, and the sealed way where one is needed."""
    from tripplan.report.check_json import check_json
    from tripplan.report.check_map import check_map
    from tripplan.report.check_words import found_words, head_words
    from tripplan.request.brought import own_date
    from tripplan.request.forms import Origin
    from tripplan.request.parts import firm_of, outfits_of, table
    from tripplan.roads.cache import cache_folder
    from tripplan.roads.check import CheckResult, check
    from tripplan.roads.closures import closure_sets
    from tripplan.roads.terms import terms_every_road, terms_for_firm
    from tripplan.roads.track_check import check_track

    origin = Origin("the form", "")
    firm = firm_of(table("firm", settings.firm, origin))
    outfit = outfits_of(table("outfit", job.spec["outfit"], origin), firm)[0]
    brought = _brought(upload, str(job.spec["ending"]), str(job.spec["as"]))
    when = (
        date.fromisoformat(job.spec["day"]) if job.spec["day"] else own_date(brought, region.meta.tz) or today_in(region.meta.tz)
    )
    terms = terms_for_firm(outfit, firm, region, (when,))
    known = [c for file in closed.files() for c in file.closures if c.holds(when)]
    closures = closure_sets(region, (when,), closures=known, outfit=outfit)[0]
    result: Any
    if isinstance(brought, tuple):
        spots = [Spot(p.name, p.name or f"way-point {n}", p.lon, p.lat) for n, p in enumerate(brought, 1)]
        result = check(region, spots, terms_every_road(terms), terms, closures, cache=cache_folder(), progress=progress)
    else:
        result = check_track(region, brought, terms, closures, cache=cache_folder(), progress=progress)
    progress("Drawing the map", float("nan"))
    head = head_words(outfit, when, region)
    papers = {
        "check.html": check_map(result, region, head, name="The way as brought").encode(),
        "check.json": check_json(result, region, outfit, when).encode(),
    }
    asked = result
    if result.forbidden and not isinstance(result, CheckResult):
        # A track names no way-points: the sealed way goes by points of it that the van may be at.
        spots = via_points(result, region)
        asked = None
        if len(spots) >= 2:
            progress("Looking for a sealed way", float("nan"))
            asked = check(region, spots, terms_every_road(terms), terms, closures, cache=cache_folder(), progress=progress)
    advised = asked is not None and result.forbidden and bool(asked.advised)
    if advised:
        sealed = replace(asked, legs=asked.advised, gaps=(), stretches=(), detours=(), tolls=())
        papers["sealed.html"] = check_map(sealed, region, head, name="The sealed way advised").encode()
    view = {
        "head": plain(head),
        "forbidden": bool(result.forbidden),
        "lines": [plain(line.strip()) for line in found_words(result)],
        "papers": list(papers),
        "sealed": _sealed_words(asked) if advised else "",
    }
    return Made(job.id, job.session, "check", "A way checked", view, {}, papers)


def via_points(found: TrackCheck, region: Region) -> list[Spot]:
    """Return points of a track, in order of travel, that lie clear of everything forbidden on it: what a sealed way has to touch."""
    from tripplan.region.geometry import run_line, segment_lengths_m

    bad = [(s.from_m - _CLEAR_M, s.from_m + s.length_m + _CLEAR_M) for s in found.stretches if s.forbidden]
    out: list[Spot] = []
    for run, start in zip(found.runs, found.start_m, strict=True):
        line = run_line(region, run)
        if len(line) < 2:
            continue
        along = np.concatenate(([0.0], np.cumsum(segment_lengths_m(line[:, 0], line[:, 1]))))
        wanted = np.linspace(0.0, along[-1], max(2, int(np.ceil(along[-1] / _APART_M)) + 1))
        for k in np.unique(np.searchsorted(along, wanted).clip(max=len(along) - 1)).tolist():
            if not any(low <= start + along[k] <= high for low, high in bad):
                out.append(Spot("", f"point {len(out) + 1} of the track", float(line[k, 0]), float(line[k, 1])))
    if len(out) > _MOST_VIA:
        out = [out[k] for k in np.unique(np.linspace(0, len(out) - 1, _MOST_VIA).round().astype(int))]
    return out


def _sealed_words(found: CheckResult) -> str:
    km = sum(leg.length_m for leg in found.advised) / 1000
    left = len(found.advised_gaps)
    return f"{km:.1f} km on sealed roads" + (f"; {left} of its points cannot be reached so and are left out" if left else "")


def _brought(upload: bytes, ending: str, kind: str) -> Any:
    """Read what was handed in just as a file is read, by the same readers, from a place of its own under a fixed name."""
    from tempfile import TemporaryDirectory

    from tripplan.request.brought import load_brought

    with TemporaryDirectory(prefix="tripplan-check-") as folder:
        path = Path(folder) / f"upload{ending}"
        path.write_bytes(upload)
        try:
            return load_brought(path, kind)
        except BadInputError as error:
            where = error.where.replace(str(path), "The file")
            raise BadInputError(error.what, where=where, accepted=error.accepted, next_step=error.next_step) from None


def today_in(zone: str) -> date:
    """Return today's date in a time zone; in UTC where the zone is not known."""
    with suppress(ValueError, OSError, LookupError):
        return datetime.now(ZoneInfo(zone)).date()
    return datetime.now(UTC).date()
