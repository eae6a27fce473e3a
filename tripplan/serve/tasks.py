"""What a worker does with a job: plan, compare, check. A job in, everything that is to be kept out; nothing touched on the way."""

from __future__ import annotations

import json
import time
from dataclasses import asdict, replace
from typing import Any

from tripplan.model.choice import Choices, Sums
from tripplan.model.errors import BadInputError, NoPlanError
from tripplan.model.plan import Plan
from tripplan.model.progress import Progress
from tripplan.model.trip import Trip
from tripplan.region.region import Region
from tripplan.report.safe import plain
from tripplan.serve.checks import check_of, today_in
from tripplan.serve.closed import Closed, closed_of, closure_rows
from tripplan.serve.draft import stepped, trip_in
from tripplan.serve.kept import Job, Made, new_token
from tripplan.serve.offered import draft_of_suggestion, loop_picture, loop_view
from tripplan.serve.settings import Settings
from tripplan.serve.view import choices_view, no_plan_view, plan_view
from tripplan.serve.wished import cost_row, lifted

__all__ = ["results_of"]

#: Of the time that a job may take, what it uses for searching: the rest is for its papers.
_SHARE_OF_TIME = 0.7


def results_of(job: Job, upload: bytes | None, region: Region, settings: Settings, progress: Progress) -> list[Made]:
    """Work a job out. The first result stands under the job's own link.

    Raises
    ------
    BadInputError
        When what is asked cannot be.
    FailedAuditError
        When a plan found did not pass its re-check.
    """
    closed = closed_of(settings.closures, region.meta.tz)
    if job.kind == "check":
        return [check_of(job, upload or b"", region, settings, closed, progress)]
    if job.kind == "recheck":
        return _recheck(job, upload or b"", region, settings, closed, progress)
    trip, on = stepped(closed.on(trip_in(job.spec["draft"], settings.firm, region)), region, job.spec.get("steps", ()))
    match job.kind:
        case "choices":
            return _choices(job, trip, on, progress)
        case "costs":
            return [_costs(job, trip, on, settings, closed, progress)]
        case "suggest":
            return _suggest(job, trip, on, settings, progress)
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


def _costs(job: Job, trip: Trip, region: Region, settings: Settings, closed: Closed, progress: Progress) -> Made:
    """Plan without each wish in turn, as long as there is time."""
    from tripplan.pipeline import FailedAuditError, audited_plan
    from tripplan.schedule.choices import sums_of

    until = time.monotonic() + _SHARE_OF_TIME * settings.job_s
    own = sums_of(audited_plan(trip, region, progress=progress), trip)
    wishes = lifted(job.spec["draft"])
    steps = job.spec.get("steps", ())

    def plan_without(draft: dict[str, Any]) -> Sums | str:
        left = until - time.monotonic()
        if left <= 0:
            return "the time was up before this one"
        try:
            other, on = stepped(closed.on(trip_in(draft, settings.firm, region)), region, steps)
            return sums_of(audited_plan(other, on, max_seconds=left), trip)
        except (NoPlanError, BadInputError, FailedAuditError):
            return "without it the rest cannot be planned as it stands"

    rows = []
    for n, wish in enumerate(wishes):
        progress(f"Planning without: {wish.wish}", n / len(wishes))
        rows.append(cost_row(wish, own, trip.firm.currency, plan_without))
    view = {"rows": rows, "of": str(job.spec["of"])}
    return Made(job.id, job.session, "costs", trip.name, view, job.spec, {})


def _suggest(job: Job, trip: Trip, region: Region, settings: Settings, progress: Progress) -> list[Made]:
    """Look for loops worth offering from this depot, with these nights, van and party."""
    from tripplan.pipeline import FailedAuditError, audited_plan
    from tripplan.schedule.suggest import THEMES, Suggestion, Theme, suggestions
    from tripplan.schedule.suggest_values import value_sights

    until = time.monotonic() + _SHARE_OF_TIME * settings.job_s
    each = _SHARE_OF_TIME * settings.job_s / len(THEMES)

    def solver(theme: Theme, asked: Trip) -> Plan:
        left = min(each, until - time.monotonic())
        if left <= 0:
            raise NoPlanError("the time was up before it", proven=True)
        named = replace(
            asked, name=f"{theme.title}: {asked.nights} night{'s' if asked.nights != 1 else ''} from {asked.depot.name}"[:200]
        )
        try:
            return audited_plan(named, region, progress=progress, max_seconds=left)
        except FailedAuditError:
            raise NoPlanError("its plan did not pass the re-check, a fault of tripplan's own") from None

    loops: list[dict[str, Any]] = []
    left_out: list[dict[str, str]] = []
    others: list[Made] = []
    for found in suggestions(trip, region, value_sights(region), solver, progress=progress):
        if not isinstance(found, Suggestion):
            left_out.append({"title": found.title, "why": plain(found.why)})
            continue
        progress(f"Writing the papers: {found.title.lower()}", float("nan"))
        token = new_token()
        spec = {"draft": draft_of_suggestion(job.spec["draft"], found, region), "steps": []}
        made = _made(token, job, found.plan, region, spec)
        others.append(replace(made, papers={**made.papers, "loop.svg": loop_picture(found.plan, region)}))
        loops.append({**loop_view(found.plan, found.theme.suits, found.gave_up), "link": token})
    view = {"loops": loops, "left_out": left_out}
    return [Made(job.id, job.session, "suggest", "Suggested loops", view, job.spec, {}), *others]


def _recheck(job: Job, upload: bytes, region: Region, settings: Settings, closed: Closed, progress: Progress) -> list[Made]:
    """Hold a kept plan against today's map and closures; where it breaks, look for the smallest repair."""
    from tripplan.carry import lines_of_papers
    from tripplan.model.serial import plan_from_json
    from tripplan.recheck import changed_days, past_words, recheck, repair, repair_proof

    handed = json.loads(upload)
    plan = plan_from_json(handed["plan"])
    progress("Looking at the plan on today's map", 0.0)
    lines = {} if plan.region_key == region.meta.key else lines_of_papers(plan, handed["route"])
    checked = recheck(plan, region, lines=lines, closures=closed.on)
    of = str(job.spec["of"])
    view: dict[str, Any] = {
        "of": of,
        "broken": [{"day": f.day, "text": plain(f.text)} for f in checked.broken],
        "figures": [{"day": f.day, "text": plain(f.text)} for f in checked.figures[:20]],
        "unknown_ways": checked.unknown_ways,
        "past": past_words(plan, today_in(region.meta.tz)),
        "data": plain(f"{region.meta.name}, data of {region.meta.data_date}"),
        "closures": closure_rows(checked.plan.trip.closures),
        "repair": "",
        "link": "",
        "days": [],
    }
    others: list[Made] = []
    if checked.broken:
        try:
            mended = repair(checked, region, seconds=_SHARE_OF_TIME * settings.job_s, progress=progress)
        except NoPlanError as error:
            view["repair"] = plain(str(error))
        else:
            days = changed_days(checked.plan, mended.plan)
            nights = sum(day.night is not None for day in mended.plan.days)
            view["repair"] = (
                f"{nights - mended.moved} of {nights} nights stay where they were, {mended.moved} elsewhere ({repair_proof(mended)})."
            )
            view["days"] = [two.number for _, two in days]
            view["link"] = new_token()
            progress("Writing the papers", float("nan"))
            spec = {**job.spec["spec"], "before": of}
            others.append(_made(view["link"], job, mended.plan, region, spec))
    return [Made(job.id, job.session, "recheck", "A plan looked at again", view, job.spec, {}), *others]
