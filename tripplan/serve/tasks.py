"""What a worker does with a job: plan, compare, check. A job in, everything that is to be kept out; nothing touched on the way."""

from __future__ import annotations

import time
from dataclasses import asdict, replace
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

from tripplan.model.choice import Choices
from tripplan.model.errors import BadInputError, NoPlanError
from tripplan.model.plan import Plan
from tripplan.model.progress import Progress
from tripplan.model.trip import Trip
from tripplan.region.region import Region
from tripplan.serve.draft import stepped, trip_in
from tripplan.serve.kept import Job, Made, new_token
from tripplan.serve.settings import Settings
from tripplan.serve.view import choices_view, no_plan_view, plan_view

__all__ = ["results_of"]


def results_of(job: Job, upload: bytes | None, region: Region, settings: Settings, progress: Progress) -> list[Made]:
    """Work a job out. The first result stands under the job's own link.

    Raises
    ------
    BadInputError
        When what is asked cannot be.
    FailedAuditError
        When a plan found did not pass its re-check.
    """
    if job.kind == "check":
        return [_check(job, upload or b"", region, settings, progress)]
    trip, on = stepped(trip_in(job.spec["draft"], settings.firm, region), region, job.spec.get("steps", ()))
    if job.kind == "choices":
        return _choices(job, trip, on, progress)
    return [_plan(job, trip, on, settings, progress)]


def _plan(job: Job, trip: Trip, region: Region, settings: Settings, progress: Progress) -> Made:
    from tripplan.pipeline import audited_plan, ways_out

    try:
        plan = audited_plan(trip, region, progress=progress)
    except NoPlanError as error:
        found = ways_out(trip, region, error, seconds=settings.ways_out_s, progress=_clocked(progress, settings.ways_out_s))
        return Made(job.id, job.session, "none", trip.name, no_plan_view(error, found, trip), job.spec, {})
    progress("Writing the papers", float("nan"))
    return _made(job.id, job, plan, region, job.spec)


def _clocked(progress: Progress, seconds: float) -> Progress:
    """Tell the share of the time allowed where work itself cannot tell its share."""
    began = time.monotonic()

    def tell(what: str, share: float) -> None:
        progress(what, min(1.0, (time.monotonic() - began) / seconds) if share != share else share)

    return tell


def _made(token: str, job: Job, plan: Plan, region: Region, spec: dict[str, Any]) -> Made:
    from tripplan.report.write import render_papers

    return Made(token, job.session, "plan", plan.trip.name, plan_view(plan), spec, render_papers(plan, region))


def _choices(job: Job, trip: Trip, region: Region, progress: Progress) -> list[Made]:
    from tripplan.pipeline import audited_plan, other_plans

    first = audited_plan(trip, region, progress=progress)
    found: Choices = other_plans(trip, region, first, progress=progress)
    links = {found.shown[0].key: str(job.spec["of"])}
    others = []
    for choice in found.shown[1:]:
        progress(f"Writing the papers: {choice.title.lower()}", float("nan"))
        token = new_token()
        links[choice.key] = token
        spec = {
            "draft": {
                **job.spec["draft"],
                "weights": asdict(choice.plan.trip.weights),
                "name": f"{trip.name[:150]}: {choice.title.lower()}",
            },
            "steps": job.spec.get("steps", ()),
        }
        plan = replace(choice.plan, trip=replace(choice.plan.trip, name=str(spec["draft"]["name"])))
        others.append(_made(token, job, plan, region, spec))
    view = choices_view(found, trip, links)
    return [Made(job.id, job.session, "choices", trip.name, view, job.spec, {}), *others]


# ------------------------------------------------------------------------------------------------- somebody's way


def _check(job: Job, upload: bytes, region: Region, settings: Settings, progress: Progress) -> Made:
    from tripplan.report.check_json import check_json
    from tripplan.report.check_map import check_map
    from tripplan.report.check_words import found_words, head_words
    from tripplan.report.safe import plain
    from tripplan.request.forms import Origin
    from tripplan.request.parts import firm_of, outfits_of, table
    from tripplan.roads.cache import cache_folder
    from tripplan.roads.check import CheckResult
    from tripplan.roads.closures import closure_sets
    from tripplan.roads.terms import terms_every_road, terms_for_firm

    origin = Origin("the form", "")
    firm = firm_of(table("firm", settings.firm, origin))
    outfit = outfits_of(table("outfit", job.spec["outfit"], origin), firm)[0]
    brought = _brought(upload, str(job.spec["ending"]), str(job.spec["as"]))
    when = date.fromisoformat(job.spec["day"]) if job.spec["day"] else _own_date(brought, region.meta.tz)
    terms = terms_for_firm(outfit, firm, region, (when,))
    closures = closure_sets(region, (when,))[0]
    result: Any
    if isinstance(brought, tuple):
        from tripplan.model.place import Spot
        from tripplan.roads.check import check

        spots = [Spot(p.name, p.name or f"way-point {n}", p.lon, p.lat) for n, p in enumerate(brought, 1)]
        result = check(region, spots, terms_every_road(terms), terms, closures, cache=cache_folder(), progress=progress)
    else:
        from tripplan.roads.track_check import check_track

        result = check_track(region, brought, terms, closures, cache=cache_folder(), progress=progress)
    progress("Drawing the map", float("nan"))
    head = head_words(outfit, when, region)
    papers = {
        "check.html": check_map(result, region, head, name="The way as brought").encode(),
        "check.json": check_json(result, region, outfit, when).encode(),
    }
    advised = isinstance(result, CheckResult) and result.forbidden and bool(result.advised)
    if advised:
        sealed = replace(result, legs=result.advised, gaps=(), stretches=())
        papers["sealed.html"] = check_map(sealed, region, head, name="The sealed way advised").encode()
    view = {
        "head": plain(head),
        "forbidden": bool(result.forbidden),
        "lines": [plain(line.strip()) for line in found_words(result)],
        "papers": list(papers),
        "sealed": advised,
    }
    return Made(job.id, job.session, "check", "A way checked", view, {}, papers)


def _brought(upload: bytes, ending: str, kind: str) -> Any:
    """Read what was handed in just as a file is read, by the same readers, from a place of its own under a fixed name."""
    from tempfile import TemporaryDirectory

    from tripplan.request.tracks import is_track, load_track
    from tripplan.request.waypoints import load_waypoints

    with TemporaryDirectory(prefix="tripplan-check-") as folder:
        path = Path(folder) / f"upload{ending}"
        path.write_bytes(upload)
        try:
            return load_track(path) if kind == "track" or (kind == "auto" and is_track(path)) else load_waypoints(path)
        except BadInputError as error:
            where = error.where.replace(str(path), "The file")
            raise BadInputError(error.what, where=where, accepted=error.accepted, next_step=error.next_step) from None


def _own_date(brought: Any, zone: str) -> date:
    """Return the local date on which a track begins; today where it does not say."""
    from contextlib import suppress
    from zoneinfo import ZoneInfo

    with suppress(ValueError, OverflowError, OSError, LookupError):
        here = ZoneInfo(zone)
        known = [] if isinstance(brought, tuple) else [t for t in brought.time_s.tolist() if t == t]
        return datetime.fromtimestamp(min(known), UTC).astimezone(here).date() if known else datetime.now(here).date()
    return datetime.now(UTC).date()
