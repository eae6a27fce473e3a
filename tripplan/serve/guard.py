"""What stands in front of every page: host, size and rate checked, safe headers added, one line of log, no personal data in it."""

from __future__ import annotations

import json
import sys
import time
from collections import Counter, OrderedDict
from dataclasses import dataclass, field
from typing import Any

from starlette.types import ASGIApp, Message, Receive, Scope, Send

from tripplan.serve.forms import MOST_CLOSURES_KB
from tripplan.serve.settings import Settings

__all__ = ["PAGE_POLICY", "PAPER_POLICY", "Guard", "Rates", "log"]

PAGE_POLICY = (
    "default-src 'none'; style-src 'self'; script-src 'self'; img-src 'self' data:; connect-src 'self'; form-action 'self'; "
    "base-uri 'none'; frame-ancestors 'none'"
)
#: A paper is a document of its own with a policy of its own; here it is also kept apart from the page's cookies.
PAPER_POLICY = "sandbox allow-scripts allow-modals allow-popups; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
_HEADERS = (
    (b"x-content-type-options", b"nosniff"),
    # Nothing goes elsewhere; within the page it must, else a browser hides the origin of its own forms.
    (b"referrer-policy", b"same-origin"),
    (b"x-frame-options", b"DENY"),
    (b"cross-origin-opener-policy", b"same-origin"),
    (b"cross-origin-resource-policy", b"same-origin"),
    (b"permissions-policy", b"geolocation=(), camera=(), microphone=()"),
)
_MOST_ADDRESSES = 10_000
_POST_COSTS = 10.0


def log(event: str, **values: Any) -> None:
    """Write one line of JSON on standard error."""
    sys.stderr.write(json.dumps({"t": round(time.time(), 3), "event": event, **values}) + "\n")
    sys.stderr.flush()


@dataclass
class Rates:
    """How much each address has left: a bucket that fills steadily."""

    per_second: float
    burst: float
    left: OrderedDict[str, tuple[float, float]] = field(default_factory=OrderedDict)

    def take(self, who: str, cost: float, now: float) -> bool:
        """Take so much; False when it is not there."""
        had, when = self.left.pop(who, (self.burst, now))
        has = min(self.burst, had + (now - when) * self.per_second)
        allowed = has >= cost
        self.left[who] = (has - cost if allowed else has, now)
        while len(self.left) > _MOST_ADDRESSES:
            self.left.popitem(last=False)
        return allowed


class _TooLargeError(Exception):
    pass


class Guard:
    """ASGI middleware around the whole page."""

    def __init__(self, app: ASGIApp, settings: Settings, counts: Counter[str]) -> None:
        self._app = app
        self._settings = settings
        self._counts = counts
        self._rates = Rates(settings.per_second, settings.burst)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Let a request through, or answer it here."""
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        began = time.perf_counter()
        status = 500
        begun = False
        headers = dict(scope["headers"])
        most = self._most(scope)
        read = 0

        async def bounded() -> Message:
            nonlocal read
            message = await receive()
            read += len(message.get("body", b""))
            if read > most:
                raise _TooLargeError
            return message

        async def dressed(message: Message) -> None:
            nonlocal status, begun
            if message["type"] == "http.response.start":
                begun, status = True, message["status"]
                own = list(message.get("headers", []))
                names = {name for name, _ in own}
                own += [(name, value) for name, value in _HEADERS if name not in names]
                if b"content-security-policy" not in names:
                    own.append((b"content-security-policy", PAGE_POLICY.encode()))
                if b"cache-control" not in names:
                    own.append((b"cache-control", b"no-store"))
                if self._settings.secure:
                    own.append((b"strict-transport-security", b"max-age=31536000"))
                message = {**message, "headers": own}
            await send(message)

        try:
            refused = self._refusal(scope, headers, most)
            if refused:
                await _answer(dressed, *refused)
            else:
                await self._app(scope, bounded, dressed)
        except _TooLargeError:
            if not begun:
                await _answer(dressed, 413, "That is too large.")
        except Exception as error:  # noqa: BLE001 - nobody sees a traceback
            log("fault", kind=type(error).__name__, route=_route(scope))
            self._counts["faults"] += 1
            if not begun:
                await _answer(dressed, 500, "A fault of tripplan's own. Nothing was lost; please try again.")
        took = time.perf_counter() - began
        self._counts[f"answers_{status // 100}xx"] += 1
        self._counts["answer_us"] += int(took * 1e6)
        log("answer", method=scope["method"][:8], route=_route(scope), status=status, ms=round(took * 1000, 1))

    def _most(self, scope: Scope) -> int:
        upload = {"/check": self._settings.upload_mb * 1_000_000, "/closures": (MOST_CLOSURES_KB + self._settings.form_kb) * 1000}
        usual = self._settings.form_kb * 1000
        return upload.get(scope["path"], usual) if scope["method"] == "POST" else usual

    def _refusal(self, scope: Scope, headers: dict[bytes, bytes], most: int) -> tuple[int, str] | None:
        host = headers.get(b"host", b"").decode("latin-1").casefold()
        name = host if host.endswith("]") else host.rpartition(":")[0] if ":" in host else host
        if name not in self._settings.hosts:
            return 421, "This page does not answer to that name."
        if scope["method"] not in ("GET", "HEAD", "POST"):
            return 405, "That is not done here."
        length = headers.get(b"content-length", b"")
        if length and (not length.isdigit() or int(length) > most):
            return 413, "That is too large."
        if len(scope["path"]) > 300 or len(scope.get("query_string", b"")) > 2000:
            return 414, "That address is too long."
        if scope["path"] not in ("/health", "/metrics") and not self._rates.take(
            self._who(scope, headers), _POST_COSTS if scope["method"] == "POST" else 1.0, time.monotonic()
        ):
            return 429, "Too many requests from your address. Wait a little and try again."
        return None

    def _who(self, scope: Scope, headers: dict[bytes, bytes]) -> str:
        if self._settings.trust_proxy and b"x-forwarded-for" in headers:
            return headers[b"x-forwarded-for"].decode("latin-1").rpartition(",")[2].strip()[:60]
        client = scope.get("client")
        return client[0] if client else ""


def _route(scope: Scope) -> str:
    """Return the kind of page: links are secrets and stay out of the log."""
    route = scope.get("route")
    return getattr(route, "path", "") or "none"


async def _answer(send: Send, status: int, words: str) -> None:
    body = (words + "\n").encode()
    headers = [(b"content-type", b"text/plain; charset=utf-8"), (b"content-length", str(len(body)).encode())]
    if status == 429:
        headers.append((b"retry-after", b"5"))
    await send({"type": "http.response.start", "status": status, "headers": headers})
    await send({"type": "http.response.body", "body": body})
