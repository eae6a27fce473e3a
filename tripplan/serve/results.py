"""What is under a link: a job on its way, a plan, the reasons why there is none, choices, a check; and what can be done with each."""

from __future__ import annotations

import json
import math
import time
from datetime import UTC, datetime
from typing import Any

from starlette.requests import Request
from starlette.responses import JSONResponse, Response

from tripplan.serve.forms import Answers
from tripplan.serve.guard import PAPER_POLICY
from tripplan.serve.kept import Made
from tripplan.serve.offered import moved
from tripplan.serve.places import sites_near
from tripplan.serve.site import Form, Site
from tripplan.serve.view import against
from tripplan.serve.wished import lifted

__all__ = [
    "again_form", "change_form", "choices_form", "costs_form", "delete_form", "edit_form", "loop_form", "loop_picture", "loops_page", "night_form",
    "night_page", "paper", "recheck_form", "result_page", "state", "stop_form", "without_form",
]  # fmt: skip

#: Papers that may be asked for, with their types; nothing else leads anywhere.
PAPERS = {
    "map.html": ("text/html; charset=utf-8", "The map"),
    "itinerary.html": ("text/html; charset=utf-8", "Day sheets, to read or print"),
    "itinerary.pdf": ("application/pdf", "Day sheets as one PDF"),
    "trip.ics": ("text/calendar; charset=utf-8", "For a calendar"),
    "route.gpx": ("application/gpx+xml", "For a navigation device (GPX)"),
    "route.kml": ("application/vnd.google-earth.kml+xml", "For a map program (KML)"),
    "route.geojson": ("application/geo+json", "For a map program (GeoJSON)"),
    "days.csv": ("text/csv; charset=utf-8", "The days as a table"),
    "levels.csv": ("text/csv; charset=utf-8", "The levels as a table"),
    "levels.svg": ("image/svg+xml", "The levels as a drawing"),
    "levels.png": ("image/png", "The levels as a picture"),
    "plan.json": ("application/json", "The whole plan, for tripplan itself"),
    "loop.svg": ("image/svg+xml", "The loop as a picture"),
    "check.html": ("text/html; charset=utf-8", "The way as brought, on a map"),
    "sealed.html": ("text/html; charset=utf-8", "The sealed way advised, on a map"),
    "check.json": ("application/json", "What was found, for other programs"),
}
_SHOWN = ("text/html", "application/pdf", "image/")
_REASONS = {"stopped": "You stopped it.", "left": "Nobody was waiting for it any more, so it was stopped."}


def _token(request: Request) -> str:
    token: str = request.path_params["token"]
    return token if len(token) <= 64 else ""


def _made(site: Site, request: Request, *kinds: str) -> Made | None:
    made = site.kept.made(_token(request), time.time())
    return made if made is not None and made.kind in kinds else None


def result_page(site: Site, request: Request) -> Response:
    """Show what is under a link."""
    token, now = _token(request), time.time()
    made = site.kept.made(token, now)
    if made is None:
        return _progress(site, request, token, now)
    shared: dict[str, Any] = {
        "made": made,
        "view": made.view,
        "own": made.session == site.session(request),
        "until": _day(made.until),
    }
    if made.kind == "plan":
        return site.page(
            request,
            "plan.html",
            **shared,
            papers=list(PAPERS.items())[:12],
            compared=_compared(site, made, now),
            address=str(request.url),
        )
    return site.page(request, f"{made.kind}.html" if made.kind != "check" else "checked.html", **shared, names=PAPERS)


def _progress(site: Site, request: Request, token: str, now: float) -> Response:
    job = site.kept.job(token, now)
    if job is None:
        return site.missing(request)
    standing = site.pool.seen(token)
    if standing is None:
        made = site.kept.made(token, now)  # it was done just now
        if made is not None:
            return result_page(site, request)
    ended = job.state not in ("waiting", "running")
    words = job.words or _REASONS.get(job.state, "")
    return site.page(request, "progress.html", job=job, ended=ended, words=words, **_told(standing))


def _told(standing: Any) -> dict[str, Any]:
    if standing is None:
        return {"ahead": -1, "what": "", "share": -1}
    share = -1 if math.isnan(standing.share) else round(100 * min(max(standing.share, 0.0), 1.0))
    return {"ahead": standing.ahead, "what": standing.what, "share": share}


def state(site: Site, request: Request) -> Response:
    """Say how a job stands, for the few lines of script on its page."""
    token = _token(request)
    standing = site.pool.seen(token)
    if standing is not None:
        return JSONResponse({"going": True, **_told(standing)})
    job = site.kept.job(token, time.time())
    return JSONResponse({"going": job is not None and job.state in ("waiting", "running"), **_told(None)}, 200 if job else 404)


def _compared(site: Site, made: Made, now: float) -> dict[str, Any] | None:
    """Set a plan beside the one that it was changed from, where that is still kept and has the same days."""
    before = site.kept.made(str(made.spec.get("before", "")), now)
    if (
        before is None
        or before.kind != "plan"
        or [d["iso"] for d in before.view["days"]] != [d["iso"] for d in made.view["days"]]
    ):
        return None
    return {**against(before.view, made.view), "link": before.id}


def _day(when: float) -> str:
    day = datetime.fromtimestamp(when, UTC)
    return f"{day.day} {day:%B %Y}"


def paper(site: Site, request: Request) -> Response:
    """Hand out one paper. Its name is looked up in a fixed list, its content in the database: no path is made of it."""
    name: str = request.path_params["name"]
    if name not in PAPERS:
        return site.missing(request)
    body = site.kept.paper(_token(request), name, time.time())
    if body is None:
        return site.missing(request)
    kind = PAPERS[name][0]
    shown = kind.startswith(_SHOWN)
    headers = {"content-disposition": f'{"inline" if shown else "attachment"}; filename="{name}"'}
    if shown:
        headers["content-security-policy"] = (
            PAPER_POLICY if kind.startswith("text/html") else "default-src 'none'; style-src 'unsafe-inline'"
        )
        if kind == "application/pdf":  # a sandbox would keep the browser's own reader out
            headers["content-security-policy"] = "default-src 'none'; object-src 'self'; plugin-types application/pdf"
    return Response(body, media_type=kind, headers=headers)


# ------------------------------------------------------------------------------------------------- what can be done


def stop_form(site: Site, request: Request, _form: Form) -> Response:
    """Stop a job of one's own."""
    job = site.kept.job(_token(request), time.time())
    if job is None or job.session != site.session(request):
        return site.missing(request)
    site.pool.stop(job.id)
    return site.go(request, f"/t/{job.id}")


def again_form(site: Site, request: Request, _form: Form) -> Response:
    """Begin a job of one's own again that was stopped."""
    job = site.kept.job(_token(request), time.time())
    if job is None or job.session != site.session(request):
        return site.missing(request)
    if job.kind in ("check", "recheck") and site.kept.upload(job.id) is None:
        return site.go(request, "/check" if job.kind == "check" else f"/t/{job.spec['of']}")
    site.pool.again(job)
    return site.go(request, f"/t/{job.id}")


def change_form(site: Site, request: Request, form: Form) -> Response:
    """Plan again with one of the ranked sets of changes made."""
    made = _made(site, request, "none")
    number = Answers(form).text("way")
    if made is None or not (number.isascii() and number.isdigit() and len(number) < 4 and int(number) < len(made.view["ways"])):
        return site.missing(request)
    step = {"changes": made.view["ways"][int(number)]["names"]}
    return site.ask_for(request, "plan", {**made.spec, "steps": [*made.spec.get("steps", []), step]})


def choices_form(site: Site, request: Request, _form: Form) -> Response:
    """Plan by other measures too."""
    made = _made(site, request, "plan")
    if made is None:
        return site.missing(request)
    return site.ask_for(request, "choices", {**made.spec, "of": made.id})


def costs_form(site: Site, request: Request, _form: Form) -> Response:
    """Work out what each wish costs."""
    made = _made(site, request, "plan")
    if made is None:
        return site.missing(request)
    return site.ask_for(request, "costs", {**made.spec, "of": made.id})


def without_form(site: Site, request: Request, form: Form) -> Response:
    """Plan again without one of the wishes."""
    made = _made(site, request, "costs")
    number = Answers(form).text("wish")
    wishes = lifted(made.spec["draft"]) if made else []
    if made is None or not (number.isascii() and number.isdigit() and len(number) < 4 and int(number) < len(wishes)):
        return site.missing(request)
    spec = {key: value for key, value in made.spec.items() if key != "of"}
    return site.ask_for(request, "plan", {**spec, "draft": wishes[int(number)].draft, "before": made.view["of"]})


def recheck_form(site: Site, request: Request, _form: Form) -> Response:
    """Look whether a kept plan still holds on today's map and closures."""
    made = _made(site, request, "plan")
    papers = [site.kept.paper(made.id, name, time.time()) for name in ("plan.json", "route.geojson")] if made else []
    if made is None or None in papers:
        return site.missing(request)
    plan, route = (paper.decode() if paper else "" for paper in papers)
    return site.ask_for(
        request, "recheck", {"of": made.id, "spec": made.spec}, json.dumps({"plan": plan, "route": route}).encode()
    )


def loops_page(site: Site, request: Request) -> Response:
    """Show the loops that the operator offers."""
    return site.page(request, "loops.html", loops=site.loops) if site.loops else site.missing(request)


def loop_picture(site: Site, request: Request) -> Response:
    """Return the picture of a loop. Its number counts the loops read at the start: no path is made of it."""
    number = request.path_params["number"]
    if number >= len(site.loops):
        return site.missing(request)
    policy = {"content-security-policy": "default-src 'none'; style-src 'unsafe-inline'", "cache-control": "public, max-age=3600"}
    return Response(site.loops[number].picture, media_type="image/svg+xml", headers=policy)


def loop_form(site: Site, request: Request, form: Form) -> Response:
    """Take a loop into one's own forms."""
    number = Answers(form).text("loop")
    if not (number.isascii() and number.isdigit() and len(number) < 4 and int(number) < len(site.loops)):
        return site.missing(request)
    draft = moved(site.loops[int(number)].draft, site.now_here().date())
    site.kept.keep_draft(site.session(request), draft, time.time())
    return site.go(request, "/")


def night_page(site: Site, request: Request) -> Response:
    """Show the sites that a night can be moved to."""
    made = _made(site, request, "plan")
    day = _night(made, request) if made else None
    if made is None or day is None:
        return site.missing(request)
    return _night_form(site, request, made, day, Answers({}))


def _night(made: Made, request: Request) -> dict[str, Any] | None:
    number = request.path_params["day"]
    found: list[dict[str, Any]] = [day for day in made.view["days"] if day["n"] == number and day["night"]]
    return found[0] if found else None


def _night_form(site: Site, request: Request, made: Made, day: dict[str, Any], answers: Answers, status: int = 200) -> Response:
    near = sites_near(site.region, day["lon"], day["lat"])
    return site.page(
        request,
        "night.html",
        status,
        made=made,
        day=day,
        near=near,
        wrong=answers.wrong,
        several=answers.several,
        typed=answers.text("site"),
    )


def night_form(site: Site, request: Request, form: Form) -> Response:
    """Book a night by hand and plan again; the new plan is set beside the old one."""
    made = _made(site, request, "plan")
    day = _night(made, request) if made else None
    if made is None or day is None:
        return site.missing(request)
    answers = Answers(form)
    place = ""
    if answers.text("do") != "free":
        near = {match.place for match in sites_near(site.region, day["lon"], day["lat"])}
        if not answers.text("site") and answers.text("near") in near:
            place = answers.text("near")
        else:
            found = answers.place("site", site.region, ("site",), only=True)
            if found is None:
                return _night_form(site, request, made, day, answers, 422)
            place = found["place"]
    steps = [s for s in made.spec.get("steps", []) if s.get("night") != day["iso"]]
    spec = {**made.spec, "steps": [*steps, {"night": day["iso"], "place": place}], "before": made.id}
    return site.ask_for(request, "plan", spec)


def edit_form(site: Site, request: Request, _form: Form) -> Response:
    """Take a plan's trip into one's own forms."""
    made = _made(site, request, "plan", "none")
    if made is None:
        return site.missing(request)
    site.kept.keep_draft(site.session(request), {**made.spec["draft"], "weights": None}, time.time())
    return site.go(request, "/")


def delete_form(site: Site, request: Request, _form: Form) -> Response:
    """Delete a plan of one's own."""
    if not site.kept.forget(_token(request), site.session(request)):
        return site.missing(request)
    return site.go(request, "/plans")
