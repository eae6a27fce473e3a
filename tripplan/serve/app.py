"""The page put together: addresses, what watches over them, and the work that begins and ends with the server."""

from __future__ import annotations

import asyncio
import time
from collections import Counter
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager, suppress
from datetime import UTC, datetime
from functools import partial
from importlib.resources import files
from typing import Any

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import PlainTextResponse, Response
from starlette.routing import Route, Router
from starlette.types import ASGIApp

from tripplan.region.region import Region
from tripplan.report.map import leaflet_css, leaflet_js
from tripplan.serve import results, steps
from tripplan.serve.database import open_database
from tripplan.serve.forms import USUAL_OUTFIT, Answers, check_spec
from tripplan.serve.guard import Guard, log
from tripplan.serve.kept import Kept
from tripplan.serve.pool import Pool
from tripplan.serve.settings import Settings
from tripplan.serve.site import Form, Site

__all__ = ["make_app"]

_SWEEP_S = 1800.0
_SCRIPT, _STYLE = "text/javascript; charset=utf-8", "text/css; charset=utf-8"
#: What the pages load beside themselves; nothing else leads anywhere.
_STATIC: dict[str, tuple[str, Callable[[], str]]] = {
    "page.css": (_STYLE, lambda: _own("page.css")),
    "icon.svg": ("image/svg+xml", lambda: _own("icon.svg")),
    "progress.js": (_SCRIPT, lambda: _own("progress.js")),
    "pick.js": (_SCRIPT, lambda: _own("pick.js")),
    "map.js": (_SCRIPT, lambda: files("tripplan.report").joinpath("assets", "map.js").read_text(encoding="utf-8")),
    "leaflet.js": (_SCRIPT, leaflet_js),
    "leaflet.css": (_STYLE, leaflet_css),
}


def make_app(settings: Settings, region: Region, *, pool: Pool | None = None) -> ASGIApp:
    """Return the page as an ASGI application.

    Parameters
    ----------
    region
        The map that `settings` names, loaded.
    pool
        Another one than its own, for tests.
    """
    counts: Counter[str] = Counter()
    database = open_database(settings.database)
    kept = Kept(database, settings.keep_days)
    kept.prepare()
    site = Site(settings, region, kept, pool or Pool(settings, kept, log=log, counts=counts), counts)

    @asynccontextmanager
    async def lifespan(_app: Any) -> AsyncIterator[None]:
        await run_in_threadpool(kept.sweep, time.time())
        site.pool.start()
        task = asyncio.create_task(_sweeping(kept))
        try:
            yield
        finally:
            task.cancel()
            await run_in_threadpool(site.pool.close)
            database.close()

    return Guard(Router(_routes(site), lifespan=lifespan), settings, counts)


async def _sweeping(kept: Kept) -> None:
    """Delete what has been kept long enough, now and then."""
    while True:
        await asyncio.sleep(_SWEEP_S)
        with suppress(Exception):  # the database may be away for a moment
            gone = await run_in_threadpool(kept.sweep, time.time())
            log("swept", rows=gone)


def _routes(site: Site) -> list[Route]:
    def page(path: str, handler: Callable[[Site, Request], Response]) -> Route:
        return Route(path, partial(handler, site), methods=["GET"])

    def form(path: str, handler: Callable[[Site, Request, Form], Response]) -> Route:
        return Route(path, site.form(handler), methods=["POST"])

    return [
        page("/", steps.start_page), form("/", steps.start_form),
        page("/places", steps.places_page), form("/places", steps.places_form),
        page("/wishes", steps.wishes_page), form("/wishes", steps.wishes_form), form("/closures", steps.closures_form), form("/weather", steps.weather_form),
        page("/loops", results.loops_page), form("/loops", results.loop_form), page("/loops/{number:int}.svg", results.loop_picture),
        page("/plans", _plans), page("/check", _check_page), form("/check", _check_form), page("/about", _about),
        page("/t/{token}", results.result_page), page("/t/{token}/state", results.state),
        page("/t/{token}/night/{day:int}", results.night_page), form("/t/{token}/night/{day:int}", results.night_form),
        page("/t/{token}/{name}", results.paper),
        form("/t/{token}/stop", results.stop_form), form("/t/{token}/again", results.again_form),
        form("/t/{token}/change", results.change_form), form("/t/{token}/choices", results.choices_form),
        form("/t/{token}/costs", results.costs_form), form("/t/{token}/without", results.without_form),
        form("/t/{token}/recheck", results.recheck_form),
        form("/t/{token}/edit", results.edit_form), form("/t/{token}/delete", results.delete_form),
        page("/static/{name}", _static), page("/region.js", _region_map), page("/health", _health), page("/metrics", _metrics),
        Route("/{rest:path}", partial(_nothing, site), methods=["GET", "POST"]),
    ]  # fmt: skip


def _nothing(site: Site, request: Request) -> Response:
    return site.missing(request)


def _static(site: Site, request: Request) -> Response:
    name = request.path_params["name"]
    if name not in _STATIC:
        return site.missing(request)
    kind, text = _STATIC[name]
    return Response(text(), media_type=kind, headers={"cache-control": "public, max-age=3600"})


def _own(name: str) -> str:
    return files("tripplan.serve").joinpath("static", name).read_text(encoding="utf-8")


def _region_map(site: Site, _request: Request) -> Response:
    """Return the map's own data; its address carries a mark of them, so that a browser may keep them."""
    return Response(site.map, media_type=_SCRIPT, headers={"cache-control": "public, max-age=86400"})


def _about(site: Site, request: Request) -> Response:
    return site.page(request, "about.html")


def _plans(site: Site, request: Request) -> Response:
    def day(when: float) -> str:
        told = datetime.fromtimestamp(when, UTC)
        return f"{told.day} {told:%B %Y}"

    own = [(link, title, day(made), day(until)) for link, title, made, until in site.kept.own(site.session(request), time.time())]
    return site.page(request, "plans.html", own=own)


def _check_page(site: Site, request: Request) -> Response:
    return site.page(
        request,
        "check.html",
        wrong={},
        values={k: f"{v:g}" for k, v in USUAL_OUTFIT.items()},
        day="",
        most=site.settings.upload_mb - 1,
    )


def _check_form(site: Site, request: Request, form: Form) -> Response:
    answers = Answers(form)
    upload = form.get("file")
    spec = check_spec(answers, str(form.get("file_name", "")))
    if not isinstance(upload, bytes) or not upload:
        answers.wrong["file"] = "Choose a file."
    if answers.wrong:
        values = {name: answers.text(name, 20) for name in USUAL_OUTFIT}
        return site.page(
            request,
            "check.html",
            422,
            wrong=answers.wrong,
            values=values,
            day=answers.text("day", 20),
            most=site.settings.upload_mb - 1,
        )
    return site.ask_for(request, "check", spec, upload if isinstance(upload, bytes) else None)


def _health(site: Site, _request: Request) -> Response:
    try:
        alive = site.kept.alive()
    except Exception:  # noqa: BLE001 - whatever is wrong with it, it does not answer
        alive = False
    return PlainTextResponse("well\n" if alive else "the database does not answer\n", 200 if alive else 503)


def _metrics(site: Site, _request: Request) -> Response:
    waiting, running = site.pool.sizes()
    lines = [f"tripplan_{name} {value}" for name, value in sorted(site.counts.items())]
    lines += [
        f"tripplan_jobs_waiting {waiting}",
        f"tripplan_jobs_running {running}",
        f"tripplan_workers {len(site.pool.processes())}",
    ]
    return PlainTextResponse("\n".join(lines) + "\n")
