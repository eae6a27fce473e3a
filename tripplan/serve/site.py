"""What every page shares: settings, map, database, workers, templates, and who is asking."""

from __future__ import annotations

import hashlib
import hmac
import secrets
from collections import Counter
from collections.abc import Awaitable, Callable, Mapping
from datetime import UTC, datetime
from typing import Any
from zoneinfo import ZoneInfo

from jinja2 import Environment, PackageLoader, StrictUndefined
from python_multipart.exceptions import FormParserError
from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.formparsers import MultiPartException
from starlette.requests import Request
from starlette.responses import HTMLResponse, RedirectResponse, Response

from tripplan.region.region import Region
from tripplan.schedule.suggest_values import value_sights
from tripplan.serve.closed import Closed
from tripplan.serve.kept import Job, Kept, digest, new_token
from tripplan.serve.mapped import listed_sights, region_script
from tripplan.serve.offered import load_loops
from tripplan.serve.places import Reach
from tripplan.serve.pool import FullError, Pool
from tripplan.serve.settings import Settings

__all__ = ["Site"]

_MOST_FIELDS, _MOST_FILES = 120, 2
_COOKIE_S = 60 * 86_400
_TOKEN_BYTES = 24

Form = Mapping[str, Any]


class Site:
    """The page, for all who ask. Nothing in it is about one visitor."""

    def __init__(self, settings: Settings, region: Region, kept: Kept, pool: Pool, counts: Counter[str]) -> None:
        self.settings = settings
        self.region = region
        self.kept = kept
        self.pool = pool
        self.counts = counts
        self.closed = Closed(settings.closures, region.meta.tz)
        self.reach = Reach(region, settings.firm, self.closed)
        self.sights = value_sights(region)
        self.listed = listed_sights(self.sights)
        self.map = region_script(region, self.sights)
        self.map_mark = hashlib.sha256(self.map).hexdigest()[:16]
        self.loops = load_loops(settings.suggestions, settings.firm, region) if settings.suggestions else ()
        self._pages = Environment(
            loader=PackageLoader("tripplan.serve", "pages"), autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True
        )  # fmt: skip
        self._pages.filters["moment"] = _moment
        self.cookie = "__Host-visitor" if settings.secure else "visitor"

    # ---------------------------------------------------------------- who asks

    def visitor(self, request: Request) -> str:
        """Return the visitor's cookie; a new one where there is none. Nothing is kept of it but its digest."""
        found: str = getattr(request.state, "visitor", "") or request.cookies.get(self.cookie, "")
        if not (24 <= len(found) <= 64 and found.replace("-", "").replace("_", "").isalnum() and found.isascii()):
            found = secrets.token_urlsafe(_TOKEN_BYTES)
            request.state.is_new = True
        request.state.visitor = found
        return found

    def session(self, request: Request) -> str:
        """Return what the database knows the visitor by."""
        return digest(self.visitor(request))

    def seal(self, request: Request) -> str:
        """Return what each form of this visitor must carry."""
        return hashlib.sha256(b"form " + self.visitor(request).encode()).hexdigest()

    def now_here(self) -> datetime:
        """Return the time on the region's clocks."""
        try:
            return datetime.now(ZoneInfo(self.region.meta.tz))
        except (ValueError, OSError, LookupError):
            return datetime.now(UTC)

    # ---------------------------------------------------------------- answers

    def page(self, request: Request, name: str, status: int = 200, **values: Any) -> Response:
        """Return a page."""
        text = self._pages.get_template(name).render(
            seal=self.seal(request), here=request.url.path, region=self.region.meta.name, keep_days=self.settings.keep_days,
            firm=self.settings.firm.get("name", ""), loops_there=bool(self.loops), map_mark=self.map_mark, **values,
        )  # fmt: skip
        return self._with_cookie(request, HTMLResponse(text, status))

    def go(self, request: Request, where: str) -> Response:
        """Return a redirect after a form: reloading the next page sends nothing again."""
        return self._with_cookie(request, RedirectResponse(where, 303))

    def message(self, request: Request, title: str, words: str, status: int) -> Response:
        """Return a page with nothing but a message."""
        return self.page(request, "message.html", status, title=title, words=words)

    def missing(self, request: Request) -> Response:
        """Return the page for a link that leads nowhere."""
        words = f"There is nothing here. Plans are deleted {self.settings.keep_days:.0f} days after they were made, checks after one day."
        return self.message(request, "Not found", words, 404)

    def _with_cookie(self, request: Request, response: Response) -> Response:
        if getattr(request.state, "is_new", False):
            response.set_cookie(
                self.cookie,
                request.state.visitor,
                max_age=_COOKIE_S,
                path="/",
                secure=self.settings.secure,
                httponly=True,
                samesite="lax",
            )
        return response

    # ---------------------------------------------------------------- forms and jobs

    def form(self, handler: Callable[[Site, Request, Form], Response]) -> Callable[[Request], Awaitable[Response]]:
        """Return an endpoint that reads a form, refuses one that this visitor's own page did not send, and hands it on."""

        async def endpoint(request: Request) -> Response:
            try:
                async with request.form(
                    max_files=_MOST_FILES, max_fields=_MOST_FIELDS, max_part_size=self.settings.form_kb * 1000
                ) as form:
                    values: dict[str, Any] = dict(form.items())
                    if not self._sealed(request, values):
                        self.counts["forms_refused"] += 1
                        words = "This form is not from a page of yours, or it is too old. Go back, load the page again and send it once more."
                        return self.message(request, "Not accepted", words, 403)
                    for name in ("file", "weather_file"):
                        upload = values.get(name)
                        if upload is not None and not isinstance(upload, str):
                            values[f"{name}_name"] = upload.filename or ""
                            values[name] = await upload.read()
                    return await run_in_threadpool(handler, self, request, values)
            except (HTTPException, MultiPartException, FormParserError):  # too many fields, a part too large, not a form
                return self.message(request, "Not accepted", "That form cannot be read.", 400)

        return endpoint

    def _sealed(self, request: Request, values: Form) -> bool:
        sent = values.get("seal", "")
        origin = request.headers.get("origin", "")
        if origin and origin.partition("://")[2] != request.headers.get("host", ""):
            return False
        has_cookie = not getattr(request.state, "is_new", False) and bool(request.cookies.get(self.cookie))
        return has_cookie and isinstance(sent, str) and hmac.compare_digest(sent.encode(), self.seal(request).encode())

    def ask_for(self, request: Request, kind: str, spec: dict[str, Any], upload: bytes | None = None) -> Response:
        """Queue a job and go to its page."""
        job = Job(new_token(), self.session(request), kind, spec, "waiting", 0, "", upload)
        try:
            self.pool.add(job, getattr(request.state, "who", ""))
        except FullError as full:
            return self.message(request, "Not now", str(full), 503)
        return self.go(request, f"/t/{job.id}")


def _moment(text: str) -> str:
    """Return a date, or a date and time, as people write it; what is none stays as it is."""
    try:
        when = datetime.fromisoformat(text)
    except ValueError:
        return text
    day = f"{when:%a} {when.day} {when:%B %Y}"
    return f"{day}, {when:%H:%M}" if "T" in text else day
