"""HTTP for those who get on with it: a connection on which nothing comes about is closed, so that a few people cannot hold all.

What uvicorn bounds by itself is how long a connection rests between two requests; not how long a request's first lines, or the reading
of an answer, may take.
"""

from __future__ import annotations

import asyncio
from typing import Any

from uvicorn.protocols.http.h11_impl import H11Protocol

__all__ = ["PromptProtocol"]


class PromptProtocol(H11Protocol):
    """Looks at its connection every few seconds."""

    #: How long nothing may come about, and how often that is looked at [s].
    patience_s = 25.0
    every_s = 5.0

    _since = 0.0
    _unread = 0

    def connection_made(self, transport: Any) -> None:
        """Begin to look."""
        super().connection_made(transport)
        self._since = self.loop.time()
        self.loop.call_later(self.every_s, self._look)

    def _look(self) -> None:
        transport: asyncio.WriteTransport | None = self.transport
        if transport is None or (transport.is_closing() and not transport.get_write_buffer_size()):
            return
        unread, now = transport.get_write_buffer_size(), self.loop.time()
        working = self.cycle is not None and not self.cycle.response_complete  # the page's own bounds hold
        if working or unread < self._unread:
            self._since = now
        self._unread = unread
        if now - self._since > self.patience_s:
            transport.abort()
            return
        self.loop.call_later(self.every_s, self._look)
