"""What stands in front of every page: host, size and rate checked, safe headers added, one line of log, no personal data in it."""

from __future__ import annotations

import asyncio
import json
import re
import sys
import time
from collections import Counter, OrderedDict
from dataclasses import dataclass, field
from ipaddress import ip_address, ip_network
from typing import Any

from starlette.requests import ClientDisconnect
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from tripplan.serve.forms import MOST_CLOSURES_KB, MOST_WEATHER_KB
from tripplan.serve.settings import Settings

__all__ = ["PAGE_POLICY", "PAPER_POLICY", "Guard", "Rates", "log"]

PAGE_POLICY = (
    "default-src 'none'; style-src 'self'; script-src 'self'; img-src 'self' data:; connect-src 'self'; form-action 'self'; "
    "base-uri 'none'; frame-ancestors 'none'"
)
#: A paper is a document of its own: kept apart from the page's cookies, and nothing in it can be sent or fetched anywhere.
PAPER_POLICY = (
    "sandbox allow-scripts allow-modals allow-popups; default-src 'none'; script-src 'unsafe-inline'; style-src 'unsafe-inline'; "
    "img-src data:; font-src data:; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
)
_HEADERS = (
    (b"x-content-type-options", b"nosniff"),
    # Nothing goes elsewhere; within the page it must, else a browser hides the origin of its own forms.
    (b"referrer-policy", b"same-origin"),
    (b"x-frame-options", b"DENY"),
    (b"cross-origin-opener-policy", b"same-origin"),
    (b"cross-origin-resource-policy", b"same-origin"),
    (b"permissions-policy", b"geolocation=(), camera=(), microphone=()"),
    (b"x-robots-tag", b"noindex, nofollow"),  # a link to a plan may stand where a search engine finds it
)
_MOST_ADDRESSES = 10_000
_POST_COSTS = 10.0
#: A body may take so long, and a second more for so many bytes of it.
_BODY_S, _BODY_BYTES_PER_S = 20.0, 10_000.0
_HOST = re.compile(r"(?P<name>\[[0-9a-f:.]+\]|[a-z0-9._-]+)(:[0-9]{1,5})?")


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


class _TooSlowError(Exception):
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
        read, whole = 0, False
        # The proxy in front speaks plain http to us, but links that are shown must be as people use them.
        if self._settings.secure:
            scope["scheme"] = "https"
        scope.setdefault("state", {})["who"] = self._who(scope, headers)

        async def bounded() -> Message:
            nonlocal read, whole
            if whole:  # from here on it is only waited for the visitor to leave
                return await receive()
            left = _BODY_S + read / _BODY_BYTES_PER_S - (time.perf_counter() - began)
            try:
                message = await asyncio.wait_for(receive(), max(left, 0.001))
            except TimeoutError:
                raise _TooSlowError from None
            read += len(message.get("body", b""))
            whole = not message.get("more_body", False)
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
        except _TooSlowError:
            if not begun:
                await _answer(dressed, 408, "That took too long to arrive. Please try again.")
        except ClientDisconnect:
            status = 499  # nobody is there any more; the number is for the log alone
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
        wishes = (MOST_CLOSURES_KB + MOST_WEATHER_KB + self._settings.form_kb) * 1000  # one form with both fields
        upload = {"/check": self._settings.upload_mb * 1_000_000, "/closures": wishes, "/weather": wishes}
        usual = self._settings.form_kb * 1000
        return upload.get(scope["path"], usual) if scope["method"] == "POST" else usual

    def _refusal(self, scope: Scope, headers: dict[bytes, bytes], most: int) -> tuple[int, str] | None:
        host = _HOST.fullmatch(headers.get(b"host", b"").decode("latin-1").casefold())
        if host is None or host["name"] not in self._settings.hosts:
            return 421, "This page does not answer to that name."
        if scope["method"] not in ("GET", "HEAD", "POST"):
            return 405, "That is not done here."
        length = headers.get(b"content-length", b"")
        if length and (not length.isdigit() or len(length) > 15 or int(length) > most):
            return 413, "That is too large."
        if len(scope["path"]) > 300 or len(scope.get("query_string", b"")) > 2000:
            return 414, "That address is too long."
        if scope["path"] not in ("/health", "/metrics") and not self._rates.take(
            scope["state"]["who"], _POST_COSTS if scope["method"] == "POST" else 1.0, time.monotonic()
        ):
            return 429, "Too many requests from your address. Wait a little and try again."
        return None

    def _who(self, scope: Scope, headers: dict[bytes, bytes]) -> str:
        """Return who asks: of an IPv6 address the network of 64 bits, since whoever has one has all of it."""
        if self._settings.trust_proxy and b"x-forwarded-for" in headers:  # what the proxy itself added stands last
            text = headers[b"x-forwarded-for"].decode("latin-1").rpartition(",")[2].strip()[:60]
        else:
            client = scope.get("client")
            text = client[0] if client else ""
        try:
            address = ip_address(text)
        except ValueError:
            return text
        if address.version == 4 or address.ipv4_mapped:
            return str(address if address.version == 4 else address.ipv4_mapped)
        return str(ip_network((address.packed[:8] + bytes(8), 64)))


def _route(scope: Scope) -> str:
    """Return the kind of page: links are secrets and stay out of the log."""
    route = scope.get("route")
    return getattr(route, "path", "") or "none"


async def _answer(send: Send, status: int, words: str) -> None:
    body = (words + "\n").encode()
    headers = [(b"content-type", b"text/plain; charset=utf-8"), (b"content-length", str(len(body)).encode())]
    if status == 429:
        headers.append((b"retry-after", b"5"))
    if status == 405:
        headers.append((b"allow", b"GET, HEAD, POST"))
    if status in (408, 413):  # what is still on its way is not waited for
        headers.append((b"connection", b"close"))
    await send({"type": "http.response.start", "status": status, "headers": headers})
    await send({"type": "http.response.body", "body": body})
