"""Text from an address that a person gave: https, or plain http on this machine, in bounded size and time."""

from __future__ import annotations

import time
import urllib.error
import urllib.request
from http.client import HTTPException
from typing import Any
from urllib.parse import urlsplit

from tripplan.model.errors import BadInputError

__all__ = ["TIMEOUT_S", "WHOLE_S", "fetch_text"]

#: Longest wait for a connection or the next bytes, and for the whole answer [s].
TIMEOUT_S, WHOLE_S = 20.0, 60.0
_LOOPBACK = ("127.0.0.1", "localhost", "::1")
_CHUNK = 65_536
_ADDRESS = "an https address, or http on this machine"


def fetch_text(url: str, *, most_mb: float, accepted: str, timeout_s: float = TIMEOUT_S, whole_s: float = WHOLE_S) -> str:
    """Return the text at an address.

    Raises
    ------
    BadInputError
        Another kind of address, one that leads on to such a one, no answer in time, too large, or not UTF-8 text.
    """
    where = url[:200]
    check_address(url, where)
    request = urllib.request.Request(url, headers={"Accept": "application/geo+json, application/json", "User-Agent": "tripplan"})  # noqa: S310
    opener = urllib.request.build_opener(_Onward())
    until = time.monotonic() + whole_s
    parts: list[bytes] = []
    size = 0
    try:
        with opener.open(request, timeout=timeout_s) as answer:
            while chunk := answer.read1(_CHUNK):
                size += len(chunk)
                parts.append(chunk)
                if size > most_mb * 1_000_000:
                    raise BadInputError(
                        f"is larger than {most_mb:g} MB", where=where, accepted=f"{accepted}, at most {most_mb:g} MB",
                        next_step="take a smaller one",
                    )  # fmt: skip
                if time.monotonic() > until:
                    raise BadInputError(
                        f"took longer than {whole_s:g} s",
                        where=where,
                        accepted="an answer in time",
                        next_step="save it as a file",
                    )
    except urllib.error.HTTPError as error:
        raise BadInputError(
            f"the server answers {error.code}", where=where, accepted="an address that answers", next_step="check the address"
        ) from None
    except (OSError, HTTPException, ValueError) as error:
        reason = str(getattr(error, "reason", "") or error)[:120]
        raise BadInputError(
            f"cannot be fetched ({reason})", where=where, accepted=_ADDRESS, next_step="check address and network, or give a file"
        ) from None
    try:
        return b"".join(parts).decode("utf-8-sig")
    except UnicodeDecodeError:
        raise BadInputError("is not UTF-8 text", where=where, accepted=accepted, next_step="check the address") from None


def check_address(url: str, where: str) -> None:
    """Raise BadInputError unless an address may be asked."""
    try:
        parts = urlsplit(url)
        host, _ = parts.hostname or "", parts.port
    except ValueError:
        host, parts = "", urlsplit("")
    safe = parts.scheme == "https" or (parts.scheme == "http" and host in _LOOPBACK)
    if not safe or not host or parts.username is not None or not url.isprintable() or " " in url:
        raise BadInputError(
            "is no address that is asked",
            where=where,
            accepted=_ADDRESS + ", without a password",
            next_step="give a file instead",
        )


class _Onward(urllib.request.HTTPRedirectHandler):
    """Follow where an answer leads on to, if that too may be asked."""

    def redirect_request(self, req: Any, fp: Any, code: int, msg: str, headers: Any, newurl: str) -> Any:
        check_address(newurl, newurl[:200])
        return super().redirect_request(req, fp, code, msg, headers, newurl)
